"""The links at each node, for a few nodes of a large circuit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


class Sparse(Sequence[Sequence[int]]):
    """Links at a node, for a few nodes of a large circuit."""

    def __init__(self, at: dict[int, list[int]], length: int) -> None:
        self._at = at
        self._length = length

    def __getitem__(self, node: Any) -> Any:
        return self._at.get(node, ())

    def __len__(self) -> int:
        return self._length


__all__ = ["Sparse"]
