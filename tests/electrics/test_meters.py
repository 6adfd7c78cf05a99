"""Meter readings against a meter that is drawn into the network as a resistor."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.electrics.slow import networks
from tracer.electrics.meters import reading_at, source_ohm
from tracer.electrics.network.described import BadNode, BadResistance, Network, network_of_resistances
from tracer.electrics.network.linear import solve


@given(networks(), st.sampled_from([10e6, 1e6, 20e3]))
def test_a_reading_is_the_voltage_with_the_meter_drawn_in(network: Network, meter_ohm: float) -> None:
    solution = solve(network)
    for node in range(1, network.node_count):
        if node in solution.floating_nodes:
            continue
        drawn = solve(network.with_branch(node, 0, meter_ohm))
        reading = reading_at(solution, node, meter_ohm)
        assert not reading.floating
        # 100 A going round in a loop leave 1e-14 A of rounding, and a megohm makes 10 nV of that
        assert reading.volts == pytest.approx(float(drawn.node_v[node]), rel=1e-8, abs=1e-6)


def test_a_meter_of_10_megohm_behind_1_megohm_shows_ten_elevenths() -> None:
    network = network_of_resistances(2, [(0, 1)], [1e6], reference=[0], source_v=[12.0])
    reading = reading_at(solve(network), 1)
    assert reading.volts == pytest.approx(12.0 * 10 / 11)
    assert reading.source_ohm == pytest.approx(1e6)


@pytest.mark.parametrize(("series_ohm", "shown_v"), [(1.0, 12.60), (100.0, 12.60), (10e3, 12.59), (100e3, 12.48)])
def test_a_meter_alone_does_not_show_a_bad_feed(series_ohm: float, shown_v: float) -> None:
    # Ohm's law, 12.6 V and a meter of 10 Mohm: the reading hides any resistance of practical size
    network = network_of_resistances(2, [(0, 1)], [series_ohm], reference=[0], source_v=[12.6])
    assert round(reading_at(solve(network), 1).volts, 2) == shown_v


def floating_battery() -> Network:
    """A 6 V battery of 2 ohm between nodes 2 and 3, joined to nothing; node 4 by itself."""
    return network_of_resistances(5, [(0, 1), (2, 3)], [1.0, 2.0], reference=[0], source_v=[12.0, 6.0])


def test_one_lead_on_a_floating_part_reads_nothing_and_says_so() -> None:
    solution = solve(floating_battery())
    for node in (2, 3, 4):
        reading = reading_at(solution, node)
        assert reading.floating
        assert reading.volts == 0.0
        assert reading.source_ohm == math.inf


def test_source_resistance_is_that_of_the_network_with_its_sources_at_rest() -> None:
    network = network_of_resistances(
        4, [(1, 2), (2, 0), (2, 0)], [6.0, 6.0, 6.0], reference=[0], fixed_node=[1], fixed_v=[12.0]
    )
    ohm = source_ohm(solve(network).factor, [0, 1, 2, 3])
    assert ohm.tolist() == pytest.approx([0.0, 0.0, 2.0, math.inf])


def test_many_nodes_at_once_are_the_same_as_one_after_another() -> None:
    ends = [(k, k + 1) for k in range(70)]
    factor = solve(network_of_resistances(71, ends, [1.0] * 70, reference=[0])).factor
    assert np.allclose(source_ohm(factor, np.arange(71)), np.arange(71))


def test_a_hundred_megohm_beside_ten_microhm_is_still_seen_as_such() -> None:
    # 100 Mohm to a chain of 10 microhm links: the factor by itself loses a thousandth of the resistance
    ends = [(0, 1)] + [(k, k + 1) for k in range(1, 8)]
    network = network_of_resistances(9, ends, [1e8] + [1e-5] * 7, reference=[0], source_v=[12.0] + [0.0] * 7)
    solution = solve(network)
    assert reading_at(solution, 8).source_ohm == pytest.approx(1e8, rel=1e-9)
    assert reading_at(solution, 8).volts == pytest.approx(12.0 / 11.0, abs=1e-6)


def test_a_meter_without_resistance_and_a_node_that_is_not_there_are_refused() -> None:
    solution = solve(floating_battery())
    with pytest.raises(BadResistance, match="meter_ohm must be positive"):
        reading_at(solution, 1, 0.0)
    with pytest.raises(BadNode, match="node has 9"):
        reading_at(solution, 9)
