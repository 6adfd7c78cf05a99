"""Limits: every listed name works, unknown names are refused with what there is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.standards.limits import (
    UnknownItem,
    battery_open_circuit,
    drop_items,
    drop_limit,
    lead_limit,
    leads,
    supply_range,
    supply_ranges,
    window,
    window_items,
)


def test_every_listed_name_works_and_is_listed_once() -> None:
    """Names that are offered can be asked for."""
    for names, ask in ((drop_items(), drop_limit), (window_items(), window), (leads(), lead_limit)):
        assert len(set(names)) == len(names) > 0
        for name in names:
            entry = ask(name)
            assert entry.source
            assert entry.condition


@given(st.text())
def test_any_other_name_is_refused_with_the_known_ones(text: str) -> None:
    """A misspelt item never reads as a limit of another one."""
    if text not in drop_items():
        with pytest.raises(UnknownItem) as caught:
            drop_limit(text)
        assert caught.value.text == text
        assert caught.value.known == drop_items()
        assert "ground path" in str(caught.value)


def test_other_tables_refuse_unknown_names() -> None:
    """Each says what it has."""
    with pytest.raises(UnknownItem, match="key-off draw"):
        window("key-off")
    with pytest.raises(UnknownItem, match="starter main cable"):
        lead_limit("starter")
    with pytest.raises(UnknownItem, match="known: A; B; C; D; E; F; G; H"):
        supply_range("")


@pytest.mark.parametrize("system_v", [0, 6, 13, 23, 25, 48])
def test_lead_limits_are_for_12_and_24_v_only(system_v: int) -> None:
    """No limit is scaled to another system."""
    with pytest.raises(ValueError, match="must be 12 or 24"):
        lead_limit("starter main cable", system_v)


@pytest.mark.parametrize("lead", leads())
def test_24_v_lead_is_never_tighter(lead: str) -> None:
    """Half the current at the same power leaves at least the same drop."""
    assert lead_limit(lead, 24).max_v >= lead_limit(lead, 12).max_v


def test_battery_voltage_falls_with_charge() -> None:
    """Less charge, less voltage."""
    points = battery_open_circuit()
    assert [p.voltage_v for p in points] == sorted({p.voltage_v for p in points}, reverse=True)


def test_windows_have_an_end_and_are_the_right_way_round() -> None:
    """At least one side, and the lower one is lower."""
    for item in window_items():
        w = window(item)
        assert w.lowest is not None or w.highest is not None
        if w.lowest is not None and w.highest is not None:
            assert w.lowest < w.highest


def test_supply_ranges_hold_the_system_voltage() -> None:
    """Equipment for a system works at its nominal voltage."""
    for entry in supply_ranges():
        assert entry.min_v < entry.system_v < entry.max_v
    assert supply_range(" c ") == supply_range("C")


def test_a_limit_from_memory_is_not_cited_with_a_page() -> None:
    """Nor is a custom of the trade: both say that they have no source."""
    limits = [drop_limit(item) for item in drop_items()] + [
        lead_limit(lead, volts) for lead in leads() for volts in (12, 24)
    ]
    said = [(one.certainty, one.source) for one in limits] + [
        (one.certainty, one.source) for one in map(window, window_items())
    ]
    for certainty, source in said:
        assert (certainty == "memory") == (source == "from memory, no source")
        assert (certainty == "custom") == (source == "custom of the trade, no source")


# Custom of the trade, no source: largest drop, V.
CUSTOM_V = {
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
# Custom of the trade, no source: positive lead only, V in a 12 V and a 24 V system; the 24 V lamp figures are from memory.
CUSTOM_LEAD_V = {
    "lamp under 15 W, from light switch": (0.1, 0.1, "memory"),
    "lamp over 15 W, from light switch": (0.5, 0.5, "memory"),
    "headlamp, from light switch": (0.3, 0.3, "memory"),
    "charging cable, generator to battery": (0.4, 0.8, "custom"),
    "generator to regulator": (0.1, 0.2, "custom"),
    "starter main cable": (0.5, 1.0, "custom"),
    "starter control, single winding": (1.4, 2.0, "custom"),
    "starter control, two windings": (2.4, 2.8, "custom"),
    "other control lead": (0.5, 1.0, "custom"),
}
CUSTOM_WINDOWS = {
    "charging": (13.5, 14.8, "V"),
    "charging, accessories on": (13.5, 14.5, "V"),
    "charging, engine running": (13.7, 14.7, "V"),
    "battery load test": (9.6, None, "V"),
    "key-off draw, usual": (20, 50, "mA"),
    "key-off draw, simple vehicle": (None, 20, "mA"),
    "key-off draw, many modules": (75, 85, "mA"),
}


@pytest.mark.parametrize(("item", "max_v"), CUSTOM_V.items())
def test_customary_drop(item: str, max_v: float) -> None:
    assert (drop_limit(item).max_v, drop_limit(item).certainty) == (max_v, "custom")


@pytest.mark.parametrize(("lead", "expected"), CUSTOM_LEAD_V.items())
def test_customary_drop_of_a_lead(lead: str, expected: tuple[float, float, str]) -> None:
    of_12, of_24 = lead_limit(lead), lead_limit(lead, 24)
    assert (of_12.max_v, of_24.max_v, of_24.certainty) == expected
    assert of_12.certainty == "custom" and "positive lead only" in of_12.condition
    assert ("doubtful" in of_12.note) == (lead == "starter control, two windings")


@pytest.mark.parametrize(("item", "expected"), CUSTOM_WINDOWS.items())
def test_customary_window(item: str, expected: tuple[float | None, float | None, str]) -> None:
    found = window(item)
    assert (found.lowest, found.highest, found.unit, found.certainty) == (*expected, "custom")


@pytest.mark.parametrize(
    "item", ["connection at high current", "control-module ground", "control-module ground, strict"]
)
def test_limits_from_memory_are_marked_so(item: str) -> None:
    assert drop_limit(item).certainty == "memory"


def test_cranking_floor_is_from_memory() -> None:
    """9.6 V belongs to a load test; as a cranking floor it is from memory."""
    assert window("cranking").certainty == "memory"
