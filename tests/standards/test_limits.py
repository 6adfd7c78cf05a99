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
    with pytest.raises(UnknownItem, match="known: A; B; C"):
        battery_open_circuit("D")
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


@pytest.mark.parametrize("name", ["A", "B", "C"])
def test_battery_voltage_falls_with_charge(name: str) -> None:
    """Less charge, less voltage."""
    points = battery_open_circuit(name)
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
    """The 24 V lamp figures are from memory; citing the page of the 12 V ones would be false."""
    assert "Journal" in lead_limit("headlamp, from light switch").source
    assert "Journal" not in lead_limit("headlamp, from light switch", 24).source
