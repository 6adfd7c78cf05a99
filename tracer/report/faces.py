"""The face of a connector, in text and as data for paper: its cavities as they sit, those of the list marked by shape, and always the side from which it is seen."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tracer.plan.values import Face
from tracer.report.layout import Page

SHAPES = {"supply": ("[", "]"), "ground": ("(", ")")}
MEANING = "[1] supply, (1) ground"
PRINTED = "square: supply, round: ground"  # on paper


def title(face: Face) -> str:
    """'ALM, plug on the harness, seen from the wire side'; of a drawn mirror it is said first."""
    mirror = "MIRROR: " if face.mirrored else ""
    return f"{mirror}{face.part}, {face.half or 'plug on the harness'}, seen from the {face.viewed}"


def beside(face: Face) -> str:
    """What of the list the face does not show; empty where it shows all."""
    return f"not in this face: {', '.join(face.beside)}" if face.beside else ""


def picture_of(face: Face, width: int) -> Iterator[str]:
    """The rows of cavities as lines of text, each cavity equally wide; what is too wide for `width` goes on below, all rows of some columns at a time."""
    longest = max(len(row) for row in face.rows)
    cells = [[_cell(face, one) for one in (*row, *[""] * (longest - len(row)))] for row in face.rows]
    wide = max(len(one) for row in cells for one in row)
    most = max(1, (width + 1) // (wide + 1))
    for first in range(0, longest, most):
        last = min(first + most, longest)
        if longest > most:
            yield f"columns {first + 1} to {last} from the left:"
        yield from (" ".join(one.center(wide) for one in row[first:last]).rstrip() for row in cells)


def _cell(face: Face, cavity: str) -> str:
    if not cavity:
        return ""
    first, last = SHAPES.get(face.levels.get(cavity, ""), (" ", " "))
    return f"{first}{cavity}{last}"


def as_data(face: Face) -> dict[str, Any]:
    """A face as rows of cavities, each with what it is on the list; rows are equally long."""
    widest = max(len(row) for row in face.rows)
    rows = [[{"cavity": one, "level": face.levels.get(one, "")} for one in (*row, *[""] * (widest - len(row)))] for row in face.rows]  # fmt: skip
    return {"title": title(face), "part": face.part, "half": face.half, "viewed": face.viewed, "mirrored": face.mirrored, "rows": rows, "beside": beside(face)}  # fmt: skip


def write(page: Page, face: Face, *, indent: int = 0) -> None:
    """A face with its title; where it is wider than the page each row goes on below, further in."""
    page.line(f"{title(face)}: {MEANING}", indent=indent, hang=indent + 2, strong=True)
    for line in picture_of(face, page.width - indent - 2):
        page.as_it_is(f"{' ' * (indent + 2)}{line}")
    if words := beside(face):
        page.line(words, indent=indent + 2)


__all__ = ["MEANING", "PRINTED", "as_data", "beside", "picture_of", "title", "write"]
