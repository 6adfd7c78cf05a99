"""How numbers and units are written: SI Brochure, 9th edition (BIPM 2019), 5.4.3 (a space before the unit) and 5.4.4 (point or comma on the line), from memory."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Context, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.standards import figures

POSITIVE = st.floats(1e-6, 1e9)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        (figures.volts(12.4), "12.40 V"),
        (figures.volts(-0.001), "0.00 V"),
        (figures.volts_range(11.8, 12.4, 12.8), "12.40 V (11.80 to 12.80)"),
        (figures.volts_range(12.4, 12.4, 12.402), "12.40 V"),
        (figures.drop(0.0032), "3.2 mV"),
        (figures.drop(0.045), "45 mV"),
        (figures.drop(0.0996), "0.10 V"),
        (figures.drop(0.00996), "10 mV"),
        (figures.ohms(60.0), "60 Ω"),
        (figures.ohms(0.3561), "0.36 Ω"),
        (figures.ohms(0.0339), "0.034 Ω"),
        (figures.ohms(0.005), "0.005 Ω"),
        (figures.ohms(12_345), "12.3 kΩ"),
        (figures.ohms(999.6), "1 kΩ"),
        (figures.ohms(1e7), "10 MΩ"),
        (figures.ohms(float("inf")), "open"),
        (figures.ohms_ends(58.34, 61.0), "58.3 to 61 Ω"),
        (figures.ohms_ends(820, 12_300), "820 Ω to 12.3 kΩ"),
        (figures.amps(1.75), "1.75 A"),
        (figures.amps(0.00005), "0 A"),
        (figures.amps_number(0.01534), "0.015"),
        (figures.amps_number(1234.0), "1230"),
        (figures.amps_range(0, 0.0002, 0.0009), "none worth naming"),
        (figures.milliamps(0.0), "0"),
        (figures.milliamps(0.05), "0.05 mA"),
        (figures.milliamps(5.64), "5.6 mA"),
        (figures.milliamps(207.8), "208 mA"),
        (figures.milliamps(2597.0), "2600 mA"),
        (figures.stated(7.5, "A"), "7.5 A"),
        (figures.stated(0.35, "mm²"), "0.35 mm²"),
        (figures.stated_range(0.5, 2.5, "mm²"), "0.5 to 2.5 mm²"),
        (figures.metres(None), "length not known"),
        (figures.percent(0.005), "0.5 %"),
    ],
)
def test_each_quantity_is_written_by_its_rule(written: str, words: str) -> None:
    assert written == words


@given(POSITIVE, st.integers(1, 6))
def test_significant_digits_against_the_decimal_library(value: float, digits: int) -> None:
    """Python's decimal arithmetic rounds to so many digits; no power of ten, no zeros at the end."""
    written = figures.significant(value, digits)
    assert re.fullmatch(r"\d+(\.\d*[1-9])?", written)
    rounded = Context(prec=digits, rounding=ROUND_HALF_EVEN).create_decimal(Decimal(value))
    assert Decimal(written) == rounded


@given(POSITIVE)
def test_the_comma_changes_the_mark_and_nothing_else(value: float) -> None:
    def all_of_them() -> list[str]:
        one = (figures.volts, figures.drop, figures.ohms, figures.amps, figures.milliamps, figures.metres)
        return [write(value) for write in one] + [figures.volts_range(0.9 * value, value, 1.1 * value)]

    points = all_of_them()
    with figures.decimal_mark(figures.COMMA):
        commas = all_of_them()
    assert [text.replace(",", ".") for text in commas] == points
    assert "." not in "".join(commas)
    assert all_of_them() == points
    assert all(" " in text for text in points if not text.isdigit())


def test_there_are_two_decimal_marks() -> None:
    with pytest.raises(ValueError, match="no decimal mark"), figures.decimal_mark("'"):
        pass
