"""The law of single items: nothing that is typed can be deleted so that a list gets shorter, says COMPLETE, and rests on nothing more than before.

An item is everything that can be taken out by itself: each run, part, pin, position, busbar entry, output, contact, cavity, rail, and each fact of
them, down to the last entry of a list; of a run also the rest of it on either side of a point. The quick run tries a sample spread over all of them,
TRACER_TESTS=thorough each one. All lists of the vehicle are compared. Names, places, notes and numbers that no list is made of are left in.
Beside it the law of single rows: however little is left of a list, a row of which it is said that its ways are whole has lost nothing.
"""

from __future__ import annotations

import copy
import os
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from tracer.circuit import join
from tracer.entry import CannotUse, read_folder
from tracer.trace.lists.concerns import open_on_way
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"
# Facts that no row is made of: words, places, ratings, and what only other commands read.
_WORDS = frozenset({"name", "at", "access", "note", "title", "seen", "serves", "amps", "type", "watts", "ohms", "volts", "behaves", "draws", "returns",
                    "halves", "rows", "feed side", "buses", "colours", "system", "vehicle", "text", "fuse", "body", "across coil", "sheet"})  # fmt: skip
_PARTS = 24  # tests that run side by side; a quick run tries a few items of each
_QUICK = 3

Path_ = tuple[Any, ...]
Content = dict[tuple[str, str, str], frozenset[tuple[str, str]]]


@cache
def _files() -> dict[str, Any]:
    paths = [DEMO / "vehicle.yaml", *sorted((DEMO / "sheets").iterdir())]
    return {
        path.relative_to(DEMO).as_posix(): yaml.load(path.read_text(encoding="utf-8"), yaml.BaseLoader)
        for path in paths
    }


def _spread(items: list[Any]) -> list[Any]:
    """A list of pins or positions with its ranges written out."""
    found: list[Any] = []
    for item in items:
        first, dash, last = item.partition("-") if isinstance(item, str) else ("", "", "")
        letters = first.rstrip("0123456789")
        numbers = first[len(letters) :], last.removeprefix(letters)
        if dash and all(number.isdecimal() for number in numbers):
            found += [f"{letters}{n}" for n in range(int(numbers[0]), int(numbers[1]) + 1)]
        else:
            found.append(item)
    return found


def _inside(tree: Any, path: Path_) -> Iterator[tuple[Path_, Any]]:
    """Every item below a place: where it is, and what is to stand there instead (None: nothing)."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            if key not in _WORDS or "pins" in path:
                yield (*path, key), None
                yield from _inside(value, (*path, key))
    elif isinstance(tree, list):
        pins = path[-1] in ("unused", "cavities", "from", "through") or (len(path) > 1 and path[-2] == "busbars")
        items = _spread(tree) if pins else tree
        for number, item in enumerate(items):
            yield path, [*items[:number], *items[number + 1 :]]
            if not pins:
                yield from _inside(item, (*path, number))
    elif isinstance(tree, str) and path[-1] == "cavities":
        items = _spread([tree])
        yield from ((path, [*items[:number], *items[number + 1 :]]) for number in range(len(items)))
    elif isinstance(tree, str) and " -- " in tree:
        pieces = tree.split(" -- ")
        for cut in range(2, len(pieces) - 1, 2):
            yield path, " -- ".join(pieces[: cut + 1])
            yield path, " -- ".join(pieces[cut:])


@cache
def _items() -> list[tuple[str, Path_, Any]]:
    return [(file, path, instead) for file, tree in _files().items() for path, instead in _inside(tree, ())]


def _without(file: str, path: Path_, instead: Any) -> dict[str, Any]:
    trees = {**_files(), file: copy.deepcopy(_files()[file])}
    place = trees[file]
    for step in path[:-1]:
        place = place[step]
    if instead is None:
        del place[path[-1]]
    else:
        place[path[-1]] = instead
    return trees


def _lists(folder: Path) -> tuple[Tracing, dict[str, SupplyReport]]:
    tracing = Tracing(join(read_folder(folder)))
    return tracing, {part.name: supplies_of(tracing, part.name) for part in tracing.circuit.modules()}


@cache
def _before() -> dict[str, SupplyReport]:
    return _lists(DEMO)[1]


def _row(row: Row, points: dict[str, str]) -> frozenset[tuple[str, str]]:
    """All that a row holds, each thing by what it is."""
    return frozenset(
        [
            *(("fuse", fuse.part) for fuse in row.fuses),
            *(("end", end.id) for end in row.ends),
            *(("point", probe.at) for probe in row.probes),
            *(("contact", one) for one in row.switches),
            *(("diode", one) for one in row.diodes),
            *(("needs", points.get(one, one)) for one in row.needs),
        ]
    )


def _content(report: SupplyReport) -> Content:
    points = {row.code: f"{row.point} {row.level}" for row in report.rows}
    return {("chain" if row.code[0] == "C" else "row", row.point, row.level): _row(row, points) for row in report.rows}


def _lost(before: Content, after: Content) -> list[str]:
    """What a list no longer holds. A module's pin that has a row of its own is still probed, though another row no longer leads over it."""
    rows = {(point, level) for _, point, level in after}
    lost = []
    for key, held in before.items():
        if key not in after:
            lost.append(f"{' '.join(key)}: the whole row")
        elif what := sorted(one for one in held - after[key] if one[0] != "point" or (one[1], key[2]) not in rows):
            lost.append(f"{' '.join(key)}: {what}")
    return lost


def _hides(trees: dict[str, Any]) -> list[str]:
    """What is lost unsaid: each thing that a list lacks while it says COMPLETE and rests on nothing more."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        (folder / "sheets").mkdir()
        for name, tree in trees.items():
            text = yaml.dump(
                tree,
                Dumper=yaml.CSafeDumper if yaml.__with_libyaml__ else yaml.SafeDumper,
                sort_keys=False,
                allow_unicode=True,
            )
            (folder / name).write_text(text, encoding="utf-8")
        try:
            tracing, lists = _lists(folder)
        except CannotUse as refused:  # nothing is concluded
            assert refused.problems
            return []
    hidden = []
    for name, report in lists.items():
        before = _before()[name]
        more = {*report.completeness.rests_on} - {*before.completeness.rests_on} or {*report.completeness.uncounted} - {
            *before.completeness.uncounted
        }
        if report.completeness.state != "not complete" and not more:
            hidden += [f"{name}: {lost}" for lost in _lost(_content(before), _content(report))]
        if {*report.completeness.uncounted} <= {*before.completeness.uncounted}:
            hidden += [f"{name}, of what is whole: {lost}" for lost in _lost_of_whole(tracing, before, report)]
    return hidden


def _lost_of_whole(tracing: Tracing, before: SupplyReport, after: SupplyReport) -> list[str]:
    """What rows whose ways are said to be whole, and the side chains that these need, no longer hold."""
    by_code, content = {row.code: row for row in after.rows}, _content(after)
    whole = [row for row in after.rows if row.code[0] != "C" and not open_on_way(tracing, after, row)]
    for row in whole:
        whole += [by_code[code] for code in row.needs if code in by_code and by_code[code] not in whole]
    mine = {("chain" if row.code[0] == "C" else "row", row.point, row.level) for row in whole}
    _Whole.rows += 0 if after.complete else len(whole)
    return _lost({key: held for key, held in _content(before).items() if key in mine}, content)


class _Whole:
    rows = 0  # of lists that are not complete, held against what they were


def test_the_demo_written_out_again_is_the_demo() -> None:
    assert _hides(_files()) == []
    assert all(report.complete for report in _before().values())


def test_there_are_enough_items() -> None:
    items = _items()
    assert len(items) > 2200
    for word in (
        "busbars",
        "outputs",
        "contacts",
        "positions",
        "pins",
        "unused",
        "meets",
        "runs",
        "rails",
        "wires",
        "on",
        "conditions",
        "joined",
        "mates",
    ):
        assert any(word in path for _, path, _ in items), word


@pytest.mark.parametrize("part", range(_PARTS))
def test_no_single_item_can_be_deleted_unsaid(part: int) -> None:
    mine = _items()[part::_PARTS]
    if os.environ.get("TRACER_TESTS") != "thorough":
        mine = mine[part % 7 :: max(1, len(mine) // _QUICK)][:_QUICK]
    assert mine
    hidden = {
        f"{file} {'/'.join(map(str, path))}{'' if instead is None else f' = {instead}'}": found
        for file, path, instead in mine
        if (found := _hides(_without(file, path, instead)))
    }
    assert hidden == {}


def test_rows_of_lists_that_are_not_complete_are_whole_all_the_same() -> None:
    _Whole.rows = 0
    assert _hides(_without(*next(item for item in _items() if item[1][-1] == "unused" and "ALM" in item[1]))) == []
    assert _Whole.rows > 10
