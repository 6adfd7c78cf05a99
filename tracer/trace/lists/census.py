"""Every cavity of a module accounted for: what it was declared as, what the tracing finds, and what it therefore counts as."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.circuit.model import Circuit, Part
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import natural
from tracer.trace.tracing import Tracing

# Roles for which supply or ground at the pin is carried along, not drawn upon: a sense pin is not a supply.
SENSING = frozenset({"signal", "output", "reference", "bus", "shield"})

NOT_LOOKED_AT = "not looked at"


@dataclass(frozen=True, slots=True)
class PinFinding:
    """One cavity before it is put in words. `node` is None when nothing is wired or joined there."""

    pin: str
    role: str
    declared: str
    unused: bool
    not_looked_at: bool
    node: int | None
    wired: bool
    supply: bool
    ground: bool

    @property
    def kind(self) -> str:
        """What the cavity counts as."""
        if self.unused and not self.wired:
            return "unused"
        if not self.wired and not self.role and self.not_looked_at:
            return NOT_LOOKED_AT
        if not self.wired:
            return self.role or "unaccounted"
        if self.role in SENSING:
            return self.role
        if self.supply and self.ground:
            return self.role or "unaccounted"
        if self.supply:
            return "supply" if self.role in ("", "supply") else self.role
        if self.ground:
            return "ground" if self.role in ("", "ground") else self.role
        return self.role or "unaccounted"


def pins_found(tracing: Tracing, module: Part) -> tuple[PinFinding, ...]:
    """Every cavity of a module in natural order: listed, declared, or met in a run. Worked out once for each module."""
    kept = tracing.pins_found.get(module.name)
    if kept is None:
        kept = tracing.pins_found[module.name] = _find_pins(tracing, module)
    return kept


def _find_pins(tracing: Tracing, module: Part) -> tuple[PinFinding, ...]:
    circuit = tracing.circuit
    facts = module.facts
    assert isinstance(facts, ModuleFacts)
    nodes = circuit.pins_of.get(module.name, {})
    pins = sorted({*facts.cavities, *facts.unused, *facts.not_looked_at, *facts.pins, *nodes}, key=natural)
    supply, ground = tracing.supply_ways(module.name), tracing.ground_ways(module.name)
    all_supply = (
        tracing.supply_ways()
    )  # a declared supply may be fed by the module's own outputs: a loop, shown as such
    found = []
    for pin in pins:
        node = nodes.get(pin)
        declared = facts.pins.get(pin, "")
        role = declared.split()[0] if declared else ""
        wired = node is not None and is_wired(circuit, node)
        found.append(
            PinFinding(
                pin,
                role,
                declared,
                pin in facts.unused,
                pin in facts.not_looked_at,
                node,
                wired,
                wired
                and node is not None
                and (supply.reached(node) or (role == "supply" and all_supply.reached(node))),
                wired and node is not None and ground.reached(node),
            )
        )
    return tuple(found)


def is_wired(circuit: Circuit, node: int) -> bool:
    """Whether something outside the module is attached to its pin."""
    return circuit.is_attached(node)
