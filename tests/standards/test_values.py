"""Frozen dataclasses as the package makes them do what those of the standard library do."""

from __future__ import annotations

import copy
import dataclasses
import pickle
import sys
from pathlib import Path
from typing import Any

import pytest

import tracer
from tracer.standards import values

SHAPES: list[dict[str, Any]] = [{}, {"slots": True}, {"eq": False}, {"slots": True, "eq": False}]


def _classes(make: Any, how: dict[str, Any]) -> list[type]:
    @make(frozen=True, **how)
    class Plain:
        """One field."""

        a: int

    @make(frozen=True, **how)
    class Whole:
        """Fields of every sort."""

        a: int
        b: str = "x"
        c: dict[str, int] = dataclasses.field(default_factory=dict)
        d: tuple[int, ...] = dataclasses.field(default=(1,), repr=False, compare=False)

    @make(frozen=True, **how)
    class More(Plain):
        """One that inherits, and looks at what it was given."""

        e: int = 2

        def __post_init__(self) -> None:
            if self.e < 0:
                raise ValueError(self.e)

    @make(frozen=True, **how)
    class Own:
        """One that compares in its own way."""

        a: int

        def __eq__(self, other: object) -> bool:
            return True

        def __repr__(self) -> str:
            return "own"

    return [Plain, Whole, More, Own]


GIVEN: list[tuple[tuple[Any, ...], dict[str, Any]]] = [
    ((), {}), ((1,), {}), ((), {"a": 1}), ((1, "y"), {}), ((1,), {"c": {"k": 3}}), ((1, "y", {}, (2,)), {}), ((1,), {"e": 5}), ((1, -1), {}), ((1, 2, 3, 4, 5), {}),
    ((1,), {"a": 2}), ((1,), {"z": 2}),
]  # fmt: skip


def _tried(make: Any) -> tuple[str, Any]:
    try:
        return "made", make()
    except Exception as error:
        return type(error).__name__, str(error).split(".")[-1]


@pytest.mark.parametrize("how", SHAPES)
def test_what_is_made_shown_compared_and_refused_is_as_in_the_standard_library(how: dict[str, Any]) -> None:
    pairs = zip(_classes(values.dataclass, how), _classes(dataclasses.dataclass, how), strict=True)
    made = [_alike(ours, theirs, given, named) for ours, theirs in pairs for given, named in GIVEN]
    assert 10 < sum(made) < len(made)


def _alike(ours: Any, theirs: Any, given: tuple[Any, ...], named: dict[str, Any]) -> bool:
    """Whether both can be made of this; all else is held against one another."""
    assert [one.name for one in dataclasses.fields(ours)] == [one.name for one in dataclasses.fields(theirs)]
    assert ours.__match_args__ == theirs.__match_args__
    (came, a), (went, b) = _tried(lambda: ours(*given, **named)), _tried(lambda: theirs(*given, **named))
    assert came == went
    if came != "made":
        assert a == b
        return False
    again, once_more = ours(*given, **named), theirs(*given, **named)
    assert repr(a) == repr(b) and repr(dataclasses.replace(a, a=7)) == repr(dataclasses.replace(b, a=7))
    assert (a == again) == (b == once_more) and (a != again) == (b != once_more)
    assert (a == copy.copy(a)) == (b == copy.copy(b)) and (a == b) == (ours.__name__ == "Own")
    assert _tried(lambda: hash(a) == hash(again)) == _tried(lambda: hash(b) == hash(once_more))
    assert dataclasses.asdict(a) == dataclasses.asdict(b)
    assert _tried(lambda: setattr(a, "a", 3)) == _tried(lambda: setattr(b, "a", 3)) != ("made", None)
    assert _tried(lambda: delattr(a, "a")) == _tried(lambda: delattr(b, "a")) != ("made", None)
    assert _tried(lambda: setattr(a, "other", 3))[0] == "FrozenInstanceError"
    assert hasattr(a, "__dict__") == hasattr(b, "__dict__")
    return True


def test_two_of_one_class_do_not_share_what_is_made_for_each() -> None:
    whole = _classes(values.dataclass, {"slots": True})[1]
    assert whole(1).c is not whole(1).c


@values.dataclass(frozen=True, slots=True)
class _Carried:
    a: int
    b: tuple[int, ...] = ()


def test_values_go_from_one_process_to_another_and_are_copied_whole() -> None:
    one = _Carried(1, (2, 3))
    for other in (pickle.loads(pickle.dumps(one)), copy.copy(one), copy.deepcopy(one)):
        assert other == one and repr(other) == repr(one)


def test_one_that_holds_itself_is_shown_all_the_same() -> None:
    @values.dataclass(frozen=True)
    class Ring:
        """Holds a list."""

        inside: list[object]

    ring = Ring([])
    ring.inside.append(ring)
    assert repr(ring).endswith("Ring(inside=[...])")


def test_no_module_of_the_package_makes_them_in_the_slow_way() -> None:
    root = Path(tracer.__file__).parent
    typed = [path for path in root.rglob("*.py") if path != Path(str(sys.modules[values.__name__].__file__))]
    slow = [
        path.name
        for path in typed
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.startswith("from dataclasses import") and "dataclass" in line.replace(",", " ").split()[3:]
    ]
    assert len(typed) > 100 and slow == []
