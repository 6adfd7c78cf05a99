"""Currents from millivolts across fuses, against a chart remark of the trade press and sums by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.electrics.vehicles import tracing_of
from tracer.electrics.key_off_draw import BadReading, DrawReport, draw_of, readings_of, total_of
from tracer.electrics.limits_in_use import limits_of
from tracer.report.draw import as_text
from tracer.standards import figures
from tracer.trace.affects.dead_part import UnknownPart
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(str(DEMO)))


def draw(tracing: Tracing, *readings: str, total: str | None = None) -> DrawReport:
    return draw_of(
        tracing,
        readings_of(tracing, readings),
        limits=limits_of(tracing.circuit),
        held={"asleep": "yes"},
        total_ma=total_of(total),
    )


def current(report: DrawReport, fuse: str) -> tuple[float, float, float]:
    found = next(one for one in report.readings if one.fuse == fuse).current_ma
    assert found is not None
    return found.low, found.nominal, found.high


@pytest.mark.parametrize(
    ("rating", "kind", "mv", "ma"),
    [
        (10, "C", 1.0, 130),  # 1 mV for 130 mA on a 10 A medium blade: from memory
        (15, "F", 1.0, 218),  # 1.0 mV for 218 mA on a 15 A miniature blade: MACS Service Reports 2017
        (5, "F", 0.1, 5.6),  # 17.75 mΩ cold: data sheet, from memory
    ],
)
def test_current_from_millivolts(tmp_path: Path, rating: float, kind: str, mv: float, ma: float) -> None:
    sheet = f"parts:\n  BAT: battery\n  F1: {{is: fuse, amps: {rating}, type: {kind}}}\n  E1: load\nruns:\n- BAT.+ -- RD 1 -- F1 -- RD 1 -- E1 -- BN 1 -- BAT.-\n"
    tracing = tracing_of(tmp_path, sheet)
    report = draw_of(tracing, readings_of(tracing, [f"F1={mv}"]), limits=limits_of(tracing.circuit))
    low, nominal, high = current(report, "F1")
    assert nominal == pytest.approx(ma, rel=0.01)
    assert low < nominal < high


def test_the_range_is_that_of_the_fuse_and_of_the_meter(demo: Tracing) -> None:
    """7.70 mΩ 15 % either way; the meter 1 % and 0.1 mV."""
    low, nominal, high = current(draw(demo, "F4=1.6"), "F4")
    assert nominal == pytest.approx(1.6 / 7.70e-3, rel=1e-6)
    assert low == pytest.approx((1.6 - 0.116) / (7.70e-3 * 1.15), rel=1e-6)
    assert high == pytest.approx((1.6 + 0.116) / (7.70e-3 * 0.85), rel=1e-6)


def test_what_one_fuse_feeds_through_another_is_counted_once(demo: Tracing) -> None:
    report = draw(demo, "F9=1.0", "F10=0.9")
    assert report.total_ma is not None
    assert report.total_ma.nominal == pytest.approx(current(report, "F9")[1], rel=1e-6)


def test_small_fuses_raise_what_a_link_cannot_show(demo: Tracing) -> None:
    """What the link can carry at most bounds the sum of the two, 247 mA, in turn."""
    report = draw(demo, "ML2=0", "F4=1.6", "F7=0.3")
    assert report.total_ma is not None
    assert report.total_ma.nominal == pytest.approx(min(1.9 / 7.70e-3, current(report, "ML2")[2]), rel=1e-6)
    assert report.total_ma.low == pytest.approx(current(report, "F4")[0] + current(report, "F7")[0], rel=1e-6)
    assert report.total_ma.low > 50
    assert report.verdict.startswith("above 50 mA")
    shares = {one.fuse: one.share or 0 for one in report.readings}
    assert shares["ML2"] == pytest.approx(1.0)


def test_shares_of_a_measured_total_come_to_no_more_than_all_of_it(demo: Tracing) -> None:
    """Two fuses side by side read 208 and 117 mA by their tables, and the clamp reads 290 mA: what they carry is less, each by as much of its range."""
    report = draw(demo, "F4=1.6", "F7=0.9", total="290mA")
    assert 1.6 / 7.70 + 0.9 / 7.70 > 0.290
    assert report.total_ma is not None and report.total_ma.nominal == pytest.approx(290)
    found = [current(report, fuse) for fuse in ("F4", "F7")]
    assert sum(nominal for _, nominal, _ in found) == pytest.approx(290)
    moved = [(nominal - low) / (mv / 7.70e-3 - low) for (low, nominal, _), mv in zip(found, (1.6, 0.9), strict=True)]
    assert moved[0] == pytest.approx(moved[1])
    assert sum(one.share or 0 for one in report.readings) == pytest.approx(1.0)
    assert report.left_ma is not None and report.left_ma.nominal == pytest.approx(0.0, abs=1e-9)


def test_the_next_position_is_the_one_that_draws_more_than_it_should(demo: Tracing) -> None:
    report = draw(demo, "F4=1.6", "F7=0", "F9=0")
    assert [step.fuse for step in report.next_steps] == ["F4"]
    assert "BDM" in report.next_steps[0].open_up
    below = draw(demo, "F50=1.0").next_steps[0]
    assert below.read == ("F51", "F52")


CHAIN = (
    "parts:\n  BAT: battery\n  F1: {is: fuse, amps: 30, type: C}\n  F2: {is: fuse, amps: 10, type: C}\n  E1: load\n"
    "runs:\n- BAT.+ -- RD 4 1m -- F1 -- RD 4 1m -- F2 -- RD 1 -- E1 -- BN 1 -- BAT.-\n"
)


@pytest.mark.parametrize(
    ("main_mv", "words"),
    [
        ("0.2", ()),  # 44 to 183 mA by the makes of fuses and the meter, 56 to 108 mA of it below: nothing may be left
        ("0", ()),
        ("1.0", ("nothing that is typed in hangs on F1: look for something added",)),
    ],
)
def test_a_remainder_is_a_range_and_where_it_contains_0_nothing_is_said(
    tmp_path: Path, main_mv: str, words: tuple[str, ...]
) -> None:
    report = draw(tracing_of(tmp_path, CHAIN), f"F1={main_mv}", "F2=0.6")
    assert tuple(step.words for step in report.next_steps if step.fuse == "F1") == words


def test_a_fuse_that_two_others_feed_is_not_all_the_current_of_either(tmp_path: Path) -> None:
    sheet = CHAIN.replace(
        "  E1: load", "  F3: {is: fuse, amps: 30, type: C}\n  D1: diode\n  D2: diode\n  E2: load\n  E1: load"
    )
    sheet = sheet.replace("F1 -- RD 4 1m -- F2", "F1 -- RD 4 1m -- D1 -- RD 4 1m -- F2")
    sheet += "- BAT.+ -- RD 4 1m -- F3 -- RD 4 1m -- D2 -- RD 4 1m -- F2.feed\n- F1.load -- RD 1 1m -- E2 -- BN 1 1m -- BAT.-\n"
    (step,) = (one for one in draw(tracing_of(tmp_path, sheet), "F1=1.0", "F2=1.0").next_steps if one.fuse == "F1")
    low, _, high = current(draw(tracing_of(tmp_path, sheet), "F1=1.0"), "F1")
    most = current(draw(tracing_of(tmp_path, sheet), "F2=1.0"), "F2")[2]
    assert f"{figures.milliamps(low - most).split()[0]} to {figures.milliamps(high)} of it not through F2" in step.words
    assert step.open_up == ("E2",)


def test_a_fuse_that_carries_more_than_what_feeds_it_is_a_conflict(demo: Tracing) -> None:
    assert draw(demo, "F9=1.0", "F10=1.0").conflicts == ()
    (conflict,) = draw(demo, "F50=0.1", "F51=9").conflicts
    assert "F51 reads" in conflict and "F50" in conflict


@pytest.mark.parametrize(("typed", "ma"), [("0.35A", 350), ("350mA", 350), ("0,35 A", 350), ("48mA", 48)])
def test_a_measured_total_comes_first_and_bounds_the_readings(demo: Tracing, typed: str, ma: float) -> None:
    """2 % and 10 mA of a clamp, from memory."""
    report = draw(demo, "ML2=0.1", total=typed)
    assert report.total_ma is not None
    assert (report.total_ma.low, report.total_ma.high) == pytest.approx((ma - 0.02 * ma - 10, ma + 0.02 * ma + 10))
    assert current(report, "ML2")[2] == pytest.approx(
        min(report.total_ma.high, current(draw(demo, "ML2=0.1"), "ML2")[2])
    )
    assert f"TOTAL {ma} mA" in as_text(report) and "Measure the whole draw first" not in as_text(report)


def test_branches_raise_their_feeder_and_a_feeder_caps_its_branches(demo: Tracing) -> None:
    alone, together = draw(demo, "ML2=0.1"), draw(demo, "ML2=0.1", "F4=1.6")
    assert current(alone, "ML2")[0] == 0
    assert current(together, "ML2")[0] == pytest.approx(current(together, "F4")[0])
    assert current(draw(demo, "F4=1.6", total="170mA"), "F4")[2] == pytest.approx(170 * 1.02 + 10)


def test_more_through_a_fuse_than_the_whole_draw_is_a_contradiction_and_nothing_is_judged(demo: Tracing) -> None:
    report = draw(demo, "F4=1.6", total="100mA")
    (conflict,) = report.conflicts
    assert conflict.startswith("F4 reads 208 mA (168 mA at least), yet the whole draw is 100 mA (112 mA at most)")
    assert "contradict" in report.verdict and report.next_steps == () and report.left_ma is None
    assert "CONFLICT: F4" in as_text(report)


def test_branches_that_come_to_more_than_their_feeder_together_are_a_contradiction(demo: Tracing) -> None:
    """Each of the two alone may be right."""
    assert draw(demo, "ML2=0", "F4=1.3", "F9=0").conflicts == draw(demo, "ML2=0", "F4=0", "F7=1.3").conflicts == ()
    (conflict,) = draw(demo, "ML2=0", "F4=1.3", "F7=1.3").conflicts
    assert conflict.startswith("F4 and F7 read together") and "ML2, which feeds them" in conflict


def test_what_hangs_on_the_battery_without_a_fuse_is_named(demo: Tracing) -> None:
    report = draw(demo)
    assert report.without_fuse == ("STR", "GEN")
    assert "Fed without a fuse, only in the whole draw: STR, GEN" in as_text(report, width=120)


def test_the_total_of_two_batteries_is_held_against_no_reading(tmp_path: Path) -> None:
    sheet = (
        CHAIN.replace("  E1: load", "  AUX: battery\n  E1: load")
        + "- AUX.+ -- RD 4 1m -- F1.feed\n- AUX.- -- BN 4 1m -- BAT.-\n"
    )
    report = draw(tracing_of(tmp_path, sheet), "F2=5", total="20mA")
    assert report.conflicts == () and report.left_ma is None
    assert any("held against no reading" in note for note in report.notes)


def test_expected_currents_come_from_the_typed_draws(demo: Tracing) -> None:
    """BDM asleep 3.5 mA by F4; GTW 1.5, INS 1.8, ALM 0.4 and DGC 0.1 mA by F9."""
    found = {one.fuse: one.expected_ma for one in draw(demo).unread}
    assert found["F4"] is not None and found["F4"].nominal == pytest.approx(3.5, abs=0.02)
    assert found["F9"] is not None and found["F9"].nominal == pytest.approx(3.8, abs=0.02)


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("F4", "write F12=0.4"),
        ("F4=much", "write F12=0.4"),
        ("F4=700", "no drop of a fuse that conducts"),
        ("ALM=0.3", "ALM is not a fuse"),
    ],
)
def test_a_wrong_reading_says_what_to_write(demo: Tracing, typed: str, message: str) -> None:
    with pytest.raises(BadReading, match=message):
        readings_of(demo, [typed])


def test_a_fuse_is_read_once(demo: Tracing) -> None:
    with pytest.raises(BadReading, match="given twice"):
        readings_of(demo, ["F4=1", "FPC/F4=2"])
    with pytest.raises(UnknownPart, match="there is no part F99"):
        readings_of(demo, ["F99=1"])


def test_what_is_expected_is_for_a_vehicle_that_sleeps_unless_that_is_let_go(demo: Tracing) -> None:
    """BDM takes 3.5 mA asleep by F4, some hundreds awake."""

    def expected(**held: str) -> tuple[bool | None, float]:
        report = draw_of(demo, {}, limits=limits_of(demo.circuit), held=held)
        found = next(one for one in report.unread if one.fuse == "F4").expected_ma
        assert found is not None
        return report.asleep, found.nominal

    asleep, sleeping_ma = expected()
    assert asleep is True
    assert sleeping_ma == pytest.approx(3.5, abs=0.02)
    awake, ma = expected(asleep="no")
    assert awake is False
    assert ma > 100


def test_where_no_condition_asleep_is_typed_in_nothing_is_explained_by_what_is_expected(tmp_path: Path) -> None:
    sheet = (
        "parts:\n  BAT: battery\n  F1: {is: fuse, amps: 10, type: C}\n  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 0.3}}\n"
        "runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n"
    )
    tracing = tracing_of(tmp_path, sheet)
    report = draw_of(tracing, readings_of(tracing, ["F1=0.3"]), limits=limits_of(tracing.circuit))
    assert report.asleep is None
    assert report.readings[0].expected_ma is not None and report.readings[0].expected_ma.nominal == pytest.approx(300)
    assert [step.open_up for step in report.next_steps] == [("M",)]  # 39 mA, although 300 mA are typed in
    text = as_text(report)
    assert "may be modules still awake" in text and "expected off" in text


def test_a_vehicle_with_loose_ends_is_said_not_to_be_complete() -> None:
    tracing = Tracing(tracer.load(str(DEMO.parent / "unfinished")))
    report = draw_of(tracing, {}, limits=limits_of(tracing.circuit))
    assert not report.complete
    assert "NOT COMPLETE" in as_text(report)


def test_a_position_without_a_fuse_cannot_be_read(tmp_path: Path) -> None:
    sheet = "parts:\n  BAT: battery\n  F1: {is: fuse, state: empty}\nruns:\n- BAT.+ -- RD 1 -- F1.feed\n"
    tracing = tracing_of(tmp_path, sheet)
    with pytest.raises(BadReading, match="F1 is typed in as `state: empty`"):
        readings_of(tracing, ["F1=1"])
