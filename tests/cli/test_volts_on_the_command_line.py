"""`tracer volts`, `bus` and `draw` as a user runs them: exit statuses, messages, JSON, a workshop's own limits."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.typed import write

ROOT = Path(__file__).parent.parent.parent


def run(*arguments: str, vehicle: str = "minibus", **environment: str) -> subprocess.CompletedProcess[str]:
    options = arguments[:2] if arguments[0] == "--width" else ()
    rest = arguments[len(options) :]
    command = [sys.executable, "-m", "tracer.cli", *options, "-C", str(ROOT / "circuits" / vehicle), *rest]
    return subprocess.run(
        command,
        cwd=ROOT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, **environment},
    )


def data(*arguments: str, **environment: str) -> Any:
    done = run(*arguments, "--json", **environment)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_a_vehicle_with_loose_ends_gets_values_and_is_said_not_to_be_complete() -> None:
    done = run("volts", "LIFT", vehicle="unfinished")
    assert done.returncode == 3
    assert "NOT COMPLETE" in done.stdout
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("volts", "ALN"), "Did you mean ALM?"),
        (("volts", "ALM", "--key", "noon"), "noon is no key state; this vehicle has off, acc, run, start."),
        (("volts", "ALM", "--open", "F77"), "there is no part F77."),
        (("volts", "ALM", "--short", "ALM.3="), "write it as ALM.4, ALM.4=supply or ALM.4=ALM.9."),
        (("volts", "ALM", "--add", "ALM.3"), "write it as PART.PIN=0.5ohm."),
        (("bus", "drife"), "Did you mean drive?"),
        (("bus", "--reading", "60ohm"), "A reading needs a bus, --reading and --at"),
        (("bus", "body", "--reading", "60ohm", "--at", "BDM"), "no resistance rule holds for bus body"),
        (("draw", "--total", "much"), "`much` is not understood: write it as --total 0.35A or 350mA"),
        (("draw", "--mv", "F4"), "write F12=0.4 (millivolts)."),
        (("draw", "--mv", "F4=nan"), "F4=nan: that is no drop of a fuse that conducts"),
        (("volts", "ALM", "--battery", "twelve"), "`twelve` is no number: write it as 12.3"),
        (("volts", "ALM", "--lamp", "500W"), "500 is not between 1 and 100"),
        (("volts", "ALM", "--load", "S2=2MA"), "write mA for thousandths of an ampere"),
    ],
)
def test_wrong_usage_says_what_to_write(arguments: tuple[str, ...], message: str) -> None:
    done = run(*arguments)
    assert done.returncode == 2
    assert message in done.stderr
    assert done.stdout == ""


def test_a_shop_file_by_option_and_by_environment(tmp_path: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text("shop: Bench 4\nlimits: {supply path: 0.4}\n", encoding="utf-8")
    for found in (data("volts", "ALM", "--shop", str(shop)), data("volts", "ALM", TRACER_SHOP=str(shop))):
        limit = found["limits"][next(row["limit"] for row in found["rows"] if row["row"] == "S1")]
        assert (limit["value"], limit["origin"]) == (0.4, "shop")
        assert "Bench 4" in limit["source"]
    shop.write_text("limits: {suply path: 0.4}\n", encoding="utf-8")
    done = run("volts", "ALM", "--shop", str(tmp_path / "missing.yaml"))
    assert done.returncode == 1
    assert "there is no such file of a workshop's limits" in done.stderr and "--shop" in done.stderr
    done = run("volts", "ALM", "--shop", str(shop))
    assert done.returncode == 1
    assert "shop.yaml:1:10" in done.stderr and "Did you mean `supply path`?" in done.stderr


def test_the_battery_that_was_measured_moves_every_value() -> None:
    low, high = (data("volts", "ALM", "--battery", volts) for volts in ("11.0", "12.0"))
    live = [pair for pair in zip(low["rows"], high["rows"], strict=True) if pair[0]["state"] == "live"]
    assert len(live) >= 8
    for before, after in live:
        assert 0.9 < after["volts"]["nominal_v"] - before["volts"]["nominal_v"] < 1.01


def test_check_lists_the_rules_that_need_numbers() -> None:
    done = run("check", "--rules")
    for code in ("R231", "R232", "R233", "R234"):
        assert code in done.stdout


@pytest.mark.parametrize("command", [("volts", "ALM"), ("bus",), ("draw", "--with", "asleep")])
def test_no_line_is_wider_than_asked_for(command: tuple[str, ...]) -> None:
    for width in (40, 80, 120):
        done = run("--width", str(width), *command)
        # A single word (an address) is never cut, so it may stick out on a line of its own.
        assert [line for line in done.stdout.splitlines() if len(line) > width and len(line.split()) > 1] == []


@pytest.mark.parametrize("typed", ["12,3", "12.3V", "12.3"])
def test_the_battery_is_typed_as_the_rest_is(typed: str) -> None:
    assert data("volts", "BDM", "--battery", typed)["battery"]["nominal_v"] == 12.3


def test_nothing_is_written_in_powers_of_ten() -> None:
    for command in (
        ("draw", "--with", "asleep=no"),
        ("bus",),
        ("volts", "ALM", "--add", "X4.1=2Mohm", "--load", "S2=20mA"),
    ):
        assert re.findall(r"\d[eE][+-]?\d", run(*command).stdout) == []


def test_an_unfinished_vehicle_has_no_complete_list_of_positions() -> None:
    done = run("draw", vehicle="unfinished")
    assert done.returncode == 3
    assert "NOT COMPLETE" in done.stdout


def test_a_branch_of_a_bus_is_listed_from_the_trunk_outwards() -> None:
    lines = run("bus", "drive", "--all").stdout.splitlines()
    first = next(n for n, line in enumerate(lines) if line.split()[:2] == ["ALM", "X3.19/20,"])
    points = [
        line[13:].split(" and beyond")[0].split("  ")[0] for line in lines[first : first + 7] if line[13:14].strip()
    ]
    assert points == [
        "X3.19/20, towards J1", "X3.19/20, towards X4", "X4.11/13, towards X3", "X4.11/13, towards ALM", "ALM.25/26",
    ]  # fmt: skip


def test_like_explanations_of_a_reading_stand_together() -> None:
    text = run("--width", "200", "bus", "drive", "--reading", "60ohm", "--at", "ALM").stdout
    assert "unplugged (reads 60.2 Ω): ALM; BRK; GTW; INS; TCG" in text
    assert "one line open towards GTW (reads 60.2 Ω): H contact J1.4; L contact J1.11; H J1.4 to GTW.4" in text


def test_a_lin_bus_names_its_pins_and_its_commander(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\nbuses: {w: {kind: lin, commander: A}}\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text(
        "sheet: 1\nparts:\n  A: {is: module, cavities: 1, pins: {1: bus w}}\n  B: {is: module, cavities: 1, pins: {1: bus w}}\nruns:\n- A.1 -- GY 0.5 1m -- B.1\n",
        encoding="utf-8",
    )
    for more, commander in ((), "commander A"), (("--all",), "commander: A"):
        text = run("bus", *more, vehicle=str(tmp_path)).stdout
        assert commander in text and "A.1" in text and "?" not in text


def test_loose_ends_elsewhere_are_counted_by_volts_and_bus_as_by_supplies(tmp_path: Path) -> None:
    folder = _vehicle(tmp_path, "  - F2.load -- RD 1 -- ref 9>5\n")
    supplies = json.loads(_in(folder, "supplies", "M", "--json", "--quick").stdout)
    assert supplies["loose_elsewhere"] == 1
    for command in (("volts", "M"), ("bus", "drive")):
        done = _in(folder, *command)
        assert "1 loose end elsewhere in the vehicle" in done.stdout, done.stdout
        found = json.loads(_in(folder, *command, "--json").stdout)
        assert (found["buses"][0] if "buses" in found else found)["loose_elsewhere"] == 1


def test_a_module_that_takes_nothing_can_be_typed_in(tmp_path: Path) -> None:
    folder = _vehicle(tmp_path, "", draws="{1: {run: 2, otherwise: 0}}")
    off, run_ = (
        json.loads(_in(folder, "volts", "M", "--key", key, "--json").stdout)["rows"][0] for key in ("off", "run")
    )
    assert (off["current"]["nominal_a"], off["lost"]["nominal_v"]) == (0.0, 0.0)
    assert not [one for one in off["assumed"] if "current" in one]
    assert run_["current"]["nominal_a"] == pytest.approx(2.0) and run_["lost"]["nominal_v"] > 0.01


def test_json_and_csv_together_are_wrong_usage() -> None:
    for command in (("supplies", "ALM"), ("panel",)):
        done = run(*command, "--json", "--csv")
        assert (done.returncode, done.stdout) == (2, "") and "--json and --csv" in done.stderr


def _vehicle(folder: Path, more: str, *, draws: str = "{1: 0.5}") -> Path:
    """A small vehicle with a bus, complete but for what `more` adds."""
    (folder / "sheets").mkdir()
    (folder / "vehicle.yaml").write_text(
        "vehicle: Plover test rig\nsystem: 12 V\nkey: [off, run]\nrails: {'30': always}\n"
        "buses: {drive: {kind: high-speed can}}\n",
        encoding="utf-8",
    )
    (folder / "sheets" / "1.yaml").write_text(
        "sheet: 1\nparts:\n  BAT: {is: battery, at: bay}\n"
        f"  M: {{is: module, at: floor, cavities: 1-4, draws: {draws}, "
        "pins: {1: supply, 2: ground, 3: bus drive H, 4: bus drive L}}\n"
        "  F1: {is: fuse, amps: 10, at: bay}\n  F2: {is: fuse, amps: 5, at: bay}\n  G1: {is: ground, at: floor}\n"
        "  R1: {is: resistor, ohms: 120, at: floor}\n  R2: {is: resistor, ohms: 120, at: floor}\n"
        "  SH: {is: splice, at: floor}\n  SL: {is: splice, at: floor}\n  SP: {is: splice, at: bay}\n"
        "runs:\n  - BAT.+ -- RD 4 -- SP -- RD 2.5 -- F1 -- RD 1 2m -- M.1\n  - M.2 -- BN 1 1m -- G1 -- BK 16 -- BAT.-\n"
        "  - M.3 -- GN 0.5 -- SH -- GN 0.5 -- R1.1\n  - M.4 -- YE 0.5 -- SL -- YE 0.5 -- R1.2\n"
        "  - SH -- GN 0.5 -- R2.1\n  - SL -- YE 0.5 -- R2.2\n" + ("  - SP -- RD 1 -- F2.feed\n" + more if more else ""),
        encoding="utf-8",
    )
    if not more:
        text = (folder / "sheets" / "1.yaml").read_text(encoding="utf-8")
        (folder / "sheets" / "1.yaml").write_text(
            text.replace("  F2: {is: fuse, amps: 5, at: bay}\n", ""), encoding="utf-8"
        )
    return folder


def _in(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "tracer.cli", "-C", str(folder), *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", check=False)


def test_no_lamp_is_computed_for_a_restraint_module(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 5}, G1: {is: ground, on: body}, "
        "RCM: {is: module, name: NAME, cavities: 1-2, pins: {1: supply, 2: ground}}}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- RCM.1\n  - RCM.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n"
    )
    for name, lamp in (("Airbag module", False), ("Radio", True)):
        folder = write(tmp_path / name.split()[0], sheet.replace("NAME", name), vehicle="vehicle: v\n")
        for words, more in (("with this lamp", ()), ("meter, and meter with a lamp", ("--all",))):
            text = " ".join(_in(folder, "volts", "RCM", *more).stdout.split())
            assert (words in text.casefold()) is lamp
            assert ("restraint wiring, the maker's procedure only" in text) is not lamp


def test_what_is_held_is_not_said_to_be_taken_as_not_so() -> None:
    free, held = (" ".join(run("volts", "ALM", *more).stdout.split()) for more in ((), ("--with", "KNS=pressed")))
    assert "KNS in position pressed (taken as not so: --with)" in free
    assert "(taken as not so" not in held and "(what is not held is taken as not so: --with)" in held
