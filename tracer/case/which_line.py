"""What of a bus no row proves: which line is which at the plug (two that are changed over read the same ohms across them), and a single line (LIN) up to there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tracer.case.beside import IN_ORDER, BesideRead
from tracer.case.case import Case
from tracer.case.readings import Reading
from tracer.case.touched import is_stale
from tracer.plan.words import METER_OFF_V, line_name

_ONE_LINE_OHM = 5.0  # at most, with a long lead, along a line of any length; the other line lies behind half a termination (from memory)


def lines_not_told(case: Case, bus: str, beside: Sequence[BesideRead]) -> Iterator[str]:
    """What is missing to say of a bus with two lines which is which."""
    lines = tuple(case.plan["buses"][bus]["pins"])
    if len(lines) == 2 and not _by_volts(case, bus, lines, beside) and not _along(case, bus, lines):
        names = " and ".join(line_name(bus, line) for line in lines)
        yield (
            f"which line of {bus} is which is not shown at the plug, and changed over they read the same ohms: read {names} awake, clearly apart, "
            f"or along a line ({line_name(bus, lines[0], lines[0])}@PLACE)"
        )


def lines_not_shown(case: Case, bus: str, beside: Sequence[BesideRead]) -> Iterator[str]:
    """Whether the single line of a bus was read in order at the unplugged plug: plugged in the module itself may hold it up, whatever its wire does."""
    line = line_name(bus, *case.plan["buses"][bus]["pins"])
    names = _names_of(case, line)
    if not any(
        one.state == IN_ORDER and one.reading.name in names and not one.reading.conditions.plugged for one in beside
    ):
        yield f"{line} was not read in order at the unplugged plug (key off, asleep), which alone shows its wire; or waive it with a reason"


def _names_of(case: Case, line: str) -> set[str]:
    """What a line is called where its volts are read."""
    return {name for one in case.plan.get("beside", ()) if one["unit"] == "V" and line in one["names"] for name in one["names"]}  # fmt: skip


def _by_volts(case: Case, bus: str, lines: Sequence[str], beside: Sequence[BesideRead]) -> bool:
    """Both lines in order awake, and further apart than the meter may be off."""
    shown = []
    for line in lines:
        names = _names_of(case, line_name(bus, line))
        ends = [one.reading.values[-1].ends for one in beside if one.state == IN_ORDER and one.reading.name in names]
        if not ends or ends[-1] is None:
            return False
        shown.append(ends[-1])
    (low, high), (other_low, other_high) = shown
    return max(low - other_high, other_low - high) > 2 * METER_OFF_V


def _along(case: Case, bus: str, lines: Sequence[str]) -> bool:
    """From the plug to another place on the same line, whole."""
    names = {line_name(bus, line, line) for line in lines}

    def whole(one: Reading) -> bool:
        ends = one.values[0].ends if one.values else None
        return ends is not None and ends[1] <= _ONE_LINE_OHM and not one.conditions.plugged and not is_stale(case, one.name, one)  # fmt: skip

    last = {one.name: one for one in case.readings if one.name.partition("@")[0] in names}
    return any(whole(one) for one in last.values()) and all(whole(one) for one in last.values())


__all__ = ["lines_not_shown", "lines_not_told"]
