"""What a benchmark answers with: one job measured against a yardstick in the same run, so that the machine drops out."""

from __future__ import annotations

import compileall
import gc
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import tracer


@dataclass(frozen=True)
class Ratio:
    """`ours` and `theirs` in seconds (or MB), the ratio wanted at most, and what was measured in words."""

    job: str
    ours: float
    theirs: float
    wanted: float
    unit: str = "s"

    @property
    def ratio(self) -> float:
        return self.ours / self.theirs

    @property
    def met(self) -> bool:
        return self.ratio <= self.wanted

    def line(self) -> str:
        """One line of the table."""
        verdict = "met" if self.met else "NOT MET"
        return f"{self.job:<66}{self.ours:>9.3f} {self.theirs:>9.3f} {self.unit:<3}{self.ratio:>7.2f}  at most {self.wanted:g}: {verdict}"


def fastest_s(job: Callable[[], object], runs: int) -> float:
    """The least of several times that somebody waits, whoever does the work: the one least disturbed by others."""
    return _least(job, runs, time.perf_counter)


def least_cpu_s(job: Callable[[], object], runs: int) -> float:
    """The least processor time of a job in this process: what else the machine does is not counted."""
    return _least(job, runs, time.process_time)


def _least(job: Callable[[], object], runs: int, clock: Callable[[], float]) -> float:
    best = float("inf")
    for _ in range(runs):
        start = clock()
        job()
        best = min(best, clock() - start)
    return best


def process_cpu_s(command: Sequence[str], runs: int) -> float:
    """Least processor time (user and system) of a whole process."""
    best = float("inf")
    for _ in range(runs):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        best = min(best, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return best


# Asked of a small process in between: what is started right from a large one counts as large as that one.
_MEASURE = """
import os, subprocess, sys
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
print(os.wait4(child.pid, 0)[2].ru_maxrss)
"""


def process_mb(command: Sequence[str]) -> float:
    """Most memory that a whole process takes."""
    done = subprocess.run([sys.executable, "-c", _MEASURE, *command], capture_output=True, text=True, check=True)
    return int(done.stdout) / 1024


def checked(command: Sequence[str]) -> None:
    """Run a command once, so that a failing one is not measured as a fast one."""
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 3):
        raise RuntimeError(f"{' '.join(command)} ended with {done.returncode}: {done.stderr}")


def collector_off(job: Callable[[], float]) -> float:
    """As in the `tracer` command, without Python's garbage collector."""
    gc.collect()
    gc.disable()
    try:
        return job()
    finally:
        gc.enable()


def tracer_command() -> str:
    """The `tracer` command of the Python that runs this, its modules compiled as pip leaves those of a package it installs."""
    compileall.compile_dir(Path(tracer.__file__).parent, quiet=1)
    return str(Path(sys.executable).with_name("tracer"))
