"""Ways under switch positions, and sources that do not end a way, against the slow and obvious: every simple path, kept when one setting closes all its contacts."""

from __future__ import annotations

from dataclasses import dataclass, field

import networkx as nx
from hypothesis import example, given
from hypothesis import strategies as st

from tracer.circuit.model import Link, LinkKind
from tracer.trace.ways.guards import Guard
from tracer.trace.ways.simple import Way, Ways
from tracer.trace.ways.without import WaysWithout

ROOT = -1  # all ends, taken as one node


@dataclass
class Drawn:
    """A small network: links as pairs of nodes, some one-way, some guarded; nodes where a way ends, and nodes where it only begins."""

    count: int
    edges: list[tuple[int, int]]
    senses: list[int]
    guards: dict[int, Guard]
    ends: list[int]
    passing: list[int] = field(default_factory=list)

    def links(self) -> list[Link]:
        return [Link(a, b, LinkKind.WIRE, run=number) for number, (a, b) in enumerate(self.edges)]

    def ways(self) -> Ways:
        at: list[list[int]] = [[] for _ in range(self.count)]
        for number, (a, b) in enumerate(self.edges):
            at[a].append(number)
            if a != b:
                at[b].append(number)
        return Ways(
            self.links(), at, self.ends, lambda link: True, frozenset(), lambda link: self.senses[link.run] if link.run >= 0 else 0,
            passing=self.passing, guards=self.guards,
        )  # fmt: skip

    def paths(self, target: int, without: frozenset[int] = frozenset()) -> list[list[tuple[int, int, int]]]:
        """Every simple path from the ends to the target on which one setting closes everything; numbers below 0 stand for a passing end."""
        graph = nx.MultiDiGraph()
        graph.add_nodes_from([ROOT, target])
        for number, (a, b) in enumerate(self.edges):
            here, there = (ROOT if node in self.ends else node for node in (a, b))
            if here == there or number in without:
                continue
            if self.senses[number] >= 0:
                graph.add_edge(here, there, key=number)
            if self.senses[number] <= 0:
                graph.add_edge(there, here, key=number)
        for node in self.passing:
            if node not in self.ends:
                graph.add_edge(ROOT, node, key=-1 - node)
        found = nx.all_simple_edge_paths(graph, ROOT, target)
        return [list(path) for path in found if self._one_setting(key for _, _, key in path)]

    def _one_setting(self, keys: object) -> bool:
        open_to: dict[tuple[str, str], int] = {}
        for key in keys:  # type: ignore[attr-defined]
            if key in self.guards:
                guard = self.guards[key]
                open_to[guard.variable] = open_to.get(guard.variable, guard.every) & guard.closed
        return all(open_to.values())


@st.composite
def networks(draw: st.DrawFn, *, diodes: bool = False) -> Drawn:
    count = draw(st.integers(3, 8))
    node = st.integers(0, count - 1)
    edges = draw(st.lists(st.tuples(node, node), min_size=2, max_size=13))
    variables: list[int] = draw(st.lists(st.integers(2, 4), min_size=0, max_size=4))
    guards = {}
    for number in range(len(edges)):
        if variables and draw(st.integers(0, 2)) > 0:
            which = draw(st.integers(0, len(variables) - 1))
            every = (1 << variables[which]) - 1
            closed = draw(st.integers(0, every))
            if closed != every:
                guards[number] = Guard(("part", f"K{which}"), closed, every)
    sense = st.sampled_from((0, 0, 0, 1, -1)) if diodes else st.just(0)
    senses = draw(st.lists(sense, min_size=len(edges), max_size=len(edges)))
    ends = draw(st.lists(node, min_size=1, max_size=2, unique=True))
    passing = draw(st.lists(node, max_size=2, unique=True))
    return Drawn(count, edges, senses, guards, ends, passing)


def _agrees(drawn: Drawn, way: Way | None, target: int, paths: list[list[tuple[int, int, int]]]) -> None:
    keys = [{key for _, _, key in path} for path in paths]
    links = {key for found in keys for key in found if key >= 0}
    assert (way.links if way else set()) == links
    if way is None:
        return
    assert not way.doubtful
    assert way.sole_links == {key for key in set.intersection(*keys) if key >= 0}
    inner = [{node for a, b, _ in path for node in (a, b) if node != ROOT} for path in paths]
    touched = {node for key in links for node in drawn.edges[key]} | set.union(*inner)
    assert set(way.nodes) == touched
    assert way.sole_nodes - set(drawn.ends) - set(drawn.passing) == set.intersection(*inner) - set(drawn.passing) - set(drawn.ends)  # fmt: skip
    begins = {-1 - key for found in keys for key in found if key < 0}
    assert way.ends == begins | {node for key in links for node in drawn.edges[key] if node in drawn.ends}
    assert not links & way.taken_out.keys()


@given(networks())
def test_what_is_on_a_way_is_what_some_setting_leaves_on_a_simple_path(drawn: Drawn) -> None:
    ways = drawn.ways()
    for target in set(range(drawn.count)) - set(drawn.ends):
        paths = drawn.paths(target)
        assert ways.reached(target) == bool(paths)
        _agrees(drawn, ways.to(target), target, paths)


# A source that may be dead stands in a block that a diode makes smaller: the contact that never closes leads nowhere all the same.
@example(
    Drawn(4, [(0, 0), (0, 0), (0, 1), (0, 1), (0, 2)], [0, 0, 0, 1, 0], {4: Guard(("part", "K0"), 0, 3)}, [3], [0, 1])
)
@example(
    Drawn(3, [(0, 0), (0, 0), (0, 0), (0, 1), (0, 1)], [0, 0, 0, 1, 0], {4: Guard(("part", "K0"), 0, 3)}, [2], [0, 1])
)
@given(networks(diodes=True))
def test_the_same_with_diodes(drawn: Drawn) -> None:
    ways = drawn.ways()
    for target in set(range(drawn.count)) - set(drawn.ends):
        paths = drawn.paths(target)
        assert ways.reached(target) == bool(paths)
        _agrees(drawn, ways.to(target), target, paths)


@given(networks(diodes=True), st.data())
def test_the_same_with_the_inside_of_a_module_taken_out(drawn: Drawn, data: st.DataObject) -> None:
    numbers = st.lists(st.integers(0, len(drawn.edges) - 1), max_size=3, unique=True)
    inside, of_others = frozenset(data.draw(numbers)), frozenset(data.draw(numbers))
    full = drawn.ways()
    blocks = frozenset(full.blocks_with(lambda link: link.run in inside).get("", set()))
    outside = full.reached_over(lambda link: link.run not in inside | of_others)
    without = WaysWithout(full, drawn.links(), lambda link: link.run in inside, blocks, lambda: outside)
    for target in set(range(drawn.count)) - set(drawn.ends):
        paths = drawn.paths(target, inside)
        assert without.reached(target) == bool(paths)
        _agrees(drawn, without.to(target), target, paths)


@given(networks(diodes=True))
def test_a_link_that_is_a_bridge_is_on_every_way_that_it_is_on(drawn: Drawn) -> None:
    ways = drawn.ways()
    for target in range(drawn.count):
        paths = drawn.paths(target)
        used = {key for path in paths for _, _, key in path}
        for number in range(len(drawn.edges)):
            if number in used and ways.is_bridge(number):
                assert all(number in {key for _, _, key in path} for path in paths)


def test_a_link_that_nothing_is_beside_is_a_bridge_and_one_of_two_is_none() -> None:
    ways = Drawn(3, [(0, 1), (1, 2), (1, 2)], [0, 0, 0], {}, [0]).ways()
    assert [ways.is_bridge(number) for number in range(3)] == [True, False, False]


@given(networks(diodes=True), st.data())
def test_what_is_always_reached_downwards_has_a_way_beside_each_fuse_that_begins_at_it(
    drawn: Drawn, data: st.DataObject
) -> None:
    fuses = frozenset(data.draw(st.lists(st.integers(0, len(drawn.edges) - 1), max_size=4, unique=True)))
    reached = drawn.ways().always_reached(lambda link: link.run in fuses)
    for target in reached & set(range(drawn.count)) - set(drawn.ends):
        for fuse in (number for number in fuses if drawn.edges[number][0] == target):
            assert drawn.paths(target, frozenset({fuse}))


@given(networks(diodes=True), st.data())
def test_a_way_without_some_links_is_found_or_refuted(drawn: Drawn, data: st.DataObject) -> None:
    ways = drawn.ways()
    gone = frozenset(data.draw(st.lists(st.integers(0, len(drawn.edges) - 1), max_size=4, unique=True)))
    for target in set(range(drawn.count)) - set(drawn.ends):
        way = ways.to(target)
        for clash in way.clashes if way else ():
            if clash.way_without(gone) is False:
                assert not drawn.paths(target, gone)
