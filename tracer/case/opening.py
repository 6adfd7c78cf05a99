"""The plan of a module as plain data, as a case keeps it: names, rows, the figures that decide, what the list rests on.

Everything comes from `plan.one_sheet`, so what is improved there reaches every case that is opened afterwards. This needs the vehicle; nothing else of a case does.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tracer.circuit.kinds import LinkKind
from tracer.circuit.model import Circuit
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.plan.edition import edition_of
from tracer.plan.names import bus_pins_of, full_name, names_of, point_name
from tracer.plan.one_sheet import one_sheet_of
from tracer.plan.sheet_values import OneSheet, PinOnSheet
from tracer.plan.values import Computed, Decides
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing
from tracer.trace.ways.one_way import reach
from tracer.trace.ways.simple import Way


def kept_plan(tracing: Tracing, report: SupplyReport, limits: LimitsInUse) -> dict[str, Any]:
    """What a case on this module's list needs to know of it."""
    sheet, names = one_sheet_of(tracing, report, limits), names_of(tracing.circuit, report)
    done = report.completeness
    return {
        "vehicle": report.vehicle,
        "module": report.module,
        "title": report.name or "",
        "place": tracing.circuit.place_of_part(report.module)[0] or "",
        "edition": edition_of(report),
        "keys": list(report.keys),
        "system_v": sheet.plan.system_v,
        "list": {"state": done.state, "rests_on": list(done.conditions), "loose": done.loose, "differences": done.differences, "not_looked_at": list(done.not_looked_at)},
        "not_unplugged": sheet.not_unplugged,
        "short": dict(names.short),
        "words": {word: list(full) for word, full in names.words.items()},
        "rows": {full_name(one.pin.row): _pin(tracing, report, sheet, one) for one in sheet.pins},
        "chains": {full_name(row): {"level": row.level, "live": row.live, "for": row.what_for} for row in report.chains},
        "points": {point_name(probe.at): {"level": row.level, "part": probe.part, **_where(tracing.circuit, probe.part)} for row in reversed(report.rows) for probe in row.probes},
        "untraced": [f"{report.module}.{pin}" for pin, _ in sheet.untraced],
        "buses": {name: _bus(sheet, pins) for name, pins in bus_pins_of(report).items()},
        "outputs": [one.pin for one in sheet.outputs],
        "hazards": list(dict.fromkeys(row.no_method for row in report.rows if row.no_method)),
    }  # fmt: skip


def _where(circuit: Circuit, part: str) -> dict[str, str]:
    """The kind of a part and the place where it sits, empty where that is not said."""
    if part not in circuit.parts:
        return {"kind": "", "place": ""}
    return {"kind": circuit.parts[part].kind, "place": circuit.place_of_part(part)[0] or ""}


def _pin(tracing: Tracing, report: SupplyReport, sheet: OneSheet, one: PinOnSheet) -> dict[str, Any]:
    row = one.pin.row
    legs = [leg for leg in sheet.legs if leg.point == row.point and leg.level == row.level]
    way = tracing.ways_to(node := tracing.circuit.pins_of[row.part][row.pin], row.level, report.module).to(node)
    opened = [(), *(leg.out for leg in legs)]
    alone = [_in_series(tracing, way, out) for out in opened] if way is not None else [set[int]() for _ in opened]
    words = _pieces(tracing.circuit, way)
    left = (way.links if way is not None else frozenset()) - set[int]().union(*alone)
    # Where every piece of the way carries the whole current of the first test, the legs prove nothing more.
    tests = [_test(one.pin.test, one.bare, "", ())] + [_test(leg.test, None, leg.by, leg.out) for leg in legs]
    return {
        "level": row.level, "wire": row.wire, "live": row.live, "no_method": row.no_method,
        "parts": list(words.values()),
        "tests": [{**test, "proves": [text for number, text in words.items() if number in links]} for test, links in zip(tests, alone, strict=True)],
        "not_told_apart": [text for number, text in words.items() if number in left],
        "kinds": {text: tracing.circuit.links[number].kind.name.casefold() for number, text in words.items()},
        "ends": {text: _ends(tracing.circuit, way, number) for number, text in words.items()},
        "splits": list(one.pin.splits), "joined_with": list(row.joined_with),
    }  # fmt: skip


def _test(test: Decides, bare: Computed | None, by: str, out: Iterable[str]) -> dict[str, Any]:
    """One deciding test; `least_v` and `most_v` is by how much the lamp moves a sound pin."""
    least = None
    if test.most_v is not None and test.hides_ohm is not None:
        least = test.most_v - test.hides_ohm * 0.9 * test.lamp.current_a
    return {
        "key": test.key, "by": by, "out": list(out), "lamp_w": test.lamp.watts, "lamp_a": test.lamp.current_a, "least_v": least, "most_v": test.most_v,
        "bare_most_v": None if bare is None else bare.lost_high_v, "source": "computed from the wiring as typed in",
        "why_not": test.why_not or ("the module itself holds " + ", ".join(test.held) if test.held and not test.leads else ""),
        "leads": [list(pair) for pair in test.leads],
    }  # fmt: skip


def _in_series(tracing: Tracing, way: Way, out: Iterable[str]) -> set[int]:
    """The links through which all the current flows when these parts are opened; diodes count as leading both ways, so never too many."""
    circuit = tracing.circuit
    gone = set(out)
    left = {n for n in way.links if circuit.links[n].part not in gone and not gone.intersection((circuit.node_parts[circuit.links[n].a], circuit.node_parts[circuit.links[n].b]))}  # fmt: skip
    ends = way.ends - tracing.passing_sources or way.ends
    return {number for number in left if not _reaches(circuit, left - {number}, way.target, ends)} if _reaches(circuit, left, way.target, ends) else set()  # fmt: skip


def _reaches(circuit: Circuit, links: Iterable[int], start: int, ends: frozenset[int]) -> bool:
    at: dict[int, list[int]] = {}
    for number in links:
        link = circuit.links[number]
        at.setdefault(link.a, []).append(link.b)
        at.setdefault(link.b, []).append(link.a)
    return not ends.isdisjoint(reach(at, [start]))


def _pieces(circuit: Circuit, way: Way | None) -> dict[int, str]:
    """Each wire and part of a way in words that no other one has, in the order from the source to the pin."""
    place, links = _places(circuit, way), () if way is None else way.links
    real = (
        number for number in links if circuit.links[number].kind is not LinkKind.REFERENCE
    )  # a mark on paper is no piece
    ordered = sorted(real, key=lambda n: (_place_of(circuit, place, n), n))
    plain = {number: _piece(circuit, place, number) for number in ordered}
    often = {words for words in plain.values() if list(plain.values()).count(words) > 1}
    named = {number: f"{words} ({_ends_of(circuit, place, number)})" if words in often else words for number, words in plain.items()}  # fmt: skip
    twice = {words for words in named.values() if list(named.values()).count(words) > 1}  # wires side by side
    return {number: f"{words}, {ordered.index(number)}" if words in twice else words for number, words in named.items()}


def _places(circuit: Circuit, way: Way | None) -> dict[str, int]:
    """Each point of a way with its place from the source on."""
    return {} if way is None else {circuit.node_names[node]: n for n, node in enumerate(way.nodes)}


def _place_of(circuit: Circuit, place: dict[str, int], number: int) -> int:
    link = circuit.links[number]
    return min(place.get(circuit.node_names[node], 999) for node in (link.a, link.b))


def _ends(circuit: Circuit, way: Way | None, number: int) -> list[str]:
    """The names of the two ends of a piece, the one nearer to the source first."""
    return _ends_of(circuit, _places(circuit, way), number).split(" to ")


def _ends_of(circuit: Circuit, place: dict[str, int], number: int) -> str:
    link = circuit.links[number]
    names = sorted((circuit.node_names[node] for node in (link.a, link.b)), key=lambda at: place.get(at, 999))
    return " to ".join(point_name(name) for name in names)


def _piece(circuit: Circuit, place: dict[str, int], number: int) -> str:
    link = circuit.links[number]
    if link.kind is LinkKind.MATING:
        return circuit.node_names[link.a].partition(",")[0]
    if link.part and link.part in circuit.parts:
        return link.part
    return f"{'wire ' if link.kind is LinkKind.WIRE else ''}{_ends_of(circuit, place, number)}"


def _bus(sheet: OneSheet, pins: dict[str, str]) -> dict[str, Any]:
    step = next((step for step in sheet.bus_ohms if step.point.partition(".")[2] == "-".join(pins.values())), None)
    value = None if step is None or step.bare is None else step.bare.value
    return {"pins": pins, "ohms": None if value is None else [value.low, value.nominal, value.high]}


__all__ = ["kept_plan"]
