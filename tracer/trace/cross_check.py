"""The guard of every list: the second count of `downwards.py` against the rows. Where the two differ, the list is not complete."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from tracer.entry.problems import natural
from tracer.trace.downwards import fuses_above, pins_below
from tracer.trace.results import CrossCheck, Row
from tracer.trace.survey import Survey


def cross_check(survey: Survey, module: str, rows: Iterable[Row], excused: Collection[str]) -> CrossCheck:
    """Count the pins and fuses of a module a second time, and compare.

    Parameters
    ----------
    survey : the vehicle
    module : whose list it is
    rows : its own rows (S, G and V)
    excused : pins that reach supply and ground without a load between (L118, L119): they have a loose end instead of a row
    """
    rows = list(rows)
    differences: list[str] = []
    counted: dict[str, dict[str, bool]] = {}
    for level, end in (("supply", "a source"), ("ground", "ground")):
        found = counted[level] = pins_below(survey, module, level)
        on_rows = {row.pin for row in rows if row.level == level}
        differences += [
            f"{module}.{pin} is reached from {end}, but has no row"
            for pin in _sorted(found.keys() - on_rows - {*excused})
        ]
        differences += [
            f"{module}.{pin} has a row, but is not reached from {end}" for pin in _sorted(on_rows - found.keys())
        ]
    fuses: set[str] = set()
    whole = True
    supplies = {row.pin: {fuse.part for fuse in row.fuses} for row in rows if row.level == "supply"}
    above = fuses_above(survey, module, {pin: counted["supply"][pin] for pin in supplies.keys() & counted["supply"]})
    for pin in _sorted(above):
        some, all_of_them = above[pin]
        fuses |= some
        whole = whole and all_of_them
        point = f"{module}.{pin}"
        differences += [
            f"a way to {point} leads over fuse {one}, but its row lacks it" for one in _sorted(some - supplies[pin])
        ]
        if all_of_them:
            differences += [
                f"fuse {one} is on the row of {point}, but no way leads over it"
                for one in _sorted(supplies[pin] - some)
            ]
    return CrossCheck(_sorted(counted["supply"]), _sorted(counted["ground"]), _sorted(fuses), tuple(differences), whole)


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(names, key=natural))
