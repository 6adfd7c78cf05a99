"""`tracer new`: a commented start that already passes `check`. Nothing is overwritten; all files are written or none."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from tracer.entry.files import NotWritten, write_whole
from tracer.entry.schema import FOLDER, SHEET_FILE, VEHICLE_FILE

_VEHICLE = """\
# yaml-language-server: $schema=schemas/vehicle.schema.json
# The vehicle. docs/format.md of the project explains every key. Everything is read as text; what is not known is typed as `unknown`.
vehicle: Name of the vehicle, to variant level (engine, side, build date)
system: 12 V                    # 12 V | 24 V | 48 V
colours: iec                    # how this diagram abbreviates wire colours: iec (RD) | din (rt) | american (RED) | {P: pink, B: black}
key: [off, acc, run, start]     # key states, in their order
# conditions:                   # what else decides whether something is live
#   lights: side lights switched on
#   after-run: {text: up to a minute after key off, when: [off]}
rails:                          # potentials drawn as a line along the pages
  "30": {live: always, from: BAT.+}
  # "15": [run, start]          # until the ignition switch is typed in; does 15 stay during start? `[run]` if it drops out
  "31": {ground: yes, from: G1}
# buses:                        # bus pins are declared as `bus drive H`, `bus drive L`
#   drive: {kind: high-speed can}
# limits: {supply path: 0.4}    # V; limits of your own in place of the usual ones
"""

_SHEET = """\
# yaml-language-server: $schema=../schemas/sheet.schema.json
# One file for each page of the diagram. Replace this example by what the page shows.
sheet: 1                        # what the page calls itself
title: Example - one module with one supply and one ground
parts:
  BAT: {is: battery, at: "engine bay, left"}
  F1: {is: fuse, amps: 10, at: "panel in the engine bay, first position"}
  X1: {is: connector, cavities: 1-6, unused: [2-6], at: "bulkhead, left"}
  G1: {is: ground, at: "left inner wing, M8 stud"}
  MOD:
    is: module
    name: The module you ask about
    at: behind the glovebox
    access: "glovebox out, four screws"
    cavities: 1-4               # every cavity must be wired, or listed as unused
    unused: [3, 4]
    pins: {1: supply, 2: ground}
    # draws: {1: 1.2}           # A that it takes at a supply pin; computed volts are closer with it
runs:                           # one line for each run, as the finger follows it: point -- wire -- point
  - 30 -- RD 2.5 -- F1 -- RD/GN 1 -- X1.1 -- RD/GN 1 -- MOD.1
  - MOD.2 -- BN 1 -- G1
  - BAT.- -- BN 25 -- G1
  # - ref 47>12 -- VT 0.75 -- MOD.3   # leaves this page at mark 47 and goes on at mark 12 of another page
"""


DEMO = ("minibus", "ALM")  # the invented vehicle that comes with the program, and a module of it


def demo_folder() -> Path:
    """Where the demo vehicle is: inside the installed package, or at the top of a checkout."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "_circuits"
    return (inside if inside.is_dir() else package.parent / "circuits") / DEMO[0]


class CannotStart(Exception):
    """The folder cannot be made; the text says why and what to do instead."""


def start_vehicle(folder: Path) -> list[Path]:
    """Write a new vehicle; returns the paths written, `vehicle.yaml` first, then the sheet.

    Raises
    ------
    CannotStart : something of that name is already there, or it cannot be written
    """
    files = {"vehicle.yaml": _VEHICLE, "sheets/01.yaml": _SHEET}
    files |= {f"schemas/{name}": (FOLDER / name).read_text(encoding="utf-8") for name in (VEHICLE_FILE, SHEET_FILE)}
    try:
        if folder.is_symlink():
            raise CannotStart(f"{folder} is a link: nothing was written. Choose another name.")
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise CannotStart(f"{folder} already exists and is not empty: nothing was written. Choose another name.")
        parent = folder.absolute().parent
        if not parent.is_dir():
            raise CannotStart(
                f"there is no folder {parent}: nothing was written. Make it first, or choose another place."
            )
        if folder.exists():
            _fill(folder, files)
        else:
            _write_together(folder, parent, files)
    except (OSError, ValueError, NotWritten) as error:  # ValueError: a name that no disk can hold
        reason = getattr(error, "strerror", None) or error
        raise CannotStart(f"{folder} cannot be written: {reason}. Nothing was written.") from error
    return [folder / name for name in files]


def _write_together(folder: Path, parent: Path, files: dict[str, str]) -> None:
    """Everything goes into a folder beside the wanted one, which then takes its name in one step."""
    scratch = Path(tempfile.mkdtemp(prefix=".new-", dir=parent))
    try:
        _write(scratch, files)
        scratch.chmod(0o777 & ~_umask())
        if folder.exists():
            raise FileExistsError(17, "something of this name has just been made")
        scratch.rename(folder)
    except BaseException:
        shutil.rmtree(scratch, ignore_errors=True)
        raise


def _fill(folder: Path, files: dict[str, str]) -> None:
    """Everything goes into a folder inside the empty one (which may be where the user stands) and is then moved up."""
    scratch = Path(tempfile.mkdtemp(prefix=".new-", dir=folder))
    moved: list[Path] = []
    try:
        _write(scratch, files)
        if [entry for entry in folder.iterdir() if entry.name != scratch.name]:
            raise FileExistsError(17, "something has just been put into it")
        for entry in sorted(scratch.iterdir()):
            moved.append(entry.rename(folder / entry.name))
        scratch.rmdir()
    except BaseException:
        for path in [*moved, scratch]:
            if path.is_dir():
                shutil.rmtree(path, ignore_errors=True)
            else:
                path.unlink(missing_ok=True)
        raise


def _write(folder: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        write_whole(path, text.encode())


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
