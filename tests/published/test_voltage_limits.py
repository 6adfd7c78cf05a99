"""Voltage-drop limits while cranking, battery at rest and key-off draw against the documents that print them.

[A] US Army TM 10-3930-671-24, page F-303, volt drop tests; [B] US Army TM 9-2320-211-20, section 2 (24 V truck), battery-to-solenoid cable test and
solenoid-to-starter connector test; [C] US Army TM 5-2420-230-24-2, page 13-33, starter control circuit; [D] "How can I measure my battery's State of
Charge?", a battery maker's page, discoverbattery.com; [E] MACS Service Reports 2017. What only the custom of the trade gives is in tests/standards.
"""

from __future__ import annotations

import pytest

from tracer.standards.limits import battery_open_circuit, drop_limit, window

DROP_V = {
    "starter cable, battery to solenoid": 0.40,  # [A] above it: high resistance
    "starter circuit, for each 100 A": 0.20,  # [A]
    "battery post to its clamp": 0.00,  # [A] anything above: a poor connection
    "one starter cable, 24 V": 0.20,  # [B] in each
    "starter control circuit, 12 V": 1.0,  # [C] at 20 °C, sum of supply and ground side
    "starter control circuit, 24 V": 2.0,  # [C]
}
BATTERY_V = {100: 12.65, 75: 12.45, 50: 12.24, 25: 12.06, 0: 11.89}  # [D] at 26.7 °C


@pytest.mark.parametrize(("item", "max_v"), DROP_V.items())
def test_drop_limit(item: str, max_v: float) -> None:
    limit = drop_limit(item)
    assert (limit.max_v, limit.certainty) == (max_v, "handbook")
    assert limit.source.startswith("US Army TM")


def test_battery_open_circuit() -> None:
    """As printed, fullest first."""
    assert {p.charge_percent: p.voltage_v for p in battery_open_circuit()} == BATTERY_V
    assert [p.charge_percent for p in battery_open_circuit()] == sorted(BATTERY_V, reverse=True)
    assert {p.certainty for p in battery_open_circuit()} == {"maker"}


def test_key_off_draw() -> None:
    """At most 50 mA, whole vehicle asleep [E]."""
    found = window("key-off draw")
    assert (found.lowest, found.highest, found.unit, found.certainty) == (None, 50, "mA", "handbook")
