"""The photo or PDF of a page (`page:` in a sheet): a file inside the vehicle's folder, and nowhere else."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path, PurePosixPath

from tracer.entry.fragments import Sheet
from tracer.entry.problems import Problem
from tracer.entry.text import TypedFile

_FIX = "Put the file into the vehicle's folder and write its path from there, such as `scans/p5.pdf`."


def check_pages(folder: Path, sheets: Iterable[Sheet], files: Iterable[TypedFile], problems: list[Problem]) -> None:
    """A path that leads out of the vehicle's folder, by what it says or over a link, is a problem; a file that is missing is none."""
    for sheet, file in zip(sheets, files, strict=True):
        if sheet.page and (wrong := _leads_out(folder, sheet.page)):
            problems.append(file.problem(file.place_of(("page",)), f"page: {wrong}", _FIX, sheet.page))


def page_is_there(folder: Path, page: str) -> bool:
    """Whether the photo or PDF of a page is where a sheet says."""
    return (folder / page).is_file()


def _leads_out(folder: Path, page: str) -> str:
    path = PurePosixPath(page)
    if "\\" in page or ":" in page or not page.isprintable():
        return "a path has `/` between its folders, and neither backslashes nor colons"
    if path.is_absolute() or ".." in path.parts or page.startswith("~"):
        return f"`{page}` leads out of the vehicle's folder"
    try:
        inside = (folder / path).resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):  # a loop of links, or a name that no disk can hold
        inside = False
    return "" if inside else f"`{page}` is a link out of the vehicle's folder, or a name that no disk can hold"
