"""How many measurements `next` takes against what is possible, on the predicted bands of generated vehicles: the figures of docs/next.md.

    python -m tests.diagnose.metric         more vehicles, all figures

A case is a row found dead, or weak under its lamp, twice. Readings are counted from there on, at equal cost, until nothing parts what is left; the bound is what
they tell in bits, over the bits that one reading can tell at most.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import tracer
from benchmarks.believable import believable
from tests.case.making import in_memory, reading
from tracer.case.opening import kept_plan
from tracer.case.readings import Conditions
from tracer.diagnose.choice import EXACT_GROUPS, best_tree, entropy_nat, gain_nat, normalised
from tracer.diagnose.find import Finding
from tracer.diagnose.likely import weigh
from tracer.standards.faults import effort
from tracer.trace.tracing import Tracing

Group = tuple[int, ...]
_BY_OPTIMUM = 14  # groups up to which the best tree of all is searched


@dataclass(frozen=True)
class Start:
    """A row that failed: the groups that its reading leaves with their shares, the options with their places, the points of its way in order."""

    nodes: int
    shares: tuple[float, ...]
    groups: tuple[Group, ...]  # the band of each option
    places: tuple[str, ...]
    keys: tuple[str, ...]
    efforts: tuple[float, ...]  # without the way there and the key
    along: tuple[int, ...]
    plug: str
    key: str
    by_hand: tuple[
        bool, ...
    ]  # whether something is done by hand at each option: a like relay, a lead beside a piece, a connector wiggled

    @property
    def bits(self) -> float:
        """What is to be told, over what a reading can tell at most."""
        most = max(len({group[n] for group in self.groups}) for n in range(len(self.places)))
        return entropy_nat(self.shares) / math.log(max(2, most))


def starts(folder: Path, modules: int, seed: int) -> Iterator[Start]:
    """Every row of every module of a vehicle, dead and weak."""
    names = believable(folder, modules, seed=seed)
    tracing = Tracing(tracer.load(folder))
    for module in names:
        plan = kept_plan(tracing, tracer.supplies(tracing, module), tracer.limits(tracing))
        for name, row in plan["rows"].items():
            for test in row["tests"][:1]:
                if test["key"] and test["lamp_w"] is not None and test["most_v"] is not None:
                    yield from _of_row(plan, name, row["level"], test)


def _of_row(plan: dict[str, Any], name: str, level: str, test: dict[str, Any]) -> Iterator[Start]:
    on = Conditions(
        key=test["key"], plugged=False, lamp_w=test["lamp_w"], out=tuple(sorted(test["out"])), symptom=True, battery_v=12.5,
        leads=tuple("-".join(lead) for lead in test["leads"]),
    )  # fmt: skip
    dead, weak = ((0.0, 0.0), (12.45, 7.0)) if level == "supply" else ((12.5, 12.5), (0.02, 6.0))
    for volts in (dead, weak):
        read = [replace(reading(name, volts, on, n), id=f"{n}.1") for n in (2, 3)]
        case = replace(in_memory(plan, read), conditions=on)
        weighed = weigh(plan, read)
        finding = Finding(case, weighed, name, on)
        options = finding.options
        if not options:
            continue
        of_group: dict[Group, float] = {}
        for at, n in enumerate(finding.live):
            group = tuple(option.label[at] for option in options)
            of_group[group] = of_group.get(group, 0.0) + float(weighed.share[n])
        if len(of_group) < 2:
            continue
        points = finding._points(name)
        number = {option.name: n for n, option in reversed(list(enumerate(options))) if option.on == on}
        places = tuple(plan["points"].get(option.name, {"place": plan["place"]})["place"] for option in options)
        keys = tuple(option.on.key for option in options)
        efforts = tuple(
            option.effort - effort("another place") * (there != plan["place"]) - effort("key") * (key != on.key)
            for option, there, key in zip(options, places, keys, strict=True)
        )
        hands = tuple(bool(option.on.hand) for option in options)
        along = tuple(number[point] for point in points if point in number)
        yield Start(plan["network"]["nodes"], tuple(normalised(list(of_group.values()))), tuple(of_group), places, keys, efforts, along, plan["place"], on.key, hands)  # fmt: skip


Where = tuple[str, str]  # a place and a key state
Way = Callable[[Sequence[int], Where], int | None]


def by_next(start: Start, *, costs: bool = False) -> Way:
    """What `next` asks for, with these groups left; at equal costs, or at those of the table from where the technician stands."""

    @cache
    def choose(left: tuple[int, ...], at: Where) -> int | None:
        shares = normalised([start.shares[n] for n in left])
        tables = {str(n): [start.groups[g][n] for g in left] for n in range(len(start.places))}
        tables = {n: table for n, table in tables.items() if len(set(table)) > 1}
        if not tables:
            return None
        cost = {n: _effort(start, int(n), at) if costs else 1.0 for n in tables}
        if len(left) <= EXACT_GROUPS:
            return int(best_tree(shares, tables, cost)[0])
        return int(max(tables, key=lambda n: gain_nat(shares, tables[n], outcomes=len(set(tables[n]))) / cost[n]))

    return lambda left, at: choose(tuple(left), at if costs else ("", ""))


def _effort(start: Start, n: int, at: Where) -> float:
    place, key = at
    return (
        start.efforts[n] + effort("another place") * (start.places[n] != place) + effort("key") * (start.keys[n] != key)
    )


def down(start: Start) -> Way:
    """The next point on the way that failed from the source on, until one is bad; what is beside the way then as `next` does it."""
    beside = by_next(start)

    def choose(left: Sequence[int], at: Where) -> int | None:
        return next((n for n in start.along if len({start.groups[g][n] for g in left}) > 1), beside(left, at))

    return choose


def half_split(start: Start) -> Way:
    """The middle one of the points on the way that failed that still part what is left; what is beside the way then as `next` does it."""
    beside = by_next(start)

    def choose(left: Sequence[int], at: Where) -> int | None:
        open_points = [n for n in start.along if len({start.groups[g][n] for g in left}) > 1]
        return open_points[len(open_points) // 2] if open_points else beside(left, at)

    return choose


def played(start: Start, choose: Way) -> tuple[float, float, float]:
    """Readings, places and key changes to be expected until nothing parts what is left."""

    def go(left: list[int], at: Where) -> tuple[float, float, float]:
        weight = sum(start.shares[g] for g in left)
        option = choose(left, at)
        if option is None:
            return 0.0, 0.0, 0.0
        there = start.places[option], start.keys[option]
        found = [weight, weight * (there[0] != at[0]), weight * (there[1] != at[1])]
        for band in {start.groups[g][option] for g in left}:
            for n, value in enumerate(go([g for g in left if start.groups[g][option] == band], there)):
                found[n] += value
        return found[0], found[1], found[2]

    return go(list(range(len(start.shares))), (start.plug, start.key))


@dataclass(frozen=True)
class Figures:
    """Of all cases: how many, nodes and groups on average, readings over the bound and over the best tree (of so many cases); readings, places visited and key changes by each way of going about it."""

    cases: int
    nodes: float
    groups: float
    over_bound: float
    over_best: float
    by_best: int
    with_hands: int  # cases in which something may be done by hand
    taken: dict[str, tuple[float, ...]]


def figures(every: Sequence[Start]) -> Figures:
    """The figures of some cases."""
    got = [(start, played(start, by_next(start))) for start in every]
    small = [(start, one) for start, one in got if len(start.shares) <= _BY_OPTIMUM]
    best = [best_tree(start.shares, {str(n): [g[n] for g in start.groups] for n in range(len(start.places))}, {str(n): 1.0 for n in range(len(start.places))})[1] for start, _ in small]  # fmt: skip
    ways: dict[str, Callable[[Start], Way]] = {
        "next, equal costs": by_next, "next": lambda start: by_next(start, costs=True), "half-split": half_split, "from the source down": down,
    }  # fmt: skip
    taken = {}
    for name, way in ways.items():
        others = [played(start, way(start)) for start in every]
        taken[name] = tuple(sum(one[n] for one in others) / len(others) for n in range(3))
    count = len(got)
    return Figures(
        count, sum(start.nodes for start, _ in got) / count, sum(len(start.shares) for start, _ in got) / count,
        sum(one[0] for _, one in got) / sum(start.bits for start, _ in got), sum(one[0] for _, one in small) / sum(best), len(small), sum(any(start.by_hand) for start in every), taken,
    )  # fmt: skip


def of_vehicles(modules: int, seeds: Sequence[int]) -> list[Start]:
    """The cases of some vehicles."""
    found: list[Start] = []
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            found += starts(Path(folder) / "coach", modules, seed)
    return found


if __name__ == "__main__":
    for modules, seeds in ((2, range(1, 9)), (6, range(1, 4))):
        print(modules, figures(of_vehicles(modules, list(seeds))), flush=True)
