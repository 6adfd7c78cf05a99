"""What every part of a vehicle takes away, in one pass; one part with all key states; the inventory of all panels: each against loading the vehicle.

As in the `tracer` command, Python's garbage collector is off while measuring, for both sides.
"""

from __future__ import annotations

import gc
import tempfile
from collections.abc import Callable
from pathlib import Path

from benchmarks.generate import generate
from benchmarks.ratios import Ratio, least_cpu_s
from tracer.circuit.join import join
from tracer.entry.load import read_folder
from tracer.trace.affects.dead_part import Affected
from tracer.trace.affects.every_part import every_loss
from tracer.trace.affects.in_common import common_of
from tracer.trace.panels.positions_of import panels_of
from tracer.trace.tracing import Tracing

RUNS = 10_000
MOST = 3.0  # times loading
MOST_OF_ALL = 45  # some 2 ms a part


def affects_ratios(runs: int = RUNS) -> list[Ratio]:
    """Every part in one pass, one fuse in full, what ten modules have in common, and the inventory, against loading."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        generate(folder, runs)
        gc.collect()
        gc.disable()
        try:
            load_s = least_cpu_s(lambda: join(read_folder(folder)), 2)
            circuit = join(read_folder(folder))
            fuses = [part.name for part in circuit.parts.values() if part.kind == "fuse"]
            modules = [part.name for part in circuit.modules()]
            answered = every_loss(Tracing(circuit)).parts
            taken = sum(len(loss.lost) for loss in answered)
            jobs: list[tuple[str, Callable[[], object]]] = [
                (f"affects, all {len(answered)} parts in one pass ({taken} pins lost)", lambda: every_loss(Tracing(circuit))),
                ("affects, one fuse with all key states", lambda: Affected(Tracing(circuit)).report(fuses[len(fuses) // 2])),
                ("common, three dead and two working modules", lambda: common_of(Tracing(circuit), modules[10:13], modules[20:22])),
                ("panel, every position of every panel", lambda: panels_of(Tracing(circuit))),
            ]  # fmt: skip
            return [
                Ratio(
                    f"{words}, {runs} runs / loading",
                    least_cpu_s(job, 1),
                    load_s,
                    MOST_OF_ALL if "all" in words else MOST,
                )
                for words, job in jobs
            ]
        finally:
            gc.enable()


def ratios() -> list[Ratio]:
    """All of this file."""
    return affects_ratios()


if __name__ == "__main__":
    for ratio in ratios():
        print(ratio.line())
