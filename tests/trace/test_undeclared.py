"""A part that is used and not declared is a loose end of the lists that touch it; it stops nothing, and no list is complete over it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml

import tracer
from tests.typed import HEAD, VEHICLE, load, problems, write
from tracer.entry.text import Kept
from tracer.trace.rules.registry import loose_ends

DEMO = Path(__file__).resolve().parents[2] / "circuits" / "minibus"
FED = "BAT.+ -- RD 1 -- F1 -- RD 1 -- S1"


def said(folder: Path, *runs: str, parts: str = "", vehicle: str = VEHICLE) -> list[tuple[str, str, str]]:
    """Place, message and cure of each part that is not declared."""
    sheet = HEAD + (f"  {parts}\n" if parts else "") + "runs:\n" + "".join(f"  - {run}\n" for run in runs)
    circuit = load(folder, sheet, vehicle=vehicle)
    return [(str(one.place), one.message, one.fix) for one in loose_ends(tracer.Tracing(circuit)) if one.code == "L162"]


@pytest.mark.parametrize(
    ("run", "message", "fix"),
    [
        ("S1 -- RD 1 -- S9 -- RD 1 -- S2", "`S9` is not declared: used in 1 place (sheet 1); by its name and use a splice", "`S9: {is: splice}`"),
        ("S1 -- RD 1 -- GTW.3", "`GTW` is not declared: used in 1 place (sheet 1)", "`GTW: {is: KIND}`"),
        ("S1 -- RD 1 -- Sü9 -- RD 1 -- S2", "`Sü9` is not declared: used in 1 place (sheet 1)", "declared once"),
        ("S1 -- RD 1 -- MM.1", "`MM` is not declared", "Did you mean `M`?"),
        ("S1 -- RD 1 -- M-3", "`M-3` is not declared", "Did you mean `M.3`?"),
        ("T30 -- RD 1 -- S1", "`T30` is not declared", "Did you mean `30`?"),
        ("15 -- RD 1 -- S1", "`15` is not declared", "under `rails:` in vehicle.yaml"),
        ("S1 -- RD 1 -- X7.2:a", "by its name and use an in-line connector", "`X7: {is: connector}`"),
        ("S1 -- RD 1 -- K7.87a", "by its name and use a relay", "`K7: {is: relay}`"),
        ("S1 -- RD 1 -- E7 -- BN 1 -- G1", "by its name and use a lamp, motor, valve or sensor", "`E7: {is: load}`"),
        ("S1 -- RD 1 -- Q7.1>3 -- RD 1 -- S2", "by its name and use an in-line connector", "`Q7: {is: connector}`"),
    ],
)  # fmt: skip
def test_a_name_in_a_run_is_told_with_a_guess_at_its_kind(run: str, message: str, fix: str, tmp_path: Path) -> None:
    ((place, what, cure),) = said(tmp_path, run)
    assert place.startswith("sheets/1.yaml:12:")
    assert message in what
    assert fix in cure


@pytest.mark.parametrize(
    ("parts", "message", "fix"),
    [
        ("Q: {is: fuse, meets: {feed: S9}}", "`S9` is not declared", "`S9: {is: splice}`"),
        ("FB: {is: panel, positions: {A1: 5}, busbars: {BAT.+: [A1, A2]}}", "`A2` is not declared: used in 1 place (sheet 1); by its name and use a fuse", "positions: {A2: AMPS}"),
        ("FB: {is: panel, positions: {A1: 5}, busbars: {Q: [A1]}}", "`Q` is not declared", "declared once"),
        ("N: {is: module, gets: {supply: BDM, ground: case}, pins: {1: signal}}", "`BDM` is not declared: used in 1 place (sheet 1); by its name and use a module", "`BDM: {is: module}`"),
    ],
)  # fmt: skip
def test_a_name_among_facts_is_told_too(parts: str, message: str, fix: str, tmp_path: Path) -> None:
    place, what, cure = said(tmp_path, FED, parts=parts)[0]
    assert place.startswith("sheets/1.yaml:11:")
    assert message in what
    assert fix in cure


def test_what_only_vehicle_yaml_names_is_told(tmp_path: Path) -> None:
    vehicle = "vehicle: v\nrails: {'30': {live: always, from: BATT.+}}\nbuses: {d: {kind: lin, commander: Z, terminations: {Y: 120}}}\n"
    found = said(tmp_path, FED, vehicle=vehicle)
    assert [what.partition(" is")[0] for _, what, _ in found] == ["`BATT`", "`Z`", "`Y`"]
    assert all("vehicle.yaml" in what for _, what, _ in found)
    assert "Did you mean `BAT`?" in found[0][2]


def test_nine_uses_are_one_loose_end_and_it_comes_first(tmp_path: Path) -> None:
    runs = [f"S1 -- RD 1 -- GTW.{pin}" for pin in range(1, 10)]
    circuit = load(tmp_path, HEAD + "runs:\n" + "".join(f"  - {run}\n" for run in runs))
    first, *rest = loose_ends(tracer.Tracing(circuit))
    assert first.message == "`GTW` is not declared: used in 9 places (sheet 1); by its name and use a module"
    assert rest and not any("GTW" in one.message and one.code != "L114" for one in rest)


def test_a_lamp_between_supply_and_ground_that_is_not_declared_is_no_short_circuit(tmp_path: Path) -> None:
    circuit = load(
        tmp_path,
        HEAD
        + f"runs:\n  - {FED}\n  - S1 -- RD 1 -- E7 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n  - S1 -- RD 1 -- M.1\n",
    )
    assert not {"L118"} & {one.code for one in loose_ends(tracer.Tracing(circuit))}
    report = tracer.supplies(circuit, "M")
    assert [row.pin for row in report.supplies] == ["1"] and report.completeness.state == "not complete"


def test_asked_for_as_a_module_it_is_said_to_be_not_declared(tmp_path: Path) -> None:
    circuit = load(tmp_path, HEAD + "runs:\n  - S1 -- RD 1 -- GTW.1\n")
    with pytest.raises(tracer.CannotAnswer, match="GTW is a part that is not declared, not a module"):
        tracer.supplies(circuit, "GTW")


# --- files -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["sheets/05.yaml.txt", "sheets/05.yaml~", "05.yaml", "5.yaml.txt"])
def test_a_file_that_is_not_read_comes_first(name: str, tmp_path: Path) -> None:
    sheet = HEAD + "runs:\n  - S1 -- RD 1 -- GTW.1\n"
    circuit = load(tmp_path / "a", sheet, more={name: "sheet: 5\nparts: {GTW: module}\n"})
    assert next(str(one.place) for one in loose_ends(tracer.Tracing(circuit))) == name
    assert not tracer.supplies(circuit, "M").complete
    write(tmp_path / "b", sheet.replace("GTW.1", "M.9"), more={name: "sheet: 5\n"})
    first, second = problems(tmp_path / "b")
    assert (str(first.place), first.what) == (name, "this file is not read")
    assert second.what == "M has no pin 9"


def test_a_workshops_limits_beside_the_vehicle_are_no_sheet(tmp_path: Path) -> None:
    circuit = load(
        tmp_path, HEAD, more={"limits.yaml": "shop: x\nlimits: {supply path: 0.3}\n", "types.yaml": "kinds: {}\n"}
    )
    assert circuit.typed.ignored == ()


def test_problems_of_reading_and_of_joining_come_out_together(tmp_path: Path) -> None:
    runs = "  - S1 -- RE 1 -- S2\n  - S1 -- RD 1 -- M.9\n  - S2 -- RD 1 -- X1.9\n  - Q.3 -- RD 1 -- S1\n"
    found = problems(write(tmp_path, HEAD + "  Q: {is: module, cavities: [1], titel: x}\nruns:\n" + runs))
    assert [one.place.line for one in found] == [
        11,
        13,
        14,
        15,
    ]  # what hangs on Q, which has a problem of its own, is not blamed


# --- the law ---------------------------------------------------------------------------------------------------------


def _content(report: tracer.SupplyReport) -> set[tuple[str, str]]:
    return {(row.point, probe.at.partition(",")[0]) for row in report.rows for probe in row.probes}


def test_no_declaration_of_the_demo_can_be_deleted_so_that_a_list_is_shorter_and_complete(tmp_path: Path) -> None:
    """Every part of every sheet, one after the other; what is refused as a whole concludes nothing."""
    before = {module.name: tracer.supplies(tracer.load(DEMO), module.name) for module in tracer.load(DEMO).modules()}
    files = {path.relative_to(DEMO).as_posix(): path.read_text(encoding="utf-8") for path in DEMO.rglob("*.yaml")}
    tried = loose = 0
    folder, kept = write(tmp_path, vehicle=None, more=files), Kept()  # what has not changed is not parsed 130 times
    for file, text in files.items():
        for name in yaml.load(text, yaml.BaseLoader).get("parts") or {}:
            cut = re.sub(rf"(?m)^  {re.escape(name)}:.*\n(?:    .*\n|\s*#.*\n)*", "", text, count=1)
            assert cut != text, name
            (folder / file).write_text(cut, encoding="utf-8")
            tried += 1
            try:
                tracing = tracer.Tracing(tracer.load(folder, kept))
            except tracer.CannotUse:
                continue
            finally:
                (folder / file).write_text(text, encoding="utf-8")
            loose += any(one.code == "L162" for one in loose_ends(tracing))
            for module in {"ALM", "BDM", "ENM"} & {one.name for one in tracing.circuit.modules()}:
                report = tracer.supplies(tracing, module)
                rests = {*report.completeness.rests_on, *report.completeness.uncounted}
                more = rests - {*before[module].completeness.rests_on, *before[module].completeness.uncounted}
                lost = _content(before[module]) - _content(report)
                assert not lost or more or report.completeness.state == "not complete", (name, module, lost)
    assert tried > 120 and loose > 100
