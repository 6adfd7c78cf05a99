"""One conductor where the drawing shows several lines: a wire that goes on over marks from sheet to sheet."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from tracer.circuit.model import Circuit


@dataclass(frozen=True, slots=True)
class Conductor:
    """Links that are one thing to a hand and a meter; `ends` are its two nodes, `marks` the nodes of references on it, all in the order from the first end."""

    links: tuple[int, ...]
    ends: tuple[int, int]
    marks: tuple[int, ...] = ()


def conductors(circuit: Circuit, links: Iterable[int], *, stops: Collection[int] = ()) -> Iterator[Conductor]:
    """The links, with a wire over references as one; it ends at the nodes of `stops`, and where more than two of the links meet at a mark."""
    kept = list(links)
    at: dict[int, list[int]] = {}
    for number in kept:
        for node in (circuit.links[number].a, circuit.links[number].b):
            at.setdefault(node, []).append(number)
    through = {node for node, found in at.items() if len(found) == 2 and node in circuit.reference_of and node not in stops}  # fmt: skip
    done: set[int] = set()
    for number in kept:
        link = circuit.links[number]
        if number in done or (link.a in through and link.b in through):
            continue
        back, first = _walk(circuit, at, through, number, link.a)
        on, last = _walk(circuit, at, through, number, link.b)
        run = (*(step for step, _ in reversed(back)), number, *(step for step, _ in on))
        done.update(run)
        yield Conductor(run, (first, last), (*(mark for _, mark in reversed(back)), *(mark for _, mark in on)))


def _walk(circuit: Circuit, at: dict[int, list[int]], through: Collection[int], link: int, node: int) -> tuple[list[tuple[int, int]], int]:  # fmt: skip
    """The links behind a node as long as it is a mark, each with the mark before it; and the node where that ends."""
    found = []
    while node in through:
        link = next(other for other in at[node] if other != link)
        found.append((link, node))
        node = circuit.other(circuit.links[link], node)
    return found, node


__all__ = ["Conductor", "conductors"]
