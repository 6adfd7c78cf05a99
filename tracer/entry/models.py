"""The shapes of `vehicle.yaml`, a sheet and each kind of part. The JSON Schema is made from these.

Every value arrives as text (see `text.py`); the shapes below turn it into numbers, pins and conditions.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, ClassVar

from tracer.entry import values
from tracer.entry.problems import did_you_mean, listed
from tracer.entry.shapes import anything, fact, facts, mapping_of, nested, scalar
from tracer.entry.values import Misread, When

# --- scalars -------------------------------------------------------------------------------------------------------


def _scalar(typed: Any) -> str:
    if not isinstance(typed, str):
        raise Misread(
            "one piece of text is wanted here, not a list or a mapping",
            "Write one word or sentence; in quotes if it holds `: ` or ` #`.",
        )
    return typed.strip()


def _name(typed: Any) -> str:
    name = _scalar(typed)
    if not name:
        raise Misread("nothing stands here", "Write its name.")
    return name


def _choice(*words: str) -> Callable[[Any], str]:
    def parse(typed: Any) -> str:
        word = _scalar(typed)
        if word not in words:
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
    groups = tuple(_pins(group) for group in typed)
    if any(isinstance(group, str) and len(pins) < 2 for group, pins in zip(typed, groups, strict=True)):
        raise Misread("a list of groups is wanted here, not of single pins", "Write for example `[[1-4], [5, 6]]`.")
    return groups


def _rows(typed: Any) -> tuple[tuple[str, ...], ...]:
    """Rows of labels as they sit in a panel. `_` is a gap and may come back, a label may not."""
    if not isinstance(typed, list):
        raise Misread("a list of rows is wanted here", "Write for example `[[F1-F4], [F5, _, F6-F7]]`.")
    rows = []
    for row in typed:
        items = [row] if isinstance(row, str) else row
        if not isinstance(items, list):
            raise Misread("a row of labels is wanted here", "Write for example `[F5, _, F6-F7]`.")
        labels: list[str] = []
        for item in items:
            labels += ["_"] if isinstance(item, str) and item.strip() == "_" else values.pin_list([item])
        rows.append(tuple(labels))
    return tuple(rows)


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


def _wire_count(typed: Any) -> int | None:
    count = values.number(_scalar(typed), {}, "a number of wires", 0, 99)
    if count != int(count):
        raise Misread(f"`{_scalar(typed)}` is no whole number", "Write how many wires end there, such as `4`.")
    return int(count)


_TEXT_SCHEMA = {"type": ["string", "number", "boolean"]}
_PINS_SCHEMA = {
    "anyOf": [{"type": ["string", "number"]}, {"type": "array", "items": {"type": ["string", "number"]}}],
    "description": "pins: `1-32`, or a list such as [1, 5-8]",
}
_WHEN_SCHEMA = {
    "anyOf": [{"type": ["string", "boolean"]}, {"type": "array", "items": {"type": ["string", "boolean"]}}],
    "description": "always, never, unknown, or a list of key states and conditions; `and` and `not` inside an entry",
}
_NUMBER_SCHEMA = {"type": ["string", "number"]}


def _words(typed: Any) -> tuple[str, ...]:
    if isinstance(typed, dict):
        raise Misread("a list of words is wanted here", "Write for example `[off, run, start]`.")
    return tuple(_name(word) for word in ([typed] if isinstance(typed, str) else typed))


def _chosen(*words: str) -> Any:
    return scalar(_choice(*words), {"enum": list(words)})


_DRAW_A = _unknown_or(_number("a current in A", 0, 2000, a=1.0, ma=0.001))


def _draw(typed: Any) -> dict[str, float | None]:
    """A draw: one current, or a current for each key state or condition. The key of a single current is empty."""
    if isinstance(typed, dict):
        return {name: _DRAW_A(value) for name, value in typed.items()}
    return {"": _DRAW_A(typed)}


def _limit(typed: Any) -> tuple[float, ...]:
    """A limit: one number, or two as a range `12.2-12.8`; a unit may follow."""
    text = _scalar(typed)
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


TEXT = scalar(_scalar, _TEXT_SCHEMA)
NAME = scalar(_name, _TEXT_SCHEMA)
WORDS = scalar(_words, {"type": "array", "items": _TEXT_SCHEMA})
PINS = scalar(_pins, _PINS_SCHEMA)
TARGETS = scalar(_targets, _PINS_SCHEMA)
GROUPS = scalar(_groups, {"type": "array", "items": _PINS_SCHEMA})
ROWS = scalar(_rows, {"type": "array", "items": _PINS_SCHEMA})
CONTACTS = scalar(_contact_groups, {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]})
WHEN = scalar(_when, _WHEN_SCHEMA)
COIL = scalar(_coil, {"type": "string"})
AMPS = scalar(_unknown_or(_number("a rating in A", 0.1, 2000, a=1.0, ma=0.001)), _NUMBER_SCHEMA)
WATTS = scalar(_unknown_or(_number("a power in W", 0.01, 100_000, w=1.0, kw=1000.0)), _NUMBER_SCHEMA)
OHMS = scalar(
    _unknown_or(
        _number(
            "a resistance in ohms",
            0.00001,
            1e9,
            **{"ohm": 1.0, "ohms": 1.0, "ω": 1.0, "kohm": 1e3, "kω": 1e3, "k": 1e3},
        )
    ),
    _NUMBER_SCHEMA,
)
VOLTS = scalar(_unknown_or(_number("a voltage in V", 0.1, 1000, v=1.0)), _NUMBER_SCHEMA)
DRAW = scalar(
    _draw,
    {
        "anyOf": [_NUMBER_SCHEMA, {"type": "object", "additionalProperties": _NUMBER_SCHEMA}],
        "description": "a current in A, or {key state or condition: A}",
    },
)
LIMIT = scalar(_limit, {**_NUMBER_SCHEMA, "description": "a number, or a range such as 12.2-12.8"})
SEEN = _chosen("diagram", "vehicle", "assumed")
STATE = _chosen("fitted", "empty", "option", "none")
GETS = scalar(
    _gets,
    {
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
    },
)
WIRE_COUNT = scalar(
    _unknown_or(_wire_count),
    {**_NUMBER_SCHEMA, "description": "how many wires end there, as counted on the vehicle or given by the maker"},
)
YES_NO = scalar(_choice("yes", "no"), {"type": ["string", "boolean"]})

# --- parts ---------------------------------------------------------------------------------------------------------


@facts
class PartFacts:
    """What every kind of part may say."""

    kind_name: ClassVar[str] = "part"

    is_: str | None = fact(TEXT, "the kind of part", key="is")
    name: str | None = fact(TEXT, "what it is called in words")
    at: str | None = fact(TEXT, "where it sits")
    access: str | None = fact(TEXT, "how to get there")
    note: str | None = fact(TEXT)
    seen: str | None = fact(SEEN, "where the fact is from")
    meets: dict[str, str] = fact(
        mapping_of(TEXT), "{PIN: POINT}: this pin sits directly on that point, no wire between", default={}
    )


@facts
class OutputFacts:
    """One switched output of a module."""

    drives: str = fact(_chosen("high", "low", "both", "reference", "signal"), required=True)
    from_: tuple[str, ...] = fact(PINS, "the module's supply pins it switches from", key="from", default=())
    through: tuple[str, ...] = fact(PINS, "the module's ground pins it switches to", default=())
    when: When = fact(WHEN, default=values.NOT_KNOWN)
    command: str | None = fact(TEXT, "outputs with the same command are commanded together")
    fuse: float | None = fact(AMPS, "rating in A of the fuse that this electronic output replaces")
    volts: float | None = fact(VOLTS)


def _output(typed: Any) -> Any:
    return {"drives": typed} if isinstance(typed, str) else typed


@facts
class ModuleFacts(PartFacts):
    """A control module."""

    kind_name = "module"
    cavities: tuple[str, ...] = fact(PINS, "every cavity of its connectors", default=())
    unused: tuple[str, ...] = fact(PINS, "the empty cavities", default=())
    pins: dict[str, str] = fact(
        mapping_of(TEXT),
        "{PIN: role and any words}; role: supply, ground, bus, output, reference, signal, shield",
        default={},
    )
    joined: tuple[tuple[str, ...], ...] = fact(GROUPS, "pins bridged inside the module: [[2, 18]]", default=())
    outputs: dict[str, OutputFacts] = fact(
        mapping_of(nested(OutputFacts, _output, {"enum": ["high", "low", "both", "reference", "signal"]})),
        "{PIN: what the module switches there}",
        default={},
    )
    draws: dict[str, dict[str, float | None]] = fact(
        mapping_of(DRAW),
        "{supply pin: A, or {key state, condition or `otherwise`: A}}: what the module takes there",
        default={},
    )
    returns: tuple[str, ...] = fact(PINS, "the ground pins through which what it draws goes back", default=())
    gets: dict[str, str] = fact(GETS, default={})


@facts
class FuseFacts(PartFacts):
    """A fuse on its own or in a position of a panel."""

    kind_name = "fuse"
    amps: float | None = fact(AMPS, "rating in A")
    type: str | None = fact(TEXT, "ISO 8820 type letter")
    serves: str | None = fact(TEXT, "what the lid or handbook says it serves")
    state: str | None = fact(STATE)
    or_: str | None = fact(TEXT, "the position in which the fuse of this circuit may sit instead", key="or")
    body: str | None = fact(TEXT, "label of the three-tab fuse of which this position is one of the two elements")
    feed_side: str | None = fact(TEXT, "which of its test points is the feed side: upper, left ...", key="feed side")
    output: str | None = fact(TEXT, "MODULE.PIN: the electronic output that does the work of a fuse here")


@facts
class LinkFacts(FuseFacts):
    """A fusible link."""

    kind_name = "link"


@facts
class BreakerFacts(FuseFacts):
    """A circuit breaker."""

    kind_name = "breaker"


@facts
class PanelFacts(PartFacts):
    """A fuse or relay box. Its positions are read one by one, see `load.py`."""

    kind_name = "panel"
    positions: dict[str, Any] = fact(
        mapping_of(anything({"anyOf": [{"type": ["string", "number"]}, {"type": "object"}]})),
        "{LABEL: rating in A | empty | unknown | {is: fuse|link|breaker|relay|diode, ...}}",
        default={},
    )
    busbars: dict[str, tuple[str, ...]] = fact(
        mapping_of(TARGETS), "{rail, stud or pin: positions it feeds}", default={}
    )
    rows: tuple[tuple[str, ...], ...] = fact(
        ROWS, "the labels as they sit in the panel, row by row; `_` is a gap", default=()
    )
    feed_side: str | None = fact(TEXT, "the feed side of every position that says nothing else", key="feed side")


@facts
class SpliceFacts(PartFacts):
    """A crimped or welded joint."""

    kind_name = "splice"
    wires: int | None = fact(WIRE_COUNT)


@facts
class ConnectorFacts(PartFacts):
    """An in-line connector: each cavity has two halves."""

    kind_name = "connector"
    cavities: tuple[str, ...] = fact(PINS, default=())
    unused: tuple[str, ...] = fact(PINS, default=())
    mates: dict[str, str] = fact(
        mapping_of(TEXT), "{cavity of half a: cavity of half b} where the numbers differ", default={}
    )
    halves: tuple[str, ...] = fact(WORDS, "what half a and half b belong to: [engine harness, cab harness]", default=())


@facts
class JointFacts(PartFacts):
    """A joint connector: groups of cavities that are one conductor."""

    kind_name = "joint"
    cavities: tuple[str, ...] = fact(PINS, default=())
    unused: tuple[str, ...] = fact(PINS, default=())
    bussed: tuple[tuple[str, ...], ...] = fact(GROUPS, "the groups that are one conductor: [[1-4], [5-8]]", default=())


@facts
class GroundFacts(PartFacts):
    """A ground point."""

    kind_name = "ground"
    on: str | None = fact(TEXT, "the mass it sits on: body (default), engine, cab ...")
    wires: int | None = fact(WIRE_COUNT)


@facts
class TwoPinFacts(PartFacts):
    """A part with two like pins, 1 and 2."""

    ohms: float | None = fact(OHMS)


@facts
class StrapFacts(TwoPinFacts):
    """A ground strap."""

    kind_name = "strap"


@facts
class ResistorFacts(TwoPinFacts):
    """A resistor: what lies behind it is not a supply."""

    kind_name = "resistor"


@facts
class LoadFacts(TwoPinFacts):
    """A lamp, motor, valve, heater or sensor: what lies behind it is not a supply."""

    kind_name = "load"
    watts: float | None = fact(WATTS)
    amps: float | None = fact(AMPS)
    pins: tuple[str, ...] = fact(PINS, "its pins, when they are not 1 and 2", default=())
    behaves: str | None = fact(
        _chosen("resistor", "lamp", "power", "current"),
        "how it answers to another voltage: as a resistor (default), a filament lamp, with steady power or steady current",
        default=None,
    )


@facts
class DiodeFacts(PartFacts):
    """A diode; conducts from A to K."""

    kind_name = "diode"
    serves: str | None = fact(TEXT)
    state: str | None = fact(STATE)


@facts
class BatteryFacts(PartFacts):
    """A battery; pins that begin with + are sources, pins that begin with - ground references."""

    kind_name = "battery"
    volts: float | None = fact(VOLTS)


@facts
class GeneratorFacts(PartFacts):
    """A generator; B+ is a source."""

    kind_name = "generator"
    volts: float | None = fact(VOLTS)


@facts
class ConverterFacts(PartFacts):
    """A converter: a load on one side and a source on the other."""

    kind_name = "converter"
    volts: float | None = fact(VOLTS)


@facts
class SwitchFacts(PartFacts):
    """A switch with its contact table."""

    kind_name = "switch"
    kind: str | None = fact(TEXT, "a switch kind of shared/ or types.yaml")
    follows: str | None = fact(TEXT, "`key`, or a condition of vehicle.yaml")
    contacts: dict[str, tuple[tuple[str, ...], ...]] = fact(
        mapping_of(CONTACTS), "{POSITION: [30-15, 30-75]}", default={}
    )


@facts
class RelayFacts(PartFacts):
    """A relay; its pins come from its kind, or from `coil` and `contacts`."""

    kind_name = "relay"
    kind: str | None = fact(TEXT, "a relay kind of shared/ or types.yaml")
    coil: tuple[str, str] | None = fact(COIL, "86-85")
    contacts: dict[str, tuple[tuple[str, ...], ...]] = fact(
        mapping_of(CONTACTS), "{rest: [30-87a], energised: [30-87]}", default={}
    )
    across_coil: str | None = fact(_chosen("diode", "resistor"), key="across coil")
    reset: tuple[str, str] | None = fact(COIL, "the second coil of a latching relay")
    unused: tuple[str, ...] = fact(PINS, default=())
    serves: str | None = fact(TEXT)
    state: str | None = fact(STATE)


KINDS: dict[str, type[PartFacts]] = {
    model.kind_name: model
    for model in (
        ModuleFacts, FuseFacts, LinkFacts, BreakerFacts, PanelFacts, SpliceFacts, ConnectorFacts, JointFacts,
        GroundFacts, StrapFacts, BatteryFacts, GeneratorFacts, ConverterFacts, LoadFacts, ResistorFacts, DiodeFacts,
        SwitchFacts, RelayFacts,
    )
}  # fmt: skip

ROLES = ("supply", "ground", "bus", "output", "reference", "signal", "shield")


# --- files ---------------------------------------------------------------------------------------------------------


@facts
class RailFacts:
    """One rail."""

    live: When | None = fact(WHEN, "when it is live")
    from_: str | None = fact(TEXT, "the point where the rail begins", key="from")
    name: str | None = fact(TEXT)
    ground: str = fact(YES_NO, default="no")


def _rail(typed: Any) -> Any:
    if isinstance(typed, str) and typed.strip() == "ground":
        return {"ground": "yes"}
    if isinstance(typed, str) and typed.strip() in ("din", ""):
        return {}
    return typed if isinstance(typed, dict) else {"live": typed}


@facts
class ConditionFacts:
    """One condition besides the key."""

    text: str | None = fact(TEXT)
    when: When = fact(WHEN, "the key states in which it is possible", default=values.ALWAYS)


def _condition(typed: Any) -> Any:
    return {"text": typed} if isinstance(typed, str) else typed


def _system(typed: Any) -> str:
    text = _scalar(typed).upper().replace(" ", "")
    return _choice("12 V", "24 V", "48 V")(f"{text[:-1]} V" if text.endswith("V") else f"{text} V")


_RAIL_SHORT = {
    "type": ["string", "array", "boolean", "null"],
    "description": "always, ground, din, unknown, or a list of key states and conditions",
}


@facts
class TerminationFacts:
    """One termination of a bus, in a part of its own or inside a module."""

    ohms: float | None = fact(OHMS, "between the two lines; for fault-tolerant CAN each line's own; LIN: to the supply")
    split: str = fact(YES_NO, "two halves with a capacitor at their middle", default="no")
    fitted: str = fact(YES_NO, "`no`: provided for, but not in this vehicle", default="yes")


def _termination(typed: Any) -> Any:
    return typed if isinstance(typed, dict) else {"ohms": typed}


@facts
class BusFacts:
    """One bus: its kind, its lines and its terminations. Lines that are not given are taken from pins called `bus NAME LINE`."""

    kind: str | None = fact(_chosen("high-speed can", "fault-tolerant can", "lin", "other"), "which rules hold for it")
    lines: dict[str, tuple[str, ...]] = fact(
        mapping_of(TARGETS), "{LINE: [PART.PIN, ...]}: its module pins, where their roles do not say it", default={}
    )
    terminations: dict[str, TerminationFacts] = fact(
        mapping_of(nested(TerminationFacts, _termination, _NUMBER_SCHEMA)),
        "{PART or MODULE: ohms}, or {ohms: 120, split: yes}",
        default={},
    )
    commander: str | None = fact(TEXT, "LIN: the module that commands the bus")
    name: str | None = fact(TEXT)


@facts
class VehicleFacts:
    """`vehicle.yaml`."""

    vehicle: str = fact(NAME, "its name, to variant level", required=True)
    system: str = fact(scalar(_system, {"enum": ["12 V", "24 V", "48 V"]}), default="12 V")
    colours: str = fact(_chosen("iec", "din", "sae"), "how wire colours are abbreviated", default="iec")
    key: tuple[str, ...] = fact(WORDS, "the key states in their order", default=("off", "acc", "run", "start"))
    conditions: dict[str, ConditionFacts] = fact(
        mapping_of(nested(ConditionFacts, _condition, {"type": "string"})), default={}
    )
    rails: dict[str, RailFacts] = fact(mapping_of(nested(RailFacts, _rail, _RAIL_SHORT)), default={})
    buses: dict[str, BusFacts] = fact(mapping_of(nested(BusFacts)), default={})
    limits: dict[str, tuple[float, ...]] = fact(
        mapping_of(LIMIT), "{what: V}: limits of this vehicle that take the place of the usual ones", default={}
    )
    note: str | None = fact(TEXT)


@facts
class ShopFacts:
    """A workshop's own limits, in a file of its own."""

    shop: str | None = fact(TEXT, "whose limits these are")
    limits: dict[str, tuple[float, ...]] = fact(mapping_of(LIMIT), "{what: V}", default={})
    note: str | None = fact(TEXT)


@facts
class SheetFacts:
    """The head of a sheet; `parts` and `runs` are read one by one so that one slip does not hide the others."""

    sheet: str = fact(NAME, "what the page calls itself", required=True)
    title: str | None = fact(TEXT)
    note: str | None = fact(TEXT)
    seen: str = fact(SEEN, "where the facts of this sheet are from", default="diagram")
    parts: Any = fact(anything({"type": ["object", "null"]}))
    runs: Any = fact(anything({"type": ["array", "null"]}))


@facts
class RunFacts:
    """A run as a mapping, to say more than its line."""

    run: str = fact(TEXT, "POINT -- WIRE -- POINT", required=True)
    seen: str | None = fact(SEEN)
    note: str | None = fact(TEXT)
