"""What `supplies_of` answers with: plain values, ready to be shown or turned into JSON. Units are in the names; order is the order shown."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from tracer.entry.problems import Place
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding

if TYPE_CHECKING:
    from tracer.trace.rules.registry import Finding


@dataclass(frozen=True, slots=True)
class Expect:
    """What to read at a probe point: in words, with the limit in V and where it is from. `live` is per key state."""

    text: str
    limit_v: float | None
    source: str
    live: dict[str, str]
    no_method: str = ""  # what stands in place of a reading where nothing may be measured


@dataclass(frozen=True, slots=True)
class Probe:
    """One place to touch.

    `kind` is in words ("fuse, feed side"); `sole`: every way of the row runs through it; `shared_with`: other rows that have it too; `wire`: the wires of
    the way at this place, as typed.
    """

    at: str
    part: str
    kind: str
    place: str | None
    access: str | None
    sheets: tuple[str, ...]
    wire: str
    sole: bool
    shared_with: tuple[str, ...]
    expect: Expect
    seen: str


@dataclass(frozen=True, slots=True)
class FuseOnWay:
    """A fuse, link or breaker on a way; `alone`: with every other parallel fuse out, it still feeds the pin (None: not certain).

    `beside` names sources that may be dead, when every way but theirs runs through it.
    """

    part: str
    kind: str
    amps: float | None
    sole: bool
    alone: bool | None
    panel: str | None
    state: str | None
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RowEnd:
    """Where a way begins: a source, or a ground reference. `why` says what it is or why it is assumed."""

    id: str
    assumed: bool
    why: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Parts and sources that lie only on ways over contacts that are never closed together, and the switches or relays of these contacts."""

    names: tuple[str, ...]
    switches: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One traced pin.

    `code` is S for supply, G for ground, V for a pin that carries supply or ground level without being declared so, C for a side chain. `declared` is
    what the sheet calls the pin ("" when it says nothing). `live` maps each key state to live, dead, depends or unknown, `why` to the reasons.
    """

    code: str
    part: str
    pin: str
    level: str  # supply | ground
    declared: str
    wire: str
    fuses: tuple[FuseOnWay, ...]
    ends: tuple[RowEnd, ...]
    probes: tuple[Probe, ...]
    switches: tuple[str, ...]
    diodes: tuple[str, ...]
    references: tuple[str, ...]
    live: dict[str, str]
    why: dict[str, tuple[str, ...]]
    needs: tuple[str, ...]
    joined_with: tuple[str, ...]
    notes: tuple[str, ...]
    what_for: str = ""  # side chains: what the chain is for, in words
    left_out: tuple[LeftOut, ...] = ()
    too_many: tuple[str, ...] = ()  # switches with too many positions together: the row may list more than there is
    no_method: str = ""  # what stands in place of every method and figure, on restraint and high-voltage wiring

    @property
    def point(self) -> str:
        return f"{self.part}.{self.pin}" if self.pin else self.part


@dataclass(frozen=True, slots=True)
class ThroughLoad:
    """A pin that supply reaches only through loads: it reads battery voltage without load, and is not a supply."""

    pin: str
    declared: str
    level: str
    loads: tuple[str, ...]
    note: str
    no_method: str = ""


@dataclass(frozen=True, slots=True)
class Cavity:
    """One cavity of the module: what it counts as, what was declared, what was traced."""

    pin: str
    kind: str  # supply | ground | bus | output | reference | signal | shield | unused | not looked at | unaccounted
    declared: str
    traced: str
    row: str


@dataclass(frozen=True, slots=True)
class LooseEnd:
    """Something whose other end is not known."""

    code: str
    place: Place
    at: str
    message: str
    fix: str

    @staticmethod
    def of(finding: Finding) -> LooseEnd:
        """What a rule found, without what only picks the lists that it concerns."""
        return LooseEnd(finding.code, finding.place, finding.at, finding.message, finding.fix)


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """The count of what is above each pin, made by a separate walk; `differences` is empty when both agree.

    `not_walked` are pins above which there are too many ways to walk them all: what was found holds, what was not found proves nothing.
    """

    pins: tuple[str, ...]
    grounds: tuple[str, ...]
    fuses: tuple[str, ...]
    differences: tuple[str, ...]
    not_walked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SupplyReport(Answer):
    """Every supply and ground of one module; `gets` says how it has the supply or ground that no pin has: passive, case, or a module."""

    vehicle: str
    module: str
    name: str | None
    place: str | None
    access: str | None
    keys: tuple[str, ...]
    completeness: Completeness
    supplies: tuple[Row, ...]
    grounds: tuple[Row, ...]
    carrying: tuple[Row, ...]
    chains: tuple[Row, ...]
    through_loads: tuple[ThroughLoad, ...]
    census: tuple[Cavity, ...]
    cavities_listed: bool
    loose_ends: tuple[LooseEnd, ...]
    remarks: tuple[LooseEnd, ...]
    cross_check: CrossCheck
    sheets: tuple[str, ...]
    cautions: tuple[str, ...]
    gets: dict[str, str] = field(default_factory=dict)
    minding: Minding = NOTHING

    @property
    def loose_elsewhere(self) -> int:
        """Loose ends of the vehicle that lie on no way to this module."""
        return self.completeness.elsewhere

    @property
    def rows(self) -> tuple[Row, ...]:
        """All rows in the order shown."""
        return (*self.supplies, *self.grounds, *self.carrying, *self.chains)


@dataclass(frozen=True, slots=True)
class News:
    """One thing: `mark` is + where it is new, - where it is gone, ~ where it is another one. `words` are of the list that has it, the later one where both do."""

    mark: str
    about: str
    words: str
