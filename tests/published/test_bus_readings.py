"""Computed bus resistances and levels of high-speed CAN against parallel resistors and ISO 11898-2.

[A] Resistors of 120 Ω in parallel (Ohm's law): 60, 120 and 40 Ω.
[B] ISO 11898-2 as reproduced in component datasheets: recessive 2 to 3 V, dominant 2.75 to 4.5 V and 0.5 to 2.25 V.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.electrics.test_bus import bus, reading


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


def test_levels_of_iso_11898_2(tmp_path: Path) -> None:
    levels = {(one.state, one.line): one for one in bus(tmp_path, "A: 120, C: 120").levels}
    for line in ("CAN_H", "CAN_L"):
        rest = levels["recessive", line]
        assert (rest.low_v, rest.nominal_v, rest.high_v) == (2.0, 2.5, 3.0)  # [B]
    assert (levels["dominant", "CAN_H"].low_v, levels["dominant", "CAN_H"].high_v) == (2.75, 4.5)  # [B]
    assert (levels["dominant", "CAN_L"].low_v, levels["dominant", "CAN_L"].high_v) == (0.5, 2.25)  # [B]
