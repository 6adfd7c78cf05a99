"""Nodes taken out of many networks together, against the library's factor of each network by itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.bench_solve import vehicle_like_network
from tests.electrics.slow import networks, reached
from tracer.electrics.network.described import FloatArray, IntArray, Network, network_of_resistances
from tracer.electrics.network.elimination import Elimination, Reduction, RowSums, elimination_of
from tracer.electrics.network.factor import factorise, islands_of

LEAK_S = 1.0


def grounded(network: Network) -> Network:
    """The same branches with the reference as the only node held, and nothing floating: a leak where a part has no way to it."""
    alone = network_of_resistances(
        network.node_count, network.ends, 1.0 / network.conductance_s, reference=[0], closed=network.closed
    )
    loose = np.flatnonzero(islands_of(alone.node_count, alone.ends[alone.closed]) == np.arange(alone.node_count))
    return alone.with_branches([(node, 0) for node in loose[1:].tolist()], np.full(loose.size - 1, 1.0 / LEAK_S))


def volts(found: Elimination, conductance_s: FloatArray, injected_a: FloatArray) -> FloatArray:
    """Both parts one after the other; (m, s) siemens, (n, s) or (n, s, k) amperes."""
    edge_s = np.zeros((found.edge_count, conductance_s.shape[1]))
    for branch, edge in enumerate(found.edge_of.tolist()):
        if edge >= 0:
            edge_s[edge] += conductance_s[branch]
    early = found.reduce_early(edge_s)
    late_s = np.zeros((found.late_edge_count, conductance_s.shape[1]))
    late_s[: found.late_edge.size] = edge_s[found.late_edge]
    late: Reduction = found.reduce_late(late_s)
    answer = injected_a.copy()
    early.forward(answer)
    inner = np.concatenate([answer[found.late_node], np.zeros((1, *answer.shape[1:]))])
    late.forward(inner)
    inner[-1] = 0.0
    late.back(inner)
    answer[found.late_node], answer[found.reference] = inner[:-1], 0.0
    early.back(answer)
    return answer


def late_nodes(data: st.DataObject, n: int) -> IntArray:
    return np.array(sorted(data.draw(st.sets(st.integers(1, n - 1), max_size=4))), dtype=np.intp)


@given(networks(), st.data())
def test_the_answers_of_several_networks_are_those_of_each(network: Network, data: st.DataObject) -> None:
    network = grounded(network)
    n, m = network.node_count, network.branch_count
    factor = st.sampled_from([1.0, 0.5, 20.0])
    scale = np.array([[data.draw(factor) for _ in range(3)] for _ in range(m)])
    conductance_s = network.conductance_s[:, np.newaxis] * scale
    # what is open stays in the order at 0 S, as in another key state
    closed_s = np.where(network.closed[:, np.newaxis], conductance_s, 0.0)
    alive = network.ends[:, 0] != network.ends[:, 1]
    leaks = islands_of(n, network.ends[alive])
    assert np.all(leaks == 0)  # the leaks of `grounded` are branches here
    found = elimination_of(n, network.ends, 0, late=late_nodes(data, n))
    pushed_a = np.array(data.draw(st.lists(st.sampled_from([0.0, 1.0, -0.5]), min_size=3 * n, max_size=3 * n)))
    pushed_a = pushed_a.reshape(n, 3)
    answer = volts(found, closed_s, pushed_a)
    for column in range(3):
        alike = factorise(network.altered(conductance_s=conductance_s[:, column].copy()))
        expected = alike.respond(np.where(alike.row >= 0, pushed_a[:, column], 0.0))
        assert np.allclose(answer[:, column], expected, rtol=1e-6, atol=1e-6)


@given(networks(whole=True, passive=True), st.data())
def test_many_pushes_on_each_network_are_answered_like_single_ones(network: Network, data: st.DataObject) -> None:
    network = grounded(network)
    n = network.node_count
    found = elimination_of(n, network.ends, 0, late=late_nodes(data, n))
    both_s = np.stack([network.conductance_s, 3.0 * network.conductance_s], axis=1)
    unit = np.repeat(np.eye(n)[:, np.newaxis], 2, axis=1)
    answer = volts(found, both_s, unit)
    for node in range(n):
        one = volts(found, both_s, unit[:, :, node])
        assert np.allclose(answer[:, :, node], one, rtol=1e-12, atol=1e-12)
    # what is pushed in at one node and read at another is the same the other way round
    assert np.allclose(answer[:, 0], answer[:, 0].T, rtol=1e-9, atol=1e-12)
    assert np.allclose(answer[:, 1] * 3.0, answer[:, 0], rtol=1e-9, atol=1e-12)


def test_a_part_without_a_way_to_the_reference_is_held_by_its_leak() -> None:
    ends = np.array([(0, 1), (2, 3), (3, 4)])
    found = elimination_of(5, ends, 0, late=np.array([3]), leaks=[2])
    conductance_s = np.array([[2.0], [4.0], [5.0], [LEAK_S]])
    pushed_a = np.array([[0.0], [1.0], [0.0], [-1.0], [1.0]])
    # 1 A through 1/2 ohm; in the part, 1 A from node 4 to node 3, and nothing through the leak
    assert volts(found, conductance_s, pushed_a).ravel().tolist() == pytest.approx([0.0, 0.5, 0.0, 0.0, 0.2])


def test_a_megohm_beside_a_milliohm_keeps_its_digits() -> None:
    """By hand: 1e6 + 3e-3 ohm to the first node, and 1e6 + 4e-3 to the one behind it."""
    found = elimination_of(4, np.array([(0, 1), (1, 2), (2, 3)]), 0, late=np.array([2]))
    conductance_s = 1.0 / np.array([[1e6], [3e-3], [1e-3]])
    answer = volts(found, conductance_s, np.array([[0.0], [0.0], [0.0], [1.0]]))
    assert answer[2, 0] == pytest.approx(1e6 + 3e-3, rel=1e-15)
    assert answer[3, 0] == pytest.approx(1e6 + 4e-3, rel=1e-15)


def test_a_vehicle_comes_apart_in_few_rounds_and_few_new_branches() -> None:
    network = grounded(vehicle_like_network(3000))
    found = elimination_of(network.node_count, network.ends, 0, late=np.empty(0, dtype=np.intp))
    assert len(found.early) + len(found.late) < 100
    assert found.edge_count + found.late_edge_count < 4 * network.branch_count
    pushed_a = np.zeros((network.node_count, 1))
    pushed_a[[7, 900, 2500], 0] = 0.1, -0.2, 0.3
    answer = volts(found, np.where(network.closed, network.conductance_s, 0.0)[:, np.newaxis], pushed_a)
    assert np.allclose(answer[:, 0], factorise(network).respond(pushed_a[:, 0]), rtol=1e-7, atol=1e-9)


@given(st.lists(st.integers(0, 6), max_size=40))
def test_rows_are_summed_by_their_targets(target: list[int]) -> None:
    values = np.arange(2.0 * len(target)).reshape(-1, 2) ** 2
    expected = np.ones((7, 2))
    np.add.at(expected, target, values)
    sums = RowSums.by(np.array(target, dtype=np.intp))
    found = np.ones((7, 2))
    sums.add(values[sums.order], found)
    assert np.array_equal(found, expected)


@given(networks())
def test_parts_have_the_number_of_their_lowest_node(network: Network) -> None:
    found = islands_of(network.node_count, network.ends[network.closed])
    assert found.tolist() == [min(reached(network, [node])) for node in range(network.node_count)]
