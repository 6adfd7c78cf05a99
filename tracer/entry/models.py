"""What may stand in each kind of part, as pydantic models (of a whole file: `file_models.py`). The JSON Schema is made from these.

Every value arrives as text (see `text.py`); the types in `scalars.py` turn it into numbers, pins and conditions.

A new key is a new field of the model of its part or file; nothing else has to know of it before it is used:

    from_: Pins = Field((), alias="from", description="the module's supply pins it switches from")

- its type is one of those types, `dict[str, TYPE]` for a mapping with any keys, another model for one with known keys,
  or `Annotated[Literal["a", "b"], ONE_OF]` for one word of several; `| None` where nothing need be said (amps, ohms and the like have it inside);
- a key that must be there has no default; a mapping has `default_factory=dict`;
- `alias` is the typed key where it is not the field's name (`from`, `feed side`);
- `description` is what an editor shows: it goes into the JSON Schema, which `python -m tracer.entry.schema` writes anew.

docs/format.md names the key to the user, and `circuit/parts.py` says what holds where two sheets state it differently.
"""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, WithJsonSchema

from tracer.entry import values
from tracer.entry.facts import ONE_OF, Facts, Short
from tracer.entry.part_kinds import PartKind
from tracer.entry.scalars import (
    RESET,
    Amps,
    Coil,
    Condition,
    ContactOhms,
    ContactTable,
    Draw,
    Face,
    Gets,
    Groups,
    HazardsByPin,
    Ohms,
    Pins,
    Rows,
    Seen,
    State,
    Targets,
    Text,
    Viewed,
    Volts,
    Watts,
    WireCount,
    Words,
    WordsByPin,
)


class PartFacts(Facts):
    """What every kind of part may say."""

    kind_name: ClassVar[str] = "part"

    is_: Text | None = Field(None, alias="is", description="the kind of part")
    name: Text | None = Field(None, description="what it is called in words")
    at: Text | None = Field(None, description="where it sits")
    access: Text | None = Field(None, description="how to get there")
    note: WordsByPin = Field(
        default_factory=dict, description="what else there is to say; for single pins {PIN: words}"
    )
    hazard: HazardsByPin = Field(
        default_factory=dict,
        description="what can hurt somebody: restraint, high voltage ...; for single pins {PIN: hazard}",
    )
    caution: WordsByPin = Field(default_factory=dict, description="what to mind; for single pins {PIN: words}")
    seen: Seen | None = Field(None, description="where the fact is from")
    guess: Text | None = Field(
        None, description="why its kind was guessed; take it away as soon as somebody has looked at the diagram"
    )
    meets: dict[str, Text] = Field(default_factory=dict, description="{PIN: POINT}: it sits directly on that point")


class OutputFacts(Facts):
    """One switched output of a module."""

    drives: Annotated[Literal["high", "low", "both", "reference", "signal"], ONE_OF]
    from_: Pins = Field((), alias="from", description="the module's supply pins it switches from")
    through: Pins = Field((), description="the module's ground pins it switches to")
    when: Condition = values.NOT_KNOWN
    command: Text | None = Field(None, description="outputs with the same command are commanded together")
    fuse: Amps = Field(None, description="rating in A of the fuse that this electronic output replaces")
    volts: Volts = None


def _output(typed: Any) -> Any:
    return {"drives": typed} if isinstance(typed, str) else typed


Output = Annotated[OutputFacts, Short(_output, {"enum": ["high", "low", "both", "reference", "signal"]})]


class ModuleFacts(PartFacts):
    """A control module."""

    kind_name = PartKind.MODULE
    cavities: Pins = Field((), description="every cavity of its connectors")
    unused: Pins = Field((), description="the empty cavities")
    pins: dict[str, Text] = Field(
        default_factory=dict,
        description="{PIN: role and any words}; role: supply, ground, bus, output, reference, signal, shield",
    )
    signals: Pins = Field((), description="pins that the diagram itself shows as signals: 5-40, 52")
    not_looked_at: Pins = Field((), alias="not looked at", description="cavities that nobody has looked at yet: 41-51")
    joined: Groups = Field((), description="pins bridged inside the module: [[2, 18]]")
    outputs: dict[str, Output] = Field(default_factory=dict, description="{PIN: what the module switches there}")
    draws: dict[str, Draw] = Field(
        default_factory=dict,
        description="{supply pin: A, or {key state, condition or `otherwise`: A}}: what the module takes there",
    )
    returns: Pins = Field((), description="the ground pins through which what it draws goes back")
    gets: Gets = Field(default_factory=dict)
    face: Face = ()
    viewed: Viewed | None = None


class FuseFacts(PartFacts):
    """A fuse on its own or in a position of a panel."""

    kind_name = PartKind.FUSE
    amps: Amps = Field(None, description="rating in A")
    type: Text | None = Field(None, description="ISO 8820 type letter")
    serves: Text | None = Field(None, description="what the lid or handbook says it serves")
    state: State | None = None
    or_: Text | None = Field(
        None, alias="or", description="the position in which the fuse of this circuit may sit instead"
    )
    body: Text | None = Field(
        None, description="label of the three-tab fuse of which this position is one of the two elements"
    )
    feed_side: Text | None = Field(
        None, alias="feed side", description="which of its test points is the feed side: upper, left ..."
    )
    output: Text | None = Field(None, description="MODULE.PIN: the electronic output that does the work of a fuse here")


class LinkFacts(FuseFacts):
    """A fusible link."""

    kind_name = PartKind.LINK


class BreakerFacts(FuseFacts):
    """A circuit breaker."""

    kind_name = PartKind.BREAKER


_POSITION_SCHEMA = {"anyOf": [{"type": ["string", "number"]}, {"type": "object"}]}


class PanelFacts(PartFacts):
    """A fuse or relay box."""

    kind_name = PartKind.PANEL
    # read one by one in `load.py`, so that one slip does not hide the others
    positions: dict[str, Annotated[Any, WithJsonSchema(_POSITION_SCHEMA)]] = Field(
        default_factory=dict,
        description="{LABEL: rating in A | empty | unknown | {is: fuse|link|breaker|relay|diode, ...}}",
    )
    busbars: dict[str, Targets] = Field(default_factory=dict, description="{rail, stud or pin: positions it feeds}")
    rows: Rows = Field((), description="the labels as they sit in the panel, row by row; `_` is a gap")
    feed_side: Text | None = Field(
        None, alias="feed side", description="the feed side of every position that says nothing else"
    )


class SpliceFacts(PartFacts):
    """A crimped or welded joint, a stud."""

    kind_name = PartKind.SPLICE
    wires: WireCount = None
    lugs: Pins = Field((), description="the names of the lugs on a stud, where the diagram names them")


class ContactFacts(PartFacts):
    """A part with contacts or joints whose resistance may be known."""

    contact_ohms: ContactOhms = Field(
        None,
        alias="contact ohms",
        description="of each of its contacts or joints, as measured or as the maker gives it",
    )


class ConnectorFacts(ContactFacts):
    """An in-line connector: each cavity has two halves."""

    kind_name = PartKind.CONNECTOR
    cavities: Pins = ()
    unused: Pins = ()
    mates: dict[str, Text] = Field(
        default_factory=dict, description="{cavity of half a: cavity of half b} where the numbers differ"
    )
    halves: Words = Field((), description="what half a and half b belong to: [engine harness, cab harness]")
    face: Face = ()
    viewed: Viewed | None = None


class JointFacts(ContactFacts):
    """A joint connector: groups of cavities that are one conductor."""

    kind_name = PartKind.JOINT
    cavities: Pins = ()
    unused: Pins = ()
    bussed: Groups = Field((), description="the groups that are one conductor: [[1-4], [5-8]]")
    several: Pins = Field((), description="the cavities or studs that hold more than one wire")


class GroundFacts(ContactFacts):
    """A ground point."""

    kind_name = PartKind.GROUND
    on: Text | None = Field(None, description="the mass it sits on: body (default), engine, cab ...")
    wires: WireCount = None
    lugs: Pins = Field((), description="the names of the lugs on it, where the diagram names them")


class TwoPinFacts(PartFacts):
    """A part with two like pins, 1 and 2."""

    ohms: Ohms = None


class StrapFacts(TwoPinFacts):
    """A ground strap."""

    kind_name = PartKind.STRAP


class ResistorFacts(TwoPinFacts):
    """A resistor: what lies behind it is not a supply."""

    kind_name = PartKind.RESISTOR


class LoadFacts(TwoPinFacts):
    """A lamp, motor, valve, heater or sensor: what lies behind it is not a supply."""

    kind_name = PartKind.LOAD
    watts: Watts = None
    amps: Amps = None
    pins: Pins = Field((), description="its pins, when they are not 1 and 2")
    behaves: Annotated[Literal["resistor", "lamp", "power", "current"], ONE_OF] | None = Field(
        None,
        description="how it answers to another voltage: as a resistor (default), a filament lamp, with steady power or steady current",
    )


class DiodeFacts(PartFacts):
    """A diode; conducts from A to K."""

    kind_name = PartKind.DIODE
    serves: Text | None = None
    state: State | None = None


class BatteryFacts(PartFacts):
    """A battery; pins that begin with + are sources, pins that begin with - ground references."""

    kind_name = PartKind.BATTERY
    volts: Volts = None


class GeneratorFacts(PartFacts):
    """A generator; B+ is a source."""

    kind_name = PartKind.GENERATOR
    volts: Volts = None
    amps: Amps = Field(None, description="the most it gives, in A")


class ConverterFacts(PartFacts):
    """A converter: a load on one side and a source on the other."""

    kind_name = PartKind.CONVERTER
    volts: Volts = None
    return_: Annotated[Literal["joined", "isolated", "unknown"], ONE_OF] | None = Field(
        None,
        alias="return",
        description="it has a 0 V output of its own, pin `return`: joined with its ground inside, isolated from it, or unknown",
    )


# Keys that several of them have, with the same words in the schema.
_SWITCH_KIND = Field(None, description="a switch kind of shared/ or types.yaml")
_FOLLOWS = Field(None, description="`key`, or a condition of vehicle.yaml")
_BY_POSITION: dict[str, Any] = Field(
    default_factory=dict, description="{POSITION: [30-15, 30-75] or unknown}, or unknown"
)
_CONTACT_AMPS = Field(None, description="what its contacts are made for, in A")


class LeverFacts(Facts):
    """What moves contacts of a switch independently of the rest of it."""

    kind: Text | None = _SWITCH_KIND
    follows: Text | None = _FOLLOWS
    contacts: ContactTable = _BY_POSITION


class SwitchFacts(ContactFacts):
    """A switch with its contact table."""

    kind_name = PartKind.SWITCH
    kind: Text | None = _SWITCH_KIND
    follows: Text | None = _FOLLOWS
    contacts: ContactTable = _BY_POSITION
    levers: dict[str, LeverFacts] = Field(
        default_factory=dict, description="{LEVER: {contacts: ...}}: levers or knobs that move independently"
    )
    pins: Pins = Field((), description="pins that no contact joins, such as those of its lamp")
    amps: Amps = _CONTACT_AMPS


class RelayFacts(ContactFacts):
    """A relay; its pins come from its kind, or from `coil` and `contacts`."""

    kind_name = PartKind.RELAY
    kind: Text | None = Field(None, description="a relay kind of shared/ or types.yaml")
    coil: Coil | None = Field(None, description="86-85")
    contacts: ContactTable = Field(
        default_factory=dict, description="{rest: [30-87a], energised: [30-87] or unknown}, or unknown"
    )
    pins: Pins = Field((), description="pins that neither a contact nor the coil joins")
    amps: Amps = _CONTACT_AMPS
    across_coil: Annotated[Literal["diode", "resistor"], ONE_OF] | None = Field(None, alias="across coil")
    reset: Coil | None = RESET
    unused: Pins = ()
    serves: Text | None = None
    state: State | None = None


class BoxFacts(PartFacts):
    """A box whose inside is not documented: its pins are known, what joins them is not."""

    kind_name = PartKind.BOX
    cavities: Pins = Field((), description="its pins")
    unused: Pins = Field((), description="those that are empty")


KINDS: dict[str, type[PartFacts]] = {
    model.kind_name: model
    for model in (
        ModuleFacts, FuseFacts, LinkFacts, BreakerFacts, PanelFacts, SpliceFacts, ConnectorFacts, JointFacts,
        GroundFacts, StrapFacts, BatteryFacts, GeneratorFacts, ConverterFacts, LoadFacts, ResistorFacts, DiodeFacts,
        SwitchFacts, RelayFacts, BoxFacts,
    )
}  # fmt: skip

ROLES = ("supply", "ground", "bus", "output", "reference", "signal", "shield")
