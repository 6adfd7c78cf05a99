"""Whether the tests would notice: one small thing in the code is made wrong at a time, and the tests that run that line are run.

`make mutants` (EACH=10: of each folder, SEED=2: others). Everything is kept in `.mutants/`: which test runs which lines (collected again only
for test files that changed), a copy of the project in which the code is made wrong, and what came of each. `python -m tools.mutants again`
tries once more those that no test noticed, `python -m tools.mutants branches` lists the branches that no test takes. One process at a time; a
hang counts as noticed.
"""

from __future__ import annotations

import argparse
import importlib
import json
import math
import os
import random
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import coverage

from tools.mutants.which_tests import HUNG, KEPT, NOTHING_RUN, ROOT, TREE, Chosen, child, collected, laid, tests_run
from tools.mutants.wrong import Mutant, Place, places, wrong_ones

FOLDERS = ("circuit", "trace", "plan", "diagnose", "case")
# Loaded once and inherited by every child: what the tests import that is not of this project.
HEAVY = ("networkx", "numpy", "scipy.sparse.linalg", "scipy.stats", "pydantic", "yaml", "typer.testing", "rich.table", "jinja2", "openpyxl", "jsonschema")  # fmt: skip
STAGES_S = (
    3.0,
    12.0,
    50.0,
    math.inf,
)  # by the time they took when collected: each starts anew, so what can kill quickly comes first
MOST_S = 150.0  # of the processor for one mutant; what lives after that counts as a survivor


class Covered:
    """Which tests run a line."""

    def __init__(self, tests: dict[str, Any]) -> None:
        self.seconds: dict[str, float] = {}
        self.lines: dict[tuple[str, str], set[str]] = defaultdict(set)
        self.functions: dict[tuple[str, str], set[str]] = defaultdict(set)
        for of_file in tests.values():
            self.seconds.update(of_file["seconds"])
            for source, lines in of_file["lines"].items():
                for key, names in lines.items():
                    self.lines[source, key].update(names)
                    self.functions[source, key.split("\t")[0]].update(names)

    def tests(self, mutant: Mutant, where: dict[int, Place], killers: Mapping[str, int]) -> list[str]:
        """The tests that run it, the likeliest to notice first; for what runs when a file is loaded, those that run anything in it.

        Likely are few tests of each file rather than many of one, quick ones, those of the folder that mirrors the mutant's, and those of files
        that have killed others of its folder.
        """
        found: set[str] = set()
        if mutant.function:
            for number in range(mutant.first, mutant.last + 1):
                found |= self.lines.get((mutant.file, where[number].key), set())
        if not found:
            inside = mutant.function and not mutant.function.rpartition(".")[2][:1].isupper()
            functions = (
                [mutant.function] if inside else [name for source, name in self.functions if source == mutant.file]
            )
            found = set().union(*(self.functions.get((mutant.file, name), set()) for name in functions))
        found = found or set(self.seconds)  # a table that only other files read
        of_files: dict[str, list[str]] = defaultdict(list)
        for name in sorted(found, key=lambda name: (self.seconds.get(name, 0.0), name)):
            of_files[name.partition("::")[0]].append(name)
        mirror = mutant.file.replace("tracer", "tests", 1).rpartition("/")[0]
        rank = {
            name: (number + self.seconds.get(name, 0.0)) / (1 + 3 * file.startswith(mirror) + killers.get(file, 0))
            for file, names in of_files.items()
            for number, name in enumerate(names)
        }
        return sorted(rank, key=lambda name: (rank[name], name))


class Tried:
    """The copy in which one mutant at a time is tried."""

    def __init__(self, covered: Covered) -> None:
        self.covered = covered
        self.stamp = time.time()
        self.texts: dict[str, bytes] = {}
        self.anyway: dict[str, bool] = {}
        self.killers: dict[str, Counter[str]] = defaultdict(Counter)

    def write(self, file: Path, text: bytes) -> None:
        """Each writing has a time of its own, so that no compiled file is taken for that of another."""
        self.stamp += 2
        file.write_bytes(text)
        os.utime(file, (self.stamp, self.stamp))

    def run(self, names: Sequence[str], most_s: float) -> tuple[str, int, float]:
        """Run tests for no longer than so many seconds of the processor: what came of it, how many were run, what it took."""
        said = KEPT / "said.txt"
        chosen = Chosen(names, self.covered.seconds, most_s)
        status = child(partial(tests_run, chosen.files, chosen), 600 + 4 * most_s, said)
        lines = said.read_text(errors="replace").splitlines()
        _, ran, seconds, up = next(
            (line.split() for line in reversed(lines) if line.startswith("ran ")), ("", 0, most_s, "")
        )
        fell = [line.removeprefix("fell ") for line in lines if line.startswith("fell ")]
        if status in (None, HUNG):
            came = "hung"
        elif fell:
            came = fell[0]
        else:
            came = "" if status in (0, NOTHING_RUN) or up == "up" else f"exit {status}"
        return came, int(ran), float(seconds)

    def fails_anyway(self, name: str) -> bool:
        """Whether a test, or a file of tests that cannot be loaded, falls without anything made wrong: it is no sign then."""
        if name not in self.anyway:
            one = next((test for test in self.covered.seconds if test == name or test.startswith(f"{name}::")), None)
            self.anyway[name] = one is not None and bool(self.run([one], MOST_S)[0])
        return self.anyway[name]

    def one(self, mutant: Mutant, most_s: float) -> dict[str, Any]:
        """What came of it: `killed`, `hung`, `survived` or `never run`; a survivor says how many of the tests that run it were run."""
        text = self.texts.setdefault(mutant.file, (TREE / mutant.file).read_bytes())
        folder = mutant.file.split("/")[1]
        tests = self.covered.tests(mutant, places(text.decode()), self.killers[folder])
        found: dict[str, Any] = {**asdict(mutant), "tests": len(tests), "run": 0, "result": "survived", "by": ""}
        if not tests:
            return {**found, "result": "never run"}
        left_s, stages = most_s, iter(STAGES_S)
        while tests and left_s > 0:
            stage_s, stage = next(stages), list[str]()
            while tests and (not stage or stage_s > 0):
                stage.append(tests.pop(0))
                stage_s -= self.covered.seconds.get(stage[-1], 0.0) + 0.05
            self.write(TREE / mutant.file, mutant.source(text))
            try:
                by, count, seconds = self.run(stage, left_s)
            finally:
                self.write(TREE / mutant.file, text)
            left_s -= seconds
            found["run"] += count
            if by and self.fails_anyway(by):
                for name in [name for name in self.covered.seconds if name == by or name.startswith(f"{by}::")]:
                    del self.covered.seconds[name]
                for names in (*self.covered.lines.values(), *self.covered.functions.values()):
                    names.intersection_update(self.covered.seconds)
                return self.one(mutant, most_s)
            if by:
                self.killers[folder][by.partition("::")[0]] += 1
                return {**found, "result": "hung" if by == "hung" else "killed", "by": by}
        return found


def interval(dead: int, decided: int) -> str:
    """The 95 % interval (Wilson's) of the part that dies."""
    if not decided:
        return ""
    z, part = 1.96, dead / decided
    middle, half = part + z * z / (2 * decided), z * math.sqrt(part * (1 - part) / decided + z * z / (4 * decided**2))
    low, high = ((middle + sign * half) / (1 + z * z / decided) for sign in (-1, 1))
    return f"{100 * part:.0f} % ({100 * low:.0f} to {100 * min(high, 1):.0f} %)"


def report(results: Sequence[dict[str, Any]]) -> None:
    """What survived, and how many of each folder died. Who lived when the time was up is a survivor: the part that dies is that or more."""
    for one in results:
        if one["result"] in ("survived", "never run"):
            print(
                f"\n{one['file']}:{one['line']} {one['function']} ({one['how']}), {one['result']}, {one['run']} of {one['tests']} tests"
            )
            print(f"  {' '.join(one['before'].split())}\n  -> {one['instead']}")
    print(f"\n{'folder':10} {'sampled':>8} {'killed':>8} {'hung':>6} {'survived':>9} {'time up':>8} {'dies':>22}")
    for folder in [*sorted({one["file"].split("/")[1] for one in results}), ""]:
        of_folder = [one for one in results if folder in ("", one["file"].split("/")[1])]
        count = Counter(one["result"] for one in of_folder)
        survived = count["survived"] + count["never run"]
        time_up = sum(one["result"] == "survived" and one["run"] < one["tests"] for one in of_folder)
        dead = count["killed"] + count["hung"]
        print(
            f"{folder or 'all':10} {len(of_folder):8} {count['killed']:8} {count['hung']:6} {survived:9} {time_up:8} {interval(dead, dead + survived):>22}"
        )


def branches() -> None:
    """Which branches no test takes, file by file."""
    cover = coverage.Coverage(config_file=str(KEPT / "coverage.ini"), data_file=str(KEPT / "all"))
    cover.combine([str(file) for file in (KEPT / "data").iterdir()], keep=True)
    cover.save()
    cover.report(show_missing=True, skip_covered=True, sort="cover")


def main() -> None:
    """Collect, sample, try, report."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("what", nargs="?", default="sample", choices=("sample", "again", "branches", "report"))
    asked.add_argument("--each", type=int, default=40, help="mutants of each folder")
    asked.add_argument("--folders", nargs="+", default=FOLDERS)
    asked.add_argument("--collect", nargs="*", help="of the test files that changed only these; without any, none")
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--most", type=float, default=MOST_S, help="seconds of the processor for each")
    arguments = asked.parse_args()
    results = KEPT / "results.json"
    os.nice(10)
    if arguments.what == "report":
        report(json.loads(results.read_text()))
        return
    sys.path[:] = [place for place in sys.path if Path(place or ".").resolve() != ROOT]
    for name in HEAVY:
        importlib.import_module(name)
    laid()
    tests = collected(arguments.collect)
    if arguments.what == "branches":
        branches()
        return
    tried = Tried(Covered(tests))
    if arguments.what == "again":
        tried_before = json.loads(results.read_text())
        found = [one for one in tried_before if one["result"] in ("killed", "hung")]
        left = [one for one in tried_before if one not in found]
        now = {
            one.what: one
            for name in sorted({one["file"] for one in left})
            for one in wrong_ones(name, (TREE / name).read_text())
        }
        names = ("file", "function", "how", "before", "instead")
        chosen = [now[what] for one in left if (what := tuple(one[name] for name in names)) in now]
    else:
        found, chosen = [], []
        for folder in arguments.folders:
            files = [str(file.relative_to(TREE)) for file in sorted((TREE / "tracer" / folder).rglob("*.py"))]
            every = [one for name in files for one in wrong_ones(name, (TREE / name).read_text(encoding="utf-8"))]
            chosen += random.Random(f"{arguments.seed} {folder}").sample(every, min(arguments.each, len(every)))
        random.Random(arguments.seed).shuffle(chosen)  # ended early it is still a sample of all the folders
    for number, mutant in enumerate(chosen, 1):
        started = time.monotonic()
        found.append(tried.one(mutant, arguments.most))
        print(
            f"{number}/{len(chosen)} {time.monotonic() - started:5.1f} s {found[-1]['result']:11} {mutant.file}:{mutant.line} {mutant.how} {found[-1]['by'][:90]}",
            flush=True,
        )
        results.write_text(json.dumps(found))
    report(found)


if __name__ == "__main__":
    main()
