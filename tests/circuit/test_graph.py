"""The circuit as a networkx graph; floods, shortest ways and nets against networkx (a general library), on the demo and on random vehicles."""

from __future__ import annotations

from pathlib import Path

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tests.trace import drawn
from tracer.circuit.flood import flood, lead_back, shortest_way, walk
from tracer.circuit.kinds import CONDUCTORS, INSIDE_MODULE, LINKS, Link, LinkKind
from tracer.circuit.model import Circuit
from tracer.circuit.nets import Nets

DEMO = Path(__file__).parents[2] / "circuits" / "minibus"


@pytest.fixture(scope="module")
def demo() -> Circuit:
    return tracer.load(DEMO)


def test_it_holds_every_node_and_link(demo: Circuit) -> None:
    graph = demo.graph
    assert graph is demo.graph, "made once"
    assert (graph.number_of_nodes(), graph.number_of_edges()) == (len(demo.node_names), len(demo.links))
    for a, b, number, data in graph.edges(keys=True, data=True):
        link = demo.links[number]
        assert {graph.nodes[a]["number"], graph.nodes[b]["number"]} == {link.a, link.b}
        assert graph.nodes[data["a"]]["number"] == link.a and graph.nodes[data["b"]]["number"] == link.b
        assert data["kind"] == link.kind.name.lower().replace("_", " ") and data["part"] == link.part
        assert bool(data["wire"]) is (link.kind is LinkKind.WIRE) is bool(data["line"])
    assert graph.nodes["F9.load"] == {**graph.nodes["F9.load"], "part": "F9", "kind": "fuse", "pin": "load"}
    assert graph.nodes["F9.load"]["at"], "a position sits where its panel sits"


def test_nodes_of_one_name_stay_apart(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text("sheet: 1\nparts: {S1: splice}\nruns:\n- S1 -- RD 1 -- ?\n- S1 -- RD 1 -- ?\n", encoding="utf-8")  # fmt: skip
    graph = tracer.load(tmp_path).graph
    assert sorted(graph) == ["? [1]", "? [2]", "S1"]
    assert graph.degree("S1") == 2


def numbered(circuit: Circuit, kinds: frozenset[LinkKind]) -> networkx.MultiGraph:
    graph = networkx.MultiGraph()
    graph.add_nodes_from(range(len(circuit.node_names)))
    graph.add_edges_from((link.a, link.b, n) for n, link in enumerate(circuit.links) if link.kind in kinds)
    return graph


SOME_KINDS = st.frozensets(st.sampled_from(sorted(LINKS)), min_size=1)


@given(drawn.runs(), SOME_KINDS, st.data())
def test_a_flood_meets_what_networkx_meets(
    lines: tuple[str, ...], kinds: frozenset[LinkKind], data: st.DataObject
) -> None:
    circuit = drawn.typed(lines)
    nodes = st.sampled_from(range(len(circuit.node_names)))
    starts, stops, barred = (data.draw(st.frozensets(nodes, max_size=3)) for _ in range(3))
    graph = numbered(circuit, kinds)
    graph.remove_nodes_from(barred - starts)
    directed = graph.to_directed()  # a stop is come upon, and not left
    directed.remove_edges_from([*directed.out_edges(stops, keys=True)])
    directed.remove_edges_from([*directed.in_edges(barred, keys=True)])
    expected = set(starts).union(*(networkx.descendants(directed, start) for start in starts))
    met = flood(circuit, starts, kinds, stops=stops, barred=barred)
    assert met.keys() == expected
    assert list(met.items()) == list(walk(circuit, starts, kinds, stops=stops, barred=barred))
    far = networkx.multi_source_dijkstra_path_length(directed, starts) if starts else {}
    assert [far[node] for node in met] == sorted(far.values()), "nearest first"
    for node in met:
        way = lead_back(circuit, met, node)
        assert len(way) == far[node]
        assert (way[-1][1] if way else node) in starts


@given(drawn.runs(), st.data())
def test_a_shortest_way_is_as_short_as_that_of_networkx(lines: tuple[str, ...], data: st.DataObject) -> None:
    circuit = drawn.typed(lines)
    nodes = st.sampled_from(range(len(circuit.node_names)))
    start, goals = data.draw(nodes), data.draw(st.frozensets(nodes, max_size=3))
    graph = numbered(circuit, frozenset(LINKS))
    far = networkx.single_source_shortest_path_length(graph, start)
    way = shortest_way(start, goals, lambda at: ((n, circuit.other(circuit.links[n], at)) for n in circuit.at[at]))
    assert len(way) == min((far[goal] for goal in goals if goal in far), default=0)
    at = start
    for number, before, node in way:
        assert before == at and {before, node} == {circuit.links[number].a, circuit.links[number].b}
        at = node
    assert at in goals or not way


def test_a_link_that_may_not_be_passed_is_not(demo: Circuit) -> None:
    def never(number: int, link: Link, here: int, there: int) -> bool:
        return False

    start = demo.pins_of["ALM"]["4"]
    assert flood(demo, [start], LINKS, passes=never) == {start: -1}
    assert len(flood(demo, [start], LINKS)) > 500


@pytest.mark.parametrize("inside_modules", [True, False])
def test_nets_are_the_components_of_networkx(demo: Circuit, inside_modules: bool) -> None:
    kinds = CONDUCTORS if inside_modules else CONDUCTORS - INSIDE_MODULE
    graph = numbered(demo, kinds)
    graph.remove_edges_from([(link.a, link.b, n) for n, link in enumerate(demo.links) if demo.is_left_open(link)])
    found = {frozenset(net) for net in Nets(demo, inside_modules=inside_modules).members.values()}
    assert found == set(map(frozenset, networkx.connected_components(graph)))
