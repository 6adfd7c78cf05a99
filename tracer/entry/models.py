"""The shapes of `vehicle.yaml`, a sheet and each kind of part, as pydantic models. The JSON Schema is made from these.

Every value arrives as text (see `text.py`); the annotated types below turn it into numbers, pins and conditions.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from tracer.entry import values
from tracer.entry.values import Misread, When

# --- scalars -------------------------------------------------------------------------------------------------------


def _reading(parse: Callable[[Any], Any]) -> BeforeValidator:
    """A validator from a parser of `values`; its `Misread` becomes a pydantic error that carries the fix."""

    def read(typed: Any) -> Any:
        try:
            return parse(typed)
        except Misread as misread:
            raise PydanticCustomError("misread", "{what}", {"what": misread.what, "fix": misread.fix}) from None

    return BeforeValidator(read)


def _scalar(typed: Any) -> str:
    if not isinstance(typed, str):
        raise Misread(
            "one piece of text is wanted here, not a list or a mapping",
            "Write one word or sentence; in quotes if it holds `: ` or ` #`.",
        )
    return typed.strip()


def _choice(*words: str) -> Callable[[Any], str]:
    def parse(typed: Any) -> str:
        word = _scalar(typed)
        if word not in words:
            from tracer.entry.problems import did_you_mean, listed

            raise Misread(f"`{word}` is not possible here", did_you_mean(word, words, f"Write {listed(words)}."))
        return word

    return parse


def _number(quantity: str, least: float, most: float, **units: float) -> Callable[[Any], float]:
    return lambda typed: values.number(_scalar(typed), units, quantity, least, most)


def _unknown_or(parse: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda typed: None if isinstance(typed, str) and typed.strip() in values.UNKNOWN_WORDS else parse(typed)


def _pins(typed: Any) -> tuple[str, ...]:
    if isinstance(typed, dict):
        raise Misread("a list of pins is wanted here", "Write for example `[1, 5-8]`.")
    return values.pin_list(typed)


def _targets(typed: Any) -> tuple[str, ...]:
    if isinstance(typed, dict):
        raise Misread("a list of positions is wanted here", "Write for example `[F9-F11, K2.30]`.")
    return values.pin_list(typed, dotted=True)


def _groups(typed: Any) -> tuple[tuple[str, ...], ...]:
    if not isinstance(typed, list):
        raise Misread("a list of groups is wanted here", "Write for example `[[1-4], [5, 6]]`.")
    return tuple(_pins(group) for group in typed)


def _contact_groups(typed: Any) -> tuple[tuple[str, ...], ...]:
    items = [typed] if isinstance(typed, str) and typed.strip() else typed or []
    if not isinstance(items, list) or not all(isinstance(item, str) for item in items):
        raise Misread(
            "the contacts that are closed are wanted here",
            "Write for example `[30-15, 30-75]`, or `[]` for none.",
        )
    return tuple(values.pin_group(item) for item in items)


def _when(typed: Any) -> When:
    if isinstance(typed, dict):
        raise Misread("a list of key states and conditions is wanted here", "Write for example `[run, start]`.")
    return values.when(typed)


def _coil(typed: Any) -> tuple[str, str]:
    pins = values.pin_group(_scalar(typed))
    if len(pins) != 2:
        raise Misread("a coil has two pins", "Write for example `coil: 86-85`.")
    return pins[0], pins[1]


_TEXT_SCHEMA = {"type": ["string", "number", "boolean"]}
_PINS_SCHEMA = {
    "anyOf": [{"type": ["string", "number"]}, {"type": "array", "items": {"type": ["string", "number"]}}],
    "description": "pins: `1-32`, or a list such as [1, 5-8]",
}
_WHEN_SCHEMA = {
    "anyOf": [{"type": ["string", "boolean"]}, {"type": "array", "items": {"type": ["string", "boolean"]}}],
    "description": "always, never, unknown, or a list of key states and conditions; `and` and `not` inside an entry",
}


def _number_schema(description: str) -> WithJsonSchema:
    return WithJsonSchema({"type": ["string", "number"], "description": description})


Text = Annotated[str, _reading(_scalar), WithJsonSchema(_TEXT_SCHEMA)]
Pins = Annotated[tuple[str, ...], _reading(_pins), WithJsonSchema(_PINS_SCHEMA)]
Targets = Annotated[tuple[str, ...], _reading(_targets), WithJsonSchema(_PINS_SCHEMA)]
Groups = Annotated[
    tuple[tuple[str, ...], ...], _reading(_groups), WithJsonSchema({"type": "array", "items": _PINS_SCHEMA})
]
ContactGroups = Annotated[
    tuple[tuple[str, ...], ...],
    _reading(_contact_groups),
    WithJsonSchema(
        {
            "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
            "description": "[30-15, 30-75]",
        }
    ),
]
WhenField = Annotated[When, _reading(_when), WithJsonSchema(_WHEN_SCHEMA)]
Amps = Annotated[
    float | None,
    _reading(_unknown_or(_number("a rating in A", 0.1, 2000, a=1.0, ma=0.001))),
    _number_schema("A"),
]
Watts = Annotated[
    float | None,
    _reading(_unknown_or(_number("a power in W", 0.01, 100_000, w=1.0, kw=1000.0))),
    _number_schema("W"),
]
Ohms = Annotated[
    float | None,
    _reading(
        _unknown_or(
            _number(
                "a resistance in ohms",
                0.00001,
                1e9,
                ohm=1.0,
                ohms=1.0,
                **{"ω": 1.0, "kohm": 1000.0, "kω": 1000.0, "k": 1000.0},
            )
        )
    ),
    _number_schema("ohms"),
]
Volts = Annotated[float | None, _reading(_unknown_or(_number("a voltage in V", 0.1, 1000, v=1.0))), _number_schema("V")]
Seen = Annotated[
    Literal["diagram", "vehicle", "assumed"],
    _reading(_choice("diagram", "vehicle", "assumed")),
    Field(description="where the fact is from"),
]
Coil = Annotated[tuple[str, str], _reading(_coil), WithJsonSchema({"type": "string", "description": "86-85"})]
State = Annotated[Literal["fitted", "empty", "option", "none"], _reading(_choice("fitted", "empty", "option", "none"))]
YesNo = Annotated[Literal["yes", "no"], _reading(_choice("yes", "no")), WithJsonSchema({"type": ["string", "boolean"]})]


class Facts(BaseModel):
    """Common settings: unknown keys are refused, values do not change once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False, defer_build=True)


# --- parts ---------------------------------------------------------------------------------------------------------


class PartFacts(Facts):
    """What every kind of part may say."""

    kind_name: ClassVar[str] = "part"

    is_: Text | None = Field(default=None, alias="is", description="the kind of part")
    name: Text | None = Field(default=None, description="what it is called in words")
    at: Text | None = Field(default=None, description="where it sits")
    access: Text | None = Field(default=None, description="how to get there")
    note: Text | None = None
    seen: Seen | None = None
    meets: dict[Text, Text] = Field(
        default_factory=dict,
        description="{PIN: POINT}: this pin sits directly on that point, no wire between",
    )


class OutputFacts(Facts):
    """One switched output of a module."""

    drives: Annotated[
        Literal["high", "low", "both", "reference"], _reading(_choice("high", "low", "both", "reference"))
    ]
    from_: Pins = Field(default=(), alias="from", description="the module's supply pins it switches from")
    through: Pins = Field(default=(), description="the module's ground pins it switches to")
    when: WhenField = values.NOT_KNOWN
    command: Text | None = Field(default=None, description="outputs with the same command are commanded together")
    fuse: Amps = Field(default=None, description="rating in A of the fuse that this electronic output replaces")
    volts: Volts = None


def _output(typed: Any) -> Any:
    return {"drives": typed} if isinstance(typed, str) else typed


class ModuleFacts(PartFacts):
    """A control module."""

    kind_name = "module"
    cavities: Pins = Field(default=(), description="every cavity of its connectors")
    unused: Pins = ()
    pins: dict[Text, Text] = Field(
        default_factory=dict,
        description="{PIN: role and any words}; role: supply, ground, bus, output, reference, signal, shield",
    )
    joined: Groups = Field(default=(), description="pins bridged inside the module: [[2, 18]]")
    outputs: dict[Text, Annotated[OutputFacts, BeforeValidator(_output)]] = Field(default_factory=dict)


class FuseFacts(PartFacts):
    """A fuse on its own or in a position of a panel."""

    kind_name = "fuse"
    amps: Amps = Field(default=None, description="rating in A")
    type: Text | None = Field(default=None, description="ISO 8820 type letter")
    serves: Text | None = Field(default=None, description="what the lid or handbook says it serves")
    state: State | None = None


class LinkFacts(FuseFacts):
    """A fusible link."""

    kind_name = "link"


class BreakerFacts(FuseFacts):
    """A circuit breaker."""

    kind_name = "breaker"


class PanelFacts(PartFacts):
    """A fuse or relay box."""

    kind_name = "panel"
    positions: dict[Text, Any] = Field(
        default_factory=dict,
        description="{LABEL: rating in A | empty | unknown | {is: fuse|link|breaker|relay|diode, ...}}",
        json_schema_extra={"additionalProperties": {"anyOf": [{"type": ["string", "number"]}, {"type": "object"}]}},
    )
    busbars: dict[Text, Targets] = Field(default_factory=dict, description="{rail, stud or pin: positions it feeds}")
    rows: Groups = Field(default=(), description="the labels as they sit in the panel, row by row")


class SpliceFacts(PartFacts):
    """A crimped or welded joint."""

    kind_name = "splice"


class ConnectorFacts(PartFacts):
    """An in-line connector: each cavity has two halves."""

    kind_name = "connector"
    cavities: Pins = ()
    unused: Pins = ()
    mates: dict[Text, Text] = Field(
        default_factory=dict, description="{cavity of half a: cavity of half b} where the numbers differ"
    )
    halves: Annotated[
        tuple[str, ...],
        _reading(lambda typed: tuple(_scalar(word) for word in typed)),
        WithJsonSchema({"type": "array", "items": {"type": "string"}}),
    ] = ()


class JointFacts(PartFacts):
    """A joint connector: groups of cavities that are one conductor."""

    kind_name = "joint"
    cavities: Pins = ()
    unused: Pins = ()
    bussed: Groups = ()


class GroundFacts(PartFacts):
    """A ground point."""

    kind_name = "ground"
    on: Text | None = Field(default=None, description="the mass it sits on: body (default), engine, cab ...")


class TwoPinFacts(PartFacts):
    """A part with two like pins, 1 and 2."""

    ohms: Ohms = None


class StrapFacts(TwoPinFacts):
    """A ground strap."""

    kind_name = "strap"


class ResistorFacts(TwoPinFacts):
    """A resistor: what lies behind it is not a supply."""

    kind_name = "resistor"


class LoadFacts(TwoPinFacts):
    """A lamp, motor, valve, heater or sensor: what lies behind it is not a supply."""

    kind_name = "load"
    watts: Watts = None
    amps: Amps = None
    pins: Pins = Field(default=(), description="its pins, when they are not 1 and 2")


class DiodeFacts(PartFacts):
    """A diode; conducts from A to K."""

    kind_name = "diode"
    serves: Text | None = None
    state: State | None = None


class BatteryFacts(PartFacts):
    """A battery; pins that begin with + are sources, pins that begin with - ground references."""

    kind_name = "battery"
    volts: Volts = None


class GeneratorFacts(PartFacts):
    """A generator; B+ is a source."""

    kind_name = "generator"
    volts: Volts = None


class ConverterFacts(PartFacts):
    """A converter: a load on one side and a source on the other."""

    kind_name = "converter"
    volts: Volts = None


class SwitchFacts(PartFacts):
    """A switch with its contact table."""

    kind_name = "switch"
    kind: Text | None = None
    follows: Text | None = Field(default=None, description="`key`, or a condition of vehicle.yaml")
    contacts: dict[Text, ContactGroups] = Field(default_factory=dict, description="{POSITION: [30-15, 30-75]}")


class RelayFacts(PartFacts):
    """A relay; its pins come from its kind, or from `coil` and `contacts`."""

    kind_name = "relay"
    kind: Text | None = None
    coil: Coil | None = None
    contacts: dict[Text, ContactGroups] = Field(
        default_factory=dict, description="{rest: [30-87a], energised: [30-87]}"
    )
    across_coil: Annotated[Literal["diode", "resistor"], _reading(_choice("diode", "resistor"))] | None = Field(
        default=None, alias="across coil"
    )
    reset: Coil | None = Field(default=None, description="the second coil of a latching relay")
    unused: Pins = ()
    serves: Text | None = None
    state: State | None = None


KINDS: dict[str, type[PartFacts]] = {
    model.kind_name: model
    for model in (
        ModuleFacts, FuseFacts, LinkFacts, BreakerFacts, PanelFacts, SpliceFacts, ConnectorFacts, JointFacts, GroundFacts, StrapFacts,
        BatteryFacts, GeneratorFacts, ConverterFacts, LoadFacts, ResistorFacts, DiodeFacts, SwitchFacts, RelayFacts,
    )
}  # fmt: skip

ROLES = ("supply", "ground", "bus", "output", "reference", "signal", "shield")


# --- files ---------------------------------------------------------------------------------------------------------


class RailFacts(Facts):
    """One rail."""

    live: WhenField | None = None
    from_: Text | None = Field(default=None, alias="from", description="the point where the rail begins")
    name: Text | None = None
    ground: YesNo = "no"


def _rail(typed: Any) -> Any:
    if isinstance(typed, str) and typed.strip() == "ground":
        return {"ground": "yes"}
    if isinstance(typed, str) and typed.strip() in ("din", ""):
        return {}
    return typed if isinstance(typed, dict) else {"live": typed}


class ConditionFacts(Facts):
    """One condition besides the key."""

    text: Text | None = None
    when: WhenField = values.ALWAYS


def _condition(typed: Any) -> Any:
    return {"text": typed} if isinstance(typed, str) else typed


Words = Annotated[
    tuple[str, ...],
    _reading(lambda typed: tuple(_scalar(word) for word in ([typed] if isinstance(typed, str) else typed))),
    WithJsonSchema({"type": "array", "items": {"type": ["string", "boolean"]}}),
]


class VehicleFacts(Facts):
    """`vehicle.yaml`."""

    vehicle: Text
    system: Annotated[
        Literal["12 V", "24 V", "48 V"],
        _reading(lambda typed: _choice("12 V", "24 V", "48 V")(_spaced_volts(typed))),
    ] = "12 V"
    colours: Annotated[Literal["iec", "din", "sae"], _reading(_choice("iec", "din", "sae"))] = "iec"
    key: Words = ("off", "acc", "run", "start")
    conditions: dict[Text, Annotated[ConditionFacts, BeforeValidator(_condition)]] = Field(default_factory=dict)
    rails: dict[Text, Annotated[RailFacts, BeforeValidator(_rail)]] = Field(default_factory=dict)
    note: Text | None = None


def _spaced_volts(typed: Any) -> str:
    text = _scalar(typed).upper().replace(" ", "")
    return f"{text[:-1]} V" if text.endswith("V") else f"{text} V" if text.isdigit() else text


class SheetFacts(Facts):
    """The head of a sheet; `parts` and `runs` are read one by one so that one slip does not hide the others."""

    sheet: Text
    title: Text | None = None
    note: Text | None = None
    seen: Seen = "diagram"
    parts: Any = None
    runs: Any = None
