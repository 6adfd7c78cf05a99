"""One traced pin as a row: its fuses, ends, probe points in order, what it hangs on and what to expect there."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace

from tracer.circuit.kinds import SWITCHED, Link, LinkKind, PartKind
from tracer.circuit.model import Circuit, End
from tracer.circuit.states import Level
from tracer.entry.models import FuseFacts, ModuleFacts
from tracer.entry.problems import natural
from tracer.standards import figures
from tracer.standards.allowances import DIODE_DROP
from tracer.standards.limits import Limit, drop_limit
from tracer.standards.sources import said
from tracer.trace.hazards import Hazards
from tracer.trace.kinds import no_fuse, touched
from tracer.trace.lists.results import Expect, FuseOnWay, Probe, Row, RowEnd
from tracer.trace.tracing import Tracing, ground_sense, supply_sense
from tracer.trace.ways.settings import left_out, level_of, reasons_of, switched_by
from tracer.trace.ways.simple import Way, Ways
from tracer.trace.ways.without import WaysWithout, fed_without

_LEVEL_WORDS = {Level.DEAD: "dead", Level.LIVE: "live"}


def row_of(
    tracing: Tracing,
    ways: Ways | WaysWithout,
    node: int,
    *,
    level: str,
    code: str,
    declared: str = "",
    what_for: str = "",
) -> Row:
    """The row of a node that `ways` reaches."""
    circuit = tracing.circuit
    way = ways.to(node)
    ends = {end.node: end for end in (circuit.sources if level == "supply" else circuit.grounds)}
    part, pin = circuit.node_parts[node], circuit.node_pins[node]
    if way is None:  # the node is itself an end
        end = ends[node]
        live, why = levels(tracing, node, level)
        return Row(
            code,
            part or circuit.node_names[node],
            pin,
            level,
            declared,
            "",
            (),
            (_row_end(end),),
            (),
            (),
            (),
            (),
            live,
            why,
            (),
            (),
            (),
            what_for,
            no_method=tracing.once(Hazards).withheld(circuit.node_names[node]),
        )
    live, why = levels(tracing, node, level)
    row = Row(
        code=code,
        part=part,
        pin=pin,
        level=level,
        declared=declared,
        wire=", ".join(_wires_at(circuit, node, None)),
        fuses=_fuses(tracing, way, level),
        ends=tuple(_row_end(ends[end]) for end in sorted(way.ends, key=lambda end: circuit.node_names[end])),
        probes=tuple(_probe(tracing, way, at, level) for at in way.nodes if tracing.is_probe_point(at)),
        switches=_parts_of(circuit, way, SWITCHED),
        diodes=_parts_of(circuit, way, {LinkKind.DIODE}),
        references=_references(circuit, way),
        live=live,
        why=why,
        needs=(),
        joined_with=_joined_with(circuit, part, pin),
        notes=(),
        what_for=what_for,
        left_out=left_out(tracing, way),
        too_many=_too_many(tracing, way),
    )
    no_method = tracing.once(Hazards).withheld_on(row)
    return replace(row, no_method=no_method, notes=_notes(tracing, way, level, with_readings=not no_method))


def levels(tracing: Tracing, node: int, level: str) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """For each key state: live, dead, depends or unknown; and the reasons of the last two."""
    live: dict[str, str] = {}
    why: dict[str, tuple[str, ...]] = {}
    for key in tracing.states.keys:
        found = level_of(tracing, node, key, level)
        if found is not Level.DEPENDS:
            live[key] = _LEVEL_WORDS[found]
            continue
        reasons = reasons_of(tracing, node, key, level)
        live[key] = "unknown" if reasons and not any(reason.known for reason in reasons) else "depends"
        why[key] = tuple(reason.text for reason in reasons)
    return live, why


def probe_kind(circuit: Circuit, node: int) -> str:
    """What is touched at a node, in words."""
    part = circuit.parts[circuit.node_parts[node]]
    pin = circuit.node_pins[node]
    if part.kind is PartKind.CONNECTOR:
        halves = getattr(part.facts, "halves", ())
        return (
            f"cavity ({halves['ab'.index(pin[-1])]})" if len(halves) == 2 and node in circuit.told_halves else "cavity"
        )
    return "not declared" if part.undeclared else touched(part.kind, pin)


def _row_end(end: End) -> RowEnd:
    return RowEnd(end.id, end.assumed, end.why)


def _wires_at(circuit: Circuit, node: int, way: Way | None) -> list[str]:
    """The wires at a node; where a way leads over it, the wires of that way from the end on."""
    numbers = circuit.wires_at(node)
    if way is not None:
        numbers = [number for number in numbers if number in way.links]
        numbers.sort(key=lambda number: (way.distance[circuit.other(circuit.links[number], node)], number))
    return list(dict.fromkeys(circuit.wire_of(circuit.links[number]).text for number in numbers))


MOST_ALONE = 100_000  # parallel fuses times links of a way on which positions clash: beyond that no fuse is said to suffice alone


def _fuses(tracing: Tracing, way: Way, level: str) -> tuple[FuseOnWay, ...]:
    circuit = tracing.circuit
    numbers = [number for number in way.links if circuit.links[number].kind is LinkKind.FUSE]
    numbers.sort(key=lambda number: (way.nodes.index(_far(circuit, way, number)), number))
    parallel = [number for number in numbers if number not in way.sole_links]
    fuses = []
    for number in numbers:
        part = circuit.parts[circuit.links[number].part]
        facts = part.facts
        assert isinstance(facts, FuseFacts)
        sole = number in way.sole_links
        alone = sole or _alone(circuit, way, level, number, parallel)
        beside = _beside(circuit, way, level, number) if not sole else ()
        fuses.append(FuseOnWay(part.name, part.kind, facts.amps, sole, alone, part.panel, facts.state, beside))
    return tuple(fuses)


def _alone(circuit: Circuit, way: Way, level: str, number: int, parallel: list[int]) -> bool | None:
    """Whether a fuse feeds the pin with the others out: a source that may be dead counts only where it feeds through this very fuse."""
    if way.clashes and len(parallel) * len(way.links) > MOST_ALONE:
        return None
    others = [other for other in parallel if other != number]
    steady = _feeds(circuit, way, level, others)
    if steady is True or not way.passing:
        return steady
    sense = supply_sense if level == "supply" else ground_sense
    with_it, without = (fed_without(way, circuit.links, sense, gone) for gone in (others, parallel))
    if with_it is None or without is None:
        return None
    return with_it and not without


def _beside(circuit: Circuit, way: Way, level: str, number: int) -> tuple[str, ...]:
    """The sources that may be dead, when without a link only they feed the pin."""
    if not way.passing or _feeds(circuit, way, level, [number]) is not False:
        return ()
    return tuple(sorted(circuit.node_names[end] for end in way.passing))


def _far(circuit: Circuit, way: Way, number: int) -> int:
    link = circuit.links[number]
    return max((link.a, link.b), key=lambda node: way.nodes.index(node) if node in way.distance else -1)


def _feeds(circuit: Circuit, way: Way, level: str, without: Iterable[int]) -> bool | None:
    """Whether an end that is always live still feeds the target when some links are taken out (any end, where none is always live); None: not certain."""
    steady = way.ends - way.passing.keys()
    sense = supply_sense if level == "supply" else ground_sense
    return fed_without(way, circuit.links, sense, without, ends=steady or None)


def _too_many(tracing: Tracing, way: Way) -> tuple[str, ...]:
    """The switches and relays whose positions were too many to try, where that leaves something doubtful on the way."""
    if not way.doubtful:
        return ()
    names = {name for clash in way.clashes if clash.doubtful for name in clash.variables}
    return switched_by(tracing, names, way.links)


def gaps_on(circuit: Circuit, way: Way | None) -> tuple[str, ...]:
    """The positions that are not fitted, where every way of supply leads over one of them; else none."""
    if way is None:
        return ()
    gaps = [number for number in way.links if circuit.is_left_open(circuit.links[number])]
    if not gaps or fed_without(way, circuit.links, supply_sense, gaps) is not False:
        return ()
    return tuple(sorted({circuit.links[number].part for number in gaps}, key=natural))


def _probe(tracing: Tracing, way: Way, node: int, level: str) -> Probe:
    circuit = tracing.circuit
    part = circuit.parts[circuit.node_parts[node]]
    place, access = tracing.circuit.place_of_part(part.name)
    links = [
        number for number in circuit.at[node] if number in way.links and circuit.links[number].kind is LinkKind.WIRE
    ]
    runs = [circuit.runs[circuit.links[number].run] for number in links]
    sheets = list(dict.fromkeys(circuit.typed.sheets[run.sheet].id for run in runs)) or [
        circuit.typed.sheets[part.fragments[0].sheet].id
    ]
    seen = min((part.seen, *(run.seen for run in runs)), key=("assumed", "diagram", "vehicle").index)
    return Probe(
        at=circuit.node_names[node],
        part=part.name,
        kind=probe_kind(circuit, node),
        place=place,
        access=access,
        sheets=tuple(sheets),
        wire=", ".join(_wires_at(circuit, node, way)),
        sole=node in way.sole_nodes,
        shared_with=(),
        expect=_expect(tracing, node, level),
        seen=seen,
    )


def _limit_words(limit: Limit) -> str:
    return f"{limit.item} {figures.volts(limit.max_v)}: {said(limit.certainty, limit.source)}"


def _expect(tracing: Tracing, node: int, level: str) -> Expect:
    """The common-practice reading; computed values take its place where lengths and loads are known."""
    live, _ = levels(tracing, node, level)
    limit: Limit
    if withheld := tracing.once(Hazards).withheld(tracing.circuit.node_names[node]):
        return Expect(withheld, None, "", live, no_method=withheld)
    if level == "ground":
        limit = drop_limit("ground path")
        return Expect(
            f"at most {figures.volts(limit.max_v)} to battery negative, plugged in and working",
            limit.max_v,
            _limit_words(limit),
            live,
        )
    limit = drop_limit("single wire")
    text = f"battery voltage, at most {figures.volts(limit.max_v)} lost per wire, plugged in and working"
    return Expect(text, limit.max_v, _limit_words(limit), live)


def _parts_of(circuit: Circuit, way: Way, kinds: Collection[LinkKind]) -> tuple[str, ...]:
    """The parts (or module outputs) on a way, in order, in words."""
    found: dict[str, int] = {}
    for number in way.links:
        link = circuit.links[number]
        if link.kind in kinds:
            if link.kind is LinkKind.CONTACT:
                ends = sorted((link.a, link.b), key=lambda node: way.distance[node])
                name = f"{link.part} ({circuit.node_pins[ends[0]]} to {circuit.node_pins[ends[1]]})"
            elif link.kind is LinkKind.DIODE:
                name = link.part
            else:
                name = f"output {link.part}.{link.output}"
            found[name] = min(found.get(name, 1 << 30), max(way.distance[link.a], way.distance[link.b]))
    return tuple(sorted(found, key=lambda name: (found[name], name)))


def _references(circuit: Circuit, way: Way) -> tuple[str, ...]:
    """'ref 47>12 (sheet 4) to ref 12>47 (sheet 7)', in order from the end to the pin."""
    found = []
    for number in way.links:
        link = circuit.links[number]
        if link.kind is LinkKind.REFERENCE:
            first, second = sorted((link.a, link.b), key=lambda node: way.distance[node])
            found.append((way.distance[first], f"{circuit.node_names[first]} to {circuit.node_names[second]}"))
    return tuple(text for _, text in sorted(found))


def _joined_with(circuit: Circuit, part: str, pin: str) -> tuple[str, ...]:
    owner = circuit.parts.get(part)
    if owner is None or not isinstance(owner.facts, ModuleFacts):
        return ()
    return tuple(other for group in owner.facts.joined if pin in group for other in group if other != pin)


def _notes(tracing: Tracing, way: Way, level: str, *, with_readings: bool) -> tuple[str, ...]:
    """What a reader of the row must know besides, each in one sentence, always in the same order; with or without what a meter shows there."""
    circuit = tracing.circuit
    links = [circuit.links[number] for number in sorted(way.links)]
    notes = [
        *_bound_notes(tracing, way),
        *_parallel_notes(circuit, way, level),
        *_assumed_notes(circuit, links),
        *_fuse_notes(circuit, links, level),
    ]
    if not with_readings:
        return tuple(notes)
    if level == "supply" and any(link.kind is LinkKind.DIODE for link in links):
        notes.append(f"through a diode: reads {DIODE_DROP} lower than before it (common practice, no source)")
    notes += _output_notes(circuit, links)
    for part in sorted({link.part for link in links if link.kind is LinkKind.CONTACT}):
        if lag := circuit.parts[part].lag:
            notes.append(f"relay {part} {lag}: note how long after a change a reading was taken")
    return tuple(notes)


def _bound_notes(tracing: Tracing, way: Way) -> list[str]:
    names = _too_many(tracing, way)
    if not names:
        return []
    fuses = sorted(
        {tracing.circuit.links[n].part for n in way.doubtful if tracing.circuit.links[n].kind is LinkKind.FUSE}
    )
    which = f" ({', '.join(fuses)})" if fuses else ""
    return [
        f"may list more than feeds this pin{which}: the positions of {', '.join(names)} together are too many to try them all"
    ]


def _parallel_notes(circuit: Circuit, way: Way, level: str) -> list[str]:
    """Rings and several ends: which of them alone suffices."""
    notes = []
    if len(way.ends) > 1:
        notes.append(_ends_note(circuit, way, level))
        batteries = {circuit.node_parts[end] for end in way.ends if circuit.node_pins[end].startswith("-")}
        if level == "ground" and len(batteries) > 1:
            notes.append(
                "each battery needs its own negative: what it alone supplies has no return where that one is open"
            )
    if level == "ground":
        points = [at for at in way.nodes if at not in way.sole_nodes and circuit.part_at(at)]
        points = [at for at in points if circuit.parts[circuit.node_parts[at]].kind is PartKind.GROUND]
        if len(points) > 1:
            alone = [
                circuit.node_names[at]
                for at in points
                if _reaches_past(circuit, way, [other for other in points if other != at])
            ]
            names = ", ".join(circuit.node_names[at] for at in points)
            notes.append(
                f"ring of grounds: {names}; {' or '.join(alone) or 'none'} alone suffices, so an open one reads normal"
            )
    return notes


def _ends_note(circuit: Circuit, way: Way, level: str) -> str:
    names = " or ".join(sorted(circuit.node_names[end] for end in way.ends))
    sense = supply_sense if level == "supply" else ground_sense
    alone = [end for end in way.ends if fed_without(way, circuit.links, sense, ends=(end,)) is True]
    if len(alone) == len(way.ends):
        each = "each alone suffices" + (", as long as it is live" if way.passing else "")
        return f"several ends: {names}; {each}, so one that is missing reads normal"
    suffices = " or ".join(sorted(circuit.node_names[end] for end in alone))
    return f"several ends: {names}" + (f"; {suffices} alone suffices" if alone else "")


def _reaches_past(circuit: Circuit, way: Way, without_nodes: Iterable[int]) -> bool:
    gone = {number for node in without_nodes for number in circuit.at[node]}
    return fed_without(way, circuit.links, ground_sense, gone & way.links) is True


def _assumed_notes(circuit: Circuit, links: list[Link]) -> list[str]:
    runs = {link.run for link in links if link.kind is LinkKind.WIRE and circuit.runs[link.run].seen == "assumed"}
    places = ", ".join(sorted(str(circuit.run_place(run)) for run in runs))
    return [f"rests on runs that are only assumed: {places}"] if places else []


def _fuse_notes(circuit: Circuit, links: list[Link], level: str) -> list[str]:
    notes = []
    fuses = sorted({link.part for link in links if link.kind is LinkKind.FUSE})
    states = {name: circuit.parts[name].facts.said("state") for name in fuses}
    absent = sorted({link.part for link in links if circuit.is_left_open(link)})
    electronic = [name for name in fuses if states[name] == "none"]
    for name in fuses:
        facts = circuit.parts[name].facts
        assert isinstance(facts, FuseFacts)
        if facts.or_:
            notes.append(f"the fuse of {name} may sit in {facts.or_} instead: look at both positions")
        if facts.body:
            notes.append(f"{name} is one half of fuse {facts.body}: it can be blown while the other half is whole")
    if absent:
        notes.append(f"leads over a position that is not fitted: {', '.join(absent)}")
    if electronic:
        notes.append(no_fuse(electronic))
    if level == "supply" and not fuses and not any(link.kind is LinkKind.DRIVER_HIGH for link in links):
        notes.append("no fuse on the way")
    return notes


def _output_notes(circuit: Circuit, links: list[Link]) -> list[str]:
    outputs = []
    for link in links:
        if link.kind is LinkKind.DRIVER_HIGH:
            facts = circuit.parts[link.part].facts
            assert isinstance(facts, ModuleFacts)
            fuse = facts.outputs[link.output].fuse
            outputs.append(
                f"{link.part}.{link.output}"
                + (f" (takes the place of a {figures.stated(fuse, 'A')} fuse)" if fuse else "")
            )
    if not outputs:
        return []
    return [
        f"switched by the electronic output {', '.join(sorted(outputs))}: open and without load it may show a few volts of its "
        "diagnosis current; after an overload it may stay off until reset (common practice, no source)"
    ]


def with_shared(rows: Iterable[Row]) -> list[Row]:
    """The rows with each probe told which other rows it is shared with."""
    rows = list(rows)
    users: dict[str, list[str]] = {}
    for row in rows:
        for probe in row.probes:
            users.setdefault(probe.at, []).append(row.code)
    return [
        replace(
            row,
            probes=tuple(
                replace(probe, shared_with=tuple(code for code in users[probe.at] if code != row.code))
                for probe in row.probes
            ),
        )
        for row in rows
    ]
