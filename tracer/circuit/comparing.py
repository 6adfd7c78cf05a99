"""Two typings of the same pages, wire by wire and fact by fact; in which order and from which end something was typed does not matter."""

from __future__ import annotations

import shutil
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tracer.circuit.join import join
from tracer.circuit.kinds import LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.circuit.wire_ends import WireBetween, full_name, wires_between
from tracer.entry.load import read_folder
from tracer.entry.problems import CannotUse, Place, Problem, natural
from tracer.entry.told import told, told_of
from tracer.standards import figures


@dataclass(frozen=True, slots=True)
class Side:
    """What one of the two says, and where; empty where it says nothing."""

    words: str = ""
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs: what it is about (two points, or a part and a fact), and what each of the two says."""

    about: str
    a: Side
    b: Side


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two typings, in the order of names; `wires` and `facts` count what was compared in each."""

    a: str
    b: str
    in_wires: tuple[Difference, ...]
    in_facts: tuple[Difference, ...]
    wires: tuple[int, int]
    facts: tuple[int, int]

    @property
    def complete(self) -> bool:
        """Whether the two say the same."""
        return not self.in_wires and not self.in_facts


@dataclass(frozen=True, slots=True)
class _Typing:
    """A vehicle, or one sheet of it."""

    circuit: Circuit
    sheet: int | None


def compare(a: str | Path, b: str | Path) -> Comparison:
    """What differs between two folders, or between two sheets.

    A sheet is read with the vehicle in whose folder it lies. One that lies beside no vehicle is read in the place of the other one.

    Raises
    ------
    CannotUse : one of the two cannot be used; the name of its folder or sheet stands before each place
    """
    a, b = Path(a), Path(b)
    if a.is_dir() != b.is_dir() and a.exists() and b.exists():
        what = "one is a folder and the other a file"
        raise CannotUse([Problem(Place(str(a)), what, "Name two folders of vehicles, or two sheets.")])
    if a.is_dir() or b.is_dir() or not a.exists() or not b.exists():
        return comparison(str(a), _Typing(_loaded(a, a), None), str(b), _Typing(_loaded(b, b), None))
    homes = [_home(a), _home(b)]
    known = next((home for home in homes if home is not None), None)
    if known is None:
        what = "neither sheet lies in the sheets/ folder of a vehicle"
        raise CannotUse(
            [Problem(Place(str(a)), what, "Name at least one sheet inside a vehicle's folder: DIR/sheets/05.yaml.")]
        )
    one, two = (
        _with_sheet(known, other, own) if home is None else _sheet_of(_loaded(home, own), own)
        for own, other, home in ((a, b, homes[0]), (b, a, homes[1]))
    )
    return comparison(str(a), one, str(b), two)


def _home(sheet: Path) -> Path | None:
    """The vehicle's folder in which a sheet lies."""
    folder = sheet.absolute().parent
    return folder.parent if folder.name == "sheets" and (folder.parent / "vehicle.yaml").is_file() else None


def _loaded(folder: Path, called: Path) -> Circuit:
    """The circuit of a folder; of its problems each says which of the two is meant."""
    try:
        return join(read_folder(folder))
    except CannotUse as error:
        raise CannotUse(
            Problem(
                one.place if one.place.file.startswith(str(called)) else Place(f"{called}: {one.place.file}", one.place.line, one.place.column),
                one.what, one.fix, one.text, one.line_text,
            )
            for one in error.problems
        ) from None  # fmt: skip


def _sheet_of(circuit: Circuit, sheet: Path) -> _Typing:
    names = [one.file for one in circuit.typed.sheets]
    return _Typing(circuit, names.index(f"sheets/{sheet.name}"))


def _with_sheet(home: Path, replaced: Path, sheet: Path) -> _Typing:
    """A vehicle read with another sheet in the place of one of its own."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "vehicle"
        (folder / "sheets").mkdir(parents=True)
        try:
            for name in ("vehicle.yaml", "types.yaml"):
                if (home / name).is_file():
                    shutil.copyfile(home / name, folder / name)
            for one in (home / "sheets").iterdir():
                if one.name != replaced.name and one.is_file() and one.suffix in (".yaml", ".yml"):
                    shutil.copyfile(one, folder / "sheets" / one.name)
            inside = folder / "sheets" / (sheet.name if sheet.suffix in (".yaml", ".yml") else f"{sheet.name}.yaml")
            shutil.copyfile(sheet, inside)
        except OSError as error:
            fix = "Check the files and their permissions."
            raise CannotUse([Problem(Place(str(sheet)), f"it cannot be read: {error.strerror}", fix)]) from None
        return _sheet_of(_loaded(folder, sheet), inside)


def comparison(name_a: str, a: _Typing, name_b: str, b: _Typing) -> Comparison:
    """What differs between two typings that were read."""
    wires = [list(wires_between(one.circuit, sheet=one.sheet)) for one in (a, b)]
    facts = [dict(_facts(one)) for one in (a, b)]
    in_facts = [
        Difference(about, facts[0].get(about, Side()), facts[1].get(about, Side()))
        for about in sorted(facts[0].keys() | facts[1].keys(), key=natural)
        if facts[0].get(about, Side()).words != facts[1].get(about, Side()).words
    ]
    in_wires = [*_in_wires(*wires), *_in_halves(a.circuit, b.circuit, *wires)]
    counts = ((len(wires[0]), len(wires[1])), (len(facts[0]), len(facts[1])))
    return Comparison(name_a, name_b, tuple(in_wires), tuple(in_facts), *counts)


# --- wires -----------------------------------------------------------------------------------------------------------


def _in_wires(a: Iterable[WireBetween], b: Iterable[WireBetween]) -> Iterator[Difference]:
    """Wires between the same two points are held against each other; what is left over is in one typing only."""
    sides = [defaultdict(list), defaultdict(list)]  # type: list[defaultdict[tuple[str, str], list[WireBetween]]]
    for side, wires in zip(sides, (a, b), strict=True):
        for wire in wires:
            side[wire.a.point, wire.b.point].append(wire)
    for points in sorted(sides[0].keys() | sides[1].keys(), key=lambda points: natural(" -- ".join(points))):
        about = " -- ".join(points)
        ours, theirs = (sorted(side.get(points, []), key=_says) for side in sides)
        same = Counter(map(_says, ours)) & Counter(map(_says, theirs))
        ours, theirs = _without(ours, same.copy()), _without(theirs, same.copy())
        for at in range(max(len(ours), len(theirs))):
            yield Difference(about, _side(ours, at), _side(theirs, at))


def _says(wire: WireBetween) -> str:
    one = wire.wire
    words = [
        "/".join(one.colours) or (one.medium if one.medium != "wire" else "colour ?"),
        one.size_text or "size ?",
        figures.typed(one.length_m, "m") if one.length_m is not None else "",
        f"({one.number})" if one.number else "",
        f"seen: {wire.run.seen}" if wire.run.seen != "diagram" else "",
        f"note: {wire.run.note}" if wire.run.note else "",
    ]
    return ", ".join(word for word in words if word)


def _without(wires: list[WireBetween], same: Counter[str]) -> list[WireBetween]:
    left = []
    for wire in wires:
        if same[_says(wire)]:
            same[_says(wire)] -= 1
        else:
            left.append(wire)
    return left


def _side(wires: list[WireBetween], at: int) -> Side:
    return Side(_says(wires[at]), wires[at].place) if at < len(wires) else Side()


def _in_halves(
    a: Circuit, b: Circuit, ours: Iterable[WireBetween], theirs: Iterable[WireBetween]
) -> Iterator[Difference]:
    """Cavities whose wires lie otherwise over the two halves, or in another half where both typings say which."""
    one, two = _halves(a, ours), _halves(b, theirs)
    for contact in sorted(one.keys() & two.keys(), key=natural):
        (lies, named), (other_lies, other_named) = one[contact], two[contact]
        if sum(lies.values(), Counter()) != sum(other_lies.values(), Counter()):
            continue  # other wires: those differ already
        swapped = {"a": lies["b"], "b": lies["a"]}
        said = named and other_named
        if lies != other_lies and (said or swapped != other_lies):
            yield Difference(f"halves of {contact}", Side(_lies(lies)), Side(_lies(other_lies)))


def _halves(circuit: Circuit, wires: Iterable[WireBetween]) -> dict[str, tuple[dict[str, Counter[str]], bool]]:
    """For each cavity of in-line connectors where the wires of each half lead, and whether it is known which half is which."""
    contact_of = {}
    for link in circuit.links:
        if link.kind is LinkKind.MATING:
            name = f"{full_name(circuit, circuit.node_parts[link.a])} {circuit.contact_name(link.a, link.b)}"
            contact_of[link.a] = contact_of[link.b] = name
    found: dict[str, tuple[dict[str, Counter[str]], bool]] = {}
    for wire in wires:
        for end, other in ((wire.a, wire.b), (wire.b, wire.a)):
            if end.kind == PartKind.CONNECTOR:
                name = contact_of[end.node]
                lies, named = found.setdefault(name, ({"a": Counter(), "b": Counter()}, True))
                lies[end.half][f"{other.point}, {_says(wire)}"] += 1
                found[name] = (lies, named and end.told)
    return found


def _lies(lies: dict[str, Counter[str]]) -> str:
    return "; ".join(
        f"{half}: {' and '.join(sorted(wires.elements(), key=natural)) or 'nothing'}" for half, wires in lies.items()
    )


# --- facts -----------------------------------------------------------------------------------------------------------


def _facts(typing: _Typing) -> Iterator[tuple[str, Side]]:
    """Every fact with what it is about; of several sheets that say the same of a part, once."""
    typed = typing.circuit.typed
    chosen = range(len(typed.sheets)) if typing.sheet is None else (typing.sheet,)
    found: dict[str, dict[str, Place]] = {}
    for name, fragments in typed.fragments.items():
        for fragment in fragments:
            if fragment.sheet in chosen:
                for key, words in told_of(fragment):
                    found.setdefault(f"{name}: {key}", {}).setdefault(words, fragment.place)
    for number in chosen:
        sheet = typed.sheets[number]
        place = Place(sheet.file, 1, 1)
        about = f"sheet {sheet.id}" if typing.sheet is None else "the sheet"
        for key, fact in (("number", sheet.id), ("title", sheet.title), ("seen", sheet.seen), ("note", sheet.note),
                          ("hazard", ", ".join(sheet.hazard)), ("caution", sheet.caution), ("page", sheet.page)):  # fmt: skip
            if fact:
                found.setdefault(f"{about}: {key}", {})[str(fact)] = place
    if typing.sheet is None:
        for key, words in told(typed.vehicle, without=frozenset({"vehicle"})):
            found.setdefault(f"vehicle.yaml: {key}", {})[words] = Place("vehicle.yaml", 1, 1)
    for about, said in found.items():
        yield about, Side(" | ".join(sorted(said)), next(iter(said.values())))
