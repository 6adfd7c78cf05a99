"""What feeds the modules of a LIN bus: its levels are shares of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Part
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.model.sources import share_of_system
from tracer.entry.models import BatteryFacts, ConverterFacts, ModuleFacts
from tracer.entry.problems import listed
from tracer.standards import figures
from tracer.standards.limits import battery_open_circuit

SYSTEMS_V = (12, 24)  # of LIN (ISO 17987-4)


@dataclass(frozen=True, slots=True)
class LinSupply:
    """The supply of the modules: of which form of LIN it is, and its V with a full battery at rest or as a converter gives it. Empty `why_not` where it is known."""

    system_v: int = 0
    full_v: float = 0.0
    why_not: str = ""


def full_v(system_v: float) -> float:
    """V of a full lead-acid battery of a system, at rest."""
    return battery_open_circuit()[0].voltage_v * system_v / 12


def lin_supply_of(lines: BusLines, system_v: int) -> LinSupply:
    """What feeds the commander, or every module where none is named: by what is typed for the bus, else by where the ways of their supply pins begin."""
    asked = [node.module for node in lines.nodes if lines.facts.commander in (None, node.module)]
    found = {module: _found(lines, module, system_v) for module in asked}
    known = {(_form_of(volts), volts) for here in found.values() for volts in here if volts is not None}
    forms = {form for form, _ in known}
    typed = lines.facts.supply
    if typed is not None:
        form = int(typed.removesuffix(" V"))
        if forms - {form}:
            lines.problems.append(
                f"`supply: {typed}` is typed for this bus, but its modules are fed otherwise as typed in"
            )
        if form not in SYSTEMS_V:
            return LinSupply(why_not=f"levels are known for a supply of 12 and 24 V, not of {typed}")
        return LinSupply(form, next((volts for other, volts in known if other == form), full_v(form)))
    unknown = [module for module, here in found.items() if not here or None in here]
    if unknown or not asked:
        who = listed(unknown, joiner="and") or "its modules"
        ask = f"what feeds {who} is not known: type `supply: 12 V` (or 24 V) under `buses`, `{lines.name}`"
        lines.problems.append(ask)
        return LinSupply(why_not=ask)
    if len(forms) > 1 or not forms <= set(SYSTEMS_V):
        volts = listed([figures.stated(volts, "V") for _, volts in sorted(known)], joiner="and")
        return LinSupply(why_not=f"its modules are fed with {volts}, and levels are known for 12 and 24 V")
    return LinSupply(forms.pop(), min(volts for _, volts in known))


def _form_of(volts: float) -> int:
    """12 or 24 by the volts of a source; 0 beyond both."""
    return 0 if not 7 <= volts <= 36 else 12 if volts <= 18 else 24


def _found(lines: BusLines, module: str, system_v: int) -> list[float | None]:
    """V of each source that feeds a supply pin of a module; None for one of unknown volts."""
    facts, pins = lines.circuit.parts[module].facts, lines.circuit.pins_of.get(module, {})
    assert isinstance(facts, ModuleFacts)
    found: list[float | None] = []
    for pin, words in facts.pins.items():
        if words.split()[0] == "supply" and pin in pins:
            way = lines.tracing.ways_to(pins[pin], "supply", module).to(pins[pin])
            found += [None] if way is None else list(_of_ends(lines, way.ends, system_v))
    return found


def _of_ends(lines: BusLines, ends: frozenset[int], system_v: int) -> Iterator[float | None]:
    circuit = lines.circuit
    for node in sorted(ends):
        part = circuit.part_at(node)
        if part is None or part.kind is PartKind.GENERATOR:  # a rail, or what keeps the battery up
            yield full_v(system_v)
        elif isinstance(part.facts, BatteryFacts):
            yield _of_battery(lines, part, system_v)
        else:
            yield part.facts.volts if isinstance(part.facts, ConverterFacts) else None


def _of_battery(lines: BusLines, part: Part, system_v: int) -> float | None:
    """V of a full battery to ground: of several in a row the uppermost has the volts of the system, the others their own."""
    ground = lines.tracing.hard_ground
    batteries = {
        one.name: lines.circuit.pins_of[one.name]
        for one in lines.circuit.parts.values()
        if one.kind is PartKind.BATTERY
    }
    lower = {
        name: any(node in ground for pin, node in pins.items() if pin.startswith("-"))
        for name, pins in batteries.items()
    }
    assert isinstance(part.facts, BatteryFacts)
    if not lower[part.name]:
        return full_v(system_v) if len(lower) == 2 else None
    if part.facts.volts is not None:
        return full_v(share_of_system(part.facts.volts, system_v) * system_v)
    return full_v(system_v if all(lower.values()) else system_v / len(lower))
