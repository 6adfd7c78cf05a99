"""Each remark that needs computed values speaks on its bad example, on the marked line, and is silent on its good one."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.typed import example_tracing
from tracer.electrics.remarks import electric_remarks, electric_rules
from tracer.trace.rules.registry import Rule, all_rules, findings_of


@pytest.mark.parametrize("one", electric_rules(), ids=lambda one: one.code)
def test_a_rule_speaks_where_its_bad_example_is_marked(one: Rule, tmp_path: Path) -> None:
    found = findings_of(example_tracing(tmp_path, one.bad), [one])
    files = [tmp_path / "vehicle.yaml", *sorted((tmp_path / "sheets").iterdir())]
    marked = {
        (path.relative_to(tmp_path).as_posix(), number)
        for path in files
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if one.code in re.findall(r"[LR]\d{3}", line)
    }
    assert marked
    assert {(finding.place.file, finding.place.line) for finding in found} == marked


@pytest.mark.parametrize("one", electric_rules(), ids=lambda one: one.code)
def test_a_rule_is_silent_on_its_good_example(one: Rule, tmp_path: Path) -> None:
    assert findings_of(example_tracing(tmp_path, one.good), [one]) == []


def test_codes_are_unique_over_both_lists() -> None:
    codes = [one.code for one in (*all_rules(), *electric_rules())]
    assert len(codes) == len(set(codes))
    for one in electric_rules():
        assert one.title and one.why.endswith(".") and one.fix.endswith(".")


def test_nothing_is_computed_where_nothing_electrical_is_typed_in(tmp_path: Path) -> None:
    plain = example_tracing(tmp_path, "parts: {BAT: battery}\nruns: []\n")
    assert electric_remarks(plain) == []


@pytest.mark.parametrize(("draw", "speaks"), [("3.3", False), ("3.36", True)])
def test_the_drop_rule_at_its_limit(tmp_path: Path, draw: str, speaks: bool) -> None:
    """By hand: 1 m of 1 mm² and 6 m of 0.75 mm² solid copper at 0 °C, a cold 10 A element less 15 %, clips, four crimps: 0.1503 Ω, 0.5 V at 3.33 A."""
    copper = 0.017241 * (1 - 20 * 0.00393) * (1 / 1 + 6 / 0.75)
    least_ohm = copper + 0.0077 * 0.85 + 0.0004 + 4 * 0.0001
    assert (float(draw) * least_ohm > 0.5) is speaks
    (one,) = [rule for rule in electric_rules() if rule.code == "R232"]
    text = one.bad.replace("draws: {1: 8}", f"draws: {{1: {draw}}}")
    assert bool(findings_of(example_tracing(tmp_path, text), [one])) is speaks


def test_what_a_converter_feeds_is_judged_by_its_own_volts(tmp_path: Path) -> None:
    """12 V out of a 24 V vehicle: neither a drop of 12 V nor a supply outside 16 to 32 V; a real drop behind it is still found."""
    sheet = (
        "rails: {}\nsystem: 24 V\n---\nparts:\n  BAT: {is: battery, at: x}\n  CV: {is: converter, volts: 12, at: x}\n"
        "  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: DRAW}}\n"
        "runs:\n- BAT.+ -- RD 2.5 1m -- CV.in\n- CV.out -- RD 1 2m -- M.1\n- CV.ground -- BN 2.5 1m -- BAT.-\n- M.2 -- BN 2.5 1m -- BAT.-\n"
    )
    assert electric_remarks(example_tracing(tmp_path / "good", sheet.replace("DRAW", "2"))) == []
    (found,) = electric_remarks(example_tracing(tmp_path / "bad", sheet.replace("DRAW", "20")))
    assert "above the limit of 0.50 V" in found.message
