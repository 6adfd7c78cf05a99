"""Loading, checking and listing generated vehicles against PyYAML's C loader on the same files; start-up against plain imports; all key states of all modules.

As in the `tracer` command, Python's garbage collector is off while measuring, for both sides.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from functools import partial
from itertools import pairwise
from pathlib import Path

import yaml

from benchmarks.generate import generate
from benchmarks.ratios import Ratio, least_cpu_s, process_cpu_s, process_mb, tracer_command
from tracer.circuit import join
from tracer.entry import read_folder
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.rules.registry import loose_ends, remarks
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent / "circuits" / "minibus"
SIZES = (1_000, 10_000, 100_000)
MOST = 15  # about ten and twelve were measured, of either; see README.md for what stands against less
MOST_MB = 1000


def load_ratios(sizes: tuple[int, ...] = SIZES) -> list[Ratio]:
    """Load, check and supplies of one module; and how it grows with the size."""
    ratios, totals, most_mb = [], {}, 0.0
    # In a process of its own, as a command: of several turns without the garbage collector the memory would be added up.
    once = "import gc, sys; gc.disable(); sys.path.insert(0, sys.argv.pop(1)); from benchmarks.bench_load import whole; whole(*sys.argv[1:])"
    gc.collect()
    gc.disable()
    try:
        for runs in sizes:
            with tempfile.TemporaryDirectory() as scratch:
                folder = Path(scratch)
                module = generate(folder, runs)
                repeats = 3 if runs <= 10_000 else 2
                yaml_s = least_cpu_s(partial(_yaml_alone, folder), repeats)
                ours_s = least_cpu_s(partial(whole, scratch, module), repeats)
                totals[runs] = ours_s
                most_mb = process_mb([sys.executable, "-c", once, str(DEMO.parent.parent), scratch, module])
                ratios.append(Ratio(f"load + check + supplies, {runs} runs / YAML alone", ours_s, yaml_s, MOST))
    finally:
        gc.enable()
    for small, large in pairwise(sizes):
        ratios.append(Ratio(f"growth from {small} to {large} runs", totals[large], totals[small], MOST))
    ratios.append(Ratio(f"memory at {sizes[-1]} runs / {MOST_MB} MB", most_mb, MOST_MB, 1, "MB"))
    return ratios


def _yaml_alone(folder: Path) -> None:
    for path in sorted(folder.rglob("*.yaml")):
        yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.CSafeLoader)


def whole(folder: str, module: str) -> None:
    """Load, check and the list of a module."""
    tracing = Tracing(join(read_folder(folder)))
    loose_ends(tracing)
    remarks(tracing)
    supplies_of(tracing, module)


def start_up_ratio(runs: int = 9) -> Ratio:
    """`tracer supplies --quick` on the demo as a whole process, against importing the four libraries that a model and a graph are usually made with."""
    ours_s = process_cpu_s([tracer_command(), "-C", str(DEMO), "supplies", "ALM", "--quick"], runs)
    theirs_s = process_cpu_s([sys.executable, "-c", "import networkx, pydantic, yaml, typer"], runs)
    return Ratio("supplies --quick of the demo as a process / importing four libraries", ours_s, theirs_s, 2.2)


def states_ratio(runs: int = 10_000) -> Ratio:
    """Every key state of every module pin of a vehicle with hundreds of relays, against loading it."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        generate(folder, runs)
        gc.collect()
        gc.disable()
        try:
            start = time.process_time()
            circuit = join(read_folder(folder))
            loaded = time.process_time()
            states = Tracing(circuit).states
            for part in circuit.modules():
                for node in circuit.pins_of[part.name].values():
                    for key in states.keys:
                        states.supply_level(node, key)
                        states.ground_level(node, key)
            ended = time.process_time()
        finally:
            gc.enable()
        relays = sum(part.kind == "relay" for part in circuit.parts.values())
        return Ratio(
            f"all key states of all modules, {runs} runs, {relays} relays / loading",
            ended - loaded,
            loaded - start,
            0.4,
        )


def ratios() -> list[Ratio]:
    """All of this file."""
    return [*load_ratios(), start_up_ratio(), states_ratio()]
