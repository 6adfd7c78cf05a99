"""Where on a failed way the fault may still be: what other readings clear of it, what splits the rest, and where readings cannot all be true.

Of any fault only what is certain is cleared: a piece that carried a lamp may hide a little, so it is cleared only of what is larger than that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracer.case.case import Case
from tracer.case.judged import (
    CLEARLY_OHM,
    DEAD,
    MOST_OF_LAMP,
    Judged,
    in_order,
    is_dead,
    judged,
    shown_lit,
)
from tracer.case.readings import Reading
from tracer.case.rows import RowProof, outweighs
from tracer.case.touched import TOUCHING, is_stale
from tracer.entry.problems import listed
from tracer.plan.words import LEAST_OF_LAMP, METER_OFF_V

_OF_A_MOMENT = ("contact", "driver_high", "driver_low")  # closed in one key state, not therefore in another
_GONE = ("not-reached", "not-fitted")


@dataclass(frozen=True, slots=True)
class Clears:
    """A good reading with the pieces that it clears."""

    by: str
    reading: Reading
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Splits:
    """What would split what is left of a failed way.

    `points` are those that the same lamp tells good from bad, with the place of the piece behind each; where no lamp tells, `why_not` says so, and what to do instead.
    """

    row: str
    points: Mapping[str, int]
    why_not: str


@dataclass(frozen=True, slots=True)
class Narrowed:
    """A failed row: the pieces that may still hold the fault, what cleared the others, what would split them, and what of it all cannot be true together."""

    row: RowProof
    pieces: tuple[str, ...]
    clears: tuple[Clears, ...]
    splits: Splits
    contradictions: tuple[str, ...]


def narrowed(case: Case, failed: RowProof, rows: Sequence[RowProof]) -> Narrowed:
    """What is left of a failed row's way."""
    gone: set[str] = set()
    clears = []
    for one in (
        *_by_rows(case, failed, rows),
        *_by_points(case, failed),
    ):  # each piece once, by the first that clears it
        if more := tuple(piece for piece in one.pieces if piece not in gone):
            clears.append(Clears(one.by, one.reading, more))
            gone.update(more)
    left = tuple(piece for piece in failed.pieces if piece not in gone)
    against = list(_points_at_odds(case, failed))
    if not left:
        said = listed(list(dict.fromkeys(one.by for one in clears)), most=4, joiner="and")
        against.append(f"{failed.short} failed, yet every piece of its way carried the load of a good reading ({said}): one of them is wrong, or it comes and goes")  # fmt: skip
    return Narrowed(failed, left, tuple(clears), splits_of(case, failed, left or failed.pieces), tuple(against))


# --- what clears a piece -------------------------------------------------------------------------------------------------


def _by_rows(case: Case, failed: RowProof, rows: Sequence[RowProof]) -> Iterator[Clears]:
    """The pieces of a failed way that another test carried its lamp through, where it would have shown a fault as large as this one.

    Where something is loose or assumed on the other way, the current may have taken a way that nobody has typed in, so it clears nothing.
    """
    kinds, key = case.plan["rows"][failed.name]["kinds"], failed.failed[-1].group[0]
    adds = _adds_ohm(case, failed)
    for row in rows:
        for one in () if row.name in case.plan["rows"] and case.open_on_way(row.name) else row.passed:
            # A test that passes with so much hidden would have passed with this fault as well: it clears nothing.
            if one.test is None or _hides_ohm(case, row, one) >= adds:
                continue
            pieces = tuple(piece for piece in one.test["proves"] if piece in failed.pieces and (one.group[0] == key or kinds[piece] not in _OF_A_MOMENT))  # fmt: skip
            if pieces:
                yield Clears(row.short, one.reading, pieces)


def _hides_ohm(case: Case, row: RowProof, one: Judged) -> float:
    """The largest bad joint that a reading which passed may hide."""
    moved, test = one.reading.moved_ends(case.plan["rows"][row.name]["level"]), one.test
    if moved is None or test is None:
        return math.inf
    # All that the lamp moved at most beyond what it moves at least in order may be one bad joint; the least current of the lamp makes that joint largest.
    return float((moved[1] - test["least_v"] + METER_OFF_V) / (LEAST_OF_LAMP * test["lamp_a"]))


def _adds_ohm(case: Case, failed: RowProof) -> float:
    """By how much a failed way has too much resistance at least."""
    test = failed.failed[-1].test
    if test is None or test["most_v"] is None:
        return math.inf if math.isinf(_moved_v(case, failed)) else CLEARLY_OHM
    # The other way round: what it moved at least beyond what may be in order at most, and by the most current, so that nothing is cleared by an overrated
    # fault.
    return (_moved_v(case, failed) - float(test["most_v"]) - METER_OFF_V) / (MOST_OF_LAMP * float(test["lamp_a"]))


def _moved_v(case: Case, failed: RowProof) -> float:
    """By how much the lamp moved a failed pin at least; without end where it was dead."""
    row, least = case.plan["rows"][failed.name], math.inf
    for one in failed.failed:
        read, moved = one.reading, one.reading.moved_ends(row["level"])
        if is_dead(case, row, read) or read.values[-1].text in DEAD:
            continue
        if moved is not None:
            least = min(least, moved[0])
        elif one.test is not None and one.test["most_v"] is not None:  # dim, flickers: only that it is clearly too much
            least = min(least, float(one.test["most_v"]) + METER_OFF_V + CLEARLY_OHM * LEAST_OF_LAMP * float(one.test["lamp_a"]))  # fmt: skip
        else:
            least = min(least, 0.0)
    return least


def _by_points(case: Case, failed: RowProof) -> Iterator[Clears]:
    """Behind a point that carries the lamp, before one that does not."""
    parts = case.plan["rows"][failed.name]["parts"]
    for one, place, good in split_readings(case, failed):
        if good is not None:
            # Good here: all before it carries the load. Bad here: the fault lies before it, and what is behind is not under suspicion by this row.
            gone = parts[:place] if good else parts[place:]
            pieces = tuple(piece for piece in gone if piece in failed.pieces)
            if pieces:
                yield Clears(f"{case.short(one.name)}{'' if good else ' (bad there already)'}", one, pieces)


# --- points of the way ---------------------------------------------------------------------------------------------------


def splits_by_points(case: Case, failed: RowProof) -> Mapping[str, Any] | None:
    """The test that failed, where points of the way read with its lamp part its pieces; None where they do not.

    Only where all the current of its test runs through every piece: side by side a good point clears nothing.
    """
    row, test = case.plan["rows"][failed.name], failed.failed[-1].test
    if test is None or set(row["parts"]) != set(test["proves"]) or row["level"] != "supply":
        return None
    return test


def splits_of(case: Case, failed: RowProof, left: Sequence[str]) -> Splits:
    """Where what is left of a failed way can be split."""
    if withheld := case.withheld(failed.name):
        return Splits(failed.name, {}, withheld)
    row, test = case.plan["rows"][failed.name], splits_by_points(case, failed)
    named = [part for part in row["splits"] if any(part in _words(piece) for piece in left)]
    first = f"first {listed(named or list(left), most=3)}"
    if test is None:
        why = "its pieces lie side by side" if row["level"] == "supply" else "points of a ground are cleared by no lamp for certain"  # fmt: skip
        return Splits(failed.name, {}, f"{why}: `tracer next` weighs where to measure; or open or look at each by hand, {first}")  # fmt: skip
    if test["most_v"] is None:
        why = f" ({test['why_not']})" if test["why_not"] else ""
        return Splits(failed.name, {}, f"no figure tells a good point of this way from a bad one{why}; a point that is dead has the fault before it, {first}")  # fmt: skip
    read = {one.name for one, *_ in split_readings(case, failed)}  # too near to tell once, it tells nothing twice
    gone = {one.name for one in case.readings if one.status in _GONE}
    places = {row["ends"][piece][0]: n for n, piece in enumerate(row["parts"]) if n}
    points = {
        at: n
        for at, n in places.items()
        if at in case.plan["points"] and at not in read | gone and not case.withheld(at)
    }
    return Splits(failed.name, points, "")


def within(case: Case, splits: Splits, left: Sequence[str]) -> list[str]:
    """The points that have some of what is left before and some behind them, those that the plan names first."""
    row = case.plan["rows"][splits.row]
    places = [row["parts"].index(piece) for piece in left]
    found = [at for at, n in splits.points.items() if any(one < n for one in places) and any(one >= n for one in places)]  # fmt: skip
    named = [at for at in found if any(at == part or at.startswith((f"{part}.", f"{part}:")) for part in row["splits"])]
    return named or found


def _words(piece: str) -> set[str]:
    return {word for text in piece.replace("(", " ").replace(")", " ").split() for word in (text, text.partition(":")[0], text.partition(".")[0])}  # fmt: skip


def split_readings(case: Case, failed: RowProof) -> Iterator[tuple[Reading, int, bool | None]]:
    """Points of a failed way read under the conditions it failed in: the place of the piece behind each, and whether the way up to there carries the lamp.

    Of a point that was read more than once the last reading says it, where it outweighs those before; else nothing is said of it.
    """
    row, test = case.plan["rows"][failed.name], splits_by_points(case, failed)
    if test is None:
        return
    last = failed.failed[-1].reading.conditions
    places = {row["ends"][piece][0]: n for n, piece in enumerate(row["parts"])}
    at: dict[str, list[tuple[Reading, bool | None]]] = {}
    for one in in_order(case):
        on = one.conditions
        if one.name not in places or not one.values or on.plugged or is_stale(case, failed.name, one):
            continue
        if (on.key, on.out, on.leads, on.lamp_w, on.hand) == (last.key, last.out, last.leads, last.lamp_w, ""):
            at.setdefault(one.name, []).append((one, _point_good(case, failed, row, one, test)))
    for name, read in at.items():
        said = [good for _, good in read if good is not None]
        settled = bool(said) and read[-1][1] is not None and outweighs([good == said[-1] for good in said])
        yield read[-1][0], places[name], said[-1] if settled else None


def good_up_to_v(case: Case, failed: RowProof, test: Mapping[str, Any]) -> float:
    """By how much the lamp may move a point of a failed way that lies before the fault for certain.

    Behind the fault a point moves by all that the fault adds, which is at least what the pin moved less what may be in order; so the figure of the whole way alone
    would call a point good that has a bad joint before it, where much is in order.
    """
    most = float(test["most_v"])
    return min(most + METER_OFF_V, _moved_v(case, failed) - most - METER_OFF_V)


def _point_good(case: Case, failed: RowProof, row: Mapping[str, Any], one: Reading, test: Mapping[str, Any]) -> bool | None:  # fmt: skip
    """Whether the way up to a point carries the lamp; None where that is not said."""
    if judged(case, failed.name, one).test is None:
        return None  # its own conditions explain it
    if any(value.is_word for value in one.values) or is_dead(case, row, one):
        return False
    moved = one.moved_ends(row["level"])
    if moved is None or test["most_v"] is None or one.conditions.lamp_w != test["lamp_w"]:
        return None
    if moved[1] <= good_up_to_v(case, failed, test):
        if one.conditions.engine:
            return None  # by the generator, past what lies before it
        return True if shown_lit(one, moved) and moved[1] >= -METER_OFF_V else None
    return False if moved[0] > test["most_v"] + METER_OFF_V + CLEARLY_OHM * LEAST_OF_LAMP * test["lamp_a"] else None


# --- what cannot be true together ----------------------------------------------------------------------------------------


def _points_at_odds(case: Case, failed: RowProof) -> Iterator[str]:
    """A point that carries the lamp although one before it does not."""
    read = [(one, place, good) for one, place, good in split_readings(case, failed) if good is not None]
    for one, place, good in read:
        for other, behind, fine in read:
            # The current of the lamp runs through the first point to come to the second, so a good one behind a bad one cannot be.
            if not good and fine and place <= behind:
                yield f"{case.short(other.name)} carried the lamp ({other.id}), yet {case.short(one.name)} before it on the way to {failed.short} did not ({one.id})"  # fmt: skip


def rows_at_odds(rows: Sequence[RowProof]) -> Iterator[str]:
    """A row that failed with nothing out, and carried the load with something opened: to open one of several ways cannot make it better."""
    for row in rows:
        for bad in row.failed[-1:]:
            for one in row.passed:
                if one.group[0] == bad.group[0] and set(bad.group[1]) < set(one.group[1]):
                    yield f"{row.short} failed ({bad.reading.id}), yet carried the load with {', '.join(one.group[1])} out ({one.reading.id}), which cannot make it better"  # fmt: skip


def things_at_odds(case: Case) -> Iterator[str]:
    """Readings of one point under the same conditions that do not agree, with nothing touched between them; of rows their own state says it."""
    by: dict[tuple[Any, ...], list[Reading]] = {}
    for one in in_order(case):
        on = one.conditions
        if one.values and one.name not in case.plan["rows"] and case.level(one.name) != "bus" and (one.there_ends(0) or one.values[0].text in DEAD):  # fmt: skip
            by.setdefault((one.name, on.key, on.plugged, on.out, on.leads, on.lamp_w, on.hand, on.symptom), []).append(
                one
            )
    touched = [note.n for note in case.notes if note.kind in (*TOUCHING, "look")]
    # Less than half the system's volts may be the battery, or a load that came on meanwhile; more is another state of the way.
    half = float(case.plan["system_v"]) / 2
    for (name, *_), found in by.items():
        since = max((n for n in touched if n < found[-1].n), default=0)
        now = [one for one in found if one.n > since]
        last = _volts(now[-1])
        same = [max(last[0] - _volts(one)[1], _volts(one)[0] - last[1]) <= half for one in now]
        if not outweighs(same):
            other = next(one for one, fits in zip(reversed(now), reversed(same), strict=True) if not fits)
            yield f"{case.short(name)} was read {other.values[0].text} and {now[-1].values[0].text} under the same conditions: wrong pin, a lead off, another key state?"  # fmt: skip


def _volts(one: Reading) -> tuple[float, float]:
    return (0.0, 0.0) if one.values[0].text in DEAD else one.there_ends(0) or (0.0, 0.0)
