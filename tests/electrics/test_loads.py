"""Loads that are no resistors: closed forms, bisection, and supplies that cannot carry them."""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.electrics.slow import floating_nodes, kirchhoff_error_a, loaded, networks, powers_w
from tracer.electrics.network.described import (
    LEAST_OHM,
    MOST_OHM,
    BadNode,
    BadValue,
    FloatArray,
    Network,
    network_of_resistances,
)
from tracer.electrics.network.linear import limit_of_correction_v, solve
from tracer.electrics.network.load_laws import ConstantCurrent, ConstantPower, FilamentLamp, Load, LoadLaws
from tracer.electrics.network.reduced import Block, Flows, Plan, with_loads_at_rest
from tracer.electrics.network.with_loads import NoConvergence, solve_with_loads


def feed(source_v: float = 12.6, feed_ohm: float = 0.5) -> Network:
    """A battery on node 1 and a feed wire to node 2; the load sits between node 2 and node 0."""
    return network_of_resistances(3, [(0, 1), (1, 2)], [0.01, feed_ohm], reference=[0], source_v=[source_v, 0.0])


def by_bisection(mismatch: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that rises from minus to plus passes zero."""
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if mismatch(middle) < 0 else (low, middle)
    return (low + high) / 2


@given(st.floats(9.0, 30.0), st.floats(0.05, 5.0), st.floats(0.01, 0.98))
def test_a_constant_power_load_settles_at_the_upper_root(source_v: float, feed_ohm: float, share: float) -> None:
    ohm = feed_ohm + 0.01
    power_w = share * source_v**2 / (4 * ohm)
    found = loaded(feed(source_v, feed_ohm), [ConstantPower(2, 0, power_w)])
    # v (E - v) / R = P
    expected_v = (source_v + math.sqrt(source_v**2 - 4 * ohm * power_w)) / 2
    assert found.load_v[0] == pytest.approx(expected_v, abs=1e-4)
    assert found.load_w[0] == pytest.approx(power_w, rel=1e-4)


def test_more_power_than_the_feed_can_give_is_reported_with_what_it_can_give() -> None:
    # at most E^2 / 4R = 12.6^2 / 2.04 = 77.8 W
    with pytest.raises(NoConvergence, match=r"load 0 asks for 80 W where at most 77\.8 W can be had") as caught:
        solve_with_loads(feed(), [ConstantPower(2, 0, 80.0)])
    assert caught.value.loads == (0,)


@pytest.mark.parametrize(("power_w", "carried"), [(77.8, True), (77.83, False)])
def test_just_below_and_just_above_the_most_power_of_a_feed(power_w: float, carried: bool) -> None:
    # 12.6^2 / (4 x 0.51) = 77.8235 W
    if carried:
        assert loaded(feed(), [ConstantPower(2, 0, power_w)]).load_w[0] == pytest.approx(power_w, rel=1e-3)
    else:
        with pytest.raises(NoConvergence):
            solve_with_loads(feed(), [ConstantPower(2, 0, power_w)])


def test_two_loads_that_are_too_much_only_together_are_reported() -> None:
    loads = [ConstantPower(2, 0, 50.0), ConstantPower(2, 0, 50.0)]
    assert loaded(feed(), loads[:1]).load_w[0] == pytest.approx(50.0, rel=1e-4)
    with pytest.raises(NoConvergence, match="cannot be supplied"):
        solve_with_loads(feed(), loads)


def test_a_module_that_cannot_be_carried_gives_up_and_becomes_a_resistor() -> None:
    # 8 ohm of feed allow 12.6^2 / 32.04 = 4.96 W; 10 W down to 6 V is 3.6 ohm below
    found = loaded(feed(feed_ohm=8.0), [ConstantPower(2, 0, 10.0, least_v=6.0)])
    assert found.load_v[0] == pytest.approx(12.6 * 3.6 / (3.6 + 8.01))


def test_a_module_that_recovers_as_soon_as_it_gives_up_has_no_steady_state() -> None:
    # at 11.9 V the full draw pulls it below; at the resistance below, the voltage is above again
    class Hungry(ConstantPower):
        """Draws ten times as much above its least voltage as just below."""

        def current_a(self, drop_v: float) -> float:
            return super().current_a(drop_v) * (10.0 if drop_v > self.least_v else 1.0)

        def slope_s(self, drop_v: float) -> float:
            return super().slope_s(drop_v) * (10.0 if drop_v > self.least_v else 1.0)

    with pytest.raises(NoConvergence, match="no steady state: load"):
        solve_with_loads(feed(), [Hungry(2, 0, 10.0, least_v=11.0)])


def test_an_open_ground_pulls_the_ground_pin_of_a_module_up_to_supply() -> None:
    network = network_of_resistances(
        4, [(0, 1), (1, 2), (3, 0)], [0.01, 0.1, 0.1], reference=[0], source_v=[12.6, 0.0, 0.0]
    )
    module = ConstantPower(2, 3, 10.0, least_v=6.0)
    working = loaded(network, [module])
    assert working.load_w[0] == pytest.approx(10.0, rel=1e-4)
    open_ground = loaded(network.opened([2]), [module])
    assert open_ground.solution.node_v[3] == pytest.approx(12.6, abs=1e-6)
    assert open_ground.load_a[0] == pytest.approx(0.0, abs=1e-9)
    assert floating_nodes(open_ground.solution) == frozenset()


@pytest.mark.parametrize("load", [ConstantPower(2, 3, 10.0), ConstantCurrent(2, 3, 1.0)])
def test_a_load_that_never_gives_up_cannot_have_an_open_ground(load: Load) -> None:
    network = network_of_resistances(
        4, [(0, 1), (1, 2), (3, 0)], [0.01, 0.1, 0.1], reference=[0], source_v=[12.6, 0.0, 0.0]
    )
    with pytest.raises(NoConvergence, match="cannot be supplied"):
        solve_with_loads(network.opened([2]), [load])


def test_a_constant_power_load_without_any_supply_is_reported() -> None:
    with pytest.raises(NoConvergence, match="at most 0 W can be had"):
        solve_with_loads(feed(source_v=0.0), [ConstantPower(2, 0, 5.0)])


def test_a_constant_current_draws_its_current() -> None:
    found = loaded(feed(), [ConstantCurrent(2, 0, 2.0)])
    assert found.load_a[0] == pytest.approx(2.0)
    assert found.load_v[0] == pytest.approx(12.6 - 2.0 * 0.51)


def test_a_constant_current_beyond_the_short_circuit_current_is_reported() -> None:
    # 12.6 V / 0.51 ohm = 24.7 A
    assert loaded(feed(), [ConstantCurrent(2, 0, 24.0)]).load_a[0] == pytest.approx(24.0)
    with pytest.raises(NoConvergence, match="voltage of the wrong sign"):
        solve_with_loads(feed(), [ConstantCurrent(2, 0, 25.0)])


def test_a_lamp_at_its_rated_voltage_takes_its_rated_power() -> None:
    lamp = FilamentLamp(1, 0, rated_v=12.0, rated_w=21.0)
    network = network_of_resistances(2, [], [], reference=[0], fixed_node=[1], fixed_v=[12.0])
    found = loaded(network, [lamp])
    assert found.load_w[0] == pytest.approx(21.0)
    assert lamp.hot_ohm == pytest.approx(12.0**2 / 21.0)


@given(st.floats(0.001, 30.0), st.floats(0.01, 100.0))
def test_a_lamp_behind_a_resistance_settles_where_bisection_finds_it(source_v: float, feed_ohm: float) -> None:
    lamp = FilamentLamp(2, 0, rated_v=12.0, rated_w=21.0)
    found = loaded(feed(source_v, feed_ohm), [lamp])
    expected_v = by_bisection(lambda v: v - source_v + (feed_ohm + 0.01) * lamp.current_a(v), 0.0, source_v)
    assert found.load_v[0] == pytest.approx(expected_v, abs=2e-6)


def test_a_cold_lamp_is_a_tenth_of_the_hot_resistance_and_the_curve_has_no_step() -> None:
    lamp = FilamentLamp(1, 0, rated_v=12.0, rated_w=5.0)
    assert 0.001 / lamp.current_a(0.001) == pytest.approx(lamp.hot_ohm / 10)
    volts = np.linspace(-13.0, 13.0, 20001)
    current = np.array([lamp.current_a(float(v)) for v in volts])
    assert np.all(np.diff(current) > 0)
    assert np.max(np.diff(current)) < 0.0014 / (lamp.hot_ohm / 10)
    slope = np.array([lamp.slope_s(float(v)) for v in volts])
    hot = np.abs(volts) > 0.1
    assert np.allclose(np.gradient(current, volts)[hot][1:-1], slope[hot][1:-1], rtol=0.02)


def test_two_lamps_in_series_share_the_voltage_as_equals() -> None:
    network = network_of_resistances(3, [(0, 1)], [1e-3], reference=[0], source_v=[24.0])
    lamps = [FilamentLamp(1, 2, 12.0, 5.0), FilamentLamp(2, 0, 12.0, 5.0)]
    found = loaded(network, lamps)
    assert found.load_v.tolist() == pytest.approx([12.0, 12.0], abs=1e-3)


@given(networks(whole=True), st.data())
def test_mixed_loads_satisfy_their_own_laws_and_kirchhoff(network: Network, data: st.DataObject) -> None:
    node = st.integers(0, network.node_count - 1)
    any_load = st.one_of(
        st.builds(ConstantPower, node, node, st.floats(0.1, 60.0), st.just(6.0)),
        st.builds(ConstantCurrent, node, node, st.floats(0.01, 3.0), st.just(4.0)),
        st.builds(FilamentLamp, node, node, st.just(12.0), st.sampled_from([5.0, 21.0, 55.0])),
    )
    loads: list[Load] = data.draw(st.lists(any_load, min_size=1, max_size=5))
    try:
        found = loaded(network, loads)
    except NoConvergence as refusal:
        # allowed, but never without a culprit; electronic loads alone can do it
        assert refusal.loads
        assert any(load.least_v > 0 for load in loads)
        return
    for k, load in enumerate(loads):
        expected_a = load.current_a(float(found.load_v[k]))
        assert found.load_a[k] == pytest.approx(expected_a, rel=1e-3, abs=1e-5)
    largest_a = float(np.max(np.abs(found.solution.branch_a)))
    assert kirchhoff_error_a(found.solution.network, found.solution.branch_a) <= 1e-8 * max(1.0, largest_a)


def test_without_loads_it_is_the_plain_solve() -> None:
    network = feed()
    found = loaded(network, [])
    assert found.solution.node_v.tolist() == solve(network).node_v.tolist()
    assert found.load_v.size == 0


def test_forty_loads_along_a_chain_add_up() -> None:
    ends = [(0, 1)] + [(k, k + 1) for k in range(1, 41)]
    network = network_of_resistances(42, ends, [0.01] * 41, reference=[0], source_v=[13.8] + [0.0] * 40)
    loads = [ConstantPower(k, 0, 5.0) for k in range(2, 42)]
    found = loaded(network, loads)
    assert found.load_w.sum() == pytest.approx(200.0, rel=1e-5)
    given_w, heat_w = powers_w(found.solution)
    assert given_w == pytest.approx(heat_w)


@pytest.mark.parametrize(
    "make",
    [
        lambda: ConstantPower(0, 1, 0.0),
        lambda: ConstantPower(0, 1, math.nan),
        lambda: ConstantCurrent(0, 1, 1.0, least_v=-1.0),
        lambda: FilamentLamp(0, 1, 0.0, 21.0),
        lambda: FilamentLamp(0, 1, 12.0, 21.0, exponent=1.5),
    ],
)
def test_a_load_that_cannot_be_is_refused(make: Callable[[], Load]) -> None:
    with pytest.raises(BadValue):
        make()


def test_a_load_on_a_node_that_is_not_there_is_refused() -> None:
    with pytest.raises(BadNode, match="load 0 has 7"):
        solve_with_loads(feed(), [ConstantPower(7, 0, 1.0)])


# ---------------------------------------------------------------------------- the way for many settings at once

TwoPieces = ConstantPower | ConstantCurrent | FilamentLamp
ONE_OF_EACH: list[TwoPieces] = [
    ConstantPower(2, 0, 10.0, least_v=6.0),
    ConstantCurrent(2, 0, 2.0, least_v=4.0),
    FilamentLamp(2, 0, 12.0, 21.0),
]


def settled(network: Network, loads: list[TwoPieces], drop_v: list[float] | None = None) -> FloatArray | None:
    """(n,) volts, from those given across the loads or from the loads as resistors of 10 ohm; None where that is no state of rest. Nothing but node 0 is held."""
    load_ends = np.array([(load.first, load.second) for load in loads], dtype=np.intp).reshape(-1, 2)
    ends = np.concatenate([network.ends, load_ends])
    nowhere = np.empty(0, dtype=np.intp)
    block = Block(
        Plan(ends, network.branch_count, 0, network.node_count, [], nowhere),
        network.conductance_s[:, np.newaxis],
        np.empty((0, 1)),
    )
    laws = LoadLaws.of(load.law for load in loads)
    column = LoadLaws(
        *(np.asarray(one)[:, np.newaxis] for one in (laws.amount, laws.exponent, laws.knee_v, laws.low_s))
    )
    pushed_a = network.conductance_s * network.source_v
    block.push(Flows(network.ends, network.node_count).surplus_a(pushed_a[:, np.newaxis]))
    if drop_v is None:
        across_v = block.drop_v(block.late_v(block.with_loads(np.full((len(loads), 1), 0.1))))
    else:
        across_v = np.array(drop_v)[:, np.newaxis]
    late, late_v = with_loads_at_rest(block, column, across_v)
    potential_v = block.whole_v(late_v)
    through_v = potential_v[ends[:, 0]] - potential_v[ends[:, 1]]
    plain = network.branch_count
    own_a = network.conductance_s * (through_v[:plain, 0] + network.source_v)
    branch_a = np.concatenate([own_a[:, np.newaxis], column.current_a(through_v[plain:])])
    moved_v = block.answer(late, Flows(ends, network.node_count).surplus_a(branch_a))
    rests = np.max(np.abs(moved_v)) <= limit_of_correction_v(branch_a[:, 0])
    return potential_v[:, 0] if rests else None


@pytest.mark.parametrize("volts", [-13.0, -6.0, -3.0, -1e-3, 0.0, 1e-3, 0.05, 3.99, 4.0, 5.99, 6.0, 12.6, 30.0])
def test_the_laws_as_arrays_are_the_loads_by_themselves(volts: float) -> None:
    laws = LoadLaws.of(load.law for load in ONE_OF_EACH)
    drop_v = np.full(3, volts)
    assert laws.current_a(drop_v).tolist() == pytest.approx([load.current_a(volts) for load in ONE_OF_EACH])
    assert laws.slope_s(drop_v).tolist() == pytest.approx([load.slope_s(volts) for load in ONE_OF_EACH])
    alike = [load.current_a(volts) / volts if volts else load.slope_s(0.0) for load in ONE_OF_EACH]
    assert laws.resistor_s(drop_v).tolist() == pytest.approx(alike)


def test_a_load_that_never_gives_up_is_refused_by_the_way_for_many() -> None:
    with pytest.raises(BadValue, match="never gives up"):
        settled(feed(), [ConstantPower(2, 0, 10.0)], [12.0])


@given(networks(whole=True), st.data())
def test_the_way_for_many_finds_a_state_of_rest_or_says_nothing(network: Network, data: st.DataObject) -> None:
    network = replace(network, fixed_node=np.empty(0, dtype=np.intp), fixed_v=np.empty(0))
    node = st.integers(0, network.node_count - 1)
    any_load = st.one_of(
        st.builds(ConstantPower, node, node, st.floats(0.1, 60.0), st.just(6.0)),
        st.builds(ConstantCurrent, node, node, st.floats(0.01, 3.0), st.just(4.0)),
        st.builds(FilamentLamp, node, node, st.just(12.0), st.sampled_from([5.0, 21.0, 55.0])),
    )
    loads: list[TwoPieces] = data.draw(st.lists(any_load, min_size=1, max_size=5))
    found_v = settled(network, loads)
    if found_v is None:
        return
    # whatever it finds is a state of rest: with every load as the resistor it amounts to there, nothing moves. (Put in
    # as currents they would say less: the last digits of an ampere make volts of a megohm.)
    ohm = []
    for load in loads:
        volts = float(found_v[load.first] - found_v[load.second])
        ohm.append(volts / load.current_a(volts) if volts else 1.0 / load.slope_s(0.0))
    resistors = network.with_branches([(load.first, load.second) for load in loads], np.clip(ohm, LEAST_OHM, MOST_OHM))
    assert np.allclose(solve(resistors).node_v, found_v, rtol=1e-6, atol=2e-6)


def test_the_way_for_many_finds_lamps_and_currents_at_rest() -> None:
    loads: list[TwoPieces] = [FilamentLamp(2, 0, 12.0, 21.0), ConstantCurrent(1, 0, 2.0, 4.0)]
    careful = solve_with_loads(feed(), loads)
    found_v = settled(feed(), loads)
    assert found_v is not None
    assert found_v.tolist() == pytest.approx(careful.node_v.tolist(), abs=1e-6)


@given(st.floats(9.0, 30.0), st.floats(0.05, 5.0), st.floats(0.01, 0.9))
def test_the_way_for_many_settles_at_the_upper_root(source_v: float, feed_ohm: float, share: float) -> None:
    ohm = feed_ohm + 0.01
    power_w = share * source_v**2 / (4 * ohm)
    # v (E - v) / R = P, as above; the load gives up below a tenth of the supply
    expected_v = (source_v + math.sqrt(source_v**2 - 4 * ohm * power_w)) / 2
    found_v = settled(feed(source_v, feed_ohm), [ConstantPower(2, 0, power_w, source_v / 10)], [source_v])
    assert found_v is not None
    assert found_v[2] == pytest.approx(expected_v, abs=1e-7)


def test_the_lower_operating_point_is_no_rest_even_if_started_there() -> None:
    # 60 W behind 0.51 ohm: the roots are (12.6 -+ sqrt(12.6^2 - 4 * 0.51 * 60)) / 2 = 3.29 and 9.31 V
    lower_v, upper_v = ((12.6 + sign * math.sqrt(12.6**2 - 4 * 0.51 * 60.0)) / 2 for sign in (-1, 1))
    load = ConstantPower(2, 0, 60.0, least_v=1.0)
    for started_v in (lower_v - 1e-6, lower_v + 1e-6):
        found_v = settled(feed(), [load], [started_v])
        assert found_v is None or found_v[2] != pytest.approx(lower_v, abs=0.1)  # a step leads away
    found_v = settled(feed(), [load], [upper_v + 0.01])
    assert found_v is not None
    assert found_v[2] == pytest.approx(upper_v, abs=1e-6)


def test_more_than_the_feed_can_give_is_never_called_rest_above_the_least_voltage() -> None:
    found_v = settled(feed(feed_ohm=8.0), [ConstantPower(2, 0, 10.0, least_v=6.0)], [12.0])
    # 8 ohm of feed cannot carry 10 W: only as the resistor it is below 6 V (3.6 ohm) can it rest
    assert found_v is not None
    assert found_v[2] == pytest.approx(12.6 * 3.6 / (3.6 + 8.01))
