"""How typed text becomes a frozen dataclass of facts: each field says how it is read and how its JSON Schema looks.

    class FuseFacts(PartFacts):
        amps: float | None = fact(AMPS, "rating in A")

`read_facts` reports every slip in a tree, each with its path, and goes on. It is our own because the messages are the product here, and because it
must not cost a start-up that is felt at every call.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Protocol

from tracer.entry.problems import did_you_mean, listed
from tracer.entry.values import Misread

Path_ = tuple[str | int, ...]
Schema = dict[str, Any]


class Report(Protocol):
    """Takes one slip: where (path, and whether its key is meant), the text, what is wrong, what to write instead."""

    def __call__(self, at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        """Take it."""


class _Failed:
    """Stands for a value that could not be read."""


FAILED = _Failed()


@dataclasses.dataclass(frozen=True, slots=True)
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
            report(
                path,
                f"{path[-1]}: a mapping is wanted here",
                "Write `{key: value}`." if tree else "Write `{key: value}`, or remove the line.",
                text=tree if isinstance(tree, str) else "",
            )
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


def fact(
    shape: Shape, description: str = "", *, key: str | None = None, default: Any = None, required: bool = False
) -> Any:
    """A field of a facts class. `key` is the typed key where it is not the field's name."""
    more = {"shape": shape, "key": key, "description": description}
    if required:
        return dataclasses.field(metadata=more)
    if isinstance(default, dict):
        return dataclasses.field(default_factory=dict, metadata=more)
    return dataclasses.field(default=default, metadata=more)


@dataclasses.dataclass(frozen=True, slots=True)
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
    for field in dataclasses.fields(model):
        more = field.metadata
        required = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
        spec = Spec(field.name, more["key"] or field.name, more["shape"], required, more["description"])
        specs[spec.key] = spec
    return specs


def read_facts(model: Any, tree: Any, path: Path_, report: Report) -> Any:
    """The model filled from a tree, or None when something was reported."""
    if not isinstance(tree, dict):
        what = "a mapping is wanted here (`{key: value}`)"
        report(path, what, "Write for example `{is: splice}`.", text=tree if isinstance(tree, str) else "")
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
