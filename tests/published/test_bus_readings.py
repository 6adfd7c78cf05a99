"""Computed bus resistances and levels against what is published for high-speed CAN.

[A] Resistors of 120 Ω in parallel (Ohm's law): 60, 120 and 40 Ω.
[B] ISO 11898-2 as reproduced in component datasheets: recessive 2 to 3 V, dominant 2.75 to 4.5 V and 0.5 to 2.25 V.
The facts of the trade below are common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.electrics.test_bus import bus, reading
from tracer.standards.allowances import battery_v
from tracer.standards.bus import trade_range


@pytest.mark.parametrize(
    ("terminations", "case", "ohm"),
    [
        ("A: 120, C: 120", "everything", 60),  # [A] both ends present
        ("A: 120, C: 120", "A unplugged", 120),  # [A] one end missing
        ("A: 120, C: 120", "termination C lost", 120),  # [A]
        ("A: 120, C: 120", "one more termination", 40),  # [A] a third added
        ("A: 120, B: 120, C: 120", "everything", 40),  # [A]
        ("A: 120", "everything", 120),  # [A]
    ],
)
def test_published_readings(tmp_path: Path, terminations: str, case: str, ohm: float) -> None:
    """Within 1 %: the inputs of three nodes and 3 m of wire move it by less."""
    report = bus(tmp_path, terminations)
    assert reading(report, case, "B") == pytest.approx(ohm, rel=0.01)


def test_lines_shorted_read_below_10_ohm(tmp_path: Path) -> None:
    report = bus(tmp_path, "A: 120, C: 120")  # 0 to 10 Ω: custom of the trade, no source
    for at in ("A", "B", "C"):
        assert reading(report, "the lines touch at C", at) < 10


def test_levels_of_iso_11898_2(tmp_path: Path) -> None:
    levels = {(one.state, one.line): one for one in bus(tmp_path, "A: 120, C: 120").levels}
    for line in ("CAN_H", "CAN_L"):
        rest = levels["recessive", line]
        assert (rest.low_v, rest.nominal_v, rest.high_v) == (2.0, 2.5, 3.0)  # [B]
    assert (levels["dominant", "CAN_H"].low_v, levels["dominant", "CAN_H"].high_v) == (2.75, 4.5)  # [B]
    assert (levels["dominant", "CAN_L"].low_v, levels["dominant", "CAN_L"].high_v) == (0.5, 2.25)  # [B]


def test_facts_of_the_trade(tmp_path: Path) -> None:
    """Common practice, no source: 60 to 70 Ω accepted, about 1 Ω change for a node, 3.5 and 1.5 V dominant, 13 V with a maintainer."""
    assert trade_range("accepted by many at 20 °C") == (60, 70)
    report = bus(tmp_path, "A: 120, C: 120")
    unplugged = next(case for case in report.cases if case.words == "B unplugged")
    most = trade_range("change when a node without termination is unplugged")[1]
    assert unplugged.change
    assert all(low >= 0 and high <= most for low, high in unplugged.change)
    levels = {(one.state, one.line): one.nominal_v for one in report.levels}
    assert (levels["dominant", "CAN_H"], levels["dominant", "CAN_L"]) == (3.5, 1.5)
    assert battery_v("maintainer connected").nominal == pytest.approx(13.0)
