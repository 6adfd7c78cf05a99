"""What each line of a bus must read to ground and to supply: volts at rest and asleep, ohms with the supplies off.

Volts are the levels of the kind of bus, and what these leave of the supply. Ohms are those of the inputs of the modules typed in, and nothing is said of them where a module may be
missing, or where something else hangs on a line. Of a bus of unknown kind nothing is said.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from tracer.circuit.kinds import INSIDE_MODULE
from tracer.circuit.model import CONDUCTORS
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.bus.supply import SYSTEMS_V, LinSupply, full_v
from tracer.electrics.bus.values import (
    ASLEEP,
    AWAKE,
    FAULT_TOLERANT,
    HIGH_SPEED,
    KINDS,
    ONE_OUT,
    PLUGGED,
    UNPLUGGED,
    BusTermination,
    ExpectedOnLine,
    LevelLine,
)
from tracer.entry.problems import listed
from tracer.standards import bus as tables
from tracer.standards import figures
from tracer.standards.sources import said

ENDS = ("ground", "supply")


@dataclass(frozen=True, slots=True)
class Asked:
    """A bus of which all that is typed in is known; `supply_v` is None where it is not known."""

    lines: BusLines
    terminations: Sequence[BusTermination]
    levels: Sequence[LevelLine]
    supply_v: float | None


def supply_v_of(system_v: int, supply: LinSupply | None) -> float | None:
    """The V that levels are held against: a full battery at rest, or what feeds the modules of a LIN bus."""
    if supply is not None:
        return None if supply.why_not else supply.full_v
    return full_v(system_v) if system_v in SYSTEMS_V else None


def expected_on_lines(asked: Asked, *, ohms: bool) -> tuple[ExpectedOnLine, ...]:
    """Each line to ground and to supply; without `ohms` only volts."""
    if asked.lines.facts.kind not in KINDS:
        return ()
    return (*_volts(asked), *(_ohms(asked) if ohms else ()))


# --- volts -----------------------------------------------------------------------------------------------------------


def _volts(asked: Asked) -> Iterator[ExpectedOnLine]:
    by_state: dict[tuple[str, str], LevelLine] = {}
    for level in asked.levels:
        by_state.setdefault((level.state.split(" (")[0], level.line), level)
    for state, words in (("recessive", AWAKE), ("asleep", ASLEEP)):
        for (found, line), level in by_state.items():
            if found != state or line == "difference":
                continue
            if level.low_v is None and level.nominal_v is None:
                level = _near_supply(level, by_state.get(("recessive", line)), asked.supply_v)
            yield ExpectedOnLine(
                words, line, "ground", "V", level.low_v, level.nominal_v, level.high_v, "", level.source
            )
            if asked.supply_v is not None:
                yield _left_of(asked.supply_v, words, level)


def _near_supply(level: LevelLine, rest: LevelLine | None, supply_v: float | None) -> LevelLine:
    """A level that is said to be that of the supply, as numbers: LIN sleeps as it rests."""
    if level.line == "LIN" and rest is not None:
        return LevelLine(level.state, level.line, rest.low_v, rest.nominal_v, rest.high_v, "", level.source)
    return LevelLine(level.state, level.line, None, supply_v, None, "", level.source)


def _left_of(supply_v: float, state: str, level: LevelLine) -> ExpectedOnLine:
    low, nominal, high = (
        None if volts is None else max(supply_v - volts, 0.0) + 0.0
        for volts in (level.high_v, level.nominal_v, level.low_v)
    )
    return ExpectedOnLine(state, level.line, "supply", "V", low, nominal, high, "", level.source)


# --- ohms ------------------------------------------------------------------------------------------------------------


def _ohms(asked: Asked) -> Iterator[ExpectedOnLine]:
    lines, kind = asked.lines, asked.lines.facts.kind or ""
    names = {"H": "CAN_H", "L": "CAN_L"}
    hanging = _hanging(lines, asked.terminations)
    unknown = (
        "a module may be missing"
        if lines.problems
        else f"{listed(hanging, joiner='and')} on the lines"
        if hanging
        else ""
    )
    row = _least_input()
    for line, end in product(lines.nets, ENDS):
        name = names.get(line, line)
        for state, modules in ((PLUGGED, len(lines.nodes)), (ONE_OUT, len(lines.nodes) - 1), (UNPLUGGED, 0)):
            if unknown:
                yield ExpectedOnLine(state, name, end, "Ω", None, None, None, f"not known: {unknown}", "")
            elif not modules:
                yield ExpectedOnLine(
                    state, name, end, "Ω", math.inf, math.inf, math.inf, "", "computed: nothing but wire"
                )
            elif kind == HIGH_SPEED:
                least = row.min_kohm * 1000 / (2 * modules)
                yield ExpectedOnLine(state, name, end, "Ω", least, None, math.inf, "", said(row.certainty, row.source))
            else:
                yield ExpectedOnLine(state, name, end, "Ω", None, None, None, _why_not(asked), "")


def _least_input() -> tables.NodeInput:
    """The least that an input of a module may have to ground; those of all modules and of both lines lie side by side, since the terminations join the lines."""
    return min(
        (row for row in tables.node_inputs() if row.between == "each line and ground"), key=lambda row: row.min_kohm
    )


def _why_not(asked: Asked) -> str:
    if asked.lines.facts.kind == FAULT_TOLERANT:
        return "not judged: the resistors end inside the transceivers"
    ohm = pull_up_ohm(asked)
    are = "" if ohm is None else f" ({figures.ohms(ohm[1])} side by side, {figures.ohms_ends(ohm[0], ohm[2])})"
    return f"not judged: the pull-ups{are} lie behind diodes, and a meter shows open"


def pull_up_ohm(asked: Asked) -> tuple[float, float, float] | None:
    """Least, nominal and greatest Ω of the pull-ups of a LIN bus side by side; None where no commander is typed in."""
    commander, lines = asked.lines.facts.commander, asked.lines
    if not commander:
        return None
    own = next((one.ohms for one in asked.terminations if one.name == commander and one.ohms), None)
    main, other = pull_ups_ohm(True, own), pull_ups_ohm(False, None)
    low, nominal, high = (1 / (1 / one + (len(lines.nodes) - 1) / each) for one, each in zip(main, other, strict=True))
    return low, nominal, high


def pull_ups_ohm(commands: bool, typed_ohm: float | None) -> tuple[float, float, float]:
    """Least, nominal and greatest Ω of the pull-up in one module of a LIN bus; `typed_ohm` is what is typed for the commander."""
    found = _three("pull-up in the commander" if commands else "pull-up in a responder")
    share = 1.0 if typed_ohm is None or not commands else typed_ohm / found[1]
    return found[0] * share, found[1] * share, found[2] * share


def _three(what: str) -> tuple[float, float, float]:
    """Least, nominal and greatest Ω of a resistor of LIN."""
    rows = {row.what: row for row in tables.terminations("LIN")}
    nominal, limits = rows[what].nominal_ohm, rows[f"{what}, limits"]
    assert nominal is not None and limits.min_ohm is not None and limits.max_ohm is not None
    return limits.min_ohm, nominal, limits.max_ohm


def _hanging(lines: BusLines, terminations: Sequence[BusTermination]) -> list[str]:
    """Parts beside modules and terminations through which a line leads on: what they lead to is in no ohms."""
    nodes = frozenset[int]().union(*lines.nets.values())
    counted = {part for one in terminations for part in one.name.split(" + ")}
    return list(
        dict.fromkeys(
            link.part
            for link in lines.circuit.links
            if link.kind not in CONDUCTORS
            and link.kind not in INSIDE_MODULE
            and link.part not in counted
            and (link.a in nodes or link.b in nodes)
        )
    )
