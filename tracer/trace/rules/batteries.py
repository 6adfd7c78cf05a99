"""Rules about batteries."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from tracer.circuit.flood import flood
from tracer.circuit.kinds import GROUND_KINDS, PartKind
from tracer.circuit.model import Circuit
from tracer.trace.lists.census import pins_found
from tracer.trace.rules.registry import Finding, at_pin, rule
from tracer.trace.tracing import Tracing


@rule(
    "L134",
    "battery with one post open",
    why="Every way to ground ends at a battery negative, every supply at a positive. Where that cable goes is not typed in, so the strap or stud on it is on no list.",
    fix="Type in the cable from the other post: `BAT.- -- BK 35 -- G1`.",
    bad="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground, BAT: battery, F9: {is: fuse, amps: 10}, E1: load}  # L134\n"
    "runs:\n- ALM.2 -- BN 1 -- G1\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- E1 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground, BAT: battery, F9: {is: fuse, amps: 10}, E1: load}\n"
    "runs:\n- ALM.2 -- BN 1 -- G1\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- E1 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
)
def battery_half_wired(tracing: Tracing) -> Iterator[Finding]:
    """A battery with a wire at one pole only.

    It concerns what ends at that pole, since what is no battery's post hides what feeds it; an open negative also what ends at an assumed ground, an open
    positive at an assumed rail.
    """
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if part.kind is not PartKind.BATTERY:
            continue
        wired = _wired_posts(circuit, part.name)
        poles = {pin[0] for pin in wired}
        for pole, word, ends in (("-", "negative", circuit.grounds), ("+", "positive", circuit.sources)):
            if poles and pole not in poles:
                nodes = (*wired.values(), *(end.node for end in ends if end.assumed))
                message = f"nothing is wired to the {word} post of {part.name}"
                cable = "BK 35 -- G1" if pole == "-" else "RD 35 -- S1"
                fix = f"Type in the cable from that post, such as `{part.name}.{pole} -- {cable}`."
                yield Finding(part.place, f"{part.name}.{pole}", message, fix, nodes, (part.name,))


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
        wired = _wired_posts(circuit, part.name) if part.kind is PartKind.BATTERY else {}
        if {pin[0] for pin in wired} == {"+", "-"}:
            posts = [node for pin, node in wired.items() if pin.startswith("-")]
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


def _wired_posts(circuit: Circuit, battery: str) -> Mapping[str, int]:
    """The posts of a battery on which something sits, with their nodes."""
    return {pin: node for pin, node in circuit.pins_of.get(battery, {}).items() if circuit.is_attached(node)}


__all__ = ["battery_half_wired", "battery_without_return"]
