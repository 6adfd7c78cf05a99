"""`tracer volts`, `bus` and `draw` as a user runs them: exit statuses, messages, JSON, a workshop's own limits."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent.parent


def run(*arguments: str, vehicle: str = "minibus", **environment: str) -> subprocess.CompletedProcess[str]:
    options = arguments[:2] if arguments[0] == "--width" else ()
    rest = arguments[len(options) :]
    command = [sys.executable, "-m", "tracer.cli", *options, "-C", f"circuits/{vehicle}", *rest]
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
        (("volts", "ALM", "--add", "ALM.3"), "write it as PART.PIN=0.5ohm."),
        (("bus", "drife"), "Did you mean drive?"),
        (("bus", "--reading", "60ohm"), "A reading needs a bus, --reading and --at"),
        (("bus", "body", "--reading", "60ohm", "--at", "BDM"), "no resistance rule holds for bus body"),
        (("draw", "--mv", "F4"), "write F12=0.4 (millivolts)."),
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
        limit = next(row["limit"] for row in found["rows"] if row["row"] == "S1")
        assert (limit["value"], limit["origin"]) == (0.4, "shop")
        assert "Bench 4" in limit["source"]
    shop.write_text("limits: {suply path: 0.4}\n", encoding="utf-8")
    done = run("volts", "ALM", "--shop", str(shop))
    assert done.returncode == 1
    assert "shop.yaml:1:10" in done.stderr and "Did you mean `supply path`?" in done.stderr


def test_computed_values_are_added_to_the_list_only_when_asked_for() -> None:
    plain = data("supplies", "ALM")
    computed = data("supplies", "ALM", "--computed")
    probe = computed["supplies"][1]["probes"][-1]
    assert [one["state"] for one in probe["expect"]["computed"]] == ["off", "acc", "run", "start"]
    run_state = probe["expect"]["computed"][2]
    assert run_state["low_v"] < run_state["nominal_v"] < run_state["high_v"]
    assert "computed" not in plain["supplies"][1]["probes"][-1]["expect"]
    for group in ("supplies", "grounds", "carrying", "chains"):
        for row in computed[group]:
            for one in row["probes"]:
                one["expect"].pop("computed")
    assert computed == plain


def test_the_battery_that_was_measured_moves_every_value() -> None:
    low, high = (data("volts", "ALM", "--battery", volts) for volts in ("11.0", "12.0"))
    for before, after in zip(low["rows"], high["rows"], strict=True):
        if before["state"] == "live":
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
