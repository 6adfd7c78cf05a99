"""What is loose or assumed that concerns some ways: all of a list, or those of one of its rows with what it needs first."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from tracer.circuit.model import Circuit, LinkKind, Part
from tracer.entry.problems import listed
from tracer.trace.lists.basis import assumptions
from tracer.trace.lists.census import NOT_LOOKED_AT, pins_found
from tracer.trace.lists.chains import Need, loops_of, needs_of, ways_for
from tracer.trace.lists.completeness import conditions
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.rules.registry import Finding, loose_ends
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Way

# Rules about a part as a whole (a contact, a contradicting fact): they concern a list when a way leads over the part.
_BY_PART = frozenset({"L110", "L111", "L121", "L130", "L135"})
# Rules about a relay's coil: they concern a list only when a way leads over the relay's contact, whatever its coil shares a wire with.
_BY_CONTACT = frozenset({"L127", "L128"})
# Rules about pins that the module may have besides: no way that is there leads over them.
_OF_FURTHER_PINS = frozenset({"L112", "L152", "L163"})


@dataclass
class OnWays:
    """What lies on some ways of one module; `needs` are the side chains among them."""

    module: Part
    nodes: set[int] = field(default_factory=set)
    links: set[int] = field(default_factory=set)
    parts: set[str] = field(default_factory=set)
    needs: list[Need] = field(default_factory=list)

    def add(self, circuit: Circuit, way: Way | None, node: int) -> None:
        """One more way, and the node that it leads to."""
        self.nodes.add(node)
        if way is not None:
            self.nodes.update(way.nodes)
            self.links.update(way.links)
            self.parts.update(circuit.links[number].part for number in way.links if circuit.links[number].part)
            self.parts.update(circuit.node_parts[at] for at in way.nodes)

    @property
    def modules(self) -> set[str]:
        """The module, and those that its side chains lead through."""
        return {self.module.name} | {need.leaving_out for need in self.needs if need.leaving_out}


def zone_of(tracing: Tracing, on: OnWays, pins: Iterable[int], rows: Collection[Row]) -> frozenset[int]:
    """Every node where something loose leaves these ways open; `pins` are those of the module that it is asked for."""
    zone = tracing.zone([*pins, *(need.node for need in on.needs)], on.nodes, on.module.name)
    # A level that hangs on what is not typed in is not proven, however far away that is.
    hung_on = {reason for row in rows for reasons in row.why.values() for reason in reasons}
    zone |= {node for node, words in tracing.open_ends.items() if words in hung_on}
    if any(end.assumed for row in rows if row.level == "ground" for end in row.ends):
        zone |= tracing.typed_grounds  # what is loose there may be the missing joint to the assumed ground
    return zone


def concerning(tracing: Tracing, on: OnWays, zone: frozenset[int]) -> tuple[Finding, ...]:
    """The loose ends that concern these ways, and those of the census of each module that they belong to or lead through."""
    contacts = {tracing.circuit.links[n].part for n in on.links if tracing.circuit.links[n].kind is LinkKind.CONTACT}
    modules = on.modules

    def concerns(finding: Finding) -> bool:
        if finding.module == "*" or finding.module in modules:
            return True
        if finding.code in _BY_CONTACT:
            return not contacts.isdisjoint(finding.parts)
        if any(node in zone for node in finding.nodes):
            return True  # also a pin of another module, behind an output of it that leads to this list
        return finding.code in _BY_PART and any(part in on.parts for part in finding.parts)

    return tuple(finding for finding in loose_ends(tracing) if concerns(finding))


def not_looked_at(tracing: Tracing, loose: Iterable[Finding]) -> tuple[str, ...]:
    """The pins that nobody has looked at, of this module and of those that its side chains lead through."""
    names = [one.at for one in loose if one.code == "L163"]
    pins = {name: pins_found(tracing, tracing.circuit.parts[name]) for name in names}
    return tuple(f"{name}.{pin.pin}" for name in names for pin in pins[name] if pin.kind == NOT_LOOKED_AT)


# --- one row -------------------------------------------------------------------------------------------------------------


def open_on_way(tracing: Tracing, report: SupplyReport, row: Row) -> tuple[str, ...]:
    """What is loose or assumed on the ways to one pin of a module and on what they need first, in words; empty where they are whole.

    What is loose at other pins of the module only, or may be there as a further pin, leaves them whole. Where two counts of the list differ, or the module
    itself feeds what feeds it, none is whole unless the list is.
    """
    if report.complete:
        return ()
    circuit, module = tracing.circuit, report.module
    on, pin = OnWays(circuit.parts[module]), circuit.pins_of[row.part][row.pin]
    reached = {(pin, row.level): Need(pin, row.level, module, "")}
    chain = list(reached.values())  # what a row needs first, and what that needs: the list grows while it is read
    for need in chain:
        way = ways_for(tracing, need).to(need.node)
        on.add(circuit, way, need.node)
        if loops := loops_of(circuit, way, module):
            return (f"what {listed(loops, joiner='and')} needs, which is the whole list",)
        for more in needs_of(tracing, way, module):
            if (more.node, more.level) not in reached:
                reached[more.node, more.level] = more
                chain.append(more)
    on.needs = chain[1:]
    rows = [one for one in report.rows if (circuit.pins_of.get(one.part, {}).get(one.pin), one.level) in reached]
    needs = [need.node for need in on.needs]
    loose = [one for one in concerning(tracing, on, zone_of(tracing, on, [pin], rows)) if not _of_another_pin(one, row, on)]  # fmt: skip
    rests_on = assumptions(tracing, on.module, rows, on.nodes, on.links, [pin], needs)
    return (*(one.message for one in loose), *report.cross_check.differences, *conditions(rests_on))


def _of_another_pin(finding: Finding, row: Row, on: OnWays) -> bool:
    """Whether a loose end is only about another pin of the module whose row it is, or about pins that it may have besides."""
    if finding.module != row.part or any(node in on.nodes for node in finding.nodes):
        return False
    if finding.code in _OF_FURTHER_PINS:
        return True
    own = re.compile(
        rf"(?<![\w.]){re.escape(row.point)}(?![\w.])"
    )  # such as the pin that may have got the wire of the other one
    return finding.at.startswith(f"{row.part}.") and not own.search(f"{finding.at} {finding.message} {finding.fix}")


__all__ = ["OnWays", "concerning", "not_looked_at", "open_on_way", "zone_of"]
