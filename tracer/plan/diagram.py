"""What the diagram of one module shows, before anything has a place: points, links between them, what is loose, levels in one key state.

Only what lies on a way of the module's rows is here, and what leads from there to a loose end.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from tracer.circuit.flood import lead_back, walk
from tracer.circuit.kinds import GROUND_KINDS, INSIDE_MODULE, SUPPLY_KINDS, Link, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.circuit.over_references import conductors
from tracer.circuit.states import Level
from tracer.entry.problems import natural
from tracer.entry.runs import Wire
from tracer.plan.codes import CodedPoint, bus_pins, coded_points
from tracer.plan.faces import faces_of_rows
from tracer.plan.values import Face
from tracer.trace.lists.results import LooseEnd, SupplyReport
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.rules.registry import Finding, loose_ends
from tracer.trace.tracing import Tracing
from tracer.trace.ways.settings import level_of

_FAR = 100_000  # where ground lies on the scale that grows from source to ground
_PIN = 50_000  # where a pin lies that nothing reaches
_GROUND_SIDE = (
    60_000  # beyond it lies what is on a way to ground: no way is so long that it leaves the side it began on
)
# Leads on to what has to be found; a load does not, and the mass is what the ground symbol stands for.
_LEADS = (SUPPLY_KINDS | GROUND_KINDS) - INSIDE_MODULE - {LinkKind.MASS}
_WIRE = re.compile(
    r"^(?P<colour>.*?)(?:\s+(?P<size>(?:AWG\s*)?\d[\d.,/]*(?:\s*(?:mm2|mm²|sqmm|AWG|ga))?))?(?:\s+[\d.,]+\s*(?:m|cm|mm|ft))?(?:\s*\((?P<number>[^()]+)\))?$"
)


@dataclass(frozen=True, slots=True)
class ShownWire:
    """A wire as it is written beside its line: colour on the left, size on the right."""

    colour: str
    size: str
    text: str


@dataclass(frozen=True, slots=True)
class Step:
    """A link that is drawn, from its upper node to its lower one. `wires` are those of a wire that goes on over references, `marks` its marks."""

    upper: int
    lower: int
    kind: LinkKind
    part: str
    wires: tuple[ShownWire, ...] = ()
    marks: tuple[str, ...] = ()
    output: str = ""
    closed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PanelOnPage:
    """A panel of which something is drawn: what it is called, where it is, and the labels of its positions that are drawn."""

    name: str
    title: str
    place: str
    labels: tuple[str, ...]


@dataclass
class View:
    """One module's diagram as data. `order` grows from source to ground; `nodes_of_row` are in order along the row."""

    circuit: Circuit
    report: SupplyReport
    key: str | None
    order: dict[int, int] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    coded: dict[int, CodedPoint] = field(default_factory=dict)
    nodes_of_row: dict[str, tuple[int, ...]] = field(default_factory=dict)
    pins: tuple[str, ...] = ()
    loose_at: dict[int, list[LooseEnd]] = field(default_factory=dict)
    loose_parts: dict[str, list[LooseEnd]] = field(default_factory=dict)
    loose_pins: dict[str, list[LooseEnd]] = field(default_factory=dict)
    loose_rest: tuple[LooseEnd, ...] = ()  # those that hang on nothing that is drawn
    supply_side: frozenset[int] = frozenset()
    levels: dict[int, Level] = field(default_factory=dict)  # in `key`; empty where none was asked for
    panels: tuple[PanelOnPage, ...] = ()
    faces: tuple[Face, ...] = ()  # of the connectors on the list's ways, each as typed and mirrored
    minding: Minding = NOTHING  # of the list, and of all that is drawn: a lead to a loose end is on no row
    every_key: bool = False  # drawn once for all key states: each line says of which node it shows the level

    @property
    def module(self) -> str:
        return self.report.module

    def level(self, node: int) -> Level | None:
        """Whether the node has its supply (or ground) in the key state asked for; None when none was asked for."""
        return None if self.key is None else self.levels[node]

    def is_by_ground(self, node: int) -> bool:
        """Whether it lies on a way to ground, and not on one from a source or at a pin that nothing reaches."""
        return self.order.get(node, 0) > _GROUND_SIDE


def view_of(tracing: Tracing, report: SupplyReport, key: str | None = None) -> View:
    """What is to be drawn for a module's report; `key` is one of its key states, or None."""
    view = View(tracing.circuit, report, key)
    view.faces = faces_of_rows(tracing.circuit, report, (*report.supplies, *report.grounds))
    links: dict[int, None] = {}
    supply: dict[int, int] = {}
    ground: dict[int, int] = {}
    circuit = tracing.circuit
    for row in report.rows:
        node = circuit.pins_of[row.part][row.pin] if row.pin else circuit.node_of_point[row.part, ""]
        own = circuit.parts[row.part].kind is PartKind.MODULE
        leaving_out = row.part if own else ""
        ways = tracing.supply_ways(leaving_out) if row.level == "supply" else tracing.ground_ways(leaving_out)
        distance = supply if row.level == "supply" else ground
        way = ways.to(node)
        distance.setdefault(node, 0 if way is None and row.ends else 1)
        if way is None:
            view.nodes_of_row[row.code] = (node,)
            continue
        view.nodes_of_row[row.code] = way.nodes
        for at in way.nodes:
            distance[at] = min(distance.get(at, 1 << 30), way.distance[at]) if at != node else way.distance[at]
        links.update(dict.fromkeys(sorted(way.links)))
    view.supply_side = frozenset(supply)
    view.order = {node: _FAR - far for node, far in ground.items()} | supply
    _add_coils(view, links)
    _add_pins_and_loose_ends(view, loose_ends(tracing), links)
    if key is not None:
        view.levels = {
            node: level_of(tracing, node, key, "supply" if node in view.supply_side else "ground")
            for node in view.order
        }
    names = circuit.node_names
    by_name = {names[node]: node for node in view.order}
    view.coded = {by_name[name]: point for name, point in coded_points(report).items()}
    view.steps = _steps(view, links)
    _forget_empty(view)
    shown = {loose for node, found in view.loose_at.items() if node in view.order for loose in found}
    parts = {step.part for step in view.steps}
    shown |= {loose for part, found in view.loose_parts.items() if part in parts for loose in found}
    shown |= {loose for found in view.loose_pins.values() for loose in found}
    view.loose_rest = tuple(loose for loose in report.loose_ends if loose not in shown)
    view.panels = tuple(_panels(circuit, parts))
    view.minding = minding_of(tracing, (report, [names[node] for node in view.order], sorted(parts)))
    return view


def _panels(circuit: Circuit, parts: Iterable[str]) -> Iterator[PanelOnPage]:
    """The panels that positions on the page sit in, with these positions."""
    labels: dict[str, list[str]] = {}
    for part in (circuit.parts[name] for name in sorted(parts, key=natural) if name in circuit.parts):
        if part.panel is not None:
            labels.setdefault(part.panel, []).append(part.label or part.name)
    for panel in sorted(labels, key=natural):
        facts = circuit.parts[panel].facts
        yield PanelOnPage(panel, facts.name or "", facts.at or "", tuple(labels[panel]))


def _forget_empty(view: View) -> None:
    """Take out nodes without a place that no step touches: references within a wire, and masses, which ground symbols stand for."""
    circuit = view.circuit
    touched = {node for step in view.steps for node in (step.upper, step.lower)}
    view.order = {
        node: order
        for node, order in view.order.items()
        if node in touched or node in view.coded or circuit.node_parts[node] in circuit.parts or node in view.loose_at
    }


def _add_coils(view: View, links: dict[int, None]) -> None:
    circuit = view.circuit
    for number, link in enumerate(circuit.links):
        if link.kind is LinkKind.COIL and link.a in view.order and link.b in view.order:
            links[number] = None


# A run that is missing somewhere near has no place in a diagram: it stands in the list below.
_NOWHERE = frozenset({"L154"})


# --- what is loose -------------------------------------------------------------------------------------------------


def _add_pins_and_loose_ends(view: View, findings: Sequence[Finding], links: dict[int, None]) -> None:
    """Nodes that lead from the ways, or from a pin of the module, to each loose end."""
    circuit, report = view.circuit, view.report
    wanted = {(loose.code, str(loose.place), loose.at): loose for loose in report.loose_ends}
    pins = {pin: node for pin, node in circuit.pins_of.get(report.module, {}).items()}
    extra: set[str] = set()
    for finding in findings:
        loose = wanted.get((finding.code, str(finding.place), finding.at))
        if loose is None:
            continue
        named = next((pin for pin in _pin_names(report) if finding.at == f"{report.module}.{pin}"), None)
        if named is not None and finding.module == report.module:
            view.loose_pins.setdefault(named, []).append(loose)
            extra.add(named)
            if named in pins:
                view.order.setdefault(pins[named], _PIN)
        for part in finding.parts:
            view.loose_parts.setdefault(part, []).append(loose)
    for finding in findings:
        loose = wanted.get((finding.code, str(finding.place), finding.at))
        if loose is None or finding.code in _NOWHERE:
            continue
        for node in finding.nodes:
            if node not in view.order and not _lead_to(view, node, links, pins, extra):
                continue
            view.loose_at.setdefault(node, []).append(loose)
    shown = {pin for pin, node in pins.items() if node in view.order} | extra
    view.pins = tuple(sorted(shown, key=natural))


def _pin_names(report: SupplyReport) -> Iterable[str]:
    return (cavity.pin for cavity in report.census)


def _lead_to(view: View, node: int, links: dict[int, None], pins: dict[str, int], extra: set[str]) -> bool:
    """Put the shortest lead from a loose node to what is drawn already, or to a pin of the module, into the view."""
    circuit = view.circuit
    own = {at: pin for pin, at in pins.items()}
    met: dict[int, int] = {}
    for here, number in walk(circuit, [node], _LEADS):
        met[here] = number
        if here in view.order or here in own:
            if here not in view.order:
                view.order[here] = _PIN
                extra.add(own[here])
            step = 1 if here in view.supply_side and here not in own else -1
            at = here
            for link, before in lead_back(circuit, met, here):
                links[link] = None
                view.order.setdefault(before, view.order[at] + step)
                if step > 0:
                    view.supply_side |= {before}
                at = before
            return True
    return False


# --- links ---------------------------------------------------------------------------------------------------------


def _steps(view: View, links: Iterable[int]) -> list[Step]:
    """The links as steps downwards; a wire that goes on over references is one step."""
    circuit = view.circuit
    kept = (number for number in links if circuit.links[number].kind is not LinkKind.MASS)
    steps = []
    for one in conductors(circuit, kept, stops=view.loose_at):
        link = circuit.links[one.links[0]]
        kind = LinkKind.WIRE if len(one.links) > 1 else link.kind
        upper, lower = sorted(one.ends, key=lambda node: (view.order[node], node))
        wires = dict.fromkeys(shown_wire(circuit.wire_of(circuit.links[n])) for n in one.links if circuit.links[n].kind is LinkKind.WIRE)  # fmt: skip
        marks = tuple(circuit.reference_of[node].here for node in one.marks)
        steps.append(Step(upper, lower, kind, link.part, tuple(wires), marks, link.output, link.closed))
    return steps


def shown_wire(wire: Wire) -> ShownWire:
    """A wire split into colour and size as typed; the number stands with the size."""
    found = _WIRE.match(wire.text)
    assert found is not None
    number = f"({found['number']})" if found["number"] else ""
    size = " ".join(part for part in (found["size"] or "", number) if part)
    return ShownWire(found["colour"], size, wire.text)


def bus_lines(view: View) -> list[tuple[str, str, str, ShownWire | None, str]]:
    """The module's bus lines: code, pin, what it is declared as, wire, and the nearest point on the line."""
    circuit = view.circuit
    lines = []
    for code, cavity in bus_pins(view.report):
        node = circuit.pins_of.get(view.module, {}).get(cavity.pin)
        wire, far = None, "not wired"
        if node is not None:
            wires = circuit.wires_at(node)
            if wires:
                link: Link = circuit.links[wires[0]]
                wire = shown_wire(circuit.wire_of(link))
                far = circuit.cavity_of(circuit.other(link, node))
        lines.append((code, cavity.pin, cavity.declared, wire, far))
    return lines
