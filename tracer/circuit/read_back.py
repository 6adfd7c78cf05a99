"""A sheet in plain lines, to be ticked against the drawing one by one; what has been ticked is kept, and goes stale with a change of its line.

The ticks lie in `read-back.json` of the vehicle's folder: for each sheet the lines that somebody has found on the drawing, by their words. A line that
was changed has other words, so it is not ticked; the words that were ticked and stand nowhere any more are shown as well.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from tracer.circuit.kinds import PARTS, PartKind, Written
from tracer.entry.files import write_whole
from tracer.entry.fragments import Sheet
from tracer.entry.load import Typed, read_folder
from tracer.entry.page import page_is_there
from tracer.entry.problems import CannotAnswer, CannotUse, Place, Problem, listed, natural, nearest
from tracer.entry.runs import Point, Run, Wire
from tracer.entry.told import told_of
from tracer.entry.values import Misread, pin_list
from tracer.entry.visible import all_visible
from tracer.standards import figures
from tracer.standards.colours import colour_name

TICKS = "read-back.json"
_MAX_BYTES = 16_000_000


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its number, what it is under (a run, a part), its words, where it was typed, and whether it was ticked."""

    number: int
    under: str
    words: str
    place: Place
    ticked: bool


@dataclass(frozen=True, slots=True)
class ReadBack:
    """The lines of a sheet; `gone`: lines that were ticked and have been changed or deleted since."""

    vehicle: str
    sheet: Sheet
    page_found: bool
    lines: tuple[Line, ...]
    gone: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether every line is ticked, and nothing that was ticked has changed."""
        return not self.gone and all(line.ticked for line in self.lines)


def read_back(folder: str | Path, sheet: str, *, tick: str = "", untick: str = "") -> ReadBack:
    """The lines of a sheet after ticks were set and taken away.

    Parameters
    ----------
    folder : the vehicle's folder
    sheet : what the page calls itself, or the name of its file
    tick, untick : numbers of lines (`1-12, 15`), or `all`; the file of ticks is written where one of them is given

    Raises
    ------
    CannotUse : the folder or the file of ticks cannot be read
    CannotAnswer : there is no such sheet or line
    NotWritten : the ticks cannot be written
    """
    folder = Path(folder)
    typed = read_folder(folder)
    number = _sheet_number(typed, sheet)
    found = typed.sheets[number]
    lines = _numbered(typed, number)
    every = _ticks(folder)
    before = Counter(every.get(found.id, ()))
    ticked = {words for _, words, _, _ in lines if words in before}
    gone = sorted((before - Counter(words for _, words, _, _ in lines)).elements())
    if tick or untick:
        known = {at: words for at, (_, words, _, _) in enumerate(lines, 1)}
        ticked |= {known[at] for at in _chosen(tick, len(lines), "--tick")}
        ticked -= {known[at] for at in _chosen(untick, len(lines), "--untick")}
        gone = []  # whoever ticks has the sheet before them
        every[found.id] = [words for _, words, _, _ in lines if words in ticked]
        text = json.dumps(
            {one: every[one] for one in sorted(every, key=natural) if every[one]}, indent=1, ensure_ascii=False
        )
        write_whole(folder / TICKS, f"{text}\n".encode())
    shown = tuple(
        Line(at, under, said, place, words in ticked) for at, (under, words, said, place) in enumerate(lines, 1)
    )
    found_page = bool(found.page) and page_is_there(folder, found.page or "")
    return ReadBack(typed.vehicle.vehicle, found, found_page, shown, tuple(gone))


def _sheet_number(typed: Typed, wanted: str) -> int:
    for number, sheet in enumerate(typed.sheets):
        if wanted in (sheet.id, sheet.file, sheet.file.removeprefix("sheets/"), Path(sheet.file).stem):
            return number
    ids = [sheet.id for sheet in typed.sheets]
    near = nearest(wanted, ids)
    hint = f" Did you mean {near[0]}?" if near else ""
    raise CannotAnswer(f"there is no sheet {wanted}.{hint} Sheets: {listed(ids, most=40, joiner='and')}.")


def _chosen(typed: str, count: int, option: str) -> set[int]:
    if not typed:
        return set()
    if typed.strip() == "all":
        return set(range(1, count + 1))
    try:
        words = pin_list(typed)
    except Misread as misread:
        raise CannotAnswer(
            f"{option} {typed}: {misread.what}. Write numbers of lines, such as 1-12,15, or all."
        ) from None
    numbers = {int(word) if word.isdecimal() and len(word) < 9 else 0 for word in words}
    if not all(1 <= number <= count for number in numbers):
        raise CannotAnswer(
            f"{option} {typed}: the lines of this sheet are 1 to {count}; write for example 1-12,15, or all."
        )
    return numbers


# --- the lines -------------------------------------------------------------------------------------------------------


def _numbered(typed: Typed, sheet: int) -> list[tuple[str, str, str, Place]]:
    """Under what, the words by which a tick is kept, the words as shown, the place; two lines of the same words get a number."""
    seen: Counter[str] = Counter()
    lines = []
    for under, words, said, place in (*_wires(typed, sheet), *_parts(typed, sheet)):
        seen[words] += 1
        lines.append((under, words if seen[words] == 1 else f"{words} (no. {seen[words]})", said, place))
    return lines


def _wires(typed: Typed, sheet: int) -> Iterator[tuple[str, str, str, Place]]:
    kinds = {name.partition("/")[2] or name: found[0].kind for name, found in typed.fragments.items()}
    kinds |= {name: found[0].kind for name, found in typed.fragments.items()}
    for run in _in_order([run for run in typed.runs if run.sheet == sheet]):
        place, last = typed.place_in_run(run), len(run.points) - 1
        for at, wire in enumerate(run.wires):
            before = _point(run.points[at], kinds, 1 if at > 0 else None)
            after = _point(run.points[at + 1], kinds, 0 if at + 1 < last else None)
            said = _wire(wire)
            said += f"; seen: {run.seen}" if run.seen != typed.sheets[sheet].seen else ""
            said += f"; {run.note}" if run.note else ""
            ends = sorted((before, after), key=natural)
            yield run.text, f"{ends[0]} and {ends[1]}: {said}", f"{before} to {after}: {said}", place


def _in_order(runs: Iterable[Run]) -> list[Run]:
    """By the marks at which runs leave the page, which on most drawings are its columns; a run without a mark stays behind the one typed before it."""
    keyed = []
    last: list[tuple[int, int, str]] = []
    for run in runs:
        marks = [natural(point.here) for point in run.points if point.here is not None]
        last = min(marks, default=last)
        keyed.append((last, run))
    return [run for _, run in sorted(keyed, key=lambda one: one[0])]


def _point(point: Point, kinds: Mapping[str, PartKind], side: int | None) -> str:
    """A point in words that are the same from both ends of a run; `side`: the run comes to it (0) or goes on from it (1), None at an end of the run.

    What a run through a part says by its direction is said here in words: which side of a fuse a wire is on, and in which cavity of two that are crossed.
    """
    if side is None:
        return point.text
    kind = kinds.get(point.part)
    if point.pin is None and kind is not None and PARTS[kind].written is Written.SIDES:
        return f"{point.text}.{PARTS[kind].pins[side]}"
    if point.mate is not None:
        own, other = (point.pin, point.mate) if side == 0 else (point.mate, point.pin)
        return f"{point.part}.{own} (cavity {other} in the other half)"
    return point.text


def _wire(wire: Wire) -> str:
    size = "size not known" if wire.area_mm2 is None else wire.size_text or ""
    length = figures.typed(wire.length_m, "m") if wire.length_m is not None else ""
    number = f"number {wire.number}" if wire.number else ""
    uncoloured = {"track": "panel track", "bare": "bare wire"}.get(wire.medium, "colour not known")
    colour = colour_name(wire.colours) if wire.colours else uncoloured
    return ", ".join(word for word in (colour, size if wire.medium == "wire" else "", length, number) if word)


def _parts(typed: Typed, sheet: int) -> Iterator[tuple[str, str, str, Place]]:
    for name, fragments in typed.fragments.items():
        for fragment in fragments:
            if fragment.sheet == sheet:
                for key, words in told_of(fragment):
                    said = f"{name}: {key}" if words == "yes" else f"{name}: {key}: {words}"
                    yield name, said, said, fragment.place


# --- the ticks -------------------------------------------------------------------------------------------------------


def _ticks(folder: Path) -> dict[str, list[str]]:
    file = folder / TICKS
    fix = "Delete it, and read the sheets back anew."
    if not file.exists() and not file.is_symlink():
        return {}
    try:
        if (
            not file.resolve().is_relative_to(folder.resolve())
            or not file.is_file()
            or file.stat().st_size > _MAX_BYTES
        ):
            raise CannotUse([Problem(Place(TICKS), "this is no file of ticks", fix)])
        tree = all_visible(json.loads(file.read_text(encoding="utf-8")))
    except json.JSONDecodeError as error:
        raise CannotUse([Problem(Place(TICKS, error.lineno, error.colno), "not readable as JSON", fix)]) from None
    except (OSError, RuntimeError, ValueError, RecursionError):
        raise CannotUse([Problem(Place(TICKS), "the file of ticks cannot be read", fix)]) from None
    if not isinstance(tree, dict) or not all(
        isinstance(lines, list) and all(isinstance(line, str) for line in lines) for lines in tree.values()
    ):
        raise CannotUse([Problem(Place(TICKS), "this is no file of ticks", fix)])
    return tree
