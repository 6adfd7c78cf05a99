"""What a link and a part of each kind are in a circuit: one row for each kind. The sets that walks ask for are made from the rows.

The second count has a table of its own (`trace/lists/second_table.py`), so that a slip here does not hide in both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum, IntEnum, auto, unique

from tracer.entry.part_kinds import PartKind


@unique
class LinkKind(IntEnum):
    """What joins two nodes."""

    WIRE = 0
    REFERENCE = auto()  # the two halves of a wire that goes on at another mark
    FUSE = auto()
    MATING = auto()  # the two halves of an in-line cavity
    BUSSED = auto()  # a cavity of a joint connector and its group
    BUSBAR = auto()
    MASS = auto()  # a ground point and the mass it sits on
    STRAP = auto()
    MEETS = auto()  # two points bolted together
    RAIL = auto()  # a rail and the point where it begins
    CONTACT = auto()
    DIODE = auto()  # conducts from `a` to `b`
    JOINED = auto()  # pins bridged inside a module
    DRIVER_HIGH = auto()  # from the module's supply pin `a` to its output `b`
    DRIVER_LOW = auto()  # from the module's output `a` to its ground pin `b`
    COIL = auto()
    LOAD = auto()
    RESISTOR = auto()
    CONVERTER = auto()  # the input side: a load


@dataclass(slots=True)
class Link:
    """One link. `part` is the part it is inside of; a wire has its run and the number of the wire in that run instead."""

    a: int
    b: int
    kind: LinkKind
    part: str = ""
    run: int = -1
    wire: int = -1
    closed: tuple[str, ...] = ()  # CONTACT: the positions in which it is closed
    output: str = ""  # DRIVER: the module's output pin
    lever: str = ""  # CONTACT: which of the part's levers moves it; with `part` it names what has the positions


# --- links ---------------------------------------------------------------------------------------------------------


class Lies(Enum):
    """Where a link is."""

    OUTSIDE = "it reaches a node from outside the node's part"
    ON_PAPER = "one conductor, drawn in two places"
    INSIDE = "inside a part"
    IN_MODULE = "inside a module: left out where each pin of it is proven alone"


class Does(Enum):
    """What a link does, whatever the rest of the circuit is like."""

    CONDUCTS = "it joins its nodes to one conductor"
    SWITCHES = "it conducts in some positions"
    ONE_WAY = "current flows from `a` to `b` only"
    SWITCHES_ONE_WAY = "both"
    LOADS = "it takes current: what lies behind it is no supply"


@dataclass(frozen=True, slots=True)
class LinkRow:
    """`carries`: which of supply and ground a way takes over it. `in_position`: it is open where its position is empty or its option not fitted.

    `wiring`: plain metal of the vehicle's wiring, without rating or resistance of its own; `harness`: such as makes one piece of harness.
    """

    does: Does
    lies: Lies
    carries: frozenset[str]
    wiring: bool = False
    harness: bool = False
    in_position: bool = False


_BOTH, _NEITHER = frozenset({"supply", "ground"}), frozenset[str]()
_SUPPLY, _GROUND = frozenset({"supply"}), frozenset({"ground"})

LINKS: Mapping[LinkKind, LinkRow] = {
    LinkKind.WIRE: LinkRow(Does.CONDUCTS, Lies.OUTSIDE, _BOTH, wiring=True, harness=True),
    LinkKind.REFERENCE: LinkRow(Does.CONDUCTS, Lies.ON_PAPER, _BOTH, wiring=True, harness=True),
    LinkKind.FUSE: LinkRow(Does.CONDUCTS, Lies.INSIDE, _BOTH, in_position=True),
    LinkKind.MATING: LinkRow(Does.CONDUCTS, Lies.INSIDE, _BOTH, wiring=True),
    LinkKind.BUSSED: LinkRow(Does.CONDUCTS, Lies.INSIDE, _BOTH, wiring=True, harness=True),
    LinkKind.BUSBAR: LinkRow(Does.CONDUCTS, Lies.OUTSIDE, _BOTH, wiring=True),
    LinkKind.MASS: LinkRow(Does.CONDUCTS, Lies.OUTSIDE, _BOTH),
    LinkKind.STRAP: LinkRow(Does.CONDUCTS, Lies.INSIDE, _BOTH),
    LinkKind.MEETS: LinkRow(Does.CONDUCTS, Lies.OUTSIDE, _BOTH, wiring=True),
    LinkKind.RAIL: LinkRow(Does.CONDUCTS, Lies.OUTSIDE, _BOTH, wiring=True),
    LinkKind.CONTACT: LinkRow(Does.SWITCHES, Lies.INSIDE, _BOTH, in_position=True),
    LinkKind.DIODE: LinkRow(Does.ONE_WAY, Lies.INSIDE, _BOTH, in_position=True),
    LinkKind.JOINED: LinkRow(Does.CONDUCTS, Lies.IN_MODULE, _BOTH),
    LinkKind.DRIVER_HIGH: LinkRow(Does.SWITCHES_ONE_WAY, Lies.IN_MODULE, _SUPPLY),
    LinkKind.DRIVER_LOW: LinkRow(Does.SWITCHES_ONE_WAY, Lies.IN_MODULE, _GROUND),
    LinkKind.COIL: LinkRow(Does.LOADS, Lies.INSIDE, _NEITHER, in_position=True),
    LinkKind.LOAD: LinkRow(Does.LOADS, Lies.INSIDE, _NEITHER),
    LinkKind.RESISTOR: LinkRow(Does.LOADS, Lies.INSIDE, _NEITHER),
    LinkKind.CONVERTER: LinkRow(Does.LOADS, Lies.INSIDE, _NEITHER),
}


def links_that(fits: Callable[[LinkRow], bool]) -> frozenset[LinkKind]:
    """The kinds of link whose rows fit."""
    return frozenset(kind for kind, row in LINKS.items() if fits(row))


CONDUCTORS = links_that(lambda row: row.does is Does.CONDUCTS)
SWITCHED = links_that(lambda row: row.does in (Does.SWITCHES, Does.SWITCHES_ONE_WAY))
ONE_WAY = links_that(lambda row: row.does in (Does.ONE_WAY, Does.SWITCHES_ONE_WAY))
LOADS = links_that(lambda row: row.does is Does.LOADS)
SUPPLY_KINDS = links_that(lambda row: "supply" in row.carries)
GROUND_KINDS = links_that(lambda row: "ground" in row.carries)
GATES = (SUPPLY_KINDS | GROUND_KINDS) - CONDUCTORS  # between nets: supply or ground comes over them in some state
WIRING = links_that(lambda row: row.wiring)
HARNESS = links_that(lambda row: row.harness)
OUTSIDE = links_that(lambda row: row.lies is Lies.OUTSIDE)
BESIDE = OUTSIDE - {LinkKind.MASS}  # leads to another point that can be touched
INSIDE = links_that(lambda row: row.lies in (Lies.INSIDE, Lies.IN_MODULE))
INSIDE_MODULE = links_that(lambda row: row.lies is Lies.IN_MODULE)
DRIVERS = INSIDE_MODULE & SWITCHED
IN_A_POSITION = links_that(lambda row: row.in_position)

# --- parts ---------------------------------------------------------------------------------------------------------


class Written(Enum):
    """How a run names a point of a part."""

    ALONE = "by the name of the part: it is one point"
    CAVITY = "by a cavity, which has two halves"
    SIDES = "by its name where the run goes through it: its two pins are not alike"
    LIKE_PINS = "by its name: its two pins are alike"
    PINS = "by its name and a pin"
    NOT = "not at all"


@dataclass(frozen=True, slots=True)
class PartRow:
    """`pins`: those it always has. `between`: what joins the first of them with each of the others.

    `part_of_harness`: wires that meet in it are one piece of harness. `many_harnesses`: rings of many meet on it.
    `one_wire`: a cavity of it holds one wire. `moves`: it has contacts. `declare`: how it is declared, and what it is in words, where a run names one that no
    sheet knows.
    """

    written: Written
    pins: tuple[str, ...] = ()
    between: LinkKind | None = None
    part_of_harness: bool = False
    many_harnesses: bool = False
    one_wire: bool = False
    moves: bool = False
    declare: tuple[str, str] | None = None


_FUSE = PartRow(Written.SIDES, ("feed", "load"), LinkKind.FUSE)

PARTS: Mapping[PartKind, PartRow] = {
    PartKind.MODULE: PartRow(Written.PINS, declare=("{is: module}", "a module")),
    PartKind.FUSE: _FUSE,
    PartKind.LINK: _FUSE,
    PartKind.BREAKER: _FUSE,
    PartKind.PANEL: PartRow(Written.NOT),
    PartKind.SPLICE: PartRow(Written.ALONE, part_of_harness=True, declare=("{is: splice}", "a splice")),
    PartKind.CONNECTOR: PartRow(Written.CAVITY, one_wire=True, declare=("{is: connector}", "an in-line connector")),
    PartKind.JOINT: PartRow(Written.PINS, part_of_harness=True, one_wire=True),
    PartKind.GROUND: PartRow(
        Written.ALONE, many_harnesses=True, declare=("{is: ground, on: MASS}", "a ground point (MASS: body, engine ...)")
    ),
    PartKind.STRAP: PartRow(Written.LIKE_PINS, ("1", "2"), LinkKind.STRAP),
    PartKind.BATTERY: PartRow(Written.PINS, many_harnesses=True),
    PartKind.GENERATOR: PartRow(Written.PINS, many_harnesses=True),
    PartKind.CONVERTER: PartRow(Written.PINS, ("in", "ground", "out")),
    PartKind.LOAD: PartRow(
        Written.LIKE_PINS, ("1", "2"), LinkKind.LOAD, declare=("{is: load}", "a lamp, motor, valve or sensor")
    ),
    PartKind.RESISTOR: PartRow(Written.LIKE_PINS, ("1", "2"), LinkKind.RESISTOR),
    PartKind.DIODE: PartRow(Written.SIDES, ("A", "K"), LinkKind.DIODE),
    PartKind.SWITCH: PartRow(Written.PINS, moves=True, declare=("{is: switch}", "a switch")),
    PartKind.RELAY: PartRow(Written.PINS, moves=True, declare=("{is: relay}", "a relay")),
    PartKind.BOX: PartRow(Written.PINS),
}  # fmt: skip

FUSE_KINDS = frozenset(
    kind for kind, row in PARTS.items() if row.between is LinkKind.FUSE
)  # they protect what is behind them

__all__ = [
    "BESIDE", "CONDUCTORS", "DRIVERS", "FUSE_KINDS", "GATES", "GROUND_KINDS", "HARNESS", "INSIDE", "INSIDE_MODULE", "IN_A_POSITION", "LINKS", "LOADS",
    "ONE_WAY", "OUTSIDE", "PARTS", "SUPPLY_KINDS", "SWITCHED", "WIRING", "Does", "Lies", "Link", "LinkKind", "LinkRow", "PartKind", "PartRow", "Written", "links_that",
]  # fmt: skip
