"""Every box of the printed worksheet is on a card, and what is written into it is recorded by one word under the conditions of that card; or the line says why nothing is measured there.

The oracle is the printed worksheet: its boxes are gone through one by one, by what stands beside them, and know nothing of the cards.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from zlib import crc32

import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import NOON, ROOT, demo, opened
from tracer.case.case import Case, case_in, record, set_conditions
from tracer.case.handed import take_handed
from tracer.case.notes import note
from tracer.case.opening import kept_plan
from tracer.case.proof import verdict_of
from tracer.page.calls import page_content
from tracer.plan.plug_worksheet import plug_worksheet_of
from tracer.report.case import proof_text, report_text
from tracer.report.plug_worksheet import worksheet_in_words
from tracer.report.plug_worksheet.values import ALONE, BASE, LOOK, STEPS, Box, PinLine, WorksheetInWords
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

Page = dict[str, Any]
MODULES = sorted(name for name, part in demo().circuit.parts.items() if part.kind == "module")
VEHICLES = (*(f"minibus {module}" for module in MODULES), "unfinished LIFT", "believable M1", "believable M2", "danger ALM")  # fmt: skip


@pytest.fixture(scope="module", params=VEHICLES)
def asked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], WorksheetInWords, Page]:  # fmt: skip
    folder, module = request.param.split(" ")
    scratch = tmp_path_factory.mktemp("vehicle") / "v"
    if folder == "believable":
        believable(scratch, 3)
    elif folder == "danger":  # with a pin that nobody may probe, so the module is not unplugged either
        shutil.copytree(ROOT / "circuits" / "minibus", scratch)
        typed = scratch / "sheets" / "05-air-levelling-supplies.yaml"
        typed.write_text(
            typed.read_text().replace("    is: module\n", "    is: module\n    hazard: {3: restraint}\n", 1)
        )
    at = scratch if folder in ("believable", "danger") else ROOT / "circuits" / folder
    tracing = Tracing(tracer.load(at))
    report, limits = supplies_of(tracing, module), tracer.limits(tracing)
    worksheet = worksheet_in_words(plug_worksheet_of(tracing, report, limits), "12 V")
    return kept_plan(tracing, report, limits), worksheet, page_content(tracing, module)[1]


def every_box(worksheet: WorksheetInWords) -> Iterator[tuple[int, Box, PinLine | None]]:
    for step, _, _, boxes, pin in worksheet.steps:
        yield from ((step, box, pin) for box in boxes)


def card_of(page: Page, step: int, box: Box, pin: PinLine | None) -> Page | None:
    """The card that takes a box: of the same step, and under the same conditions."""
    cards: list[Page] = page["cards"]
    for card in cards:
        if card["step"] != step or (step not in (LOOK, BASE) and card["key"] != box.key):
            continue
        if step == LOOK and any(item["part"] == box.point for item in card["items"]):
            return card
        if step == BASE:
            return card
        plug = {"plugged in": "in", "unplugged": "out", "": card.get("plug")}[box.plug]
        if (card.get("plug"), card.get("out")) != (plug, list(box.out)):
            continue
        units = [{"ohms": "Ω", "seconds": "s"}.get(field, "V") for field in card["fields"]]
        split = pin is not None and not pin.says and box in pin.splits
        if card["name"] == box.row and (split or box.unit in (*units, "tick")) and (box.unit == units[0] or box.unit == "tick"):  # fmt: skip
            return card
    return None


def word_of(box: Box, split: bool) -> str:
    """What is typed for a box by what is printed beside it."""
    row = box.ask if split else box.row
    return f"{row}:gone" if box.unit == "s" or box.ask == "live at once" else f"{row}:ground" if box.ask == "to ground" else row  # fmt: skip


def test_every_box_of_the_sheet_is_on_a_card_that_records_it(asked: tuple[dict[str, Any], WorksheetInWords, Page], tmp_path: Path) -> None:  # fmt: skip
    plan, worksheet, page = asked
    case, now, count = opened(tmp_path, plan), NOON, 0
    units: dict[str, str] = {}
    beside: dict[tuple[object, ...], str] = {}
    for step, box, pin in every_box(worksheet):
        now += timedelta(seconds=1)
        if box.row == "battery" or box.row == "fault":  # what holds for every reading
            words = [f"key={box.key}", "battery=12.5"] if box.key in plan["keys"] else ["engine=on", "battery=14.1", "engine=off"] if box.row == "battery" else ["symptom=yes"]  # fmt: skip
            case = set_conditions(case, words, now)
            count += 1
            continue
        card = card_of(page, step, box, pin)
        assert card is not None, (step, box)
        if step == LOOK:
            case = note(case, "look", [f"{box.point}=ok"], now)
        elif box.row in ("meter", "lamp"):
            case = note(case, "tick", [f"{box.row}=seen"], now)
        elif step == BASE:
            assert box.point in [one["part"] for one in card["first"]]
            case = note(case, "works", [f"{box.point}=yes"], now)
        else:
            case = _read(case, card, box, pin, now)
            last = case.readings[-1]
            units[last.id] = {"seconds": "7 s", "ohms": "7 Ω"}.get(card["fields"][0], "7.00 V")
            if card["kind"] == "beside":
                beside[card["full"], card["key"], card["plug"]] = last.id
        count += 1
    assert count == sum(1 for _ in every_box(worksheet)) and (count > 5 or any(card["kind"] == "hazard" for card in page["cards"]))  # fmt: skip
    verdict = verdict_of(case)
    written = report_text(case, verdict, width=1000)
    for name, unit in units.items():
        assert re.search(rf"^{re.escape(name)}  .*: {unit};", written, re.MULTILINE), (name, unit)
    assert [one.reading.id for one in verdict.beside if one.state != "read otherwise"] == list(beside.values())
    said = proof_text(case, verdict, width=1000)
    assert all(one.short in said for one in verdict.beside)


def _read(case: Case, card: Page, box: Box, pin: PinLine | None, now: Any) -> Case:
    """A reading by what is printed, and the same by the card's own name: they are of one and the same row, shown with its unit."""
    split = pin is not None and not pin.says and box in pin.splits
    asleep = "yes" if card.get("asleep") else "no"
    case = set_conditions(case, [f"key={card['key']}", f"plug={card['plug']}", f"asleep={asleep}", "lamp=none", "other=-", f"out={','.join(card['out']) or 'none'}", "battery=12.5"], now)  # fmt: skip
    before = len(case.readings)
    if split:  # by one of the points that the card offers
        printed = next(point for one in card["splits"] if one["word"] == box.ask for point in one["points"])
    else:
        printed = word_of(box, split)
    got = record(case, [f"{printed}=7", *([] if split else [f"{card['full']}=7"])], now)
    assert len(got.case.readings) == before + len(got.readings)
    if not split:
        asked = [one["names"] for one in case.plan["beside"] if {one.name for one in got.readings} <= set(one["names"])]
        assert len({one.name for one in got.readings}) == 1 or asked, (box, got.readings)
    return got.case


def test_what_a_line_has_no_box_for_it_says_why(asked: tuple[dict[str, Any], WorksheetInWords, Page]) -> None:
    _, worksheet, page = asked
    for pin in worksheet.pins:
        if not any(pin.boxes_of(step) for step in STEPS):
            assert pin.says, pin
        if not pin.boxes_of(ALONE):
            assert (pin.says and any(card["kind"] == "hazard" for card in page["cards"])) or pin.says == "wire there? where does it go?"  # fmt: skip


def test_every_card_is_handed_over_and_taken(
    asked: tuple[dict[str, Any], WorksheetInWords, Page], tmp_path: Path
) -> None:
    """As the page writes it: one line for each card that has a field."""
    plan, _, page = asked
    case = opened(tmp_path, plan)
    lines: list[str] = []
    for card in page["cards"]:
        if not card.get("fields"):
            continue
        lamp = "none" if card["lamp_w"] is None else f"{card['lamp_w']:g}W"
        on = f"key={card['key']} plug={card['plug']} lamp={lamp} other=- symptom=yes engine=off asleep={'yes' if card.get('asleep') else 'no'}"
        on += f" out={','.join(card['out']) or 'none'} lead={','.join(card['leads']) or 'none'}"
        seconds = card["fields"] == ["seconds"]
        on += "" if seconds else " battery=12.5 read=10s"
        value = "gt600" if seconds else "/".join(["7.25"] * len(card["fields"]))
        said = f"at={NOON.isoformat()} {on} : {card['full']}={value}"
        lines.append(f"abcdef-{len(lines) + 1} {crc32(said.encode()):08x} {said}")
    head = (
        f"tracer readings 1 {'_'.join(plan['module'].split())} {plan['edition']} of {' '.join(plan['vehicle'].split())}"
    )
    taken = take_handed(case, "\n".join([head, *lines, f"end {len(lines)}"]), NOON + timedelta(minutes=1))
    assert not taken.refused and not taken.remarks and len(taken.readings) == len(lines)
    again = take_handed(case_in(case.file), "\n".join([head, *lines, f"end {len(lines)}"]), NOON + timedelta(minutes=2))
    assert len(again.there) == len(lines) and not again.recorded
