"""Bus lines with their terminations: the resistance between the lines at each access point, in order and with one thing changed, and what a test can tell.

Resistances are for supplies off and the bus asleep. The rule of two terminations holds for high-speed CAN alone; the other kinds are described by their own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from tracer.electrics.bus.expected_on_lines import Asked, expected_on_lines, supply_v_of
from tracer.electrics.bus.levels import levels_of
from tracer.electrics.bus.lines import BusLines, bus_names
from tracer.electrics.bus.ohms import BusNetwork
from tracer.electrics.bus.supply import lin_supply_of
from tracer.electrics.bus.terminations import judge_terminations, line_ohms, terminations_of
from tracer.electrics.bus.trunk import trunk_of
from tracer.electrics.bus.values import (
    FAULT_TOLERANT,
    HIGH_SPEED,
    LIN,
    Access,
    BusReport,
    BusTermination,
    Case,
    Ohm,
    Stub,
    Test,
    UnknownBus,
)
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.entry.bus_words import NO_BUS
from tracer.entry.bus_words import bus_of as bus_of_words
from tracer.entry.problems import listed, natural, nearest
from tracer.standards import figures
from tracer.trace.hazards import Hazards
from tracer.trace.lists.basis import of_nodes, uncounted_joints
from tracer.trace.lists.completeness import Completeness
from tracer.trace.minding import minding_of
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing

__all__ = ["bus_of", "terminations_in_order"]


def bus_of(tracing: Tracing, name: str, *, limits: LimitsInUse) -> BusReport:
    """Everything about one bus.

    Raises
    ------
    UnknownBus : there is no bus of that name
    """
    names = bus_names(tracing.circuit)
    if name not in names:
        near = nearest(name, names)
        raise UnknownBus(
            f"there is no bus {name}. "
            + (f"Did you mean {near[0]}? " if near else "")
            + (f"Buses: {listed(names, joiner='and')}." if names else NO_BUS)
        )
    return _report(BusLines(tracing, name), limits)


def terminations_in_order(
    tracing: Tracing, name: str, *, limits: LimitsInUse
) -> tuple[tuple[BusTermination, ...], Ohm | None]:
    """The terminations of a bus of vehicle.yaml, and for high-speed CAN the first reading with everything in order: what needs no faults."""
    lines = BusLines(tracing, name)
    terminations = terminations_of(lines)
    accesses = tuple(lines.accesses()) if lines.two else ()
    if lines.facts.kind != HIGH_SPEED or not accesses or lines.touch:
        return terminations, None
    return terminations, BusNetwork(lines, terminations, accesses, limits).in_order()[0]


def _report(lines: BusLines, limits: LimitsInUse) -> BusReport:
    kind = lines.facts.kind or ""
    terminations = terminations_of(lines)
    on_lines = list(lines.loose_ends())
    lines.problems += [*lines.not_declared(), *on_lines, *_problems(lines, terminations)]
    supply = lin_supply_of(lines, limits.system_v) if kind == LIN else None
    accesses = tuple(lines.accesses()) if lines.two else ()
    cases: tuple[Case, ...] = ()
    tests: tuple[Test, ...] = ()
    trunk: tuple[str, ...] = ()
    trunk_m: float | None = None
    stubs: tuple[Stub, ...] = ()
    if kind == HIGH_SPEED and lines.two:
        if lines.touch:
            lines.problems.append("both lines are one conductor as typed in")
        else:
            network = BusNetwork(lines, terminations, accesses, limits)
            cases = tuple(network.cases())
            tests = tuple(network.tests(cases))
            trunk, trunk_m, stubs = trunk_of(network)
            judge_terminations(lines, terminations, cases)
    withheld = _withheld(lines, accesses)
    cases = tuple(
        _without(case, accesses, withheld)
        for case in cases
        if case.kind not in ("unplugged", "termination") or withheld.keys().isdisjoint(case.parts)
    )
    if all(ohm is None for case in cases for ohm in case.expected):
        cases = ()  # there is no point at which anything may be read
    tests = tuple(test for test in tests if withheld.keys().isdisjoint((test.module, test.at)))
    levels = tuple(levels_of(kind, supply))
    supply_v = supply_v_of(limits.system_v, supply)
    report = BusReport(
        lines.circuit.name,
        lines.name,
        lines.facts.name or "",
        kind,
        tuple(sorted(lines.pins)),
        tuple(lines.nodes),
        terminations,
        trunk,
        trunk_m,
        stubs,
        accesses,
        cases,
        tests,
        levels,
        tuple(lines.notes),
        tuple(lines.problems),
        f"{figures.percent(limits.of('meter resistance share').high)} of the reading and {figures.ohms(limits.of('meter resistance digits').high)}",
        _completeness(lines, terminations, len(loose_ends(lines.tracing)) - len(on_lines)),
        line_ohms(terminations) if kind == FAULT_TOLERANT else {},
        lines.facts.commander or "",
        tuple(withheld.items()),
        on_lines=expected_on_lines(Asked(lines, terminations, levels, supply_v), ohms=not withheld),
        supply_v=supply_v,
    )
    return replace(report, minding=minding_of(lines.tracing, report))


def _completeness(lines: BusLines, terminations: Sequence[BusTermination], elsewhere: int) -> Completeness:
    """Whether nothing about the bus is unknown; it rests on what is only assumed of its lines."""
    not_said = not lines.problems and (not lines.facts.kind or any(one.ohms is None for one in terminations))
    nodes = frozenset[int]().union(*lines.nets.values())
    return Completeness(
        loose=len(lines.problems) + not_said,
        rests_on=of_nodes(lines.tracing, nodes),
        uncounted=uncounted_joints(lines.circuit, nodes),
        elsewhere=elsewhere,
        about="bus",
    )


def _withheld(lines: BusLines, accesses: Sequence[Access]) -> dict[str, str]:
    """The modules and access points at which nothing may be measured, and what stands there instead."""
    hazards, names = lines.tracing.once(Hazards), lines.circuit.node_names
    found = {node.module: hazards.withheld_in(node.module) for node in lines.nodes}
    for access in accesses:
        found[access.name] = hazards.withheld(names[access.high]) or hazards.withheld(names[access.low])
    return {name: words for name, words in found.items() if words}


def _without(case: Case, accesses: Sequence[Access], withheld: Mapping[str, str]) -> Case:
    """A case without what would be read where nothing may be measured."""
    expected = zip(accesses, case.expected, strict=True)
    return replace(case, expected=tuple(None if access.name in withheld else one for access, one in expected))


def _problems(lines: BusLines, terminations: Sequence[BusTermination]) -> Iterator[str]:
    """What keeps a rule from being applied, or a reading from being called in order."""
    kind, wired = lines.facts.kind, sorted(line for line, nodes in lines.nets.items() if nodes)
    if not kind and lines.name.upper() in ("H", "L", "HIGH", "LOW", "CAN_H", "CAN_L"):
        yield f"its pins are called `bus {lines.name}`, which is a line and no bus: write the name of the bus before it, such as `bus drive {lines.name}`"
    elif not kind:
        yield f"its kind is not said: add `buses: {{{lines.name}: {{kind: high-speed can}}}}` to vehicle.yaml; no rule is applied"
    yield from _misnamed(lines)
    for termination in terminations:
        if termination.problem:
            yield termination.problem
    if kind == HIGH_SPEED and not lines.two:
        typed = " and ".join(wired) if wired else "none"
        yield f"lines typed in: {typed}, where H and L are wanted; no resistance can be computed"
    if {"H", "L"} <= lines.pins.keys():
        yield from _on_one_line(lines.pins)
    if kind == HIGH_SPEED and not any(one.fitted for one in terminations):
        yield "no termination is typed in, so every resistance here is that of a bus without one; a working bus has two"


def _on_one_line(pins: Mapping[str, Sequence[tuple[str, str]]]) -> Iterator[str]:
    """Modules of which the other line is not typed in: what hangs on it there is in no reading."""
    high, low = (dict.fromkeys(module for module, _ in pins[line]) for line in ("H", "L"))
    for line, other, modules in (("H", "L", high.keys() - low.keys()), ("L", "H", low.keys() - high.keys())):
        for module in sorted(modules, key=natural):
            yield f"{module} is on line {line} only, and which of its pins is on line {other} is not typed in"


def _misnamed(lines: BusLines) -> Iterator[str]:
    """A line that is taken for a word of the name: `bus roof lin` is line LIN of bus roof."""
    if not lines.pins and (meant := bus_of_words(f"bus {lines.name}")) is not None and meant[1]:
        yield f"no pin is on it: a pin called `bus {lines.name}` is on line {meant[1]} of bus {meant[0]}, so write `{meant[0]}` in vehicle.yaml"
    if "LIN" in lines.pins and len(lines.pins) > 1:
        others = listed(sorted(line for line in lines.pins if line != "LIN"), joiner="and")
        yield f"its pins are said to be on line LIN and on {others}, which no bus has together: give the two buses names of their own"
