"""Fuse and relay panels: what belongs in each position, what feeds it, when it is live, what it serves, and whether its own text says the same."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace

from tracer.circuit.model import FUSE_KINDS, Circuit, LinkKind, Part
from tracer.entry.models import FuseFacts, ModuleFacts, PanelFacts, RelayFacts
from tracer.entry.problems import CannotAnswer, natural, nearest
from tracer.standards import figures
from tracer.standards.cautions import cautions_for
from tracer.standards.fuses import UnknownFuseKind, fuse_kind, rating_of
from tracer.trace.affects.dead_part import fuse_words
from tracer.trace.affects.downwards import parts_below
from tracer.trace.lists.results import LooseEnd
from tracer.trace.lists.rows import levels
from tracer.trace.panels.labels import named_in, output_node, position_in
from tracer.trace.rules.registry import Finding, loose_ends
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Way

FITTED, EMPTY, OPTION, EITHER, ELECTRONIC, UNKNOWN = (
    "fitted",
    "must be empty",
    "option not fitted",
    "either-or",
    "electronic output",
    "not known",
)
_ON_THE_WAY = frozenset({LinkKind.FUSE, LinkKind.CONTACT, LinkKind.DIODE, LinkKind.DRIVER_HIGH})
_NEAR = frozenset({LinkKind.BUSBAR, LinkKind.WIRE, LinkKind.MEETS, LinkKind.RAIL})


class UnknownPanel(CannotAnswer, LookupError):
    """There is no panel of that name; the message says which there are."""


@dataclass(frozen=True, slots=True)
class Served:
    """One pin that a position supplies. `through`: the module outputs that switch it on the way ('' when none does)."""

    part: str
    kind: str
    name: str | None
    pin: str
    declared: str
    through: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Position:
    """One labelled place in a panel.

    `amps` in A; `colour` of the body by ISO 8820-3, None where that lists none; `family` in words. `fed_from` are the points it is joined with on its feed
    side, `upstream` the fuses from the source down to it. `live` is per key state, at the feed side. `said` is the sheets' own text, `not_found` the parts it names that the tracing does not find below the
    position, `not_named` the modules found that it does not name.
    """

    panel: str
    label: str
    part: str
    kind: str
    amps: float | None
    letter: str
    family: str
    colour: str | None
    state: str
    either: str | None
    body: str | None
    output: str | None
    fed_from: tuple[str, ...]
    upstream: tuple[str, ...]
    ends: tuple[str, ...]
    feed_side: str | None
    live: dict[str, str]
    why: dict[str, tuple[str, ...]]
    serves: tuple[Served, ...]
    loose: tuple[str, ...]  # loose ends on the ways below: what hangs there is not under `serves`
    below: tuple[str, ...]
    relay: str  # relays: the kind, such as `normally open`
    pins: tuple[tuple[str, str], ...]  # relays: each pin and what it is joined with
    said: str | None
    not_found: tuple[str, ...]
    not_named: tuple[str, ...]
    sheets: tuple[str, ...]
    name: str | None
    note: str | None

    @property
    def belongs(self) -> str:
        """What belongs there, in words: 'fuse 10 A, type F miniature blade, red'."""
        if self.state == EMPTY:
            return "nothing"
        if self.state == ELECTRONIC:
            return (
                f"no fuse: output {self.output} does its work"
                if self.output
                else "no fuse: an electronic output does its work"
            )
        words = {"link": "fusible link"}.get(self.kind, self.kind)
        if self.relay:
            words += f", {self.relay}"
        if self.kind in FUSE_KINDS:
            words += f" {figures.stated(self.amps, 'A')}" if self.amps is not None else ", rating not known"
            if self.letter or self.family:
                words += (
                    f", type {self.letter} ({self.family})"
                    if self.letter and self.family
                    else f", {self.family or f'type {self.letter}'}"
                )
            if self.colour:
                words += f", {self.colour}"
        return words


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel: its positions in the order in which they sit, and its plan (labels by row, `_` for a gap)."""

    panel: str
    name: str | None
    place: str | None
    access: str | None
    keys: tuple[str, ...]
    positions: tuple[Position, ...]
    plan: tuple[tuple[str, ...], ...]
    loose_ends: tuple[LooseEnd, ...]


@dataclass(frozen=True, slots=True)
class PanelReport:
    """Every position of one or all panels."""

    vehicle: str
    panels: tuple[Panel, ...]
    cautions: tuple[str, ...] = field(default=())
    loose_elsewhere: int = 0  # in the vehicle, at none of these positions and on no way below them

    @property
    def complete(self) -> bool:
        """Whether nothing is loose, here or elsewhere: a wire that nobody typed in may hang on any splice below a position."""
        return not self.loose_elsewhere and not any(panel.loose_ends for panel in self.panels)

    @property
    def positions(self) -> tuple[Position, ...]:
        """Every position of every panel, in order."""
        return tuple(position for panel in self.panels for position in panel.positions)


def only_these(report: PanelReport, parts: Collection[str]) -> PanelReport:
    """The same inventory with the positions of these parts alone; panels that have none are left out."""
    panels = (
        replace(panel, positions=tuple(one for one in panel.positions if one.part in parts)) for panel in report.panels
    )
    return replace(report, panels=tuple(panel for panel in panels if panel.positions))


def panels_of(circuit: Circuit | Tracing, name: str | None = None) -> PanelReport:
    """The inventory of one panel, or of all.

    Parameters
    ----------
    circuit : a joined circuit, or a `Tracing` of one
    name : a panel; None for all

    Raises
    ------
    UnknownPanel : no panel has that name
    """
    tracing = circuit if isinstance(circuit, Tracing) else Tracing(circuit)
    parts = [part for part in tracing.circuit.parts.values() if isinstance(part.facts, PanelFacts)]
    if name is not None:
        known = [part.name for part in parts]
        if name not in known:
            near = nearest(name, known)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise UnknownPanel(f"there is no panel {name}.{hint} Panels: {', '.join(known) or 'none typed in yet'}.")
        parts = [part for part in parts if part.name == name]
    below = _Below(tracing)
    found = loose_ends(tracing)
    panels = tuple(_panel(tracing, part, below, found) for part in parts)
    shown = {loose for panel in panels for loose in panel.loose_ends}
    return PanelReport(
        tracing.circuit.name,
        panels,
        tuple(caution.text for caution in cautions_for("fuses")),
        sum(_loose_end(finding) not in shown for finding in found),
    )


def _panel(tracing: Tracing, part: Part, below: _Below, findings: list[Finding]) -> Panel:
    facts = part.facts
    assert isinstance(facts, PanelFacts)
    own = below.in_panel.get(part.name, {})
    order = _in_order(facts, own)
    positions = tuple(_position(tracing, own[label], facts, below) for label in order)
    names = {part.name, *(one.name for one in own.values())}
    served = {finding for position in positions for finding in below.loose.get(position.output or position.part, ())}
    loose = tuple(
        _loose_end(finding)
        for finding in findings
        if finding.module == "*" or names.intersection(finding.parts) or finding in served
    )
    return Panel(part.name, facts.name, facts.at, facts.access, tracing.states.keys, positions, plan_of(facts), loose)


def _loose_end(finding: Finding) -> LooseEnd:
    return LooseEnd(finding.code, finding.place, finding.at, finding.message, finding.fix)


def plan_of(facts: PanelFacts) -> tuple[tuple[str, ...], ...]:
    """The rows of a panel as they sit."""
    return tuple(tuple(row) for row in facts.rows)


def _in_order(facts: PanelFacts, own: dict[str, Part]) -> list[str]:
    """Labels in the order in which they sit: row by row, then what stands in no row, by label."""
    of_body: dict[str, list[str]] = {}
    for label, part in own.items():
        body = getattr(part.facts, "body", None)
        if body is not None:
            of_body.setdefault(body, []).append(label)
    order: dict[str, None] = {}
    for row in facts.rows:
        for label in row:
            for one in [label] if label in own else sorted(of_body.get(label, ()), key=natural):
                order[one] = None
    for label in own if not facts.rows else sorted(own, key=natural):
        order.setdefault(label, None)
    return list(order)


def _position(tracing: Tracing, part: Part, panel: PanelFacts, below: _Below) -> Position:
    circuit = tracing.circuit
    facts = part.facts
    fuse = facts if isinstance(facts, FuseFacts) else None
    output = fuse.output if fuse is not None else None
    family, colour = _family(fuse)
    feed = output_node(circuit, output) if output else _feed_node(tracing, part)
    way = tracing.supply_ways().to(feed) if feed is not None else None
    fed = way is not None or (feed is not None and tracing.supply_ways().reached(feed))
    live, why = levels(tracing, feed, "supply") if feed is not None and fed else ({}, {})
    either = below.either.get(part.name)
    serves = below.serves.get(output or part.name, ())
    said = getattr(facts, "serves", None)
    not_found, not_named = _compared(tracing, part, said, below)
    return Position(
        panel=part.panel or "",
        label=part.label or part.name,
        part=part.name,
        kind=part.kind,
        amps=fuse.amps if fuse is not None else None,
        letter=(fuse.type or "").upper() if fuse is not None and len(fuse.type or "") == 1 else "",
        family=family,
        colour=colour,
        state=_state(circuit, part, either),
        either=either,
        body=fuse.body if fuse is not None else None,
        output=output,
        fed_from=tuple(_fed_from(circuit, feed, way)) if feed is not None and not output else (),
        upstream=tuple(fuse_words(circuit, name) for name in fuses_above(circuit, way) if name != part.name),
        ends=tuple(sorted(circuit.node_names[end] for end in way.ends)) if way else (),
        feed_side=(fuse.feed_side or panel.feed_side) if fuse is not None else None,
        live=live,
        why=why,
        serves=serves,
        loose=tuple(dict.fromkeys(f"{one.code} at {one.at}" for one in below.loose.get(output or part.name, ()))),
        below=below.next.get(part.name, ()),
        relay=(facts.kind or "") if isinstance(facts, RelayFacts) else "",
        pins=tuple(_pins(circuit, part)) if part.kind in ("relay", "diode") else (),
        said=said,
        not_found=not_found,
        not_named=not_named,
        sheets=_sheets(circuit, part),
        name=facts.name,
        note=facts.note,
    )


def _family(fuse: FuseFacts | None) -> tuple[str, str | None]:
    """The family in words and the colour of its body."""
    if fuse is None or not fuse.type:
        return "", None
    try:
        kind = fuse_kind(fuse.type)
    except UnknownFuseKind:
        return fuse.type if len(fuse.type) > 1 else "", None
    rating = rating_of(fuse.amps, kind.name) if fuse.amps is not None else None
    return kind.name, rating.colour if rating else None


def _state(circuit: Circuit, part: Part, either: str | None) -> str:
    state = getattr(part.facts, "state", None)
    if state == "empty":
        return EMPTY
    if state == "none":
        return ELECTRONIC
    if state == "option":
        return OPTION
    if either is not None and state is None:
        partner = position_in(circuit, part.panel, either)
        if partner is None or getattr(circuit.parts[partner].facts, "state", None) is None:
            return EITHER
    if isinstance(part.facts, FuseFacts) and part.facts.amps is None:
        return UNKNOWN
    return FITTED


def _either_pairs(circuit: Circuit) -> dict[str, str]:
    """For each position of an either-or pair the label of the other, whichever of the two says so."""
    pairs: dict[str, str] = {}
    for part in circuit.parts.values():
        named = getattr(part.facts, "or_", None)
        if named is not None:
            pairs[part.name] = named
            partner = position_in(circuit, part.panel, named)
            if partner is not None:
                pairs.setdefault(partner, part.label or part.name)
    return pairs


def _feed_node(tracing: Tracing, part: Part) -> int | None:
    """Where a position is fed: the feed side of a fuse; of a relay or diode the contact pin or anode that supply reaches first."""
    circuit = tracing.circuit
    pins = circuit.pins_of.get(part.name, {})
    if part.kind in FUSE_KINDS:
        return pins.get("feed")
    if part.kind == "diode":
        return pins.get("A")
    ways = tracing.supply_ways()
    contacts = {
        number
        for node in pins.values()
        for number in circuit.at[node]
        if circuit.links[number].kind is LinkKind.CONTACT and circuit.links[number].part == part.name
    }
    for number in sorted(contacts):
        link = circuit.links[number]
        for near, far in ((link.a, link.b), (link.b, link.a)):
            way = ways.to(far)
            if way is not None and number in way.links and way.distance.get(near, 1 << 30) < way.distance[far]:
                return near
        for node in (link.a, link.b):
            if ways.to(node) is not None:
                return node
    return None


def _fed_from(circuit: Circuit, feed: int, way: Way | None) -> Iterator[str]:
    """The points next to a feed side from which it is fed, in words."""
    told = set()
    for number in circuit.at[feed]:
        link = circuit.links[number]
        if link.kind not in _NEAR or (way is not None and number not in way.links):
            continue
        other = circuit.other(link, feed)
        words = point_words(circuit, other)
        if link.kind is LinkKind.WIRE:
            words += f" (wire {circuit.wire_of(link).text})"
        if words not in told:
            told.add(words)
            yield words


def point_words(circuit: Circuit, node: int) -> str:
    """A node in words: 'rail 30', 'load side of F9', 'KAL.87'."""
    name, part, pin = circuit.node_names[node], circuit.parts.get(circuit.node_parts[node]), circuit.node_pins[node]
    if part is None:
        return f"rail {name}" if name in circuit.typed.vehicle.rails else name
    if part.kind in FUSE_KINDS:
        return f"{pin} side of {part.name}"
    return name


def fuses_above(circuit: Circuit, way: Way | None) -> list[str]:
    """The fuses on a way, from the source down."""
    if way is None:
        return []
    found = {
        circuit.links[number].part: max(way.distance[circuit.links[number].a], way.distance[circuit.links[number].b])
        for number in way.links
        if circuit.links[number].kind is LinkKind.FUSE
    }
    return sorted(found, key=lambda name: (found[name], name))


def _pins(circuit: Circuit, part: Part) -> Iterator[tuple[str, str]]:
    pins = circuit.pins_of.get(part.name, {})
    unused = part.facts.unused if isinstance(part.facts, RelayFacts) else ()
    for pin in sorted({*pins, *unused}, key=natural):
        if pin in unused and pin not in pins:
            yield pin, "not used"
            continue
        joined = [
            point_words(circuit, circuit.other(circuit.links[number], pins[pin]))
            for number in circuit.at[pins[pin]]
            if circuit.links[number].kind in _NEAR
        ]
        yield pin, ", ".join(dict.fromkeys(joined)) or ("not used" if pin in unused else "nothing typed in")


def _sheets(circuit: Circuit, part: Part) -> tuple[str, ...]:
    own = [circuit.typed.sheets[fragment.sheet].id for fragment in part.fragments]
    for node in circuit.pins_of.get(part.name, {}).values():
        own += [circuit.sheet_of_run(circuit.links[number].run) for number in circuit.wires_at(node)]
    return tuple(dict.fromkeys(own))


# --- what a position serves ------------------------------------------------------------------------------------


class _Below:
    """For every fuse and relay what it supplies: each consumer is traced to its source once, and put down to every fuse and contact on its ways."""

    def __init__(self, tracing: Tracing) -> None:
        self.tracing = tracing
        self.circuit = circuit = tracing.circuit
        serves: dict[str, dict[Served, None]] = {}
        self.covered: dict[str, dict[str, set[str]]] = {}  # fuse -> consumer -> parts between them
        ways = tracing.supply_ways()
        for part, pin, node, declared in self._consumers():
            way = ways.to(node)
            if way is None:
                continue
            drivers = [
                (max(way.distance[link.a], way.distance[link.b]), f"{link.part}.{link.output}")
                for link in (circuit.links[number] for number in way.links)
                if link.kind is LinkKind.DRIVER_HIGH
            ]
            passed = {
                circuit.links[number].part: _depth(circuit, way, number)
                for number in way.links
                if circuit.links[number].part
            }
            for number in way.links:
                link = circuit.links[number]
                if link.kind in _ON_THE_WAY:
                    name = f"{link.part}.{link.output}" if link.output else link.part
                    depth = _depth(circuit, way, number)
                    through = tuple(sorted({driver for at, driver in drivers if at > depth}))
                    one = Served(part.name, part.kind, part.facts.name, pin, declared, through)
                    serves.setdefault(name, {})[one] = None
                    between = self.covered.setdefault(name, {}).setdefault(part.name, set())
                    between.update(name for name, at in passed.items() if at > depth)
        self.loose = self._loose()
        self.either = _either_pairs(circuit)
        self.in_panel: dict[str, dict[str, Part]] = {}
        for part in circuit.parts.values():
            if part.panel and part.label:
                self.in_panel.setdefault(part.panel, {})[part.label] = part
        self.serves = {name: tuple(sorted(found, key=_served_order)) for name, found in serves.items()}
        self.next = self._next_positions()

    def _loose(self) -> dict[str, tuple[Finding, ...]]:
        """For each part of a way the loose ends that lie below it: what hangs there is served too, and nobody knows what it is."""
        ways = self.tracing.supply_ways()
        below: dict[str, dict[Finding, None]] = {}
        for finding in loose_ends(self.tracing):
            for node in finding.nodes:
                way = ways.to(node)
                for number in way.links if way is not None else ():
                    link = self.circuit.links[number]
                    if link.kind in _ON_THE_WAY:
                        name = f"{link.part}.{link.output}" if link.output else link.part
                        below.setdefault(name, {})[finding] = None
        return {name: tuple(found) for name, found in below.items()}

    def _consumers(self) -> Iterator[tuple[Part, str, int, str]]:
        for part in self.circuit.parts.values():
            pins = self.circuit.pins_of.get(part.name, {})
            for pin, node in pins.items():
                if part.kind == "module":
                    assert isinstance(part.facts, ModuleFacts)
                    declared = part.facts.pins.get(pin, "")
                    if declared.split(" ")[0] == "output" or not self.circuit.is_attached(node):
                        continue
                    yield part, pin, node, declared
                elif (
                    part.kind == "load"
                    or (part.kind == "relay" and any(pin in coil for coil in part.coils))
                    or (part.kind == "converter" and pin == "in")
                ):
                    yield part, pin, node, ""

    def _next_positions(self) -> dict[str, tuple[str, ...]]:
        """For each fuse the fuses and relay contacts that come next below it."""
        circuit, ways = self.circuit, self.tracing.supply_ways()
        following: dict[str, dict[str, None]] = {}
        for part in circuit.parts.values():
            if part.kind in FUSE_KINDS or (part.kind == "relay" and part.panel):
                feed = _feed_node(self.tracing, part)
                above = fuses_above(circuit, ways.to(feed)) if feed is not None else []
                above = [name for name in above if name != part.name]
                if above:
                    following.setdefault(above[-1], {})[part.name] = None
        return {name: tuple(sorted(found, key=natural)) for name, found in following.items()}


def _depth(circuit: Circuit, way: Way, number: int) -> int:
    return max(way.distance[circuit.links[number].a], way.distance[circuit.links[number].b])


def _served_order(served: Served) -> tuple[int, str, list[tuple[int, int, str]]]:
    kinds = ("module", "load", "converter", "relay")
    return kinds.index(served.kind) + (10 if served.through else 0), served.part, natural(served.pin)


def _compared(tracing: Tracing, part: Part, said: str | None, below: _Below) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Parts that the text names and the tracing does not find, and modules that the tracing finds and the text does not name."""
    circuit = tracing.circuit
    if not said or getattr(part.facts, "state", None) in ("empty", "option", "none"):
        return (), ()
    named = named_in(circuit, said)
    if not named:
        return (), ()
    found = parts_below(tracing, part.name)
    not_found = tuple(name for name in named if name not in found)
    modules = dict.fromkeys(
        served.part for served in below.serves.get(part.name, ()) if served.kind == "module" and not served.through
    )
    between = below.covered.get(part.name, {})
    not_named = tuple(
        name for name in modules if name not in named and not between.get(name, set()).intersection(named)
    )
    return not_found, not_named


__all__ = [
    "EITHER", "ELECTRONIC", "EMPTY", "FITTED", "OPTION", "UNKNOWN", "Panel", "PanelReport", "Position", "Served", "UnknownPanel", "fuses_above",
    "panels_of", "plan_of", "point_words",
]  # fmt: skip
