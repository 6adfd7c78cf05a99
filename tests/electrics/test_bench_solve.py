"""The measuring functions measure what they say, at a size that takes no time."""

import networkx
import numpy as np

from benchmarks.bench_solve import solve_ratio, vehicle_like_network
from tests.electrics.slow import floating_nodes
from tracer.electrics.network.linear import solve


def test_the_ratio_is_taken_from_times_of_both_sides() -> None:
    ratio = solve_ratio(80, runs=1)
    assert ratio.ours_s > 0.0
    assert ratio.theirs_s > 0.0


def test_the_made_up_vehicle_has_what_makes_vehicles_hard() -> None:
    network = vehicle_like_network(1000)
    assert network.node_count == 1000
    assert not floating_nodes(solve(network))
    pairs = np.sort(network.ends, axis=1)
    assert len(np.unique(pairs, axis=0)) < len(pairs), "no parallel wires"
    graph = networkx.MultiGraph(network.ends.tolist())
    share = sum(1 for _ in networkx.bridges(graph)) / network.branch_count
    assert 0.02 < share < 0.5, "too few or too many dead ends"
    assert 1.1 < network.branch_count / network.node_count < 1.6
    assert np.max(network.conductance_s) / np.min(network.conductance_s) > 1e8
