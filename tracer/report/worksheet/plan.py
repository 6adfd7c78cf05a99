"""What to measure, in the order in which hands and key move.

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

What is expected is computed for exactly these moments (`expected`); where no values can be computed the form says so and keeps the words of common practice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from tracer.circuit.model import LinkKind
from tracer.electrics.bus_report import LevelLine
from tracer.electrics.limits_in_use import LimitsInUse, limits_of
from tracer.electrics.model import NotSettled
from tracer.entry.models import ModuleFacts
from tracer.report.codes import CodedPoint, bus_pins, coded_points
from tracer.report.volts import volts
from tracer.report.worksheet.expected import Computed, Expected, Range
from tracer.report.worksheet.lamps import NEVER, Lamp, is_restraint, lamp_below, lamp_for_ground
from tracer.report.worksheet.upstream import Upstream
from tracer.report.worksheet.words import MINUS, PLUS, dead, depending, lost, over_limit, plain, reads, there
from tracer.standards.bus import levels, workshop_readings
from tracer.standards.cautions import cautions_for
from tracer.trace.completeness import Completeness
from tracer.trace.results import LooseEnd, Row, SupplyReport
from tracer.trace.survey import Survey

CRANKING = ("start", "crank")
NO_PLACE = "place not typed in"


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of the form. `boxes` says which of volts, loaded, drop, ohms are to be filled; `must`: it decides, and gets a heavy border.

    `computed` has the numbers behind `expected` and `limit`, one for each box that has some; `lamp_w` is the lamp of the loaded box.
    """

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
    computed: tuple[Computed, ...] = ()
    lamp_w: float | None = None


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
    completeness: Completeness
    keys: tuple[str, ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    loose: tuple[LooseEnd, ...]
    notes: tuple[str, ...]
    sheets: tuple[str, ...]
    rests_on: str = ""  # what the computed values rest on
    not_computed: tuple[str, ...] = ()  # key states without values, with the reason
    batches: list[Batch] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)

    @property
    def complete(self) -> bool:
        """Whether the module's list is complete and rests on nothing that was assumed."""
        return self.completeness.complete


def worksheet_of(survey: Survey, report: SupplyReport, limits: LimitsInUse | None = None) -> Worksheet:
    """The worksheet of a module's list; `limits` are those of the vehicle and of this tool where none are given."""
    return _Planner(survey, report, limits or limits_of(survey.circuit)).sheet()


class _Planner:
    def __init__(self, survey: Survey, report: SupplyReport, limits: LimitsInUse) -> None:
        self.survey = survey
        self.circuit = survey.circuit
        self.report = report
        self.module = self.circuit.parts[report.module]
        self.keys = report.keys
        self.system_v = float(self.circuit.typed.vehicle.system.split()[0])
        self.working = self._working_key()
        self.limits = limits
        self.values = Expected(survey, report, limits)
        self.sources: dict[str, int] = {}
        self.restraint = is_restraint(
            report.module, report.name, *(part for row in report.rows for part in row.switches)
        )
        self.found: dict[tuple[str, bool, str], list[tuple[int, Reading]]] = {}
        self.access: dict[str, str] = {}
        self._feeds: dict[str, Upstream | None] = {}

    def sheet(self) -> Worksheet:
        from tracer.report.layout import elsewhere_words
        from tracer.report.supplies import verdict

        report = self.report
        points = coded_points(report)
        for point in points.values():
            self._point(point)
        self._coils()
        self._alone()
        self._not_traced()
        self._bus()
        self._fit()
        kinds = ["probe", *(["restraint"] if self.restraint else []), *(["resistance"] if bus_pins(report) else [])]
        if any(key in CRANKING for _, _, key in self.found):
            kinds.append("crank")
        cautions = dict.fromkeys(caution.text for kind in kinds for caution in cautions_for(kind))
        conditions = self.circuit.typed.vehicle.conditions
        sheet = Worksheet(
            vehicle=report.vehicle,
            module=report.module,
            name=report.name or "",
            place=report.place or NO_PLACE,
            system=self.circuit.typed.vehicle.system,
            status=verdict(report) + (f" {elsewhere_words(report.loose_elsewhere)}" if report.loose_elsewhere else ""),
            completeness=report.completeness,
            keys=self.keys,
            conditions=tuple(f"{name}: {facts.text or name}" for name, facts in conditions.items()),
            cautions=tuple(cautions),
            loose=report.loose_ends,
            notes=self._notes(),
            sheets=report.sheets,
        )
        sheet.batches = self._batches()
        sheet.rests_on = self._rests_on()
        sheet.not_computed = tuple(f"key {key}: {why}" for key, why in self.values.failed.items())
        sheet.sources = list(self.sources)
        return sheet

    # --- small answers -----------------------------------------------------------------------------------------

    def _working_key(self) -> str:
        """The key state in which most supplies of the module are live: its grounds carry current then. Of equals the last in which nobody cranks."""
        live = {key: sum(row.live.get(key) == "live" for row in self.report.supplies) for key in self.keys}
        return max(self.keys, key=lambda key: (live[key], key not in CRANKING, self.keys.index(key)))

    def _source(self, text: str) -> int:
        return self.sources.setdefault(text, len(self.sources) + 1)

    def _key_of(self, live: dict[str, str]) -> str:
        """The key state in which a point is read: the working one unless it is live in another only."""
        if live.get(self.working) == "live":
            return self.working
        return next((key for key in self.keys if live.get(key) == "live"), None) or next(
            (key for wanted in ("depends", "unknown") for key in (self.working, *self.keys) if live.get(key) == wanted),
            self.working,
        )

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
        computed = self._agreeing(row, live.get(key, "unknown"), self.values.plugged_in(row, probe.at, key))
        expected, limit, source = self._expected(
            row, live.get(key, "unknown"), key, computed, (probe.expect.limit_v, probe.expect.source)
        )
        notes = [point.also_words] if point.also else []
        if computed is not None and live.get(key) == "live" and row.level == "supply":
            notes += [note for note in [over_limit(computed, row.diodes)] if note]
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
            must=own_pin and row.code[0] in "SG", note="; ".join(notes), kind="point", computed=(computed,) if computed else (),
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
        """The last fuses or switching parts before the point, else the source (or ground) itself."""
        row = point.row
        if row.level == "supply":
            return self._fed_by(row, self._node(point.probe.at))
        switching = {name.split(" ")[0] for name in row.switches}
        before = [probe.part for probe in row.probes[: point.number - 1] if probe.part != point.probe.part]
        switched = next((part for part in reversed(before) if part in switching), None)
        return switched or self._ends(row)

    def _fed_by(self, row: Row, node: int) -> str:
        """What feeds a point of a supply row: each of several where ways come together."""
        if row.code not in self._feeds:
            pin = self.circuit.pins_of[row.part][row.pin]
            own = row.part if self.circuit.parts[row.part].kind == "module" else ""
            way = self.survey.ways_to(pin, row.level, own).to(pin)
            self._feeds[row.code] = None if way is None else Upstream(self.circuit, way)
        upstream = self._feeds[row.code]
        if upstream is None:
            return self._ends(row)
        ratings = {fuse.part: fuse.amps for fuse in row.fuses}
        found = []
        for name in upstream.feeders(node):
            amps = ratings.get(name)
            rating = "" if name not in ratings else f" {amps:g} A" if amps is not None else ", rating not known"
            found.append(name + rating)
        return ", ".join(found) or self._ends(row)

    def _ends(self, row: Row) -> str:
        return ", ".join(f"{end.id} (assumed)" if end.assumed else end.id for end in row.ends) or "not known"

    def _expected(
        self, row: Row, state: str, key: str, computed: Computed | None, usual: tuple[float | None, str]
    ) -> tuple[str, str, int]:
        """Words, limit and number of its source for a point that is read plugged in; `usual` is what holds where nothing is computed."""
        words = plain(row.level, state, "; ".join(row.why.get(key, ())))
        limit_v, source = usual
        if row.level == "ground":
            usual_limit = f"at most {limit_v:.2f} V to {MINUS}" if limit_v is not None else ""
        else:
            usual_limit = f"at most {limit_v:.2f} V lost per wire" if limit_v is not None and state != "dead" else ""
        plainly = words, usual_limit, self._source(source) if usual_limit else 0
        if computed is None:
            return plainly
        if state == "dead":
            return dead(computed), "", 0
        if state == "depends":
            return depending(words, "; ".join(row.why.get(key, ())), row.level, computed, self.system_v), *plainly[1:]
        if row.level == "ground":
            return reads(computed), f"at most {computed.limit_v:.2f} V", self._source(computed.source)
        limit = lost(computed)
        return reads(computed), limit, self._source(computed.source) if limit else 0

    def _agreeing(self, row: Row, state: str, computed: Computed | None) -> Computed | None:
        """The value, unless the state is not known or what switches it is not held in the computation: no number that contradicts the list."""
        if state in ("dead", "depends") or (state == "live" and there(row.level, computed, self.system_v)):
            return computed
        return None

    def _coils(self) -> None:
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
            loose = [row.code for row in rows if not row.ends]
            if loose:
                both = dict.fromkeys(self.keys, "unknown")
            key = self._key_of(both)
            expected = {"live": "battery voltage; relay clicks", "dead": "0 V"}.get(
                both[key], "battery voltage while it is commanded"
            )
            if loose:
                expected = f"not known: no way is typed in for {' and '.join(loose)}"
            across = self._across(rows, key) if both[key] in ("live", "dead") else None
            if across is not None:
                expected = f"{reads(across)}; relay clicks" if both[key] == "live" else dead(across)
            reading = Reading(
                "+".join(row.code for row in rows), f"{link.part}.{rows[0].pin}-{rows[1].pin}", "across the coil, relay plugged in", "",
                f"{rows[0].code} and {rows[1].code}", expected, "the rest is lost in the two chains" if both[key] == "live" else "", 0, frozenset({"volts"}),
                must=bool(loose), note="relay chain", kind="coil", computed=(across,) if across else (),
            )  # fmt: skip
            self._add(place, access, key, True, 9_000_000, reading)

    def _across(self, rows: list[Row], key: str) -> Computed | None:
        """Volts from the upper to the lower end of a coil: the range holds every combination of the two ends."""
        upper, lower = (self.values.plugged_in(row, f"{row.part}.{row.pin}", key) for row in rows)
        if upper is None or lower is None or upper.value is None or lower.value is None:
            return None
        over, under = upper.value, lower.value
        between = Range(max(0.0, over.low - under.high), over.nominal - under.nominal, over.high - under.low)
        return Computed("volts", key, True, upper.load, between, basis=upper.basis)

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
        lamp = self._lamp(row)
        held = self._held_by_itself(row)
        lit = state == "live" or (state != "dead" and not held)
        bare, loaded = self.values.alone(row, key, lamp.watts if lit else None)
        words, limit, source, note = plain(row.level, state, "; ".join(row.why.get(key, ()))), "", 0, ""
        if lit and lamp.watts is not None:
            limit, source = self._lamp_limit()
        if bare is not None and state == "dead":
            words = dead(bare)
        elif bare is not None and (held or state == "live") and not there("supply", bare, self.system_v):
            words, loaded = f"{reads(bare)} while {self.report.module} is unplugged", None
            if lit:
                note = self._bridged(row, held)
                limit = f"bridged, {limit}" if limit and held else limit
        elif bare is not None and state == "depends":
            words = depending(words, "; ".join(row.why.get(key, ())), row.level, bare, self.system_v)
        elif bare is not None and state == "live" and loaded is not None:
            words, limit, source = self._with_lamp(bare, loaded)
            note = over_limit(loaded, row.diodes)
        elif bare is not None and state == "live":
            words = reads(bare)
        boxes = frozenset({"volts", "loaded", "drop"} if lit and lamp.watts is not None else {"volts"})
        reading = Reading(
            f"{row.code} alone", row.point, "module connector, wire side", row.wire, self._fed_by(row, self.circuit.pins_of[row.part][row.pin]), words, limit, source if limit else 0, boxes,
            must=True, lamp=lamp.words if lit else "", note=note, kind="alone",
            computed=tuple(one for one in (bare, loaded) if one is not None), lamp_w=lamp.watts if lit else None,
        )  # fmt: skip
        self._add(self.report.place, self.report.access, key, False, order, reading)

    def _lamp_limit(self) -> tuple[str, int]:
        """What a supply may lose under a lamp where nothing is computed."""
        limit = self.limits.of("single wire")
        return f"with lamp at most {limit.words()} lost per wire", self._source(f"{limit.origin}: {limit.source}")

    def _with_lamp(self, bare: Computed, loaded: Computed) -> tuple[str, str, int]:
        return reads(bare), f"with lamp {reads(loaded)}, {lost(loaded)}", self._source(loaded.source)

    def _held_by_itself(self, row: Row) -> tuple[str, ...]:
        """Contacts on the way that the module itself holds closed, so that they are open while it is unplugged."""
        own = {
            chain.part
            for chain in self.report.chains
            if any(need.startswith(f"{self.report.module}.") for need in chain.needs)
        }
        return tuple(name for name in row.switches if name.split(" ")[0] in own)

    def _bridged(self, row: Row, contacts: tuple[str, ...]) -> str:
        """How a supply that the module itself switches on is loaded all the same: over the bridged contact of its relay."""
        if not contacts:
            return f"what switches it on needs {self.report.module}: see the side chains"
        if self.restraint:
            return f"{self.report.module} itself holds it on"
        ratings = [fuse.amps for fuse in row.fuses if fuse.amps is not None]
        fused = f"fused at most {min(ratings):g} A" if ratings else "fused no larger than the circuit"
        return f"{self.report.module} itself holds it on: for the lamp bridge {', '.join(contacts)}, relay out, lead {fused}"

    def _ground_alone(self, row: Row, order: int) -> None:
        lamp = (
            Lamp(None, 0.0, "restraint wiring, the maker's procedure only")
            if self.restraint
            else lamp_for_ground(self._area(row), self.system_v)
        )
        grounded = row.live.get(self.keys[0]) == "live"
        key = self.keys[0] if grounded else self._key_of(row.live)
        bare, loaded = self.values.alone(row, key, lamp.watts)
        usual = self.limits.of("ground path")
        words = "lamp at full brightness" if lamp.watts is not None else "ground"
        limit = f"{'with lamp ' if lamp.watts is not None else ''}at most {usual.words()} to {MINUS}"
        source = f"{usual.origin}: {usual.source}"
        if grounded and loaded is not None and there("ground", loaded, self.system_v):
            words, limit, source = f"lamp bright, {reads(loaded)}", f"at most {loaded.limit_v:.2f} V", loaded.source
        elif grounded and bare is not None and there("ground", bare, self.system_v):
            words, limit, source = reads(bare), f"at most {bare.limit_v:.2f} V", bare.source
        reading = Reading(
            f"{row.code} alone", row.point, "module connector, wire side", row.wire, ", ".join(end.id for end in row.ends) or "not known",
            words, limit, self._source(source), frozenset({"loaded", "drop"} if lamp.watts is not None else {"drop"}),
            must=True, lamp=lamp.words, kind="alone", computed=tuple(one for one in (bare, loaded) if one is not None), lamp_w=lamp.watts,
        )  # fmt: skip
        self._add(self.report.place, self.report.access, key, False, order, reading)

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
        key = self._key_of(row.live)
        lamp = self._lamp(row)
        for number, fuse in enumerate(fuse for fuse in parallel if fuse.alone):
            others = tuple(other.part for other in parallel if other.part != fuse.part)
            amps = f"{fuse.amps:g} A" if fuse.amps is not None else "rating not known"
            words = "battery voltage" + (", 0.3 to 0.7 V less behind a diode" if row.diodes else "")
            limit, source = self._lamp_limit() if lamp.watts is not None else ("", 0)
            note = f"key off, {', '.join(others)} out; fit again afterwards"
            bare, loaded = self.values.alone(row, key, lamp.watts, others)
            if (
                row.live.get(key) == "live"
                and bare is not None
                and loaded is not None
                and there("supply", bare, self.system_v)
            ):
                words, limit, source = self._with_lamp(bare, loaded)
                note = "; ".join(part for part in (note, over_limit(loaded, row.diodes)) if part)
            reading = Reading(
                f"{row.code} by {fuse.part}", row.point, "module connector, wire side", row.wire, f"{fuse.part} {amps}", words, limit, source,
                frozenset({"volts", "loaded", "drop"} if lamp.watts is not None else {"volts"}), must=True, lamp=lamp.words,
                note=note, kind="alone", computed=tuple(one for one in (bare, loaded) if one is not None), lamp_w=lamp.watts,
            )  # fmt: skip
            self._add(self.report.place, self.report.access, key, False, order + number, reading)

    def _area(self, row: Row) -> float | None:
        node = self.circuit.pins_of[row.part][row.pin]
        areas = [self.circuit.wire_of(self.circuit.links[number]).area_mm2 for number in self.circuit.wires_at(node)]
        known = [area for area in areas if area is not None]
        return min(known) if known and len(known) == len(areas) else None

    def _bus(self) -> None:
        """Bus pins: voltage while awake, resistance between the two lines of each bus with everything off.

        Where the kind of bus is not typed in the figure says what it holds for.
        """
        place, access = self.report.place, self.report.access
        lines: dict[str, list[tuple[str, str]]] = {}
        for number, (code, cavity) in enumerate(bus_pins(self.report)):
            expected, limit, source, bus, computed = self._levels(cavity.pin, cavity.declared)
            lines.setdefault(bus, []).append((code, cavity.pin))
            reading = Reading(
                code, f"{self.report.module}.{cavity.pin}", "module connector, wire side", self._wire_at(cavity.pin), cavity.declared, expected, limit, source,
                frozenset({"volts"}), lamp="no lamp on a bus line", note="never a lamp", kind="bus", computed=(computed,) if computed else (),
            )  # fmt: skip
            self._add(place, access, self.working, True, 9_500_000 + number, reading)
        for number, pair in enumerate(pair for pair in lines.values() if len(pair) == 2):
            self._bus_ohms(pair, 30_000 + number)

    def _levels(self, pin: str, declared: str) -> tuple[str, str, int, str, Computed | None]:
        """What a bus line reads while awake: words, what they hold for, source, which bus it is, and the meter's mean as numbers."""
        said = declared.split()
        found = self.values.bus_of_pin(pin)
        name = " ".join(word for word in said if word not in ("H", "L"))
        typed = "H" if "H" in said else "L" if "L" in said else "LIN"
        line = {"H": "CAN_H", "L": "CAN_L"}.get(found[1] if found else typed, "LIN")
        if found is not None and found[0].kind:
            by_state = {level.state.split(" (")[0]: level for level in found[0].levels if level.line == line}
            if "recessive" in by_state and "dominant" in by_state:
                rest, driven = by_state["recessive"], by_state["dominant"]
                mean = by_state.get("awake, with traffic, meter average")
                words = f"at rest {_level_words(rest)}, driven {_level_words(driven)}"
                limit = f"awake a meter shows {'the mean' if mean is None else f'about {_level_words(mean)}'}"
                source = self._source((mean or rest).source)
                return words, limit, source, found[0].name, None if mean is None else self._mean(mean)
        if "lin" in (word.casefold() for word in said) or line == "LIN":
            words, limit = (
                "moves between near 0 V and battery voltage while awake",
                "if it is LIN; see the maker's data",
            )
            return words, limit, 0, name, None
        level = next(one for one in levels("high-speed CAN") if one.line == line and one.state == "recessive")
        words = f"about {level.nominal_v:g} V awake, a little {'over' if line == 'CAN_H' else 'under'}; near 0 V asleep"
        limit = f"{level.min_v:g} to {level.max_v:g} V at rest, if it is high-speed CAN"
        source = self._source(f"{level.source} ({level.certainty})")
        return words, limit, source, found[0].name if found else name, None

    def _mean(self, level: LevelLine) -> Computed | None:
        if level.low_v is None or level.nominal_v is None or level.high_v is None:
            return None
        value = Range(level.low_v, level.nominal_v, level.high_v)
        return Computed(
            "volts",
            self.working,
            True,
            "bus awake, with traffic",
            value,
            source=level.source,
            basis="levels of the kind of bus",
        )

    def _bus_ohms(self, pair: list[tuple[str, str]], order: int) -> None:
        (first, first_pin), (second, second_pin) = pair
        found = self.values.bus_of_pin(first_pin)
        computed = None if found is None else self.values.bus_ohms(found[0])
        if computed is not None and found is not None:
            words, limit, source = (
                reads(computed),
                f"harness side; {', '.join(f'{one.name} {one.ohms:g} Ω' for one in found[0].terminations if one.ohms is not None)}",
                0,
            )
        elif found is not None and found[0].kind not in ("", "high-speed can"):
            words, limit, source = "not known", f"{found[0].kind}: see the maker's data", 0
        else:
            usual = next(one for one in workshop_readings() if one.case == "both ends present")
            words = f"{usual.about_ohm:g} Ω"
            limit = "if high-speed CAN with both ends present; 120 Ω: the module is an end of the line itself, or one is missing"
            source = self._source(f"{usual.source} ({usual.certainty})")
        reading = Reading(
            f"{first}-{second}", f"{self.report.module}.{first_pin}-{second_pin}", "between the two, supply off, bus asleep", "", f"{first} and {second}",
            words, limit, source, frozenset({"ohms"}), note="meter in Ω; never a lamp", kind="bus", computed=(computed,) if computed else (),
        )  # fmt: skip
        self._add(self.report.place, self.report.access, self.keys[0], False, order, reading)

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
        first = next((key for key in keys if not key[1]), None)
        return [self._batch(*key, self.found[key], first=key == first) for key in keys]

    def _batch(self, place: str, plugged: bool, key: str, found: list[tuple[int, Reading]], *, first: bool) -> Batch:
        readings = [reading for _, reading in sorted(found, key=lambda item: item[0])]
        battery = self._battery(key, plugged)
        load = "the module itself, awake and working; no lamp" if plugged else "; ".join(_gathered(readings)) or "none"
        lead = f"{MINUS}; for the drop of a supply {PLUS}"
        return Batch(
            place,
            self.access.get(place, ""),
            key,
            plugged,
            load,
            lead,
            self._helper(key, plugged, first),
            (battery, *readings),
        )

    def _battery(self, key: str, plugged: bool) -> Reading:
        """The first row of every batch."""
        expected = "write it down: every reading refers to it"
        computed: tuple[Computed, ...] = ()
        try:
            span, state = self.values.battery(key)
            computed = (Computed("volts", key, plugged, "what runs then", span, basis=state),)
            expected = f"{volts(span)}, {state}"
        except NotSettled as error:
            self.values.failed.setdefault(key, str(error))
        return Reading(
            "", "battery posts", "plus to minus", "", "", expected, "", 0, frozenset({"volts"}),
            must=True, kind="battery", computed=computed,
        )  # fmt: skip

    def _rests_on(self) -> str:
        """What the computed values rest on, said once; empty where there are none."""
        found: dict[str, list[str]] = {}
        computed = {key for (_, _, key), readings in self.found.items() if any(one.computed for _, one in readings)}
        for key in sorted(computed, key=self.keys.index):
            if key not in self.values.failed:
                span, state = self.values.battery(key)
                found.setdefault(f"{volts(span)} ({state})", []).append(key)
        if not found:
            return ""
        batteries = "; ".join(f"key {', '.join(keys)}: {words}" for words, keys in found.items())
        words = (
            f"Expected values are computed from the wiring as typed in, with this at the battery posts: {batteries}. Where the battery reads otherwise, the volts "
            "of a supply move with it; what is lost hardly does. In brackets: least to most with everything in order. Where that reaches past the limit, a reading "
            "between them may still be in order: measure the current. Floating: no way to the battery; a meter shows about 0 V or what leaks in, and proves nothing."
        )
        return words if self.report.complete else f"{words} What is not typed in is not in these values."

    def _helper(self, key: str, plugged: bool, first: bool) -> str:
        """What the helper does; `first`: the module is unplugged now, and stays so."""
        words = f"key to {key}"
        if key in CRANKING:
            words = f"hold {key} for 5 s, on a sign only; out of gear, brake on"
        elif key == "off":
            words = "key off; doors shut, then wait until it sleeps where a reading says so"
        if plugged:
            return words
        if not first:
            return f"{self.report.module} stays unplugged; {words}"
        if key == self.keys[0]:
            return f"{words}; unplug {self.report.module}"
        return f"key off, unplug {self.report.module}, then: {words}"


def _level_words(level: LevelLine) -> str:
    """'2.5 V (2 to 3)', or its ends where there is no nominal level."""
    low, high = level.low_v, level.high_v
    if level.nominal_v is None:
        return f"{low:g} to {high:.1f} V" if low is not None and high is not None else level.words
    return f"{level.nominal_v:g} V" + (f" ({low:g} to {high:g})" if low is not None and high is not None else "")


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
