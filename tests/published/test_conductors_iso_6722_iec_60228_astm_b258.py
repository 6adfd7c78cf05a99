"""Conductor resistance and gauge against ISO 6722, IEC 60228 and ASTM B258 tables.

[A] ISO 6722, maximum resistances, as reproduced in "Autoelektrik Grundlagen" (table credited to DIN ISO 6722 part 3); [B] IEC 60228 (EN 60228), classes 1, 2
and 5, as reproduced in a cable maker's table; [C] its temperature factors, likewise; [D] gauges of ASTM B258 and their resistance in National Bureau of Standards
Handbook 100, "Copper Wire Tables" (1966), table 5, from memory; [E] IEC 60028 (1925), standard of resistance for copper; [F] Industrial Power Engineering and
Applications Handbook, p. 970; [G] JIS C 3406, low-voltage wires for automobiles, type AV, as reproduced in a maker's table. No standard was read in full.
"""

from __future__ import annotations

import math

import pytest

from tracer.standards.conductors import (
    copper_resistivity,
    copper_temperature_coefficient,
    is_usual_size,
    max_resistance_mohm_per_m,
    parse_size,
)

# maximum at 20 °C, plain copper, mΩ/m [A]; 0.13 to 0.75 mm² are from memory and not listed
ISO_6722 = {
    1.0: 18.5,
    1.5: 12.7,
    2.5: 7.60,
    4: 4.71,
    6: 3.14,
    10: 1.82,
    16: 1.16,
    25: 0.743,
    35: 0.527,
    50: 0.368,
}

# IEC 60228 maximum at 20 °C, plain copper, mΩ/m: class 5 (flexible) and classes 1 and 2 [B]
CLASS_5 = {
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4: 4.95,
    6: 3.30,
    10: 1.91,
    16: 1.21,
    25: 0.780,
    35: 0.554,
    50: 0.386,
}
CLASS_2 = {1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4: 4.61, 6: 3.08, 16: 1.15, 25: 0.727, 35: 0.524}

# solid round copper at 20 °C: gauge, diameter in thousandths of an inch, Ω for 1000 ft [D]
AWG = [
    (0, 324.9, 0.0983), (1, 289.3, 0.124), (2, 257.6, 0.156), (3, 229.4, 0.197), (4, 204.3, 0.249),
    (5, 181.9, 0.313), (6, 162.0, 0.395), (7, 144.3, 0.498), (8, 128.5, 0.628), (9, 114.4, 0.793),
    (10, 101.9, 0.999), (11, 90.7, 1.26), (12, 80.8, 1.59), (13, 72.0, 2.00), (14, 64.1, 2.52),
    (15, 57.1, 3.18), (16, 50.8, 4.02), (17, 45.3, 5.05), (18, 40.3, 6.39), (19, 35.9, 8.05),
    (20, 32.0, 10.1), (21, 28.5, 12.8), (22, 25.3, 16.2), (23, 22.6, 20.3), (24, 20.1, 25.7),
]  # fmt: skip


def test_copper_constants() -> None:
    """0.017241 Ω·mm²/m [E] goes with 0.00393 per K [F]."""
    assert (copper_resistivity().value, copper_resistivity().unit) == (0.017241, "Ω·mm²/m")
    assert (copper_temperature_coefficient().value, copper_temperature_coefficient().unit) == (0.00393, "1/K")


@pytest.mark.parametrize(("area_mm2", "mohm_per_m"), ISO_6722.items())
def test_vehicle_cable_maximum(area_mm2: float, mohm_per_m: float) -> None:
    """Each seen size gives exactly the table's maximum."""
    resistance = max_resistance_mohm_per_m(area_mm2)
    assert resistance.value == mohm_per_m
    assert resistance.unit == "mΩ/m"
    assert resistance.certainty == "seen"


@pytest.mark.parametrize("area_mm2", CLASS_5)
def test_vehicle_cable_lies_below_class_5(area_mm2: float) -> None:
    """IEC 60228 class 5 maxima lie 4 to 7 % above the vehicle cable's."""
    assert 1.04 < CLASS_5[area_mm2] / max_resistance_mohm_per_m(area_mm2).value < 1.07


@pytest.mark.parametrize("area_mm2", CLASS_2)
def test_vehicle_cable_lies_above_class_2(area_mm2: float) -> None:
    """Vehicle cable is never better than class 2; 10 and 50 mm² are printed lower and left out."""
    assert max_resistance_mohm_per_m(area_mm2).value >= CLASS_2[area_mm2]


@pytest.mark.parametrize(
    ("area_mm2", "mohm_per_m", "certainty"),
    [
        (0.5629, 32.7, "from memory"),
        (0.8846, 20.8, "from memory"),
        (1.287, 14.3, "computed"),
        (13.36, 1.38, "computed"),
    ],
)
def test_interpolation_against_japanese_cable(area_mm2: float, mohm_per_m: float, certainty: str) -> None:
    """JIS C 3406 type AV sizes fall between our rows; 4 % is the spread between the two standards [G].

    The 0.5 and 0.75 mm² rows under the first two are from memory.
    """
    resistance = max_resistance_mohm_per_m(area_mm2)
    assert resistance.value == pytest.approx(mohm_per_m, rel=0.04)
    assert resistance.certainty == certainty


@pytest.mark.parametrize(("number", "diameter_mil", "ohm_per_1000_ft"), AWG)
def test_gauge_area_and_resistance(number: int, diameter_mil: float, ohm_per_1000_ft: float) -> None:
    """Area of the printed diameter; resistance to half a unit of its third figure, 0.1 % for the constant, and what the rounding of the diameter adds [D]."""
    size = parse_size(f"{number}AWG")
    rounding = 2 * 0.05 / diameter_mil
    assert size.area_mm2 == pytest.approx(math.pi / 4 * (diameter_mil * 0.0254) ** 2, rel=rounding)
    half_a_unit = math.pow(10, math.floor(math.log10(ohm_per_1000_ft)) - 2) / 2
    found = max_resistance_mohm_per_m(size.area_mm2).value * 0.3048
    assert found == pytest.approx(ohm_per_1000_ft, abs=half_a_unit + (0.001 + rounding) * ohm_per_1000_ft)


@pytest.mark.parametrize(
    ("temperature_c", "kt"), [(5, 1.064), (10, 1.042), (30, 0.962), (50, 0.893), (80, 0.806), (100, 0.758)]
)
def test_temperature_against_iec_60228_factors(temperature_c: float, kt: float) -> None:
    """Kt of IEC 60228 takes a reading to 20 °C [C]; it rests on 0.004 per K, hence the 0.5 %."""
    at_20_c = max_resistance_mohm_per_m(2.5).value
    at_t = max_resistance_mohm_per_m(2.5, temperature_c).value
    assert at_t * kt == pytest.approx(at_20_c, rel=0.005)


@pytest.mark.parametrize("typed", ["0.5", "0.85", "1.25", "2", "3", "5", "8", "15", "20"])
def test_japanese_sizes_are_usual(typed: str) -> None:
    """Nominal sizes of JIS C 3406 type AV [G]."""
    assert is_usual_size(parse_size(typed))
