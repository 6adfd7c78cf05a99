"""How likely the readings of a case are with each fault, and so how likely each fault is: Bayes over every single fault, and over pairs where no single one explains.

A number is normal around what is predicted: the meter's last digits, and a share of what the wiring loses, which is known to within so much only. Words are
bands (dead, dim), and so is a point that hangs on nothing: a meter shows anything there, a lamp pulls it off. Any reading may be wrong, so nothing is ever
excluded by one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from tracer.case.by_hand import BRIDGE, WIGGLE, known
from tracer.case.readings import Conditions, Reading, Value
from tracer.diagnose.bus_faults import bus_faults
from tracer.diagnose.faults import Atom, Fault, Faults, both, faults_of
from tracer.diagnose.on_bus import OnBuses, PredictedOnBus
from tracer.diagnose.predicted import Predicted, PredictedRow, Setting
from tracer.electrics.network.described import FloatArray
from tracer.plan.words import MODULE_ITSELF
from tracer.standards.faults import other_fails, slip

# One sigma. Of a bare reading the battery's volts are minutes old; by how much a lamp moves a point is two readings of one meter. The shares are of what is lost
# up to a point, or what is left there where that is less: lengths, contacts, loads and the lamp itself are known to within that (common practice, no source).
BARE_V, MOVED_V = 0.05, 0.02
LOST_SHARE, MOVED_SHARE = 0.4, 0.35
JOINT_OHM = 0.04  # that all joints in order up to a point may have more than computed
BEHIND_DIODE_V = 0.25
DEAD_SHARE, BRIGHT_SHARE = 0.1, 0.85  # of the battery: below a lamp is dark, above nobody calls it dim
_LEAD_OFF_V = 0.1
_GHOST, _HIGH_GHOST = (
    0.3,
    0.004,
)  # of what floats a meter shows something other than nothing so often, and so often more than half of the battery
_TRIED = 20  # faults of each sort that pairs are made of
_LEAST = 1e-300


@dataclass(frozen=True)
class Evidence:
    """One reading: (k,) how likely it is with each atom where it is right, and `wrong`, how likely anything like it is where it is not."""

    reading: Reading
    fits: FloatArray
    wrong: float
    predicted: PredictedRow | PredictedOnBus | Moved

    @cached_property
    def likely(self) -> FloatArray:
        """(k,) with both."""
        share = slip("reading wrong")
        # Never nothing at all: a fault that one reading speaks against must stay among those that all others may speak for.
        found: FloatArray = np.maximum((1.0 - share) * self.fits + share * self.wrong, _LEAST)
        return found

    @cached_property
    def contradicts(self) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """(k,) whether it is rather wrong than right with each atom."""
        share = slip("reading wrong")
        found: np.ndarray[Any, np.dtype[np.bool_]] = (1.0 - share) * self.fits < share * self.wrong
        return found


@dataclass(frozen=True)
class Weighed:
    """Every fault with its share of all that explains the readings; `best` is the likeliest atom of each."""

    predicted: Predicted
    evidence: tuple[Evidence, ...]
    atom_share: FloatArray
    share: FloatArray
    best: tuple[int, ...]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """The faults, in the order of `share`."""
        return self.predicted.faults.faults

    @property
    def nothing(self) -> float:
        """The share of nothing being broken: readings are wrong, then."""
        return float(self.share[0])

    def without(self, left_out: Evidence) -> FloatArray:
        """The share of each atom by the other readings."""
        return _shares(self.predicted.faults, [one for one in self.evidence if one is not left_out])

    def tells(self, one: Evidence) -> float:
        """The share of what is left by the other readings that one speaks against."""
        return float(np.sum(self.without(one)[one.contradicts]))


def weigh(plan: Mapping[str, Any], readings: Iterable[Reading]) -> Weighed:
    """The faults of a case's network by its readings; readings of which nothing is predicted say nothing."""
    told = list(readings)
    found = _weighed(plan, Predicted(plan["network"], every_fault(plan), float(plan["system_v"])), told)
    if found.evidence and _unexplained(found):
        return _weighed(plan, Predicted(plan["network"], _with_pairs(found), float(plan["system_v"])), told)
    return found


def every_fault(plan: Mapping[str, Any]) -> Faults:
    """Every single fault of what a case keeps: of its network and of the buses of the module."""
    ways = faults_of(plan["network"])
    faults, atoms = list(ways.faults), list(ways.atoms)
    for name, facts in plan["buses"].items():
        for fault, some in bus_faults(name, facts["network"], len(faults)) if facts.get("network") else ():
            faults.append(fault)
            atoms += some
    weight, words = other_fails("module")
    atoms.append(Atom(len(faults), 1.0))
    faults.append(Fault(MODULE_ITSELF.format(plan["module"]), words, (), weight, inside=plan["module"]))
    return Faults(tuple(faults), tuple(atoms))


def contradicting(plan: Mapping[str, Any], readings: Iterable[Reading]) -> list[Reading]:
    """The readings that are rather wrong than right on a vehicle in order."""
    every = faults_of(plan["network"])
    nothing = Faults(every.faults[:1], every.atoms[:1])
    predicted = Predicted(plan["network"], nothing, float(plan["system_v"]))
    buses = OnBuses(plan, nothing.atoms)
    found = (evidence_of(plan, predicted, buses, one) for one in readings)
    return [one.reading for one in found if one is not None and one.contradicts[0]]


def _weighed(plan: Mapping[str, Any], predicted: Predicted, readings: Sequence[Reading]) -> Weighed:
    buses = OnBuses(plan, predicted.faults.atoms)
    found = (evidence_of(plan, predicted, buses, one) for one in readings)
    evidence = tuple(one for one in found if one is not None)
    faults = predicted.faults
    atoms = _shares(faults, evidence)
    of = np.array([atom.fault for atom in faults.atoms])
    share: FloatArray = np.bincount(of, atoms, len(faults.faults)).astype(np.float64)
    best = np.zeros(len(faults.faults), dtype=np.intp)
    # From the least likely on: of each fault the likeliest is written last and stays.
    for n in np.argsort(atoms, kind="stable"):
        best[of[n]] = n
    return Weighed(predicted, evidence, atoms, share, tuple(best.tolist()))


def _shares(faults: Faults, evidence: Iterable[Evidence]) -> FloatArray:
    # In logarithms, and by the largest of them, since the product of a few dozen likelihoods is smaller than any number that can be held.
    logs = np.log(np.array([faults.faults[atom.fault].prior * atom.share for atom in faults.atoms]))
    for one in evidence:
        logs = logs + np.log(one.likely)
    weights = np.exp(logs - np.max(logs))
    found: FloatArray = weights / np.sum(weights)
    return found


# --- pairs -------------------------------------------------------------------------------------------------------------


def _unexplained(found: Weighed) -> list[Evidence]:
    """What contradicts the likeliest fault."""
    best = int(np.argmax(found.atom_share))
    return [one for one in found.evidence if one.contradicts[best]]


def _with_pairs(found: Weighed) -> Faults:
    """The faults, and pairs of those that explain most with those that explain the rest."""
    faults, logs = found.predicted.faults, np.log(np.maximum(found.atom_share, _LEAST))
    real = np.array([bool(atom.on_ways or atom.buses) for atom in faults.atoms])
    first = np.argsort(np.where(real, logs, -np.inf), kind="stable")[::-1][:_TRIED]
    pairs: dict[tuple[int, int], None] = {}
    for rest in _unexplained(found):
        # On top of its share: the second of a pair must above all explain what the first does not.
        again = np.log(np.maximum(rest.fits, _LEAST)) * 2.0 + logs
        second = np.argsort(np.where(real & ~rest.contradicts, again, -np.inf), kind="stable")[::-1][:_TRIED]
        for one in first.tolist():
            pairs |= {(min(one, other), max(one, other)): None for other in second.tolist() if real[other] and faults.atoms[one].fault != faults.atoms[other].fault}  # fmt: skip
    return both(faults, pairs)


# --- one reading -------------------------------------------------------------------------------------------------------


def setting_of(plan: Mapping[str, Any], on: Conditions) -> Setting | None:
    """The way of reading that conditions stand for; None where the case has no network for it."""
    if on.engine:
        return None
    leads = frozenset[frozenset[str]]() if on.plugged else _leads(lead.split("-") for lead in on.leads)
    for n, base in enumerate(plan["network"]["bases"]):
        if (base["key"], base["plugged"]) == (on.key, on.plugged) and _leads(base["leads"]) == leads:
            out = tuple(sorted(set(on.out).intersection(plan["network"]["outs"])))
            done = known(plan, on.hand) if on.hand else None
            if on.hand and done is None:
                return None
            if done is None or done.do == WIGGLE:
                return Setting(n, out)
            return Setting(n, out, done.pieces) if done.do == BRIDGE else Setting(n, out, (), done.pieces)
    return None


def _leads(pairs: Iterable[Iterable[str]]) -> frozenset[frozenset[str]]:
    """Leads in the plug, from whichever end they are named."""
    return frozenset(frozenset(pair) for pair in pairs)


def level_of(plan: Mapping[str, Any], name: str) -> str:
    """Whether a row or a point is of supply or of ground; empty where it is neither."""
    return next((str(plan[kind][name]["level"]) for kind in ("rows", "chains", "points") if name in plan[kind]), "")


def evidence_of(plan: Mapping[str, Any], predicted: Predicted, buses: OnBuses, one: Reading) -> Evidence | None:
    """What a reading says of every atom; None where it says nothing: no values, the symptom was away, no network for its conditions."""
    if (on_bus := _of_bus(buses, one)) is not None:
        return on_bus
    on, level = one.conditions, level_of(plan, one.name)
    if on.hand.startswith(WIGGLE):
        return _wiggled(plan, predicted, one)
    setting = setting_of(plan, on)
    if not one.values or not level or setting is None or on.symptom is False:
        return None
    with_lamp = one.loaded or (one.values[0].is_word and on.lamp_w is not None)
    read = predicted.at(setting).row(one.name, level, on.lamp_w if with_lamp and not on.plugged else None)
    if read is None:
        return None
    battery_v = on.battery_v or float(read.post_v[0]) or float(plan["system_v"])
    diode_v = BEHIND_DIODE_V if behind_a_diode(plan, one.name) else 0.0
    judged = _Judge(read, level, battery_v, diode_v, (on.lamp_w or 0.0) / float(plan["system_v"]))
    if one.loaded and not any(value.is_word for value in one.values):
        volts = [_volts(value, on, battery_v) for value in one.values]
        # The second value is judged by how far it lies from the first: what is uncertain in both, the battery above all, cancels.
        fits = judged.bare(*volts[0]) * judged.moved(volts[0], volts[1])
        wrong = judged.wrong(*volts[0]) * judged.wrong(*volts[1])
        return Evidence(one, fits, wrong, read)
    last = one.values[-1]
    if last.text == "flickers":
        return Evidence(one, np.where(np.arange(read.bare_v.size) == 0, 0.01, 0.3), 0.1, read)
    if last.is_word:
        low_v, high_v = _band(last.text, level, battery_v)
        fits = judged.bare(low_v, high_v) if read.lit_v is None else judged.lit(low_v, high_v)
        return Evidence(one, fits, judged.wrong(low_v, high_v), read)
    low_v, high_v = _volts(last, on, battery_v)
    return Evidence(one, judged.bare(low_v, high_v), judged.wrong(low_v, high_v), read)


def _wiggled(plan: Mapping[str, Any], predicted: Predicted, one: Reading) -> Evidence | None:
    """A connector that was moved or warmed while a point was read: it flickers, or it does not."""
    done, every = known(plan, one.conditions.hand), predicted.faults
    if done is None or not one.values or one.conditions.symptom is False:
        return None
    there = np.array([bool(set(done.pieces).intersection(every.faults[atom.fault].pieces)) for atom in every.atoms])
    if one.values[-1].text == "flickers":
        return Evidence(one, np.where(there, slip("wiggle shows it"), 5e-4), 0.05, Moved(there))
    return Evidence(one, np.where(there, 1.0 - slip("wiggle shows it"), 0.99), 0.5, Moved(there))


@dataclass(frozen=True, slots=True)
class Moved:
    """(k,) whether what is wrong lies where something was moved."""

    there: np.ndarray[Any, np.dtype[np.bool_]]

    def said(self, atom: int) -> str:
        """What is expected with one of them, in words."""
        return "flickers, or good" if self.there[atom] else "no change"


def _of_bus(buses: OnBuses, one: Reading) -> Evidence | None:
    if (
        not one.values
        or one.conditions.symptom is False
        or (one.values[0].is_word and one.values[0].text not in ("OL", "dead"))
    ):
        return None
    read = buses.predicted(one.name, one.conditions)
    return None if read is None else Evidence(one, read.fits(one), read.wrong(one), read)


def behind_a_diode(plan: Mapping[str, Any], name: str) -> bool:
    """Whether a diode lies on a way before a point: what it loses is known to within a quarter of a volt only."""
    network = plan["network"]
    diodes = {n for n, piece in enumerate(network["pieces"]) if piece["kind"] == "diode"}
    for row, way in network["ways"].items() if diodes else ():
        first = next((place for place, n in enumerate(way) if n in diodes), None)
        if first is not None and (row == name or any(name in network["pieces"][n]["ends"] for n in way[first:] if n >= 0)):  # fmt: skip
            return True
    return False


def _volts(value: Value, on: Conditions, battery_v: float) -> tuple[float, float]:
    """Between which volts to battery negative a value lies, as it was typed."""
    assert value.number is not None
    text = value.text.replace(",", ".")
    half = 0.5 * 10.0 ** -len(text.partition(".")[2]) if "." in text else 0.5
    low, high = (-0.3, value.number) if value.below else (value.number - half, value.number + half)
    return (battery_v - high, battery_v - low) if on.other == "+" else (low, high)


def _band(word: str, level: str, battery_v: float) -> tuple[float, float]:
    """The same of a word, of a supply: dark, dim; a ground is dead where it pulls nothing down."""
    low, high = (-0.3, DEAD_SHARE * battery_v) if word in ("dead", "OL") else (DEAD_SHARE * battery_v, BRIGHT_SHARE * battery_v)  # fmt: skip
    return (low, high) if level == "supply" else (battery_v - high, battery_v - low)


def least_moved_v(lamp_a: float) -> float:
    """One sigma of what a lamp moves a point by, where next to nothing is lost up to it."""
    return math.hypot(MOVED_V, JOINT_OHM * lamp_a)


class _Judge:
    """How likely values between two limits are, (k,) by what is predicted."""

    def __init__(self, read: PredictedRow, level: str, battery_v: float, diode_v: float, lamp_a: float) -> None:
        self.level, self.battery_v, self.diode_v, self.lamp_a = level, battery_v, diode_v, lamp_a
        post_v = float(read.post_v[0])
        scale = battery_v / post_v if post_v > 1.0 else 1.0  # what the battery is, everything is
        self.bare_v, self.floats = read.bare_v * scale, read.floats
        self.lit_v = None if read.lit_v is None else read.lit_v * scale

    def bare(self, low_v: float, high_v: float) -> FloatArray:
        known = _between(low_v, high_v, self.bare_v, self._sd(self.bare_v, LOST_SHARE, BARE_V))
        nothing = _between(low_v, high_v, np.zeros(1), np.array([_LEAD_OFF_V]))
        half_v = self.battery_v / 2.0
        some, much = _overlap(low_v, high_v, 0.0, half_v), _overlap(low_v, high_v, half_v, self.battery_v + 0.1)
        return np.where(self.floats, (1.0 - _GHOST) * nothing + _GHOST * some + _HIGH_GHOST * much, known)

    def lit(self, low_v: float, high_v: float) -> FloatArray:
        assert self.lit_v is not None
        return _between(low_v, high_v, self.lit_v, self._sd(self.lit_v, LOST_SHARE, BARE_V))

    def moved(self, bare: tuple[float, float], lit: tuple[float, float]) -> FloatArray:
        """By how much the lamp moved the point, where it hangs on something; else where the lamp pulled it."""
        assert self.lit_v is not None
        moved_v = self.bare_v - self.lit_v if self.level == "supply" else self.lit_v - self.bare_v
        left_v = np.maximum(self.lit_v if self.level == "supply" else self.battery_v - self.lit_v, 0.0)
        shared_v = np.maximum(
            np.minimum(self.battery_v - self.bare_v, self.bare_v), 0.0
        )  # what else hangs there moves both
        # Of what the lamp moves, and of what is left for it, the smaller one is what a change of some ohms can shift; near either end nothing can.
        uncertain_v = np.maximum(np.minimum(np.abs(moved_v), left_v), shared_v)
        sd = np.hypot(MOVED_SHARE * uncertain_v, math.hypot(least_moved_v(self.lamp_a), self.diode_v))  # fmt: skip
        middle = (bare[0] + bare[1]) / 2.0
        low, high = (middle - lit[1], middle - lit[0]) if self.level == "supply" else (lit[0] - middle, lit[1] - middle)
        return np.where(self.floats, self.lit(*lit), _between(low, high, moved_v, sd))

    def wrong(self, low_v: float, high_v: float) -> float:
        """By a lead that is off, or at another point."""
        off = float(_between(low_v, high_v, np.zeros(1), np.array([_LEAD_OFF_V]))[0])
        return 0.5 * off + 0.5 * _overlap(low_v, high_v, -0.3, self.battery_v)

    def _sd(self, volts: FloatArray, share: float, least_v: float) -> FloatArray:
        # At the battery's volts and at none there is nothing to be lost; halfway between, a share of ohms shifts it most.
        uncertain_v = np.maximum(np.minimum(self.battery_v - volts, volts), 0.0)
        found: FloatArray = np.hypot(share * uncertain_v, math.hypot(least_v, self.diode_v))
        return found


_ERF = np.vectorize(math.erf, otypes=[np.float64])


def _between(low: float, high: float, mean: FloatArray, sd: FloatArray) -> FloatArray:
    """How much of normal values lies between two limits."""
    if high - low < 0.05:  # so narrow that the density does, which keeps its digits far out
        away = ((low + high) / 2.0 - mean) / sd
        found: FloatArray = np.exp(-0.5 * away**2) / (sd * math.sqrt(2.0 * math.pi)) * (high - low)
        return found
    root = math.sqrt(2.0)
    wide: FloatArray = 0.5 * (_ERF((high - mean) / (sd * root)) - _ERF((low - mean) / (sd * root)))
    return wide


def _overlap(low: float, high: float, first: float, last: float) -> float:
    return max(0.0, min(high, last) - max(low, first)) / (last - first)


__all__ = ["BARE_V", "BRIGHT_SHARE", "DEAD_SHARE", "LOST_SHARE", "MOVED_SHARE", "Evidence", "Weighed", "behind_a_diode", "contradicting", "every_fault", "least_moved_v", "level_of", "setting_of", "weigh"]  # fmt: skip
