"""What is measured of a module and what is expected there, as plain values: steps, in batches by place and key state."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from tracer.electrics.bus.values import BusReport
from tracer.electrics.limits_in_use import LimitInUse
from tracer.electrics.volts.values import Lamp, Range
from tracer.plan.codes import CodedPoint
from tracer.plan.words import LEAST_OF_LAMP, may_seem_unlit
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.lists.results import Cavity, LooseEnd, Row, SupplyReport
from tracer.trace.minding import NOTHING, Minding

METER_ONLY = "none, meter only"
GROUND_BELOW_V = 1.0  # what a ground that is there stays below, plugged in


@dataclass(frozen=True, slots=True)
class Computed:
    """What is expected in one box of one row.

    `box` is volts, loaded, drop or ohms; `value` is in V to battery negative (in Ω for ohms), None where the point floats. `lost_*_v` is what is lost up to the
    point: for a supply from battery positive, for a ground to battery negative. `load` is what draws at that moment, `basis` what the value rests on.
    `not_computed` says why there is no value although the point does not float.
    """

    box: str
    state: str
    plugged: bool
    load: str
    value: Range | None
    lost_nominal_v: float | None = None
    lost_high_v: float | None = None
    limit_v: float | None = None
    source: str = ""
    basis: str = ""
    not_computed: str = ""

    @property
    def floating(self) -> bool:
        """Whether there is no way to the battery, so that no number means anything."""
        return self.value is None and not self.not_computed

    @property
    def unit(self) -> str:
        return "ohm" if self.box == "ohms" else "V"


def there(level: str, computed: Computed | None, system_v: float) -> bool:
    """Whether the computed value is that of a supply, or of a ground, that is there."""
    value = None if computed is None else computed.value
    return value is not None and (value.nominal > system_v / 2 if level == "supply" else value.nominal < GROUND_BELOW_V)


# Why a lamp tells nothing at a pin of an unplugged module: its only way runs through the module itself, or it hangs on a converter that floats.
ON_NOTHING = "on nothing while unplugged, no lamp lights there: read it plugged in"


class Kind(Enum):
    """What is done in a step."""

    BATTERY = "battery"  # volts at the posts: every reading refers to them
    POINT = "point"  # a probe point, plugged in and working
    COIL = "coil"  # across the coil of a relay
    ALONE = "alone"  # one pin by itself, unplugged
    BY_FUSE = "by fuse"  # the same over one of several parallel fuses, the others out
    UNTRACED = "untraced"  # a pin declared as supply or ground whose way is not known
    BUS_LEVEL = "bus level"
    BUS_OHM = "bus ohm"
    FIT = "fit"  # how tight the contact sits


@dataclass(frozen=True, slots=True)
class Feeder:
    """A fuse, switching part or source right before a point; `amps` is None where the rating is not known, `rated` false where it has none."""

    name: str
    rated: bool = False
    amps: float | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to measure.

    `boxes` says which of volts, loaded, drop, ohms, tick are to be filled; `must`: it decides. `state` is live, dead, depends or unknown, `why` what it
    hangs on. `bare` is computed without a lamp, `loaded` with `lamp`; `usual` is the limit where nothing is computed. `held` are contacts that the
    module itself holds closed, `leads` the pins of its plug that a fused lead joins to close them, `out` fuses that are pulled for this step.
    """

    kind: Kind
    code: str
    point: str
    key: str
    plugged: bool
    boxes: frozenset[str]
    rows: tuple[Row, ...] = ()
    coded: CodedPoint | None = None
    cavity: Cavity | None = None
    state: str = ""
    why: tuple[str, ...] = ()
    wire: str = ""
    part_kind: str = ""  # of the part that is touched
    fed_by: tuple[Feeder, ...] = ()
    must: bool = False
    lamp: Lamp | None = None
    bare: Computed | None = None
    loaded: Computed | None = None
    usual: LimitInUse | None = None
    held: tuple[str, ...] = ()
    leads: tuple[tuple[str, str], ...] = ()
    out: tuple[str, ...] = ()
    fuse: Feeder | None = None
    bus: BusReport | None = None
    bus_line: str = ""
    no_method: str = ""  # what stands in place of it all: nothing is measured there

    @property
    def row(self) -> Row:
        """The row that it belongs to."""
        return self.rows[0]

    @property
    def computed(self) -> tuple[Computed, ...]:
        """The values behind what is expected, one for each box that has one."""
        return tuple(one for one in (self.bare, self.loaded) if one is not None)


@dataclass(frozen=True, slots=True)
class StepBatch:
    """Steps at one place in one key state, with the module plugged in or not. `first_unplugged`: the module is unplugged now, and stays so."""

    place: str | None
    access: str
    key: str
    plugged: bool
    first_unplugged: bool
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Plan:
    """All steps of a module. `failed` maps key states without computed values to the reason, `batteries` key states to what is at the posts."""

    module: str
    system_v: float
    cranks: bool
    batches: tuple[StepBatch, ...]
    failed: dict[str, str]
    batteries: dict[str, tuple[Range, str]] = field(default_factory=dict)
    overloads: tuple[str, ...] = ()  # fuses that carry more than their rating, in words


# --- the first look -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class OnWay:
    """A fuse, a contact, an output, a splice or a ground point on the way of a row; `amps` of a fuse, None where it is not known.

    `pins` of a contact ("30-87"); `at_rest`: of a relay, closed only while it is not pulled in; `beside`: another way leads past it.
    """

    part: str
    kind: str  # fuse | contact | output | joint
    panel: str | None
    amps: float | None = None
    pins: tuple[str, ...] = ()
    beside: bool = False
    at_rest: bool = False


@dataclass(frozen=True, slots=True)
class Decides:
    """The module unplugged, one pin alone, in one key state: by how many volts the lamp lets the drop of a sound way grow.

    Up to `most_v` in 99 of 100 vehicles in order, the meter's error included; more is a bad joint. One of less than `hides_ohm` may not show.
    `key` is empty where no key state is known in which the pin is live. `why_not` says why there is no figure. `held`: contacts on the way that the module itself pulls, so
    that they are open while it is unplugged; `leads` are the pins of the plug that a fused lead joins for the test, so that they close.
    """

    key: str
    lamp: Lamp
    most_v: float | None = None
    hides_ohm: float | None = None
    why_not: str = ""
    held: tuple[str, ...] = ()
    leads: tuple[tuple[str, str], ...] = ()

    @property
    def least_v(self) -> float | None:
        """By how much the lamp moves a sound pin at least; None without a figure."""
        if self.most_v is None or self.hides_ohm is None:
            return None
        return self.most_v - self.hides_ohm * LEAST_OF_LAMP * self.lamp.current_a

    @property
    def wants_lit(self) -> bool:
        """Whether the volts alone may not show that the lamp was lit."""
        return may_seem_unlit(self.least_v)


@dataclass(frozen=True, slots=True)
class Piece:
    """A wire or a part on a way, in words that no other piece of the way has; its two ends, the one nearer to the source first."""

    words: str
    kind: str
    ends: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LegAlone:
    """One of several parallel ways of a pin that is tried by itself: `out` is opened meanwhile (fuses, ground points), and `proves` then carries the whole current (link numbers)."""

    by: str
    out: tuple[str, ...]
    proves: frozenset[int]


@dataclass(frozen=True, slots=True)
class SideBySide:
    """The pieces of a way by link number, in order from the source; which of them the pin alone proves, and each leg; `left`: beside something else in every test, so no test tells them apart."""

    pieces: Mapping[int, Piece]
    alone: frozenset[int]
    legs: tuple[LegAlone, ...] = ()
    left: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PinAtAGlance:
    """One row: its short name (`2+`, `1-`), what is on its way from the source (a ground: from the pin), its test, where to split, what lies side by side."""

    name: str
    row: Row
    way: tuple[OnWay, ...]
    test: Decides
    splits: tuple[str, ...]
    beside: SideBySide


@dataclass(frozen=True, slots=True)
class BusAtAGlance:
    """A bus of the module: its pins with their lines, and the ohms between them with the module unplugged and everything asleep."""

    name: str
    pins: tuple[tuple[str, str], ...]
    ohms: float | None


@dataclass(frozen=True, slots=True)
class Glance:
    """The first look at a module's list. `why_not` says why there are no figures. `unknown` are pins declared as supply or ground, or not accounted for, whose way is not known.

    `loose_ends` stand in an order that does not depend on who typed what where, since only the first of many are shown.
    """

    report: SupplyReport
    pins: tuple[PinAtAGlance, ...]
    unknown: tuple[Cavity, ...]
    panels: tuple[tuple[str, str | None, str | None], ...]  # name, place, how to open it
    buses: tuple[BusAtAGlance, ...]
    loose_ends: tuple[LooseEnd, ...]
    why_not: str = ""


# --- the face of a connector --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Face:
    """The cavities of a plug, or of one `half` of a connector (in words), row by row as they sit seen from the side `viewed`; "" where there is none.

    `mirrored`: drawn from the face that was typed, seen from the other side. `levels` says of the cavities of a list whether they are supply or ground; `beside`
    are those of them that the typed face does not hold.
    """

    part: str
    half: str
    viewed: str  # wire side | mating side
    mirrored: bool
    rows: tuple[tuple[str, ...], ...]
    levels: dict[str, str]
    beside: tuple[str, ...] = ()


# --- at one place -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PointAtPlace:
    """One point to touch there. `live` is per key state, `rows` are the full names of the rows that run over it, modules first.

    `volts` is what is computed for it in `key`, plugged in; None where nothing is. Where `no_method` says so, nothing is measured there.
    """

    at: str
    part: str
    kind: str
    wire: str
    level: str
    live: dict[str, str]
    rows: tuple[str, ...]
    no_method: str = ""
    key: str = ""
    volts: Range | None = None


@dataclass(frozen=True, slots=True)
class AtPlace(Answer):
    """Everything that can be read at a place. `parts` are those that sit there, on a list or not; `modules` whose lists were looked through."""

    vehicle: str
    place: str
    access: str
    parts: tuple[str, ...]
    modules: tuple[str, ...]
    keys: tuple[str, ...]
    points: tuple[PointAtPlace, ...]
    completeness: Completeness
    minding: Minding = NOTHING


__all__ = [
    "GROUND_BELOW_V", "METER_ONLY", "ON_NOTHING", "AtPlace", "BusAtAGlance", "Computed", "Decides", "Face", "Feeder", "Glance", "Kind", "Lamp", "LegAlone", "OnWay", "Piece", "PinAtAGlance", "Plan", "PointAtPlace", "Range", "SideBySide", "Step", "StepBatch", "there",
]  # fmt: skip
