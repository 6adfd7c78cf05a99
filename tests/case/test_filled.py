"""A filled-in CSV of the worksheet read back: exactly the readings that were meant, whatever happened to the file meanwhile."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import NOON, demo, demo_plan, opened
from tests.case.test_proof import THOROUGH
from tracer.case.case import Case, case_in, set_conditions
from tracer.case.filled import COLUMNS, read_filled
from tracer.case.judged import wants_lit
from tracer.case.notes import note
from tracer.case.opening import kept_plan
from tracer.case.readings import BadWord, Reading
from tracer.plan.names import full_name
from tracer.plan.plug_worksheet import plug_worksheet_of
from tracer.trace.tracing import Tracing

Lines = list[dict[str, str]]
Box = tuple[str, str, str, tuple[str, ...]]  # what is done, row, key state, what is out
Meant = tuple[str, str, bool, float | None, tuple[str, ...], tuple[str, ...], bool]


@cache
def _sheet(tracing: Tracing, module: str) -> str:
    return tracer.worksheet(tracing, module, "csv").files[0].decode()


def written(tracing: Tracing, module: str) -> Lines:
    return list(csv.DictReader(io.StringIO(_sheet(tracing, module))))


def as_file(lines: Iterable[dict[str, str]], delimiter: str = ",", end: str = "\r\n") -> str:
    rows = list(lines)
    out = io.StringIO()
    worksheet = csv.DictWriter(out, list(rows[0]), delimiter=delimiter, lineterminator=end)
    worksheet.writeheader()
    worksheet.writerows(rows)
    return out.getvalue()


def filled(fill: dict[tuple[str, str], str], lines: Lines | None = None) -> Lines:
    """The demo module's worksheet with these values, by row and what is asked, without the legs; and the battery at rest."""
    rows = [dict(row) for row in (lines or written(demo(), "ALM"))]
    for row in rows:
        if not row["out"]:
            row["read"] = {("battery", "rest"): "12,6", **fill}.get((row["row"], row["ask"]), "")
    return rows


@pytest.fixture
def case(tmp_path: Path) -> Case:
    found = opened(tmp_path)
    return set_conditions(found, ["key=off", "plug=out", "lamp=21W", "symptom=yes", "battery=12,6"], NOON)


# --- the law -----------------------------------------------------------------------------------------------------------


@cache
def boxes_of(tracing: Tracing, module: str) -> dict[Box, float | None]:
    """Every reading that the worksheet of a module asks for, from its plan and not from its CSV: with the watts of its lamp."""
    worksheet = plug_worksheet_of(tracing, tracer.supplies(tracing, module), tracer.limits(tracing))
    found: dict[Box, float | None] = {}
    pins = {one.pin.name: one for one in worksheet.pins if not one.pin.row.no_method}
    for one in pins.values():
        name, test = full_name(one.pin.row), one.pin.test
        if one.plugged is not None:
            found["plugged", name, one.plugged.key, ()] = None
        if not worksheet.not_unplugged and test.key:
            found["alone", name, test.key, ()] = test.lamp.watts
    if not worksheet.not_unplugged:
        for leg in worksheet.legs:
            found["alone", f"{leg.point}:{'+' if leg.level == 'supply' else '-'}", leg.test.key, tuple(sorted(leg.out))] = leg.test.lamp.watts  # fmt: skip
        for key, dead in worksheet.dead:
            found |= {("dead", full_name(pins[name].pin.row), key, ()): None for name, _ in dead if name in pins}
    for step in worksheet.bus_ohms:
        found["ohms", step.point, tracer.supplies(tracing, module).keys[0], ()] = None
    return found


def box_of(row: dict[str, str]) -> tuple[str, Box] | None:
    """Which value of which box a line of the CSV is for: `bare`, `lamp`, or `lit` for the tick beside it."""
    out = tuple(sorted(filter(None, row["out"].split(","))))
    lamp = row["ask"].endswith(" W")
    what = {"2": "plugged" if row["ask"] == "drop to its post" else "", "5": "alone" if lamp or row["ask"] in ("no lamp", "lit") else "", "6": "alone", "7": "dead", "8": "ohms" if row["ask"] == "between them" else ""}.get(row["step"], "")  # fmt: skip
    return (
        ("lamp" if lamp else "lit" if row["ask"] == "lit" else "bare", (what, row["name"], row["key"], out))
        if what
        else None
    )


def meant(box: Box, bare: str, lamp: str, lit: str, watts: float | None, case: Case) -> Meant | None:
    """The reading that values in a box mean; None where they mean none."""
    what, name, key, out = box
    if not bare:
        return None
    if what == "ohms":
        name = next(one for one in case.plan["short"] if case.level(one) == "bus" and "-" in one)
    values = tuple(one.replace(",", ".") for one in ((bare, lamp) if lamp else (bare,)))
    return (name, key, what == "plugged", watts if lamp else None, out, values, bool(lamp and lit))


def said(one: Reading) -> Meant:
    on = one.conditions
    return (
        one.name,
        on.key,
        on.plugged,
        on.lamp_w,
        on.out,
        tuple(value.text.replace(",", ".") for value in one.values),
        one.lit,
    )


def check_law(tracing: Tracing, module: str, folder: Path, seed: int) -> int:
    """Fill a worksheet in by chance, shuffle its lines, read it back; how many readings came back."""
    rng = random.Random(seed)
    case = opened(folder, kept_plan(tracing, tracer.supplies(tracing, module), tracer.limits(tracing)))
    lines, boxes = written(tracing, module), boxes_of(tracing, module)
    values: dict[Box, dict[str, str]] = {box: {} for box in boxes}
    found: set[tuple[str, Box]] = set()
    for row in lines:
        if (which := box_of(row)) is not None:
            part, box = which
            assert box in boxes and which not in found, (which, sorted(boxes))
            found.add(which)
            if rng.random() < 0.8:
                row["read"] = (
                    "x" if part == "lit" else f"{rng.choice(['0', ''])}{rng.choice('.,')}{rng.randrange(100):02}"
                )
                values[box][part] = row["read"]
        elif row["row"] == "battery" and (row["ask"] == "rest" or rng.random() < 0.5):
            row["read"] = f"{12 + rng.random():.2f}"
    wants = {("alone", name, test["key"], tuple(sorted(test["out"]))) for name, kept in case.plan["rows"].items() for test in kept["tests"] if wants_lit(test)}  # fmt: skip
    assert found == {("lit", box) for box in boxes if box in wants} | {("bare", box) for box in boxes} | {("lamp", box) for box, watts in boxes.items() if watts is not None}  # fmt: skip
    wanted = {one for box, parts in values.items() if (one := meant(box, parts.get("bare", ""), parts.get("lamp", ""), parts.get("lit", ""), boxes[box], case))}  # fmt: skip
    rng.shuffle(lines)
    text = as_file(lines, rng.choice(",;\t"), rng.choice(["\n", "\r\n", "\r"]))
    got, _ = read_filled(case, rng.choice(["", "\ufeff"]) + text, NOON)
    back = [said(one) for one in got.readings]
    assert len(back) == len(set(back)) and set(back) == wanted
    assert got.case.conditions == case.conditions
    return len(back)


@pytest.mark.parametrize("seed", range(40 if THOROUGH else 3))
def test_what_was_written_on_the_sheet_of_the_demo_comes_back(seed: int, tmp_path: Path) -> None:
    assert check_law(demo(), "ALM", tmp_path, seed) > 20


@pytest.mark.parametrize("seed", range(20 if THOROUGH else 2))
def test_what_was_written_on_the_sheet_of_a_generated_vehicle_comes_back(seed: int, tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=seed)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    for name in names:
        (tmp_path / name).mkdir()
        assert check_law(tracing, name, tmp_path / name, seed) > 1


# --- parallel ways -----------------------------------------------------------------------------------------------------


def test_each_leg_comes_back_with_what_was_out_whichever_line_comes_first(case: Case) -> None:
    rows = [row for row in written(demo(), "ALM") if row["row"] == "battery" or row["out"]]
    for row in rows:
        row["read"] = "12,6" if row["ask"] == "rest" else "" if row["row"] == "battery" else "x" if row["ask"] == "lit" else f"0.{ {'G5': 1, 'G6': 2}.get(row['out'], 3)}{2 if row['ask'] == '21 W' else 1}"  # fmt: skip
    got, left = read_filled(case, as_file(reversed(rows)), NOON)
    assert left == ()
    assert {said(one) for one in got.readings if one.name == "ALM.1:-"} == {
        ("ALM.1:-", "off", False, 21.0, ("G5",), ("0.11", "0.12"), True),
        ("ALM.1:-", "off", False, 21.0, ("G6",), ("0.21", "0.22"), True),
    }


def test_a_lit_lamp_and_the_fused_leads_that_the_sheet_asks_for_are_kept(case: Case) -> None:
    fill = {("1-", "no lamp"): "0", ("1-", "21 W"): ".01/lit", ("2+", "no lamp"): "0,02", ("2+", "21 W"): "0,2", ("3+", "no lamp"): "0,01", ("3+", "21 W"): "0,58"}  # fmt: skip
    got, left = read_filled(case, as_file(filled(fill)), NOON)
    assert left == ()
    assert {one.name: (one.lit, one.conditions.leads) for one in got.readings} == {
        "ALM.1:-": (True, ()),
        "ALM.2:+": (False, ("11-1",)),
        "ALM.3:+": (False, ()),
    }


def test_a_tick_says_that_the_lamp_was_lit(case: Case) -> None:
    fill = {("1-", "no lamp"): "0", ("1-", "21 W"): ".01", ("1-", "lit"): "x", ("17-", "no lamp"): "0", ("17-", "21 W"): ".01", ("20-", "lit"): "x"}  # fmt: skip
    lines = filled(fill)
    leg = next(line for line in lines if (line["row"], line["ask"], line["out"]) == ("1-", "lit", "G6"))
    for ask, read in (("key off, G6 off", "0"), ("21 W", ".02"), ("lit", "x")):
        next(line for line in lines if (line["row"], line["ask"], line["out"]) == ("1-", ask, "G6"))["read"] = read
    assert leg["read"] == "x"
    got, left = read_filled(case, as_file(lines), NOON)
    assert {(one.name, one.conditions.out): one.lit for one in got.readings} == {("ALM.1:-", ()): True, ("ALM.17:-", ()): False, ("ALM.1:-", ("G6",)): True}  # fmt: skip
    assert left == ("20- lit: x",)
    with pytest.raises(BadWord, match=r"1- lit: `no` is no tick\. Write x if the lamp was lit"):
        read_filled(case, as_file(filled({**fill, ("1-", "lit"): "no"})), NOON)
    rows = {line["row"] for line in lines if line["ask"] == "lit"}
    assert rows == {case.short(name) for name, row in demo_plan()["rows"].items() if any(wants_lit(test) for test in row["tests"])}  # fmt: skip


# --- what must be dead -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("typed", "value"), [("x", 0.0), ("OK", 0.0), ("12,4", 12.4), ("lt0.1", 0.1)])
def test_a_box_for_a_dead_pin_holds_a_tick_or_volts(case: Case, typed: str, value: float) -> None:
    got, left = read_filled(case, as_file(filled({("6+", "dead, key off"): typed})), NOON)
    assert [(one.name, one.values[0].number, one.conditions.other) for one in got.readings] == [("ALM.6:+", value, "-")]
    assert left == ()


# --- the battery -------------------------------------------------------------------------------------------------------


def test_the_battery_is_that_of_the_key_state_else_at_rest_whatever_the_order_of_the_lines(case: Case) -> None:
    fill = {("battery", "key run"): "12,2", ("battery", "engine running"): "14,2", ("8+", "no lamp"): ".1", ("4+", "no lamp"): ".1", ("3+", "no lamp"): ".1"}  # fmt: skip
    lines = filled(fill)
    for turned in (lines, lines[::-1]):
        got = read_filled(opened_again(case), as_file(turned), NOON)[0]
        volts = {(one.name, one.conditions.key): one.conditions.battery_v for one in got.readings}
        assert volts == {("ALM.8:+", "acc"): 12.6, ("ALM.4:+", "run"): 12.2, ("ALM.3:+", "off"): 12.6}


def opened_again(case: Case) -> Case:
    """A fresh case on the same plan."""
    folder = case.file.parent / f"again{len(list(case.file.parent.iterdir()))}"
    folder.mkdir()
    return opened(folder)


def test_what_holds_now_is_left_as_it_was_and_every_condition_is_shown(case: Case) -> None:
    from tracer.report.case import read_text

    got, left = read_filled(case, as_file(filled({("3+", "no lamp"): ".01", ("3+", "21 W"): ".2", ("4+", "no lamp"): ".1"})), NOON)  # fmt: skip
    assert got.case.conditions == case.conditions
    text = read_text(got, left, width=200)
    assert "key off, unplugged, lamp 21 W" in text and "key run, unplugged, no lamp" in text


# --- twice, and other editions -----------------------------------------------------------------------------------------


def test_a_sheet_that_is_read_twice_says_nothing_twice(case: Case) -> None:
    text = as_file(filled({("3+", "no lamp"): ".01", ("3+", "21 W"): "9"}))
    first, _ = read_filled(case, text, NOON)
    with pytest.raises(BadWord, match=r"3\+ no lamp: \.01 \(stands in the case as 3\.1"):
        read_filled(first.case, text, NOON)
    more, left = read_filled(first.case, as_file(filled({("3+", "no lamp"): ".01", ("3+", "21 W"): "9", ("5+", "no lamp"): ".1"})), NOON)  # fmt: skip
    assert [one.name for one in more.readings] == ["ALM.5:+"] and "stands in the case as 3.1" in left[0]


def test_a_reading_of_a_sheet_that_was_taken_back_does_not_come_back_with_it(case: Case) -> None:
    text = as_file(filled({("3+", "no lamp"): ".01", ("5+", "no lamp"): "9"}))
    first = read_filled(case, text, NOON)[0]
    wrong = next(one.id for one in first.readings if one.name == "ALM.5:+")
    after = note(first.case, "withdraw", [wrong], NOON, why="wrong pin")
    with pytest.raises(BadWord, match="nothing in this worksheet can be recorded"):
        read_filled(after, text, NOON)
    with pytest.raises(BadWord, match="nothing in this worksheet can be recorded"):
        read_filled(case, text, NOON)  # a call that began before


def test_of_a_sheet_of_another_edition_only_rows_that_are_the_same_are_taken(case: Case) -> None:
    lines = filled({("3+", "no lamp"): ".01", ("4+", "no lamp"): ".02", ("5+", "no lamp"): ".03", ("25-26", "between them"): "60"})  # fmt: skip
    for row in lines:
        row["edition"] = "ABCDEFGH"
        row["mark"] = "CHANGE" if row["row"] == "4+" else row["mark"]
        row["name"] = "ALM.99:+" if row["row"] == "5+" and row["name"] == "ALM.5:+" else row["name"]
    got, left = read_filled(case, as_file(lines), NOON)
    assert [one.name for one in got.readings] == ["ALM.3:+", "drive:H-L"]
    assert "4+ no lamp: .02 (this row has changed, the worksheet is of edition ABCDEFGH" in left[0]
    assert "5+ no lamp: .03 (not in this case's list" in left[1] and len(left) == 2
    with pytest.raises(BadWord, match=r"line .*99.* is not in this list"):
        read_filled(case, as_file({**row, "edition": case.plan["edition"]} for row in lines), NOON)
    nothing = [{**row, "edition": "ABCDEFGH", "mark": ""} for row in filled({("3+", "no lamp"): ".01"})]
    with pytest.raises(BadWord, match="this row has changed"):
        read_filled(case, as_file(nothing), NOON)


def test_a_row_is_another_one_once_its_way_or_its_key_states_are(tmp_path: Path) -> None:
    import shutil

    from tests.case.making import ROOT
    from tracer.plan.edition import row_marks

    before = row_marks(tracer.supplies(demo(), "ALM"))
    shutil.copytree(ROOT / "circuits" / "minibus", tmp_path / "bus")
    sheet = tmp_path / "bus" / "sheets" / "05-air-levelling-supplies.yaml"
    text = sheet.read_text(encoding="utf-8")
    assert text.count("RD/YE 0.75 3.6m") == 1
    sheet.write_text(text.replace("RD/YE 0.75 3.6m", "RD/YE 1.5 3.6m"), encoding="utf-8")
    after = row_marks(tracer.supplies(Tracing(tracer.load(tmp_path / "bus")), "ALM"))
    assert [name for name in before if before[name] != after[name]] == ["ALM.5:+"]


# --- odd files ---------------------------------------------------------------------------------------------------------


def _spoilt(change: Callable[[Lines], Any]) -> str:
    lines = filled({("3+", "no lamp"): "0,01", ("3+", "21 W"): "0,58"})
    changed = change(lines)
    return changed if isinstance(changed, str) else as_file(lines)


def _row(lines: Lines, row: str, ask: str) -> dict[str, str]:
    return next(one for one in lines if (one["row"], one["ask"]) == (row, ask))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda lines: "", "this is no filled-in worksheet"),
        (lambda lines: "a,b\n1,2\n", "step, row, name"),
        (lambda lines: "\x00", "this is no filled-in worksheet"),
        (lambda lines: as_file(lines).replace(",out,", ",gone,"), "out is not so"),
        (lambda lines: as_file(lines).replace(",note,", ",read,"), "read is not so"),
        (lambda lines: as_file(lines).replace('"0,58"', "0,58"), r"line \d+ has 20 cells, the head 19: a number with a comma"),
        (lambda lines: as_file(lines).replace('"0,58"', '"0,58'), "no CSV that can be read"),
        (lambda lines: as_file(lines).replace('"0,58"', '"0"58'), "no CSV that can be read"),
        (lambda lines: as_file(lines).replace('"0,58"', "9" * 200_000), "no CSV that can be read"),
        (lambda lines: as_file(lines).replace('"0,58"', "\x00"), "is no value|no CSV"),
        (lambda lines: as_file(lines).replace('"12,6"', "full"), "is no value"),
        (lambda lines: as_file(lines).replace('"12,6"', "dead"), "is no battery voltage"),
        (lambda lines: as_file(lines).replace('"12,6"', ""), "no volts of the battery"),
        (lambda lines: as_file(lines).replace('"0,58"', "bright"), r"line \d+, 3\+ no lamp.*`bright` is no value"),
        (lambda lines: as_file(lines).replace('"0,01"', ""), "nothing in this worksheet.*the box without the lamp is empty"),
        (lambda lines: _row(lines, "3+", "no lamp").update(key="drive"), "this vehicle has the key states"),
        (lambda lines: lines.append({**_row(lines, "3+", "21 W"), "read": "0,4"}), "same box with different values"),
        (lambda lines: [row.update(read="") for row in lines] and as_file(lines), "No pin is filled in"),
        (lambda lines: _row(lines, "6+", "dead, key off").update(read="lamp lit"), r"6\+ dead, key off: `lamp lit` is neither a tick"),
    ],
)  # fmt: skip
def test_an_odd_file_is_refused_in_one_message_and_nothing_of_it_is_recorded(
    change: Callable[[Lines], Any], message: str, case: Case
) -> None:
    before = case.file.read_bytes()
    with pytest.raises(BadWord, match=message):
        read_filled(case, _spoilt(change), NOON)
    assert case.file.read_bytes() == before


def test_a_line_that_stands_twice_is_one_reading(case: Case) -> None:
    lines = filled({("3+", "no lamp"): "9"})
    got, _ = read_filled(case, as_file([*lines, *lines]), NOON)
    assert len(got.readings) == 1


@pytest.mark.parametrize("seed", range(200 if THOROUGH else 15))
def test_whatever_stands_in_the_file_a_call_records_all_or_says_why_not(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    case = opened(tmp_path)
    text = list(as_file(filled({("3+", "no lamp"): "0,01", ("3+", "21 W"): "0,58", ("6+", "dead, key off"): "x"})))
    for _ in range(rng.randrange(1, 60)):
        place = rng.randrange(len(text))
        text[place : place + rng.randrange(3)] = rng.choice(['"', ",", "\n", "\r", "\x00", ";", "é", "", "\u2028", "'", "x=1/2"])  # fmt: skip
    before = case.file.read_bytes()
    try:
        got, _ = read_filled(case, "".join(text), NOON)
    except BadWord as error:
        assert str(error).count("\n") == 0 and case.file.read_bytes() == before
        return
    assert case_in(case.file).readings == got.readings and got.readings


def test_the_columns_are_those_of_the_worksheet() -> None:
    assert set(COLUMNS) <= set(written(demo(), "ALM")[0])
    marks = {row["name"]: row["mark"] for row in written(demo(), "ALM") if row["mark"]}
    assert {name: row["mark"] for name, row in demo_plan()["rows"].items()}.items() <= marks.items()
