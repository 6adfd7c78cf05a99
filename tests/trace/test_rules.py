"""Every rule speaks on its bad example, exactly on the marked lines, and is silent on its good one; the registry holds together."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.typed import example_tracing
from tracer.circuit import join
from tracer.entry import read_folder
from tracer.trace.rules import registry as registry
from tracer.trace.rules.registry import Rule, all_rules, findings_of, loose_ends, remarks, rule
from tracer.trace.tracing import Tracing

RULES = all_rules()


def _marked(folder: Path) -> dict[str, set[tuple[str, int]]]:
    """For each code the lines that are marked with it in a comment."""
    marked: dict[str, set[tuple[str, int]]] = {}
    for path in (folder / "vehicle.yaml", *sorted((folder / "sheets").iterdir())):
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            for code in re.findall(r"[LR]\d{3}", line.partition("#")[2]):
                marked.setdefault(code, set()).add((path.relative_to(folder).as_posix(), number))
    return marked


@pytest.mark.parametrize("one", [one for one in RULES if one.bad], ids=lambda one: one.code)
def test_a_bad_example_holds_every_code_that_is_marked_in_it(one: Rule, tmp_path: Path) -> None:
    tracing = example_tracing(tmp_path, one.bad)
    found: dict[str, set[tuple[str, int]]] = {}
    for finding in findings_of(tracing, RULES):
        assert finding.message and finding.fix and finding.at
        found.setdefault(finding.code, set()).add((finding.place.file, finding.place.line))
    marked = _marked(tmp_path)
    assert one.code in marked
    assert {code: found.get(code, set()) for code in marked} == marked


@pytest.mark.parametrize("one", [one for one in RULES if one.good], ids=lambda one: one.code)
def test_a_good_example_of_a_remark_holds_no_loose_end_that_its_bad_one_lacks(one: Rule, tmp_path: Path) -> None:
    good = example_tracing(tmp_path / "good", one.good)
    bad = example_tracing(tmp_path / "bad", one.bad)
    assert one.code not in {finding.code for finding in findings_of(good, [one])}
    if one.grade == "remark":
        assert {finding.code for finding in loose_ends(good)} <= {finding.code for finding in loose_ends(bad)}


@pytest.mark.parametrize("code", ["L1", "L1010", "M101", "L10a", "l101", ""])
def test_a_code_is_l_or_r_and_three_digits(code: str) -> None:
    with pytest.raises(ValueError, match="three digits"):
        rule(code, "odd", why="", fix="", bad="", good="")


def test_every_rule_is_documented_and_codes_are_in_order() -> None:
    codes = [one.code for one in RULES]
    assert codes == sorted(set(codes))
    for one in RULES:
        assert one.find.__doc__, one.code
        assert one.title == one.title.strip() and not one.title.endswith(".")
        assert len(one.why) > 30 and one.why.endswith(".")
        assert len(one.fix) > 10 and one.fix.endswith(".")
        assert (
            bool(one.bad) == bool(one.good) == (one.code != "L131")
        )  # a file that is not read cannot be shown inside a sheet
    with pytest.raises(ValueError, match="already registered"):
        rule("L101", "again", why="", fix="", bad="", good="")
    with pytest.raises(TypeError):
        del registry.RULES["L101"]  # type: ignore[attr-defined]


def test_a_file_that_is_not_read_is_loose_for_every_module(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text(
        "sheet: 1\nparts: {G1: ground, G2: ground}\nruns: [G1 -- BN 1 -- G2]\n", encoding="utf-8"
    )
    (tmp_path / "sheets" / "2.yaml.txt").write_text("sheet: 2\n", encoding="utf-8")
    found = loose_ends(Tracing(join(read_folder(tmp_path))))
    assert [(finding.code, finding.place.file) for finding in found if finding.module] == [
        ("L131", "sheets/2.yaml.txt")
    ]


def test_findings_come_in_file_order_and_once(tmp_path: Path) -> None:
    tracing = example_tracing(tmp_path, registry.RULES["L103"].bad)
    found = loose_ends(tracing)
    assert found == sorted(found, key=lambda finding: (registry.rank(finding.code), finding.place))
    assert loose_ends(tracing) is found
    assert remarks(tracing) is not found
