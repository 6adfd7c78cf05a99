"""Which rank each block goes into: every line leads downwards, and the page comes out no wider than wanted and as low as can be.

Blocks that have room to move (their longest way down is shorter than that of others) are moved, one at a time, to the rank where they cost least:
height of the ranks, width beyond the paper, and length of lines. dot then orders the blocks of each rank and gives them their places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

_LANE_WIDTH = 6.0  # a line that passes a rank, with its distance
_TOO_WIDE = 3.0  # cost of a point of width beyond the paper, in points of height
_LENGTH = 0.35  # cost of a rank that a line passes
_SWEEPS = 8
_REACH = 24  # ranks that a block moves at once


@dataclass(frozen=True, slots=True)
class Unit:
    """Blocks that share a rank: one block, or all pins at one edge of a module."""

    width: float
    height: float


def ranked(
    units: Sequence[Unit], edges: Sequence[tuple[int, int]], trunks: Sequence[Sequence[tuple[int, int]]], width: float
) -> list[int]:
    """The rank of each unit, from 0 at the top.

    Parameters
    ----------
    units : what is placed
    edges : (upper, lower): the lower one gets a higher rank; edges that close a circle are left out
    trunks : edges that share their way, so that they take one place in a rank that they pass
    width : how wide a rank may be, pt
    """
    # Wiring has rings. An edge that closes one is drawn upwards later; with it no rank would ever be low enough.
    kept = _without_circles(len(units), edges)
    above: list[list[int]] = [[] for _ in units]
    below: list[list[int]] = [[] for _ in units]
    for upper, lower in kept:
        above[lower].append(upper)
        below[upper].append(lower)
    order = _in_order(above, below)
    first = [0] * len(units)
    for unit in order:
        first[unit] = max((first[one] + 1 for one in above[unit]), default=0)
    last_rank = max(first, default=0)
    last = [last_rank] * len(units)
    for unit in reversed(order):
        last[unit] = min((last[one] - 1 for one in below[unit]), default=last_rank)
    best: tuple[float, list[int]] | None = None
    middle = [(a + b) // 2 for a, b in zip(first, last, strict=True)]
    # One unit moved at a time ends in the nearest valley: the lowest of three starts (all as high as can be, as low, between) is taken.
    for start in (first, last, middle):
        search = _Search(units, trunks, start, width, last_rank)
        search.improve(order, above, below)
        cost = search.cost()
        if best is None or cost < best[0] - 1e-9:
            best = cost, search.rank
    assert best is not None
    return best[1]


class _Search:
    def __init__(
        self,
        units: Sequence[Unit],
        trunks: Sequence[Sequence[tuple[int, int]]],
        start: Sequence[int],
        width: float,
        last: int,
    ) -> None:
        self.units = units
        self.rank = list(start)
        self.width = width
        self.at: list[set[int]] = [set() for _ in range(last + 1)]
        self.used = [0.0] * (last + 1)
        self.last = last
        self.trunks = [tuple(trunk) for trunk in trunks]
        self.trunks_of: list[list[int]] = [[] for _ in units]
        for number, trunk in enumerate(self.trunks):
            for unit in {unit for edge in trunk for unit in edge}:
                self.trunks_of[unit].append(number)
        for unit, rank in enumerate(self.rank):
            self.at[rank].add(unit)
            self.used[rank] += units[unit].width
        for number in range(len(self.trunks)):
            self._lane(number, 1)

    def _lane(self, number: int, sign: int) -> float:
        """Add or take a trunk's place in the ranks that it passes; answers with how many ranks these are."""
        trunk = self.trunks[number]
        low = min(self.rank[upper] for upper, _ in trunk) + 1
        high = max(self.rank[lower] for _, lower in trunk)
        for rank in range(low, high):
            self.used[rank] += sign * _LANE_WIDTH
        return sum(max(0, self.rank[lower] - self.rank[upper] - 1) for upper, lower in trunk) * 0.3 + max(0, high - low)

    # The page is as high as the tallest symbol of each rank together, so moving a tall one beside another tall one saves a whole rank, while too wide a rank
    # cannot be mended later: hence height as it is, width only beyond the page, at a price that no height outweighs.
    def _height(self, rank: int) -> float:
        return max((self.units[unit].height for unit in self.at[rank]), default=0.0)

    def _rank_cost(self, ranks: set[int]) -> float:
        return sum(self._height(rank) + _TOO_WIDE * max(0.0, self.used[rank] - self.width) for rank in ranks)

    def cost(self) -> float:
        """Height of all ranks, and what is too wide or too long."""
        lanes = 0.0
        for number in range(len(self.trunks)):
            lanes += self._lane(number, 0)
        return self._rank_cost(set(range(self.last + 1))) + _LENGTH * lanes

    def improve(self, order: Sequence[int], above: Sequence[Sequence[int]], below: Sequence[Sequence[int]]) -> None:
        """Move one unit after the other to where it costs least, until nothing moves."""
        for sweep in range(_SWEEPS):
            moved = False
            # Up and down in turn: what moves gives room only to those that come after it.
            for unit in order if sweep % 2 else reversed(order):
                low = max((self.rank[one] + 1 for one in above[unit]), default=0)
                high = min((self.rank[one] - 1 for one in below[unit]), default=self.last)
                if high > low:
                    moved |= self._move(unit, low, high)
            if not moved:
                return

    def _move(self, unit: int, low: int, high: int) -> bool:
        """Try each rank from `low` to `high`, no further than `_REACH` from where it is; only what differs between these is counted."""
        before = self.rank[unit]
        low, high = max(low, before - _REACH), min(high, before + _REACH)
        ranks = range(low, high + 1)
        # Only ranks within reach change, and of each only its tallest and its width: without the unit first, then with it in each. All the rest of the cost is
        # the same for every choice and is never worked out.
        heights = [max((self.units[one].height for one in self.at[rank] if one != unit), default=0.0) for rank in ranks]
        own = self.units[unit]
        around = [self._around(unit, number) for number in self.trunks_of[unit]]
        for trunk in around:
            self._own_lane(trunk, before, ranks, -1)
        self.used[before] -= own.width
        best, best_cost, present = before, float("inf"), float("inf")
        for rank in ranks:
            length = 0.0
            for trunk in around:
                length += trunk.length(rank)
                self._own_lane(trunk, rank, ranks, 1)
            self.used[rank] += own.width
            cost = _LENGTH * length
            for one, height in zip(ranks, heights, strict=True):
                cost += own.height if one == rank and own.height > height else height
                if self.used[one] > self.width:
                    cost += _TOO_WIDE * (self.used[one] - self.width)
            self.used[rank] -= own.width
            for trunk in around:
                self._own_lane(trunk, rank, ranks, -1)
            if rank == before:
                present = cost
            if cost < best_cost - 1e-9:
                best, best_cost = rank, cost
        if best_cost > present - 1e-6:  # no better: it stays, or two equal places would be exchanged for ever
            best = before
        self.rank[unit] = best
        for trunk in around:
            self._own_lane(trunk, best, ranks, 1)
        self.used[best] += own.width
        self.at[before].discard(unit)
        self.at[best].add(unit)
        return best != before

    def _around(self, unit: int, number: int) -> _Around:
        uppers, lowers, above, below = [], [], [], []
        for upper, lower in self.trunks[number]:
            if upper == unit:
                below.append(self.rank[lower])
            else:
                uppers.append(self.rank[upper])
            if lower == unit:
                above.append(self.rank[upper])
            else:
                lowers.append(self.rank[lower])
        far = len(self.rank) + 1
        return _Around(min(uppers, default=far), max(lowers, default=-1), tuple(above), tuple(below))

    def _own_lane(self, trunk: _Around, rank: int, ranks: range, sign: int) -> None:
        """Add or take the place of a trunk of the unit, as far as it lies in these ranks."""
        low, high = trunk.span(rank)
        for one in range(max(low, ranks.start), min(high, ranks.stop)):
            self.used[one] += sign * _LANE_WIDTH


@dataclass(frozen=True, slots=True)
class _Around:
    """A trunk as one unit of it sees it: the uppermost and lowest rank of the others, and the ranks of those that it leads to."""

    upper: int
    lower: int
    above: tuple[int, ...]
    below: tuple[int, ...]

    def span(self, rank: int) -> tuple[int, int]:
        """The ranks that the trunk passes while the unit is in `rank`: the first, and the one after the last."""
        return (min(self.upper, rank) if self.below else self.upper) + 1, (
            max(self.lower, rank) if self.above else self.lower
        )

    def length(self, rank: int) -> float:
        """What its length costs, without what is the same for every rank of the unit."""
        low, high = self.span(rank)
        steps = sum(max(0, rank - one - 1) for one in self.above) + sum(max(0, one - rank - 1) for one in self.below)
        return steps * 0.3 + max(0, high - low)


def _in_order(above: Sequence[Sequence[int]], below: Sequence[Sequence[int]]) -> list[int]:
    """All units, each after those above it."""
    waiting = [len(set(one)) for one in above]
    order = [unit for unit, count in enumerate(waiting) if not count]
    for unit in order:
        for lower in sorted(set(below[unit])):
            waiting[lower] -= 1
            if not waiting[lower]:
                order.append(lower)
    return order


def _without_circles(count: int, edges: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """The edges without those that lead back to a unit that is still being followed."""
    below: list[list[int]] = [[] for _ in range(count)]
    for upper, lower in edges:
        if upper != lower:
            below[upper].append(lower)
    state = [0] * count
    kept: list[tuple[int, int]] = []
    for start in range(count):
        if state[start]:
            continue
        state[start] = 1
        stack = [(start, iter(below[start]))]
        while stack:
            unit, left = stack[-1]
            lower = next(left, -1)
            if lower < 0:
                state[unit] = 2
                stack.pop()
            elif state[lower] != 1:
                kept.append((unit, lower))
                if not state[lower]:
                    state[lower] = 1
                    stack.append((lower, iter(below[lower])))
    return kept
