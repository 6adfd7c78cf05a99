"""Which links lie on a way under one setting of every switch and relay: exact, with bounds that are counted and never timed.

A link is on a valid way exactly when some simple path through it has, for each variable (the key, a condition, a switch worked by hand, a relay), one
position that closes all of the path's contacts on that variable. Finding this out is NP-complete in general. Here each link is certified by a path or
refuted, and a search branches only on a variable whose contacts clash on a path that was found. Closing more never hurts, so a position is left out
where another one of its variable closes the same and more. A refutation holds at any bound; what the bounds leave open is kept, and is `doubtful`.

This is the search within one chain of blocks; which blocks belong together is in `clashes.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from tracer.trace.ways.blocks import blocks_between
from tracer.trace.ways.directed_paths import Unsure, through_one_way
from tracer.trace.ways.two_paths import shortest, two_paths

ROUNDS = ((8, 0), (64, 100), (4096, 3000))  # for one link: trials, and steps of a walk along one-way links
MOST_HELD = 300  # variables held at one time: the depth of a search
MOST_VISITS = 1_000_000  # links looked at in one chain of blocks, all searches together

Guards = tuple[tuple[int, int], ...]  # variable, positions (as bits) that close


@dataclass(frozen=True, slots=True)
class Edge:
    """A link of the network; `sense` 0 for both, 1 from `a` to `b`, -1 from `b` to `a`."""

    a: int
    b: int
    guards: Guards = ()
    sense: int = 0


@dataclass(frozen=True, slots=True)
class Found:
    """A way: its nodes where they are known in order, its links, and for each of its variables the positions that close all of them."""

    nodes: tuple[int, ...]
    links: tuple[int, ...]
    positions: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Refuted:
    """No way; `reason` are the variables whose positions it rests on."""

    reason: frozenset[int]


Outcome = Found | Refuted | Unsure
_Finder = Callable[[Sequence[int]], "tuple[tuple[int, ...], tuple[int, ...]] | Unsure | None"]


@dataclass(slots=True)
class Valid:
    """What `valid` answers: the links kept, those of them that are not proven, and for each link taken out the variables that did it."""

    kept: frozenset[int]
    doubtful: frozenset[int]
    taken_out: dict[int, frozenset[int]] = field(default_factory=dict)


class Network:
    """A chain of blocks between `entry` and `leave`, with the guards of its contacts.

    Parameters
    ----------
    count : number of nodes
    edges : its links
    every : for each variable all its positions as bits
    entry, leave : its two ends, not the same node
    """

    def __init__(self, count: int, edges: Sequence[Edge], every: Sequence[int], entry: int, leave: int) -> None:
        self.edges, self.entry, self.leave = edges, entry, leave
        self.full = list(every)
        self.alive = bytearray(int(edge.a != edge.b) for edge in edges)
        self.steps: list[list[tuple[int, int]]] = [[] for _ in range(count)]
        self.both: list[list[tuple[int, int]]] = [[] for _ in range(count)]
        for number, edge in enumerate(edges):
            if edge.a != edge.b:
                self.both[edge.a].append((number, edge.b))
                self.both[edge.b].append((number, edge.a))
                if edge.sense >= 0:
                    self.steps[edge.a].append((number, edge.b))
                if edge.sense <= 0:
                    self.steps[edge.b].append((number, edge.a))
        self.guarded = [number for number, edge in enumerate(edges) if edge.guards and edge.a != edge.b]
        self.one_way = any(edge.sense for edge in edges)
        self.choices = [self._not_dominated(closes) for closes in self._closed_by()]
        self.visits = 0
        self._most_visits = self._trials_left = 0
        self._blamed: set[int] = set()

    # --- every link --------------------------------------------------------------------------------------------

    def valid(self) -> Valid:
        """Certify or refute every link."""
        taken_out: dict[int, frozenset[int]] = {}
        found: set[int] = set()
        self._most_visits = self.visits + MOST_VISITS
        self._drop(taken_out, frozenset())
        # One way first: where there is none at all, each link would else be refuted by a search of its own.
        first = self._some_way()
        if isinstance(first, Found):
            found |= self._proven(first, found)
        elif isinstance(first, Refuted):
            for number, alive in enumerate(self.alive):
                if alive:
                    self.alive[number] = 0
                    taken_out[number] = first.reason
        # Few trials first: a way that is found for an easy link often proves hard ones on its way, so that only what is left needs a long search.
        for trials, walk in ROUNDS:
            doubtful = False
            for number in range(len(self.edges)):
                if not self.alive[number] or number in found:
                    continue
                outcome = self._through(number, trials, walk)
                if isinstance(outcome, Found):
                    found |= self._proven(outcome, found)
                elif isinstance(outcome, Refuted):
                    self.alive[number] = 0
                    taken_out[number] = outcome.reason
                    self._drop(taken_out, outcome.reason)
                else:
                    doubtful = True
            if not doubtful:
                break
        kept = frozenset(number for number, alive in enumerate(self.alive) if alive)
        return Valid(kept, kept - found, taken_out)

    def _drop(self, taken_out: dict[int, frozenset[int]], reason: frozenset[int]) -> None:
        """Take out what lies on no path any more, and what a block of one link forces open, until nothing moves."""
        while True:
            blocks = blocks_between(self.both, self.alive, self.entry, self.leave)
            inside = {number for block in blocks for number in block}
            gone = [number for number, alive in enumerate(self.alive) if alive and number not in inside]
            for number in gone:
                self.alive[number] = 0
                taken_out[number] = reason
            for block in blocks:
                # Every way runs through a block of one link, so whatever closes it is closed: other positions of its variables are out for all links.
                for variable, mask in self.edges[block[0]].guards if len(block) == 1 else ():
                    self.full[variable] &= mask
            never = [n for n in self.guarded if self.alive[n] and not self._closes(n, self.full)]
            for number in never:
                self.alive[number] = 0
                taken_out[number] = frozenset(
                    variable for variable, mask in self.edges[number].guards if not mask & self.full[variable]
                )
                reason |= taken_out[number]
            if not never:
                return

    def _proven(self, way: Found, found: set[int]) -> set[int]:
        """What a way proves besides its own links: hold its positions, put every other variable where most that is not proven closes, and every block is valid."""
        closing: list[dict[int, int]] = [
            dict.fromkeys(_bits(way.positions.get(variable, every)), 0) for variable, every in enumerate(self.full)
        ]
        for number in self.guarded:
            if number not in found:
                for variable, mask in self.edges[number].guards:
                    for bit in closing[variable]:
                        closing[variable][bit] += bool(mask & bit)
        setting = [max(counts, key=counts.__getitem__, default=0) for counts in closing]
        proven = set(way.links)
        for block in blocks_between(self.both, self._open(setting), self.entry, self.leave):
            if not any(self.edges[number].sense for number in block):  # the way itself leads through every block
                proven.update(block)
        return proven

    # --- one question ------------------------------------------------------------------------------------------

    def _through(self, number: int, trials: int, walk: int) -> Outcome:
        """A way through one link."""
        edge = self.edges[number]
        domain = list(self.full)
        for variable, mask in edge.guards:
            domain[variable] &= mask

        def path(is_open: Sequence[int]) -> tuple[tuple[int, ...], tuple[int, ...]] | Unsure | None:
            if self.one_way:
                senses = ((edge.a, edge.b),) if edge.sense > 0 else ((edge.b, edge.a),) if edge.sense < 0 else ((edge.a, edge.b), (edge.b, edge.a))  # fmt: skip
                found, visits = through_one_way(self.steps, is_open, self.entry, self.leave, number, senses, walk)
                self.visits += visits
                return found
            # Two paths without a common node, one from each end of the link, make with the link one path that meets no node twice.
            pair, visits = two_paths(self.steps, is_open, (edge.a, edge.b), (self.entry, self.leave), left_out=number)
            self.visits += visits
            if pair is None:
                return None
            return (), (*pair[0].links, number, *pair[1].links)

        return self._search(path, domain, frozenset(variable for variable, _ in edge.guards), trials)

    def some_way(self, gone: Iterable[int] = ()) -> Outcome:
        """A way that avoids some links."""
        self._most_visits = self.visits + MOST_VISITS
        return self._some_way(gone)

    def _some_way(self, gone: Iterable[int] = (), barred: frozenset[int] = frozenset()) -> Outcome:
        without = set(gone)
        domain = list(self.full)

        def path(is_open: Sequence[int]) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
            if without:
                is_open = bytearray(is_open)
                for number in without:
                    is_open[number] = 0
            found, visits = shortest(self.steps, is_open, (self.entry,), (self.leave,), barred=barred)
            self.visits += visits
            return None if found is None else (found.nodes, found.links)

        return self._search(path, domain, frozenset(), ROUNDS[-1][0])

    def on_every_way(self) -> tuple[frozenset[int], frozenset[int]]:
        """The nodes and links that every way runs through, as far as this is certain."""
        self._most_visits = self.visits + MOST_VISITS
        way = self._some_way()
        if not isinstance(way, Found):
            return frozenset(), frozenset()
        links, nodes = self._every(way.links, "links"), self._every(way.nodes[1:-1], "nodes")
        return frozenset(nodes), frozenset(links)

    def _every(self, candidates: Iterable[int], what: str) -> list[int]:
        """Those of the candidates without which there is certainly no way. A way without one clears all that it avoids."""
        left = list(candidates)
        every = []
        while left:
            one = left.pop()
            other = self._some_way((one,)) if what == "links" else self._some_way(barred=frozenset((one,)))
            if isinstance(other, Refuted):
                every.append(one)
            elif isinstance(other, Found):
                kept = set(other.links if what == "links" else other.nodes)
                left = [candidate for candidate in left if candidate in kept]
        return every

    # --- the search --------------------------------------------------------------------------------------------

    def _search(self, path: _Finder, domain: list[int], held: frozenset[int], trials: int) -> Outcome:
        self._trials_left = trials
        self._blamed = set()
        if not all(domain):
            return Refuted(frozenset(variable for variable, left in enumerate(domain) if not left))
        outcome = self._branch(path, domain, held)
        return Refuted(frozenset(self._blamed)) if isinstance(outcome, Refuted) else outcome

    def _branch(self, path: _Finder, domain: list[int], held: frozenset[int]) -> Outcome:
        self._trials_left -= 1
        # The last of these bounds Python's own stack: each variable held is one call deeper.
        if self._trials_left < 0 or self.visits > self._most_visits or len(held) > MOST_HELD:
            return Unsure.YES
        found = path(self._open(domain))
        if found is None:
            return Refuted(self._reason(path, domain, held))
        if isinstance(found, Unsure):
            return found
        nodes, links = found
        positions: dict[int, int] = {}
        for number in links:
            for variable, mask in self.edges[number].guards:
                positions[variable] = positions.get(variable, domain[variable]) & mask
        clash = [variable for variable, left in positions.items() if not left]
        if not clash:
            return Found(nodes, links, positions)
        # The variable with the fewest positions that leave a path is branched on: the tree stays narrow, and with none or one left nothing is chosen at all.
        branches: list[tuple[int, list[list[int]], list[list[int]]]] = []
        for variable in sorted(clash):
            possible: list[list[int]] = []
            impossible: list[list[int]] = []
            for bit in self._positions(variable, domain[variable]):
                child = list(domain)
                child[variable] = bit
                (impossible if path(self._open(child)) is None else possible).append(child)
            branches.append((variable, possible, impossible))
            if len(possible) < 2:
                break
        variable, possible, impossible = min(branches, key=lambda one: len(one[1]))
        reasons: frozenset[int] = frozenset()
        sure = True
        for child in possible:
            outcome = self._branch(path, child, held | {variable})
            if isinstance(outcome, Found):
                return outcome
            if isinstance(outcome, Unsure):
                sure = False
                if self._trials_left < 0 or self.visits > self._most_visits:
                    return Unsure.YES
                continue
            if variable not in outcome.reason:
                return outcome  # the other positions fail in the same way
            reasons |= outcome.reason
        if not sure:
            return Unsure.YES
        for child in impossible:
            # A position without any path is refuted as it stands. Its reason costs a search for each variable held, so it is worked out only where all else
            # has failed.
            reason = self._reason(path, child, held | {variable})
            if variable not in reason:
                return Refuted(reason)
            reasons |= reason
        return Refuted(reasons - {variable})

    def _reason(self, path: _Finder, domain: list[int], held: frozenset[int]) -> frozenset[int]:
        """The held variables that cannot be set free again one by one without a path turning up."""
        # Each is set free by itself and stays free where no path turns up: what is left is a reason, though perhaps not the shortest.
        free = list(domain)
        kept = set()
        for variable in sorted(held):
            free[variable], narrow = self.full[variable], free[variable]
            if free[variable] != narrow and path(self._open(free)) is not None:
                free[variable] = narrow
                kept.add(variable)
        self._blamed |= kept
        return frozenset(kept)

    def _positions(self, variable: int, allowed: int) -> Iterator[int]:
        """The positions still allowed that no other one of these dominates."""
        for bit, better in self.choices[variable]:
            if bit & allowed and not better & allowed:
                yield bit

    def _closed_by(self) -> list[dict[int, set[int]]]:
        """For each variable the links that each of its positions closes."""
        closes: list[dict[int, set[int]]] = [{bit: set() for bit in _bits(every)} for every in self.full]
        for number, edge in enumerate(self.edges):
            for variable, mask in edge.guards:
                for bit, links in closes[variable].items():
                    if mask & bit:
                        links.add(number)
        return closes

    @staticmethod
    def _not_dominated(closes: Mapping[int, set[int]]) -> list[tuple[int, int]]:
        """For each position the positions that close the same links and more (of equal ones the first counts as more).

        All links count, not only those that a path may use at the moment: else the reason of a refutation would not hold for the position left out.
        """
        return [
            (
                bit,
                sum(
                    other
                    for other, more in closes.items()
                    if other != bit and own <= more and (own != more or other < bit)
                ),
            )
            for bit, own in closes.items()
        ]

    def _open(self, domain: Sequence[int]) -> bytearray:
        is_open = bytearray(self.alive)
        self.visits += len(self.guarded)
        for number in self.guarded:
            if is_open[number] and not self._closes(number, domain):
                is_open[number] = 0
        return is_open

    def _closes(self, number: int, domain: Sequence[int]) -> bool:
        return all(mask & domain[variable] for variable, mask in self.edges[number].guards)


def _bits(mask: int) -> Iterator[int]:
    bit = 1
    while bit <= mask:
        if mask & bit:
            yield bit
        bit <<= 1


__all__ = ["MOST_VISITS", "ROUNDS", "Edge", "Found", "Network", "Refuted", "Valid"]
