"""Worked DC circuits of two open textbooks, each number with the book's own rounding as its tolerance.

[LEC] Tony R. Kuphaldt, "Lessons In Electric Circuits, Volume I - DC" (Design Science License), chapters 7, 10
and 12, as in the copy github.com/vikdotdev/lessons-in-electric-circuits, commit 12a44f4b.
[UP2] OpenStax, "University Physics Volume 2" (S. J. Ling, J. Sanny, W. Moebs; CC BY 4.0), chapter
Direct-Current Circuits, section Kirchhoff's Rules, as in github.com/openstax/osbooks-university-physics-bundle,
module m58455, commit 03b0f3e2. Authors' names of [UP2] from memory.

Only numbers are taken. An element is (name, plus node, minus node, value); sources are ideal; a resistor's
current is positive from its first node to its second. [LEC] counts electron flow in places, turned round here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from tests.electrics.slow import drops_v, held_a, powers_w, with_added_ohm, with_branch
from tracer.electrics.network.described import Network, network_of_resistances
from tracer.electrics.network.linear import Solution, solve

Element = tuple[str, str, str, float]


@dataclass(frozen=True)
class Example:
    """One worked circuit.

    `volts` are node voltages against node 0, `drops` and `amps` those of resistors, `sources` currents out of
    the plus pole of voltage sources.
    """

    name: str
    section: str
    elements: tuple[Element, ...]
    volts: dict[str, float]
    drops: dict[str, float]
    amps: dict[str, float]
    sources: dict[str, float]
    tolerance_v: float = 0.005
    tolerance_a: float = 0.005


EXAMPLES = [
    Example(
        "two sources, three branches",
        "[LEC] chapter 10, Branch current method",
        (("V1", "1", "0", 28), ("V2", "3", "0", 7), ("R1", "1", "2", 4), ("R2", "2", "0", 2), ("R3", "2", "3", 1)),
        volts={"2": 8.0},
        drops={"R1": 20.0, "R2": 8.0, "R3": 1.0},
        amps={"R1": 5.0, "R2": 4.0, "R3": 1.0},
        # current is pushed backwards through the weaker source
        sources={"V1": 5.0, "V2": -1.0},
    ),
    Example(
        "unbalanced bridge",
        "[LEC] chapter 10, Mesh current method, and again under Node voltage method",
        (
            ("V1", "1", "0", 24),
            ("R1", "1", "2", 150),
            ("R2", "1", "3", 50),
            ("R3", "2", "3", 100),
            ("R4", "2", "0", 300),
            ("R5", "3", "0", 250),
        ),
        volts={"2": 17.655, "3": 19.310},
        drops={"R1": 6.345, "R2": 4.690, "R3": -1.655},
        amps={"R1": 0.042299, "R2": 0.093793, "R3": -0.016552, "R4": 0.058851, "R5": 0.077241},
        sources={"V1": 0.136092},
        tolerance_v=0.0005,
        tolerance_a=0.0000005,
    ),
    Example(
        "two sources of opposite sign",
        "[LEC] chapter 10, Node voltage method",
        (
            ("V1", "11", "0", 10),
            ("V2", "22", "0", -4),
            ("R1", "11", "1", 2),
            ("R2", "1", "0", 4),
            ("R3", "1", "2", 2.5),
            ("R4", "2", "0", 5),
            ("R5", "2", "22", 1),
        ),
        volts={"1": 3.809524, "2": -1.547619},
        drops={},
        amps={},
        sources={},
        tolerance_v=0.0000005,
    ),
    Example(
        "bridge of the delta-wye conversion",
        "[LEC] chapter 10, Delta-wye and wye-delta conversions",
        (
            ("V1", "1", "0", 10),
            ("R1", "1", "2", 12),
            ("R2", "1", "3", 18),
            ("R3", "2", "3", 6),
            ("R4", "2", "0", 18),
            ("R5", "3", "0", 12),
        ),
        volts={"2": 5.294, "3": 4.706},
        # the drop of R3 is printed to four figures; its own tolerance is tried below
        drops={"R1": 4.706, "R2": 5.294, "R3": 0.5882},
        amps={},
        sources={},
        tolerance_v=0.0005,
    ),
    Example(
        "series-parallel",
        "[LEC] chapter 7, analysis of a series-parallel combination (title of the section from memory)",
        (
            ("V1", "1", "0", 24),
            ("R1", "1", "4", 100),
            ("R2", "1", "4", 250),
            ("R3", "4", "0", 350),
            ("R4", "4", "0", 200),
        ),
        volts={"4": 15.37},
        drops={"R1": 8.627},
        amps={"R1": 0.08627, "R2": 0.03451, "R3": 0.04392, "R4": 0.07686},
        sources={},
        tolerance_a=0.000005,
    ),
    Example(
        "load with resistance in feed and return wire, 20 °C",
        "[LEC] chapter 12, Temperature coefficient of resistance",
        (("V1", "1", "0", 14), ("R1", "1", "2", 15), ("R2", "2", "3", 250), ("R3", "3", "0", 15)),
        # the node voltages are sums of the printed drops
        volts={"2": 13.25, "3": 0.75},
        drops={"R1": 0.75, "R2": 12.5, "R3": 0.75},
        amps={"R1": 0.050, "R2": 0.050, "R3": 0.050},
        sources={"V1": 0.050},
        tolerance_a=0.0005,
    ),
    Example(
        "the same with both wires at 35 °C",
        "[LEC] chapter 12, Temperature coefficient of resistance (coefficient 0.004041 per K)",
        (("V1", "1", "0", 14), ("R1", "1", "2", 15.909), ("R2", "2", "3", 250), ("R3", "3", "0", 15.909)),
        volts={},
        drops={"R1": 0.79, "R2": 12.42, "R3": 0.79},
        amps={"R1": 0.049677, "R2": 0.049677, "R3": 0.049677},
        sources={"V1": 0.049677},
        tolerance_a=0.0000005,
    ),
    Example(
        "two sources, three branches in letters",
        "[UP2] Kirchhoff's Rules, Applying Kirchhoff's Rules (reference is the book's point e)",
        (
            ("V1", "a", "0", 24),
            ("R1", "a", "b", 3),
            ("R2", "b", "0", 3),
            ("R3", "b", "c", 3),
            ("R4", "c", "d", 4),
            ("V2", "d", "0", 29),
        ),
        # the node voltages are computed from the printed currents
        volts={"b": 15.0, "c": 21.0},
        drops={},
        amps={"R1": 3.00, "R2": 5.00, "R3": -2.00, "R4": -2.00},
        sources={"V1": 3.00, "V2": 2.00},
    ),
    Example(
        "three sources, six resistors",
        "[UP2] Kirchhoff's Rules, first example Calculating Current by Using Kirchhoff's Rules",
        (
            ("V1", "p", "0", 0.5),
            # the picture's text gives 3 ohm; the equations and the list of powers need 1 ohm
            ("R1", "p", "q", 1),
            ("R4", "q", "c", 2),
            ("V3", "r", "0", 2.3),
            ("R5", "r", "s", 1),
            ("R6", "s", "t", 2),
            ("R2", "t", "c", 5),
            ("V2", "0", "u", 0.6),
            ("R3", "c", "u", 1),
        ),
        volts={"c": -0.1},
        drops={},
        amps={"R1": 0.20, "R2": 0.30, "R3": 0.50},
        sources={"V1": 0.20, "V3": 0.30, "V2": 0.50},
    ),
    Example(
        "one loop, two opposed sources",
        "[UP2] Kirchhoff's Rules, second example Calculating Current by Using Kirchhoff's Rules",
        # the printed division shows 10 + 30 + 10 ohm; the stated result and the powers need 10 + 30 + 20 ohm
        (("V2", "a", "0", 24), ("R3", "a", "b", 20), ("R1", "b", "c", 10), ("V1", "c", "d", 12), ("R2", "d", "0", 30)),
        volts={},
        drops={},
        amps={"R1": 0.20, "R2": 0.20, "R3": 0.20},
        sources={"V2": 0.20},
    ),
    Example(
        "series",
        "[UP2] Kirchhoff's Rules, Kirchhoff's Second Rule",
        (("V1", "1", "0", 12), ("R1", "1", "2", 1), ("R2", "2", "3", 2), ("R3", "3", "0", 3)),
        volts={},
        drops={},
        amps={"R1": 2.00, "R2": 2.00, "R3": 2.00},
        sources={"V1": 2.00},
    ),
]
THEVENIN: tuple[Element, ...] = (
    ("V1", "1", "0", 28),
    ("V2", "3", "0", 7),
    ("R1", "1", "2", 4),
    ("R3", "2", "3", 1),
)


@dataclass(frozen=True, eq=False)
class Drawn:
    """An example as arrays, with the way back from names to numbers."""

    network: Network
    nodes: list[str]
    resistors: list[str]
    held_by: dict[str, tuple[str, float]]

    def drop_v(self, solution: Solution, name: str) -> float:
        # a source that stands inside the branch has its own share of the branch's voltage
        branch = self.resistors.index(name)
        return float(drops_v(solution)[branch] + self.network.source_v[branch])


def drawn(elements: tuple[Element, ...]) -> Drawn:
    """Ideal sources on node 0 hold a node; one between two other nodes is moved into the resistor before it."""
    free_source = {first: (second, volts) for name, first, second, volts in elements if name[0] == "V"}
    held_by = {
        name: (first, volts) if second == "0" else (second, -volts)
        for name, first, second, volts in elements
        if name[0] == "V" and "0" in (first, second)
    }
    inside = {plus: to for plus, to in free_source.items() if "0" not in (plus, to[0])}
    resistors = [(n, a, b, r) for n, a, b, r in elements if n[0] == "R"]
    nodes = ["0"]
    for _, first, second, _ in elements:
        nodes += [node for node in (first, second) if node not in nodes and node not in inside]
    ends, source_v = [], []
    for _, first, second, _ in resistors:
        far, against_v = inside.get(second, (second, 0.0))
        ends.append((nodes.index(first), nodes.index(far)))
        source_v.append(-against_v)
    network = network_of_resistances(
        len(nodes),
        ends,
        [ohm for *_, ohm in resistors],
        reference=[0],
        fixed_node=[nodes.index(node) for node, _ in held_by.values()],
        fixed_v=[volts for _, volts in held_by.values()],
        source_v=source_v,
    )
    return Drawn(network, nodes, [name for name, *_ in resistors], held_by)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)
def test_a_worked_circuit_gives_the_printed_answers(example: Example) -> None:
    circuit = drawn(example.elements)
    solution = solve(circuit.network)
    assert example.volts or example.drops or example.amps
    for node, volts in example.volts.items():
        found_v = solution.node_v[circuit.nodes.index(node)]
        assert found_v == pytest.approx(volts, abs=example.tolerance_v), f"{example.section}: node {node}"
    for name, volts in example.drops.items():
        found_v = circuit.drop_v(solution, name)
        assert found_v == pytest.approx(volts, abs=example.tolerance_v), f"{example.section}: drop of {name}"
    for name, amps in example.amps.items():
        found_a = solution.branch_a[circuit.resistors.index(name)]
        assert found_a == pytest.approx(amps, abs=example.tolerance_a), f"{example.section}: current of {name}"
    held = solution.network.held_node.tolist()
    for name, amps in example.sources.items():
        node, volts = circuit.held_by[name]
        out_of_plus = 1.0 if volts == dict((e[0], e[3]) for e in example.elements)[name] else -1.0
        found_a = out_of_plus * held_a(solution)[held.index(circuit.nodes.index(node))]
        assert found_a == pytest.approx(amps, abs=example.tolerance_a), f"{example.section}: current of {name}"
    given_w, heat_w = powers_w(solution)
    assert given_w == pytest.approx(heat_w)


def test_the_small_drop_of_the_delta_wye_bridge_to_its_own_four_figures() -> None:
    circuit = drawn(next(e for e in EXAMPLES if e.name.startswith("bridge of the delta")).elements)
    assert circuit.drop_v(solve(circuit.network), "R3") == pytest.approx(0.5882, abs=0.00005)


def test_thevenin_and_norton_of_the_two_source_network() -> None:
    # [LEC] chapter 10, Thevenin's Theorem and Norton's Theorem: 11.2 V open, 0.8 ohm, 14 A short
    circuit = drawn(THEVENIN)
    solution = solve(circuit.network)
    node = circuit.nodes.index("2")
    assert solution.node_v[node] == pytest.approx(11.2, abs=0.05)
    push = np.zeros(circuit.network.node_count)
    push[node] = 1.0
    assert solution.factor.respond(push)[node] == pytest.approx(0.8, abs=0.05)
    shorted = solve(with_branch(circuit.network, node, 0, 1e-5))
    assert shorted.branch_a[-1] == pytest.approx(14.0, abs=0.05)


def test_an_open_and_a_short_of_the_whole_network() -> None:
    # the network of the Branch current method with R2 open is that of Thevenin's Theorem
    circuit = drawn(EXAMPLES[0].elements)
    node = circuit.nodes.index("2")
    opened = solve(circuit.network.opened([circuit.resistors.index("R2")]))
    assert opened.node_v[node] == pytest.approx(11.2, abs=0.05)
    shorted = solve(with_branch(circuit.network.opened([circuit.resistors.index("R2")]), node, 0, 1e-5))
    assert shorted.branch_a[-1] == pytest.approx(14.0, abs=0.05)


def test_hotter_wires_one_after_the_other() -> None:
    # [LEC] chapter 12: 15 ohm become 15.909 ohm at 35 °C in each wire; 281.82 ohm in all, 49.677 mA
    circuit = drawn(next(e for e in EXAMPLES if "20 °C" in e.name).elements)
    feed, back = circuit.resistors.index("R1"), circuit.resistors.index("R3")
    both = solve(with_added_ohm(with_added_ohm(circuit.network, feed, 0.909), back, 0.909))
    load_v = both.node_v[circuit.nodes.index("2")] - both.node_v[circuit.nodes.index("3")]
    assert load_v == pytest.approx(12.42, abs=0.005)
    assert load_v / 250 == pytest.approx(0.049677, abs=0.0000005)
    assert 14.0 / held_a(both)[1] == pytest.approx(281.82, abs=0.005)


@pytest.mark.parametrize(
    ("name", "resistor_w", "tolerance_w"),
    [
        # [UP2]: 130 W from the sources, 130 W in the resistors
        ("two sources, three branches in letters", 130.0, 0.5),
        # [UP2]: 1.09 W in all
        ("three sources, six resistors", 1.09, 0.005),
        # [UP2]: 0.40 + 1.20 + 0.80 W in the resistors; the source that is being charged takes 2.40 of 4.80 W
        ("one loop, two opposed sources", 2.40, 0.005),
    ],
)
def test_printed_powers(name: str, resistor_w: float, tolerance_w: float) -> None:
    circuit = drawn(next(e for e in EXAMPLES if e.name == name).elements)
    given_w, heat_w = powers_w(solve(circuit.network))
    assert heat_w == pytest.approx(resistor_w, abs=tolerance_w)
    assert given_w == pytest.approx(resistor_w, abs=tolerance_w)


def test_printed_powers_of_the_charging_loop_one_by_one() -> None:
    # [UP2], second example: 0.40, 1.20, 0.80 W; 4.80 W delivered by V2, 2.40 W absorbed by V1
    circuit = drawn(next(e for e in EXAMPLES if e.name.startswith("one loop")).elements)
    solution = solve(circuit.network)
    watts = solution.branch_a**2 / solution.network.conductance_s
    by_name = dict(zip(circuit.resistors, watts.tolist(), strict=True))
    assert by_name == pytest.approx({"R1": 0.40, "R2": 1.20, "R3": 0.80}, abs=0.005)
    assert held_a(solution)[1] * 24.0 == pytest.approx(4.80, abs=0.005)
    assert np.sum(solution.network.source_v * solution.branch_a) == pytest.approx(-2.40, abs=0.005)
