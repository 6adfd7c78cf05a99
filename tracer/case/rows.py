"""Each row of a case with what all its readings together prove.

A row is proven by its pin alone, unplugged, under the lamp: the drop from the battery post without the lamp, and by how much the lamp moves it, both within
the figures of the plan. It is proven only where these figures fail a bad joint of 0.5 ohm in every piece of its way, meter errors included; pieces that lie
side by side want a test each with the others opened. The last reading under the conditions of a test must be the one that passes; once something spoke against
the row there, good readings settle it only when more of them follow in a row than spoke against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from tracer.case.bus_levels import kept_lines, line_levels_v
from tracer.case.case import Case
from tracer.case.judged import AGAINST, Judged, Says, decides, in_order, judged, test_words
from tracer.case.readings import Reading
from tracer.case.touched import TOUCHING, is_stale, stale_words
from tracer.entry.problems import listed
from tracer.plan.words import CRANKING, line_name
from tracer.standards import figures

NO_READING = "no reading yet"
_LINE_OFF_V = 0.1  # of a line that is awake, the meter's average (common practice, no source)
_CALLED = {Says.OTHERWISE: "doubtful", Says.UNCLEAR: "doubtful"}


@dataclass(frozen=True, slots=True)
class RowProof:
    """What is known of a row.

    `state`: proven, failed, doubtful, open-circuit only, stale, not reached, not fitted, waived, not read. `by` are the readings it rests on, `pieces` what is
    cleared by it when proven, what may hold the fault when failed. `source` is where the limit is from. `passed` are readings that passed a test of the plan,
    whatever else the row still wants.
    """

    name: str
    short: str
    state: str
    reason: str
    by: tuple[Reading, ...] = ()
    pieces: tuple[str, ...] = ()
    source: str = ""
    waived: str = ""
    repeat: bool = (
        False  # its readings disagree, or one alone says that it is bad: it is read once more before anything else
    )
    passed: tuple[Judged, ...] = ()
    failed: tuple[Judged, ...] = ()  # the readings under the same conditions by which it has failed

    @property
    def unread(self) -> bool:
        """Whether there is nothing to say of it but that nobody has read it."""
        return self.reason == NO_READING

    @property
    def set_aside(self) -> str:
        """'8+ was waived (no figure decides)', where a row was settled without being measured; empty where it was not."""
        said = {"waived": f"was waived ({self.waived})", "not fitted": f"is said not to be fitted ({self.reason})"}
        return f"{self.short} {said[self.state]}" if self.state in said else ""


@dataclass(frozen=True, slots=True)
class _Group:
    """The readings of a row under the conditions of one test or, without a test, in one key state, in order."""

    readings: tuple[Judged, ...]
    good: Says

    @property
    def state(self) -> str:
        """good, failed, disputed (something speaks against it and is not outweighed), unclear, or empty where nothing is said."""
        said = [one for one in self.readings if one.says in (*AGAINST, self.good, Says.UNCLEAR)]
        if not said:
            return ""
        if sum(one.says is Says.BAD for one in _after_last(said, self.good)) > 1:
            return "failed"
        spoken = [one.says is self.good for one in said if one.says is not Says.UNCLEAR]
        if not outweighs(spoken):
            return "disputed"
        return "good" if said[-1].says is self.good else "unclear"

    @property
    def against(self) -> list[Judged]:
        return [one for one in self.readings if one.says in AGAINST]

    def last(self, *says: Says) -> Judged:
        return next(one for one in reversed(self.readings) if one.says in says)


def outweighs(good: Sequence[bool]) -> bool:
    """Whether the readings at the end agree, and are more in a row than any that disagreed with them in a row before."""
    longest = run = 0
    for one in good:
        run = 0 if one else run + 1
        longest = max(longest, run)
    end = next((n for n, one in enumerate(reversed(good)) if not one), len(good))
    return end > longest or not good


def _after_last(said: Sequence[Judged], good: Says) -> Sequence[Judged]:
    last = max((n for n, one in enumerate(said) if one.says is good), default=-1)
    return said[last + 1 :]


@dataclass(frozen=True, slots=True)
class _Row:
    """A row with its readings that still count."""

    case: Case
    name: str
    kept: Mapping[str, Any]
    judged: tuple[Judged, ...]
    groups: Mapping[Any, _Group] = field(default_factory=dict)

    @property
    def passed(self) -> tuple[Judged, ...]:
        return tuple(group.last(Says.PASSES) for group in self.groups.values() if group.good is Says.PASSES and group.state == "good")  # fmt: skip

    def keys_left(self) -> list[str]:
        """The key states, beside those of its tests, in which the row was not yet seen live or dead as the list says. While cranking none is asked for."""
        if self.kept["level"] == "ground":
            return []
        tested = {test["key"] for test in self.kept["tests"]}
        seen = {key for (key, *_), group in self.groups.items() if group.good is Says.LISTED and group.state == "good"}
        wrong = {key for (key, *_), group in self.groups.items() if group.state in ("disputed", "failed") and group.good is Says.LISTED}  # fmt: skip
        wanted = {key for key, live in self.kept["live"].items() if live in ("live", "dead") and key not in (*CRANKING, *tested)}  # fmt: skip
        return [key for key in self.kept["live"] if key in wrong or (key in wanted and key not in seen)]


def _read(case: Case, name: str) -> _Row:
    row = case.plan["rows"][name]
    found = tuple(
        judged(case, name, one) for one in in_order(case) if one.name == name and not is_stale(case, name, one)
    )
    return _Row(case, name, row, found, _grouped(case, name, found))


def _grouped(case: Case, name: str, found: Iterable[Judged]) -> dict[Any, _Group]:
    """Readings of a row by their conditions."""
    tested = {(test["key"], tuple(sorted(test["out"]))) for test in case.plan["rows"][name]["tests"]}
    groups: dict[Any, list[Judged]] = {}
    for one in found:
        groups.setdefault(one.group, []).append(one)
    goods = {at: Says.PASSES if at[:2] in tested else Says.LISTED for at in groups}
    return {at: _Group(tuple(_as_taken(case, some, goods[at])), goods[at]) for at, some in groups.items()}


def _as_taken(case: Case, some: Sequence[Judged], good: Says) -> list[Judged]:
    """Readings in order, but a good one that a phone took before a bad one and handed over after it stands before that one: it says nothing of what came since.

    A bad one stays behind what was good, since clocks differ.
    """
    handed, found = set(case.handed.values()), list[Judged]()
    for one in some:
        early = one.says is good and one.reading.n in handed
        later = (n for n, other in enumerate(found) if early and other.says in AGAINST and _taken(other) > _taken(one))
        found.insert(next(later, len(found)), one)
    return found


def _taken(one: Judged) -> datetime:
    return datetime.fromisoformat(one.reading.at)


def rows_of(case: Case) -> tuple[RowProof, ...]:
    """Every row, those of the buses last."""
    return tuple(_waived(case, one) for one in (*(_proof(case, name) for name in case.plan["rows"]), *_buses_read(case)))  # fmt: skip


def _waived(case: Case, found: RowProof) -> RowProof:
    """A row that is set aside with a reason; never one that failed or was read bad, nor one that was proven all the same."""
    why = next((note.why for note in reversed(case.notes_of("waive")) if found.name in note.words), "")
    if not why or found.state in ("failed", "proven") or found.repeat:
        return found
    if bad := _bad_before(case, found.name):
        return replace(found, reason=f"{found.reason}; a waiver hides no bad reading ({bad}): read it once more")
    return RowProof(found.name, found.short, "waived", found.reason, found.by, (), found.source, why, passed=found.passed)  # fmt: skip


def _bad_before(case: Case, name: str) -> str:
    """The readings by which a row was bad when something on its way was touched, and under whose conditions it was not read good since; empty where there are none.

    That something was touched, or even repaired, does not make it good.
    """
    untouched = replace(case, notes=tuple(note for note in case.notes if note.kind not in TOUCHING))
    if name not in case.plan["rows"]:
        fresh = any(one.name == name and one.values and not is_stale(case, name, one) for one in case.readings)
        bad = () if fresh else next((one.by for one in _buses_read(untouched) if one.name == name and (one.state == "failed" or one.repeat)), ())  # fmt: skip
        return ", ".join(one.id for one in bad)
    now = _read(case, name).groups
    then = _grouped(case, name, [judged(case, name, one) for one in in_order(case) if one.name == name])
    kept = (group for at, group in then.items() if group.state in ("failed", "disputed") and not (at in now and now[at].state == "good"))  # fmt: skip
    return _ids(one for group in kept for one in group.against)


def _proof(case: Case, name: str) -> RowProof:
    short, row = case.short(name), case.plan["rows"][name]
    readings = [one for one in in_order(case) if one.name == name]
    now = _read(case, name)
    everything, source = tuple(one.reading for one in now.judged if one.reading.values), _source(row)

    def said(state: str, reason: str, by: Iterable[Reading] = (), **more: Any) -> RowProof:
        if state not in ("proven", "failed") and (old := stale_words(case, name, readings)):
            reason = f"{reason}; {old}"  # what would have said more
        return RowProof(name, short, state, reason, tuple(by), source=source, passed=now.passed, **more)

    failed = [group for group in now.groups.values() if group.state == "failed"]
    if failed:
        worst = max(failed, key=lambda group: now.judged.index(group.last(Says.BAD)))
        bad = [one for one in _after_last(worst.readings, worst.good) if one.says is Says.BAD]
        pieces = tuple(piece for piece in row["parts"] if piece not in _opened(row, bad[-1].reading))
        reason = f"{bad[-1].reason}{_good_before(worst)}"
        return said("failed", reason, [one.reading for one in bad], pieces=pieces, failed=tuple(bad))
    disputed = [group for group in now.groups.values() if group.state == "disputed"]
    if disputed:
        return said("doubtful", _disputed(disputed[-1]), [one.reading for one in disputed[-1].readings if one.says in (*AGAINST, disputed[-1].good)], repeat=True)  # fmt: skip
    last = readings[-1] if readings else None
    if last is not None and last.status in ("not-reached", "not-fitted"):
        if last.status == "not-fitted" and any(one.says in (Says.PASSES, Says.LISTED) for one in now.judged):
            return said("doubtful", f"said not to be fitted ({last.why}), yet it was read", (*everything, last))
        if last.status == "not-fitted" and (old := _bad_before(case, name)):
            return said("doubtful", f"said not to be fitted ({last.why}), yet it read bad before ({old})", (last,))
        return RowProof(name, short, last.status.replace("-", " "), last.why, (last,))
    if withheld := case.withheld(name):
        return RowProof(name, short, "not read", withheld)
    if last is None:
        return RowProof(name, short, "not read", NO_READING)
    if not now.judged:
        return RowProof(name, short, "stale", stale_words(case, name, readings), tuple(readings))
    unclear = [group for group in now.groups.values() if group.state == "unclear"]
    if unclear:
        return said("doubtful", unclear[-1].last(Says.UNCLEAR).reason, everything)
    final = now.judged[-1]
    if missing := _missing(row, [one.test for one in now.passed if one.test is not None]):
        if now.passed:
            return said("doubtful", missing, everything)
        return said(_CALLED.get(final.says, "open-circuit only"), final.reason or missing, [final.reading])
    if left := now.keys_left():
        return said("doubtful", f"still to be read by meter in key {', '.join(left)}", [one.reading for one in now.passed])  # fmt: skip
    pieces = tuple(dict.fromkeys(piece for one in now.passed for piece in (one.test or {})["proves"]))
    reason = f"alone with the lamp, {_moved(now.passed[-1].reading, row['level'])}{_outweighed(now)}"
    return said("proven", reason, [one.reading for one in now.passed], pieces=pieces)


def _opened(row: Mapping[str, Any], one: Reading) -> set[str]:
    """The pieces that were out of the way at a reading: those that only tests without these parts out run through."""
    out = {word.casefold() for word in one.conditions.out}
    return {piece for piece in row["parts"] if piece.casefold().partition(" (")[0] in out}


def _disputed(group: _Group) -> str:
    """Why a row that was read bad is read once more."""
    worst, good = group.last(*AGAINST), [one for one in group.readings if one.says is group.good]
    if not good and len(group.against) > 1:
        return f"{worst.reason}, each time ({_ids(group.against)}): `tracer next` weighs what explains it"
    if not good:
        return f"{worst.reason}: read it once more before anything is concluded"
    return f"it was read good ({_ids(good)}) and bad ({_ids(group.against)}; {worst.reason}): it counts once it reads good more often in a row than it read bad"  # fmt: skip


def _outweighed(now: _Row) -> str:
    """What spoke against a row and was outweighed: it stays named."""
    bad = [one for group in now.groups.values() for one in group.against]
    return f"; read bad before ({_ids(bad)}: {bad[-1].reason}) and good more often in a row since" if bad else ""


def _good_before(group: _Group) -> str:
    """What read good before a row failed: it came since, or comes and goes."""
    good = [one for one in group.readings if one.says is group.good]
    return f"; it read good before ({_ids(good)})" if good else ""


def _ids(found: Iterable[Judged]) -> str:
    return ", ".join(dict.fromkeys(one.reading.id for one in found))


def _missing(row: Mapping[str, Any], passed: Sequence[Mapping[str, Any]]) -> str:
    """What of its way no passed test was through alone; empty where nothing is left."""
    if row["not_told_apart"]:
        return f"side by side, and no test tells them apart: {listed(row['not_told_apart'], most=4)}"
    cleared = {piece for test in passed for piece in test["proves"]}
    left = [piece for piece in row["parts"] if piece not in cleared]
    if not left and passed:
        return ""
    wanted = [test_words(test) for test in row["tests"] if not set(test["proves"]) <= cleared]
    return f"not proven by itself: {listed(left, most=4)} ({'; '.join(wanted) or 'no test'})"


def still_wanted(case: Case, name: str) -> tuple[list[Mapping[str, Any]], list[str]]:
    """What a row still wants to be proven: tests of its plan that no reading passed, and key states to be read by meter."""
    now = _read(case, name)
    cleared = {piece for one in now.passed for piece in (one.test or {})["proves"]}
    wanted = [test for test in now.kept["tests"] if decides(test) and not (test["proves"] and set(test["proves"]) <= cleared)]  # fmt: skip
    return wanted, now.keys_left()


def _moved(one: Reading, level: str) -> str:
    moved = one.moved_ends(level)
    return f"moved by {figures.volts(moved[1])} (entry {one.id})" if moved is not None else f"entry {one.id}"


def _source(row: Mapping[str, Any]) -> str:
    return str(row["tests"][0]["source"]) if row["tests"] else ""


# --- buses -------------------------------------------------------------------------------------------------------------


def _buses_read(case: Case) -> Iterator[RowProof]:
    for bus, facts in case.plan["buses"].items():
        name = line_name(bus, *facts["pins"])
        readings = [one for one in in_order(case) if one.name == name and one.values]
        lines = {line_name(bus, line): line for line in facts["pins"]}
        held = _held(case, name, lines, facts.get("network"))
        if held is not None or len(lines) == 2:  # a single line is a row once something speaks against it
            yield held or _bus(case, name, readings, facts["ohms"], (facts.get("network") or {}).get("least_ohm"))
        elif any(name in note.words for note in case.notes_of("waive")):
            yield RowProof(name, name, "not read", NO_READING)


def _held(case: Case, name: str, lines: Mapping[str, str], kept: Mapping[str, Any] | None) -> RowProof | None:
    """A bus of which a line, read awake, is where no line of it may be: failed when read so twice; None where none is."""
    if not kept:
        return None
    for line, called in lines.items():
        if called not in kept_lines(kept):
            continue
        read = [one for one in in_order(case) if one.name == line and one.values and not one.conditions.asleep and not one.conditions.out and not one.conditions.hand and one.conditions.other == "-" and not is_stale(case, line, one)]  # fmt: skip
        levels = [line_levels_v(kept, called, one.conditions.battery_v or float(case.plan["system_v"]), asleep=False) for one in read]  # fmt: skip
        ends = [(0.0, 0.0) if one.values[0].text == "dead" else one.values[0].ends for one in read]
        good = [there is not None and low - _LINE_OFF_V <= there[0] <= there[1] <= high + _LINE_OFF_V for there, (low, high) in zip(ends, levels, strict=True)]  # fmt: skip
        if read and not outweighs(good):
            bad = tuple(one for one, fits in zip(read, good, strict=True) if not fits)
            low, high = levels[read.index(bad[-1])]
            shown = bad[-1].values[0]
            words = f"{line} reads {shown.text}{'' if shown.is_word else ' V'} awake, {figures.volts(low)} to {figures.volts(high)} expected"  # fmt: skip
            failed = good[-2:] == [False, False]
            return RowProof(name, name, "failed" if failed else "doubtful", words, bad, (), "levels of a transmitter", repeat=not failed)  # fmt: skip
    return None


def _bus(case: Case, name: str, taken: Sequence[Reading], ohms: Sequence[float] | None, least_ohm: float | None) -> RowProof:  # fmt: skip
    if not taken:
        return RowProof(name, name, "not read", NO_READING)
    kept = [one for one in taken if not is_stale(case, name, one)]
    readings = [
        one for one in kept if one.conditions.asleep
    ] or kept  # volts between lines that are awake say nothing of their ohms
    if not readings:
        return RowProof(name, name, "stale", stale_words(case, name, taken), (taken[-1],))
    counted = [
        one
        for one in readings
        if one.conditions.asleep and not one.conditions.plugged and not one.conditions.out and not one.conditions.hand
    ]
    if not counted or (counted[-1] is not readings[-1] and not readings[-1].conditions.out):
        return RowProof(name, name, "doubtful", "ohms count only unplugged and asleep (set plug=out asleep=yes), with nothing else out", (readings[-1],))  # fmt: skip
    if ohms is None and least_ohm is None:
        return RowProof(name, name, "doubtful", "no value is computed to hold it against", (readings[-1],))
    if ohms is None:
        return _at_least(name, counted, least_ohm or 0.0)
    low, _, high = ohms
    good = [one.values[0].ends is not None and low - 1 <= one.values[0].ends[0] <= one.values[0].ends[1] <= high + 1 for one in counted]  # fmt: skip
    words = f"{counted[-1].values[0].text} ohm, {figures.fixed(low, 0)} to {figures.fixed(high, 0)} expected: the trunk and its terminations, not each wire of the branch"  # fmt: skip
    source = "computed from the terminations as typed in"
    if outweighs(good):
        bad = [one.id for one, fits in zip(counted, good, strict=True) if not fits]
        return RowProof(name, name, "proven", words + (f"; read otherwise before ({', '.join(bad)})" if bad else ""), (counted[-1],), (), source)  # fmt: skip
    if good[-2:] == [False, False]:
        return RowProof(name, name, "failed", words, tuple(one for one, fits in zip(counted, good, strict=True) if not fits), (), source)  # fmt: skip
    return RowProof(name, name, "doubtful", words, tuple(counted), (), source, repeat=True)


def _at_least(name: str, counted: Sequence[Reading], least_ohm: float) -> RowProof:
    """A bus whose resistors end inside the modules: less than they are speaks against it, and more proves nothing."""
    bad = [one.values[0].ends is not None and one.values[0].ends[1] < 0.95 * least_ohm - 1 for one in counted]
    words = f"{counted[-1].values[0].text} ohm, {figures.ohms(least_ohm)} or more expected"
    if outweighs([not one for one in bad]):
        return RowProof(name, name, "doubtful", f"{words}: its resistors end inside the modules, so that proves nothing", (counted[-1],))  # fmt: skip
    by, failed = tuple(one for one, is_bad in zip(counted, bad, strict=True) if is_bad), bad[-2:] == [True, True]
    return RowProof(name, name, "failed" if failed else "doubtful", words, by, (), "computed from the resistors as typed in", repeat=not failed)  # fmt: skip
