"""The settings of uncertain values that move a reading to the ends of its range: found by slopes instead of by trying every corner.

A corner takes every uncertain value at its low or high end. Which end moves a sum of voltages up says the sign of its slope in that value, and the slopes of
all values at once are had from one further solve, with a current pushed in at the reading (adjoint network).

References
----------
Director and Rohrer (1969), IEEE Trans. Circuit Theory 16(3), 318-323 (citation from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracer.electrics.model.branches import HIGH, LOW, Setting
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.in_many_settings import Case, States, Together
from tracer.electrics.network.linear import BoolArray, FloatArray, IntArray

_CELLS = 4_000_000  # of an array of nodes by currents pushed in: 32 MB

__all__ = ["Push", "States", "Together", "extremes", "source_ohms"]


@dataclass(frozen=True, eq=False)
class Push:
    """A sum of voltages, as a share of each node, to be moved furthest down and up.

    The slopes are those of the nominal state. `again`: once more those of the state that they lead to, for where there are several ways a slope may turn round.
    `both_batteries`: at both ends of the battery. `turned` is a branch whose end is then taken the other way round, -1 for none.
    """

    shares: Mapping[int, float]
    again: bool = False
    both_batteries: bool = False
    turned: int = -1


def source_ohms(together: Together, nominal: States, nodes: Sequence[IntArray]) -> list[FloatArray]:
    """Ohms between nodes and battery negative in the nominal state of each model, sources at rest; infinite where floating."""
    most = max(len(some) for some in nodes)
    width = max(1, _CELLS // (together.node_count * len(nodes)))
    found = [np.full(some.size, np.inf) for some in nodes]
    for begin in range(0, most, width):
        parts = [some[begin : begin + width] for some in nodes]
        pushed_a = np.zeros((together.node_count, len(nodes), min(width, most - begin)))
        for number, some in enumerate(parts):
            pushed_a[some, number, np.arange(some.size)] = 1.0
        answer = together.answers(nominal, np.arange(len(nodes)), pushed_a)
        for number, some in enumerate(parts):
            ohm = answer[some, number, np.arange(some.size)]
            found[number][begin : begin + width] = np.where(nominal.shape[number].floating[some], np.inf, ohm)
    return found


def extremes(together: Together, nominal: States, pushes: Sequence[Sequence[Push]]) -> list[States]:
    """States in the settings that move each push of each model furthest, besides those where everything is at the same end.

    Parameters
    ----------
    nominal : one state of each model, in their order
    pushes : for each model

    Raises
    ------
    NotSettled : a setting has no state of rest
    """
    return _Search(together, nominal, pushes).states()


class _Search:
    def __init__(self, together: Together, nominal: States, pushes: Sequence[Sequence[Push]]) -> None:
        self.together = together
        self.nominal = nominal
        self.pushes = pushes
        self.spreads = [_Spread(model) for model in together.models]
        self.known: dict[tuple[int, bytes, bytes, int], int] = {}
        self.waiting: list[Case] = []
        for case in nominal.cases:
            self.column(*case)
        self.waiting = []

    def column(self, number: int, setting: Setting) -> int:
        """The column of a setting among those beyond the nominal ones; each is solved once."""
        branches = np.packbits(setting.branches != LOW).tobytes() + np.packbits(setting.branches == HIGH).tobytes()
        key = (number, branches, setting.draws.tobytes(), setting.battery)
        if key not in self.known:
            self.known[key] = len(self.known) - len(self.nominal.cases)
            self.waiting.append((number, setting))
        return self.known[key]

    def solved(self) -> States:
        """Those that were asked for since the last time."""
        cases, self.waiting = self.waiting, []
        return self.together.solve(cases, self.nominal)

    def states(self) -> list[States]:
        for number, model in enumerate(self.together.models):
            for series in (LOW, HIGH):
                for draws in (LOW, HIGH):
                    for battery in (LOW, HIGH):
                        self.column(number, model.setting(series, draws, battery))
        again = self._by_nominal_slopes()
        found = [self.solved()]
        if again:
            self._by_slopes_there(found[0], again)
            if self.waiting:
                found.append(self.solved())
        return found

    def _by_nominal_slopes(self) -> list[_There]:
        """Ask for the settings by the nominal slopes; returns where to look once more."""
        count = len(self.pushes)
        width = max(len(some) for some in self.pushes)
        pushed_a = np.zeros((self.together.node_count, count, width))
        for number, some in enumerate(self.pushes):
            for place, push in enumerate(some):
                for node, share in push.shares.items():
                    pushed_a[node, number, place] += share
        answer = self.together.answers(self.nominal, np.arange(count), pushed_a)
        again: list[_There] = []
        for number, some in enumerate(self.pushes):
            spread = self.spreads[number]
            rising = spread.rising(answer[:, number], self.nominal.branch_a[:, number, np.newaxis])
            for place, push in enumerate(some):
                for up in (False, True):
                    setting = spread.setting(*rising, place, up=up)
                    again += self._ask(number, push, setting, up=up)
        return again

    def _ask(self, number: int, push: Push, setting: Setting, *, up: bool) -> list[_There]:
        if push.turned >= 0:
            branches = setting.branches.copy()
            branches[push.turned] = HIGH - branches[push.turned]
            self.column(number, Setting(branches, setting.draws, setting.battery))
            return []
        column = self.column(number, setting)
        battery = self.together.models[number].battery
        if push.both_batteries and battery.low < battery.high:
            self.column(number, Setting(setting.branches, setting.draws, HIGH - setting.battery))
        # the nominal setting, where nothing is uncertain, has no column and leads nowhere else
        return [_There(number, push, column, up)] if push.again and column >= 0 else []

    def _by_slopes_there(self, states: States, again: Sequence[_There]) -> None:
        pushed_a = np.zeros((self.together.node_count, len(again)))
        for place, there in enumerate(again):
            for node, share in there.push.shares.items():
                pushed_a[node, place] += share
        columns = np.array([there.column for there in again], dtype=np.intp)
        answer = self.together.answers(states, columns, pushed_a)
        branch_a = states.branch_a[:, columns]
        for number, spread in enumerate(self.spreads):
            places = [place for place, there in enumerate(again) if there.number == number]
            rising = spread.rising(answer[:, places], branch_a[:, places])
            for row, place in enumerate(places):
                self.column(number, spread.setting(*rising, row, up=again[place].up))


@dataclass(frozen=True, eq=False)
class _There:
    """A push that was moved by nominal slopes `up` or down, and the column of the state that this led to."""

    number: int
    push: Push
    column: int
    up: bool


class _Spread:
    """How far each value of a model reaches from its low to its high end."""

    def __init__(self, model: Model) -> None:
        self.ends = model.placed.ends
        self.ohm = model.spread_ohm[:, np.newaxis]
        self.volts = model.spread_v[:, np.newaxis]

    def rising(self, answer_v: FloatArray, branch_a: FloatArray) -> tuple[BoolArray, BoolArray]:
        """(m, p) branches and (k, p) draws whose low end moves a push up, by the (n, p) answers to the pushes and the currents."""
        across_v = answer_v[self.ends[:, 0]] - answer_v[self.ends[:, 1]]
        plain = len(self.ohm)
        # of the push, from the low to the high end of each branch: its ohms, and the volts of diodes and converters
        slope = across_v[:plain] * (branch_a * self.ohm - self.volts)
        return slope < 0.0, across_v[plain:] > 0.0

    def setting(self, branches: BoolArray, draws: BoolArray, place: int, *, up: bool) -> Setting:
        """The setting that moves one of the pushes up, or down."""
        here, there = (LOW, HIGH) if up else (HIGH, LOW)
        return Setting(
            np.where(branches[:, place], here, there).astype(np.intp),
            np.where(draws[:, place], here, there).astype(np.intp),
            there,
        )
