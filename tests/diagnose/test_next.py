"""`tracer next` one answer at a time; what it comes to when it is followed is in `test_technicians.py`."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import tracer
from tests.case.making import demo, demo_plan, in_memory, opened, reading
from tests.golden import check_golden
from tests.typed import load
from tracer.case import calls, kept_network
from tracer.case.opening import kept_plan
from tracer.case.proof import verdict_of
from tracer.case.readings import Conditions, Reading
from tracer.cli import app
from tracer.diagnose.next import READING_WRONG, Next, next_of
from tracer.electrics.model.circuit_model import NotSettled
from tracer.plan.words import line_name
from tracer.report.next import as_data, as_text
from tracer.trace.tracing import Tracing

OUT = Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.62)


def at(*readings: Reading, plan: dict[str, object] | None = None) -> Next:
    case = in_memory(plan or demo_plan(), readings)
    return next_of(replace(case, conditions=OUT))


def test_nothing_failed_so_the_cheapest_open_pin_is_proven_and_a_bad_one_read_again() -> None:
    assert (found := at()).aim == "prove" and found.measurement is not None and not found.explains
    assert found.measurement.set_before == ()  # the key is not turned while rows are open in this key state
    dead = replace(reading("ALM.5:+", (0.0, 0.0), OUT), id="2.1")
    assert (found := at(dead)).aim == "prove" and found.measurement is not None and found.measurement.short == "5+"
    assert found.surprise == "5+: dead alone, key off"
    assert found.measurement.outcomes[1][1] == "the row has failed, and the fault is on its way"


def test_a_failed_row_is_halved_and_what_was_not_reached_is_never_asked_for() -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    first = at(*dead)
    assert first.aim == "find" and first.measurement is not None and first.of == "5+"
    assert first.measurement.short == "3+"  # at the same plug, and it shares the battery's end of the way
    asked = next(name for name, short in demo_plan()["short"].items() if short == "3+")
    sealed = Reading(asked, (), "not-reached", OUT, "4.1", why="sealed")
    after = at(*dead, sealed)
    assert after.measurement is not None and after.measurement.short not in ("3+", "5+")
    good = reading("X3.10:S12", (12.6, 12.45), OUT, 5)
    shares = {one.what: one.share for one in at(*dead, good).explains}
    before = {one.what: one.share for one in first.explains}
    assert shares["F9"] < 0.1 * before["F9"] and shares["X4.3"] > before["X4.3"] and READING_WRONG in shares


@pytest.mark.parametrize("network", [None, {"why_not": "no battery is typed in"}])
def test_without_computed_volts_a_failed_row_is_looked_at_by_hand_and_the_rest_is_proven(network: dict[str, str] | None) -> None:  # fmt: skip
    plan = {name: value for name, value in demo_plan().items() if name != "network"}
    plan |= {"network": network} if network else {}
    found = at(*(reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)), plan=plan)
    assert (found.aim, found.of, found.measurement) == ("find", "5+", None) and not found.complete
    why = network["why_not"] if network else "the case was opened by an earlier version of this program"
    assert f"({why}): look at each piece by hand, first F9" in found.why_not
    assert (proven := at(plan=plan)).aim == "prove" and proven.measurement is not None


def test_a_row_with_a_hazard_is_never_asked_for() -> None:
    plan = json.loads(json.dumps(demo_plan()))
    for row in plan["rows"].values():
        row["no_method"] = "not to be measured"
    plan["buses"] = {}
    found = at(plan=plan)
    assert found.measurement is None and not found.complete and "nothing is measured there: not to be measured" in found.why_not  # fmt: skip
    assert "reach it" not in found.why_not


def _with_a_hazard() -> dict[str, Any]:
    plan: dict[str, Any] = json.loads(json.dumps(demo_plan()))
    row = plan["rows"]["ALM.5:+"]
    row["no_method"], row["tests"], plan["hazards"] = "the maker's procedure only", [], ["the maker's procedure only"]
    for at in {end for piece in row["ends"].values() for end in piece}.intersection(plan["points"]):
        plan["points"][at]["never"] = True
    return plan


def test_a_row_with_a_hazard_that_was_read_all_the_same_is_not_asked_for_again_nor_one_of_its_points() -> None:
    plan = _with_a_hazard()
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    slip = reading("F9.load", (12.5, 12.3), OUT, 4)
    for some in ([dead[0]], dead, [*dead, slip], [slip], [reading("F9.load", (0.0, 0.0), OUT, 5)]):
        for network in (plan["network"], {"why_not": "no figures"}):
            found = at(*some, plan={**plan, "network": network})
            short = "" if found.measurement is None else found.measurement.short
            assert short not in ("5+", "F9.load", "S12") and "read 5+" not in found.why_not
    assert "nothing is measured there: the maker's procedure only" in at(*dead, slip, plan=plan).why_not
    verdict = verdict_of(in_memory(plan, dead))
    assert verdict.found_at == "5+" and verdict.split_by == "nothing is measured there: the maker's procedure only"
    shared = verdict_of(in_memory(plan, [reading("ALM.3:+", (0.0, 0.0), OUT, n) for n in (2, 3)]))
    assert "F7.load" in shared.split_by and "STC" not in shared.split_by and "ML2" not in shared.split_by
    fit = next(one for one in verdict.open if one.startswith("contacts whose fit"))
    assert "3+" in fit and "5+" not in fit


def test_not_every_reading_is_in_order_while_one_is_to_be_read_once_more() -> None:
    found = at(reading("ALM.3:+", (12.5, 12.1), OUT))  # too near to tell
    assert found.surprise and not found.possible
    assert at(reading("ALM.3:+", (12.5, 12.3), OUT)).possible


ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("vehicle", ["minibus", "unfinished"])
def test_of_whatever_row_fails_something_is_said(vehicle: str) -> None:
    tracing = Tracing(tracer.load(ROOT / "circuits" / vehicle))
    failed = 0
    for module in tracing.circuit.modules():
        plan = kept_plan(tracing, tracer.supplies(tracing, module.name), tracer.limits(tracing))
        for name, row in plan["rows"].items():
            for test in row["tests"]:
                on = Conditions(key=test["key"], plugged=False, lamp_w=test["lamp_w"], out=tuple(test["out"]), symptom=True, battery_v=12.6)  # fmt: skip
                volts = (0.0, 0.0) if row["level"] == "supply" else (12.6, 12.6)
                case = replace(in_memory(plan, [reading(name, volts, on, number) for number in (2, 3)]), conditions=OUT)
                assert case.plan["module"] == module.name
                found = next_of(case)
                as_text(case, found)
                assert (found.measurement is None) == bool(found.why_not)
                failed += found.aim == "find"
    assert failed > 3


def test_behind_a_single_diode_a_dead_pin_is_looked_for_by_what_is_dead(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 10}, D1: diode, M: {is: module, cavities: [1, 2], at: floor}, G1: ground}\n"
        "runs:\n  - BAT.+ -- RD 4 -- F1 -- RD 1 -- D1.A\n  - D1.K -- RD 1 -- M.1\n  - M.2 -- BN 2.5 -- G1\n  - BAT.- -- BK 25 -- G1\n"
    )
    tracing = Tracing(load(tmp_path, sheet, vehicle="vehicle: v\n"))
    plan = kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))
    on = replace(OUT, key=plan["rows"]["M.1:+"]["tests"][0]["key"], lamp_w=5.0)
    for lamp in (5.0, None):  # with its lamp, and dead without any
        read = [reading("M.1:+", (0.0, 0.0) if lamp else (0.0,), replace(on, lamp_w=lamp), number) for number in (2, 3)]
        found = at(*read, plan=plan)
        assert found.aim == "find" and found.measurement is not None
        assert found.measurement.short in ("F1.load", "D1.A", "F1.feed", "D1.K")
        assert {"F1", "D1"} <= {one.what for one in found.explains if one.share > 0.01}


@pytest.mark.parametrize("width", [40, 80, 120])
def test_it_fits_the_screen_and_says_what_each_outcome_means(width: int) -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    case = replace(in_memory(demo_plan(), dead), conditions=OUT)
    found = next_of(case)
    text = as_text(case, found, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert text.startswith("FIND what is wrong with 5+: measure") and "- good:" in text and "- dead:" in text
    assert width < 80 or len(text.splitlines()) <= 34
    data = json.loads(json.dumps(as_data(case, found)))
    assert data["aim"] == "find" and len(data["measurement"]["outcomes"]) == 2
    assert sum(one["share"] for one in data["explains"]) == pytest.approx(1.0)


def test_the_command_ends_with_its_exit_status(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRACER_STATE", str(tmp_path))
    monkeypatch.delenv("TRACER_CASE", raising=False)
    assert CliRunner().invoke(app, ["next"]).exit_code == 1  # no case is open
    case = opened(tmp_path)
    calls.use_case(case.file)
    asked = CliRunner().invoke(app, ["next"])
    assert asked.exit_code == 0 and asked.output.startswith("PROVE the wiring of ALM: measure")
    names = [*case.plan["rows"], *(line_name(bus, *facts["pins"]) for bus, facts in case.plan["buses"].items())]
    calls.note_in_case("waive", names, why="a test")
    left = CliRunner().invoke(app, ["next"])
    assert left.exit_code == 3 and "nothing left to measure" in left.output


# --- readings of other kinds -------------------------------------------------------------------------------------------


def test_a_pin_that_is_live_where_it_must_be_dead_is_found_out_by_meter() -> None:
    live = [reading("ALM.6:+", (12.5,), replace(OUT, lamp_w=None), n) for n in (2, 3)]
    once = at(live[0])
    assert once.aim == "prove" and once.measurement is not None and once.measurement.short == "6+"  # once more, first
    found = at(*live)
    shares = {one.what: one.share for one in found.explains}
    assert found.aim == "find" and shares["KLE stuck closed"] > 0.15
    elsewhere = [share for what, share in shares.items() if what.endswith("fed from elsewhere") and share > 0.01]
    assert len(elsewhere) == 4  # every wire of the way
    assert sum(elsewhere) > 0.25 * shares["KLE stuck closed"]


def test_a_relay_that_does_not_come_in_is_asked_for_at_its_coil_too() -> None:
    on = replace(OUT, key="run", battery_v=12.4)
    dead = [reading("ALM.6:+", (0.0, 0.0), on, n) for n in (2, 3)]
    fed = reading("KLE.30", (12.38, 12.3), on, 4)
    away = reading("KLE.87", (0.0, 0.0), on, 5)
    found = at(*dead, fed, away)
    named = [one.what for one in found.explains if one.share > 0.01]
    assert "KLE" in named and "F19" in named and "F47" not in named
    network = demo_plan()["network"]
    coil = {
        end for row in ("KLE.86:+", "KLE.85:-") for n in network["ways"][row] for end in network["pieces"][n]["ends"]
    }
    assert found.measurement is not None and found.measurement.short in coil


def test_a_reading_that_turns_everything_is_taken_once_more_first() -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    good = [reading(name, (12.6, 12.5), OUT, n) for n, name in ((4, "F9.load"), (5, "S12"))]
    turned = reading("F9.feed", (0.0, 0.0), OUT, 6)  # dead before what is live
    found = at(*dead, *good, turned)
    assert found.surprise and found.measurement is not None and found.measurement.short == "F9.feed"
    again = at(*dead, *good, turned, replace(turned, id="7.1"))
    assert not again.surprise


def test_two_faults_are_weighed_only_where_no_single_one_explains() -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    assert not any(" and " in one.what for one in at(*dead).explains if one.how == "two faults")
    other = [reading("ALM.3:+", (0.0, 0.0), OUT, n) for n in (4, 5)]
    fed = [reading("F9.feed", (12.6, 12.56), OUT, 6), reading("F7.feed", (12.6, 12.56), OUT, 7)]
    found = at(*dead, *other, *fed)
    assert found.explains[0].how == "two faults" and not found.explains[0].speaks_against


def test_what_no_measurement_tells_apart_is_one_group() -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    groups = {one.what: one.group for one in at(*dead).explains}
    assert groups["F9"] == groups["short to ground behind F9"] != groups["X4.3"]


def test_no_point_on_a_way_with_a_hazard_is_offered() -> None:
    plan = json.loads(json.dumps(demo_plan()))
    for name in plan["points"]:
        plan["points"][name]["never"] = name not in ("F9.load",)
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    assert at(*dead).by_hand and not at(*dead, plan=plan).by_hand  # nor is anything there to be done by hand
    found, asked = at(*dead, plan=plan), []
    while found.measurement is not None:
        asked.append(found.measurement.short)
        full = next(name for name, short in plan["short"].items() if short == asked[-1])
        dead.append(
            reading(
                full,
                (12.6, 12.45),
                replace(OUT, key=dict(one.split("=") for one in found.measurement.set_before).get("key", "off")),
                3 + len(asked),
            )
        )
        found = at(*dead, plan=plan)
        assert len(asked) < 20
    assert {one for one in asked if "." in one} <= {"F9.load"}


def test_the_answers_on_the_demo_are_what_somebody_last_read() -> None:
    on = replace(OUT, symptom=True)
    dead = [reading("ALM.5:+", (0.0, 0.0), on, n) for n in (2, 3)]
    split = [reading("S12", (12.59, 12.39), on, 4), reading("X3.10:S12", (0.0, 0.0), on, 5)]
    first, last = (replace(in_memory(demo_plan(), read), conditions=on) for read in (dead, [*dead, *split]))
    check_golden("minibus/next-find-80.txt", as_text(first, next_of(first)))
    check_golden("minibus/next-found-40.txt", as_text(last, next_of(last), width=40))


def test_a_key_state_without_rest_costs_its_own_predictions_only(monkeypatch: pytest.MonkeyPatch) -> None:
    solved = kept_network._Maker._solved

    def unless_cranking(self: Any, base: Any) -> Any:
        if base.key == "start":
            raise NotSettled("no steady state was found: a starter that gives up and recovers")
        return solved(self, base)

    monkeypatch.setattr(kept_network._Maker, "_solved", unless_cranking)
    report, limits = tracer.supplies(demo(), "ALM"), tracer.limits(demo())
    network = kept_network.kept_network(demo(), report, limits, [])
    assert {base["key"] for base in network["bases"]} == {"off", "acc", "run"}
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    cranking = [reading("ALM.5:+", (0.0,), replace(OUT, key="start", lamp_w=None), 4)]
    found = at(*dead, *cranking, plan={**demo_plan(), "network": network})
    assert found.aim == "find" and found.measurement is not None and "F9" in {one.what for one in found.explains}


@pytest.mark.parametrize("out", ["X4", "F9", "S12"])
def test_behind_what_was_taken_out_a_dead_pin_blames_nothing(out: str) -> None:
    """Whatever was pulled, unplugged or cut to read behind it, the reading is as it must be; with it in place it would be a fault."""
    plan = demo_plan()
    assert out in plan["network"]["outs"]
    rows = [name for name, row in plan["rows"].items() if any(at.startswith((f"{out}.", f"{out}:", out)) for ends in row.get("ends", {}).values() for at in ends)]  # fmt: skip
    supply = next(name for name in rows if plan["rows"][name]["level"] == "supply")
    dead = [reading(supply, (0.0, 0.0), replace(OUT, out=(out,)), n) for n in (2, 3)]
    assert not at(*dead).explains or at(*dead).explains[0].what == READING_WRONG


@pytest.mark.parametrize("reads", [[("X3.10:S12", (12.6, 12.45))], [("X3.10:S12", (0.0, 0.0)), ("F9.load", (0.0, 0.0))]])  # fmt: skip
def test_a_case_of_before_the_parts_of_the_vehicle_were_kept_still_finds(reads: list[tuple[str, tuple[float, float]]]) -> None:  # fmt: skip
    old = {name: value for name, value in demo_plan().items() if name not in ("parts", "beside", "looks")}
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    more = [reading(name, volts, OUT, n) for n, (name, volts) in enumerate(reads, 4)]
    assert at(*dead, *more, plan=old).explains == at(*dead, *more).explains
