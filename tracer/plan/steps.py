"""What is measured of one module, and in which order.

The rule of the order:

1. Every place is visited once. The battery comes first (every reading refers to it), then each place where the ways reach it first, row by row from source to
   pin; the module comes last, because the proof is made at its own pins.
2. At a place everything that needs the module plugged in comes before it is unplugged, and it is unplugged once.
3. Within that, key states come in their own order, each once. The key goes back to the first state only from place to place.
4. Within a batch, points come in the order of their codes.

So the number of moves is the number of places less one, which no order can beat.

Every probe point is read once, plugged in and working, in the key state in which most supplies of the module are live, because a wire without current proves
nothing; a point that is not live then, in the first key state in which it is; one that depends on something else in any case, with the others. At the module,
unplugged, each supply pin is read alone in the first key state and in each in which it changes, so that a supply that must be dead is read too; each ground pin
is loaded alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import LinkKind
from tracer.electrics.bus.values import AVERAGE, BusReport
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.circuit_model import NotSettled
from tracer.plan.bench import Bench
from tracer.plan.codes import CodedPoint, bus_pins, coded_points
from tracer.plan.glance import held_by_itself, leads_for
from tracer.plan.lamps import LampRule
from tracer.plan.names import bus_pins_of
from tracer.plan.side_by_side import fuses_alone
from tracer.plan.upstream import Upstream
from tracer.plan.values import Computed, Feeder, Kind, Plan, Range, Step, StepBatch, there
from tracer.plan.words import CRANKING
from tracer.trace.hazards import Hazards
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing


def plan_of(tracing: Tracing, report: SupplyReport, limits: LimitsInUse, bench: Bench | None = None) -> Plan:
    """What to measure of a module's list. A `bench` that is there already is used."""
    return _Planner(tracing, report, limits, bench or Bench(tracing, report, limits)).plan()


class _Planner:
    def __init__(self, tracing: Tracing, report: SupplyReport, limits: LimitsInUse, bench: Bench) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.report = report
        self.keys = report.keys
        self.limits = limits
        self.lamps = LampRule(tracing.circuit)
        self.not_unplugged = tracing.once(Hazards).withheld_in(report.module)
        self.system_v = self.lamps.system_v
        self.working = working_key(report)
        self.bench = bench
        self._found: dict[tuple[str | None, bool, str], list[tuple[int, Step]]] = {}
        self._access: dict[str | None, str] = {}
        self._feeds: dict[str, Upstream | None] = {}

    def plan(self) -> Plan:
        for point in coded_points(self.report).values():
            self._point(point)
        self._coils()
        self._alone()
        self._untraced()
        self._bus()
        self._fit()
        batches = tuple(self._batches())
        computed = {
            batch.key for batch in batches if any(one.computed for one in batch.steps if one.kind is not Kind.BATTERY)
        }
        return Plan(
            module=self.report.module,
            system_v=self.system_v,
            cranks=any(key in CRANKING for _, _, key in self._found),
            batches=batches,
            failed=self.bench.failed,
            overloads=tuple(self.bench.overloads),
            batteries={
                key: self.bench.battery(key)
                for key in sorted(computed, key=self.keys.index)
                if key not in self.bench.failed
            },
        )

    # --- small answers -----------------------------------------------------------------------------------------

    def _key_of(self, live: dict[str, str]) -> str:
        """The key state in which a point is read: the working one unless it is live in another only."""
        if live.get(self.working) == "live":
            return self.working
        return next((key for key in self.keys if live.get(key) == "live"), None) or next(
            (key for wanted in ("depends", "unknown") for key in (self.working, *self.keys) if live.get(key) == wanted),
            self.working,
        )

    def _add(self, place: str | None, access: str | None, order: int, step: Step) -> None:
        place = place or None
        if withheld := self._withheld(step):
            if step.kind in _UNPLUGGED or (step.kind is Kind.UNTRACED and step.key != self.keys[0]):
                return  # the point stands in the list already
            step = _without_method(replace(step, key=self.working), withheld)
        if access and not self._access.get(place):
            self._access[place] = access
        self._found.setdefault((place, step.plugged, step.key), []).append((order, step))

    def _withheld(self, step: Step) -> str:
        """What stands in place of a step; a module of which any pin is dangerous is not unplugged either."""
        if step.kind in (*_UNPLUGGED, Kind.UNTRACED) and self.not_unplugged:
            return self.not_unplugged
        points = [step.point, *(row.point for row in step.rows if step.kind is not Kind.POINT)]
        return next((words for point in points if (words := self.tracing.once(Hazards).withheld(point))), "")

    def _at_module(self, order: int, step: Step) -> None:
        self._add(self.report.place, self.report.access, order, step)

    @cached_property
    def _nodes(self) -> dict[str, int]:
        return {name: node for node, name in enumerate(self.circuit.node_names)}

    # --- what feeds a point ------------------------------------------------------------------------------------

    def _comes_from(self, point: CodedPoint) -> tuple[Feeder, ...]:
        """The last fuses or switching parts before the point, else the source (or ground) itself."""
        row = point.row
        if row.level == "supply":
            return self._fed_by(row, self._nodes[point.probe.at])
        switching = {name.split(" ")[0] for name in row.switches}
        before = [probe.part for probe in row.probes[: point.number - 1] if probe.part != point.probe.part]
        switched = next((part for part in reversed(before) if part in switching), None)
        return (Feeder(switched),) if switched else ()

    def _fed_by(self, row: Row, node: int) -> tuple[Feeder, ...]:
        """What feeds a point of a supply row: each of several where ways come together."""
        if row.code not in self._feeds:
            pin = self.circuit.pins_of[row.part][row.pin]
            own = row.part if self.circuit.parts[row.part].kind is PartKind.MODULE else ""
            way = self.tracing.ways_to(pin, row.level, own).to(pin)
            self._feeds[row.code] = None if way is None else Upstream(self.circuit, way)
        upstream = self._feeds[row.code]
        if upstream is None:
            return ()
        ratings = {fuse.part: fuse.amps for fuse in row.fuses}
        return tuple(Feeder(name, name in ratings, ratings.get(name)) for name in upstream.feeders(node))

    # --- plugged in and working --------------------------------------------------------------------------------

    def _point(self, point: CodedPoint) -> None:
        probe, row = point.probe, point.row
        key = self._key_of(probe.expect.live)
        state = probe.expect.live.get(key, "unknown")
        step = Step(
            Kind.POINT, point.code, probe.at, key, True, frozenset({"drop"} if row.level == "ground" else {"volts", "drop"}), (row,), point,
            state=state, why=row.why.get(key, ()), wire=probe.wire, part_kind=self.circuit.parts[self.circuit.node_parts[self._nodes[probe.at]]].kind,
            fed_by=self._comes_from(point), must=self.is_own_pin(point) and row.code[0] in "SG",
            bare=self._agreeing(row, state, self.bench.plugged_in(row, probe.at, key)),
        )  # fmt: skip
        self._add(probe.place, probe.access, _rank(row, point.number), step)

    def is_own_pin(self, point: CodedPoint) -> bool:
        """Whether a point is a pin of the module itself, and not of a side chain."""
        return point.is_pin and point.row.part == self.report.module

    def _agreeing(self, row: Row, state: str, computed: Computed | None) -> Computed | None:
        """The value, unless the state is not known or what switches it is not held in the computation: no number that contradicts the list."""
        if (
            state in ("dead", "depends")
            or (computed is not None and computed.not_computed)
            or (state == "live" and there(row.level, computed, self.system_v))
        ):
            return computed
        return None

    def _coils(self) -> None:
        """One step across each relay coil whose two sides are side chains."""
        by_node = {(row.part, row.pin): row for row in self.report.chains}
        for link in self.circuit.links:
            if link.kind is not LinkKind.COIL:
                continue
            ends = [(self.circuit.node_parts[n], self.circuit.node_pins[n]) for n in (link.a, link.b)]
            if not all(end in by_node for end in ends):
                continue
            rows = sorted((by_node[end] for end in ends), key=lambda row: row.level, reverse=True)
            both = {key: _lesser([row.live.get(key) for row in rows]) for key in self.keys}
            open_ends = any(not row.ends for row in rows)
            if open_ends:
                both = dict.fromkeys(self.keys, "unknown")
            key = self._key_of(both)
            step = Step(
                Kind.COIL, "+".join(row.code for row in rows), f"{link.part}.{rows[0].pin}-{rows[1].pin}", key, True, frozenset({"volts"}), tuple(rows),
                state=both[key], must=open_ends, bare=self._across(rows, key) if both[key] in ("live", "dead") else None,
            )  # fmt: skip
            self._add(*self.tracing.circuit.place_of_part(link.part), 9_000_000, step)

    def _across(self, rows: list[Row], key: str) -> Computed | None:
        """Volts from the upper to the lower end of a coil: the range holds every combination of the two ends."""
        upper, lower = (self.bench.plugged_in(row, f"{row.part}.{row.pin}", key) for row in rows)
        for end in (upper, lower):
            if end is not None and end.not_computed:
                return end
        if upper is None or lower is None or upper.value is None or lower.value is None:
            return None
        over, under = upper.value, lower.value
        between = Range(max(0.0, over.low - under.high), over.nominal - under.nominal, over.high - under.low)
        return Computed("volts", key, True, upper.load, between, basis=upper.basis)

    # --- unplugged, each pin by itself -------------------------------------------------------------------------

    def _alone(self) -> None:
        """Each supply and each ground of the module by itself, unplugged and loaded."""
        for number, row in enumerate(self.report.supplies):
            before = ""
            for key in self.keys:
                state = row.live.get(key, "unknown")
                if state != before:
                    self._supply_alone(row, key, state, 10_000 + number)
                before = state
        for number, row in enumerate(self.report.supplies):
            self._parallel(row, 15_000 + 100 * number)
        for number, row in enumerate(self.report.grounds):
            self._ground_alone(row, 20_000 + number)

    def _supply_alone(self, row: Row, key: str, state: str, order: int) -> None:
        lamp, held = self.lamps.supply(row), held_by_itself(self.report, row)
        leads = leads_for(self.circuit, self.report, row) if held and state == "live" else ()
        pulled = tuple(f"{self.report.module}.{pin}" for pin, _ in leads)
        lit = state == "live" or (state != "dead" and not held)
        bare, loaded = self.bench.alone(row, key, lamp.watts if lit else None, (), pulled)
        if (
            bare is not None
            and (held or state == "live")
            and state != "dead"
            and not there("supply", bare, self.system_v)
        ):
            loaded = None
        step = Step(
            Kind.ALONE, f"{row.code} alone", row.point, key, False,
            frozenset({"volts", "loaded", "drop"} if lit and lamp.watts is not None else {"volts"}), (row,),
            state=state, why=row.why.get(key, ()), wire=row.wire, fed_by=self._fed_by(row, self.circuit.pins_of[row.part][row.pin]), must=True, lamp=lamp if lit else None,
            bare=bare, loaded=loaded, usual=self.limits.of("single wire"), held=held, leads=leads,
        )  # fmt: skip
        self._at_module(order, step)

    def _parallel(self, row: Row, order: int) -> None:
        """Each of several parallel fuses that suffices alone is proven with the others out: together they hide each other."""
        key, lamp = self._key_of(row.live), self.lamps.supply(row)
        amps = {fuse.part: fuse.amps for fuse in row.fuses}
        for number, (fuse, others) in enumerate(fuses_alone(self.tracing, self.report, row)):
            bare, loaded = self.bench.alone(row, key, lamp.watts, others)
            step = Step(
                Kind.BY_FUSE, f"{row.code} by {fuse}", row.point, key, False, frozenset({"volts", "loaded", "drop"} if lamp.watts is not None else {"volts"}),
                (row,), state=row.live.get(key, "unknown"), wire=row.wire, must=True, lamp=lamp, bare=bare, loaded=loaded,
                usual=self.limits.of("single wire"), out=others, fuse=Feeder(fuse, True, amps[fuse]),
            )  # fmt: skip
            self._at_module(order + number, step)

    def _ground_alone(self, row: Row, order: int) -> None:
        lamp = self.lamps.ground(row)
        key = self.keys[0] if row.live.get(self.keys[0]) == "live" else self._key_of(row.live)
        bare, loaded = self.bench.alone(row, key, lamp.watts)
        step = Step(
            Kind.ALONE, f"{row.code} alone", row.point, key, False, frozenset({"loaded", "drop"} if lamp.watts is not None else {"drop"}), (row,),
            state=row.live.get(self.keys[0], "unknown"), wire=row.wire, must=True, lamp=lamp, bare=bare, loaded=loaded, usual=self.limits.of("ground path"),
        )  # fmt: skip
        self._at_module(order, step)

    def _untraced(self) -> None:
        """Pins declared as supply or ground whose way is not known: nothing is expected of them, but they are measured, not passed over."""
        rows = {row.pin for row in (*self.report.supplies, *self.report.grounds)}
        for number, cavity in enumerate(self.report.census):
            if cavity.kind in ("supply", "ground") and cavity.pin not in rows:
                for key in self.keys:
                    step = Step(
                        Kind.UNTRACED, f"pin {cavity.pin} ?", f"{self.report.module}.{cavity.pin}", key, False, frozenset({"volts"}), cavity=cavity,
                        state="unknown", wire=self._wire_at(cavity.pin), must=True,
                    )  # fmt: skip
                    self._at_module(18_000 + number, step)

    # --- bus -----------------------------------------------------------------------------------------------------

    def _bus(self) -> None:
        """Bus pins: voltage while awake, resistance between the two lines of each bus with everything off."""
        codes = {cavity.pin: code for code, cavity in bus_pins(self.report)}
        for number, (code, cavity) in enumerate(bus_pins(self.report)):
            found = self.bench.bus_of_pin(cavity.pin)
            said = cavity.declared.split()
            typed = "H" if "H" in said else "L" if "L" in said else "LIN"
            line = {"H": "CAN_H", "L": "CAN_L"}.get(found[1] if found else typed, "LIN")
            bus = found[0] if found is not None else None
            step = Step(
                Kind.BUS_LEVEL, code, f"{self.report.module}.{cavity.pin}", self.working, True, frozenset({"volts"}), cavity=cavity,
                wire=self._wire_at(cavity.pin), bare=self._mean(bus, line), bus=bus, bus_line=line,
            )  # fmt: skip
            self._at_module(9_500_000 + number, step)
        for number, pins in enumerate(pins for pins in bus_pins_of(self.report).values() if len(pins) == 2):
            self._bus_ohms([(codes[pin], pin) for pin in pins.values()], 30_000 + number)

    def _mean(self, bus: BusReport | None, line: str) -> Computed | None:
        """What a meter averages on a line with traffic, where the kind of bus is known."""
        levels = (
            {level.state.split(" (")[0]: level for level in bus.levels if level.line == line}
            if bus and bus.kind
            else {}
        )
        mean = levels.get(AVERAGE)
        if mean is None or "recessive" not in levels or "dominant" not in levels:
            return None
        if mean.low_v is None or mean.nominal_v is None or mean.high_v is None:
            return None
        value = Range(mean.low_v, mean.nominal_v, mean.high_v)
        return Computed(
            "volts", self.working, True, "bus awake, with traffic", value, source=mean.source, basis="levels of the kind of bus"
        )  # fmt: skip

    def _bus_ohms(self, pair: list[tuple[str, str]], order: int) -> None:
        (first, first_pin), (second, second_pin) = pair
        found = self.bench.bus_of_pin(first_pin)
        step = Step(
            Kind.BUS_OHM, f"{first}-{second}", f"{self.report.module}.{first_pin}-{second_pin}", self.keys[0], False, frozenset({"ohms"}),
            bare=None if found is None else self.bench.bus_ohms(found[0]), bus=None if found is None else found[0],
        )  # fmt: skip
        self._at_module(order, step)

    def _wire_at(self, pin: str) -> str:
        """The wires at a pin as typed; empty where none is."""
        node = self.circuit.pins_of.get(self.report.module, {}).get(pin)
        numbers = [] if node is None else self.circuit.wires_at(node)
        return ", ".join(dict.fromkeys(self.circuit.wire_of(self.circuit.links[n]).text for n in numbers))

    def _fit(self) -> None:
        """Pin fit: a loose female contact passes every reading on the bench and fails on the road."""
        for number, row in enumerate((*self.report.supplies, *self.report.grounds)):
            step = Step(
                Kind.FIT, f"{row.code} fit", row.point, self.keys[0], False, frozenset({"tick"}), (row,), wire=row.wire
            )
            self._at_module(40_000 + number, step)

    # --- order -------------------------------------------------------------------------------------------------

    def _batches(self) -> Iterator[StepBatch]:
        places = place_order(self.report, {place for place, _, _ in self._found})
        keys = sorted(self._found, key=lambda batch: (places.index(batch[0]), not batch[1], self.keys.index(batch[2])))
        first = next((key for key in keys if not key[1]), None)
        for batch in keys:
            place, plugged, key = batch
            steps = [step for _, step in sorted(self._found[batch], key=lambda item: item[0])]
            yield StepBatch(
                place, self._access.get(place, ""), key, plugged, batch == first, (self._battery(key, plugged), *steps)
            )

    def _battery(self, key: str, plugged: bool) -> Step:
        """The first step of every batch."""
        computed = None
        try:
            span, state = self.bench.battery(key)
            computed = Computed("volts", key, plugged, "what runs then", span, basis=state)
        except NotSettled as error:
            self.bench.failed.setdefault(key, str(error))
        return Step(Kind.BATTERY, "", "battery posts", key, plugged, frozenset({"volts"}), must=True, bare=computed)


_UNPLUGGED = frozenset({Kind.ALONE, Kind.BY_FUSE, Kind.BUS_OHM, Kind.FIT})


def _without_method(step: Step, withheld: str) -> Step:
    """A step that only says what may not be done there."""
    return replace(
        step, plugged=True, boxes=frozenset(), must=False, lamp=None, bare=None, loaded=None, usual=None, no_method=withheld,
        state="", why=(), held=(), out=(), bus=None,
    )  # fmt: skip


def working_key(report: SupplyReport) -> str:
    """The key state in which most supplies of the module are live: its grounds carry current then. Of equals the last in which nobody cranks."""
    live = {key: sum(row.live.get(key) == "live" for row in report.supplies) for key in report.keys}
    return max(report.keys, key=lambda key: (live[key], key not in CRANKING, report.keys.index(key)))


def place_order(report: SupplyReport, places: set[str | None]) -> list[str | None]:
    """Each place once: the battery first, then as the ways reach them, the module last. None is a place that is not typed in."""
    order: dict[str | None, None] = {}
    for row in report.rows:
        for probe in row.probes:
            if probe.kind == "battery post":
                order.setdefault(probe.place or None)
    for row in report.rows:
        for probe in row.probes:
            order.setdefault(probe.place or None)
    for place in sorted(places, key=lambda place: place or ""):
        order.setdefault(place)
    last = report.place or None
    order.pop(last, None)
    return [place for place in (*order, last) if place in places]


def _rank(row: Row, number: int) -> int:
    return "SGVC".index(row.code[0]) * 1_000_000 + int(row.code[1:]) * 1000 + number


def _lesser(states: list[str | None]) -> str:
    """What two ends of a coil come to together."""
    if all(state == "live" for state in states):
        return "live"
    return "depends" if all(state != "dead" for state in states) else "dead"
