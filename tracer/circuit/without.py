"""A circuit with something open in it, and what its nets fall apart into."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterable
from dataclasses import replace

from tracer.circuit.kinds import OUTSIDE
from tracer.circuit.model import Circuit, Link


def circuit_without(circuit: Circuit, links: Collection[int], nodes: frozenset[int] = frozenset()) -> Circuit:
    """The circuit with links open; sources and grounds at the given nodes are ends no longer.

    An opened wire stays where it is, with its two ends hanging loose on new nodes: what was typed in must not look as if it had never been. Nodes keep their numbers,
    links do not.
    """
    kept: list[Link] = []
    names = list(circuit.node_names)
    before = 0
    for number in sorted(links):
        kept += circuit.links[before:number]
        before = number + 1
        link = circuit.links[number]
        if link.kind in OUTSIDE:
            names += ["open end", "open end"]
            kept.append(replace(link, b=len(names) - 2))
            kept.append(replace(link, a=len(names) - 1))
    kept += circuit.links[before:]
    blank = [""] * (len(names) - len(circuit.node_names))
    left = replace(
        circuit,
        links=kept,
        node_names=names,
        node_parts=[*circuit.node_parts, *blank],
        node_pins=[*circuit.node_pins, *blank],
        sources=tuple(end for end in circuit.sources if end.node not in nodes),
        grounds=tuple(end for end in circuit.grounds if end.node not in nodes),
    )
    left.__dict__["pins_of"] = circuit.pins_of  # loose ends are pins of nothing
    return left


def pieces_of_net(ends: Iterable[int], leads: Callable[[int], Iterable[int]]) -> list[list[int]]:
    """What a net falls into where links in it opened between `ends`: the nodes of each piece but one, which is as a rule the largest.

    All pieces grow at the same pace, and those that meet are one; as soon as a single one is left it need not be walked. A fuse's few nodes are found without
    the thousands on the battery's side of it.

    Parameters
    ----------
    leads : the nodes next to a node, over conductors that are not open
    """
    of = {end: number for number, end in enumerate(dict.fromkeys(ends))}
    nodes = {number: [end] for end, number in of.items()}
    walked = dict.fromkeys(nodes, 0)  # of its nodes, how many have been left
    same = list(nodes)
    growing, left = deque(nodes), len(nodes)

    def piece(number: int) -> int:
        while same[number] != number:
            same[number] = same[same[number]]
            number = same[number]
        return number

    found: list[list[int]] = []
    while left > 1:
        here = growing.popleft()
        if same[here] != here:  # another piece has taken it in
            continue
        if walked[here] == len(nodes[here]):
            found.append(nodes[here])
            left -= 1
            continue
        growing.append(here)
        node = nodes[here][walked[here]]
        walked[here] += 1
        for other in leads(node):
            if other not in of:
                of[other] = here
                nodes[here].append(other)
            elif (met := piece(of[other])) != here:
                same[met] = here
                left -= 1
                done, into = walked[here], nodes[here]
                # what has been left stays in front
                nodes[here] = [*into[:done], *nodes[met][: walked[met]], *into[done:], *nodes[met][walked[met] :]]
                walked[here] += walked[met]
    return found


__all__ = ["circuit_without", "pieces_of_net"]
