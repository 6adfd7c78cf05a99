"""The most important law: an incomplete list never looks complete.

Each run of the demo is taken out in turn. The list of its module must then say NOT COMPLETE; or the run is off its ways, and the list is the
same as before in pins, fuses and ends; or something is reported as loose elsewhere. (A wire that lies parallel to another way between two points
that have other wires leaves no trace when nobody types it: then a probe point is missing, but no supply, ground, fuse or end.)
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tracer.circuit import join
from tracer.entry import CannotUse, Typed, read_folder
from tracer.trace.results import SupplyReport
from tracer.trace.supplies import supplies_of

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"


@cache
def _typed() -> Typed:
    return read_folder(DEMO)


@cache
def _before() -> SupplyReport:
    return supplies_of(join(_typed()), "ALM")


def _content(report: SupplyReport) -> set[tuple[str, str, tuple[str, ...], tuple[str, ...]]]:
    """What the list says of supplies, grounds and side chains, without codes and order: pin, level, fuses, ends."""
    return {
        (
            row.point,
            row.level,
            tuple(sorted(fuse.part for fuse in row.fuses)),
            tuple(sorted(end.id for end in row.ends)),
        )
        for row in report.rows
    }


def _chunks() -> Iterator[range]:
    total = len(_typed().runs)
    for start in range(0, total, 40):
        yield range(start, min(start + 40, total))


@pytest.mark.parametrize("numbers", list(_chunks()), ids=lambda numbers: f"runs {numbers.start}-{numbers.stop - 1}")
def test_a_missing_run_makes_the_list_not_complete_or_lies_elsewhere(numbers: range) -> None:
    typed = _typed()
    assert _before().complete
    for number in numbers:
        left = replace(typed, runs=tuple(run for index, run in enumerate(typed.runs) if index != number))
        try:
            report = supplies_of(join(left), "ALM")
        except CannotUse:
            continue
        if report.complete and report.loose_elsewhere == _before().loose_elsewhere:
            assert _content(report) == _content(_before()), (
                f"without `{typed.runs[number].text}` the list is another, yet it says COMPLETE"
            )


def test_a_cavity_that_nobody_accounts_for_blocks(tmp_path: Path) -> None:
    text = "sheet: 1\nparts: {M: {is: module, cavities: 1-3, unused: [%s], pins: {1: supply}}, F: {is: fuse, amps: 5}, B: battery}\nruns:\n- B.+ -- RD 1 -- F -- RD 1 -- M.1\n"
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
