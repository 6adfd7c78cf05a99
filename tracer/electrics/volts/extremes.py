"""The settings of uncertain values that move a reading to the ends of its range: found by slopes instead of by trying every corner.

A corner takes every uncertain value at its low or high end. Which end moves a sum of voltages up says the sign of its slope in that value, and the slopes of
all values at once are had from one further solve, with a current pushed in at the reading (adjoint network).

References
----------
Director and Rohrer (1969), IEEE Trans. Circuit Theory 16(3), 318-323 (citation from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tracer.electrics.model.branches import HIGH, LOW, Sampled, Setting
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.described import FloatArray, IntArray
from tracer.electrics.network.in_many_settings import Case, States, Together
from tracer.electrics.volts.own_currents import at_rest

_CELLS = 4_000_000  # of an array of nodes by currents pushed in: 32 MB
_NOTHING_V = 1e-7
_MOST_TURNS = 8  # of looking once more from where the slopes led: two or three do (measured)

__all__ = ["Push", "States", "Together", "extremes", "source_ohms"]


@dataclass(frozen=True, eq=False)
class Push:
    """A sum of voltages, as a share of each node, to be moved furthest down and up.

    `through` is a branch whose current is to be moved, -1 for none: the shares are those across it, and it carries most with its own least resistance.
    """

    shares: Mapping[int, float]
    through: int = -1


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
            found[number][begin : begin + width] = np.where(nominal.islands[number].floating[some], np.inf, ohm)
    return found


def extremes(
    together: Together, nominal: States, pushes: Sequence[Sequence[Push]], sampled: Sequence[Sequence[Sampled]]
) -> list[States]:
    """States in the settings that move each push of each model furthest, besides those where everything is at the same end and those that were sampled.

    A setting found by the slopes of one state is looked at by its own slopes, until none of them leads further: then no single value moves the push
    beyond it. (In a network of resistors a voltage goes one way with each resistance, so its ends are at ends.)

    Parameters
    ----------
    nominal : one state of each model, in their order
    pushes, sampled : for each model

    Raises
    ------
    NotSettled : a setting has no state of rest
    """
    return _Search(together, nominal, pushes).states(sampled)


@dataclass(frozen=True, eq=False)
class _Moved:
    """A push that is moved `up` or down, and the setting it has led to: the number of its batch and the column there."""

    number: int
    push: Push
    up: bool
    at: tuple[int, int]


class _Search:
    def __init__(self, together: Together, nominal: States, pushes: Sequence[Sequence[Push]]) -> None:
        self.together = together
        self.batches = [nominal]
        self.pushes = pushes
        self.spreads = [_Spread(model) for model in together.models]
        self.known: dict[tuple[int, bytes, bytes, int], tuple[int, int]] = {}
        self.waiting: list[Case] = []
        for column, (number, setting) in enumerate(nominal.cases):
            assert isinstance(setting, Setting)
            self.known[_key(number, setting)] = (0, column)

    def states(self, sampled: Sequence[Sequence[Sampled]]) -> list[States]:
        for number, model in enumerate(self.together.models):
            # Everything at one end together: far from the nominal state, where slopes alone might not lead.
            for series in (LOW, HIGH):
                for draws in (LOW, HIGH):
                    for battery in (LOW, HIGH):
                        self._at(number, model.setting(series, draws, battery))
        moved = [
            _Moved(number, push, up, (0, number))
            for number, some in enumerate(self.pushes)
            for push in some
            for up in (False, True)
        ]
        moved = self._further(moved)
        self.waiting += [(number, one) for number, some in enumerate(sampled) for one in some]
        for _ in range(_MOST_TURNS):
            if self.waiting:
                self.batches.append(at_rest(self.together, self.waiting, self.batches[0]))
                self.waiting = []
            if not moved:
                break
            moved = self._further(moved)
        return self.batches[1:]

    def _at(self, number: int, setting: Setting) -> tuple[int, int]:
        """Where the state of a setting is, or will be; each is solved once."""
        key = _key(number, setting)
        if key not in self.known:
            self.known[key] = (len(self.batches), len(self.waiting))
            self.waiting.append((number, setting))
        return self.known[key]

    def _further(self, moved: Sequence[_Moved]) -> list[_Moved]:
        """Where the slopes at each setting lead; those that lead nowhere else are done."""
        found: list[_Moved] = []
        for batch, states in enumerate(self.batches):
            some = [one for one in moved if one.at[0] == batch]
            if some:
                found += self._further_in(states, some)
        return found

    def _further_in(self, states: States, moved: Sequence[_Moved]) -> Iterator[_Moved]:
        of_column: dict[int, dict[Push, list[_Moved]]] = {}
        for one in moved:
            of_column.setdefault(one.at[1], {}).setdefault(one.push, []).append(one)
        every = sorted(of_column)
        several = max(1, _CELLS // self.together.node_count)
        for columns in (every[first : first + several] for first in range(0, len(every), several)):
            yield from self._in_columns(states, columns, of_column)

    def _in_columns(
        self, states: States, columns: Sequence[int], of_column: Mapping[int, Mapping[Push, Sequence[_Moved]]]
    ) -> Iterator[_Moved]:
        """So many pushes at a time that their arrays stay small."""
        most = max(len(of_column[column]) for column in columns)
        width = max(1, _CELLS // (self.together.node_count * len(columns)))
        for begin in range(0, most, width):
            parts = [list(of_column[column])[begin : begin + width] for column in columns]
            pushed_a = np.zeros((self.together.node_count, len(columns), min(width, most - begin)))
            for place, some in enumerate(parts):
                for row, push in enumerate(some):
                    for node, share in push.shares.items():
                        pushed_a[node, place, row] += share
            answer = self.together.answers(states, np.array(columns, dtype=np.intp), pushed_a, slopes=True)
            for place, (column, some) in enumerate(zip(columns, parts, strict=True)):
                yield from self._led(states, column, answer[:, place], [of_column[column][push] for push in some])

    def _led(
        self, states: States, column: int, answer: FloatArray, moved: Sequence[Sequence[_Moved]]
    ) -> Iterator[_Moved]:
        """Where the slopes of one state lead, by the (n, p) answers to p pushes."""
        number, before = states.cases[column]
        assert isinstance(before, Setting)
        answer = answer[:, : len(moved)]
        rises = self.spreads[number].rises(
            answer, states.branch_a[:, column, np.newaxis], states.conductance_s[:, column, np.newaxis]
        )
        for row, some in enumerate(moved):
            for one in some:
                setting = _led(before, *(rise[..., row] for rise in rises), up=one.up)
                if one.push.through >= 0:
                    setting.branches[one.push.through] = LOW if one.up else HIGH
                at = self._at(number, setting)
                # A setting to which its own slopes lead is at the end of its range: nothing near moves the push further.
                if at != one.at:
                    yield _Moved(number, one.push, one.up, at)


def _key(number: int, setting: Setting) -> tuple[int, bytes, bytes, int]:
    branches = np.concatenate([setting.branches, setting.volts])
    # Two bits for each of three choices: a vehicle has thousands of branches, and each setting that was solved is kept by this.
    packed = np.packbits(branches != LOW).tobytes() + np.packbits(branches == HIGH).tobytes()
    return number, packed, setting.draws.tobytes(), setting.battery


class _Spread:
    """How far each value of a model reaches from its low to its high end."""

    def __init__(self, model: Model) -> None:
        self.ends = model.placed.ends
        self.ohm = model.spread_ohm[:, np.newaxis]
        self.volts = model.spread_v[:, np.newaxis]
        self.draws = model.spread_draw_a[:, np.newaxis]
        self.batteries = model.battery_branches
        self.battery_v = model.spread_battery_v[:, np.newaxis]

    def rises(
        self, answer_v: FloatArray, branch_a: FloatArray, conductance_s: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """By how many volts a push rises along the slope from the low to the high end of what is uncertain.

        (m, p) of the ohms of the branches, (m, p) of the volts in them, (k, p) of the draws, (p,) of the battery; by the (n, p) answers to the pushes, the
        currents and the siemens.
        """
        across_v = answer_v[self.ends[:, 0]] - answer_v[self.ends[:, 1]]
        plain = len(self.ohm)
        moved = across_v[:plain] * conductance_s
        battery = -np.sum(moved[self.batteries] * self.battery_v, axis=0)
        return moved * branch_a * self.ohm, -moved * self.volts, -across_v[plain:] * self.draws, battery


def _led(
    before: Setting, ohms: FloatArray, volts: FloatArray, draws: FloatArray, battery: FloatArray, *, up: bool
) -> Setting:
    """The setting that moves a push up, or down, by how much each thing moves it; what moves it by next to nothing stays as it is."""

    def ends(rises: FloatArray, ends: IntArray) -> IntArray:
        found: IntArray = np.where(np.abs(rises) < _NOTHING_V, ends, np.where((rises > 0.0) == up, HIGH, LOW))
        return found

    turned = int(ends(battery, np.array(before.battery)))
    return Setting(ends(ohms, before.branches), ends(draws, before.draws), turned, ends(volts, before.volts))
