"""The verdict as the weighing bears it out: `proof` and `next` cannot name different places. Over simulated technicians: tests/diagnose/test_technicians.py."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from tests.case.making import demo_plan, in_memory, reading
from tests.diagnose.technician import looked_at
from tracer.case.case import Case
from tracer.case.proof import leads_of, verdict_of
from tracer.case.readings import Conditions, Reading, Value
from tracer.diagnose.likely import level_of
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


def test_what_to_look_at_first_is_among_the_places_that_are_left() -> None:
    """A ground that is lifted to the battery's volts: the ground points side by side are no suspects, and are not named to be opened."""
    lifted = reading("ALM.1:-", (12.4, 12.4), OFF)
    found = weighed_verdict(case_with(lifted, lifted), verdict_of(case_with(lifted, lifted)))
    assert set(found.pieces) == {"wire BAT.- to G1", "G1"}
    assert found.split_by.endswith("look at each by hand, first G1")


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


# --- readings that later ones outweigh ------------------------------------------------------------------------------------


def _tested() -> Iterator[tuple[str, Conditions, Reading]]:
    """Each row of the demo that a figure decides, with the conditions of its first test and a reading that passes it."""
    for name, row in demo_plan()["rows"].items():
        test = row["tests"][0] if row["tests"] else {"most_v": None, "out": []}
        if test["most_v"] is not None and not test["out"]:
            on = replace(OFF, key=test["key"], lamp_w=test["lamp_w"], leads=leads_of(test))
            moved = (test["least_v"] + test["most_v"]) / 2
            yield name, on, replace(reading(name, (12.59, 12.59 - moved) if row["level"] == "supply" else (0.0, moved), on), lit=True)  # fmt: skip


def _bad(name: str, on: Conditions) -> Reading:
    return dead(name, on) if level_of(demo_plan(), name) == "supply" else reading(name, (12.5, 12.5), on)


def test_a_fault_that_came_between_two_readings_is_looked_for_as_if_only_the_later_ones_were_there() -> None:
    """A technician who read the pin good before it went dead is sent along its way all the same, whatever the pin."""
    rows = list(_tested())
    assert len(rows) > 8
    for name, on, good in rows:
        bad = _bad(name, on)
        before, after = next_of(case_with(good, good, bad, bad)), next_of(case_with(bad, bad))
        assert before.aim == "find" and before.measurement == after.measurement and before.explains == after.explains
        assert len(before.outweighed) == 2 and "(2.1) is not weighed, since 4.1, 5.1 read otherwise" in before.outweighed[0]  # fmt: skip
        found = [weighed_verdict(case, verdict_of(case)) for case in (case_with(good, good, bad, bad), case_with(bad, bad))]  # fmt: skip
        assert (found[0].kind, found[0].pieces, found[0].also) == (found[1].kind, found[1].pieces, found[1].also)
        row = next(one for one in found[0].rows if one.name == name)
        assert row.state == "failed" and row.reason.endswith("; it read good before (2.1, 3.1)")


def test_a_slip_that_was_read_again_often_enough_is_asked_for_no_more() -> None:
    for name, on, good in _tested():
        bad = _bad(name, on)
        once, never = next_of(case_with(bad, good, good)), next_of(case_with(good, good))
        assert once.measurement == never.measurement and once.possible == never.possible and once.aim == "prove"
        assert [words.partition(" is not weighed")[0].endswith("(2.1)") for words in once.outweighed] == [True]
        undecided = next_of(case_with(bad, good))  # once each says nothing yet: neither is left out
        assert undecided.measurement is not None and undecided.measurement.short == case_with().short(name) and not undecided.outweighed  # fmt: skip


def test_of_a_point_on_the_way_the_readings_since_it_went_dead_count_too() -> None:
    good_before = (reading("F9.load", (12.58, 12.44), OFF), reading("S12", (12.59, 12.39), OFF), reading("X3.10:S12", (12.58, 12.3), OFF))  # fmt: skip
    case = case_with(dead("ALM.5:+"), dead("ALM.5:+"), *good_before, dead("X3.10:S12"), dead("X3.10:S12"))
    found = weighed_verdict(case, verdict_of(case))
    assert (found.kind, found.pieces) == ("found", ("wire S12 to X3.10:S12 over ref 185>93 (sheet 10)",))


def test_what_only_flickers_while_it_is_wiggled_outweighs_nothing() -> None:
    """A bad contact shows in every second try, so two quiet ones take nothing back."""
    wiggled = replace(OFF, hand="wiggle:X3")
    flickers = replace(reading("ALM.5:+", (0.0,), wiggled), values=(Value("flickers", None),))
    quiet = reading("ALM.5:+", (12.58, 12.3), wiggled)
    assert not next_of(case_with(dead("ALM.5:+"), dead("ALM.5:+"), flickers, quiet, quiet)).outweighed
