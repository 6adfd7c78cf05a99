"""What is done by hand while a row is read: it is typed in one word, tells what explains the readings, and never proves or fails a row."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.case.making import NOON, demo_plan, in_memory, opened, reading
from tests.case.test_proof import good
from tracer.case.case import Case, record, set_conditions
from tracer.case.proof import verdict_of
from tracer.case.readings import BadWord, Conditions, Reading, Value
from tracer.diagnose.next import next_of
from tracer.diagnose.values import Next
from tracer.report.case import conditions_text
from tracer.report.next import as_text

RUN = Conditions(key="run", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.6)
BARE = replace(RUN, lamp_w=None)
KLE_WAY = ["F47.load", "KLE.30"]


def dead(name: str, on: Conditions = RUN) -> Reading:
    return replace(reading(name, (0.0,), on), values=(Value("dead", 0.0),))


def case_with(*readings: Reading) -> Case:
    numbered = [replace(one, id=f"{n}.1") for n, one in enumerate(readings, 2)]
    return replace(in_memory(demo_plan(), numbered), conditions=numbered[-1].conditions)


def at_the_relay(*more: Reading) -> tuple[Case, Next]:
    """Pin 6 is dead, with supply at the contact and at the coil of its relay, and ground at the coil: the relay, or what lies behind its contact."""
    supply = [reading(name, (12.55, 12.4), RUN) for name in KLE_WAY]
    coil = [reading("KLE.86:+", (12.5,), BARE), reading("KLE.85:-", (0.02,), BARE)]
    case = case_with(dead("ALM.6:+"), dead("ALM.6:+"), *supply, *coil, *more)
    return case, next_of(case)


def test_a_relay_changed_over_is_a_measurement_with_outcomes_and_takes_part() -> None:
    case, found = at_the_relay(dead("KLE.87"))
    assert found.measurement is not None
    assert "hand=swap:KLE" in found.measurement.set_before and found.measurement.short == "6+"
    assert found.measurement.by_hand == ("a like relay in place of KLE",)
    assert "and a like relay in place of KLE" in " ".join(as_text(case, found).split())
    swapped = replace(RUN, hand="swap:KLE")
    before = {one.what: one.share for one in found.explains}
    _, good_then = at_the_relay(dead("KLE.87"), reading("ALM.6:+", (12.5, 12.2), swapped))
    after = {one.what: one for one in good_then.explains}
    assert after["KLE"].share + after["coil of KLE"].share > 0.95 and not after["KLE"].speaks_against
    _, dead_then = at_the_relay(dead("KLE.87"), dead("ALM.6:+", swapped))
    after = {one.what: one for one in dead_then.explains}
    assert after["KLE"].share < before["KLE"] and after["KLE"].speaks_against


def test_a_fused_lead_beside_a_contact_tells_it_from_its_coil() -> None:
    beside = replace(RUN, hand="bridge:KLE.30-KLE.87")
    _, found = at_the_relay(reading("ALM.6:+", (12.5, 12.2), beside))
    after = {one.what: one for one in found.explains}
    assert after["KLE"].share > after["X3.11"].share and after["X3.11"].speaks_against


def test_a_connector_that_flickers_when_it_is_wiggled_is_named_first() -> None:
    moved = replace(RUN, hand="wiggle:X3")
    flickers = replace(reading("ALM.6:+", (0.0,), moved), values=(Value("flickers", None),))
    _, found = at_the_relay(flickers)
    assert found.explains[0].what.startswith("X3.11") and any("flickers" in one for one in found.explains[0].speaks_for)
    _, quiet = at_the_relay(dead("ALM.6:+", moved))
    share = {one.what: one.share for one in quiet.explains}
    assert 0.0 < share["X3.11"] < share["X1.4" if "X1.4" in share else "X4.4"] + 1.0  # it may not show every time


@pytest.mark.parametrize("hand", ["swap:KLE", "bridge:KLE.30-KLE.87", "wiggle:X3"])
def test_what_is_read_by_hand_proves_and_fails_no_row(hand: str) -> None:
    on = replace(RUN, hand=hand)
    for before in ([], [dead("ALM.6:+")], [dead("ALM.6:+")] * 2, list(good("ALM.6:+"))):
        numbered = [replace(one, id=f"{n}.1") for n, one in enumerate(before, 2)]
        rows = {row.short: row.state for row in verdict_of(in_memory(demo_plan(), numbered)).rows}
        for more in (dead("ALM.6:+", on), reading("ALM.6:+", (12.5, 12.35), on)):
            some = [*numbered, *(replace(more, id=f"{n}.1") for n in (90, 91, 92))]
            after = {row.short: row.state for row in verdict_of(in_memory(demo_plan(), some)).rows}
            changed = {short for short in rows if rows[short] != after[short]}
            assert not changed or (rows["6+"], after["6+"]) == ("not read", "open-circuit only")


def test_it_is_typed_in_one_word_and_refused_where_it_cannot_be(tmp_path: Path) -> None:
    case = set_conditions(opened(tmp_path), ["key=run", "plug=out", "lamp=21W", "symptom=yes", "hand=swap:kle"], NOON)
    assert case.conditions.hand == "swap:KLE" and "by hand swap:KLE" in conditions_text(case.conditions)
    read = record(case, ["battery=12.6", "6+=12.5/12.2"], NOON)
    assert read.readings[0].conditions.hand == "swap:KLE"
    for word, said in (
        ("hand=shake:X3", "hand=wiggle:CONNECTOR"), ("hand=swap:F9", "a relay on a way"), ("hand=bridge:F9.feed-X3.10", "two ends of one piece"), ("hand=wiggle:S12", "a connector on a way"),
    ):  # fmt: skip
        with pytest.raises(BadWord, match=said):
            set_conditions(read.case, [word], NOON)
    assert set_conditions(read.case, ["hand=none"], NOON).conditions.hand == ""


def test_no_lead_is_offered_where_a_short_may_be_and_nothing_where_a_hazard_is() -> None:
    case = case_with(dead("ALM.5:+", replace(RUN, key="off")), dead("ALM.5:+", replace(RUN, key="off")))
    found = next_of(case)
    assert any(one.what.startswith("short to ground") for one in found.explains)
    assert found.measurement is not None and not any("bridge" in word for word in found.measurement.set_before)
    plan = demo_plan()
    hazard = {**plan, "points": {name: {**point, "never": True} for name, point in plan["points"].items()}}
    numbered = [replace(one, id=f"{n}.1") for n, one in enumerate([dead("ALM.6:+"), dead("ALM.6:+"), dead("KLE.87")], 2)]  # fmt: skip
    nothing = next_of(replace(in_memory(hazard, numbered), conditions=RUN))
    assert nothing.by_hand == () and (nothing.measurement is None or not any("hand=" in word for word in nothing.measurement.set_before))  # fmt: skip
