"""Models at rest in many settings, each with what follows from its own currents.

In a setting a diode loses what its law says of the current that flows there, be it a hundredth of the nominal one; a contact in order loses no more than it
may, however much flows (`contact_most_v`); and a generator gives what lets the battery posts read what was measured there. The nominal state has all of this
already (`fitting.py`); the others begin with its values and are solved again until what follows stays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tracer.electrics.model.branches import Sampled, Setting, apart, between
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.fitting import METER_A, MOST_LOST_V, NOT_FITTED
from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.network.in_many_settings import Case, States, Together
from tracer.standards.allowances import contact_most_v, junctions

__all__ = ["at_rest"]

_TURNS = 12
_SAME_V = 3e-4  # what an element may be off: ends are given in hundredths of a volt
_LITTLE = 0.005  # of what flows through the other diodes: so much moves none of them by a third of a millivolt
_LEAST_GAIN = 0.1
_MOST_LN_A = 9.2  # as in the law of a junction


def at_rest(together: Together, cases: Sequence[Case], nominal: States) -> States:
    """The models at rest in these settings; `nominal` is one state of each, as `nominal_in_order` gives it.

    Raises
    ------
    NotSettled : a setting has no state of rest
    """
    states = together.solve(cases, nominal)
    following = [_Following(model) for model in together.models]
    columns = np.arange(len(cases))
    for turn in range(_TURNS):
        columns, values = _moved(following, states, columns, first=turn == 0)
        if not columns.size:
            return states
        again = together.solve([cases[column] for column in columns.tolist()], nominal, values)
        states = states.with_columns(columns, again)
    columns, _ = _moved(following, states, columns, first=False)
    for number in set(states.model[columns].tolist()):
        model = together.models[number]
        model.undecided = tuple(dict.fromkeys((*model.undecided, NOT_FITTED)))
    return states


def _moved(
    following: Sequence[_Following], states: States, columns: IntArray, *, first: bool
) -> tuple[IntArray, tuple[FloatArray, FloatArray]]:
    """Of these columns those in which something is off, and (m, s) siemens and volts of the branches that follow there."""
    found: list[IntArray] = []
    siemens: list[FloatArray] = []
    volts: list[FloatArray] = []
    for number, one in enumerate(following):
        mine = columns[states.model[columns] == number]
        parts = list(one.parts(states, mine, first=first)) if mine.size else []
        off = np.flatnonzero(np.any([np.any(part.off, axis=0) for part in parts], axis=0)) if parts else mine[:0]
        if not off.size:
            continue
        found.append(mine[off])
        siemens.append(states.conductance_s[:, mine[off]])
        volts.append(states.source_v[:, mine[off]])
        for part in parts:
            for kept, new in ((siemens[-1], part.conductance_s), (volts[-1], part.source_v)):
                if new is not None:
                    kept[part.rows] = np.where(part.off[:, off], new[:, off], kept[part.rows])
    if not found:
        return columns[:0], (np.empty((0, 0)), np.empty((0, 0)))
    return np.concatenate(found), (np.concatenate(siemens, axis=1), np.concatenate(volts, axis=1))


@dataclass(frozen=True, eq=False)
class _Part:
    """Some branches, in which of the columns they are `off` (r, s), and what follows there; None for what stays."""

    rows: IntArray
    off: BoolArray
    conductance_s: FloatArray | None
    source_v: FloatArray | None


class _Following:
    """What follows from the currents in a model; a fault makes no contact better, so there contacts keep what they have in order."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.diodes = np.array(model.live_diodes, dtype=np.intp)
        self.contacts = np.zeros(0, dtype=np.intp) if model.changes.faulty else np.flatnonzero(model.contact_ohm)
        self.generators, self.batteries = (
            np.array([n for n, branch in enumerate(model.branches) if branch.kind == kind], dtype=np.intp)
            for kind in ("generator", "battery")
        )
        self._tried: dict[int, tuple[float, float]] = {}  # what generators gave in a column, and what was missing then

    def parts(self, states: States, columns: IntArray, *, first: bool) -> Iterator[_Part]:
        """What may be off in these columns of a model; `first` where nothing was changed so far."""
        settings = [states.cases[column][1] for column in columns.tolist()]
        if self.diodes.size:
            yield self._diodes(states, columns, settings)
        yield from self._contacts(states, columns, settings, first=first)
        if self.generators.size and self.batteries.size and self.model.changes.battery_v is not None:
            yield self._generators(states, columns)

    def _diodes(self, states: States, columns: IntArray, settings: Sequence[Setting | Sampled]) -> _Part:
        """Each as the tangent of its law at what flows."""
        n = self.diodes
        slope_ohm = _chosen(self._slopes, settings, n)
        laws = np.array([(one.at_1_a_v, one.per_e_v) for one in junctions()]).T
        at_1_a_v, per_e_v = (_chosen(np.tile(law, (n.size, 1)), settings, n, pushing=True) for law in laws)
        at = np.ix_(n, columns)
        branch_a, closed = states.branch_a[at], states.closed[at]
        # one that blocks below the foot of its tangent lets a little through all the same
        across_v = self._across_v(states, n, columns)
        little_a = np.where(closed, 0.0, np.exp(np.minimum((across_v - at_1_a_v) / per_e_v, _MOST_LN_A)))
        at_a = np.maximum(np.where(closed, branch_a, little_a), METER_A)
        ohm, volts = slope_ohm + per_e_v / at_a, per_e_v - at_1_a_v - per_e_v * np.log(at_a)
        off_v = np.abs(branch_a * (1.0 / states.conductance_s[at] - ohm) - (states.source_v[at] - volts))
        much_a = np.maximum(METER_A, _LITTLE * np.max(np.abs(branch_a), axis=0))
        return _Part(n, np.where(closed, off_v > _SAME_V, little_a > much_a), 1.0 / ohm, volts)

    @cached_property
    def _slopes(self) -> FloatArray:
        """(d, 3) ohms of the diodes without their junctions."""
        ohms = (self.model.branches[number].ohms for number in self.diodes.tolist())
        return np.array([(one.low, one.nominal, one.high) for one in ohms])

    def _contacts(
        self, states: States, columns: IntArray, settings: Sequence[Setting | Sampled], *, first: bool
    ) -> Iterator[_Part]:
        """None that loses more than one in order; those too that were held to that and need not be."""
        model, n = self.model, self.contacts
        amps = np.abs(states.branch_a[n][:, columns])
        held = np.max(amps, axis=1) * model.contact_ohm[n] > MOST_LOST_V
        if not first:
            whole_ohm = _chosen(model._ohm[n], settings, n)
            held |= np.any(np.abs(states.conductance_s[n][:, columns] * whole_ohm - 1.0) > 1e-6, axis=1)
        n, amps = n[held], amps[held]
        if not n.size:
            return
        contacts = [(one.contact, one.contacts) for one in (model.branches[number].ohms for number in n.tolist())]
        several = np.array([[count] for _, count in contacts])
        each_ohm = _chosen(np.array([three for three, _ in contacts]), settings, n) / several
        most_ohm = contact_most_v().value / np.maximum(amps, METER_A)
        too_much = np.where(each_ohm * amps > MOST_LOST_V, each_ohm - most_ohm, 0.0)
        ohm = _chosen(model._ohm[n], settings, n) - several * too_much
        off = np.abs(1.0 / states.conductance_s[np.ix_(n, columns)] - ohm) * amps > _SAME_V
        yield _Part(n, off, 1.0 / ohm, None)

    def _generators(self, states: States, columns: IntArray) -> _Part:
        """Regulated to what lets the posts read what was measured there."""
        pushed = (self.model.branches[number].volts for number in self.batteries.tolist())
        measured_v = np.array([[volts.nominal] for volts in pushed if volts is not None])
        missing_v = np.mean(measured_v + self._across_v(states, self.batteries, columns), axis=0)
        before_v = states.source_v[np.ix_(self.generators, columns)]
        volts = before_v + missing_v / self._gain(columns, before_v[0], missing_v)
        return _Part(self.generators, np.tile(np.abs(missing_v) > _SAME_V, (len(volts), 1)), None, volts)

    def _gain(self, columns: IntArray, given_v: FloatArray, missing_v: FloatArray) -> FloatArray:
        """By how much the posts follow the generators in each column, by what the turn before came to; on thin wires it is a part of a volt for each."""
        gain = np.ones(columns.size)
        for place, (column, given, missing) in enumerate(zip(columns.tolist(), given_v, missing_v, strict=True)):
            was_given, was_missing = self._tried.get(column, (given, missing))
            if abs(given - was_given) > _SAME_V:
                gain[place] = min(max((was_missing - missing) / (given - was_given), _LEAST_GAIN), 1.0)
            self._tried[column] = given, missing
        return gain

    def _across_v(self, states: States, n: IntArray, columns: IntArray) -> FloatArray:
        """(r, s) volts from the first to the second end of some branches."""
        a, b = self.model.placed.ends[n].T
        found: FloatArray = states.potential_v[np.ix_(a, columns)] - states.potential_v[np.ix_(b, columns)]
        return found


def _chosen(
    table: FloatArray, settings: Sequence[Setting | Sampled], n: IntArray, *, pushing: bool = False
) -> FloatArray:
    """(r, s) what the settings choose of a (r, 3) table of the branches n: as of their ohms, or of what is `pushing` in them."""
    found = np.empty((len(n), len(settings)))
    ends, sampled = apart(settings)
    for column, one in ends.items():
        found[:, column] = table[np.arange(len(n)), (one.volts if pushing else one.branches)[n]]
    if sampled:
        shares = np.stack([(one.volts if pushing else one.ohms)[n] for one in sampled.values()], axis=1)
        found[:, list(sampled)] = between(table, shares)
    return found
