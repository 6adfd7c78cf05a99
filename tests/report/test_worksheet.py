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
from tests.electrics.fitting import fitted
from tests.report.printed_vehicles import HOSTILE, hostile, sheet_of, sixty_pins, write_vehicle
from tests.report.test_diagram import CODE, codes_of_json
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import NotSettled
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.alone import with_test_lamp
from tracer.electrics.volts.of_module import volts_of
from tracer.electrics.volts.values import Range
from tracer.entry.file_models import ShopFacts
from tracer.plan.lamps import LAMPS_W, lamp_below, lamp_for_ground
from tracer.report.lamps import lamp_words
from tracer.report.typeset import template
from tracer.report.volts import as_text as volts_text
from tracer.report.worksheet import ToRead, Worksheet, as_csv, as_data, as_html, as_pdf
from tracer.trace.lists.results import SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).resolve().parents[2]
CASES = [("minibus", "ALM"), ("minibus", "INS"), ("unfinished", "LIFT"), ("sixty", "BIG"), ("hostile", "M1")]


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return {
        "minibus": ROOT / "circuits" / "minibus",
        "unfinished": ROOT / "circuits" / "unfinished",
        "sixty": sixty_pins(tmp_path_factory.mktemp("made") / "sixty"),
        "hostile": hostile(tmp_path_factory.mktemp("made") / "hostile"),
    }


@pytest.fixture(scope="module")
def sheets(folders: dict[str, Path]) -> dict[tuple[str, str], tuple[SupplyReport, Worksheet]]:
    made = {}
    for vehicle, module in CASES:
        tracing = Tracing(tracer.load(str(folders[vehicle])))
        report = supplies_of(tracing, module)
        made[vehicle, module] = report, sheet_of(tracing, report)
    return made


Sheets = dict[tuple[str, str], tuple[SupplyReport, Worksheet]]


class _Seen(HTMLParser):
    """The text of a page, and the tags that were really opened."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.text: list[str] = []
        self.attributes: list[str] = []
        self.boxes = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes += [name for name, _ in attrs]
        self.boxes += "box" in dict(attrs).get("class", "").split()  # type: ignore[union-attr]

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
        assert batch.to_read[0].kind == "battery" and batch.to_read[0].must
        assert all(reading.kind != "battery" for reading in batch.to_read[1:])
        assert batch.place and batch.key and batch.load and batch.helper
        assert "battery negative post" in batch.other_lead


@pytest.mark.parametrize("case", CASES)
def test_each_supply_and_ground_is_proven_alone_unplugged_and_loaded(sheets: Sheets, case: tuple[str, str]) -> None:
    report, sheet = sheets[case]
    alone: dict[str, list[tuple[str, ToRead]]] = {}
    for batch in sheet.batches:
        for reading in batch.to_read:
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


@pytest.mark.parametrize("case", CASES)
def test_plugged_in_each_supply_and_ground_pin_of_the_module_must_be_read_and_no_other_point(
    sheets: Sheets, case: tuple[str, str]
) -> None:
    report, sheet = sheets[case]
    points = [one for batch in sheet.batches for one in batch.to_read if batch.plugged and one.kind == "point"]
    pins = {f"{row.part}.{row.pin}" for row in (*report.supplies, *report.grounds)}
    assert {one.point for one in points if one.must} == pins
    assert {one.code.split(".")[0] for one in points if one.must} == {row.code for row in (*report.supplies, *report.grounds)}  # fmt: skip
    assert {one.must for one in points if one.point not in pins} == {False}


def test_across_a_coil_is_every_difference_of_what_its_two_ends_may_be(sheets: Sheets) -> None:
    tracing = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    coils = [(batch.key, one) for batch in sheets["minibus", "ALM"][1].batches for one in batch.to_read if one.kind == "coil" and one.computed]  # fmt: skip
    assert len(coils) == 3
    for key, coil in coils:
        part, _, pins = coil.point.partition(".")
        volts = {row.point: row.volts for row in tracer.volts(tracing, "ALM", key).rows}
        upper, lower = (volts[f"{part}.{pin}"] for pin in pins.split("-"))
        (found,) = coil.computed
        assert found.value is not None
        wanted = (upper.low - lower.high, upper.nominal - lower.nominal, upper.high - lower.low)
        assert (found.value.low, found.value.nominal, found.value.high) == pytest.approx(wanted)


def test_parallel_fuses_are_proven_one_by_one(sheets: Sheets) -> None:
    """Pin 8 of the demo (row S7) is fed over F20 or over F24; each suffices alone."""
    _, sheet = sheets["minibus", "ALM"]
    rows = {
        reading.code: reading.note
        for batch in sheet.batches
        for reading in batch.to_read
        if reading.code.startswith("S7 by")
    }
    assert set(rows) == {"S7 by F20", "S7 by F24"}
    assert "F24 out" in rows["S7 by F20"] and "F20 out" in rows["S7 by F24"]


def test_relay_coils_bus_and_pin_fit_are_rows(sheets: Sheets) -> None:
    _, sheet = sheets["minibus", "ALM"]
    kinds = Counter(reading.kind for batch in sheet.batches for reading in batch.to_read)
    assert {reading.code for batch in sheet.batches for reading in batch.to_read if reading.kind == "coil"} == {
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
        for reading in batch.to_read:
            if reading.kind == "bus" or reading.code[:1] in ("V", "B"):
                assert "loaded" not in reading.boxes
                assert not re.search(r"\d W", reading.lamp)
            if batch.plugged:
                assert "loaded" not in reading.boxes, "the module itself is the load"


@pytest.mark.parametrize("amps", [1, 2, 3, 5, 7.5, 10, 15, 20, 30, 60, 150, None])
@pytest.mark.parametrize("volts", [12.0, 24.0])
def test_the_lamp_stays_below_half_of_the_fuse(amps: float | None, volts: float) -> None:
    """Current is power over voltage (5 W 0.42 A, 21 W 1.75 A at 12 V); below half of the fuse is common practice, no source.

    The smallest that lets 0.2 Ω show by 100 mV; a larger one is never taken, a smaller one only where the fuse wants it.
    """
    lamp = lamp_below(amps, volts)
    if lamp.watts is None:
        assert amps is not None and LAMPS_W[0] / volts >= amps / 2
        return
    assert lamp.current_a == pytest.approx(lamp.watts / volts)
    if amps is not None:
        assert lamp.current_a < amps / 2
        assert lamp.watts <= 21
        larger = [watts for watts in LAMPS_W if watts > lamp.watts]
        assert lamp.current_a * 0.2 >= 0.1 or all(watts / volts >= amps / 2 for watts in larger)
        assert not any(watts < lamp.watts and watts / volts * 0.2 >= 0.1 for watts in LAMPS_W)
        gentle = lamp_below(amps, volts, gentle=True)
        assert gentle.watts is not None and gentle.watts <= 5


def test_lamps_in_special_cases() -> None:
    assert lamp_below(10, 48).watts is None and "48 V" in lamp_words(lamp_below(10, 48))
    assert (lamp_for_ground(2.5, 12).watts, lamp_for_ground(0.75, 12).watts, lamp_for_ground(None, 24).watts) == (
        21.0,
        5.0,
        5.0,
    )
    assert lamp_words(lamp_below(10, 24)).startswith("24 V lamp 21 W (0.88 A): to battery negative")


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
    tracing = Tracing(tracer.load(str(folder)))
    made = sheet_of(tracing, supplies_of(tracing, "RCU"))
    readings = [reading for batch in made.batches for reading in batch.to_read]
    assert all("loaded" not in reading.boxes and reading.lamp_w is None for reading in readings)
    assert all("lamp" not in reading.expected + reading.limit for reading in readings)
    assert any("restraint" in caution.casefold() and "wait" in caution for caution in made.cautions)
    own = [reading for reading in readings if reading.point.startswith(("RCU.", "F1."))]
    assert own and all(reading.expected == "restraint wiring, the maker's procedure only" for reading in own)
    assert all(
        reading.no_method and not reading.boxes and not reading.computed and not reading.limit for reading in own
    )


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
        heights = [float(found) for found in re.findall(r"height(?:: | = )([\d.]+)mm", text)]
        assert len(heights) >= 4 and min(heights) >= 8
        assert "11pt" in text


def test_same_input_same_bytes(sheets: Sheets) -> None:
    _, sheet = sheets["minibus", "ALM"]
    again = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    other = sheet_of(again, supplies_of(again, "ALM"))
    assert as_pdf(sheet, date="2026-01-31") == as_pdf(other, date="2026-01-31")
    assert as_html(sheet, date="2026-01-31") == as_html(other, date="2026-01-31")


@pytest.mark.parametrize("case", CASES)
def test_each_limit_names_the_source_that_it_is_from(
    sheets: Sheets, folders: dict[str, Path], case: tuple[str, str]
) -> None:
    """A supply and a ground are judged by two limits of this vehicle; each reading gives the number of its own, and the form prints each source."""
    report, sheet = sheets[case]
    data = as_data(sheet)
    texts = {source["number"]: source["text"] for source in data["sources"]}
    assert list(texts) == list(range(1, len(texts) + 1)) and all(texts.values())
    readings = [reading for batch in data["batches"] for reading in batch["readings"]]
    limits = limits_of(Tracing(tracer.load(str(folders[case[0]]))).circuit)
    judged = {"S": limits.of("supply path"), "G": limits.of("ground path")}
    for reading in readings:
        # every figure to judge by is called a limit, "at most" so much, or what a meter "shows"; what is only computed needs no source
        judges = re.search(r"(?:limit|at most|shows about) \d", reading["limit"]) is not None
        assert not judges or reading["source"] in texts, reading
        side = judged.get(reading["code"][:1])
        if (
            judges
            and side is not None
            and f" {side.high:.2f} V" in reading["limit"]
            and "per wire" not in reading["limit"]
        ):
            assert side.source in texts[reading["source"]], reading
    assert {reading["source"] for reading in readings} > {0}
    shown = "".join(seen_in(as_html(sheet)).text)
    assert [text for text in texts.values() if text not in shown] == []
    csv_rows = [row for row in csv.DictReader(io.StringIO(as_csv(sheet))) if row["limit V"]]
    assert bool(csv_rows) == bool(report.rows) and all(row["source of limit"] for row in csv_rows)


def test_a_limit_of_the_workshop_names_the_workshop_and_no_other_does(sheets: Sheets, folders: dict[str, Path]) -> None:
    tracing = Tracing(tracer.load(str(folders["minibus"])))
    own = limits_of(tracing.circuit, ShopFacts(shop="Harbour Street", limits={"supply path": "0.37"}, note=None))
    data = as_data(sheet_of(tracing, supplies_of(tracing, "ALM"), own))
    of_the_shop = {source["number"] for source in data["sources"] if "Harbour Street" in source["text"]}
    readings = [reading for batch in data["batches"] for reading in batch["readings"]]
    by_it = [reading for reading in readings if "0.37 V" in reading["limit"]]
    assert len(by_it) > 50 and len(of_the_shop) == 1
    assert {reading["source"] for reading in by_it} == of_the_shop
    assert of_the_shop.isdisjoint(reading["source"] for reading in readings if "0.37 V" not in reading["limit"])


def test_declared_supplies_without_a_way_are_measured_in_every_key_state(sheets: Sheets) -> None:
    """Pins 2, 4 and 7 of LIFT are declared supplies, and none of them reaches a source: the sheets of that vehicle are unfinished on purpose."""
    report, sheet = sheets["unfinished", "LIFT"]
    found = [
        (reading.code, batch.key) for batch in sheet.batches for reading in batch.to_read if reading.code.endswith("?")
    ]
    assert sorted(found) == sorted((f"pin {pin} ?", key) for pin in ("2", "4", "7") for key in report.keys)
    assert all(reading.must for batch in sheet.batches for reading in batch.to_read if reading.code.endswith("?"))


# --- computed values -----------------------------------------------------------------------------------------------


def rows_of(sheet: Worksheet) -> dict[tuple[str, str], ToRead]:
    """Each reading by its code and key state."""
    return {(reading.code, batch.key): reading for batch in sheet.batches for reading in batch.to_read}


@pytest.mark.parametrize("case", [("minibus", "ALM"), ("minibus", "INS"), ("sixty", "BIG")])
def test_each_point_carries_the_volts_that_are_computed_for_its_batch(
    sheets: Sheets, folders: dict[str, Path], case: tuple[str, str]
) -> None:
    """Against `tracer volts`: the same circuit solved for the whole key state."""
    report, sheet = sheets[case]
    tracing = Tracing(tracer.load(str(folders[case[0]])))
    compared = 0
    for key in sorted({batch.key for batch in sheet.batches if batch.plugged}):
        solved = volts_of(tracing, report, key, limits=limits_of(tracing.circuit))
        by_code = {
            f"{row.code}.{number}": (row, probe)
            for row, listed in zip(solved.rows, report.rows, strict=True)
            for probe in row.probes
            for number in [[one.at for one in listed.probes].index(probe.at) + 1]
        }
        for (code, at), reading in rows_of(sheet).items():
            if at != key or reading.kind != "point":
                continue
            row, probe = by_code[code]
            (computed,) = reading.computed
            assert computed.plugged and computed.state == key and computed.floating is probe.floating
            if computed.value is None:
                continue
            found = (computed.value.low, computed.value.nominal, computed.value.high, computed.lost_nominal_v)
            assert found == pytest.approx(
                (probe.volts.low, probe.volts.nominal, probe.volts.high, probe.lost.nominal), abs=1e-6
            )
            said = f"{probe.volts.nominal:.2f} V" in reading.expected.replace("-0.00", "0.00")
            assert said, (code, reading.expected)
            assert computed.limit_v == row.limit.high
            compared += 1
    assert compared > 50


def test_an_expected_value_reads_as_volts_with_range_loss_and_limit(sheets: Sheets) -> None:
    _, sheet = sheets["minibus", "ALM"]
    pin = rows_of(sheet)["S1.17", "run"]
    assert re.fullmatch(r"\d+\.\d\d V \(\d+\.\d\d to \d+\.\d\d\)", pin.expected)
    assert re.fullmatch(r"lost \d\.\d\d \(to \d\.\d\d\) V, at most 0\.50 V", pin.limit)
    ground = rows_of(sheet)["G1.7", "run"]
    assert re.fullmatch(r"0\.\d\d V \(0\.\d\d to 0\.\d\d\)", ground.expected) and ground.limit == "at most 0.10 V"
    battery = sheet.batches[0].to_read[0]
    assert battery.expected == "12.40 V (11.80 to 12.80), key on"
    assert "12.40 V (11.80 to 12.80) (key on)" in sheet.rests_on and sheet.not_computed == ()


def test_a_pin_alone_reads_what_a_full_solve_with_the_lamp_gives(sheets: Sheets) -> None:
    """The quick way (source resistance seen by the lamp) against solving the whole vehicle anew with the lamp in it."""
    report, sheet = sheets["minibus", "ALM"]
    tracing = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    rows, compared = {row.code: row for row in report.rows}, 0
    for (code, key), reading in rows_of(sheet).items():
        if not code.endswith(" alone") or len(reading.computed) != 2 or reading.lamp_w is None:
            continue
        row = rows[code.split()[0]]
        unplugged = Changes(unplugged=(report.module,), pulled=("ALM.11",) if row.point == "ALM.2" else ())
        model = model_of(tracing, key, unplugged, limits=limits_of(tracing.circuit), first=report.module)
        node = tracing.circuit.pins_of[row.part][row.pin]
        solved = fitted(with_test_lamp(model, node, reading.lamp_w, supply=row.level == "supply")).solve()
        bare, loaded = reading.computed
        assert (bare.box, loaded.box, loaded.load) == (
            "volts" if row.level == "supply" else "drop",
            "loaded",
            f"lamp {reading.lamp_w:g} W",
        )
        assert loaded.value is not None and bare.value is not None
        assert loaded.value.nominal == pytest.approx(float(solved.node_v[node]), abs=0.005)
        assert loaded.value.low <= loaded.value.nominal <= loaded.value.high
        compared += 1
    assert compared >= 8


def test_a_long_thin_wire_shows_under_the_lamp_and_not_without(tmp_path: Path) -> None:
    """20 m of 0.5 mm²: IEC 60228 gives at most 39.0 Ω/km for a flexible copper conductor of that size at 20 °C (from memory), so at most 0.78 Ω.

    A lamp of 5 W at 12 V draws 0.42 A (power over voltage): about a third of a volt is lost. A meter of 10 MΩ draws a microampere and loses nothing.
    """
    text = """sheet: 1
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 3}
  G1: {is: ground}
  M1: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
  - BAT.+ -- RD 4 0.1m -- F1.feed
  - F1.load -- RD 0.5 20m -- M1.1
  - M1.2 -- BN 4 0.1m -- G1
  - BAT.- -- BK 16 0.1m -- G1
"""
    tracing = Tracing(tracer.load(str(write_vehicle(tmp_path / "v", {"1": text}, "vehicle: made\n"))))
    alone = next(
        reading
        for (code, _), reading in rows_of(sheet_of(tracing, supplies_of(tracing, "M1"))).items()
        if code == "S1 alone"
    )
    assert alone.lamp_w == 5.0
    bare, loaded = alone.computed
    assert bare.lost_nominal_v == pytest.approx(0.0, abs=0.001)
    assert loaded.lost_nominal_v is not None and loaded.lost_high_v is not None
    assert 0.25 < loaded.lost_nominal_v < 0.42 and loaded.lost_nominal_v < loaded.lost_high_v < 0.6


def test_a_supply_that_the_module_itself_holds_on_is_pulled_from_the_plug(sheets: Sheets) -> None:
    """Row S1 of the demo comes over relay KAL, whose coil the module's own output grounds."""
    _, sheet = sheets["minibus", "ALM"]
    alone = rows_of(sheet)["S1 alone", "run"]
    assert alone.expected.startswith("12.") and "lost" in alone.limit
    assert "1 A fused lead 11 to 1 in the plug: KAL clicks" in alone.note
    assert {"volts", "loaded", "drop"} == alone.boxes
    before = rows_of(sheet)[
        "S1 alone", "off"
    ]  # the list says "if after-run", but there is no after-run without the module
    assert before.expected == "floating: about 0 V while ALM is unplugged" and before.boxes == {"volts"}


def test_each_of_two_parallel_fuses_has_its_own_values(sheets: Sheets) -> None:
    """Both ways lead through a diode: under the lamp 0.4 to 0.9 V of its own for a silicon diode (common practice, no source), and less under a meter that takes a microampere."""
    _, sheet = sheets["minibus", "ALM"]
    for fuse in ("F20", "F24"):
        bare, loaded = rows_of(sheet)[f"S7 by {fuse}", "run"].computed
        assert bare.value is not None and loaded.value is not None
        assert 0.1 < 12.4 - bare.value.nominal < 0.6 and 0.4 < 12.4 - loaded.value.nominal < 1.5


def test_what_depends_says_on_what_and_both_values(sheets: Sheets) -> None:
    rows = rows_of(sheets["minibus", "ALM"][1])
    assert re.fullmatch(r"12\.\d\d V \(.*\) if not asleep", rows["S8 alone", "off"].expected)
    assert rows["V1.11", "run"].expected == "ground if KNS in position pressed; else floating: about 0 V"


def test_dead_is_no_negative_number_behind_a_diode(sheets: Sheets) -> None:
    assert re.search(r"\b0 V", rows_of(sheets["minibus", "ALM"][1])["S7 alone", "off"].expected)  # such a pin is there
    for _, sheet in sheets.values():
        for reading in rows_of(sheet).values():
            assert not re.search(r"(?<![\d.])-0\.[1-9]|(?<![\d.])-[1-9]\d*\.\d", reading.expected)


def test_buses_of_a_gateway_have_a_row_each(sheets: Sheets) -> None:
    """ISO 11898-2: two terminations of 120 Ω in parallel are 60 Ω, 2.5 V at rest (from memory). GTW has three buses."""
    tracing = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    rows = rows_of(sheet_of(tracing, supplies_of(tracing, "GTW")))
    assert {code for code, _ in rows if code.startswith("B") and "-" in code} == {"B1-B2", "B3-B4", "B5-B6"}
    drive = rows["B1-B2", "off"]
    (computed,) = drive.computed
    assert computed.unit == "ohm" and computed.value is not None
    assert 57 < computed.value.low < computed.value.nominal < computed.value.high < 62
    assert "120 Ω" in drive.limit and drive.boxes == {"ohms"}
    assert rows["B1", "run"].expected == "at rest 2.50 V (2.00 to 3.00), driven 3.50 V (2.75 to 4.50)"
    assert rows["B2", "run"].expected == "at rest 2.50 V (2.00 to 3.00), driven 1.50 V (0.50 to 2.25)"
    assert rows["B1", "run"].limit == "awake a meter shows about 2.70 V (2.50 to 3.20); asleep 0.00 (-0.10 to 0.10) V"
    assert [one.value for one in rows["B1", "run"].computed] == [Range(2.5, 2.7, 3.2)]


def test_where_nothing_settles_the_form_says_so_and_keeps_the_words(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(*_: object, keys: tuple[str, ...], **__: object) -> dict[tuple[str, str], tuple[object, ...]]:
        raise NotSettled(f"no steady state was found in {keys[0]}")

    monkeypatch.setattr("tracer.plan.bench.expectations", refuses)
    tracing = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
    sheet = sheet_of(tracing, supplies_of(tracing, "BDM"))
    said = "key run: no steady state was found in run"
    assert said in sheet.not_computed
    points = [reading for reading in rows_of(sheet).values() if reading.kind == "point"]
    assert points and all(not reading.computed for reading in points)
    assert any(reading.expected == "battery voltage" and "0.20 V lost per wire" in reading.limit for reading in points)
    pdf = " ".join("\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(as_pdf(sheet))).pages).split())
    for text in (pdf, " ".join("".join(seen_in(as_html(sheet)).text).split())):
        assert "No values could be computed for" in text and "common practice only" in text and said in text
    assert "NO VALUES COMPUTED" in as_csv(sheet) and as_data(sheet)["not_computed"] == list(sheet.not_computed)


@pytest.mark.parametrize("case", CASES)
def test_json_and_csv_carry_the_same_numbers(sheets: Sheets, case: tuple[str, str]) -> None:
    _, sheet = sheets[case]
    written = as_data(sheet)
    sources = {one["number"]: one["text"] for one in written["limits"]}
    data = [reading for batch in written["batches"] for reading in batch["readings"]]
    lines = [row for row in csv.DictReader(io.StringIO(as_csv(sheet))) if row["batch"]]
    assert len(data) == len(lines)
    numbers = 0
    for reading, line in zip(data, lines, strict=True):
        for one in reading["computed"]:
            name = {"loaded": "computed loaded V", "ohms": "computed ohm"}.get(one["box"], "computed V")
            value = one.get("nominal_v", one.get("nominal_ohm"))
            if value is not None:
                assert float(line[name]) == pytest.approx(value, abs=1e-4)
                numbers += 1
            if one["limit_v"] is not None:
                assert (
                    float(line["limit V"]) == one["limit_v"] and line["source of limit"] == sources[one["limit_from"]]
                )
    assert numbers > 5


@pytest.mark.parametrize("case", CASES)
def test_no_page_ends_between_the_head_of_a_batch_and_its_first_reading(sheets: Sheets, case: tuple[str, str]) -> None:
    _, sheet = sheets[case]
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(as_pdf(sheet))).pages]
    looked_at = 0
    for number, batch in enumerate(sheet.batches, 1):
        first = batch.to_read[1]
        if first.kind == "fit" or len(batch.place) > 60:
            continue
        head = re.compile(rf"(?<![\d.]){number}\. {re.escape(batch.place)}")
        page = next(text for text in pages if head.search(text))
        assert re.search(rf"(?<![A-Z0-9.]){re.escape(first.code)}(?![\d.])", page), (number, first.code)
        looked_at += 1
    assert looked_at > 0


def test_the_demo_takes_no_more_pages_than_its_batches_need(sheets: Sheets) -> None:
    _, sheet = sheets["minibus", "ALM"]
    assert len(pypdf.PdfReader(io.BytesIO(as_pdf(sheet))).pages) <= 15


def test_points_are_read_with_the_key_on_where_the_list_gives_no_reason_to_choose(sheets: Sheets) -> None:
    """Only S1 of LIFT is live, and it is so in every key state: with the key on the module works and its grounds carry current."""
    _, sheet = sheets["unfinished", "LIFT"]
    assert {batch.key for batch in sheet.batches if batch.plugged} == {"run"}


def test_nothing_computed_rests_on_nothing(tmp_path: Path) -> None:
    """No way leads to the module: its pins are read in every key state, and no battery is said to stand behind values."""
    text = "sheet: 1\nparts:\n  M1: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}\n"
    tracing = Tracing(tracer.load(str(write_vehicle(tmp_path / "v", {"1": text}, "vehicle: made\n"))))
    sheet = sheet_of(tracing, supplies_of(tracing, "M1"))
    assert sheet.rests_on == "" and not sheet.complete
    assert "computed from the wiring" not in as_html(sheet)


def test_a_lin_bus_reads_levels_of_lin_and_own_limits_stand_on_the_form(tmp_path: Path) -> None:
    """ISO 17987-4: the recessive level is above 0.8 and the dominant below 0.2 of the supply behind the transmitter's diode, which takes 0.4 to 1.0 V (from memory)."""
    text = """sheet: 1
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 10}
  G1: {is: ground}
  M1: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: bus comfort LIN}}
  M2: {is: module, cavities: 1-1, pins: {1: bus comfort LIN}}
runs:
  - BAT.+ -- RD 4 -- F1.feed
  - F1.load -- RD 1 -- M1.1
  - M1.2 -- BN 1 -- G1
  - M1.3 -- VT 0.5 -- M2.1
  - BAT.- -- BK 16 -- G1
"""
    vehicle = (
        "vehicle: made\nbuses: {comfort: {kind: lin, commander: M1}}\nlimits: {supply path: 0.3, ground path: 0.05}\n"
    )
    tracing = Tracing(tracer.load(str(write_vehicle(tmp_path / "v", {"1": text}, vehicle))))
    rows = rows_of(sheet_of(tracing, supplies_of(tracing, "M1")))
    words = re.fullmatch(r"at rest (.*) to (.*) V, driven 0.00 to (.*) V", rows["B1", "run"].expected)
    assert words is not None
    rest, full, driven = map(float, words.groups())
    assert rest == pytest.approx(0.8 * (full - 1.0), abs=0.01) and 0.15 * full < driven <= 0.2 * full
    assert rows["S1 alone", "off"].limit.endswith("at most 0.30 V")
    assert rows["G1 alone", "off"].limit == "at most 0.05 V"


def test_where_ways_run_side_by_side_each_point_names_its_own_fuse(sheets: Sheets) -> None:
    """Row S7 of the demo: rail 15, F20, D1 and rail 75, F24, D2 come together in splice S20 (its sheets 2 and 3)."""
    from_ = {
        reading.point: reading.comes_from
        for reading in rows_of(sheets["minibus", "ALM"][1]).values()
        if reading.kind == "point"
    }
    assert [from_[point] for point in ("F20.feed", "F20.load", "D1.A", "D1.K")] == ["IGN", *["F20 7.5 A"] * 3]
    assert [from_[point] for point in ("F24.feed", "F24.load", "D2.A", "D2.K")] == ["IGN", *["F24 7.5 A"] * 3]
    assert set(from_["S20"].split(", ")) == set(from_["ALM.8"].split(", ")) == {"F20 7.5 A", "F24 7.5 A"}
    assert [from_[point] for point in ("BAT.+", "ML1.feed", "KAL.87", "F52.feed")] == [
        "BAT.+",
        "BAT.+",
        "F50 30 A",
        "KAL",
    ]
    assert [from_[point] for point in ("BDM.3", "BDM.12", "ALM.9")] == ["F4 10 A", "F4 10 A", "output BDM.12"]


def test_a_longer_way_beside_does_not_feed_the_point_it_leaves_from(tmp_path: Path) -> None:
    """Splice SP parts into F2 (short) and, over four more splices, F3; both come together in SQ."""
    text = """sheet: 1
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 30}
  F2: {is: fuse, amps: 5}
  F3: {is: fuse, amps: 10}
  SP: {is: splice}
  SQ: {is: splice}
  S1: {is: splice}
  S2: {is: splice}
  S3: {is: splice}
  S4: {is: splice}
  G1: {is: ground}
  M1: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
  - BAT.+ -- RD 4 -- F1.feed
  - F1.load -- RD 4 -- SP
  - SP -- RD 1 -- F2.feed
  - F2.load -- RD 1 -- SQ
  - SP -- RD 1 -- S1 -- RD 1 -- S2 -- RD 1 -- S3 -- RD 1 -- S4 -- RD 1 -- F3.feed
  - F3.load -- RD 1 -- SQ
  - SQ -- RD 1 -- M1.1
  - M1.2 -- BN 1 -- G1
  - BAT.- -- BK 16 -- G1
"""
    tracing = Tracing(tracer.load(str(write_vehicle(tmp_path / "v", {"1": text}, "vehicle: made\n"))))
    rows = rows_of(sheet_of(tracing, supplies_of(tracing, "M1")))
    from_ = {reading.point: reading.comes_from for reading in rows.values() if reading.kind == "point"}
    assert [from_[point] for point in ("SP", "F2.feed", "F3.feed", "S4")] == ["F1 30 A"] * 4
    assert set(from_["SQ"].split(", ")) == set(from_["M1.1"].split(", ")) == {"F2 5 A", "F3 10 A"}


def test_a_held_supply_with_another_load_on_it_is_pulled_from_the_plug_and_dead_without_the_key(tmp_path: Path) -> None:
    """The lamp on the relay's output pulls the pin to ground, so that it does not float; still nothing is expected with the relay off."""
    text = """sheet: 1
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 10}
  G1: {is: ground}
  K1: {is: relay, kind: normally open}
  LP: {is: load, watts: 5}
  SP: {is: splice}
  SF: {is: splice}
  M1:
    is: module
    cavities: 1-4
    pins: {1: supply, 2: ground, 3: output main relay, 4: supply permanent}
    outputs:
      3: {drives: low, through: [2], when: [run, start]}
runs:
  - BAT.+ -- RD 4 -- F1.feed
  - F1.load -- RD 4 -- SF
  - SF -- RD 2.5 -- K1.30
  - SF -- RD 1 -- K1.86
  - SF -- RD 1 -- M1.4
  - K1.85 -- BN 1 -- M1.3
  - K1.87 -- RD 2.5 -- SP
  - SP -- RD 1 -- M1.1
  - SP -- RD 1 -- LP.1
  - LP.2 -- BN 1 -- G1
  - M1.2 -- BN 1 -- G1
  - BAT.- -- BK 16 -- G1
"""
    tracing = Tracing(tracer.load(str(write_vehicle(tmp_path / "v", {"1": text}, "vehicle: made\n"))))
    rows = rows_of(sheet_of(tracing, supplies_of(tracing, "M1")))
    alone = rows["S1 alone", "run"]
    assert alone.point == "M1.1"
    assert re.match(r"12\.\d\d V", alone.expected) and "1 A fused lead 3 to 2 in the plug: K1 clicks" in alone.note
    assert rows["S1 alone", "off"].expected == "dead: 0.00 V"
    plugged = next(reading for reading in rows.values() if reading.kind == "point" and reading.point == "M1.1")
    assert re.match(r"12\.\d\d V", plugged.expected)


def test_a_coil_whose_wiring_is_loose_is_not_expected_to_be_dead(sheets: Sheets) -> None:
    """Nothing is wired to the coil of K2 in the unfinished circuit: 0 V across it would read as in order."""
    coil = rows_of(sheets["unfinished", "LIFT"][1])["C1+C2", "run"]
    assert coil.expected == "not known: no way is typed in for C1 and C2" and coil.must and not coil.computed


@pytest.mark.parametrize("case", [("minibus", "ALM"), ("minibus", "INS"), ("sixty", "BIG"), ("unfinished", "LIFT")])
def test_volts_hangs_the_lamp_of_the_worksheet(sheets: Sheets, folders: dict[str, Path], case: tuple[str, str]) -> None:
    """One rule decides: what `volts` expects with a lamp, unplugged, is what the form has a box for."""
    _, sheet = sheets[case]
    circuit = tracer.load(str(folders[case[0]]))
    on_form = {
        code.split()[0]: one for (code, key), one in rows_of(sheet).items() if code.endswith(" alone") if one.lamp
    }
    compared = 0
    for row in tracer.volts(circuit, case[1]).rows:
        if row.code in on_form and row.lamp is not None:
            assert row.lamp.lamp.watts == on_form[row.code].lamp_w
            compared += 1
    assert compared >= 2


def test_a_larger_lamp_than_the_fuse_allows_is_called_too_large() -> None:
    text = volts_text(tracer.volts(tracer.load(str(ROOT / "circuits" / "minibus")), "ALM", lamp_w=55.0))
    assert "TOO LARGE: its fuse or wire allows 21 W" in " ".join(text.split())


def test_nothing_is_invented_for_a_bus_whose_kind_is_not_typed_in(sheets: Sheets) -> None:
    _, sheet = sheets["unfinished", "LIFT"]
    found = [
        one
        for batch in sheet.batches
        for one in batch.to_read
        if one.lamp == "no lamp on a bus line" or "never a lamp" in one.note
    ]
    assert found
    for one in found:
        assert one.expected == "not known" and "what bus it is has not been typed in" in one.limit
