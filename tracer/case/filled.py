"""A filled-in CSV of the one sheet, read back by the names of its rows: in any order, of whatever edition.

What it holds are drops to the pin's own post, so the other lead of a supply is at battery positive, of a ground at battery negative. Taken are the battery, the
pins plugged in, alone with and without the lamp, each parallel way alone, what must be dead, and the ohms of a bus; what else is written is named, not taken.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass, replace
from datetime import datetime

from tracer.case.case import Case, Recorded, asks_about, case_in, entry_of, understood
from tracer.case.file import append
from tracer.case.readings import BadWord, Conditions, Reading, value_of
from tracer.plan.words import UnknownName, line_name

_LAMP = re.compile(r"^(\d+(?:\.\d+)?) W$")
_OUT = re.compile(r"^(.*) (?:off|out)$")
_TICKS = frozenset({"x", "✓", "✔", "dead", "ok", "yes"})
COLUMNS = {"step", "row", "name", "key", "module", "ask", "read", "edition"}


@dataclass(frozen=True, slots=True)
class _Found:
    conditions: Conditions
    reading: Reading


def read_filled(case: Case, text: str, now: datetime) -> tuple[Recorded, tuple[str, ...]]:
    """The readings of a sheet, recorded; and what was written and not taken.

    Raises
    ------
    BadWord : it is no such sheet, or something in it does not fit: nothing of it is recorded
    NotWritten : from here on nothing is recorded
    """
    first = text.lstrip("\ufeff").splitlines()[:1]
    rows = list(csv.DictReader(text.lstrip("\ufeff").splitlines(), delimiter=";" if first and first[0].count(";") > 5 else ","))  # fmt: skip
    if not rows or not set(rows[0]) >= COLUMNS:
        raise BadWord("this is no filled-in sheet: it wants the columns of `tracer worksheet MODULE -o FILE.csv` (step, row, name, key, module, ask, read, edition).")  # fmt: skip
    written = [{name: (cell or "").strip() for name, cell in row.items() if isinstance(name, str)} for row in rows]
    taken, left = _taken(case, written, now.isoformat(timespec="seconds"))
    if not taken:
        raise BadWord("nothing in this sheet can be recorded: no pin is filled in.")
    numbers = []
    for conditions in dict.fromkeys(one.conditions for one in taken):
        readings = [one.reading for one in taken if one.conditions == conditions]
        numbers.append(append(case.file, entry_of(readings, conditions, now, why="", instead_of="")))
    after = case_in(case.file)
    mine = tuple(one for one in after.readings if one.entry in numbers)
    return Recorded(after, numbers[-1], mine, tuple(ask for one in mine for ask in asks_about(after, one))), left


def _taken(case: Case, rows: list[dict[str, str]], at: str) -> tuple[list[_Found], tuple[str, ...]]:
    battery = {row["key"]: value_of(row["read"]).number for row in rows if row["row"] == "battery" and row["read"]}
    lamps = [row for row in rows if row["read"] and _LAMP.match(row["ask"])]
    found: list[_Found] = []
    done: set[int] = set()
    for number, row in enumerate(rows):
        if not row["read"] or number in done or row["row"] == "battery":
            continue
        on = _conditions(case, row, battery, at)
        if on is None:
            continue
        full = _name(case, row)
        on = replace(on, other="+" if case.level(full) == "supply" else "-")
        beside = next((n for n in range(number + 1, min(number + 2, len(rows))) if rows[n] in lamps and rows[n]["name"] == row["name"] and rows[n]["step"] == row["step"]), None)  # fmt: skip
        off = _OUT.match(row["ask"])
        if beside is not None and (row["ask"] == "no lamp" or off):
            done.add(beside)
            match = _LAMP.match(rows[beside]["ask"])
            on = replace(on, lamp_w=float(match[1]) if match else None, out=tuple(sorted(off[1].split(", "))) if off else ())  # fmt: skip
            on = replace(on, leads=_leads(case, full, on))
            found.append(_Found(on, understood(case, f"{full}={row['read']}/{rows[beside]['read']}", on)))
        elif row["ask"] == "drop to its post" or (row["ask"] == "no lamp") or row["ask"] == "between them":
            found.append(_Found(on, understood(case, f"{full}={row['read']}", on)))
        elif row["ask"].startswith("dead"):
            on = replace(on, other="-")  # a tick, or the volts that are there
            found.append(_Found(on, understood(case, f"{full}={_dead_or_volts(row)}", on)))
        else:
            continue
        done.add(number)
    left = tuple(f"{row['row'] or row['name']} {row['ask']}: {row['read']}" for n, row in enumerate(rows) if row["read"] and n not in done and row["row"] != "battery")  # fmt: skip
    return found, left


def _dead_or_volts(row: dict[str, str]) -> str:
    """What was written into a box for a pin that must be dead.

    Raises
    ------
    BadWord : neither a tick nor a value: a live pin must not pass as dead
    """
    if row["read"].casefold() in _TICKS:
        return "dead"
    try:
        return value_of(row["read"]).text
    except BadWord:
        raise BadWord(
            f"{row['row']} {row['ask']}: `{row['read']}` is neither a tick (x) nor volts. Tick it if it is dead, write the volts if it is not. Nothing is recorded."
        ) from None


def _conditions(case: Case, row: dict[str, str], battery: dict[str, float | None], at: str) -> Conditions | None:
    """The conditions that the sheet says of a reading; None for a box that is no reading of a key state."""
    key = row["key"]
    if key not in case.plan["keys"]:
        return None
    volts = battery.get(key, next(iter(battery.values()), None))
    if volts is None:
        raise BadWord("the sheet has no volts of the battery: every reading refers to them. Nothing is recorded.")
    return replace(
        case.conditions, key=key, plugged=row["module"] == "plugged in", lamp_w=None, out=(), battery_v=volts, battery_at=at, battery_n=case.last_n + 1, key_n=case.last_n + 1,
        asleep=row["ask"] == "between them",
    )  # fmt: skip


def _leads(case: Case, full: str, on: Conditions) -> tuple[str, ...]:
    """The fused leads that the sheet asks for at a pin with this lamp."""
    tests = case.plan["rows"].get(full, {"tests": []})["tests"]
    asked = (test["leads"] for test in tests if (test["key"], test["lamp_w"], tuple(sorted(test["out"]))) == (on.key, on.lamp_w, on.out))  # fmt: skip
    return tuple(sorted("-".join(pair) for pair in next(asked, ())))


def _name(case: Case, row: dict[str, str]) -> str:
    if row["ask"] == "between them":
        pins = row["name"].partition(".")[2].split("-")
        for bus, facts in case.plan["buses"].items():
            if sorted(facts["pins"].values()) == sorted(pins):
                return line_name(bus, *facts["pins"])
    try:
        return case.find(row["name"])
    except UnknownName as error:
        if row["edition"] != case.plan["edition"]:
            raise BadWord(f"{error} The sheet is of edition {row['edition']}, the case of {case.plan['edition']}. Nothing is recorded.") from None  # fmt: skip
        raise


__all__ = ["read_filled"]
