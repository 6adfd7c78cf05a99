"""How typed text becomes a frozen record of facts: pydantic checks a tree of plain text against a model, every slip is told in our words.

    class FuseFacts(PartFacts):
        amps: Amps = Field(None, description="rating in A")

`read_facts` reports every slip in a tree, each with its path, and goes on; the place in the file is looked up by that path.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, Protocol, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationError
from pydantic_core import CoreSchema, core_schema

from tracer.entry.problems import did_you_mean, listed
from tracer.entry.values import Misread

Path_ = tuple[str | int, ...]
Schema = dict[str, Any]
FactsT = TypeVar("FactsT", bound="Facts")


class Facts(BaseModel):
    """What may stand in one mapping: only the keys of its fields. Frozen, and compared by identity: nobody compares facts whole.

    pydantic builds what checks a model when the first tree is checked against it, so that a kind of part that no sheet names costs nothing.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    def __eq__(self, other: object) -> bool:
        return self is other

    def __hash__(self) -> int:
        return id(self)

    def said(self, field: str) -> Any:
        """What stands in a field that only some kinds have; None where this one has no such field, which pydantic is slow to find out."""
        return vars(self).get(field)


class Report(Protocol):
    """Takes one slip: where (path, and whether its key is meant), the text, what is wrong, what to write instead."""

    def __call__(self, at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        """Take it."""


@dataclass(frozen=True, slots=True, eq=False)
class Plain:
    """Stands in `Annotated`: text of at least so many letters, without the blanks around it. An editor may take it for a number or for yes or no."""

    least: int = 0

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        # As `StringConstraints` would make it, which is worked out anew for each of a hundred fields and felt at the start.
        return core_schema.str_schema(strip_whitespace=True, min_length=self.least)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> Schema:
        return {"type": ["string", "number", "boolean"]}


@dataclass(frozen=True, slots=True, eq=False)
class ReadBy:
    """Stands in `Annotated`: `parse` turns what is typed into the value or raises `Misread`; `schema` is its JSON Schema."""

    parse: Callable[[Any], Any]
    schema: Schema

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> Schema:
        return dict(self.schema)


@dataclass(frozen=True, slots=True, eq=False)
class Short:
    """Stands in `Annotated`: `before` turns a short form (of JSON Schema `schema`) into the long one, which is then checked."""

    before: Callable[[Any], Any]
    schema: Schema | None = None
    description: str | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.before, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> Schema:
        long = handler(core)
        both = {"anyOf": [self.schema, long]} if self.schema else long
        return {**both, "description": self.description} if self.description else both


class OneOf:
    """Stands in `Annotated` beside a `Literal`: one of its words, blanks around it do not count."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(partial(one_of, get_args(source)), handler(source))


ONE_OF = OneOf()


def one_of(words: tuple[str, ...], typed: Any) -> str:
    """The word that was typed, if it is one of these."""
    word = as_text(typed)
    if word not in words:
        raise Misread(f"`{word}` is not possible here", did_you_mean(word, words, f"Write {listed(words)}."))
    return word


def as_text(typed: Any) -> str:
    """One piece of text, without the blanks around it."""
    if not isinstance(typed, str):
        raise Misread(*_SCALAR["string_type"])
    return typed.strip()


def keys_of(model: type[Facts]) -> dict[str, str]:
    """The typed keys of a model, each with the name of its field."""
    return {field.alias or name: name for name, field in model.model_fields.items()}


def read_facts(model: type[FactsT], tree: Any, path: Path_, report: Report) -> FactsT | None:
    """The model filled from a tree, or None when something was reported."""
    try:
        return model.model_validate(tree)
    except ValidationError as error:
        for slip in error.errors(include_url=False):
            _tell(model, path, slip, report)
    return None


# --- our words for what pydantic finds -------------------------------------------------------------------------------

_SCALAR = {
    "string_type": (
        "one piece of text is wanted here, not a list or a mapping",
        "Write one word or sentence; in quotes if it holds `: ` or ` #`.",
    ),
    "string_too_short": ("nothing stands here", "Write its name."),
}
_EXAMPLES = {
    "sheet": "Begin the file with what the page calls itself, such as `sheet: 4`.",
    "vehicle": "Begin the file with a name for the vehicle, such as `vehicle: white van, 2012`.",
}
_NOT_FORESEEN = ("this is not understood here", "docs/format.md shows what may stand here.")
_MAPPING = {"model_type": "Write for example `{is: splice}`.", "dict_type": "Write `{key: value}`, one for each."}


def _tell(model: type[Facts], path: Path_, slip: Any, report: Report) -> None:
    """One error of pydantic as a problem; `loc` is the path from the model to it."""
    kind, within, typed = slip["type"], slip["loc"], slip["input"]
    at = (*path, *within)
    if kind == "extra_forbidden":
        _tell_unknown(at, typed, list(keys_of(_model_at(model, within[:-1]))), report)
    elif kind == "missing":
        report(at[:-1], f"`{at[-1]}` is missing", _EXAMPLES.get(str(at[-1]), f"Add `{at[-1]}: ...`."))
    elif kind in _MAPPING:
        _tell_no_mapping(at, typed, _MAPPING[kind], report)
    else:
        misread = slip["ctx"]["error"] if kind == "value_error" else Misread(*_SCALAR.get(kind, _NOT_FORESEEN))
        # A list has numbers for steps, and the short form of a draw an empty key: what is named is the key above.
        named = next((step for step in reversed(at) if step and isinstance(step, str)), "")
        text = typed if isinstance(typed, str) else misread.text
        report(at, f"{named}: {misread.what}" if named else misread.what, misread.fix, text=text)


def _tell_no_mapping(at: Path_, typed: Any, fix: str, report: Report) -> None:
    name = f"`{at[-1]}`" if at else "the file"
    text = typed if isinstance(typed, str) else ""
    if isinstance(typed, list):
        report(at, f"{name} is a list; `key: value` pairs are wanted", fix)
    elif not typed:
        report(at, f"nothing stands under {name}", f"{fix[:-1]}, or remove the line.")
    else:
        report(at, f"{name} is a single word; `key: value` pairs are wanted", fix, text=text)


_TYPOGRAPHIC = frozenset("“”„‟‘’‚«»")


def _tell_unknown(at: Path_, typed: Any, known: list[str], report: Report) -> None:
    key = str(at[-1])
    fix = did_you_mean(key, known, f"Known here: {listed(known, most=24, joiner='and')}.")
    if typed == "" and ":" in key:
        fix = f"Put a space after the colon: `{key.replace(':', ': ', 1)}`."
    elif typed == "" and not _TYPOGRAPHIC.isdisjoint(key):
        fix = "These are typographic quotes, which hold no text together: put straight ones (\" or ') around the whole text."
    elif typed == "" and key[:1].isdigit():
        fix = f"Inside braces a comma ends a value, a decimal comma too: write a point, such as `1.{key}`; or put a text in quotes."
    elif typed == "":
        fix = f"Inside braces a comma ends a value: put a text with a comma in quotes. {fix}"
    report(at, f"`{key}` is not known here", fix, text=key, key=True)


def _model_at(model: type[Facts], within: Path_) -> type[Facts]:
    """The model that the mapping at a path inside another model is checked against."""
    kind: Any = model
    for step in within:
        if get_origin(kind) is dict:
            kind = get_args(kind)[1]
        else:
            kind = next(field.annotation for name, field in kind.model_fields.items() if step == (field.alias or name))
        while not isinstance(kind, type) and get_origin(kind) is not dict:
            kind = get_args(kind)[0]  # Annotated[X, ...] and `X | None` to X
    found: type[Facts] = kind
    return found
