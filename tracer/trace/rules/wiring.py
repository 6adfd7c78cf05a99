"""Rules about wiring that can be typed without a gap and yet cannot be meant: one cavity in two roles, crossed lines, currents that no fuse would hold."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache, partial

from tracer.circuit.flood import walk
from tracer.circuit.kinds import FUSE_KINDS, IN_A_POSITION, LINKS, LOADS, SWITCHED, Link, LinkKind, PartKind
from tracer.circuit.model import Circuit, Part
from tracer.circuit.nets import Nets
from tracer.circuit.states import Level
from tracer.circuit.without import circuit_without
from tracer.entry.models import FuseFacts, LoadFacts, ModuleFacts
from tracer.entry.problems import listed, natural
from tracer.standards import figures
from tracer.trace.bus_pins import lines_typed, pins_by_role
from tracer.trace.rules.registry import Finding, at_pin, rule
from tracer.trace.rules.remarks import reached_without_fuse
from tracer.trace.tracing import Tracing

_HEAD = (
    "parts: {ALM: {is: module, at: floor, cavities: [4], pins: {4: supply}}, BAT: {is: battery, at: bay}, "
    "F9: {is: fuse, amps: 10, at: bay}, G1: {is: ground, at: bay}"
)
_RUNS = "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- BAT.- -- BK 35 -- G1\n"

# --- cavities ------------------------------------------------------------------------------------------------------


@rule(
    "L153",
    "one pin of a relay is coil and contact",
    why="A way then leads through the contact to the coil, or from the coil to the load. On most relays one of the two is a slip: 86 for 87, 85 for 30.",
    fix="Compare `coil` and `contacts` with the print on the relay. Where both really meet inside it, give the coil a pin of its own: `coil: 86-85, meets: {86: K1.30}`.",
    bad=_HEAD
    + ", K1: {is: relay, coil: 86-85, contacts: {energised: [30-86]}}}  # L153\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n"
    "- K1.86 -- RD 1 -- ALM.4\n- K1.85 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
    good=_HEAD
    + ", K1: {is: relay, coil: 86-85, contacts: {energised: [30-87]}, meets: {86: K1.30}}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n"
    "- K1.87 -- RD 1 -- ALM.4\n- K1.85 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
)
def coil_and_contact(tracing: Tracing) -> Iterator[Finding]:
    """A relay pin that stands both in a coil and in a contact."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        coils = {pin for coil in part.coils for pin in coil}
        switched = {
            pin
            for lever in part.levers.values()
            for groups in lever.contacts.values()
            for group in groups
            for pin in group
        }
        for pin in sorted(coils & switched, key=natural):
            at = f"{part.name}.{pin}"
            node = circuit.pins_of[part.name][pin]
            yield Finding(
                part.place, at, f"{at} is an end of the coil and a pin of a contact", "", (node,), (part.name,)
            )


# --- fuses ---------------------------------------------------------------------------------------------------------


@rule(
    "L167",
    "both sides of a fuse, switch, relay or diode are joined without it",
    why="Such a part does nothing and none is built: as a rule a run was typed through a fuse from its load side, while a busbar says what feeds it, or two ends were taken for each other. What it feeds then hangs before it.",
    fix="Type the run from the source on, or let it end at the fuse: `ALM.4 -- RD 1 -- F9`; compare the runs at both sides with the diagram.",
    bad=_HEAD
    + ", S1: {is: splice, at: bay}, FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {S1: [F1]}}}  # L167\n"
    "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- ALM.4 -- RD 1 -- F1 -- RD 1 -- S1\n- BAT.- -- BK 35 -- G1\n",
    good=_HEAD + ", S1: {is: splice, at: bay}, FB: {is: panel, at: bay, positions: {F1: 20}, busbars: {S1: [F1]}}}\n"
    "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- F1 -- RD 1 -- ALM.4\n- BAT.- -- BK 35 -- G1\n",
)
def bridged(tracing: Tracing) -> Iterator[Finding]:
    """A fuse or a diode with a conductor beside it; a switch (or lever) or relay of which each contact has one."""
    circuit = tracing.circuit
    fuses: set[int] = set()
    inside: dict[tuple[str, str, int | None], list[Link]] = {}
    for number, link in enumerate(circuit.links):
        if link.kind in IN_A_POSITION - LOADS and not circuit.is_left_open(link):
            fuses |= {number} if link.kind is LinkKind.FUSE else set()
            alone = None if link.kind in SWITCHED else number
            inside.setdefault((link.part, link.lever, alone), []).append(link)
    of = Nets(circuit_without(circuit, fuses), inside_modules=False).of
    for (name, lever, alone), links in inside.items():
        if all(of[link.a] == of[link.b] for link in links):
            part = circuit.parts[name]
            at = f"{name}/{lever}" if lever else name
            of_it = "both sides of" if alone is not None or len(links) == 1 else "both sides of each contact of"
            nodes = tuple(dict.fromkeys(node for link in links for node in (link.a, link.b)))
            yield Finding(part.place, at, f"{of_it} {at} are joined without it", "", nodes, (name,))


# --- buses ---------------------------------------------------------------------------------------------------------

_BUS_PARTS = (
    "parts:\n  A: {is: module, at: x, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}\n"
    "  B: {is: module, at: y, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}\n"
    "  C:\n    is: module\n    at: z\n    cavities: 1-2\n    pins:\n      1: bus d H\n      2: bus d L\n"
    "  S1: {is: splice, at: z}\n  S2: {is: splice, at: z}\n"
    "runs:\n- A.1 -- GN 0.5 -- S1\n- B.1 -- GN 0.5 -- S1\n- A.2 -- YE 0.5 -- S2\n- B.2 -- YE 0.5 -- S2\n"
)
_BUS_GOOD = _BUS_PARTS + "- C.1 -- GN 0.5 -- S1\n- C.2 -- YE 0.5 -- S2\n"


@lru_cache(maxsize=2)
def _bus_pins_by_net(tracing: Tracing) -> list[dict[str, dict[str, list[tuple[str, str]]]]]:
    """For each conductor that holds bus pins: the pins (module, pin) by bus and line, in the order of the modules."""
    circuit = tracing.circuit
    order = {name: number for number, name in enumerate(circuit.parts)}
    typed = [(bus, *pin) for bus in circuit.typed.vehicle.buses for pin in lines_typed(circuit, bus)]
    net_of = tracing.states.nets.of
    found: dict[int, dict[str, dict[str, list[tuple[str, str]]]]] = {}
    for bus, line, module, pin in sorted(
        dict.fromkeys([*typed, *pins_by_role(circuit)]), key=lambda one: order.get(one[2], -1)
    ):
        node = circuit.pins_of.get(module, {}).get(pin)
        if node is not None:
            found.setdefault(net_of[node], {}).setdefault(bus, {}).setdefault(line, []).append((module, pin))
    return list(found.values())


def _listed_pins(pins: list[tuple[str, str]]) -> str:
    return listed([f"{module}.{pin}" for module, pin in pins], joiner="and")


@rule(
    "R241",
    "bus lines on one conductor",
    why="H of one module lies with L of the others: the two wires are swapped in typing, or on the vehicle, and the module does not talk. No resistance shows it.",
    fix="Compare the two pins and wire colours of this module with the diagram.",
    bad=_BUS_PARTS + "- C.1 -- GN 0.5 -- S2  # R241\n- C.2 -- YE 0.5 -- S1  # R241\n",
    good=_BUS_GOOD,
)
def lines_swapped(tracing: Tracing) -> Iterator[Finding]:
    """Pins of one line of a bus on the conductor of another line, as most pins there have it."""
    circuit = tracing.circuit
    wrong: dict[
        tuple[str, str, str, str], tuple[str, str]
    ] = {}  # module, bus, its line, that of the others: pin and words
    for buses in _bus_pins_by_net(tracing):
        for bus, lines in buses.items():
            most = max(lines, key=lambda line: len(lines[line]))  # of equals, that of the first module
            for line, pins in lines.items():
                for module, pin in pins if line != most else ():
                    says = f"is line {line} of bus {bus}, but lies on one conductor with line {most} ({_listed_pins(lines[most])})"
                    wrong[module, bus, line, most] = pin, says
    for (module, bus, line, most), (pin, says) in wrong.items():
        finding = at_pin(circuit.parts[module], pin, circuit.pins_of[module][pin], says)
        runs = [_only_run(circuit, module, pin)]
        if (crossed := wrong.get((module, bus, most, line))) is not None:
            runs.append(_only_run(circuit, module, crossed[0]))
            places = listed([str(circuit.run_place(run)) for run in runs if run is not None], joiner="and")
            where = f" ({places})" if places else ""
            fix = f"Compare both runs{where} and their colours with the diagram: {module}.{pin} and {module}.{crossed[0]} look exchanged."
            finding = replace(finding, fix=fix)
        yield finding if runs[0] is None else replace(finding, place=circuit.run_place(runs[0]))


def _only_run(circuit: Circuit, module: str, pin: str) -> int | None:
    """The run of a pin that has one wire."""
    wires = circuit.wires_at(circuit.pins_of[module][pin])
    return circuit.links[wires[0]].run if len(wires) == 1 else None


@rule(
    "R242",
    "bus name that stands alone",
    why="Pins of two bus names on one conductor, or a bus of vehicle.yaml that no pin carries, are nearly always one bus misspelt: the module is then missing on its bus.",
    fix="Give both the same name; compare `pins` of the module with `buses` in vehicle.yaml.",
    bad=_BUS_GOOD.replace("      1: bus d H\n      2: bus d L", "      1: bus b H  # R242\n      2: bus b L  # R242"),
    good=_BUS_GOOD,
)
def bus_misspelt(tracing: Tracing) -> Iterator[Finding]:
    """Pins of a second bus on one conductor, and buses of vehicle.yaml without a pin."""
    circuit = tracing.circuit
    known = circuit.typed.vehicle.buses
    for buses in _bus_pins_by_net(tracing):
        pins_of = {bus: [pin for pins in lines.values() for pin in pins] for bus, lines in buses.items()}
        most = max(pins_of, key=lambda bus: (bus in known, len(pins_of[bus])))
        for bus, pins in pins_of.items():
            for module, pin in pins if bus != most else ():
                says = (
                    f"is a pin of bus {bus}, but lies on one conductor with bus {most} ({_listed_pins(pins_of[most])})"
                )
                yield at_pin(circuit.parts[module], pin, circuit.pins_of[module][pin], says)
    carried = {bus for bus, _, _, _ in pins_by_role(circuit)}
    for bus, facts in known.items():
        if bus not in carried and not facts.lines:
            place = circuit.typed.vehicle_file.place_of(("buses", bus), key=True)
            message = f"no pin is called `bus {bus}`, and `lines` of bus {bus} is not typed in"
            yield Finding(place, f"bus {bus}", message, "")


# --- loads, coils and their fuses ----------------------------------------------------------------------------------


@rule(
    "R243",
    "coil with a diode fed from its other end",
    why="The diode inside the relay then lies in the sense of the current: it shorts the coil, and a fuse or the output that drives it blows. 85 and 86 are easily swapped.",
    fix="Compare the two coil pins with the diagram. The first pin of `coil` is the positive one (86 of 86-85), where the cathode of the diode is.",
    bad=_HEAD
    + ", K1: {is: relay, at: bay, kind: normally open, across coil: diode}}  # R243\n"
    + "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- K1.87 -- RD 1 -- ALM.4\n- F9.load -- RD 1 -- K1.85\n- K1.86 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
    good=_HEAD
    + ", K1: {is: relay, at: bay, kind: normally open, across coil: diode}}\n"
    + "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- K1.87 -- RD 1 -- ALM.4\n- F9.load -- RD 1 -- K1.86\n- K1.85 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
)
def coil_turned_round(tracing: Tracing) -> Iterator[Finding]:
    """A coil with a diode whose positive pin reaches ground only, and whose other pin reaches supply only."""
    for part, (first, second), nodes in turned_coils(tracing):
        if part.facts.said("across_coil") == "diode":
            at = f"{part.name}.{first}, {part.name}.{second}"
            message = f"{part.name} has a diode across its coil, but supply comes to {second} and ground to {first}"
            yield Finding(part.place, at, message, "", nodes, (part.name,))


def turned_coils(tracing: Tracing) -> Iterator[tuple[Part, tuple[str, str], tuple[int, int]]]:
    """Coils whose first pin reaches ground only and whose other pin reaches supply only: the part, the two pins and their nodes."""
    circuit, supply, ground = tracing.circuit, tracing.supply_ways(), tracing.ground_ways()
    for part in circuit.parts.values():
        for first, second in part.coils:
            plus, minus = (circuit.pins_of[part.name][pin] for pin in (first, second))
            turned = ground.reached(plus) and supply.reached(minus)
            if turned and not supply.reached(plus) and not ground.reached(minus):
                yield part, (first, second), (plus, minus)


@rule(
    "R244",
    "load that nothing switches",
    why="It is on in every key state and empties the battery. Usually the relay or switch before it is missing from the sheet, as the solenoid before a starter motor.",
    fix="Type in what switches it. A load that is meant to stay on says how little it takes: `watts: 0.1`.",
    bad=_HEAD
    + ", MST: {is: load, at: gearbox, watts: 1.8 kW}}  # R244\n"
    + _RUNS
    + "- BAT.+ -- RD 35 -- MST.1\n- MST.2 -- BK 35 -- G1\n",
    good=_HEAD
    + ", MST: {is: load, at: gearbox, watts: 1.8 kW}, K1: {is: relay, at: gearbox, coil: 50-31, contacts: {energised: [30-45]}, meets: {31: G1, 45: MST.1}}, SW: {is: switch, at: dash, kind: make switch}}\n"
    + _RUNS
    + "- BAT.+ -- RD 35 -- K1.30\n- MST.2 -- BK 35 -- G1\n- F9.load -- RD 1 -- SW.1\n- SW.2 -- RD 1 -- K1.50\n",
)
def always_on(tracing: Tracing) -> Iterator[Finding]:
    """A load between supply and ground by conductors alone, live in every key state, unless it is said to take next to nothing."""
    circuit, states = tracing.circuit, tracing.states
    for part in circuit.parts.values():
        if not isinstance(part.facts, LoadFacts):
            continue
        wired = [node for node in circuit.pins_of.get(part.name, {}).values() if circuit.is_attached(node)]
        fed = [node for node in wired if node in tracing.hard_supply]
        returned = [node for node in wired if node in tracing.hard_ground]
        if not fed or not returned or len(fed) + len(returned) < len(wired):
            continue  # a further pin, such as 50 of a starter with its solenoid, may command it
        if not _live_in(tracing, fed, returned, *states.keys):
            continue
        amps = _load_amps(tracing, part.facts)
        if amps is None or amps > _key_off_limit_a():
            takes = "" if amps is None else f" (about {figures.amps(amps)})"
            message = f"{part.name} is on in every key state{takes}: no switch, relay or output lies on its ways"
            yield Finding(part.place, part.name, message, "", (*fed, *returned), (part.name,))


def _live_in(tracing: Tracing, fed: list[int], returned: list[int], *keys: str) -> bool:
    """Whether supply and ground are there for certain in every one of the key states."""
    states = tracing.states
    return all(
        any(states.supply_level(node, key) is Level.LIVE for node in fed)
        and any(states.ground_level(node, key) is Level.LIVE for node in returned)
        for key in keys
    )


def _key_off_limit_a() -> float:
    from tracer.standards.limits import window

    limit_ma = window("key-off draw").highest
    assert limit_ma is not None
    return limit_ma / 1000


def _load_amps(tracing: Tracing, facts: LoadFacts) -> float | None:
    """What a load takes at the vehicle's nominal voltage, as typed; None where neither A nor W is."""
    if facts.amps is not None:
        return facts.amps
    return None if facts.watts is None else facts.watts / float(tracing.circuit.typed.vehicle.system.split()[0])


@rule(
    "R245",
    "current above the rating of the fuse",
    why="The fuse would blow in ordinary use. The rating or a current is mistyped, or a wire leads to the wrong position.",
    fix="Compare rating, currents and the position with the diagram.",
    bad=_HEAD.replace("pins: {4: supply}", "pins: {4: supply}, draws: {4: 3}")
    + ", E1: {is: load, at: roof, amps: 9}, SW: {is: switch, at: dash, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}  # R245\n"
    + _RUNS
    + "- F9.load -- RD 1 -- SW.1\n- SW.2 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n",
    good=_HEAD.replace("pins: {4: supply}", "pins: {4: supply}, draws: {4: 3}")
    + ", E1: {is: load, at: roof, amps: 6}, SW: {is: switch, at: dash, follows: key, contacts: {off: [], acc: [], run: [1-2], start: []}}}\n"
    + _RUNS
    + "- F9.load -- RD 1 -- SW.1\n- SW.2 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n",
)
def above_the_rating(tracing: Tracing) -> Iterator[Finding]:
    """A fuse that must carry more than its rating: one consumer alone, or all that a key state makes live for certain, as typed in and added up."""
    circuit = tracing.circuit
    charged: dict[str, list[_Consumer]] = {}
    for consumer in _consumers(tracing):
        for fuse in sole_fuses(tracing, consumer.nodes):
            charged.setdefault(fuse, []).append(consumer)
    for fuse, consumers in charged.items():
        part = circuit.parts[fuse]
        assert isinstance(part.facts, FuseFacts) and part.facts.amps is not None
        if sum(one.most_a for one in consumers) <= part.facts.amps:
            continue
        cases = {f" in {key}": {one.name: one.amps_in(key) for one in consumers} for key in tracing.states.keys}
        cases |= {f" with {one.name} on": {one.name: one.most_a} for one in consumers}
        worst = max(cases, key=lambda case: sum(cases[case].values()))
        total = sum(cases[worst].values())
        if total > part.facts.amps:
            carried = sorted(((amps, name) for name, amps in cases[worst].items() if amps), key=lambda one: -one[0])
            takes = listed([f"{name} {figures.amps(amps)}" for amps, name in carried], joiner="and")
            together = f", together {figures.amps(total)}" if len(carried) > 1 else ""
            message = f"{fuse} is {figures.stated(part.facts.amps, 'A')}, but carries more{worst}: {takes}{together}"
            yield Finding(part.place, fuse, message, "", (), (fuse,))


@dataclass(frozen=True, slots=True)
class _Consumer:
    """A load, or a supply pin of a module, with the current that is typed in: at most, and for certain in a key state."""

    name: str
    nodes: list[int]
    most_a: float
    amps_in: Callable[[str], float]


def _consumers(tracing: Tracing) -> Iterator[_Consumer]:
    circuit = tracing.circuit
    for part in circuit.parts.values():
        pins = circuit.pins_of.get(part.name, {})
        if isinstance(part.facts, LoadFacts):
            amps, nodes = _load_amps(tracing, part.facts), list(pins.values())
            if amps:
                yield _Consumer(part.name, nodes, amps, partial(_load_amps_in, tracing, nodes, amps))
        elif isinstance(part.facts, ModuleFacts):
            for pin, draws in part.facts.draws.items():
                most_a = max((one for one in draws.values() if one), default=0.0)
                if pin in pins and most_a:
                    amps_in = partial(_draw_in, tracing, pins[pin], draws)
                    yield _Consumer(f"{part.name}.{pin}", [pins[pin]], most_a, amps_in)


def _load_amps_in(tracing: Tracing, nodes: list[int], amps: float, key: str) -> float:
    return amps if _live_in(tracing, nodes, nodes, key) else 0.0


def _draw_in(tracing: Tracing, node: int, draws: Mapping[str, float | None], key: str) -> float:
    live = tracing.states.supply_level(node, key) is Level.LIVE
    return (draws.get(key, draws.get("otherwise", draws.get(""))) or 0.0) if live else 0.0


def sole_fuses(tracing: Tracing, nodes: list[int]) -> list[str]:
    """The rated fuses that lie on every way of supply to whichever of the nodes it reaches."""
    circuit, supply = tracing.circuit, tracing.supply_ways()
    ways = [frozenset(supply.bridges_to(node)) for node in nodes if supply.reached(node)]
    shared = frozenset.intersection(*ways) if ways else frozenset[int]()
    names = {circuit.links[number].part for number in shared if circuit.links[number].kind is LinkKind.FUSE}
    facts = {name: circuit.parts[name].facts for name in names}
    return [name for name, one in facts.items() if isinstance(one, FuseFacts) and one.amps is not None]


_CABLE_MM2 = 10.0  # starter and generator cables, which often have no fuse, are at least so thick: custom of the trade, no source


@rule(
    "R246",
    "unfused wire to battery positive",
    why="In a short circuit nothing opens, and the wire burns. Only the cables of starter and generator are often wired so, and the short wire from the post to its fuse.",
    fix="Look for a fuse or fusible link near the battery on the diagram's power page; at the starter, type the size of the cable.",
    bad=_HEAD
    + ", E1: {is: load, at: roof, watts: 21}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- BAT.- -- BK 35 -- G1\n- BAT.+ -- RD 1.5 -- E1.1  # R246\n- E1.2 -- BN 1.5 -- G1\n",
    good=_HEAD
    + ", E1: {is: load, at: roof, watts: 21}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- BAT.- -- BK 35 -- G1\n- F9.load -- RD 1.5 -- E1.1\n- E1.2 -- BN 1.5 -- G1\n",
)
def wire_without_fuse(tracing: Tracing) -> Iterator[Finding]:
    """A wire that battery or generator feeds by conductors alone, thinner than a starter cable, or of unknown size and ending at a load; not the wire to a fuse."""
    circuit = tracing.circuit
    posts = [end.node for end in circuit.sources if circuit.kind_at(end.node) in (PartKind.BATTERY, PartKind.GENERATOR)]
    unfused = reached_without_fuse(tracing, posts, contacts=False)
    consumers = {node for link in circuit.links if link.kind in LOADS for node in (link.a, link.b)}
    steps = _steps_from(circuit, posts, unfused)
    found: dict[int, tuple[Link, tuple[int, int]]] = {}  # once for a run: its wire nearest the battery
    for link in circuit.links:
        if link.kind is not LinkKind.WIRE or not unfused.issuperset((link.a, link.b)):
            continue
        ends = (_beyond_reference(circuit, link.a), _beyond_reference(circuit, link.b))
        if any(circuit.kind_at(node) in FUSE_KINDS for node in ends):
            continue
        wire = circuit.wire_of(link)
        if wire.area_mm2 < _CABLE_MM2 if wire.area_mm2 is not None else not consumers.isdisjoint(ends):
            first, last = sorted(ends, key=lambda node: steps.get(node, len(steps)))
            known = found.get(link.run)
            if known is None or steps.get(first, len(steps)) < steps.get(known[1][0], len(steps)):
                found[link.run] = link, (first, last)
    for run, (link, ends) in found.items():
        start, end = (circuit.node_names[node] for node in ends)
        text = circuit.wire_of(link).text
        message = f"the wire {text} from {start} to {end} has no fuse between it and the battery"
        yield Finding(circuit.run_place(run), f"wire {text} from {start}", message, "", ends)


def _steps_from(circuit: Circuit, starts: Iterable[int], within: Collection[int]) -> dict[int, int]:
    """How many links lie between each node and the nearest start, no other node passed."""
    met = walk(circuit, starts, LINKS, passes=lambda number, link, here, there: there in within)
    steps: dict[int, int] = {}
    for node, number in met:
        steps[node] = 0 if number < 0 else steps[circuit.other(circuit.links[number], node)] + 1
    return steps


def _beyond_reference(circuit: Circuit, node: int) -> int:
    """Where a wire really ends that goes on at another mark: at the far end of its other half."""
    wires = circuit.wires_at(circuit.partner[node]) if node in circuit.partner else []
    return circuit.other(circuit.links[wires[0]], circuit.partner[node]) if len(wires) == 1 else node
