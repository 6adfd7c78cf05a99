"""What a technician looks at first: for each pin what feeds it in which order, the test that decides, and where to split the way when it fails."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from tracer.circuit.flood import flood
from tracer.circuit.kinds import GROUND_KINDS, INSIDE_MODULE, PARTS, SUPPLY_KINDS, LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.entry.bus_words import bus_as_called
from tracer.entry.models import ConverterFacts
from tracer.entry.problems import natural
from tracer.plan.lamps import LampRule
from tracer.plan.names import bus_pins_of, full_name, names_of
from tracer.plan.side_by_side import side_by_side
from tracer.plan.values import ON_NOTHING, BusAtAGlance, Decides, Glance, OnWay, PinAtAGlance, there
from tracer.trace.hazards import Hazards
from tracer.trace.lists.results import Probe, Row, SupplyReport
from tracer.trace.rules.registry import rank
from tracer.trace.tracing import Tracing

if TYPE_CHECKING:  # what solves networks is loaded only where something is computed
    from tracer.electrics.limits_in_use import LimitsInUse
    from tracer.plan.bench import Bench

MOST_SPLITS = 3


def glance_of(tracing: Tracing, report: SupplyReport, limits: LimitsInUse | None, bench: Bench | None = None) -> Glance:
    """The first look at a list; without limits nothing is computed: the tests have no figures and the buses no ohms. A `bench` that is there already is used."""
    circuit, names = tracing.circuit, names_of(tracing.circuit, report)
    bench, why_not = _bench(tracing, report, limits, bench)
    pins = tuple(
        _pin(tracing, bench, report, row, names.short[full_name(row)])
        for row in (*report.supplies, *report.grounds, *report.carrying)
    )
    unknown = (cavity for cavity in report.census if cavity.kind in ("supply", "ground", "unaccounted") and not cavity.row)  # fmt: skip
    of_panels = dict.fromkeys(one.panel for pin in pins for one in pin.way if one.panel)
    panels = tuple((name, *circuit.place_of_part(name)) for name in of_panels if name)
    buses = tuple(_buses(tracing, bench, report))
    if bench is not None and bench.failed:
        why_not = "; ".join(dict.fromkeys(bench.failed.values()))
    loose = sorted(report.loose_ends, key=lambda one: (rank(one.code), natural(one.at), one.code, one.message))
    return Glance(report, pins, tuple(unknown), panels, buses, tuple(loose), why_not)


def _pin(tracing: Tracing, bench: Bench | None, report: SupplyReport, row: Row, name: str) -> PinAtAGlance:
    circuit = tracing.circuit
    test = alone_test(circuit, bench, report, row)
    splits = () if row.no_method else _splits(circuit, row)
    beside = side_by_side(tracing, bench, report, row, test.key)
    return PinAtAGlance(name, row, tuple(_way(circuit, row)), test, splits, beside)


def _bench(
    tracing: Tracing, report: SupplyReport, limits: LimitsInUse | None, bench: Bench | None
) -> tuple[Bench | None, str]:
    """What computes the figures; nothing where none are asked for, and where the vehicle is too large to wait for them: why."""
    if limits is None:
        return None, ""
    from tracer.electrics.volts.expected import too_large
    from tracer.plan.bench import Bench

    why_not = too_large(tracing, report.module)
    return (None, why_not) if why_not else (bench or Bench(tracing, report, limits), "")


# --- the way -----------------------------------------------------------------------------------------------------------


def _way(circuit: Circuit, row: Row) -> Iterator[OnWay]:
    """What is on the way in the order of its points: fuses, contacts and outputs; of a ground also splices and ground points."""
    fuses = {fuse.part: fuse for fuse in row.fuses}
    contacts: dict[str, list[str]] = {}
    outputs: set[str] = set()
    for switched in row.switches:
        name, _, pins = switched.partition(" (")
        if name == "output":
            outputs.add(pins)
        elif switched.startswith("output "):
            outputs.add(switched.removeprefix("output "))
        else:
            contacts.setdefault(name, []).append(pins.removesuffix(")").replace(" to ", "-"))
    probes: Iterable[Probe] = reversed(row.probes) if row.level == "ground" else row.probes
    seen: set[str] = set()
    for probe in probes:
        part = circuit.parts.get(probe.part)
        if part is None:
            continue
        panel = part.panel
        label = part.label or part.name
        if probe.at in outputs and probe.at not in seen:
            seen.add(probe.at)
            yield OnWay(probe.at, "output", None)
        if probe.part in seen:
            continue
        if probe.part in fuses:
            fuse = fuses[probe.part]
            yield OnWay(label, "fuse", panel, fuse.amps, beside=not fuse.sole)
        elif probe.part in contacts:
            closed = tuple(contacts[probe.part])
            yield OnWay(
                label,
                "contact",
                panel,
                pins=closed,
                beside=not probe.sole,
                at_rest=_at_rest(circuit, probe.part, closed),
            )
        elif row.level == "ground" and (PARTS[part.kind].part_of_harness or part.kind is PartKind.GROUND):
            yield OnWay(label, "joint", panel, beside=not probe.sole)
        else:
            continue
        seen.add(probe.part)


def _at_rest(circuit: Circuit, part: str, pins: tuple[str, ...]) -> bool:
    """Whether these contacts of a relay are closed only while it is not pulled in."""
    of = circuit.pins_of[part]
    pairs = [{of.get(one) for one in pair.split("-")} for pair in pins]
    closed = [
        link.closed
        for link in circuit.links
        if link.part == part and link.kind is LinkKind.CONTACT and {link.a, link.b} in pairs
    ]
    return bool(closed) and all(tuple(positions) == ("rest",) for positions in closed)


def _splits(circuit: Circuit, row: Row) -> tuple[str, ...]:
    """Where to look first when the pin fails: the middle of the way, then the middle of each half; taped splices only where there is nothing else."""
    points: dict[str, tuple[str, PartKind]] = {}
    for probe in reversed(row.probes):
        part = circuit.parts.get(probe.part)
        if part is None or probe.part == row.part or part.kind is PartKind.BATTERY:
            continue
        connector = part.kind in (PartKind.CONNECTOR, PartKind.JOINT)
        name = probe.at.split(",")[0].split(":")[0] if connector else part.label or part.name
        points.setdefault(probe.part, (name, part.kind))
    easy = [name for name, kind in points.values() if kind is not PartKind.SPLICE] or [
        name for name, _ in points.values()
    ]
    order: list[str] = []
    spans = [(0, len(easy))]
    for first, end in spans:
        if first < end:
            middle = (first + end) // 2
            order.append(easy[middle])
            spans += [(first, middle), (middle + 1, end)]
    return tuple(order[:MOST_SPLITS])


# --- the test ----------------------------------------------------------------------------------------------------------


def held_by_itself(report: SupplyReport, row: Row) -> tuple[str, ...]:
    """Contacts on the way of a row that the module itself holds closed, so that they are open while it is unplugged."""
    own = {chain.part for chain in report.chains if any(need.startswith(f"{report.module}.") for need in chain.needs)}
    return tuple(name for name in row.switches if name.split(" ")[0] in own)


def alone_test(
    circuit: Circuit, bench: Bench | None, report: SupplyReport, row: Row, key: str = "", out: tuple[str, ...] = ()
) -> Decides:
    """The test that decides: the pin alone with its lamp, in the first key state in which it is live or in `key`; `out` is opened for it."""
    lamps = LampRule(circuit)
    lamp = lamps.of(row)
    key = key or next((key for key in report.keys if row.live.get(key) == "live"), "")
    held = held_by_itself(report, row)
    leads = leads_for(circuit, report, row) if held else ()
    if bench is None or lamp.watts is None or row.no_method or not key or (held and not leads):
        return Decides(key, lamp, held=held, leads=leads)
    if row.diodes:  # a lamp takes some tenths of a volt more off than a meter does, by the law of the diode: nothing to judge a joint by
        return Decides(key, lamp, why_not="diode", held=held, leads=leads)
    pulled = tuple(f"{report.module}.{pin}" for pin, _ in leads)
    bare, loaded = bench.alone(row, key, lamp.watts, out, pulled)
    if bare is None or bare.not_computed:
        return Decides(key, lamp, why_not=bench.failed.get(key, "") if bare is None else bare.not_computed)
    if loaded is None or not there(row.level, bare, lamps.system_v):
        why_not = ON_NOTHING if _on_nothing(circuit, row) else ""
        return Decides(key, lamp, why_not=why_not, held=held, leads=leads)
    grows, hides_ohm = bench.growth(row, key, lamp.watts, out, pulled)
    return Decides(key, lamp, grows.high, hides_ohm, held=held, leads=leads)


def _on_nothing(circuit: Circuit, row: Row) -> bool:
    """Whether a pin of an unplugged module is joined with neither post of the battery: without the module's own insides no way is left, or each ends at a converter with a 0 V output of its own."""
    ends, kinds = (circuit.sources, SUPPLY_KINDS) if row.level == "supply" else (circuit.grounds, GROUND_KINDS)
    reached = flood(
        circuit,
        [circuit.pins_of[row.part][row.pin]],
        kinds,
        passes=lambda _number, link, _here, _there: link.part != row.part or link.kind not in INSIDE_MODULE,
    )
    at = [circuit.parts.get(circuit.node_parts[end.node]) for end in ends if end.node in reached]
    return all(part is not None and isinstance(part.facts, ConverterFacts) and part.facts.return_ == "isolated" for part in at)  # fmt: skip


def leads_for(circuit: Circuit, report: SupplyReport, row: Row) -> tuple[tuple[str, str], ...]:
    """Which pins of the unplugged module a fused lead joins, so that the relays on a way that the module itself pulls to ground close.

    It proves coil, contact, fuse and wire in one place. None where some of them is not pulled to ground by a pin of which the ground pin is known.
    """
    own = {name.split(" ")[0] for name in held_by_itself(report, row)}
    needs = [need.split(" ")[0] for chain in report.chains if chain.part in own for need in chain.needs]
    outputs = dict.fromkeys(need.removeprefix(f"{report.module}.") for need in needs if need.startswith(f"{report.module}."))  # fmt: skip
    leads: list[tuple[str, str]] = []
    for pin in outputs:
        grounds = [
            circuit.node_pins[link.b] for link in circuit.links
            if link.kind is LinkKind.DRIVER_LOW and link.part == report.module and link.output == pin
        ]  # fmt: skip
        if not grounds:
            return ()
        leads.append((pin, grounds[0]))
    return tuple(leads)


def _buses(tracing: Tracing, bench: Bench | None, report: SupplyReport) -> Iterator[BusAtAGlance]:
    """The buses of the module with their pins, as declared."""
    pins: dict[str, list[tuple[str, str]]] = {}
    for cavity in report.census:
        if cavity.kind == "bus":
            name, line = bus_as_called(cavity.declared)
            pins.setdefault(name, []).append((cavity.pin, line))
    for name, own in pins.items():
        ohms = None
        if (
            bench is not None
            and len(bus_pins_of(report)[name]) == 2
            and not any(tracing.once(Hazards).withheld(f"{report.module}.{pin}") for pin, _ in own)
        ):
            found = bench.bus_of_pin(own[0][0])
            value = None if found is None else bench.bus_ohms(found[0])
            ohms = None if value is None or value.value is None else value.value.nominal
        yield BusAtAGlance(name, tuple(own), ohms)


__all__ = ["alone_test", "glance_of", "held_by_itself", "leads_for"]
