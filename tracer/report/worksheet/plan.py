"""What to measure, in the order in which hands and key move.

The rule of the order:

1. Every place is visited once. The battery comes first (every reading refers to it), then each place where the ways reach it first, row by row from source to
   pin; the module comes last, because the proof is made at its own pins.
2. At a place everything that needs the module plugged in comes before it is unplugged, and it is unplugged once.
3. Within that, key states come in their own order, each once. The key goes back to the first state only from place to place.
4. Within a batch, points come in the order of their codes.

So the number of moves is the number of places less one, which no order can beat.

Every probe point is read once, plugged in and working, in the key state in which most supplies of the module are live, because a wire without current proves
nothing; a point that is not live then, in the first key state in which it is. At the module, unplugged, each supply pin is read alone in the first key state
and in each in which it changes, so that a supply that must be dead is read too; each ground pin is loaded alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from tracer.circuit.model import LinkKind
from tracer.entry.models import ModuleFacts
from tracer.report.codes import CodedPoint, bus_pins, coded_points
from tracer.report.worksheet.lamps import NEVER, Lamp, is_restraint, lamp_below, lamp_for_ground
from tracer.standards.bus import levels, workshop_readings
from tracer.standards.cautions import cautions_for
from tracer.standards.limits import drop_limit
from tracer.trace.results import LooseEnd, Row, SupplyReport
from tracer.trace.survey import Survey

NO_PLACE = "place not typed in"
PLUS, MINUS = "battery positive post", "battery negative post"


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of the form. `boxes` says which of open, loaded and drop are to be filled; `must`: it decides, and gets a heavy border."""

    code: str
    point: str
    side: str
    wire: str
    comes_from: str
    expected: str
    limit: str
    source: int  # number in `Worksheet.sources`, 0 for none
    boxes: frozenset[str]
    must: bool = False
    lamp: str = ""
    note: str = ""
    kind: str = "point"  # battery | point | alone | coil | bus | fit


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings taken at one place in one key state with the module plugged in or not."""

    place: str
    access: str
    key: str
    plugged: bool
    load: str
    other_lead: str
    helper: str
    readings: tuple[Reading, ...]

    @property
    def plug_words(self) -> str:
        return "module plugged in and working" if self.plugged else "module UNPLUGGED"


@dataclass
class Worksheet:
    """The whole form."""

    vehicle: str
    module: str
    name: str
    place: str
    system: str
    status: str
    complete: bool
    keys: tuple[str, ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    loose: tuple[LooseEnd, ...]
    notes: tuple[str, ...]
    sheets: tuple[str, ...]
    batches: list[Batch] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)


def worksheet_of(survey: Survey, report: SupplyReport) -> Worksheet:
    """The worksheet of a module's list."""
    return _Planner(survey, report).sheet()


class _Planner:
    def __init__(self, survey: Survey, report: SupplyReport) -> None:
        self.survey = survey
        self.circuit = survey.circuit
        self.report = report
        self.module = self.circuit.parts[report.module]
        self.keys = report.keys
        self.system_v = float(self.circuit.typed.vehicle.system.split()[0])
        self.working = self._working_key()
        self.sources: dict[str, int] = {}
        self.restraint = is_restraint(
            report.module, report.name, *(part for row in report.rows for part in row.switches)
        )
        self.found: dict[tuple[str, bool, str], list[tuple[int, Reading]]] = {}
        self.access: dict[str, str] = {}

    def sheet(self) -> Worksheet:
        from tracer.report.supplies import verdict

        report = self.report
        points = coded_points(report)
        for point in points.values():
            self._point(point)
        self._coils(points)
        self._alone()
        self._not_traced()
        self._bus()
        self._fit()
        kinds = ["probe", *(["restraint"] if self.restraint else []), *(["resistance"] if bus_pins(report) else [])]
        if any(key in ("start", "crank") for _, _, key in self.found):
            kinds.append("crank")
        cautions = dict.fromkeys(caution.text for kind in kinds for caution in cautions_for(kind))
        conditions = self.circuit.typed.vehicle.conditions
        sheet = Worksheet(
            vehicle=report.vehicle,
            module=report.module,
            name=report.name or "",
            place=report.place or NO_PLACE,
            system=self.circuit.typed.vehicle.system,
            status=verdict(report),
            complete=report.complete,
            keys=self.keys,
            conditions=tuple(f"{name}: {facts.text or name}" for name, facts in conditions.items()),
            cautions=tuple(cautions),
            loose=report.loose_ends,
            notes=self._notes(),
            sheets=report.sheets,
        )
        sheet.batches = self._batches()
        sheet.sources = list(self.sources)
        return sheet

    # --- small answers -----------------------------------------------------------------------------------------

    def _working_key(self) -> str:
        """The key state in which most supplies of the module are live: its grounds carry current then."""
        live = {key: sum(row.live.get(key) == "live" for row in self.report.supplies) for key in self.keys}
        return max(self.keys, key=lambda key: (live[key], -self.keys.index(key)))

    def _source(self, text: str) -> int:
        return self.sources.setdefault(text, len(self.sources) + 1)

    def _key_of(self, live: dict[str, str]) -> str:
        """The key state in which a point is read."""
        if live.get(self.working) == "live":
            return self.working
        for wanted in ("live", "depends", "unknown"):
            for key in self.keys:
                if live.get(key) == wanted:
                    return key
        return self.keys[0]

    def _add(
        self, place: str | None, access: str | None, key: str, plugged: bool, order: int, reading: Reading
    ) -> None:
        where = place or NO_PLACE
        if access and not self.access.get(where):
            self.access[where] = access
        self.found.setdefault((where, plugged, key), []).append((order, reading))

    def _lamp(self, row: Row) -> Lamp:
        """The lamp for a supply row: by its smallest fuse, or by what an electronic output says it replaces."""
        if self.restraint:
            return Lamp(None, 0.0, "restraint wiring, the maker's procedure only")
        if row.code[0] == "V" or row.declared.split(" ")[0] in NEVER:
            return Lamp(None, 0.0, "signal, bus, reference and shield pins take no lamp")
        ratings = [fuse.amps for fuse in row.fuses]
        for output in row.switches:
            if output.startswith("output "):
                module, _, pin = output.removeprefix("output ").partition(".")
                facts = self.circuit.parts[module].facts
                assert isinstance(facts, ModuleFacts)
                ratings = [facts.outputs[pin].fuse]
        if not ratings or any(rating is None for rating in ratings):
            known = [rating for rating in ratings if rating is not None]
            lamp = lamp_below(None, self.system_v)
            fits = not known or lamp.current_a < 0.5 * min(known)
            return lamp if fits else Lamp(None, 0.0, "no lamp is small enough for the known fuses")
        return lamp_below(min(rating for rating in ratings if rating is not None), self.system_v)

    # --- rows --------------------------------------------------------------------------------------------------

    def _point(self, point: CodedPoint) -> None:
        probe, row = point.probe, point.row
        own_pin = point.is_pin and row.part == self.report.module
        live = probe.expect.live
        key = self._key_of(live)
        expected, limit, source = self._expected(row, probe.expect.limit_v, probe.expect.source, live, key)
        notes = [point.also_words] if point.also else []
        if not probe.sole:
            notes.append("parallel way")
        if probe.seen == "assumed":
            notes.append("ASSUMED on the sheet")
        if own_pin and row.joined_with:
            notes.append(f"joined inside with pin {', '.join(row.joined_with)}: reads good through it")
        order = self._rank(row, point.number)
        boxes = frozenset({"drop"}) if row.level == "ground" else frozenset({"volts", "drop"})
        reading = Reading(
            point.code, probe.at, self._side(probe.at, probe.kind), probe.wire, self._comes_from(point), expected, limit, source, boxes,
            must=own_pin and row.code[0] in "SG", note="; ".join(notes), kind="point",
        )  # fmt: skip
        self._add(probe.place, probe.access, key, True, order, reading)

    def _rank(self, row: Row, number: int) -> int:
        return "SGVC".index(row.code[0]) * 1_000_000 + int(row.code[1:]) * 1000 + number

    def _side(self, at: str, kind: str) -> str:
        """What is touched and from which side."""
        part = self.circuit.parts[self.circuit.node_parts[self._node(at)]]
        if part.kind in ("connector", "module", "relay", "joint", "switch"):
            return f"{kind}, wire side" if part.kind != "relay" else f"{kind}, from below or by adapter"
        return kind

    def _node(self, at: str) -> int:
        return self._nodes[at]

    @property
    def _nodes(self) -> dict[str, int]:
        if not hasattr(self, "_nodes_kept"):
            self._nodes_kept = {name: node for node, name in enumerate(self.circuit.node_names)}
        return self._nodes_kept

    def _comes_from(self, point: CodedPoint) -> str:
        """The last fuse or switching part before the point, else the source (or ground) itself."""
        row = point.row
        before = [probe.part for probe in row.probes[: point.number - 1]]
        ratings = {fuse.part: fuse for fuse in row.fuses}
        switching = {name.split(" ")[0] for name in row.switches}
        for index in range(len(before) - 1, -1, -1):
            part = before[index]
            if part == point.probe.part and row.probes[point.number - 1].part not in ratings:
                continue
            if part in ratings:
                fuse = ratings[part]
                return f"{part} {fuse.amps:g} A" if fuse.amps is not None else f"{part}, rating not known"
            if part in switching:
                return part
        ends = ", ".join(f"{end.id} (assumed)" if end.assumed else end.id for end in row.ends)
        return ends or "not known"

    def _expected(
        self, row: Row, limit_v: float | None, source: str, live: dict[str, str], key: str
    ) -> tuple[str, str, int]:
        state = live.get(key, "unknown")
        why = "; ".join(row.why.get(key, ()))
        if row.level == "ground":
            words = {
                "live": "ground",
                "dead": "no ground",
                "depends": f"ground if {why}" if why else "ground, depends",
            }.get(state, "not known")
            if limit_v is not None:
                return words, f"at most {limit_v:.2f} V to {MINUS}", self._source(source)
            return words, "", 0
        words = {
            "live": "battery voltage",
            "dead": "0 V",
            "depends": f"battery voltage if {why}" if why else "battery voltage, depends",
        }.get(state, f"not known: {why}" if why else "not known")
        if limit_v is not None and state != "dead":
            return words, f"at most {limit_v:.2f} V lost per wire", self._source(source)
        return words, "", 0

    def _coils(self, points: dict[str, CodedPoint]) -> None:
        """One row across each relay coil whose two sides are side chains."""
        by_node = {(row.part, row.pin): row for row in self.report.chains}
        for link in self.circuit.links:
            if link.kind is not LinkKind.COIL:
                continue
            ends = [(self.circuit.node_parts[n], self.circuit.node_pins[n]) for n in (link.a, link.b)]
            if not all(end in by_node for end in ends):
                continue
            rows = sorted((by_node[end] for end in ends), key=lambda row: row.level, reverse=True)
            place, access = self.survey.place_of_part(link.part)
            both = {key: "live" if all(row.live.get(key) == "live" for row in rows) else "depends" if all(row.live.get(key) != "dead" for row in rows) else "dead" for key in self.keys}  # fmt: skip
            key = self._key_of(both)
            expected = {"live": "battery voltage; relay clicks", "dead": "0 V"}.get(
                both[key], "battery voltage while it is commanded"
            )
            reading = Reading(
                "+".join(row.code for row in rows), f"{link.part}.{rows[0].pin}-{rows[1].pin}", "across the coil, relay plugged in", "",
                f"{rows[0].code} and {rows[1].code}", expected, "what is missing is lost in the two chains", 0, frozenset({"volts"}), note="relay chain", kind="coil",
            )  # fmt: skip
            self._add(place, access, key, True, 9_000_000, reading)

    def _alone(self) -> None:
        """Each supply and each ground of the module by itself, unplugged and loaded."""
        place, access = self.report.place, self.report.access
        wire_limit, ground_limit = drop_limit("single wire"), drop_limit("ground path")
        for number, row in enumerate(self.report.supplies):
            lamp = self._lamp(row)
            before = ""
            for key in self.keys:
                state = row.live.get(key, "unknown")
                if state == before:
                    continue
                before = state
                expected, _, _ = self._expected(row, None, "", row.live, key)
                lit = state != "dead"
                boxes = frozenset({"volts", "loaded", "drop"} if lit and lamp.watts is not None else {"volts"})
                limit, source = "", 0
                if lit:
                    limit = f"with lamp at most {wire_limit.max_v:.2f} V lost per wire"
                    source = self._source(f"{wire_limit.source} ({wire_limit.certainty})")
                reading = Reading(
                    f"{row.code} alone", row.point, "module connector, wire side", row.wire, self._last_fuse(row), expected, limit, source, boxes,
                    must=True, lamp=lamp.words if lit else "", note="lamp to battery negative" if lit and lamp.watts is not None else "", kind="alone",
                )  # fmt: skip
                self._add(place, access, key, False, 10_000 + number, reading)
        for number, row in enumerate(self.report.supplies):
            self._parallel(row, 15_000 + 100 * number)
        for number, row in enumerate(self.report.grounds):
            area = self._area(row)
            lamp = (
                Lamp(None, 0.0, "restraint wiring, the maker's procedure only")
                if self.restraint
                else lamp_for_ground(area, self.system_v)
            )
            grounded = row.live.get(self.keys[0]) == "live"
            key = self.keys[0] if grounded else self._key_of(row.live)
            reading = Reading(
                f"{row.code} alone", row.point, "module connector, wire side", row.wire, ", ".join(end.id for end in row.ends) or "not known",
                "lamp at full brightness" if lamp.watts is not None else "ground", f"with lamp at most {ground_limit.max_v:.2f} V to {MINUS}",
                self._source(f"{ground_limit.source} ({ground_limit.certainty})"), frozenset({"loaded", "drop"} if lamp.watts is not None else {"drop"}),
                must=True, lamp=lamp.words, note="lamp to battery positive over a fused lead" if lamp.watts is not None else "", kind="alone",
            )  # fmt: skip
            self._add(place, access, key, False, 20_000 + number, reading)

    def _not_traced(self) -> None:
        """Pins declared as supply or ground whose way is not known: nothing is expected of them, but they are measured, not passed over."""
        rows = {row.pin for row in (*self.report.supplies, *self.report.grounds)}
        for number, cavity in enumerate(self.report.census):
            if cavity.kind not in ("supply", "ground") or cavity.pin in rows:
                continue
            wire = self._wire_at(cavity.pin)
            reading = Reading(
                f"pin {cavity.pin} ?", f"{self.report.module}.{cavity.pin}", "module connector, wire side", wire, "NOT KNOWN", f"not known: declared {cavity.declared}, its way is loose",
                "", 0, frozenset({"volts"}), must=True, lamp="no lamp: the fuse is not known", note="find where it comes from", kind="alone",
            )  # fmt: skip
            for key in self.keys:
                self._add(self.report.place, self.report.access, key, False, 18_000 + number, reading)

    def _parallel(self, row: Row, order: int) -> None:
        """Each of several parallel fuses that suffices alone is proven with the others out: together they hide each other."""
        parallel = [fuse for fuse in row.fuses if not fuse.sole]
        limit = drop_limit("single wire")
        key = self._key_of(row.live)
        lamp = self._lamp(row)
        for number, fuse in enumerate(fuse for fuse in parallel if fuse.alone):
            others = ", ".join(other.part for other in parallel if other.part != fuse.part)
            amps = f"{fuse.amps:g} A" if fuse.amps is not None else "rating not known"
            reading = Reading(
                f"{row.code} by {fuse.part}", row.point, "module connector, wire side", row.wire, f"{fuse.part} {amps}",
                "battery voltage" + (", 0.3 to 0.7 V less behind a diode" if row.diodes else ""), f"with lamp at most {limit.max_v:.2f} V lost per wire",
                self._source(f"{limit.source} ({limit.certainty})"), frozenset({"volts", "loaded", "drop"} if lamp.watts is not None else {"volts"}),
                must=True, lamp=lamp.words, note=f"key off, {others} out; fit again afterwards", kind="alone",
            )  # fmt: skip
            self._add(self.report.place, self.report.access, key, False, order + number, reading)

    def _last_fuse(self, row: Row) -> str:
        if row.fuses:
            fuse = row.fuses[-1]
            return f"{fuse.part} {fuse.amps:g} A" if fuse.amps is not None else f"{fuse.part}, rating not known"
        return ", ".join(row.switches) or ", ".join(end.id for end in row.ends) or "not known"

    def _area(self, row: Row) -> float | None:
        node = self.circuit.pins_of[row.part][row.pin]
        areas = [self.circuit.wire_of(self.circuit.links[number]).area_mm2 for number in self.circuit.wires_at(node)]
        known = [area for area in areas if area is not None]
        return min(known) if known and len(known) == len(areas) else None

    def _bus(self) -> None:
        """Bus pins: voltage while awake, resistance with everything off. Which bus it is is not typed in, so the row says what its figure holds for."""
        place, access = self.report.place, self.report.access
        pins = bus_pins(self.report)
        for number, (code, cavity) in enumerate(pins):
            said = cavity.declared.split()
            line = "CAN_H" if "H" in said else "CAN_L" if "L" in said else ""
            wire = self._wire_at(cavity.pin)
            if "lin" in (word.casefold() for word in said) or not line:
                expected, limit, source = (
                    "moves between near 0 V and battery voltage while awake",
                    "if it is LIN; see the maker's data",
                    0,
                )
            else:
                level = next(one for one in levels("high-speed CAN") if one.line == line and one.state == "recessive")
                expected = f"about {level.nominal_v:g} V awake, a little {'over' if line == 'CAN_H' else 'under'}; near 0 V asleep"
                limit = f"{level.min_v:g} to {level.max_v:g} V at rest, if it is high-speed CAN"
                source = self._source(f"{level.source} ({level.certainty})")
            reading = Reading(
                code, f"{self.report.module}.{cavity.pin}", "module connector, wire side", wire, cavity.declared, expected, limit, source, frozenset({"volts"}),
                lamp="no lamp on a bus line", note="never a lamp", kind="bus",
            )  # fmt: skip
            self._add(place, access, self.working, True, 9_500_000 + number, reading)
        if len(pins) > 1:
            usual = next(one for one in workshop_readings() if one.case == "both ends present")
            between = " and ".join(code for code, _ in pins[:2])
            reading = Reading(
                f"{pins[0][0]}-{pins[1][0]}", f"{self.report.module}.{pins[0][1].pin}-{pins[1][1].pin}", "between the two, supply off, bus asleep", "", between,
                f"{usual.about_ohm:g} Ω", "if high-speed CAN with both ends present; 120 Ω: the module is an end of the line itself, or one is missing",
                self._source(f"{usual.source} ({usual.certainty})"), frozenset({"ohms"}), note="meter in Ω; never a lamp", kind="bus",
            )  # fmt: skip
            self._add(place, access, self.keys[0], False, 30_000, reading)

    def _wire_at(self, pin: str) -> str:
        node = self.circuit.pins_of.get(self.report.module, {}).get(pin)
        if node is None:
            return "not wired"
        return ", ".join(
            dict.fromkeys(self.circuit.wire_of(self.circuit.links[n]).text for n in self.circuit.wires_at(node))
        )

    def _fit(self) -> None:
        """Pin fit: a loose female contact passes every reading on the bench and fails on the road."""
        for number, row in enumerate((*self.report.supplies, *self.report.grounds)):
            reading = Reading(
                f"{row.code} fit", row.point, "female contact, mating side", row.wire, "", "drags evenly with a new male contact", "",
                0, frozenset({"tick"}), note="not spread, burnt or pushed back", kind="fit",
            )  # fmt: skip
            self._add(self.report.place, self.report.access, self.keys[0], False, 40_000 + number, reading)

    def _notes(self) -> tuple[str, ...]:
        report = self.report
        notes = [f"Pin {load.pin} ({load.declared or 'not declared'}): {load.note}." for load in report.through_loads]
        assumed = sorted({end.id for row in report.rows for end in row.ends if end.assumed})
        if assumed:
            notes.insert(
                0, f"Rests on assumed ends: {', '.join(assumed)}; the way from there to the battery is not typed in."
            )
        notes += [f"{row.code}: {note}." for row in report.rows for note in row.notes]
        return tuple(notes)

    # --- order -------------------------------------------------------------------------------------------------

    def _batches(self) -> list[Batch]:
        places = place_order(self.report, {place for place, _, _ in self.found})
        keys = sorted(self.found, key=lambda batch: (places.index(batch[0]), not batch[1], self.keys.index(batch[2])))
        return [self._batch(*key, self.found[key]) for key in keys]

    def _batch(self, place: str, plugged: bool, key: str, found: list[tuple[int, Reading]]) -> Batch:
        readings = [reading for _, reading in sorted(found, key=lambda item: item[0])]
        battery = Reading(
            "",
            "battery posts",
            "plus to minus",
            "",
            "",
            "write it down: every reading refers to it",
            "",
            0,
            frozenset({"volts"}),
            must=True,
            kind="battery",
        )
        lamps = list(dict.fromkeys(f"{reading.code}: {reading.lamp}" for reading in readings if reading.lamp))
        if plugged:
            load = "the module itself, awake and working; no lamp"
        else:
            load = "; ".join(_gathered(readings)) or "none" if lamps else "none"
        lead = f"{MINUS}; for the drop of a supply {PLUS}"
        return Batch(
            place,
            self.access.get(place, ""),
            key,
            plugged,
            load,
            lead,
            self._helper(key, plugged),
            (battery, *readings),
        )

    def _helper(self, key: str, plugged: bool) -> str:
        words = f"key to {key}"
        if key in ("start", "crank"):
            words = f"hold {key} for 5 s, on a sign only; out of gear, brake on"
        elif key == "off":
            words = "key off; doors shut, then wait until it sleeps where a reading says so"
        return (
            words
            if plugged
            else f"key off, unplug {self.report.module}, then: {words}"
            if key != self.keys[0]
            else f"{words}; unplug {self.report.module}"
        )


def _gathered(readings: Iterable[Reading]) -> list[str]:
    """Lamps with the rows they are for: 'S2, S3: lamp 21 W ...'."""
    rows: dict[str, list[str]] = {}
    for reading in readings:
        if reading.lamp:
            code = reading.code if reading.code.startswith("pin ") else reading.code.split(" ")[0]
            if code not in rows.setdefault(reading.lamp, []):
                rows[reading.lamp].append(code)
    return [f"{', '.join(codes)}: {lamp}" for lamp, codes in rows.items()]


def place_order(report: SupplyReport, places: set[str]) -> list[str]:
    """Each place once: the battery first, then as the ways reach them, the module last."""
    order: dict[str, None] = {}
    for row in report.rows:
        for probe in row.probes:
            if probe.kind == "battery post":
                order.setdefault(probe.place or NO_PLACE)
    for row in report.rows:
        for probe in row.probes:
            order.setdefault(probe.place or NO_PLACE)
    for place in sorted(places):
        order.setdefault(place)
    last = report.place or NO_PLACE
    order.pop(last, None)
    return [place for place in (*order, last) if place in places]
