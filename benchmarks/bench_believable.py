"""Every command on one module of a vehicle of real size, built like a real one: whole processes, as a user runs them.

The yardstick is the list of that module without volts: it too starts, reads all sheets and joins them. Each limit is one and a half to not quite two times
what was measured: it holds on a loaded machine, and is not met any more when a command takes twice its time.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchmarks.believable import believable
from benchmarks.ratios import Ratio, checked, process_cpu_s, process_mb, tracer_command

MODULE = "M78"
MOST = {
    f"supplies {MODULE}": 2.8,
    "supplies": 5.0,  # all lists in one pass
    f"states {MODULE}": 1.5,
    f"volts {MODULE}": 3.1,
    f"diagram {MODULE} -o out.svg": 2.3,
    f"worksheet {MODULE} -o out.html": 4.2,
    "check": 2.4,
    "bus": 1.8,
    "draw": 1.8,
    "panel": 1.6,
    "affects ML1": 1.7,
    f"common {MODULE} M79": 1.7,
}
MOST_MB = 250
RUNS = 3


def ratios() -> list[Ratio]:
    """Each command against the list of one module, and the memory of the list with its volts."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "coach"
        believable(folder)
        base = [tracer_command(), "-C", str(folder)]
        listing = [*base, "supplies", MODULE, "--quick"]
        checked(listing)
        listed_s = process_cpu_s(listing, RUNS)
        found = []
        for words, most in MOST.items():
            command = [
                *base,
                *(str(Path(scratch) / word) if word.startswith("out.") else word for word in words.split()),
            ]
            checked(command)
            found.append(Ratio(f"{words}, 100 modules / its list", process_cpu_s(command, RUNS), listed_s, most))
        job = f"memory of supplies {MODULE}, 100 modules / {MOST_MB} MB"
        return [*found, Ratio(job, process_mb([*base, "supplies", MODULE]), MOST_MB, 1, "MB")]
