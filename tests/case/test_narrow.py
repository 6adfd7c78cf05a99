"""Where on a failed way the fault may still be. The law: whatever bad joint is put on a way, small or large, what is named holds it, however much good readings clear.

All rows of the module are read with the same fault in the vehicle, in the order of the list, each test twice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import demo, demo_plan, in_memory, true_pieces
from tests.case.test_care import OFF, typed
from tests.case.test_proof import THOROUGH, Simulated, faults
from tests.typed import load
from tracer.case.case import Case
from tracer.case.judged import CLEARLY_OHM
from tracer.case.narrow import split_readings, things_at_odds
from tracer.case.opening import kept_plan
from tracer.case.proof import FOUND_AT_MOST, Verdict, verdict_of
from tracer.plan.words import LEAST_OF_LAMP, METER_OFF_V
from tracer.trace.tracing import Tracing


def read_whole(simulated: Simulated, fault: str) -> tuple[Case, Verdict]:
    """Everything that the plan asks of every row, twice, with a fault in the vehicle."""
    readings = [
        one
        for name in simulated.plan["rows"]
        for one in [*simulated.readings(name, fault, 0), *simulated.readings(name, fault, 0)]
    ]
    case = in_memory(simulated.plan, [replace(one, id=f"{n}.1") for n, one in enumerate(readings, 2)])
    return case, verdict_of(case)


def check_law(simulated: Simulated, most: int) -> Iterator[int]:
    """The number of pieces left for each fault that showed."""
    for name, kept in simulated.plan["rows"].items():
        if all(test["most_v"] is None for test in kept["tests"]):
            continue
        places = [
            one for one in dict.fromkeys(faults(simulated.tracing, simulated.rows[name])) if true_pieces(kept, one)
        ]
        for place in places if THOROUGH else simulated.rng.sample(places, min(most, len(places))):
            for ohm in (0.25, 0.35, 0.5, 50.0) if THOROUGH else (simulated.rng.choice([0.25, 0.35]), 50.0):
                case, verdict = read_whole(simulated, f"{place}={ohm}ohm")
                assert verdict.kind in ("found", "not proven")
                if verdict.narrowed is None:
                    continue
                failed = verdict.narrowed.row
                true = true_pieces(case.plan["rows"][failed.name], place)
                assert true & set(verdict.narrowed.pieces), (name, place, ohm, failed.short, verdict.narrowed)
                assert verdict.found_at == failed.short, (name, place, ohm, verdict.blocked)
                assert (verdict.kind == "found") == (len(verdict.pieces) <= FOUND_AT_MOST)
                yield len(verdict.pieces)


def test_the_law_on_the_demo() -> None:
    left = list(check_law(Simulated(demo(), "ALM"), 1))
    assert len(left) > 5 and min(left) <= 4


@pytest.mark.parametrize("seed", [1])
def test_the_law_on_a_generated_vehicle(seed: int, tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=seed)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    assert [left for name in names for left in check_law(Simulated(tracing, name, seed), 1)]


# --- one bound at a time ---------------------------------------------------------------------------------------------

FAILED = [typed("ALM.5:+", "12.4/9.0", OFF)] * 2


def said_of_a_point(text: str) -> bool | None:
    """What `F9.load`, read with the lamp, says of the way up to it: good, bad, or nothing."""
    numbered = [replace(one, id=f"{n}.1") for n, one in enumerate([*FAILED, typed("F9.load", text, OFF)], 2)]
    case = in_memory(demo_plan(), numbered)
    row = next(one for one in verdict_of(case).rows if one.short == "5+")
    assert row.state == "failed"
    ((_, _, good),) = split_readings(case, row)
    return good


def test_a_point_is_bad_only_where_it_is_clearly_beyond_what_the_whole_way_may_take() -> None:
    (test,) = demo_plan()["rows"]["ALM.5:+"]["tests"]
    clearly_v = test["most_v"] + METER_OFF_V + CLEARLY_OHM * LEAST_OF_LAMP * test["lamp_a"]
    certain_v = 0.01  # two readings to the hundredth
    assert said_of_a_point(f"12.40/{12.40 - clearly_v - certain_v - 0.01:.2f}") is False
    assert said_of_a_point(f"12.40/{12.40 - clearly_v + 0.01:.2f}") is None
    assert said_of_a_point(f"12.40/{12.40 - test['most_v'] - METER_OFF_V - 0.02:.2f}") is None
    assert said_of_a_point(f"12.40/{12.40 - test['most_v'] - METER_OFF_V + 0.02:.2f}") is True


KEY = """
sheet: 1
parts:
  BAT: {is: battery, volts: 12}
  G1: ground
  S1: {is: splice, wires: 3}
  F1: {is: fuse, amps: 30}
  KEY: {is: switch, follows: key, contacts: {"off": [], acc: [30-75], run: [30-75]}}
  K1: {is: relay, kind: normally open}
  F2: {is: fuse, amps: 15}
  F3: {is: fuse, amps: 15}
  M: {is: module, cavities: 1-3, pins: {1: supply, 2: supply, 3: ground}}
runs:
  - BAT.+ -- RD 4 0.5m -- F1 -- RD 4 0.5m -- KEY.30
  - KEY.75 -- BK 2.5 0.5m -- S1
  - S1 -- BK 1.5 0.5m -- F2 -- BK 1.5 1m -- M.1
  - S1 -- BK 1.5 0.5m -- K1.30
  - K1.87 -- BK 1.5 0.5m -- F3 -- BK 1.5 1m -- M.2
  - 15 -- BK 1 -- K1.86
  - K1.85 -- BN 1 -- G1
  - M.3 -- BN 1.5 1m -- G1
  - BAT.- -- BK 25 0.5m -- G1
"""


def test_a_contact_that_carried_a_lamp_in_one_key_state_is_not_cleared_for_another(tmp_path: Path) -> None:
    """Pin 1 is good in acc; pin 2, over the same contact of the key switch, fails in run. What is no contact is cleared."""
    tracing = Tracing(load(tmp_path, KEY, vehicle='vehicle: v\nkey: [off, acc, run]\nrails: {"15": [run]}\n'))  # fmt: skip
    plan = kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))
    tests = {name: row["tests"][0] for name, row in plan["rows"].items()}
    assert [tests[name]["key"] for name in ("M.1:+", "M.2:+")] == ["acc", "run"]

    good, bad = (replace(OFF, key=one["key"], lamp_w=one["lamp_w"]) for one in (tests["M.1:+"], tests["M.2:+"]))
    readings = [typed("M.1:+", "12.4/12.35", good), typed("M.2:+", "12.4/8.0", bad)] * 2
    narrowed = verdict_of(in_memory(plan, [replace(one, id=f"{n}.1") for n, one in enumerate(readings, 2)])).narrowed
    assert narrowed is not None and narrowed.row.name == "M.2:+"
    assert {"KEY", "K1", "F3"} <= set(narrowed.pieces)
    assert "F1" not in narrowed.pieces


@pytest.mark.parametrize(("first", "then", "odd"), [("dead", "6.5", True), ("6.5", "dead", True), ("dead", "5.5", False), ("-5.5", "dead", False)])  # fmt: skip
def test_a_dead_point_was_read_as_no_volts(first: str, then: str, odd: bool) -> None:
    on = replace(OFF, lamp_w=None)
    readings = [replace(typed("F9.load", text, on), id=f"{n}.1") for n, text in enumerate((first, then), 2)]
    assert bool(list(things_at_odds(in_memory(demo_plan(), readings)))) is odd
