"""The search for ways under one setting, against every simple path held against every position, and what it must not get wrong."""

from __future__ import annotations

import random

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.trace.ways import consistent as consistent_ways
from tracer.trace.ways.consistent import Edge, Found, Network, Refuted

Drawn = tuple[int, list[Edge], list[int]]
Paths = list[tuple[list[int], set[int]]]  # links, and nodes


@st.composite
def networks(draw: st.DrawFn, *, one_way: bool = False) -> Drawn:
    """Number of nodes, links with up to two guards each, and all positions of each variable. Ways lead from node 0 to node 1."""
    count = draw(st.integers(2, 8))
    node = st.integers(0, count - 1)
    every = [(1 << positions) - 1 for positions in draw(st.lists(st.integers(2, 4), max_size=4))]
    edges = []
    for _ in range(draw(st.integers(1, 15))):
        variables = draw(st.lists(st.integers(0, len(every) - 1), max_size=2, unique=True)) if every else []
        guards = tuple((variable, draw(st.integers(0, every[variable]))) for variable in variables)
        sense = draw(st.sampled_from((0, 0, 1, -1))) if one_way else 0
        edges.append(Edge(draw(node), draw(node), guards, sense))
    return count, edges, every


def _valid_paths(drawn: Drawn) -> Paths:
    count, edges, every = drawn
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(count))
    for number, edge in enumerate(edges):
        if edge.a != edge.b and edge.sense >= 0:
            graph.add_edge(edge.a, edge.b, key=number)
        if edge.a != edge.b and edge.sense <= 0:
            graph.add_edge(edge.b, edge.a, key=number)
    found = []
    for path in nx.all_simple_edge_paths(graph, 0, 1):
        left = list(every)
        for _, _, number in path:
            for variable, mask in edges[number].guards:
                left[variable] &= mask
        if all(left):
            found.append(([number for _, _, number in path], {node for a, b, _ in path for node in (a, b)}))
    return found


def _agrees(drawn: Drawn) -> None:
    network = Network(*drawn, 0, 1)
    valid, paths = network.valid(), _valid_paths(drawn)
    assert not valid.doubtful
    assert valid.kept == {number for links, _ in paths for number in links}
    nodes, links = network.on_every_way()
    assert links == (set.intersection(*(set(found) for found, _ in paths)) if paths else set())
    assert nodes == (set.intersection(*(found for _, found in paths)) - {0, 1} if paths else set())


@given(networks())
def test_kept_is_what_some_setting_leaves_on_a_simple_path(drawn: Drawn) -> None:
    _agrees(drawn)


@given(networks(one_way=True))
def test_the_same_where_links_lead_one_way(drawn: Drawn) -> None:
    _agrees(drawn)


@given(networks(one_way=True), st.sets(st.integers(0, 14), max_size=4))
def test_a_way_without_some_links_is_found_exactly_where_there_is_one(drawn: Drawn, gone: set[int]) -> None:
    network = Network(*drawn, 0, 1)
    network.valid()
    gone = {number for number in gone if number < len(drawn[1])}
    outcome = network.some_way(gone)
    assert isinstance(outcome, Found | Refuted)
    assert isinstance(outcome, Found) == any(gone.isdisjoint(links) for links, _ in _valid_paths(drawn))


@given(networks(one_way=True), st.integers(1, 300))
def test_beyond_the_bounds_too_much_is_kept_and_flagged_and_nothing_lost(drawn: Drawn, visits: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(consistent_ways, "ROUNDS", ((1, 0),))
        patch.setattr(consistent_ways, "MOST_VISITS", visits)
        network = Network(*drawn, 0, 1)
        valid = network.valid()
        paths = _valid_paths(drawn)
        real = {number for links, _ in paths for number in links}
        assert real <= valid.kept
        assert valid.kept - valid.doubtful <= real
        nodes, links = network.on_every_way()
        for found, met in paths:
            assert links <= set(found) and nodes <= met


def test_positions_are_compared_over_all_links_and_not_only_those_that_may_be_closed_now() -> None:
    """With x held to its first position, y's second closes nothing, and seems needless beside its first. It is not: with x in its third it leads through.

    Were it left out there, the failure of y alone would be taken as failure for every x.
    """
    x, y, z = 0, 1, 2
    edges = [
        Edge(0, 2, ((x, 1),)), Edge(2, 3, ((x, 2),)),  # the shortest, and never closed
        Edge(0, 4, ((x, 1),)), Edge(4, 5), Edge(5, 3),
        Edge(0, 6, ((x, 4),)), Edge(6, 7), Edge(7, 8), Edge(8, 3),
        Edge(3, 13, ((z, 1),)), Edge(13, 10, ((z, 2),)),  # never closed
        Edge(3, 9, ((y, 1),)), Edge(9, 14, ((y, 4),)), Edge(14, 10),  # never closed
        Edge(3, 11, ((x, 4), (y, 2))), Edge(11, 12), Edge(12, 15), Edge(15, 10),
        Edge(10, 1),
    ]  # fmt: skip
    network = Network(16, edges, [7, 7, 3], 0, 1)
    assert isinstance(network.some_way(), Found)
    assert network.valid().kept == {5, 6, 7, 8, 14, 15, 16, 17, 18}


def _satisfiable(clauses: int, variables: int) -> tuple[int, list[Edge], list[int], int]:
    """A 3-SAT problem as wiring: clauses in series, three branches each, a relay for each pair of branches that contradict one another."""
    chance = random.Random(1)
    literals = [
        (clause, branch, variable, chance.randrange(2))
        for clause in range(clauses)
        for branch, variable in enumerate(chance.sample(range(variables), 3))
    ]
    guards: dict[tuple[int, int], list[tuple[int, int]]] = {}
    relays = 0
    for one in literals:
        for other in literals:
            if one < other and one[0] != other[0] and one[2] == other[2] and one[3] != other[3]:
                guards.setdefault(one[:2], []).append((relays, 1))
                guards.setdefault(other[:2], []).append((relays, 2))
                relays += 1
    edges: list[Edge] = []
    count, entry = 1, 0
    for clause in range(clauses):
        leave, count = count, count + 1
        for branch in range(3):
            node = entry
            for guard in guards.get((clause, branch), []):
                edges.append(Edge(node, count, (guard,)))
                node, count = count, count + 1
            edges.append(Edge(node, leave))
        entry = leave
    return count, edges, [3] * relays, entry


def test_a_problem_as_hard_as_any_ends_at_the_bound_with_everything_kept_and_says_so() -> None:
    count, edges, every, leave = _satisfiable(30, 8)
    network = Network(count, edges, every, 0, leave)
    valid = network.valid()
    assert valid.doubtful
    assert network.visits < 3 * consistent_ways.MOST_VISITS
    again = Network(count, edges, every, 0, leave).valid()
    assert (again.kept, again.doubtful) == (valid.kept, valid.doubtful)


@pytest.mark.parametrize("copies", [1, 2, 3])
def test_parallel_contacts_each_count_and_none_alone_is_on_every_way(copies: int) -> None:
    network = Network(2, [Edge(0, 1, ((0, 1),))] * copies, [3], 0, 1)
    assert network.valid().kept == set(range(copies))
    assert network.on_every_way() == (frozenset(), frozenset({0} if copies == 1 else ()))


def test_what_is_taken_out_is_put_down_to_the_switch_that_rules_it_out() -> None:
    edges = [Edge(0, 2, ((0, 1),)), Edge(2, 1, ((0, 2),)), Edge(0, 1, ((1, 1),)), Edge(0, 1, ((1, 2),))]
    valid = Network(3, edges, [3, 3], 0, 1).valid()
    assert valid.kept == {2, 3}
    assert valid.taken_out == {0: frozenset({0}), 1: frozenset({0})}


def test_a_by_pass_that_no_setting_closes_does_not_make_a_link_needless() -> None:
    """Beside the middle link there is a by-pass of two contacts, one at rest and one energised: no bridge, and yet every way runs through the link."""
    edges = [Edge(0, 2), Edge(2, 3), Edge(2, 4, ((0, 1),)), Edge(4, 3, ((0, 2),)), Edge(3, 1)]
    network = Network(5, edges, [3], 0, 1)
    network.valid()
    assert network.on_every_way()[1] == {0, 1, 4}
