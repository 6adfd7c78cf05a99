"""Loose ends: drawn or declared, but the other end is not known. Each blocks the word COMPLETE where it lies on a way to a module."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.model import FUSE_KINDS, SWITCHED, Circuit, Link, LinkKind, Part
from tracer.circuit.open_ends import open_coils, open_contacts, open_ends, unknown_insides
from tracer.circuit.references import difference, findings
from tracer.circuit.states import Level
from tracer.entry.models import ConnectorFacts, FuseFacts, JointFacts, ModuleFacts, RelayFacts
from tracer.entry.problems import natural
from tracer.trace.basis import joint_count
from tracer.trace.census import SENSING, PinFinding, pins_found
from tracer.trace.rows import gaps_on
from tracer.trace.rules import Finding, rule
from tracer.trace.settings import level_of
from tracer.trace.survey import Survey

_HEAD = (
    "parts: {ALM: {is: module, cavities: [4], pins: {4: supply}}, BAT: battery, F9: {is: fuse, amps: 10}, S1: splice"
)

# --- references ----------------------------------------------------------------------------------------------------


def _reference_findings(survey: Survey, kind: str) -> Iterator[tuple[Finding, str]]:
    circuit = survey.circuit
    for found in findings(circuit):
        if found.kind != kind:
            continue
        end = found.end
        sheet = circuit.sheet_of_run(end.run)
        others = ", ".join(f"{other.place} (sheet {circuit.sheet_of_run(other.run)})" for other in found.others)
        name = f"ref {end.here}>{end.there}" if end.here != end.there else f"ref {end.here}"
        yield Finding(end.place, f"{name} on sheet {sheet}", "", "", (end.node,)), others


@rule(
    "L101",
    "reference not answered",
    why="The wire goes on at a page that is not typed in. A supply may come from there, and it would never be probed.",
    fix="Type in the page that holds the other mark.",
    bad=_HEAD + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L101\n",
    good=_HEAD + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_not_answered(survey: Survey) -> Iterator[Finding]:
    """A reference whose partner mark stands on no sheet."""
    for finding, _ in _reference_findings(survey, "unanswered"):
        end = survey.circuit.reference_of[finding.nodes[0]]
        if end.here == end.there:
            message, mark = f"no other sheet holds `ref {end.here}`", end.here
        else:
            message, mark = f"no sheet holds mark {end.there} that leads back to {end.here}", end.there
        yield Finding(finding.place, finding.at, message, f"Type in the page that has mark {mark}.", finding.nodes)


@rule(
    "L102",
    "reference answered by another chain",
    why="The mark exists, but it leads elsewhere: a digit is wrong on one side, or there is a second wire of that mark.",
    fix="Look at both pages and correct the mark.",
    bad=_HEAD
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L102\n- ref 12>48 -- RD 1 -- F9.load  # L101\n- F9.feed -- RD 1 -- BAT.+\n",
    good=_HEAD + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_chained(survey: Survey) -> Iterator[Finding]:
    """A reference whose partner mark exists but leads to a third mark."""
    for finding, others in _reference_findings(survey, "chained"):
        end = survey.circuit.reference_of[finding.nodes[0]]
        leads = [other.there for other in survey.circuit.references if other.here == end.there]
        message = f"mark {end.there} stands at {others}, but leads to {' and '.join(leads)}, not back to {end.here}"
        yield Finding(finding.place, finding.at, message, "", finding.nodes)


@rule(
    "L103",
    "reference doubled",
    why="One mark with several partners: which wire goes where is not known, and one of them may be a supply.",
    fix="Look at the pages: each end of a wire has one mark. Correct or remove the surplus one.",
    bad=_HEAD
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L103\n- ref 12>47 -- RD 1 -- F9.load  # L103\n- ref 12>47 -- RD 1 -- S1  # L103\n"
    + "- F9.feed -- RD 1 -- S1\n- S1 -- RD 1 -- BAT.+\n",
    good=_HEAD + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_doubled(survey: Survey) -> Iterator[Finding]:
    """The same reference typed more than once."""
    for finding, others in _reference_findings(survey, "doubled"):
        yield Finding(finding.place, finding.at, f"the same reference stands again at {others}", "", finding.nodes)


@rule(
    "L104",
    "reference ends disagree",
    why="The two halves of one wire have one colour and one size. Where they differ, one of the marks is wrong and the wire leads elsewhere.",
    fix="Look at both pages; correct the wire or the mark.",
    bad=_HEAD
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L104\n- ref 12>47 -- BK 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
    good=_HEAD + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_disagrees(survey: Survey) -> Iterator[Finding]:
    """Both ends are there, but say different wires; they are not joined."""
    circuit = survey.circuit
    for finding, others in _reference_findings(survey, "disagreeing"):
        end = circuit.reference_of[finding.nodes[0]]
        other = next(o for o in circuit.references if (o.here, o.there) == (end.there, end.here) and o is not end)
        if other.node < end.node:  # said once, at the same end however the two were typed
            continue
        wire, other_wire = (circuit.runs[one.run].wires[one.wire] for one in (end, other))
        differ = difference(wire, other_wire)
        verb = "differ" if " and " in differ else "differs"
        message = f"{differ} {verb}: {wire.text} here, {other_wire.text} at {others}; the two ends are not joined"
        yield Finding(finding.place, finding.at, message, "", (end.node, other.node))


# --- ends of wires -------------------------------------------------------------------------------------------------


@rule(
    "L105",
    "wire just ends",
    why="Where it goes is not known; it may be a supply, or another consumer that loads one.",
    fix="Follow the wire and type the point where it ends.",
    bad=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- ?  # L105\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n",
)
def wire_ends(survey: Survey) -> Iterator[Finding]:
    """A run that ends in `?`."""
    circuit = survey.circuit
    for node, (run, place) in circuit.unknown_ends.items():
        typed = circuit.runs[run]
        points = typed.points
        from_point, wire = (
            (points[-2].text, typed.wires[-1]) if points[-1].is_unknown else (points[1].text, typed.wires[0])
        )
        yield Finding(
            place,
            f"wire {wire.text} from {from_point}",
            f"the wire {wire.text} from {from_point} leads to a place that is not known",
            "",
            (node,),
        )


@rule(
    "L106",
    "splice with one wire",
    why="A splice joins at least two wires: another wire leaves here that is not typed in.",
    fix="Type in the other wires of the splice.",
    bad=_HEAD + "}  # L106\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- S1\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def splice_with_one_wire(survey: Survey) -> Iterator[Finding]:
    """A splice, or a group of a joint connector, that only one wire reaches."""
    circuit = survey.circuit
    for part in circuit.parts.values():
        if part.kind == "splice":
            node = circuit.node_of_point[part.name, ""]
            if _attached_count(circuit, node) == 1:
                yield Finding(part.place, part.name, f"splice {part.name} has one wire", "", (node,))
        elif part.kind == "joint":
            pins = circuit.pins_of[part.name]
            for pin, node in pins.items():
                if not pin.startswith("group "):
                    if circuit.is_attached(node) and not any(
                        circuit.links[number].kind is LinkKind.BUSSED for number in circuit.at[node]
                    ):
                        message = f"cavity {pin} of joint connector {part.name} has a wire but belongs to no group"
                        yield Finding(
                            part.place,
                            f"{part.name}.{pin}",
                            message,
                            "Add the cavity to a group under `bussed`.",
                            (node,),
                        )
                    continue
                cavities = [circuit.other(circuit.links[number], node) for number in circuit.at[node]]
                used = [cavity for cavity in cavities if circuit.is_attached(cavity)]
                if len(used) == 1:
                    message = f"only one wire ({circuit.node_names[used[0]]}) reaches {circuit.node_names[node]}"
                    yield Finding(
                        part.place,
                        circuit.node_names[used[0]],
                        message,
                        "Type in the other wires of the group.",
                        (used[0],),
                    )


def _attached_count(circuit: Circuit, node: int) -> int:
    outside = (LinkKind.WIRE, LinkKind.BUSBAR, LinkKind.MEETS, LinkKind.RAIL)
    return sum(circuit.links[number].kind in outside for number in circuit.at[node])


@rule(
    "L107",
    "in-line cavity with one half open",
    why="The wire goes on in the other half of the connector, and where to is not typed in.",
    fix="Type in the run from the other half; if nothing is there, the wire is dead and may be left out.",
    bad=_HEAD + ", X3: connector}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- X3.1  # L107\n",
    good=_HEAD + ", X3: connector}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- X3.1 -- RD 1 -- ALM.4\n",
)
def half_cavity_open(survey: Survey) -> Iterator[Finding]:
    """An in-line cavity where only one half has a wire."""
    circuit = survey.circuit
    for link in circuit.links:
        if link.kind is LinkKind.MATING:
            used = [circuit.is_attached(node) for node in (link.a, link.b)]
            if used[0] != used[1]:
                wired, open_node = (link.a, link.b) if used[0] else (link.b, link.a)
                run = circuit.links[circuit.wires_at(wired)[0]].run if circuit.wires_at(wired) else -1
                place = circuit.run_place(run) if run >= 0 else circuit.parts[link.part].place
                name = circuit.cavity_of(wired)
                message = f"the other half of cavity {name} is not typed in"
                if len(circuit.wires_at(wired)) > 1:
                    message = (
                        f"{len(circuit.wires_at(wired))} wires claim the half {circuit.node_names[wired]}; {message}"
                    )
                yield Finding(place, name, message, "", (open_node,))


# --- fuses, contacts, coils ----------------------------------------------------------------------------------------


def _fuse_ends(circuit: Circuit) -> Iterator[tuple[Part, FuseFacts, Link, bool, bool]]:
    for link in circuit.links:
        if link.kind is LinkKind.FUSE:
            part = circuit.parts[link.part]
            assert isinstance(part.facts, FuseFacts)
            yield part, part.facts, link, circuit.is_attached(link.a), circuit.is_attached(link.b)


@rule(
    "L108",
    "nothing on the load side of a fuse",
    why="A fitted fuse serves something. What it serves is not typed in, so nobody knows which module misses it.",
    fix="Type in the run from its load side; or set the position to `empty`, or its `state` to `option`.",
    bad=_HEAD + "}  # L108\nruns:\n- BAT.+ -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- S1 -- RD 1 -- ALM.4\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def fuse_without_load(survey: Survey) -> Iterator[Finding]:
    """A fuse that is fed but serves nothing typed in."""
    for part, facts, link, fed, loaded in _fuse_ends(survey.circuit):
        if fed and not loaded and facts.state not in ("empty", "option", "none"):
            rating = f" ({facts.amps:g} A)" if facts.amps else ""
            yield Finding(
                part.place,
                f"{part.name}.load",
                f"{part.name}{rating}: nothing on its load side yet",
                "",
                (link.b,),
                (part.name,),
            )


@rule(
    "L109",
    "fuse fed from nothing",
    why="What feeds the fuse is not typed in. The supply behind it cannot be traced to its source.",
    fix="Type in the run to its feed side, or name the busbar that feeds it under `busbars` of its panel.",
    bad=_HEAD + "}  # L109\nruns:\n- BAT.+ -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- F9.load -- RD 1 -- S1\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def fuse_without_feed(survey: Survey) -> Iterator[Finding]:
    """A fuse with a wire on its load side and nothing on its feed side."""
    for part, facts, link, fed, loaded in _fuse_ends(survey.circuit):
        if loaded and not fed and facts.state != "none":
            yield Finding(
                part.place,
                f"{part.name}.feed",
                f"{part.name}: what feeds it is not known",
                "",
                (link.a,),
                (part.name,),
            )


@rule(
    "L110",
    "contact with one side unknown",
    why="A switch or relay lies on the way, and what is on its other side is not typed in. A supply may come from there.",
    fix="Type in the run to the open pin; for a pin that really is not used, list it under `unused` of the relay.",
    bad=_HEAD
    + ", K1: {is: relay, kind: normally open}}  # L110\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
    good=_HEAD
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def contact_open(survey: Survey) -> Iterator[Finding]:
    """A pin of a contact that nothing is wired to, while its partner is wired and has no other wired partner."""
    circuit = survey.circuit
    for name, pin, node in sorted(open_contacts(circuit), key=lambda found: (found[0], natural(found[1]))):
        part = circuit.parts[name]
        message = f"{name}.{pin} is one side of a contact whose other side is wired; what is behind it is not typed in"
        yield Finding(part.place, f"{name}.{pin}", message, "", (node,), (name,))


@rule(
    "L111",
    "relay coil not typed in",
    why="A relay's contact is used, but what pulls it in is not known: coil supply, coil ground and its driver must be proven too.",
    fix="Type in the runs to both coil pins.",
    bad=_HEAD
    + ", K1: {is: relay, kind: normally open}}  # L111\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n",
    good=_HEAD
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_open(survey: Survey) -> Iterator[Finding]:
    """A coil pin without a wire."""
    circuit = survey.circuit
    for name, missing in open_coils(circuit).items():
        pins = circuit.pins_of[name]
        names = " and ".join(f"{name}.{pin}" for pin in missing)
        message = f"the coil of {name} is not typed in: nothing is wired to {names}"
        yield Finding(circuit.parts[name].place, names, message, "", tuple(pins[pin] for pin in missing), (name,))


# --- modules -------------------------------------------------------------------------------------------------------


def _modules(survey: Survey) -> Iterator[tuple[Part, ModuleFacts, tuple[PinFinding, ...]]]:
    for part in survey.circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        yield part, part.facts, pins_found(survey, part)


@rule(
    "L112",
    "cavities of a module not listed",
    why="Without the list of its cavities nobody can say that no pin was forgotten.",
    fix="Add `cavities: 1-32` (what its connectors hold), and `unused` for the empty ones.",
    bad="parts: {ALM: {is: module, pins: {4: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L112\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def cavities_not_listed(survey: Survey) -> Iterator[Finding]:
    """A module without `cavities`."""
    for part in survey.circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        if not part.facts.cavities:
            yield Finding(part.place, part.name, f"the cavities of {part.name} are not listed", "", module=part.name)


@rule(
    "L113",
    "cavity unaccounted",
    why="A cavity that is neither wired nor listed as unused may be the supply that everybody forgot.",
    fix="Look at the connector: type in its run, or list it under `unused`.",
    bad="parts: {ALM: {is: module, cavities: 1-2, pins: {1: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L113\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n",
    good="parts: {ALM: {is: module, cavities: 1-2, unused: 2, pins: {1: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n",
)
def cavity_unaccounted(survey: Survey) -> Iterator[Finding]:
    """A cavity without wire, without declaration and not unused; or wired to neither supply nor ground and not declared."""
    circuit = survey.circuit
    for part, _, found in _modules(survey):
        for pin in found:
            at = f"{part.name}.{pin.pin}"
            if pin.kind != "unaccounted":
                continue
            if not pin.wired:
                yield Finding(
                    part.place_of("cavities"),
                    at,
                    f"cavity {at} is neither wired nor listed as unused",
                    "",
                    module=part.name,
                )
            elif not (pin.supply and pin.ground):
                assert pin.node is not None
                loads = survey.loads_between(pin.node)
                through = f" (supply reaches it only through {', '.join(loads)})" if loads else ""
                message = f"{at} is wired, but reaches neither supply nor ground{through}, and is not declared"
                fix = f"Say what it is under `pins`: `{pin.pin}: signal` (or output, bus, reference, shield, supply, ground)."
                place = (
                    circuit.run_place(circuit.links[circuit.wires_at(pin.node)[0]].run)
                    if circuit.wires_at(pin.node)
                    else part.place
                )
                yield Finding(place, at, message, fix, module=part.name)


@rule(
    "L114",
    "declared supply reaches no source",
    why="The sheet calls the pin a supply, but its way to a source is not typed in (or leads only through a load).",
    fix="Follow the wire further: type in the page where it goes on.",
    bad=_HEAD + "}  # L114\nruns:\n- ALM.4 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.load\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def supply_reaches_nothing(survey: Survey) -> Iterator[Finding]:
    """A wired pin declared as supply without a way to a source."""
    for part, _, found in _modules(survey):
        for pin in found:
            if pin.role == "supply" and pin.wired and not pin.supply:
                assert pin.node is not None
                loads = survey.loads_between(pin.node)
                through = f"; only through {', '.join(loads)}" if loads else ""
                at = f"{part.name}.{pin.pin}"
                near = survey.zone([pin.node], [], part.name)
                unknown = sorted({words for node, words in open_ends(survey.circuit).items() if node in near})
                through += f"; not known is {' and '.join(unknown)}" if unknown else ""
                yield Finding(
                    part.place_of("pins", pin.pin, key=True),
                    at,
                    f"{at} is declared a supply, but reaches no source{through}",
                    "",
                    (pin.node,),
                    module=part.name,
                )


@rule(
    "L115",
    "declared ground reaches no ground",
    why="The sheet calls the pin a ground, but its way to a ground point is not typed in.",
    fix="Follow the wire further: type in the page where it goes on.",
    bad="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, S1: splice, S2: splice}  # L115\nruns:\n- ALM.2 -- BN 1 -- S1\n- S1 -- BN 1 -- S2\n- S1 -- BN 2 -- S2\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def ground_reaches_nothing(survey: Survey) -> Iterator[Finding]:
    """A wired pin declared as ground without a way to ground."""
    for part, _, found in _modules(survey):
        for pin in found:
            if pin.role == "ground" and pin.wired and not pin.ground:
                at = f"{part.name}.{pin.pin}"
                yield Finding(
                    part.place_of("pins", pin.pin, key=True),
                    at,
                    f"{at} is declared a ground, but reaches no ground",
                    "",
                    () if pin.node is None else (pin.node,),
                    module=part.name,
                )


@rule(
    "L116",
    "declared pin in no run",
    why="The sheet says what the pin is, but not where its wire goes.",
    fix="Type in the run from the pin, or list the cavity under `unused`.",
    bad="parts: {ALM: {is: module, cavities: [2, 3], pins: {2: ground, 3: signal}}, G1: ground}  # L116\nruns:\n- ALM.2 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def declared_pin_not_wired(survey: Survey) -> Iterator[Finding]:
    """A declared pin that nothing is wired to."""
    for part, _, found in _modules(survey):
        for pin in found:
            if pin.declared and not pin.wired and not pin.unused:
                at = f"{part.name}.{pin.pin}"
                yield Finding(
                    part.place_of("pins", pin.pin, key=True),
                    at,
                    f"{at} is declared ({pin.declared}) but is in no run",
                    "",
                    () if pin.node is None else (pin.node,),
                    module=part.name,
                )


@rule(
    "L117",
    "unused cavity is used",
    why="The cavity is listed as unused, yet it is wired or declared: one of the two is wrong.",
    fix="Take it off `unused`, or correct the run or the declaration.",
    bad="parts: {ALM: {is: module, cavities: [2, 3], unused: [3], pins: {2: ground, 3: signal}}, G1: ground}  # L117\nruns:\n- ALM.2 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2, 3], unused: [3], pins: {2: ground}}, G1: ground}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def unused_is_used(survey: Survey) -> Iterator[Finding]:
    """A cavity that is unused and wired, or (of a module) unused and declared."""
    for part, _, found in _modules(survey):
        for pin in found:
            if pin.unused and (pin.wired or pin.declared):
                at = f"{part.name}.{pin.pin}"
                what = "wired" if pin.wired else f"declared ({pin.declared})"
                yield Finding(
                    part.place_of("unused"),
                    at,
                    f"{at} is listed as unused, but is {what}",
                    "",
                    (pin.node,) if pin.wired and pin.node is not None else (),  # a wire that may belong elsewhere
                    module=part.name,
                )
    circuit = survey.circuit
    for part in circuit.parts.values():
        facts = part.facts
        if isinstance(facts, ConnectorFacts | JointFacts | RelayFacts) and facts.unused:
            for cavity, node in circuit.pins_of.get(part.name, {}).items():
                if cavity.partition(":")[0] in facts.unused and circuit.is_attached(node):
                    at = f"{part.name}.{cavity}"
                    message = f"{at} is listed as unused, but is wired"
                    yield Finding(part.place_of("unused"), at, message, "", (node,))


@rule(
    "L118",
    "supply and ground on one pin",
    why="A pin that reaches both a source and ground without a load between is a short circuit on the vehicle, or a slip of the pen.",
    fix="Check the runs at the pin; one of them names a wrong point.",
    bad=_HEAD
    + ", G1: ground}  # L118\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4  # L118\n- ALM.4 -- BN 1 -- G1\n- BAT.- -- BN 1 -- G1\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def supply_and_ground(survey: Survey) -> Iterator[Finding]:
    """A module pin that reaches both; and conductors that join a source with ground."""
    for part, _, found in _modules(survey):
        for pin in found:
            if pin.supply and pin.ground and pin.role not in SENSING:  # a signal may be switched between the two
                at = f"{part.name}.{pin.pin}"
                yield Finding(
                    part.place,
                    at,
                    f"{at} reaches a source and ground without a load between",
                    "",
                    module=part.name,
                )
    if survey.shorted:
        circuit = survey.circuit
        ends = [end.id for end in (*circuit.sources, *circuit.grounds) if end.node in survey.shorted]
        place = min(
            (
                circuit.run_place(link.run)
                for link in circuit.links
                if link.kind is LinkKind.WIRE and link.a in survey.shorted
            ),
            default=circuit.parts[next(iter(circuit.parts))].place,
        )
        message = f"conductors join {' and '.join(sorted(ends))} without a load between"
        yield Finding(
            place,
            ", ".join(sorted(ends)),
            message,
            "Check the runs between them; one of them names a wrong point.",
            tuple(sorted(survey.shorted)),
        )


@rule(
    "L119",
    "pin declared as one and traced as the other",
    why="A pin declared as ground that reaches a source, or declared as supply that reaches ground: names and colours never decide, so one of the two is wrong.",
    fix="Check the declaration and the runs at the pin.",
    bad="parts: {ALM: {is: module, cavities: [4], pins: {4: ground}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L115 L119\nruns:\n- BAT.+ -- BN 1 -- F9 -- BN 1 -- ALM.4\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- BN 1 -- F9 -- BN 1 -- S1\n- S1 -- BN 1 -- ALM.4\n",
)
def declared_wrongly(survey: Survey) -> Iterator[Finding]:
    """A declared ground that reaches supply, or a declared supply that reaches ground."""
    for part, _, found in _modules(survey):
        for pin in found:
            at = f"{part.name}.{pin.pin}"
            for role, wrong, reached in (
                ("ground", pin.supply, "a source"),
                ("supply", pin.ground, "ground"),
            ):
                if pin.role == role and wrong:
                    yield Finding(
                        part.place_of("pins", pin.pin, key=True),
                        at,
                        f"{at} is declared a {role}, but reaches {reached}",
                        "",
                        module=part.name,
                    )


@rule(
    "L120",
    "output without its supply or ground",
    why="A module output passes on one of the module's own supplies or grounds; which one is not said, so its way ends inside the module.",
    fix="Add `from: [PIN]` for an output that drives high, `through: [PIN]` for one that drives low.",
    bad="parts: {BDM: {is: module, cavities: [1, 2], pins: {1: output, 2: ground}, outputs: {1: low}}, G1: ground, E1: load, BAT: battery, F9: {is: fuse, amps: 10}}  # L120\n"
    "runs:\n- BDM.2 -- BN 1 -- G1\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- E1 -- GN 1 -- BDM.1\n- BAT.- -- BN 1 -- G1\n",
    good="parts: {BDM: {is: module, cavities: [1, 2], pins: {1: output, 2: ground}, outputs: {1: {drives: low, through: 2}}}, G1: ground, E1: load, BAT: battery, F9: {is: fuse, amps: 10}}\n"
    "runs:\n- BDM.2 -- BN 1 -- G1\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- E1 -- GN 1 -- BDM.1\n- BAT.- -- BN 1 -- G1\n",
)
def output_unsaid(survey: Survey) -> Iterator[Finding]:
    """An output that drives high without `from`, or low without `through`."""
    circuit = survey.circuit
    for part in circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        for pin, output in part.facts.outputs.items():
            missing = []
            if output.drives in ("high", "both") and not output.from_:
                missing.append("from which of its supply pins (`from`)")
            if output.drives in ("low", "both") and not output.through:
                missing.append("through which of its ground pins (`through`)")
            node = circuit.node_of_point.get((part.name, pin))
            if missing and node is not None:
                at = f"{part.name}.{pin}"
                yield Finding(
                    part.place_of("outputs", pin, key=True),
                    at,
                    f"{at} switches, but {' and '.join(missing)} is not said",
                    "",
                    (node,),
                )


# --- the rest of the vehicle ---------------------------------------------------------------------------------------


@rule(
    "L121",
    "two sheets contradict each other",
    why="Two documents that say different things about one part: one of them is of another variant, or wrong. Both facts stay visible until one is withdrawn.",
    fix="Look at the vehicle, and correct or remove one of the two.",
    bad=_HEAD
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n---\nparts: {F9: {is: fuse, amps: 20}}  # L121\n",
    good=_HEAD
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n---\nparts: {F9: {is: fuse, amps: 10}}\n",
)
def facts_contradict(survey: Survey) -> Iterator[Finding]:
    """Descriptive facts (rating, place, name) of one part that differ between sheets."""
    circuit = survey.circuit
    for conflict in circuit.conflicts:
        title = "two ratings" if conflict.fact == "amps" else f"two values for `{conflict.fact}`"
        message = f"{conflict.part} has {title}: {conflict.first} at {conflict.first_place}, {conflict.second} at {conflict.second_place}"
        nodes = tuple(circuit.pins_of.get(conflict.part, {}).values())
        yield Finding(conflict.second_place, conflict.part, message, "", nodes, (conflict.part,))


@rule(
    "L122",
    "mass without a strap",
    why="A ground point on the engine, a cab or a trailer is a ground only through its strap or cable to the body or the battery.",
    fix="Type in the strap (`W1: {is: strap, meets: {1: G7, 2: G8}}`) or the cable; correct `on` if it is the body.",
    bad="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: {is: ground, on: engine}, G2: ground}  # L115 L122 L123\nruns:\n- ALM.2 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: {is: ground, on: engine}, G2: ground, W1: {is: strap, meets: {1: G1, 2: G2}}}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def mass_without_strap(survey: Survey) -> Iterator[Finding]:
    """A mass from which no way leads to a ground reference."""
    circuit = survey.circuit
    ground = survey.ground_ways()
    for mass in sorted(survey.masses):
        if not ground.reached(mass):
            points = [circuit.other(circuit.links[number], mass) for number in circuit.at[mass]]
            names = [circuit.node_names[node] for node in points]
            place = circuit.parts[names[0]].place
            message = f"{circuit.node_names[mass].removeprefix('mass ')} (with {', '.join(names)}) is joined to no ground reference"
            yield Finding(place, names[0], message, "", (mass, *points))


@rule(
    "L123",
    "part never wired",
    why="The part is declared, but no run touches it: part of a page is not typed in yet.",
    fix="Type in its runs, or take the part out.",
    bad=_HEAD + ", E7: load}  # L123\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def part_never_wired(survey: Survey) -> Iterator[Finding]:
    """A part without any wire, busbar or bolted point."""
    circuit = survey.circuit
    touched = {
        circuit.node_parts[node]
        for link in circuit.links
        if link.kind in (LinkKind.WIRE, LinkKind.BUSBAR, LinkKind.MEETS, LinkKind.RAIL)
        for node in (link.a, link.b)
    }
    for part in circuit.parts.values():
        state = getattr(part.facts, "state", None)
        if part.kind == "panel" or part.name in touched or state in ("empty", "option", "none"):
            continue
        if (
            part.kind == "module"
            and isinstance(part.facts, ModuleFacts)
            and part.facts.cavities
            and len(part.facts.unused) == len(part.facts.cavities)
        ):
            continue
        yield Finding(
            part.place,
            part.name,
            f"{part.kind} {part.name} is in no run",
            "",
            tuple(circuit.pins_of.get(part.name, {}).values()),
            (part.name,),
        )


@rule(
    "L124",
    "position not known",
    why="What sits in the position, or what it is rated, is typed as unknown: nobody can see whether the right fuse is fitted.",
    fix="Look at the lid, the handbook or the panel and type the rating, or `empty`.",
    bad=_HEAD
    + ", FB: {is: panel, positions: {F1: unknown}, busbars: {BAT.+: [F1]}}}  # L124\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
    good=_HEAD
    + ", FB: {is: panel, positions: {F1: 20}, busbars: {BAT.+: [F1]}}}\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
)
def position_not_known(survey: Survey) -> Iterator[Finding]:
    """A fuse in a panel without rating that is not empty."""
    for part in survey.circuit.parts.values():
        facts = part.facts
        if (
            part.panel
            and isinstance(facts, FuseFacts)
            and facts.amps is None
            and facts.state not in ("empty", "option", "none")
        ):
            pins = survey.circuit.pins_of[part.name]
            yield Finding(
                part.place,
                part.name,
                f"what sits in position {part.label} of {part.panel} is not known",
                "",
                (pins["load"],),
                (part.name,),
            )


@rule(
    "L125",
    "empty position with a wire",
    why="The position must be empty, but a run leads over it: a supply that comes through it does not exist, or the position is not empty.",
    fix="Correct the position or the run.",
    bad=_HEAD
    + ", FB: {is: panel, positions: {F1: empty}, busbars: {BAT.+: [F1]}}}  # L125\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
    good=_HEAD
    + ", FB: {is: panel, positions: {F1: 20, F2: empty}, busbars: {BAT.+: [F1-F2]}}}\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
)
def empty_position_wired(survey: Survey) -> Iterator[Finding]:
    """A position typed as empty from which a wire leaves: a fuse's load side, any pin of a relay or diode."""
    circuit = survey.circuit
    for part in circuit.parts.values():
        if getattr(part.facts, "state", None) != "empty":
            continue
        is_fuse = part.kind in FUSE_KINDS
        wired = tuple(
            node
            for pin, node in circuit.pins_of.get(part.name, {}).items()
            if (circuit.is_attached(node) if is_fuse else circuit.wires_at(node)) and (pin == "load" or not is_fuse)
        )
        if wired:
            leaves = "a wire leaves its load side" if is_fuse else "a wire leads to it"
            yield Finding(part.place, part.name, f"{part.name} must be empty, but {leaves}", "", wired, (part.name,))


@rule(
    "L126",
    "load with one side open",
    why="A lamp, motor or sensor has at least two wires; where the other one goes is not typed in.",
    fix="Type in the run from its other pin.",
    bad=_HEAD
    + ", E1: load}  # L126\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- E1\n",
    good=_HEAD
    + ", E1: load}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def load_open(survey: Survey) -> Iterator[Finding]:
    """A part that current passes through, wired on one pin only."""
    circuit = survey.circuit
    for part in circuit.parts.values():
        if part.kind in ("load", "resistor", "strap", "diode", "converter") and not circuit.is_not_fitted(part.name):
            pins = circuit.pins_of[part.name]
            open_pins = [pin for pin, node in pins.items() if not circuit.is_attached(node)]
            if open_pins and len(open_pins) < len(pins):
                names = ", ".join(f"{part.name}.{pin}" for pin in open_pins)
                yield Finding(
                    part.place,
                    names,
                    f"{part.name}: nothing is wired to {names}",
                    "",
                    tuple(pins[pin] for pin in open_pins),
                    (part.name,),
                )


@rule(
    "L127",
    "coil with supply on both ends",
    why="A coil with supply on both ends and ground on neither never pulls in: one of its wires is typed wrong, or a ground switch is missing.",
    fix="Check the runs to both coil pins, and the driver that should pull one of them to ground.",
    bad=_HEAD
    + ", K1: {is: relay, kind: normally open}}  # L127\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- BAT.+ -- RD 1 -- K1.85\n",
    good=_HEAD
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_supplied_twice(survey: Survey) -> Iterator[Finding]:
    """Both coil pins reach a source and neither reaches ground."""
    for part, (a, b), nodes in _coils(survey):
        supply, ground = survey.supply_ways(), survey.ground_ways()
        if all(supply.reached(node) for node in nodes) and not any(ground.reached(node) for node in nodes):
            yield Finding(
                part.place,
                f"{part.name}.{a}, {part.name}.{b}",
                f"both ends of the coil of {part.name} reach a source, neither reaches ground",
                "",
                nodes,
                (part.name,),
            )


@rule(
    "L128",
    "coil without supply or ground",
    why="The coil is wired, but one of its wires reaches neither supply nor ground: what must pull the relay in is not known.",
    fix="Follow the wires of both coil pins further; say what the module's output that switches it does (`outputs`).",
    bad=_HEAD
    + ", K1: {is: relay, kind: normally open}, S2: splice}  # L128\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- S1 -- BN 1 -- K1.85\n- S1 -- BN 1 -- S2\n- S1 -- BN 2 -- S2\n",
    good=_HEAD
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_reaches_nothing(survey: Survey) -> Iterator[Finding]:
    """A fully wired coil that misses supply or ground."""
    circuit = survey.circuit
    supply, ground = survey.supply_ways(), survey.ground_ways()
    for part, (a, b), nodes in _coils(survey):
        if not all(circuit.is_attached(node) for node in nodes):
            continue
        has_supply, has_ground = (
            any(supply.reached(node) for node in nodes),
            any(ground.reached(node) for node in nodes),
        )
        if (has_supply and has_ground) or all(supply.reached(node) for node in nodes):
            continue
        missing = (
            "neither supply nor ground reaches it"
            if not has_supply and not has_ground
            else "no supply reaches it"
            if not has_supply
            else "no ground reaches it"
        )
        yield Finding(
            part.place,
            f"{part.name}.{a}, {part.name}.{b}",
            f"the coil of {part.name}: {missing}",
            "",
            nodes,
            (part.name,),
        )


def _coils(survey: Survey) -> Iterator[tuple[Part, tuple[str, str], tuple[int, int]]]:
    circuit = survey.circuit
    for part in circuit.parts.values():
        if circuit.is_not_fitted(part.name):
            continue
        for a, b in part.coils:
            pins = circuit.pins_of[part.name]
            yield part, (a, b), (pins[a], pins[b])


@rule(
    "L129",
    "rail not known in a key state",
    why="Whether the rail is live in a key state is the vehicle's fact. Until it is typed, a reading in that state proves nothing.",
    fix='Give the rail its key states in vehicle.yaml (`"15": [run]` or `[run, start]`), or its origin (`from: IGN.15`).',
    bad='rails: {"15": unknown}  # L129\n---\n'
    + _HEAD
    + '}\nruns:\n- "15 -- RD 1 -- F9 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n- BAT.+ -- RD 1 -- S1\n',
    good='rails: {"15": [run]}\n---\n'
    + _HEAD
    + '}\nruns:\n- "15 -- RD 1 -- F9 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n- BAT.+ -- RD 1 -- S1\n',
)
def rail_not_known(survey: Survey) -> Iterator[Finding]:
    """A rail that is an assumed source and whose key states are not said."""
    circuit = survey.circuit
    states = survey.states
    file = circuit.typed.vehicle_file
    for end in circuit.sources:
        if circuit.node_parts[end.node] in circuit.parts or not circuit.at[end.node]:
            continue
        unknown = [
            key for key in states.keys if any(not reason.known for reason in states.source_reasons(end.node, key))
        ]
        if unknown:
            message = f"whether rail {end.id} is live in {', '.join(unknown)} is not known"
            yield Finding(file.place_of(("rails", end.id), key=True), end.id, message, "", (end.node,))


@rule(
    "L130",
    "circuit without a stable state",
    why="A relay that opens its own coil circuit chatters. On a vehicle that is a buzzer or a fault; on paper it is usually a slip.",
    fix="Check which contact (make or break) feeds the coil.",
    bad=_HEAD
    + ", K1: {is: relay, kind: normally closed}}  # L130\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- K1.30\n- K1.87a -- RD 1 -- K1.86\n- K1.85 -- BN 1 -- BAT.-\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def no_stable_state(survey: Survey) -> Iterator[Finding]:
    """Relays for which no key state settles."""
    circuit = survey.circuit
    found: dict[str, list[str]] = {}
    for key, settled in survey.states.settled.items():
        for name in settled.unstable:
            found.setdefault(name, []).append(key)
    for name, keys in found.items():
        part = circuit.parts[name]
        message = f"relay {name} has no stable state in {', '.join(keys)}: it opens its own coil circuit"
        yield Finding(part.place, name, message, "", tuple(circuit.pins_of[name].values()), (name,))


@rule(
    "L131",
    "file under sheets is not read",
    why="Only .yaml files are read. A page saved under another ending looks typed in, but is not.",
    fix="Give it the ending .yaml, or move it out of sheets/.",
    bad="",
    good="",
)
def file_not_read(survey: Survey) -> Iterator[Finding]:
    """Files in `sheets/` that are not YAML; they concern every module."""
    from tracer.entry.problems import Place

    for name in survey.circuit.typed.ignored:
        yield Finding(Place(name), name, "this file is not read", "", module="*")


@rule(
    "L132",
    "position serves something else than traced",
    why="The lid or handbook names a module for this fuse, but no supply of that module is traced through it: a page, or a wire, is missing.",
    fix="Find the supply of that module which comes from this position and type it in; correct `serves` if the text is of another variant.",
    bad=_HEAD
    + ", FB: {is: panel, positions: {F1: {amps: 20, serves: ALM}}, busbars: {BAT.+: [F1]}}, S2: splice}  # L132\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- S2\n- S1 -- RD 1 -- S2\n",
    good=_HEAD
    + ", FB: {is: panel, positions: {F1: {amps: 20, serves: ALM}}, busbars: {BAT.+: [F1]}}}\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
)
def serves_not_traced(survey: Survey) -> Iterator[Finding]:
    """`serves` names a module that supply from this fuse does not reach."""
    from tracer.trace.downwards import modules_below

    circuit = survey.circuit
    modules = {part.name for part in circuit.modules()}
    for part in circuit.parts.values():
        serves = getattr(part.facts, "serves", None)
        if not serves or getattr(part.facts, "state", None) in ("empty", "option", "none"):
            continue
        named = [word for word in serves.replace(",", " ").replace(";", " ").split() if word in modules]
        if not named:
            continue
        below = modules_below(survey, part.name)
        for module in named:
            if module not in below:
                message = f"{part.name} is said to serve {module}, but no pin of {module} is traced to it"
                yield Finding(
                    part.place_of("serves") if not part.label else part.place,
                    part.name,
                    message,
                    "",
                    parts=(part.name,),
                    module=module,
                )


@rule(
    "L133",
    "contact that no key state closes",
    why="The way runs through contacts that are never closed together, so the supply is never live: the contact table or the wiring is typed wrong.",
    fix="Check the contact table of the switch, the kind of the relay, and the runs to them.",
    bad=_HEAD
    + ", SW: {is: switch, follows: key, contacts: {off: [], acc: [1-2], run: [], start: []}}, SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}  # L133\nruns:\n"
    "- BAT.+ -- RD 1 -- F9 -- RD 1 -- SX.1\n- SX.2 -- RD 1 -- SW.1\n- SW.2 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
    good=_HEAD
    + ", SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- SX.1\n- SX.2 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def never_live(survey: Survey) -> Iterator[Finding]:
    """A declared supply that is dead in every key state, although every position on its way is fitted."""
    circuit, states = survey.circuit, survey.states
    for part, _, found in _modules(survey):
        for pin in found:
            if pin.node is not None and pin.wired:
                yield from _ruled_out(survey, part, pin)
            if pin.role != "supply" or not pin.supply or pin.node is None:
                continue
            if any(level_of(survey, pin.node, key, "supply") is not Level.DEAD for key in states.keys):
                continue
            if gaps_on(circuit, survey.supply_ways(part.name).to(pin.node)):
                continue  # an option that this vehicle does not have; the row says so
            at = f"{part.name}.{pin.pin}"
            message = f"{at} is a supply, but is dead in every key state"
            yield Finding(part.place_of("pins", pin.pin, key=True), at, message, "", module=part.name)


def _ruled_out(survey: Survey, part: Part, pin: PinFinding) -> Iterator[Finding]:
    """A pin that supply (or ground) reaches only over contacts that are never closed together."""
    assert pin.node is not None
    for level in ("supply", "ground"):
        ways = survey.supply_ways(part.name) if level == "supply" else survey.ground_ways(part.name)
        found = pin.supply if level == "supply" else pin.ground
        if found or not (pin.role == level or (pin.role == "" and not pin.supply and not pin.ground)):
            continue
        contacts = ways.ruled_out(pin.node)
        if contacts:
            at = f"{part.name}.{pin.pin}"
            switches = " and ".join(sorted({survey.circuit.links[number].part for number in contacts}, key=natural))
            message = f"every way of {level} to {at} leads over contacts of {switches} that are never closed together"
            yield Finding(part.place_of("pins", pin.pin, key=True), at, message, "", module=part.name)


@rule(
    "L134",
    "battery with one post open",
    why="Every way to ground ends at a battery negative, every supply at a positive. Where that cable goes is not typed in, so the strap or stud on it is on no list.",
    fix="Type in the cable from the other post: `BAT.- -- BK 35 -- G1`.",
    bad="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground, BAT: battery, F9: {is: fuse, amps: 10}, E1: load}  # L134\n"
    "runs:\n- ALM.2 -- BN 1 -- G1\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- E1 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground, BAT: battery, F9: {is: fuse, amps: 10}, E1: load}\n"
    "runs:\n- ALM.2 -- BN 1 -- G1\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- E1 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
)
def battery_half_wired(survey: Survey) -> Iterator[Finding]:
    """A battery with a wire at one pole only; an open negative concerns whatever ends at an assumed ground, an open positive at an assumed rail."""
    circuit = survey.circuit
    for part in circuit.parts.values():
        if part.kind != "battery":
            continue
        poles = {pin[0] for pin, node in circuit.pins_of.get(part.name, {}).items() if circuit.is_attached(node)}
        for pole, word, ends in (("-", "negative", circuit.grounds), ("+", "positive", circuit.sources)):
            if poles and pole not in poles:
                nodes = tuple(end.node for end in ends if end.assumed)
                message = f"nothing is wired to the {word} post of {part.name}"
                cable = "BK 35 -- G1" if pole == "-" else "RD 35 -- S1"
                fix = f"Type in the cable from that post, such as `{part.name}.{pole} -- {cable}`."
                yield Finding(part.place, f"{part.name}.{pole}", message, fix, nodes, (part.name,))


@rule(
    "L135",
    "contacts join supply and ground in a key state",
    why="When these contacts close, a source and ground meet without a load: a fuse blows, or a run or a contact table is typed wrong. Levels in that state prove nothing.",
    fix="Check the contact tables and the runs at these contacts.",
    bad=_HEAD
    + ", SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}  # L135\nruns:\n"
    + "- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- SX.1\n- SX.2 -- BN 1 -- BAT.-\n",
    good=_HEAD
    + ", E1: load, SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}\nruns:\n"
    + "- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- SX.1\n- SX.2 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def contacts_short(survey: Survey) -> Iterator[Finding]:
    """Closed contacts and outputs between nets that have both supply and ground for certain (conductors alone: L118)."""
    if survey.shorted:
        return
    circuit, states = survey.circuit, survey.states
    found: dict[tuple[str, ...], list[str]] = {}
    nodes: dict[str, set[int]] = {}
    for key, settled in states.settled.items():
        nets = set(settled.shorts)
        closed = set()
        for link in circuit.links if nets else ():
            if link.kind not in SWITCHED or not {states.nets.of[link.a], states.nets.of[link.b]} <= nets:
                continue
            if states.conducts(link, settled) is Level.LIVE:
                closed.add(link.part)
                nodes.setdefault(link.part, set()).update((link.a, link.b))
        if closed:
            found.setdefault(tuple(sorted(closed, key=natural)), []).append(key)
    for names, keys in found.items():
        verb = "joins" if len(names) == 1 else "join"
        message = f"{' and '.join(names)} {verb} supply and ground without a load in {', '.join(keys)}"
        at = tuple(sorted(node for name in names for node in nodes[name]))
        yield Finding(circuit.parts[names[0]].place, ", ".join(names), message, "", at, names)


@rule(
    "L136",
    "sheet that holds nothing",
    why="A page was begun and not typed in. Whatever is drawn on it is missing from every list, a supply perhaps among it.",
    fix="Type the page in; if nothing of it belongs to this vehicle, take the file out of sheets/.",
    bad=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n---\ntitle: Radio  # L136\n",
    good=_HEAD + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n---\ntitle: Radio\nruns:\n- S1 -- RD 1 -- ALM.4\n",
)
def sheet_without_anything(survey: Survey) -> Iterator[Finding]:
    """Sheets without a part and without a run; they concern every module."""
    typed = survey.circuit.typed
    used = {fragment.sheet for several in typed.fragments.values() for fragment in several}
    used |= {run.sheet for run in typed.runs}
    for number, (sheet, file) in enumerate(zip(typed.sheets, typed.files, strict=True)):
        if number not in used:
            place = file.place_of(("title",) if sheet.title else ("sheet",))
            yield Finding(place, f"sheet {sheet.id}", f"sheet {sheet.id} holds no part and no run", "", module="*")


@rule(
    "L151",
    "joint with another number of wires than counted",
    why="Somebody counted the wires of this joint. Where fewer are typed in, one of them goes to a place that nobody has looked at; it may be a supply.",
    fix="Type in the missing wires, or correct `wires` after counting again.",
    bad=_HEAD.replace("S1: splice", "S1: {is: splice, wires: 3}")
    + "}  # L151\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
    good=_HEAD.replace("S1: splice", "S1: {is: splice, wires: 2}")
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def joint_count_not_met(survey: Survey) -> Iterator[Finding]:
    """A splice, stud or ground point on which another number of wires is typed in than its `wires` says; what is bolted on it counts as one."""
    circuit = survey.circuit
    for part in circuit.parts.values():
        wanted = joint_count(part)
        if wanted is None or wanted < 0:
            continue
        node = circuit.node_of_point[part.name, ""]
        typed = sum(
            (circuit.links[number].kind in (LinkKind.WIRE, LinkKind.MEETS))
            * (2 if circuit.links[number].a == circuit.links[number].b else 1)
            for number in circuit.at[node]
        )
        if typed != wanted:
            message = f"{part.name} holds {wanted} wires as counted, {typed} are typed in"
            yield Finding(part.place_of("wires"), part.name, message, "", (node,))


@rule(
    "L152",
    "module without a supply or without a ground",
    why="Every module is fed and grounded somehow. Where no pin of it reaches a source, or none reaches ground, the list misses the one thing that it is for.",
    fix="Type in the wire; or say how the module gets it: `gets: {ground: case}`, `gets: {supply: MODULE}`, `gets: passive`.",
    bad="parts: {ALM: {is: module, cavities: [4], pins: {4: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L152\n"
    "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n",
    good="parts: {ALM: {is: module, cavities: [4], pins: {4: supply}, gets: {ground: case}}, BAT: battery, F9: {is: fuse, amps: 10}}\n"
    "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n",
)
def module_without_both(survey: Survey) -> Iterator[Finding]:
    """A module with no pin that is a supply (or a ground), traced or declared, and no word on how it gets one; or with such a word and a pin as well."""
    for part, facts, found in _modules(survey):
        for level in ("supply", "ground"):
            traced = any((pin.kind == level) and (pin.supply if level == "supply" else pin.ground) for pin in found)
            declared = any(pin.role == level and not pin.unused for pin in found)  # L114 to L116 ask for its way
            end = "source" if level == "supply" else "ground"
            if level in facts.gets and traced:
                message = f"{part.name} says under `gets` how it has its {level}, but a pin of it reaches {'a ' if level == 'supply' else ''}{end}"
                fix = f"Take `{level}` out of `gets`, or correct the run."
                yield Finding(part.place_of("gets"), part.name, message, fix, module=part.name)
            elif level not in facts.gets and not traced and not declared:
                message = f"no pin of {part.name} reaches {'a ' if level == 'supply' else ''}{end}, and how it gets its {level} is not said"
                yield Finding(part.place, part.name, message, "", module=part.name)


# --- what nobody knows ---------------------------------------------------------------------------------------------


@rule(
    "L161",
    "inside of a part not known",
    why="What joins the pins of a box, or of a switch or relay without its contacts, is not known: a supply or a ground may come through it.",
    fix="As soon as it is known, type its `contacts` or `kind`, or the part that sits on the pin (`meets`).",
    bad=_HEAD
    + ", Q1: box}  # L161\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- Q1.3\n",
    good=_HEAD
    + ", Q1: {is: switch, contacts: {off: [], on: [3-4]}}, E1: load}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- Q1.3\n"
    "- Q1.4 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def inside_not_known(survey: Survey) -> Iterator[Finding]:
    """A wired pin of which nobody knows what it is joined with inside its part."""
    for part, pin, node in unknown_insides(survey.circuit):
        at = f"{part.name}.{pin}"
        message = f"what {at} is joined with inside {part.kind} {part.name} is not known"
        yield Finding(part.place, at, message, "", (node,), (part.name,))
