"""How a link and a part of each kind are drawn, and from which side a part is touched: one row for each kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from tracer.circuit.kinds import LinkKind, PartKind


@dataclass(frozen=True, slots=True)
class LinkRow:
    """`symbol`: which of `diagram/symbols.py`; none for a link that is a line. `beside` is how far from it texts stand.

    `pins`: its two pins are written at it.
    """

    symbol: str = ""
    beside: float = 5.0
    pins: bool = False


class Symbol(Enum):
    """What a part, or a point of it, is drawn as."""

    TERMINAL = "a small circle at each of its points"
    BOX = "one box with pins at its edges"
    SPLICE = "a dot"
    GROUND = "a ground symbol"
    BATTERY = "two plates"


@dataclass(frozen=True, slots=True)
class PartRow:
    """`side`: from which side it is touched, in words behind what is touched."""

    symbol: Symbol = Symbol.TERMINAL
    side: str = ""


LINKS: Mapping[LinkKind, LinkRow] = {
    LinkKind.WIRE: LinkRow(),
    LinkKind.REFERENCE: LinkRow(),
    LinkKind.FUSE: LinkRow(symbol="fuse"),
    LinkKind.MATING: LinkRow(symbol="mating"),
    LinkKind.BUSSED: LinkRow(),
    LinkKind.BUSBAR: LinkRow(),
    LinkKind.MASS: LinkRow(),
    LinkKind.STRAP: LinkRow(symbol="strap", pins=True),
    LinkKind.MEETS: LinkRow(),
    LinkKind.RAIL: LinkRow(),
    LinkKind.CONTACT: LinkRow(symbol="make_contact", beside=6.5, pins=True),
    LinkKind.DIODE: LinkRow(symbol="diode", beside=5.5),
    LinkKind.JOINED: LinkRow(),
    LinkKind.DRIVER_HIGH: LinkRow(symbol="driver", beside=9.0),
    LinkKind.DRIVER_LOW: LinkRow(symbol="driver", beside=9.0),
    LinkKind.COIL: LinkRow(symbol="coil", beside=9.0, pins=True),
    LinkKind.LOAD: LinkRow(),
    LinkKind.RESISTOR: LinkRow(),
    LinkKind.CONVERTER: LinkRow(),
}

_WIRE_SIDE = ", wire side"

PARTS: Mapping[PartKind, PartRow] = {
    PartKind.MODULE: PartRow(Symbol.BOX, _WIRE_SIDE),
    PartKind.FUSE: PartRow(),
    PartKind.LINK: PartRow(),
    PartKind.BREAKER: PartRow(),
    PartKind.PANEL: PartRow(),
    PartKind.SPLICE: PartRow(Symbol.SPLICE),
    PartKind.CONNECTOR: PartRow(side=_WIRE_SIDE),
    PartKind.JOINT: PartRow(side=_WIRE_SIDE),
    PartKind.GROUND: PartRow(Symbol.GROUND),
    PartKind.STRAP: PartRow(),
    PartKind.BATTERY: PartRow(Symbol.BATTERY),
    PartKind.GENERATOR: PartRow(),
    PartKind.CONVERTER: PartRow(Symbol.BOX),
    PartKind.LOAD: PartRow(),
    PartKind.RESISTOR: PartRow(),
    PartKind.DIODE: PartRow(),
    PartKind.SWITCH: PartRow(side=_WIRE_SIDE),
    PartKind.RELAY: PartRow(side=", from below or by adapter"),
    PartKind.BOX: PartRow(side=_WIRE_SIDE),
}

ELEMENTS = frozenset(kind for kind, row in LINKS.items() if row.symbol)

__all__ = ["ELEMENTS", "LINKS", "PARTS", "LinkRow", "PartRow", "Symbol"]
