"""A network without chains and dead ends against the whole one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.bench_solve import vehicle_like_network
from tests.electrics.slow import networks
from tracer.electrics.chains import chains_of
from tracer.electrics.cuts import cut_structure
from tracer.electrics.network import MOST_OHM, Network, network_of_resistances, solve


def kept_nodes(network: Network) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Nodes of the whole network that are nodes of the core, by looking at them one by one."""
    alive = ~solve(network).floating
    ends = network.ends[network.closed & (network.ends[:, 0] != network.ends[:, 1])].tolist()
    while True:
        count = {node: sum(node in pair for pair in ends) for node in range(network.node_count)}
        dead = [k for k, c in count.items() if c == 1 and k not in network.held_node]
        if not dead:
            break
        ends = [pair for pair in ends if not set(pair) & set(dead)]
    held = set(network.held_node.tolist())
    return np.array([k for k in range(network.node_count) if alive[k] and (k in held or count[k] >= 3)], dtype=np.intp)


@given(networks(injections=False))
def test_the_core_has_the_voltages_of_the_whole(network: Network) -> None:
    chains = chains_of(network, cut_structure(network))
    whole = solve(network)
    kept = kept_nodes(network)
    # a bridge that is no dead end leaves its two ends in chains of their own: never more nodes than these
    assert chains.core.node_count == kept.size
    assert np.allclose(solve(chains.core).potential_v, whole.potential_v[kept], rtol=1e-7, atol=1e-7)


@given(networks(injections=False), st.data())
def test_a_change_at_the_ends_of_a_chain_shares_itself_out_along_it(network: Network, data: st.DataObject) -> None:
    chains = chains_of(network, cut_structure(network))
    kept = kept_nodes(network)
    at = data.draw(st.integers(0, kept.size - 1))
    pushed_a = np.zeros(network.node_count)
    pushed_a[kept[at]] = 1e-3
    before, after = solve(network), solve(network.with_injection(pushed_a))
    changed_v = after.potential_v - before.potential_v
    core_v = changed_v[kept]
    shared_v = (1 - chains.share) * core_v[chains.left] + chains.share * core_v[chains.right]
    alive = ~before.floating
    assert np.allclose(shared_v[alive], changed_v[alive], rtol=1e-6, atol=1e-6)


def test_a_chain_has_the_ohms_and_the_volts_of_its_pieces_and_ends_where_it_ends() -> None:
    # 0 -1 ohm- 1 -2 ohm- 2 -3 ohm, 5 V backwards- 3; dead end 4 and 5 on node 2; 3 and 0 are held
    network = network_of_resistances(
        6,
        [(0, 1), (1, 2), (3, 2), (2, 4), (4, 5)],
        [1.0, 2.0, 3.0, 10.0, 10.0],
        reference=[0],
        fixed_node=[3],
        fixed_v=[12.0],
        source_v=[2.0, 0.0, 5.0, 0.0, 0.0],
    )
    chains = chains_of(network, cut_structure(network))
    assert chains.core.node_count == 2
    assert (1 / chains.core.conductance_s).tolist() == pytest.approx([6.0])
    turned = 1.0 if chains.core.ends[0].tolist() == [0, 1] else -1.0
    assert chains.core.source_v.tolist() == pytest.approx([turned * (2.0 - 5.0)])
    assert chains.on_chain.tolist() == [-1, 0, 0, -1, 0, 0]
    to_node_3 = chains.share if turned > 0 else 1 - chains.share
    assert to_node_3[[1, 2, 4, 5]].tolist() == pytest.approx([1 / 6, 3 / 6, 3 / 6, 3 / 6])


def test_two_of_the_largest_resistances_in_a_row_are_one_chain() -> None:
    network = network_of_resistances(
        3, [(0, 1), (1, 2)], [MOST_OHM, MOST_OHM], reference=[0], fixed_node=[2], fixed_v=[12.0]
    )
    chains = chains_of(network, cut_structure(network))
    assert (1 / chains.core.conductance_s).tolist() == pytest.approx([2 * MOST_OHM])


def test_most_of_a_vehicle_is_chains() -> None:
    network = vehicle_like_network(3000)
    chains = chains_of(network, cut_structure(network))
    assert chains.core.node_count < 1000
    assert solve(chains.core).residual_a < 1e-9


def test_a_long_chain_with_a_long_dead_end_keeps_its_ohms_exactly() -> None:
    n = 5000
    ends = [(k, k + 1) for k in range(n)] + [(n, 0)] + [(k, k + 1) for k in range(n + 1, 2 * n)] + [(7, n + 1)]
    ohm = [1e6 if k % 2 else 1e-3 for k in range(n)] + [1.0] * (n + 1)
    network = network_of_resistances(2 * n + 1, ends, ohm, reference=[0])
    chains = chains_of(network, cut_structure(network))
    assert chains.core.node_count == 1
    assert 1 / chains.core.conductance_s[0] == pytest.approx(n / 2 * (1e6 + 1e-3) + 1.0, rel=1e-12)
    assert np.all(chains.right_ohm[n + 1 :] == chains.right_ohm[7])
