"""The one walk along links: everything that is reached from some nodes over links of some kinds.

Whoever has to know what hangs together asks here; `shortest_way` walks other graphs too (a network, a bus). Not here: the second count, which has to be wrong by itself if at all; the ways, where a link counts only if
a path uses it (`trace/ways/`); and key states, where what is spread is a level (`circuit/spreading.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from typing import Protocol

from tracer.circuit.kinds import Link, LinkKind

Passes = Callable[[int, Link, int, int], bool]  # number of the link, the link, from which node, to which


class Linked(Protocol):
    """What has links and knows which touch a node: a circuit."""

    @property
    def links(self) -> Sequence[Link]: ...

    @property
    def at(self) -> Sequence[Collection[int]]: ...


def links_at(links: Iterable[Link], nodes: int) -> list[list[int]]:
    """For each node the numbers of the links that touch it."""
    at: list[list[int]] = [[] for _ in range(nodes)]
    for number, link in enumerate(links):
        at[link.a].append(number)
        if link.b != link.a:
            at[link.b].append(number)
    return at


def flood(
    circuit: Linked,
    starts: Iterable[int],
    kinds: Collection[LinkKind],
    *,
    stops: Collection[int] = (),
    barred: Collection[int] = (),
    passes: Passes | None = None,
) -> dict[int, int]:
    """Every node reached from `starts`, nearest first, each with the number of the link by which it was met (-1 for a start).

    Parameters
    ----------
    kinds : the kinds of link that are walked
    stops : nodes that are met but not left
    barred : nodes that are not met, but may be starts
    passes : whether a link of such a kind is walked, from which node to which; all are where it is left out
    """
    return dict(walk(circuit, starts, kinds, stops=stops, barred=barred, passes=passes))


def walk(
    circuit: Linked,
    starts: Iterable[int],
    kinds: Collection[LinkKind],
    *,
    stops: Collection[int] = (),
    barred: Collection[int] = (),
    passes: Passes | None = None,
) -> Iterator[tuple[int, int]]:
    """As `flood`, node by node as they are met, for who does not want all."""
    links, at = circuit.links, circuit.at
    queue = list(dict.fromkeys(starts))
    seen = set(queue)
    for node in queue:
        yield node, -1
    for node in queue:
        if node in stops:
            continue
        for number in at[node]:
            link = links[number]
            if link.kind not in kinds:
                continue
            other = link.b if link.a == node else link.a
            if other in seen or other in barred or (passes is not None and not passes(number, link, node, other)):
                continue
            seen.add(other)
            queue.append(other)
            yield other, number


def lead_back(circuit: Linked, met: dict[int, int], node: int) -> list[tuple[int, int]]:
    """The way from a node that a flood met back to its start: (link, node at its other end)."""
    way = []
    while (number := met[node]) >= 0:
        link = circuit.links[number]
        node = link.b if link.a == node else link.a
        way.append((number, node))
    return way


def shortest_way(
    start: int, goals: Collection[int], leads: Callable[[int], Iterable[tuple[int, int]]]
) -> list[tuple[int, int, int]]:
    """A shortest way to the nearest goal in any graph: (link, node it leaves, node it leads to), from the start on; empty where there is none, or no need.

    Parameters
    ----------
    leads : what leads on from a node: (link, node at its other end); of several shortest ways, the one by what is named first
    """
    came: dict[int, tuple[int, int]] = {start: (-1, start)}
    queue = [start]
    for here in queue:
        if here in goals:
            way = []
            while here != start:
                number, before = came[here]
                way.append((number, before, here))
                here = before
            return way[::-1]
        for number, other in leads(here):
            if other not in came:
                came[other] = (number, here)
                queue.append(other)
    return []


__all__ = ["Linked", "Passes", "flood", "lead_back", "links_at", "shortest_way", "walk"]
