"""Which test runs which line: every test file once under coverage, in a copy of the project, in a child that has the heavy packages already."""

from __future__ import annotations

import hashlib
import json
import os
import resource
import shutil
import signal
import sys
import time
import traceback
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import coverage
import pytest
from hypothesis import Phase, settings

from tools.mutants.wrong import places

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / os.environ.get("MUTANTS_IN", ".mutants")
TREE = KEPT / "tree"
EXAMPLES = 12  # generated cases per law, fewer than in a usual run: what dies with these dies with more
LEFT_OUT = (
    "tests/fuzz",
    "tests/test_adding.py",
    "tests/test_layers.py",
    "tests/diagnose/test_technicians.py",
    "tests/page/test_pocket.py",
    "tests/page/test_desk.py",
)


class Contexts:
    """Tells coverage which test is running, and keeps how long each took and which passed."""

    def __init__(self, measured: coverage.Coverage) -> None:
        self.measured = measured
        self.seconds: dict[str, float] = defaultdict(float)
        self.failed: set[str] = set()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        self.measured.switch_context(item.nodeid)
        os.environ["MUTANTS_TEST"] = item.nodeid
        started = sum(os.times()[:4])
        found = yield
        self.seconds[item.nodeid] += sum(os.times()[:4]) - started  # of the processor: others may share the machine
        self.measured.switch_context("")
        return found

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.outcome != "passed":
            self.failed.add(report.nodeid)


class Few:
    """Fewer generated cases, always the same, and none made smaller when it fails."""

    def pytest_configure(self) -> None:
        phases = (Phase.explicit, Phase.generate)
        settings.register_profile(
            "mutants", deadline=None, max_examples=EXAMPLES, derandomize=True, database=None, phases=phases
        )
        settings.load_profile("mutants")


HUNG = -signal.SIGKILL
NOTHING_RUN = int(pytest.ExitCode.NO_TESTS_COLLECTED)


class Chosen:
    """Only these tests, file by file, until one falls or the time is up; a test that takes far longer than it did ends all as hung."""

    def __init__(self, names: Sequence[str], seconds: Mapping[str, float], most_s: float) -> None:
        self.rank = {name: number for number, name in enumerate(names)}
        self.files = list(dict.fromkeys(name.partition("::")[0] for name in names))
        self.seconds, self.most_s = seconds, most_s
        self.ran, self.up = 0, False

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        where = {file: number for number, file in enumerate(self.files)}
        items[:] = sorted(
            (item for item in items if item.nodeid in self.rank),  # an id may be another in each run
            key=lambda item: (where[item.nodeid.partition("::")[0]], self.rank[item.nodeid]),
        )

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        signal.signal(signal.SIGALRM, lambda *_: os.killpg(0, signal.SIGKILL))
        signal.alarm(60 + int(20 * self.seconds.get(item.nodeid, 0.0)))
        try:
            return (yield)
        finally:
            signal.alarm(0)
            self.ran += 1
            if sum(os.times()[:4]) > self.most_s and self.ran < len(self.rank):
                self.up = True
                item.session.shouldstop = "the time is up"

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            print(f"\nfell {report.nodeid}", flush=True)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            print(f"\nfell {report.nodeid}", flush=True)

    def pytest_unconfigure(self) -> None:
        print(f"\nran {self.ran} {sum(os.times()[:4]):.1f} {'up' if self.up else 'all'}")


def child(work: Callable[[], int], seconds: float, said: Path) -> int | None:
    """Do it in a forked child with all its output in a file; its exit status, or None if it took longer than allowed."""
    pid = os.fork()
    if pid == 0:
        os.setsid()
        with open(said, "wb") as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
        resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
        status = 70
        try:
            status = work()
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return None


def tests_run(names: Sequence[str], *plugins: object) -> int:
    """Run the tests of these names in the copy; pytest's exit status."""
    os.chdir(TREE)
    sys.path[:0] = [str(TREE)]
    os.environ.update(PYTHONPATH=str(TREE), CI="true")
    return int(
        pytest.main(
            [
                "-x",
                "-q",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:xdist",
                "-W",
                "ignore:Module already imported",
                "--tb=line",
                *names,
            ],
            plugins=[Few(), *plugins],
        )
    )


def laid() -> None:
    """Make the copy what the project is now; a file that has not changed keeps its compiled one."""
    wanted = [*("tracer", "tests", "shared", "circuits", "docs", "benchmarks", "tools", ".ci")]
    for folder in wanted:
        for file in (ROOT / folder).rglob("*"):
            there = TREE / file.relative_to(ROOT)
            if (
                file.is_file()
                and "__pycache__" not in file.parts
                and not (there.is_file() and there.read_bytes() == file.read_bytes())
            ):
                there.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(file, there)
        for there in [*(TREE / folder).rglob("*")]:
            if there.is_file() and "__pycache__" not in there.parts and not (ROOT / there.relative_to(TREE)).exists():
                there.unlink()
    for file in ROOT.iterdir():
        if file.is_file() and file.suffix in (".md", ".toml", ".txt", ".lock", "") and file.name != ".git":
            shutil.copy(file, TREE / file.name)


def collected(only: Sequence[str] | None = None) -> dict[str, Any]:
    """Each test file with its tests' seconds and the lines they run; those that changed are run again under coverage, or of these only some."""
    (KEPT / "tests").mkdir(parents=True, exist_ok=True)
    (KEPT / "data").mkdir(exist_ok=True)
    found = {}
    files = [
        file
        for file in sorted((TREE / "tests").rglob("test_*.py"))
        if not str(file.relative_to(TREE)).startswith(LEFT_OUT)
    ]
    # what the rest is tried with comes first
    order = ("circuit", "trace", "plan", "diagnose", "case", "constructs", "report", "laws")
    files.sort(key=lambda file: order.index(file.parent.name) if file.parent.name in order else len(order))
    for file in files:
        name = str(file.relative_to(TREE))
        kept = KEPT / "tests" / (name.replace("/", "__") + ".json")
        mark = hashlib.sha256(file.read_bytes()).hexdigest()
        wanted = only is None or name in only
        if not wanted and not kept.is_file():
            continue
        if wanted and not (kept.is_file() and json.loads(kept.read_text())["mark"] == mark):
            print(f"which lines {name} runs", flush=True)
            data = KEPT / "data" / kept.stem
            for old in data.parent.glob(f"{data.name}*"):
                old.unlink()
            status = child(partial(measured, name, data, kept, mark), 1800, KEPT / "said.txt")
            if not kept.is_file():
                print(f"  ended with {status}: {(KEPT / 'said.txt').read_text()[-800:]}")
                continue
        found[name] = json.loads(kept.read_text())
        if found[name]["mark"] != mark:
            _leave_out_what_is_gone(found[name], name)
    return found


def _leave_out_what_is_gone(of_file: dict[str, Any], name: str) -> None:
    """Of a test file that changed and is not run again, the tests that are in it no more: asking for one would end the run, as if something were noticed."""
    said = KEPT / "said.txt"
    child(partial(tests_run, [name, "--collect-only"]), 300, said)
    there = set(said.read_text(errors="replace").splitlines())
    of_file["seconds"] = {test: seconds for test, seconds in of_file["seconds"].items() if test in there}
    for lines in of_file["lines"].values():
        lines.update({key: [test for test in tests if test in there] for key, tests in lines.items()})


def measured(name: str, data: Path, kept: Path, mark: str) -> int:
    """Run one test file under coverage and keep what it ran."""
    rules = KEPT / "coverage.ini"
    rules.write_text(
        f"[run]\nbranch = true\nsource = {TREE / 'tracer'}\nparallel = true\npatch = subprocess\ndata_file = {data}\ncontext = ${{MUTANTS_TEST-}}\n"
        "disable_warnings = no-data-collected,module-not-measured\n"
    )
    os.environ.pop("MUTANTS_TEST", None)
    cover = coverage.Coverage(config_file=str(rules))
    cover.start()
    contexts = Contexts(cover)
    tests_run([name, "--maxfail=1000"], contexts)
    cover.stop()
    cover.save()
    cover.combine([str(file) for file in data.parent.glob(f"{data.name}.*")], keep=False)
    cover.save()
    lines: dict[str, dict[str, list[str]]] = {}
    found = cover.get_data()
    for source in found.measured_files():
        where = places(Path(source).read_text(encoding="utf-8"))
        of_file: dict[str, set[str]] = defaultdict(set)
        for number, tests in found.contexts_by_lineno(source).items():
            if number in where:
                of_file[where[number].key] |= {test for test in tests if test and test not in contexts.failed}
        lines[str(Path(source).relative_to(TREE))] = {key: sorted(tests) for key, tests in of_file.items() if tests}
    kept.write_text(
        json.dumps({"mark": mark, "seconds": contexts.seconds, "failed": sorted(contexts.failed), "lines": lines})
    )
    return 0
