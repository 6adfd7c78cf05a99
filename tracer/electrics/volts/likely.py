"""The band in which 99 of 100 vehicles in order read, beside the worst case.

Every uncertain quantity is sampled by itself, evenly between its documented ends: where only the ends are known, each value between them is as likely (JCGM
100:2008, 4.3.7; carried through the computation as in JCGM 101:2008). That all are at their worst ends at once is what the worst case takes; of independent
quantities it next to never happens, and a limit set by it passes a slightly bad joint.

References
----------
JCGM 100:2008 and 101:2008, Guide to the expression of uncertainty in measurement and its supplement 1. Even spacing of the samples of each quantity: McKay,
Beckman and Conover (1979), Technometrics 21(2), 239-245 (citations from memory).
"""

from __future__ import annotations

import numpy as np

from tracer.electrics.model.branches import Sampled
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.volts.values import Range

KNOWN_DIGITS = 10  # of volts and amperes, after the point: what the solve is sure of
SAMPLES = 64
# Of a normal distribution 99 of 100 lie within 2.58 standard deviations; a deviation found from 64 samples is uncertain by 9 %. A few even quantities alone
# never reach that far: there the worst case is the end.
DEVIATIONS = 3.0

__all__ = ["SAMPLES", "band", "even", "sampled_settings"]


_sampled: dict[int, FloatArray] = {}  # by seed, the rows sampled so far: models of one vehicle have nearly as many


def even(rows: int, seed: int) -> FloatArray:
    """(rows, SAMPLES) shares between 0 and 1, each row spaced evenly and in an order of its own; the same for the same seed. Not to be written to.

    Mixed from the numbers of row and column, which needs no library that is slow to import.
    """
    before = _sampled.setdefault(seed, np.empty((0, SAMPLES)))
    if len(before) < rows:
        before = _sampled[seed] = np.concatenate([before, _even(np.arange(len(before), rows), seed)])
        before.flags.writeable = False
    return before[:rows]


def _even(rows: IntArray, seed: int) -> FloatArray:
    numbers = (rows[:, np.newaxis] * SAMPLES + np.arange(SAMPLES)).astype(np.uint64)
    order = np.argsort(_mixed(numbers + np.uint64(2 * seed << 40)), axis=1)
    within = _mixed(numbers + np.uint64(2 * seed + 1 << 40)).astype(np.float64) / 2.0**64
    shares: FloatArray = (order + within) / SAMPLES
    return shares


def _mixed(
    number: np.ndarray[tuple[int, ...], np.dtype[np.uint64]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.uint64]]:
    """The finaliser of Steele, Lea and Flood (2014), OOPSLA, 453-472 (constants from memory)."""
    number = (number + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    number = (number ^ (number >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    number = (number ^ (number >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return number ^ (number >> np.uint64(31))


def sampled_settings(model: Model) -> list[Sampled]:
    """Settings in which every uncertain quantity of a model is sampled by itself."""
    volts = np.zeros((len(model.branches), SAMPLES))
    volts[model.pushing] = _even(model.pushing, 1)  # in the others there is nothing to be sampled
    ohms, draws, battery = even(len(model.branches), 0), even(len(model.draws), 2), even(1, 3)[0]
    return [Sampled(ohms[:, one], volts[:, one], draws[:, one], float(battery[one])) for one in range(SAMPLES)]


def band(values: FloatArray, sampled: BoolArray) -> Range:
    """Nominal (the first of (s,) values), the band of those that were `sampled`, and the worst case: the ends of all. What floats (not a number) counts as 0."""
    if np.isnan(values).any():
        values = np.nan_to_num(values)
    least, nominal, most = float(values.min()), float(values[0]), float(values.max())
    low, high = least, most
    some = values[sampled]
    if some.size:
        middle, reach = float(some.mean()), DEVIATIONS * float(some.std())
        # what lies far from the others (a diode that conducts in a few of them) is in the band as well
        low = max(least, min(nominal, float(some.min()), middle - reach))
        high = min(most, max(nominal, float(some.max()), middle + reach))
    # without what the solve does not know: else the last bit would decide whether 0.15 mV is shown as 0.1 or 0.2
    low, nominal, high, least, most = (round(value, KNOWN_DIGITS) for value in (low, nominal, high, least, most))
    return Range(low, nominal, high, (least, most))
