"""Time for the computed readings of a module in every key state, against reading, joining and listing the same vehicle."""

from __future__ import annotations

import tempfile
from pathlib import Path

import tracer
from benchmarks.generate import generate
from benchmarks.ratios import Ratio, collector_off, least_cpu_s
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.volts.expected import expectations
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent / "circuits" / "minibus"
RUNS = 10_000
AT_MOST = {
    "demo": 6.0,
    f"{RUNS} runs": 3.5,
}  # about one and a half times what was measured: a list has become quick to make, the demo's most of all


def ratios() -> list[Ratio]:
    """The demo, and one module of a generated vehicle."""
    found = [_ratio(DEMO, "ALM", "demo", 3)]
    with tempfile.TemporaryDirectory() as folder:
        module = generate(Path(folder), RUNS)
        found.append(_ratio(Path(folder), module, f"{RUNS} runs", 1))
    return found


def _ratio(folder: Path, module: str, name: str, runs: int) -> Ratio:
    listed_s = collector_off(lambda: least_cpu_s(lambda: supplies_of(Tracing(tracer.load(str(folder))), module), runs))
    tracing = Tracing(tracer.load(str(folder)))
    report, limits = supplies_of(tracing, module), limits_of(tracing.circuit)
    ours_s = collector_off(lambda: least_cpu_s(lambda: expectations(tracing, report, limits=limits), runs))
    job = f"readings of one module, {len(report.keys)} key states, {name} / its list from the files"
    return Ratio(job, ours_s, listed_s, AT_MOST[name])
