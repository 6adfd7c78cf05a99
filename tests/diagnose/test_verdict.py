"""The verdict as the weighing bears it out: `proof` and `next` cannot name different places. Over simulated technicians: tests/diagnose/test_technicians.py."""

from __future__ import annotations

from dataclasses import replace

from tests.case.making import demo_plan, in_memory, reading
from tests.diagnose.technician import looked_at
from tracer.case.case import Case
from tracer.case.proof import verdict_of
from tracer.case.readings import Conditions, Reading, Value
from tracer.diagnose.next import next_of
from tracer.diagnose.verdict import weighed_verdict
from tracer.report.case import proof_data, proof_text, verdict_line

OFF = Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.6)


def dead(name: str, on: Conditions = OFF) -> Reading:
    return replace(reading(name, (0.0,), on), values=(Value("dead", 0.0),))


def case_with(*readings: Reading) -> Case:
    return in_memory(demo_plan(), [replace(one, id=f"{n}.1") for n, one in enumerate(readings, 2)])


def test_what_feeds_the_coil_of_a_contact_is_named_beside_the_way() -> None:
    run = replace(OFF, key="run")
    case = case_with(dead("ALM.6:+", run), dead("ALM.6:+", run))
    rule = verdict_of(case)
    found = weighed_verdict(case, rule)
    assert (found.kind, found.pieces) == (rule.kind, rule.pieces)
    assert {"F19", "coil of KLE", "clamp at BAT.+"} <= {*found.also} and not {"F19", "coil of KLE"} & {*rule.pieces}
    assert {*found.pieces, *found.also} == {*looked_at(next_of(case).explains)}
    assert f", one of {len(found.pieces)} pieces; or beside this way one of {len(found.also)}. Nothing can be said of ALM" in verdict_line(case, found)  # fmt: skip
    text = proof_text(case, found, width=40)
    assert "LEFT ON THE WAY TO 6+" in text and "coil of KLE" in " ".join(text.split())
    assert text.index("What would split them") < text.index("LEFT ON THE WAY")
    assert proof_data(case, found)["also"] == list(found.also)


def test_a_piece_that_some_reading_speaks_against_is_no_longer_named() -> None:
    run = replace(OFF, key="run")
    case = case_with(dead("ALM.7:+", run), dead("ALM.7:+", run), dead("X3.13:F22", replace(run, lamp_w=None)))
    rule = verdict_of(case)
    found = weighed_verdict(case, rule)
    assert "X4.12" in rule.pieces  # by the rule only points under the same lamp clear what is before or behind them
    assert found.found_at == "7+" and "F22" in found.pieces and "X4.12" not in found.pieces


def test_what_would_split_them_is_about_the_pieces_that_are_left() -> None:
    run = replace(OFF, key="run")
    case = case_with(dead("ALM.7:+", run), dead("ALM.7:+", run), dead("IGN.15", replace(run, lamp_w=None)))
    rule = verdict_of(case)
    found = weighed_verdict(case, rule)
    assert "F22" in rule.pieces and "F22" not in found.pieces and "F40" in found.pieces
    assert "F22.load" in rule.split_by and "F22.load" not in found.split_by and "F40.load" in found.split_by


def test_where_readings_that_are_wrong_explain_more_than_anything_broken_nothing_is_found() -> None:
    plugged = replace(OFF, plugged=True, lamp_w=None)
    live = [reading("ALM.3:+", (12.58,), plugged), reading("X4.1:ALM", (12.59, 12.4), OFF), reading("X4.1:ALM", (12.59,), plugged)]  # fmt: skip
    case = case_with(dead("ALM.3:+"), dead("ALM.3:+"), *live, *live)
    rule = verdict_of(case)
    assert rule.found_at == "3+"
    found = weighed_verdict(case, rule)
    assert found.kind == "not proven" and found.found_at == "" and found.pieces == ()
    assert "3+: failed" in found.open[0]
    line = verdict_line(case, found)
    assert line.startswith("NOT PROVEN: 3+ failed, but nothing is found: ") and "`tracer next`" in line
    assert next_of(case).verdict.kind == "not proven"
