"""A path through one link where some links may be passed in one sense only.

Whether there is one is NP-complete (Fortune, Hopcroft and Wyllie, 1980, Theoretical Computer Science 10(2), 111-121). Two disjoint paths decide nearly every real case; then a
bounded walk; beyond it the answer is `Unsure`.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

from tracer.trace.ways.two_paths import Path, Steps, shortest, two_paths

_PathOf = tuple[tuple[int, ...], tuple[int, ...]]


class Unsure(Enum):
    """A bound was passed before there was an answer."""

    YES = 0


def through_one_way(
    steps: Steps, is_open: Sequence[int], entry: int, leave: int, number: int, senses: Sequence[tuple[int, int]], most_steps: int
) -> tuple[_PathOf | Unsure | None, int]:  # fmt: skip
    """Nodes and links of a path from `entry` to `leave` through a link in one of its senses; None when there is certainly none. Also how many links were looked at."""
    visits, unsure = 0, False
    for tail, head in senses:
        found, looked = _in_one_sense(steps, is_open, entry, leave, number, tail, head, most_steps)
        visits += looked
        if found is Unsure.YES:
            unsure = True
        elif found is not None:
            return found, visits
    return (Unsure.YES if unsure else None), visits


def _in_one_sense(
    steps: Steps, is_open: Sequence[int], entry: int, leave: int, number: int, tail: int, head: int, most_steps: int
) -> tuple[_PathOf | Unsure | None, int]:
    if tail == leave or head == entry:
        return None, 0
    # Two paths without a common node from entry and head to tail and leave: a necessary condition that is found at once. It suffices where the first of them
    # ends at tail.
    pair, visits = two_paths(steps, is_open, (entry, head), (tail, leave), left_out=number)
    if pair is None:
        return None, visits
    before, after = pair
    if before.nodes[-1] == tail:
        return _joined(before, number, after), visits
    for first in ("before", "after"):  # crossed: one of the two as short as can be, then the other beside it
        if first == "before":
            short, looked = shortest(
                steps, is_open, (entry,), (tail,), left_out=number, barred=frozenset((head, leave)) - {entry}
            )
        else:
            short, looked = shortest(
                steps, is_open, (head,), (leave,), left_out=number, barred=frozenset((entry, tail)) - {head}
            )
        visits += looked
        if short is None:
            return None, visits
        ends = ((head,), (leave,)) if first == "before" else ((entry,), (tail,))
        other, looked = shortest(steps, is_open, *ends, left_out=number, barred=frozenset(short.nodes))
        visits += looked
        if other is not None:
            return _joined(*((short, number, other) if first == "before" else (other, number, short))), visits
    found, looked = _walk(steps, is_open, entry, leave, number, tail, head, most_steps)
    return found, visits + looked


def _joined(before: Path, number: int, after: Path) -> _PathOf:
    return (*before.nodes, *after.nodes), (*before.links, number, *after.links)


def _walk(
    steps: Steps, is_open: Sequence[int], entry: int, leave: int, number: int, tail: int, head: int, most_steps: int
) -> tuple[_PathOf | Unsure | None, int]:
    """Walk from `entry` to `tail`, taking no step that cuts off `tail`, or `leave` from `head`; then on from there as short as can be."""
    passed = {entry}
    nodes: list[int] = [entry]
    links: list[int] = []
    stack = [iter(steps[entry])]
    count = visits = 0
    if entry == tail:
        after, visits = shortest(steps, is_open, (head,), (leave,), left_out=number, barred=frozenset(passed))
        return (None if after is None else _joined(Path((entry,), ()), number, after)), visits
    while stack:
        step = next(stack[-1], None)
        if step is None:
            stack.pop()
            passed.discard(nodes.pop())
            if links:
                links.pop()
            continue
        link, other = step
        if not is_open[link] or link == number or other in passed or other in (head, leave):
            continue
        count += 1
        if count > most_steps:
            return Unsure.YES, visits
        # Looked ahead at each step: a walk that has cut off the rest is given up here and not when it has come to its end.
        now = frozenset((*passed, other))
        after, looked = shortest(steps, is_open, (head,), (leave,), left_out=number, barred=now)
        visits += looked
        if after is None:
            continue
        if other == tail:
            return _joined(Path((*nodes, other), (*links, link)), number, after), visits
        rest, looked = shortest(
            steps, is_open, (other,), (tail,), left_out=number, barred=frozenset((*passed, head, leave))
        )
        visits += looked
        if rest is None:
            continue
        passed.add(other)
        nodes.append(other)
        links.append(link)
        stack.append(iter(steps[other]))
    return None, visits


__all__ = ["Unsure", "through_one_way"]
