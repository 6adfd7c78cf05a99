"""What one sheet says about one part, where it stands in its file, and how a tree becomes facts."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from tracer.entry.facts import read_facts
from tracer.entry.models import PartFacts
from tracer.entry.part_kinds import PartKind
from tracer.entry.problems import Place, Problem
from tracer.entry.text import TypedFile
from tracer.entry.visible import visible

Path_ = tuple[str | int, ...]

PART_NAME = re.compile(r"^[^\s.:<>?,/\[\]{}]+$")
RESERVED = frozenset({"ref", "unknown", "track", "bare", "key"})


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page: the file it was typed in, what the page calls itself, its title, where its facts are from, what to mind with all of it, its photo or PDF."""

    file: str
    id: str
    title: str | None
    seen: str
    note: str | None = None
    hazard: tuple[str, ...] = ()
    caution: str | None = None
    page: str | None = None


@dataclass(frozen=True, slots=True)
class Fragment:
    """What one sheet says about one part. `path` leads to it inside the file.

    `used`: a part that no sheet declares, and where it is named; `guess`: what it is by its name and use, in words.
    """

    name: str
    kind: PartKind
    facts: PartFacts
    sheet: int
    file: TypedFile
    path: Path_
    seen: str
    panel: str | None = None
    label: str | None = None
    used: tuple[Place, ...] = ()
    guess: str = ""

    @property
    def place(self) -> Place:
        return self.used[0] if self.used else self.file.place_of(self.path, key=True)

    def place_of(self, path: Path_, *, key: bool = False, text: str = "") -> Place:
        """Place of one fact of the part, or of a piece of text in it."""
        return self.used[0] if self.used else self.file.place_of(self.path + path, key=key, text=text)

    def has(self, path: Path_) -> bool:
        """Whether this fragment says something at `path`."""
        return not self.used and below(self.file.tree, self.path + path) is not None


def facts_of(model: type[Any], tree: Any, file: TypedFile, path: Path_, problems: list[Problem]) -> Any:
    """The model filled from the tree, or None with a problem for each thing that is wrong."""

    def report(at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        problems.append(file.problem(file.place_of(at, key=key, text=text), what, fix, text))

    return read_facts(model, tree, path, report)


def below(tree: Any, path: Path_) -> Any:
    """What stands in a tree at a path; None where nothing does."""
    for step in path:
        if isinstance(tree, dict):
            tree = tree.get(step)
        elif isinstance(tree, list) and isinstance(step, int) and step < len(tree):
            tree = tree[step]
        else:
            return None
    return tree


def place_in_run(file: TypedFile, line: int, column: int, text: str, offset: int) -> Place:
    """Place of the piece that starts at `offset` of a run that begins at a line and column."""
    piece = text[offset : offset + 12]
    while piece:
        for number in range(line, min(line + 40, len(file.lines) + 1)):  # a folded run goes on on the lines below
            typed = file.lines[number - 1]
            shown = visible(typed)
            start = len(visible(typed[: column - 1])) if number == line else 0
            at = (
                start + offset
                if number == line and shown.startswith(piece, start + offset)
                else shown.find(piece, start)
            )
            if at >= 0:
                return Place(file.name, number, _column(typed, shown, at))
        piece = piece.rpartition(" ")[0]  # the rest of it stands on the next line
    return Place(file.name, line, column)


def _column(typed: str, shown: str, at: int) -> int:
    """The column of a line as typed at which it is made visible from `at` on."""
    if typed == shown:
        return at + 1
    return next(count for count in range(1, len(typed) + 2) if len(visible(typed[:count])) > at or count > len(typed))
