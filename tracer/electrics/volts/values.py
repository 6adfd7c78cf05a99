"""What is said of the volts of a module's rows: values with their range, elements, probe points, lamp tests."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from tracer.electrics.limits_in_use import LimitInUse
from tracer.standards import figures
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding

FLOWS_A = 0.05  # less is nothing that flows through a short
NO_CURRENT = "no current flows here in this state: a reading proves nothing about resistance; load it"
HIDDEN_OHM = 0.6  # about 1 V under a lamp of 21 W; common practice, no source


@dataclass(frozen=True, slots=True)
class Range:
    """A nominal value with its ends: the band (`low` to `high`) in which 99 of 100 vehicles in order read, by which a reading is judged.

    `worst` is everything uncertain at its worst ends at once; where it is not given, the ends are those already.
    """

    low: float
    nominal: float
    high: float
    worst: tuple[float, float] | None = None

    @property
    def least(self) -> float:
        """The low end of the worst case."""
        return self.low if self.worst is None else self.worst[0]

    @property
    def most(self) -> float:
        """The high end of the worst case."""
        return self.high if self.worst is None else self.worst[1]


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


class Why(Enum):
    """Why this lamp, or why none."""

    NO_METHOD = "nothing is measured there"
    NO_FEED = "declared as signal, bus, reference, output or shield, or only carrying a level"
    SYSTEM = "no lamp for this system voltage"
    TOO_SMALL_A_FUSE = "the smallest lamp draws half of the fuse"
    PARTLY_RATED = "no lamp is small enough for the ratings that are known"
    UNRATED = "no rating known: the smallest lamp"
    BELOW_FUSE = "0.2 ohm shows clearly; the steady current is below half of the fuse"
    GENTLE = "an electronic output or a diode lies on the way"
    WIRE = "by the size of the wire at a ground pin"
    ASKED = "the lamp that was asked for"


@dataclass(frozen=True, slots=True)
class Lamp:
    """A test lamp: power in W, steady current in A, why this one. `watts` is None where no lamp may be used.

    `of` is what `why` is measured by: volts of the system, amperes of the fuse, mm² of the wire; of a lamp that was asked for the watts that the rule allows.
    """

    watts: float | None
    current_a: float
    why: Why
    of: float | None = None
    withheld: str = ""  # what stands in place of any lamp where nothing is measured
    system_v: float | None = None  # the volts that it is made for


@dataclass(frozen=True, slots=True)
class LampTest:
    """The module unplugged: what a meter shows at the harness pin, and what it shows with `lamp` on it. None where floating, `lamp_v` also where no lamp may hang."""

    meter_v: float | None
    lamp_v: float | None
    lamp: Lamp
    diode_v: float = 0.0  # of what is lost besides, what the law of the diodes on the way explains
    most_v: float | None = (
        None  # what a sound way loses at most besides; None behind a diode, and where that is not known
    )

    def lost_v(self, level: str) -> float:
        """What is lost under the lamp besides what the meter alone shows; never less than nothing."""
        meter_v, lamp_v = self.meter_v or 0.0, self.lamp_v or 0.0
        return max(0.0, meter_v - lamp_v if level == "supply" else lamp_v - meter_v)

    def hidden(self, level: str) -> bool:
        """Whether the way loses more under the lamp than a sound one, which the meter alone does not show.

        Where it is not known what a sound one loses, by the usual ohms: what is lost is missing at the lamp, which then draws less than it is rated for.
        """
        if self.most_v is not None:
            return self.lost_v(level) > self.most_v
        lost_v, rated_a, watts = self.lost_v(level) - self.diode_v, self.lamp.current_a, self.lamp.watts
        return watts is not None and lost_v > HIDDEN_OHM * rated_a * (1 - lost_v * rated_a / watts)


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
    def idle(self) -> bool:
        """Whether no current flows through the pin, so that what is lost there proves nothing."""
        return NO_CURRENT in self.verdicts

    @property
    def _figures(self) -> Figures:
        if self.figures is None:
            raise ValueError(f"{self.point}: {self.not_computed}")
        return self.figures


@dataclass(frozen=True, slots=True)
class Overload:
    """A fuse that carries more than its rating; `rating_a` is None where that is not known and what flows through a short flows over it."""

    fuse: str
    rating_a: float | None
    current_a: float

    @property
    def multiple(self) -> float:
        """Of its rating; 0 where that is not known."""
        return self.current_a / self.rating_a if self.rating_a else 0.0

    @property
    def words(self) -> str:
        """'F7 carries 17.2 A, more than its rating of 15 A'."""
        carries = f"{self.fuse} carries {figures.amps(self.current_a)}"
        if self.rating_a is None:
            return f"{carries}, its rating is not known: whether it opens is not known"
        return f"{carries}, more than its rating of {figures.stated(self.rating_a, 'A')}"


@dataclass(frozen=True, slots=True)
class Opening:
    """A fuse that opens, and the others that were overloaded, or of unknown rating, at that moment: one of those may have been the quicker."""

    fuse: Overload
    beside: tuple[Overload, ...]


@dataclass(frozen=True, slots=True)
class Shorted:
    """What a supposed short comes to: the fuses that it opens, one after another, and nominal amperes through it before the first and after the last of them.

    `fused` is whether a fuse was on the way of its current before one opened; `unrated` are those of unknown rating on its way in the end. `takes_over`: all of
    it flowed before, over other ways. `behind` are converters that would have to feed it: what they give then is not known, and `not_computed` says so.
    """

    openings: tuple[Opening, ...]
    first_a: float
    left_a: float
    fused: bool
    unrated: tuple[Overload, ...] = ()
    takes_over: bool = False
    behind: tuple[str, ...] = ()
    not_computed: str = ""

    @property
    def flows(self) -> bool:
        """Whether anything flows through it before a fuse opens."""
        return self.first_a >= FLOWS_A

    @property
    def flows_on(self) -> bool:
        """Whether anything flows through it in the state that is computed."""
        return self.left_a >= FLOWS_A


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
    overloads: tuple[Overload, ...] = ()  # fuses that carry more than their rating in the state that is computed
    wires_c: tuple[float, float] | None = None  # coldest and warmest that a wire is computed at
    shorted: Shorted | None = None  # what a short comes to where one is supposed: all else is the state after it
    minding: Minding = NOTHING
