"""How typed text becomes a frozen record of facts: each field says how it is read and how its JSON Schema looks.

    @facts
    class FuseFacts(PartFacts):
        amps: float | None = fact(AMPS, "rating in A")

`read_facts` reports every slip in a tree, each with its path, and goes on. It is our own because the messages are the product here, and because it
must not cost a start-up that is felt at every call.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol, TypeVar, dataclass_transform

from tracer.entry.problems import did_you_mean, listed
from tracer.entry.values import Misread

Path_ = tuple[str | int, ...]
Schema = dict[str, Any]
FactsT = TypeVar("FactsT")


class Report(Protocol):
    """Takes one slip: where (path, and whether its key is meant), the text, what is wrong, what to write instead."""

    def __call__(self, at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        """Take it."""


class _Failed:
    """Stands for a value that could not be read."""


FAILED = _Failed()


@dataclass(frozen=True, slots=True)
class Shape:
    """One value: `read` turns the tree into it (or reports and returns FAILED), `schema` is its JSON Schema."""

    read: Callable[[Any, Path_, Report], Any]
    schema: Callable[[], Schema]


def scalar(parse: Callable[[Any], Any], schema: Schema) -> Shape:
    """A value with a parser of its own; the parser raises `Misread`."""

    def read(tree: Any, path: Path_, report: Report) -> Any:
        try:
            return parse(tree)
        except Misread as misread:
            name = f"{path[-1]}: " if path else ""
            report(path, f"{name}{misread.what}", misread.fix, text=tree if isinstance(tree, str) else misread.text)
            return FAILED

    return Shape(read, lambda: schema)


def mapping_of(item: Shape, description: str = "") -> Shape:
    """A mapping with any keys whose values have one shape."""

    def read(tree: Any, path: Path_, report: Report) -> Any:
        if not isinstance(tree, dict):
            _report_no_mapping(tree, path, report, "Write `{key: value}`, one for each.")
            return FAILED
        values = {key: item.read(value, (*path, key), report) for key, value in tree.items()}
        return FAILED if any(value is FAILED for value in values.values()) else values

    return Shape(read, lambda: {"type": "object", "additionalProperties": item.schema(), "description": description})


def nested(model: type[Any], before: Callable[[Any], Any] = lambda tree: tree, short: Schema | None = None) -> Shape:
    """A mapping with the known keys of a model; `before` turns a short form (of schema `short`) into the long one."""

    def read(tree: Any, path: Path_, report: Report) -> Any:
        found = read_facts(model, before(tree), path, report)
        return FAILED if found is None else found

    def schema() -> Schema:
        long = facts_schema(model)
        return {"anyOf": [short, long]} if short else long

    return Shape(read, schema)


def anything(schema: Schema) -> Shape:
    """A tree that is read elsewhere."""
    return Shape(lambda tree, path, report: tree, lambda: schema)


class _Fact:
    """A field of a facts class until `facts` has taken it in."""

    __slots__ = ("default", "description", "key", "required", "shape")

    def __init__(self, shape: Shape, description: str, key: str | None, default: Any, required: bool) -> None:
        self.shape, self.description, self.key = shape, description, key
        self.default, self.required = default, required


def fact(
    shape: Shape, description: str = "", *, key: str | None = None, default: Any = None, required: bool = False
) -> Any:
    """A field of a facts class. `key` is the typed key where it is not the field's name."""
    return _Fact(shape, description, key, default, required)


@dataclass_transform(frozen_default=True, kw_only_default=True, eq_default=False, field_specifiers=(fact,))
def facts(model: type[FactsT]) -> type[FactsT]:
    """A class of facts: frozen, made by keywords, its fields given with `fact`; without `__eq__`, nobody compares them whole.

    As a dataclass would be, but without compiling methods for each of some thirty classes at every start.
    """
    own = {name: value for name, value in vars(model).items() if isinstance(value, _Fact)}
    for name in own:
        delattr(model, name)
    model._facts_fields = {**getattr(model, "_facts_fields", {}), **own}  # type: ignore[attr-defined]
    for name, method in (("__init__", _init), ("__repr__", _repr), ("__setattr__", _frozen), ("__delattr__", _frozen)):
        setattr(model, name, method)
    return model


def _init(self: Any, **typed: Any) -> None:
    fields = type(self)._facts_fields
    for name, field in fields.items():
        if name in typed:
            continue
        if field.required:
            raise TypeError(f"{type(self).__name__} needs {name}")
        typed[name] = {} if isinstance(field.default, dict) else field.default
    if len(typed) > len(fields):
        raise TypeError(f"{type(self).__name__} has no {', '.join(sorted(typed.keys() - fields.keys()))}")
    self.__dict__.update(typed)


def _repr(self: Any) -> str:
    return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in vars(self).items())})"


def _frozen(self: Any, name: str, *_: Any) -> None:
    raise AttributeError(f"{type(self).__name__} is frozen: {name} stays as it was typed")


@dataclass(frozen=True, slots=True)
class Spec:
    """One field of a facts class: attribute, typed key, shape, whether it must be there, its description."""

    name: str
    key: str
    shape: Shape
    required: bool
    description: str


@cache
def specs_of(model: Any) -> Mapping[str, Spec]:
    """The fields of a facts class by their typed keys."""
    specs = {}
    for name, field in model._facts_fields.items():
        spec = Spec(name, field.key or name, field.shape, field.required, field.description)
        specs[spec.key] = spec
    return specs


def read_facts(model: Any, tree: Any, path: Path_, report: Report) -> Any:
    """The model filled from a tree, or None when something was reported."""
    if not isinstance(tree, dict):
        _report_no_mapping(tree, path, report, "Write for example `{is: splice}`.")
        return None
    specs = specs_of(model)
    values: dict[str, Any] = {}
    good = True
    for key, value in tree.items():
        spec = specs.get(key)
        if spec is None:
            _report_unknown(key, value, path, list(specs), report)
            good = False
            continue
        read = spec.shape.read(value, (*path, key), report)
        if read is FAILED:
            good = False
        else:
            values[spec.name] = read
    for spec in specs.values():
        if spec.required and spec.key not in tree:
            report(path, f"`{spec.key}` is missing", f"Add `{spec.key}: ...`.")
            good = False
    return model(**values) if good else None


def _report_no_mapping(tree: Any, path: Path_, report: Report, fix: str) -> None:
    name = f"`{path[-1]}`" if path else "the file"
    text = tree if isinstance(tree, str) else ""
    if isinstance(tree, list):
        report(path, f"{name} is a list; `key: value` pairs are wanted", fix)
    elif not tree:
        report(path, f"nothing stands under {name}", f"{fix[:-1]}, or remove the line.")
    else:
        report(path, f"{name} is a single word; `key: value` pairs are wanted", fix, text=text)


def _report_unknown(key: str, value: Any, path: Path_, known: list[str], report: Report) -> None:
    fix = did_you_mean(key, known, f"Known here: {listed(known, most=24, joiner='and')}.")
    if value == "" and ":" in key:
        fix = f"Put a space after the colon: `{key.replace(':', ': ', 1)}`."
    elif value == "":
        fix = f"Inside braces a comma ends a value: put a text with a comma in quotes. {fix}"
    report((*path, key), f"`{key}` is not known here", fix, text=key, key=True)


def facts_schema(model: Any) -> Schema:
    """JSON Schema of a facts class."""
    properties: Schema = {}
    for spec in specs_of(model).values():
        schema = dict(spec.shape.schema())
        if spec.description:
            schema["description"] = spec.description
        properties[spec.key] = schema
    schema = {"type": "object", "additionalProperties": False, "properties": properties}
    required = [spec.key for spec in specs_of(model).values() if spec.required]
    return {**schema, "required": required} if required else schema
