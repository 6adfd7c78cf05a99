"""The second count's own table of what each kind of link is, and its own walk along conductors.

Typed here by itself and not made from the rows in `circuit/kinds.py`: a slip there would then be in the list and in what the list is held against.
`tests/test_kinds.py` holds the two tables against one another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tracer.circuit.kinds import Link, LinkKind
from tracer.circuit.model import Circuit

IS: Mapping[LinkKind, str] = {
    LinkKind.WIRE: "metal",
    LinkKind.REFERENCE: "metal",
    LinkKind.MATING: "metal",
    LinkKind.BUSSED: "metal",
    LinkKind.BUSBAR: "metal",
    LinkKind.MEETS: "metal",
    LinkKind.RAIL: "metal",
    LinkKind.STRAP: "strap",
    LinkKind.MASS: "mass",
    LinkKind.FUSE: "fuse",
    LinkKind.JOINED: "bridge in a module",
    LinkKind.CONTACT: "contact",
    LinkKind.DIODE: "diode",  # current flows from `a` to `b`
    LinkKind.DRIVER_HIGH: "output to supply",  # from `a` to `b`
    LinkKind.DRIVER_LOW: "output to ground",  # from `a` to `b`
    LinkKind.COIL: "load",
    LinkKind.LOAD: "load",
    LinkKind.RESISTOR: "load",
    LinkKind.CONVERTER: "load",
}


def that_are(*words: str) -> frozenset[LinkKind]:
    """The kinds of link that are one of these."""
    return frozenset(kind for kind, word in IS.items() if word in words)


METAL = that_are("metal")
IN_MODULE = that_are("bridge in a module", "output to supply", "output to ground")
_OUTSIDE = that_are("metal", "strap", "mass", "fuse")


def joined(circuit: Circuit, starts: Iterable[int]) -> frozenset[int]:
    """What is one conductor with these nodes, outside modules; a position without its fuse does not conduct."""
    seen = set(starts)
    queue = list(seen)
    for node in queue:
        for number in circuit.at[node]:
            link = circuit.links[number]
            if link.kind in _OUTSIDE and not _no_fuse(circuit, link):
                for other in {link.a, link.b} - seen:
                    seen.add(other)
                    queue.append(other)
    return frozenset(seen)


def _no_fuse(circuit: Circuit, link: Link) -> bool:
    return link.kind is LinkKind.FUSE and circuit.is_not_fitted(link.part)


__all__ = ["IN_MODULE", "IS", "METAL", "joined", "that_are"]
