"""Which lamp may hang where: none where the fuse or the wire would not stand it, and the small one where nobody knows."""

from __future__ import annotations

import pytest

from tracer.electrics.volts.values import Lamp, Why
from tracer.plan.lamps import LAMPS_W, lamp_below, lamp_for_ground


@pytest.mark.parametrize("lamp", [lamp_below(10, 42), lamp_below(None, 42), lamp_for_ground(2.5, 42)])
def test_at_a_system_for_which_no_lamp_is_made_none_is_named(lamp: Lamp) -> None:
    assert (lamp.watts, lamp.current_a, lamp.why) == (None, 0.0, Why.SYSTEM)


def test_behind_a_fuse_of_unknown_rating_hangs_the_smallest_and_behind_one_too_small_none() -> None:
    unrated, small = lamp_below(None, 12), lamp_below(0.1, 12)
    assert (unrated.watts, unrated.why) == (LAMPS_W[0], Why.UNRATED)
    assert (small.watts, small.current_a, small.why) == (None, 0.0, Why.TOO_SMALL_A_FUSE)


def test_an_electronic_output_or_a_diode_gets_no_large_lamp_whatever_the_fuse() -> None:
    assert [(lamp_below(30, volts, gentle=True).watts, lamp_below(30, volts, gentle=True).why) for volts in (12, 24)] == [(5.0, Why.GENTLE)] * 2  # fmt: skip


@pytest.mark.parametrize(("area_mm2", "watts"), [(None, 5.0), (0.75, 5.0), (0.99, 5.0), (1.0, 21.0), (6.0, 21.0)])
def test_a_ground_on_a_thin_wire_or_one_nobody_knows_is_loaded_gently(area_mm2: float | None, watts: float) -> None:
    for volts in (12.0, 24.0):
        lamp = lamp_for_ground(area_mm2, volts)
        assert (lamp.watts, lamp.why) == (watts, Why.WIRE) and lamp.current_a == pytest.approx(watts / volts)
