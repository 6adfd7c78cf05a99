"""What is plugged in against what belongs there: each mismatch, the hazards first, the likely stories, and what was not looked at."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tests.typed import load
from tracer.entry.problems import CannotUse
from tracer.report.panel import seen_text
from tracer.trace.panels.plugged_in import (
    BLOWN,
    BOTH,
    BRIDGED,
    MISSING,
    NOT_COMPARED,
    NOT_EMPTY,
    NOT_ORDERED,
    TOO_LARGE,
    TOO_SMALL,
    UNREADABLE,
    WRONG_KIND,
    WRONG_TYPE,
    SeenReport,
    compare,
    read_seen,
)
from tracer.trace.panels.positions_of import PanelReport, panels_of
from tracer.trace.tracing import Tracing

DEMO = str(Path(__file__).parent.parent.parent / "circuits" / "minibus")
TRACING = Tracing(tracer.load(DEMO))
REPORT = panels_of(TRACING, "FPC")


def seen(text: str, report: PanelReport = REPORT) -> SeenReport:
    return compare(TRACING, report, read_seen(text, report, "seen.txt"))


@pytest.mark.parametrize(
    ("text", "words"),
    [("-", "nothing"), ("ok", "as it should be"), ("?", "fuse rating not readable"), ("15/C/blown", "fuse 15 A type C blown"), ("relay", "relay")],
)  # fmt: skip
def test_what_was_seen_is_said_back_whole(text: str, words: str) -> None:
    assert [one.words for one in read_seen(f"F7:{text}", REPORT, "seen.txt").values()] == [words]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("F7:15", TOO_LARGE),
        ("F7:10.5", TOO_LARGE),
        ("F7:7.5", TOO_SMALL),
        ("F7:9,9", TOO_SMALL),
        ("F7:-", MISSING),
        ("F7:blown", BLOWN),
        ("F7:10/blown", BLOWN),
        ("F7:?", UNREADABLE),
        ("F7:10/C", WRONG_TYPE),
        ("F7:relay", WRONG_KIND),
        ("F7:bridge", BRIDGED),
        ("F11:10", NOT_EMPTY),
        ("F26:5", NOT_EMPTY),
        ("F12:15", NOT_ORDERED),
        ("F15:15", NOT_ORDERED),
        ("F15:15 F25:15", BOTH),
        ("KSC:10", WRONG_KIND),
        ("KSC:-", MISSING),
    ],
)
def test_each_mismatch_is_told_by_its_name(text: str, what: str) -> None:
    assert what in {one.what for one in seen(text).mismatches}


@pytest.mark.parametrize(
    "text", ["F7:10", "F7:10A", "F7:10/F", "F7:ok", "F11:-", "F12:-", "F15:-", "F25:15", "F26:-", "KSC:relay", "7:10"]
)
def test_what_belongs_there_is_as_it_should_be(text: str) -> None:
    found = seen(text)
    assert found.mismatches == ()
    assert len(found.right) == 1


def test_a_hazard_is_said_first_whatever_the_order_typed() -> None:
    found = seen("F5:- F1:blown F11:10 F7:20 F8:?")
    assert [one.what for one in found.mismatches] == [TOO_LARGE, NOT_EMPTY, MISSING, BLOWN, UNREADABLE]
    assert [one.hazard for one in found.mismatches] == [True, True, False, False, False]
    assert "Take it out" in found.mismatches[0].action


def test_nothing_seen_is_not_the_same_as_not_looked_at() -> None:
    found = seen("F7:-")
    assert "F7" not in {position.label for position in found.not_looked_at}
    assert len(found.not_looked_at) == len(REPORT.positions) - 1
    assert not found.complete


def test_a_panel_all_as_it_should_be_is_complete() -> None:
    text = " ".join(f"{position.label}:ok" for position in REPORT.positions)
    assert seen(text).complete


def test_symptoms_are_what_the_missing_fuse_takes_away() -> None:
    (one,) = seen("F23:-").mismatches
    assert "CLM (Climate module): pin 2 no supply" in one.symptoms
    assert "relay KBL drops out" in one.symptoms


def test_a_fuse_in_the_neighbouring_position_is_a_probable_swap() -> None:
    (story,) = seen("F14:- F15:15").stories
    assert story.positions == ("F15", "F14")
    assert "side by side" in story.why and "F14 feeds HRN" in story.why


def test_two_exchanged_fuses_are_told_as_exchanged() -> None:
    (story,) = seen("F4:15 F5:10").stories
    assert story.message == "F5 and F4 are probably exchanged: F5 should be 15 A, F4 10 A"


def test_where_several_lack_the_same_rating_all_of_them_are_named() -> None:
    (story,) = seen("F13:- F7:- F30:10").stories
    assert "F7 or F13" in story.message


def test_the_fuse_of_an_either_or_in_its_other_position_is_told() -> None:
    found = seen("F25:- F15:15")
    assert {one.what for one in found.mismatches} == {MISSING, NOT_ORDERED}
    (story,) = found.stories
    assert set(story.positions) == {"F15", "F25"}


def test_both_of_an_either_or_pair_is_a_hazard() -> None:
    assert any(one.hazard and one.what == BOTH for one in seen("F25:15 F15:15").mismatches)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("F7", "is not `LABEL:WHAT`"),
        ("F7:", "is not `LABEL:WHAT`"),
        ("F77:10", "no position is labelled F77"),
        ("F7:ten", "`ten` is not something that can be seen"),
        ("F7:-/10", "says two things"),
        ("F7:0", "no fuse is rated 0 A"),
        ("F7:10 F7:10", "stands here a second time"),
    ],
)
def test_what_cannot_be_read_is_a_problem_with_its_place(text: str, message: str) -> None:
    with pytest.raises(CannotUse, match=message) as caught:
        read_seen(f"# first line\n{text}", REPORT, "seen.txt")
    assert all(problem.place.line == 2 for problem in caught.value.problems)


def test_comments_and_lines_are_read() -> None:
    typed = read_seen("# cab panel\nF7:10  # right\n  F11:-\n", REPORT, "seen.txt")
    assert {name: plugged.words for name, plugged in typed.items()} == {"F7": "fuse 10 A", "F11": "nothing"}


@given(st.text("F1237:-/.?ok,blown \n#15", max_size=30))
def test_any_text_is_read_or_refused_with_a_place(text: str) -> None:
    try:
        read_seen(text, REPORT, "seen.txt")
    except CannotUse as error:
        lines = max(1, len(text.splitlines()))
        assert all(problem.place.file == "seen.txt" and 1 <= problem.place.line <= lines for problem in error.problems)


@pytest.mark.parametrize(("other", "why"), [("F21", "the labels are alike"), ("F17", "the labels are alike"), ("F31", "same panel, same rating"), ("F112", "same panel, same rating")])  # fmt: skip
def test_a_label_with_one_figure_more_or_two_changed_over_is_taken_for_another(other: str, why: str, tmp_path: Path) -> None:  # fmt: skip
    """Not side by side: F15 sits between."""
    sheet = f"sheet: 1\nparts: {{BAT: battery, FB: {{is: panel, positions: {{F12: 15, F15: 5, {other}: 10}}, busbars: {{BAT.+: [F12, F15, {other}]}}}}}}\nruns: []\n"
    tracing = Tracing(load(tmp_path, sheet))
    report = panels_of(tracing)
    (story,) = compare(tracing, report, read_seen(f"F12:- F15:5 {other}:15", report, "seen.txt")).stories
    assert story.message == f"the 15 A that is missing in F12 probably sits in {other}"
    assert story.why.startswith(why)


TWO_PANELS = """sheet: 1
title: two panels with the same labels
parts:
  FPA: {is: panel, positions: {F2: 10, F3: 10, F8: {is: breaker, amps: 20}}, busbars: {"30": [F2, F3, F8]}}
  FPB: {is: panel, positions: {F2: {amps: 15, or: F3}, F3: 15, F5: unknown}, busbars: {"30": [F2, F3, F5]}}
  M: {is: module, cavities: 1-4}
runs:
  - FPA/F2 -- RD 1 -- M.1
  - FPA/F3 -- RD 1 -- M.2
  - FPB/F2 -- RD 1 -- S1
  - FPB/F3 -- RD 1 -- S1
  - S1 -- RD 1 -- M.3
  - FPA/F8 -- RD 1 -- M.4
"""


def _two_panels(tmp_path: Path, text: str) -> tuple[PanelReport, SeenReport]:
    tracing = Tracing(load(tmp_path, TWO_PANELS))
    report = panels_of(tracing)
    return report, compare(tracing, report, read_seen(text, report, "seen.txt"))


def test_the_other_position_of_a_pair_is_the_one_in_its_own_panel(tmp_path: Path) -> None:
    both = _two_panels(tmp_path / "a", "FPA/F2:- FPA/F3:- FPB/F2:15 FPB/F3:15")[1]
    assert {(one.position.part, one.what) for one in both.mismatches if one.what == BOTH} == {("FPB/F2", BOTH), ("FPB/F3", BOTH)}  # fmt: skip
    one_of_two = _two_panels(tmp_path / "b", "FPA/F2:10 FPA/F3:10 FPB/F2:15 FPB/F3:-")[1]
    assert one_of_two.mismatches == ()
    neither = _two_panels(tmp_path / "c", "FPA/F2:10 FPA/F3:10 FPB/F2:- FPB/F3:-")[1]
    assert {(one.position.part, one.what) for one in neither.mismatches} == {("FPB/F2", MISSING), ("FPB/F3", MISSING)}


def test_a_label_of_two_panels_is_told_with_its_panel(tmp_path: Path) -> None:
    report, found = _two_panels(tmp_path, "FPA/F2:- FPA/F3:10 FPB/F2:10")
    assert found.right == ("FPA/F3",)
    text = seen_text(report, found)
    assert "FPA/F2 MISSING" in text and "FPB/F2 RATING TOO SMALL" in text
    assert "the 10 A that is missing in FPA/F2" not in text  # another panel, and no like label: no story
    assert "FPB/F3" in text.split("NOT LOOKED AT YET")[1] and "F8 " in text.split("NOT LOOKED AT YET")[1]


@pytest.mark.parametrize("text", ["F7:F", "F8:breaker"])
def test_what_was_seen_without_its_rating_is_not_as_it_should_be(text: str, tmp_path: Path) -> None:
    found = seen(text) if text == "F7:F" else _two_panels(tmp_path, text)[1]
    assert [one.what for one in found.mismatches] == [UNREADABLE] and found.right == ()
    assert "the rating was not read" in found.mismatches[0].message
    assert _two_panels(tmp_path / "more", "F8:20/breaker")[1].mismatches == ()


def test_nobody_can_find_right_what_is_not_known(tmp_path: Path) -> None:
    found = _two_panels(tmp_path, "F5:ok")[1]
    assert [one.what for one in found.mismatches] == [NOT_COMPARED] and found.right == ()
