"""What is really plugged into a panel, against what belongs there; and the likely story behind it.

What was seen is typed as `LABEL:WHAT`, in any order, from a file or on the command line: `F12:15 F13:- F14:20`. Nothing seen at a position (`-`) is not the same as not looked
at: a position that is not named stays on the list.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from tracer.circuit.model import FUSE_KINDS
from tracer.entry.models import PanelFacts
from tracer.entry.problems import listed
from tracer.standards import figures
from tracer.trace.affects.dead_part import LOST, SOME_STATES, Affected
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.panels.labels import position_in
from tracer.trace.panels.positions_of import EITHER, ELECTRONIC, EMPTY, OPTION, UNKNOWN, PanelReport, Position
from tracer.trace.panels.read_seen import Plugged, read_seen
from tracer.trace.tracing import Tracing

# What a comparison can find, in the order shown: a hazard first.
(
    TOO_LARGE,
    BRIDGED,
    NOT_EMPTY,
    MISSING,
    BLOWN,
    BOTH,
    WRONG_TYPE,
    WRONG_KIND,
    TOO_SMALL,
    UNREADABLE,
    NOT_ORDERED,
    NOT_COMPARED,
) = (
    "rating too large",
    "bridged",
    "fitted where it must be empty",
    "missing",
    "blown",
    "both positions of an either-or pair fitted",
    "wrong type",
    "wrong part",
    "rating too small",
    "not readable",
    "option fitted that is not ordered",
    "what belongs there is not known",
)
_ORDER = (
    TOO_LARGE, BRIDGED, NOT_EMPTY, BOTH, MISSING, BLOWN, WRONG_TYPE, WRONG_KIND, TOO_SMALL, UNREADABLE, NOT_ORDERED, NOT_COMPARED,
)  # fmt: skip
HAZARDS = frozenset({TOO_LARGE, BRIDGED, NOT_EMPTY, BOTH})


@dataclass(frozen=True, slots=True)
class Mismatch:
    """One position at which what was seen does not belong. `symptoms` are what it takes away (or, fitted where it must be empty, what it feeds)."""

    position: Position
    seen: Plugged
    what: str
    message: str
    action: str
    symptoms: tuple[str, ...]

    @property
    def hazard(self) -> bool:
        return self.what in HAZARDS


@dataclass(frozen=True, slots=True)
class Story:
    """A likely story: a fuse that belongs in one position sits in another."""

    message: str
    why: str
    positions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeenReport(Answer):
    """A panel compared with what was seen."""

    vehicle: str
    mismatches: tuple[Mismatch, ...]
    stories: tuple[Story, ...]
    right: tuple[str, ...]
    not_looked_at: tuple[Position, ...]
    cautions: tuple[str, ...]
    completeness: Completeness  # whether every position is known, was looked at and holds what belongs there


# --- reading -----------------------------------------------------------------------------------------------------


# --- comparing ---------------------------------------------------------------------------------------------------


def compare(tracing: Tracing, report: PanelReport, seen: Mapping[str, Plugged], *, symptoms: bool = True) -> SeenReport:
    """What belongs in the panels against what was seen, hazards first; what each mismatch takes away only where `symptoms` are asked for, since that takes long."""
    asking = tracing.once(_Symptoms)
    mismatches = []
    right = []
    shown = report.shown
    for position in report.positions:
        if position.part not in seen:
            continue
        found = list(_judged(position, seen[position.part], seen, _partner(tracing, report, position)))
        for what, message, action in found:
            takes = asking.of(position, what) if symptoms else ()
            mismatches.append(Mismatch(position, seen[position.part], what, message, action, takes))
        if not found:
            right.append(shown[position.part])
    mismatches.sort(key=lambda one: _ORDER.index(one.what))
    not_looked_at = tuple(position for position in report.positions if position.part not in seen)
    elsewhere = report.loose_elsewhere
    completeness = Completeness(
        loose=len(not_looked_at) + report.completeness.loose - elsewhere,
        differences=len(mismatches),
        elsewhere=elsewhere,
        about="plugged",
    )
    return SeenReport(
        report.vehicle,
        tuple(mismatches),
        tuple(_stories(tracing, report, mismatches)),
        tuple(right),
        not_looked_at,
        report.cautions,
        completeness,
    )


def _partner(tracing: Tracing, report: PanelReport, position: Position) -> Position | None:
    """The other position of an either-or pair: of that label in its own panel, whichever panels have such a label."""
    name = position_in(tracing.circuit, position.panel, position.either) if position.either else None
    return next((one for one in report.positions if one.part == name), None)


def _judged(
    position: Position, seen: Plugged, others: Mapping[str, Plugged], partner: Position | None
) -> Iterator[tuple[str, str, str]]:
    """What does not belong, why, and what to do."""
    if seen.right:
        if position.state == UNKNOWN:
            yield NOT_COMPARED, "it looked right, but the sheets do not say what belongs here", _LOOK
        return
    if position.state in (EMPTY, ELECTRONIC):
        if not seen.nothing:
            why = "a position that must be empty" if position.state == EMPTY else "a position whose work an output does"
            yield NOT_EMPTY, f"{seen.words} sits in {why}", "Take it out; find out who put it in, and why."
        return
    other = others.get(partner.part) if partner is not None else None
    holds_too = partner is not None and other is not None and not other.nothing
    if seen.nothing:
        if position.state == EITHER and (other is None or holds_too):
            return  # it sits in the other one, or that one was not looked at and stays on the list
        if position.state == EITHER:
            yield (
                MISSING,
                f"neither {position.label} nor {position.either} holds its fuse",
                f"Fit it in the one that this vehicle's equipment calls for: {position.belongs}.",
            )
        elif position.state != OPTION:
            yield MISSING, f"nothing is fitted here; what belongs is a {position.belongs}", _FIT
        return
    if holds_too and (position.state == OPTION or (partner is not None and partner.state == EITHER)):
        yield (
            BOTH,
            f"{position.label} and {position.either} both hold a fuse: their two feeds are joined through the circuit",
            "Take the one out that does not belong to this vehicle's equipment.",
        )
    elif position.state == OPTION and position.either:
        yield (
            NOT_ORDERED,
            f"{seen.words} sits here; in this vehicle it belongs in {position.either}",
            "Move it, unless the equipment was changed: from here the circuit is live at other times.",
        )
    elif position.state == OPTION:
        yield (
            NOT_ORDERED,
            f"{seen.words} sits in the position of an option ({position.said or 'not said which'})",
            "Check whether the option is fitted after all; otherwise take it out.",
        )
    yield from _judged_part(position, seen)


_FIT = "Find out why it is gone before the right one is fitted."
_LOOK = "Look at the lid or the handbook and type the rating in."


def _judged_part(position: Position, seen: Plugged) -> Iterator[tuple[str, str, str]]:
    """The thing itself: kind, rating, type, state."""
    if seen.kind == "bridge":
        yield (
            BRIDGED,
            f"a bridge where a {position.belongs} belongs: nothing opens in a short circuit",
            "Take it out at once; look for the short circuit before a fuse is fitted.",
        )
        return
    kind = seen.kind or "fuse"
    belongs = position.kind
    if kind != belongs and not (kind == "fuse" and belongs in FUSE_KINDS):
        yield (
            WRONG_KIND,
            f"{seen.words} sits where a {position.belongs} belongs",
            f"Fit what belongs: {position.belongs}.",
        )
        return
    if belongs not in FUSE_KINDS:
        return
    if seen.amps is not None and position.amps is None:
        yield (
            NOT_COMPARED,
            f"{seen.words} seen, but the sheets do not say what belongs here",
            _LOOK,
        )
    elif seen.amps is not None and position.amps is not None and seen.amps > position.amps:
        yield (
            TOO_LARGE,
            f"{figures.stated(seen.amps, 'A')} where {figures.stated(position.amps, 'A')} belongs: the wire may burn before the fuse opens",
            f"Take it out and fit what belongs ({position.belongs}); look whether the wire or the connector has been hot.",
        )
    elif seen.amps is not None and position.amps is not None and seen.amps < position.amps:
        yield (
            TOO_SMALL,
            f"{figures.stated(seen.amps, 'A')} where {figures.stated(position.amps, 'A')} belongs: it may open in normal use",
            f"Fit what belongs: {position.belongs}.",
        )
    if seen.letter and position.letter and seen.letter != position.letter:
        yield (
            WRONG_TYPE,
            f"type {seen.letter} where type {position.letter} belongs: it does not seat as it should",
            f"Fit what belongs: {position.belongs}.",
        )
    if seen.blown:
        yield BLOWN, f"the {position.belongs} is blown", "Find what drew the current before a new one is fitted."
    if seen.amps is None and not seen.blown:
        yield (
            UNREADABLE,
            f"the rating {'cannot be' if seen.unreadable else 'was not'} read; a {position.belongs} belongs here",
            "Take it out and read it with a light, or replace it.",
        )


class _Symptoms:
    """What is missing when a position is open, in words; each position is worked out once."""

    def __init__(self, tracing: Tracing) -> None:
        self.tracing = tracing
        self._affected = tracing.once(Affected)
        self._kept: dict[str, tuple[str, ...]] = {}

    def of(self, position: Position, what: str) -> tuple[str, ...]:
        if what in (MISSING, BLOWN, WRONG_KIND):
            if position.part not in self._kept:
                self._kept[position.part] = self._open(position)
            return self._kept[position.part]
        if what in (NOT_EMPTY, NOT_ORDERED, BOTH):
            return feeds(position)
        return ()

    def _open(self, position: Position) -> tuple[str, ...]:
        found = self._affected.report(position.part)
        pins: dict[str, list[str]] = {}
        for verdict, words in ((LOST, ""), (SOME_STATES, "in some key states")):
            for effect in found.of(verdict):
                terminal = effect.terminal
                if terminal.kind == "relay":
                    continue
                title = self.tracing.circuit.title(terminal.part)
                states = f" {words} ({', '.join(effect.states)})" if words else ""
                pins.setdefault(title, []).append(f"pin {terminal.pin} no {terminal.level}{states}")
        relays = [
            f"relay {relay.part} drops out"
            for relay in found.relays
            if relay.kind == "relay" and relay.part != position.part
        ]
        return (*(f"{title}: {', '.join(lines)}" for title, lines in pins.items()), *relays)


def feeds(position: Position) -> tuple[str, ...]:
    """What a position feeds, in words: part and pins."""
    pins: dict[str, list[str]] = {}
    for served in position.serves:
        title = f"{served.part} ({served.name})" if served.name else served.part
        pins.setdefault(title, []).append(served.pin)
    return tuple(f"{title}: pin {', '.join(found)}" for title, found in pins.items())


# --- stories -----------------------------------------------------------------------------------------------------


def _stories(tracing: Tracing, report: PanelReport, mismatches: Iterable[Mismatch]) -> Iterator[Story]:
    """Likely swaps: what is missing here sits there. Where several positions lack what sits in one, all of the nearest are named."""
    lacking = [one for one in mismatches if one.what in (MISSING, TOO_LARGE, TOO_SMALL) and one.position.amps]
    extra = [
        one
        for one in mismatches
        if one.seen.amps is not None and one.what in (NOT_EMPTY, NOT_ORDERED, BOTH, TOO_LARGE, TOO_SMALL)
    ]
    nearness = _Nearness(tracing, report)
    shown = report.shown
    told: set[frozenset[str]] = set()
    for more in extra:
        near: dict[tuple[int, str], list[Mismatch]] = {}
        for lack in lacking:
            if lack.position.part != more.position.part and lack.position.amps == more.seen.amps:
                near.setdefault(nearness.of(lack.position, more.position), []).append(lack)
        if not near:
            continue
        (distance, words), found = min(near.items(), key=lambda item: item[0][0])
        names = frozenset((more.position.part, *(lack.position.part for lack in found)))
        if distance <= _FAR and names not in told:
            told.add(names)
            yield _story(shown, found, more, words)


def _story(shown: Mapping[str, str], lacking: list[Mismatch], more: Mismatch, words: str) -> Story:
    there = more.position
    sits = shown[there.part]
    first = lacking[0].position
    assert first.amps is not None  # it was compared with what was seen
    seen_a = lacking[0].seen.amps
    if len(lacking) == 1 and seen_a is not None and seen_a == there.amps:
        message = (
            f"{shown[first.part]} and {sits} are probably exchanged: {shown[first.part]} should be {figures.stated(first.amps, 'A')}, "
            f"{sits} {figures.stated(seen_a, 'A')}"
        )
    else:
        labels = listed([shown[lack.position.part] for lack in lacking])
        message = f"the {figures.stated(first.amps, 'A')} that is missing in {labels} probably sits in {sits}"
    fed = [
        f"{shown[position.part]} feeds {_fed_words(position)}"
        for position in (*(one.position for one in lacking), there)
    ]
    return Story(message, "; ".join((words, *fed)), (there.part, *(lack.position.part for lack in lacking)))


def _fed_words(position: Position) -> str:
    return ", ".join(dict.fromkeys(served.part for served in position.serves)) or position.said or "nothing typed in"


_FAR = 2


class _Nearness:
    """How near two positions are to a hand that slips: side by side, of a like label, or just in the same panel."""

    def __init__(self, tracing: Tracing, report: PanelReport) -> None:
        self.at: dict[tuple[str, str], tuple[int, int]] = {}
        for panel in report.panels:
            facts = tracing.circuit.parts[panel.panel].facts
            assert isinstance(facts, PanelFacts)
            for row, labels in enumerate(facts.rows):
                for column, label in enumerate(labels):
                    self.at[panel.panel, label] = (row, column)
            if not facts.rows:
                for column, position in enumerate(panel.positions):
                    self.at[panel.panel, position.label] = (0, column)

    def of(self, one: Position, other: Position) -> tuple[int, str]:
        a, b = self.at.get((one.panel, one.label)), self.at.get((other.panel, other.label))
        if one.panel == other.panel and a and b and max(abs(a[0] - b[0]), abs(a[1] - b[1])) == 1:
            return 0, "the two sit side by side"
        if _alike(one.label, other.label):
            return 1, "the labels are alike"
        if one.panel == other.panel:
            return 2, "same panel, same rating"
        return 3, "another panel"


def _alike(one: str, other: str) -> bool:
    """Labels that are mistaken for each other: one character differs, or two are transposed."""
    if len(one) != len(other) or one == other:
        return False
    differing = sum(a != b for a, b in zip(one, other, strict=True))
    return differing == 1 or (differing == 2 and sorted(one) == sorted(other))


__all__ = [
    "BLOWN", "BOTH", "BRIDGED", "HAZARDS", "MISSING", "NOT_COMPARED", "NOT_EMPTY", "NOT_ORDERED", "TOO_LARGE", "TOO_SMALL", "UNKNOWN", "UNREADABLE",
    "WRONG_KIND", "WRONG_TYPE", "Mismatch", "Plugged", "SeenReport", "Story", "compare", "feeds", "read_seen",
]  # fmt: skip
