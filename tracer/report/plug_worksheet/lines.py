"""What stands on the worksheet, in words: which boxes each step has, what to ask and what to expect there."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.electrics.bus.values import OPEN_OHM
from tracer.entry.problems import listed
from tracer.plan.edition import edition_of, row_marks
from tracer.plan.names import full_name
from tracer.plan.plug_values import (
    AT_REST,
    AWAKE,
    GONE,
    LEVEL,
    OUTPUT,
    TO_GROUND,
    UNTRACED,
    Beside,
    Cranking,
    Look,
    MustWork,
    PinAtPlug,
    PlugWorksheet,
)
from tracer.plan.values import ON_NOTHING, Decides, Step
from tracer.plan.words import BETWEEN_LINES, IS_LIT, LIVE_AT_ONCE, MUST_BE_DEAD, NO_LAMP, NO_PLACE, TO_ITS_POST
from tracer.plan.words import TO_GROUND as LINE_TO_GROUND
from tracer.report.cavities import way_not_known
from tracer.report.completeness import joints_words, loose_words, opening
from tracer.report.glance import behind_panels, other_doubts, short_wire, two_counts, way_words, without_length
from tracer.report.lamps import lead_words
from tracer.report.layout import counted
from tracer.report.minding import first_words, lines, mark
from tracer.report.plug_worksheet.values import (
    ALONE,
    ASLEEP,
    BASE,
    DEAD,
    KEY_OFF,
    LEGS,
    LOOK,
    PLUGGED,
    START,
    Box,
    PinLine,
    Strip,
    WorksheetInWords,
)  # fmt: skip
from tracer.report.words import NO_VOLTS, PINS_NOT_LISTED, RESTS_ON
from tracer.standards import figures
from tracer.trace.lists.results import SupplyReport
from tracer.trace.minding import CAUTION, HAZARD, NOTE, Minding

IN, OUT = "plugged in", "unplugged"
METER_DIGIT_V = 0.01


def worksheet_in_words(made: PlugWorksheet, system: str) -> WorksheetInWords:
    """The worksheet of a module's plan; `system` as typed."""
    return _Writer(made).worksheet(system)


class _Writer:
    def __init__(self, made: PlugWorksheet) -> None:
        self.made = made
        self.report: SupplyReport = made.glance.report
        self.behind = behind_panels(made.glance)
        self.first_key = self.report.keys[0]

    def worksheet(self, system: str) -> WorksheetInWords:
        made, report = self.made, self.report
        strips = {strip.number: strip for strip in self._strips() if strip.boxes}
        order = [number for number in sorted(strips)]
        said = first_words(report.minding)
        return WorksheetInWords(
            vehicle=report.vehicle, module=report.module, name=report.name or "", place=report.place or NO_PLACE,
            access=report.access or "", system=system, completeness=report.completeness, list_words=_list_words(report),
            titles={PLUGGED: f"plugged in, key {made.working}", START: "start", ALONE: "unplugged, one pin alone", DEAD: "must be dead"},
            dead_keys=tuple(key for key, _ in made.dead),
            before=tuple(strips[number] for number in order if number in (LOOK, BASE)),
            pins=tuple(self._pins()),
            after=tuple(strips[number] for number in order if number not in (LOOK, BASE)),
            loose=made.glance.loose_ends,
            marked=tuple([*self._no_volts(), *(f"{words}." for words in self.made.overloads), *two_counts(report), *other_doubts(report), *self._side_by_side()]),
            hazards=tuple([said, *lines(report.minding, HAZARD, CAUTION)] if said else []),
            edition=edition_of(report),
            marks=row_marks(report),
            full_names={pin.name: full_name(pin.row) for pin in made.glance.pins},
            notes=tuple(lines(Minding(tuple(one for one in report.minding.things if one.at)), NOTE)),
            faces=made.faces,
            minding=report.minding,
            sheets=report.sheets,
        )  # fmt: skip

    def _no_volts(self) -> list[str]:
        return [f"{NO_VOLTS}: {self.made.glance.why_not}"] if self.made.glance.why_not else []

    def _side_by_side(self) -> Iterator[str]:
        for pin in self.made.pins:
            if pin.pin.beside.left:
                pieces = listed(pin.pin.beside.left, most=6)
                yield f"{pin.pin.name}: {pieces} lie side by side; no test proves anything about one of them alone"

    # --- the steps beside the pins ---------------------------------------------------------------------------------

    def _strips(self) -> Iterator[Strip]:
        off = f"key {self.first_key}"
        yield Strip(
            LOOK, "look: in place, right rating, whole", "Key off, load off; one fuse at a time, back where it was.", tuple(self._looks())
        )  # fmt: skip
        yield Strip(BASE, "base, and what must work first", "Meter in volts, never amps.", tuple(self._base()))
        yield Strip(
            PLUGGED, "plugged in, also", "Back-probe, pierce nothing; meter only.", (*self._outputs(), *self._carrying(), *self._bus_awake())
        )  # fmt: skip
        yield Strip(
            START, "starter turning, plugged in", "Engine kept from starting, out of gear, brake on; 5 s; meter on min.",
            tuple(self._start()),
        )  # fmt: skip
        yield Strip(KEY_OFF, f"{off}, still plugged in", "", tuple(self._after_key()))
        yield Strip(
            LEGS, "each parallel way alone, unplugged", f"Off and back with the key off, one at a time{'; tick: lit' if any(leg.test.wants_lit for leg in self.made.legs) else ''}.",
            tuple(self._legs()),
        )  # fmt: skip
        yield Strip(
            ASLEEP,
            "all asleep" if self.made.not_unplugged else "all asleep, unplugged",
            "The meter goes to Ω only on a line below 0.1 V; no lamp.",
            tuple(self._bus_asleep()),
        )

    def _looks(self) -> Iterator[Box]:
        """Each with its panel where that changes."""
        panel: str | None = ""
        for look in self.made.looks:
            where = (look.panel or ("" if panel == "" else "elsewhere")) if look.panel != panel else ""
            panel = look.panel
            yield Box(where, _look_words(look), "tick", point=look.part, key=self.first_key)

    def _base(self) -> Iterator[Box]:
        made, keys = self.made, dict.fromkeys((self.first_key, self.made.working))
        for key in keys:
            words = "rest" if key == self.first_key else f"key {key}"
            span = made.posts.get(key)
            expect = f"{figures.volts_ends(span.low, span.high)}" if span else ""
            yield Box("battery", words, "V", expect, key, point="battery posts")
        if made.charging:
            yield Box("battery", "engine running", "V", figures.volts_ends(made.charging.low, made.charging.high), "engine", point="battery posts")  # fmt: skip
        yield Box("meter", "leads together", "Ω")
        yield Box("lamp", "lit before", "tick")
        yield Box("lamp", "and after", "tick")
        yield Box("fault", "there now", "tick")
        for one in made.must_work:
            yield self._must_work(one)

    def _must_work(self, one: MustWork) -> Box:
        pins = ", ".join(one.pins)
        if one.kind == "relay":
            said = "must rest" if one.at_rest else "clicks" + (f" (pulled by pin {', '.join(one.pulled_by)})" if one.pulled_by else "")  # fmt: skip
        else:
            said = "works"
        return Box(f"{one.part} for {pins}", said, "tick", key=self.made.working, plug=IN, point=one.part)

    def _beside(self, *kinds: str) -> Iterator[Beside]:
        return (one for one in self.made.beside if one.kind in kinds)

    def _box(self, one: Beside, ask: str, expect: str = "", *, unit: str = "", decides: bool = False) -> Box:
        unit = unit or {"ohm": "Ω"}.get(one.unit, one.unit)
        return Box(
            one.pin, ask, unit, expect, one.key, IN if one.plugged else OUT, one.point, decides, name=one.names[0]
        )

    def _outputs(self) -> Iterator[Box]:
        for one in self._beside(OUTPUT):
            volts = figures.volts(one.nominal) if one.nominal is not None else ""
            feeds = f"low: {listed(list(one.about))} off one by one" if one.about else ""
            yield self._box(one, f"output {volts}, awake".replace(" ,", ","), feeds, decides=True)

    def _carrying(self) -> Iterator[Box]:
        for one in self._beside(LEVEL):
            what, level, *why = one.about
            yield self._box(one, f"{what}, no lamp", f"{level} if {'; '.join(why)}" if why else level)

    def _bus_awake(self) -> Iterator[Box]:
        for one in self._beside(AWAKE):
            expect = "" if one.low is None or one.high is None else figures.volts_ends(one.low, one.high)
            yield self._box(one, f"{one.about[0]}, awake", expect)

    def _start(self) -> Iterator[Box]:
        """The battery while the starter turns; the pins where there is a second such key state, for the first has a column."""
        for number, one in enumerate(self.made.cranking):
            battery = self.made.posts.get(one.key)
            yield Box("battery", f"key {one.key}, least", "V", f"≥ {figures.volts_number(battery.low)}" if battery else "", one.key, IN, "battery posts")  # fmt: skip
            if number:
                names = dict.fromkeys([*(name for name, _, _ in one.live), *(name for name, _ in one.dead)])
                yield from (box for name in names if (box := _cranked(one, name)))

    def _after_key(self) -> Iterator[Box]:
        for one in self._beside(GONE):
            yield self._box(one, LIVE_AT_ONCE, unit="tick")
            yield self._box(one, "gone after", decides=True)

    def _legs(self) -> Iterator[Box]:
        key = ""
        for leg in self.made.legs:
            gone = f"{', '.join(leg.out)} {'out' if leg.level == 'supply' else 'off'}"
            yield Box(leg.name, gone if key == leg.test.key else f"key {leg.test.key}, {gone}", "V", "", leg.test.key, OUT, leg.point, out=leg.out)  # fmt: skip
            key = leg.test.key
            if leg.test.lamp.watts is not None:
                yield Box(
                    leg.name,
                    _lamp(leg.test),
                    "V",
                    _moves(leg.test),
                    leg.test.key,
                    OUT,
                    leg.point,
                    decides=True,
                    out=leg.out,
                )
            if leg.test.wants_lit:
                yield Box(leg.name, IS_LIT, "tick", "", leg.test.key, OUT, leg.point, out=leg.out)

    def _bus_asleep(self) -> Iterator[Box]:
        """Volts before ohms: a line that a module still holds up is not measured in Ω."""
        for one in self._beside(AT_REST):
            yield self._box(one, one.about[0], _asleep_words(one))
        for one in self._beside(TO_GROUND):
            least = "open" if one.low is None or one.low >= OPEN_OHM else f"≥ {figures.ohms(one.low)}"
            yield self._box(one, LINE_TO_GROUND, least)
        for step in self.made.bus_ohms:
            value = None if step.bare is None else step.bare.value
            expect = f"{figures.ohms_range(value.low, value.nominal, value.high)}" if value else "maker's figure"
            yield Box(step.point.partition(".")[2], BETWEEN_LINES, "Ω", expect, self.first_key, OUT, step.point, decides=True)  # fmt: skip

    # --- the pins --------------------------------------------------------------------------------------------------

    def _pins(self) -> Iterator[PinLine]:
        for one in self.made.pins:
            yield self._pin(one)
        traced = dict(self.made.untraced)
        for cavity in self.made.glance.unknown:
            what = way_not_known(cavity.kind)
            steps = traced.get(cavity.pin, ())
            if withheld := next((step.no_method for step in steps if step.no_method), ""):
                yield PinLine(cavity.pin, f"{self.report.module}.{cavity.pin}", "", what, says=withheld)
                continue
            boxes = tuple(
                self._box(one, one.key, decides=True) for one in self._beside(UNTRACED) if one.pin == cavity.pin
            )
            wire = without_length(steps[0].wire) if steps else ""
            yield PinLine(cavity.pin, f"{self.report.module}.{cavity.pin}", wire, what, splits=boxes, says="volts in each key state" if boxes else "wire there? where does it go?")  # fmt: skip

    def _pin(self, one: PinAtPlug) -> PinLine:
        pin, row, test = one.pin, one.pin.row, one.pin.test
        minded = mark(self.report.minding, row.point, *(probe.at for probe in row.probes))
        way = way_words(pin, self.behind) + (f" ! {minded}" if minded else "")
        if test.leads:
            way += f". {ALONE}: {lead_words(test.leads)} in the plug"
        if row.no_method:
            return PinLine(pin.name, row.point, short_wire(row), way, says=row.no_method)
        plugged = self._plugged(pin.name, one.plugged) if one.plugged is not None else None
        if self.made.not_unplugged:
            return PinLine(pin.name, row.point, short_wire(row), way, plugged=plugged, says=self.made.not_unplugged)
        start = _cranked(self.made.cranking[0], pin.name) if self.made.cranking else None
        dead = tuple(
            Box(pin.name, f"{MUST_BE_DEAD}{key}", "tick", "", key, OUT, row.point, decides=True)
            for key, pins in self.made.dead
            if (pin.name, row.point) in pins
        )
        if test.why_not == ON_NOTHING:
            says = ON_NOTHING
            return PinLine(
                pin.name, row.point, short_wire(row), way, plugged=plugged, start=start, dead=dead, says=says
            )
        if not test.key:
            boxes = tuple(
                Box(pin.name, key, "V", "", key, OUT, row.point, decides=True)
                for key in self.report.keys
                if key not in {box.key for box in dead}
            )
            says = "not known when it is live: volts in each key state"
            return PinLine(
                pin.name,
                row.point,
                short_wire(row),
                way,
                plugged=plugged,
                start=start,
                dead=dead,
                splits=boxes,
                says=says,
            )
        bare = Box(pin.name, NO_LAMP, "V", _at_most(one.bare.lost_high_v if one.bare else None), test.key, OUT, row.point, decides=test.lamp.watts is None)  # fmt: skip
        loaded = lit = None
        if test.lamp.watts is not None:
            loaded = Box(pin.name, _lamp(test), "V", _moves(test), test.key, OUT, row.point, decides=True)
            lit = Box(pin.name, IS_LIT, "tick", "", test.key, OUT, row.point) if test.wants_lit else None
        splits = tuple(
            Box(pin.name, name, "V", "", test.key, OUT, name) for name in (pin.splits if loaded is not None else ())
        )
        return PinLine(
            pin.name,
            row.point,
            short_wire(row),
            way,
            test.key,
            _lamp(test),
            plugged,
            start,
            bare,
            loaded,
            lit,
            dead,
            splits,
        )

    def _plugged(self, name: str, step: Step) -> Box:
        lost = None if step.bare is None else step.bare.lost_high_v
        key = "" if step.key == self.made.working else f"{step.key}: "
        return Box(name, TO_ITS_POST, "V", key + _at_most(lost), step.key, IN, step.point)


def _asleep_words(asleep: Beside) -> str:
    """'< 0.1', '≈ 12.65', '9.32 to 12.65'."""
    if asleep.low is None or asleep.high is None:
        return "" if asleep.nominal is None else f"≈ {figures.volts_number(asleep.nominal)}"
    return f"< {figures.stated(asleep.high)}" if asleep.high < 1 else figures.volts_ends(asleep.low, asleep.high)


def _list_words(report: SupplyReport) -> str:
    """'complete', 'complete if G1 sits on the body', 'NOT COMPLETE: 6 loose ends on the ways to this module'."""
    completeness = report.completeness
    elsewhere = counted(completeness.elsewhere, "loose end")
    besides = [f"{elsewhere} elsewhere in the vehicle"] if completeness.elsewhere else []
    if completeness.state == "not complete":
        rests = [f"{RESTS_ON}: {', '.join(completeness.conditions)}"] if completeness.conditions else []
        return "; ".join([f"{completeness.word}: {loose_words(completeness)}", *rests, *besides])
    words = "complete" if completeness.complete else opening(completeness, most=1000)
    joints = joints_words(completeness)
    besides = [
        *([joints] if joints else []),
        *([] if report.cavities_listed else [PINS_NOT_LISTED]),
        *besides,
    ]
    return "; ".join([words, *besides])


def _cranked(one: Cranking, name: str) -> Box | None:
    """What a pin must read while the starter turns; None where it is not known whether it is live then."""
    for found, point, volts in one.live:
        if found == name:
            return Box(name, "least", "V", f"≥ {figures.volts_number(volts.low)}" if volts else "", one.key, IN, point, decides=True)  # fmt: skip
    dead = dict(one.dead)
    return Box(name, "dead", "tick", "dead", one.key, IN, dead[name], decides=True) if name in dead else None


def _look_words(look: Look) -> str:
    rating = "" if look.kind == "relay" else f" {figures.stated(look.amps)}A" if look.amps is not None else " ?A"
    return f"{look.label}{rating}"


def _lamp(test: Decides) -> str:
    return "meter" if test.lamp.watts is None else f"{figures.stated(test.lamp.watts)} W"


def _at_most(volts: float | None) -> str:
    """As a meter shows it: nothing below its last digit can be told from nothing."""
    return "" if volts is None else f"≤ {figures.volts_number(max(volts, METER_DIGIT_V))}"


def _moves(test: Decides) -> str:
    """By how much the lamp may move the pin, or in a word why no figure decides."""
    if test.most_v is not None:
        return _at_most(test.most_v)
    if test.held and not test.leads:
        return ", ".join(name.split(" ")[0] for name in test.held)
    return "diode" if test.why_not == "diode" else "no figure"


__all__ = ["worksheet_in_words"]
