"""Bad input: of each sort of file that the program reads, the shape of a megabyte that costs most to refuse, in time and in memory.

Its yardstick is half of it, as a whole process, without what the program needs to begin: twice as much may cost a little more than twice as much, never four
times. Memory is held against 300 MB. `python -m benchmarks.bench_bad_input 400000 sheet seen` shows every shape of some sorts in a size of one's own.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchmarks.ratios import Ratio
from tests.bad_input import Bad, every

MEGABYTE = 980_000  # a text that a page hands over has a million at most
MOST_MB = 300.0
TRIED = MEGABYTE // 8  # by which the shape that costs most is chosen
MOST_S = 20  # of the processor; what takes longer is ended, and counts as so much

# Asked of a small process in between: what is started right from a large one counts as large as that one.
_MEASURE = """
import os, resource, sys
child = os.fork()
if child == 0:
    resource.setrlimit(resource.RLIMIT_CPU, (int(sys.argv[1]),) * 2)
    out = os.open(os.devnull, os.O_WRONLY)
    os.dup2(out, 1)
    os.dup2(out, 2)
    os.execv(sys.executable, [sys.executable, "-m", "tracer.cli", *sys.argv[2:]])
_, status, used = os.wait4(child, 0)
print(os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""


@dataclass(frozen=True)
class Cost:
    """What one call took: its exit status, seconds of the processor, MB at most."""

    status: int
    seconds: float
    megabytes: float


def cost(bad: Bad, size: int) -> Cost:
    """Of an input in one size, in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        arguments = bad.laid(Path(folder), size)
        environment = {**os.environ, "TRACER_STATE": str(Path(folder) / "state"), "PYTHONPATH": os.getcwd()}
        environment.pop("TRACER_CASE", None)
        command = [sys.executable, "-c", _MEASURE, str(MOST_S), *arguments]
        done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=True)
    status, seconds, megabytes = done.stdout.split()
    return Cost(int(status), float(seconds), float(megabytes))


def ratios() -> list[Ratio]:
    """Two for each sort."""
    return list(_ratios())


def _ratios() -> Iterator[Ratio]:
    by_sort: dict[str, list[Bad]] = {}
    for bad in every():
        by_sort.setdefault(bad.sort, []).append(bad)
    for sort, shapes in by_sort.items():
        worst = max(shapes, key=lambda one: cost(one, TRIED).seconds)
        begin_s = cost(worst, 10).seconds
        whole, half = cost(worst, MEGABYTE), cost(worst, MEGABYTE // 2)
        yield Ratio(f"1 MB of {worst.name} / half of it", whole.seconds - begin_s, max(half.seconds - begin_s, 0.1), 2.6)  # fmt: skip
        yield Ratio(f"1 MB of {sort}, memory / what is allowed", whole.megabytes, MOST_MB, 1.0, "MB")


def main(size: int, sorts: list[str]) -> None:
    """Every shape of some sorts, or of all."""
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for bad in every():
        if not sorts or bad.sort in sorts:
            found = cost(bad, size)
            over = " OVER" if found.seconds > 0.25 + 2e-6 * size or found.megabytes > MOST_MB else ""
            print(f"{bad.name:66}{found.status:4}{found.seconds:8.2f} s{found.megabytes:8.0f} MB{over}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else MEGABYTE, sys.argv[2:])
