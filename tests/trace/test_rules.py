"""Every rule speaks on its bad example, exactly on the marked lines, and is silent on its good one."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tracer.circuit import join
from tracer.entry import read_folder
from tracer.trace.rules import RULES, Rule, all_rules, findings_of, loose_ends, remarks, rule
from tracer.trace.survey import Survey


def _survey(folder: Path, example: str) -> Survey:
    """The survey of an example; its sheets are cut at `---`, and what begins with `rails:` belongs to the vehicle."""
    documents = example.split("\n---\n") if "\n---\n" in example else [example]
    vehicle = documents.pop(0) if documents[0].startswith("rails:") else ""
    (folder / "sheets").mkdir(parents=True)
    (folder / "vehicle.yaml").write_text(f"vehicle: example\n{vehicle}\n", encoding="utf-8")
    for number, document in enumerate(documents, 1):
        (folder / "sheets" / f"{number}.yaml").write_text(f"sheet: {number}\n{document}", encoding="utf-8")
    return Survey(join(read_folder(folder)))


@pytest.mark.parametrize("one", [one for one in all_rules() if one.bad], ids=lambda one: one.code)
def test_a_rule_speaks_where_its_bad_example_is_marked(one: Rule, tmp_path: Path) -> None:
    survey = _survey(tmp_path, one.bad)
    found = findings_of(survey, [one])
    for finding in found:
        assert finding.message and finding.fix and finding.at
    files = [tmp_path / "vehicle.yaml", *sorted((tmp_path / "sheets").iterdir())]
    marked = {
        (path.relative_to(tmp_path).as_posix(), number)
        for path in files
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if one.code in re.findall(r"[LR]\d{3}", line)
    }
    assert marked
    assert {(finding.place.file, finding.place.line) for finding in found} == marked


@pytest.mark.parametrize("one", [one for one in all_rules() if one.good], ids=lambda one: one.code)
def test_a_rule_is_silent_on_its_good_example(one: Rule, tmp_path: Path) -> None:
    survey = _survey(tmp_path, one.good)
    assert findings_of(survey, [one]) == []


def test_every_rule_says_why_and_how_to_cure_it() -> None:
    for one in all_rules():
        assert one.title and one.why.endswith(".") and one.fix.endswith(".")
        assert one.bad or one.code == "L131"  # a file that is not read cannot be shown inside a sheet


def test_a_file_that_is_not_read_is_loose_for_every_module(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text("sheet: 1\n", encoding="utf-8")
    (tmp_path / "sheets" / "2.yaml.txt").write_text("sheet: 2\n", encoding="utf-8")
    found = loose_ends(Survey(join(read_folder(tmp_path))))
    assert [(finding.code, finding.place.file) for finding in found] == [("L131", "sheets/2.yaml.txt")]


def test_a_taken_code_is_refused_and_the_registry_cannot_be_changed_from_outside() -> None:
    all_rules()
    with pytest.raises(ValueError, match="already registered"):
        rule("L101", "again", why="", fix="", bad="", good="")
    with pytest.raises(ValueError, match="three digits"):
        rule("X1", "odd", why="", fix="", bad="", good="")
    with pytest.raises(TypeError):
        RULES["L999"] = RULES["L101"]  # type: ignore[index]


def test_findings_come_in_file_order_and_once(tmp_path: Path) -> None:
    survey = _survey(tmp_path, RULES["L103"].bad)
    found = loose_ends(survey)
    assert found == sorted(found, key=lambda finding: finding.place)
    assert loose_ends(survey) is found
    assert remarks(survey) is not found
