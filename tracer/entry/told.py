"""What a sheet tells of a part, as plain pairs of key and words, each a fact that can be looked up on the drawing by itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tracer.entry.facts import Facts, keys_of
from tracer.entry.fragments import Fragment
from tracer.entry.values import When
from tracer.standards import figures

_IN_ANY_ORDER = frozenset({"cavities", "unused", "pins", "several", "lugs", "returns", "from", "through", "hazard"})


def told(facts: Facts, *, without: frozenset[str] = frozenset({"is", "positions"})) -> Iterator[tuple[str, str]]:
    """The facts that were typed, one pair for each key, for each pin of a mapping, for each item of a list that has no order of its own.

    What was typed in another way and means the same gives the same pairs: `7.5` and `7,5 A`, `[1-3]` and `[1, 2, 3]`.
    """
    for key, field in keys_of(type(facts)).items():
        value = getattr(facts, field)
        if key in without or field not in facts.model_fields_set or value in (None, (), {}):
            continue
        if isinstance(value, dict):
            for inner, one in value.items():
                yield f"{key} {inner}".strip(), _words(one)
        elif key in _IN_ANY_ORDER and isinstance(value, tuple):
            for one in value:
                yield f"{key} {_words(one)}", "yes"
        else:
            yield key, _words(value)


def told_of(fragment: Fragment) -> Iterator[tuple[str, str]]:
    """The facts of one part on one sheet, its kind first."""
    yield "is", str(fragment.kind)
    yield from told(fragment.facts)


def _words(value: Any) -> str:
    if isinstance(value, Facts):
        return ", ".join(f"{key} {words}" if words != "yes" else key for key, words in told(value)) or "nothing more"
    if isinstance(value, When):
        return value.text
    if isinstance(value, float):
        return figures.plain(value)
    if isinstance(value, dict):
        return ", ".join(f"{key}: {_words(one)}" for key, one in value.items())
    if isinstance(value, tuple | list):
        return ", ".join(f"[{_words(one)}]" if isinstance(one, tuple | list) else _words(one) for one in value)
    return str(value)
