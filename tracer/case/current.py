"""Which case is the current one, so that no reading has to say so.

`TRACER_CASE` in the environment names it, for one terminal. Otherwise the file `current` in the state folder does: `TRACER_STATE`, or `tracer` below
`XDG_STATE_HOME` (usually ~/.local/state), on Windows below `LOCALAPPDATA`. New cases are kept there too, below `cases`, apart from every vehicle.
"""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from tracer.case.file import make_folder
from tracer.entry.files import NotWritten, write_whole
from tracer.entry.problems import CannotCompute

_LONGEST = 4096  # letters of a path, on the disks there are


def state_folder() -> Path:
    """Where the current case is written down.

    Raises
    ------
    CannotCompute : nothing in the environment says where, and the user has no home folder
    """
    if own := os.environ.get("TRACER_STATE"):
        return Path(own)
    base = os.environ.get("XDG_STATE_HOME") or os.environ.get("LOCALAPPDATA")
    try:
        return Path(base) / "tracer" if base else Path.home() / ".local" / "state" / "tracer"
    except RuntimeError:
        raise CannotCompute("It is not known where cases are kept: name a folder with TRACER_STATE.") from None


def current() -> Path:
    """The file of the current case.

    Raises
    ------
    CannotCompute : no case is open, or the file that names it cannot be used
    """
    if named := os.environ.get("TRACER_CASE"):
        return Path(named)
    pointer = state_folder() / "current"
    again = "`tracer case use FILE` writes it anew."
    try:
        named = pointer.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        raise CannotCompute("No case is open: `tracer -C VEHICLE case open MODULE` opens one.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise CannotCompute(
            f"cannot read {pointer}: {getattr(error, 'strerror', None) or 'it is not text'}. {again}"
        ) from error
    if not named or min(named) < " " or len(named) > _LONGEST:
        raise CannotCompute(f"{pointer} names no case. {again}")
    return Path(named)


def make_current(file: Path) -> None:
    """From now on this case is the current one.

    Raises
    ------
    NotWritten : the pointer cannot be written, or the environment names another case, which comes first
    """
    named = os.environ.get("TRACER_CASE")
    if named and Path(named).resolve() != file.resolve():
        raise NotWritten(f"TRACER_CASE names {named} in this terminal and comes first: unset it, or name {file} there.")
    folder = state_folder()
    try:
        make_folder(folder)
    except NotWritten as error:
        raise NotWritten(f"{error}. TRACER_STATE names another one.") from error
    write_whole(folder / "current", f"{file.resolve()}\n".encode())


def new_name(module: str) -> Path:
    """A name for a new case of a module that no file has.

    Raises
    ------
    NotWritten : the folder of the cases cannot be used
    """
    safe = "".join(c if c.isalnum() or c in "-_" else "_" for c in module)
    stem = state_folder() / "cases" / f"{safe}-{datetime.now().strftime('%Y-%m-%d')}"
    number, file = 1, stem.with_name(f"{stem.name}.case")
    try:
        while file.exists():
            number += 1
            file = stem.with_name(f"{stem.name}-{number}.case")
    except OSError as error:
        raise NotWritten(f"cannot use {stem.parent}: {error.strerror}. TRACER_STATE names another folder.") from error
    return file


__all__ = ["current", "make_current", "new_name", "state_folder"]
