"""What one reading of a row says, held against the plan of its case.

It passes a test of the plan, or lists as it must in a key state; it speaks against the row; or it says nothing, above all where its own conditions explain it: a
part of the way that is out or unplugged, a relay that the module itself holds and no fused lead put in, a flat battery, a lamp that was not seen to be lit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

from tracer.case.case import Case
from tracer.case.readings import Reading
from tracer.case.touched import lies_on, unseated
from tracer.plan.words import LEAST_OF_LAMP, METER_OFF_V, may_seem_unlit
from tracer.standards import figures

BAD_OHM = 0.5
CLEARLY_OHM = 0.2  # beyond the limit by the drop over that much is no matter of tolerance
MOST_OF_LAMP = 1.1  # of its rated current, behind the way
_LEAST_BATTERY = 0.85  # of the system's volts: at less a lamp draws less than that (current as the 0.55th power of the volts, from memory)
_BATTERY_MOVES_V = 1.0  # between its reading and that of a pin (common practice, no source)
DEAD = ("OL", "dead")
ENGINE_RUNS = "the engine was running: the generator feeds as well, past what lies between battery and pin; read it with the engine off"  # and its housing takes back what a strap does not carry

Group = tuple[str, tuple[str, ...], frozenset[frozenset[str]]]


class Says(Enum):
    """What a reading says of its row."""

    PASSES = "passes"  # a test of the plan
    LISTED = "as listed"  # live or dead by meter, as the list says of this key state
    BAD = "bad"
    NEAR = "near"  # beyond the figure, too near to tell
    WRONG = "wrong"  # live where it must be dead
    UNCLEAR = "unclear"  # the lamp may not have been lit, or not at this pin; a bound that is too wide; a battery read too long before
    OTHERWISE = "otherwise"  # read in another way than the plan asks for
    NOTHING = "nothing"


AGAINST = (Says.BAD, Says.NEAR, Says.WRONG)


@dataclass(frozen=True, slots=True)
class Judged:
    """A reading, what it says and why; `test` is the one of the plan that it is held against, `group` the conditions that readings of one test share."""

    reading: Reading
    says: Says
    reason: str
    group: Group
    test: Mapping[str, Any] | None = None


def in_order(case: Case) -> list[Reading]:
    """The readings of a case in the order in which they were taken."""
    return sorted(case.readings, key=lambda one: one.n)


def judged(case: Case, name: str, one: Reading) -> Judged:
    """What a reading of a row, or of a point of its way, says of the row."""
    row, on = case.plan["rows"][name], one.conditions
    group = (on.key, tuple(sorted(on.out)), _leads(on.leads))
    if on.hand:
        return Judged(one, Says.NOTHING, f"read by hand ({on.hand}): it tells what explains it, and nothing of the row by itself", group)  # fmt: skip
    test = next((test for test in row["tests"] if _group_of(test) == group), None)
    says, reason = _says(case, row, one, test)
    if says in (Says.BAD, Says.NEAR, Says.LISTED) and (own := _own_conditions(case, name, one)) and not (says is Says.LISTED and row["live"].get(on.key) == "live"):  # fmt: skip
        return Judged(one, Says.NOTHING, f"{reason}, but {own}", group)
    if says not in (Says.WRONG, Says.NOTHING) and (flat := _flat_battery(case, one)):
        return Judged(one, Says.NOTHING, flat, group)
    if on.engine and (says is Says.PASSES or (says is Says.LISTED and row["live"].get(on.key) == "live")):
        return Judged(one, Says.OTHERWISE, ENGINE_RUNS, group)
    return Judged(one, says, reason, group, test)


def _says(case: Case, row: Mapping[str, Any], one: Reading, test: Mapping[str, Any] | None) -> tuple[Says, str]:
    key, level = one.conditions.key, row["level"]
    if one.status or not one.values:
        return Says.NOTHING, "looked at, not measured"
    live, dead = row["live"].get(key, "unknown"), is_dead(case, row, one)
    gone = "dead" if level == "supply" else "no ground"
    if one.conditions.plugged:
        if dead and live == "live":
            return Says.BAD, f"{gone} plugged in, key {key}"
        return Says.NOTHING, "plugged in: a pin may read good through its neighbour, so it does not count"
    if level == "supply" and live == "dead":
        return _where_dead(case, row, one, key, dead)
    if dead:
        if live == "live":
            return Says.BAD, f"{gone} alone, key {key}"
        may_be = "nobody knows whether it is live" if live == "unknown" else "it need not be live"
        return Says.NOTHING, f"{gone} in {key}, where {may_be}"
    if any(value.is_word for value in one.values):
        return Says.BAD, f"{one.values[-1].text} with the lamp, key {key}"
    moved = one.moved_ends(level)
    if moved is not None and moved[0] > half_v(case, row) and live == "live":
        return Says.BAD, f"{gone} under the lamp, key {key}"
    if moved is None:
        return _alone(row, one, test, live, dead=dead)
    if test is None:
        return Says.OTHERWISE, _otherwise(*row["tests"])
    says, reason = _against(level, one, moved, test)
    if test["lamp_w"] == one.conditions.lamp_w:
        return says, reason
    if says is Says.BAD and (one.conditions.lamp_w or 0.0) < (test["lamp_w"] or 0.0):  # a smaller lamp moves it by less
        return says, reason
    return Says.OTHERWISE, _otherwise(test)


def _otherwise(*tests: Mapping[str, Any]) -> str:
    return f"read in another way than the plan asks for ({'; or '.join(map(test_words, tests))})"


def _where_dead(case: Case, row: Mapping[str, Any], one: Reading, key: str, dead: bool | None) -> tuple[Says, str]:  # fmt: skip
    """A supply in a key state in which it must be dead."""
    wrong = Says.WRONG, f"live in {key}, where it must be dead"
    listed = Says.LISTED, f"dead in {key}, as it must be"
    if any(value.is_word and value.text not in DEAD for value in one.values):
        return wrong
    if dead or (one.loaded and _dead_with_lamp(case, row, one)):
        return listed  # what only a meter sees is no supply
    return wrong if dead is False else (Says.NOTHING, f"{one.values[0].text} does not say whether it is dead in {key}")


def _dead_with_lamp(case: Case, row: Mapping[str, Any], one: Reading) -> bool:
    lit = one.values[1]
    if lit.is_word:
        return lit.text in DEAD
    there = one.there_ends(1)
    return there is not None and there[1] < half_v(case, row)


def _alone(row: Mapping[str, Any], one: Reading, test: Mapping[str, Any] | None, live: str, *, dead: bool | None) -> tuple[Says, str]:  # fmt: skip
    """A reading without a lamp."""
    lost, limit = one.drop_ends(0, row["level"]), None if test is None else test["bare_most_v"]
    if limit is not None and lost is not None and lost[0] > limit + _BATTERY_MOVES_V:
        return Says.NEAR, _too_much_lost(lost[0], limit)
    says = Says.LISTED if live == "live" and dead is False else Says.NOTHING
    return says, "volts without a lamp do not count: a single strand shows them too"


def _too_much_lost(lost_v: float, limit_v: float) -> str:
    return f"without the lamp {figures.volts(lost_v)} is lost, at most {figures.volts(limit_v)} is in order"


def _against(level: str, one: Reading, moved: tuple[float, float], test: Mapping[str, Any]) -> tuple[Says, str]:
    """A loaded reading against the figures of its test. What a bound leaves open counts against passing and against failing."""
    most, least = test["most_v"], test["least_v"]
    if most is None or least is None:
        return Says.OTHERWISE, f"no figure decides here ({test['why_not'] or 'nothing is computed'})"
    if moved[0] > most + METER_OFF_V:
        clearly = moved[0] > most + METER_OFF_V + CLEARLY_OHM * LEAST_OF_LAMP * test["lamp_a"]
        words = f"the lamp moves it by {figures.volts(moved[0])}, at most {figures.volts(most)} is in order"
        return (Says.BAD, words) if clearly else (Says.NEAR, f"{words}; too near to tell")
    limit, lost = test["bare_most_v"], one.drop_ends(0, level)
    if limit is not None and lost is not None and lost[0] > limit + 2 * METER_OFF_V:
        says = Says.NEAR if lost[0] > limit + _BATTERY_MOVES_V else Says.UNCLEAR
        return says, f"{_too_much_lost(lost[0], limit)}; read battery and pin once more"
    if moved[1] > most + METER_OFF_V or (limit is not None and lost is not None and lost[1] > limit + 2 * METER_OFF_V):
        return Says.UNCLEAR, "a bound (lt) is too wide here: read the volts"
    if moved[1] < -METER_OFF_V:
        return (
            Says.UNCLEAR,
            f"the lamp moves it the wrong way, by {figures.volts(-moved[1])}: the values are ALONE/LAMP",
        )
    if moved[0] < least - METER_OFF_V:
        return Says.UNCLEAR, f"the lamp moves it by {figures.volts(moved[0])} only: was it lit, and at this pin?"
    if not (shown_lit(one, moved) and (one.lit or least > METER_OFF_V)):
        return Says.UNCLEAR, "the volts do not show that the lamp was lit: read it once more, with /lit behind the values if it is"  # fmt: skip
    if not decides(test):
        return Says.OTHERWISE, f"this lamp does not tell {BAD_OHM} ohm from a way that is in order"
    return Says.PASSES, ""


def shown_lit(one: Reading, moved: tuple[float, float]) -> bool:
    """Whether the lamp was lit for certain: it was said, or it moved what it hung on by more than the meter may be off."""
    return one.lit or moved[0] > METER_OFF_V


def wants_lit(test: Mapping[str, Any]) -> bool:
    """Whether a sound way may move so little that the lamp has to be said to be lit."""
    return may_seem_unlit(test["least_v"])


def decides(test: Mapping[str, Any]) -> bool:
    """Whether a test has figures, and they tell a bad joint from a way that is in order."""
    if test["most_v"] is None or test["least_v"] is None:
        return False
    far: bool = test["least_v"] + BAD_OHM * LEAST_OF_LAMP * test["lamp_a"] > test["most_v"] + 2 * METER_OFF_V
    return far


def half_v(case: Case, row: Mapping[str, Any]) -> float:
    """Half of what a row carries in order: less than the battery has behind a converter, or at the tap between two batteries. A ground is held against the battery."""
    return float(row.get("carries_v", case.plan["system_v"])) / 2


def is_dead(case: Case, row: Mapping[str, Any], one: Reading) -> bool | None:
    """Whether a pin is dead alone; None where the reading does not say, as a bound may not."""
    if one.values[0].text in DEAD:
        return True
    there, half = one.there_ends(0), half_v(case, row)
    if there is None or there[0] <= half <= there[1]:
        return None
    below: bool = there[1] < half
    return below is (row["level"] == "supply")


# --- what explains a reading by itself -----------------------------------------------------------------------------------


def _own_conditions(case: Case, name: str, one: Reading) -> str:
    """What of a reading's own conditions may be all that is wrong; empty where nothing is."""
    row, on = case.plan["rows"][name], one.conditions
    asked = [_group_of(test) for test in row["tests"]]
    if on.out and not any(group[:2] == (on.key, tuple(sorted(on.out))) for group in asked):
        return f"with {', '.join(on.out)} out, which the plan does not ask for"
    if held_by_module(row) and (_leads(on.leads) not in {group[2] for group in asked if group[2]}):
        return "the module itself holds a contact on this way: it counts with the fused lead of the plan only"
    if on.leads and not held_by_module(row):
        return f"with the fused lead {', '.join(on.leads)} in, which the plan does not ask for"
    if on.asleep:
        return "all was asleep, and what is off then looks dead"
    if loose := [word for word in unseated(case, one.n) if lies_on(case, name, word)]:
        return f"{', '.join(loose)} was unplugged"
    return ""


def held_by_module(row: Mapping[str, Any]) -> bool:
    """Whether a contact on the way is pulled by the module under test, so that the pin is dead while it is unplugged."""
    return any(test["leads"] or test.get("held") for test in row["tests"])


def row_leads(row: Mapping[str, Any]) -> tuple[str, ...]:
    """The fused leads with which a row is read in any key state."""
    return next((leads_of(test) for test in row["tests"] if test["leads"]), ())


def _flat_battery(case: Case, one: Reading) -> str:
    volts, least = one.conditions.battery_v, _LEAST_BATTERY * float(case.plan["system_v"])
    if volts is not None and volts >= least:
        return ""
    said = "was not read" if volts is None else f"itself was at {figures.volts(volts)}"
    return f"the battery {said}: below {figures.volts(least)} the figures of the plan do not hold"


# --- tests of the plan ---------------------------------------------------------------------------------------------------


def _group_of(test: Mapping[str, Any]) -> Group:
    return test["key"], tuple(sorted(test["out"])), frozenset(frozenset(pair) for pair in test["leads"])


def leads_of(test: Mapping[str, Any]) -> tuple[str, ...]:
    """The fused leads of a test as they are typed: `11-1`."""
    return tuple(sorted("-".join(pair) for pair in test["leads"]))


def _leads(words: Sequence[str]) -> frozenset[frozenset[str]]:
    """Fused leads as pairs of pins, whichever end is named first."""
    return frozenset(frozenset(word.split("-", 1)) for word in words)


def test_words(test: Mapping[str, Any]) -> str:
    """'key off, lamp 21 W, G6 out'."""
    lamp = f"lamp {figures.stated(test['lamp_w'], 'W')}" if test["lamp_w"] else "meter"
    return (
        f"key {test['key']}, {lamp}"
        + (f", {', '.join(test['out'])} out" if test["out"] else "")
        + "".join(f", fused lead from pin {pin} to {other}" for pin, other in test["leads"])
    )
