"""Two paths that share no node, by two augmentations (Ford and Fulkerson 1956, every node with capacity 1; Menger's theorem)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

Steps = Sequence[Sequence[tuple[int, int]]]  # for each node the links that leave it, each with the node it leads to


@dataclass(frozen=True, slots=True)
class Path:
    """Nodes and links of a path; a path may be one node alone."""

    nodes: tuple[int, ...]
    links: tuple[int, ...]


def shortest(
    steps: Steps, is_open: Sequence[int], starts: Sequence[int], goals: Sequence[int], *, left_out: int = -1, barred: frozenset[int] = frozenset()
) -> tuple[Path | None, int]:  # fmt: skip
    """A shortest path from any start to any goal over open links, and how many links were looked at."""
    came: dict[int, tuple[int, int]] = {start: (-1, -1) for start in starts if start not in barred}
    queue = list(came)
    visits = 0
    for node in queue:
        if node in goals:
            nodes, links = [node], []
            while came[node][0] >= 0:
                node, link = came[node]
                nodes.append(node)
                links.append(link)
            return Path(tuple(reversed(nodes)), tuple(reversed(links))), visits
        for link, other in steps[node]:
            visits += 1
            if is_open[link] and link != left_out and other not in came and other not in barred:
                came[other] = (node, link)
                queue.append(other)
    return None, visits


def two_paths(
    steps: Steps, is_open: Sequence[int], starts: tuple[int, int], goals: tuple[int, int], *, left_out: int = -1
) -> tuple[tuple[Path, Path] | None, int]:
    """Two paths without a common node from the two starts to the two goals, in the order of the starts, and how many links were looked at.

    Which start leads to which goal is left open. `left_out` is a link that may not be used.
    """
    first, visits = shortest(steps, is_open, starts, goals, left_out=left_out)
    if first is None:
        return None, visits
    at = {node: position for position, node in enumerate(first.nodes)}
    used = set(first.links)
    start = starts[1] if first.nodes[0] == starts[0] else starts[0]
    goal = goals[1] if first.nodes[-1] == goals[0] else goals[0]
    # A state is a node that may be left, or ~node: a node of the first path, come upon from outside, from which only the way back along that path is free.
    came: dict[int, tuple[int, int]] = {start: (start, -1)}
    queue = [start]
    for state in queue:
        if state == goal:
            break
        if state < 0:
            position = at[~state]
            if position:
                before = first.nodes[position - 1]
                if before not in came:
                    came[before] = (state, -1)
                    queue.append(before)
            continue
        for link, other in steps[state]:
            visits += 1
            if not is_open[link] or link == left_out or link in used:
                continue
            key = ~other if other in at else other
            if key not in came:
                came[key] = (state, link)
                queue.append(key)
        if state in at and ~state not in came:
            came[~state] = (state, -1)
            queue.append(~state)
    if goal not in came:
        return None, visits
    following = {node: (link, first.nodes[number + 1]) for number, (node, link) in enumerate(zip(first.nodes, first.links, strict=False))}  # fmt: skip
    added: list[tuple[int, int, int]] = []
    state = goal
    while state != start:
        before, link = came[state]
        if link >= 0:
            added.append((before, link, ~state if state < 0 else state))
        elif before < 0:  # back along the first path: that link is given up
            following.pop(state, None)
        state = before
    for node, link, other in added:
        following[node] = (link, other)
    return (_along(following, starts[0]), _along(following, starts[1])), visits


def _along(following: dict[int, tuple[int, int]], node: int) -> Path:
    nodes, links = [node], []
    while node in following:
        link, node = following[node]
        links.append(link)
        nodes.append(node)
    return Path(tuple(nodes), tuple(links))


__all__ = ["Path", "Steps", "shortest", "two_paths"]
