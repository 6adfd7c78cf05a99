"""What `check` looks for in fuse panels, besides positions without feed, load or rating."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tracer.circuit.model import FUSE_KINDS, Circuit, LinkKind, Part, PartKind
from tracer.entry.models import FuseFacts, ModuleFacts, PanelFacts
from tracer.entry.problems import listed, natural
from tracer.entry.scalars import NO_FUSE_BELONGS
from tracer.standards import figures
from tracer.trace.affects.downwards import parts_below
from tracer.trace.hazards import Hazards
from tracer.trace.panels.labels import named_in, output_node, position_in
from tracer.trace.rules.registry import EXAMPLE_PLACED, Finding, rule
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Ways

_PANEL_RUNS = "runs:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n"


def _fuses(tracing: Tracing) -> Iterator[tuple[Part, FuseFacts]]:
    """Positions that hold a fuse, link or breaker, or may hold one."""
    for part in tracing.circuit.parts.values():
        if part.panel and isinstance(part.facts, FuseFacts):
            yield part, part.facts


def _nodes(circuit: Circuit, part: Part) -> tuple[int, ...]:
    return tuple(circuit.pins_of.get(part.name, {}).values())


@rule(
    "L141",
    "label twice in one panel",
    why="Two entries for one label: the second position was probably meant to have another label, and it is now missing.",
    fix="Look at the lid: correct the label, or the end of the range.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1-F3: 20, F3: 20}, busbars: {BAT.+: [F1]}}}  # L141 L123 L123\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: 20, F2: empty}, busbars: {BAT.+: [F1]}}}\n"
    + _PANEL_RUNS,
)
def label_twice(tracing: Tracing) -> Iterator[Finding]:
    """A position that two entries of one sheet name (equal keys are refused earlier; ranges that overlap are not)."""
    for part in tracing.circuit.parts.values():
        if not part.panel:
            continue
        places: dict[str, list[str]] = {}
        for fragment in part.fragments:
            places.setdefault(fragment.file.name, []).append(str(fragment.path[-1]))
        doubled = [entries for entries in places.values() if len(entries) > 1]
        for entries in doubled:
            yield Finding(
                part.fragments[1].place,
                part.name,
                f"position {part.label} of {part.panel} is named by {listed([f'`{entry}`' for entry in entries], joiner='and')}",
                "",
                _nodes(tracing.circuit, part),
                (part.name,),
            )


@rule(
    "L142",
    "feed of a position reaches no source",
    why="What feeds the position is typed in, but its own way to the battery is not: whatever lies between is on no list.",
    fix="Type in what feeds that busbar, rail or wire.",
    bad=EXAMPLE_PLACED
    + ", S2: {is: splice, at: bay}, FB: {is: panel, at: bay, positions: {F1: 20, F2: 10}, busbars: {BAT.+: [F1], S2: [F2]}}}  # L142 L106 L108\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED
    + ", S2: {is: splice, at: bay}, S3: {is: splice, at: bay}, FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {S2: [F1]}}}\n"
    + _PANEL_RUNS.replace("runs:\n", "runs:\n- S2 -- RD 6 -- S3\n- S3 -- RD 6 -- BAT.+\n"),
)
def feed_without_source(tracing: Tracing) -> Iterator[Finding]:
    """A fitted position whose feed side is joined with something, but with no source."""
    circuit, ways = tracing.circuit, tracing.supply_ways()
    for part, facts in _fuses(tracing):
        feed = circuit.pins_of[part.name]["feed"]
        if facts.state in NO_FUSE_BELONGS or not circuit.is_attached(feed) or ways.reached(feed):
            continue
        beside = [
            circuit.node_names[circuit.other(circuit.links[number], feed)]
            for number in circuit.at[feed]
            if circuit.links[number].part != part.name
        ]
        yield Finding(
            part.place,
            part.name,
            f"{part.name} is fed from {listed(sorted(set(beside)), joiner='and')}, which reaches no source",
            "",
            (feed, circuit.pins_of[part.name]["load"]),
            (part.name,),
        )


@rule(
    "L143",
    "position on two busbars",
    why="A feed side belongs to one busbar. On two, the busbars are joined on paper, and everything on one seems to be live with the other.",
    fix="Look at the panel or the power page: take the position out of one of the two lists.",
    bad=EXAMPLE_PLACED
    + ", S2: {is: splice, at: bay}, FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {BAT.+: [F1], S2: [F1]}}}  # L143 L106\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED + ", FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {BAT.+: [F1]}}}\n" + _PANEL_RUNS,
)
def two_busbars(tracing: Tracing) -> Iterator[Finding]:
    """A pin of a position that two busbars name."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if not part.panel:
            continue
        panel = circuit.parts[part.panel]
        assert isinstance(panel.facts, PanelFacts)
        labels = {part.name, part.label, f"{part.label}.feed"} if part.kind in FUSE_KINDS else set()
        for pin, node in circuit.pins_of.get(part.name, {}).items():
            if sum(circuit.links[number].kind is LinkKind.BUSBAR for number in circuit.at[node]) < 2:
                continue
            wanted = labels if pin == "feed" else {f"{part.label}.{pin}", f"{part.name}.{pin}"}
            origins = [origin for origin, targets in panel.facts.busbars.items() if wanted.intersection(targets)]
            if len(origins) > 1:
                yield Finding(
                    panel.place_of("busbars", origins[1], key=True),
                    circuit.node_names[node],
                    f"{circuit.node_names[node]} is on the busbars {listed(origins, joiner='and')}",
                    "",
                    (node,),
                    (part.name,),
                )


@rule(
    "L144",
    "either-or position not settled",
    why="The fuse sits in one of two positions, and with it the circuit is live at other times. As long as it is not said in which, nobody knows when the circuit is live.",
    fix="Look at the vehicle: `state: fitted` on the position that holds the fuse, `state: option` on the other.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: {amps: 20, or: F2}, F2: 20}, busbars: {BAT.+: [F1-F2], F1.load: [F2.load]}}}  # L144\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: {amps: 20, or: F2, state: fitted}, F2: {amps: 20, state: option}}, busbars: {BAT.+: [F1-F2], F1.load: [F2.load]}}}\n"
    + _PANEL_RUNS,
)
def either_or_open(tracing: Tracing) -> Iterator[Finding]:
    """An `or` whose partner is missing, or where not exactly one of the two is said to hold the fuse."""
    circuit = tracing.circuit
    for part, facts in _fuses(tracing):
        if facts.or_ is None:
            continue
        partner = position_in(circuit, part.panel, facts.or_)
        nodes = _nodes(circuit, part)
        if partner is None or not isinstance(circuit.parts[partner].facts, FuseFacts):
            message = f"{part.name} may sit in {facts.or_} instead, but there is no such position"
            yield Finding(part.place, part.name, message, "Correct the label after `or`.", nodes, (part.name,))
            continue
        other = circuit.parts[partner].facts
        assert isinstance(other, FuseFacts)
        if other.or_ is not None and position_in(circuit, part.panel, other.or_) == part.name and partner < part.name:
            continue  # said on both, told once
        held = [one for one in (facts, other) if one.state not in ("option", "empty")]
        if len(held) != 1:
            which = "both of them" if held else "neither"
            message = (
                f"the fuse of this circuit sits in {part.name} or in {partner}, and {which} is typed as holding it"
            )
            yield Finding(
                part.place,
                part.name,
                message,
                "",
                (*nodes, *_nodes(circuit, circuit.parts[partner])),
                (part.name, partner),
            )


@rule(
    "L145",
    "output in place of a fuse not known",
    why="The position is said to be done by an electronic output, and that output is not typed in: what it serves, and when it is live, is not known.",
    fix="Correct `output`, or type the output in under `outputs` of that module.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: 20, F2: {state: none, output: ALM.7}}, busbars: {BAT.+: [F1]}}}  # L145\n"
    + _PANEL_RUNS,
    good="parts: {ALM: {is: module, at: floor, cavities: [4, 7], pins: {4: supply}, outputs: {7: {drives: high, from: [4], when: [run]}}}, BAT: {is: battery, at: bay}, F9: {is: fuse, amps: 10, at: bay}, S1: {is: splice, at: floor}, E1: {is: load, at: floor}, G1: {is: ground, at: floor}"
    + ", FB: {is: panel, at: bay, positions: {F1: 20, F2: {state: none, output: ALM.7}}, busbars: {BAT.+: [F1]}}}\n"
    + _PANEL_RUNS
    + "- ALM.7 -- RD 1 -- E1 -- BN 1 -- G1\n- G1 -- BN 1 -- BAT.-\n",
)
def output_not_known(tracing: Tracing) -> Iterator[Finding]:
    """`output` that names no module, or no output of it."""
    circuit = tracing.circuit
    for part, facts in _fuses(tracing):
        if facts.output is None or output_node(circuit, facts.output) is not None:
            continue
        module = circuit.parts.get(facts.output.partition(".")[0])
        if isinstance(module.facts if module else None, ModuleFacts):
            message = f"{part.name}: {facts.output} is not an output that is typed in"
        else:
            message = f"{part.name}: `{facts.output}` names no module output"
        yield Finding(part.place, part.name, message, "", _nodes(circuit, part), (part.name,))


@rule(
    "L146",
    "position serves a part that is not traced",
    why="The lid or handbook names a relay, position or load for this fuse, but it is not found below it: a wire or a busbar is missing.",
    fix="Type in the wire or busbar from this position; correct `serves` if the text is of another variant.",
    bad=EXAMPLE_PLACED
    + ", E1: {is: load, at: floor}, G1: {is: ground, at: floor}, FB: {is: panel, at: bay, positions: {F1: {amps: 20, serves: lamp E1}}, busbars: {BAT.+: [F1]}}}  # L146\n"
    + _PANEL_RUNS
    + "- BAT.+ -- RD 1 -- E1 -- BN 1 -- G1\n- G1 -- BN 1 -- BAT.-\n",
    good=EXAMPLE_PLACED
    + ", E1: {is: load, at: floor}, G1: {is: ground, at: floor}, FB: {is: panel, at: bay, positions: {F1: {amps: 20, serves: lamp E1}}, busbars: {BAT.+: [F1]}}}\n"
    + _PANEL_RUNS
    + "- S1 -- RD 1 -- E1 -- BN 1 -- G1\n- G1 -- BN 1 -- BAT.-\n",
)
def served_part_not_traced(tracing: Tracing) -> Iterator[Finding]:
    """`serves` names a part, other than a module, that supply from this position does not reach."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        said = part.facts.said("serves")
        if not said or part.facts.said("state") in NO_FUSE_BELONGS:
            continue
        named = [
            name
            for name in named_in(circuit, said)
            if circuit.parts[name].kind not in (PartKind.MODULE, PartKind.PANEL)
        ]
        below = parts_below(tracing, part.name) if named else frozenset()
        for name in named:
            if name not in below and name != part.name:
                yield Finding(
                    part.place,
                    part.name,
                    f"{part.name} is said to serve {name}, but {name} is not traced to it",
                    "",
                    (*_nodes(circuit, part), *_nodes(circuit, circuit.parts[name])),
                    (part.name,),
                )


@rule(
    "L147",
    "three-tab fuse without its two elements",
    why="A three-tab fuse feeds two circuits from its common tab. With only one element typed in, the other circuit is on no list.",
    fix="Type in both elements as positions with the same `body`, both fed from the same busbar.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: {amps: 10, type: P, body: FT1}}, busbars: {BAT.+: [F1]}}}  # L147\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: {amps: 10, type: P, body: FT1}, F2: {amps: 10, type: P, body: FT1}}, busbars: {BAT.+: [F1-F2]}}}\n"
    + _PANEL_RUNS
    + "- F2 -- RD 1 -- S1\n",
)
def body_not_whole(tracing: Tracing) -> Iterator[Finding]:
    """A `body` that not exactly two positions name, or whose elements have no common feed."""
    circuit = tracing.circuit
    bodies: dict[tuple[str | None, str], list[Part]] = {}
    for part, facts in _fuses(tracing):
        if facts.body is not None:
            bodies.setdefault((part.panel, facts.body), []).append(part)
    for (_, body), elements in bodies.items():
        nodes = tuple(node for part in elements for node in _nodes(circuit, part))
        names = tuple(part.name for part in elements)
        if len(elements) != 2:
            message = f"three-tab fuse {body} has {len(elements)} element{'s' * (len(elements) != 1)} typed in ({listed(names, joiner='and')}), not two"
            yield Finding(elements[0].place, body, message, "", nodes, names)
            continue
        feeds = [circuit.pins_of[name]["feed"] for name in names]
        if all(circuit.is_attached(feed) for feed in feeds) and len({tracing.hard_nets.of[feed] for feed in feeds}) > 1:
            message = (
                f"the elements {listed(names, joiner='and')} of three-tab fuse {body} have a common tab, but two feeds"
            )
            yield Finding(elements[0].place, body, message, "", nodes, names)


# --- remarks -------------------------------------------------------------------------------------------------------


@rule(
    "R221",
    "rating that is not made",
    why="A fuse family is made in the ratings of its standard, each with its colour. Another rating is usually a slip of the pen: 12 for 15, 2.5 for 25.",
    fix="Compare rating and type with the lid or the handbook.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: {amps: 12, type: F}}, busbars: {BAT.+: [F1]}}}  # R221\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: {amps: 15, type: F}}, busbars: {BAT.+: [F1]}}}\n"
    + _PANEL_RUNS,
)
def rating_not_made(tracing: Tracing) -> Iterator[Finding]:
    """A rating that the family of the given type does not have; without a type, one that no family has."""
    from tracer.standards.fuses import UnknownFuseKind, fuse_kind, fuse_kinds, ratings

    for part in tracing.circuit.parts.values():
        facts = part.facts
        if part.kind is not PartKind.FUSE or not isinstance(facts, FuseFacts) or facts.amps is None:
            continue
        try:
            families = [fuse_kind(facts.type).name] if facts.type else [kind.name for kind in fuse_kinds()]
        except UnknownFuseKind as error:
            yield Finding(part.place, part.name, f"{part.name}: {error}", "", parts=(part.name,))
            continue
        made = sorted({rating.rating_a for family in families for rating in ratings(family) if rating.standard})
        if made and facts.amps not in made:
            near = sorted(made, key=lambda rating: abs(rating - (facts.amps or 0)))[:2]
            family = f"a {families[0]} (type {facts.type})" if facts.type else "a vehicle fuse"
            message = f"{part.name}: {family} of {figures.stated(facts.amps, 'A')} is in no list; near it are {listed([figures.stated(one, 'A') for one in sorted(near)], joiner='and')}"
            yield Finding(part.place, part.name, message, "", parts=(part.name,))


@rule(
    "R222",
    "load side live without its fuse",
    why="Another feed reaches the load side: with this fuse out, the circuit behind it may still be live. Who pulls one fuse to make it dead is deceived.",
    fix="Nothing to do if the diagram shows it: pull both fuses, and prove the circuit dead with a meter.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: 20, F2: 20}, busbars: {BAT.+: [F1-F2]}}}  # R222 R222\n"
    + _PANEL_RUNS
    + "- F2 -- RD 1 -- S1\n",
    good=EXAMPLE_PLACED + ", FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {BAT.+: [F1]}}}\n" + _PANEL_RUNS,
)
def live_without_fuse(tracing: Tracing) -> Iterator[Finding]:
    """A position with a second way to its load side."""
    circuit, ways = tracing.circuit, tracing.supply_ways()
    for number, link in enumerate(circuit.links):
        if link.kind is not LinkKind.FUSE or circuit.is_left_open(link) or not circuit.parts[link.part].panel:
            continue
        if isinstance(ways, Ways) and ways.is_bridge(number):
            continue
        way = ways.to(link.b)
        if way is None or number not in way.links or number in way.sole_links:
            continue
        others = sorted(
            {
                circuit.links[other].part
                for other in way.links
                if circuit.links[other].kind in (LinkKind.FUSE, LinkKind.DIODE) and other not in way.sole_links
            }
            - {link.part},
            key=natural,
        )
        over = f" over {listed(others, joiner='and')}" if others else ""
        over += _busbar_behind(circuit, link.part)
        withheld = tracing.once(Hazards).withheld_in(link.part)
        fix = f"Nothing to do if the diagram shows it; {withheld}." if withheld else ""
        if not withheld and not any(circuit.parts[other].kind in FUSE_KINDS for other in others):
            fix = f"Compare with the diagram. If it is so, {link.part} alone does not make the circuit dead: prove it dead with a meter."
        yield Finding(
            circuit.parts[link.part].place,
            link.part,
            f"the load side of {link.part} is also fed another way{over}",
            fix,
            (link.a, link.b),
            (link.part,),
        )


def _busbar_behind(circuit: Circuit, fuse: str) -> str:
    """Where a busbar of the panel is typed in that joins something to the load side of a fuse."""
    panel, label = circuit.parts[circuit.parts[fuse].panel or ""], circuit.parts[fuse].label
    for fragment in panel.fragments:
        for origin in (f"{label}.load", f"{label}"):
            if fragment.has(("busbars", origin)):
                return f" (busbar {origin}, {fragment.place_of(('busbars', origin), key=True)})"
    return ""


@rule(
    "R223",
    "fuse above smaller than the fuse below",
    why="Of two fuses in a row the one nearer the source must be the larger one; otherwise it opens first and takes its other circuits along. Often one of the ratings is mistyped.",
    fix="Compare both ratings with the lid or the handbook.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: 5}, busbars: {BAT.+: [F1]}}}  # R223\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED + ", FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {BAT.+: [F1]}}}\n" + _PANEL_RUNS,
)
def cascade_reversed(tracing: Tracing) -> Iterator[Finding]:
    """A fuse on the only way of another one, with a smaller rating."""
    circuit, ways = tracing.circuit, tracing.supply_ways()
    smallest = min(
        (part.facts.amps for part in circuit.parts.values() if isinstance(part.facts, FuseFacts) and part.facts.amps),
        default=0.0,
    )
    for link in circuit.links:
        if link.kind is not LinkKind.FUSE or circuit.is_left_open(link):
            continue
        own = circuit.parts[link.part].facts
        if (
            not isinstance(own, FuseFacts)
            or own.amps is None
            or own.amps <= smallest
            or (way := ways.to(link.a)) is None
        ):
            continue
        above = [circuit.links[number] for number in way.sole_links if circuit.links[number].kind is LinkKind.FUSE]
        above.sort(key=lambda one: -max(way.distance[one.a], way.distance[one.b]))
        for one in above[:1]:
            facts = circuit.parts[one.part].facts
            if (
                one.part != link.part
                and isinstance(facts, FuseFacts)
                and facts.amps is not None
                and facts.amps < own.amps
            ):
                yield Finding(
                    circuit.parts[link.part].place,
                    link.part,
                    f"{link.part} is {figures.stated(own.amps, 'A')}, but {one.part} above it is only {figures.stated(facts.amps, 'A')}",
                    "",
                    (link.a, link.b),
                    (link.part, one.part),
                )


@rule(
    "R224",
    "plan of the panel does not fit its positions",
    why="The plan is what the hand goes by. A label that is missing in it, or stands there twice, leads to the wrong fuse.",
    fix="Compare `rows` with the panel; write `_` for a gap.",
    bad=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: 20, F2: empty}, rows: [[F1, F3]], busbars: {BAT.+: [F1]}}}  # R224 R224\n"
    + _PANEL_RUNS,
    good=EXAMPLE_PLACED
    + ", FB: {is: panel, at: bay, positions: {F1: 20, F2: empty}, rows: [[F1, _, F2]], busbars: {BAT.+: [F1]}}}\n"
    + _PANEL_RUNS,
)
def plan_does_not_fit(tracing: Tracing) -> Iterator[Finding]:
    """Labels in `rows` that are no position or stand there twice, and positions that stand in no row."""
    circuit = tracing.circuit
    in_panel: dict[str, dict[str, Part]] = {}
    for part in circuit.parts.values():
        if part.panel and part.label:
            in_panel.setdefault(part.panel, {})[part.label] = part
    for panel in circuit.parts.values():
        if not isinstance(panel.facts, PanelFacts) or not panel.facts.rows:
            continue
        own = in_panel.get(panel.name, {})
        bodies = {part.facts.said("body"): part.label for part in own.values()}
        shown = Counter(label for row in panel.facts.rows for label in row if label != "_")
        place = panel.place_of("rows", key=True)
        strange = [label for label in shown if label not in own and label not in bodies]
        twice = [label for label, times in shown.items() if times > 1]
        left_out = [label for label, part in own.items() if label not in shown and part.facts.said("body") not in shown]
        for labels, words in (
            (strange, "in no position of it"),
            (twice, "in its rows twice"),
            (left_out, "in none of its rows"),
        ):
            if labels:
                labels.sort(key=natural)
                yield Finding(
                    place,
                    panel.name,
                    f"{panel.name}: {listed(labels, joiner='and')} {'stands' if len(labels) == 1 else 'stand'} {words}",
                    "",
                    parts=(panel.name,),
                )
