"""The limits that hold for one vehicle in one workshop, and where each of them is from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from tracer.circuit.model import Circuit
from tracer.entry.file_models import ShopFacts
from tracer.standards import figures
from tracer.standards.overrides import Standing, standing
from tracer.standards.sources import Certainty, said


@dataclass(frozen=True, slots=True)
class LimitInUse:
    """One limit or range. `origin` is what it is in one word (`Certainty`); `low` and `nominal` are None for a single limit.

    What is typed in for the vehicle is the maker's.
    """

    item: str
    unit: str
    low: float | None
    nominal: float | None
    high: float
    origin: Certainty
    source: str

    @property
    def said(self) -> str:
        """What it is and where it is from: 'custom of the trade, no source'."""
        return said(self.origin, self.source)

    def words(self) -> str:
        """The value with its unit: '0.50 V', '12.20 to 12.80 V'."""
        if self.low is None:
            return figures.stated(self.high, self.unit) if self.unit != "V" else figures.volts(self.high)
        if self.unit == "V":
            return f"{figures.volts_ends(self.low, self.high)} V"
        return figures.stated_range(self.low, self.high, self.unit)


@dataclass(frozen=True)
class LimitsInUse:
    """Limits looked up in the vehicle's own, then the workshop's, then the tables of this tool."""

    system_v: int
    vehicle: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    shop: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    shop_name: str = ""

    def of(self, item: str) -> LimitInUse:
        """The limit of that name.

        Raises
        ------
        KeyError : no such limit
        """
        usual = standing(self.system_v)[item]
        if item in self.vehicle:
            return _own(usual, self.vehicle[item], "maker", "`limits` in vehicle.yaml")
        if item in self.shop:
            return _own(usual, self.shop[item], "shop", f"limits of {self.shop_name or 'the workshop'}")
        return LimitInUse(item, usual.unit, usual.low, usual.nominal, usual.high, usual.certainty, usual.source)

    def for_source(self, volts: float) -> LimitsInUse:
        """The limits for what is fed from a source of these volts: a 12 V tap or the 12 V of a converter is not judged as 24 V.

        Limits of the vehicle and the workshop still hold, save those for the volts of the whole system.
        """
        fits = next((system for system in (12, 24) if volts <= 1.4 * system), 48)
        if fits >= self.system_v:
            return self
        return LimitsInUse(fits, _without_volts(self.vehicle), _without_volts(self.shop), self.shop_name)


def _without_volts(limits: Mapping[str, tuple[float, ...]]) -> dict[str, tuple[float, ...]]:
    """Limits that do not depend on the volts of the system."""
    return {
        item: values for item, values in limits.items() if item != "module supply" and not item.startswith("battery ")
    }


def _own(usual: Standing, values: tuple[float, ...], origin: Certainty, source: str) -> LimitInUse:
    if not usual.is_range:
        return LimitInUse(usual.item, usual.unit, None, None, values[-1], origin, source)
    low, high = values[0], values[-1]
    return LimitInUse(usual.item, usual.unit, low, (low + high) / 2, high, origin, source)


def limits_of(circuit: Circuit, shop: ShopFacts | None = None) -> LimitsInUse:
    """The limits for a vehicle, with those of a workshop behind its own."""
    vehicle = circuit.typed.vehicle
    return LimitsInUse(
        system_v_of(circuit),
        vehicle.limits,
        shop.limits if shop else {},
        (shop.shop or "the workshop") if shop else "",
    )


def system_v_of(circuit: Circuit) -> int:
    """12, 24 or 48."""
    return int(circuit.typed.vehicle.system.split()[0])


def accuracy_ohm(limits: LimitsInUse, ohm: float) -> float:
    """How far a meter may be off at a reading of that many ohms; 0 where it reads open."""
    if not math.isfinite(ohm):
        return 0.0
    return limits.of("meter resistance share").high * ohm + limits.of("meter resistance digits").high
