"""Voltage-drop limits, battery, charging, cranking and key-off draw as workshops go by them: custom of the trade, no source to name.

[C] Permissible drops of the positive lead, table 2 of Hoelzle Journal 07 (2017), a table of a handbook reproduced there.
"""

from __future__ import annotations

import pytest

from tracer.standards.limits import battery_open_circuit, drop_limit, lead_limit, window

DROP_V = {
    "ideal connection": 0.00,
    "ground path": 0.10,
    "single wire": 0.20,
    "switch contact": 0.30,
    "starter path": 0.50,
    "starter positive side": 0.60,
    "starter negative side": 0.30,
    "charging positive side": 0.50,
    "charging negative side": 0.20,
}

# feed lead only: 12 V, 24 V [C]; the 24 V lamp figures are from memory and not listed
LEAD_V = {
    "lamp under 15 W, from light switch": (0.1, None),
    "lamp over 15 W, from light switch": (0.5, None),
    "headlamp, from light switch": (0.3, None),
    "charging cable, generator to battery": (0.4, 0.8),
    "generator to regulator": (0.1, 0.2),
    "starter main cable": (0.5, 1.0),
    "starter control, single winding": (1.4, 2.0),
    "other control lead": (0.5, 1.0),
}

BATTERY_V = {
    "A": {100: 12.65, 75: 12.45, 50: 12.24, 25: 12.06, 0: 11.89},  # at 26.7 °C
    "B": {100: 12.6, 75: 12.4, 50: 12.2, 25: 12.0, 0: 11.6},
    "C": {100: 12.66, 75: 12.45, 50: 12.30, 25: 12.15},
}

WINDOWS = {
    "charging": (13.5, 14.8, "V"),
    "charging, accessories on": (13.5, 14.5, "V"),
    "charging, engine running": (13.7, 14.7, "V"),
    "battery load test": (9.6, None, "V"),  # after 15 s at half the cold-cranking rating
    "key-off draw": (None, 50, "mA"),
    "key-off draw, usual": (20, 50, "mA"),
    "key-off draw, simple vehicle": (None, 20, "mA"),
    "key-off draw, many modules": (75, 85, "mA"),
}


@pytest.mark.parametrize(("item", "max_v"), DROP_V.items())
def test_drop_limit(item: str, max_v: float) -> None:
    """Each item has its limit: just below and at it pass, just above does not."""
    limit = drop_limit(item)
    assert limit.certainty == "seen"
    assert max_v - 0.001 <= limit.max_v
    assert max_v <= limit.max_v
    assert not max_v + 0.001 <= limit.max_v


@pytest.mark.parametrize(("lead", "v12_v24"), LEAD_V.items())
def test_lead_limit(lead: str, v12_v24: tuple[float, float | None]) -> None:
    """Handbook limits of the positive lead alone, 12 V and 24 V systems."""
    v12, v24 = v12_v24
    assert lead_limit(lead).max_v == v12
    assert "positive lead only" in lead_limit(lead).condition
    if v24 is None:
        assert lead_limit(lead, 24).certainty == "from memory"
    else:
        assert lead_limit(lead, 24).max_v == v24
        assert lead_limit(lead, 24).certainty == "seen"


def test_doubtful_lead_limit_says_so() -> None:
    """2.4 and 2.8 V are printed [C] and doubted (1.5 and 2.2 V from memory), so the doubt goes along."""
    limit = lead_limit("starter control, two windings")
    assert limit.max_v == 2.4
    assert lead_limit("starter control, two windings", 24).max_v == 2.8
    assert "doubtful" in limit.note


@pytest.mark.parametrize(("name", "table"), BATTERY_V.items())
def test_battery_open_circuit(name: str, table: dict[float, float]) -> None:
    """Each set, fullest first."""
    assert {p.charge_percent: p.voltage_v for p in battery_open_circuit(name)} == table
    assert [p.charge_percent for p in battery_open_circuit(name)] == sorted(table, reverse=True)


@pytest.mark.parametrize(("item", "expected"), WINDOWS.items())
def test_window(item: str, expected: tuple[float | None, float | None, str]) -> None:
    """Each window has its ends."""
    found = window(item)
    assert (found.lowest, found.highest, found.unit) == expected
    assert found.certainty == "seen"


@pytest.mark.parametrize(
    "item", ["connection at high current", "control-module ground", "control-module ground, strict"]
)
def test_limits_from_memory_are_marked_so(item: str) -> None:
    """No page was seen for these: the value may be used, never quoted as evidence."""
    assert drop_limit(item).certainty == "from memory"
    assert "from memory" in drop_limit(item).source


def test_cranking_floor_is_not_the_published_load_test() -> None:
    """9.6 V is that of a load test; as a cranking floor it is custom from memory."""
    assert window("battery load test").certainty == "seen"
    assert window("cranking").certainty == "from memory"
