"""Limits and usual windows for readings: voltage drop, battery, charging, cranking, key-off draw.

Each says in one word what it is. The maker's figure for a circuit comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tracer.standards import _tables, figures
from tracer.standards._tables import Certainty


class UnknownItem(ValueError):
    """A text that names no row of a table here; ``text`` holds it, ``known`` the names there are."""

    def __init__(self, text: str, what: str, known: tuple[str, ...]) -> None:
        self.text = text
        self.known = known
        super().__init__(f"no {what} {text!r}; known: {'; '.join(known)}")


@dataclass(frozen=True, slots=True)
class Limit:
    """Largest voltage drop of one item, V, with the condition it holds in and any doubt about it."""

    item: str
    max_v: float
    condition: str
    note: str
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class Window:
    """Usual range of a reading in a 12 V system; an absent side is None. ``unit`` is V or mA."""

    item: str
    lowest: float | None
    highest: float | None
    unit: str
    condition: str
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class ChargePoint:
    """Open-circuit voltage of a 12 V flooded battery at one state of charge."""

    charge_percent: float
    voltage_v: float
    condition: str
    source: str
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class SupplyRange:
    """Range in which equipment of one ISO 16750-2 supply code works continuously."""

    code: str
    system_v: float
    min_v: float
    max_v: float
    source: str
    certainty: Certainty


def drop_limit(item: str) -> Limit:
    """Largest drop of an item with the circuit loaded and working, V.

    Items: see `drop_items`; among them ``ground path``, ``single wire``, ``switch contact``,
    ``control-module ground``. A reading equal to the limit is within it.

    Raises
    ------
    UnknownItem : no such item

    Examples
    --------
    >>> drop_limit("ground path").max_v
    0.1
    """
    for row in _tables.table("limits", "drop"):
        if row.text("item") == item:
            return Limit(item, row.number("max_v"), row.text("condition"), "", row.source, row.certainty)
    raise UnknownItem(item, "drop limit for", drop_items())


@cache
def drop_items() -> tuple[str, ...]:
    """Every item that `drop_limit` knows."""
    return tuple(row.text("item") for row in _tables.table("limits", "drop"))


def lead_limit(lead: str, system_v: int = 12) -> Limit:
    """Permissible drop in a POSITIVE lead V; the return is not in it.

    Parameters
    ----------
    lead : see `leads`
    system_v : 12 or 24

    Raises
    ------
    UnknownItem : no such lead
    ValueError : neither 12 nor 24
    """
    if system_v not in (12, 24):
        raise ValueError(f"system voltage must be 12 or 24 V, is {system_v!r}")
    for row in _tables.table("limits", "lead"):
        if row.text("lead") == lead:
            certainty = row.mark("v24_sure") if system_v == 24 else row.certainty
            source = row.source if certainty == row.certainty else "from memory, no source"
            condition = f"{figures.stated(system_v, 'V')} system, positive lead only, circuit loaded"
            max_v = row.number(f"v{system_v}")
            return Limit(lead, max_v, condition, row.optional_text("note"), source, certainty)
    raise UnknownItem(lead, "lead limit for", leads())


@cache
def leads() -> tuple[str, ...]:
    """Every lead that `lead_limit` knows."""
    return tuple(row.text("lead") for row in _tables.table("limits", "lead"))


@cache
def battery_open_circuit() -> tuple[ChargePoint, ...]:
    """Open-circuit voltage against state of charge, fullest first; the battery's own maker comes before it."""
    return tuple(
        ChargePoint(
            row.number("charge_percent"),
            row.number("voltage_v"),
            row.text("condition"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("limits", "battery_open_circuit")
    )


def window(item: str) -> Window:
    """Usual range of a reading in a 12 V system.

    Items: see `window_items`; among them ``charging``, ``cranking``, ``battery load test``,
    ``key-off draw``. The 9.6 V of ``battery load test`` is a limit of that test; the
    same figure for ``cranking`` is from memory.

    Raises
    ------
    UnknownItem : no such item
    """
    for row in _tables.table("limits", "windows"):
        if row.text("item") == item:
            return Window(
                item,
                row.optional_number("min"),
                row.optional_number("max"),
                row.text("unit"),
                row.text("condition"),
                row.source,
                row.certainty,
            )
    raise UnknownItem(item, "window for", window_items())


@cache
def window_items() -> tuple[str, ...]:
    """Every item that `window` knows."""
    return tuple(row.text("item") for row in _tables.table("limits", "windows"))


@cache
def supply_ranges() -> tuple[SupplyRange, ...]:
    """Supply codes of ISO 16750-2: A to D for 12 V, E to H for 24 V systems."""
    return tuple(
        SupplyRange(
            row.text("code"),
            row.number("system_v"),
            row.number("min_v"),
            row.number("max_v"),
            row.source,
            row.certainty,
        )
        for row in _tables.table("limits", "supply_codes")
    )


def supply_range(code: str) -> SupplyRange:
    """The range of one supply code, for example ``C``: 9 to 16 V.

    Raises
    ------
    UnknownItem : no such code
    """
    for entry in supply_ranges():
        if entry.code == code.strip().upper():
            return entry
    raise UnknownItem(code, "supply code", tuple(entry.code for entry in supply_ranges()))
