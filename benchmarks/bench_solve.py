"""Speed of the DC solve, as a ratio against the library it stands on.

A ratio says more than a time: it holds on any machine. It is taken from the fastest of several runs.

    python benchmarks/bench_solve.py
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csc_array
from scipy.sparse.linalg import SuperLU, splu

from benchmarks import ratios as shown
from tracer.electrics.network.described import Network, network_of_resistances
from tracer.electrics.network.linear import solve

# Most times as long as the library's own factorisation and solve of the same matrix.
SOLVE_LIMIT = 3.0


def vehicle_like_network(node_count: int, seed: int = 1) -> Network:
    """A made-up vehicle: battery, body and engine ground, panels, fused circuits, splices, loads, inputs.

    Node 0 is battery negative and the reference; some wires are doubled, some circuits have two feeds.
    """
    draw = np.random.default_rng(seed)
    ends = [(0, 1), (0, 2), (2, 3), (0, 3)]
    ohm = [0.012, 0.001, 0.002, 0.001]
    grounds, panels = [2, 3], [1]
    used = 4

    def link(a: int, b: int, resistance_ohm: float) -> None:
        ends.append((a, b))
        ohm.append(resistance_ohm)
        if draw.random() < 0.03:
            ends.append((b, a))
            ohm.append(resistance_ohm)

    def chain(start: int, length: int) -> int:
        nonlocal used
        for _ in range(min(length, node_count - used)):
            link(start, used, float(draw.uniform(0.002, 0.06)))
            start, used = used, used + 1
        return start

    while used < node_count:
        if len(grounds) < 2 + used // 80:
            grounds.append(chain(int(draw.choice([2, 3])), 1))
        if len(panels) < 1 + used // 150:
            panels.append(chain(int(draw.choice(panels)), 2))
        splice = chain(int(draw.choice(panels)), int(draw.integers(2, 6)))
        back = chain(int(draw.choice(grounds)), int(draw.integers(1, 4)))
        for _ in range(int(draw.integers(1, 4))):
            pin = chain(splice, int(draw.integers(1, 4)))
            is_input = draw.random() < 0.3
            link(pin, back, 1e6 if is_input else float(np.exp(draw.uniform(np.log(1.5), np.log(600.0)))))
            if draw.random() < 0.6:
                link(pin, int(draw.choice(grounds)), 1e6)
        if draw.random() < 0.3:
            chain(splice, int(draw.integers(1, 3)))  # a spare pin: fed, but nothing connected
        if draw.random() < 0.1:
            link(splice, int(draw.choice(panels)), float(draw.uniform(0.01, 0.1)))
    source_v = np.zeros(len(ends))
    source_v[0] = 12.6
    return network_of_resistances(node_count, ends, ohm, reference=[0], source_v=source_v)


@dataclass(frozen=True)
class Ratio:
    """Two times of the same job, in seconds."""

    job: str
    ours_s: float
    theirs_s: float


def solve_ratio(node_count: int = 3000, runs: int = 7) -> Ratio:
    """One solve, topology, refinement and power sums included, against `splu` and `solve` of the matrix."""
    network = vehicle_like_network(node_count)
    matrix, injected_a = _plain_system(network)
    ours_s = shown.least_cpu_s(lambda: solve(network), runs)
    theirs_s = shown.least_cpu_s(lambda: _best_of_the_library(matrix).solve(injected_a), runs)
    return Ratio(f"one solve, {node_count} nodes", ours_s, theirs_s)


def _best_of_the_library(matrix: csc_array[np.float64]) -> SuperLU:
    """Factorised with the ordering that suits a symmetric matrix; the library's default takes longer."""
    options = {"SymmetricMode": True, "Equil": False}
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, relax=1, panel_size=1, options=options)


def _plain_system(network: Network) -> tuple[csc_array[np.float64], np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Matrix and right-hand side for node 0 held at 0 V and every other node joined to it."""
    size = network.node_count - 1
    g = np.where(network.closed, network.conductance_s, 0.0)
    a, b = network.ends.T - 1
    injected_a = np.zeros(size)
    np.add.at(injected_a, a[a >= 0], -(g * network.source_v)[a >= 0])
    np.add.at(injected_a, b[b >= 0], (g * network.source_v)[b >= 0])
    rows = np.concatenate([a, b, a, b])
    columns = np.concatenate([a, b, b, a])
    values = np.concatenate([g, g, -g, -g])
    inside = (rows >= 0) & (columns >= 0)
    matrix = csc_array((values[inside], (rows[inside], columns[inside])), shape=(size, size))
    return matrix, injected_a


def ratios() -> list[shown.Ratio]:
    """What is promised, for `make bench`; times in ms."""
    solved = solve_ratio()
    job = f"{solved.job} / the library's factorisation and solve"
    return [shown.Ratio(job, solved.ours_s * 1e3, solved.theirs_s * 1e3, SOLVE_LIMIT, "ms")]


if __name__ == "__main__":
    for ratio in ratios():
        print(ratio.line())
