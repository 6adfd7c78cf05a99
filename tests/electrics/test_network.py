"""The solve of a network against slow and obvious ways, and against the laws of circuits."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.bench_solve import vehicle_like_network
from tests.electrics.slow import (
    FloatArray,
    dense_voltages,
    drops_v,
    floating_nodes,
    held_a,
    kirchhoff_error_a,
    networks,
    powers_w,
    reached,
    with_branch,
)
from tracer.electrics.network.described import (
    LEAST_OHM,
    MOST_OHM,
    BadNode,
    BadResistance,
    BadValue,
    FixedTwice,
    Network,
    network_of_resistances,
)
from tracer.electrics.network.linear import solve


def battery_and_load(ground_ohm: float = 1.0) -> Network:
    """12 V behind 0.1 ohm, a load of 2.9 ohm on node 1, a ground wire from node 2."""
    return network_of_resistances(
        3, [(0, 1), (1, 2), (2, 0)], [0.1, 2.9, ground_ohm], reference=[0], source_v=[12.0, 0.0, 0.0]
    )


# ------------------------------------------------------------------------------------ against a dense solve


@given(networks())
def test_voltages_agree_with_a_dense_solve_and_the_rest_floats(network: Network) -> None:
    solution = solve(network)
    expected = dense_voltages(network)
    assert set(range(network.node_count)) - floating_nodes(solution) == set(expected)
    for node, volts in expected.items():
        # the dense matrix mixes 1 mohm with 1 Mohm, which costs it nine of its sixteen digits
        assert solution.node_v[node] == pytest.approx(volts, rel=1e-5, abs=1e-5)
    assert all(math.isnan(solution.node_v[node]) for node in floating_nodes(solution))


@given(networks())
def test_an_island_is_what_a_flood_from_a_node_reaches(network: Network) -> None:
    island = solve(network).factor.island
    for node in range(network.node_count):
        assert set(np.flatnonzero(island == island[node]).tolist()) == reached(network, [node])


def voltages_without_subtraction(network: Network) -> FloatArray:
    """Node after node removed by star-mesh, in long double; every number added is positive, so none is lost.

    For networks with node 0 as the only held node. Nodes without a way to it get no number.
    """
    n = network.node_count
    between = np.zeros((n, n), dtype=np.longdouble)
    injected = np.zeros(n, dtype=np.longdouble)
    for (a, b), g, e, closed in zip(
        network.ends.tolist(), network.conductance_s, network.source_v, network.closed, strict=True
    ):
        if closed and a != b:
            between[a, b] += g
            between[b, a] += g
            injected[a] -= np.longdouble(g) * e
            injected[b] += np.longdouble(g) * e
    removed = []
    for node in range(n - 1, 0, -1):
        star = between[node].copy()
        total = star.sum()
        removed.append((node, star, total, injected[node]))
        if total > 0:
            share = star / total
            between += np.outer(star, share)
            injected = injected + share * injected[node]
        between[node, :] = between[:, node] = 0
        np.fill_diagonal(between, 0)
    volts = np.zeros(n, dtype=np.longdouble)
    for node, star, total, current in reversed(removed):
        volts[node] = (star @ volts + current) / total if total > 0 else np.nan
    return volts.astype(np.float64)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_vehicle_like_network_is_solved_to_a_billionth_of_a_volt(seed: int) -> None:
    network = vehicle_like_network(200, seed)
    solution = solve(network)
    assert not floating_nodes(solution)
    assert np.max(np.abs(solution.node_v - voltages_without_subtraction(network))) < 1e-9
    assert kirchhoff_error_a(network, solution.branch_a) < 1e-9


def test_the_least_and_the_largest_resistance_together_are_still_solved() -> None:
    # 100 Mohm in series with a chain of 10 microhm links: the assembled diagonal loses the feed altogether
    ends = [(0, 1)] + [(k, k + 1) for k in range(1, 30)] + [(30, 0)]
    network = network_of_resistances(
        31, ends, [MOST_OHM] + [LEAST_OHM] * 29 + [MOST_OHM], reference=[0], source_v=[12.0] + [0.0] * 30
    )
    # -12 V source times the divider of two equal resistances: 6 V at every node of the chain
    assert np.max(np.abs(solve(network).node_v[1:] - 6.0)) < 1e-6


def test_thousands_of_amperes_behind_a_megohm_are_no_reason_to_give_up() -> None:
    # a 24 V battery shorted by 1 mohm, with one end on 1 Mohm to the reference
    network = network_of_resistances(
        3, [(1, 2), (2, 1), (0, 1)], [1e-3, 1e-3, 1e6], reference=[0], source_v=[24.0, 0.0, 12.0]
    )
    solution = solve(network)
    assert solution.branch_a[0] == pytest.approx(12_000.0)
    assert solution.node_v[1] == pytest.approx(12.0, abs=1e-4)


def test_a_source_shorted_upon_itself_disturbs_nothing() -> None:
    network = network_of_resistances(2, [(1, 1), (0, 1)], [1e-3, 1e6], reference=[0], source_v=[24.0, 12.6])
    solution = solve(network)
    assert solution.branch_a[0] == pytest.approx(24_000.0)
    assert solution.node_v[1] == pytest.approx(12.6, abs=1e-12)


# --------------------------------------------------------------------------------------------------- laws


@given(networks())
def test_currents_sum_to_zero_at_every_node(network: Network) -> None:
    solution = solve(network)
    largest = float(np.max(np.abs(solution.branch_a), initial=1.0))
    assert kirchhoff_error_a(network, solution.branch_a) <= 1e-9 * largest


@given(networks())
def test_sources_give_what_resistances_turn_to_heat(network: Network) -> None:
    given_w, heat_w = powers_w(solve(network))
    assert given_w == pytest.approx(heat_w, rel=1e-7, abs=1e-7)


@given(networks())
def test_twice_every_source_is_twice_every_drop_and_current(network: Network) -> None:
    single = solve(network)
    double = solve(replace(network, fixed_v=2.0 * network.fixed_v, source_v=2.0 * network.source_v))
    alive = ~single.floating
    assert np.allclose(double.node_v[alive], 2.0 * single.node_v[alive], rtol=1e-9, atol=1e-9)
    largest = float(np.max(np.abs(single.branch_a), initial=1.0))
    assert np.allclose(double.branch_a, 2.0 * single.branch_a, rtol=1e-9, atol=1e-9 * largest)


@given(networks(whole=True, passive=True), st.data())
def test_a_parallel_resistor_never_lowers_the_total_current(network: Network, data: st.DataObject) -> None:
    # one ideal source against the reference, so that "the total current" is one number
    network = replace(network, fixed_node=np.array([1]), fixed_v=np.array([12.0]))
    twin = data.draw(st.integers(0, network.branch_count - 1))
    ohm = data.draw(st.floats(0.01, 1e4))
    first, second = network.ends[twin].tolist()
    before = held_a(solve(network))[1]
    after = held_a(solve(with_branch(network, first, second, ohm)))[1]
    assert after >= before * (1.0 - 1e-9)


@given(networks(), st.permutations(range(10)))
def test_new_numbers_for_the_nodes_change_the_numbers_only(network: Network, order: list[int]) -> None:
    names = np.array([k for k in order if k < network.node_count])
    renamed = replace(
        network,
        ends=names[network.ends],
        reference=names[network.reference],
        fixed_node=names[network.fixed_node],
    )
    assert np.allclose(solve(renamed).node_v[names], solve(network).node_v, rtol=1e-9, atol=1e-9, equal_nan=True)


@given(networks(), st.data())
def test_turning_a_branch_round_turns_its_current_round(network: Network, data: st.DataObject) -> None:
    branch = data.draw(st.integers(0, network.branch_count - 1))
    ends, source_v = network.ends.copy(), network.source_v.copy()
    ends[branch] = ends[branch, ::-1]
    source_v[branch] *= -1.0
    here = solve(network)
    there = solve(replace(network, ends=ends, source_v=source_v))
    assert there.branch_a[branch] == pytest.approx(-here.branch_a[branch], rel=1e-9, abs=1e-9)
    assert np.allclose(there.node_v, here.node_v, rtol=1e-9, atol=1e-9, equal_nan=True)


# --------------------------------------------------------------------------------------------- floating parts


def test_an_interrupted_ground_leaves_the_ground_pin_at_supply_voltage() -> None:
    solution = solve(battery_and_load().opened([2]))
    assert solution.node_v.tolist() == pytest.approx([0.0, 12.0, 12.0])
    assert floating_nodes(solution) == frozenset()


def test_a_pin_cut_off_on_both_sides_floats_and_has_no_voltage() -> None:
    solution = solve(battery_and_load().opened([1, 2]))
    assert floating_nodes(solution) == frozenset({2})
    assert math.isnan(solution.node_v[2])
    assert solution.node_v[1] == pytest.approx(12.0)


def test_a_floating_island_with_a_battery_of_its_own_keeps_its_currents() -> None:
    network = network_of_resistances(
        4, [(0, 1), (2, 3), (2, 3)], [1.0, 1.0, 5.0], reference=[0], source_v=[0.0, 12.0, 0.0]
    )
    solution = solve(network)
    assert floating_nodes(solution) == frozenset({2, 3})
    assert solution.branch_a.tolist() == pytest.approx([0.0, 2.0, -2.0])
    assert drops_v(solution).tolist() == pytest.approx([0.0, -10.0, -10.0])


def test_without_any_held_node_everything_floats() -> None:
    solution = solve(network_of_resistances(2, [(0, 1)], [1.0], reference=[]))
    assert floating_nodes(solution) == frozenset({0, 1})


def test_a_network_without_branches_is_held_nodes_and_floating_ones() -> None:
    solution = solve(network_of_resistances(3, [], [], reference=[0], fixed_node=[1], fixed_v=[5.0]))
    assert solution.node_v[:2].tolist() == [0.0, 5.0]
    assert floating_nodes(solution) == frozenset({2})


@pytest.mark.parametrize("seed", range(4))
def test_both_ways_of_solving_give_the_same_volts(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    network = vehicle_like_network(300, seed)
    few = solve(network)
    monkeypatch.setattr("tracer.electrics.network.factor.FEW_NODES", 0)
    many = solve(network)
    assert type(few.factor.lu) is not type(many.factor.lu)
    assert many.node_v.tolist() == pytest.approx(few.node_v.tolist(), abs=1e-9)
    assert many.branch_a.tolist() == pytest.approx(few.branch_a.tolist(), rel=1e-6, abs=1e-9)


@given(networks(), st.data())
def test_branches_added_at_once_are_those_added_one_by_one(network: Network, data: st.DataObject) -> None:
    node = st.integers(0, network.node_count - 1)
    added = data.draw(st.lists(st.tuples(node, node, st.floats(0.01, 100.0)), max_size=4))
    one_by_one = network
    for first, second, ohm in added:
        one_by_one = with_branch(one_by_one, first, second, ohm)
    at_once = network.with_branches(
        np.array([(a, b) for a, b, _ in added], dtype=np.intp).reshape(-1, 2), [ohm for _, _, ohm in added]
    )
    for name in ("ends", "conductance_s", "source_v", "closed"):
        assert np.array_equal(getattr(at_once, name), getattr(one_by_one, name))


def test_values_that_are_changed_are_checked_like_those_first_given() -> None:
    network = battery_and_load()
    with pytest.raises(BadResistance, match="branch 1: conductance"):
        network.with_conductances([1.0, 1e6, 1.0])
    with pytest.raises(BadNode, match="conductance_s must have shape"):
        network.with_conductances([1.0])
    with pytest.raises(BadValue, match=r"source_v\[2\] must be a finite number"):
        network.with_conductances([1.0, 1.0, 1.0], [0.0, 0.0, math.inf])
    with pytest.raises(BadNode, match="ends has 3"):
        network.with_branches([(0, 3)], [1.0])
    with pytest.raises(BadNode, match="ends must have shape"):
        network.with_branches([0, 1], [1.0, 1.0])
    with pytest.raises(BadResistance, match="branch 0: resistance must be a positive number"):
        network.with_branches([(0, 1)], [0.0])


# -------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize("ohm", [0.0, -1.0, math.nan, math.inf, 0.9 * LEAST_OHM, 1.1 * MOST_OHM])
def test_a_resistance_that_cannot_be_is_refused_by_number_of_branch(ohm: float) -> None:
    with pytest.raises(BadResistance, match="branch 1: "):
        network_of_resistances(2, [(0, 1), (0, 1)], [1.0, ohm], reference=[0])


@pytest.mark.parametrize("ohm", [LEAST_OHM, MOST_OHM])
def test_a_resistance_at_the_limit_is_taken(ohm: float) -> None:
    network = network_of_resistances(2, [(0, 1)], [ohm], reference=[0], source_v=[12.0])
    assert solve(network).node_v[1] == pytest.approx(12.0)


@pytest.mark.parametrize("siemens", [0.0, -1.0, math.nan, math.inf])
def test_a_conductance_that_cannot_be_is_refused(siemens: float) -> None:
    with pytest.raises(BadResistance):
        Network(2, np.array([[0, 1]]), np.array([siemens]), np.array([0]))


def test_a_node_outside_the_network_is_refused() -> None:
    with pytest.raises(BadNode, match="ends has 2, which is not within 0 to 1"):
        network_of_resistances(2, [(0, 2)], [1.0], reference=[0])


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: one_branch(source_v=[1.0, 2.0]), r"source_v must have shape \(1,\), not \(2,\)"),
        (lambda: one_branch(closed=[True, False]), "closed must have one entry for each of 1 branches"),
        (lambda: one_branch(fixed_node=[1]), r"fixed_v must have shape \(1,\), not \(0,\)"),
        (lambda: one_branch(fixed_node=[0.5], fixed_v=[1.0]), "fixed_node must be a row of whole numbers"),
        (lambda: one_branch(ends=[(0, 0.5)]), "ends must be a row of whole numbers"),
        (lambda: one_branch(ends=[0, 1]), r"ends must have shape \(m, 2\), not \(2,\)"),
        (lambda: one_branch(ends=[(0, 1), (1, 0)]), r"conductance_s must have shape \(2,\), not \(1,\)"),
        (lambda: network_of_resistances(0, [], [], reference=[]), "at least one node"),
    ],
)
def test_an_array_that_does_not_fit_is_refused(make: Callable[[], Network], text: str) -> None:
    with pytest.raises(BadNode, match=text):
        make()


def one_branch(
    ends: npt.ArrayLike = ((0, 1),),
    fixed_node: npt.ArrayLike = (),
    fixed_v: npt.ArrayLike = (),
    source_v: npt.ArrayLike = (),
    closed: npt.ArrayLike = (),
) -> Network:
    return network_of_resistances(
        2,
        ends,
        [1.0],
        reference=[0],
        fixed_node=fixed_node,
        fixed_v=fixed_v,
        source_v=source_v,
        closed=closed,
    )


def test_a_voltage_that_is_no_number_is_refused() -> None:
    with pytest.raises(BadValue, match=r"source_v\[0\] must be a finite number, not nan"):
        network_of_resistances(2, [(0, 1)], [1.0], reference=[0], source_v=[math.nan])


@pytest.mark.parametrize(("fixed", "volts"), [([0], [12.0]), ([1, 1], [12.0, 5.0])])
def test_a_node_held_twice_is_refused(fixed: list[int], volts: list[float]) -> None:
    with pytest.raises(FixedTwice, match="held at a voltage more than once"):
        network_of_resistances(2, [(0, 1)], [1.0], reference=[0], fixed_node=fixed, fixed_v=volts)


def test_arrays_of_a_network_cannot_be_changed_and_its_givers_arrays_are_not() -> None:
    ohm = np.array([1.0, 2.0])
    network = network_of_resistances(2, [(0, 1), (0, 1)], ohm, reference=[0])
    ohm[0] = 5.0
    assert network.conductance_s.tolist() == [1.0, 0.5]
    with pytest.raises(ValueError, match="read-only"):
        network.conductance_s[0] = 3.0
