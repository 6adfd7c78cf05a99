"""What is noted beside readings: by which words, what it touches, and what it says in the proof."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import NOON, demo_plan, opened
from tracer.case.case import Case, case_in, record, set_conditions
from tracer.case.notes import NOTES, not_as_listed, note
from tracer.case.opening import kept_plan
from tracer.case.proof import verdict_of
from tracer.case.touched import TOUCHING, is_stale
from tracer.entry.problems import CannotAnswer
from tracer.plan.names import full_name
from tracer.report.case import note_text, proof_text, report_text, show_text
from tracer.trace.tracing import Tracing


@pytest.fixture
def case(tmp_path: Path) -> Case:
    found = set_conditions(opened(tmp_path), ["key=off", "plug=out", "lamp=21W", "symptom=yes", "battery=12,6"], NOON)
    return record(found, ["3+=12.58/12.36", "1-=.00/.01"], NOON).case


def state(case: Case, row: str) -> str:
    return next(one.state for one in verdict_of(case).rows if one.short == row)


def reason(case: Case, row: str) -> str:
    return next(one.reason for one in verdict_of(case).rows if one.short == row)


@pytest.mark.parametrize("kind", TOUCHING)
@pytest.mark.parametrize(
    ("word", "kept"),
    [
        ("F7", "F7"), ("f7", "F7"), ("F7.load", "F7.load"), ("f7.LOAD", "F7.load"), ("FPC.F7", "F7"), ("fpc/f7", "F7"), ("FPC", "FPC"), ("fpc.f7.feed", "F7.feed"), ("X3", "X3"), ("x3", "X3"),
        ("X3.8", "X3.8"), ("x3.8:fpc", "X3.8:F7"), ("3+", "ALM.3"), ("alm.3", "ALM.3"), ("ALM", "ALM"),
    ],
)  # fmt: skip
def test_what_was_touched_makes_stale_however_it_is_typed(kind: str, word: str, kept: str, case: Case) -> None:
    if ":" in word:
        word, kept = (end := next(name for name in case.plan["points"] if name.startswith("X3.8:"))).swapcase(), end
    assert state(case, "3+") != "stale"
    after = note(case, kind, [word], NOON)
    assert list(after.notes[-1].words) == [kept]
    assert state(after, "3+") == "stale"
    assert (state(after, "1-") == "stale") == (kept == "ALM")
    again = record(after, ["3+=12.58/12.36"], NOON).case
    assert state(again, "3+") != "stale"


def test_a_wire_is_touched_by_its_piece(case: Case) -> None:
    wires = [piece for piece in case.plan["rows"]["ALM.3:+"]["parts"] if piece.startswith("wire ")]
    assert len(wires) > 2
    for wire in wires:
        assert state(replace(case, notes=note(case, "moved", [wire.upper()], NOON).notes), "3+") == "stale"


@pytest.mark.parametrize(
    ("word", "message"),
    [("F77", "F77 is no part"), ("GTV", "Did you mean GTW"), ("song", "noted as `added`"), ("X3.999", "is no part"), ("3-", "is no part")],
)  # fmt: skip
def test_what_the_plan_does_not_know_is_refused_with_a_near_name(word: str, message: str, case: Case) -> None:
    before = case.file.read_bytes()
    for kind in (*TOUCHING, "added", "look"):
        with pytest.raises(CannotAnswer, match="is no " if kind == "look" else message):
            note(case, kind, [{"added": f"{word}=alarm", "look": f"{word}=20"}.get(kind, word)], NOON)
    assert case.file.read_bytes() == before


def test_a_part_that_lies_on_no_way_of_this_module_is_noted_and_touches_nothing(case: Case) -> None:
    ways = {there for row in case.plan["rows"] for there in case.things.around(row) or ()}
    off = [
        name for name in case.plan["parts"] if name not in ways and name not in case.plan["buses"]["drive"]["around"]
    ]
    assert len(off) > 20
    after = note(case, "repair", [name.lower() for name in off], NOON)
    assert list(after.notes[-1].words) == off
    assert "stale" not in {one.state for one in verdict_of(after).rows}


def test_a_stale_row_says_which_entry_made_it_so(case: Case) -> None:
    touched = note(note(case, "unplugged", ["X3"], NOON), "repair", ["x3", "G5"], NOON, why="renewed")
    n = case.last_n + 1
    assert reason(touched, "3+") == f"3.1 no longer counts since entry {n} (unplugged X3, 12:00)"
    assert f"3.2 no longer counts since entry {n + 1} (repair G5, 12:00)" in reason(touched, "1-")
    half = record(set_conditions(touched, ["lamp=none"], NOON), ["battery=12.6", "3+=12.5"], NOON).case
    assert reason(half, "3+").endswith(f"; 3.1 no longer counts since entry {n} (unplugged X3, 12:00)")


def test_a_bus_goes_stale_too(case: Case) -> None:
    case = set_conditions(case, ["asleep=yes", "lamp=none", "battery=12.6"], NOON)
    case = record(case, ["drive:H-L=60.1"], NOON).case
    for word in ("x4.11", "X4", "ENM", "RT1", "drive:h", "25", "drive:L-H", "drive"):
        alone = replace(case, notes=note(case, "repair", [word], NOON).notes[-1:])
        assert state(alone, "drive:H-L") == "stale", word
        assert "no longer counts since entry " in reason(alone, "drive:H-L"), word
    assert state(replace(case, notes=note(case, "repair", ["F7"], NOON).notes[-1:]), "drive:H-L") == "proven"


def test_a_word_of_a_file_that_the_plan_does_not_know_touches_everything(case: Case) -> None:
    from tracer.case.file import append

    append(case.file, {"kind": "repair", "at": NOON.isoformat(), "words": {"something": ""}, "why": "", "by": ""})
    after = case_in(case.file)
    assert (state(after, "3+"), state(after, "1-")) == ("stale", "stale")


def test_a_case_that_was_opened_without_the_parts_of_the_vehicle_knows_those_on_its_ways(tmp_path: Path) -> None:
    old = {name: value for name, value in demo_plan().items() if name not in ("parts", "looks")}
    old = {**old, "buses": {"drive": {name: value for name, value in old["buses"]["drive"].items() if name != "around"}}}  # fmt: skip
    case = set_conditions(opened(tmp_path, old), ["key=off", "plug=out", "lamp=21W", "battery=12,6"], NOON)
    case = record(case, ["3+=12.58/12.36", "1-=.00/.01"], NOON).case
    after = note(case, "repair", ["x3"], NOON)
    assert (state(after, "3+"), state(after, "1-")) == ("stale", "doubtful")
    with pytest.raises(CannotAnswer, match="is no part"):
        note(case, "repair", ["BRK"], NOON)


@pytest.mark.parametrize("seed", [3, 4])
def test_every_part_of_a_generated_vehicle_touches_the_rows_whose_way_leads_over_it(seed: int, tmp_path: Path) -> None:
    module = believable(tmp_path / "coach", 2, seed=seed)[0]
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    report = tracer.supplies(tracing, module)
    case = opened(tmp_path, kept_plan(tracing, report, tracer.limits(tracing)))
    case = set_conditions(case, ["plug=out", "battery=12.4", "lamp=none"], NOON)
    case = record(case, [f"{name}=not-reached" for name in case.plan["rows"]], NOON, why="law").case
    on_way = {full_name(row): {probe.part for probe in row.probes} for row in report.rows}
    touched = 0
    for part in case.plan["parts"]:
        after = note(case, "moved", [part.swapcase()], NOON)
        stale = {one.name for one in case.readings if is_stale(replace(case, notes=after.notes[-1:]), one.name, one)}
        wanted = {name for name in case.plan["rows"] if part in on_way[name]}
        assert wanted <= stale, part
        touched += bool(stale)
    assert 5 < touched < len(case.plan["parts"])


# --- taken back --------------------------------------------------------------------------------------------------------


def test_a_note_or_a_reading_that_was_wrong_is_taken_back_and_still_shown(case: Case) -> None:
    repaired = note(case, "repair", ["X3"], NOON, why="contact renewed")
    number = str(repaired.notes[-1].n)
    after = note(repaired, "withdraw", [number], NOON, why="it was X4")
    assert state(repaired, "3+") == "stale" and state(after, "3+") != "stale"
    assert [one.kind for one in after.notes] == ["withdraw"] and [one.kind for one in after.withdrawn] == ["repair"]
    gone = note(after, "withdraw", ["3.1"], NOON, why="wrong pin")
    assert [one.name for one in gone.readings] == ["ALM.1:-"] and state(gone, "3+") == "not read"
    for text in (show_text(gone), report_text(gone, verdict_of(gone))):
        assert (
            "CORRECTED OR TAKEN BACK" in text and "contact renewed" in text and "12.58 V, with the lamp 12.36 V" in text
        )
    before = gone.file.read_bytes()
    for word in ("3.1", number, "99", "3", "x", str(gone.notes[-1].n)):
        with pytest.raises(CannotAnswer, match="no reading or note"):
            note(gone, "withdraw", [word], NOON, why="again")
    with pytest.raises(CannotAnswer, match="wants --why"):
        note(gone, "withdraw", ["3.2"], NOON)
    assert gone.file.read_bytes() == before


# --- a panel as seen ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "said"),
    [("f52=empty", "F52 is empty: 20 A belongs there"), ("FPE.F52=15A", "F52 holds 15 A: 20 A belongs there"), ("F52=blown", "F52 is blown"), ("KAL=empty", "KAL is empty: a relay belongs there")],
)  # fmt: skip
def test_what_is_plugged_in_and_is_not_what_the_list_says_is_open_in_the_proof(
    typed: str, said: str, case: Case
) -> None:
    after = note(case, "look", [typed], NOON)
    assert list(not_as_listed(after)) == [said]
    assert said in verdict_of(after).open
    assert f"? {said}." in note_text(after)
    assert said in " ".join(proof_text(after, verdict_of(after)).split())
    right = note(after, "look", [f"{typed.partition('=')[0]}=ok"], NOON)
    assert list(not_as_listed(right)) == []
    renewed = note(after, "repair", [typed.partition("=")[0]], NOON)
    assert list(not_as_listed(renewed)) == []


@pytest.mark.parametrize("typed", ["F52=20", "F52=20,0A", "F52=ok", "F11=empty", "F15=empty"])
def test_what_is_as_the_list_says_is_not_open(typed: str, case: Case) -> None:
    assert list(not_as_listed(note(case, "look", [typed], NOON), all_parts=True)) == []


def test_a_fuse_that_serves_something_else_is_asked_about_and_keeps_nothing_open(case: Case) -> None:
    assert "F11" not in case.plan["looks"]
    after = note(case, "look", ["F11=10"], NOON)
    assert "F11 holds 10 A: it must be empty" in note_text(after)
    assert list(not_as_listed(after)) == []


@pytest.mark.parametrize("typed", ["F52=lots", "F52=-5", "F52=0", "F52=lt5", "F52=dead", "X3=20", "F52", "ALM=empty"])
def test_a_look_that_says_nothing_is_refused(typed: str, case: Case) -> None:
    before = case.file.read_bytes()
    with pytest.raises(CannotAnswer):
        note(case, "look", [typed], NOON)
    assert case.file.read_bytes() == before


# --- intermittents -----------------------------------------------------------------------------------------------------

WATCH = ["5+=11,9/12,4", "1-=0/.02", "for=20min", "symptom=no"]


def test_what_was_tried_without_the_symptom_stands_in_the_proof_as_not_reproduced(case: Case) -> None:
    watched = set_conditions(case, ["key=run", "plug=in"], NOON)
    after = note(watched, "watch", WATCH, NOON, why="drove over kerbs, wiggled X3")
    said = "5+ 11.90 V to 12.40 V, 1- 0.00 V to 0.02 V, key run, plugged in, for 20 min, drove over kerbs, wiggled X3: not reproduced"
    assert said in note_text(after, width=200)
    absent = record(
        set_conditions(after, ["symptom=no", "plug=out", "battery=12.6"], NOON), ["5+=12.5/12.2"], NOON
    ).case
    assert said in verdict_of(absent).open
    assert "not reproduced" in " ".join(proof_text(absent, verdict_of(absent), width=40).split())


def test_a_watch_in_which_the_symptom_came_says_so(case: Case) -> None:
    after = note(case, "watch", [*WATCH[:3], "symptom=yes"], NOON, why="drove")
    assert not any("not reproduced" in one for one in verdict_of(after).open)
    assert "the symptom came" in note_text(after, width=200)


def test_a_supply_that_broke_off_while_it_was_watched_keeps_the_module_from_being_suspect(case: Case) -> None:
    after = note(case, "watch", ["5+=.2/12,4", "1-=0/11", "3+=9/12", "for=90s", "symptom=yes"], NOON, why="wiggled X3")
    assert f"5+, 1- broke off while it was watched (entry {after.notes[-1].n})" in verdict_of(after).open


@pytest.mark.parametrize(
    ("words", "why", "message"),
    [
        (WATCH, "", "what was done meanwhile"),
        (WATCH[2:], "drove", "wants what was watched"),
        ([WATCH[0], WATCH[2]], "drove", "whether the symptom came"),
        ([WATCH[0], WATCH[3]], "drove", "how long"),
        (["5+=12/11", *WATCH[2:]], "drove", "the least comes first"),
        (["5+=12", *WATCH[2:]], "drove", "the least and the most"),
        (["5+=dead/12", *WATCH[2:]], "drove", "the least and the most"),
        (["5+=1/2", "5=1/3", *WATCH[2:]], "drove", "stands there twice"),
        ([WATCH[0], "for=long", WATCH[3]], "drove", "how long it was watched"),
        ([WATCH[0], WATCH[2], "symptom=maybe"], "drove", "yes or no"),
        (["55+=1/2", *WATCH[2:]], "drove", "is not in this list"),
    ],
)  # fmt: skip
def test_a_watch_that_is_not_whole_is_refused(words: list[str], why: str, message: str, case: Case) -> None:
    before = case.file.read_bytes()
    with pytest.raises(CannotAnswer, match=message):
        note(case, "watch", words, NOON, why=why)
    assert case.file.read_bytes() == before


# --- other kinds -------------------------------------------------------------------------------------------------------


def test_other_words_are_kept_as_the_plan_writes_them(case: Case) -> None:
    typed = {"roll-call": ["gtw=YES", "QQQ=no"], "fit": ["2+=OK", "x3.8=loose"], "tick": ["Coding=read out"], "waive": ["8+"], "drawing": ["x4", "X99"], "added": ["f7=alarm", "unknown=tracker"]}  # fmt: skip
    kept = {"roll-call": {"GTW": "yes", "QQQ": "no"}, "fit": {"ALM.2:+": "ok", "X3.8": "loose"}, "tick": {"coding": "read out"}, "waive": {"ALM.8:+": ""}, "drawing": {"X4": "", "X99": ""}, "added": {"F7": "alarm", "unknown": "tracker"}}  # fmt: skip
    for kind, words in typed.items():
        case = note(case, kind, words, NOON, why="seen")
        assert case.notes[-1].words == kept[kind]
    left = verdict_of(case).left
    assert "alarm was added at F7 and is on no drawing" in left
    assert "tracker was added somewhere and is on no drawing" in left
    assert "other modules do not answer: QQQ" in verdict_of(case).open
    with pytest.raises(CannotAnswer, match="is no row"):
        note(case, "waive", ["F7.load"], NOON, why="no")


def test_each_kind_of_note_takes_its_own_example(case: Case) -> None:
    for kind, told in NOTES.items():
        example = "3.1" if kind == "withdraw" else told.example.replace("HOW", "seen")
        assert note(case, kind, example.split(), NOON, why="as shown").notes[-1].kind == kind
