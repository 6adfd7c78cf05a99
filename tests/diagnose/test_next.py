"""`tracer next` followed by a simulated technician. The law: for every single bad joint on a way the true one stays among what explains the readings, and among
what is looked at in the end. The readings are those of the solved network with the fault in it, as a meter with two decimals and its last digit off shows them.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

import tracer
from benchmarks.believable import believable
from tests.case.making import demo, demo_plan, in_memory, opened, reading
from tests.case.test_proof import THOROUGH, Simulated, faults
from tests.typed import load
from tracer.case import calls
from tracer.case.case import Case
from tracer.case.opening import kept_plan
from tracer.case.proof import verdict_of
from tracer.case.readings import Conditions, Reading
from tracer.cli import app
from tracer.diagnose.choice import entropy_nat
from tracer.diagnose.next import READING_WRONG, Next, looked_at, next_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.fitting import fitted
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.alone import AlonePin, PinsAlone
from tracer.plan.names import point_name
from tracer.plan.words import line_name
from tracer.report.next import as_data, as_text
from tracer.trace.tracing import Tracing


class Bad:
    """A vehicle with one bad joint, read with a lamp at any point of one row."""

    def __init__(self, simulated: Simulated, name: str, fault: str, ohm: float) -> None:
        self.simulated, self.name = simulated, name
        circuit, row = simulated.tracing.circuit, simulated.rows[name]
        self.test = simulated.plan["rows"][name]["tests"][0]
        pulled = tuple(f"{simulated.module}.{pin}" for pin, _ in self.test["leads"])
        changes = changes_of(circuit, unplugged=(simulated.module,), added=[f"{fault}={ohm}ohm"], pulled=pulled)
        model = fitted(model_of(simulated.tracing, self.test["key"], changes, limits=simulated.limits, first=simulated.module))  # fmt: skip
        self.nodes = {point_name(probe.at): circuit.node_names.index(probe.at) for probe in row.probes}
        self.nodes[name] = circuit.pins_of[row.part][row.pin]
        self.alone = PinsAlone(model, [AlonePin(node, True, False) for node in self.nodes.values()], simulated.limits)

    def read(self, at: str) -> Reading:
        pin, watts = AlonePin(self.nodes[at], True, False), self.test["lamp_w"]
        lost = (self.alone.bare(pin).lost_v[0], self.alone.lit(pin, watts).lost_v[0])
        on = Conditions(key=self.test["key"], plugged=False, lamp_w=watts, other="+", symptom=True, battery_v=12.4)
        return replace(
            reading(at, [float(one) + self.simulated.rng.uniform(-0.01, 0.01) for one in lost], on), lit=True
        )


def true_pieces(plan_row: dict[str, object], fault: str) -> set[str]:
    """The pieces that a resistance at a part or point lies in, or at the end of."""
    ends = plan_row["ends"]
    assert isinstance(ends, dict)
    return {
        piece
        for piece, points in ends.items()
        if piece.partition(" (")[0] == fault or any(at == fault or at.startswith((f"{fault}.", f"{fault}:")) for at in points)
    }  # fmt: skip


def followed(bad: Bad) -> tuple[Next, int, float] | None:
    """What is left in the end, after how many readings at points, and the bound; None where the row does not fail by its first test."""
    readings = [bad.read(bad.name), bad.read(bad.name)]
    case = now(bad, readings)
    if next(one for one in verdict_of(case).rows if one.name == bad.name).state != "failed":
        return None
    found = next_of(case)
    bound = entropy_nat([one.share for one in found.explains]) / math.log(2)
    while found.measurement is not None:
        names = {case.short(name): name for name in bad.nodes}
        readings.append(bad.read(names[found.measurement.short]))
        case = now(bad, readings)
        found = next_of(case)
        assert len(readings) < 30
    return found, len(readings) - 2, bound


def now(bad: Bad, readings: list[Reading]) -> Case:
    return replace(in_memory(bad.simulated.plan, readings), conditions=readings[-1].conditions)


def found_at(found: Next) -> set[str]:
    """Where the verdict says that the fault is, if it says so."""
    return set(found.verdict.pieces) if found.verdict.kind == "found" else set()


def check_law(simulated: Simulated, rows: list[str]) -> Iterator[tuple[int, float]]:
    """Readings and bound of every fault on these rows that fails its row."""
    for name in rows:
        kept = simulated.plan["rows"][name]
        if kept["level"] != "supply" or not kept["tests"] or kept["tests"][0]["most_v"] is None:
            continue
        if set(kept["parts"]) != set(kept["tests"][0]["proves"]):
            continue
        for fault in dict.fromkeys(faults(simulated.tracing, simulated.rows[name])):
            true = true_pieces(kept, fault)
            if not true:
                continue
            for ohm in (0.5, 50.0):
                got = followed(Bad(simulated, name, fault, ohm))
                if got is None:
                    continue
                found, count, bound = got
                shares = {one.what: one.share for one in found.explains}
                assert all(shares[piece] > 0.0 for piece in true)
                assert set(looked_at(found.explains)) & true, (name, fault, ohm, shares)
                pieces = found_at(found)
                assert not pieces or pieces & true, (
                    name,
                    fault,
                    ohm,
                    pieces,
                )  # nor does the verdict name another place
                yield count, bound


def test_the_law_on_the_demo() -> None:
    rows = list(demo_plan()["rows"]) if THOROUGH else ["ALM.3:+", "ALM.5:+"]
    got = list(check_law(Simulated(demo(), "ALM"), rows))
    assert len(got) > 20
    mean, bound = (sum(one[at] for one in got) / len(got) for at in (0, 1))
    if os.environ.get("TRACER_FIGURES"):
        print(f"{len(got)} faults: {mean:.2f} readings, bound {bound:.2f} bit, ratio {mean / bound:.2f}")
    assert mean <= 1.3 * bound


def test_the_law_on_a_generated_vehicle(tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=1)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    got: list[tuple[int, float]] = []
    for name in names:
        simulated = Simulated(tracing, name, 1)
        got += check_law(simulated, list(simulated.plan["rows"])[: 8 if THOROUGH else 3])
    assert got


# --- one by one --------------------------------------------------------------------------------------------------------

OUT = Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.62)


def at(*readings: Reading, plan: dict[str, object] | None = None) -> Next:
    case = in_memory(plan or demo_plan(), readings)
    return next_of(replace(case, conditions=OUT))


def test_nothing_failed_so_the_cheapest_open_pin_is_proven_and_a_bad_one_read_again() -> None:
    assert (found := at()).aim == "prove" and found.measurement is not None and not found.explains
    assert found.measurement.set_before == ()  # the key is not turned while rows are open in this key state
    dead = replace(reading("ALM.5:+", (0.0, 0.0), OUT), id="2.1")
    assert (found := at(dead)).aim == "prove" and found.measurement is not None and found.measurement.short == "5+"


def test_a_failed_row_is_halved_and_what_was_not_reached_is_never_asked_for() -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    first = at(*dead)
    assert first.aim == "find" and first.measurement is not None and first.of == "5+"
    asked = first.measurement.short
    sealed = Reading(asked, (), "not-reached", OUT, "4.1", why="sealed")
    after = at(*dead, sealed)
    assert after.measurement is not None and after.measurement.short != asked
    good = reading(asked, (12.6, 12.45), OUT, 5)
    shares = {one.what: one.share for one in at(*dead, good).explains}
    before = {one.what: one.share for one in first.explains}
    assert shares["F9"] < 0.1 * before["F9"] and shares["X3.10"] > before["X3.10"] and READING_WRONG in shares


def test_a_row_with_a_hazard_is_never_asked_for() -> None:
    plan = json.loads(json.dumps(demo_plan()))
    for row in plan["rows"].values():
        row["no_method"] = "not to be measured"
    plan["buses"] = {}
    found = at(plan=plan)
    assert found.measurement is None and not found.complete and "no measurement of the plan" in found.why_not


ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("vehicle", ["minibus", "unfinished"])
def test_of_whatever_row_fails_something_is_said(vehicle: str) -> None:
    tracing = Tracing(tracer.load(ROOT / "circuits" / vehicle))
    without_figure = 0
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
                if found.aim == "find" and test["most_v"] is None:
                    assert found.measurement is None and found.why_not
                    without_figure += 1
    assert (without_figure > 0) == (vehicle == "minibus")


def test_behind_a_single_diode_a_failed_pin_is_looked_for_without_figures(tmp_path: Path) -> None:
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
        assert found.aim == "find" and found.measurement is None
        assert found.why_not.startswith("no figure tells a good point of this way from a bad one (diode)")
        assert "F1" in {one.what for one in found.explains}


@pytest.mark.parametrize("width", [40, 80, 120])
def test_it_fits_the_screen_and_says_what_each_outcome_means(width: int) -> None:
    dead = [reading("ALM.5:+", (0.0, 0.0), OUT, n) for n in (2, 3)]
    case = replace(in_memory(demo_plan(), dead), conditions=OUT)
    found = next_of(case)
    text = as_text(case, found, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert text.startswith("FIND what is wrong with 5+: measure") and "- good:" in text and "- bad:" in text
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
