"""What the readings of a case prove, row by row, and the one verdict that they allow.

A row is proven by its pin alone, unplugged, under the lamp: the drop from the battery post without the lamp, and by how much the lamp moves it, both within
the figures of the plan. It is proven only where these figures fail a bad joint of 0.5 ohm in every piece of its way, meter errors included; pieces that lie
side by side want a test each with the others opened. Whatever is read otherwise says something, but proves nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from tracer.case.case import Case
from tracer.case.notes import not_as_listed, watches
from tracer.case.readings import Reading
from tracer.case.touched import TOUCHING, is_stale
from tracer.entry.problems import listed
from tracer.plan.words import CRANKING, line_name
from tracer.standards import figures

BAD_OHM = 0.5
METER_OFF_V = (
    0.03  # two readings of one meter in one range, two digits each of 0.01 V, gains cancel (common practice, no source)
)
_LEAST_OF_LAMP = 0.9  # of its rated current, behind the way
_CLEARLY_OHM = 0.2  # beyond the limit by the drop over that much is no matter of tolerance


@dataclass(frozen=True, slots=True)
class RowProof:
    """What is known of a row.

    `state`: proven, failed, doubtful, open-circuit only, stale, not reached, not fitted, waived, not read. `by` are the readings it rests on, `pieces` what is
    cleared by it when proven, what may hold the fault when failed. `source` is where the limit is from.
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


@dataclass(frozen=True, slots=True)
class Verdict:
    """Exactly one of `proven` (wiring proven, module suspect), `found` and `not proven`; `open` says what is missing, `left` what even a proof does not exclude."""

    kind: str
    rows: tuple[RowProof, ...]
    open: tuple[str, ...]
    left: tuple[str, ...]
    pieces: tuple[str, ...]
    found_at: str
    contradictions: tuple[str, ...]
    seat: tuple[str, ...]
    before: Verdict | None = None  # what the readings before the first repair said

    @property
    def complete(self) -> bool:
        """Whether the wiring is proven or the fault found."""
        return self.kind != "not proven"


def verdict_of(case: Case) -> Verdict:
    """What the case allows to be said, and what it allowed before anything was repaired."""
    repairs = case.notes_of("repair")
    if not repairs:
        return _now(case)
    first = repairs[0].n
    readings = tuple(one for one in case.readings if one.n < first)
    before = replace(case, readings=readings, notes=tuple(note for note in case.notes if note.n < first))
    return replace(_now(case), before=_now(before))


def _now(case: Case) -> Verdict:
    rows = tuple(_row(case, name, row) for name, row in case.plan["rows"].items()) + tuple(_bus_rows(case))
    contradictions = tuple(_contradictions(case))
    gate = tuple(_gate(case, rows))
    unread = [one for one in rows if one.state not in ("proven", "failed", "waived", "not fitted")]
    failed = [one for one in rows if one.state == "failed"]
    seat = tuple(_to_seat(case))
    missing = (
        *(f"{one.short}: {one.state}, {one.reason}" for one in unread),
        *(f"pin {point} is declared, but its way is not known" for point in case.plan["untraced"]),
        *gate,
        *contradictions,
    )
    excluded = (
        *(f"{one.short} was waived: {one.waived}" for one in rows if one.state == "waived"),
        *_added(case),
        *_never_excluded(),
    )
    if failed and case.plan["list"]["state"] == "complete" and not contradictions:
        worst = failed[0]
        cleared = {piece for one in rows if one.state == "proven" for piece in one.pieces}
        left = tuple(piece for piece in _split(case, worst) if piece not in cleared)
        pieces = left or worst.pieces
        return Verdict("found", rows, missing, excluded, pieces, worst.short, contradictions, seat)
    if failed:
        missing = (*(f"{one.short}: failed, {one.reason}" for one in failed), *missing)
    if not missing and not seat:
        return Verdict("proven", rows, (), excluded, (), "", (), seat)
    return Verdict("not proven", rows, (*missing, *(f"{part} is to be seated and tested again" for part in seat)), excluded, (), "", contradictions, seat)  # fmt: skip


def _split(case: Case, failed: RowProof) -> tuple[str, ...]:
    """Where on a failed way the fault may still be, by the points of it that were read with the same lamp: behind a good one, before a bad one."""
    parts = case.plan["rows"][failed.name]["parts"]
    pieces = list(failed.pieces)
    for _, place, good in split_readings(case, failed):
        if good is not None:
            gone = set(parts[:place] if good else parts[place:])
            pieces = [piece for piece in pieces if piece not in gone]
    return tuple(pieces)


def splits_by_points(case: Case, failed: RowProof) -> Mapping[str, Any] | None:
    """The test that failed, where points of the way read with its lamp part its pieces; None where they do not.

    Only where all the current of its test runs through every piece: side by side a good point clears nothing.
    """
    row, last = case.plan["rows"][failed.name], failed.by[-1].conditions
    test: Mapping[str, Any] | None = next((test for test in row["tests"] if set(test["out"]) == set(last.out)), None)
    if test is None or set(row["parts"]) != set(test["proves"]) or row["level"] != "supply":
        return None
    return test


def split_readings(case: Case, failed: RowProof) -> Iterator[tuple[Reading, int, bool | None]]:
    """Readings at points of a failed way under the conditions it failed in: the place of the piece behind the point, and whether the way up to there carries the lamp."""
    row, last, test = case.plan["rows"][failed.name], failed.by[-1].conditions, splits_by_points(case, failed)
    if test is None:
        return
    for one in case.readings:
        on = one.conditions
        place = next((n for n, piece in enumerate(row["parts"]) if row["ends"][piece][0] == one.name), None)
        if (
            place is None
            or not one.values
            or on.plugged
            or (on.key, on.out, on.lamp_w) != (last.key, last.out, last.lamp_w)
        ):
            continue
        if not is_stale(case, failed.name, one):
            yield one, place, _point_good(case, failed, one, test)


def good_up_to_v(case: Case, failed: RowProof, test: Mapping[str, Any]) -> float:
    """By how much the lamp may move a point of a failed way that lies before the fault for certain.

    Behind the fault a point moves by all that the fault adds, which is at least what the pin moved less what may be in order; so the figure of the whole way alone
    would call a point good that has a bad joint before it, where much is in order.
    """
    pin, level = failed.by[-1], case.plan["rows"][failed.name]["level"]
    most = float(test["most_v"])
    if pin.values[-1].text in ("OL", "dead") or (pin.values[0].number is not None and _is_dead(level, pin, float(case.plan["system_v"]) / 2)):  # fmt: skip
        return most + METER_OFF_V
    moved = pin.moved_v(level)
    if moved is None:  # dim, flickers: it is not known by how much, only that it is clearly too much
        moved = most + METER_OFF_V + _CLEARLY_OHM * _LEAST_OF_LAMP * float(test["lamp_a"])
    return min(most + METER_OFF_V, moved - most - METER_OFF_V)


def _point_good(case: Case, failed: RowProof, one: Reading, test: Mapping[str, Any]) -> bool | None:
    """Whether the way up to a point carries the lamp; None where that is not said."""
    level = case.plan["rows"][failed.name]["level"]
    if any(value.is_word for value in one.values):
        return False
    if _is_dead(level, one, float(case.plan["system_v"]) / 2):
        return False
    moved = one.moved_v(level)
    if moved is None or test["most_v"] is None or one.conditions.lamp_w != test["lamp_w"]:
        return None
    if moved <= good_up_to_v(case, failed, test):
        return True
    return False if moved > test["most_v"] + METER_OFF_V + _CLEARLY_OHM * _LEAST_OF_LAMP * test["lamp_a"] else None


# --- one row -----------------------------------------------------------------------------------------------------------


def _row(case: Case, name: str, row: Mapping[str, Any]) -> RowProof:
    short = case.short(name)
    waived = next((note.why for note in reversed(case.notes_of("waive")) if name in note.words), "")
    readings = [one for one in case.readings if one.name == name]
    fresh = [one for one in readings if not is_stale(case, name, one)]
    found = _judged(case, name, short, row, readings, fresh)
    if waived and found.state != "failed":
        return RowProof(name, short, "waived", found.reason, found.by, (), found.source, waived)
    return found


def _judged(case: Case, name: str, short: str, row: Mapping[str, Any], readings: list[Reading], fresh: list[Reading]) -> RowProof:  # fmt: skip
    if readings and readings[-1].status in ("not-reached", "not-fitted"):
        return RowProof(name, short, readings[-1].status.replace("-", " "), readings[-1].why, (readings[-1],))
    if row["no_method"]:
        return RowProof(name, short, "not read", f"nothing is measured there: {row['no_method']}")
    if not readings:
        return RowProof(name, short, "not read", "no reading yet")
    if not fresh:
        return RowProof(name, short, "stale", "something on its way was repaired, unplugged or moved since it was read", tuple(readings))  # fmt: skip
    judged = [(one, *_reading(case, row, one)) for one in fresh]
    bad = [(one, reason) for one, state, reason, _ in judged if state == "failed"]
    good = [(one, test) for one, state, _, test in judged if state == "proven" and test is not None]
    last = judged[-1]
    if len(bad) > 1 and not good:
        return RowProof(name, short, "failed", bad[-1][1], tuple(one for one, _ in bad), _suspects(case, row, bad[-1][0]), _source(row))  # fmt: skip
    if bad and good:
        return RowProof(name, short, "doubtful", "it was read good and bad: read it once more", tuple(one for one, *_ in judged), (), _source(row), repeat=True)  # fmt: skip
    if bad:
        return RowProof(name, short, "doubtful", f"{bad[-1][1]}: read it once more before anything is concluded", (bad[-1][0],), (), _source(row), repeat=True)  # fmt: skip
    if missing := _missing(row, [test for _, test in good]):
        if good or last[1] in ("proven", "open-circuit only"):
            state = "open-circuit only" if not good else "doubtful"
            reason = last[2] if not good else missing
            return RowProof(name, short, state, reason or missing, tuple(one for one, *_ in judged), (), _source(row))
        return RowProof(name, short, last[1], last[2], (last[0],), (), _source(row))
    wrong = _in_other_keys(case, row, fresh)
    if wrong:
        return RowProof(name, short, "doubtful", wrong, tuple(one for one, _ in good), (), _source(row))
    pieces = tuple(dict.fromkeys(piece for _, test in good for piece in test["proves"]))
    return RowProof(name, short, "proven", f"alone with the lamp, {_said(good[-1][0], row['level'])}", tuple(one for one, _ in good), pieces, _source(row))  # fmt: skip


def _reading(case: Case, row: Mapping[str, Any], one: Reading) -> tuple[str, str, Mapping[str, Any] | None]:
    """What one reading of a row says, why, and the test that it is."""
    level, on = row["level"], one.conditions
    if one.status == "ok":
        return "open-circuit only", "looked at, not measured", None
    if on.plugged:
        return "open-circuit only", "plugged in: a pin may read good through its neighbour, so it does not count", None
    live = row["live"].get(on.key, "unknown")
    volts, half = one.values[0].number, float(case.plan["system_v"]) / 2
    if level == "supply" and live == "dead":
        if volts is not None and _volts_there(one) > half and not one.loaded:
            return "doubtful", f"live in {on.key}, where it must be dead", None
        return "open-circuit only", f"dead in {on.key}, as it must be", None
    if one.values[0].text in ("OL", "dead") or (volts is not None and _is_dead(level, one, half)):
        if live == "live":
            return "failed", f"dead alone, key {on.key}", None
        return "open-circuit only", f"dead in {on.key}, where it hangs on {live}", None
    if any(value.is_word for value in one.values):
        return "failed", f"{one.values[-1].text} with the lamp, key {on.key}", None
    if not one.loaded:
        return "open-circuit only", "volts without a lamp do not count: a single strand shows them too", None
    test = next((test for test in row["tests"] if set(test["out"]) == set(on.out) and test["key"] == on.key and test["lamp_w"] == on.lamp_w), None)  # fmt: skip
    if test is None:
        wanted = "; or ".join(test_words(test) for test in row["tests"])
        return "doubtful", f"read in another way than the plan asks for ({wanted})", None
    return _against(row, one, test)


def _against(row: Mapping[str, Any], one: Reading, test: Mapping[str, Any]) -> tuple[str, str, Mapping[str, Any] | None]:  # fmt: skip
    """A loaded reading against the figures of its test."""
    level = row["level"]
    if test["most_v"] is None or test["least_v"] is None:
        return "doubtful", f"no figure decides here ({test['why_not'] or 'nothing is computed'})", None
    amps = _LEAST_OF_LAMP * test["lamp_a"]
    moved, bare = one.moved_v(level), one.drop_v(0, level)
    assert moved is not None
    most, least = test["most_v"], test["least_v"]
    if moved > most + METER_OFF_V:
        clearly = moved > most + METER_OFF_V + _CLEARLY_OHM * amps
        words = f"the lamp moves it by {figures.volts(moved)}, at most {figures.volts(most)} is in order"
        return ("failed" if clearly else "doubtful"), words + ("" if clearly else "; too near to tell"), None
    limit = test["bare_most_v"]
    if limit is not None and bare is not None and bare > limit + 2 * METER_OFF_V:
        return "doubtful", f"without the lamp {figures.volts(bare)} is lost, at most {figures.volts(limit)} is in order; read battery and pin once more", None  # fmt: skip
    if moved < least - METER_OFF_V or (level == "supply" and moved <= 0):
        return "doubtful", f"the lamp moves it by {figures.volts(moved)} only: was it lit, and at this pin?", None
    if not _decides(test):
        return "doubtful", f"this lamp does not tell {BAD_OHM} ohm from a way that is in order", None
    return "proven", "", test


def _missing(row: Mapping[str, Any], passed: Iterable[Mapping[str, Any]]) -> str:
    """What of its way no passed test was through alone; empty where nothing is left."""
    if row["not_told_apart"]:
        return f"side by side, and no test tells them apart: {listed(row['not_told_apart'], most=4)}"
    cleared = {piece for test in passed for piece in test["proves"]}
    left = [piece for piece in row["parts"] if piece not in cleared]
    if not left:
        return ""
    wanted = [test_words(test) for test in row["tests"] if not set(test["proves"]) <= cleared]
    return f"not proven by itself: {listed(left, most=4)} ({'; '.join(wanted) or 'no test'})"


def _in_other_keys(case: Case, row: Mapping[str, Any], fresh: Iterable[Reading]) -> str:
    """What keeps a row from being proven in the key states beside that of its test: each wants live or dead by meter; empty where each was seen."""
    seen = _seen_in_keys(case, row, fresh)
    if wrong := _keys_wrong(row, seen):
        return f"key {', '.join(wrong)}: it is not as the list says"
    left = _keys_left(row, seen)
    return f"still to be read by meter in key {', '.join(left)}" if left else ""


def _keys_wrong(row: Mapping[str, Any], seen: Mapping[str, bool]) -> list[str]:
    return [key for key, live in row["live"].items() if row["level"] != "ground" and key in seen and live in ("live", "dead") and seen[key] != (live == "live")]  # fmt: skip


def _seen_in_keys(case: Case, row: Mapping[str, Any], fresh: Iterable[Reading]) -> dict[str, bool]:
    seen: dict[str, bool] = {}
    for one in fresh:
        if one.values and one.values[0].number is not None and not one.conditions.plugged:
            seen[one.conditions.key] = _volts_there(one) > float(case.plan["system_v"]) / 2
    return seen


def _keys_left(row: Mapping[str, Any], seen: Mapping[str, bool]) -> list[str]:
    tested = {test["key"] for test in row["tests"]}
    return [key for key, live in row["live"].items() if row["level"] != "ground" and live in ("live", "dead") and key not in CRANKING and key not in tested and key not in seen]  # fmt: skip


def still_wanted(case: Case, name: str) -> tuple[list[Mapping[str, Any]], list[str]]:
    """What a row still wants to be proven: tests of its plan that no reading passed, and key states to be read by meter."""
    row = case.plan["rows"][name]
    fresh = [one for one in case.readings if one.name == name and not is_stale(case, name, one)]
    judged = [_reading(case, row, one) for one in fresh]
    passed = [test for state, _, test in judged if state == "proven" and test is not None]
    cleared = {piece for test in passed for piece in test["proves"]}
    wanted = [test for test in row["tests"] if _decides(test) and not (test["proves"] and set(test["proves"]) <= cleared)]  # fmt: skip
    seen = _seen_in_keys(case, row, fresh)
    return wanted, [*_keys_wrong(row, seen), *_keys_left(row, seen)]


def _decides(test: Mapping[str, Any]) -> bool:
    """Whether a test has figures, and they tell a bad joint from a way that is in order."""
    if test["most_v"] is None or test["least_v"] is None:
        return False
    far: bool = test["least_v"] + BAD_OHM * _LEAST_OF_LAMP * test["lamp_a"] > test["most_v"] + 2 * METER_OFF_V
    return far


def _volts_there(one: Reading) -> float:
    volts = one.values[0].number or 0.0
    return (one.conditions.battery_v or 0.0) - volts if one.conditions.other == "+" else volts


def _is_dead(level: str, one: Reading, half: float) -> bool:
    return _volts_there(one) < half if level == "supply" else _volts_there(one) > half


def _suspects(case: Case, row: Mapping[str, Any], one: Reading) -> tuple[str, ...]:
    out = set(one.conditions.out)
    test = next((test for test in row["tests"] if set(test["out"]) == out and test["proves"]), None)
    return tuple(test["proves"] if test else row["parts"])


def test_words(test: Mapping[str, Any]) -> str:
    """'key off, lamp 21 W, G6 out'."""
    lamp = f"lamp {figures.stated(test['lamp_w'], 'W')}" if test["lamp_w"] else "meter"
    return (
        f"key {test['key']}, {lamp}"
        + (f", {', '.join(test['out'])} out" if test["out"] else "")
        + "".join(f", fused lead from pin {pin} to {other}" for pin, other in test["leads"])
    )


def _said(one: Reading, level: str) -> str:
    moved = one.moved_v(level)
    return f"moved by {figures.volts(moved)} (entry {one.id})" if moved is not None else f"entry {one.id}"


def _source(row: Mapping[str, Any]) -> str:
    return str(row["tests"][0]["source"]) if row["tests"] else ""


# --- buses -------------------------------------------------------------------------------------------------------------


def _bus_rows(case: Case) -> Iterator[RowProof]:
    for bus, facts in case.plan["buses"].items():
        if len(facts["pins"]) != 2:
            continue
        name = line_name(bus, *facts["pins"])
        readings = [one for one in case.readings if one.name == name and one.values]
        waived = next((note.why for note in reversed(case.notes_of("waive")) if name in note.words), "")
        if waived:
            yield RowProof(name, name, "waived", "", (), (), "", waived)
        elif not readings:
            yield RowProof(name, name, "not read", "no reading yet")
        elif is_stale(case, name, readings[-1]):
            yield RowProof(name, name, "stale", "something on its lines was repaired, unplugged or moved since it was read", (readings[-1],))  # fmt: skip
        elif not (readings[-1].conditions.asleep and not readings[-1].conditions.plugged):
            yield RowProof(name, name, "doubtful", "ohms count only unplugged and asleep (set plug=out asleep=yes)", (readings[-1],))  # fmt: skip
        elif facts["ohms"] is None:
            yield RowProof(name, name, "doubtful", "no value is computed to hold it against", (readings[-1],))
        else:
            low, _, high = facts["ohms"]
            ohms = readings[-1].values[0].number
            good = ohms is not None and low - 1 <= ohms <= high + 1
            words = f"{readings[-1].values[0].text} ohm, {low:.0f} to {high:.0f} expected: the trunk and its terminations, not each wire of the branch"  # fmt: skip
            yield RowProof(name, name, "proven" if good else "doubtful", words, (readings[-1],), (), "computed from the terminations as typed in")  # fmt: skip


# --- the gate ----------------------------------------------------------------------------------------------------------


def _gate(case: Case, rows: Iterable[RowProof]) -> Iterator[str]:
    """What must be settled before anything may be said of the module."""
    done = case.plan["list"]
    if done["state"] != "complete":
        loose = f"{done['loose']} loose ends" if done["loose"] else listed(done["rests_on"] or done["not_looked_at"], most=3, joiner="and")  # fmt: skip
        yield f"the list is {done['state']}: {loose}"
    reads = [one for row in rows for one in row.by]
    if not reads or not all(one.conditions.symptom for one in reads if one.values):
        yield "the symptom was not seen to be present while every reading was taken (set symptom=yes)"
        yield from (one.words(case) for one in watches(case) if not one.symptom)
    for one in watches(case):
        if names := one.broke_off(case):
            yield f"{', '.join(map(case.short, names))} broke off while it was watched (entry {one.n})"
    yield from not_as_listed(case)
    if case.damaged:
        yield f"the file of the case is damaged: {'; '.join(case.damaged)}"
    ticked = {name for note in case.notes_of("tick") for name in note.words}
    wanted = ["lamp", "wake", "coding", "variant", "immobiliser", *(["sensors"] if case.plan["outputs"] else [])]
    if left := [name for name in wanted if name not in ticked]:
        yield f"not ticked, with how: {', '.join(left)}"
    answers = {name: said for note in case.notes_of("roll-call") for name, said in note.words.items()}
    if case.plan["buses"] and not answers:
        yield "no roll-call of the other modules on the bus"
    if silent := [name for name, said in answers.items() if said == "no" and name != case.plan["module"]]:
        yield f"other modules do not answer: {', '.join(silent)}"
    fits = {name: said for note in case.notes_of("fit") for name, said in note.words.items()}
    module = case.plan["module"]
    pins = [*case.plan["rows"], *(f"{module}.{pin}" for bus in case.plan["buses"].values() for pin in bus["pins"].values())]  # fmt: skip
    if left := [case.short(pin) for pin in pins if pin not in fits]:
        yield f"contacts whose fit was not looked at: {', '.join(left)}"
    if bad := [f"{case.short(pin)} {said}" for pin, said in fits.items() if said != "ok"]:
        yield f"contacts that do not sit well: {', '.join(bad)}"


def _contradictions(case: Case) -> Iterator[str]:
    """Readings of one thing under the same conditions that do not agree, with nothing touched between them."""
    by: dict[tuple[Any, ...], list[Reading]] = {}
    for one in case.readings:
        on = one.conditions
        if one.values and one.values[0].number is not None:
            by.setdefault((one.name, on.key, on.plugged, on.other, on.out, on.lamp_w, on.symptom), []).append(one)
    touched = [note.n for note in case.notes if note.kind in (*TOUCHING, "look")]
    half = float(case.plan["system_v"]) / 2
    for (name, *_), found in by.items():
        first, last = found[0], found[-1]
        since = [n for n in touched if first.n < n < last.n]
        away = abs((first.values[0].number or 0.0) - (last.values[0].number or 0.0))
        if away > half and not since and case.level(name) != "bus":
            yield f"{case.short(name)} was read {first.values[0].text} and {last.values[0].text} under the same conditions: wrong pin, a lead off, another key state?"  # fmt: skip


def _to_seat(case: Case) -> Iterator[str]:
    """What was unplugged and is not yet seated again."""
    open_now: dict[str, None] = {}
    for note in case.notes:
        for word in note.words:
            if note.kind == "unplugged":
                open_now[word] = None
            elif note.kind == "seated":
                open_now.pop(word, None)
    yield from open_now


def _added(case: Case) -> Iterator[str]:
    for note in case.notes_of("added"):
        for where, what in note.words.items():
            yield f"{what} was added {'somewhere' if where == 'unknown' else f'at {where}'} and is on no drawing"


def _never_excluded() -> tuple[str, ...]:
    return (
        "a fault that comes and goes and was not there while it was read",
        "wiring of signals, sensors and loads, which this list does not prove",
    )


__all__ = [
    "BAD_OHM",
    "METER_OFF_V",
    "RowProof",
    "Verdict",
    "good_up_to_v",
    "split_readings",
    "splits_by_points",
    "still_wanted",
    "test_words",
    "verdict_of",
]
