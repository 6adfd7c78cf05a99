"""Side chains: what must work before a switched supply or ground is there.

A relay contact needs its coil supply, its coil ground, the driver that switches the coil, and that driver's own supplies and grounds; each of them is
traced to its end, each only once, and a chain that comes back to where it began is shown as a loop.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tracer.circuit.kinds import DRIVERS, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.trace.lists.census import pins_found
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Way, Ways
from tracer.trace.ways.without import WaysWithout


@dataclass(frozen=True, slots=True)
class Need:
    """One chain that something on a way needs: the node to trace, at which level, in which module's absence, and what it is for."""

    node: int
    level: str
    leaving_out: str
    what_for: str


def ways_for(tracing: Tracing, need: Need) -> Ways | WaysWithout:
    """The ways in which a need is traced."""
    return tracing.ways_to(need.node, need.level, need.leaving_out)


def needs_of(tracing: Tracing, way: Way | None, module: str) -> Iterator[Need]:
    """What the switching parts on a way need, in order along the way. `module` is the module whose list is made: its own rows are not repeated."""
    if way is None:
        return
    circuit = tracing.circuit
    numbers = sorted(
        way.links,
        key=lambda number: (
            max(way.distance[circuit.links[number].a], way.distance[circuit.links[number].b]),
            number,
        ),
    )
    for number in numbers:
        link = circuit.links[number]
        if circuit.is_left_open(link):
            continue  # nothing is plugged in there: the row says so, and needs no coil
        if link.kind is LinkKind.CONTACT and circuit.parts[link.part].kind is PartKind.RELAY:
            yield from _coil_needs(tracing, link.part, at_rest=link.closed == ("rest",))
        elif link.kind in DRIVERS and link.part != module:
            yield from _module_needs(tracing, link.part)
    for end in sorted(way.ends):
        part = circuit.part_at(end)
        if part is not None and part.kind is PartKind.CONVERTER:
            pins = circuit.pins_of[part.name]
            yield Need(pins["in"], "supply", "", f"supply of converter {part.name}")
            yield Need(pins["ground"], "ground", "", f"ground of converter {part.name}")
        elif part is not None and part.kind is PartKind.BATTERY:
            grounds = {ground.node for ground in circuit.grounds}
            for pin, node in circuit.pins_of[part.name].items():
                if pin.startswith("-") and node not in grounds:
                    yield Need(node, "supply", "", f"negative of battery {part.name}, which stands on another battery")


def loops_of(circuit: Circuit, way: Way | None, module: str) -> tuple[str, ...]:
    """Outputs of a module on a way that its own list rests on: it feeds, or holds, what feeds it."""
    if way is None:
        return ()
    return tuple(
        sorted(
            {
                f"{module}.{circuit.links[n].output}"
                for n in way.links
                if circuit.links[n].kind in DRIVERS and circuit.links[n].part == module
            }
        )
    )


def _coil_needs(tracing: Tracing, relay: str, *, at_rest: bool) -> Iterator[Need]:
    circuit = tracing.circuit
    part = circuit.parts[relay]
    supply, ground = tracing.supply_ways(), tracing.ground_ways()
    for number, (a, b) in enumerate(part.coils):
        pins = circuit.pins_of[relay]
        plus, minus = pins[a], pins[b]
        if not (supply.reached(plus) and ground.reached(minus)) and supply.reached(minus) and ground.reached(plus):
            plus, minus = minus, plus
        name = f"relay {relay}" if len(part.coils) == 1 else f"relay {relay}, {('set', 'reset')[number]} coil"
        must = " (which must be at rest: not both may be there)" if at_rest else ""
        across = part.facts.said("across_coil")
        must += f" ({across} across the coil inside the relay)" if across else ""
        yield Need(plus, "supply", "", f"coil supply of {name}{must}")
        yield Need(minus, "ground", "", f"coil ground of {name}{must}")


def _module_needs(tracing: Tracing, module: str) -> Iterable[Need]:
    for pin in pins_found(tracing, tracing.circuit.parts[module]):
        if pin.node is not None and pin.kind in ("supply", "ground"):
            yield Need(pin.node, pin.kind, module, f"{pin.kind} of module {module}")
