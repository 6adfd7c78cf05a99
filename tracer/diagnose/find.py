"""Finding a fault: what explains the readings of a case, and the measurement that parts what is left for the least effort."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from tracer.case.case import Case
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.choice import choose
from tracer.diagnose.effort import changes, effort_of
from tracer.diagnose.faults import READING_WRONG, Fault
from tracer.diagnose.likely import (
    BRIGHT_SHARE,
    DEAD_SHARE,
    MOVED_SHARE,
    Evidence,
    Weighed,
    behind_a_diode,
    least_moved_v,
    level_of,
    setting_of,
)
from tracer.diagnose.predicted import Readings, Setting
from tracer.diagnose.values import Explains, Measurement
from tracer.entry.problems import listed
from tracer.standards import figures
from tracer.standards.faults import by_hand
from tracer.standards.values import dataclass

_LIVE = 1e-3  # what has a smaller share steers nothing, and stays a candidate
NAMED = 0.01  # what has a smaller share is not named among the outcomes
_TELLS = 0.05
_BY_HAND = 0.05
_MOST_SETTINGS = 5
_GONE = ("not-reached", "not-fitted")
DEAD, WEAK, GOOD = 0, 1, 2


@dataclass(frozen=True)
class Option:
    """One measurement that could be taken: a point or row under conditions; `label` is its band with each live fault, `good_v` what a lamp moves it by at most where it is in order."""

    name: str
    on: Conditions
    level: str
    label: tuple[int, ...]
    good_v: float
    effort: float

    @property
    def with_lamp(self) -> bool:
        """Whether it has a second value."""
        return self.on.lamp_w is not None


class Finding:
    """What is left of the faults of a case, and what would part them. `of` is the row that failed."""

    def __init__(self, case: Case, weighed: Weighed, of: str, on: Conditions) -> None:
        self.case, self.weighed, self.of, self.on = case, weighed, of, on
        self.network: Mapping[str, Any] = case.plan["network"]

    # --- what explains ---------------------------------------------------------------------------------------------

    @cached_property
    def live(self) -> list[int]:
        """The faults that steer the choice, the likeliest first."""
        order = np.argsort(-self.weighed.share, kind="stable").tolist()
        return [n for n in order if self.weighed.share[n] > _LIVE] or order[:1]

    def explains(self) -> Iterator[Explains]:
        """Every fault, the likeliest first; those that no measurement parts have one number of a group."""
        group: dict[tuple[Any, ...], int] = {}
        labels = {n: tuple(option.label[at] for option in self.options) for at, n in enumerate(self.live)}
        for n in np.argsort(-self.weighed.share, kind="stable").tolist():
            fault = self.weighed.faults[n]
            misread = (one.contradicts[self.weighed.best[n]] for one in self.weighed.evidence)
            key = (*labels[n], *misread) if n in labels else (-1, n)
            yield Explains(
                self.words(fault), float(self.weighed.share[n]), fault.how, tuple(self._said(n, against=False)),
                tuple(self._said(n, against=True)), group.setdefault(key, len(group)),
            )  # fmt: skip

    def words(self, fault: Fault) -> str:
        """A fault as the row that failed calls its pieces."""
        if self._is_piece(fault):
            return self._row_words.get(fault.pieces[0], fault.what)
        return fault.what

    def _is_piece(self, fault: Fault) -> bool:
        return len(fault.pieces) == 1 and bool(fault.what == self.network["pieces"][fault.pieces[0]]["what"])

    @cached_property
    def _row_words(self) -> dict[int, str]:
        row = self.case.plan["rows"].get(self.of)
        return {} if row is None else dict(zip(self.network["ways"][self.of], row["parts"], strict=True))

    def _said(self, n: int, *, against: bool) -> Iterator[str]:
        """The readings that speak for a fault, or against it, each once with how often."""
        atom = self.weighed.best[n]
        told: Counter[str] = Counter()
        for one in self.weighed.evidence:
            if against and one.contradicts[atom]:
                told[f"{self.read(one.reading)} ({self._expected(one, atom)} expected)"] += 1
            elif not against and n and not one.contradicts[atom] and (one.contradicts[0] or id(one) in self._telling):
                told[self.read(one.reading)] += 1
        yield from (words if count == 1 else f"{words} ({count} times)" for words, count in told.items())

    @cached_property
    def _telling(self) -> set[int]:
        """The readings that speak against much of what the others leave."""
        return {id(one) for one in self.weighed.evidence if self.weighed.tells(one) > _TELLS}

    def read(self, one: Reading) -> str:
        """'5+ dead', 'S12 12.59/12.39'."""
        return f"{self.case.short(one.name)} {'/'.join(value.text for value in one.values)}"

    def _expected(self, one: Evidence, atom: int) -> str:
        read = one.predicted
        if read.floats[atom]:
            return "hanging on nothing"
        shown = read.bare_v[atom] if read.lit_v is None else read.lit_v[atom]
        return figures.volts(float(shown)) + ("" if read.lit_v is None else " with the lamp")

    # --- what could be measured ------------------------------------------------------------------------------------

    @cached_property
    def options(self) -> list[Option]:
        """Every measurement that parts what is left; never at a hazard, at what was not reached, or what was read so already."""
        found: dict[tuple[str, Setting, float | None], tuple[str, Conditions, str]] = {}
        read = {(one.name, setting_of(self.case.plan, one.conditions), one.conditions.lamp_w) for one in self.case.readings if one.values}  # fmt: skip
        gone = {one.name for one in self.case.readings if one.status in _GONE}
        settings: dict[Setting, None] = {}
        for name, on in self._wanted():
            setting = setting_of(self.case.plan, on)
            if setting is None or name in gone or (name, setting, on.lamp_w) in read or name not in self.network["at"]:
                continue
            if setting in settings or len(settings) < _MOST_SETTINGS:
                settings[setting] = None
                found.setdefault((name, setting, on.lamp_w), (name, on, level_of(self.case.plan, name)))
        return list(self._labelled(found))

    def _wanted(self) -> Iterator[tuple[str, Conditions]]:
        """Points and rows with the conditions they would be read under: the way that failed first, then the tests of rows that share what is left, and what relays on it need."""
        plan, pieces = self.case.plan, {piece for n in self.live for piece in self.weighed.faults[n].pieces}
        shared = [row for row, way in self.network["ways"].items() if pieces.intersection(way)]
        rows = [row for row in dict.fromkeys((self.of, *shared)) if row in plan["rows"] and not plan["rows"][row]["no_method"]]  # fmt: skip
        for row in rows:
            tests = [test for test in plan["rows"][row]["tests"] if test["key"]]
            own = self.on if row == self.of else None
            for test in tests:
                on = Conditions(
                    key=test["key"], plugged=False, lamp_w=test["lamp_w"], out=tuple(sorted(test["out"])),
                    leads=tuple("-".join(lead) for lead in test["leads"]),
                )  # fmt: skip
                yield from ((name, on) for name in (row, *(self._points(row) if test is tests[0] and own is None else ())))  # fmt: skip
            if own is not None:
                yield from ((name, own) for name in self._points(row))
                bare = replace(own, lamp_w=None)
                for chain in shared:
                    if chain in plan["chains"]:
                        yield from ((name, bare) for name in (chain, *self._points(chain)))

    def _points(self, row: str) -> list[str]:
        """The points of a way that may be touched, from the source on."""
        points = self.case.plan["points"]
        ends = (end for n in self.network["ways"][row] if n >= 0 for end in self.network["pieces"][n]["ends"])
        at, pin = self.network["at"], self.network["at"].get(row)
        return [one for one in dict.fromkeys(ends) if one in points and not points[one]["never"] and at.get(one) != pin]

    def _labelled(self, wanted: Mapping[tuple[str, Setting, float | None], tuple[str, Conditions, str]]) -> Iterator[Option]:  # fmt: skip
        atoms = [0, *(self.weighed.best[n] for n in self.live)]
        every = self.weighed.predicted.faults.atoms
        by_setting: dict[tuple[Setting, str, float | None], list[tuple[str, Conditions]]] = {}
        for (_, setting, lamp_w), (name, on, level) in wanted.items():
            by_setting.setdefault((setting, level, lamp_w), []).append((name, on))
        solved = {setting: self.weighed.predicted.some(setting, [every[n] for n in atoms]) for setting in dict.fromkeys(key[0] for key in by_setting)}  # fmt: skip
        for (setting, level, lamp_w), some in by_setting.items():
            nodes = [self.network["at"][name] for name, _ in some]
            for (name, on), read in zip(some, solved[setting].of_nodes(nodes, level, lamp_w), strict=True):
                label, good_v = self._bands(name, level, lamp_w, read)
                if len(set(label[1:])) > 1:
                    where = self.case.plan["points"].get(name, {"place": self.case.plan["place"]})
                    yield Option(name, on, level, label[1:], good_v, effort_of(self.case, on, name, where))

    def _bands(self, name: str, level: str, lamp_w: float | None, read: Readings) -> tuple[tuple[int, ...], float]:
        battery_v = float(read.post_v[0])
        supply = level == "supply"
        bare = np.where(read.floats, 0.0 if supply else battery_v, read.bare_v if supply else battery_v - read.bare_v)
        if not supply:
            bare = np.where(read.floats, 0.0, bare)
        if read.lit_v is None:
            bands = np.where(bare < DEAD_SHARE * battery_v, DEAD, np.where(bare > BRIGHT_SHARE * battery_v, GOOD, WEAK))
            return tuple(bands.tolist()), 0.0
        lit = read.lit_v if supply else battery_v - read.lit_v
        moved = bare - lit
        good_v = (1.0 + 2 * MOVED_SHARE) * max(float(moved[0]), 0.0) + 2 * least_moved_v((lamp_w or 0.0) / self.weighed.predicted.system_v) + (0.3 if behind_a_diode(self.case.plan, name) else 0.0)  # fmt: skip
        bands = np.where(lit < DEAD_SHARE * battery_v, DEAD, np.where(moved <= good_v, GOOD, WEAK))
        return tuple(bands.tolist()), good_v

    # --- the choice ------------------------------------------------------------------------------------------------

    def next(self) -> Measurement | None:
        """The measurement that tells most for its effort; None where none parts what is left."""
        options = {str(n): option for n, option in enumerate(self.options)}
        if not options:
            return None
        chosen = choose(
            [float(self.weighed.share[n]) for n in self.live],
            {name: option.label for name, option in options.items()},
            {name: option.effort for name, option in options.items()},
        )
        return None if chosen is None else self._measurement(options[chosen])

    def _measurement(self, option: Option) -> Measurement:
        short = self.case.short(option.name)
        place = self.case.plan["points"].get(option.name, {"place": self.case.plan["place"]})["place"]
        lamp = option.with_lamp
        seen = {
            GOOD: f"good: the lamp moves it by {figures.volts(option.good_v)} at most" if lamp else "live" if option.level == "supply" else "ground: next to no volts",
            WEAK: "weak: dim, or moved by clearly more" if lamp else "something between",
            DEAD: "dead" if option.level == "supply" else "no ground",
        }  # fmt: skip
        outcomes = tuple((seen[band], self._left([n for n, one in zip(self.live, option.label, strict=True) if one == band])) for band in (GOOD, WEAK, DEAD) if band in option.label)  # fmt: skip
        leads = tuple(f"fused lead from pin {lead.replace('-', ' to ', 1)}" for lead in option.on.leads)
        typed = f"tracer read battery=VOLTS {short}={'ALONE/LAMP/lit' if lamp else 'VOLTS'}"
        return Measurement(short, changes(self.case.conditions, option.on), leads, typed, outcomes, option.effort, place)  # fmt: skip

    def _left(self, faults: Sequence[int]) -> str:
        """What an outcome leaves, in words."""
        likely = [n for n in faults if self.weighed.share[n] >= NAMED] or list(faults[:1])
        return self.span(likely)

    def span(self, faults: Iterable[int]) -> str:
        """Faults in words: pieces of the way that failed in its order, one of n from the first to the last."""
        place = {n: at for at, n in enumerate(self.network["ways"].get(self.of, ()))}
        found = [self.weighed.faults[n] for n in faults]
        along = sorted((fault for fault in found if self._is_piece(fault) and fault.pieces[0] in place), key=lambda one: place[one.pieces[0]])  # fmt: skip
        pieces = list(dict.fromkeys(self.words(fault) for fault in along))
        others = [self.words(fault) for fault in found if fault not in along and fault.pieces]
        others += ["a reading was wrong"] * any(not fault.pieces for fault in found)
        said = [f"one of {len(pieces)} from {pieces[0]} to {pieces[-1]}"] if len(pieces) > 3 else pieces
        return listed([*said, *others], joiner="or", most=4)

    def by_hand(self) -> tuple[tuple[str, str], ...]:
        """What may be done beside reading: to the likeliest pieces, each with what it would mean. Nothing on a way with a hazard."""
        found: dict[str, str] = {}
        points = self.case.plan["points"]
        never = {n for n, piece in enumerate(self.network["pieces"]) if any(points.get(end, {}).get("never") for end in piece["ends"])}  # fmt: skip
        for n in self.live:
            fault = self.weighed.faults[n]
            kind = "short" if fault.what.startswith("short ") else self.network["pieces"][fault.pieces[0]]["kind"] if self._is_piece(fault) else ""  # fmt: skip
            offered = self.weighed.share[n] >= _BY_HAND and never.isdisjoint(fault.pieces)
            for do, means in by_hand(kind) if offered else ():
                part = self.network["pieces"][fault.pieces[0]]["part"]
                found.setdefault(do.replace("{what}", self.words(fault)).replace("{part}", part), means)
        return tuple(found.items())[:2]


def surprising(weighed: Weighed, readings: Sequence[Reading]) -> Reading | None:
    """A reading that is rather wrong than right by all the others, and was not repeated yet: before it turns the conclusion it is taken once more."""
    for one in reversed(weighed.evidence):
        again = [other for other in readings if other.values and other.name == one.reading.name and _same(other.conditions, one.reading.conditions)]  # fmt: skip
        if len(again) > 1:
            continue
        others = weighed.without(one)
        right = float(others @ one.fits)
        if right < 0.02 * one.wrong:
            return one.reading
    return None


def _same(one: Conditions, other: Conditions) -> bool:
    return (one.key, one.plugged, one.lamp_w, one.out, one.leads) == (other.key, other.plugged, other.lamp_w, other.out, other.leads)  # fmt: skip


__all__ = ["NAMED", "READING_WRONG", "Finding", "surprising"]
