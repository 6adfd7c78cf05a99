"""Problems: what is wrong with the typed text, where, and what to write instead.

A problem stops the tool (exit status 1): nothing is concluded from text that cannot be understood. All problems of a load are
collected and shown together, in file order.
"""

from __future__ import annotations

import difflib
import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from unicodedata import category, east_asian_width

from tracer.entry.visible import visible


@lru_cache(maxsize=4096)
def natural(text: str) -> list[tuple[int, int, str]]:
    """Sort key in which F2 comes before F10."""
    return [
        (0, int(piece), "") if piece.isdecimal() and len(piece) < 1000 else (1, 0, piece)  # Python reads no longer ones
        for piece in re.split(r"(\d+)", text)
        if piece
    ]


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a typed file. Lines and columns count from 1; 0 means the file as a whole. Sheet 2 comes before sheet 10."""

    file: str
    line: int = 0
    column: int = 0

    @property
    def order(self) -> tuple[list[tuple[int, int, str]], str, int, int]:
        """What many places are put in order by: quicker than one against the other."""
        return natural(self.file), self.file, self.line, self.column

    def __lt__(self, other: Place) -> bool:
        return self.order < other.order

    def __str__(self) -> str:
        file = visible(self.file)  # a file may be called anything
        return f"{file}:{self.line}:{self.column}" if self.line else file


NOWHERE = Place("")


@dataclass(frozen=True, order=True, slots=True)
class Problem:
    """One thing that is wrong.

    `cause`: something as a whole is not read (a file), from which others may follow. `text` is the offending piece as typed, `line_text` the whole typed line (both may be empty when the file as a
    whole is meant), `what` says what is wrong and `fix` what to write instead.
    """

    place: Place
    what: str
    fix: str
    text: str = field(default="", compare=False)
    line_text: str = field(default="", compare=False)
    cause: bool = field(default=False, compare=False)

    def __post_init__(self) -> None:
        # What was typed is quoted in them: a line break or a page of text in it must not tear the message apart.
        object.__setattr__(self, "what", _one_line(self.what))
        object.__setattr__(self, "fix", _one_line(self.fix))

    def render(self, width: int = 80) -> str:
        """The problem as lines of text: place and what (never broken), the typed line with a marker, the fix."""
        lines = [f"{self.place}: {self.what}"]
        if self.line_text.strip():
            shown, start = _window(self.line_text, self.place.column - 1, max(36, width - 4))
            marked = shown[start : start + len(self.text.split("\n")[0])]
            lines.append(f"    {shown.rstrip()}")
            lines.append(f"    {' ' * display_width(shown[:start])}{'^' * max(1, display_width(marked))}")
        lines += textwrap.wrap(
            self.fix,
            max(40, width),
            initial_indent="    ",
            subsequent_indent="    ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        return "\n".join(lines)


def _one_line(text: str, most: int = 600) -> str:
    text = visible(text)
    return text if len(text) <= most else f"{text[:most]}…"


def display_width(text: str) -> int:
    """Columns that a text takes in a terminal: two for a wide letter, none for a mark that joins another letter."""
    if text.isascii():
        return len(text)
    return sum(0 if category(c) in ("Mn", "Me", "Cf") else 2 if east_asian_width(c) in "WF" else 1 for c in text)


def _window(line: str, start: int, width: int) -> tuple[str, int]:
    """The piece of a line around `start` that takes at most `width` columns, and where `start` then is.

    Blanks of any kind become spaces, what cannot be seen `\ufffd`, letter for letter; `…` stands where the line is cut.
    """
    cut = max(0, start - 2 * width)  # a page on one line is not looked through for each of its problems
    line, start = line.rstrip("\r\n")[cut : start + 2 * width], start - cut
    line = "".join(c if visible(c) == c else " " if c.isspace() else "\ufffd" for c in line)
    start = max(0, min(start, len(line)))
    if display_width(line) <= width:
        return line, start
    if display_width(line[: start + 1]) <= width * 2 // 3:
        left = 0
    else:
        left = start
        while left > 0 and display_width(line[left - 1 : start]) <= width // 3:
            left -= 1
    right = left
    while right < len(line) and display_width(line[left : right + 1]) <= width - 2:
        right += 1
    before, after = "…" if left else "", "…" if right < len(line) else ""
    return before + line[left:right] + after, start - left + len(before)


MOST_PROBLEMS = 200


class TooMany(Exception):
    """So many problems were `found` that nobody reads more at once."""

    def __init__(self, found: Iterable[Problem]) -> None:
        self.found = tuple(found)

    def said(self, where: str) -> CannotUse:
        """The problems found so far, and first that there are more."""
        what = f"more than {MOST_PROBLEMS} problems: nothing further was looked at"
        fix = "Mend these first; one slip may be behind many, such as `colours` in vehicle.yaml."
        return CannotUse([*self.found, Problem(Place(where), what, fix, cause=True)])


class Problems(list[Problem]):
    """The problems found so far. Looking for more ends at `MOST_PROBLEMS`: `TooMany`, for whoever began the list."""

    def append(self, problem: Problem) -> None:
        if len(self) >= MOST_PROBLEMS:
            raise TooMany(self)
        super().append(problem)

    def extend(self, problems: Iterable[Problem]) -> None:
        for problem in problems:
            self.append(problem)


@contextmanager
def bounded(where: str) -> Iterator[Problems]:
    """The problems of one file that is no sheet: beyond `MOST_PROBLEMS` it is refused with those found so far.

    Raises
    ------
    CannotUse : there are more
    """
    try:
        yield Problems()
    except TooMany as error:
        raise error.said(visible(where)) from None


class CannotUse(Exception):
    """The folder cannot be used; `problems` says why, in file order, but what is not read as a whole first.

    `rest`: what could be understood all the same, for whoever wants to look for more problems in it; nothing may be concluded from it.
    """

    def __init__(self, problems: Iterable[Problem], rest: object = None) -> None:
        self.problems: tuple[Problem, ...] = tuple(sorted(set(problems), key=lambda one: (not one.cause, one)))
        self.rest = rest
        super().__init__("\n".join(problem.render() for problem in self.problems))


class CannotAnswer(Exception):
    """The question names something that is not there, or cannot be understood; the text says what to ask instead."""


class BadReading(CannotAnswer, ValueError):
    """A reading that cannot be understood or cannot be; the message says what to write."""


class CannotCompute(Exception):
    """The question is understood, but there is no answer to be had: no steady voltages, no layout engine."""


_MANY_NAMES = 2000
_DIGIT_FOR = {"o": "0", "i": "1", "l": "1"}  # letters typed for the digit that they look like
_DIGITS = re.compile(r"\d+")


def nearest(name: str, known: Iterable[str], *, most: int = 1) -> list[str]:
    """The known names for which `name` may be a slip, best first; empty when there is none.

    Another number is another thing, not a slip: S22 is never taken for S2, nor 88 for 87; only a letter O, I or l may stand for a digit. Where names
    carry a number their letters are few, so they must be the same, or three and more with one slip. A position is never looked for in another panel.

    >>> nearest("S22", ["S2", "S21"]), nearest("1O", ["1", "10"]), nearest("ECN", ["GEN", "ECM"])
    ([], ['10'], ['ECM'])
    """
    folded, candidates = name.casefold(), list(dict.fromkeys(known))
    if len(candidates) > _MANY_NAMES:  # a whole vehicle is not held against each of its slips: those that begin alike
        candidates = [one for one in candidates if one[:2] == name[:2]][:_MANY_NAMES]
    scored = [(_likeness(folded, candidate.casefold()), candidate) for candidate in candidates]
    scored.sort(key=lambda one: one[0], reverse=True)
    return [candidate for (score, _), candidate in scored[:most] if score]


def _likeness(name: str, known: str) -> tuple[float, int]:
    """How much two names look alike (0: not at all), and how many letters they share from the front."""
    if name == known or is_letter_for_digit(name, known):
        return (2.0, 0)
    numbers = _DIGITS.findall(name)
    if numbers != _DIGITS.findall(known) or name.rpartition("/")[0] != known.rpartition("/")[0]:
        return (0.0, 0)
    if numbers:
        own, other = ("".join(filter(str.isalpha, one)) for one in (name, known))
        if own != other and (min(len(own), len(other)) < 3 or not _one_slip(own, other)):
            return (0.0, 0)
    if max(len(name), len(known)) < 5:
        if len(name) == len(known) < 3 or not _one_slip(name, known):
            return (0.0, 0)
        ratio = 1.0
    else:
        matcher = difflib.SequenceMatcher(None, known, name)
        ratio = matcher.ratio() if matcher.quick_ratio() >= 0.6 else 0.0
    same = next((at for at, (a, b) in enumerate(zip(name, known, strict=False)) if a != b), min(len(name), len(known)))
    return (ratio, same) if ratio >= 0.6 else (0.0, 0)


def is_letter_for_digit(name: str, known: str) -> bool:
    """Whether a name is another one with O, I or l typed where that has the digit 0 or 1; not the other way round.

    >>> is_letter_for_digit("1O", "10"), is_letter_for_digit("S12", "SL2")
    (True, False)
    """
    pairs = list(zip(name.casefold(), known.casefold(), strict=False))
    return len(name) == len(known) and all(own == other or _DIGIT_FOR.get(own) == other for own, other in pairs)


def _one_slip(a: str, b: str) -> bool:
    """Whether two words differ by one letter left out, put in or replaced, or by two neighbours that changed places."""
    if len(a) > len(b):
        a, b = b, a
    at = next((at for at, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), len(a))
    if len(a) < len(b):
        return a[at:] == b[at + 1 :]
    return a[at + 1 :] == b[at + 1 :] or (a[at : at + 2] == b[at : at + 2][::-1] and a[at + 2 :] == b[at + 2 :])


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """A sentence that offers the nearest known name, or `otherwise` when none is near."""
    near = nearest(name, known)
    return f"Did you mean `{near[0]}`? {otherwise}" if near else otherwise


NONE_YET = "none typed in yet"


def fault(error: Exception, where: str = "") -> str:
    """That something went wrong which nobody who types can mend."""
    return f"a fault of this program, not of what you typed ({type(error).__name__}{where}: {error})"


def listed(words: Sequence[str], *, most: int = 12, joiner: str = "or") -> str:
    """'a, b or c', cut with a count when there are many."""
    words = list(words)
    if len(words) > most:
        return ", ".join(words[:most]) + f" and {len(words) - most} more"
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joiner} {words[-1]}"
