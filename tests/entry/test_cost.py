"""Bad input is answered soon, and in few words: what is refused costs no more than so much work for each byte, however large it is.

Counted are the calls of functions, Python's own and those of its library: they are the same on every machine. Here the shapes are tried that are worst for a sort
of file; every shape of every sort at a megabyte, in seconds of a processor and in memory, is measured by `benchmarks/bench_bad_input.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from tests.bad_input import Bad, counted, every
from tests.typed import HEAD, VEHICLE, problems, write
from tracer.cli import app
from tracer.entry import sheets
from tracer.entry.problems import MOST_PROBLEMS, nearest

SIZE = 2_500  # and two and four times that
FEW_CALLS, MOST_CALLS = 3.0, 45.0  # for each byte: what is below is not looked at, since it ends at a bound
IN_RANGES = ("sheet: ranges", "sheet: very many to one")  # few letters for very much: tried below, with a lower bound
ELSEWHERE = ("wire list (tabs)", "case added to", "current case", "workbook")  # read as another sort, or by a library
INPUTS = {bad.name: bad for bad in every(own=True) if bad.sort not in ELSEWHERE and bad.name not in IN_RANGES}


def answered(bad: Bad, folder: Path, size: int, monkeypatch: pytest.MonkeyPatch) -> tuple[int, str]:
    """Calls, and what was said."""
    arguments = bad.laid(folder, size)
    monkeypatch.chdir(folder)
    done = []
    calls = counted(lambda: done.append(CliRunner().invoke(app, arguments)))
    (result,) = done
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1, 2, 3)
    assert "fault of this program" not in result.output
    return calls, result.output


@pytest.mark.parametrize("name", INPUTS)
def test_twice_as_much_costs_twice_as_much_and_no_more(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    monkeypatch.delenv("TRACER_CASE", raising=False)
    monkeypatch.setenv("TRACER_STATE", "state")
    bad = INPUTS[name]
    answered(bad, tmp_path / "0", 100, monkeypatch)  # what is loaded at need is not counted
    (few, _), (some, _), (many, said) = (
        answered(bad, tmp_path / str(size), size, monkeypatch) for size in (SIZE, 2 * SIZE, 4 * SIZE)
    )
    for_each_byte = (many - some) / (2 * SIZE)
    assert for_each_byte < MOST_CALLS
    assert for_each_byte < FEW_CALLS or many - some < 2.6 * (some - few), (few, some, many)
    assert len(said) < 150_000


def test_ranges_of_few_letters_that_are_more_than_any_vehicle_has_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    monkeypatch.setattr(sheets, "MAX_PINS_TOGETHER", 100)
    monkeypatch.setattr(sheets, "MAX_RUNS", 10)
    parts = "sheet: 1\nparts:\n  S1: splice\n  M: {is: module, cavities: 1-90}\n"
    assert problems(write(tmp_path / "a", parts)) == []
    (found,) = problems(write(tmp_path / "b", parts + "  N: {is: module, cavities: 1-10}\n"))
    assert (str(found.place), found.what) == ("sheets/1.yaml:5:3", "more than 100 cavities and positions are declared up to here")  # fmt: skip
    (found,) = problems(write(tmp_path / "c", "sheet: 1\nparts:\n  P: {is: panel, positions: {F1-101: 10}}\n"))
    assert (str(found.place), "more than 100" in found.what) == ("sheets/1.yaml:3:30", True)
    assert problems(write(tmp_path / "d", parts + "runs:\n  - S1 -- RD 1 -- M.[1-10]\n")) == []
    (found,) = problems(write(tmp_path / "e", parts + "runs:\n  - S1 -- RD 1 -- M.[1-10]\n  - S1 -- RD 1 -- M.11\n"))
    assert (str(found.place), found.what) == ("sheets/1.yaml:7:5", "more than 10 runs are typed up to here")


def test_more_parts_key_states_and_conditions_than_any_vehicle_has_are_refused_at_the_first_too_many(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    monkeypatch.setattr(sheets, "MAX_PARTS", 3)
    parts = "sheet: 1\nparts:\n  S1: splice\n  S2: splice\n  S3: splice\n"
    assert problems(write(tmp_path / "a", parts)) == []
    assert problems(write(tmp_path / "b", parts, "sheet: 2\nparts: {S1: splice}\n")) == []  # one part on two sheets
    (found,) = problems(write(tmp_path / "c", parts + "  S4: splice\n"))
    assert (str(found.place), found.what) == ("sheets/1.yaml:6:3", "more than 3 parts are declared up to here")
    monkeypatch.undo()
    for key, one, most, called in (("key", "  - k{}\n", 64, "key states"), ("conditions", "  c{}: yes or no\n", 500, "conditions")):  # fmt: skip
        typed = f"vehicle: v\n{key}:\n" + "".join(one.format(n) for n in range(most))
        assert problems(write(tmp_path / key, HEAD, vehicle=typed)) == []
        found, *rest = problems(write(tmp_path / key, HEAD, vehicle=typed + one.format(most)))
        column = 5 if key == "key" else 3
        assert (str(found.place), found.what, rest) == (
            f"vehicle.yaml:{most + 3}:{column}",
            f"more than {most} {called}",
            [],
        )


def test_of_more_problems_than_anybody_reads_the_first_are_told_and_that_there_are_more(tmp_path: Path) -> None:
    count = MOST_PROBLEMS
    folder = write(tmp_path, HEAD + "runs:\n" + "  - S1 -- XQ 1 -- S2\n" * count)
    assert [problem.place.line for problem in problems(folder)] == list(range(12, 12 + count))
    write(tmp_path, HEAD + "runs:\n" + "  - S1 -- XQ 1 -- S2\n" * (count + 1), more={"sheets/2.txt": ""})
    first, second, *rest = problems(folder)
    assert {first.what, second.what} == {"this file is not read", f"more than {count} problems: nothing further was looked at"}  # fmt: skip
    assert [problem.place.line for problem in rest] == list(range(12, 12 + count))
    joined = write(tmp_path / "j", HEAD + "runs:\n" + "".join(f"  - S1 -- RD 1 -- M.{n}\n" for n in range(9, 300)))
    assert sum(problem.cause for problem in problems(joined)) == 1
    assert len(problems(joined)) == count + 1


def test_a_slip_is_still_found_among_very_many_names() -> None:
    names = [f"Q{number}X" for number in range(5000)]
    assert nearest("SENSORA", [*names, "SENSOR"]) == ["SENSOR"]


def test_places_in_a_mapping_of_many_keys_are_those_of_the_first_of_two(tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, HEAD, vehicle=VEHICLE + "rials: {}\n"))
    assert found.place.line == VEHICLE.count("\n") + 1
