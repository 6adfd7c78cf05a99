"""In which positions of what a contact is closed, or may be: the key, a condition, a switch worked by hand, a relay.

Everything that follows the key shares one variable, and so does everything that follows one condition; a switch worked by hand and a relay each have their
own. A contact that is closed in every position needs no guard.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tracer.circuit.model import Circuit, Link, LinkKind, PartKind

CONTACT_POSITIONS = {"rest": 1, "energised": 2}


@dataclass(frozen=True, slots=True)
class Guard:
    """A variable (kind and name), the positions that close the contact as a bit mask, and every position that there is."""

    variable: tuple[str, str]
    closed: int
    every: int


def guards_of(circuit: Circuit) -> dict[int, Guard]:
    """The guard of each contact that some position opens, by link number."""
    found = {}
    for number, link in enumerate(circuit.links):
        if link.kind is LinkKind.CONTACT:
            guard = _guard(circuit, link)
            if guard.closed != guard.every:
                found[number] = guard
    return found


def _guard(circuit: Circuit, link: Link) -> Guard:
    part = circuit.parts[link.part]
    lever = part.levers[link.lever]
    closed = (*link.closed, *lever.unknown)  # what it does there is not known: it may be closed
    if part.kind is PartKind.RELAY:
        return _masked(("part", lever.name), CONTACT_POSITIONS, closed)
    if lever.follows == "key":
        keys = {key: 1 << number for number, key in enumerate(circuit.typed.vehicle.key)}
        missing = [
            key for key in keys if key not in lever.contacts
        ]  # what it does there is not known: it may be closed
        return _masked(("key", ""), keys, (*closed, *missing))
    if lever.follows is not None:
        return _masked(("condition", lever.follows), {"yes": 1, "no": 2}, closed)
    positions = {name: 1 << number for number, name in enumerate((*lever.contacts, *lever.unknown))}
    return _masked(("part", lever.name), positions, closed)


def _masked(variable: tuple[str, str], positions: Mapping[str, int], closed: tuple[str, ...]) -> Guard:
    mask = 0
    for position in closed:
        mask |= positions.get(position, 0)  # a shared kind may know more key states than this vehicle has
    return Guard(variable, mask, (1 << len(positions)) - 1)


__all__ = ["Guard", "guards_of"]
