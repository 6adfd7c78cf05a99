"""The worksheet: every supply and ground of the list, every fuse and relay, the same boxes in each form, on one side where it can be."""

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest
from hypothesis import given

import tracer
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tests.laws.test_hazards import FEW, tracing_of
from tests.report.printed_vehicles import HOSTILE, hostile, sixty_pins
from tests.report.test_worksheet import seen_in
from tracer.circuit.kinds import FUSE_KINDS
from tracer.plan.bench import Bench
from tracer.plan.glance import leads_for
from tracer.plan.plug_values import PlugWorksheet
from tracer.plan.plug_worksheet import plug_worksheet_of
from tracer.plan.values import there
from tracer.report.plug_worksheet import WorksheetInWords, as_csv, as_data, as_html, as_pdf, as_text, worksheet_in_words
from tracer.report.plug_worksheet.values import ALONE, ASLEEP, DEAD, LEGS, LOOK, STEPS
from tracer.report.typeset import template
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).resolve().parents[2]
CASES = [("minibus", "ALM"), ("minibus", "INS"), ("unfinished", "LIFT"), ("sixty", "BIG"), ("hostile", "M1")]


def made_of(tracing: Tracing, module: str) -> PlugWorksheet:
    return plug_worksheet_of(tracing, tracer.supplies(tracing, module), tracer.limits(tracing))


def words_of(tracing: Tracing, made: PlugWorksheet) -> WorksheetInWords:
    return worksheet_in_words(made, tracing.circuit.typed.vehicle.system)


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], tuple[PlugWorksheet, WorksheetInWords]]:
    folders = {
        "minibus": ROOT / "circuits" / "minibus",
        "unfinished": ROOT / "circuits" / "unfinished",
        "sixty": sixty_pins(tmp_path_factory.mktemp("made") / "sixty"),
        "hostile": hostile(tmp_path_factory.mktemp("made") / "hostile"),
    }
    found = {}
    for vehicle, module in CASES:
        tracing = Tracing(tracer.load(str(folders[vehicle])))
        made = made_of(tracing, module)
        found[vehicle, module] = made, words_of(tracing, made)
    return found


Sheets = dict[tuple[str, str], tuple[PlugWorksheet, WorksheetInWords]]


def test_while_the_starter_turns_each_live_supply_has_the_volts_that_tracer_volts_computes(sheets: Sheets) -> None:
    tracing = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    made, _ = sheets["minibus", "ALM"]
    (start,) = made.cranking
    computed = {row.point: row.volts for row in tracer.volts(tracing, "ALM", start.key).rows}
    supplies = tracer.supplies(tracing, "ALM").supplies
    assert {(point, volts) for _, point, volts in start.live} == {(row.point, computed[row.point]) for row in supplies if row.live[start.key] == "live"}  # fmt: skip
    assert {point for _, point in start.dead} == {row.point for row in supplies if row.live[start.key] == "dead"}


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_demo_is_one_side_with_the_faces_on_its_back(sheets: Sheets, paper: str) -> None:
    made, worksheet = sheets["minibus", "ALM"]
    assert len(made.pins) == 11 and len(worksheet.faces) == 4
    front, back = pypdf.PdfReader(io.BytesIO(as_pdf(worksheet, paper=paper))).pages
    assert "Signature" in front.extract_text() and "seen from" not in front.extract_text()
    text = " ".join(back.extract_text().split())
    assert text.startswith("ALM, plug on the harness, seen from the wire side")
    assert "MIRROR: ALM, plug on the harness, seen from the mating side" in text and "Signature" not in text
    bare = replace(worksheet, faces=())
    assert len(pypdf.PdfReader(io.BytesIO(as_pdf(bare, paper=paper))).pages) == 1


@pytest.mark.parametrize("case", CASES)
def test_it_never_says_complete_alone_and_counts_what_decides(sheets: Sheets, case: tuple[str, str]) -> None:
    worksheet = sheets[case][1]
    assert worksheet.tests == sum(box["decides"] for box in boxes_of(as_data(worksheet)))
    assert worksheet.status.startswith("Wiring list ") and worksheet.status.endswith(f"; tested 0 of {worksheet.tests}")
    pages = pypdf.PdfReader(io.BytesIO(as_pdf(worksheet))).pages
    for page in pages:  # on every side, with what it is about
        text = " ".join(page.extract_text().split())
        assert f"tested 0 of {worksheet.tests}" in text
        assert (
            text.upper().count("WIRING LIST COMPLETE")
            + text.upper().count("NOT COMPLETE")
            + text.upper().count("COMPLETE IF")
            > 0
        )
    assert ("NOT COMPLETE" in worksheet.status) == (worksheet.completeness.state == "not complete")


def boxes_of(data: Any) -> list[dict[str, Any]]:
    """Every box of the data, however deep it lies."""
    if isinstance(data, dict):
        if "ask" in data:
            return [data]
        return [box for value in data.values() for box in boxes_of(value)]
    return [box for value in data for box in boxes_of(value)] if isinstance(data, list) else []


@pytest.mark.parametrize("case", CASES)
def test_the_same_boxes_stand_in_every_form(sheets: Sheets, case: tuple[str, str]) -> None:
    worksheet = sheets[case][1]
    told = sorted(
        (box["row"], box["ask"], box["key"], box["expect"])
        for box in boxes_of(json.loads(json.dumps(as_data(worksheet))))
    )
    rows = list(csv.DictReader(io.StringIO(as_csv(worksheet))))
    assert told == sorted((row["row"], row["ask"], row["key"], row["expect"]) for row in rows if row["unit"])
    assert all(row["read"] == "" for row in rows)
    around = 7  # boxes of the verdict and below it, which are no readings
    assert seen_in(as_html(worksheet)).boxes == len(told) + around
    text = as_text(worksheet)
    ticks = sum(box["unit"] == "tick" for box in boxes_of(as_data(worksheet)))
    assert text.count("[ ]") == ticks + 4


@pytest.mark.parametrize("case", CASES)
def test_every_pin_of_the_list_has_a_line_and_every_fuse_and_relay_is_looked_at(
    sheets: Sheets, case: tuple[str, str]
) -> None:
    every_pin_and_fuse(*sheets[case])


def every_pin_and_fuse(made: PlugWorksheet, worksheet: WorksheetInWords) -> None:
    report = made.glance.report
    wanted = [row.point for row in (*report.supplies, *report.grounds)]
    unknown = [
        f"{report.module}.{c.pin}" for c in report.census if c.kind in ("supply", "ground", "unaccounted") and not c.row
    ]
    assert sorted(pin.point for pin in worksheet.pins) == sorted(wanted + unknown)
    looked = {look.part for look in made.looks}
    needed = {need for row in (*report.supplies, *report.grounds) for need in row.needs}
    rows = [row for row in report.rows if row.code[0] in "SG" or row.code in needed]
    assert looked >= {fuse.part for row in rows for fuse in row.fuses}
    strip = next((strip for strip in worksheet.before if strip.number == LOOK), None)
    assert len(made.looks) == (len(strip.boxes) if strip else 0)
    for pin in worksheet.pins:
        assert pin.says or pin.boxes_of(ALONE), pin  # no pin is passed over without a word


@FEW
@given(typed_vehicles())
def test_no_pin_and_no_fuse_of_any_vehicle_is_left_out(vehicle: TypedVehicle) -> None:
    tracing = tracing_of(vehicle)
    for part in tracing.circuit.modules():
        made = made_of(tracing, part.name)
        worksheet = words_of(tracing, made)
        every_pin_and_fuse(made, worksheet)
        for fuse in (one.part for row in made.glance.report.rows for one in row.fuses):
            assert tracing.circuit.parts[fuse].kind in FUSE_KINDS
        # what must be dead, from the list itself
        dead = {(pin.point, box.key) for pin in worksheet.pins for box in pin.boxes_of(DEAD)}
        for row in made.glance.report.supplies:
            for key, level in row.live.items():
                if level == "dead" and key not in ("start", "crank") and not row.no_method and not made.not_unplugged:
                    assert (row.point, key) in dead
                if level == "live" and not any(name.split(" ")[0] in {one.part for one in made.must_work if one.pulled_by} for name in row.switches):  # fmt: skip
                    assert (row.point, key) not in dead


def test_each_of_several_parallel_ways_is_tried_alone(sheets: Sheets) -> None:
    made, worksheet = sheets["minibus", "ALM"]
    legs = {(leg.name, leg.by, leg.out) for leg in made.legs}
    assert legs == {
        ("8+", "F20", ("F24",)), ("8+", "F24", ("F20",)),
        ("1-", "G5", ("G6",)), ("1-", "G6", ("G5",)), ("17-", "G5", ("G6",)), ("17-", "G6", ("G5",)),
    }  # fmt: skip
    strip = next(strip for strip in worksheet.after if strip.number == LEGS)
    assert sum(box.decides for box in strip.boxes) == len(legs)


def test_the_steps_are_in_the_order_of_their_numbers(sheets: Sheets) -> None:
    numbers = [number for number, *_ in sheets["minibus", "ALM"][1].steps]
    assert numbers == sorted(numbers) and set(numbers) == set(STEPS)


def test_what_stands_open_is_read_in_every_key_state(sheets: Sheets) -> None:
    pins = {pin.name: pin for pin in sheets["unfinished", "LIFT"][1].pins}
    assert [box.key for box in pins["2"].splits] == ["off", "run", "start"]
    assert [box.key for box in pins["3+"].splits] == ["off", "run", "start"]
    assert pins["9"].says and pins["2"].way == "SUPPLY, WAY NOT KNOWN"


def test_type_is_8_points_and_boxes_are_6_by_14_mm() -> None:
    typ, html = template("plug_worksheet.typ"), template("plug_worksheet.html")
    sizes = [float(size) for size in re.findall(r"size: ([\d.]+)pt", typ)] + [
        float(size) for size in re.findall(r"font(?:-size)?: ([\d.]+)pt", html)
    ]
    assert len(sizes) > 8 and min(sizes) >= 8
    assert "#let high = 6mm" in typ and "#let wide = 14mm" in typ
    assert re.search(r"\.box \{[^}]*width: 14mm; height: 6mm", html)


def test_hostile_names_are_text_in_html_and_no_formula_in_csv(sheets: Sheets) -> None:
    worksheet = sheets["hostile", "M1"][1]
    seen = seen_in(as_html(worksheet))
    assert "script" not in seen.tags and "onclick" not in seen.attributes
    assert HOSTILE in "".join(seen.text)
    for row in csv.reader(io.StringIO(as_csv(worksheet))):
        assert not any(cell.lstrip().startswith(("=", "+", "-", "@")) for cell in row)


def test_same_input_same_bytes(sheets: Sheets) -> None:
    worksheet = sheets["minibus", "ALM"][1]
    assert as_pdf(worksheet, date="2026-01-31") == as_pdf(worksheet, date="2026-01-31")
    assert as_html(worksheet) == as_html(worksheet)


def test_a_relay_that_the_module_pulls_is_proven_from_the_plug_coil_contact_fuse_and_wire() -> None:
    """With the lead in the plug pin 2 of the demo is live; with any one thing of coil or contact open it is not."""
    tracing = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    report = tracer.supplies(tracing, "ALM")
    (row,) = (row for row in report.supplies if row.pin == "2")
    assert leads_for(tracing.circuit, report, row) == (("11", "1"),)
    assert leads_for(tracing.circuit, report, report.supplies[1]) == ()
    bench = Bench(tracing, report, tracer.limits(tracing))

    def live(*out: str, pulled: tuple[str, ...] = ("ALM.11",)) -> bool:
        bare, _ = bench.alone(row, "run", None, out, pulled)
        assert bare is not None
        return there("supply", bare, 12.0)

    assert live() and not live(pulled=())
    chain = {
        probe.at.split(",")[0]
        for one in (row, *report.chains)
        if one.code == row.code or one.part == "KAL"
        for probe in one.probes
    }
    opened = sorted(
        at for at in chain if "." in at and not at.startswith(("ALM.", "BAT.")) and at not in ("X4.5", "X4.12")
    )
    assert {"F50.load", "KAL.85", "KAL.86", "X1.7", "X4.9"} <= set(opened)
    assert [at for at in opened if live(at)] == []


def test_a_bus_that_sleeps_at_battery_voltage_is_not_asked_to_read_0_v(tmp_path: Path) -> None:
    """Fault-tolerant CAN and LIN; of a bus of unknown kind nothing is expected."""
    typed = {"t": "fault-tolerant can, terminations: {A: 600, B: 600}", "w": "lin, commander: A", "u": "other"}
    buses = ", ".join(f"{name}: {{kind: {kind}}}" for name, kind in typed.items())
    pins = {1: "supply", 2: "ground", 3: "bus t H", 4: "bus t L", 5: "bus w", 6: "bus u H", 7: "bus u L"}
    module = f"{{is: module, cavities: 1-7, pins: {{{', '.join(f'{pin}: {role}' for pin, role in pins.items())}}}}}"
    runs = [*(f"BAT.+ -- RD 1 1m -- {name}.1" for name in "AB"), *(f"{name}.2 -- BN 1 1m -- BAT.-" for name in "AB")]
    runs += [f"A.{pin} -- GY 0.35 2m -- B.{pin}" for pin in (3, 4, 5, 6, 7)]
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text(f"vehicle: v\nbuses: {{{buses}}}\n", encoding="utf-8")
    parts = f"parts: {{BAT: battery, A: {module}, B: {module}}}"
    sheet = "\n".join(["sheet: 1", parts, "runs:", *(f"- {run}" for run in runs)])
    (tmp_path / "sheets" / "1.yaml").write_text(sheet, encoding="utf-8")
    tracing = Tracing(tracer.load(str(tmp_path)))
    strips = words_of(tracing, made_of(tracing, "A")).after
    boxes = [box for strip in strips if strip.number == ASLEEP for box in strip.boxes]
    assert [(box.row, box.ask, box.expect) for box in boxes if box.unit == "V"] == [
        ("3", "bus t H", "< 0.3"),
        ("4", "bus t L", "≈ 12.65"),
        ("5", "bus w", "9.32 to 12.65"),
        ("6", "bus u H", ""),
        ("7", "bus u L", ""),
    ]
    ohms = [(box.row, box.ask, box.expect) for box in boxes if box.unit == "Ω"]
    assert ohms == [("3-4", "between them", "maker's figure"), ("6-7", "between them", "maker's figure")]
