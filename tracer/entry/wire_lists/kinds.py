"""What each part of a wire list is: as the list or the vehicle says, or guessed. A guess never invents a conductor without saying so: it is a loose end until confirmed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from tracer.entry.models import (
    KINDS,
    FuseFacts,
    GroundFacts,
    JointFacts,
    LoadFacts,
    SpliceFacts,
    TwoPinFacts,
)
from tracer.entry.part_kinds import IN_A_POSITION, PartKind
from tracer.entry.values import MAX_PINS
from tracer.entry.wire_lists.rows import End, Spelling, Taken

_RELAY_PINS = frozenset(["30", "85", "86", "87", "87a", "87b"])
_SIDES = frozenset({"feed", "load"})
_LIKE_PINS = frozenset({"1", "2"})
_MANY_PINS = 12

# How parts are called in the trade (common practice, no source); read in capitals, without the number behind.
_CALLED: tuple[tuple[PartKind, re.Pattern[str]], ...] = tuple(
    (kind, re.compile(pattern))
    for kind, pattern in (
        (PartKind.BATTERY, r"^BAT|BATTERY"),
        (PartKind.GROUND, r"^(?:G|GND)[-_]?\d*[A-Z]?$|GROUND|EARTH"),
        (PartKind.SPLICE, r"^(?:S|SP|SPL)[-_]?\d+[A-Z]?$|SPLICE"),
        (PartKind.FUSE, r"^(?:F|FU)[-_]?\d+[A-Z]?$|FUSE"),
        (PartKind.RELAY, r"^K[-_]?\d+[A-Z]?$|RELAY"),
        (PartKind.SWITCH, r"^SW[-_]?\d+[A-Z]?$|SWITCH"),
        (PartKind.CONNECTOR, r"^(?:X|C|CN|J|P)[-_]?\d+[A-Z]?$|CONN|COUPL|INLINE"),
        (PartKind.MODULE, r"MODULE|CONTROL UNIT|CONTROLLER|\bECU\b|\bECM\b"),
    )
)


@dataclass(slots=True)
class Found:
    """A part of the list. `guess`: why it is taken for that, where nobody said so; `panel`, `label`: a position of a panel."""

    name: str
    kind: PartKind
    guess: str = ""
    wires: dict[str, int] = field(
        default_factory=dict
    )  # how many come to each pin, in the order in which the pins come
    mates: dict[str, str] = field(default_factory=dict)
    listed: str = ""

    @property
    def pins(self) -> list[str]:
        return list(self.wires)

    @property
    def several(self) -> list[str]:
        """The pins with more than one wire."""
        return [pin for pin, count in self.wires.items() if count > 1]

    @property
    def panel(self) -> str:
        return self.name.partition("/")[0] if "/" in self.name else ""


def parts_of(
    wires: list[Taken], told: Mapping[str, str], known: Iterable[str], spelling: Spelling
) -> tuple[list[Taken], dict[str, Found]]:
    """The wires with a pin at each end that needs one, and the parts that are not declared yet.

    Parameters
    ----------
    wires : the rows taken
    told : kinds by the name of a part, as the mapping file says
    known : parts that the vehicle declares already
    spelling : how parts are called in the list
    """
    ends: dict[str, list[End]] = {}
    for wire in wires:
        for end in (wire.a, wire.b):
            if end.part:
                ends.setdefault(end.part, []).append(end)
    known = set(known)
    found = {
        name: _found(name, several, told, spelling.name_of(name))
        for name, several in ends.items()
        if name not in known and name.partition("/")[2] not in known
    }
    # Pins that looked like halves are named anew where the part has none; then the pins of every part are those of its ends.
    wires = [replace(wire, a=_as_pin(wire.a, found, spelling), b=_as_pin(wire.b, found, spelling)) for wire in wires]
    wires = [
        replace(wire, a=_pinned(wire.a, wire.row, "a", found), b=_pinned(wire.b, wire.row, "b", found))
        for wire in wires
    ]
    return wires, found


def _found(name: str, ends: list[End], told: Mapping[str, str], listed: str) -> Found:
    uses = Counter((end.pin, end.half) for end in ends)
    said = told.get(listed) or told.get(name) or next((end.kind for end in ends if end.kind), "")
    kind, guess = _kind(listed.rpartition("/")[2] if "/" in name else listed, ends, uses, said)
    if "/" in name and kind not in IN_A_POSITION:
        kind, guess = (
            PartKind.SWITCH,
            f"{guess or f'listed as {kind}'}; in a panel it is typed as a switch whose contacts are not known",
        )
    found = Found(name, kind, guess, listed=listed)
    for end in ends:
        if end.mate and kind is PartKind.CONNECTOR:
            a, b = _mates(end)
            found.mates[a] = b
    return found


def _kind(listed: str, ends: list[End], uses: Mapping[tuple[str, str], int], said: str) -> tuple[PartKind, str]:
    """The kind, and why it is guessed (empty: it is not)."""
    if said:
        if said in set(PartKind) and _fits(PartKind(said), ends, uses):
            return PartKind(said), ""
        known = said in set(PartKind)
        return (
            PartKind.BOX,
            f"listed as {said}, {'which its pins and wires do not fit' if known else 'which is no kind'}",
        )
    called = next((kind for kind, pattern in _CALLED if pattern.search(listed.upper())), None)
    if called is not None and _fits(called, ends, uses):
        return called, "by its name"
    pins = {end.pin for end in ends}
    if "" not in pins and len(pins) > 2 and {"85", "86"} <= pins <= _RELAY_PINS:
        return PartKind.RELAY, "by its pins"
    if "" not in pins and len(pins) >= _MANY_PINS:
        return PartKind.MODULE, f"by its {len(pins)} pins"
    return (
        PartKind.BOX,
        "nothing tells what it is" if called is None else f"called like a {called}, but its pins do not fit",
    )


def _fits(kind: PartKind, ends: list[End], uses: Mapping[tuple[str, str], int]) -> bool:
    """Whether ends as these can be typed of a part of that kind."""
    pins = {end.pin for end in ends}
    if kind is PartKind.CONNECTOR:
        return "" not in pins and _halves_fit(ends, uses)
    if kind is PartKind.PANEL:
        return False
    model = KINDS[kind]
    if issubclass(model, SpliceFacts | GroundFacts | JointFacts | LoadFacts):  # their pins are listed
        if len(pins) > MAX_PINS:
            return False
        dashes = ["-" in pin for pin in pins if pin]
        return all(dashes) or not any(dashes)
    if kind is PartKind.BATTERY:
        return all(pin[:1] in ("+", "-") for pin in pins)
    if issubclass(model, FuseFacts):
        return pins <= _SIDES
    if issubclass(model, TwoPinFacts):
        return pins <= _LIKE_PINS
    if kind is PartKind.DIODE:
        return pins <= {"A", "K"}
    if kind is PartKind.CONVERTER:
        return pins <= {"in", "out", "ground", "return"}
    return True


def _halves_fit(ends: list[End], uses: Mapping[tuple[str, str], int]) -> bool:
    """Whether the halves and cavities of an in-line connector are told without a contradiction, and no half of a cavity holds two wires unsaid."""
    meets = {_mates(end) for end in ends if end.mate}
    a_cavities, b_cavities = {a for a, _ in meets}, {b for _, b in meets}
    if len(a_cavities) < len(meets) or len(b_cavities) < len(meets) or any(end.mate and not end.half for end in ends):
        return False
    for (pin, half), count in uses.items():
        crossed = pin in a_cavities or pin in b_cavities
        if not half and (crossed or count > 2 or uses.get((pin, "a"), 0) or uses.get((pin, "b"), 0)):
            return False
        if crossed and pin not in (a_cavities if half == "a" else b_cavities):
            return False
    return True


def _mates(end: End) -> tuple[str, str]:
    """The cavity of half a and that of half b which an end says meet."""
    return (end.mate, end.pin) if end.half == "b" else (end.pin, end.mate)


def _as_pin(end: End, found: Mapping[str, Found], spelling: Spelling) -> End:
    """The end of a part that has no halves: what looked like one is part of the pin's name."""
    part = found.get(end.part)
    if part is None or part.kind is PartKind.CONNECTOR or not end.listed:
        return end
    return replace(end, pin=spelling.pin(end.part, end.listed), half="", mate="")


def _pinned(end: End, row: int, side: str, found: Mapping[str, Found]) -> End:
    """The end, counted at its part; with a pin of its own where the part needs one and the list gives none: `row12a`, so that nothing is joined by that."""
    part = found.get(end.part)
    if part is None:
        return end
    if not end.pin and part.kind not in (PartKind.SPLICE, PartKind.GROUND):
        end = replace(end, pin=f"row{row}{side}")
    if end.pin:
        part.wires[end.pin] = part.wires.get(end.pin, 0) + 1
    return end
