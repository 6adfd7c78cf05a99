"""What could be read on a bus to part what is left: between its lines at any place, with a module unplugged or a connector parted, and each line to battery negative, in ohms and in volts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tracer.case.bus_levels import kept_lines
from tracer.case.case import Case
from tracer.case.readings import Conditions
from tracer.diagnose.effort import effort_of, place_of
from tracer.diagnose.faults import Atom
from tracer.diagnose.on_bus import READ_OHM, READ_SHARE, OnBuses, PredictedOnBus, asked, ohms_words
from tracer.diagnose.option import Option
from tracer.electrics.bus.values import INPUTS_OHM
from tracer.plan.words import CRANKING, line_name, to_ground_name
from tracer.standards import figures
from tracer.standards.faults import effort as effort_row

_GONE = ("not-reached", "not-fitted")


def on_buses(case: Case, atoms: Sequence[Atom]) -> Iterator[Option]:
    """Every measurement on the buses that parts some atoms, of which the first is that nothing is wrong; none that was taken already or could not be reached."""
    solver = OnBuses(case.plan, atoms)
    taken = {(one.name, _asked_under(one.conditions)) for one in case.readings if one.values}
    gone = {one.name for one in case.readings if one.status in _GONE}
    for bus in dict.fromkeys(change.bus for atom in atoms for change in atom.buses):
        for name, on in _wanted(case.plan, bus, case.plan["buses"][bus]["network"]):
            read = None if name in gone or (name, _asked_under(on)) in taken else solver.predicted(name, on)
            if read is None:
                continue
            label, seen = _bands(read)
            if len(set(label[1:])) > 1:
                effort = effort_of(case, on, name, {"place": place_of(case, name)}) + (long_lead(case.plan, name) is not None) * effort_row("long lead")  # fmt: skip
                yield Option(name, on, "bus", label[1:], 0.0, effort, seen)


def _asked_under(on: Conditions) -> tuple[Any, ...]:
    return on.plugged, on.asleep, on.out


def _wanted(plan: Mapping[str, Any], bus: str, kept: Mapping[str, Any]) -> Iterator[tuple[str, Conditions]]:
    plugged, keys = bool(plan["not_unplugged"]), [key for key in plan["keys"] if key not in CRANKING]
    asleep = Conditions(key=keys[0], plugged=plugged, asleep=True)
    lines, parts = kept_lines(kept), [part for part in kept["outs"] if part != plan["module"]]
    key = max(keys, key=lambda key: sum(row["live"].get(key) == "live" for row in plan["rows"].values()))
    awake = Conditions(key=key, plugged=plugged)
    singles = [name for name, one in kept["at"].items() if len(one.get("lines", lines)) == 1]
    yield from ((name, asleep) for name in kept["at"] if name not in singles and not (plugged and long_lead(plan, name)))  # fmt: skip
    pair = [line_name(bus, *lines)] if len(lines) == 2 else []
    for name in (*pair, *(to_ground_name(line_name(bus, line)) for line in lines)):
        yield name, asleep
        yield from ((name, replace(asleep, out=(part,))) for part in parts)
    yield from ((name, awake) for name in (*pair, *(line_name(bus, line) for line in lines)))
    if lines == ("LIN",):  # what holds the line up, seen past what would hold it up as well
        others = tuple(sorted(part for part in parts if part in kept["modules"] and part != kept["commander"]))
        for out in dict.fromkeys(((), others)):
            yield from ((name, replace(asleep, out=out)) for name in singles)
    else:
        yield from ((name, awake) for name in singles)


def long_lead(plan: Mapping[str, Any], name: str) -> str | None:
    """The line from the module's plug to which a lead is needed for a reading along it; None of any other."""
    what = asked(plan, name)
    return what.lines[0] if what is not None and what.along else None


def _bands(read: PredictedOnBus) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """The band of each atom, and each band in words; bands of ohms do not overlap within what is stated."""
    nominal, low, high = read.values
    if read.volts:
        _, least, most = read.values[:, 0].tolist()
        return tuple(np.where(nominal < least, 0, np.where(nominal > most, 2, 1)).tolist()), (
            f"below {figures.volts(least)}", f"{figures.volts(least)} to {figures.volts(most)}: as in order", f"above {figures.volts(most)}",
        )  # fmt: skip
    off = READ_OHM + READ_SHARE * nominal
    is_open = nominal >= INPUTS_OHM
    label, seen = np.full(nominal.shape, -1), list[str]()
    reach = -1.0
    for n in np.argsort(nominal, kind="stable").tolist():
        if is_open[n]:
            continue
        if low[n] - off[n] > reach:
            seen.append(ohms_words(float(nominal[n])))
        label[n], reach = len(seen) - 1, max(reach, float(high[n] + off[n]))
    if is_open.any():
        label[is_open] = len(seen)
        least = float(low[is_open].min())
        seen.append(
            ohms_words(INPUTS_OHM)
            if least >= INPUTS_OHM / 2 or least < READ_OHM
            else f"{figures.ohms(least)} or more, or open"
        )
    seen[label[0]] += ": as in order"
    return tuple(label.tolist()), tuple(seen)


__all__ = ["long_lead", "on_buses"]
