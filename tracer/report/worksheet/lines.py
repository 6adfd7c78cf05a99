"""The plan of a module in words: one line of the form for each step, batch by batch."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Circuit
from tracer.electrics.bus.values import ALL_STATES, ASLEEP, AVERAGE, BusReport, LevelLine
from tracer.plan.codes import bus_pins
from tracer.plan.edition import edition_of
from tracer.plan.names import step_name
from tracer.plan.values import Computed, Feeder, Kind, Plan, Step, StepBatch, there
from tracer.plan.words import CRANKING, NO_PLACE
from tracer.report.bus import expected_words
from tracer.report.kinds import PARTS
from tracer.report.lamps import lamp_words, lead_words
from tracer.report.layout import also_words, codes, elsewhere_words
from tracer.report.minding import lines, mark
from tracer.report.supplies import verdict
from tracer.report.volts import volts
from tracer.report.words import NOT_IN_THESE
from tracer.report.worksheet.values import Batch, ToRead, Worksheet
from tracer.report.worksheet.words import (
    MINUS,
    PLUS,
    dead,
    depending,
    lost,
    over_limit,
    plain,
    reads,
    withheld,
)
from tracer.standards import figures
from tracer.standards.allowances import DIODE_DROP
from tracer.standards.cautions import WORK_KINDS, cautions_for
from tracer.standards.hazards import HAZARDS
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.minding import NOTE

KIND_NOT_KNOWN = "what bus it is has not been typed in (`buses: {NAME: {kind: high-speed can}}`); the maker's data"


@dataclass(frozen=True, slots=True)
class _Words:
    """What stands in the columns of a line; `source` is the text of where the limit is from."""

    expected: str
    limit: str = ""
    source: str = ""
    side: str = "module connector, wire side"
    comes_from: str = ""
    lamp: str = ""
    note: str = ""


def worksheet_of(circuit: Circuit, report: SupplyReport, plan: Plan) -> Worksheet:
    """The form of a module's plan."""
    return _Writer(circuit, report, plan).worksheet()


class _Writer:
    def __init__(self, circuit: Circuit, report: SupplyReport, plan: Plan) -> None:
        self.circuit = circuit
        self.report = report
        self.plan = plan
        self.sources: dict[str, int] = {}

    def worksheet(self) -> Worksheet:
        report, plan = self.report, self.plan
        hazards = [kind for kind in HAZARDS if any(one.hazard == kind for one in report.minding.things)]
        kinds = [
            "probe",
            *(kind for kind in hazards if kind in WORK_KINDS),
            *(["resistance"] if bus_pins(report) else []),
        ]
        if plan.cranks:
            kinds.append("crank")
        cautions = dict.fromkeys(caution.text for kind in kinds for caution in cautions_for(kind))
        conditions = self.circuit.typed.vehicle.conditions
        worksheet = Worksheet(
            vehicle=report.vehicle,
            module=report.module,
            name=report.name or "",
            place=report.place or NO_PLACE,
            system=self.circuit.typed.vehicle.system,
            status=verdict(report) + (f" {elsewhere_words(report.loose_elsewhere)}" if report.loose_elsewhere else ""),
            completeness=report.completeness,
            keys=report.keys,
            conditions=tuple(f"{name}: {facts.text or name}" for name, facts in conditions.items()),
            cautions=tuple(cautions),
            loose=report.loose_ends,
            notes=(*(f"{words}." for words in plan.overloads), *self._notes()),
            sheets=report.sheets,
            minding=report.minding,
            edition=edition_of(report),
        )
        worksheet.batches = [self._batch(batch) for batch in plan.batches]
        worksheet.rests_on = self._rests_on()
        worksheet.not_computed = tuple(f"key {key}: {why}" for key, why in plan.failed.items())
        worksheet.sources = list(self.sources)
        return worksheet

    def _batch(self, batch: StepBatch) -> Batch:
        to_read = tuple(self._to_read(step) for step in batch.steps)
        return Batch(
            batch.place or NO_PLACE,
            batch.access,
            batch.key,
            batch.plugged,
            "the module itself, awake and working; no lamp"
            if batch.plugged
            else "; ".join(_gathered(to_read)) or "none",
            f"{MINUS}; for the drop of a supply {PLUS}",
            self._helper(batch),
            to_read,
        )

    def _to_read(self, step: Step) -> ToRead:
        words = {
            Kind.BATTERY: self._battery,
            Kind.POINT: self._point,
            Kind.COIL: self._coil,
            Kind.ALONE: self._alone,
            Kind.BY_FUSE: self._by_fuse,
            Kind.UNTRACED: self._untraced,
            Kind.BUS_LEVEL: self._bus_level,
            Kind.BUS_OHM: self._bus_ohm,
            Kind.FIT: self._fit,
        }[step.kind](step)
        if step.no_method:
            words = _Words(step.no_method, side=words.side, comes_from=words.comes_from)
        rows = () if step.kind is Kind.POINT else step.rows
        marks = mark(self.report.minding, step.point, *(row.point for row in rows))
        note = "; ".join(one for one in (marks, words.note) if one)
        source = self.sources.setdefault(words.source, len(self.sources) + 1) if words.source else 0
        kind = {Kind.BY_FUSE: "alone", Kind.UNTRACED: "alone", Kind.BUS_LEVEL: "bus", Kind.BUS_OHM: "bus"}.get(
            step.kind, step.kind.value
        )
        return ToRead(
            step.code, step.point, words.side, step.wire or ("not wired" if step.cavity else ""), words.comes_from, words.expected, words.limit, source,
            step.boxes, step.must, words.lamp, note, kind, step.computed, step.lamp.watts if step.lamp else None, bool(step.no_method),
            step_name(step),
        )  # fmt: skip

    # --- plugged in and working --------------------------------------------------------------------------------

    def _battery(self, step: Step) -> _Words:
        expected = "write it down: every reading refers to it"
        if step.bare is not None and step.bare.value is not None:
            expected = f"{volts(step.bare.value)}, {step.bare.basis}"
        return _Words(expected, side="plus to minus")

    def _point(self, step: Step) -> _Words:
        assert step.coded is not None
        point, row, probe = step.coded, step.row, step.coded.probe
        expected, limit, source = self._plugged_in(step, (probe.expect.limit_v, probe.expect.source))
        notes = [also_words(point.also)] if point.also else []
        if step.bare is not None and step.state == "live" and row.level == "supply":
            notes += [note for note in [over_limit(step.bare, row.diodes)] if note]
        if not probe.sole:
            notes.append("parallel way")
        if probe.seen == "assumed":
            notes.append("ASSUMED on the sheet")
        if point.is_pin and row.part == self.report.module and row.joined_with:
            notes.append(f"joined inside with pin {', '.join(row.joined_with)}: reads good through it")
        comes_from = _feeders(step.fed_by) or _ends(row)
        return _Words(
            expected, limit, source, probe.kind + (PARTS[PartKind(step.part_kind)].side if step.part_kind else ""), comes_from, note="; ".join(notes)
        )  # fmt: skip

    def _plugged_in(self, step: Step, usual: tuple[float | None, str]) -> tuple[str, str, str]:
        """Words, limit and its source for a point that is read plugged in; `usual` is what holds where nothing is computed."""
        row, state, why, computed = step.row, step.state, "; ".join(step.why), step.bare
        words = plain(row.level, state, why)
        limit_v, source = usual
        if row.level == "ground":
            usual_limit = f"at most {figures.volts(limit_v)} to {MINUS}" if limit_v is not None else ""
        else:
            usual_limit = (
                f"at most {figures.volts(limit_v)} lost per wire" if limit_v is not None and state != "dead" else ""
            )
        plainly = words, usual_limit, source if usual_limit else ""
        if computed is None or computed.not_computed:
            return withheld(words, computed), *plainly[1:]
        if state == "dead":
            return dead(computed), "", ""
        if state == "depends":
            return depending(words, why, row.level, computed, self.plan.system_v), *plainly[1:]
        if row.level == "ground":
            return reads(computed), _at_most(computed), computed.source
        limit = lost(computed)
        return reads(computed), limit, computed.source if limit else ""

    def _coil(self, step: Step) -> _Words:
        upper, lower = step.rows
        loose = [row.code for row in step.rows if not row.ends]
        expected = {"live": "battery voltage; relay clicks", "dead": "0 V"}.get(
            step.state, "battery voltage while it is commanded"
        )
        if loose:
            expected = f"not known: no way is typed in for {' and '.join(loose)}"
        elif step.bare is not None and step.bare.not_computed:
            expected = withheld(expected, step.bare)
        elif step.bare is not None:
            expected = f"{reads(step.bare)}; relay clicks" if step.state == "live" else dead(step.bare)
        return _Words(
            expected, "the rest is lost in the two chains" if step.state == "live" else "", side="across the coil, relay plugged in",
            comes_from=f"{upper.code} and {lower.code}", note="relay chain",
        )  # fmt: skip

    # --- unplugged, each pin by itself -------------------------------------------------------------------------

    def _alone(self, step: Step) -> _Words:
        return self._supply_alone(step) if step.row.level == "supply" else self._ground_alone(step)

    def _supply_alone(self, step: Step) -> _Words:
        row, state, bare, loaded, why = step.row, step.state, step.bare, step.loaded, "; ".join(step.why)
        lit = step.lamp is not None
        words, limit, source, note = plain(row.level, state, why), "", "", ""
        if step.lamp is not None and step.lamp.watts is not None:
            limit, source = _lamp_limit(step)
        if bare is not None and bare.not_computed:
            words = withheld(words, bare)
        elif bare is not None and state == "dead":
            words = dead(bare)
        elif bare is not None and (step.held or state == "live") and not there("supply", bare, self.plan.system_v):
            words = f"{reads(bare)} while {self.report.module} is unplugged"
            if lit:
                note = self._held(step.held)
        elif bare is not None and state == "depends":
            words = depending(words, why, row.level, bare, self.plan.system_v)
        elif bare is not None and state == "live" and loaded is not None:
            words, limit, source = _with_lamp(bare, loaded)
            note = "; ".join(one for one in (self._pulled(step), over_limit(loaded, row.diodes)) if one)
        elif bare is not None and state == "live":
            words = reads(bare)
        return _Words(
            words, limit, source if limit else "", comes_from=_feeders(step.fed_by) or _ends(row),
            lamp=lamp_words(step.lamp) if step.lamp is not None else "", note=note,
        )  # fmt: skip

    def _held(self, contacts: tuple[str, ...]) -> str:
        """Why a supply is not there while the module is unplugged, where no lead in its plug brings it."""
        module = self.report.module
        return (
            f"{module} itself holds it on" if contacts else f"what switches it on needs {module}: see the side chains"
        )

    def _pulled(self, step: Step) -> str:
        """How a supply that the module itself switches on is loaded all the same: its relay is pulled from the plug."""
        if not step.leads:
            return ""
        relays = ", ".join(name.split(" ")[0] for name in step.held)
        return f"{lead_words(step.leads)} in the plug: {relays} clicks"

    def _by_fuse(self, step: Step) -> _Words:
        row, bare, loaded, lamp, fuse = step.row, step.bare, step.loaded, step.lamp, step.fuse
        assert lamp is not None and fuse is not None
        words = "battery voltage" + (f", {DIODE_DROP} less behind a diode" if row.diodes else "")
        limit, source = _lamp_limit(step) if lamp.watts is not None else ("", "")
        note = f"key off, {', '.join(step.out)} out; fit again afterwards"
        if (
            step.state == "live"
            and bare is not None
            and loaded is not None
            and there("supply", bare, self.plan.system_v)
        ):
            words, limit, source = _with_lamp(bare, loaded)
            note = "; ".join(part for part in (note, over_limit(loaded, row.diodes)) if part)
        words = withheld(words, bare)
        return _Words(
            words,
            limit,
            source,
            comes_from=f"{fuse.name} {figures.rating(fuse.amps)}",
            lamp=lamp_words(lamp),
            note=note,
        )

    def _ground_alone(self, step: Step) -> _Words:
        row, bare, loaded, lamp, usual = step.row, step.bare, step.loaded, step.lamp, step.usual
        assert lamp is not None and usual is not None
        words = "lamp at full brightness" if lamp.watts is not None else "ground"
        limit = f"{'with lamp ' if lamp.watts is not None else ''}at most {usual.words()} to {MINUS}"
        source = usual.said
        grounded = step.state == "live"
        if grounded and loaded is not None and there("ground", loaded, self.plan.system_v):
            words, limit, source = (
                f"lamp bright, {reads(loaded)}",
                _at_most(loaded),
                loaded.source,
            )
        elif grounded and bare is not None and there("ground", bare, self.plan.system_v):
            words, limit, source = reads(bare), _at_most(bare), bare.source
        words = withheld(words, bare)
        comes_from = ", ".join(end.id for end in row.ends) or "not known"
        return _Words(words, limit, source, comes_from=comes_from, lamp=lamp_words(lamp))

    def _untraced(self, step: Step) -> _Words:
        assert step.cavity is not None
        return _Words(
            f"not known: declared {step.cavity.declared}, its way is loose", comes_from="NOT KNOWN", lamp="no lamp: the fuse is not known",
            note="find where it comes from",
        )  # fmt: skip

    def _fit(self, step: Step) -> _Words:
        return _Words(
            "drags evenly with a new male contact", side="female contact, mating side", note="not spread, burnt or pushed back"
        )  # fmt: skip

    # --- bus -----------------------------------------------------------------------------------------------------

    def _bus_level(self, step: Step) -> _Words:
        """What a bus line reads while awake. Nothing is invented for a bus whose kind is not typed in."""
        assert step.cavity is not None
        declared = step.cavity.declared
        expected, limit, source = _levels(step.bus, step.bus_line)
        return _Words(expected, limit, source, comes_from=declared, lamp="no lamp on a bus line", note="never a lamp")

    def _bus_ohm(self, step: Step) -> _Words:
        first, _, second = step.code.partition("-")
        bus = step.bus
        if step.bare is not None and bus is not None:
            fitted = ", ".join(
                f"{one.name} {figures.ohms(one.ohms)}" for one in bus.terminations if one.ohms is not None
            )
            words, limit = reads(step.bare), f"harness side; {fitted}"
        else:
            words, limit = "not known", _not_known(bus)
        return _Words(
            words, limit, "", "between the two, supply off, bus asleep", f"{first} and {second}", note="meter in Ω; never a lamp"
        )  # fmt: skip

    # --- around what is read -----------------------------------------------------------------------------------

    def _notes(self) -> tuple[str, ...]:
        report = self.report
        notes = [f"Pin {load.pin} ({load.declared or 'not declared'}): {load.note}." for load in report.through_loads]
        assumed = sorted({end.id for row in report.rows for end in row.ends if end.assumed})
        if assumed:
            notes.insert(
                0, f"Rests on assumed ends: {', '.join(assumed)}; the way from there to the battery is not typed in."
            )
        of_rows: dict[str, list[str]] = {}
        for row in report.rows:
            for note in row.notes:
                of_rows.setdefault(note, []).append(row.code)
        notes += [f"{codes(rows)}: {note}." for note, rows in of_rows.items()]
        typed = lines(report.minding, NOTE)
        return (*notes, *(["As typed in: " + "; ".join(typed)] if typed else []))

    def _rests_on(self) -> str:
        """What the computed values rest on, said once; empty where there are none."""
        found: dict[str, list[str]] = {}
        for key, (span, state) in self.plan.batteries.items():
            found.setdefault(f"{volts(span)} ({state})", []).append(key)
        if not found:
            return ""
        batteries = "; ".join(f"key {', '.join(keys)}: {words}" for words, keys in found.items())
        words = (
            f"Expected values are computed from the wiring as typed in, with this at the battery posts: {batteries}. Where the battery reads otherwise, the volts "
            "of a supply move with it; what is lost hardly does. In brackets: least to most with everything in order. Where that reaches past the limit, a reading "
            "between them may still be in order: measure the current. Floating: no way to the battery; a meter shows about 0 V or what leaks in, and proves nothing."
        )
        return words if self.report.complete else f"{words} {NOT_IN_THESE}"

    def _helper(self, batch: StepBatch) -> str:
        """What the helper does."""
        module, key = self.report.module, batch.key
        words = f"key to {key}"
        if key in CRANKING:
            words = f"hold {key} for 5 s, on a sign only; out of gear, brake on"
        elif key == "off":
            words = "key off; doors shut, then wait until it sleeps where a reading says so"
        if batch.plugged:
            return words
        if not batch.first_unplugged:
            return f"{module} stays unplugged; {words}"
        if key == self.report.keys[0]:
            return f"{words}; unplug {module}"
        return f"key off, unplug {module}, then: {words}"


def _feeders(feeders: Iterable[Feeder]) -> str:
    return ", ".join(one.name + (figures.rating_behind(one.amps) if one.rated else "") for one in feeders)


def _ends(row: Row) -> str:
    return ", ".join(f"{end.id} (assumed)" if end.assumed else end.id for end in row.ends) or "not known"


def _lamp_limit(step: Step) -> tuple[str, str]:
    """What a supply may lose under a lamp where nothing is computed."""
    assert step.usual is not None
    return f"with lamp at most {step.usual.words()} lost per wire", step.usual.said


def _with_lamp(bare: Computed, loaded: Computed) -> tuple[str, str, str]:
    return reads(bare), f"with lamp {reads(loaded)}, {lost(loaded)}", loaded.source


def _at_most(computed: Computed) -> str:
    return "" if computed.limit_v is None else f"at most {figures.volts(computed.limit_v)}"


def _levels(bus: BusReport | None, line: str) -> tuple[str, str, str]:
    """What a bus line reads while awake: words, what they hold for, source."""
    if bus is not None and bus.kind:
        by_state = {level.state.split(" (")[0]: level for level in bus.levels if level.line == line}
        if "recessive" in by_state and "dominant" in by_state:
            rest, driven = by_state["recessive"], by_state["dominant"]
            mean = by_state.get(AVERAGE)
            asleep = bus.expected_on_line(ASLEEP, line)
            return (
                f"at rest {_level_words(rest)}, driven {_level_words(driven)}",
                f"awake a meter shows {'the mean' if mean is None else f'about {_level_words(mean)}'}"
                + ("" if asleep is None else f"; asleep {expected_words(asleep)}"),
                (mean or rest).source,
            )
        if (none := by_state.get(ALL_STATES)) is not None:
            return none.words, "", ""
    return "not known", _not_known(bus), ""


def _not_known(bus: BusReport | None) -> str:
    return f"{bus.kind}: see the maker's data" if bus is not None and bus.kind else KIND_NOT_KNOWN


def _level_words(level: LevelLine) -> str:
    """'2.50 V (2.00 to 3.00)', or its ends where there is no nominal level."""
    low, high = level.low_v, level.high_v
    ends = figures.volts_ends(low, high) if low is not None and high is not None else ""
    if level.nominal_v is None:
        return f"{ends} V" if ends else level.words
    return figures.volts(level.nominal_v) + (f" ({ends})" if ends else "")


def _gathered(several: Iterable[ToRead]) -> list[str]:
    """Lamps with the rows they are for: 'S2, S3: lamp 21 W ...'."""
    rows: dict[str, list[str]] = {}
    for to_read in several:
        if to_read.lamp:
            code = to_read.code if to_read.code.startswith("pin ") else to_read.code.split(" ")[0]
            if code not in rows.setdefault(to_read.lamp, []):
                rows[to_read.lamp].append(code)
    return [f"{', '.join(found)}: {lamp}" for lamp, found in rows.items()]


__all__ = ["Batch", "ToRead", "Worksheet", "worksheet_of"]
