"""What is no fault of the wiring: an option that is fitted all the same, and the module itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import tracer
from tests.case.making import demo_plan, in_memory, reading
from tracer.case.opening import kept_plan
from tracer.case.proof import verdict_of
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.likely import every_fault
from tracer.diagnose.next import Next, next_of
from tracer.report.next import as_text
from tracer.trace.tracing import Tracing

OFF = Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.6)
HEATED = """sheet: 1
parts:
  BAT: {is: battery, at: engine bay}
  F1: {is: fuse, amps: 10, at: box}
  F2: {is: fuse, amps: 10, at: box, state: option}
  G: {is: ground, at: sill}
  M: {is: module, at: seat, cavities: 1-3, pins: {1: supply, 2: supply, 3: ground}}
runs:
- BAT.+ -- RD 2.5 1m -- F1.feed
- BAT.+ -- RD 2.5 1m -- F2.feed
- F1.load -- RD 1 1m -- M.1
- F2.load -- RD 1 1m -- M.2
- M.3 -- BN 1 1m -- G
- BAT.- -- BK 25 1m -- G
"""


def heated(folder: Path, sheet: str = HEATED, more: str = "") -> dict[str, Any]:
    """The plan of a module of which one supply leads over a fuse that is an option."""
    (folder / "sheets").mkdir(parents=True)
    (folder / "vehicle.yaml").write_text("vehicle: v\nsystem: 12 V\nkey: [off, run]\n" + more, encoding="utf-8")
    (folder / "sheets" / "1.yaml").write_text(sheet, encoding="utf-8")
    tracing = Tracing(tracer.load(folder))
    return kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))


def at(plan: dict[str, Any], *readings: Reading) -> Next:
    numbered = [replace(one, id=f"{n}.1") for n, one in enumerate(readings, 2)]
    return next_of(replace(in_memory(plan, numbered), conditions=OFF))


def test_a_pin_that_is_live_where_its_fuse_is_an_option_reads_like_the_vehicle_that_has_it(tmp_path: Path) -> None:
    plan = heated(tmp_path)
    assert plan["rows"]["M.2:+"]["live"] == {"off": "dead", "run": "dead"}
    live = reading("M.2:+", (12.58, 12.4), OFF)
    found = at(plan, live, live)
    best = max(found.explains, key=lambda one: one.share)
    assert best.what == "reads like the vehicle with F2 fitted" and not best.speaks_against
    assert best.share > 0.5
    assert "F2" not in [one.what for one in found.explains]  # what is not there cannot break


def test_a_fuse_in_the_other_of_two_positions_is_named_with_both(tmp_path: Path) -> None:
    moved = HEATED.replace("state: option", "state: option, or: F1").replace("F2.load -- RD 1 1m -- M.2", "F2.load -- RD 1 1m -- F1.load")  # fmt: skip
    moved = moved.replace("BAT.+ -- RD 2.5 1m -- F1.feed", "15 -- RD 2.5 1m -- F1.feed").replace("cavities: 1-3, pins: {1: supply, 2: supply,", "cavities: [1, 3], pins: {1: supply,")  # fmt: skip
    plan = heated(tmp_path, moved, "rails: {'15': {live: [run]}}\n")
    assert plan["rows"]["M.1:+"]["live"]["off"] == "dead"
    live = reading("M.1:+", (12.58, 12.4), OFF)
    found = at(plan, live, live)
    assert max(found.explains, key=lambda one: one.share).what == "reads like the vehicle with F2 fitted in place of F1"


def test_a_vehicle_without_the_option_never_reads_so(tmp_path: Path) -> None:
    plan = heated(tmp_path)
    found = at(plan, reading("M.1:+", (12.58, 12.4), OFF), replace(reading("M.2:+", (0.0, 0.0), OFF)))
    assert found.aim == "prove"
    assert "reads like the vehicle with F2 fitted" not in [one.what for one in found.possible]


def test_the_module_itself_stands_among_what_may_be_wrong_while_all_readings_are_in_order() -> None:
    plan = demo_plan()
    good = [reading("ALM.3:+", (12.58, 12.38), OFF), reading("ALM.5:+", (12.58, 12.4), OFF)]
    shares = []
    for readings in (good[:1], good):
        found = at(plan, *readings)
        assert found.aim == "prove" and found.verdict.kind == "not proven"
        shares.append(next(one.share for one in found.possible if one.what == "ALM itself"))
        text = " ".join(as_text(in_memory(plan, readings), found).split())
        assert (
            "ALM itself: inside it, where no reading at its plug reaches; not suspect before `tracer proof` says so"
            in text
        )
    assert 0 < shares[0] < shares[1] < 0.5


def test_without_the_symptom_nothing_is_said_to_be_wrong_and_where_a_row_failed_the_module_does_not_explain_it() -> (
    None
):
    plan = demo_plan()
    away = replace(OFF, symptom=False)
    assert not at(plan, reading("ALM.3:+", (12.58, 12.38), away)).possible
    dead = reading("ALM.5:+", (0.0, 0.0), OFF)
    found = at(plan, dead, dead)
    own = next(one for one in found.explains if one.what == "ALM itself")
    assert found.aim == "find" and own.share < 0.01 and own.speaks_against


def test_the_module_is_said_to_be_suspect_by_the_verdict_alone() -> None:
    every = every_fault(demo_plan())
    own = [fault for fault in every.faults if fault.what == "ALM itself"]
    assert [fault.inside for fault in own] == ["ALM"]
    good = reading("ALM.3:+", (12.58, 12.38), OFF)
    said = verdict_of(in_memory(demo_plan(), [good, good]))
    assert said.kind == "not proven" and "ALM itself" not in (*said.pieces, *said.also)


def test_of_two_dead_pins_on_ways_of_their_own_each_pair_of_what_may_be_open_is_weighed(tmp_path: Path) -> None:
    """A third pin, fed from the same post, is good: no single fault explains both."""
    sheet = HEATED.replace(", state: option", "").replace("1-3, pins: {", "1-4, pins: {4: supply, ")
    sheet = sheet.replace("  G: {", "  F3: {is: fuse, amps: 10, at: box}\n  G: {")
    plan = heated(tmp_path / "v", sheet + "- BAT.+ -- RD 2.5 1m -- F3 -- RD 1 1m -- M.4\n")
    good, *dead = (reading(f"M.{pin}:+", volts, OFF) for pin, volts in ((4, (12.6, 12.5)), (1, (0, 0)), (2, (0, 0))))

    def likely(*readings: Reading) -> list[set[str]]:
        found = at(plan, *readings, *readings).explains
        return [set(one.what.split(" and ")) for one in found if one.share > 0.01 and "crossed" not in one.what]

    singles = [set.union(*likely(good, one)) for one in dead]
    assert [len(one) for one in singles] == [4, 4]
    pairs = [{first, second} for first in singles[0] for second in singles[1]]
    assert sorted(map(sorted, likely(good, *dead))) == sorted(map(sorted, pairs))
