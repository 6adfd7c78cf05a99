"""Bad input is answered soon: what is refused within two seconds of CPU and 300 MB for each megabyte, with the first problems of many."""

from __future__ import annotations

import os
import random
import re
import string
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.typed import HEAD, VEHICLE, problems, write
from tracer.entry.problems import MOST_PROBLEMS, nearest

MEGABYTE = 1_000_000
_chance = random.Random(1)


def word(letters: int = 5) -> str:
    return "".join(_chance.choice(string.ascii_uppercase) for _ in range(letters))


def much(line: Callable[[int], str]) -> str:
    lines: list[str] = []
    size = 0
    while size < MEGABYTE:
        lines.append(line(len(lines)))
        size += len(lines[-1])
    return "".join(lines)


SHEETS: dict[str, Callable[[], str]] = {
    "colours": lambda: HEAD + "runs:\n" + much(lambda n: f"  - S1 -- {word()} 1 -- S2\n"),
    "colours on one line": lambda: HEAD + "runs: [" + much(lambda n: f"S1 -- {word()} 1 -- S2, ") + "]\n",
    "unseen letters": lambda: HEAD + "runs:\n" + much(lambda n: f"  - S\u200b1 -- R\u200bD 1 -- {word()}\n"),
    "keys": lambda: "sheet: 1\nparts:\n" + much(lambda n: f"  P{n}: {{is: module, {word().lower()}: 1}}\n"),
    "kinds": lambda: "sheet: 1\nparts:\n" + much(lambda n: f"  P{n}: {word(7).lower()}\n"),
    "pins": lambda: "sheet: 1\nparts: {M: {is: module, cavities: 1-900}, S1: splice}\nruns:\n" + much(lambda n: f"  - M.Q{word()}{n} -- RD 1 -- S1\n"),
    "keys of one part": lambda: "sheet: 1\nparts:\n  M:\n    is: module\n" + much(lambda n: f"    {word().lower()}{n}: 1\n"),
    "the same key": lambda: "sheet: 1\nparts:\n" + much(lambda n: "  S1: splice\n"),
    "one long run": lambda: HEAD + "runs:\n  - S1" + much(lambda n: f" -- RD 1 -- {word()}") + "\n",
    "one long name": lambda: f"sheet: 1\nparts: {{{'x' * MEGABYTE}: splice}}\nfoo: 1\n",
    "brackets": lambda: "sheet: 1\nnote: " + "[" * (MEGABYTE // 2) + "]" * (MEGABYTE // 2) + "\n",
    "anchors": lambda: much(lambda n: f"a{n}: &x{n} 1\n"),
    "no YAML": lambda: much(lambda n: f"{word(60)}\n"),
}  # fmt: skip


def _answered(folder: Path) -> tuple[int, float, float, str]:
    """Exit status, seconds of CPU, megabytes and what was said, of `check` in a process of its own."""
    said = folder / "said.txt"
    child = os.fork()
    if child == 0:
        out = os.open(said, os.O_WRONLY | os.O_CREAT)
        os.dup2(out, 1)
        os.dup2(out, 2)
        os.execv(sys.executable, [sys.executable, "-m", "tracer.cli", "-C", str(folder), "check"])
    ended, most = 0, 0.0
    while not ended:  # ru_maxrss of a child holds what its parent had when it forked, so the peak of the program itself is asked for while it runs
        most = max(most, _peak(child))
        ended, status, used = os.wait4(child, os.WNOHANG)
        time.sleep(0.005)
    return os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, most, said.read_text(encoding="utf-8")


def _peak(process: int) -> float:
    """The megabytes that a process had at most since it began its program; 0 where it has ended or the system does not say."""
    try:
        said, called = (Path(f"/proc/{process}/{name}").read_text() for name in ("status", "cmdline"))
    except OSError:
        return 0.0
    if "tracer.cli" not in called:
        return 0.0  # still the fork
    peak = re.search(r"^VmHWM:\s+(\d+) kB", said, re.MULTILINE)
    return int(peak[1]) * 1024 / 1e6 if peak else 0.0


@pytest.mark.parametrize("name", SHEETS)
def test_a_megabyte_of_what_is_refused_is_answered_soon(name: str, tmp_path: Path) -> None:
    status, seconds, megabytes, said = _answered(write(tmp_path, SHEETS[name]()))
    assert status == 1, said[:500]
    assert (seconds < 2, megabytes < 300) == (True, True), (seconds, megabytes)
    assert 0 < len(said) < 200_000


def test_a_megabyte_of_conditions_of_a_vehicle_is_answered_soon(tmp_path: Path) -> None:
    vehicle = "vehicle: v\nconditions: {" + much(lambda n: f"c{word().lower()}{n}: {{when: [{word().lower()}]}}, ") + "}\n"  # fmt: skip
    status, seconds, megabytes, _ = _answered(write(tmp_path, HEAD, vehicle=vehicle))
    assert (status, seconds < 2, megabytes < 300) == (1, True, True), (seconds, megabytes)


def test_four_thousand_names_that_nothing_declares_are_answered(tmp_path: Path) -> None:
    parts = "".join(f"  {word(6)}: splice\n" for _ in range(4000))
    runs = "".join(f"  - {word(6)} -- RD 1 -- {word(6)}\n" for _ in range(4000))
    status, seconds, _, _ = _answered(write(tmp_path, f"sheet: 1\nparts:\n{parts}runs:\n{runs}"))
    assert (status, seconds < 8) == (3, True), seconds  # it took 27 s; all 8000 loose ends are listed


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
