"""Bridges and cutting pairs against opening every branch and looking what is left."""

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.bench_solve import vehicle_like_network
from tests.electrics.slow import alive_nodes, networks
from tracer.electrics.cuts import cut_structure
from tracer.electrics.network import Network, network_of_resistances


def wires(node_count: int, ends: list[tuple[int, int]], fixed: tuple[int, ...] = ()) -> Network:
    """Branches of 1 ohm; node 0 is the reference, the fixed nodes are at 12 V."""
    return network_of_resistances(
        node_count, ends, [1.0] * len(ends), reference=[0], fixed_node=fixed, fixed_v=[12.0] * len(fixed)
    )


def lost_by_opening(network: Network, branches: list[int]) -> set[int]:
    return alive_nodes(network) - alive_nodes(network.opened(branches))


@given(networks())
def test_what_one_open_branch_cuts_off(network: Network) -> None:
    cuts = cut_structure(network)
    for branch in range(network.branch_count):
        expected = lost_by_opening(network, [branch])
        assert set(np.flatnonzero(cuts.cut_off_by(branch)).tolist()) == expected
        assert bool(cuts.bridge[branch]) == bool(expected)


@given(networks())
def test_what_two_open_branches_cut_off(network: Network) -> None:
    cuts = cut_structure(network)
    for first in range(network.branch_count):
        for second in range(first + 1, network.branch_count):
            expected = lost_by_opening(network, [first, second])
            found = set(np.flatnonzero(cuts.cut_off_by(first, second)).tolist())
            assert found == expected, (first, second)


@given(networks())
def test_bridges_agree_with_a_general_graph_library(network: Network) -> None:
    # networkx (BSD licence) with one vertex for all held nodes. Its own answer is per pair of nodes, so
    # that a doubled wire has to be looked up again.
    graph = nx.MultiGraph()
    held = set(network.held_node.tolist())
    vertex = {node: -1 if node in held else node for node in range(network.node_count)}
    alive = alive_nodes(network)
    for k, (a, b) in enumerate(network.ends.tolist()):
        if network.closed[k] and a in alive and vertex[a] != vertex[b]:
            graph.add_edge(vertex[a], vertex[b], key=k)
    expected = {key for a, b in nx.bridges(graph) for key in graph[a][b]} if graph else set()
    assert set(np.flatnonzero(cut_structure(network).bridge).tolist()) == expected


# ------------------------------------------------------------------------------------------------- pitfalls


def test_neither_of_two_parallel_wires_is_a_bridge() -> None:
    cuts = cut_structure(wires(3, [(0, 1), (0, 1), (1, 2)]))
    assert cuts.bridge.tolist() == [False, False, True]


def test_parallel_wires_drawn_in_opposite_directions_are_parallel_all_the_same() -> None:
    assert not cut_structure(wires(2, [(0, 1), (1, 0)])).bridge.any()


def test_two_parallel_wires_are_a_pair_that_cuts() -> None:
    cuts = cut_structure(wires(3, [(0, 1), (1, 0), (1, 2)]))
    assert np.flatnonzero(cuts.cut_off_by(0, 1)).tolist() == [1, 2]


def test_of_three_parallel_wires_no_two_cut() -> None:
    cuts = cut_structure(wires(2, [(0, 1), (0, 1), (1, 0)]))
    assert not any(cuts.cut_off_by(a, b).any() for a, b in [(0, 1), (0, 2), (1, 2)])


def test_a_wire_beside_an_interrupted_one_is_a_bridge() -> None:
    assert cut_structure(wires(2, [(0, 1), (0, 1)]).opened([1])).bridge.tolist() == [True, False]


def test_a_branch_from_a_node_to_itself_never_counts() -> None:
    cuts = cut_structure(wires(2, [(0, 1), (1, 1), (0, 0)]))
    assert cuts.bridge.tolist() == [True, False, False]
    assert not cuts.cut_off_by(1, 2).any()


def test_a_branch_between_two_held_nodes_cuts_nothing() -> None:
    assert not cut_structure(wires(2, [(0, 1)], fixed=(1,))).bridge.any()


def test_a_load_between_supply_and_ground_has_no_bridge_in_its_feed() -> None:
    # the supply and the reference are one node to the sources: feed, load and ground wire are a loop
    cuts = cut_structure(wires(4, [(1, 2), (2, 3), (3, 0)], fixed=(1,)))
    assert not cuts.bridge.any()
    assert np.flatnonzero(cuts.cut_off_by(0, 1)).tolist() == [2]
    assert np.flatnonzero(cuts.cut_off_by(0, 2)).tolist() == [2, 3]


def test_two_islands_fed_from_one_held_node_do_not_disturb_each_other() -> None:
    cuts = cut_structure(wires(5, [(0, 1), (1, 2), (0, 3), (3, 4), (4, 0)]))
    assert cuts.bridge.tolist() == [True, True, False, False, False]
    assert np.flatnonzero(cuts.cut_off_by(0)).tolist() == [1, 2]


def test_a_floating_ring_is_left_out() -> None:
    cuts = cut_structure(wires(4, [(0, 1), (2, 3), (3, 2)]))
    assert cuts.bridge.tolist() == [True, False, False]
    assert not cuts.cut_off_by(1, 2).any()


def test_a_network_without_a_held_node_has_nothing_to_cut_off() -> None:
    network = network_of_resistances(2, [(0, 1)], [1.0], reference=[])
    assert not cut_structure(network).bridge.any()


def test_a_long_chain_does_not_run_out_of_stack() -> None:
    n = 20_000
    cuts = cut_structure(wires(n, [(k, k + 1) for k in range(n - 1)]))
    assert cuts.bridge.all()
    assert np.count_nonzero(cuts.cut_off_by(10_000)) == n - 10_001


@pytest.mark.parametrize("seed", [1, 2])
def test_pairs_of_a_vehicle_like_network(seed: int) -> None:
    network = vehicle_like_network(120, seed)
    cuts = cut_structure(network)
    draw = np.random.default_rng(seed)
    same_class = np.flatnonzero(np.bincount(cuts.cut_class[cuts.cut_class >= 0]) > 1)
    pairs = [np.flatnonzero(cuts.cut_class == c)[:2].tolist() for c in same_class]
    pairs += draw.choice(network.branch_count, (40, 2), replace=True).tolist()
    assert len(pairs) > 50
    for first, second in pairs:
        expected = lost_by_opening(network, [first, second])
        assert set(np.flatnonzero(cuts.cut_off_by(first, second)).tolist()) == expected


@given(networks(), st.data())
def test_the_walk_gives_every_subtree_one_stretch_of_numbers(network: Network, data: st.DataObject) -> None:
    cuts = cut_structure(network)
    branch = data.draw(st.integers(0, network.branch_count - 1))
    inside = cuts.subtree(branch)
    if cuts.below[branch] >= 0:
        assert inside[cuts.below[branch]]
        assert not inside[network.held_node].any()
        assert inside.sum() <= 1 + cuts.leave[cuts.below[branch]] - cuts.enter[cuts.below[branch]]
    else:
        assert not inside.any()
