"""The blocks (biconnected components) between two nodes of a small network, from one to the other (Hopcroft and Tarjan, 1973)."""

from __future__ import annotations

from collections.abc import Sequence


def blocks_between(
    steps: Sequence[Sequence[tuple[int, int]]], is_open: Sequence[int], entry: int, leave: int
) -> list[list[int]]:
    """The links of each block on the path of the block-cut tree from `leave` to `entry`, nearest to `leave` first; empty when no path joins the two.

    `steps` holds for each node its links in both senses, each with the node at its other end; parallel links are told apart by number.
    """
    order, low = {entry: 0}, {entry: 0}
    waiting: list[int] = []  # links of blocks that are not closed yet
    blocks: list[list[int]] = []
    towards = leave  # where the next block of the path is left
    stack = [(entry, -1, 0, iter(steps[entry]))]  # node, link to it, where that link waits, what is left
    while stack:
        node, came_by, start, left = stack[-1]
        for link, other in left:
            if not is_open[link] or link == came_by:
                continue
            if other not in order:
                order[other] = low[other] = len(order)
                waiting.append(link)
                stack.append((other, link, len(waiting) - 1, iter(steps[other])))
                break
            if order[other] < order[node]:
                waiting.append(link)
                low[node] = min(low[node], order[other])
        else:
            stack.pop()
            if not stack:
                break
            parent = stack[-1][0]
            low[parent] = min(low[parent], low[node])
            if low[node] < order[parent]:
                continue
            # The block below holds `leave`, or where a block that does is entered, exactly when that node was met after the block was begun.
            if order.get(towards, -1) >= order[node]:
                blocks.append(waiting[start:])
                towards = parent
                if parent == entry:
                    return blocks
            del waiting[start:]
    return []


__all__ = ["blocks_between"]
