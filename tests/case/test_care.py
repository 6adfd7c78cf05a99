"""What may not pass as proven and what may not be called found: single readings and rows, one guard each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import tracer
from tests.case.making import ROOT, demo_plan, in_memory
from tests.case.test_proof import good
from tests.typed import load
from tracer.case.case import Case, Note
from tracer.case.opening import kept_plan
from tracer.case.proof import RowProof, Verdict, verdict_of
from tracer.case.readings import Conditions, Reading, Value, value_of
from tracer.trace.tracing import Tracing

OFF = Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.4)
RUN = replace(OFF, key="run")
ONE, OTHER = (replace(OFF, out=(leg,)) for leg in ("G5", "G6"))


def noted(kind: str, *words: str, n: int = 50, why: str = "", **said: str) -> Note:
    return Note(n, kind, {**dict.fromkeys(words, ""), **said}, why, "", "")


def judged(*readings: Reading, notes: Sequence[Note] = (), plan: dict[str, Any] | None = None) -> Verdict:
    numbered = tuple(replace(one, id=one.id if one.id != "2.1" else f"{n}.1") for n, one in enumerate(readings, 2))
    return verdict_of(replace(in_memory(plan or demo_plan(), numbered), notes=tuple(notes)))


def row(short: str, *readings: Reading, notes: Sequence[Note] = (), plan: dict[str, Any] | None = None) -> RowProof:
    return next(one for one in judged(*readings, notes=notes, plan=plan).rows if one.short == short)


def typed(name: str, text: str, on: Conditions, *, lit: bool = False) -> Reading:
    return Reading(name, tuple(value_of(one) for one in text.split("/")), "", on, "2.1", "2026-03-31T10:42:00", lit=lit)


def dead(name: str, on: Conditions = OFF) -> Reading:
    return typed(name, "dead", on)


# --- was the lamp lit? -------------------------------------------------------------------------------------------------


def ground(text: str, *, lit: bool) -> list[Reading]:
    return [typed("ALM.1:-", text, on, lit=lit) for on in (OFF, ONE, OTHER)]


def test_a_ground_that_reads_nothing_is_proven_only_with_the_lamp_said_to_be_lit() -> None:
    assert row("1-", *ground("0/.01", lit=True)).state == "proven"
    found = row("1-", *ground("0/.01", lit=False))  # as an open ground or a broken bulb reads as well
    assert found.state == "doubtful" and "/lit" in found.reason
    assert row("1-", *ground("0/0", lit=False)).state == "doubtful"
    assert row("1-", *ground("0/.04", lit=False)).state == "doubtful"


def test_a_last_reading_without_a_lit_lamp_takes_a_proof_back_until_it_is_read_again() -> None:
    proven = ground("0/.01", lit=True)
    assert row("1-", *proven, *ground("0/0", lit=False)).state == "doubtful"
    assert row("1-", *proven, *ground("0/0", lit=False), *proven).state == "proven"


@pytest.mark.parametrize(("name", "text"), [("ALM.1:-", "0.05/0.01"), ("ALM.3:+", "12.38/12.43")])
def test_what_moves_the_wrong_way_proves_nothing_even_with_a_lit_lamp(name: str, text: str) -> None:
    plan = demo_plan()
    kept = plan["rows"][name]
    slack = {**kept, "tests": [{**test, "least_v": -0.2} for test in kept["tests"]]}
    found = row("1-" if name == "ALM.1:-" else "3+", typed(name, text, OFF, lit=True), plan={**plan, "rows": {**plan["rows"], name: slack}})  # fmt: skip
    assert found.state == "doubtful" and "the wrong way" in found.reason


def test_a_point_counts_as_good_only_with_a_lit_lamp() -> None:
    bad = [typed("ALM.5:+", "12.4/9.0", OFF)] * 2
    assert "F9" in judged(*bad, typed("F9.load", "12.40/12.40", OFF)).pieces
    assert "F9" not in judged(*bad, typed("F9.load", "12.40/12.39", OFF, lit=True)).pieces
    assert "F9" not in judged(*bad, typed("F9.load", "12.40/12.25", OFF)).pieces


# --- the last reading counts -------------------------------------------------------------------------------------------

GOOD, BAD = typed("ALM.3:+", "12.40/12.18", OFF), typed("ALM.3:+", "12.40/11.20", OFF)
METER = [typed("ALM.3:+", "12.4", replace(OFF, key=key, lamp_w=None)) for key in ("acc", "run")]


@pytest.mark.parametrize(
    ("said", "state"),
    [
        ("g", "proven"), ("gb", "doubtful"), ("gbb", "failed"), ("ggggbb", "failed"), ("b", "doubtful"), ("bb", "failed"), ("bg", "doubtful"), ("bgg", "proven"),
        ("gbg", "doubtful"), ("gbgg", "proven"), ("bbg", "doubtful"), ("bbgg", "doubtful"), ("bbggg", "proven"), ("bgbgg", "proven"), ("bggb", "doubtful"), ("bgbg", "doubtful"),
    ],
)  # fmt: skip
def test_the_last_readings_decide_and_outweigh_what_was_read_bad(said: str, state: str) -> None:
    found = row("3+", *METER, *(GOOD if one == "g" else BAD for one in said))
    assert found.state == state
    assert found.repeat == (state == "doubtful")
    if "b" in said and state != "failed":
        assert f"{4 + said.index('b')}.1" in found.reason or said == "b"  # the bad one stays named


def test_two_bad_readings_fail_a_row_only_under_the_same_conditions() -> None:
    acc = dead("ALM.3:+", replace(OFF, key="acc", lamp_w=None))
    assert row("3+", BAD, acc).state == "doubtful"
    assert row("3+", BAD, acc, acc).state == "failed"


def test_a_smaller_lamp_that_goes_dim_speaks_against_a_row_and_plugged_in_and_dead_too() -> None:
    small = typed("ALM.3:+", "12.40/10.9", replace(OFF, lamp_w=5.0))
    assert row("3+", *METER, GOOD, small).state == "doubtful"
    assert row("3+", *METER, GOOD, dead("ALM.3:+", replace(OFF, plugged=True))).state == "doubtful"
    assert row("3+", *METER, GOOD, typed("ALM.3:+", "9.0", replace(OFF, lamp_w=None))).state == "doubtful"
    assert row("3+", *METER, GOOD, typed("ALM.3:+", "12.3", replace(OFF, lamp_w=None))).state == "proven"


def test_a_key_state_that_was_read_wrong_is_outweighed_only_by_two() -> None:
    run = typed("ALM.4:+", "12.36/12.08", RUN)
    acc, live, off = (typed("ALM.4:+", text, replace(OFF, key=key, lamp_w=None)) for text, key in (("0", "acc"), ("12.4", "acc"), ("0", "off")))  # fmt: skip
    assert row("4+", run, off, acc).state == "proven"
    assert row("4+", run, off, acc, live).state == row("4+", run, off, live, acc).state == "doubtful"
    assert row("4+", run, off, live, live).state == "doubtful"
    assert row("4+", run, off, live, acc, acc).state == "proven"


def test_a_correction_counts_where_the_reading_stood_that_it_mends() -> None:
    first = replace(GOOD, id="3.1")
    mended = replace(GOOD, id="9.1", instead_of="3.1", first="3.1")
    case = replace(in_memory(demo_plan(), [*METER, mended]), corrected={"3.1": first})
    assert _row_of(case, "3+").state == "proven"
    assert _row_of(replace(case, notes=(noted("repair", "X3", n=5),)), "3+").state == "stale"
    after = replace(BAD, id="5.1")
    assert _row_of(replace(case, readings=(*METER, mended, after)), "3+").state == "doubtful"
    assert (
        "it was read good (9.1) and bad (5.1" in _row_of(replace(case, readings=(*METER, mended, after)), "3+").reason
    )


def _row_of(case: Case, short: str) -> RowProof:
    return next(one for one in verdict_of(case).rows if one.short == short)


# --- what a reading's own conditions explain ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "on",
    [replace(OFF, out=("F7",)), replace(OFF, out=("F50",)), replace(OFF, asleep=True), replace(OFF, battery_v=3.1), replace(OFF, battery_v=None), replace(OFF, leads=("11-1",))],
)  # fmt: skip
def test_what_its_own_conditions_explain_is_no_fault(on: Conditions) -> None:
    for one in (dead("ALM.3:+", on), typed("ALM.3:+", "3.0/2.9", on)):
        verdict = judged(one, one)
        assert verdict.kind == "not proven"
        assert next(row for row in verdict.rows if row.short == "3+").state == "open-circuit only"
        assert row("3+", *METER, GOOD, one, one).state == "proven"  # nor does it take a proof away


def test_a_row_read_while_a_connector_of_its_way_was_unplugged_has_not_failed() -> None:
    loose, seated = noted("unplugged", "x3", n=1), noted("seated", "x3", n=2)
    assert judged(dead("ALM.3:+"), dead("ALM.3:+"), notes=[loose]).kind == "not proven"
    assert judged(*(replace(dead("ALM.3:+"), id=f"{n}.1") for n in (7, 8)), notes=[loose, seated]).found_at == "3+"


def test_a_relay_that_the_module_holds_counts_with_the_fused_lead_only() -> None:
    lead = replace(RUN, leads=("1-11",))  # whichever end is named first
    assert judged(dead("ALM.2:+", RUN), dead("ALM.2:+", RUN)).kind == "not proven"
    assert judged(dead("ALM.2:+", lead), dead("ALM.2:+", lead)).found_at == "2+"
    passes = typed("ALM.2:+", "12.37/12.18", lead)
    assert row("2+", passes).state == "proven"
    assert row("2+", replace(passes, conditions=RUN)).state == "doubtful"
    assert "fused lead from pin 11 to 1" in row("2+", replace(passes, conditions=RUN)).reason


# --- bounds and words --------------------------------------------------------------------------------------------------


def test_a_bound_may_stay_below_a_limit_and_never_shows_a_least_value() -> None:
    lost = replace(OFF, other="+")
    assert row("3+", *METER, typed("ALM.3:+", "lt0.02/0.22", lost)).state == "proven"
    assert row("3+", *METER, typed("ALM.3:+", "0.00/lt0.25", lost)).state == "doubtful"
    assert row("3+", *METER, typed("ALM.3:+", "0.00/lt0.25", lost, lit=True)).state == "doubtful"
    assert row("3+", *METER, typed("ALM.3:+", "lt12.4/12.2", OFF)).state == "doubtful"
    assert row("3+", *METER, typed("ALM.3:+", "0.00/lt3", lost)).state == "doubtful"
    assert row("1-", *ground("lt0.01/lt0.02", lit=True)).state == "proven"
    assert row("1-", *ground("lt0.01/lt0.02", lit=False)).state == "doubtful"
    assert row("1-", *ground("0/lt0.1", lit=True)).state == "doubtful"


def test_a_bound_does_not_show_that_a_pin_is_live_nor_a_bus_in_range() -> None:
    acc, run = (replace(OFF, key=key, lamp_w=None) for key in ("acc", "run"))
    assert row("3+", GOOD, typed("ALM.3:+", "lt12.4", acc), METER[1]).state == "doubtful"
    off = [typed("ALM.4:+", text, replace(acc, key=key)) for text, key in (("lt0.1", "off"), ("lt0.1", "acc"))]
    assert row("4+", typed("ALM.4:+", "12.36/12.08", run), *off).state != "proven"  # no lamp
    assert row("4+", typed("ALM.4:+", "12.36/12.08", RUN), *off).state == "proven"
    assert row("4+", typed("ALM.4:+", "12.36/12.08", RUN), off[0], typed("ALM.4:+", "lt12", acc)).state == "doubtful"
    bus = replace(acc, asleep=True)
    assert row("drive:H-L", typed("drive:H-L", "60.1", bus)).state == "proven"
    assert row("drive:H-L", typed("drive:H-L", "lt60", bus)).state == "doubtful"
    assert row("drive:H-L", typed("drive:H-L", "60.1", bus), typed("drive:H-L", "120", bus)).state == "doubtful"
    assert row("drive:H-L", typed("drive:H-L", "120", bus), typed("drive:H-L", "60.1", bus)).state == "doubtful"


def test_dead_is_dead_wherever_the_other_lead_is() -> None:
    lost = replace(OFF, key="acc", lamp_w=None, other="+")
    assert row("3+", GOOD, dead("ALM.3:+", lost), METER[1]).state == "doubtful"
    assert row("4+", typed("ALM.4:+", "12.36/12.08", RUN), dead("ALM.4:+", lost), dead("ALM.4:+", replace(lost, key="off"))).state == "proven"  # fmt: skip


# --- set aside ---------------------------------------------------------------------------------------------------------


def not_fitted(name: str) -> Reading:
    return Reading(name, (), "not-fitted", OFF, "2.1", why="no ramp on this one")


def test_not_fitted_and_waived_stay_in_the_sentence_and_hide_no_bad_reading() -> None:
    from tracer.report.case import report_sections, verdict_line

    waive = [noted("waive", "ALM.9:+", why="sealed in")]
    found = judged(not_fitted("ALM.8:+"), notes=waive)
    case = in_memory(demo_plan(), [])
    for words in (verdict_line(case, found), verdict_line(case, replace(found, kind="proven")), dict(report_sections(case, replace(found, kind="proven")))["Cause"][0]):  # fmt: skip
        assert "8+ is said not to be fitted (no ramp on this one)" in words and "9+ was waived (sealed in)" in words
    assert row("3+", BAD, BAD, not_fitted("ALM.3:+")).state == "failed"
    assert row("3+", BAD, not_fitted("ALM.3:+")).state == "doubtful"
    assert row("3+", GOOD, not_fitted("ALM.3:+")).state == "doubtful"
    waive = [noted("waive", "ALM.3:+", why="it is late")]
    assert [row("3+", *some, notes=waive).state for some in ((BAD,), (BAD, BAD), (GOOD,), (*METER, GOOD))] == ["doubtful", "failed", "waived", "proven"]  # fmt: skip


def test_the_answer_of_the_module_itself_is_no_roll_call_of_others() -> None:
    assert any("no roll-call" in words for words in judged(notes=[noted("roll-call", alm="yes")]).open)
    assert not any("no roll-call" in words for words in judged(notes=[noted("roll-call", GTW="yes")]).open)


# --- found -------------------------------------------------------------------------------------------------------------


def _resting_on(row: str, words: str) -> dict[str, Any]:
    """The plan of the demo where the way of one row rests on something that is only assumed."""
    plan = demo_plan()
    rows = {name: {**kept, "open": [words] if plan["short"][name] == row else []} for name, kept in plan["rows"].items()}  # fmt: skip
    return {**plan, "rows": rows, "list": {**plan["list"], "state": "complete if", "rests_on": [words]}}


def test_found_wants_the_symptom_and_a_way_that_is_whole() -> None:
    from tracer.report.case import verdict_line

    absent = dead("ALM.3:+", replace(OFF, symptom=None))
    for verdict, words in (
        (judged(absent, absent), "symptom"),
        (judged(dead("ALM.3:+"), dead("ALM.3:+"), plan=_resting_on("3+", "ML2 is as assumed")), "ML2 is as assumed"),
    ):  # fmt: skip
        assert verdict.kind == "not proven" and words in verdict.blocked[0]
        assert verdict_line(in_memory(demo_plan(), []), verdict).startswith(
            "NOT PROVEN: 3+ failed, but nothing is found: "
        )
    assert judged(dead("ALM.3:+"), dead("ALM.3:+")).found_at == "3+"


def test_what_is_cleared_is_said_with_reading_and_time() -> None:
    from tracer.report.case import proof_data, proof_text

    three = replace(GOOD, id="3.1")
    readings = [three, *(replace(dead("ALM.5:+"), id=f"{n}.1") for n in (4, 5)), replace(typed("F9.load", "12.40/12.25", OFF), id="6.1")]  # fmt: skip
    case = in_memory(demo_plan(), readings)
    verdict = verdict_of(case)
    text = proof_text(case, verdict, width=200)
    assert "CLEARED ON THE WAY TO 5+" in text and "by 3+ (3.1, 10:42, key off): ML2" in text and "by F9.load (6.1" in text  # fmt: skip
    assert {one["by"] for one in proof_data(case, verdict)["cleared"]} == {"3+", "F9.load"}
    assert "FPC" not in verdict.pieces and "F9" not in verdict.pieces and "X3.10" in verdict.pieces


def test_two_zeros_are_dead_as_the_word_is() -> None:
    zeros = [typed("ALM.5:+", "0/0", OFF)] * 2
    assert judged(*zeros, GOOD, typed("F9.load", "12.40/12.25", OFF)).pieces == judged(*[dead("ALM.5:+")] * 2, GOOD, typed("F9.load", "12.40/12.25", OFF)).pieces  # fmt: skip


def test_a_contact_is_cleared_for_its_key_state_only() -> None:
    lost = [dead("ALM.8:+", replace(OFF, key="acc", lamp_w=None))] * 2
    assert "IGN (IGN.30 to IGN.75)" in judged(*lost).pieces
    shared = {**demo_plan()["rows"]["ALM.4:+"]}
    shared["tests"] = [{**test, "proves": [*test["proves"], "IGN (IGN.30 to IGN.75)"]} for test in shared["tests"]]
    plan = {**demo_plan(), "rows": {**demo_plan()["rows"], "ALM.4:+": shared}}
    passes = typed("ALM.4:+", "12.36/12.08", RUN)
    pieces = judged(*lost, passes, plan=plan).pieces
    assert "IGN (IGN.30 to IGN.75)" in pieces and "F40" not in pieces


def test_readings_that_cannot_all_be_true_are_named_and_nothing_is_found() -> None:
    bad = [dead("ALM.5:+")] * 2
    behind, before = typed("S12", "12.40/12.20", OFF), dead("F9.load")
    verdict = judged(*bad, behind, before)
    assert verdict.kind == "not proven" and "S12 carried the lamp" in verdict.contradictions[0]
    plan = demo_plan()
    part = {**plan["rows"]["ALM.5:+"], "parts": plan["rows"]["ALM.5:+"]["parts"][:5]}
    part["tests"] = [{**test, "proves": part["parts"]} for test in part["tests"]]
    verdict = judged(*bad, *METER, GOOD, plan={**plan, "rows": {**plan["rows"], "ALM.5:+": part}})
    assert verdict.kind == "not proven" and "every piece of its way carried the load of a good reading (3+)" in verdict.contradictions[0]  # fmt: skip
    legs = ground("0/.01", lit=True)[1:]
    verdict = judged(*legs, *[typed("ALM.1:-", "0/2.5", OFF, lit=True)] * 2)
    assert verdict.kind == "not proven" and any("which cannot make it better" in one for one in verdict.contradictions)


def left(*readings: Reading, plan: dict[str, Any] | None = None) -> tuple[str, ...]:
    """The pieces that are left of the way that failed, found or not."""
    narrowed = judged(*readings, plan=plan).narrowed
    assert narrowed is not None
    return narrowed.pieces


def test_a_good_reading_clears_only_of_faults_that_it_would_have_shown() -> None:
    plan = demo_plan()
    wide = {**plan["rows"]["ALM.3:+"]}
    wide["tests"] = [{**test, "most_v": 0.6} for test in wide["tests"]]
    plan = {**plan, "rows": {**plan["rows"], "ALM.3:+": wide}}
    passes, small = typed("ALM.3:+", "12.40/11.80", OFF), [typed("ALM.5:+", "12.40/11.61", OFF)] * 2
    assert "FPC" in left(passes, *small, plan=plan) and "FPC" not in left(passes, *[dead("ALM.5:+")] * 2, plan=plan)
    near = typed(
        "F9.load", "12.40/12.00", OFF
    )  # in order for the whole way, and yet it may have all of a small fault before it
    assert "F9" in left(near, *small) and "F9" not in left(near, *[dead("ALM.5:+")] * 2)


def test_a_point_whose_own_conditions_explain_it_splits_nothing() -> None:
    bad = [dead("ALM.5:+")] * 2
    assert "X3.10" not in left(*bad, dead("F9.load"))
    for on in (replace(OFF, asleep=True), replace(OFF, battery_v=3.0)):
        assert "X3.10" in left(*bad, dead("F9.load", on))


def test_a_damaged_file_lets_nothing_be_found() -> None:
    case = replace(in_memory(demo_plan(), [dead("ALM.5:+")] * 2), damaged=("line 3 is damaged",))
    assert verdict_of(case).kind == "not proven" and "damaged" in verdict_of(case).blocked[0]


def test_a_point_read_good_and_bad_splits_nothing_until_it_is_read_twice_alike() -> None:
    bad = [dead("ALM.5:+")] * 2
    fine, gone = typed("F9.load", "12.40/12.25", OFF), dead("F9.load")
    assert "F9" in left(*bad, gone, fine) and "F9" in left(*bad, fine, gone)
    assert any("F9.load was read dead and 12.40" in one for one in judged(*bad, gone, fine).contradictions)
    assert judged(*bad, gone, fine, fine).contradictions == ()
    assert "F9" not in judged(*bad, gone, fine, fine).pieces


def test_the_other_legs_clear_of_a_ring_what_they_carried() -> None:
    failed = [typed("ALM.1:-", "0/2.5", OTHER, lit=True)] * 2  # G6 out: the way over G5
    verdict = judged(*failed, typed("ALM.1:-", "0/.01", ONE, lit=True))
    assert verdict.kind == "found" and set(verdict.pieces) == {"G5", "wire G5 to S31"}


def test_where_a_failed_ground_is_split_is_left_to_next() -> None:
    from tracer.diagnose.next import next_of
    from tracer.report.case import proof_text

    failed = [typed("ALM.20:-", "0/3.0", replace(OFF, lamp_w=5.0), lit=True)] * 2
    case = in_memory(demo_plan(), failed)
    verdict = verdict_of(case)
    assert verdict.found_at == "20-" and verdict.narrowed_down
    said = "`tracer next` weighs where to measure; or open or look at each by hand, first G1 or G11"
    assert said in proof_text(case, verdict, width=200)
    measurement = next_of(case).measurement
    assert measurement is not None and measurement.short in ("G1", "G11")


def test_next_asks_for_the_fused_lead_and_the_lit_lamp_in_the_words_that_record_them() -> None:
    from tracer.diagnose.next import _offers

    case = in_memory(demo_plan(), [])
    rows = {one.short: one for one in verdict_of(case).rows}
    two, one = (next(iter(_offers(case, rows[short]))) for short in ("2+", "1-"))
    assert "lead=11-1" in two.set_before and two.typed.endswith("2+=ALONE/LAMP")
    assert not any("lead" in word for word in one.set_before) and one.typed.endswith("1-=ALONE/LAMP/lit")


def test_good_readings_are_those_of_the_simulated_demo() -> None:
    assert row("3+", *good("ALM.3:+")).state == "proven" and Value("1", 1.0).ends == (1.0, 1.0)


def test_a_supply_that_is_live_each_time_where_it_must_be_dead_is_not_asked_for_once_more() -> None:
    live = typed("ALM.4:+", "12.3/12.1", OFF)
    assert row("4+", live).reason == "live in off, where it must be dead: read it once more before anything is concluded"  # fmt: skip
    twice = row("4+", live, live)
    assert twice.state == "doubtful"
    assert twice.reason == "live in off, where it must be dead, each time (2.1, 3.1): `tracer next` weighs what explains it"  # fmt: skip
    waived = row("4+", live, live, notes=[noted("waive", "ALM.4:+", why="no time")])
    assert waived.state == "doubtful"  # what was read bad is not waived away


# --- what was bad and was touched since ------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["moved", "unplugged", "seated", "repair"])
def test_a_waiver_hides_no_bad_reading_that_something_was_touched_after(kind: str) -> None:
    touched, waived = noted(kind, "X3", n=50), noted("waive", "ALM.5:+", n=60, why="no time")
    for bad in ([dead("ALM.5:+")], [dead("ALM.5:+"), replace(dead("ALM.5:+"), id="3.1")]):
        found = row("5+", *bad, notes=[touched, waived])
        assert found.state == "stale" and "hides no bad reading (2.1" in found.reason
        fitted = Reading("ALM.5:+", (), "not-fitted", OFF, "55.1", "", why="left out here")
        assert row("5+", *bad, fitted, notes=[touched]).state == "doubtful"
        since = replace(good("ALM.5:+")[0], id="56.1")
        assert (
            row("5+", *bad, since, notes=[touched, waived]).state == "waived"
        )  # under the same conditions it is good now
        other = replace(typed("ALM.5:+", "12.39", replace(OFF, key="run", lamp_w=None)), id="56.1")
        assert row("5+", *bad, other, notes=[touched, waived]).state != "waived"
    assert row("5+", *good("ALM.5:+")[:1], notes=[touched, waived]).state == "waived"


def test_nor_one_of_a_bus() -> None:
    asleep = replace(OFF, lamp_w=None, asleep=True)
    bad = [replace(typed("drive:H-L", "120", asleep), id=f"{n}.1") for n in (2, 3)]
    touched, waived = noted("moved", "X3", n=50), noted("waive", "drive:H-L", n=60, why="no time")
    assert row("drive:H-L", *bad, notes=[touched, waived]).state == "stale"
    assert row("drive:H-L", typed("drive:H-L", "60", asleep), notes=[touched, waived]).state == "waived"


def test_with_the_engine_running_no_point_of_a_way_is_cleared_and_what_is_dead_is_dead_all_the_same() -> None:
    running = replace(OFF, engine=True)
    failed = [dead("ALM.5:+", running), replace(dead("ALM.5:+", running), id="3.1")]
    assert row("5+", *failed).state == "failed"
    point = replace(typed("F9.load", "12.35/12.2", OFF), id="4.1")
    for on, cleared in ((OFF, True), (running, False)):
        bad = [replace(one, conditions=on) for one in failed]
        narrowed = judged(*bad, replace(point, conditions=on)).narrowed
        assert narrowed is not None and bool(narrowed.clears) == cleared


# --- less than the battery has, in order ------------------------------------------------------------------------------------

CONVERTERS = """
sheet: 1
parts:
  BAT: {is: battery}
  G1: ground
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 10}
  U1: {is: converter, volts: 12}
  U2: {is: converter, volts: 5}
  M: {is: module, cavities: 1-4, pins: {1: supply, 2: ground, 3: supply, 4: supply}}
runs:
  - BAT.- -- BK 16 0.5m -- G1
  - BAT.+ -- RD 4 1m -- F1 -- RD 4 1m -- U1.in
  - BAT.+ -- RD 4 1m -- F2 -- RD 4 1m -- U2.in
  - BAT.+ -- RD 1 1m -- M.4
  - U1.ground -- BN 4 1m -- G1
  - U2.ground -- BN 4 1m -- G1
  - U1.out -- RD 1 1m -- M.1
  - U2.out -- RD 1 1m -- M.3
  - M.2 -- BN 1 1m -- G1
"""


def test_a_pin_is_dead_where_less_than_half_is_there_of_what_it_carries_in_order(tmp_path: Path) -> None:
    """Behind a converter, and at the tap between two batteries."""
    tapped = Tracing(tracer.load(ROOT / "tests" / "constructs" / "tapped_12_v_of_24_v"))
    made = Tracing(load(tmp_path, CONVERTERS, vehicle="vehicle: v\nsystem: 24 V\nkey: [off, run]\n"))
    for tracing, pin, sound, bad in ((made, "1", "11.95", "5.8"), (made, "3", "5.02", "2.2"), (made, "4", "25.1", "11.9"), (tapped, "3", "11.9", "5.8"), (tapped, "1", "24.1", "11.9")):  # fmt: skip
        plan = kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))
        on, name = replace(OFF, battery_v=25.2, lamp_w=None), f"M.{pin}:+"
        twice = [[replace(typed(name, volts, on), id=f"{n}.1") for n in (2, 3)] for volts in (sound, bad)]
        assert [row(f"{pin}+", *some, plan=plan).state == "failed" for some in twice] == [False, True]
        said = {f"M.{pin}:+": f"{bad}/25", "for": "5 min", "symptom": "yes"}
        watched = Note(9, "watch", said, "drove", "", "", on)
        assert any("broke off" in one for one in judged(*twice[0], notes=[watched], plan=plan).open)
        watched = replace(watched, words={**said, f"M.{pin}:+": f"{sound}/25"})
        assert not any("broke off" in one for one in judged(*twice[0], notes=[watched], plan=plan).open)
