"""High-speed CAN (ISO 11898-2), fault-tolerant CAN (ISO 11898-3) and LIN (ISO 17987-4) in data sheets.

Pages: [A] component datasheet SLLSF80B, electrical characteristics,
www.ti.com/document-viewer/TCAN1146-Q1/datasheet/;
[C] component datasheet SN65HVD230, bus levels; [D] component datasheet SLRS048A (1998, rev. 2000), p. 6;
[E] component datasheet TLE9263QX rev. 1.1, p. 69; [F] component datasheet SLLS983L, CAN
termination; [G] component datasheet TJA1055 rev. 04 (2009), p. 16; [H] "Low-Speed
CAN termination", www.ni.com; [I] "LIN Bus Voltages and Levels" and "LIN Bus Layout",
onlinedocs.microchip.com; [J] component datasheets SLLSFK7A and SLLSEU9D; [K] SLLA383A, LIN pull-up values;
[M] Industrial Communication Systems, chapter 45, p. 45-6. The standards themselves
were not read.
"""

from __future__ import annotations

import pytest

from tracer.standards.bus import (
    LinLevel,
    levels,
    lin_level_v,
    lin_quantity,
    node_inputs,
    terminations,
    workshop_readings,
)

# state, line: lowest, usual, highest, V
HIGH_SPEED = {
    ("recessive", "CAN_H"): (2.0, 2.5, 3.0),  # [A], no load
    ("recessive", "CAN_L"): (2.0, 2.5, 3.0),  # [A], no load
    ("recessive", "difference"): (-0.12, 0.0, 0.012),  # [A], 60 Ω load
    ("dominant", "CAN_H"): (2.75, 3.5, 4.5),  # [A], 50 to 65 Ω
    ("dominant", "CAN_L"): (0.5, 1.5, 2.25),  # [A], 50 to 65 Ω
    ("dominant", "difference"): (1.5, 2.0, 3.0),  # [A] [C], 50 to 65 Ω; the usual 2.0 V is 3.5 less 1.5
}

# state, line: usual, V [G]
FAULT_TOLERANT = {
    ("recessive", "CAN_H"): 0.0,
    ("recessive", "CAN_L"): 5.0,
    ("recessive", "difference"): -5.0,
    ("dominant", "CAN_H"): 3.6,
    ("dominant", "CAN_L"): 1.4,
    ("dominant", "difference"): 2.2,
}


def test_high_speed_levels() -> None:
    """Transmitter levels of a 5 V class transceiver."""
    assert {(v.state, v.line): (v.min_v, v.nominal_v, v.max_v) for v in levels("high-speed CAN")} == HIGH_SPEED


def test_fault_tolerant_levels() -> None:
    """Idle CAN_H is low and CAN_L high, the other way round from what a high-speed bus suggests."""
    assert {(v.state, v.line): v.nominal_v for v in levels("fault-tolerant CAN")} == FAULT_TOLERANT


@pytest.mark.parametrize("bus", ["high-speed CAN", "fault-tolerant CAN"])
@pytest.mark.parametrize("state", ["recessive", "dominant"])
def test_difference_is_high_less_low(bus: str, state: str) -> None:
    """The difference row agrees with the two line rows."""
    nominal = {v.line: v.nominal_v for v in levels(bus) if v.state == state}
    assert nominal["difference"] == pytest.approx(nominal["CAN_H"] - nominal["CAN_L"], abs=1e-9)


def test_node_input_resistance() -> None:
    """Older [D] and present-day [E] transceivers, kΩ; the limits of the standard are from memory."""
    seen = {(n.between, n.min_kohm, n.typical_kohm, n.max_kohm) for n in node_inputs() if n.certainty == "maker"}
    assert seen == {
        ("each line and ground", 5, None, 50),
        ("the two lines", 10, None, 100),
        ("each line and ground", 20, 40, 50),
        ("the two lines", 40, 80, 100),
    }


def test_terminations() -> None:
    """120 Ω at each end [F]; 500 Ω or more per line and node [G] [H]; LIN 1 kΩ and 30 kΩ [K]."""
    seen = {
        (t.bus, t.nominal_ohm, t.min_ohm)
        for bus in ("high-speed CAN", "fault-tolerant CAN", "LIN")
        for t in terminations(bus)
        if t.certainty == "maker"
    }
    assert seen == {
        ("high-speed CAN", 120, None),
        ("fault-tolerant CAN", None, 500),
        ("LIN", 1000, None),
        ("LIN", 30000, None),
    }


def test_meter_readings() -> None:
    """60, 120 and 40 Ω: two, one and three resistors of 120 Ω in parallel. Touching lines: custom of the trade, no source."""
    about = {r.case: r.about_ohm for r in workshop_readings() if r.about_ohm is not None}
    assert about == {"both ends present": 60, "one end missing": 120, "a third terminator added": 40}
    assert [120 / count for count in (2, 1, 3)] == list(about.values())


@pytest.mark.parametrize(
    ("level", "share"),
    [
        ("receiver, recessive above", 0.6),  # [I]
        ("receiver, dominant below", 0.4),  # [I]
        ("transmitter, recessive at least", 0.8),  # [J]
        ("transmitter, dominant at most", 0.2),  # [J]
    ],
)
@pytest.mark.parametrize("supply_v", [7, 12, 18])
def test_lin_levels_are_shares_of_the_supply(level: LinLevel, share: float, supply_v: float) -> None:
    """LIN levels move with the supply at the transceiver, from 7 to 18 V."""
    assert lin_level_v(level, supply_v).value == pytest.approx(share * supply_v, abs=1e-9)


@pytest.mark.parametrize("supply_v", [6.99, 18.01, float("nan")])
def test_lin_levels_outside_the_supply_range_are_refused(supply_v: float) -> None:
    """No level is given outside 7 to 18 V [I], so none is made up."""
    with pytest.raises(ValueError, match="7 to 18 V"):
        lin_level_v("receiver, dominant below", supply_v)


@pytest.mark.parametrize(
    ("quantity", "value"), [("nodes, most", 16), ("bit rate, highest", 20), ("length, longest", 40)]
)
def test_lin_size(quantity: str, value: float) -> None:
    """16 nodes and 20 kbit/s [I], 40 m [M]."""
    assert lin_quantity(quantity).value == value
