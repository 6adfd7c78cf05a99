"""The slow and obvious ways, to hold the quick ones against; and networks drawn by chance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from hypothesis import strategies as st

from tracer.electrics.network.described import Network, network_of_resistances

FloatArray = npt.NDArray[np.float64]


def reached(network: Network, starts: Sequence[int]) -> set[int]:
    """Nodes with a way over closed branches from the starts, by looking again until nothing is new."""
    found = set(starts)
    while True:
        new = set()
        for (a, b), closed in zip(network.ends.tolist(), network.closed.tolist(), strict=True):
            if closed and (a in found) != (b in found):
                new |= {a, b}
        if new <= found:
            return found
        found |= new


def alive_nodes(network: Network) -> set[int]:
    """Nodes with a way to a node of known voltage."""
    return reached(network, network.held_node.tolist())


def dense_voltages(network: Network) -> dict[int, float]:
    """Voltages of the nodes that do not float, by modified nodal analysis with a dense matrix.

    Every held node keeps its own equation, and the current of the source that holds it is an unknown.
    """
    alive = sorted(alive_nodes(network))
    held = network.held_node.tolist()
    index = {node: k for k, node in enumerate(alive)}
    size = len(alive) + len(held)
    matrix = np.zeros((size, size))
    right = np.zeros(size)
    for k in range(network.branch_count):
        first, second = network.ends[k].tolist()
        if not network.closed[k] or first not in index:
            continue
        a, b, g = index[first], index[second], float(network.conductance_s[k])
        matrix[a, a] += g
        matrix[b, b] += g
        matrix[a, b] -= g
        matrix[b, a] -= g
        right[a] -= g * network.source_v[k]
        right[b] += g * network.source_v[k]
    for node in alive:
        right[index[node]] += network.injected_a[node]
    for j, (node, volts) in enumerate(zip(held, network.held_v.tolist(), strict=True)):
        row = len(alive) + j
        matrix[index[node], row] = -1.0
        matrix[row, index[node]] = 1.0
        right[row] = volts
    solution = np.linalg.solve(matrix, right)
    return {node: float(solution[index[node]]) for node in alive}


def kirchhoff_error_a(network: Network, branch_a: FloatArray, held_a: FloatArray) -> float:
    """Largest sum of currents at any node, by plain counting."""
    sums = network.injected_a.tolist()
    for (a, b), current in zip(network.ends.tolist(), branch_a.tolist(), strict=True):
        sums[a] -= current
        sums[b] += current
    for node, current in zip(network.held_node.tolist(), held_a.tolist(), strict=True):
        sums[node] += current
    return float(max(abs(total) for total in sums))


RESISTANCES_OHM = st.one_of(st.floats(0.01, 10.0), st.floats(10.0, 1000.0), st.sampled_from([0.001, 0.5, 1e4, 1e6]))


@st.composite
def networks(draw: st.DrawFn, *, whole: bool = False, passive: bool = False, injections: bool = True) -> Network:
    """Small networks with parallel branches, branches from a node to itself, interruptions, several sources.

    `whole` leaves nothing floating; `passive` leaves out sources inside branches and injected currents, so that
    the held nodes alone drive the network.
    """
    n = draw(st.integers(2, 10))
    node = st.integers(0, n - 1)
    ends = draw(st.lists(st.tuples(node, node), min_size=1, max_size=22))
    if whole:
        ends += [(draw(st.integers(0, k - 1)), k) for k in range(1, n)]
    m = len(ends)
    # currents are injected where they can pass only: an ampere through a megohm is a million volts
    injects = injections and not passive and draw(st.booleans())
    ohm = draw(st.lists(st.floats(0.01, 10.0) if injects else RESISTANCES_OHM, min_size=m, max_size=m))
    closed = [True] * m if whole else draw(st.lists(st.sampled_from([True, True, True, False]), min_size=m, max_size=m))
    source = st.just(0.0) if passive else st.sampled_from([0.0, 0.0, 0.0, 12.6, -5.0, 24.0])
    source_v = draw(st.lists(source, min_size=m, max_size=m))
    fixed = sorted(draw(st.sets(st.integers(1, n - 1), max_size=2)))
    fixed_v = draw(st.lists(st.sampled_from([12.0, 5.0, -4.0, 13.8]), min_size=len(fixed), max_size=len(fixed)))
    network = network_of_resistances(
        n, ends, ohm, reference=[0], fixed_node=fixed, fixed_v=fixed_v, source_v=source_v, closed=closed
    )
    if not injects:
        return network
    alive = alive_nodes(network)
    current = st.sampled_from([0.0, 0.0, 1.0, -0.25])
    drawn = draw(st.lists(current, min_size=n, max_size=n))
    return network.with_injection([amps if k in alive else 0.0 for k, amps in enumerate(drawn)])
