"""What is really plugged into a panel, against what belongs there; and the likely story behind it.

What was seen is typed as `LABEL:WHAT`, in any order, from a file or on the command line: `F12:15 F13:- F14:20`. Nothing seen at a position (`-`) is not the same as not looked
at: a position that is not named stays on the list.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from tracer.circuit.model import FUSE_KINDS
from tracer.entry.models import PanelFacts
from tracer.entry.problems import CannotUse, Place, Problem, did_you_mean, listed
from tracer.standards import figures
from tracer.standards.fuses import fuse_kinds
from tracer.trace.affects.dead_part import LOST, SOME_STATES, Affected
from tracer.trace.panels.positions_of import EITHER, ELECTRONIC, EMPTY, OPTION, UNKNOWN, PanelReport, Position
from tracer.trace.tracing import Tracing

MOST_SYMPTOMS = 6
_TOKEN = re.compile(r"\S+")
_NUMBER = re.compile(r"[0-9]{1,4}(?:[.,][0-9]{1,3})?")
_LETTERS = frozenset(kind.letter for kind in fuse_kinds() if kind.letter)
_KINDS = frozenset({"relay", "diode", "link", "breaker", "bridge"})

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
class Plugged:
    """What was seen at one position. `nothing`: it was looked at and is empty; `right`: looked at and found as it should be, without saying more."""

    label: str
    place: Place
    text: str
    nothing: bool = False
    amps: float | None = None
    letter: str = ""
    kind: str = ""
    blown: bool = False
    unreadable: bool = False
    right: bool = False

    @property
    def words(self) -> str:
        """What was seen, in words."""
        if self.nothing:
            return "nothing"
        if self.right:
            return "as it should be"
        words = [self.kind or "fuse"]
        if self.amps is not None:
            words.append(figures.stated(self.amps, "A"))
        if self.letter:
            words.append(f"type {self.letter}")
        if self.blown:
            words.append("blown")
        if self.unreadable:
            words.append("rating not readable")
        return " ".join(words)


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
class SeenReport:
    """A panel compared with what was seen."""

    vehicle: str
    mismatches: tuple[Mismatch, ...]
    stories: tuple[Story, ...]
    right: tuple[str, ...]
    not_looked_at: tuple[Position, ...]
    cautions: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether every position was looked at and holds what belongs there."""
        return not self.mismatches and not self.not_looked_at


# --- reading -----------------------------------------------------------------------------------------------------


def read_seen(text: str, report: PanelReport, file: str) -> dict[str, Plugged]:
    """What was seen, by part name of the position.

    Parameters
    ----------
    text : `LABEL:WHAT` separated by blanks or lines; `#` begins a comment. WHAT is a rating in A, `-` (nothing there), `ok` (as it should be), `blown`, `?` (not readable), a
        type letter, `relay`, `diode`, `link`, `breaker` or `bridge`; several are joined by `/`: `15/C`, `15/blown`
    report : the panels that were looked at
    file : the name to show in problems

    Raises
    ------
    CannotUse : words that cannot be read, labels that no position (or more than one) has, a position named twice
    """
    by_label = _labels(report.positions)
    seen: dict[str, Plugged] = {}
    problems: list[Problem] = []
    for number, line in enumerate(text.splitlines(), 1):
        for token in _TOKEN.finditer(line.split("#", 1)[0]):
            place = Place(file, number, token.start() + 1)
            try:
                label, plugged = _read_token(token[0], place, by_label)
            except _Slip as slip:
                problems.append(Problem(place, slip.what, slip.fix, token[0], line))
                continue
            if label in seen:
                what = f"{plugged.label} stands here a second time (first at {seen[label].place})"
                problems.append(Problem(place, what, "Keep what was seen last.", token[0], line))
            seen[label] = plugged
    if problems:
        raise CannotUse(problems)
    return seen


class _Slip(Exception):
    def __init__(self, what: str, fix: str) -> None:
        super().__init__(what)
        self.what, self.fix = what, fix


def _labels(positions: Iterable[Position]) -> dict[str, list[Position]]:
    """Positions by every way in which their label may be typed: F12, FPC/F12, and 12 where that is meant for one only."""
    found: dict[str, list[Position]] = {}
    for position in positions:
        digits = re.sub(r"^[^0-9]+", "", position.label)
        for name in {position.label, f"{position.panel}/{position.label}", position.part, digits} - {""}:
            found.setdefault(name, []).append(position)
    return found


def _read_token(token: str, place: Place, by_label: Mapping[str, list[Position]]) -> tuple[str, Plugged]:
    label, colon, what = token.rpartition(":")
    if not colon or not label or not what:
        raise _Slip(f"`{token}` is not `LABEL:WHAT`", "Write for example `F12:15`, `F13:-`, `F14:blown`.")
    positions = by_label.get(label, [])
    exact = [position for position in positions if label in (position.label, position.part)]
    positions = exact if len(exact) == 1 else positions
    if not positions:
        fix = did_you_mean(label, by_label, "Write the label as in `tracer panel`.")
        raise _Slip(f"no position is labelled {label}", fix)
    if len(positions) > 1:
        names = sorted(f"{position.panel}/{position.label}" for position in positions)
        raise _Slip(f"{label} may mean {listed(names)}", "Write the panel too, or name the panel on the command line.")
    return positions[0].part, _read_what(what, positions[0].label, place)


def _read_what(what: str, label: str, place: Place) -> Plugged:
    nothing = blown = unreadable = right = False
    amps: float | None = None
    letter = kind = ""
    pieces = what.split("/")
    for piece in pieces:
        word = piece.strip().lower()
        if word == "-":
            nothing = True
        elif word == "ok":
            right = True
        elif word == "blown":
            blown = True
        elif word in ("?", "unreadable"):
            unreadable = True
        elif word in _KINDS:
            kind = word
        elif word.upper() in _LETTERS:
            letter = word.upper()
        elif _NUMBER.fullmatch(word.removesuffix("a")) and amps is None:
            amps = float(word.removesuffix("a").replace(",", "."))
        else:
            raise _Slip(
                f"`{piece}` is not something that can be seen in a position",
                "Write a rating (`15`), `-`, `ok`, `blown`, `?`, a type letter, `relay`, `diode`, `link`, `breaker` or `bridge`.",
            )
    if (nothing or right) and len(pieces) > 1:
        raise _Slip(f"`{what}` says two things", "`-` and `ok` stand alone.")
    if amps == 0:
        raise _Slip("no fuse is rated 0 A", "For an empty position write `-`.")
    return Plugged(label, place, what, nothing, amps, letter, kind, blown, unreadable, right)


# --- comparing ---------------------------------------------------------------------------------------------------


def compare(tracing: Tracing, report: PanelReport, seen: Mapping[str, Plugged]) -> SeenReport:
    """What belongs in the panels against what was seen, hazards first."""
    asking = _Symptoms(tracing)
    mismatches = []
    right = []
    for position in report.positions:
        if position.part not in seen:
            continue
        found = list(_judged(position, seen[position.part], seen, report))
        for what, message, action in found:
            symptoms = asking.of(position, what)
            mismatches.append(Mismatch(position, seen[position.part], what, message, action, symptoms))
        if not found:
            right.append(position.label)
    mismatches.sort(key=lambda one: _ORDER.index(one.what))
    return SeenReport(
        report.vehicle,
        tuple(mismatches),
        tuple(_stories(tracing, report, mismatches)),
        tuple(right),
        tuple(position for position in report.positions if position.part not in seen),
        report.cautions,
    )


def _judged(
    position: Position, seen: Plugged, others: Mapping[str, Plugged], report: PanelReport
) -> Iterator[tuple[str, str, str]]:
    """What does not belong, why, and what to do."""
    if seen.right:
        return
    if position.state in (EMPTY, ELECTRONIC):
        if not seen.nothing:
            why = "a position that must be empty" if position.state == EMPTY else "a position whose work an output does"
            yield NOT_EMPTY, f"{seen.words} sits in {why}", "Take it out; find out who put it in, and why."
        return
    partner = next((one for one in report.positions if position.either in (one.label, one.part)), None)
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
            "Look at the lid or the handbook and type the rating in.",
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
    if seen.unreadable and seen.amps is None:
        yield (
            UNREADABLE,
            f"the rating cannot be read; a {position.belongs} belongs here",
            "Take it out and read it with a light, or replace it.",
        )


class _Symptoms:
    """What is missing when a position is open, in words; each position is worked out once."""

    def __init__(self, tracing: Tracing) -> None:
        self.tracing = tracing
        self._affected = Affected(tracing)
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
            yield _story(found, more, words)


def _story(lacking: list[Mismatch], more: Mismatch, words: str) -> Story:
    there = more.position
    first = lacking[0].position
    assert first.amps is not None  # it was compared with what was seen
    seen_a = lacking[0].seen.amps
    if len(lacking) == 1 and seen_a is not None and seen_a == there.amps:
        message = (
            f"{first.label} and {there.label} are probably exchanged: {first.label} should be {figures.stated(first.amps, 'A')}, "
            f"{there.label} {figures.stated(seen_a, 'A')}"
        )
    else:
        labels = listed([lack.position.label for lack in lacking])
        message = f"the {figures.stated(first.amps, 'A')} that is missing in {labels} probably sits in {there.label}"
    fed = [f"{position.label} feeds {_fed_words(position)}" for position in (*(one.position for one in lacking), there)]
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
