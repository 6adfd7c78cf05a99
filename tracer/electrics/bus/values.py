"""What is said of a bus: its modules and terminations, the resistance at each access point in each case, what a test tells, its levels."""

from __future__ import annotations

from dataclasses import dataclass, field

from tracer.entry.problems import CannotAnswer
from tracer.standards import figures
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding

HIGH_SPEED, FAULT_TOLERANT, LIN = "high-speed can", "fault-tolerant can", "lin"  # as they are typed
KINDS = {HIGH_SPEED: "high-speed CAN", FAULT_TOLERANT: "fault-tolerant CAN", LIN: "LIN"}
ALL_STATES = "all states"  # of a level that is computed in none
AVERAGE = "awake, with traffic, meter average"  # a state of the table of levels
AWAKE, ASLEEP = (
    "awake, at rest",
    "asleep",
)  # states of what is expected on a line: volts, and ohms with the supplies off and all asleep
PLUGGED, ONE_OUT, UNPLUGGED = "off, all plugged in", "off, one unplugged", "off, all unplugged"
OPEN_OHM = 1e6  # readings above count as open
INPUTS_OHM = 1e3  # from here on no termination is in reach: open, or the inputs of nodes


class UnknownBus(CannotAnswer, LookupError):
    """There is no such bus, or no such access point; the message says which there are."""


@dataclass(frozen=True, slots=True)
class BusNode:
    """A module on a bus with its pins of each line: the first is where its transceiver is taken to sit, the others pass the line on."""

    module: str
    pins: dict[str, tuple[int, ...]]
    pin_names: dict[str, str]  # by line: 'ALM.25', or 'GTW.1, GTW.3'


@dataclass(frozen=True, slots=True)
class BusTermination:
    """One termination: in resistors of its own, or inside a module (`module`). `ohms` None where not known; `problem` says what does not fit.

    `ends` are the nodes on line H and on line L between which it lies. Resistors in a row (a split termination in the harness) are one termination.
    """

    name: str
    module: bool
    ohms: float | None
    split: bool
    fitted: bool
    problem: str = ""
    ends: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Access:
    """A place where both lines can be touched."""

    name: str
    part: str
    high: int
    low: int
    module: str = ""


@dataclass(frozen=True, slots=True)
class Ohm:
    """Resistance between the lines: least, nominal, greatest; infinite where there is no way."""

    low: float
    nominal: float
    high: float

    @property
    def is_open(self) -> bool:
        return self.nominal > OPEN_OHM


@dataclass(frozen=True, slots=True)
class Case:
    """One state of the bus and what is read at each access point (None: cannot be touched then). `kind`: in order, unplugged, termination, short, open, added."""

    kind: str
    words: str
    parts: tuple[str, ...]
    expected: tuple[Ohm | None, ...]
    change: tuple[tuple[float, float], ...] = ()  # least and most by which unplugging moves each of them


@dataclass(frozen=True, slots=True)
class Test:
    """A test and whether it can tell: unplug a module, read at an access point."""

    words: str
    module: str
    own_plug: bool  # read at the harness pins of the module itself
    at: str
    before: Ohm
    after: Ohm
    change_low: float
    change_high: float
    accuracy: float
    tells: bool
    verdict: str


@dataclass(frozen=True, slots=True)
class Stub:
    """A branch from the trunk to a module: where it leaves, its length in m (None where a length is not known)."""

    module: str
    leaves_at: str
    length_m: float | None


@dataclass(frozen=True, slots=True)
class LevelLine:
    """An expected level of one line: state, low, nominal, high in V, in words where numbers do not fit."""

    state: str
    line: str
    low_v: float | None
    nominal_v: float | None
    high_v: float | None
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class ExpectedOnLine:
    """What one line must read to ground or to supply in a state: low, nominal, high in V or Ω (infinite where open); None where not given, with why in `words`."""

    state: str
    line: str
    to: str  # ground | supply
    unit: str
    low: float | None
    nominal: float | None
    high: float | None
    words: str
    source: str


@dataclass(frozen=True)
class BusReport(Answer):
    """One bus: what it is made of, what is read where, what a test tells. `cases` begins with the bus in order."""

    vehicle: str
    name: str
    title: str
    kind: str  # as typed; "" where not said
    lines: tuple[str, ...]
    nodes: tuple[BusNode, ...]
    terminations: tuple[BusTermination, ...]
    trunk: tuple[str, ...]
    trunk_m: float | None
    stubs: tuple[Stub, ...]
    accesses: tuple[Access, ...]
    cases: tuple[Case, ...]
    tests: tuple[Test, ...]
    levels: tuple[LevelLine, ...]
    notes: tuple[str, ...]
    problems: tuple[str, ...]
    meter: str
    completeness: Completeness
    line_ohms: dict[str, float] = field(default_factory=dict)
    commander: str = ""
    not_to_measure: tuple[
        tuple[str, str], ...
    ] = ()  # access points and modules at which nothing may be measured, with the reason
    minding: Minding = NOTHING
    on_lines: tuple[ExpectedOnLine, ...] = ()
    supply_v: float | None = None  # what the readings to supply are held against

    def expected_on_line(self, state: str, line: str, to: str = "ground") -> ExpectedOnLine | None:
        """What a line must read in a state; None where nothing is said."""
        return next((one for one in self.on_lines if (one.state, one.line, one.to) == (state, line, to)), None)


# --- words -----------------------------------------------------------------------------------------------------------


def ohm_words(ohm: float) -> str:
    """'60 Ω', '12.3 kΩ', 'open'."""
    return "open" if ohm > OPEN_OHM else figures.ohms(ohm)
