"""Recording a reading, as a whole process, beside the help: what is felt with one hand at the vehicle. The aim is 50 ms of CPU more."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from unittest import mock

from benchmarks.ratios import Ratio, checked, process_cpu_s, tracer_command

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
        return [
            Ratio("a reading recorded / --help", process_cpu_s(reading, 5), process_cpu_s([*base, "--help"], 5), 1.8)
        ]
