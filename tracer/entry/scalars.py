"""The types of what is typed behind a key: numbers with units, pins, groups of pins, conditions, one word of several.

A new type of scalar is `Annotated[TYPE, ReadBy(parse, schema)]`: `parse` takes what was typed (text, a list or a mapping) and returns the value,
or raises `Misread` with what is wrong and what to write instead. A model or mapping that may be typed shorter is `Annotated[MODEL, Short(before, schema)]`.
"""

import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import Field, WithJsonSchema

from tracer.entry import values
from tracer.entry.facts import ONE_OF, Plain, ReadBy, Short, as_text, one_of
from tracer.entry.values import Misread, When


def _unknown_or(parse: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda typed: None if isinstance(typed, str) and typed.strip() in values.UNKNOWN_WORDS else parse(typed)


def _number(quantity: str, least: float, most: float, **units: float) -> ReadBy:
    """A number with or without a unit, or `unknown`."""

    def parse(typed: Any) -> float:
        return values.number(as_text(typed), units, quantity, least, most)

    return ReadBy(_unknown_or(parse), NUMBER_SCHEMA)


def _pins(typed: Any) -> tuple[str, ...]:
    return values.pins_behind(typed) if isinstance(typed, dict) else values.pin_list(typed)


def _targets(typed: Any) -> tuple[str, ...]:
    if isinstance(typed, dict):
        raise Misread("a list of positions is wanted here", "Write for example `[F9-F11, K2.30]`.")
    return values.pin_list(typed, dotted=True)


_GROUPS_WANTED, _GROUPS_EXAMPLE = "a list of groups is wanted here", "Write for example `[[1-4], [5, 6]]`."


def _groups(typed: Any) -> tuple[tuple[str, ...], ...]:
    if not isinstance(typed, list):
        raise Misread(_GROUPS_WANTED, _GROUPS_EXAMPLE)
    groups = tuple(_pins(group) for group in typed)
    if any(isinstance(group, str) and len(pins) < 2 for group, pins in zip(typed, groups, strict=True)):
        raise Misread(f"{_GROUPS_WANTED}, not of single pins", _GROUPS_EXAMPLE)
    if not all(groups):
        raise Misread("a group of pins is empty", "Write the pins that are joined, or take the group away.")
    return groups


def _rows(typed: Any) -> tuple[tuple[str, ...], ...]:
    """Rows of labels as they sit in a panel. `_` is a gap and may come back, a label may not."""
    return _as_they_sit(typed, "labels", "[[F1-F4], [F5, _, F6-F7]]", "[F5, _, F6-F7]")


def _face(typed: Any) -> tuple[tuple[str, ...], ...]:
    """Rows of cavities as they sit in a connector."""
    return _as_they_sit(typed, "cavities", "[[1, 2, 3], [4, _, 6]]", "[4, _, 6]")


def _as_they_sit(typed: Any, what: str, rows_like: str, row_like: str) -> tuple[tuple[str, ...], ...]:
    if not isinstance(typed, list):
        raise Misread("a list of rows is wanted here", f"Write for example `{rows_like}`.")
    rows = []
    for row in typed:
        items = [row] if isinstance(row, str) else row
        if not isinstance(items, list):
            raise Misread(f"a row of {what} is wanted here", f"Write for example `{row_like}`.")
        labels: list[str] = []
        for item in items:
            labels += ["_"] if isinstance(item, str) and item.strip() == "_" else values.pin_list([item])
        rows.append(tuple(labels))
    return tuple(rows)


def _contact_groups(typed: Any) -> tuple[tuple[str, ...], ...]:
    if isinstance(typed, str) and typed.strip() in values.UNKNOWN_WORDS:
        return values.UNKNOWN_CONTACTS
    items = [typed] if isinstance(typed, str) and typed.strip() else typed or []
    listed = isinstance(items, list) and all(isinstance(item, str) or _is_pins(item) for item in items)
    if not listed:
        raise Misread(
            "the contacts that are closed are wanted here",
            "Write for example `[30-15, 30-75]`, `[]` for none, or `unknown`.",
        )
    return tuple(values.pin_group(item) for item in items)


def _is_pins(typed: Any) -> bool:
    return isinstance(typed, list) and all(isinstance(pin, str) for pin in typed)


def _table(typed: Any) -> Any:
    return {values.UNKNOWN: []} if isinstance(typed, str) and typed.strip() in values.UNKNOWN_WORDS else typed


def _when(typed: Any) -> When:
    if isinstance(typed, dict):
        raise Misread("a list of key states and conditions is wanted here", values.STATES_EXAMPLE)
    return values.when(typed)


def _coil(typed: Any) -> tuple[str, str]:
    pins = values.pin_group(typed if _is_pins(typed) else as_text(typed))
    if len(pins) != 2:
        raise Misread("a coil has two pins", "Write for example `coil: 86-85`.")
    return pins[0], pins[1]


def _gets(typed: Any) -> dict[str, str]:
    """How a module without a supply or ground pin gets one: `passive` (it needs neither), or `{supply: BDM, ground: case}`."""
    if typed == "passive":
        return {"supply": "passive", "ground": "passive"}
    wrong = "how the module gets supply and ground is wanted here"
    fix = "Write `passive`, or `{supply: MODULE, ground: case}`; only for what no pin of it gets."
    if not isinstance(typed, dict) or not typed:
        raise Misread(wrong, fix)
    for level, how in typed.items():
        if level not in ("supply", "ground") or not isinstance(how, str) or not how.strip():
            raise Misread(wrong, fix, level)
        if level == "supply" and how.strip() == "case":
            raise Misread("no supply comes over the case", "Write the module that feeds it, or `passive`.", how)
    return {level: how.strip() for level, how in typed.items()}


def _wire_count(typed: Any) -> int:
    count = values.number(as_text(typed), {}, "a number of wires", 0, 99)
    if count != int(count):
        raise Misread(f"`{as_text(typed)}` is no whole number", "Write how many wires end there, such as `4`.")
    return int(count)


_PINS_SCHEMA = {
    "anyOf": [
        {"type": ["string", "number"]},
        {"type": "array", "items": {"type": ["string", "number"]}},
        {"type": "object"},
    ],
    "description": "pins: `1-32`, a list such as [1, 5-8], or {CN8-: 1-24} for the pins CN8-1 to CN8-24",
}
_WHEN_SCHEMA = {
    "anyOf": [{"type": ["string", "boolean"]}, {"type": "array", "items": {"type": ["string", "boolean"]}}],
    "description": "always, never, unknown, or a list of key states and conditions; `and` and `not` inside an entry",
}
_LISTS_OF_PINS_SCHEMA = {"type": "array", "items": _PINS_SCHEMA}
_GROUP_SCHEMA = {"type": ["string", "array"], "items": {"type": ["string", "number"]}}
_CONTACTS_SCHEMA = {"anyOf": [{"type": "string"}, {"type": "array", "items": _GROUP_SCHEMA}]}
NUMBER_SCHEMA = {"type": ["string", "number"]}
_LIMIT_SCHEMA = {**NUMBER_SCHEMA, "description": "a number, or a range such as 12.2-12.8"}


def _several(typed: Any) -> Any:
    if isinstance(typed, dict):
        raise Misread("a list of words is wanted here", "Write for example `[off, run, start]`.")
    return [typed] if isinstance(typed, str) else typed


def _draw(typed: Any) -> Any:
    return typed if isinstance(typed, dict) else {"": typed}


def _limit(typed: Any) -> tuple[float, ...]:
    """A limit: one number, or two as a range `12.2-12.8`; a unit may follow."""
    text = as_text(typed)
    match = _LIMIT.match(text)
    if match is None:
        raise Misread(f"`{text}` is not a limit", "Write a number such as `0.3`, or a range such as `12.2-12.8`.")
    found = tuple(float(word.replace(",", ".")) for word in (match["low"], match["high"]) if word)
    if len(found) == 2 and found[0] > found[1]:
        raise Misread(f"the range `{text}` runs backwards", "Write the lower number first.")
    return found


_LIMIT = re.compile(
    r"^(?P<low>\d+(?:[.,]\d+)?)(?:\s*(?:-|to)\s*(?P<high>\d+(?:[.,]\d+)?))?\s*(?:V|mA|mV|ohm|Ω|MΩ)?$", re.IGNORECASE
)


_OHM_UNITS = {"ohm": 1.0, "ohms": 1.0, "ω": 1.0, "kohm": 1e3, "kω": 1e3, "k": 1e3}

Text = Annotated[str, Plain()]
Name = Annotated[str, Plain(least=1)]
Words = Annotated[tuple[Name, ...], Short(_several)]
Pins = Annotated[tuple[str, ...], ReadBy(_pins, _PINS_SCHEMA)]
Targets = Annotated[tuple[str, ...], ReadBy(_targets, _PINS_SCHEMA)]
Groups = Annotated[tuple[tuple[str, ...], ...], ReadBy(_groups, _LISTS_OF_PINS_SCHEMA)]
Rows = Annotated[tuple[tuple[str, ...], ...], ReadBy(_rows, _LISTS_OF_PINS_SCHEMA)]
Face = Annotated[
    tuple[tuple[str, ...], ...],
    ReadBy(_face, _LISTS_OF_PINS_SCHEMA),
    Field(description="its cavities row by row as they sit, `_` where there is none: [[1, 2, 3], [4, _, 6]]"),
]
Viewed = Annotated[
    Literal["wire side", "mating side", "wire side a", "wire side b", "mating side a", "mating side b"],
    ONE_OF,
    Field(description="the side from which the face is seen; of a connector with its half: wire side a"),
]
Contacts = Annotated[tuple[tuple[str, ...], ...], ReadBy(_contact_groups, _CONTACTS_SCHEMA)]
Condition = Annotated[When, ReadBy(_when, _WHEN_SCHEMA)]
# `unknown` is a table with the one position `unknown`, which joins nothing: circuit/parts.py knows it by that.
ContactTable = Annotated[dict[str, Contacts], Short(_table, {"enum": ["unknown"]})]
Coil = Annotated[tuple[str, str], ReadBy(_coil, _GROUP_SCHEMA)]
Amps = Annotated[float | None, _number("a rating in A", 0.1, 2000, a=1.0, ma=0.001)]
Watts = Annotated[float | None, _number("a power in W", 0.01, 100_000, w=1.0, kw=1000.0)]
Ohms = Annotated[float | None, _number("a resistance in ohms", 0.00001, 1e9, **_OHM_UNITS)]
ContactOhms = Annotated[
    float | None, _number("the resistance of a contact in ohms", 0.00001, 10, **_OHM_UNITS, mohm=1e-3, mω=1e-3)
]
Volts = Annotated[float | None, _number("a voltage in V", 0.1, 1000, v=1.0)]
Celsius = Annotated[float | None, _number("a temperature in °C", 20, 200, c=1.0)]
DrawnAmps = Annotated[float | None, _number("a current in A", 0, 2000, a=1.0, ma=0.001)]
# A current for each key state or condition; a single current goes under an empty key.
Draw = Annotated[dict[str, DrawnAmps], Short(_draw, NUMBER_SCHEMA, "a current in A, or {key state or condition: A}")]
Limit = Annotated[tuple[float, ...], ReadBy(_limit, _LIMIT_SCHEMA)]
Seen = Annotated[Literal["diagram", "vehicle", "assumed"], ONE_OF]
State = Annotated[Literal["fitted", "empty", "option", "none"], ONE_OF]
RESET = Field(None, description="the second coil of a latching relay")
NOT_FITTED = ("empty", "option")  # nothing goes through such a position
NO_FUSE_BELONGS = (*NOT_FITTED, "none")  # nor is a fuse to be found where an electronic output takes its place
_GETS_SCHEMA = {
    "anyOf": [
        {"enum": ["passive"]},
        {
            "type": "object",
            "properties": {"supply": {"type": "string"}, "ground": {"type": "string"}},
            "additionalProperties": False,
            "minProperties": 1,
        },
    ],
    "description": "how a module gets the supply or ground that none of its pins has: passive, or {supply: MODULE, ground: case}",
}
Gets = Annotated[dict[str, str], ReadBy(_gets, _GETS_SCHEMA)]
_WIRE_COUNT_SCHEMA = {
    **NUMBER_SCHEMA, "description": "how many wires end there, as counted on the vehicle or given by the maker"
}  # fmt: skip
WireCount = Annotated[int | None, ReadBy(_unknown_or(_wire_count), _WIRE_COUNT_SCHEMA)]
YesNo = Annotated[Literal["yes", "no"], ONE_OF, WithJsonSchema({"type": ["string", "boolean"]})]

HAZARD_WORDS = ("restraint", "high voltage", "fuel", "raised load", "hot", "moving", "none")


def _hazard_words(typed: Any) -> tuple[str, ...]:
    found = tuple(one_of(HAZARD_WORDS, word) for word in (typed if isinstance(typed, list) else [typed]))
    if "none" in found and len(found) > 1:
        raise Misread(
            "`none` does not go with another hazard", "Write `hazard: none` alone, or the hazards without it."
        )
    return found


def _vehicle_hazards(typed: Any) -> tuple[str, ...]:
    found = _hazard_words(typed)
    if "none" in found:
        raise Misread(
            "`none` is not possible for a whole vehicle",
            "Write it on the part or the page whose name only sounds like one.",
        )
    return found


def _by_pin(typed: Any) -> Any:
    return typed if isinstance(typed, dict) else {"": typed}


_HAZARD_SCHEMA = {
    "anyOf": [{"enum": list(HAZARD_WORDS)}, {"type": "array", "items": {"enum": list(HAZARD_WORDS)}}],
    "description": "what can hurt somebody here; `none` where a name only sounds like it",
}
_VEHICLE_HAZARD_SCHEMA = {
    "anyOf": [{"enum": list(HAZARD_WORDS[:-1])}, {"type": "array", "items": {"enum": list(HAZARD_WORDS[:-1])}}],
    "description": "what can hurt somebody anywhere on it: said by every command",
}
HazardWords = Annotated[tuple[str, ...], ReadBy(_hazard_words, _HAZARD_SCHEMA)]
VehicleHazards = Annotated[tuple[str, ...], ReadBy(_vehicle_hazards, _VEHICLE_HAZARD_SCHEMA)]
# By pin; what holds for the whole part goes under an empty key.
HazardsByPin = Annotated[dict[str, HazardWords], Short(_by_pin, _HAZARD_SCHEMA)]
WordsByPin = Annotated[dict[str, Text], Short(_by_pin, {"type": "string"})]
