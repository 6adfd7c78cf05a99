"""A case at the vehicle, as whole processes beside the help: what is felt with one hand there.

Recording a reading is meant to take 50 ms of CPU more than the help. `tracer next` after five readings, on a module of a vehicle with about 3 000 pins, with every single fault
of what its list rests on, is meant to take 1 s of CPU at most where importing numpy, networkx, pydantic, typer and yaml takes 0.2 s; 0.5 s was measured.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from unittest import mock

from benchmarks.believable import believable
from benchmarks.ratios import Ratio, checked, process_cpu_s, tracer_command

MODULES_OF_3000_PINS, MODULE = 38, "M20"
DEMO = Path(__file__).parent.parent / "circuits" / "minibus"


def ratios() -> list[Ratio]:
    """One reading of two values into a case of the demo module."""
    with tempfile.TemporaryDirectory() as scratch, mock.patch.dict(os.environ, {"TRACER_STATE": scratch}):
        os.environ.pop("TRACER_CASE", None)
        base = [tracer_command(), "-C", str(DEMO)]
        checked([*base, "case", "open", "ALM", "-o", str(Path(scratch) / "one.case")])
        checked([*base, "case", "set", "key=off", "plug=out", "lamp=21W"])
        reading = [*base, "read", "battery=12.6", "3+=12.5/12.0"]
        checked(reading)
        help_s = process_cpu_s([*base, "--help"], 5)
        return [
            Ratio("a reading recorded / --help", process_cpu_s(reading, 5), help_s, 1.8),
            *_next(Path(scratch), help_s),
        ]


def _next(scratch: Path, help_s: float) -> Iterator[Ratio]:
    believable(scratch / "coach", MODULES_OF_3000_PINS)
    base = [tracer_command(), "-C", str(scratch / "coach")]
    numbers = count(1)
    opened_s = min(process_cpu_s([*base, "case", "open", MODULE, "-o", str(scratch / f"{next(numbers)}.case")], 1) for _ in range(3))  # fmt: skip
    quick_s = process_cpu_s([*base, "supplies", MODULE, "--quick"], 3)
    yield Ratio("case open, 3 000 pins / `supplies --quick`", opened_s, quick_s, 6.5)
    checked([*base, "case", "open", MODULE, "-o", str(scratch / "large.case")])
    checked([*base, "case", "set", "key=off", "plug=out", "lamp=21W", "symptom=yes"])
    for words in (
        ["battery=12.5", "1+=dead"],
        ["1+=dead"],
        ["FA20.feed=12.47/12.35"],
        ["XD2.17:XC2=dead"],
        ["ML1.load=12.48/12.40"],
    ):
        checked([*base, "read", *words])
    yield Ratio("next after five readings, 3 000 pins / --help", process_cpu_s([*base, "next"], 3), help_s, 12)
