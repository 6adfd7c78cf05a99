"""Rules about several batteries."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from tracer.circuit.flood import flood
from tracer.circuit.kinds import GROUND_KINDS, PartKind
from tracer.circuit.model import Circuit
from tracer.trace.lists.census import pins_found
from tracer.trace.rules.registry import Finding, at_pin, rule
from tracer.trace.tracing import Tracing

_TWO = (
    "parts: {ALM: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}, BAT: battery, B2: battery, F9: {is: fuse, amps: 10}, G1: {is: ground, on: body}, G2: {is: ground, on: rear frame}, E1: load}"
    "%s\nruns:\n- B2.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n- ALM.2 -- BN 1 -- G1 -- BK 35 -- BAT.-\n- BAT.+ -- RD 1 -- E1 -- BN 1 -- G1\n- B2.- -- BK 35 -- %s\n"
)


@rule(
    "L166",
    "supply from a battery that no ground of the module leads to",
    why="Current goes back to the battery from which it comes. Where no ground of the module leads there, the joint between the negatives is on no list; "
    "or what is typed as a battery is a post that another battery feeds, and the fuse before it is on no list.",
    fix="Type in how the negative of that battery is joined with the others: `B2.- -- BK 35 -- G1`; or type that post as what it is.",
    bad=_TWO % ("  # L166", "G2"),
    good=_TWO % ("", "G1"),
)
def battery_without_return(tracing: Tracing) -> Iterator[Finding]:
    """A supply pin of a module that has ground pins, none of which leads, whatever any switch does, to the negative of a battery at which the pin's ways end."""
    circuit = tracing.circuit
    returns = _returns(circuit)
    if len({min(nodes) for nodes in returns.values()}) < 2:
        return
    for module in circuit.modules():
        found = pins_found(tracing, module)
        grounds = {pin.node for pin in found if pin.ground and pin.node is not None}
        for pin in found if grounds else ():
            if not pin.supply or pin.node is None:
                continue
            way = tracing.ways_to(pin.node, "supply", module.name).to(pin.node)
            for name in sorted({circuit.node_parts[end] for end in way.ends} if way else ()):
                if name in returns and grounds.isdisjoint(returns[name]):
                    words = f"is supplied from battery {name}, and no ground of {module.name} leads to {name}.-"
                    yield at_pin(module, pin.pin, pin.node, words)


def _returns(circuit: Circuit) -> Mapping[str, frozenset[int]]:
    """For each battery with both posts wired, all that its negative may be joined with; of one that stands on another, the other's as well."""
    found: dict[str, frozenset[int]] = {}
    for part in circuit.parts.values():
        pins = circuit.pins_of.get(part.name, {})
        if part.kind is PartKind.BATTERY and all(
            any(circuit.is_attached(node) for pin, node in pins.items() if pin.startswith(pole)) for pole in "+-"
        ):
            posts = [node for pin, node in pins.items() if pin.startswith("-")]
            found[part.name] = frozenset(flood(circuit, posts, GROUND_KINDS))
    for name in found:
        below = {name}
        while more := {
            other
            for other in found.keys() - below
            if any(node in found[name] for pin, node in circuit.pins_of[other].items() if pin.startswith("+"))
        }:
            below |= more
            found[name] = found[name].union(*(found[other] for other in more))
    return found


__all__ = ["battery_without_return"]
