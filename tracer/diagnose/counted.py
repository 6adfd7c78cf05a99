"""Which readings of a case are weighed: those on whose ways nothing was touched since, without those that later ones outweigh.

The rule is that of a row (`case/rows.py`), for every point: twice bad in a row is so now, whatever was read good before; good more often in a row than bad before settles it. A fault that
came between two readings, one that comes and goes, and a slip that was read again would otherwise stand against what is there for as long as the case lasts.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from tracer.case.case import Case
from tracer.case.readings import Conditions, Reading
from tracer.case.rows import outweighs
from tracer.case.touched import is_stale
from tracer.diagnose.likely import contradicting
from tracer.diagnose.on_bus import asked


@dataclass(frozen=True, slots=True)
class Counted:
    """The readings that are weighed, those of them that are rather wrong than right on a vehicle in order, and the ones that later ones outweigh, each with these."""

    readings: tuple[Reading, ...]
    against: tuple[Reading, ...]
    outweighed: tuple[tuple[Reading, tuple[Reading, ...]], ...]


def counted(case: Case) -> Counted:
    """The readings of a case that are weighed."""
    fresh = sorted(_fresh(case), key=lambda one: one.n)
    against = {id(one) for one in contradicting(case.plan, fresh)}
    groups: dict[tuple[Any, ...], list[Reading]] = {}
    for one in fresh:
        # What is done by hand shows in every second try only, and without the symptom a good reading says nothing.
        if one.values and not one.conditions.hand and one.conditions.symptom is not False:
            groups.setdefault((one.name, taken_as(one.conditions)), []).append(one)
    out = tuple(pair for some in groups.values() for pair in _outweighed(some, against))
    gone = {id(one) for one, _ in out}
    left = tuple(one for one in fresh if id(one) not in gone)
    return Counted(left, tuple(one for one in left if id(one) in against), out)


def taken_as(on: Conditions) -> tuple[Any, ...]:
    """What two readings of one point have in common where the second is the first once more."""
    return on.key, on.plugged, on.lamp_w, on.other, on.engine, on.asleep, on.out, on.leads, on.hand


def _fresh(case: Case) -> Iterator[Reading]:
    """The readings since which nothing on their ways was touched."""
    ways = case.plan["network"]["ways"]
    pieces = case.plan["network"]["pieces"]
    for one in case.readings:
        if asked(case.plan, one.name) is not None:
            if not is_stale(case, one.name, one):
                yield one
            continue
        rows = [name for name in case.plan["rows"] if name == one.name or any(one.name in pieces[n]["ends"] for n in ways[name] if n >= 0)]  # fmt: skip
        if not any(is_stale(case, row, one) for row in rows):
            yield one


def _outweighed(taken: list[Reading], against: set[int]) -> Iterator[tuple[Reading, tuple[Reading, ...]]]:
    """Of readings of one point under the same conditions, in order, those that the ones at the end outweigh, each with these."""
    good = [id(one) not in against and one.values[-1].text != "flickers" for one in taken]
    run = next((n for n, one in enumerate(reversed(good)) if one != good[-1]), len(good))
    if (run > 1) if not good[-1] else outweighs(good):
        last = tuple(taken[len(taken) - run :])
        yield from ((one, last) for one, fine in zip(taken, good, strict=True) if fine != good[-1])


__all__ = ["Counted", "counted", "taken_as"]
