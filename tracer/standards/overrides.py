"""The limits and default values that a vehicle or a workshop may set for itself, with their units and what stands here otherwise."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tracer.standards import allowances, limits
from tracer.standards._tables import Certainty


@dataclass(frozen=True, slots=True)
class Standing:
    """One value that may be overridden. A single limit has `low` None; a range has both. `item` is its name under `limits:`."""

    item: str
    unit: str
    low: float | None
    nominal: float | None
    high: float
    source: str
    certainty: Certainty
    note: str = ""

    @property
    def is_range(self) -> bool:
        """Whether two numbers belong to it."""
        return self.low is not None


@cache
def standing(system_v: int = 12) -> dict[str, Standing]:
    """Every value that may be overridden, by its name, for a 12, 24 or 48 V system.

    48 V takes the values of 24 V times two; no table for it was seen.
    """
    factor = system_v / 12
    found: dict[str, Standing] = {}
    lead = limits.lead_limit("other control lead", 24 if system_v >= 24 else 12)
    found["supply path"] = Standing(
        "supply path", "V", None, None, lead.max_v * (2 if system_v == 48 else 1), lead.source, lead.certainty,
        f"whole positive lead, {lead.condition}",
    )  # fmt: skip
    for item in limits.drop_items():
        limit = limits.drop_limit(item)
        found[item] = Standing(item, "V", None, None, limit.max_v, limit.source, limit.certainty, limit.condition)
    for state in allowances.BATTERY_STATES:
        span = allowances.battery_v(state, 12 * factor)
        found[f"battery {state}"] = Standing(
            f"battery {state}", "V", span.low, span.nominal, span.high, span.source, span.certainty, span.note
        )
    window = limits.window("key-off draw")
    assert window.highest is not None
    found["key-off draw"] = Standing(
        "key-off draw", "mA", None, None, window.highest, window.source, window.certainty, window.condition
    )
    code = limits.supply_range("F" if system_v >= 24 else "B")
    scale = 2 if system_v == 48 else 1
    found["module supply"] = Standing(
        "module supply", "V", code.min_v * scale, None, code.max_v * scale, f"{code.source}, code {code.code}",
        code.certainty,
    )  # fmt: skip
    for name, item in (
        ("meter resistance share", "resistance range, share of the reading"),
        ("meter resistance digits", "resistance range, last digits"),
        ("meter millivolt share", "millivolt range, share of the reading"),
        ("meter millivolt digits", "millivolt range, last digits"),
        ("meter current share", "clamp or series current, share of the reading"),
        ("meter current digits", "clamp or series current, last digits"),
        ("meter input", "input resistance"),
    ):
        value = allowances.meter(item)
        found[name] = Standing(name, value.unit, None, None, value.value, value.source, value.certainty, value.note)
    return found
