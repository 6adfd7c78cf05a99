"""The cavities of modules: accounted for, declared rightly, traced to a supply or a ground that can be live."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.model import LinkKind, Part, PartKind
from tracer.circuit.states import Level
from tracer.circuit.wires import cavities_in_no_run
from tracer.entry.models import ConnectorFacts, JointFacts, ModuleFacts, RelayFacts
from tracer.entry.problems import listed, natural
from tracer.entry.values import in_ranges
from tracer.trace.lists.census import NOT_LOOKED_AT, SENSING, PinFinding, pins_found
from tracer.trace.lists.rows import gaps_on
from tracer.trace.meant import joint_of_the_pin, other_pin_has_two
from tracer.trace.rules.registry import EXAMPLE_PARTS, EXAMPLE_RUNS, Finding, at_pin, rule
from tracer.trace.tracing import Tracing
from tracer.trace.ways.settings import level_of

_FOLLOW = "Follow the wire further: type in the page or the run where it goes on."


def _modules(tracing: Tracing) -> Iterator[tuple[Part, ModuleFacts, tuple[PinFinding, ...]]]:
    for part in tracing.circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        yield part, part.facts, pins_found(tracing, part)


@rule(
    "L112",
    "cavities of a module not listed",
    why="Without the list of its cavities nobody can say that no pin was forgotten.",
    fix="Add `cavities: 1-32` (what its connectors hold), and `unused` for the empty ones.",
    bad="parts: {ALM: {is: module, pins: {4: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L112\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def cavities_not_listed(tracing: Tracing) -> Iterator[Finding]:
    """A module without `cavities`."""
    for part in tracing.circuit.modules():
        assert isinstance(part.facts, ModuleFacts)
        if not part.facts.cavities:
            yield Finding(part.place, part.name, f"the cavities of {part.name} are not listed", "", module=part.name)


@rule(
    "L113",
    "use of a cavity not known",
    why="A cavity that is neither wired nor listed as unused may be the supply that everybody forgot.",
    fix="Look at the connector: type in its run, or list it under `unused`.",
    bad="parts: {ALM: {is: module, cavities: 1-2, pins: {1: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L113\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n",
    good="parts: {ALM: {is: module, cavities: 1-2, unused: 2, pins: {1: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n",
)
def use_not_known(tracing: Tracing) -> Iterator[Finding]:
    """A cavity without wire, without declaration and not unused; or wired to neither supply nor ground and not declared."""
    circuit = tracing.circuit
    for part, _, found in _modules(tracing):
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
                loads = tracing.loads_between(pin.node)
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
    "L163",
    "cavities that nobody has looked at",
    why="A further supply or ground of the module may be among them. The list holds for the other pins only.",
    fix="Look at them: type in the run of each, or list it under `signals` or `unused`.",
    bad="parts: {ALM: {is: module, cavities: 1-3, not looked at: 2-3, pins: {1: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L163\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n",
    good="parts: {ALM: {is: module, cavities: 1-3, signals: 2-3, pins: {1: supply}}, BAT: battery, F9: {is: fuse, amps: 10}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.1\n",
)
def not_looked_at(tracing: Tracing) -> Iterator[Finding]:
    """Cavities under `not looked at` that are neither wired nor declared: one line for each module."""
    for part, facts, found in _modules(tracing):
        pins = [pin.pin for pin in found if pin.kind == NOT_LOOKED_AT]
        if pins:
            which = in_ranges(facts.not_looked_at, pins)
            message = f"{len(pins)} of {len(found)} cavities of {part.name} were not looked at: {which}"
            yield Finding(part.place_of("not looked at"), part.name, message, "", module=part.name)


@rule(
    "L114",
    "declared supply reaches no source",
    why="The sheet calls the pin a supply, but its way to a source is not typed in (or leads only through a load).",
    fix=_FOLLOW,
    bad=EXAMPLE_PARTS + "}  # L114\nruns:\n- ALM.4 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.load\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def supply_reaches_nothing(tracing: Tracing) -> Iterator[Finding]:
    """A wired pin declared as supply without a way to a source."""
    for part, _, found in _modules(tracing):
        for pin in found:
            if pin.role == "supply" and pin.wired and not pin.supply and not pin.ground:  # that one: L119
                assert pin.node is not None
                loads = tracing.loads_between(pin.node)
                through = f"; only through {', '.join(loads)}" if loads else ""
                near = tracing.zone([pin.node], [], part.name)
                unknown = sorted({words for node, words in tracing.open_ends.items() if node in near})
                through += f"; not known is {' and '.join(unknown)}" if unknown else ""
                yield at_pin(part, pin.pin, pin.node, f"is declared a supply, but reaches no source{through}")


@rule(
    "L115",
    "declared ground reaches no ground",
    why="The sheet calls the pin a ground, but its way to a ground point is not typed in.",
    fix=_FOLLOW,
    bad="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, S1: splice, S2: splice}  # L115\nruns:\n- ALM.2 -- BN 1 -- S1\n- S1 -- BN 1 -- S2\n- S1 -- BN 2 -- S2\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def ground_reaches_nothing(tracing: Tracing) -> Iterator[Finding]:
    """A wired pin declared as ground without a way to ground."""
    for part, _, found in _modules(tracing):
        for pin in found:
            if pin.role == "ground" and pin.wired and not pin.ground and not pin.supply:  # that one: L119
                yield at_pin(part, pin.pin, pin.node, "is declared a ground, but reaches no ground")


@rule(
    "L116",
    "declared pin in no run",
    why="The sheet says what the pin is, but not where its wire goes.",
    fix="Type in the run from the pin, or list the cavity under `unused`.",
    bad="parts: {ALM: {is: module, cavities: [2, 3], pins: {2: ground, 3: signal}}, G1: ground}  # L116\nruns:\n- ALM.2 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2], pins: {2: ground}}, G1: ground}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def declared_pin_not_wired(tracing: Tracing) -> Iterator[Finding]:
    """A declared pin that nothing is wired to; signals that are typed as a range need no run."""
    for part, facts, found in _modules(tracing):
        for pin in found:
            if pin.declared and not pin.wired and not pin.unused and pin.pin not in facts.signals:
                beside = other_pin_has_two(tracing, part, pin)
                fix = f"If one of the two belongs to {part.name}.{pin.pin}, correct it; otherwise type in the run from the pin."
                says = f"is declared ({pin.declared}) but is in no run{beside}"
                yield at_pin(part, pin.pin, pin.node, says, fix if beside else "")


@rule(
    "L117",
    "unused cavity is used",
    why="The cavity is listed as unused, yet it is wired or declared: one of the two is wrong.",
    fix="Take it off `unused`, or correct the run or the declaration.",
    bad="parts: {ALM: {is: module, cavities: [2, 3], unused: [3], pins: {2: ground, 3: signal}}, G1: ground}  # L117\nruns:\n- ALM.2 -- BN 1 -- G1\n",
    good="parts: {ALM: {is: module, cavities: [2, 3], unused: [3], pins: {2: ground}}, G1: ground}\nruns:\n- ALM.2 -- BN 1 -- G1\n",
)
def unused_is_used(tracing: Tracing) -> Iterator[Finding]:
    """A cavity that is unused and wired, or (of a module) unused and declared."""
    for part, _, found in _modules(tracing):
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
    circuit = tracing.circuit
    for part in circuit.parts.values():
        facts = part.facts
        if isinstance(facts, ConnectorFacts | JointFacts | RelayFacts) and facts.unused:
            wired: dict[str, list[int]] = {}
            for typed, node in circuit.pins_of.get(part.name, {}).items():
                cavity = typed.partition(":")[0]
                if cavity in facts.unused and circuit.is_attached(node):
                    wired.setdefault(cavity, []).append(node)
            missing = (
                cavities_in_no_run(part, circuit.pins_of.get(part.name, {}).__contains__)
                if part.kind is PartKind.CONNECTOR
                else []
            )
            for cavity, nodes in wired.items():
                at = f"{part.name}.{cavity}"
                message, fix = f"{at} is listed as unused, but is wired", ""
                if len(wired) == len(missing) == 1:
                    message += f", while {part.name}.{missing[0]} is in no run"
                    fix = f"Is {part.name}.{missing[0]} meant? Otherwise take {at} off `unused`."
                wires = [wire for node in nodes for wire in circuit.wires_at(node)]
                place = circuit.run_place(circuit.links[wires[0]].run) if wires else part.place_of("unused")
                yield Finding(place, at, message, fix, tuple(nodes))


@rule(
    "L118",
    "supply and ground on one pin",
    why="A pin that reaches both a source and ground without a load between is a short circuit on the vehicle, or a slip of the pen.",
    fix="Check the runs at the pin; one of them names a wrong point.",
    bad=EXAMPLE_PARTS
    + ", G1: ground}  # L118\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4  # L118\n- ALM.4 -- BN 1 -- G1\n- BAT.- -- BN 1 -- G1\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def supply_and_ground(tracing: Tracing) -> Iterator[Finding]:
    """A module pin that reaches both; and conductors that join a source with ground."""
    for part, _, found in _modules(tracing):
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
    if tracing.shorted:
        circuit = tracing.circuit
        ends = [end.id for end in (*circuit.sources, *circuit.grounds) if end.node in tracing.shorted]
        place = min(
            (
                circuit.run_place(link.run)
                for link in circuit.links
                if link.kind is LinkKind.WIRE and link.a in tracing.shorted
            ),
            default=circuit.parts[next(iter(circuit.parts))].place,
        )
        message = f"conductors join {' and '.join(sorted(ends))} without a load between"
        yield Finding(
            place,
            ", ".join(sorted(ends)),
            message,
            "Check the runs between them; one of them names a wrong point.",
            tuple(sorted(tracing.shorted)),
        )


@rule(
    "L119",
    "pin declared as one and traced as the other",
    why="A pin declared as ground that reaches a source, or declared as supply that reaches ground: names and colours never decide, so one of the two is wrong.",
    fix="Check the declaration and the runs at the pin.",
    bad="parts: {ALM: {is: module, cavities: [4], pins: {4: ground}}, BAT: battery, F9: {is: fuse, amps: 10}}  # L119\nruns:\n- BAT.+ -- BN 1 -- F9 -- BN 1 -- ALM.4\n",
    good=EXAMPLE_PARTS + "}\nruns:\n- BAT.+ -- BN 1 -- F9 -- BN 1 -- S1\n- S1 -- BN 1 -- ALM.4\n",
)
def declared_wrongly(tracing: Tracing) -> Iterator[Finding]:
    """A declared ground that reaches supply, or a declared supply that reaches ground."""
    for part, _, found in _modules(tracing):
        for pin in found:
            for role, wrong, reached in (("ground", pin.supply, "a source"), ("supply", pin.ground, "ground")):
                if pin.role == role and wrong:
                    run, meant = joint_of_the_pin(tracing, part, pin)
                    fix = f"Is {meant} meant? Otherwise check the declaration." if meant else ""
                    yield at_pin(part, pin.pin, pin.node, f"is declared a {role}, but reaches {reached}{run}", fix)


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
def output_unsaid(tracing: Tracing) -> Iterator[Finding]:
    """An output that drives high without `from`, or low without `through`."""
    circuit = tracing.circuit
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


@rule(
    "L133",
    "contact that no key state closes",
    why="The way runs through contacts that are never closed together, so the supply is never live: the contact table or the wiring is typed wrong.",
    fix="Check the contact table of the switch, the kind of the relay, and the runs to them.",
    bad=EXAMPLE_PARTS
    + ", SW: {is: switch, follows: key, contacts: {off: [], acc: [1-2], run: [], start: []}}, SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}  # L133\nruns:\n"
    "- BAT.+ -- RD 1 -- F9 -- RD 1 -- SX.1\n- SX.2 -- RD 1 -- SW.1\n- SW.2 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PARTS
    + ", SX: {is: switch, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- SX.1\n- SX.2 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n",
)
def never_live(tracing: Tracing) -> Iterator[Finding]:
    """A declared supply that is dead in every key state, although every position on its way is fitted."""
    circuit, states = tracing.circuit, tracing.states
    for part, _, found in _modules(tracing):
        for pin in found:
            if pin.node is not None and pin.wired:
                yield from _ruled_out(tracing, part, pin)
            if pin.role != "supply" or not pin.supply or pin.node is None:
                continue
            if any(level_of(tracing, pin.node, key, "supply") is not Level.DEAD for key in states.keys):
                continue
            if gaps_on(circuit, tracing.supply_ways(part.name).to(pin.node)):
                continue  # an option that this vehicle does not have; the row says so
            at = f"{part.name}.{pin.pin}"
            message = f"{at} is a supply, but is dead in every key state"
            yield Finding(part.place_of("pins", pin.pin, key=True), at, message, "", module=part.name)


def _ruled_out(tracing: Tracing, part: Part, pin: PinFinding) -> Iterator[Finding]:
    """A pin that supply (or ground) reaches only over contacts that are never closed together."""
    assert pin.node is not None
    for level in ("supply", "ground"):
        ways = tracing.supply_ways(part.name) if level == "supply" else tracing.ground_ways(part.name)
        found = pin.supply if level == "supply" else pin.ground
        if found or not (pin.role == level or (pin.role == "" and not pin.supply and not pin.ground)):
            continue
        contacts = ways.ruled_out(pin.node)
        if contacts:
            at = f"{part.name}.{pin.pin}"
            switches = " and ".join(sorted({tracing.circuit.links[number].part for number in contacts}, key=natural))
            message = f"every way of {level} to {at} leads over contacts of {switches} that are never closed together"
            yield Finding(part.place_of("pins", pin.pin, key=True), at, message, "", module=part.name)


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
def module_without_both(tracing: Tracing) -> Iterator[Finding]:
    """A module with no pin that is a supply (or a ground), traced or declared, and no word on how it gets one; or with such a word and a pin as well."""
    for part, facts, found in _modules(tracing):
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


@rule(
    "L161",
    "inside of a part not known",
    why="What joins the pins of a box, or of a switch or relay without its contacts, is not known: a supply or a ground may come through it.",
    fix="As soon as it is known, type its `contacts` or `kind`, or the part that sits on the pin (`meets`).",
    bad=EXAMPLE_PARTS
    + ", Q1: box}  # L161\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- Q1.3\n",
    good=EXAMPLE_PARTS
    + ", Q1: {is: switch, contacts: {off: [], on: [3-4]}}, E1: load}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- Q1.3\n"
    "- Q1.4 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def inside_not_known(tracing: Tracing) -> Iterator[Finding]:
    """A wired pin of which nobody knows what it is joined with inside its part."""
    for part, pin, node in tracing.unknown_insides:
        if part.undeclared:
            continue  # L162
        at = f"{part.name}.{pin}"
        doubtful = [f"{position} of {lever.name}" for lever in part.levers.values() for position in lever.unknown]
        where = f" in position {listed(doubtful, joiner='and')}" if doubtful else ""
        message = f"what {at} is joined with inside {part.kind} {part.name}{where} is not known"
        yield Finding(part.place, at, message, "", (node,), (part.name,))
