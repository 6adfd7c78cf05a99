"""Ranges that computed voltages rest on where copper alone does not: contacts, joints, coils, draws, batteries, meters.

A range holds `low` (most favourable), `nominal` and `high` (still in order). It says how far a computed value may be off; nothing is judged by it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from tracer.standards import _tables
from tracer.standards._tables import BrokenTable, Certainty
from tracer.standards.sources import Sourced


@dataclass(frozen=True, slots=True)
class Span:
    """Low, nominal and high value of one quantity, with unit, source and the doubt that goes with it."""

    low: float
    nominal: float
    high: float
    unit: str
    source: str
    certainty: Certainty
    note: str = ""


THERMAL_V = 1.380649e-23 * 300.15 / 1.602176634e-19
"""kT/q at 27 °C; the constants are those that define the units since 2019."""

DIODE_DROP = "0.3 to 0.7 V"
"""What a meter shows less behind a diode, in words: common practice, no source."""

BATTERY_STATES = ("at rest", "key on", "cranking", "charging", "maintainer connected")


@cache
def contact_ohm(item: str, made_for_a: float | None = None) -> Span:
    """Resistance of a contact, joint or switching element, Ω; of one that is made for a current not more than it may lose there, whatever its kind allows a small one.

    Raises
    ------
    ValueError : no such item, or none that goes by a current
    """
    span = _span("contact", "item", item, "Ω")
    if made_for_a is None:
        return span
    volts = _span("contact_v", "contact", item, "V")
    low, nominal, high = (
        min(ohm, most_v / made_for_a)
        for ohm, most_v in zip((span.low, span.nominal, span.high), (volts.low, volts.nominal, volts.high), strict=True)
    )
    return Span(low, nominal, high, "Ω", span.source, span.certainty, span.note)


@cache
def contact_most_v() -> Sourced:
    """What one contact in order loses at most, V."""
    (row,) = _tables.table("allowances", "contact_most_v")
    return Sourced(row.number("value"), row.text("unit"), row.source, row.certainty, row.optional_text("note"))


@cache
def opens_at() -> Sourced:
    """The multiple of its rating at which a fuse opens within half an hour."""
    (row,) = _tables.table("allowances", "opens_at")
    return Sourced(row.number("value"), row.text("unit"), row.source, row.certainty, row.optional_text("note"))


@dataclass(frozen=True, slots=True)
class Junction:
    """The law of a junction that conducts: `at_1_a_v` volts at 1 A, and `per_e_v` more with each factor e of the current, without its slope.

    References
    ----------
    Shockley (1949), Bell System Technical Journal 28(3), 435-489 (citation from memory).
    """

    at_1_a_v: float
    per_e_v: float

    def volts(self, amps: float) -> float:
        """Across it at a current."""
        return self.at_1_a_v + self.per_e_v * math.log(amps)

    def amps(self, volts: float) -> float:
        """Through it at a voltage; not more than 10 kA."""
        return math.exp(min((volts - self.at_1_a_v) / self.per_e_v, 9.2))


@cache
def junctions() -> tuple[Junction, Junction, Junction]:
    """A silicon diode at room temperature that loses least, the nominal one, and one that loses most."""
    at_1_a, ideality = (_span("junction", "item", f"silicon diode{which}") for which in (" at 1 A", ", ideality"))
    low, nominal, high = (
        Junction(volts, n * THERMAL_V)
        for volts, n in zip(
            (at_1_a.low, at_1_a.nominal, at_1_a.high), (ideality.low, ideality.nominal, ideality.high), strict=True
        )
    )
    return low, nominal, high


@cache
def unknown_wire(item: str) -> Span:
    """What stands in for a wire's `length` (m) or `area` (mm²) that was not typed in, or for a `panel track` (Ω)."""
    return _span("unknown_wire", "item", item)


@cache
def conductor_temperature_c() -> Span:
    """Temperature of a conductor in a working vehicle, °C."""
    return _span("temperature", "item", "conductor")


@cache
def default_draw_a(item: str) -> Span:
    """Current that is taken where none was typed in, A."""
    return _span("draw", "item", item, "A")


@cache
def conversion(item: str) -> Span:
    """The `efficiency` of a converter, a share, or what it takes `idle`, W."""
    return _span("conversion", "item", item)


@cache
def charging_a() -> Span:
    """Current into a battery while a generator turns, A."""
    return _span("charging", "item", "battery", "A")


@cache
def coil_ohm(system_v: float = 12.0) -> Span:
    """Resistance of a relay coil, Ω; at another system voltage for the same power."""
    span = _span("coil", "item", "relay coil", "Ω")
    factor = (system_v / 12.0) ** 2
    return Span(
        span.low * factor,
        span.nominal * factor,
        span.high * factor,
        "Ω",
        span.source,
        span.certainty,
        span.note,
    )


@cache
def pull_in() -> Span:
    """Share of the system's volts at which a relay pulls in."""
    return _span("pull_in", "item", "relay")


@cache
def spread(item: str) -> Span:
    """Share by which a typed value may be off."""
    return _span("spread", "item", item, "1")


@cache
def battery_v(state: str, system_v: float = 12.0) -> Span:
    """Voltage at the posts of a battery in a state, V.

    Parameters
    ----------
    state : one of `BATTERY_STATES`
    system_v : the table is for 12 V; other systems in proportion

    Raises
    ------
    ValueError : no such state
    """
    span = _span("battery", "state", state, "V")
    factor = system_v / 12.0
    note = span.note if factor == 1.0 else f"{span.note}; {factor:g} times the 12 V value"
    return Span(span.low * factor, span.nominal * factor, span.high * factor, "V", span.source, span.certainty, note)


@cache
def meter(item: str) -> Sourced:
    """A property of a usual workshop meter.

    Raises
    ------
    ValueError : no such item
    """
    for row in _tables.table("allowances", "meter"):
        if row.text("item") == item:
            return Sourced(row.number("value"), row.text("unit"), row.source, row.certainty, row.optional_text("note"))
    raise ValueError(f"no meter property {item!r}")


def _span(table: str, key: str, wanted: str, unit: str = "") -> Span:
    rows = _tables.table("allowances", table)
    for row in rows:
        if row.text(key) == wanted:
            low, nominal, high = row.number("low"), row.number("nominal"), row.number("high")
            # an area falls from low to high resistance; everything else rises
            if not (low <= nominal <= high or low >= nominal >= high):
                raise BrokenTable(f"{row.where}: nominal lies outside low and high")
            return Span(
                low, nominal, high, unit or row.text("unit"), row.source, row.certainty, row.optional_text("note")
            )
    raise ValueError(f"no {wanted!r} in {table}; known: {', '.join(row.text(key) for row in rows)}")
