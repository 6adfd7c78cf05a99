"""Problems: what is wrong with the typed text, where, and what to write instead.

A problem stops the tool (exit status 1): nothing is concluded from text that cannot be understood. All problems of a load are
collected and shown together, in file order.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True, order=True, slots=True)
class Place:
    """A place in a typed file. Lines and columns count from 1; 0 means the file as a whole."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        if not self.line:
            return self.file
        return f"{self.file}:{self.line}:{self.column}"


NOWHERE = Place("")


@dataclass(frozen=True, order=True, slots=True)
class Problem:
    """One thing that is wrong.

    `text` is the offending piece as typed, `line_text` the whole typed line (both may be empty when the file as a
    whole is meant), `what` says what is wrong and `fix` what to write instead.
    """

    place: Place
    what: str
    fix: str
    text: str = field(default="", compare=False)
    line_text: str = field(default="", compare=False)

    def render(self) -> str:
        """The problem as lines of text: place and what, the typed line with a marker, the fix."""
        lines = [f"{self.place}: {self.what}"]
        if self.line_text.strip():
            shown, start = _window(self.line_text, self.place.column - 1)
            width = max(1, min(len(self.text.splitlines()[0]) if self.text else 1, len(shown) - start))
            lines.append(f"    {shown}")
            lines.append(f"    {' ' * start}{'^' * width}")
        lines.append(f"    {self.fix}")
        return "\n".join(lines)


def _window(line: str, start: int, width: int = 100) -> tuple[str, int]:
    """At most `width` characters of a line around `start`, and where `start` then is; tabs and controls become spaces."""
    line = "".join(c if c.isprintable() else " " for c in line.rstrip("\r\n"))
    start = max(0, min(start, len(line)))
    if len(line) <= width:
        return line, start
    left = max(0, min(start - width // 3, len(line) - width))
    return line[left : left + width], start - left


class CannotUse(Exception):
    """The folder cannot be used; `problems` says why, in file order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(sorted(set(problems)))
        super().__init__("\n".join(problem.render() for problem in self.problems))


def nearest(name: str, known: Iterable[str], *, most: int = 1) -> list[str]:
    """The known names that look most like `name`, best first; empty when none is near."""
    by_folded: dict[str, str] = {}
    for candidate in known:
        by_folded.setdefault(candidate.casefold(), candidate)
    found = difflib.get_close_matches(name.casefold(), by_folded, n=most, cutoff=0.5)
    return [by_folded[folded] for folded in found]


def did_you_mean(name: str, known: Iterable[str], otherwise: str) -> str:
    """A sentence that offers the nearest known name, or `otherwise` when none is near."""
    near = nearest(name, known)
    return f"Did you mean `{near[0]}`? {otherwise}" if near else otherwise


def listed(words: Sequence[str], *, most: int = 12, joiner: str = "or") -> str:
    """'a, b or c', cut with a count when there are many."""
    words = list(words)
    if len(words) > most:
        return ", ".join(words[:most]) + f" and {len(words) - most} more"
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joiner} {words[-1]}"
