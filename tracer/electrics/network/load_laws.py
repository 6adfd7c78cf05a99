"""Loads that are no resistors: what current they draw at which voltage. Constant power, constant current, filament lamps."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from tracer.electrics.network.described import LEAST_OHM, MOST_OHM, BadValue, FloatArray

_HALVINGS = 60  # of the volts across a load: to the last digit

__all__ = ["LOAD_BASE_S", "ConstantCurrent", "ConstantPower", "FilamentLamp", "Law", "Load", "LoadLaws"]

LOAD_BASE_S = 1e-6  # what every load conducts at least while its current is looked for


class Load(Protocol):
    """A load between two nodes. Its current depends on the voltage from `first` to `second`.

    `least_v` is the voltage below which an electronic load has given up and behaves like a resistor; 0 for a
    load that never does.
    """

    @property
    def first(self) -> int:
        """Node on the plus side."""
        ...

    @property
    def second(self) -> int:
        """Node on the minus side."""
        ...

    @property
    def least_v(self) -> float:
        """Volts below which the load has given up; 0 for never."""
        ...

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        ...

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        ...


class Law(NamedTuple):
    """A load as two pieces: from `knee_v` up ``amount * v ** exponent`` amperes, below it a resistor of `low_s` siemens; the same backwards."""

    amount: float
    exponent: float
    knee_v: float
    low_s: float


@dataclass(frozen=True)
class ConstantPower:
    """A load that keeps its power: its current rises as the voltage falls.

    Switching converters and many modules are such loads. Below `least_v` it is the resistor that takes
    `power_w` at `least_v`. With `least_v` 0 the power must be delivered, whatever the voltage, or the solve
    reports that it cannot be.
    """

    first: int
    second: int
    power_w: float
    least_v: float = 0.0

    def __post_init__(self) -> None:
        _check_load(self.power_w, self.least_v)

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        if abs(drop_v) >= self.least_v and drop_v != 0.0:
            return self.power_w / drop_v
        return self.power_w * drop_v / self.least_v**2 if self.least_v else math.inf

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        if abs(drop_v) >= self.least_v and drop_v != 0.0:
            return -self.power_w / drop_v**2
        return self.power_w / self.least_v**2 if self.least_v else -math.inf

    @property
    def law(self) -> Law:
        """The same as numbers; for a load that gives up."""
        return Law(self.power_w, -1.0, self.least_v, self.slope_s(0.0))


@dataclass(frozen=True)
class ConstantCurrent:
    """A load that keeps its current, as a linear regulator does; below `least_v` a resistor."""

    first: int
    second: int
    draw_a: float
    least_v: float = 0.0

    def __post_init__(self) -> None:
        _check_load(self.draw_a, self.least_v)

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        if abs(drop_v) >= self.least_v:
            return math.copysign(self.draw_a, drop_v) if self.least_v else self.draw_a
        return self.draw_a * drop_v / self.least_v

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        return 0.0 if abs(drop_v) >= self.least_v else self.draw_a / self.least_v

    @property
    def law(self) -> Law:
        """The same as numbers; for a load that gives up."""
        return Law(self.draw_a, 0.0, self.least_v, self.slope_s(0.0))


@dataclass(frozen=True)
class FilamentLamp:
    """A filament lamp: cold it conducts many times better than at its rated point.

    Hot, the current follows ``rated_a * (v / rated_v) ** exponent``; near 0 V it is the cold resistance,
    `cold_share` of the hot one. Exponent 0.55 and cold share 1/10 are from memory (handbook rules for
    gas-filled lamps; common practice, no source).
    """

    first: int
    second: int
    rated_v: float
    rated_w: float
    exponent: float = 0.55
    cold_share: float = 0.1

    def __post_init__(self) -> None:
        _check_load(self.rated_w, 0.0)
        if not (math.isfinite(self.rated_v) and self.rated_v > 0.0):
            raise BadValue(f"rated_v must be positive, not {self.rated_v}")
        if not (0.0 < self.exponent < 1.0 and 0.0 < self.cold_share <= 1.0):
            raise BadValue(f"exponent and cold share must lie in 0 to 1, not {self.exponent} and {self.cold_share}")

    @property
    def least_v(self) -> float:
        """0: a lamp never gives up."""
        return 0.0

    @property
    def hot_ohm(self) -> float:
        """Resistance at the rated point."""
        return self.rated_v**2 / self.rated_w

    @property
    def _cold_below_v(self) -> float:
        # v / i equals the cold resistance where (v / rated_v) ** (1 - exponent) equals the cold share
        return float(self.rated_v * self.cold_share ** (1.0 / (1.0 - self.exponent)))

    def current_a(self, drop_v: float) -> float:
        """Amperes from `first` to `second` at that many volts."""
        size = abs(drop_v)
        if size <= self._cold_below_v:
            return drop_v / (self.hot_ohm * self.cold_share)
        hot_a = self.rated_w / self.rated_v * (size / self.rated_v) ** self.exponent
        return math.copysign(hot_a, drop_v)

    def slope_s(self, drop_v: float) -> float:
        """Siemens, the slope of `current_a`."""
        size = abs(drop_v)
        if size <= self._cold_below_v:
            return 1.0 / (self.hot_ohm * self.cold_share)
        return self.exponent * abs(self.current_a(drop_v)) / size

    @property
    def law(self) -> Law:
        """The same as numbers."""
        amount = self.rated_w / self.rated_v ** (1.0 + self.exponent)
        return Law(amount, self.exponent, self._cold_below_v, self.slope_s(0.0))


@dataclass(frozen=True, eq=False)
class LoadLaws:
    """The laws of k loads as arrays of shape (k,); see `Law`.

    Raises
    ------
    BadValue : a law without a knee, that is, an electronic load that never gives up: `solve_with_loads` is for those
    """

    amount: FloatArray
    exponent: FloatArray
    knee_v: FloatArray
    low_s: FloatArray

    def __post_init__(self) -> None:
        if not np.all(self.knee_v > 0.0):
            raise BadValue("a load that never gives up has no law of two pieces")

    @staticmethod
    def of(laws: Iterable[Law]) -> LoadLaws:
        """The laws in the order given."""
        table = np.array(list(laws), dtype=np.float64).reshape(-1, 4)
        return LoadLaws(*table.T)

    def current_a(self, drop_v: FloatArray) -> FloatArray:
        """(k,) amperes from first to second end at (k,) volts."""
        size_v = np.abs(drop_v)
        high_a = self.amount * np.maximum(size_v, self.knee_v) ** self.exponent
        current_a: FloatArray = np.where(size_v < self.knee_v, self.low_s * drop_v, np.copysign(high_a, drop_v))
        return current_a

    def behind_a(self, free_v: FloatArray, ohm: FloatArray) -> FloatArray:
        """(k,) amperes of each load by itself, on a way that gives (k,) volts without it and has (k,) ohms; 0 where the volts are not above 0."""
        low_v, high_v = np.zeros_like(free_v), np.maximum(free_v, 0.0)  # across the load
        for _ in range(_HALVINGS):
            middle_v = (low_v + high_v) / 2.0
            more = free_v - ohm * self.current_a(middle_v) > middle_v
            low_v, high_v = np.where(more, middle_v, low_v), np.where(more, high_v, middle_v)
        return self.current_a(low_v)

    def slope_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens, the slope of `current_a`."""
        size_v = np.maximum(np.abs(drop_v), self.knee_v)
        high_s = self.amount * self.exponent * size_v ** (self.exponent - 1.0)
        slope_s: FloatArray = np.where(np.abs(drop_v) < self.knee_v, self.low_s, high_s)
        return slope_s

    def tangent_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens, the slope where it can be that of a resistor: it only says how to get to the state of rest."""
        tangent_s: FloatArray = np.clip(self.slope_s(drop_v), LOAD_BASE_S, 1.0 / LEAST_OHM)
        return tangent_s

    def along_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens, the slope itself: of a load that keeps its power less than nothing, of one that keeps its current next to nothing."""
        slope_s = self.slope_s(drop_v)
        along_s: FloatArray = np.where(slope_s < 0.0, slope_s, np.maximum(slope_s, LOAD_BASE_S))
        return along_s

    def resistor_s(self, drop_v: FloatArray) -> FloatArray:
        """(k,) siemens of the resistors that take the same at (k,) volts, within what a network takes."""
        with np.errstate(divide="ignore", invalid="ignore"):
            alike_s = np.where(drop_v == 0.0, self.low_s, self.current_a(drop_v) / drop_v)
        resistor_s: FloatArray = np.clip(alike_s, 1.0 / MOST_OHM, 1.0 / LEAST_OHM)
        return resistor_s


def _check_load(amount: float, least_v: float) -> None:
    if not (math.isfinite(amount) and amount > 0.0):
        raise BadValue(f"a load needs a positive amount, not {amount}")
    if not (math.isfinite(least_v) and least_v >= 0.0):
        raise BadValue(f"least_v must be zero or more, not {least_v}")
