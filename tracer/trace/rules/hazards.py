"""Hazards that a name gives away and nobody typed."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.trace.hazards import Hazards
from tracer.trace.rules.registry import Finding, rule
from tracer.trace.tracing import Tracing

_SHEET = (
    "parts: {BAT: {is: battery, at: bay}, F9: {is: fuse, amps: 10, at: bay}, "
    "RCM: {is: module, name: Airbag module, at: tunnel, cavities: 1-2, pins: {1: supply, 2: ground}HAZARD}}MARK\n"
    "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- RCM.1\n- RCM.2 -- BN 1 -- BAT.-\n"
)


@rule(
    "R251",
    "a name sounds like a hazard",
    why="Until it is settled, no test method and no expected figure is printed for its wiring. If it is one, type it: a later change of the name must not "
    "bring the methods back.",
    fix="Type `hazard: restraint` or `hazard: high voltage` on the part, as it is; or `hazard: none` if it is no such part.",
    bad=_SHEET.replace("HAZARD", "").replace("MARK", "  # R251"),
    good=_SHEET.replace("HAZARD", ", hazard: restraint").replace("MARK", ""),
)
def sounds_like_a_hazard(tracing: Tracing) -> Iterator[Finding]:
    """A hazard that was guessed from a name."""
    for danger in tracing.once(Hazards).guessed:
        part = tracing.circuit.parts[danger.part]
        message = f"{danger.part} is called `{danger.word}`, so it is taken as {danger.kind} wiring"
        yield Finding(part.place, part.name, message.replace("voltage wiring", "voltage"), "", parts=(part.name,))
