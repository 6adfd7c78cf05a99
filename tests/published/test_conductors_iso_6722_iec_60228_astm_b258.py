"""Conductor resistance and gauge against IEC 60228, the formula of ASTM B258 and the temperature law.

[A] IEC 60228, classes 2 and 5, from memory; [B] the gauge formula (ASTM B258, from memory); [C] FAA AC 43.13-1B, paragraph 11-66: copper resistance goes with
234.5 °C plus its temperature; [E] "IEC 60028: The International Standard of Resistance for Copper (1925)", tnlab.org/iec-60028-the-international-standard-of-resistance-for-copper-1925/;
[F] Industrial Power Engineering and Applications Handbook, p. 970. The vehicle cable's own maxima (ISO 6722) and Japanese sizes (JIS C 3406) are from memory.
"""

from __future__ import annotations

import math

import pytest

from tracer.standards.conductors import (
    copper_resistivity,
    copper_temperature_coefficient,
    max_resistance_mohm_per_m,
    parse_size,
)

# maximum at 20 °C, plain copper, mΩ/m: from memory
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

# IEC 60228 maximum at 20 °C, plain copper, mΩ/m: class 5 (flexible) and classes 1 and 2 [A]
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


def test_copper_constants() -> None:
    """0.017241 Ω·mm²/m [E] goes with 0.00393 per K [F]."""
    assert (copper_resistivity().value, copper_resistivity().unit) == (0.017241, "Ω·mm²/m")
    assert (copper_temperature_coefficient().value, copper_temperature_coefficient().unit) == (0.00393, "1/K")


@pytest.mark.parametrize(("area_mm2", "mohm_per_m"), ISO_6722.items())
def test_vehicle_cable_maximum(area_mm2: float, mohm_per_m: float) -> None:
    """Each size gives exactly the table's maximum."""
    resistance = max_resistance_mohm_per_m(area_mm2)
    assert resistance.value == mohm_per_m
    assert resistance.unit == "mΩ/m"
    assert resistance.certainty == "memory"


@pytest.mark.parametrize("area_mm2", CLASS_5)
def test_vehicle_cable_lies_below_class_5(area_mm2: float) -> None:
    """IEC 60228 class 5 maxima lie 4 to 7 % above the vehicle cable's."""
    assert 1.04 < CLASS_5[area_mm2] / max_resistance_mohm_per_m(area_mm2).value < 1.07


@pytest.mark.parametrize("area_mm2", CLASS_2)
def test_vehicle_cable_lies_above_class_2(area_mm2: float) -> None:
    """Vehicle cable is never better than class 2; 10 and 50 mm² are printed lower and left out."""
    assert max_resistance_mohm_per_m(area_mm2).value >= CLASS_2[area_mm2]


@pytest.mark.parametrize(("area_mm2", "mohm_per_m"), [(0.5629, 32.7), (0.8846, 20.8), (1.287, 14.3), (13.36, 1.38)])
def test_interpolation_against_japanese_cable(area_mm2: float, mohm_per_m: float) -> None:
    """JIS C 3406 type AV sizes fall between our rows; 4 % is the spread between the two standards; both from memory."""
    resistance = max_resistance_mohm_per_m(area_mm2)
    assert resistance.value == pytest.approx(mohm_per_m, rel=0.04)


@pytest.mark.parametrize("number", range(25))
def test_gauge_area_and_resistance(number: int) -> None:
    """Diameter 0.127 mm × 92^((36 - n) / 39) [B], copper of 0.017241 Ω·mm²/m [E], and 15 % for strands (from memory)."""
    area_mm2 = math.pi / 4 * (0.127 * 92 ** ((36 - number) / 39)) ** 2
    size = parse_size(f"{number}AWG")
    assert size.area_mm2 == pytest.approx(area_mm2, rel=1e-4)
    assert max_resistance_mohm_per_m(size.area_mm2).value == pytest.approx(1.15 * 17.241 / area_mm2, rel=1e-4)


@pytest.mark.parametrize("temperature_c", [5, 10, 30, 50, 80, 100])
def test_temperature_against_the_law_of_copper(temperature_c: float) -> None:
    """254.5 / (234.5 + T) takes a reading to 20 °C [C]; the pair used here rests on 0.00393 per K at 20 °C, the same within 0.01 %."""
    at_20_c = max_resistance_mohm_per_m(2.5).value
    at_t = max_resistance_mohm_per_m(2.5, temperature_c).value
    assert at_t * 254.5 / (234.5 + temperature_c) == pytest.approx(at_20_c, rel=1e-3)
