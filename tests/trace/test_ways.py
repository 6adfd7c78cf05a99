"""The ways against brute force: every simple path listed by networkx, on random multigraphs with rings, parallel links and several ends."""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tracer.circuit.model import Link, LinkKind
from tracer.trace.ways.simple import Ways
from tracer.trace.ways.without import WaysWithout

Edges = list[tuple[int, int]]


@st.composite
def circuits(draw: st.DrawFn) -> tuple[int, Edges, list[int]]:
    """Number of nodes, links, and the nodes where a way begins."""
    count = draw(st.integers(2, 8))
    node = st.integers(0, count - 1)
    edges = draw(st.lists(st.tuples(node, node), min_size=1, max_size=12))
    ends = draw(st.lists(node, min_size=1, max_size=3, unique=True))
    return count, edges, ends


def _ways(count: int, edges: Edges, ends: list[int], senses: list[int] | None = None) -> Ways:
    links = [Link(a, b, LinkKind.WIRE, run=number) for number, (a, b) in enumerate(edges)]
    at: list[list[int]] = [[] for _ in range(count)]
    for number, (a, b) in enumerate(edges):
        at[a].append(number)
        if b != a:
            at[b].append(number)
    return Ways(links, at, ends, lambda link: True, frozenset(), lambda link: senses[link.run] if senses else 0)


ROOT = -1  # all ends, taken as one node


def _paths(
    edges: Edges, ends: list[int], target: int, senses: list[int] | None = None
) -> list[list[tuple[int, int, int]]]:
    """Every simple path from the ends to the target, as lists of (from, to, link)."""
    graph = nx.MultiDiGraph()
    graph.add_nodes_from([ROOT, target])
    for number, (a, b) in enumerate(edges):
        here, there = (ROOT if node in ends else node for node in (a, b))
        if here == there:
            continue
        sense = senses[number] if senses else 0
        if sense >= 0:
            graph.add_edge(here, there, key=number)
        if sense <= 0:
            graph.add_edge(there, here, key=number)
    return list(nx.all_simple_edge_paths(graph, ROOT, target))


@given(circuits())
@example((2, [(0, 1), (0, 1)], [0]))
@example((3, [(0, 1), (1, 1), (1, 2)], [0]))
@example((3, [(0, 1), (1, 2), (0, 2)], [0, 2]))
def test_the_links_on_the_ways_are_those_on_some_simple_path(drawn: tuple[int, Edges, list[int]]) -> None:
    count, edges, ends = drawn
    ways = _ways(count, edges, ends)
    for target in range(count):
        if target in ends:
            assert ways.to(target) is None
            assert ways.reached(target)
            continue
        paths = _paths(edges, ends, target)
        way = ways.to(target)
        assert ways.reached(target) == bool(paths)
        assert (way is not None) == bool(paths)
        if way is None:
            continue
        assert way.links == {key for path in paths for _, _, key in path}
        assert way.sole_links == set.intersection(*({key for _, _, key in path} for path in paths))
        inner = [{node for a, b, _ in path for node in (a, b) if node != ROOT} for path in paths]
        assert set(way.nodes) - set(ends) == set.union(*inner)
        assert way.sole_nodes - set(ends) == set.intersection(*inner)


@given(circuits(), st.data())
def test_no_way_that_a_diode_allows_is_lost(drawn: tuple[int, Edges, list[int]], data: st.DataObject) -> None:
    count, edges, ends = drawn
    senses = data.draw(st.lists(st.sampled_from((0, 0, 1, -1)), min_size=len(edges), max_size=len(edges)))
    ways = _ways(count, edges, ends, senses)
    for target in set(range(count)) - set(ends):
        real = {key for path in _paths(edges, ends, target, senses) for _, _, key in path}
        way = ways.to(target)
        assert real <= (way.links if way else frozenset())
        assert bool(real) == (way is not None) == ways.reached(target)


@given(circuits(), st.data())
def test_a_bridge_lies_on_every_way_whatever_diodes_allow(
    drawn: tuple[int, Edges, list[int]], data: st.DataObject
) -> None:
    """Against every simple path listed by networkx; without diodes the bridges are all that lies on every way."""
    count, edges, ends = drawn
    senses = data.draw(st.lists(st.sampled_from([0, 0, 1, -1]), min_size=len(edges), max_size=len(edges)))
    plain, directed = _ways(count, edges, ends), _ways(count, edges, ends, senses)
    for target in set(range(count)) - set(ends):
        for ways, sense in ((plain, None), (directed, senses)):
            paths = [{link for _, _, link in path} for path in _paths(edges, ends, target, sense)]
            shared = set.intersection(*paths) if paths else set()
            assert not paths or set(ways.bridges_to(target)) <= shared
            assert sense is not None or set(ways.bridges_to(target)) == shared


@given(circuits(), st.data())
def test_leaving_a_modules_inside_out_is_the_same_as_a_circuit_without_it(
    drawn: tuple[int, Edges, list[int]], data: st.DataObject
) -> None:
    count, edges, ends = drawn
    inside = set(data.draw(st.lists(st.integers(0, len(edges) - 1), max_size=3, unique=True)))
    full = _ways(count, edges, ends)
    links = [Link(a, b, LinkKind.WIRE, run=number) for number, (a, b) in enumerate(edges)]
    blocks = full.blocks_with(lambda link: link.run in inside).get("", set())
    without = WaysWithout(full, links, lambda link: link.run in inside, frozenset(blocks))
    left = [edge if number not in inside else (edge[0], edge[0]) for number, edge in enumerate(edges)]
    expected = _ways(count, left, ends)
    for target in range(count):
        assert without.reached(target) == expected.reached(target)
        found, wanted = without.to(target), expected.to(target)
        assert (found.links if found else None) == (wanted.links if wanted else None)
        assert (found.sole_nodes if found else None) == (wanted.sole_nodes if wanted else None)


def test_nodes_stand_in_order_from_the_end_to_the_pin() -> None:
    way = _ways(4, [(0, 1), (1, 2), (2, 3)], [0]).to(3)
    assert way is not None
    assert way.nodes == (0, 1, 2, 3)


def test_a_barred_node_is_never_touched() -> None:
    links = [Link(0, 1, LinkKind.WIRE), Link(1, 2, LinkKind.WIRE)]
    assert not Ways(links, [[0], [0, 1], [1]], [0], lambda link: True, frozenset({1})).reached(2)


@pytest.mark.parametrize("parallel", [1, 2, 3])
def test_parallel_links_are_sole_only_when_there_is_one(parallel: int) -> None:
    way = _ways(2, [(0, 1)] * parallel, [0]).to(1)
    assert way is not None
    assert len(way.links) == parallel
    assert bool(way.sole_links) == (parallel == 1)
