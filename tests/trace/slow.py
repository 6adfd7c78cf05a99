"""The slow and obvious way: take something out, trace everything anew, and again as long as a relay or module falls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tracer.circuit.kinds import GROUND_KINDS, SUPPLY_KINDS, Link, LinkKind
from tracer.circuit.model import Circuit
from tracer.entry.models import ModuleFacts
from tracer.trace.tracing import Tracing, ground_sense, supply_sense
from tracer.trace.ways.guards import guards_of
from tracer.trace.ways.simple import Ways

LEVELS = ("supply", "ground")


def reached_without(
    tracing: Tracing, gone: set[int], ends_gone: set[int], dead: frozenset[int] = frozenset()
) -> dict[str, set[int]]:
    """Nodes with a way from a source (or to ground) when links are taken out, by a fresh search of all ways. `dead` are sources that do not count."""
    circuit = tracing.circuit
    left = replace(circuit, links=[link for number, link in enumerate(circuit.links) if number not in gone])
    found = {}
    for level in LEVELS:
        supply = level == "supply"
        ends = {end.node for end in (circuit.sources if supply else circuit.grounds)} - ends_gone - dead
        kinds = SUPPLY_KINDS if supply else GROUND_KINDS
        barred = tracing.hard_ground - tracing.hard_supply if supply else tracing.hard_supply - tracing.hard_ground
        sense = supply_sense if supply else ground_sense
        passing = tracing.passing_sources & ends
        ways = Ways(
            left.links, left.at, ends - passing, _of(kinds), barred, sense, passing=passing, guards=guards_of(left)
        )
        nodes = range(len(circuit.node_names))
        found[level] = {node for node in nodes if node in ends - barred or ways.to(node) is not None}
    return found


def _of(kinds: frozenset[LinkKind]) -> Callable[[Link], bool]:
    return lambda link: link.kind in kinds


def lost_without(
    tracing: Tracing, gone: set[int], ends_gone: set[int], *, steady: bool = False
) -> tuple[dict[str, set[int]], set[str]]:
    """What loses supply and ground, and which relays and modules fall, by tracing anew until nothing more falls.

    With `steady`, what hangs on a source that is always live is held up by such a source only.
    """
    circuit = tracing.circuit
    always = reached_without(tracing, set(), set(), tracing.passing_sources)["supply"]

    def reached(gone: set[int], ends_gone: set[int]) -> dict[str, set[int]]:
        now = reached_without(tracing, gone, ends_gone)
        if steady:
            certain = reached_without(tracing, gone, ends_gone, tracing.passing_sources)["supply"]
            now["supply"] -= always - certain
        return now

    before = reached(set(), set())
    names = [name for name, part in circuit.parts.items() if part.kind in ("relay", "module", "converter")]
    up = {name for name in names if _works(circuit, name, before, before)}
    gone, ends_gone, fallen = set(gone), set(ends_gone), set[str]()
    while True:
        now = reached(gone, ends_gone)
        falling = {name for name in up - fallen if not _works(circuit, name, now, before)}
        if not falling:
            return {level: before[level] - now[level] for level in LEVELS}, fallen
        fallen |= falling
        ends_gone |= {circuit.pins_of[name]["out"] for name in falling if circuit.parts[name].kind == "converter"}
        for number, link in enumerate(circuit.links):
            driver = link.kind in (LinkKind.DRIVER_HIGH, LinkKind.DRIVER_LOW)
            if link.part in falling and (driver or (link.kind is LinkKind.CONTACT and link.closed == ("energised",))):
                gone.add(number)


def _works(circuit: Circuit, name: str, now: dict[str, set[int]], before: dict[str, set[int]]) -> bool:
    part, pins = circuit.parts[name], circuit.pins_of[name]
    if part.kind == "relay":
        return any(
            (pins[a] in now["supply"] and pins[b] in now["ground"])
            or (pins[b] in now["supply"] and pins[a] in now["ground"])
            for a, b in part.coils
        )
    if part.kind == "converter":
        return pins["in"] in now["supply"] and pins["ground"] in now["ground"]
    assert isinstance(part.facts, ModuleFacts)
    supplies = {pins[pin] for pin, words in part.facts.pins.items() if words.startswith("supply") and pin in pins}
    grounds = {pins[pin] for pin, words in part.facts.pins.items() if words.startswith("ground") and pin in pins}
    grounds &= before["ground"]
    return (not supplies or bool(supplies & now["supply"])) and (not grounds or bool(grounds & now["ground"]))
