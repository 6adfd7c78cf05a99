"""What is said of the volts of a module's rows: values with their range, elements, probe points, lamp tests."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.electrics.limits_in_use import LimitInUse
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding


@dataclass(frozen=True, slots=True)
class Range:
    """Least, nominal and greatest value."""

    low: float
    nominal: float
    high: float


@dataclass(frozen=True, slots=True)
class ElementVolts:
    """One element on the way of a row: its current (A) and drop (V), the drop of its copper alone, and the usual limit for such an element."""

    name: str
    from_point: str
    to_point: str
    ohm: Range
    current_a: Range
    drop_v: Range
    copper_v: float
    basis: str
    assumed: str
    limit: LimitInUse | None

    @property
    def over(self) -> bool:
        """Whether it is over its limit although in order, nominal current."""
        return self.limit is not None and self.drop_v.nominal > self.limit.high


@dataclass(frozen=True, slots=True)
class ProbeVolts:
    """A probe point: volts to battery negative, and volts lost up to it (supply: from the source; ground: to battery negative)."""

    at: str
    volts: Range
    lost: Range
    floating: bool


@dataclass(frozen=True, slots=True)
class LampTest:
    """The module unplugged: what a meter shows at the harness pin, and what it shows with a lamp of `watts` on it. None where floating.

    No lamp belongs on a pin that is declared as something else than supply or ground, whatever was traced to it: `allowed` is false, `lamp_v` None.
    """

    meter_v: float | None
    lamp_v: float | None
    watts: float
    allowed: bool = True


@dataclass(frozen=True, slots=True)
class Figures:
    """What is computed for a row: volts to battery negative, volts lost, amperes through its pin."""

    volts: Range
    lost: Range
    current_a: Range


@dataclass(frozen=True, slots=True)
class RowVolts:
    """One row in one state.

    `state` is live, dead or depends (for a ground: grounded, open, depends); `why` what it depends on. `elements` are the way along which most of its current
    flows, from the source to the pin (ground: from the pin to battery negative). `across` is the voltage to the module's return pin `across_to`. `closes_mv` is
    what is left when the drops on the way, the module and the drops on the way back are taken from the battery. `limit` is for the whole way.
    Where `not_computed` says why there is neither figure nor verdict, `figures` is None, and asking for one of them is an error.
    """

    code: str
    point: str
    level: str
    declared: str
    state: str
    why: tuple[str, ...]
    floating: bool
    figures: Figures | None
    copper_v: float
    limit: LimitInUse
    elements: tuple[ElementVolts, ...]
    probes: tuple[ProbeVolts, ...]
    across: Range | None
    across_to: str
    closes_mv: float | None
    in_order_v: float | None
    verdicts: tuple[str, ...]
    assumed: tuple[str, ...]
    lamp: LampTest | None
    not_computed: str = ""
    no_method: bool = False  # not computed because nothing may be measured there: no limit is named either

    @property
    def volts(self) -> Range:
        """At the pin, to battery negative."""
        return self._figures.volts

    @property
    def lost(self) -> Range:
        """Volts lost up to the pin; of a ground, from the pin to battery negative."""
        return self._figures.lost

    @property
    def current_a(self) -> Range:
        """Amperes through the pin."""
        return self._figures.current_a

    @property
    def _figures(self) -> Figures:
        if self.figures is None:
            raise ValueError(f"{self.point}: {self.not_computed}")
        return self.figures


@dataclass(frozen=True, slots=True)
class VoltsReport(Answer):
    """A module's rows in one key state, with what they rest on."""

    vehicle: str
    module: str
    key: str
    battery: Range
    battery_state: str
    battery_source: str
    changes: tuple[str, ...]
    held: tuple[str, ...]
    rows: tuple[RowVolts, ...]
    undecided: tuple[str, ...]
    notes: tuple[str, ...]
    completeness: Completeness  # of the module's list
    meter_ohm: float
    system_v: int
    assumed_currents: int  # of all modules and loads, not only on the rows
    minding: Minding = NOTHING


# --- words -----------------------------------------------------------------------------------------------------------


def amps_number(amps: float, figures: int = 2) -> str:
    """'0.015', '1.2', '120': rounded to so many figures and written out; below 1 mA 0."""
    return f"{float(f'{amps:.{figures}g}'):g}" if amps >= 0.001 else "0"


def drop_words(volts: float) -> str:
    """'15 mV', '0.12 V'."""
    return f"{volts * 1000:.0f} mV" if volts < 0.1 else f"{volts:.2f} V"
