"""Which texts of a page lie over each other."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

from tracer.report.diagram.shapes import Box, Text

SLACK = 0.3


def overlap(one: Box, other: Box, slack: float = SLACK) -> bool:
    """Whether the two share more than `slack` in both directions."""
    return (
        min(one.x + one.width, other.x + other.width) - max(one.x, other.x) > slack
        and min(one.y + one.height, other.y + other.height) - max(one.y, other.y) > slack
    )


def overlapping(texts: Sequence[Text]) -> list[tuple[str, str]]:
    """Each pair of texts that lie over each other."""
    return [(a.text, b.text) for a, b in combinations(texts, 2) if overlap(a.box, b.box)]
