"""Levels, terminations and meter readings of high-speed CAN, fault-tolerant CAN and LIN."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

from tracer.standards import _tables, figures
from tracer.standards._tables import BrokenTable, Certainty
from tracer.standards.sources import Sourced

BUSES: Final = ("high-speed CAN", "fault-tolerant CAN", "LIN")

LinLevel = Literal[
    "receiver, recessive above",
    "receiver, dominant below",
    "transmitter, recessive at least",
    "transmitter, dominant at most",
]


@dataclass(frozen=True, slots=True)
class Level:
    """Voltage of a CAN line, or of CAN_H less CAN_L (``difference``), in one bus state.

    Limits are None where only the usual value is known.
    """

    bus: str
    state: str
    line: str
    min_v: float | None
    nominal_v: float
    max_v: float | None
    condition: str
    source: str
    certainty: Certainty
    nominal_certainty: Certainty


@dataclass(frozen=True, slots=True)
class NodeInput:
    """Resistance of one node without a terminator, bus recessive, kΩ."""

    bus: str
    between: str
    min_kohm: float
    typical_kohm: float | None
    max_kohm: float
    parts: str
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class Termination:
    """A resistor that belongs to the bus, Ω; what is not known is None."""

    bus: str
    what: str
    nominal_ohm: float | None
    min_ohm: float | None
    max_ohm: float | None
    note: str
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class WorkshopReading:
    """What a meter across CAN_H and CAN_L shows with the supply off, high-speed CAN only.

    Either ``about_ohm``, or a range with an open side where there is no limit.
    """

    case: str
    about_ohm: float | None
    min_ohm: float | None
    max_ohm: float | None
    note: str
    source: str
    certainty: Certainty


def levels(bus: str) -> tuple[Level, ...]:
    """Line voltages of a CAN bus, recessive before dominant; empty for LIN, see `lin_level_v`.

    Raises
    ------
    ValueError : not one of `BUSES`
    """
    _check(bus)
    return tuple(level for level in _levels() if level.bus == bus)


@cache
def node_inputs() -> tuple[NodeInput, ...]:
    """Input resistances of high-speed CAN nodes, as seen in datasheets and as limits."""
    return tuple(
        NodeInput(
            row.text("bus"),
            row.text("between"),
            row.number("min_kohm"),
            row.optional_number("typical_kohm"),
            row.number("max_kohm"),
            row.text("parts"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("bus", "node_input")
    )


def terminations(bus: str) -> tuple[Termination, ...]:
    """Resistors that belong to the bus.

    Raises
    ------
    ValueError : not one of `BUSES`
    """
    _check(bus)
    return tuple(entry for entry in _terminations() if entry.bus == bus)


@cache
def workshop_readings() -> tuple[WorkshopReading, ...]:
    """Meter readings across CAN_H and CAN_L of high-speed CAN, supply off or bus asleep.

    60 Ω proves the trunk and not the branch to one module. The readings do not hold where the second
    terminator sits in an unplugged module, or where a maker uses other values on purpose.
    """
    return tuple(
        WorkshopReading(
            row.text("case"),
            row.optional_number("about_ohm"),
            row.optional_number("min_ohm"),
            row.optional_number("max_ohm"),
            row.optional_text("note"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("bus", "workshop_readings")
    )


def lin_level_v(level: LinLevel, supply_v: float, system_v: int = 12) -> Sourced:
    """A LIN level at a given supply at the transceiver, V; `system_v` is 12, or 24 for the 24 V form of ISO 17987-4.

    Raises
    ------
    ValueError : supply outside the range the levels are given for, 7 to 18 V or 15 to 36 V
    """
    form = "" if system_v == 12 else f", {figures.stated(system_v, 'V')}"
    low, high = lin_quantity(f"supply, lowest{form}").value, lin_quantity(f"supply, highest{form}").value
    if not low <= supply_v <= high:
        asked = figures.stated(supply_v, "V") if math.isfinite(supply_v) else "an unknown supply"
        raise ValueError(f"LIN levels are given for {figures.stated_range(low, high, 'V')}, not for {asked}")
    share = lin_quantity(f"{level}{form}")
    if share.unit != "share of the supply":
        raise ValueError(f"{level!r} is no level")
    source = f"computed: {share.value:g} of the supply; {share.source}"
    return Sourced(share.value * supply_v, "V", source, share.certainty, share.note)


@cache
def lin_quantity(quantity: str) -> Sourced:
    """A LIN quantity by name, for example ``nodes, most`` or ``bit rate, highest``.

    Raises
    ------
    ValueError : no such quantity
    """
    rows = _tables.table("bus", "lin")
    for row in rows:
        if row.text("quantity") == quantity:
            condition = row.optional_text("condition")
            return Sourced(row.number("value"), row.text("unit"), row.source, row.certainty, condition)
    raise ValueError(f"no LIN quantity {quantity!r}; known: {'; '.join(r.text('quantity') for r in rows)}")


def _check(bus: str) -> None:
    if bus not in BUSES:
        raise ValueError(f"no bus {bus!r}; known: {', '.join(BUSES)}")


@cache
def _levels() -> tuple[Level, ...]:
    return tuple(
        Level(
            row.text("bus"),
            row.text("state"),
            row.text("line"),
            row.optional_number("min_v"),
            row.number("nominal_v"),
            row.optional_number("max_v"),
            row.text("condition"),
            row.source,
            row.certainty,
            row.mark("nominal_sure"),
        )
        for row in _tables.table("bus", "levels")
    )


@cache
def _terminations() -> tuple[Termination, ...]:
    entries = tuple(
        Termination(
            row.text("bus"),
            row.text("what"),
            row.optional_number("nominal_ohm"),
            row.optional_number("min_ohm"),
            row.optional_number("max_ohm"),
            row.text("note"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("bus", "terminations")
    )
    if strange := {entry.bus for entry in entries} - set(BUSES):
        raise BrokenTable(f"bus.yaml, terminations: no bus {', '.join(sorted(strange))}")
    return entries


@dataclass(frozen=True, slots=True)
class Situation:
    """What a meter shows on one line in a situation; numbers are None where the note says it."""

    bus: str
    situation: str
    line: str
    min_v: float | None
    nominal_v: float | None
    max_v: float | None
    note: str
    source: str
    certainty: Certainty


@cache
def situations(bus: str) -> tuple[Situation, ...]:
    """Asleep, with traffic, and with a line shorted: V to battery negative.

    Raises
    ------
    ValueError : not one of `BUSES`
    """
    _check(bus)
    return tuple(
        Situation(
            bus,
            row.text("situation"),
            row.text("line"),
            row.optional_number("min_v"),
            row.optional_number("nominal_v"),
            row.optional_number("max_v"),
            row.optional_text("note"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("bus", "situations")
        if row.text("bus") == bus
    )


def trade_range(fact: str) -> tuple[float, float]:
    """A range that the trade goes by; common practice, no source.

    Raises
    ------
    ValueError : no such fact
    """
    for row in _tables.table("bus", "trade"):
        if row.text("fact") == fact:
            return row.number("min_ohm"), row.number("max_ohm")
    raise ValueError(f"no fact {fact!r}")
