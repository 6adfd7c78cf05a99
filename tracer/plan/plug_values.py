"""What stands on the worksheet of a module, as plain values: what is looked at, each pin's two readings, and the tests beside them."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.plan.values import Computed, Decides, Face, Glance, PinAtAGlance, Plan, Range, Step


@dataclass(frozen=True, slots=True)
class Look:
    """A fuse or a relay of the list that is looked at before anything is measured; `amps` None: not known, or a relay."""

    part: str
    label: str
    kind: str  # fuse | relay
    panel: str | None
    place: str | None
    amps: float | None = None


@dataclass(frozen=True, slots=True)
class PinAtPlug:
    """A pin: read plugged in (`plugged`), then unplugged and alone, by the meter (`bare`) and with the lamp of its test."""

    pin: PinAtAGlance
    plugged: Step | None
    bare: Computed | None


@dataclass(frozen=True, slots=True)
class Leg:
    """One of several parallel ways of a pin by itself: `out` are the fuses that are pulled, or the ground points whose eyelets are off, meanwhile."""

    name: str
    point: str
    level: str
    by: str
    out: tuple[str, ...]
    test: Decides


@dataclass(frozen=True, slots=True)
class MustWork:
    """A relay, module or converter that must work before some pins are live; `pulled_by`: pins of the module that pull it, `at_rest`: it must not be pulled."""

    part: str
    kind: str
    pins: tuple[str, ...]
    pulled_by: tuple[str, ...] = ()
    at_rest: bool = False


@dataclass(frozen=True, slots=True)
class AfterKey:
    """A supply that stays live for a while after the key is off: because the module itself holds it (`held`), or an output of another one does."""

    name: str
    point: str
    held: bool
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cranking:
    """What is read in one key state in which the starter turns: the supplies that must stay live, with their volts, and those that must be dead."""

    key: str
    live: tuple[tuple[str, str, Range | None], ...]  # name, point, volts
    dead: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Output:
    """A reference output of the module (5 V for sensors): its volts where typed in, and what hangs on it."""

    pin: str
    volts: float | None
    feeds: tuple[str, ...]


OUTPUT, LEVEL, AWAKE, GONE, UNTRACED, AT_REST, TO_GROUND = "output", "level", "bus awake", "gone after", "way not known", "bus asleep", "bus to ground"  # fmt: skip
# kinds of what is asked beside the tests of the pins


@dataclass(frozen=True, slots=True)
class Beside:
    """One thing to read. `names` are the full names that mean it, the usual one first; `pin` stands on the worksheet, `about` says more there.

    `unit` is V, ohm or s. `low` and `high` are the ends of what is in order, None where there is no such end; `nominal` what is usual.
    """

    kind: str
    pin: str
    point: str
    names: tuple[str, ...]
    unit: str
    key: str
    plugged: bool
    asleep: bool = False
    low: float | None = None
    nominal: float | None = None
    high: float | None = None
    about: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlugWorksheet:
    """The whole worksheet. `not_unplugged` says why the module stays plugged in where it does. `dead` has the pins that must be dead in each key state, unplugged; `posts` the volts at the battery by key state."""

    glance: Glance
    plan: Plan
    not_unplugged: str
    working: str  # the key state in which most supplies are live
    looks: tuple[Look, ...]
    posts: dict[str, Range]
    charging: Range | None
    must_work: tuple[MustWork, ...]
    pins: tuple[PinAtPlug, ...]
    untraced: tuple[tuple[str, tuple[Step, ...]], ...]  # pin, one step for each key state
    legs: tuple[Leg, ...]
    outputs: tuple[Output, ...]
    after_key: tuple[AfterKey, ...]
    dead: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    cranking: tuple[Cranking, ...]
    bus_levels: tuple[Step, ...]
    bus_ohms: tuple[Step, ...]
    overloads: tuple[str, ...] = ()  # fuses that carry more than their rating, in words
    faces: tuple[Face, ...] = ()  # of the module's plug and of connectors on the ways, each as typed and mirrored
    beside: tuple[Beside, ...] = ()  # what is asked beside the tests of the pins


__all__ = [
    "AT_REST",
    "AWAKE",
    "GONE",
    "LEVEL",
    "OUTPUT",
    "TO_GROUND",
    "UNTRACED",
    "AfterKey",
    "Beside",
    "Cranking",
    "Leg",
    "Look",
    "MustWork",
    "Output",
    "PinAtPlug",
    "PlugWorksheet",
]  # fmt: skip
