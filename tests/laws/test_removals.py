"""The most important law, tried on everything that can be left out: an incomplete list never looks complete.

Something is taken out of the demo: a run, the rest of a run from some point on, one half of a reference, a cavity that was listed as unused, one
position of a busbar, one bolted joint, one declared pin. The list of its module must then say NOT COMPLETE; or what was taken out lies off its ways,
and then every row is as before: pins, probe points in their order, fuses, ends, contacts, levels in each key state.

A branch between two splices that keep other wires is noticed because the demo counts the wires of its joints.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.circuit import join
from tracer.entry import CannotUse, Typed, read_folder
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.lists.supplies import supplies_of

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"

Content = dict[tuple[str, str], tuple[object, ...]]


@cache
def _typed() -> Typed:
    return read_folder(DEMO)


@cache
def _before() -> SupplyReport:
    return supplies_of(join(_typed()), "ALM")


def _row(row: Row) -> tuple[object, ...]:
    return (
        row.code[0],
        row.declared,
        tuple((probe.at, probe.sole, probe.wire) for probe in row.probes),
        tuple((fuse.part, fuse.amps, fuse.sole, fuse.alone) for fuse in row.fuses),
        tuple(end.id for end in row.ends),
        row.switches,
        row.diodes,
        tuple(sorted(row.live.items())),
        tuple(sorted(row.why.items())),
    )


def _content(report: SupplyReport) -> Content:
    """Every row by its pin and level, in everything a technician acts on."""
    return {(row.point, row.level): _row(row) for row in report.rows}


def _nothing_is_hidden(report: SupplyReport, what: str) -> None:
    """Either the list says NOT COMPLETE, or it is the same list."""
    if report.complete:
        assert _content(report) == _content(_before()), f"{what}: another list, yet it says COMPLETE"


def _chunks() -> list[range]:
    total = len(_typed().runs)
    return [range(start, min(start + 66, total)) for start in range(0, total, 66)]


@pytest.mark.parametrize("numbers", _chunks(), ids=lambda numbers: f"runs {numbers.start}-{numbers.stop - 1}")
def test_each_single_run_left_out(numbers: range) -> None:
    typed = _typed()
    assert _before().complete
    for number in numbers:
        text = typed.runs[number].text
        left = replace(typed, runs=tuple(run for index, run in enumerate(typed.runs) if index != number))
        report = supplies_of(join(left), "ALM")
        _nothing_is_hidden(report, text)


# --- everything else that can be left out ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Edit:
    """One line of one file, replaced (None: taken out)."""

    file: str
    line: int
    text: str | None
    what: str


def _edits_of_run(file: str, number: int, line: str) -> Iterator[Edit]:
    match = re.match(r"  - (?:\{run: )?([^,\n]*)", line)
    assert match
    pieces = match[1].split(" -- ")
    for cut in range(2, len(pieces) - 1, 2):
        yield Edit(file, number, f"  - {' -- '.join(pieces[: cut + 1])}\n", f"nothing after {pieces[cut]}: {match[1]}")
        yield Edit(file, number, f"  - {' -- '.join(pieces[cut:])}\n", f"nothing before {pieces[cut]}: {match[1]}")
    for end, text in (
        (pieces[-1], " -- ".join([*pieces[:-1], "?"])),
        (pieces[0], " -- ".join(["unknown", *pieces[1:]])),
    ):
        yield Edit(file, number, f"  - {text}\n", f"{end} not known: {match[1]}")


def _single_positions(items: str) -> list[str]:
    positions: list[str] = []
    for item in items.split(", "):
        span = re.fullmatch(r"F(\d+)-F(\d+)", item)
        positions += [f"F{n}" for n in range(int(span[1]), int(span[2]) + 1)] if span else [item]
    return positions


@cache
def _edits() -> list[Edit]:
    edits: list[Edit] = []
    for path in sorted((DEMO / "sheets").iterdir()):
        file = f"sheets/{path.name}"
        in_runs = in_busbars = in_module = False
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(keepends=True)):
            in_runs = in_runs or line.startswith("runs:")
            in_busbars = line.startswith("    busbars:") or (in_busbars and line.startswith("      "))
            in_module = line.startswith("  ALM:") or (in_module and line.startswith("    "))
            if in_runs and line.startswith("  - "):
                edits += _edits_of_run(file, number, line)
            elif in_busbars and "[" in line:
                head, _, tail = line.partition("[")
                positions = _single_positions(tail.rstrip("]\n"))
                for position in positions:
                    left = ", ".join(one for one in positions if one != position)
                    edits.append(Edit(file, number, f"{head}[{left}]\n", f"busbar without {position}: {line.strip()}"))
            elif line.startswith("    meets:"):
                edits.append(Edit(file, number, None, line.strip()))
            elif in_module and (match := re.match(r"    unused: \[(.*)\]", line)):
                for cavity in match[1].split(", "):
                    left = ", ".join(one for one in match[1].split(", ") if one != cavity)
                    edits.append(Edit(file, number, f"    unused: [{left}]\n", f"unused without {cavity}"))
    return edits


def test_there_is_enough_to_leave_out() -> None:
    assert len(_edits()) > 600
    for word in ("busbar without", "unused without", "nothing after", "nothing before", "not known", "meets"):
        assert any(word in edit.what for edit in _edits()), word


@given(st.sampled_from(range(len(_edits()))))
def test_anything_left_out_makes_the_list_not_complete_or_lies_elsewhere(number: int) -> None:
    edit = _edits()[number]
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "vehicle"
        shutil.copytree(DEMO, folder)
        lines = (folder / edit.file).read_text(encoding="utf-8").splitlines(keepends=True)
        lines[edit.line : edit.line + 1] = [edit.text] if edit.text is not None else []
        (folder / edit.file).write_text("".join(lines), encoding="utf-8")
        try:
            report = supplies_of(join(read_folder(folder)), "ALM")
        except CannotUse as refused:  # nothing is concluded: as good as NOT COMPLETE
            assert refused.problems
            return
    _nothing_is_hidden(report, edit.what)


# --- completeness and the words of the list agree ---------------------------------------------------------------------


@given(st.sets(st.integers(0, 262), min_size=1, max_size=6))
def test_a_complete_list_never_holds_a_level_that_hangs_on_something_not_typed_in(numbers: set[int]) -> None:
    typed = _typed()
    left = replace(typed, runs=tuple(run for index, run in enumerate(typed.runs) if index not in numbers))
    circuit = join(left)
    for module in ("ALM", "BDM", "ENM"):
        report = supplies_of(circuit, module)
        for row in report.rows:
            unknown = [key for key, level in row.live.items() if level == "unknown"]
            if unknown:
                assert not report.complete, (module, row.code, unknown)
        if report.complete:
            assert not any(
                "what is behind" in reason for row in report.rows for reasons in row.why.values() for reason in reasons
            )
        pins = {cavity.pin for cavity in report.census}
        assert {row.pin for row in (*report.supplies, *report.grounds)} <= pins


def test_a_cavity_that_nobody_accounts_for_blocks(tmp_path: Path) -> None:
    text = "sheet: 1\nparts: {M: {is: module, cavities: 1-3, unused: [%s], pins: {1: supply}, gets: {ground: case}}, F: {is: fuse, amps: 5}, B: battery, G: {is: ground, on: body}}\nruns:\n- B.+ -- RD 1 -- F -- RD 1 -- M.1\n- B.- -- BK 35 -- G\n"
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    for unused, complete in (("2, 3", True), ("2", False), ("3", False)):
        (tmp_path / "sheets" / "1.yaml").write_text(text % unused, encoding="utf-8")
        assert supplies_of(join(read_folder(tmp_path)), "M").complete is complete


def test_every_module_of_the_demo_is_complete() -> None:
    circuit = join(_typed())
    for part in circuit.modules():
        report = supplies_of(circuit, part.name)
        assert report.complete, [loose.message for loose in report.loose_ends]
        assert report.cross_check.differences == ()
