"""A circuit with something open in it."""

from __future__ import annotations

from dataclasses import replace

from tracer.circuit.kinds import OUTSIDE
from tracer.circuit.model import Circuit, Link


def circuit_without(circuit: Circuit, links: frozenset[int], nodes: frozenset[int] = frozenset()) -> Circuit:
    """The circuit with links open; sources and grounds at the given nodes are ends no longer.

    An opened wire stays where it is, with its two ends hanging loose on new nodes: what was typed in must not look as if it had never been. Nodes keep their numbers,
    links do not.
    """
    kept: list[Link] = []
    names = list(circuit.node_names)
    for number, link in enumerate(circuit.links):
        if number not in links:
            kept.append(link)
        elif link.kind in OUTSIDE:
            names += ["open end", "open end"]
            kept.append(replace(link, b=len(names) - 2))
            kept.append(replace(link, a=len(names) - 1))
    blank = [""] * (len(names) - len(circuit.node_names))
    return replace(
        circuit,
        links=kept,
        node_names=names,
        node_parts=[*circuit.node_parts, *blank],
        node_pins=[*circuit.node_pins, *blank],
        sources=tuple(end for end in circuit.sources if end.node not in nodes),
        grounds=tuple(end for end in circuit.grounds if end.node not in nodes),
    )
