"""What many rows of an answer have in common, written once in JSON: probe points by name, limits and texts by key."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tracer.electrics.limits_in_use import LimitInUse


class Once:
    """Things by name. Each is given once, as the first row has it; a row's entry holds its name, and what is otherwise for that row alone."""

    def __init__(self, key: str) -> None:
        self.key = key
        self.found: dict[str, Mapping[str, Any]] = {}

    def entry(self, name: str, data: Mapping[str, Any], **own: Any) -> dict[str, Any]:
        """What a row says of the thing: its name, what is the row's `own`, and each value that differs from the first row's."""
        first = self.found.setdefault(name, data)
        return {self.key: name, **own, **{key: value for key, value in data.items() if first[key] != value}}


class Limits:
    """The limits that an answer refers to, by what they are for; where one item has several values (behind a converter), the value stands in the key."""

    def __init__(self, limits: Iterable[LimitInUse] = ()) -> None:
        self._keys: dict[LimitInUse, str] = {}
        for limit in limits:
            self.key(limit)

    def key(self, limit: LimitInUse | None) -> str | None:
        """The key of a limit."""
        if limit is None:
            return None
        if limit not in self._keys:
            taken = limit.item in self._keys.values()
            self._keys[limit] = f"{limit.item} {limit.words()}" if taken else limit.item
        return self._keys[limit]

    def data(self) -> dict[str, dict[str, Any]]:
        """Each limit with where it is from."""
        return {key: limit_data(limit) for limit, key in sorted(self._keys.items(), key=lambda one: one[1])}


def limit_data(limit: LimitInUse) -> dict[str, Any]:
    """A limit with where it is from."""
    return {
        "item": limit.item,
        "value": limit.high,
        "low": limit.low,
        "unit": limit.unit,
        "origin": limit.origin,
        "source": limit.source,
    }


class Texts:
    """Texts by number from 1, 0 for an empty one."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        """The number of a text."""
        return self._numbers.setdefault(text, len(self._numbers) + 1) if text else 0

    def data(self) -> list[dict[str, Any]]:
        """Each text with its number."""
        return [{"number": number, "text": text} for text, number in self._numbers.items()]
