"""Fuse and relay panels: what belongs in each position, what feeds it, when it is live, what it serves, and whether its own text says the same."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from tracer.circuit.kinds import BESIDE, PartKind
from tracer.circuit.model import FUSE_KINDS, Circuit, LinkKind, Part
from tracer.entry.models import FuseFacts, PanelFacts, RelayFacts
from tracer.entry.problems import NONE_YET, natural, nearest
from tracer.entry.scalars import NO_FUSE_BELONGS
from tracer.standards.cautions import cautions_for
from tracer.standards.fuses import UnknownFuseKind, fuse_kind, rating_of
from tracer.trace.affects.dead_part import fuse_words
from tracer.trace.affects.downwards import parts_below
from tracer.trace.lists.basis import whole_vehicle
from tracer.trace.lists.results import LooseEnd
from tracer.trace.lists.rows import levels
from tracer.trace.minding import minding_of
from tracer.trace.panels.below import Below, feed_node, fuses_above
from tracer.trace.panels.labels import named_in, output_node, position_in
from tracer.trace.panels.positions import (
    EITHER,
    ELECTRONIC,
    EMPTY,
    FITTED,
    OPTION,
    UNKNOWN,
    Panel,
    PanelReport,
    Position,
    Served,
    UnknownPanel,
)
from tracer.trace.rules.registry import Finding, loose_ends
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Way


def only_these(tracing: Tracing, report: PanelReport, parts: Collection[str]) -> PanelReport:
    """The same inventory with the positions of these parts alone, and what is to be minded with those; panels that have none are left out."""
    kept = (
        replace(panel, positions=tuple(one for one in panel.positions if one.part in parts)) for panel in report.panels
    )
    panels = tuple(panel for panel in kept if panel.positions)
    return replace(report, panels=panels, minding=minding_of(tracing, (panels, report.completeness)))


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
            raise UnknownPanel(f"there is no panel {name}.{hint} Panels: {', '.join(known) or NONE_YET}.")
        parts = [part for part in parts if part.name == name]
    below = Below(tracing)
    found = loose_ends(tracing)
    panels = tuple(_panel(tracing, part, below, found) for part in parts)
    completeness = whole_vehicle(tracing)
    return PanelReport(
        tracing.circuit.name,
        panels,
        tuple(caution.text for caution in cautions_for("fuses")),
        completeness,
        minding_of(tracing, (panels, completeness)),
    )


def _panel(tracing: Tracing, part: Part, below: Below, findings: list[Finding]) -> Panel:
    facts = part.facts
    assert isinstance(facts, PanelFacts)
    own = below.in_panel.get(part.name, {})
    order = _in_order(facts, own)
    positions = tuple(_position(tracing, own[label], facts, below) for label in order)
    names = {part.name, *(one.name for one in own.values())}
    served = {finding for position in positions for finding in below.loose.get(position.output or position.part, ())}
    loose = tuple(
        LooseEnd.of(finding)
        for finding in findings
        if finding.module == "*" or names.intersection(finding.parts) or finding in served
    )
    return Panel(part.name, facts.name, facts.at, facts.access, tracing.states.keys, positions, plan_of(facts), loose)


def plan_of(facts: PanelFacts) -> tuple[tuple[str, ...], ...]:
    """The rows of a panel as they sit."""
    return tuple(tuple(row) for row in facts.rows)


def _in_order(facts: PanelFacts, own: dict[str, Part]) -> list[str]:
    """Labels in the order in which they sit: row by row, then what stands in no row, by label."""
    of_body: dict[str, list[str]] = {}
    for label, part in own.items():
        body = part.facts.said("body")
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


def _position(tracing: Tracing, part: Part, panel: PanelFacts, below: Below) -> Position:
    circuit = tracing.circuit
    facts = part.facts
    fuse = facts if isinstance(facts, FuseFacts) else None
    output = fuse.output if fuse is not None else None
    family, colour = _family(fuse)
    feed = output_node(circuit, output) if output else feed_node(tracing, part)
    way = tracing.supply_ways().to(feed) if feed is not None else None
    fed = way is not None or (feed is not None and tracing.supply_ways().reached(feed))
    live, why = levels(tracing, feed, "supply") if feed is not None and fed else ({}, {})
    either = below.either.get(part.name)
    serves = below.serves.get(output or part.name, ())
    said = facts.said("serves")
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
        pins=tuple(_pins(circuit, part)) if part.kind in (PartKind.RELAY, PartKind.DIODE) else (),
        said=said,
        not_found=not_found,
        not_named=not_named,
        sheets=_sheets(circuit, part),
        name=facts.name,
        note="; ".join(dict.fromkeys(words for one in part.fragments for words in one.facts.note.values())) or None,
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
    state = part.facts.said("state")
    if state == "empty":
        return EMPTY
    if state == "none":
        return ELECTRONIC
    if state == "option":
        return OPTION
    if either is not None and state is None:
        partner = position_in(circuit, part.panel, either)
        if partner is None or circuit.parts[partner].facts.said("state") is None:
            return EITHER
    if isinstance(part.facts, FuseFacts) and part.facts.amps is None:
        return UNKNOWN
    return FITTED


def _fed_from(circuit: Circuit, feed: int, way: Way | None) -> Iterator[str]:
    """The points next to a feed side from which it is fed, in words."""
    told = set()
    for number in circuit.at[feed]:
        link = circuit.links[number]
        if link.kind not in BESIDE or (way is not None and number not in way.links):
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
    name, part, pin = circuit.node_names[node], circuit.part_at(node), circuit.node_pins[node]
    if part is None:
        return f"rail {name}" if name in circuit.typed.vehicle.rails else name
    if part.kind in FUSE_KINDS:
        return f"{pin} side of {part.name}"
    return name


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
            if circuit.links[number].kind in BESIDE
        ]
        yield pin, ", ".join(dict.fromkeys(joined)) or ("not used" if pin in unused else "nothing typed in")


def _sheets(circuit: Circuit, part: Part) -> tuple[str, ...]:
    own = [circuit.typed.sheets[fragment.sheet].id for fragment in part.fragments]
    for node in circuit.pins_of.get(part.name, {}).values():
        own += [circuit.sheet_of_run(circuit.links[number].run) for number in circuit.wires_at(node)]
    return tuple(dict.fromkeys(own))


# --- what a position serves ------------------------------------------------------------------------------------


def _compared(tracing: Tracing, part: Part, said: str | None, below: Below) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Parts that the text names and the tracing does not find, and modules that the tracing finds and the text does not name."""
    circuit = tracing.circuit
    if not said or part.facts.said("state") in NO_FUSE_BELONGS:
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
