"""The plan of a module as plain data, as a case keeps it: names, rows, the figures that decide, what the list rests on.

Everything comes from `plan.plug_worksheet`, so what is improved there reaches every case that is opened afterwards. This needs the vehicle; nothing else of a case does.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from tracer.case.kept_bus import kept_bus
from tracer.case.kept_network import kept_network
from tracer.circuit.model import Circuit, Part
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.entry.models import FuseFacts
from tracer.plan.edition import edition_of, row_marks
from tracer.plan.names import bus_pins_of, full_name, names_of, point_name
from tracer.plan.plug_values import Beside, PinAtPlug, PlugWorksheet
from tracer.plan.plug_worksheet import plug_worksheet_of
from tracer.plan.values import Computed, Decides
from tracer.trace.lists.concerns import open_on_way
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

_NOTHING_V = 1.0  # of a pin that nothing feeds while the module is unplugged
_LESS = 0.75  # of the system's volts: no battery in order, and no wire, takes so much off (common practice, no source)


def kept_plan(tracing: Tracing, report: SupplyReport, limits: LimitsInUse) -> dict[str, Any]:
    """What a case on this module's list needs to know of it."""
    worksheet = plug_worksheet_of(tracing, report, limits)
    plan = plan_data(tracing, report, worksheet)
    leads = [(test["key"], tuple((pin, other) for pin, other in test["leads"])) for row in plan["rows"].values() for test in row["tests"]]  # fmt: skip
    for name, facts in plan["buses"].items():
        found = next((step.bus for step in (*worksheet.bus_ohms, *worksheet.bus_levels) if step.bus is not None and step.bus.name == name), None)  # fmt: skip
        facts["network"] = None if found is None else kept_bus(tracing, report.module, found, limits)
        for at in facts["network"]["at"] if facts["network"] else ():  # as a word and as a name
            plan["short"].setdefault(at, at)
            plan["words"].setdefault(at, [at])
    plan["network"] = kept_network(tracing, report, limits, leads, unplugged=not worksheet.not_unplugged)
    return plan


def plan_data(tracing: Tracing, report: SupplyReport, worksheet: PlugWorksheet) -> dict[str, Any]:
    """The same from a worksheet that is made already."""
    names, done, marks = names_of(tracing.circuit, report), report.completeness, row_marks(report)
    never = {point_name(probe.at) for row in report.rows for probe in row.probes if row.no_method or probe.expect.no_method}  # fmt: skip
    return {
        "vehicle": report.vehicle,
        "module": report.module,
        "title": report.name or "",
        "place": tracing.circuit.place_of_part(report.module)[0] or "",
        "edition": edition_of(report),
        "keys": list(report.keys),
        "system_v": worksheet.plan.system_v,
        "list": {"state": done.state, "rests_on": list(done.conditions), "loose": done.loose, "differences": done.differences, "not_looked_at": list(done.not_looked_at)},
        "not_unplugged": worksheet.not_unplugged,
        "short": dict(names.short),
        "words": {word: list(full) for word, full in names.words.items()},
        "rows": {(name := full_name(one.pin.row)): {**_pin(worksheet, one), "mark": marks[name], "open": list(open_on_way(tracing, report, one.pin.row))} for one in worksheet.pins},
        "chains": {full_name(row): {"level": row.level, "live": row.live, "for": row.what_for} for row in report.chains},
        "points": {point_name(probe.at): {"level": row.level, "part": probe.part, **_where(tracing.circuit, probe.part), "never": point_name(probe.at) in never} for row in reversed(report.rows) for probe in row.probes},
        "untraced": [f"{report.module}.{pin}" for pin, _ in worksheet.untraced],
        "parts": {part.name: _part(tracing.circuit, part) for part in tracing.circuit.parts.values()},
        "looks": [look.part for look in worksheet.looks],
        "buses": {name: _bus(tracing, report.module, worksheet, name, pins) for name, pins in bus_pins_of(report).items()},
        "outputs": [one.pin for one in worksheet.outputs],
        "gets": report.gets,
        "beside": [_beside(one) for one in worksheet.beside],
        "hazards": list(dict.fromkeys(row.no_method for row in report.rows if row.no_method)),
    }  # fmt: skip


def _beside(one: Beside) -> dict[str, Any]:
    """What the worksheet asks beside the tests of the pins."""
    return {
        "kind": one.kind, "pin": one.pin, "names": list(one.names), "unit": one.unit, "key": one.key, "plugged": one.plugged, "asleep": one.asleep,
        "low": one.low, "nominal": one.nominal, "high": one.high, "about": list(one.about),
    }  # fmt: skip


def _where(circuit: Circuit, part: str) -> dict[str, str]:
    """The kind of a part and the place where it sits, empty where that is not said."""
    if part not in circuit.parts:
        return {"kind": "", "place": ""}
    return {"kind": circuit.parts[part].kind, "place": circuit.place_of_part(part)[0] or ""}


def _pin(worksheet: PlugWorksheet, one: PinAtPlug) -> dict[str, Any]:
    row, beside = one.pin.row, one.pin.beside
    proves = {leg.out: leg.proves for leg in beside.legs}
    tests = [(_test(one.pin.test, one.bare, "", ()), beside.alone)]
    tests += [
        (_test(leg.test, None, leg.by, leg.out), proves[leg.out])
        for leg in worksheet.legs
        if (leg.point, leg.level) == (row.point, row.level)
    ]
    return {
        "level": row.level, "wire": row.wire, "live": row.live, "no_method": row.no_method,
        "parts": [piece.words for piece in beside.pieces.values()],
        "tests": [{**test, "proves": [piece.words for number, piece in beside.pieces.items() if number in through]} for test, through in tests],
        "not_told_apart": list(beside.left),
        "kinds": {piece.words: piece.kind for piece in beside.pieces.values()},
        "ends": {piece.words: list(piece.ends) for piece in beside.pieces.values()},
        "splits": list(one.pin.splits), "joined_with": list(row.joined_with), **_carries(worksheet, one),
    }  # fmt: skip


def _carries(worksheet: PlugWorksheet, one: PinAtPlug) -> dict[str, float]:
    """The volts of a supply that are those of a converter, or of one of two batteries, and not those of the vehicle."""
    volts = None if one.bare is None else one.bare.value
    system_v = worksheet.plan.system_v
    return {"carries_v": volts.nominal} if one.pin.row.level == "supply" and volts is not None and _NOTHING_V < volts.nominal < _LESS * system_v else {}  # fmt: skip


def _test(test: Decides, bare: Computed | None, by: str, out: Iterable[str]) -> dict[str, Any]:
    """One deciding test; `least_v` and `most_v` is by how much the lamp moves a sound pin."""
    return {
        "key": test.key, "by": by, "out": list(out), "lamp_w": test.lamp.watts, "lamp_a": test.lamp.current_a, "least_v": test.least_v, "most_v": test.most_v,
        "bare_most_v": None if bare is None else bare.lost_high_v, "source": "computed from the wiring as typed in",
        "why_not": test.why_not or ("the module itself holds " + ", ".join(test.held) if test.held and not test.leads else ""),
        "leads": [list(pair) for pair in test.leads], "held": bool(test.held),
    }  # fmt: skip


def _part(circuit: Circuit, part: Part) -> dict[str, Any]:
    """What a note may need to know of a part, wherever in the vehicle it sits; what is not so is left out."""
    amps = part.facts.amps if isinstance(part.facts, FuseFacts) else None
    points = (point_name(circuit.node_names[node]) for node in circuit.pins_of.get(part.name, {}).values())
    pins = list(dict.fromkeys(point.partition(":")[0].removeprefix(f"{part.name}.") for point in points))
    said = {"kind": str(part.kind), "panel": part.panel, "label": part.label, "pins": pins, "amps": amps, "empty": circuit.is_not_fitted(part.name)}  # fmt: skip
    return {name: what for name, what in said.items() if what}


def _bus(tracing: Tracing, module: str, worksheet: PlugWorksheet, name: str, pins: dict[str, str]) -> dict[str, Any]:
    step = next((step for step in worksheet.bus_ohms if step.point.partition(".")[2] == "-".join(pins.values())), None)
    value = None if step is None or step.bare is None else step.bare.value
    lines = BusLines(tracing, name)
    around = sorted({there for pin in pins.values() for there in _on_line(lines, module, pin) if there})
    return {"pins": pins, "ohms": None if value is None else [value.low, value.nominal, value.high], "around": around}


def _on_line(lines: BusLines, module: str, pin: str) -> Iterator[str]:
    """Everything that lies on the line of a bus at one pin of the module, through other modules too: points, cavities, parts and their panels."""
    circuit, net_of = lines.circuit, lines.net_of
    node = circuit.pins_of.get(module, {}).get(pin)
    for other, net in enumerate(net_of):
        if node is not None and net == net_of[node]:
            name, part = point_name(circuit.node_names[other]), circuit.node_parts[other]
            yield from (name, name.partition(":")[0], part)
            if part in circuit.parts and (panel := circuit.parts[part].panel):
                yield panel


__all__ = ["kept_plan", "plan_data"]
