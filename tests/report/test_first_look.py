"""The first look at a module's list: on one screen, nothing of the list left out, and what is unknown before everything else."""

from __future__ import annotations

import json
import re
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings

import tracer
from tests.cli.test_exit_status import invoke
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tests.typed import write
from tracer.electrics.volts import expected
from tracer.entry.problems import CannotUse, display_width
from tracer.plan.values import Glance
from tracer.report.glance import MOST_LINES, as_text

ROOT = Path(__file__).parent.parent.parent
DEMO = str(ROOT / "circuits" / "minibus")
UNFINISHED = str(ROOT / "circuits" / "unfinished")


def test_a_list_of_eight_supplies_and_three_grounds_fits_thirty_lines() -> None:
    status, out, _ = invoke("--width", "80", "-C", DEMO, "supplies", "ALM")
    assert status == 0
    notes = out.splitlines().index(next(line for line in out.splitlines() if line.startswith("notes")))
    assert notes <= 29  # room for one note; this vehicle has four
    assert "COMPLETE: 8 supplies, 3 grounds." in out


@pytest.mark.parametrize("width", [40, 64, 80, 120])
@pytest.mark.parametrize("folder", [DEMO, UNFINISHED])
def test_no_line_is_wider_than_the_page(width: int, folder: str) -> None:
    for module in ("ALM", "BDM", "INS") if folder == DEMO else ("LIFT", "DSP"):
        _, out, _ = invoke("--width", str(width), "-C", folder, "supplies", module, "--quick")
        assert max(map(display_width, out.splitlines())) <= width


def glances(vehicle: TypedVehicle) -> list[Glance]:
    """The first look at each module of a vehicle; nothing where it cannot be used."""
    with tempfile.TemporaryDirectory() as scratch:
        try:
            circuit = tracer.load(vehicle.write(Path(scratch) / "v"))
        except CannotUse:
            return []
    tracing = tracer.Tracing(circuit)
    return [tracer.glance(tracing, report, computed=False) for report in tracer.every_list(tracing)]


@settings(deadline=None)
@given(typed_vehicles())
def test_every_row_every_fuse_and_every_open_pin_is_on_the_screen(vehicle: TypedVehicle) -> None:
    for glance in glances(vehicle):
        text = as_text(glance, width=120)
        said = " ".join(text.split())
        report = glance.report
        lines = [line.split() for line in text.splitlines() if line.strip()]
        for row in (*report.supplies, *report.grounds, *report.carrying):
            assert any(words[0] == f"{row.pin}{'+' if row.level == 'supply' else '-'}" for words in lines), row.point
            for fuse in row.fuses:
                label = fuse.part.rpartition("/")[2]  # one that two panels have stands behind its panel's name
                assert re.search(rf"\b{label}\b", said), (row.point, fuse.part)
            for switched in row.switches:
                name = switched.removeprefix("output ").split(" ")[0]
                assert re.search(rf"(?<!\S){re.escape(name)}\b", said), (row.point, switched)
            for one in row.left_out:
                assert "rule parts out at pin" in said and all(name in said for name in one.switches), row.point
        for cavity in report.census:
            if cavity.kind in ("supply", "ground", "unaccounted") and not cavity.row:
                assert any(words[0] == cavity.pin for words in lines), cavity
        first = text.splitlines()[1]
        assert first.startswith(report.completeness.word)
        marked = sum(line.startswith("! ") for line in text.splitlines())
        told = len(report.loose_ends) + len(report.cross_check.differences)
        assert marked >= min(told, MOST_LINES)


def test_conditions_stand_before_loose_ends_and_more_than_eight_become_a_count() -> None:
    _, out, _ = invoke("-C", UNFINISHED, "supplies", "LIFT", "--quick")
    marked = [line for line in out.splitlines() if line.startswith("! ")]
    assert marked[0] == "! it rests on this: G1, G2 and G3 sit on the body"
    assert len(marked) == MOST_LINES
    assert marked[-1] == "! and 5 more: `tracer supplies LIFT --all`"


def test_the_way_is_in_order_with_the_panel_of_each_fuse() -> None:
    _, out, _ = invoke("--width", "120", "-C", DEMO, "supplies", "ALM", "--quick")
    lines = {line.split()[0]: " ".join(line.split()) for line in out.splitlines()[2:] if line.strip()}
    assert "FPE F50 30A > KAL > F52 20A" in lines["2+"]
    assert "FPE F40 30A > IGN 15 > FPC F18 10A" in lines["4+"]
    assert "FPC F20 7.5A / F24 7.5A" in lines["8+"]
    assert lines["FPC"].endswith("behind ML2 100A")


@pytest.mark.parametrize("folder", [DEMO, UNFINISHED])
def test_every_fuse_of_the_rows_and_of_what_they_need_stands_in_the_first_look(folder: str) -> None:
    """Those of what must work first too: 6+ of the demo hangs on F19 only through the coil of its relay."""
    tracing = tracer.Tracing(tracer.load(folder))
    for report in tracer.every_list(tracing):
        text = as_text(tracer.glance(tracing, report, computed=False), width=120)
        words = set(re.findall(r"[\w+-]+", text))
        own = [row for row in report.rows if row.code[0] != "C"]
        needed = {code for row in own for code in row.needs}
        rows = [row for row in report.rows if row in own or row.code in needed]
        fuses = {fuse.part.rpartition("/")[2] for row in rows for fuse in row.fuses}
        assert fuses <= words, (report.module, fuses - words)


def test_splits_halve_the_way() -> None:
    tracing = tracer.Tracing(tracer.load(DEMO))
    report = tracer.supplies(tracing, "ALM")
    pins = {pin.name: pin for pin in tracer.glance(tracing, report, computed=False).pins}
    # 3+: ML2, F7, X3, X4 are the places on its way that come apart by hand
    assert pins["3+"].splits == ("F7", "X3.8", "ML2")


@pytest.mark.parametrize("name", ["2", "2+", "ALM.2"])
def test_one_pin_shows_its_whole_way_and_what_it_needs(name: str) -> None:
    status, out, _ = invoke("-C", DEMO, "supplies", "ALM", name, "--quick")
    assert status == 0
    assert "\n2+  supply" in out and "\n3+  " not in out
    assert "KAL.86+: over ML1 150 A, F50 30 A; always" in out and "KLE.86+" not in out
    whole = invoke("-C", DEMO, "supplies", "ALM", name, "--all", "--quick")[1]
    assert "S1  ALM.2" in whole and "S2  ALM.3" not in whole
    assert "C1  KAL.86" in whole and "C3  KLE.86" not in whole


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("25", "ALM.25 is bus, declared `bus drive H`: no supply or ground is traced to it."),
        ("99", "ALM has no pin 99 here. Pins with a way: 2, 3, 4, 5, 6, 7, 8, 9, 1, 17, 20, 29."),
    ],
)
def test_a_pin_without_a_way_is_answered_with_what_it_is(name: str, said: str) -> None:
    status, out, error = invoke("-C", DEMO, "supplies", "ALM", name)
    assert (status, out, error.strip()) == (2, "", said)


def test_a_pin_that_is_declared_and_not_traced_yet_is_not_said_to_be_none() -> None:
    for name in ("4", "4+", "LIFT.4"):
        status, out, error = invoke("-C", UNFINISHED, "supplies", "LIFT", name)
        assert (status, out) == (2, "")
        assert error.strip() == "LIFT.4 is supply, declared `supply switched`, and its way is not known: `tracer missing LIFT` says what to type in."  # fmt: skip


def test_a_pin_as_data_and_all_of_no_module_are_wrong_usage() -> None:
    assert invoke("-C", DEMO, "supplies", "ALM", "2", "--json")[0] == 2
    assert invoke("-C", DEMO, "supplies", "--all")[0] == 2


@pytest.mark.parametrize("folder", [DEMO, UNFINISHED])
def test_all_modules_in_one_line_each_say_what_each_list_says(folder: str) -> None:
    tracing = tracer.Tracing(tracer.load(folder))
    status, out, _ = invoke("--width", "120", "-C", folder, "supplies")
    data = json.loads(invoke("-C", folder, "supplies", "--json")[1])
    for entry in data["modules"]:
        report = tracer.supplies(tracing, entry["module"])
        assert (entry["complete"], entry["completeness"]["state"]) == (report.complete, report.completeness.state)
        assert entry["supplies"] == [row.pin for row in report.supplies]
        line = next(line for line in out.splitlines() if line.split()[0] == entry["module"])
        assert line.split("  ")[1].strip() or report.completeness.word in line
        assert f" {report.completeness.word} " in f"{line} "
    assert {entry["module"] for entry in data["modules"]} == {part.name for part in tracing.circuit.modules()}
    assert (status == 0) == data["complete"]


def test_names_are_found_in_other_letters_where_only_one_fits() -> None:
    assert invoke("-C", DEMO, "supplies", "alm", "--quick") == invoke("-C", DEMO, "supplies", "ALM", "--quick")
    assert invoke("-C", DEMO, "affects", "f50")[1] == invoke("-C", DEMO, "affects", "F50")[1]


def test_no_figure_judges_behind_a_diode_and_legs_side_by_side_are_named() -> None:
    _, out, _ = invoke("--width", "80", "-C", DEMO, "supplies", "ALM")
    line = next(line for line in out.splitlines() if line.startswith("8+"))
    assert " diode " in line
    assert "8+: diode, 5 W against 21 W; 8+, 1-, 17-: each way alone; 9+: 0.3 Ω up." in out


def test_a_vehicle_without_a_module_is_not_called_complete(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text("sheet: 1\nparts: {BAT: battery}\n", encoding="utf-8")
    for form in ((), ("--json",)):
        assert invoke("-C", str(tmp_path), "supplies", *form) == (1, "", "There is no module in this vehicle.\n")


def test_a_pin_that_is_live_at_no_known_time_is_given_no_test() -> None:
    _, out, _ = invoke("-C", UNFINISHED, "supplies", "LIFT")
    line = next(line for line in out.splitlines() if line.startswith("3+"))
    assert "???" in line and "W " not in line


def test_a_vehicle_that_is_too_large_says_so_and_has_no_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(expected, "MOST_LINKS", 2)
    status, out, _ = invoke("--width", "120", "-C", DEMO, "supplies", "ALM")
    assert status == 0
    assert re.search(r"^! NO VOLTS COMPUTED: the vehicle has \d+ links", out, re.MULTILINE)
    assert "FPC F7 10A" in out and "More V than" not in out


def test_two_sources_of_one_pin_stand_beside_each_other(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts:\n  D1: diode\n  D2: diode\n  S1: splice\n  M: {is: module, cavities: 1-1, gets: {ground: case}}\n"
        "runs:\n- 58 -- GY 1 -- D1 -- GY 1 -- S1\n- 61 -- GY 1 -- D2 -- GY 1 -- S1\n- S1 -- GY 1 -- M.1\n"
    )
    vehicle = 'vehicle: v\nkey: [off, run]\nrails: {"58": [run], "61": [run]}\n'
    _, out, _ = invoke("-C", str(write(tmp_path, sheet, vehicle=vehicle)), "supplies", "M", "--quick")
    (line,) = (line for line in out.splitlines() if line.startswith("1+"))
    assert "58 / 61" in line  # `>` would say that the one feeds the other


@pytest.mark.parametrize(
    ("parts", "runs", "plugged"),
    [
        ("M: {is: module, cavities: 1-3, joined: [[1, 2]], pins: {2: supply}}", "- F1 -- RD 1 -- M.1\n- M.2 -- RD 1 -- E1 -- BN 1 -- G1\n- M.3 -- BN 1 -- G1\n", ["2+"]),
        ("M: {is: module, cavities: 1-3, joined: [[1, 2]]}", "- F1 -- RD 1 -- M.1\n- M.2 -- RD 1 -- F1\n- M.3 -- BN 1 -- G1\n", []),
        ("CV: {is: converter, volts: 12, return: isolated}, M: {is: module, cavities: 1-2}", "- F1 -- RD 1 -- CV.in\n- CV.ground -- BN 1 -- G1\n- CV.out -- RD 1 -- M.1\n- CV.return -- BN 1 -- M.2\n", ["1+", "2-"]),
        ("CV: {is: converter, volts: 12, return: joined}, M: {is: module, cavities: 1-2}", "- F1 -- RD 1 -- CV.in\n- CV.ground -- BN 1 -- G1\n- CV.out -- RD 1 -- M.1\n- CV.return -- BN 1 -- M.2\n", []),
    ],
    ids=["own bridge", "own bridge beside a wire", "isolated converter", "converter"],
)  # fmt: skip
def test_where_no_lamp_lights_while_unplugged_none_is_asked_for(parts: str, runs: str, plugged: list[str], tmp_path: Path) -> None:  # fmt: skip
    """A pin that is fed through the module itself is dead in its unplugged plug: in order, it read like a fault."""
    sheet = (
        f"sheet: 1\nparts: {{BAT: battery, F1: {{is: fuse, amps: 10}}, G1: ground, E1: {{is: load, watts: 5}}, {parts}}}\n"
        f"runs:\n- BAT.+ -- RD 1 -- F1.feed\n- BAT.- -- BK 35 -- G1\n{runs.replace('F1', 'F1.load')}"
    )
    folder = str(write(tmp_path, sheet, vehicle="vehicle: v\nkey: [off, run]\n"))
    _, out, _ = invoke("-C", folder, "supplies", "M")
    pins = {line.split()[0]: line for line in out.splitlines() if re.match(r"\d[+-] ", line)}
    assert [pin for pin, line in pins.items() if " off plugged" in line] == plugged
    _, out, _ = invoke("-C", folder, "worksheet", "M", "-o", str(tmp_path / "m.txt"))
    asked = (tmp_path / "m.txt").read_text(encoding="utf-8").partition("5  UNPLUGGED")[2]
    assert re.findall(r"(\d[+-])  on nothing while unplugged, no lamp lights there", asked) == plugged
