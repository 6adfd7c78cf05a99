"""Finding a fault: what explains the readings of a case, and the measurement that parts what is left for the least effort."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from tracer.case.by_hand import BRIDGE, SWAP, WIGGLE, ByHand, known
from tracer.case.case import Case
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.bus_options import long_lead, on_buses
from tracer.diagnose.choice import EXACT_GROUPS, choose
from tracer.diagnose.counted import taken_as
from tracer.diagnose.effort import changes, effort_of, place_of, typed
from tracer.diagnose.faults import READING_WRONG, Atom, Fault
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
from tracer.diagnose.on_bus import asked
from tracer.diagnose.option import Option
from tracer.diagnose.predicted import PredictedRow, Setting
from tracer.diagnose.values import Explains, Measurement
from tracer.entry.problems import listed
from tracer.standards import figures
from tracer.standards.faults import by_hand, slip

_LIVE = 1e-3  # what has a smaller share steers nothing, and stays a candidate
NAMED = 0.01  # what has a smaller share is not named among the outcomes
_TELLS = 0.05
_BY_HAND = 0.05
_MOST_SETTINGS = 5
_GONE = ("not-reached", "not-fitted")
_MOST_HANDS = 4
_WIGGLED = ("as before", "it flickers, or comes back")
DEAD, WEAK, GOOD = 0, 1, 2


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
        what = asked(self.case.plan, self.of)
        return fault.what if what is not None and what.called == fault.bus else fault.called

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
        """A reading in words."""
        return in_words(self.case, one)

    def surprises(self, one: Reading) -> str:
        """That a reading does not fit the others, in words."""
        return f"{self.read(one)} is not as the other readings let expect"

    def _expected(self, one: Evidence, atom: int) -> str:
        return one.predicted.said(atom)

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
            if name in gone or setting is None or (name, setting, on.lamp_w) in read or name not in self.network["at"]:
                continue
            if setting in settings or on.hand or len(settings) < _MOST_SETTINGS:
                settings[setting] = None
                found.setdefault((name, setting, on.lamp_w), (name, on, level_of(self.case.plan, name)))
        return [*self._labelled(found), *self._wiggles(), *on_buses(self.case, self._atoms)]

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
        if self.of in plan["rows"]:
            yield from ((self.of, replace(self.on, hand=one.word)) for one in self._hands if one.do != WIGGLE)

    @cached_property
    def _hands(self) -> list[ByHand]:
        """What may be done by hand to the likeliest pieces while the row that failed is read; nothing where a way with a hazard leads, no lead where a short may be."""
        if len(self.live) > EXACT_GROUPS or self.on.plugged:
            return []
        found: dict[str, ByHand] = {}
        short = any(self.weighed.faults[n].what.startswith("short ") for n in self.live)
        for n in self.live:
            fault = self.weighed.faults[n]
            for word in self._hand_words(fault.pieces[0]) if self._is_piece(fault) and self._never.isdisjoint(fault.pieces) else ():  # fmt: skip
                done = known(self.case.plan, word)
                if done is not None and self._never.isdisjoint(done.pieces) and not (short and done.do == BRIDGE):
                    found.setdefault(word, done)
        return list(found.values())[:_MOST_HANDS]

    def _hand_words(self, n: int) -> Iterator[str]:
        piece, points = self.network["pieces"][n], self.case.plan["points"]
        if self.case.things.parts.get(piece["part"], {}).get("kind") == "relay" and piece["kind"] in ("contact", "coil"):  # fmt: skip
            yield f"{SWAP}:{piece['part']}"
        if piece["kind"] in ("contact", "fuse", "wire") and all(end in points and not points[end]["never"] for end in piece["ends"]):  # fmt: skip
            yield f"{BRIDGE}:{'-'.join(piece['ends'])}"
        if piece["kind"] in ("mating", "bussed") and piece["part"]:
            yield f"{WIGGLE}:{piece['part']}"

    @cached_property
    def _never(self) -> set[int]:
        """The pieces at whose ends nothing may be measured or done."""
        points = self.case.plan["points"]
        return {n for n, piece in enumerate(self.network["pieces"]) if any(points.get(end, {}).get("never") for end in piece["ends"])}  # fmt: skip

    def _wiggles(self) -> Iterator[Option]:
        """A connector moved or warmed while the row is read: it does not always show, so it counts for twice its effort."""
        tried = {(one.name, one.conditions.hand) for one in self.case.readings if one.values}
        for one in self._hands if self.of in self.case.plan["rows"] else ():
            label = tuple(int(bool(set(one.pieces).intersection(self.weighed.faults[n].pieces))) for n in self.live)
            if one.do == WIGGLE and len(set(label)) > 1 and (self.of, one.word) not in tried:
                on = replace(self.on, hand=one.word)
                effort = effort_of(self.case, on, self.of, {"place": place_of(self.case, self.of)}) / slip("wiggle shows it")  # fmt: skip
                yield Option(self.of, on, level_of(self.case.plan, self.of), label, 0.0, effort, _WIGGLED)

    def _points(self, row: str) -> list[str]:
        """The points of a way that may be touched, from the source on."""
        points = self.case.plan["points"]
        ends = (end for n in self.network["ways"][row] if n >= 0 for end in self.network["pieces"][n]["ends"])
        at, pin = self.network["at"], self.network["at"].get(row)
        return [one for one in dict.fromkeys(ends) if one in points and not points[one]["never"] and at.get(one) != pin]

    def _labelled(self, wanted: Mapping[tuple[str, Setting, float | None], tuple[str, Conditions, str]]) -> Iterator[Option]:  # fmt: skip
        every = self._atoms
        by_setting: dict[tuple[Setting, str, float | None], list[tuple[str, Conditions]]] = {}
        for (_, setting, lamp_w), (name, on, level) in wanted.items():
            by_setting.setdefault((setting, level, lamp_w), []).append((name, on))
        solved = {setting: self.weighed.predicted.some(setting, every) for setting in dict.fromkeys(key[0] for key in by_setting)}  # fmt: skip
        for (setting, level, lamp_w), some in by_setting.items():
            nodes = [self.network["at"][name] for name, _ in some]
            for (name, on), read in zip(some, solved[setting].of_nodes(nodes, level, lamp_w), strict=True):
                label, good_v = self._bands(name, level, lamp_w, read)
                if len(set(label[1:])) > 1:
                    where = self.case.plan["points"].get(name, {"place": self.case.plan["place"]})
                    yield Option(name, on, level, label[1:], good_v, effort_of(self.case, on, name, where))

    @cached_property
    def _atoms(self) -> list[Atom]:
        """Nothing wrong, then the likeliest atom of each live fault."""
        every = self.weighed.predicted.faults.atoms
        return [every[n] for n in (0, *(self.weighed.best[n] for n in self.live))]

    def _bands(self, name: str, level: str, lamp_w: float | None, read: PredictedRow) -> tuple[tuple[int, ...], float]:
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
        place, lamp = place_of(self.case, option.name), option.with_lamp
        seen = {
            GOOD: f"good: the lamp moves it by {figures.volts(option.good_v)} at most" if lamp else "live" if option.level == "supply" else "ground: next to no volts",
            WEAK: "weak: dim, or moved by clearly more" if lamp else "something between",
            DEAD: "dead" if option.level == "supply" else "no ground",
        }  # fmt: skip
        seen = dict(enumerate(option.seen)) or seen
        outcomes = tuple((seen[band], self._left([n for n, one in zip(self.live, option.label, strict=True) if one == band])) for band in sorted(seen, reverse=not option.seen) if band in option.label)  # fmt: skip
        leads = tuple(f"a fused lead from pin {lead.replace('-', ' to ', 1)}" for lead in option.on.leads)
        if (done := known(self.case.plan, option.on.hand)) is not None:
            leads = (*leads, done.called)
        if option.level == "bus":
            leads = tuple(f"{part} unplugged, and in again before the next" for part in option.on.out)
            if line := long_lead(self.case.plan, option.name):
                leads += (f"a long lead from line {line} at the plug of {self.case.plan['module']} to {option.name.partition('@')[2]}",)  # fmt: skip
        words = typed(self.case, option.name, option.on, "ALONE/LAMP/lit" if lamp else "VOLTS")
        if option.seen == _WIGGLED:
            words += f", or {short}=flickers"
        return Measurement(short, changes(self.case.conditions, option.on), leads, words, outcomes, option.effort, place)  # fmt: skip

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
        others = [self.words(fault) for fault in found if fault not in along and fault.what != READING_WRONG]
        others += ["a reading was wrong"] * any(fault.what == READING_WRONG for fault in found)
        said = [f"one of {len(pieces)} from {pieces[0]} to {pieces[-1]}"] if len(pieces) > 3 else pieces
        return listed([*said, *others], joiner="or", most=4)

    def by_hand(self) -> tuple[tuple[str, str], ...]:
        """What may be done beside reading: to the likeliest pieces, each with what it would mean. Nothing on a way with a hazard."""
        found: dict[str, str] = {}
        for n in self.live:
            fault = self.weighed.faults[n]
            kind = "short" if fault.what.startswith("short ") else self.network["pieces"][fault.pieces[0]]["kind"] if self._is_piece(fault) else ""  # fmt: skip
            offered = self.weighed.share[n] >= _BY_HAND and self._never.isdisjoint(fault.pieces)
            for do, means in by_hand(kind) if offered else ():
                part = self.network["pieces"][fault.pieces[0]]["part"]
                found.setdefault(do.replace("{what}", self.words(fault)).replace("{part}", part), means)
        return tuple(found.items())[:2]


def in_words(case: Case, one: Reading) -> str:
    """'5+ dead', 'S12 12.59/12.39'."""
    return f"{case.short(one.name)} {'/'.join(value.text for value in one.values)}"


def surprising(weighed: Weighed, readings: Sequence[Reading]) -> Reading | None:
    """A reading that is rather wrong than right by all the others, and was not repeated yet: before it turns the conclusion it is taken once more."""
    for one in reversed(weighed.evidence):
        again = [other for other in readings if other.values and other.name == one.reading.name and taken_as(other.conditions) == taken_as(one.reading.conditions)]  # fmt: skip
        if len(again) > 1:
            continue
        others = weighed.without(one)
        right = float(others @ one.fits)
        if right < 0.02 * one.wrong:
            return one.reading
    return None


__all__ = ["NAMED", "READING_WRONG", "Finding", "in_words", "surprising"]
