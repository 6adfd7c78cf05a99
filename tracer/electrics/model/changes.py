"""What if: parts opened, modules unplugged, loads and resistances added, other fuses fitted, conditions held. Text to values."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from tracer.circuit.kinds import FUSE_KINDS, LOADS, PARTS, LinkKind, PartKind
from tracer.circuit.model import Circuit, Lever
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import CannotAnswer, listed, nearest
from tracer.standards import figures
from tracer.trace.affects.dead_part import Target, UnknownPart, part_named, target_of
from tracer.trace.affects.still_fed import opened_at_pin
from tracer.trace.lists.results import Row

_AMOUNT = re.compile(r"^(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>[A-Za-zΩ\u2126]+)$")
_LOAD_UNITS = {
    "w": "lamp",
    "a": "current",
    "ma": "current",
    "ohm": "resistor",
    "ω": "resistor",
    "kohm": "resistor",
    "mohm": "resistor",
    "kω": "resistor",
    "mω": "resistor",
}
_PLAIN_UNITS = ("w", "a", "ohm", "ω")
_LEAST_AND_MOST = "from 0.00001 to 100 million W, A or ohm"
_FACTORS = {"m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6}  # m and M are told apart: 2 mΩ is not 2 MΩ


class BadChange(CannotAnswer, ValueError):
    """A what-if that cannot be understood; the message says what to write instead."""


@dataclass(frozen=True, slots=True)
class AddedLoad:
    """A load between a point and the battery: `kind` is lamp (W), current (A) or resistor (Ω)."""

    node: int
    level: str  # supply: to battery negative; ground: from battery positive
    kind: str
    amount: float
    words: str


@dataclass(frozen=True, slots=True)
class AddedOhm:
    """A resistance in series: inside `links` of a part, or (no links) between a node and the `attached` links that come to it."""

    links: tuple[int, ...]
    node: int
    attached: tuple[int, ...]
    ohm: float
    words: str


@dataclass(frozen=True, slots=True)
class Short:
    """A point that touches another one; `other` is None for battery negative (`to` is ground) and for battery positive (supply)."""

    node: int
    to: str  # ground, supply or point
    other: int | None
    words: str


@dataclass(frozen=True)
class Changes:
    """Everything that is taken to differ from the vehicle in order."""

    opened: tuple[Target, ...] = ()
    unplugged: tuple[str, ...] = ()
    loads: tuple[AddedLoad, ...] = ()
    added: tuple[AddedOhm, ...] = ()
    shorts: tuple[Short, ...] = ()
    fitted_a: Mapping[str, float] = field(default_factory=dict)
    held: Mapping[str, str] = field(default_factory=dict)
    battery_v: float | None = None
    # outputs of an unplugged module that a lead joins to the pin that they switch to, in its plug
    pulled: tuple[str, ...] = ()
    # nodes that a test load or a short pulls to ground as far as a relay goes by it: found, not typed
    grounded: tuple[int, ...] = ()

    @property
    def words(self) -> tuple[str, ...]:
        """Each change in words, in the order of the options."""
        return (
            *(target.words for target in self.opened),
            *(f"module {name} unplugged" for name in self.unplugged),
            *(f"{name} fitted with {figures.stated(amps, 'A')}" for name, amps in self.fitted_a.items()),
            *(load.words for load in self.loads),
            *(added.words for added in self.added),
            *(short.words for short in self.shorts),
        )

    @property
    def without_faults(self) -> Changes:
        """The same test on a vehicle in order: test loads stay, and with them the modules that are unplugged for it."""
        return replace(
            self, opened=(), added=(), shorts=(), fitted_a={}, unplugged=self.unplugged if self.loads else ()
        )

    @property
    def faulty(self) -> bool:
        """Whether anything differs from the same test on a vehicle in order."""
        return bool(self.opened or self.added or self.shorts or self.fitted_a or (self.unplugged and not self.loads))


def changes_of(
    circuit: Circuit,
    rows: Mapping[str, Row] | None = None,
    *,
    opened: Iterable[str] = (),
    unplugged: Iterable[str] = (),
    loads: Iterable[str] = (),
    added: Iterable[str] = (),
    shorts: Iterable[str] = (),
    fitted: Iterable[str] = (),
    held: Iterable[str] = (),
    battery_v: float | None = None,
    pulled: Iterable[str] = (),
) -> Changes:
    """Typed what-ifs as values.

    Parameters
    ----------
    rows : by each word that `loads` may call a row of the module's list by
    opened : PART or PART.PIN; unplugged : MODULE; loads : ROW=21W, PIN=2A, PIN=6ohm; added : PIN=0.5ohm
    shorts : POINT or POINT=ground, POINT=supply, POINT=POINT
    pulled : MODULE.PIN of an unplugged module's output; fitted : FUSE=30 or FUSE=30A; held : CONDITION, MODULE.PIN, SWITCH=POSITION, GENERATOR

    Raises
    ------
    BadChange, UnknownPart : what is wrong, and what to write
    """
    return Changes(
        tuple(target_of(circuit, name) for name in opened),
        tuple(_module(circuit, name) for name in unplugged),
        tuple(_load(circuit, rows or {}, text) for text in loads),
        tuple(_added(circuit, text) for text in added),
        tuple(_short(circuit, text) for text in shorts),
        dict(_fitted(circuit, text) for text in fitted),
        dict(_held(circuit, text) for text in held),
        battery_v,
        tuple(pulled),
    )


def default_position(contacts: Mapping[str, tuple[tuple[str, ...], ...]]) -> str:
    """The position that a switch worked by hand is taken to be in: the one that joins the fewest pins, the first of equals."""
    return min(contacts, key=lambda position: sum(len(group) for group in contacts[position]))


def commands_of(circuit: Circuit) -> dict[str, bool]:
    """Every command of a module output by its name, and whether the sheets say when it is given."""
    found: dict[str, bool] = {}
    for part in circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        for pin, output in part.facts.outputs.items():
            if output.drives not in ("reference", "signal"):
                found[output.command or f"{part.name}.{pin}"] = output.when.known
    return found


def _module(circuit: Circuit, name: str) -> str:
    part = circuit.parts.get(name)
    if part is None or part.kind is not PartKind.MODULE:
        known = [module.name for module in circuit.modules()]
        near = nearest(name, known)
        raise BadChange(
            f"{name} is not a module." + (f" Did you mean {near[0]}?" if near else f" Modules: {listed(known)}.")
        )
    return name


def _not_understood(text: str, example: str) -> BadChange:
    return BadChange(f"`{text}` is not understood: write it as {example}.")


def _split(text: str, example: str) -> tuple[str, str]:
    name, equals, amount = text.rpartition("=")
    if not equals or not name or not amount:
        raise _not_understood(text, example)
    return name.strip(), amount.strip()


def amount_of(text: str, units: Iterable[str], example: str) -> tuple[float, str]:
    """A number with its unit, in the unit without its prefix."""
    match = _AMOUNT.match(text)
    unit = match["unit"].lower() if match else ""
    if match is None or unit not in units:
        raise _not_understood(text, example)
    prefix = match["unit"][0] if unit not in _PLAIN_UNITS else ""
    value = float(match["number"].replace(",", ".")) * _FACTORS.get(prefix, 1.0)
    if not 1e-5 <= value <= 1e8:
        raise BadChange(f"`{text}` is out of range: {_LEAST_AND_MOST}.")
    if prefix == "M" and unit.endswith("a"):
        raise BadChange(f"`{text}` is out of range: write mA for thousandths of an ampere.")
    return value, unit


def _load(circuit: Circuit, rows: Mapping[str, Row], text: str) -> AddedLoad:
    example = "ROW=21W, PART.PIN=2A or PART.PIN=6ohm"
    name, amount = _split(text, example)
    value, unit = amount_of(amount, _LOAD_UNITS, example)
    kind = _LOAD_UNITS[unit]
    row = rows.get(name)
    if row is not None:
        node, level = circuit.pins_of[row.part][row.pin], row.level
    else:
        node, level = node_named(circuit, name, rows), "supply"
    shown = {
        "lamp": f"{figures.stated(value, 'W')} lamp",
        "current": f"load of {figures.stated(value, 'A')}",
        "resistor": f"load of {figures.ohms(value)}",
    }[kind]
    to = "battery negative" if level == "supply" else "battery positive"
    return AddedLoad(node, level, kind, value, f"{shown} between {circuit.node_names[node]} and {to}")


def node_named(circuit: Circuit, name: str, also: Iterable[str] = ()) -> int:
    """The node of a point typed as PART.PIN, a splice, a ground point or a rail.

    Raises
    ------
    BadChange : there is none
    """
    part, _, pin = name.partition(".")
    part = circuit.short_names.get(part, part)
    for key in ((part, pin), (name, "")):
        if key in circuit.node_of_point and circuit.is_told(circuit.node_of_point[key]):
            return circuit.node_of_point[key]
    if name in circuit.node_names:
        return circuit.node_names.index(name)
    near = nearest(name, [*circuit.node_names, *also])
    raise BadChange(f"there is no point {name}." + (f" Did you mean {near[0]}?" if near else ""))


# Where a resistance that is added to a part, a cavity or a ground point lies.
_IN_SERIES: dict[str, LinkKind] = {
    **{str(kind): row.between for kind, row in PARTS.items() if row.between is not None and row.between not in LOADS},
    "cavity": LinkKind.MATING, "ground": LinkKind.MASS, "relay": LinkKind.CONTACT, "switch": LinkKind.CONTACT,
}  # fmt: skip


def _added(circuit: Circuit, text: str) -> AddedOhm:
    example = "PART.PIN=0.5ohm"
    name, amount = _split(text, example)
    value, _ = amount_of(amount, ("ohm", "ω", "mohm", "mω", "kohm", "kω"), example)
    target = target_of(circuit, name)
    words = f"{figures.ohms(value)} in series at {name}"
    if target.kind in _IN_SERIES:
        numbers = (
            (n for n in target.opened.links)
            if target.kind == "cavity"
            else (n for n, link in enumerate(circuit.links) if link.part in target.parts)
        )
        links = tuple(sorted(n for n in numbers if circuit.links[n].kind is _IN_SERIES[target.kind]))
        if links:
            return AddedOhm(links, -1, (), value, words)
    if target.kind == "pin":
        node = node_named(circuit, target.name)
        attached = opened_at_pin(circuit, node).links
        return AddedOhm((), node, tuple(sorted(attached)), value, words)
    if target.kind == "splice":
        raise BadChange(
            f"{name} is a splice: give the resistance to one of its legs, at the pin where that leg ends, such as ALM.3=0.5ohm."
        )
    raise BadChange(
        f"{name} is a {target.kind}: say at which of its pins the resistance sits, such as {name}.1=0.5ohm."
    )


def _short(circuit: Circuit, text: str) -> Short:
    name, equals, to = (word.strip() for word in text.partition("="))
    if not name or (equals and not to):
        raise BadChange(f"`{text}` is not understood: write it as ALM.4, ALM.4=supply or ALM.4=ALM.9.")
    node = node_named(circuit, name)
    if to in ("", "ground", "supply"):
        post = "positive" if to == "supply" else "negative"
        return Short(node, to or "ground", None, f"{name} shorted to battery {post}")
    other = node_named(circuit, to)
    if other == node:
        raise BadChange(f"`{text}`: both are one point.")
    return Short(node, "point", other, f"{name} shorted to {to}")


def _fitted(circuit: Circuit, text: str) -> tuple[str, float]:
    name, amount = _split(text, "F9=30")
    parts = part_named(circuit, name)
    if len(parts) != 1 or circuit.parts[parts[0]].kind not in FUSE_KINDS:
        raise BadChange(f"{name} is not one fuse.")
    value, _ = amount_of(amount if amount[-1].isalpha() else f"{amount}A", ("a",), "F9=30")
    if not 0.1 <= value <= 2000:
        raise BadChange(f"{figures.stated(value, 'A')} is no rating of a fuse.")
    return parts[0], value


def levers_of(circuit: Circuit) -> dict[str, Lever]:
    """The switches and their levers by name: `S7`, `S7/wiper`."""
    return {lever.name: lever for part in circuit.parts.values() if part.kind is PartKind.SWITCH for lever in part.levers.values()}  # fmt: skip


def _held(circuit: Circuit, text: str) -> tuple[str, str]:
    name, _, state = text.partition("=")
    name, state = name.strip(), state.strip()
    part = circuit.parts.get(name)
    levers = levers_of(circuit)
    if lever := levers.get(name):
        if lever.follows is not None:
            raise BadChange(f"{name} follows {lever.follows}: hold that instead.")
        if state not in lever.contacts:
            raise BadChange(f"{name} has the positions {listed(list(lever.contacts))}: write {name}=POSITION.")
        return name, state
    if part is not None and part.kind is PartKind.SWITCH:
        own = [lever.name for lever in part.levers.values()]
        if own:
            raise BadChange(f"{name} has levers: write {listed([f'{one}=POSITION' for one in own])}.")
        raise BadChange(f"the contacts of {name} are not known: it has no position to hold.")
    generator = part is not None and part.kind is PartKind.GENERATOR
    commands = commands_of(circuit)
    if name in circuit.typed.vehicle.conditions or generator or name in commands:
        allowed = ("", "yes", "no", "high", "low") if name in commands else ("", "yes", "no")
        if state not in allowed:
            raise BadChange(f"`{text}`: write {name}, or {name}=no.")
        return name, state or "yes"
    known = [*circuit.typed.vehicle.conditions, *commands]
    known += [*levers, *(p.name for p in circuit.parts.values() if p.kind is PartKind.GENERATOR)]
    near = nearest(name, known)
    raise BadChange(
        f"{name} is no condition, command, hand-worked switch or generator."
        + (f" Did you mean {near[0]}?" if near else f" Conditions: {listed(list(circuit.typed.vehicle.conditions))}.")
    )


__all__ = [
    "AddedLoad", "AddedOhm", "BadChange", "Changes", "Short", "UnknownPart", "changes_of", "commands_of", "default_position",
    "node_named",
]  # fmt: skip
