"""The worksheet: every point once, in an order that no other order beats, with lamps below the fuse, as PDF, HTML and CSV that say the same."""

import csv
import io
import re
from collections import Counter
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pypdf
import pytest

import tracer
from tests.report.printed_vehicles import HOSTILE, hostile, sixty_pins, write_vehicle
from tests.report.test_diagram import CODE, codes_of_json
from tracer.report.worksheet import Reading, Worksheet, as_csv, as_data, as_html, as_pdf, worksheet_of
from tracer.report.worksheet.form import template
from tracer.report.worksheet.lamps import LAMPS_W, is_restraint, lamp_below, lamp_for_ground
from tracer.trace.results import SupplyReport
from tracer.trace.supplies import supplies_of
from tracer.trace.survey import Survey

ROOT = Path(__file__).resolve().parents[2]
CASES = [("minibus", "ALM"), ("minibus", "INS"), ("unfinished", "LIFT"), ("sixty", "BIG"), ("hostile", "M1")]


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], tuple[SupplyReport, Worksheet]]:
    folders = {
        "minibus": ROOT / "circuits" / "minibus",
        "unfinished": ROOT / "circuits" / "unfinished",
        "sixty": sixty_pins(tmp_path_factory.mktemp("made") / "sixty"),
        "hostile": hostile(tmp_path_factory.mktemp("made") / "hostile"),
    }
    made = {}
    for vehicle, module in CASES:
        survey = Survey(tracer.load(str(folders[vehicle])))
        report = supplies_of(survey, module)
        made[vehicle, module] = report, worksheet_of(survey, report)
    return made


Sheets = dict[tuple[str, str], tuple[SupplyReport, Worksheet]]


class _Seen(HTMLParser):
    """The text of a page, and the tags that were really opened."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.text: list[str] = []
        self.attributes: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [name for name, _ in attrs]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def seen_in(html: str) -> _Seen:
    seen = _Seen()
    seen.feed(html)
    return seen


@pytest.mark.parametrize("case", CASES)
def test_every_probe_point_stands_once_with_the_code_of_the_list_in_pdf_html_and_csv(
    sheets: Sheets, case: tuple[str, str]
) -> None:
    report, sheet = sheets[case]
    wanted = codes_of_json(report)
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(as_pdf(sheet))).pages)
    assert Counter(CODE.findall(text)) == wanted
    assert Counter(CODE.findall(" ".join(seen_in(as_html(sheet)).text))) == wanted
    rows = list(csv.DictReader(io.StringIO(as_csv(sheet))))
    assert Counter(row["code"] for row in rows if CODE.fullmatch(row["code"])) == wanted


@pytest.mark.parametrize("case", CASES)
def test_no_order_has_fewer_moves_and_the_key_only_goes_up(sheets: Sheets, case: tuple[str, str]) -> None:
    report, sheet = sheets[case]
    places = [batch.place for batch in sheet.batches]
    moves = sum(a != b for a, b in pairwise(places))
    assert moves == len(set(places)) - 1  # each place has to be gone to at least once
    assert places[-1] == report.place
    steps = [(batch.place, not batch.plugged, report.keys.index(batch.key)) for batch in sheet.batches]
    assert all(a[1:] < b[1:] for a, b in pairwise(steps) if a[0] == b[0]), (
        "plugged before unplugged, keys ascending, each once"
    )
    assert all(batch.plugged for batch in sheet.batches if batch.place != report.place)
    assert sum(a and not b for a, b in pairwise(batch.plugged for batch in sheet.batches)) == 1, "unplugged once"


@pytest.mark.parametrize("case", CASES)
def test_each_batch_begins_with_the_battery_and_says_where_how_and_against_what(
    sheets: Sheets, case: tuple[str, str]
) -> None:
    for batch in sheets[case][1].batches:
        assert batch.readings[0].kind == "battery" and batch.readings[0].must
        assert all(reading.kind != "battery" for reading in batch.readings[1:])
        assert batch.place and batch.key and batch.load and batch.helper
        assert "battery negative post" in batch.other_lead


@pytest.mark.parametrize("case", CASES)
def test_each_supply_and_ground_is_proven_alone_unplugged_and_loaded(sheets: Sheets, case: tuple[str, str]) -> None:
    report, sheet = sheets[case]
    alone: dict[str, list[tuple[str, Reading]]] = {}
    for batch in sheet.batches:
        for reading in batch.readings:
            if reading.code.endswith(" alone"):
                assert not batch.plugged and reading.must
                alone.setdefault(reading.code.split()[0], []).append((batch.key, reading))
    assert set(alone) == {row.code for row in (*report.supplies, *report.grounds)}
    for row in (*report.supplies, *report.grounds):
        if any(state != "dead" for state in row.live.values()):
            assert any("loaded" in reading.boxes for _, reading in alone[row.code])
    for row in report.supplies:  # read wherever it changes
        changes = [
            key
            for key, before in zip(report.keys, (None, *report.keys), strict=False)
            if before is None or row.live[key] != row.live[before]
        ]
        assert [key for key, _ in alone[row.code]] == changes


def test_parallel_fuses_are_proven_one_by_one(sheets: Sheets) -> None:
    """Pin 8 of the demo (row S7) is fed over F20 or over F24; each suffices alone."""
    _, sheet = sheets["minibus", "ALM"]
    rows = {
        reading.code: reading.note
        for batch in sheet.batches
        for reading in batch.readings
        if reading.code.startswith("S7 by")
    }
    assert set(rows) == {"S7 by F20", "S7 by F24"}
    assert "F24 out" in rows["S7 by F20"] and "F20 out" in rows["S7 by F24"]


def test_relay_coils_bus_and_pin_fit_are_rows(sheets: Sheets) -> None:
    _, sheet = sheets["minibus", "ALM"]
    kinds = Counter(reading.kind for batch in sheet.batches for reading in batch.readings)
    assert {reading.code for batch in sheet.batches for reading in batch.readings if reading.kind == "coil"} == {
        "C1+C2",
        "C3+C4",
        "C5+C6",
    }
    assert (
        kinds["fit"] == 11 and kinds["bus"] == 3
    )  # 8 supplies and 3 grounds; two lines and the resistance between them


@pytest.mark.parametrize("case", CASES)
def test_no_lamp_on_bus_signal_and_through_loads(sheets: Sheets, case: tuple[str, str]) -> None:
    for batch in sheets[case][1].batches:
        for reading in batch.readings:
            if reading.kind == "bus" or reading.code[:1] in ("V", "B"):
                assert "loaded" not in reading.boxes
                assert not re.search(r"\d W", reading.lamp)
            if batch.plugged:
                assert "loaded" not in reading.boxes, "the module itself is the load"


@pytest.mark.parametrize("amps", [1, 2, 3, 5, 7.5, 10, 15, 20, 30, 60, 150, None])
@pytest.mark.parametrize("volts", [12.0, 24.0])
def test_the_lamp_stays_below_half_of_the_fuse(amps: float | None, volts: float) -> None:
    """Current is power over voltage (5 W 0.42 A, 21 W 1.75 A, 55 W 4.6 A at 12 V); below half of the fuse is common practice, no source."""
    lamp = lamp_below(amps, volts)
    if lamp.watts is None:
        assert amps is not None and LAMPS_W[0] / volts >= amps / 2
        return
    assert lamp.current_a == pytest.approx(lamp.watts / volts)
    if amps is not None:
        assert lamp.current_a < amps / 2
        larger = [watts for watts in LAMPS_W if watts > lamp.watts]
        assert all(watts / volts >= amps / 2 for watts in larger)


def test_lamps_in_special_cases() -> None:
    assert lamp_below(10, 48).watts is None and "48 V" in lamp_below(10, 48).words
    assert (lamp_for_ground(2.5, 12).watts, lamp_for_ground(0.75, 12).watts, lamp_for_ground(None, 24).watts) == (
        21.0,
        5.0,
        5.0,
    )
    assert (
        is_restraint(None, "Airbag module")
        and is_restraint("Belt tensioner left")
        and not is_restraint("Air levelling module")
    )


def test_restraint_modules_get_no_lamp_and_their_cautions(tmp_path: Path) -> None:
    sheet = """sheet: 1
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 10}
  G1: {is: ground}
  RCU: {is: module, name: Airbag module, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
  - BAT.+ -- RD 4 -- F1.feed
  - F1.load -- RD 1 -- RCU.1
  - RCU.2 -- BN 1 -- G1
  - BAT.- -- BK 16 -- G1
"""
    folder = write_vehicle(tmp_path / "v", {"1": sheet}, "vehicle: made\n")
    survey = Survey(tracer.load(str(folder)))
    made = worksheet_of(survey, supplies_of(survey, "RCU"))
    readings = [reading for batch in made.batches for reading in batch.readings]
    assert all("loaded" not in reading.boxes for reading in readings)
    assert any("restraint" in caution.casefold() and "wait" in caution for caution in made.cautions)


@pytest.mark.parametrize("case", CASES)
def test_loose_ends_status_and_exceptions_are_on_every_form(sheets: Sheets, case: tuple[str, str]) -> None:
    report, sheet = sheets[case]
    pdf = " ".join("\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(as_pdf(sheet))).pages).split())
    html = " ".join(" ".join(seen_in(as_html(sheet)).text).split())
    rows = list(csv.DictReader(io.StringIO(as_csv(sheet))))
    for text in (pdf, html):
        assert ("NOT COMPLETE" in text) is not report.complete
        assert "Exceptions" in text and "signed, empty or not" in text
        for loose in report.loose_ends:
            assert loose.code in text
    assert {row["complete"] for row in rows} == {"complete" if report.complete else "NOT COMPLETE"}
    assert [row["code"] for row in rows if row["side"] == "LOOSE END"] == [loose.code for loose in report.loose_ends]


def test_hostile_names_are_text_in_html_and_no_formula_in_csv(sheets: Sheets) -> None:
    _, sheet = sheets["hostile", "M1"]
    seen = seen_in(as_html(sheet))
    assert not seen.tags["script"] and not seen.tags["b"] and not seen.tags["i"]
    assert not any(name.startswith("on") for name in seen.attributes)
    assert HOSTILE in "".join(seen.text)
    for row in csv.reader(io.StringIO(as_csv(sheet))):
        assert not any(cell.lstrip(" ").startswith(("=", "+", "-", "@")) for cell in row)


def test_the_html_is_one_file_that_fetches_nothing() -> None:
    html = template("worksheet.html")
    assert not re.search(r"(?:src|href)\s*=|url\(|@import|<script|https?:", html)
    assert "default-src 'none'" in html


def test_writing_boxes_and_type_are_large_enough() -> None:
    for name in ("worksheet.typ", "worksheet.html"):
        text = template(name)
        heights = [float(found) for found in re.findall(r"height: (\d+)mm", text)]
        assert heights and min(heights) >= 8
        assert "11pt" in text


def test_same_input_same_bytes(sheets: Sheets) -> None:
    _, sheet = sheets["minibus", "ALM"]
    again = Survey(tracer.load(str(ROOT / "circuits" / "minibus")))
    other = worksheet_of(again, supplies_of(again, "ALM"))
    assert as_pdf(sheet, date="2026-01-31") == as_pdf(other, date="2026-01-31")
    assert as_html(sheet, date="2026-01-31") == as_html(other, date="2026-01-31")


def test_a_limit_names_its_source(sheets: Sheets) -> None:
    for _, sheet in sheets.values():
        data = as_data(sheet)
        numbers = {source["number"] for source in data["sources"]}
        for batch in data["batches"]:
            for reading in batch["readings"]:
                assert not reading["source"] or reading["source"] in numbers
                if " V " in reading["limit"]:
                    assert reading["source"]


def test_declared_supplies_without_a_way_are_measured_in_every_key_state(sheets: Sheets) -> None:
    """Pins 2, 4 and 7 of LIFT are declared supplies, and none of them reaches a source: the sheets of that vehicle are unfinished on purpose."""
    report, sheet = sheets["unfinished", "LIFT"]
    found = [
        (reading.code, batch.key) for batch in sheet.batches for reading in batch.readings if reading.code.endswith("?")
    ]
    assert sorted(found) == sorted((f"pin {pin} ?", key) for pin in ("2", "4", "7") for key in report.keys)
    assert all(reading.must for batch in sheet.batches for reading in batch.readings if reading.code.endswith("?"))
