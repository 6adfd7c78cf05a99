"""Ways through a block that holds one-way links (diodes, drivers): which links lie on a way in the permitted sense, and what every way runs through.

Whether a directed simple path uses a given link is NP-complete (Fortune, Hopcroft and Wyllie, 1980, Theoretical Computer Science 10(2), 111-121). Blocks
of real wiring that hold a diode are small, so their ways are walked through one by one, up to `MOST_STEPS` steps; beyond that a link stays when a
directed walk uses it that neither comes back to where the block is entered nor goes on from where it is left. Nothing real is ever lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

MOST_STEPS = 20_000

Arc = tuple[int, int, int]  # number of the link, from node, to node


def links_on_ways(arcs: Sequence[Arc], entry: int, leave: int) -> frozenset[int]:
    """The links on at least one way from `entry` to `leave` that follows the arcs and meets no node twice."""
    walked = _on_walks(arcs, entry, leave)
    steps: dict[int, list[tuple[int, int]]] = {}
    for number, tail, head in arcs:
        if number in walked and head != entry and tail != leave:
            steps.setdefault(tail, []).append((number, head))
    found: set[int] = set()
    path: list[int] = []
    passed = {entry}
    stack = [(entry, iter(steps.get(entry, ())))]
    count = 0
    while stack and len(found) < len(walked):
        node, left = stack[-1]
        step = next(left, None)
        if step is None:
            stack.pop()
            # The node is free again for ways that come to it from elsewhere.
            passed.discard(node)
            if path:
                path.pop()
            continue
        count += 1
        if count > MOST_STEPS:
            return walked
        number, head = step
        # The path is taken as a whole: all its links are proven at once, which is what makes walking bearable.
        if head == leave:
            found.update(path)
            found.add(number)
        elif head not in passed:
            passed.add(head)
            path.append(number)
            stack.append((head, iter(steps.get(head, ()))))
    return frozenset(found)


def on_every_way(arcs: Iterable[Arc], entry: int, leave: int) -> tuple[frozenset[int], frozenset[int]]:
    """The nodes and the links that every way from `entry` to `leave` runs through; both empty when there is none.

    One way is walked along; a point of it is on every way when no side way that begins before it comes back behind it.
    """
    steps: dict[tuple[str, int], list[tuple[str, int]]] = {}
    for number, tail, head in arcs:  # a link passed in either sense is one point between its nodes
        steps.setdefault(("node", tail), []).append(("link", number))
        steps.setdefault(("link", number), []).append(("node", head))
    one = _one_way(steps, ("node", entry), ("node", leave))
    position = {point: number for number, point in enumerate(one)}
    nodes: set[int] = set()
    links: set[int] = set()
    farthest = 0
    seen: set[tuple[str, int]] = set()
    for number, point in enumerate(one):
        # Nothing that begins before this point comes back behind it, so there is no way round it.
        if farthest == number:
            (nodes if point[0] == "node" else links).add(point[1])
        queue = [point]
        while queue:
            for following in steps.get(queue.pop(), ()):
                if following in position:
                    farthest = max(farthest, position[following])
                elif following not in seen:
                    seen.add(following)
                    queue.append(following)
    return frozenset(nodes), frozenset(links)


def _on_walks(arcs: Sequence[Arc], entry: int, leave: int) -> frozenset[int]:
    forward: dict[int, list[int]] = {}
    backward: dict[int, list[int]] = {}
    for _, tail, head in arcs:
        if tail != leave and head != entry:
            forward.setdefault(tail, []).append(head)
            backward.setdefault(head, []).append(tail)
    from_entry, to_leave = reach(forward, [entry]), reach(backward, [leave])
    return frozenset(
        number
        for number, tail, head in arcs
        if tail != leave and head != entry and tail in from_entry and head in to_leave
    )


def _one_way(
    steps: dict[tuple[str, int], list[tuple[str, int]]], start: tuple[str, int], goal: tuple[str, int]
) -> list[tuple[str, int]]:
    came_from: dict[tuple[str, int], tuple[str, int]] = {start: start}
    queue = [start]
    for point in queue:
        for following in steps.get(point, ()):
            if following not in came_from:
                came_from[following] = point
                queue.append(following)
    if goal not in came_from:
        return []
    way = [goal]
    while way[-1] != start:
        way.append(came_from[way[-1]])
    return way[::-1]


def reach(steps: dict[int, list[int]], starts: Iterable[int]) -> set[int]:
    """Every node that the steps lead to from `starts`, these included."""
    reached = set(starts)
    queue = list(reached)
    for node in queue:
        for other in steps.get(node, ()):
            if other not in reached:
                reached.add(other)
                queue.append(other)
    return reached
