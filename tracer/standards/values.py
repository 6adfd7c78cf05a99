"""Frozen dataclasses that are quick to make: a program that is started for each question makes some 250 of them each time.

The standard library compiles six functions for each class; here only `__init__` is compiled, the others are shared. All else is as there: `fields`, `replace`,
`asdict`, pickling and copying work, an attribute that is set raises `FrozenInstanceError`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from operator import attrgetter
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(cls=None, /, **how):
        """As `dataclasses.dataclass`."""
        if cls is None:
            return lambda cls: dataclass(cls, **how)
        if not how.get("frozen") or how.keys() - {"frozen", "eq", "slots"}:
            return dataclasses.dataclass(cls, **how)
        return _frozen(cls, eq=how.get("eq", True), slots=how.get("slots", False))


__all__ = ["dataclass"]


def _frozen(cls: type, *, eq: bool, slots: bool) -> type:
    typed = dict(vars(cls))
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, slots=slots)(cls)
    fields = dataclasses.fields(made)
    names = [field.name for field in fields]
    methods: dict[str, Any] = {
        "__init__": _init_of(made, fields, slots=slots),
        "__repr__": _repr,
        "__setattr__": _no_set,
        "__delattr__": _no_delete,
    }
    if slots:
        methods |= {"__getstate__": _state_of(names), "__setstate__": _restored(names)}
    if eq:
        key = _key_of([field.name for field in fields if field.compare])
        methods |= {
            "__eq__": lambda one, other: key(one) == key(other) if other.__class__ is one.__class__ else NotImplemented,
            "__hash__": lambda one: hash(key(one)),
        }  # fmt: skip
    for name, method in methods.items():
        if typed.get(name) is None:  # `__hash__` is None where only `__eq__` is typed
            setattr(made, name, method)
    return made  # type: ignore[no-any-return]


def _init_of(cls: type, fields: tuple[dataclasses.Field[Any], ...], *, slots: bool) -> object:
    names: dict[str, Any] = {"set_": object.__setattr__, "MISSING": dataclasses.MISSING}
    asked, steps = ["self"], []
    for number, field in enumerate(fields):
        name = value = field.name
        default = name
        if field.default is not dataclasses.MISSING:
            names[f"given{number}"] = field.default
            default = f"{name}=given{number}"
        elif field.default_factory is not dataclasses.MISSING:
            names[f"make{number}"] = field.default_factory
            default, value = f"{name}=MISSING", f"make{number}() if {name} is MISSING else {name}"
        asked.append(default)
        if slots:  # quicker than to look the slot up each time
            names[f"put{number}"] = getattr(cls, name).__set__
        steps.append(f"put{number}(self, {value})" if slots else f"set_(self, {name!r}, {value})")
    if hasattr(cls, "__post_init__"):
        steps.append("self.__post_init__()")
    exec(f"def __init__({', '.join(asked)}):\n " + "\n ".join(steps or ["pass"]), names)
    init = names["__init__"]
    init.__qualname__ = f"{cls.__qualname__}.__init__"
    return init


def _key_of(names: list[str]) -> Callable[[object], tuple[object, ...]]:
    """The values that are compared."""
    if len(names) > 1:
        return attrgetter(*names)
    return lambda one: tuple(getattr(one, name) for name in names)


def _state_of(names: list[str]) -> Callable[[object], list[object]]:
    return lambda one: [getattr(one, name) for name in names]


def _restored(names: list[str]) -> Callable[[object, list[object]], None]:
    def restore(one: object, state: list[object]) -> None:
        for name, value in zip(names, state, strict=True):
            object.__setattr__(one, name, value)

    return restore


@recursive_repr()
def _repr(one: Any) -> str:
    shown = (f"{field.name}={getattr(one, field.name)!r}" for field in dataclasses.fields(one) if field.repr)
    return f"{one.__class__.__qualname__}({', '.join(shown)})"


def _no_set(_: object, name: str, value: object) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _no_delete(_: object, name: str) -> NoReturn:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")
