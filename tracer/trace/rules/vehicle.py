"""What concerns the vehicle as a whole: contradicting facts, masses, rails, files and sheets."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.kinds import PartKind
from tracer.circuit.states import Level
from tracer.entry.load import how_to_be_read
from tracer.entry.page import page_is_there
from tracer.entry.problems import Place
from tracer.standards.colours import OwnLetters, colour_name, other_meanings
from tracer.trace.rules.registry import EXAMPLE_PARTS, EXAMPLE_RUNS, Finding, rule
from tracer.trace.tracing import Tracing

_RAIL_PARTS = (
    EXAMPLE_PARTS
    + ", IGN: {is: switch, at: column, follows: key, contacts: {off: [], acc: [], run: [30-15], start: []}}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- IGN.30\n"
    '- "15 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n'
)


@rule(
    "L121",
    "two sheets contradict each other",
    why="Two documents that say different things about one part: one of them is of another variant, or wrong. Both facts stay visible until one is withdrawn.",
    fix="Look at the vehicle, and correct or remove one of the two.",
    bad=EXAMPLE_PARTS
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n---\nparts: {F9: {is: fuse, amps: 20}}  # L121\n",
    good=EXAMPLE_PARTS
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n---\nparts: {F9: {is: fuse, amps: 10}}\n",
)
def facts_contradict(tracing: Tracing) -> Iterator[Finding]:
    """Descriptive facts (rating, place, name) of one part that differ between sheets."""
    circuit = tracing.circuit
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
def mass_without_strap(tracing: Tracing) -> Iterator[Finding]:
    """A mass from which no way leads to a ground reference."""
    circuit = tracing.circuit
    ground = tracing.ground_ways()
    for mass in sorted(tracing.masses):
        if not ground.reached(mass):
            points = [circuit.other(circuit.links[number], mass) for number in circuit.at[mass]]
            names = [circuit.node_names[node] for node in points]
            place = circuit.parts[names[0]].place
            message = f"{circuit.node_names[mass].removeprefix('mass ')} (with {', '.join(names)}) is joined to no ground reference"
            yield Finding(place, names[0], message, "", (mass, *points))


@rule(
    "L129",
    "rail not known in a key state",
    why="Whether the rail is live in a key state is the vehicle's fact. Until it is typed, a reading in that state proves nothing.",
    fix='Give the rail its key states in vehicle.yaml (`"15": [run]` or `[run, start]`), or its origin (`from: IGN.15`).',
    bad='rails: {"15": unknown}  # L129\n---\n'
    + EXAMPLE_PARTS
    + '}\nruns:\n- "15 -- RD 1 -- F9 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n- BAT.+ -- RD 1 -- S1\n',
    good='rails: {"15": [run]}\n---\n'
    + EXAMPLE_PARTS
    + '}\nruns:\n- "15 -- RD 1 -- F9 -- RD 1 -- S1"\n- S1 -- RD 1 -- ALM.4\n- BAT.+ -- RD 1 -- S1\n',
)
def rail_not_known(tracing: Tracing) -> Iterator[Finding]:
    """A rail that is an assumed source and whose key states are not said."""
    circuit = tracing.circuit
    states = tracing.states
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
    "L168",
    "rail live at other times than its origin",
    why="The vehicle says when the rail is live, and the contacts before it say otherwise: one of the two is mistyped, or a second feed is not typed in. What hangs on the rail is shown live or dead in the wrong key state.",
    fix="Compare the contact table of the switch (or the relay and its coil) before the rail with its key states in vehicle.yaml; correct the wrong one.",
    bad='rails: {"15": {live: [run, start], from: IGN.15}}  # L168\n---\n' + _RAIL_PARTS,
    good='rails: {"15": {live: [run], from: IGN.15}}\n---\n' + _RAIL_PARTS,
)
def rail_against_its_origin(tracing: Tracing) -> Iterator[Finding]:
    """A rail whose typed key states and whose traced ones are surely not the same."""
    circuit = tracing.circuit
    states = tracing.states
    file = circuit.typed.vehicle_file
    supply = tracing.supply_ways()
    for name, rail in circuit.typed.vehicle.rails.items():
        node = circuit.node_of_point.get((name, ""))
        if node is None or rail.from_ is None or rail.live is None or not supply.reached(node):
            continue
        sure = {key: (states.source_level(node, key), states.supply_level(node, key)) for key in states.keys}
        wrong = [key for key, levels in sure.items() if set(levels) == {Level.LIVE, Level.DEAD}]
        if wrong:
            said, traced = ("live", "dead") if sure[wrong[0]][0] is Level.LIVE else ("dead", "live")
            wrong = [key for key in wrong if sure[key] == sure[wrong[0]]]
            message = f"rail {name} is {said} in {', '.join(wrong)} as typed, but {traced} as traced from {rail.from_}"
            yield Finding(file.place_of(("rails", name), key=True), name, message, "", (node,))


@rule(
    "L131",
    "file is not read",
    why="Only .yaml files under sheets/ are read. A page saved under another ending or beside that folder, or an editor's copy, looks typed in, but is not.",
    fix="Give it the ending .yaml, or move it to sheets/; take it away if it is no page.",
    bad="",
    good="",
)
def file_not_read(tracing: Tracing) -> Iterator[Finding]:
    """Files in `sheets/` that are not YAML, and sheets that lie beside that folder; they concern every module."""
    for name in tracing.circuit.typed.ignored:
        yield Finding(Place(name), name, "this file is not read", how_to_be_read(name), module="*")


@rule(
    "L136",
    "sheet that holds nothing",
    why="A page was begun and not typed in. Whatever is drawn on it is missing from every list, a supply perhaps among it.",
    fix="Type the page in; if nothing of it belongs to this vehicle, take the file out of sheets/.",
    bad=EXAMPLE_PARTS + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n---\ntitle: Radio  # L136\n",
    good=EXAMPLE_PARTS
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n---\ntitle: Radio\nruns:\n- S1 -- RD 1 -- ALM.4\n",
)
def sheet_without_anything(tracing: Tracing) -> Iterator[Finding]:
    """Sheets without a part and without a run; they concern every module."""
    typed = tracing.circuit.typed
    used = {fragment.sheet for several in typed.fragments.values() for fragment in several if not fragment.used}
    used |= {run.sheet for run in typed.runs}
    for number, (sheet, file) in enumerate(zip(typed.sheets, typed.files, strict=True)):
        if number not in used:
            place = file.place_of(("title",) if sheet.title else ("sheet",))
            yield Finding(place, f"sheet {sheet.id}", f"sheet {sheet.id} holds no part and no run", "", module="*")


@rule(
    "L164",
    "kind of a part guessed",
    why="The part was taken in from a wire list that does not say what it is. A fuse, a relay or a supply may be hidden in it, or a joint may be none.",
    fix="Look at the diagram, correct `is`, type what else it shows of the part, and take `guess` away.",
    bad=EXAMPLE_PARTS
    + ", S2: {is: splice, guess: by its name}}  # L164\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- S2\n- S2 -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PARTS
    + ", S2: {is: splice}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- S2\n- S2 -- RD 1 -- ALM.4\n",
)
def kind_guessed(tracing: Tracing) -> Iterator[Finding]:
    """Parts whose kind nobody has confirmed; they concern every list that comes to one of their pins."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        for fragment in part.fragments:
            if fragment.facts.guess is not None:
                nodes = tuple(circuit.pins_of.get(part.name, {}).values())
                message = f"{part.name} is taken for a {part.kind}: {fragment.facts.guess}"
                module = part.name if part.kind is PartKind.MODULE else ""
                yield Finding(fragment.place, part.name, message, "", nodes, (part.name,), module)


@rule(
    "R261",
    "photo or PDF of a page missing",
    why="The sheet names the page that it was typed in from, but there is no such file: nobody can compare the two.",
    fix="Put the file there, or correct or remove `page`.",
    bad="page: scans/p1.pdf  # R261\n" + EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def page_missing(tracing: Tracing) -> Iterator[Finding]:
    """Sheets whose `page` is not in the vehicle's folder."""
    typed = tracing.circuit.typed
    for sheet, file in zip(typed.sheets, typed.files, strict=True):
        if sheet.page and not page_is_there(typed.folder, sheet.page):
            message = f"sheet {sheet.id}: there is no file {sheet.page}"
            yield Finding(file.place_of(("page",)), f"sheet {sheet.id}", message, "")


@rule(
    "R262",
    "own colour letters that mean another colour elsewhere",
    why="Whoever reads these letters by another table takes one wire for another. Both are right on their own paper.",
    fix="Go by the legend of this diagram, and say colours in words when a wire is spoken of.",
    bad="colours: {BL: black, R: red}  # R262\n---\n"
    + EXAMPLE_PARTS
    + "}\nruns:\n- BAT.+ -- R 1 -- F9 -- R 1 -- S1\n- S1 -- R 1 -- ALM.4\n",
    good="colours: {BK: black, R: red}\n---\n"
    + EXAMPLE_PARTS
    + "}\nruns:\n- BAT.+ -- R 1 -- F9 -- R 1 -- S1\n- S1 -- R 1 -- ALM.4\n",
)
def own_letters_confuse(tracing: Tracing) -> Iterator[Finding]:
    """Letters of the diagram's own table that are another colour in a common one."""
    circuit = tracing.circuit
    own = circuit.typed.vehicle.colours
    if isinstance(own, OwnLetters) and (others := list(other_meanings(own))):
        said = (
            f"{letters} is {colour_name((here,))}, with {system} letters {colour_name((there,))}"
            for letters, here, system, there in others
        )
        place = circuit.typed.vehicle_file.place_of(("colours",), key=True)
        yield Finding(place, "vehicle.yaml", "; ".join(said), "")
