"""What the lists, the panels, `affects` and `common` have to know of a kind of part: one row for each kind."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum

from tracer.circuit.kinds import PartKind


class Draws(IntEnum):
    """At which of its pins a part takes current, in the order in which consumers are told."""

    NOWHERE = 0
    AS_DECLARED = 1  # a module: what its pins are said to be
    AT_EVERY_PIN = 2
    AT_ITS_INPUT = 3
    AT_ITS_COILS = 4


@dataclass(frozen=True, slots=True)
class PartRow:
    """What one kind is.

    `touched`: what a probe touches there, in words, by pin where pins differ. `suspect`: where it stands among what can have failed for several parts at once,
    what fails most and is looked at soonest first; None for what feeds nothing else. `comes_off`: opened, every wire comes off it (else it opens between its
    pins). `passes_current`: one side open is a loose end. `ends_line`: a line that comes apart is told by its pins. `gates`: what is behind it may be switched
    to its pin. `hazard`: what of `standards/hazards.py` it is by itself, whatever else is typed; only `hazard: none` on the part takes that away.
    """

    touched: str | Mapping[str, str]
    suspect: int | None
    draws: Draws = Draws.NOWHERE
    comes_off: bool = False
    passes_current: bool = False
    ends_line: bool = False
    gates: bool = False
    hazard: str = ""


def _sides(word: str) -> Mapping[str, str]:
    return {"feed": f"{word}, feed side", "load": f"{word}, load side"}


PARTS: Mapping[PartKind, PartRow] = {
    PartKind.FUSE: PartRow(_sides("fuse"), 0),
    PartKind.LINK: PartRow(_sides("fusible link"), 1),
    PartKind.BREAKER: PartRow(_sides("breaker"), 2),
    PartKind.RELAY: PartRow("relay socket", 3, Draws.AT_ITS_COILS, ends_line=True, gates=True),
    PartKind.GROUND: PartRow("ground point", 4, comes_off=True),
    PartKind.STRAP: PartRow("ground strap", 5, passes_current=True),
    PartKind.CONNECTOR: PartRow("cavity", 6),
    PartKind.SPLICE: PartRow("splice", 7, comes_off=True),
    PartKind.JOINT: PartRow("joint connector", 8),
    PartKind.SWITCH: PartRow("switch", 9, ends_line=True, gates=True),
    PartKind.DIODE: PartRow(
        {"A": "diode, anode", "K": "diode, cathode"}, 10, passes_current=True, ends_line=True, gates=True
    ),
    PartKind.BOX: PartRow("connector of a box", 12, comes_off=True),
    PartKind.MODULE: PartRow("module connector", 13, Draws.AS_DECLARED, comes_off=True, ends_line=True),
    PartKind.PANEL: PartRow("panel", 16),
    PartKind.CONVERTER: PartRow("converter", 17, Draws.AT_ITS_INPUT, comes_off=True, passes_current=True),
    PartKind.GENERATOR: PartRow("generator", 18, comes_off=True, ends_line=True),
    PartKind.BATTERY: PartRow("battery post", 19, comes_off=True),
    PartKind.LOAD: PartRow("load", None, Draws.AT_EVERY_PIN, passes_current=True, ends_line=True),
    PartKind.RESISTOR: PartRow("resistor", None, passes_current=True, ends_line=True),
}
NO_PART_SUSPECT = {"rail": 11, "cavity": 14, "wire": 15}  # what can fail besides parts

CONSUMERS = tuple(sorted((kind for kind, row in PARTS.items() if row.draws), key=lambda kind: PARTS[kind].draws))


def touched(kind: PartKind, pin: str) -> str:
    """What a probe touches at a pin of a part."""
    words = PARTS[kind].touched
    return words if isinstance(words, str) else words[pin]


def no_fuse(positions: Iterable[str]) -> str:
    """That an electronic output stands in the place of fuses."""
    return f"no fuse exists at {', '.join(positions)}: an electronic output protects this wire and may have latched off"


def suspect_order(kind: str) -> int:
    """Where a kind of part, a rail, a cavity or a wire stands among what can have failed."""
    found = NO_PART_SUSPECT.get(kind)
    if found is None:
        found = PARTS[PartKind(kind)].suspect
    assert found is not None, f"{kind} feeds nothing else"
    return found


__all__ = ["CONSUMERS", "PARTS", "Draws", "PartRow", "no_fuse", "suspect_order", "touched"]
