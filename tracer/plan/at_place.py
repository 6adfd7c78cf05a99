"""What can be read at one place: while a lid is open, or at one connector, every point there that lies on the list of a module, or of any module."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from tracer.circuit.model import Circuit
from tracer.entry.problems import CannotAnswer, listed, natural, nearest
from tracer.plan.names import full_name
from tracer.plan.values import AtPlace, PointAtPlace
from tracer.plan.words import NO_PLACE
from tracer.trace.lists.completeness import Completeness
from tracer.trace.lists.results import Probe, Row, SupplyReport
from tracer.trace.minding import minding_of
from tracer.trace.tracing import Tracing

if TYPE_CHECKING:  # what computes volts is loaded only where they are asked for
    from tracer.electrics.volts.expected import Expected


class UnknownPlace(CannotAnswer, LookupError):
    """There is no such part or place, or it could be several; the message says which are near."""


def at_place(tracing: Tracing, reports: Iterable[SupplyReport], name: str, expected: Expected | None = None) -> AtPlace:
    """The points of these lists at the place of a part (`FPC`, `X3`), or at a place in words as typed; with the volts of one module where they are given.

    Raises
    ------
    UnknownPlace : no part and no place is called so, or several places are
    """
    parts, place, access = _parts_there(tracing.circuit, name)
    reports = list(reports)
    found: dict[str, PointAtPlace] = {}
    for report in reports:
        for row in report.rows:
            for probe in row.probes:
                if probe.part in parts:
                    known = found.get(probe.at) or _point(report, row, probe, expected)
                    rows = tuple(dict.fromkeys([*known.rows, full_name(row)]))
                    found[probe.at] = replace(known, rows=rows, no_method=known.no_method or probe.expect.no_method)
    points = tuple(sorted(found.values(), key=lambda one: (natural(one.part), natural(one.at))))
    answer = AtPlace(
        tracing.circuit.name, place, access, tuple(sorted(parts, key=natural)), tuple(one.module for one in reports),
        tracing.states.keys, points, Completeness.of_all([one.completeness for one in reports]),
    )  # fmt: skip
    return replace(answer, minding=minding_of(tracing, answer))


def _point(report: SupplyReport, row: Row, probe: Probe, expected: Expected | None) -> PointAtPlace:
    computed = () if expected is None else expected.at(row.code, probe.at)
    live = [one for one in computed if probe.expect.live.get(one.state) == "live" and one.volts is not None and not one.floating]  # fmt: skip
    best = max(live, key=lambda one: report.keys.index(one.state) if one.state not in ("start", "crank") else -1, default=None)  # fmt: skip
    return PointAtPlace(
        probe.at, probe.part, probe.kind, probe.wire, row.level, probe.expect.live, (),
        key="" if best is None else best.state, volts=None if best is None else best.volts,
    )  # fmt: skip


def _parts_there(circuit: Circuit, name: str) -> tuple[frozenset[str], str, str]:
    """The parts at a place, the place in words, and how to get there."""
    place_of = {part: circuit.place_of_part(part) for part in circuit.parts}
    part = circuit.spelt(name)
    part = circuit.short_names.get(part, part)
    if part in circuit.parts:
        place, access = place_of[part]
        panel = circuit.parts[part].panel or part
        own = {one for one in circuit.parts if panel in (one, circuit.parts[one].panel)}
        there = own | {one for one, (where, _) in place_of.items() if place and where == place}
        return frozenset(there), place or f"{part}, {NO_PLACE}", access or ""
    places = {where for where, _ in place_of.values() if where}
    fit = {name} if name in places else {where for where in places if name.casefold() in where.casefold()}
    if len(fit) == 1:
        (place,) = fit
        there = {one for one, (where, _) in place_of.items() if where == place}
        return frozenset(there), place, next((how for one in sorted(there) if (how := place_of[one][1])), "") or ""
    if fit:
        raise UnknownPlace(f"`{name}` could be several places: {listed(sorted(fit, key=natural), most=6)}.")
    near = nearest(name, [*circuit.parts, *circuit.short_names, *places])
    raise UnknownPlace(f"there is no part and no place {name}." + (f" Did you mean {listed(near)}?" if near else ""))


__all__ = ["UnknownPlace", "at_place"]
