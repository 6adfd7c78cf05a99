"""What may stand in `vehicle.yaml`, the head of a sheet, a run and a workshop's file, as pydantic models; how a key is added stands in `models.py`."""

from typing import Annotated, Any, Literal

from pydantic import Field, WithJsonSchema

from tracer.entry import values
from tracer.entry.facts import ONE_OF, Facts, ReadBy, Short, as_text, one_of
from tracer.entry.own_colours import Colours
from tracer.entry.scalars import (
    NUMBER_SCHEMA,
    Celsius,
    Condition,
    HazardWords,
    Limit,
    Name,
    Ohms,
    Seen,
    Targets,
    Text,
    VehicleHazards,
    Words,
    YesNo,
)


class RailFacts(Facts):
    """One rail."""

    live: Condition | None = Field(None, description="when it is live")
    from_: Text | None = Field(None, alias="from", description="the point where the rail begins")
    name: Text | None = None
    ground: YesNo = "no"


def _rail(typed: Any) -> Any:
    if isinstance(typed, str) and typed.strip() == "ground":
        return {"ground": "yes"}
    if isinstance(typed, str) and typed.strip() in ("din", ""):
        return {}
    return typed if isinstance(typed, dict) else {"live": typed}


_RAIL_SHORT = {
    "type": ["string", "array", "boolean", "null"],
    "description": "always, ground, din, unknown, or a list of key states and conditions",
}
Rail = Annotated[RailFacts, Short(_rail, _RAIL_SHORT)]


class ConditionFacts(Facts):
    """One condition besides the key."""

    text: Text | None = None
    when: Condition = Field(values.ALWAYS, description="the key states in which it is possible")


def _condition(typed: Any) -> Any:
    return {"text": typed} if isinstance(typed, str) else typed


OtherCondition = Annotated[ConditionFacts, Short(_condition, {"type": "string"})]


_SYSTEMS = ("12 V", "24 V", "48 V")


def _system(typed: Any) -> str:
    text = as_text(typed).upper().replace(" ", "")
    return one_of(_SYSTEMS, f"{text.removesuffix('V')} V")


System = Annotated[Literal["12 V", "24 V", "48 V"], ReadBy(_system, {"enum": list(_SYSTEMS)})]


class TerminationFacts(Facts):
    """One termination of a bus, in a part of its own or inside a module."""

    ohms: Ohms = Field(
        None, description="between the two lines; for fault-tolerant CAN each line's own; LIN: to the supply"
    )
    split: YesNo = Field("no", description="two halves with a capacitor at their middle")
    fitted: YesNo = Field("yes", description="`no`: provided for, but not in this vehicle")


def _termination(typed: Any) -> Any:
    return typed if isinstance(typed, dict) else {"ohms": typed}


Termination = Annotated[TerminationFacts, Short(_termination, NUMBER_SCHEMA)]


class BusFacts(Facts):
    """One bus: its kind, its lines and its terminations. Lines that are not given are taken from pins called `bus NAME LINE`."""

    kind: Annotated[Literal["high-speed can", "fault-tolerant can", "lin", "other"], ONE_OF] | None = Field(
        None, description="which rules hold for it"
    )
    lines: dict[str, Targets] = Field(
        default_factory=dict, description="{LINE: [PART.PIN, ...]}: its module pins, where their roles do not say it"
    )
    terminations: dict[str, Termination] = Field(
        default_factory=dict, description="{PART or MODULE: ohms}, or {ohms: 120, split: yes}"
    )
    commander: Text | None = Field(None, description="LIN: the module that commands the bus")
    supply: System | None = Field(None, description="LIN: what feeds its modules, where the circuit does not tell")
    name: Text | None = None


class VehicleFacts(Facts):
    """`vehicle.yaml`."""

    vehicle: Name = Field(description="its name, to variant level")
    system: System = "12 V"
    warmest: Celsius = Field(
        None,
        description="°C of the warmest wire in it, by which computed resistances are bounded (105 where nothing is said)",
    )
    colours: Colours = "iec"
    key: Words = Field(values.KEY_STATES, description="the key states in their order")
    conditions: dict[str, OtherCondition] = Field(default_factory=dict)
    rails: dict[str, Rail] = Field(default_factory=dict)
    buses: dict[str, BusFacts] = Field(default_factory=dict)
    limits: dict[str, Limit] = Field(
        default_factory=dict, description="{what: V}: limits of this vehicle that take the place of the usual ones"
    )
    hazard: VehicleHazards = ()
    caution: Text | None = Field(None, description="what to mind in all work on this vehicle")
    note: Text | None = None


class ShopFacts(Facts):
    """A workshop's own limits, in a file of its own."""

    shop: Text | None = Field(None, description="whose limits these are")
    limits: dict[str, Limit] = Field(default_factory=dict, description="{what: V}")
    note: Text | None = None


class SheetFacts(Facts):
    """The head of a sheet; `parts` and `runs` are read one by one so that one slip does not hide the others."""

    sheet: Name = Field(description="what the page calls itself")
    title: Text | None = None
    page: Text | None = Field(None, description="photo or PDF of the page, inside the vehicle's folder: scans/p5.pdf")
    hazard: HazardWords = ()
    caution: Text | None = Field(None, description="what to mind with everything on this page")
    note: Text | None = None
    seen: Seen = Field("diagram", description="where the facts of this sheet are from")
    parts: Annotated[Any, WithJsonSchema({"type": ["object", "null"]})] = None
    runs: Annotated[Any, WithJsonSchema({"type": ["array", "null"]})] = None


class RunFacts(Facts):
    """A run as a mapping, to say more than its line."""

    run: Text = Field(description="POINT -- WIRE -- POINT")
    seen: Seen | None = None
    note: Text | None = None
