"""Bus tables: order, names and what is refused."""

from __future__ import annotations

from typing import Any

import pytest

from tracer.standards.bus import (
    BUSES,
    levels,
    lin_level_v,
    lin_quantity,
    node_inputs,
    terminations,
    workshop_readings,
)


@pytest.mark.parametrize("bus", BUSES[:2])
def test_levels_lie_within_their_limits(bus: str) -> None:
    """Lowest, usual, highest in this order, for both states of all three lines."""
    found = levels(bus)
    assert [(v.state, v.line) for v in found] == [
        (state, line) for state in ("recessive", "dominant") for line in ("CAN_H", "CAN_L", "difference")
    ]
    for v in found:
        low = v.nominal_v if v.min_v is None else v.min_v
        high = v.nominal_v if v.max_v is None else v.max_v
        assert low <= v.nominal_v <= high


def test_usual_value_from_memory_is_marked() -> None:
    """The usual 2.0 V difference was not seen although its limits were."""
    (entry,) = (v for v in levels("high-speed CAN") if (v.state, v.line) == ("dominant", "difference"))
    assert (entry.certainty, entry.nominal_certainty) == ("maker", "memory")


@pytest.mark.parametrize("bus", BUSES)
def test_every_bus_has_terminations(bus: str) -> None:
    """Each with a value or a limit, and the nominal one inside the limits."""
    found = terminations(bus)
    assert found
    for t in found:
        assert t.nominal_ohm is not None or t.min_ohm is not None
        assert t.min_ohm is None or t.max_ohm is None or t.min_ohm < t.max_ohm


def test_unknown_names_are_refused() -> None:
    """A misspelt bus has no levels, rather than none of the faults."""
    for ask in (levels, terminations):
        with pytest.raises(ValueError, match="no bus 'CAN'; known: high-speed CAN"):
            ask("CAN")
    with pytest.raises(ValueError, match="no LIN quantity 'nodes'"):
        lin_quantity("nodes")
    not_a_level: Any = "nodes, most"
    with pytest.raises(ValueError, match="is no level"):
        lin_level_v(not_a_level, 12)


def test_node_inputs_are_ranges() -> None:
    """Lowest below highest, typical between; the difference sees both inputs in series."""
    for n in node_inputs():
        assert n.min_kohm < n.max_kohm
        assert n.typical_kohm is None or n.min_kohm <= n.typical_kohm <= n.max_kohm
    by = {(n.parts, n.between): n for n in node_inputs()}
    for parts in {n.parts for n in node_inputs()}:
        one, two = by[parts, "each line and ground"], by[parts, "the two lines"]
        assert (two.min_kohm, two.max_kohm) == (2 * one.min_kohm, 2 * one.max_kohm)


def test_workshop_readings_are_values_or_ranges() -> None:
    """Either one value or at least one side of a range, each case once."""
    cases = [r.case for r in workshop_readings()]
    assert len(set(cases)) == len(cases)
    for r in workshop_readings():
        assert (r.about_ohm is None) == (r.min_ohm is not None or r.max_ohm is not None)


def test_meter_reading_at_the_limits_follows_from_the_terminations() -> None:
    """Two ends at either limit of the standard, in parallel; both are from memory and say so."""
    (limits,) = (t for t in terminations("high-speed CAN") if t.what == "each end of the bus, limits")
    (row,) = (r for r in workshop_readings() if r.case.startswith("both ends present, at the limits"))
    assert limits.min_ohm is not None
    assert limits.max_ohm is not None
    assert (row.min_ohm, row.max_ohm) == (limits.min_ohm / 2, limits.max_ohm / 2)
    assert row.certainty == limits.certainty == "memory"


def test_lin_levels_leave_a_margin() -> None:
    """What a transmitter promises is further out than what a receiver asks for."""
    assert (
        lin_level_v("transmitter, dominant at most", 12).value
        < lin_level_v("receiver, dominant below", 12).value
        < lin_level_v("receiver, recessive above", 12).value
        < lin_level_v("transmitter, recessive at least", 12).value
    )
    assert lin_level_v("receiver, dominant below", 12).certainty == "standard"


def test_the_24_v_form_of_lin_has_a_range_of_its_own_and_the_same_shares() -> None:
    """From memory, both."""
    for level, share in (("transmitter, recessive at least", 0.8), ("transmitter, dominant at most", 0.2)):
        for supply_v in (15, 24, 36):
            found = lin_level_v(level, supply_v, 24)  # type: ignore[arg-type]
            assert found.value == pytest.approx(share * supply_v) and found.certainty == "memory"
        for outside_v in (14.9, 36.1):
            with pytest.raises(ValueError, match="15 to 36 V"):
                lin_level_v(level, outside_v, 24)  # type: ignore[arg-type]
