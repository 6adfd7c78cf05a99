"""The cards of the page: each box of the worksheet that the case can take is on one, in the order of the worksheet."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tracer.case.beside import in_order
from tracer.circuit.model import Circuit
from tracer.electrics.bus.values import OPEN_OHM
from tracer.entry.problems import listed
from tracer.plan.names import point_name
from tracer.plan.plug_values import (
    AT_REST,
    AWAKE,
    GONE,
    LEVEL,
    OUTPUT,
    TO_GROUND,
    UNTRACED,
    Beside,
    PinAtPlug,
    PlugWorksheet,
)
from tracer.plan.values import Decides, Range
from tracer.plan.words import NO_PLACE
from tracer.report.lamps import lead_words
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
    WorksheetInWords,
)
from tracer.standards import figures

Card = dict[str, Any]
_STEP_OF = {
    OUTPUT: PLUGGED,
    LEVEL: PLUGGED,
    AWAKE: PLUGGED,
    GONE: KEY_OFF,
    UNTRACED: ALONE,
    AT_REST: ASLEEP,
    TO_GROUND: ASLEEP,
}
_FIELDS = {"V": "volts", "ohm": "ohms", "s": "seconds"}


def cards_of(
    circuit: Circuit, made: PlugWorksheet, worksheet: WorksheetInWords, plan: dict[str, Any]
) -> Iterator[Card]:
    """One card after another, each with its number."""
    for number, card in enumerate(_Maker(circuit, made, worksheet, plan).cards()):
        yield {"n": number, **card}


class _Maker:
    def __init__(
        self, circuit: Circuit, made: PlugWorksheet, worksheet: WorksheetInWords, plan: dict[str, Any]
    ) -> None:
        self.circuit, self.made, self.worksheet, self.plan = circuit, made, worksheet, plan
        self.titles = {step: (title, safe) for step, title, safe, _, _ in worksheet.steps}
        self.lines = {pin.name: pin for pin in worksheet.pins}
        self.place, self.access = circuit.place_of_part(worksheet.module)

    def cards(self) -> Iterator[Card]:
        yield from self._looks()
        yield self._base()
        if self.made.not_unplugged:
            yield {
                "kind": "hazard",
                **self._step(ALONE),
                "name": self.worksheet.module,
                "says": self.made.not_unplugged,
            }
        for one in self.made.pins:
            yield from self._plugged(one)
        yield from self._beside(PLUGGED)
        for cranking in self.made.cranking:
            for name, _, volts in cranking.live:
                yield self._card("least", START, name, cranking.key, "in", figure=_at_least(volts))
            for name, _ in cranking.dead:
                yield self._card("dead", START, name, cranking.key, "in", figure=_DEAD)
        yield from self._beside(KEY_OFF)
        for one in self.made.pins:
            yield from self._alone(one)
        yield from self._beside(ALONE)
        for leg in self.made.legs:
            yield self._lamp_card("leg", LEGS, leg.name, leg.test, list(leg.out))
        for key, pins in self.made.dead:
            for name, _ in pins:
                yield self._card("dead", DEAD, name, key, "out", figure=_DEAD)
        yield from self._beside(ASLEEP)
        yield from self._buses()

    def _step(self, step: int) -> Card:
        title, safe = self.titles.get(step, ("", ""))
        return {"step": step, "title": self.worksheet.titles.get(step, title), "safe": safe}

    def _looks(self) -> Iterator[Card]:
        """The positions to look at, panel by panel."""
        by_panel: dict[str, list[Card]] = {}
        for look in self.made.looks:
            words = "relay" if look.kind == "relay" else figures.rating(look.amps)
            place, access = self.circuit.place_of_part(look.part)
            item = {"part": look.part, "label": look.label, "belongs": words, "place": place or NO_PLACE, "access": access or ""}  # fmt: skip
            by_panel.setdefault(look.panel or "", []).append(item)
        for panel, items in by_panel.items():
            place, access = self.circuit.place_of_part(panel) if panel else ("", "")  # each has its own
            yield {"kind": "look", **self._step(LOOK), "name": panel or _outside(items), "panel": panel, "items": items, "place": place or NO_PLACE, "access": access or ""}  # fmt: skip

    def _base(self) -> Card:
        """What holds before any pin: the battery, the lamp, and what must work first."""
        boxes = next((strip.boxes for strip in self.worksheet.before if strip.number == BASE), ())
        battery = [f"{box.ask} {box.expect} V".strip() for box in boxes if box.row == "battery"]
        first = [
            {"part": box.point, "words": f"{box.row}: {box.ask}"} for box in boxes if box.point and box.row != "battery"
        ]
        return {"kind": "base", **self._step(BASE), "name": "Battery, lamp", "battery": battery, "first": first, "place": "", "access": ""}  # fmt: skip

    def _card(self, kind: str, step: int, name: str, key: str, plug: str, **more: Any) -> Card:
        """A card with one field for a pin of the list."""
        line = self.lines[name]
        full = self.worksheet.full_names.get(name, line.point)
        row = self.plan["rows"].get(full, {})
        card = {
            "kind": kind, **self._step(step), "name": name, "full": full, "point": line.point, "level": row.get("level", ""), "wire": line.wire, "way": line.way,
            "place": self.place or NO_PLACE, "access": self.access or "", "key": key, "plug": plug, "lamp_w": None, "out": [], "fields": ["volts"], "splits": [], "leads": [], "leads_words": "",
        }  # fmt: skip
        return {**card, **more}

    def _plugged(self, one: PinAtPlug) -> Iterator[Card]:
        line = self.lines[one.pin.name]
        if one.pin.row.no_method:
            yield {**self._card("hazard", ALONE, line.name, "", ""), "says": line.says, "fields": []}
        elif one.plugged is not None:
            lost = None if one.plugged.bare is None else one.plugged.bare.lost_high_v
            words = f"lost up to here: at most {figures.volts(max(lost, 0.01))}" if lost is not None else "no figure"
            yield self._card("drop", PLUGGED, line.name, one.plugged.key, "in", figure={"words": words, "lost_v": lost, "decides": False})  # fmt: skip

    def _alone(self, one: PinAtPlug) -> Iterator[Card]:
        line, test = self.lines[one.pin.name], one.pin.test
        if one.pin.row.no_method or self.made.not_unplugged:
            return
        if not test.key:
            for key in self.made.glance.report.keys:
                yield self._card("state", ALONE, line.name, key, "out", figure={"words": line.says, "decides": True})
            return
        yield {**self._lamp_card("alone", ALONE, line.name, test, []), "splits": self._splits(one)}

    def _lamp_card(self, kind: str, step: int, name: str, test: Decides, out: list[str]) -> Card:
        """A card for a pin alone, without and with the lamp."""
        kept = next((one for one in self.plan["rows"].get(self.worksheet.full_names[name], {"tests": ()})["tests"] if one["out"] == out), None)  # fmt: skip
        lamp = test.lamp.watts
        bare = None if kept is None else kept["bare_most_v"]
        figure = {
            "words": _moved_words(test), "moved_v": test.most_v, "lost_v": bare, "decides": True,
            "beside": f"without the lamp at most {figures.volts(max(bare, 0.01))} from its post" if bare is not None else "",
        }  # fmt: skip
        fields = ["without lamp", f"lamp {figures.stated(lamp, 'W')}"] if lamp is not None else ["volts"]
        words = f"{lead_words(test.leads)} in the plug" if test.leads else ""
        leads = sorted("-".join(pair) for pair in test.leads)
        return self._card(kind, step, name, test.key, "out", lamp_w=lamp, out=out, fields=fields, asks_lit=test.wants_lit, figure=figure, leads=leads, leads_words=words)  # fmt: skip

    def _splits(self, one: PinAtPlug) -> list[dict[str, Any]]:
        """Where to read on when the pin fails, half way first: each with the names of its points."""
        own = dict.fromkeys(point_name(probe.at) for probe in one.pin.row.probes)
        parts = {point_name(probe.at): probe.part for probe in one.pin.row.probes}
        found = []
        for word in one.pin.splits:
            names = [name for name in own if name == word or name.startswith((f"{word}.", f"{word}:"))]
            found.append({"word": word, "points": names or [name for name in own if parts[name] == word]})
        return [split for split in found if split["points"]]

    def _beside(self, step: int) -> Iterator[Card]:
        """What the worksheet asks in a step beside the tests of the pins."""
        for one in self.made.beside:
            if _STEP_OF[one.kind] != step:
                continue
            low, high = in_order(one.unit, one.low, one.high)
            figure = {"words": _beside_words(one), "decides": False, "low": low, "high": high}
            yield {
                "kind": "beside", **self._step(step), "name": one.pin, "full": one.names[0], "point": one.point, "level": "bus" if one.kind in (AWAKE, AT_REST) else "", "wire": "", "way": _beside_title(one),
                "place": self.place or NO_PLACE, "access": self.access or "", "key": one.key, "plug": "in" if one.plugged else "out", "lamp_w": None, "out": [],
                "fields": [_FIELDS[one.unit]], "splits": [], "leads": [], "asleep": one.asleep, "figure": figure, "chip": f"{one.pin} to ground" if one.kind == TO_GROUND else f"{one.pin} {one.key}" if one.kind == UNTRACED else one.pin,
            }  # fmt: skip

    def _buses(self) -> Iterator[Card]:
        for step in self.made.bus_ohms:
            pins = step.point.partition(".")[2].split("-")
            for bus, facts in self.plan["buses"].items():
                if sorted(facts["pins"].values()) != sorted(pins):
                    continue
                span = facts["ohms"]
                words = f"between them {figures.ohms_range(*span)}" if span else "between them: the maker's figure"
                yield {
                    "kind": "bus", **self._step(ASLEEP), "name": "-".join(pins), "full": f"{(bus or 'bus').replace(' ', '_')}:{'-'.join(facts['pins'])}",
                    "level": "bus", "wire": "", "way": f"bus {bus}".strip(), "place": self.place or NO_PLACE, "access": self.access or "", "key": self.made.glance.report.keys[0],
                    "plug": "out", "lamp_w": None, "out": [], "fields": ["ohms"], "splits": [], "leads": [], "asleep": True, "point": step.point,
                    "figure": {"words": words, "ohms": [span[0], span[2]] if span else None, "decides": True},
                }  # fmt: skip


_DEAD = {"words": "must be dead; if it is not, write the volts", "dead": True, "decides": True}


def _outside(items: list[Card]) -> str:
    """What sits in no panel, by what it is."""
    relays = sum(one["belongs"] == "relay" for one in items)
    what = "Relays" if relays == len(items) else "Fuses and relays" if relays else "Fuses"
    return f"{what} outside the panels"


def _at_least(volts: Range | None) -> dict[str, Any]:
    """The figure of a supply while the starter turns."""
    if volts is None:
        return {"words": "least volts; no figure", "decides": True}
    return {"words": f"least volts: {figures.volts(volts.low)} or more", "least_v": volts.low, "decides": True}


def _moved_words(test: Decides) -> str:
    """The figure that decides, in words; or why there is none."""
    if test.most_v is not None:
        return f"the lamp may move it by at most {figures.volts(max(test.most_v, 0.01))}"
    if test.held and not test.leads:
        return f"no figure: the module itself holds {', '.join(test.held)}"
    if test.lamp.watts is None:
        return "meter only"
    return "no figure: behind a diode" if test.why_not == "diode" else f"no figure{f': {test.why_not}' if test.why_not else ''}"  # fmt: skip


def _beside_title(one: Beside) -> str:
    """What it is."""
    if one.kind == OUTPUT:
        return "output of the module, for sensors"
    if one.kind == LEVEL:
        return f"declared as {one.about[0]}, carries {one.about[1]}"
    if one.kind == UNTRACED:
        return "its way is not known"
    if one.kind == GONE:
        return "goes off some time after the key"
    return f"{one.about[0]}, {'to ground' if one.kind == TO_GROUND else 'asleep' if one.asleep else 'awake'}"


def _beside_words(one: Beside) -> str:
    """What is in order there, and what to do, in words."""
    written = figures.ohms if one.unit == "ohm" else figures.volts
    if one.kind == GONE:
        return "Turn the key off: is it live at once? After how many seconds is it gone?"
    if one.kind == TO_GROUND:
        said = "open" if one.low is None or one.low >= OPEN_OHM else f"{written(one.low)} or more"
        return f"{said}; in Ω only if the line is below 0.1 V"
    if one.low is not None and one.low > 0 and one.high is not None:
        said = f"{written(one.low)} to {written(one.high)}"
    elif one.high is not None:
        said = f"at most {written(one.high)}"
    elif one.low is not None:
        said = f"{written(one.low)} or more"
    else:
        said = f"about {written(one.nominal)}" if one.nominal is not None else "no figure"
    if one.kind == OUTPUT and one.about:
        return f"{said}; if it is low, unplug {listed(list(one.about))} one by one"
    if one.kind == LEVEL and one.low is None and one.high is None and one.about[2:]:
        return f"{one.about[1]} if {'; '.join(one.about[2:])}"
    return said


__all__ = ["cards_of"]
