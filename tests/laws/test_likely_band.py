"""The likely band and the figure that decides, against draws by chance of everything uncertain within its documented ends.

The draws are numpy's, each quantity by itself and even between its ends, and every lamp is solved as a load of the network: neither the spaced draws nor the
shortcuts of the answer. What follows from the currents of each draw is held against ngspice in `tests/electrics/test_settings_against_ngspice.py`. A joint is ohms more in one branch.
"""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings

import tracer
from tests.electrics.fitting import fitted
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, Sampled, Setting
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model, NotSettled
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.described import FloatArray
from tracer.electrics.network.in_many_settings import States, Together
from tracer.electrics.volts.alone import with_test_lamp
from tracer.electrics.volts.own_currents import at_rest
from tracer.electrics.volts.rows import SolvedRows, solved_rows
from tracer.plan.values import PinAtAGlance
from tracer.standards.allowances import spread
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parents[2] / "circuits"
DEMO = [
    *(
        ("minibus", name)
        for name in ["ALM", "BDM", "BRK", "CLM", "DDM", "DGC", "ENM", "GTW", "INS", "RMP", "SDM", "TCG"]
    ),
    ("unfinished", "DSP"),
    ("unfinished", "LIFT"),
]
THOROUGH = os.environ.get("TRACER_TESTS") == "thorough"
METER_OHM = 10e6
SHOWN_OHM, SAID_OHM = 0.5, 0.2  # every joint of the first is shown; one of the second too, or the row says so


@cache
def demo(folder: str) -> Tracing:
    return Tracing(tracer.load(ROOT / folder))


def by_chance(model: Model, count: int, seed: int) -> list[Sampled]:
    chance = np.random.default_rng(seed)
    branches, draws = len(model.branches), len(model.draws)
    return [
        Sampled(chance.random(branches), chance.random(branches), chance.random(draws), chance.random())
        for _ in range(count)
    ]


def solved(model: Model, sampled: list[Sampled]) -> States:
    together = Together([model])
    return at_rest(together, [(0, one) for one in sampled], together.solve([(0, model.setting())]))


# --- plugged in: volts of every row --------------------------------------------------------------------------------


def rows_of(tracing: Tracing, module: str, key: str) -> tuple[Model, SolvedRows]:
    model = model_of(tracing, key, limits=limits_of(tracing.circuit), first=module)
    (runs,) = solved_rows(tracing, [model], supplies_of(tracing, module))
    return runs.model, runs


def outside(tracing: Tracing, module: str, key: str, count: int) -> Iterator[tuple[str, float]]:
    """Of each figure of each row the share of draws outside the likely band; none is outside the worst case."""
    model, runs = rows_of(tracing, module, key)
    node_v = solved(model, by_chance(model, count, 20)).node_v(np.arange(count))
    names = list(tracing.circuit.node_names)
    for one in runs.report.rows:
        row = runs.row(one, None, None)
        if row.not_computed or row.floating or row.code[0] == "C":
            continue
        node = tracing.circuit.pins_of[one.part][one.pin]
        # behind a diode on which nothing hangs the meter itself is what flows
        shown_v = node_v[node] / (1.0 + runs.source_ohm[node] / METER_OHM)
        values = [("volts", row.volts, shown_v)]
        if row.level == "supply" and row.elements:
            values.append(("lost", row.lost, node_v[names.index(row.elements[0].from_point)] - node_v[node]))
        if row.across is not None:
            values.append(("across", row.across, node_v[node] - node_v[names.index(row.across_to)]))
        for what, band, drawn_v in values:
            drawn_v = np.nan_to_num(drawn_v)
            assert np.all((drawn_v >= band.least - 1e-5) & (drawn_v <= band.most + 1e-5)), (row.point, what)
            assert band.least <= band.low <= band.nominal <= band.high <= band.most
            yield f"{row.point} {what}", float(np.mean((drawn_v < band.low - 1e-6) | (drawn_v > band.high + 1e-6)))


@pytest.mark.parametrize(("folder", "module"), DEMO)
def test_99_of_100_vehicles_in_order_read_within_the_likely_band(folder: str, module: str) -> None:
    shares = dict(outside(demo(folder), module, "run", 1000))
    assert shares and max(shares.values()) <= 0.02, shares
    assert np.mean(list(shares.values())) <= 0.01


# nothing hangs on the diode but the meter
BARE_DIODE = TypedVehicle(
    rails={"15": "[run]"},
    parts=[["BAT: battery", "G1: ground", "D2: diode", "M: {is: module, cavities: [3]}"]],
    runs=[["BAT.+ -- RD 1 -- D2.A", "D2.K -- RD 1 -- M.3", "G1 -- RD 1 -- BAT.-"]],
)


@given(typed_vehicles())
@example(BARE_DIODE)
@settings(max_examples=200 if THOROUGH else 15)
def test_so_they_do_in_random_vehicles(vehicle: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as folder:
        tracing = Tracing(tracer.load(vehicle.write(Path(folder) / "v")))
        for key in vehicle.key:
            try:
                shares = dict(outside(tracing, "M", key, 400))
            except NotSettled:
                continue
            assert all(share <= 0.03 for share in shares.values()), shares


@pytest.mark.parametrize(("folder", "module"), [("minibus", "ALM"), ("minibus", "ENM"), ("unfinished", "LIFT")])
def test_no_single_value_moves_a_pin_beyond_the_worst_case(folder: str, module: str) -> None:
    """From the setting in which a pin reads lowest, and highest, each uncertain value is taken to its other end by itself."""
    tracing = demo(folder)
    model, runs = rows_of(tracing, module, "run")
    together = Together([model])
    start = together.solve([(0, model.setting())])
    for one in runs.report.supplies[:2] + runs.report.grounds[:1]:
        row = runs.row(one, None, None)
        node = tracing.circuit.pins_of[one.part][one.pin]
        for wanted in (row.volts.least, row.volts.most):
            at = int(np.nanargmin(np.abs(runs.node_v[:, node] - wanted)))
            _, setting = runs.cases[at]
            assert isinstance(setting, Setting)
            cases = []
            for number in np.flatnonzero(model.spread_ohm).tolist():
                branches = setting.branches.copy()
                branches[number] = HIGH if branches[number] != HIGH else LOW
                cases.append((0, Setting(branches, setting.draws, setting.battery, setting.volts)))
            for number in range(len(model.draws)):
                draws = setting.draws.copy()
                draws[number] = HIGH if draws[number] != HIGH else LOW
                cases.append((0, Setting(setting.branches, draws, setting.battery, setting.volts)))
            cases.append((0, Setting(setting.branches, setting.draws, HIGH - setting.battery, setting.volts)))
            volts = at_rest(together, cases, start).potential_v[node]
            assert volts.min() >= row.volts.least - 1e-5, row.point
            assert volts.max() <= row.volts.most + 1e-5, row.point


# --- unplugged, each pin alone: the figure that decides ---------------------------------------------------------------


def lit(model: Model, node: int, watts: float, *, supply: bool) -> Model:
    """The lamp is the first of the draws; its watts are no more certain than those of a load."""
    found = with_test_lamp(model, node, watts, supply=supply)
    share = spread("watts of a load")
    amounts = (watts * share.low, watts * share.nominal, watts * share.high)
    return replace(found, draws=[replace(found.draws[0], amounts=amounts), *found.draws[1:]])


class Measured:
    """A pin of a vehicle with its module unplugged, measured in many draws: drop without and with the lamp."""

    def __init__(self, tracing: Tracing, module: str, pin: PinAtAGlance, count: int) -> None:
        assert pin.test.lamp.watts is not None
        self.supply = pin.row.level == "supply"
        self.node = tracing.circuit.pins_of[pin.row.part][pin.row.pin]
        self.limits = limits_of(tracing.circuit)
        pulled = [f"{module}.{one}" for one, _ in pin.test.leads]
        unplugged = changes_of(tracing.circuit, unplugged=(module,), pulled=pulled)
        self.model = fitted(model_of(tracing, pin.test.key, unplugged, limits=self.limits, first=module))
        self.lit = lit(self.model, self.node, pin.test.lamp.watts, supply=self.supply)
        self.sampled = by_chance(self.lit, count, 30)
        self.bare = solved(
            self.model, [Sampled(one.ohms, one.volts, one.draws[1:], one.battery) for one in self.sampled]
        )

    def grows(self, joint: int = -1, ohm: float = 0.0) -> FloatArray:
        """What the meter makes of the growth, in each draw; with some ohms more in one branch."""
        bare, loaded = self.bare, solved(self.lit, self.sampled)
        if joint >= 0:
            worse = [*self.model.branches]
            ohms = worse[joint].ohms
            worse[joint] = replace(worse[joint], ohms=replace(ohms, low=ohms.low + ohm, nominal=ohms.nominal + ohm, high=ohms.high + ohm))  # fmt: skip
            rest = [Sampled(one.ohms, one.volts, one.draws[1:], one.battery) for one in self.sampled]
            bare = solved(replace(self.model, branches=worse), rest)
            loaded = solved(replace(self.lit, branches=worse), self.sampled)
        chance = np.random.default_rng(40)
        share, digits = (self.limits.of(f"meter millivolt {what}").high for what in ("share", "digits"))
        count = len(self.sampled)
        gain = 1.0 + share * chance.uniform(-1, 1, count)
        after, before = (gain * self._lost(one) + digits / 1000 * chance.uniform(-1, 1, count) for one in (loaded, bare))  # fmt: skip
        found: FloatArray = after - before
        return found

    def _lost(self, states: States) -> FloatArray:
        volts = states.potential_v
        if not self.supply:
            lost: FloatArray = volts[self.node]
            return lost
        post = max(self.model.posts, key=lambda node: float(volts[node, 0]))
        lost = volts[post] - volts[self.node]
        return lost

    def carrying_all(self) -> list[int]:
        """Branches through which all of the lamp's current flows, and has to: not those beside which another way stands ready."""
        loaded = solved(self.lit, self.sampled[:1])
        more_a = loaded.branch_a[:, 0] - self.bare.branch_a[:, 0]
        lamp_a = abs(float(self.lit.solve(self.sampled[0]).draw_a[0]))
        near: list[int] = np.flatnonzero(np.abs(np.abs(more_a) - lamp_a) < 0.02 * lamp_a).tolist()
        way = [number for number in near if not self.model.branches[number].is_battery]
        return [number for number in way if self._lamp_a_without(number) < 0.02 * lamp_a]

    def _lamp_a_without(self, branch: int) -> float:
        nowhere = [*self.lit.branches]
        megohm = replace(nowhere[branch].ohms, low=1e6, nominal=1e6, high=1e6)
        nowhere[branch] = replace(nowhere[branch], ohms=megohm)
        return abs(float(replace(self.lit, branches=nowhere).solve(self.sampled[0]).draw_a[0]))


def decided(tracing: Tracing, module: str) -> list[PinAtAGlance]:
    return [pin for pin in tracer.glance(tracing, tracer.supplies(tracing, module)).pins if pin.test.most_v is not None]


def holds(tracing: Tracing, module: str, pin: PinAtAGlance, count: int, most: float) -> None:
    measured = Measured(tracing, module, pin, count)
    limit_v, hides_ohm = pin.test.most_v, pin.test.hides_ohm
    assert limit_v is not None and hides_ohm is not None
    assert np.mean(measured.grows() > limit_v) <= most, f"{pin.name}: a sound way is failed"
    way = measured.carrying_all()
    shown_ohm = max(SAID_OHM, math.ceil(hides_ohm * 10) / 10)  # what the row does not say that it may hide
    for joint in way if len(way) < 3 else (way[0], way[len(way) // 2], way[-1]):
        passed = np.mean(measured.grows(joint, shown_ohm) <= limit_v)
        assert passed <= most, f"{pin.name}: {shown_ohm} ohm in {measured.model.element_name(joint)} are passed"


@pytest.mark.parametrize(("folder", "module"), DEMO)
def test_a_sound_way_is_in_order_and_a_bad_joint_anywhere_on_it_is_not(folder: str, module: str) -> None:
    tracing = demo(folder)
    pins = decided(tracing, module)
    assert pins
    for pin in pins:
        assert pin.test.hides_ohm is not None and pin.test.hides_ohm < SHOWN_OHM
        holds(tracing, module, pin, 300, 0.01)


# wires over the stud of a fuse bridge the contact, which carries nearly all the current and need not
BRIDGED_CONTACT = TypedVehicle(
    rails={},
    parts=[
        ["BAT: battery", "G1: ground", "M: {is: module, cavities: [1]}", "F3: {is: fuse, amps: 10}", "S2: splice"],
        ["IG: {is: switch, follows: key, contacts: {off: [1-2], run: []}}"],
    ],
    runs=[
        ["K.1 -- RD 1 -- F3 -- RD 1 -- S2", "S2 -- RD 1 -- IG.1", "IG.1 -- RD 1 -- BAT.+", "G1 -- RD 1 -- BAT.-"],
        ["IR.3 -- RD 1 -- F3 -- RD 1 -- IG.2", "IG.2 -- RD 1 -- M.1"],
    ],
)


@given(typed_vehicles())
@example(BRIDGED_CONTACT)
@settings(max_examples=200 if THOROUGH else 15)
def test_so_it_is_in_random_vehicles(vehicle: TypedVehicle) -> None:
    with tempfile.TemporaryDirectory() as folder:
        tracing = Tracing(tracer.load(vehicle.write(Path(folder) / "v")))
        for pin in decided(tracing, "M"):
            holds(tracing, "M", pin, 200, 0.02)


def test_a_row_that_may_hide_more_says_so() -> None:
    from tracer.report.glance import as_text

    tracing = demo("minibus")
    for module, said in (("RMP", "6+: 0.3 Ω up"), ("ALM", "9+: 0.3 Ω up")):
        glance = tracer.glance(tracing, tracer.supplies(tracing, module))
        over = [pin.name for pin in glance.pins if (pin.test.hides_ohm or 0.0) > SAID_OHM]
        assert bool(over) == bool(said)
        text = as_text(glance, width=120)
        assert said in text and text.count(" Ω up") == len(over) + 1  # and once what holds for the others
