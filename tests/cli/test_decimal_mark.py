"""`--decimal`: the mark in text and on paper, never in what programs read."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import tracer
from tests.cli.test_volts_on_the_command_line import ROOT, run
from tracer.report.printing import Job

NUMBER = re.compile(r"(?<![\w.,])\d+[.,]\d+(?= (?:V|mV|Ω|A|mA)\b)")


@pytest.mark.parametrize(
    "command", [("volts", "ALM"), ("bus", "drive"), ("draw", "--mv", "F4=1.6"), ("panel", "FPC"), ("check",)]
)
def test_the_comma_is_in_every_number_with_a_unit_and_changes_nothing_else(command: tuple[str, ...]) -> None:
    point = run("--width", "400", *command).stdout
    comma = run("--width", "400", "--decimal", "comma", *command).stdout
    found = NUMBER.findall(point)
    assert [number.replace(".", ",") for number in found] == NUMBER.findall(comma)
    assert re.sub(r"(?<=\d),(?=\d)", ".", comma) == re.sub(r"(?<=\d),(?=\d)", ".", point)


def test_json_and_csv_keep_the_point() -> None:
    for form in ("--json", "--csv"):
        assert run("--decimal", "comma", "supplies", "ALM", form).stdout == run("supplies", "ALM", form).stdout
    assert json.loads(run("--decimal", "comma", "volts", "ALM", "--json").stdout)["battery"]["nominal_v"] == 12.4


def test_paper_has_the_comma_and_the_csv_of_the_worksheet_the_point() -> None:
    circuit = tracer.Tracing(tracer.load(ROOT / "circuits" / "minibus"))
    for full, comma, point in ((True, "at most 0,50 V", "at most 0.50 V"), (False, "≤ 0,05", "≤ 0.05")):
        shown = {
            form: tracer.printed(circuit, "ALM", Job("worksheet", form, decimal=",", full=full)).files[0].decode()
            for form in ("html", "csv")
        }
        assert comma in shown["html"] and point not in shown["html"]
        assert shown["csv"] == tracer.worksheet(circuit, "ALM", "csv", full=full).files[0].decode()


def test_another_mark_is_wrong_usage(tmp_path: Path) -> None:
    done = run("--decimal", "dot", "check")
    assert done.returncode == 2 and "write point, comma or locale" in done.stderr
