"""Conductor sizes, resistance and the usual fuse before a conductor."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from tracer.standards.conductors import (
    LARGEST_MM2,
    SMALLEST_MM2,
    BadSize,
    awg_area_mm2,
    largest_fuse_a,
    max_resistance_mohm_per_m,
    parse_size,
)

areas = st.floats(SMALLEST_MM2, LARGEST_MM2)


@pytest.mark.parametrize(
    "typed", ["2.5", "2,5", "2.5mm²", "2.5 mm2", "2.50", " 2.5 MM2 ", "2,5 mm^2", "2.5 sqmm", "02.5"]
)
def test_spellings_of_an_area(typed: str) -> None:
    """All of these are one size, so the two ends of a reference agree however they were typed."""
    assert parse_size(typed) == parse_size("2.5")
    assert parse_size(typed).text == "2.5 mm²"
    assert parse_size(typed).awg is None


@pytest.mark.parametrize(
    ("typed", "awg", "number"),
    [
        ("14AWG", "14", 14),
        ("14 AWG", "14", 14),
        ("AWG14", "14", 14),
        ("awg 14", "14", 14),
        ("08AWG", "8", 8),
        ("0AWG", "1/0", 0),
        ("1/0 AWG", "1/0", 0),
        ("2/0AWG", "2/0", -1),
        ("00AWG", "2/0", -1),
        ("AWG 3/0", "3/0", -2),
        ("000AWG", "3/0", -2),
        ("AWG0000", "4/0", -3),
    ],
)
def test_spellings_of_a_gauge(typed: str, awg: str, number: int) -> None:
    """A gauge before or after its letters, heavy ones with a slash or as zeros."""
    size = parse_size(typed)
    assert (size.awg, size.text) == (awg, f"{awg} AWG")
    assert size.area_mm2 == awg_area_mm2(number)
    assert "ASTM B258" in size.source


@pytest.mark.parametrize("number", range(-3, 41))
def test_every_gauge_can_be_typed(number: int) -> None:
    """From 4/0 to 40, and what is printed is read back as the same size."""
    size = parse_size(f"{1 - number}/0AWG" if number <= 0 else f"{number}AWG")
    assert size.area_mm2 == awg_area_mm2(number)
    assert parse_size(size.text) == size


def test_gauge_halves_in_about_three_steps() -> None:
    """ASTM B258: 39 steps are a factor of 92 in diameter, so 92² in area; 36 is 0.127 mm across."""
    assert awg_area_mm2(-3) / awg_area_mm2(36) == pytest.approx(92**2)
    assert awg_area_mm2(36) == pytest.approx(math.pi / 4 * 0.127**2, rel=1e-4)


@pytest.mark.parametrize("number", [-4, 41])
def test_gauge_outside_the_table_is_refused(number: int) -> None:
    """Just outside either end."""
    with pytest.raises(ValueError, match="outside 4/0 to 40"):
        awg_area_mm2(number)


@pytest.mark.parametrize("typed", ["0.05", "0.050001", "399.999999", "400", "40AWG", "4/0AWG"])
def test_sizes_at_the_edge_are_taken(typed: str) -> None:
    """At and just inside the limits."""
    assert parse_size(typed).area_mm2 > 0


@pytest.mark.parametrize("typed", ["0", "0.049999", "400.000001", "999999", "0.0"])
def test_sizes_beyond_the_edge_are_refused(typed: str) -> None:
    """Just outside the limits, with the limits named."""
    with pytest.raises(BadSize, match=r"sizes run from 0\.05 to 400 mm²"):
        parse_size(typed)


@pytest.mark.parametrize("typed", ["41AWG", "99 AWG", "5/0AWG", "0/0AWG", "9/0AWG"])
def test_gauges_beyond_the_edge_are_refused(typed: str) -> None:
    """Just outside the gauges, with the ends named."""
    with pytest.raises(BadSize, match="gauges run from 40AWG to 4/0AWG"):
        parse_size(typed)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "?",
        "2.5mm",
        "-2.5",
        "+2.5",
        "2.",
        ".5",
        "2.5.0",
        "1e2",
        "nan",
        "inf",
        "AWG",
        "14GA",
        "2/0",
        "14.5AWG",
        "2.5 m",
        "٢",
        "2.5 mm³",
        "1 000",
        "14AWG14",
        "AWG14AWG",
        "00000AWG",
        "RD",
    ],
)
def test_nonsense_is_refused_and_told_what_to_write(typed: str) -> None:
    """The message shows the text and the spellings that are taken."""
    with pytest.raises(BadSize) as caught:
        parse_size(typed)
    assert caught.value.text == typed
    assert repr(typed) in str(caught.value)
    assert "2.5 mm²" in str(caught.value)
    assert "14AWG" in str(caught.value)


@given(st.text() | st.text("0123456789.,/ AWGm²2^", max_size=10))
@example("9" * 5000)
@example("2\u00a0mm²")
def test_any_text_gives_a_sound_size_or_bad_size(text: str) -> None:
    """Arbitrary text gives an area within the limits or BadSize, and no other error."""
    try:
        size = parse_size(text)
    except BadSize as error:
        assert error.text == text
    else:
        low = SMALLEST_MM2 if size.awg is None else awg_area_mm2(40)
        assert low <= size.area_mm2 <= LARGEST_MM2


@given(st.integers(50_000, 400_000_000), st.sampled_from([".", ","]), st.sampled_from(["", "mm²", " mm2"]))
def test_an_area_is_read_back_from_its_text(millionths: int, point: str, unit: str) -> None:
    """An area typed to six decimals survives printing and reading."""
    typed = f"{millionths // 1_000_000}{point}{millionths % 1_000_000:06d}{unit}"
    size = parse_size(typed)
    assert size.area_mm2 == pytest.approx(millionths / 1e6, rel=1e-12)
    assert parse_size(size.text) == size


@given(areas, areas)
def test_a_thicker_conductor_never_resists_more(a: float, b: float) -> None:
    """Across table, interpolation and both ends; gauges have an allowance of their own and are left out."""
    small, large = sorted((a, b))
    assume(not any(math.isclose(x, awg_area_mm2(n), rel_tol=1e-8) for x in (a, b) for n in range(-3, 41)))
    at_small, at_large = max_resistance_mohm_per_m(small), max_resistance_mohm_per_m(large)
    assert at_small.value >= at_large.value * (1 - 1e-9)


@given(areas)
def test_resistance_is_that_of_copper(area_mm2: float) -> None:
    """Resistance times area lies from solid copper, 17.241 mΩ·mm²/m, up to 11 % above it."""
    share = max_resistance_mohm_per_m(area_mm2).value * area_mm2 / 17.241
    assert 1 - 1e-9 <= share <= 1.11


@given(st.floats(-60, 250), st.floats(-60, 250))
def test_hot_copper_resists_more(a: float, b: float) -> None:
    """Resistance rises with temperature, by 0.393 % of the 20 °C value per kelvin."""
    at_a, at_b, at_20 = (max_resistance_mohm_per_m(1.5, t).value for t in (a, b, 20.0))
    assert at_a - at_b == pytest.approx(at_20 * 0.00393 * (a - b), abs=1e-9)


def test_resistance_says_how_it_was_found() -> None:
    """Table, interpolation, gauge and outside the table can be told apart, and memory is never hidden."""
    seen = max_resistance_mohm_per_m(2.5)
    assert (seen.certainty, seen.note) == ("memory", "maximum at 20 °C")
    between = max_resistance_mohm_per_m(3.0)
    assert (between.certainty, between.note) == ("memory", "interpolated maximum at 20 °C")
    assert "logarithms 2.5 to 4 mm²" in between.source
    remembered = max_resistance_mohm_per_m(0.6)
    assert remembered.certainty == "memory"
    gauge = max_resistance_mohm_per_m(parse_size("14AWG").area_mm2)
    assert gauge.certainty == "memory"
    assert gauge.note == "maximum of stranded wire at 20 °C" and "strands" in gauge.source
    beyond = max_resistance_mohm_per_m(95)
    assert beyond.value == pytest.approx(0.368 * 50 / 95)
    assert "outside the table" in beyond.note
    assert max_resistance_mohm_per_m(0.06).certainty == "memory"


def test_temperature_is_named_in_source_and_note() -> None:
    """A value at 80 °C does not claim to be one at 20 °C."""
    hot = max_resistance_mohm_per_m(2.5, 80)
    assert hot.value == pytest.approx(7.60 * 1.2358)
    assert hot.note == "maximum at 80 °C"
    assert "80 °C with 0.00393 per K" in hot.source
    assert hot.certainty == "memory"


@pytest.mark.parametrize(
    ("area_mm2", "temperature_c"),
    [
        (0.0050, 20),
        (400.01, 20),
        (0, 20),
        (-1, 20),
        (math.nan, 20),
        (math.inf, 20),
        (1, -60.01),
        (1, 250.01),
        (1, math.nan),
    ],
)
def test_resistance_outside_its_range_is_refused(area_mm2: float, temperature_c: float) -> None:
    """No number is made up outside the ranges."""
    with pytest.raises(ValueError, match="is outside"):
        max_resistance_mohm_per_m(area_mm2, temperature_c)


@pytest.mark.parametrize("area_mm2", [0.75, 1.0, 1.5, 2.5, 4, 6, 10])
def test_largest_fuse_takes_the_smaller_row(area_mm2: float) -> None:
    """Just below a size the fuse is smaller; at it and just above it is the same."""
    below, at, above = (largest_fuse_a(area_mm2 * f) for f in (0.999, 1.0, 1.001))
    assert below and at and above
    assert below.value < at.value == above.value


@given(areas, areas)
def test_largest_fuse_never_falls_with_area(a: float, b: float) -> None:
    """A thicker conductor never gets a smaller fuse."""
    small, large = (largest_fuse_a(x) for x in sorted((a, b)))
    assert small and large
    assert small.value <= large.value


def test_largest_fuse_ends() -> None:
    """Nothing is listed below 0.05 mm²; zero and NaN are faults of the caller."""
    assert largest_fuse_a(0.0499) is None
    assert largest_fuse_a(0.05) is not None
    for area_mm2 in (0, -1, math.nan):
        with pytest.raises(ValueError, match="not above zero"):
            largest_fuse_a(area_mm2)
