"""Which files of a vehicle's folder are its sheets, and which look like one and are not read."""

from __future__ import annotations

import re
from pathlib import Path

from tracer.entry.problems import Place, Problem, natural
from tracer.entry.visible import visible

MAX_SHEETS = 5_000


def files_of(folder: Path, problems: list[Problem]) -> tuple[list[str] | None, tuple[str, ...]]:
    """The sheets of a vehicle's folder in their order (None: it is no such folder), and the files beside them that are not read."""
    new = "`tracer new DIR` makes a start; `-C DIR` names the folder."
    if not folder.exists():
        problems.append(Problem(Place(str(folder)), "there is no such folder", new))
        return None, ()
    if not folder.is_dir():
        problems.append(
            Problem(Place(str(folder)), "this is a file; a vehicle is a folder with vehicle.yaml and sheets/", new)
        )
        return None, ()
    if not (folder / "vehicle.yaml").exists() and not (folder / "vehicle.yaml").is_symlink():
        problems.append(Problem(Place(str(folder)), "this folder is not a vehicle: it holds no vehicle.yaml", new))
        return None, ()
    sheets = folder / "sheets"
    if not sheets.is_dir():
        problems.append(
            Problem(
                Place("sheets"),
                "there is no folder of this name",
                "Type each page of the diagram into a file of its own under sheets/.",
            )
        )
        return [], ()
    if not sheets.resolve().is_relative_to(folder.resolve()):
        problems.append(
            Problem(
                Place("sheets"),
                "the folder is a link out of the vehicle's folder",
                "Put the sheets themselves into the folder.",
            )
        )
        return [], ()
    try:
        entries = sorted(
            (entry for entry in sheets.iterdir() if not entry.name.startswith(".")),
            key=lambda entry: natural(entry.name),
        )
        beside = _sheets_beside(folder)
    except OSError as error:
        what = f"the folder cannot be read: {error.strerror}"
        problems.append(Problem(Place("sheets"), what, "Check the folder and its permissions."))
        return [], ()
    names = [f"sheets/{entry.name}" for entry in entries if entry.suffix in (".yaml", ".yml")]
    ignored = tuple(visible(f"sheets/{entry.name}") for entry in entries if entry.suffix not in (".yaml", ".yml"))
    ignored += beside
    if not names:
        problems.append(
            Problem(
                Place("sheets"),
                "there is no sheet in this folder",
                "Type the first page of the diagram into sheets/01.yaml.",
            )
        )
    if len(names) > MAX_SHEETS:
        problems.append(
            Problem(Place("sheets"), f"{len(names)} sheets; at most {MAX_SHEETS} are read", "Split the vehicle.")
        )
        return [], ignored
    return names, ignored


_NO_SHEETS = frozenset({"vehicle.yaml", "types.yaml"})
_HEAD_OF_A_SHEET = re.compile(rb"^(?:\xef\xbb\xbf)?(?:sheet|parts|runs):", re.MULTILINE)


def _sheets_beside(folder: Path) -> tuple[str, ...]:
    """Files beside vehicle.yaml that look like a sheet: they were meant for sheets/, and are not read."""
    found = []
    for entry in sorted(folder.iterdir(), key=lambda entry: natural(entry.name)):
        page = (
            {".yaml", ".yml"} & set(entry.suffixes) and entry.name not in _NO_SHEETS and not entry.name.startswith(".")
        )
        if page and entry.is_file():
            try:
                with entry.open("rb") as file:
                    head = file.read(65536).replace(b"\r", b"\n")
            except OSError:
                head = b"sheet:"  # what cannot be looked at may be one
            if _HEAD_OF_A_SHEET.search(head):
                found.append(visible(entry.name))
    return tuple(found)
