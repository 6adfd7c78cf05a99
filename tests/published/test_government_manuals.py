"""Worked examples and limits of United States government manuals (public domain), seen on 2026-11-28.

[FAA] FAA Advisory Circular AC 43.13-1B, "Acceptable Methods, Techniques, and Practices - Aircraft Inspection and Repair", chapter 11.
[F303] US Army TM 10-3930-671-24, page F-303, volt drop tests.
[211] US Army TM 9-2320-211-20, section 2 (24 V truck), battery-to-solenoid cable test and solenoid-to-starter connector test.
[230] US Army TM 5-2420-230-24-2, page 13-33, starter control circuit.

Their figures are for aircraft and army vehicles: evidence beside what is used here, not a replacement of the maker's figure.
"""

from __future__ import annotations

import pytest

from tracer.electrics.network.described import network_of_resistances
from tracer.electrics.network.load_laws import ConstantCurrent
from tracer.electrics.network.with_loads import solve_with_loads
from tracer.standards.allowances import contact_ohm
from tracer.standards.conductors import copper_resistivity, max_resistance_mohm_per_m, parse_size
from tracer.standards.limits import drop_limit, lead_limit

FT_M = 0.3048
AMPS = 20.0

# gauge, length in ft, Ω/ft and V as printed, and half a unit of the last figure (3.555 V is printed as 3.60, so one unit of its second figure)
TABLE_11_7 = [
    (6, 107, 0.00044, 0.942, 0.0005),
    (4, 90, 0.00028, 0.504, 0.0005),
    (12, 88, 0.00202, 3.60, 0.05),
    (14, 100, 0.00306, 6.12, 0.005),
]
TABLE_11_8 = [(10, 39, 0.00126, 0.98, 0.005), (10, 156, 0.00126, 3.93, 0.005), (10, 273, 0.00126, 6.88, 0.005)]
OHM_PER_FT = {gauge: ohm_per_ft for gauge, _, ohm_per_ft, _, _ in (*TABLE_11_7, *TABLE_11_8)}


def drop_v(ohm: float) -> float:
    """What 20 A lose in a wire of so many ohms: drawn as a network, 28 V at one end and the draw at the other."""
    network = network_of_resistances(2, [(0, 1)], [ohm], reference=[0], source_v=[28.0])
    return 28.0 - float(solve_with_loads(network, [ConstantCurrent(1, 0, AMPS)]).node_v[1])


@pytest.mark.parametrize(("gauge", "length_ft", "ohm_per_ft", "volts", "tolerance_v"), [*TABLE_11_7, *TABLE_11_8])
def test_drop_in_a_wire(gauge: int, length_ft: float, ohm_per_ft: float, volts: float, tolerance_v: float) -> None:
    """[FAA] tables 11-7 and 11-8, tinned copper, 20 A."""
    assert drop_v(length_ft * ohm_per_ft) == pytest.approx(volts, abs=tolerance_v), f"No. {gauge}"


@pytest.mark.parametrize(("gauge", "ohm_per_ft"), OHM_PER_FT.items())
def test_stranded_wire_of_a_gauge_lies_above_solid_copper_about_as_much_as_is_taken_here(
    gauge: int, ohm_per_ft: float
) -> None:
    """[FAA] tables 11-7 and 11-8 give the most that aircraft wire may have: 11 to 28 % above solid copper of the same gauge at 20 °C."""
    area_mm2 = parse_size(f"{gauge}AWG").area_mm2
    solid_ohm_per_ft = copper_resistivity().value / area_mm2 * FT_M
    assert 1.11 < ohm_per_ft / solid_ohm_per_ft < 1.28
    assert 1.11 < max_resistance_mohm_per_m(area_mm2).value / 1000 * FT_M / solid_ohm_per_ft < 1.28


def test_one_example_of_the_page_is_a_slip() -> None:
    """[FAA] table 11-8 prints 0.366 V at 19.5 ft. By its own 0.00126 Ω/ft it is 0.491 V, and even solid copper at 20 °C loses more than is printed."""
    assert drop_v(19.5 * 0.00126) == pytest.approx(0.491, abs=0.0005)
    solid_ohm_per_ft = copper_resistivity().value / parse_size("10AWG").area_mm2 * FT_M
    assert drop_v(19.5 * solid_ohm_per_ft) > 0.366 + 0.02


@pytest.mark.parametrize("temperature_c", [20, 40, 60, 80, 105, 150])
@pytest.mark.parametrize("size", ["0.5", "2.5", "16", "10AWG"])
def test_length_allowed_in_the_heat(size: str, temperature_c: float) -> None:
    """[FAA] paragraph 11-66: L2 = L1 x 254.5 / (234.5 + T2) for the same drop. 0.05 % is the rounding of 0.00393 per K against 1 / 254.5."""
    area_mm2 = parse_size(size).area_mm2
    cold, hot = (max_resistance_mohm_per_m(area_mm2, at_c).value for at_c in (20, temperature_c))
    assert cold / hot == pytest.approx(254.5 / (234.5 + temperature_c), rel=0.0005)


def test_a_bond_in_order_is_below_2_5_milliohm_and_a_millivolt_test_shows_it() -> None:
    """[FAA] page 11-74: a conducting frame to structure below 2.5 mΩ, measured by the millivolts that a known current drops."""
    assert drop_v(0.0025) == pytest.approx(0.050, abs=1e-9)  # 2.5 mV for each ampere
    assert drop_v(0.0025) <= drop_limit("ground path").max_v  # a bond that is allowed fails no ground here
    for item in ("eyelet on a ground point", "ground strap", "bolted point"):
        assert contact_ohm(item).nominal < 0.0025, item


def test_one_cable_of_the_starter_circuit() -> None:
    """[211]: at most 0.2 V in the battery-to-solenoid cable, and as much in the solenoid-to-starter connector. [F303]: above 0.4 V in the positive cable
    indicates high resistance; battery post to its terminal: anything above 0 V is a poor connection."""
    assert drop_limit("single wire").max_v == 0.2
    assert drop_limit("ideal connection").max_v == 0.0
    assert drop_limit("single wire").max_v <= 0.4 <= drop_limit("starter positive side").max_v


@pytest.mark.parametrize(("system_v", "printed_v"), [(12, 1.0), (24, 2.0)])
def test_a_limit_of_the_starter_control_that_is_laxer_than_the_printed_one_is_called_doubtful(
    system_v: int, printed_v: float
) -> None:
    """[230]: both windings drawing, supply and ground side together, 20 °C: at most 1.0 V (12 V) and 2.0 V (24 V)."""
    found = lead_limit("starter control, two windings", system_v)
    assert found.max_v <= printed_v or "doubtful" in found.note
