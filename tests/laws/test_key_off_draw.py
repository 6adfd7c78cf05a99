"""Readings of a key-off draw over vehicles drawn by chance: what the solver lets flow is the truth, a linear program the oracle of what the readings can still mean."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import linprog

from tests.electrics.vehicles import tracing_of
from tracer.circuit.kinds import LinkKind
from tracer.electrics.draw_bounds import TOTAL, Feeding, Holds, narrowed, without_fuse
from tracer.electrics.key_off_draw import DrawReport, draw_of
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import Changes, changes_of
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.values import Range
from tracer.trace.affects.downwards import parts_below
from tracer.trace.tracing import Tracing

SEEDS = range(40)
TINY_MA = 1e-3  # what the solver leaves


def drawn(folder: Path, seed: int) -> tuple[Tracing, list[str]]:
    """Fuses one behind another, some fed twice, some over a diode, loads on each and on the battery itself, in some vehicles a second battery."""
    chance = random.Random(seed)
    parts, runs, fuses = ["BAT: battery", "S: splice"], ["BAT.+ -- RD 10 1m -- S"], list[str]()
    points = ["S"]
    if chance.random() < 0.3:
        parts += ["AUX: battery", "SA: splice"]
        runs += ["AUX.+ -- RD 10 1m -- SA", "AUX.- -- BN 10 1m -- BAT.-"]
        points.append("SA")
    for n in range(chance.randint(3, 8)):
        fuse, behind = f"F{n}", f"P{n}"
        fuses.append(fuse)
        parts += [f"{fuse}: {{is: fuse, amps: {chance.choice([5, 10, 20])}, type: C}}", f"{behind}: splice"]
        runs += [f"{chance.choice(points)} -- RD 2.5 1m -- {fuse} -- RD 2.5 1m -- {behind}"]
        if chance.random() < 0.15:
            runs.append(f"{chance.choice(points)} -- RD 2.5 1m -- {behind}")
        points.append(behind)
        if chance.random() < 0.2:
            parts += [f"D{n}: diode"]
            runs += [f"{chance.choice(points)} -- RD 1 1m -- D{n} -- RD 1 1m -- {chance.choice(points)}"]
        if chance.random() < 0.8:
            parts.append(f"E{n}: {{is: load, watts: {chance.choice([1, 2, 5])}}}")
            runs.append(f"{behind} -- RD 1 1m -- E{n}.1")
            runs.append(f"E{n}.2 -- BN 1 1m -- BAT.-")
    if chance.random() < 0.5:
        parts.append("EX: {is: load, watts: 1}")
        runs += ["S -- RD 1 1m -- EX.1", "EX.2 -- BN 1 1m -- BAT.-"]
    sheet = "parts:\n" + "".join(f"  {one}\n" for one in parts) + "runs:\n" + "".join(f"- {one}\n" for one in runs)
    return tracing_of(folder, sheet), fuses


def currents(tracing: Tracing, changes: Changes | None = None) -> dict[str, float]:
    """What flows through each fuse and load, mA, either way."""
    limits = limits_of(tracing.circuit)
    model = model_of(tracing, "off", changes or Changes(held={}), limits=limits)
    solved = model.solve()
    found: dict[str, float] = {}
    for number, branch in enumerate(model.branches):
        if branch.link >= 0 and tracing.circuit.links[branch.link].kind in (LinkKind.FUSE, LinkKind.LOAD):
            amps = float(solved.branch_a[number])
            found[branch.part] = 0.0 if np.isnan(amps) else abs(amps) * 1000
    return found


def holds_of(tracing: Tracing, read: list[str], *, total: bool) -> list[Holds]:
    below = {fuse: [other for other in read if other in parts_below(tracing, fuse)] for fuse in read}
    return list(Feeding(tracing, below).holds(read, total=total))


def read(tracing: Tracing, fuses: list[str], seed: int, total_ma: float | None) -> tuple[DrawReport, dict[str, float]]:
    """A report of readings of some fuses, whose elements are what makes differ by, and the true currents."""
    chance = random.Random(seed)
    truth = currents(tracing)
    limits = limits_of(tracing.circuit)
    ohm = {one.fuse: one.ohm for one in draw_of(tracing, {}, limits=limits).unread}
    chosen = [fuse for fuse in fuses if fuse in ohm and chance.random() < 0.7]
    mv = {fuse: round(truth[fuse] * ohm[fuse].nominal * chance.uniform(0.88, 1.12), 1) for fuse in chosen}
    return draw_of(tracing, mv, limits=limits, total_ma=total_ma), truth


@pytest.mark.parametrize("seed", SEEDS)
def test_a_feeder_carries_what_it_alone_feeds_and_the_battery_all(seed: int, tmp_path: Path) -> None:
    tracing, fuses = drawn(tmp_path, seed)
    truth = currents(tracing)
    whole = sum(ma for name, ma in truth.items() if name.startswith("E"))
    for rule in holds_of(tracing, fuses, total=True):
        above = whole if rule.feeder == TOTAL else truth[rule.feeder]
        assert above >= sum(truth[one] for one in rule.branches) - TINY_MA, rule


def test_there_are_feeders_and_totals_to_hold_readings_against(tmp_path: Path) -> None:
    found = [rule for seed in SEEDS for rule in holds_of(*drawn(tmp_path / str(seed), seed), total=True)]
    assert sum(rule.feeder == TOTAL for rule in found) > 20
    assert sum(rule.feeder != TOTAL and len(rule.branches) > 1 for rule in found) > 5


@pytest.mark.parametrize("seed", SEEDS)
def test_true_readings_never_contradict_and_the_truth_stays_inside(seed: int, tmp_path: Path) -> None:
    tracing, fuses = drawn(tmp_path, seed)
    whole = sum(ma for name, ma in currents(tracing).items() if name.startswith("E"))
    for total_ma in (None, whole * random.Random(seed).uniform(0.985, 1.015)):
        report, truth = read(tracing, fuses, seed, total_ma)
        assert report.conflicts == ()
        for one in report.readings:
            assert one.current_ma is not None
            assert one.current_ma.low - TINY_MA <= truth[one.fuse] <= one.current_ma.high + TINY_MA
            assert one.current_ma.low <= one.current_ma.nominal <= one.current_ma.high
        if report.total_ma is not None:
            assert report.total_ma.low <= whole + TINY_MA
        if total_ma is not None and report.left_ma is not None:
            assert report.total_ma is not None and whole <= report.total_ma.high
            (rule,) = (
                one for one in holds_of(tracing, [r.fuse for r in report.readings], total=True) if one.feeder == TOTAL
            )
            left = whole - sum(truth[fuse] for fuse in rule.branches)
            assert report.left_ma.low - TINY_MA <= left <= report.left_ma.high + TINY_MA


@pytest.mark.parametrize("seed", SEEDS)
def test_likely_currents_add_up(seed: int, tmp_path: Path) -> None:
    """What is shown as the current of each fuse is one that all of them can have at once, whatever was read; so no shares come to more than the whole."""
    tracing, fuses = drawn(tmp_path, seed)
    chance = random.Random(seed)
    rules = holds_of(tracing, fuses, total=True)
    for _ in range(20):
        lows = {name: chance.uniform(0, 20) for name in (*fuses, TOTAL)}
        measured = {
            name: Range(low, low + reach * chance.random(), low + reach)
            for name, low in lows.items()
            for reach in (chance.choice([5, 50, 200]),)
        }
        found, contradictions = narrowed(measured, rules)
        for name, one in found.items():
            assert one.low <= one.nominal <= one.high, name
        for rule in () if contradictions else rules:
            assert sum(found[one].nominal for one in rule.branches) <= found[rule.feeder].nominal + TINY_MA, rule


@pytest.mark.parametrize("seed", SEEDS)
def test_ranges_are_what_a_linear_program_leaves_of_them(seed: int, tmp_path: Path) -> None:
    """Also with readings that are not true: then a contradiction is said exactly where the program finds no currents at all."""
    tracing, fuses = drawn(tmp_path, seed)
    chance = random.Random(seed)
    rules = holds_of(tracing, fuses, total=True)
    for _ in range(5):
        names = [*fuses, TOTAL]
        lows = {name: chance.uniform(0, 100) for name in names}
        measured = {name: Range(low, low + 5, low + chance.choice([10, 100, 400])) for name, low in lows.items()}
        found, contradictions = narrowed(measured, rules)
        rows = [[(name in rule.branches) - float(name == rule.feeder) for name in names] for rule in rules]
        bounds = [(measured[name].low, measured[name].high) for name in names]
        for n, name in enumerate(names):
            ends = []
            for sign in (1, -1):
                cost = [sign * float(k == n) for k in range(len(names))]
                ends.append(linprog(cost, A_ub=rows or None, b_ub=[0.0] * len(rows) or None, bounds=bounds))
            assert bool(contradictions) == (ends[0].status == 2)
            if contradictions:
                assert found == measured
                break
            # Of feeders whose branches overlap, bounds may stay a little wide; they are never too narrow.
            least, most = ends[0].fun, ends[1].fun
            assert least is not None and most is not None
            assert found[name].low <= least + 1e-6
            assert found[name].high >= -most - 1e-6


@pytest.mark.parametrize("seed", SEEDS)
def test_what_draws_with_every_fuse_out_is_named(seed: int, tmp_path: Path) -> None:
    tracing, fuses = drawn(tmp_path, seed)
    drawing = currents(tracing, changes_of(tracing.circuit, opened=fuses))
    expected = {name for name, ma in drawing.items() if name.startswith("E") and ma > TINY_MA}
    assert set(without_fuse(tracing, "off")) == expected
