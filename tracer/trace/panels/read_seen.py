"""What was seen in a panel, as somebody typed it: `F12:15 F13:- F14:20`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tracer.entry.part_kinds import IN_A_POSITION, PartKind
from tracer.entry.problems import CannotUse, Place, Problem, bounded, did_you_mean, listed
from tracer.entry.visible import visible
from tracer.standards import figures
from tracer.standards.fuses import fuse_kinds
from tracer.trace.panels.positions_of import PanelReport, Position

_TOKEN = re.compile(r"\S+")
_NUMBER = re.compile(r"[0-9]{1,4}(?:[.,][0-9]{1,3})?")
_LETTERS = frozenset(kind.letter for kind in fuse_kinds() if kind.letter)
_KINDS = (*(str(kind) for kind in IN_A_POSITION if kind is not PartKind.FUSE), "bridge")  # a fuse is seen by its rating


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
    with bounded(file) as problems:
        return _read(text, _labels(report.positions), file, problems)


def _read(text: str, by_label: Mapping[str, list[Position]], file: str, problems: list[Problem]) -> dict[str, Plugged]:
    seen: dict[str, Plugged] = {}
    for number, line in enumerate(map(visible, text.splitlines()), 1):
        for token in _TOKEN.finditer(line.split("#", 1)[0]):
            place = Place(visible(file), number, token.start() + 1)
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
                f"Write a rating (`15`), `-`, `ok`, `blown`, `?`, a type letter, {listed([f'`{kind}`' for kind in _KINDS])}.",
            )
    if (nothing or right) and len(pieces) > 1:
        raise _Slip(f"`{what}` says two things", "`-` and `ok` stand alone.")
    if amps == 0:
        raise _Slip("no fuse is rated 0 A", "For an empty position write `-`.")
    return Plugged(label, place, what, nothing, amps, letter, kind, blown, unreadable, right)
