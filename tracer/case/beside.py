"""What was read beside the tests of the pins (5 V outputs, levels, lines of a bus, after the key, pins without a known way), held against what the worksheet asks there.

None of it proves a row. What is not in order stays open in the proof until it is read in order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from tracer.case.case import Case
from tracer.case.readings import Conditions, Reading, Value
from tracer.case.touched import touched_since
from tracer.plan.words import METER_OFF_V
from tracer.standards import figures

IN_ORDER, NOT_IN_ORDER, NO_FIGURE, OTHERWISE, STALE = "in order", "not in order", "no figure", "read otherwise", "stale"
_OPEN = float("inf")
_OHM_OFF = 0.05  # of what an ohmmeter shows (from memory)


@dataclass(frozen=True, slots=True)
class BesideRead:
    """The last reading of one of them and what it comes to: in order, not in order, no figure, read otherwise, stale."""

    short: str
    state: str
    reason: str
    reading: Reading


def beside_of_case(case: Case) -> tuple[BesideRead, ...]:
    """Each one that was read, in the order of the worksheet; what was read in more than one way by its last reading in each."""
    asked: dict[str, list[Mapping[str, Any]]] = {}
    for one in case.plan.get("beside", ()):
        for name in one["names"]:
            asked.setdefault(name, []).append(one)
    last: dict[tuple[str, int], BesideRead] = {}
    for reading in case.readings:
        if reading.values and reading.name in asked:
            of = next((one for one in asked[reading.name] if _why_otherwise(one, reading.conditions) == ""), asked[reading.name][0])  # fmt: skip
            last[of["names"][0], _place(case, of)] = _read(case, of, reading)
    return tuple(found for _, found in sorted(last.items(), key=lambda one: one[0][1]))


def asks_beside(case: Case, reading: Reading) -> Iterator[str]:
    """What is asked about a reading that is not in order, or was read in another way than the worksheet asks."""
    found = next((one for one in beside_of_case(case) if one.reading.id == reading.id), None)
    if found is not None and found.state in (NOT_IN_ORDER, OTHERWISE):
        yield f"{found.short}: {found.reason}."


def _place(case: Case, of: Mapping[str, Any]) -> int:
    return next(n for n, one in enumerate(case.plan["beside"]) if one is of)


def _read(case: Case, of: Mapping[str, Any], reading: Reading) -> BesideRead:
    short = case.short(reading.name)
    if note := touched_since(case, reading.name.removesuffix(":gone").removesuffix(":ground"), reading):
        return BesideRead(short, STALE, f"{reading.id} no longer counts since entry {note.n} ({note.kind} {', '.join(map(case.short, note.words))})", reading)  # fmt: skip
    if why := _why_otherwise(of, reading.conditions):
        return BesideRead(short, OTHERWISE, why, reading)
    value = reading.values[-1]
    if of["kind"] == "gone after":
        if value.above:
            return BesideRead(short, NOT_IN_ORDER, f"still live {_number(value, 's')} after the key", reading)
        return BesideRead(short, NO_FIGURE, f"gone {'within' if value.below else 'after'} {_number(value, 's')}", reading)  # fmt: skip
    words, wanted = f"{_number(value, of['unit'])}, key {reading.conditions.key}", _wanted_words(of)
    if not wanted:
        return BesideRead(short, NO_FIGURE, words, reading)
    fits = _fits(of, value)
    said = "" if fits is not None else "; it does not say whether that is so"
    return BesideRead(short, {True: IN_ORDER, False: NOT_IN_ORDER, None: NO_FIGURE}[fits], f"{words}; {wanted}{said}", reading)  # fmt: skip


def _why_otherwise(of: Mapping[str, Any], on: Conditions) -> str:
    """In which way the worksheet asks for it; empty where it was read so."""
    wanted = (of["key"], of["plugged"], of["asleep"])
    if (on.key, on.plugged, on.asleep) == wanted and (of["unit"] != "V" or on.other == "-"):
        return ""
    lead = ", other lead at battery -" if of["unit"] == "V" else ""
    return f"the worksheet asks for it with key {of['key']}, {'plugged in' if of['plugged'] else 'unplugged'}, {'asleep' if of['asleep'] else 'awake'}{lead}"  # fmt: skip


def _fits(of: Mapping[str, Any], value: Value) -> bool | None:
    """Whether a value lies where it must; None where it does not say."""
    ends = (_OPEN, _OPEN) if of["unit"] == "ohm" and value.text == "OL" else (0.0, 0.0) if value.text == "dead" else value.ends  # fmt: skip
    if ends is None:
        return None
    low, high = in_order(of["unit"], of["low"], of["high"])
    low, high = -_OPEN if low is None else low, _OPEN if high is None else high
    if low <= ends[0] and ends[1] <= high:
        return True
    return False if ends[1] < low or ends[0] > high else None


def in_order(unit: str, low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Between what a reading is in order, with what the meter may be off; None where there is no bound."""
    if unit == "V":
        return None if low is None else low - METER_OFF_V, None if high is None else high + METER_OFF_V
    return None if low is None else low * (1 - _OHM_OFF), None if high is None else high * (1 + _OHM_OFF)


def _wanted_words(of: Mapping[str, Any]) -> str:
    """What is in order there, in words; empty where there is no figure."""
    written = figures.volts if of["unit"] == "V" else figures.ohms
    low, high = of["low"], of["high"]
    if low is not None and low > 0 and high is not None:
        return f"{written(low)} to {written(high)} is in order"
    if low is not None and high is None:
        return f"{written(low)} or more is in order"
    return f"at most {written(high)} is in order" if high is not None else ""


def _number(value: Value, unit: str) -> str:
    if value.is_word or value.number is None:
        return value.text
    written = figures.volts(value.number) if unit == "V" else figures.ohms(value.number) if unit == "ohm" else figures.stated(value.number, "s")  # fmt: skip
    return f"{'below ' if value.below and unit != 's' else 'above ' if value.above and unit != 's' else ''}{written}"


__all__ = ["IN_ORDER", "NOT_IN_ORDER", "NO_FIGURE", "OTHERWISE", "STALE", "BesideRead", "asks_beside", "beside_of_case", "in_order"]  # fmt: skip
