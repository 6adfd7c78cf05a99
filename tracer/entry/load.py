"""A folder to checked text: the vehicle, its sheets, the facts about each part and the runs.

`read_folder` is the front door. It raises `CannotUse` with every problem found; it never stops at the first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from tracer.entry.file_models import RailFacts, VehicleFacts
from tracer.entry.folder import files_of
from tracer.entry.fragments import PART_NAME, RESERVED, Fragment, Path_, Sheet, below, facts_of, place_in_run
from tracer.entry.kinds import KindFacts, kinds_of
from tracer.entry.known_names import check_names, check_vehicle_names
from tracer.entry.own_colours import colour_system
from tracer.entry.page import check_pages
from tracer.entry.problems import CannotUse, Place, Problem, Problems, TooMany
from tracer.entry.runs import Run
from tracer.entry.sheets import SheetReader
from tracer.entry.text import Kept, TypedFile, read_file
from tracer.entry.values import Misread
from tracer.standards.colours import ColourSystem
from tracer.standards.terminals import meaning


@dataclass(frozen=True, slots=True)
class Typed:
    """A vehicle as typed, checked line by line but not yet joined."""

    folder: Path
    vehicle: VehicleFacts
    vehicle_file: TypedFile
    sheets: tuple[Sheet, ...]
    files: tuple[TypedFile, ...]
    fragments: dict[str, list[Fragment]]
    runs: tuple[Run, ...]
    kinds: Mapping[str, KindFacts]
    ignored: tuple[str, ...]

    def place_in_run(self, run: Run, offset: int = 0) -> Place:
        """Place of the piece that starts at `offset` of the run's text, also when the run is folded over lines."""
        file = self.files[run.sheet]
        return place_in_run(file, run.line, run.column, run.text, offset)


def read_folder(folder: str | Path, kept: Kept | None = None) -> Typed:
    """Read and check a vehicle's folder; files that are `kept` from an earlier reading and have not changed are not parsed again.

    Raises
    ------
    CannotUse : with every problem found, in file order
    """
    folder = Path(folder)
    problems = Problems()
    names, ignored = files_of(folder, problems)
    try:
        return _read(folder, kept, names, ignored, problems)
    except TooMany as error:
        raise CannotUse([*error.said(folder.name).problems, *not_read(ignored)]) from None


MAX_KEY_STATES = 64  # each question is answered in each of them
MAX_CONDITIONS = 500


def _read(
    folder: Path, kept: Kept | None, names: list[str] | None, ignored: tuple[str, ...], problems: Problems
) -> Typed:
    vehicle_file = read_file(folder, "vehicle.yaml", problems, kept) if names is not None else None
    vehicle = _vehicle(vehicle_file, problems) if vehicle_file else None
    if names is None:
        raise CannotUse(problems)
    kinds = kinds_of(folder, problems)
    reader = SheetReader(_colours(vehicle, vehicle_file), problems, read_again=kept is not None)
    all_read = True
    for name in names:
        file = read_file(folder, name, problems, kept)
        if file is not None:
            reader.read(file)
        else:
            all_read = False
    reader.finish()
    check_pages(folder, reader.sheets, reader.files, problems)
    if vehicle is not None and vehicle_file is not None:
        unread = reader.names() - set(reader.fragments) if all_read else None
        check_vehicle_names(vehicle, vehicle_file, reader.fragments, unread, problems)
    check_names(vehicle, reader.fragments, kinds, problems)
    if vehicle is None or vehicle_file is None:
        raise CannotUse([*problems, *not_read(ignored)])
    sound = reader.fragments if not problems else reader.sound_fragments()
    typed = Typed(
        folder,
        vehicle,
        vehicle_file,
        tuple(reader.sheets),
        tuple(reader.files),
        sound,
        tuple(reader.runs),
        kinds,
        ignored,
    )
    if problems:
        raise CannotUse([*problems, *not_read(ignored)], typed if all_read and not reader.doubled else None)
    return typed


def not_read(ignored: tuple[str, ...]) -> list[Problem]:
    """Where there are problems, the files that are not read may be why: a loose end (L131) otherwise."""
    return [Problem(Place(name), "this file is not read", how_to_be_read(name), cause=True) for name in ignored]


def how_to_be_read(name: str) -> str:
    """What to do with a file that is not read: only .yaml files under sheets/ are."""
    missing = ["give it the ending .yaml"] if not name.endswith((".yaml", ".yml")) else []
    missing += ["move it to sheets/"] if not name.startswith("sheets/") else []
    return f"{' and '.join(missing).capitalize()}; take it away if it is no page."


def _colours(vehicle: VehicleFacts | None, file: TypedFile | None) -> ColourSystem | None:
    """The abbreviations of the diagram; None where vehicle.yaml cannot say, so that not every wire is a problem as well."""
    if vehicle is not None:
        return vehicle.colours
    if file is None:
        return None
    try:
        return colour_system(below(file.tree, ("colours",)) or "iec")
    except Misread:
        return None


# --- the two kinds of file -----------------------------------------------------------------------------------------


def _vehicle(file: TypedFile, problems: list[Problem]) -> VehicleFacts | None:
    vehicle: VehicleFacts | None = facts_of(VehicleFacts, file.tree, file, (), problems)
    if vehicle is None:
        return None
    for key, most, called in (("key", MAX_KEY_STATES, "key states"), ("conditions", MAX_CONDITIONS, "conditions")):
        if len(typed := list(getattr(vehicle, key))) > most:
            place = file.place_of((key, most if key == "key" else typed[most]), key=True)
            fix = "No vehicle has so many: take out what is none."
            problems.append(replace(file.problem(place, f"more than {most} {called}", fix), cause=True))
            return None
    names, before = [*vehicle.key, *vehicle.conditions], set[str]()
    for index, name in enumerate(names):
        path: Path_ = ("key", index) if index < len(vehicle.key) else ("conditions", name)
        if name in before:
            problems.append(
                file.problem(
                    file.place_of(path, key=True),
                    f"`{name}` is named twice",
                    "Each key state and condition needs a name of its own.",
                    name,
                )
            )
        if (
            name in ("always", "never", "unknown", "yes", "no", "and", "not", "or", "din", "ground")
            or " and " in name
            or name.startswith("not ")
        ):
            problems.append(
                file.problem(
                    file.place_of(path, key=True),
                    f"`{name}` cannot be the name of a key state or condition",
                    "Choose another word.",
                    name,
                )
            )
        before.add(name)
    if not vehicle.key:
        problems.append(
            file.problem(file.place_of(("key",)), "no key state is named", "Write `key: [off, acc, run, start]`.")
        )
    for rail in vehicle.rails:
        if not PART_NAME.match(rail) or rail in RESERVED:
            problems.append(
                file.problem(
                    file.place_of(("rails", rail), key=True),
                    f"`{rail}` cannot be the name of a rail",
                    "Use one word without dots, colons or slashes.",
                    rail,
                )
            )
    return vehicle.model_copy(update={"rails": dict(_usual_rails(vehicle, file, problems))})


def _usual_rails(vehicle: VehicleFacts, file: TypedFile, problems: list[Problem]) -> Iterator[tuple[str, RailFacts]]:
    """Each rail; one that is left to the usual meaning of its number is a ground where that is one."""
    for rail, facts in vehicle.rails.items():
        terminal = meaning(rail) if facts.live is None and facts.from_ is None else None
        role = terminal.role if terminal else ""
        if role == "switched ground" and facts.ground == "no":
            problems.append(
                file.problem(
                    file.place_of(("rails", rail), key=True),
                    f"terminal {rail} is ground by way of a switch",
                    "Type in the switch, and where the rail begins: `from: S7.31`.",
                    rail,
                )
            )
        yield rail, facts.model_copy(update={"ground": "yes"}) if role == "ground" else facts


__all__ = ["Fragment", "Sheet", "Typed", "read_folder"]
