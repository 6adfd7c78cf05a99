"""What workshops go by, and no standard, handbook or data sheet gives: custom of the trade, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.electrics.test_bus import bus, reading
from tracer.standards.allowances import battery_v
from tracer.standards.bus import trade_range, workshop_readings
from tracer.standards.colours import colour_name, parse_colour
from tracer.standards.conductors import largest_fuse_a
from tracer.standards.fuses import cold_resistance_mohm, rating_of


def test_lines_shorted_read_below_10_ohm(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120")
    for at in ("A", "B", "C"):
        assert reading(report, "the lines touch at C", at) < 10


def test_readings_of_a_bus(tmp_path: Path) -> None:
    """60 to 70 Ω accepted, about 1 Ω change for a node, 3.5 and 1.5 V dominant, 13 V with a maintainer."""
    assert trade_range("accepted by many at 20 °C") == (60, 70)
    report = bus(tmp_path, "A: 120, C: 120")
    unplugged = next(case for case in report.cases if case.words == "B unplugged")
    most = trade_range("change when a node without termination is unplugged")[1]
    assert unplugged.change
    assert all(low >= 0 and high <= most for low, high in unplugged.change)
    levels = {(one.state, one.line): one.nominal_v for one in report.levels}
    assert (levels["dominant", "CAN_H"], levels["dominant", "CAN_L"]) == (3.5, 1.5)
    assert battery_v("maintainer connected").nominal == pytest.approx(13.0)


def test_a_meter_on_shorted_bus_lines() -> None:
    (short,) = (r for r in workshop_readings() if r.case == "lines shorted together")
    assert (short.min_ohm, short.max_ohm) == (0, 10)


def test_largest_fuse_is_only_from_memory() -> None:
    """No number is checked, only that none claims to have one."""
    for area_mm2 in (0.35, 0.5, 1.5, 2.5, 50):
        rating = largest_fuse_a(area_mm2)
        assert rating is not None
        assert rating.certainty == "memory"


US = {
    "BRN": "brown",
    "RED": "red",
    "ORG": "orange",
    "YEL": "yellow",
    "GRN": "green",
    "BLU": "blue",
    "VIO": "violet",
    "PPL": "violet",
    "GRY": "grey",
    "WHT": "white",
    "PNK": "pink",
    "TAN": "tan",
    "CLR": "clear",
    "LT BLU": "light blue",
    "DK BLU": "dark blue",
    "LT GRN": "light green",
    "DK GRN": "dark green",
    "B": "black",
    "BR": "brown",
    "R": "red",
    "O": "orange",
    "Y": "yellow",
    "G": "green",
    "BL": "blue",
    "V": "violet",
    "PP": "violet",
    "GR": "grey",
    "W": "white",
    "P": "pink",
    "T": "tan",
}


@pytest.mark.parametrize(("written", "name"), US.items())
def test_us_abbreviation(written: str, name: str) -> None:
    """Purple counts as violet."""
    assert colour_name(parse_colour(written, "american")) == name


@pytest.mark.parametrize(("written", "name"), [("hb", "light blue"), ("li", "violet"), ("ro", "red")])
def test_german_abbreviation_beside_the_standard(written: str, name: str) -> None:
    assert colour_name(parse_colour(written, "din")) == name


def test_ratings_outside_the_standard_have_a_colour_and_are_not_standard() -> None:
    """0.5 A dark blue and 120 A pink are sold; 120 A is above the 100 A of ISO 8820-3."""
    assert getattr(rating_of(0.5, "C"), "colour", None) == "dark blue"
    assert [one.standard for one in (rating_of(0.5, "C"), rating_of(120, "E")) if one] == [False, False]
    assert getattr(rating_of(120, "E"), "colour", None) == "pink"


def test_current_from_drop_of_a_medium_blade() -> None:
    """10 A medium blade: 1 mV means 130 mA; 1 % is the rounding of the two printed figures."""
    cold = cold_resistance_mohm(10, "C")
    assert cold is not None
    assert 1000 * 1.0 / cold.value == pytest.approx(130, rel=0.01)


@pytest.mark.parametrize(("drop_mv", "current_ma"), [(0.1, 22), (1.0, 218)])
def test_current_from_drop_of_a_miniature_blade(drop_mv: float, current_ma: float) -> None:
    """15 A miniature blade: 0.1 mV means 22 mA and 1.0 mV 218 mA; 22 is rounded to 2.3 %."""
    cold = cold_resistance_mohm(15, "F")
    assert cold is not None
    assert 1000 * drop_mv / cold.value == pytest.approx(current_ma, rel=0.023)
