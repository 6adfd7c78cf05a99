"""Single and double faults against a fresh solve of the changed network."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.bench_solve import vehicle_like_network
from tests.electrics.slow import networks
from tracer.electrics.cuts import cut_structure
from tracer.electrics.faults import (
    AddedResistance,
    FaultTable,
    Method,
    Open,
    ShortToNode,
    double_opens,
    single_faults,
)
from tracer.electrics.meters import reading_at
from tracer.electrics.network import (
    LEAST_OHM,
    MOST_OHM,
    BadNode,
    BadResistance,
    Network,
    Solution,
    network_of_resistances,
    solve,
)

MICROVOLT = 1e-6


def fresh(network: Network) -> Solution:
    """The changed network by itself; injected currents of parts that now float are stopped."""
    quiet = solve(network.with_injection(np.zeros(network.node_count)))
    return solve(network.with_injection(np.where(quiet.floating, 0.0, network.injected_a)))


def assert_rows_are_fresh(
    table: FaultTable, changed: Callable[[int], Network], rows: npt.NDArray[np.intp] | None = None
) -> None:
    """Every row within a microvolt of a fresh solve, and floating exactly where that floats."""
    for row in range(len(table.node_v)) if rows is None else rows.tolist():
        expected = fresh(changed(row))
        floating = expected.floating[table.probes]
        assert np.array_equal(table.floating[row], floating), row
        assert np.all(np.isnan(table.node_v[row][floating]))
        gap = table.node_v[row][~floating] - expected.node_v[table.probes][~floating]
        assert np.max(np.abs(gap), initial=0.0) < MICROVOLT, (row, Method(table.method[row]))


# --------------------------------------------------------------------------------------------- every single


@given(networks())
def test_every_single_open_is_the_fresh_solve(network: Network) -> None:
    table = single_faults(solve(network), np.arange(network.branch_count), Open())
    assert_rows_are_fresh(table, lambda k: network.opened([k]))


@given(networks(injections=False), st.data())
def test_single_opens_in_any_order_at_any_probes(network: Network, data: st.DataObject) -> None:
    branch, node = st.integers(0, network.branch_count - 1), st.integers(0, network.node_count - 1)
    opened = data.draw(st.lists(branch, max_size=8))
    probes = data.draw(st.lists(node, max_size=6))
    table = single_faults(solve(network), opened, Open(), probes=probes)
    assert table.node_v.shape == (len(opened), len(probes))
    assert_rows_are_fresh(table, lambda row: network.opened([opened[row]]))


@given(networks(injections=False))
def test_by_rings_and_one_by_one_is_the_same(network: Network) -> None:
    # a leak too small to be seen: with it every branch is opened by itself
    branches = np.arange(network.branch_count)
    by_ring = single_faults(solve(network), branches, Open())
    alone = single_faults(solve(network, 1e-18), branches, Open())
    assert np.array_equal(by_ring.floating, alone.floating)
    assert np.allclose(by_ring.node_v, alone.node_v, rtol=0, atol=MICROVOLT, equal_nan=True)


def ring(source_v: list[float]) -> Network:
    """Node 1 on a battery; a ring of four branches from node 1 by 2, 3, 4 back to 1, a dead end 5 on 3, a load on 4."""
    return network_of_resistances(
        6,
        [(0, 1), (1, 2), (3, 2), (3, 4), (4, 1), (3, 5), (4, 0)],
        [0.1, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
        reference=[0],
        source_v=source_v,
    )


@pytest.mark.parametrize("source_v", [[12.0, 0, 0, 0, 0, 0, 0], [12.0, 1.0, -2.0, 0.5, 3.0, 7.0, 0], [0.0] * 7])
@pytest.mark.parametrize("order", [[0, 1, 2, 3, 4, 5, 6], [4, 3, 2, 1], [2, 6, 2, 5]])
def test_a_ring_with_batteries_in_it_and_a_dead_end_on_it(source_v: list[float], order: list[int]) -> None:
    network = ring(source_v)
    table = single_faults(solve(network), order, Open())
    assert_rows_are_fresh(table, lambda row: network.opened([order[row]]))


def test_a_ring_of_which_one_opening_was_factorised_afresh(monkeypatch: pytest.MonkeyPatch) -> None:
    def none_good(table: object, rows: npt.NDArray[np.intp], update: object) -> npt.NDArray[np.intp]:
        return np.arange(rows.size)

    monkeypatch.setattr("tracer.electrics.ring_opens.updated_rows", none_good)
    network = ring([12.0, 1.0, -2.0, 0.5, 3.0, 7.0, 0])
    table = single_faults(solve(network), [1, 2, 3, 4], Open())
    assert set(table.method.tolist()) == {Method.REFACTORED}
    assert_rows_are_fresh(table, lambda row: network.opened([row + 1]))


def test_a_ring_that_comes_back_to_one_node() -> None:
    # a battery of its own drives 1 A round 1-2-3-1; nothing else is connected to node 1 but the reference
    network = network_of_resistances(
        4, [(0, 1), (1, 2), (2, 3), (3, 1)], [1.0, 2.0, 3.0, 5.0], reference=[0], source_v=[0, 0, 10.0, 0]
    )
    table = single_faults(solve(network), [1, 2, 3], Open())
    assert_rows_are_fresh(table, lambda row: network.opened([row + 1]))
    # opened between 2 and 3 nothing flows: both are at the volts of node 1
    assert table.node_v[1].tolist() == pytest.approx([0.0, 0.0, 0.0, 0.0])


def test_the_rest_of_the_network_sees_no_difference_which_branch_of_a_ring_is_open() -> None:
    table = single_faults(solve(ring([12.0, 0, 0, 0, 0, 0, 0])), [1, 2, 3], Open(), probes=[0, 1, 4])
    assert np.array_equal(table.node_v[0], table.node_v[1])
    assert np.array_equal(table.node_v[0], table.node_v[2])


@given(networks(), st.sampled_from([0.01, 0.5, 20.0, 1e5]))
def test_every_added_resistance_is_the_fresh_solve(network: Network, added_ohm: float) -> None:
    table = single_faults(solve(network), np.arange(network.branch_count), AddedResistance(added_ohm))
    assert_rows_are_fresh(table, lambda k: network.with_added_ohm(k, added_ohm))


@given(networks(), st.data(), st.sampled_from([0.001, 1.0, 1e4]))
def test_every_short_to_a_node_is_the_fresh_solve(network: Network, data: st.DataObject, short_ohm: float) -> None:
    node = data.draw(st.integers(0, network.node_count - 1))
    elements = np.arange(network.node_count)
    table = single_faults(solve(network), elements, ShortToNode(node, short_ohm))
    assert_rows_are_fresh(table, lambda k: network.with_branch(k, node, short_ohm))


@given(networks())
def test_every_pair_of_opens_is_the_fresh_solve(network: Network) -> None:
    m = network.branch_count
    pairs = np.array([(a, b) for a in range(m) for b in range(m)][:: max(1, m * m // 60)])
    table = double_opens(solve(network), pairs)
    assert_rows_are_fresh(table, lambda row: network.opened(np.unique(pairs[row])))


@given(networks())
def test_labels_that_are_equal_by_chance_do_no_harm(network: Network) -> None:
    cuts = cut_structure(network)
    # as if every branch that is no bridge had drawn the same label
    forged = replace(cuts, cut_class=np.where(cuts.cut_class >= 0, 0, -1))
    m = network.branch_count
    pairs = np.array([(a, b) for a in range(m) for b in range(a, m)][:: max(1, m * m // 60)])
    table = double_opens(solve(network), pairs, cuts=forged)
    assert_rows_are_fresh(table, lambda row: network.opened(np.unique(pairs[row])))


@pytest.mark.parametrize("meter_ohm", [None, 10e6])
def test_the_least_and_the_largest_resistances_side_by_side(meter_ohm: float | None) -> None:
    draw = np.random.default_rng(0)
    for _ in range(150):
        n = int(draw.integers(3, 9))
        ends = [(int(draw.integers(0, k)), k) for k in range(1, n)]
        ends += [(int(a), int(b)) for a, b in draw.integers(0, n, (int(draw.integers(1, 8)), 2))]
        ohm = draw.choice([LEAST_OHM, 1e-3, 1.0, 1e6, MOST_OHM], len(ends))
        source_v = [12.6] + [0.0] * (len(ends) - 1)
        network = network_of_resistances(n, ends, ohm, reference=[0], source_v=source_v)
        table = single_faults(solve(network), np.arange(len(ends)), Open(), meter_ohm=meter_ohm)
        for k in range(len(ends)):
            expected = solve(network.opened([k]))
            for node in np.flatnonzero(~expected.floating).tolist():
                volts = expected.node_v[node] if meter_ohm is None else reading_at(expected, node).volts
                assert table.node_v[k, node] == pytest.approx(volts, abs=MICROVOLT)


@pytest.mark.parametrize("node_count", [60, 300])
def test_all_opens_of_a_vehicle_like_network(node_count: int) -> None:
    network = vehicle_like_network(node_count)
    table = single_faults(solve(network), np.arange(network.branch_count), Open())
    assert_rows_are_fresh(table, lambda k: network.opened([k]))
    # all three ways are in use, or this test says less than it seems to
    assert {Method.UNCHANGED, Method.UPDATED, Method.REFINED} <= set(table.method.tolist())
    assert np.max(table.residual_a) < 1e-9


def test_some_opens_of_a_large_vehicle_like_network() -> None:
    network = vehicle_like_network(3000)
    table = single_faults(solve(network), np.arange(network.branch_count), Open())
    rows = np.random.default_rng(5).choice(network.branch_count, 40, replace=False)
    weak = np.flatnonzero(table.method == Method.REFINED)[:40]
    assert_rows_are_fresh(table, lambda k: network.opened([k]), np.concatenate([rows, weak]))


def test_pairs_of_a_vehicle_like_network() -> None:
    network = vehicle_like_network(300)
    cuts = cut_structure(network)
    shared = np.flatnonzero(np.bincount(cuts.cut_class[cuts.cut_class >= 0]) > 1)
    cutting = [np.flatnonzero(cuts.cut_class == c)[[0, -1]] for c in shared]
    pairs = np.vstack([np.random.default_rng(7).choice(network.branch_count, (150, 2)), *cutting])
    table = double_opens(solve(network), pairs, cuts=cuts)
    assert_rows_are_fresh(table, lambda row: network.opened(np.unique(pairs[row])))
    assert {Method.UPDATED, Method.REFINED} <= set(table.method.tolist())


# ----------------------------------------------------------------------------------------- with a real meter


@given(networks(), st.sampled_from([Open(), AddedResistance(50.0)]))
def test_a_meter_reads_each_fault_as_it_reads_the_fresh_network(network: Network, kind: Open | AddedResistance) -> None:
    table = single_faults(solve(network), np.arange(network.branch_count), kind, meter_ohm=10e6)
    for k in range(network.branch_count):
        changed = network.opened([k]) if isinstance(kind, Open) else network.with_added_ohm(k, kind.added_ohm)
        expected = fresh(changed)
        for node in np.flatnonzero(~table.floating[k]).tolist():
            assert table.node_v[k, node] == pytest.approx(reading_at(expected, node).volts, abs=MICROVOLT)


@given(networks(), st.data())
def test_a_meter_reads_each_short_and_each_pair_as_the_fresh_network(network: Network, data: st.DataObject) -> None:
    node = data.draw(st.integers(0, network.node_count - 1))
    branch = st.integers(0, network.branch_count - 1)
    pairs = np.array(data.draw(st.lists(st.tuples(branch, branch), min_size=1, max_size=8)))
    base = solve(network)
    shorts = single_faults(base, np.arange(network.node_count), ShortToNode(node, 0.1), meter_ohm=10e6)
    opens = double_opens(base, pairs, meter_ohm=10e6)
    cases = [(shorts.node_v[k], network.with_branch(k, node, 0.1)) for k in range(network.node_count)]
    cases += [(opens.node_v[k], network.opened(np.unique(pair))) for k, pair in enumerate(pairs)]
    for shown, changed in cases:
        expected = fresh(changed)
        for probe in np.flatnonzero(~expected.floating).tolist():
            assert shown[probe] == pytest.approx(reading_at(expected, probe).volts, abs=MICROVOLT)


# ------------------------------------------------------------------------------------- what a technician sees


def lamp_circuit() -> Network:
    """Battery on 1, feed to 2, lamp of 6 ohm to 3, ground wire to 0; a spare pin 4 on the feed.

    Branches: 0 battery, 1 feed, 2 lamp, 3 ground wire, 4 and 5 two parallel wires to 5, 6 the spare pin.
    """
    return network_of_resistances(
        6,
        [(0, 1), (1, 2), (2, 3), (3, 0), (1, 5), (5, 1), (2, 4)],
        [0.01, 0.1, 6.0, 0.1, 0.2, 0.2, 0.05],
        reference=[0],
        source_v=[12.6] + [0.0] * 6,
    )


def test_a_bridge_carries_nothing_so_that_opening_it_changes_nothing_but_its_far_side() -> None:
    base = solve(lamp_circuit())
    table = single_faults(base, [6], Open())
    assert table.method.tolist() == [Method.UNCHANGED]
    assert table.floating[0].tolist() == [False, False, False, False, True, False]
    assert table.node_v[0, :4].tolist() == base.node_v[:4].tolist()


def test_one_of_two_parallel_wires_leaves_nothing_floating() -> None:
    table = single_faults(solve(lamp_circuit()), [4, 5], Open())
    assert not table.floating.any()
    assert table.node_v[:, 5].tolist() == pytest.approx([table.node_v[0, 1]] * 2)


def test_an_open_ground_wire_puts_the_supply_on_the_ground_pin() -> None:
    table = single_faults(solve(lamp_circuit()), [3], Open(), probes=[3])
    assert table.node_v.tolist() == [[pytest.approx(12.6)]]


def test_a_resistance_in_a_wire_without_current_shows_no_drop_only_to_a_meter() -> None:
    base = solve(lamp_circuit())
    ideal = single_faults(base, [6], AddedResistance(1e6), probes=[4])
    metered = single_faults(base, [6], AddedResistance(1e6), probes=[4], meter_ohm=10e6)
    assert ideal.node_v[0, 0] == pytest.approx(base.node_v[4])
    assert metered.node_v[0, 0] == pytest.approx(base.node_v[4] * 10 / 11, rel=1e-6)


def test_a_short_brings_a_cut_off_pin_back_to_life() -> None:
    network = lamp_circuit().opened([6])
    table = single_faults(solve(network), [4, 5], ShortToNode(0, 0.01))
    assert not table.floating[0].any()
    assert table.node_v[0, 4] == pytest.approx(0.0)
    assert table.floating[1].tolist() == [False, False, False, False, True, False]


def test_a_short_between_two_floating_parts_leaves_both_floating() -> None:
    network = network_of_resistances(4, [(0, 1)], [1.0], reference=[0])
    table = single_faults(solve(network), [2], ShortToNode(3, 0.01))
    assert table.floating[0].tolist() == [False, False, True, True]


def test_a_branch_that_is_open_already_and_a_short_to_itself_change_nothing() -> None:
    network = lamp_circuit().opened([3])
    base = solve(network)
    for table in (
        single_faults(base, [3], Open()),
        single_faults(base, [3], AddedResistance(5.0)),
        single_faults(base, [2], ShortToNode(2)),
    ):
        assert table.method.tolist() == [Method.UNCHANGED]
        assert table.node_v[0].tolist() == base.node_v.tolist()


def test_current_of_a_cut_off_part_stops() -> None:
    # 1 A is drawn from node 2 behind a bridge; with the bridge open the drop in the feed is gone
    network = network_of_resistances(
        3, [(0, 1), (1, 2)], [2.0, 3.0], reference=[0], source_v=[12.0, 0.0], injected_a=[0.0, 0.0, -1.0]
    )
    base = solve(network)
    assert base.node_v.tolist() == pytest.approx([0.0, 10.0, 7.0])
    table = single_faults(base, [1], Open())
    assert table.node_v[0, :2].tolist() == pytest.approx([0.0, 12.0])
    assert table.floating[0].tolist() == [False, False, True]
    added = single_faults(base, [1], AddedResistance(1.0))
    assert added.node_v[0].tolist() == pytest.approx([0.0, 10.0, 6.0])


def test_a_battery_behind_two_wires_floats_when_both_are_open() -> None:
    network = network_of_resistances(
        4,
        [(0, 1), (2, 3), (1, 2), (3, 0)],
        [100.0, 0.5, 0.1, 0.1],
        reference=[0],
        source_v=[0.0, 6.0, 0.0, 0.0],
    )
    table = double_opens(solve(network), [(2, 3)])
    assert table.floating[0].tolist() == [False, False, True, True]
    assert table.node_v[0, :2].tolist() == pytest.approx([0.0, 0.0])


def test_rows_stand_in_the_order_asked_for_and_may_repeat() -> None:
    base = solve(lamp_circuit())
    table = single_faults(base, [3, 1, 6, 3], Open(), probes=[3, 2])
    assert table.node_v.shape == (4, 2)
    assert np.array_equal(table.node_v[0], table.node_v[3])
    alone = single_faults(base, [1], Open(), probes=[3, 2])
    assert table.node_v[1].tolist() == pytest.approx(alone.node_v[0].tolist())


def test_no_fault_asked_for_is_an_empty_table() -> None:
    base = solve(lamp_circuit())
    assert single_faults(base, [], Open()).node_v.shape == (0, 6)
    assert double_opens(base, np.empty((0, 2), dtype=np.intp)).node_v.shape == (0, 6)


def test_a_network_of_held_nodes_only_has_faults_that_change_nothing() -> None:
    network = network_of_resistances(2, [(0, 1)], [1.0], reference=[0], fixed_node=[1], fixed_v=[12.0])
    table = single_faults(solve(network), [0], Open())
    assert table.node_v.tolist() == [[0.0, 12.0]]


# -------------------------------------------------------------------------------------------------- refusals


def test_faults_that_cannot_be_are_refused() -> None:
    base = solve(lamp_circuit())
    with pytest.raises(BadNode, match="elements has 7"):
        single_faults(base, [7], Open())
    with pytest.raises(BadNode, match="probes has 6"):
        single_faults(base, [0], Open(), probes=[6])
    with pytest.raises(BadNode, match="pairs must have shape"):
        double_opens(base, [1, 2])
    with pytest.raises(BadResistance, match="added resistance"):
        AddedResistance(0.0)
    with pytest.raises(BadResistance, match="short_ohm"):
        ShortToNode(0, 0.0)
    with pytest.raises(BadResistance, match="meter_ohm"):
        single_faults(base, [0], Open(), meter_ohm=0.0)


def test_cuts_of_another_network_are_refused() -> None:
    with pytest.raises(BadNode, match="other branches or other held nodes"):
        single_faults(solve(lamp_circuit()), [0], Open(), cuts=cut_structure(lamp_circuit().opened([3])))
