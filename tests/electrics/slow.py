"""The slow and obvious ways, to hold the quick ones against; and networks drawn by chance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from hypothesis import strategies as st

from tracer.electrics.network.described import Network, network_of_resistances
from tracer.electrics.network.linear import Solution
from tracer.electrics.network.load_laws import Load
from tracer.electrics.network.with_loads import solve_with_loads

FloatArray = npt.NDArray[np.float64]


def with_branch(network: Network, first: int, second: int, resistance_ohm: float) -> Network:
    """The same network with one more branch, numbered last."""
    return network.with_branches([(first, second)], [resistance_ohm])


def with_added_ohm(network: Network, branch: int, added_ohm: float) -> Network:
    """The same network with a resistance in series with one branch."""
    conductance_s = network.conductance_s.copy()
    conductance_s[branch] = 1.0 / (1.0 / conductance_s[branch] + added_ohm)
    return network.with_conductances(conductance_s)


def floating_nodes(solution: Solution) -> set[int]:
    """Nodes without a way to a node of known voltage, as the solver says."""
    return {int(node) for node in np.flatnonzero(solution.floating)}


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
    for j, (node, volts) in enumerate(zip(held, network.held_v.tolist(), strict=True)):
        row = len(alive) + j
        matrix[index[node], row] = -1.0
        matrix[row, index[node]] = 1.0
        right[row] = volts
    solution = np.linalg.solve(matrix, right)
    return {node: float(solution[index[node]]) for node in alive}


def _out_of_nodes_a(network: Network, branch_a: FloatArray) -> list[float]:
    """What the branches carry away from each node, by plain counting."""
    sums = [0.0] * network.node_count
    for (a, b), current in zip(network.ends.tolist(), branch_a.tolist(), strict=True):
        sums[a] += current
        sums[b] -= current
    return sums


def kirchhoff_error_a(network: Network, branch_a: FloatArray) -> float:
    """Largest sum of currents at any node that nothing holds."""
    sums, held = _out_of_nodes_a(network, branch_a), set(network.held_node.tolist())
    return max((abs(total) for node, total in enumerate(sums) if node not in held), default=0.0)


def held_a(solution: Solution) -> list[float]:
    """Amperes that each node of `held_node` sends into the network."""
    sums = _out_of_nodes_a(solution.network, solution.branch_a)
    return [sums[node] for node in solution.network.held_node.tolist()]


def powers_w(solution: Solution) -> tuple[float, float]:
    """What all sources give together (one that is being charged counts against), and what resistances turn to heat."""
    network, branch_a = solution.network, solution.branch_a
    given = float(network.held_v @ np.array(held_a(solution)) + network.source_v @ branch_a)
    return given, float(np.sum(branch_a**2 / network.conductance_s))


def drops_v(solution: Solution) -> FloatArray:
    """Volts from first to second end of each branch."""
    a, b = solution.network.ends.T
    drop: FloatArray = solution.potential_v[a] - solution.potential_v[b]
    return drop


class Loaded(NamedTuple):
    """A network settled with its loads: volts across, amperes through and watts into each of them."""

    solution: Solution
    load_v: FloatArray
    load_a: FloatArray
    load_w: FloatArray


def loaded(network: Network, loads: Sequence[Load]) -> Loaded:
    """What each load gets, once the network has settled with them."""
    found = solve_with_loads(network, loads)
    load_v, load_a = drops_v(found)[network.branch_count :], found.branch_a[network.branch_count :]
    return Loaded(found, load_v, load_a, load_v * load_a)


RESISTANCES_OHM = st.one_of(st.floats(0.01, 10.0), st.floats(10.0, 1000.0), st.sampled_from([0.001, 0.5, 1e4, 1e6]))


@st.composite
def networks(draw: st.DrawFn, *, whole: bool = False, passive: bool = False) -> Network:
    """Small networks with parallel branches, branches from a node to itself, interruptions, several sources.

    `whole` leaves nothing floating; `passive` leaves out sources inside branches, so that the held nodes alone
    drive the network.
    """
    n = draw(st.integers(2, 10))
    node = st.integers(0, n - 1)
    ends = draw(st.lists(st.tuples(node, node), min_size=1, max_size=22))
    if whole:
        ends += [(draw(st.integers(0, k - 1)), k) for k in range(1, n)]
    m = len(ends)
    ohm = draw(st.lists(RESISTANCES_OHM, min_size=m, max_size=m))
    closed = [True] * m if whole else draw(st.lists(st.sampled_from([True, True, True, False]), min_size=m, max_size=m))
    source = st.just(0.0) if passive else st.sampled_from([0.0, 0.0, 0.0, 12.6, -5.0, 24.0])
    source_v = draw(st.lists(source, min_size=m, max_size=m))
    fixed = sorted(draw(st.sets(st.integers(1, n - 1), max_size=2)))
    fixed_v = draw(st.lists(st.sampled_from([12.0, 5.0, -4.0, 13.8]), min_size=len(fixed), max_size=len(fixed)))
    return network_of_resistances(
        n, ends, ohm, reference=[0], fixed_node=fixed, fixed_v=fixed_v, source_v=source_v, closed=closed
    )
