"""What readings prove. The law: with a bad joint of 0.5 ohm anywhere on a way its row is never called proven; without a fault nothing is ever found.

The readings are made by solving the network with the fault in it, at nominal values and at both ends, as a meter with two decimals and its last digits off shows them.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import NOON, demo, demo_plan, in_memory, opened, reading
from tests.electrics.fitting import fitted
from tracer.case.case import Case, case_in, record, set_conditions
from tracer.case.notes import note
from tracer.case.opening import kept_plan
from tracer.case.proof import BAD_OHM, RowProof, leads_of, row_leads, verdict_of
from tracer.case.readings import Conditions, Reading, value_of
from tracer.electrics.limits_in_use import LimitsInUse, limits_of
from tracer.electrics.model.changes import BadChange, changes_of
from tracer.electrics.model.of_circuit import model_of
from tracer.plan.bench import _Unplugged
from tracer.plan.names import full_name
from tracer.trace.lists.results import Row
from tracer.trace.tracing import Tracing

ML2 = {"ML2 (BAT.+ to ML2.feed)", "ML2 (ML2.feed to ML2.load)"}
SETTINGS = (0, 20, 40)  # nominal, and two drawn by chance
THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"


class Simulated:
    """A technician with a lamp and a meter at a vehicle that may have one bad joint."""

    def __init__(self, tracing: Tracing, module: str, seed: int = 0) -> None:
        self.tracing, self.module = tracing, module
        self.report = tracer.supplies(tracing, module)
        self.limits: LimitsInUse = limits_of(tracing.circuit)
        self.plan = kept_plan(tracing, self.report, self.limits)
        self.rows = {full_name(row): row for row in self.report.rows}
        self.rng = random.Random(seed)
        self._benches: dict[Any, _Unplugged] = {}

    def _bench(self, key: str, test: dict[str, Any], fault: str | None) -> _Unplugged:
        out, pulled = tuple(test["out"]), tuple(f"{self.module}.{pin}" for pin, _ in test["leads"])
        if (key, out, pulled, fault) not in self._benches:
            added = [] if fault is None else [fault if "=" in fault else f"{fault}={BAD_OHM}ohm"]
            changes = changes_of(self.tracing.circuit, opened=out, unplugged=(self.module,), added=added, pulled=pulled)
            model = fitted(model_of(self.tracing, key, changes, limits=self.limits, first=self.module))
            self._benches[key, out, pulled, fault] = _Unplugged(self.tracing, model, self.report, self.limits)
        return self._benches[key, out, pulled, fault]

    def _lost(self, row: Row, test: dict[str, Any], lamp_w: float | None, fault: str | None, setting: int) -> float:
        """Volts lost in one of the settings that were solved: nominal, all ends, and drawn by chance."""
        bench = self._bench(test["key"], test, fault)
        pin = bench.pins[row.code, row.point]
        found = bench.alone.bare(pin) if lamp_w is None else bench.alone.lit(pin, lamp_w)
        return float(found.lost_v[SETTINGS[setting]])

    def readings(self, name: str, fault: str | None, setting: int) -> Iterator[Reading]:
        """Everything that the plan asks of a row, read in one setting of all that is uncertain."""
        row, kept = self.rows[name], self.plan["rows"][name]
        other = "+" if row.level == "supply" else "-"
        for test in kept["tests"]:
            if test["most_v"] is None:
                continue
            out = tuple(sorted(test["out"]))
            bare = self._lost(row, test, None, fault, setting)
            lit = self._lost(row, test, test["lamp_w"], fault, setting)
            on = Conditions(
                key=test["key"],
                plugged=False,
                lamp_w=test["lamp_w"],
                other=other,
                symptom=True,
                out=out,
                battery_v=12.4,
                leads=leads_of(test),
            )
            off = [self.rng.uniform(-0.01, 0.01) for _ in range(2)]
            yield replace(reading(name, (bare + off[0], lit + off[1]), on), lit=True)
        for key, live in row.live.items() if row.level == "supply" else ():
            on = Conditions(key=key, plugged=False, symptom=True, battery_v=12.4, leads=row_leads(kept))
            yield reading(name, (12.4 if live == "live" else 0.0,), on)

    def judged(self, name: str, fault: str | None, setting: int) -> RowProof:
        case = in_memory(self.plan, [*self.readings(name, fault, setting), *self.readings(name, fault, setting)])
        return next(one for one in verdict_of(case).rows if one.name == name)


def faults(tracing: Tracing, row: Row) -> Iterator[str]:
    """Every place on the way of a row where a resistance can be put: parts, cavities, ends of wires."""
    parts = tracing.circuit.parts
    for probe in row.probes:
        point = probe.at.partition(",")[0]
        for place in (probe.part, point):
            if place in parts and parts[place].kind in ("splice", "battery", "panel", "module"):
                continue
            try:
                changes_of(tracing.circuit, added=[f"{place}={BAD_OHM}ohm"])
            except (BadChange, tracer.UnknownPart):
                continue
            yield place


def check_law(simulated: Simulated) -> tuple[int, int]:
    """How many rows can be proven without a fault, and how many faults were tried."""
    proven = tried = 0
    for name, kept in simulated.plan["rows"].items():
        row = simulated.rows[name]
        sound = [
            simulated.judged(name, None, setting)
            for setting in range(3 if any(test["most_v"] for test in kept["tests"]) else 0)
        ]
        assert all(one.state != "failed" for one in sound), (name, sound)
        if not any(one.state == "proven" for one in sound):
            continue
        proven += 1
        for fault in dict.fromkeys(faults(simulated.tracing, row)):
            for setting in range(3) if THOROUGH else (tried % 3,):
                found = simulated.judged(name, fault, setting)
                assert found.state != "proven", (name, fault, setting, found)
            tried += 1
    return proven, tried


def test_the_law_on_the_demo() -> None:
    proven, tried = check_law(Simulated(demo(), "ALM"))
    assert proven == 10 and tried > 60


@pytest.mark.parametrize("seed", [1, 2])
def test_the_law_on_generated_vehicles(seed: int, tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=seed)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    counts = [check_law(Simulated(tracing, name, seed)) for name in names]
    assert sum(proven for proven, _ in counts) >= 2 and sum(tried for _, tried in counts) > 10


def check_care(simulated: Simulated) -> tuple[int, int]:
    """How many rows were varied without a fault, how many faults with one. Whatever is read beside, the verdict only becomes more careful."""
    sound_rows = faulty = 0
    for name, kept in simulated.plan["rows"].items():
        good = list(simulated.readings(name, None, 0))

        def state(readings: Sequence[Reading], name: str = name) -> str:
            verdict = verdict_of(in_memory(simulated.plan, readings))
            found = next(one.state for one in verdict.rows if one.name == name)
            assert verdict.kind != "found" or found == "failed"
            return found

        if state(good) != "proven":
            continue
        sound_rows += 1
        loaded = [one for one in good if one.loaded]
        for _ in range(3):  # in any order, and read again
            assert state(simulated.rng.sample([*good, simulated.rng.choice(good)], len(good) + 1)) == "proven"
        unlit = [replace(one, values=(one.values[0], one.values[0]), lit=False) if one.loaded else one for one in good]
        assert state(unlit) == state([*good, *unlit]) == "doubtful"
        way = [piece for piece in kept["parts"] if " " not in piece]
        for part in simulated.rng.sample(way, min(2, len(way))):  # dead, and no wonder
            out = tuple(sorted({*loaded[0].conditions.out, part}))
            if any(set(out) == set(test["out"]) for test in kept["tests"]):
                continue
            explained = [replace(one, conditions=replace(one.conditions, out=out)) for one in loaded]
            dead = [replace(one, values=(value_of("dead"),)) for one in explained]
            assert state(explained) not in ("proven", "failed") and state(dead) not in ("proven", "failed")
            assert state([*good, *dead, *dead]) == "proven"
        places = list(dict.fromkeys(faults(simulated.tracing, simulated.rows[name])))
        for fault in places if THOROUGH else simulated.rng.sample(places, min(2, len(places))):
            bad = list(simulated.readings(name, fault, 0))
            for _ in range(3):
                assert state(simulated.rng.sample([*bad, *bad], 2 * len(bad))) != "proven"
                mixed = simulated.rng.sample([*good, *bad], len(good) + len(bad))
                assert state([*mixed, *bad]) != "proven"
            assert state([*good, *bad]) == "doubtful" and state([*good, *good, *good, *bad]) == "doubtful"
            assert state([*bad, *good]) == "doubtful" and state([*bad, *good, *good]) == "proven"
            faulty += 1
    return sound_rows, faulty


def test_whatever_is_read_beside_the_verdict_only_becomes_more_careful_on_the_demo() -> None:
    assert check_care(Simulated(demo(), "ALM")) >= (10, 20)


@pytest.mark.parametrize("seed", [1, 2])
def test_whatever_is_read_beside_on_generated_vehicles(seed: int, tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=seed)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    counts = [check_care(Simulated(tracing, name, seed)) for name in names]
    assert sum(rows for rows, _ in counts) >= 2


# --- what does not prove -----------------------------------------------------------------------------------------------

RING = Simulated(demo(), "ALM")


def rows_of(readings: list[Reading]) -> dict[str, RowProof]:
    return {one.short: one for one in verdict_of(in_memory(demo_plan(), readings)).rows}


def good(name: str) -> list[Reading]:
    return list(RING.readings(name, None, 0))


def test_each_leg_of_a_ring_of_grounds_wants_its_own_test() -> None:
    readings = good("ALM.1:-")
    assert rows_of(readings)["1-"].state == "proven"
    together = [one for one in readings if not one.conditions.out]
    assert rows_of(together)["1-"].state == "doubtful"
    assert "G6 out" in rows_of(together)["1-"].reason
    for leg in ({"G5"}, {"G6"}):
        missing = [one for one in readings if set(one.conditions.out) != leg]
        assert rows_of(missing)["1-"].state == "doubtful"


@pytest.mark.parametrize(
    ("change", "state"),
    [
        (lambda one: replace(one, values=one.values[:1], conditions=replace(one.conditions, lamp_w=None)), "open-circuit only"),
        (lambda one: replace(one, values=one.values[:1], conditions=replace(one.conditions, plugged=True)), "open-circuit only"),
        (lambda one: replace(one, conditions=replace(one.conditions, lamp_w=5.0)), "doubtful"),
        (lambda one: replace(one, conditions=replace(one.conditions, key="run")), "doubtful"),
        (lambda one: replace(one, conditions=replace(one.conditions, engine=True)), "doubtful"),  # the generator feeds as well
        (lambda one: replace(one, values=(one.values[0], one.values[0])), "doubtful"),  # the lamp was not lit
        (lambda one: replace(one, values=(), status="ok"), "open-circuit only"),
        (lambda one: replace(one, values=(), status="not-reached", why="sealed"), "not reached"),
    ],
)  # fmt: skip
def test_what_is_read_otherwise_proves_nothing(change: Any, state: str) -> None:
    loaded, *others = good("ALM.3:+")
    assert rows_of([loaded, *others])["3+"].state == "proven"
    assert rows_of([*others, change(loaded)])["3+"].state == state


def test_one_key_state_that_was_not_read_is_named() -> None:
    readings = [one for one in good("ALM.4:+") if one.conditions.key != "off"]
    assert (found := rows_of(readings)["4+"]).state == "doubtful"
    assert "still to be read by meter in key off" in found.reason


def test_a_bad_reading_is_asked_for_once_more_before_anything_is_found() -> None:
    bad = list(RING.readings("ALM.3:+", "X3.8", 0))[:1]
    assert rows_of(bad)["3+"].state == "doubtful"
    found = verdict_of(in_memory(demo_plan(), bad * 2))
    assert (found.kind, found.found_at) == ("not proven", "3+") and found.narrowed_down  # one of 14 is no find
    assert found.open[0].startswith("3+: failed")
    assert "X3.8" in found.pieces
    cleared = verdict_of(in_memory(demo_plan(), [*bad * 2, *good("ALM.5:+")]))
    assert "X3.8" in cleared.pieces and {*found.pieces} >= ML2 and not ML2 & {*cleared.pieces}  # ML2 is cleared by 5+
    assert rows_of([*bad, *good("ALM.3:+")])["3+"].state == "doubtful"


def _not_complete(**open_on_way: list[str]) -> dict[str, Any]:
    """The plan of the demo on a list with a loose end; by row what of it lies on its way."""
    plan = demo_plan()
    rows = {name: {**row, "open": open_on_way.get(plan["short"][name], [])} for name, row in plan["rows"].items()}
    return {**plan, "rows": rows, "list": {**plan["list"], "state": "not complete", "loose": 1}}


def test_on_a_list_that_is_not_complete_a_fault_is_found_on_a_way_that_is_whole_and_the_module_is_never_suspect() -> None:  # fmt: skip
    from tracer.report.case import verdict_line

    bad = list(RING.readings("ALM.3:+", "X3.8", 0))[:1]
    case = in_memory(_not_complete(), bad * 2)
    verdict = verdict_of(case)
    assert verdict.found_at == "3+" and any("not complete" in one for one in verdict.open)
    assert "; the list is not complete: 1 loose end, nothing of it on this way. Nothing can be said of ALM" in verdict_line(case, verdict)  # fmt: skip
    sound = in_memory(_not_complete(), [one for name in demo_plan()["rows"] for one in good(name)])
    assert verdict_of(sound).kind == "not proven"


def test_on_a_way_that_something_is_open_on_nothing_is_found_and_nothing_cleared_by_it() -> None:
    bad = list(RING.readings("ALM.3:+", "X3.8", 0))[:1]
    verdict = verdict_of(in_memory(_not_complete(**{"3+": ["F7: what feeds it is not known"]}), bad * 2))
    assert verdict.kind == "not proven"
    assert verdict.blocked == ("the way to 3+ is not whole: F7: what feeds it is not known",)
    cleared = verdict_of(in_memory(_not_complete(**{"5+": ["F9: what feeds it is not known"]}), [*bad * 2, *good("ALM.5:+")]))  # fmt: skip
    assert (
        cleared.found_at == "3+" and {*cleared.pieces} >= ML2
    )  # 5+ may have got its current over a way that nobody typed in
    before = {name: {key: what for key, what in row.items() if key != "open"} for name, row in demo_plan()["rows"].items()}  # fmt: skip
    assert (
        verdict_of(in_memory({**_not_complete(), "rows": before}, bad * 2)).kind == "not proven"
    )  # kept by an earlier version


# --- the verdict -------------------------------------------------------------------------------------------------------


def everything(folder: Path) -> Case:
    """A case in which everything is done, with the rows waived that no figure decides."""
    case = opened(folder)
    for name, kept in case.plan["rows"].items():
        if all(test["most_v"] is None for test in kept["tests"]):
            case = note(case, "waive", [name], NOON, why="no figure decides")
            continue
        for one in good(name):
            on = one.conditions
            lamp = f"lamp={on.lamp_w:g}W" if on.lamp_w else "lamp=none"
            case = set_conditions(
                case,
                [
                    f"key={on.key}",
                    "plug=out",
                    lamp,
                    f"other={on.other}",
                    "symptom=yes",
                    f"out={','.join(on.out) or 'none'}",
                    f"lead={','.join(on.leads) or 'none'}",
                    "battery=12.4",
                ],
                NOON,
            )
            lit = ["lit"] if one.lit else []
            case = record(case, [f"{name}={'/'.join([*(value.text for value in one.values), *lit])}"], NOON).case
    case = set_conditions(case, ["key=off", "lead=none", "asleep=yes", "lamp=none", "battery=12.4"], NOON)
    case = record(case, ["drive:H-L=60.1"], NOON).case
    case = set_conditions(case, ["key=run", "plug=in", "asleep=no", "battery=12.4"], NOON)
    case = record(case, ["drive:H=2.6", "drive:L=2.4"], NOON).case
    case = note(
        case, "tick", [f"{name}=seen" for name in ("lamp", "wake", "coding", "variant", "immobiliser", "sensors")], NOON
    )
    case = note(case, "roll-call", ["GTW=yes"], NOON)
    return note(case, "fit", [*(f"{name}=ok" for name in case.plan["rows"]), "25=ok", "26=ok"], NOON)


def test_only_when_nothing_is_open_the_module_is_suspect_and_a_waived_row_stays_in_the_sentence(tmp_path: Path) -> None:
    from tracer.report.case import proof_data, proof_text, report_html, report_pdf, verdict_line

    case = everything(tmp_path)
    verdict = verdict_of(case)
    assert verdict.kind == "proven" and verdict.complete
    assert "MODULE SUSPECT" in verdict_line(case, verdict) and "8+ was waived" in verdict_line(case, verdict)
    data = proof_data(case, verdict)
    assert {row["row"]: row["state"] for row in data["rows"]}["3+"] == "proven"
    for width in (40, 80, 120):
        assert (
            max(len(line) for line in proof_text(case, verdict, width=width).splitlines() if " " in line.strip())
            <= width
        )
    assert "<h1>" in report_html(case, verdict) and report_pdf(case, verdict).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("kind", "words"),
    [("repair", ["X3"]), ("unplugged", ["X4"]), ("fit", ["3+=loose"]), ("roll-call", ["ENM=no"])],
)
def test_one_thing_that_is_opened_again_takes_the_verdict_away(kind: str, words: list[str], tmp_path: Path) -> None:
    from tracer.report.case import verdict_line

    case = note(everything(tmp_path), kind, words, NOON)
    verdict = verdict_of(case)
    assert verdict.kind == "not proven"
    assert "MODULE SUSPECT" not in verdict_line(case, verdict)
    stale = {one.short for one in verdict.rows if one.state == "stale"}
    assert ("3+" in stale) == (kind in ("repair", "unplugged")) and "1-" not in stale


@pytest.mark.parametrize("left", range(12))
def test_each_single_thing_left_out_keeps_the_module_from_being_called_bad(left: int, tmp_path: Path) -> None:
    case = everything(tmp_path)
    rows = [one.name for one in verdict_of(case).rows if one.state == "proven"]
    if left < len(rows):
        case = replace(case, readings=tuple(one for one in case.readings if one.name != rows[left]))
    else:
        notes = [n for n, one in enumerate(case.notes) if one.kind != "waive"]
        case = replace(case, notes=tuple(one for n, one in enumerate(case.notes) if n != notes[left - len(rows)]))
    assert verdict_of(case).kind == "not proven"


@pytest.mark.parametrize(
    ("words", "proven"),
    [
        ([], False),
        (["drive:H=2.6"], False),
        (["drive:H=2.4", "drive:L=2.6"], False),  # changed over
        (["drive:H=2.49", "drive:L=2.51"], False),  # a meter that is off shows that of lines changed over too
        (["drive:H=2.6", "drive:L=2.4"], True),
        (["drive:H-H@GTW=0.4"], True),
        (["drive:H-H@GTW=60"], False),
        (["drive:L-L@GTW=OL"], False),
    ],
)
def test_lines_that_may_be_changed_over_at_the_plug_keep_the_module_from_being_called_bad(
    words: list[str], proven: bool, tmp_path: Path
) -> None:
    """Across them they read what they must, whichever is which."""
    case = everything(tmp_path)
    for number in [one.id for one in case.readings if one.name in ("drive:H", "drive:L")]:
        case = note(case, "withdraw", [number], NOON, why="w")
    along = any("@" in word for word in words)
    case = set_conditions(case, ["plug=out", "asleep=yes"] if along else ["plug=in", "asleep=no"], NOON)
    case = set_conditions(case, ["key=off" if along else "key=run", "battery=12.4"], NOON)
    if words:
        case = record(case, words, NOON).case
    verdict = verdict_of(case)
    assert (verdict.kind == "proven") == proven, verdict.open
    if not proven and not along and len(words) < 2:
        assert any("which line of drive is which" in one for one in verdict.open)


def test_without_the_symptom_nothing_is_proven_of_the_module(tmp_path: Path) -> None:
    case = everything(tmp_path)
    read = tuple(replace(one, conditions=replace(one.conditions, symptom=None)) for one in case.readings)
    assert verdict_of(replace(case, readings=read)).kind == "not proven"
    assert verdict_of(case_in(case.file)).kind == "proven"


def test_of_a_list_that_is_not_complete_every_answer_of_its_case_says_so() -> None:
    """Seven rows of seven would read as if there were no more; what is missing in the list stands beside them."""
    from tracer.report.case import report_text, show_text, verdict_line

    unfinished = Tracing(tracer.load(Path(__file__).parents[2] / "circuits" / "unfinished"))
    plan = kept_plan(unfinished, tracer.supplies(unfinished, "LIFT"), tracer.limits(unfinished))
    case = in_memory(plan, ())
    said = verdict_line(case, verdict_of(case))
    assert "in all are open; the list is not complete: 11 loose ends. Nothing can be said of LIFT" in said
    assert "\n! the list is not complete: 11 loose ends\n" in show_text(case)
    assert said in " ".join(report_text(case, verdict_of(case)).split())
    whole = in_memory(demo_plan(), ())
    assert "the list is" not in verdict_line(whole, verdict_of(whole)) + show_text(whole)
