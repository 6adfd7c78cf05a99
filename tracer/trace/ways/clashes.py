"""Which blocks on the ways to a node must be looked at together, because a switch or relay has contacts in them that are never closed at one time.

A variable is settled when one position closes all its contacts on the blocks between the ends and the node. Blocks that share a variable that is not settled belong
together; every other block is as if its contacts were wires. A link is valid exactly when a consistent way through its own blocks uses it and each of the other groups has
some consistent way, since ways through different blocks meet only in the nodes that they share.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from tracer.circuit.model import Link
from tracer.trace.ways.consistent import Edge, Found, Network, Refuted, Valid
from tracer.trace.ways.guards import Guard

# Of one level of one vehicle, all chains of blocks together: links looked at, beyond which further chains are not looked into. It takes a block of hundreds of
# nodes with dozens of contacts between them to come near.
MOST_TOGETHER = 4_000_000
VISITS_TO_MAKE = 20  # what making a network costs for each of its links, in links looked at

Variable = tuple[str, str]
Gate = tuple[int, int]  # a block, and the node where it is left towards the node asked for


@dataclass(eq=False)
class Clash:
    """Blocks that share a variable which no position settles, as one chain from where they are entered to where they are left."""

    network: Network
    members: tuple[
        tuple[int, ...], ...
    ]  # the links of the circuit, by their number in the network: several in a row count as one there
    inner: tuple[tuple[int, ...], ...]  # the nodes of the circuit within such a row
    nodes: tuple[int, ...]  # of the circuit, by their number in the network
    variables: tuple[Variable, ...]
    _answers: dict[frozenset[int], bool | None] = field(default_factory=dict)
    _known: list[tuple[int, ...]] = field(default_factory=list)  # ways that were found, by the links of the network

    @cached_property
    def _valid(self) -> Valid:
        return self.network.valid()

    @property
    def kept(self) -> frozenset[int]:
        """The links on a valid way, and those that may be."""
        return self._links_of(self._valid.kept)

    @property
    def doubtful(self) -> frozenset[int]:
        """Links kept although they are not proven to lie on a valid way: a bound was passed."""
        return self._links_of(self._valid.doubtful)

    @property
    def taken_out(self) -> dict[int, frozenset[Variable]]:
        """The links on no valid way, each with the variables whose positions rule it out."""
        return {
            number: frozenset(self.variables[variable] for variable in reason)
            for edge, reason in self._valid.taken_out.items()
            for number in self.members[edge]
        }

    @property
    def numbers(self) -> frozenset[int]:
        """Every link of these blocks."""
        return frozenset(self._edges)

    def _links_of(self, edges: Iterable[int]) -> frozenset[int]:
        return frozenset(number for edge in edges for number in self.members[edge])

    @cached_property
    def is_closable(self) -> bool | None:
        """Whether there is a valid way through here at all: asked without looking at every link; None when the bounds leave it open."""
        return self.way_without(frozenset())

    @property
    def visits(self) -> int:
        """The links that were looked at so far, those of making the network among them."""
        return self.network.visits + VISITS_TO_MAKE * len(self._edges)

    @property
    def some_way(self) -> frozenset[int]:
        """The links of a valid way that was found."""
        return self._links_of(self._known[0])

    @cached_property
    def on_every_way(self) -> tuple[frozenset[int], frozenset[int]]:
        """The nodes and links that certainly every valid way through here runs through."""
        assert self._valid is not None
        nodes, links = self.network.on_every_way()
        within = frozenset(node for edge in links for node in self.inner[edge])
        return frozenset(self.nodes[node] for node in nodes) | within, self._links_of(links)

    def way_without(self, gone: frozenset[int]) -> bool | None:
        """Whether a valid way is left here without some links; None when the bounds leave it open."""
        asked = frozenset(self._edges[number] for number in self._edges.keys() & gone)
        if any(asked.isdisjoint(way) for way in self._known):
            return True
        if asked not in self._answers:
            outcome = self.network.some_way(asked)
            self._answers[asked] = (
                True if isinstance(outcome, Found) else False if isinstance(outcome, Refuted) else None
            )
            if isinstance(outcome, Found):
                self._known.append(outcome.links)
        return self._answers[asked]

    @cached_property
    def _edges(self) -> dict[int, int]:
        return {number: edge for edge, numbers in enumerate(self.members) for number in numbers}


@dataclass(frozen=True, eq=False)
class NotTried:
    """Blocks of which nothing was looked at, because a vehicle's bound was passed: every link is kept and doubtful, and no claim is made."""

    numbers: frozenset[int]
    variables: tuple[Variable, ...]
    is_closable: None = None
    on_every_way: tuple[frozenset[int], frozenset[int]] = (frozenset(), frozenset())
    taken_out: Mapping[int, frozenset[Variable]] = field(default_factory=dict)

    @property
    def kept(self) -> frozenset[int]:
        return self.numbers

    @property
    def doubtful(self) -> frozenset[int]:
        return self.numbers

    def way_without(self, gone: frozenset[int]) -> None:
        return None


def settled_along(
    blocks: Sequence[Sequence[int]], above: Callable[[int], int | None], guards: Mapping[int, Guard]
) -> tuple[list[Mapping[Variable, int]], dict[int, frozenset[Variable]]]:
    """For each block the positions of each variable that close all its contacts from the ends down to it: 0 where none does. And the variables of its own contacts.

    `above` gives the block by which a block is entered, None at the ends; it always has a higher number.
    """
    along: list[Mapping[Variable, int]] = [{}] * len(blocks)
    variables: dict[int, frozenset[Variable]] = {}
    for block in reversed(range(len(blocks))):
        entered = above(block)
        masks = along[entered] if entered is not None else {}
        own = [guards[link] for link in blocks[block] if link in guards]
        if own:
            variables[block] = frozenset(guard.variable for guard in own)
            masks = dict(masks)
            for guard in own:
                masks[guard.variable] = masks.get(guard.variable, guard.every) & guard.closed
        along[block] = masks
    return along, variables


def groups_of(
    gates: Sequence[Gate], variables: Mapping[int, frozenset[Variable]], unsettled: frozenset[Variable]
) -> list[tuple[Gate, ...]]:
    """The gates that belong together, in the order given; those without an unsettled variable are left out."""
    groups: list[tuple[frozenset[Variable], list[int]]] = []
    for position, (block, _) in enumerate(gates):
        own = variables.get(block, frozenset()) & unsettled
        if own:
            # A position is chosen once for all contacts of a variable, so blocks that share one, also over a third, cannot be searched apart.
            joined = [group for group in groups if group[0] & own]
            groups = [group for group in groups if not group[0] & own]
            positions = sorted([position, *(one for _, found in joined for one in found)])
            groups.append((own.union(*(names for names, _ in joined)), positions))
    return [tuple(gates[position] for position in positions) for _, positions in groups]


def clash_of(
    chain: Sequence[tuple[Sequence[int], int, int]], links: Sequence[Link], end_of: Callable[[int], int], sense: Callable[[Link], int], guards: Mapping[int, Guard],
    unsettled: frozenset[Variable],
) -> Clash:  # fmt: skip
    """The chain of blocks as one network. Each is given as its links, the node where it is entered and the node where it is left; `end_of` takes all ends as one node."""
    shared = {guards[number].variable for block, _, _ in chain for number in block if number in guards}
    variables = tuple(sorted(shared & unsettled))
    index = {name: number for number, name in enumerate(variables)}
    every = [0] * len(variables)
    nodes: list[int] = [chain[0][1]]
    numbers: list[int] = []
    edges: list[Edge] = []
    entry = 0
    for block, top, leave in chain:
        # Two blocks have one node in common, which is the end of the one and the beginning of the next: all others are numbered anew in each.
        local = {top: entry}
        for number in sorted(block):
            link = links[number]
            ends = []
            for node in (end_of(link.a), end_of(link.b)):
                if node not in local:
                    local[node] = len(nodes)
                    nodes.append(node)
                ends.append(local[node])
            guard = guards.get(number)
            own: tuple[tuple[int, int], ...] = ()
            if guard is not None and guard.variable in index:
                every[index[guard.variable]] = guard.every
                own = ((index[guard.variable], guard.closed),)
            numbers.append(number)
            edges.append(Edge(ends[0], ends[1], own, sense(link)))
        entry = local[leave]
    rows = _in_rows(len(nodes), edges, (0, entry))
    return Clash(
        Network(len(nodes), [row.edge for row in rows], every, 0, entry),
        tuple(tuple(numbers[edge] for edge in row.edges) for row in rows),
        tuple(tuple(nodes[node] for node in row.inner) for row in rows),
        tuple(nodes),
        variables,
    )


@dataclass(frozen=True, slots=True)
class _Row:
    """Links one after the other, with nothing else at the nodes between them, as one."""

    edge: Edge
    edges: tuple[int, ...]
    inner: tuple[int, ...] = ()


def _in_rows(count: int, edges: Sequence[Edge], fixed: tuple[int, int]) -> list[_Row]:
    """The edges with each node that only two of them meet taken out; one-way links, and the two fixed nodes, stay as they are."""
    rows: dict[int, _Row] = {number: _Row(edge, (number,)) for number, edge in enumerate(edges)}
    at: list[set[int]] = [set() for _ in range(count)]
    for number, edge in enumerate(edges):
        at[edge.a].add(number)
        at[edge.b].add(number)
    for node in range(count):
        if node in fixed or len(at[node]) != 2:
            continue
        first, second = (rows[number] for number in sorted(at[node]))
        ends = [row.edge.b if row.edge.a == node else row.edge.a for row in (first, second)]
        if first.edge.sense or second.edge.sense or node in ends or ends[0] == ends[1]:
            continue
        guards = dict(first.edge.guards)
        for variable, mask in second.edge.guards:
            # In a row all contacts must be closed at once, so each variable keeps the positions that close all of its own; with none left the row is never
            # closed.
            guards[variable] = guards.get(variable, mask) & mask
        number, gone = sorted(at[node])
        rows[number] = _Row(Edge(ends[0], ends[1], tuple(guards.items())), first.edges + second.edges, (*first.inner, node, *second.inner))  # fmt: skip
        del rows[gone]
        at[ends[0]].add(number)
        at[ends[1]].discard(gone)
        at[ends[1]].add(number)
        at[node].clear()
    return list(rows.values())


__all__ = ["Clash", "Gate", "Variable", "clash_of", "groups_of", "settled_along"]
