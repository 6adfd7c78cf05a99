"""Readings with their conditions: what is taken, what is refused as a whole, what is asked about."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from tests.case.making import NOON, demo_plan, opened
from tracer.case.case import Case, case_in, record, set_conditions
from tracer.case.notes import note
from tracer.case.proof import verdict_of
from tracer.case.readings import BadWord, value_of
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotAnswer, CannotCompute
from tracer.report.case import read_text


@pytest.fixture
def case(tmp_path: Path) -> Case:
    found = opened(tmp_path)
    return set_conditions(found, ["key=off", "plug=out", "lamp=21W", "symptom=yes", "battery=12,6"], NOON)


@pytest.mark.parametrize(
    ("text", "number", "below"),
    [("12,38", 12.38, False), ("12.38", 12.38, False), (".02", 0.02, False), ("-.02", -0.02, False), ("lt0.1", 0.1, True), ("dead", 0.0, False), ("ol", None, False), ("Flickers", None, False)],
)  # fmt: skip
def test_a_value_is_read_as_it_is_typed(text: str, number: float | None, below: bool) -> None:
    value = value_of(text)
    assert (value.number, value.below) == (number, below)


@pytest.mark.parametrize("text", ["", "12.3.4", "twelve", "12V", "<0.1", "nan", "1e3"])
def test_what_is_no_value_is_refused(text: str) -> None:
    with pytest.raises(BadWord, match="is no value"):
        value_of(text)


def test_readings_of_a_call_are_recorded_together_with_the_conditions(case: Case) -> None:
    got = record(case, ["3+=12,58/12,00", "alm.5=12.58/11.8", "F7.load=12.59/12.1"], NOON)
    assert [(one.id, one.name, [value.number for value in one.values]) for one in got.readings] == [
        ("3.1", "ALM.3:+", [12.58, 12.0]),
        ("3.2", "ALM.5:+", [12.58, 11.8]),
        ("3.3", "F7.load", [12.59, 12.1]),
    ]
    again = case_in(case.file)
    assert again.readings == got.readings
    on = again.readings[0].conditions
    assert (on.key, on.plugged, on.lamp_w, on.symptom, on.battery_v) == ("off", False, 21.0, True, 12.6)
    assert got.asks == ()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["3+=12.5/12.0", "5+=12.5"], "5\\+ wants two values"),
        (["3+=12.5/12.0", "99+=1/2"], "99\\+ is not in this list"),
        (["3+=12.5/12.0", "X3.8=1/2"], "X3.8 could mean"),
        (["3+=12.5/12.0/3"], "wants two values"),
        (["3+=12.5/twelve"], "is no value"),
        (["3+"], "is not understood: write PIN=VALUE"),
        (["2+=not-reached"], "want a reason"),
        (["drive:H-L=60/60"], "wants one value"),
        (["3+=12.5/lit"], "wants two values"),
        (["drive:H-L=60/lit"], "behind two values"),
    ],
)
def test_a_word_that_does_not_fit_refuses_the_whole_call(case: Case, words: list[str], message: str) -> None:
    before = case.file.read_bytes()
    with pytest.raises(CannotAnswer, match=message):
        record(case, words, NOON)
    assert case.file.read_bytes() == before


def test_the_battery_is_asked_for_again_when_it_is_old_or_the_key_has_moved(case: Case, tmp_path: Path) -> None:
    later = NOON + timedelta(minutes=16)
    with pytest.raises(BadWord, match="16 minutes ago"):
        record(case, ["3+=12.5/12.0"], later)
    case = record(case, ["battery=12.5", "3+=12.5/12.0"], later).case
    turned = set_conditions(case, ["key=run"], NOON)
    with pytest.raises(BadWord, match="the key or the engine was turned"):
        record(turned, ["4+=12.3/11.8"], NOON)
    with pytest.raises(BadWord, match="clock was set back"):
        record(case, ["3+=12.5/12.0"], NOON - timedelta(minutes=1))


def test_a_clock_set_back_is_said_and_the_order_stays(case: Case) -> None:
    record(case, ["battery=12.5", "3+=12.5/12.0"], NOON - timedelta(days=400))
    after = case_in(case.file)
    assert "the clock stood earlier" in after.remarks[0]
    assert after.readings[-1].conditions.battery_v == 12.5


def test_a_correction_is_a_new_entry_at_the_place_and_in_the_conditions_of_the_old_one(case: Case) -> None:
    first = record(case, ["3+=21.58/12.0"], NOON)
    assert "with 12.60 V at the battery" in first.asks[0]
    later = record(first.case, ["5+=12.58/12.0"], NOON).case
    moved = set_conditions(later, ["key=run", "battery=12.2"], NOON)
    got = record(moved, ["3=12.58/12.0"], NOON + timedelta(hours=3), instead_of="3.1")  # no battery is asked for
    assert [(one.id, one.name, one.n, one.at) for one in got.case.readings] == [
        ("6.1", "ALM.3:+", 3, NOON.isoformat()),  # the order in which they were taken
        ("4.1", "ALM.5:+", 4, NOON.isoformat()),
    ]
    assert got.case.readings[0].conditions == first.readings[0].conditions
    assert got.case.conditions.key == "run"
    assert got.case.corrected["3.1"].values[0].number == 21.58
    again = record(got.case, ["3+=12.57/12.0", "battery=12,5"], NOON, instead_of="6.1").case
    assert [(one.id, one.n, one.conditions.battery_v) for one in again.readings] == [("7.1", 3, 12.5), ("4.1", 4, 12.6)]
    assert again.conditions == got.case.conditions
    assert set(again.corrected) == {"3.1", "6.1"}


@pytest.mark.parametrize(
    ("words", "instead_of", "why", "message"),
    [
        (["5+=12.5/12.0"], "3.1", "", r"3\.1 is a reading of 3\+.*withdraw 3\.1.*read 5\+ anew"),
        (["3+=12.5/12.0", "5+=1/1"], "3.1", "", "one reading in place of one"),
        (["battery=12.5"], "3.1", "", "one reading in place of one"),
        (["3+=12.5"], "3.1", "", "wants two values"),
        (["3+=not-reached"], "3.1", "", "want a reason"),
        (["3+=12.5/12.0"], "9.1", "", r"no reading 9\.1 to correct; "),
        (["3+=12.5/12.0"], "3", "", r"no reading 3 to correct; "),
        (["3+=12.5/12.0"], "4.1", "", "corrected or taken back before"),
    ],
)
def test_a_correction_that_is_none_is_refused(
    words: list[str], instead_of: str, why: str, message: str, case: Case
) -> None:
    case = record(case, ["3+=12.5/12.0"], NOON).case
    case = record(case, ["5+=12.5/12.0"], NOON).case
    case = record(case, ["5+=12.4/12.0"], NOON, instead_of="4.1").case
    before = case.file.read_bytes()
    with pytest.raises(CannotAnswer, match=message):
        record(case, words, NOON, why=why, instead_of=instead_of)
    assert case.file.read_bytes() == before


def test_a_correction_of_a_stale_reading_stays_stale(case: Case) -> None:
    case = record(case, ["3+=12.58/12.0"], NOON).case
    case = note(case, "repair", ["F7"], NOON)
    case = record(case, ["3+=12.58/12.36"], NOON, instead_of="3.1").case
    assert next(one.state for one in verdict_of(case).rows if one.short == "3+") == "stale"
    before = verdict_of(case).before
    assert before is not None and before.rows[1].by[0].id == "5.1"  # it mends what was read before the repair


def test_a_correction_of_a_reading_whose_line_is_damaged_keeps_its_time(case: Case) -> None:
    case = record(case, ["3+=12.58/12.0"], NOON).case
    case = note(case, "repair", ["F7"], NOON)
    case = record(case, ["3+=12.58/12.36"], NOON, instead_of="3.1").case
    lines = case.file.read_bytes().split(b"\n")
    case.file.write_bytes(b"\n".join([*lines[:2], lines[2].replace(b"12.0", b"12.1"), *lines[3:]]))
    (left,) = case_in(case.file).readings
    assert (left.id, left.n) == ("5.1", 3)


def test_what_another_call_changed_meanwhile_is_not_overwritten(case: Case) -> None:
    """Two terminals: each call goes on from the conditions that its user saw, or records nothing."""
    set_conditions(case, ["key=run", "battery=12.2"], NOON)
    before = case.file.read_bytes()
    with pytest.raises(NotWritten, match="Another call has changed the conditions"):
        record(case, ["3+=12.5/12.0"], NOON)
    with pytest.raises(NotWritten, match="Another call has changed the conditions"):
        set_conditions(case, ["lamp=5W"], NOON)
    assert case.file.read_bytes() == before
    now = case_in(case.file)
    note(now, "photo", ["a.jpg"], NOON)  # changes no condition
    got = record(now, ["3+=12.1/11.9"], NOON)
    assert (got.readings[0].id, got.case.conditions.key) == ("5.1", "run")


@pytest.mark.parametrize(
    ("words", "asked"),
    [(["1-=12.4/12.3"], "the right pin"), (["3+=15.2/12.0"], "the right range"), (["3+=11.8/12.4"], "the wrong way")],
)
def test_a_value_that_can_hardly_be_is_kept_and_asked_about(case: Case, words: list[str], asked: str) -> None:
    got = record(case, words, NOON)
    assert any(asked in ask for ask in got.asks)
    assert len(case_in(case.file).readings) == 1


@pytest.mark.parametrize(
    ("kind", "words", "why", "message"),
    [
        ("fit", ["2+=tight"], "", "a contact sits"),
        ("waive", ["8+"], "", "wants --why"),
        ("drawing", ["X4"], "", "wants --why"),
        ("tick", ["weather=fine"], "", "the gate has"),
        ("roll-call", ["GTW=maybe"], "", "yes or no"),
        ("song", ["x"], "", "nothing that can be noted"),
        ("photo", [], "", "write what"),
    ],
)
def test_a_note_that_does_not_fit_is_refused(case: Case, kind: str, words: list[str], why: str, message: str) -> None:
    before = case.file.read_bytes()
    with pytest.raises(CannotAnswer, match=message):
        note(case, kind, words, NOON, why=why)
    assert case.file.read_bytes() == before


@pytest.mark.parametrize(
    "word",
    ["key=rum", "plug=maybe", "lamp=lots", "other=G1", "colour=red", "battery=dead5", "key", "lead=11", "lead=-1", "battery=dead", "battery=dim", "battery=lt12", "lamp=lt21W"],
)  # fmt: skip
def test_a_condition_that_is_none_is_refused(case: Case, word: str) -> None:
    before = case.file.read_bytes()
    with pytest.raises(BadWord):
        set_conditions(case, ["place=boot", word], NOON)
    assert case.file.read_bytes() == before


def test_a_fused_lead_and_a_lit_lamp_are_kept_with_the_reading(case: Case) -> None:
    leads = set_conditions(case, ["lead=12-1,11-1"], NOON)
    got = record(leads, ["2+=12.5/12.4", "1-=.00/.01/LIT"], NOON)
    again = case_in(case.file)
    assert again.readings == got.readings
    assert [(one.conditions.leads, one.lit) for one in again.readings] == [(("11-1", "12-1"), False), (("11-1", "12-1"), True)]  # fmt: skip
    assert "fused lead 11-1, fused lead 12-1" in read_text(got) and "with the lamp 0.01 V (lit)" in read_text(got)
    assert set_conditions(again, ["lead=none"], NOON).conditions.leads == ()


def test_what_is_out_is_kept_as_the_plan_writes_it(case: Case) -> None:
    after = set_conditions(case, ["out=g6,fpc.f20", "key=RUN"], NOON)
    assert (after.conditions.out, after.conditions.key) == (("F20", "G6"), "run")
    assert set_conditions(after, ["out=none"], NOON).conditions.out == ()
    with pytest.raises(CannotAnswer, match="G66 is no part"):
        set_conditions(case, ["out=G66"], NOON)


def test_a_bus_may_have_a_line_below_or_a_blank_in_its_name(tmp_path: Path) -> None:
    for number, bus in enumerate(("my_bus", "my bus")):
        (folder := tmp_path / str(number)).mkdir()
        plan = demo_plan()
        name = "my_bus:H-L"
        words = {**plan["words"], name: [name]}
        found = opened(folder, {**plan, "buses": {bus: plan["buses"]["drive"]}, "words": words})
        assert [found.level(one) for one in (name, "my_bus:H", "drive:H-L", "ALM.3:+", "F7.load")] == ["bus", "bus", "", "supply", "supply"]  # fmt: skip


@pytest.mark.parametrize(
    "lost", sorted(demo_plan().keys() - {"network", "looks", "title", "place", "parts", "beside", "gets"})
)  # what older cases may lack
def test_a_case_whose_plan_lacks_something_is_said_to_be_of_another_version(lost: str, tmp_path: Path) -> None:
    with pytest.raises(CannotCompute, match=f"none of this version.*{lost}"):
        opened(tmp_path, {name: what for name, what in demo_plan().items() if name != lost})
