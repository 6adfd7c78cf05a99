"""A message never proposes a name that would make another circuit of what was typed: followed in a hurry, it could make a wrong list look complete."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml

import tracer
from tracer.entry.problems import nearest
from tracer.trace.rules.registry import loose_ends

DEMO = Path(__file__).resolve().parents[2] / "circuits" / "minibus"
ENTRY = re.compile(r"^  (?P<name>[A-Z][A-Z0-9]*): ?(?P<facts>\{.*\}|\w+)\s*$")
PROPOSED = re.compile(r"[Dd]id you mean `([^`]+)`")


def names() -> list[str]:
    return sorted(tracer.load(DEMO).parts)


def test_no_name_is_proposed_for_one_that_differs_by_its_number_only() -> None:
    known = names()
    tried = 0
    for name in known:
        bare = re.sub(r"\d+", "", name)
        for number in ("", "0", "3", "7", "12", "77", "123"):
            other = bare + number
            if other in known:
                continue
            tried += 1
            for proposed in nearest(other, known, most=3):
                assert re.sub(r"\d+", "", proposed) != bare, f"{other}: {proposed}"
    assert tried > 300


@pytest.mark.parametrize(
    ("typed", "known", "meant"),
    [
        ("1O", ["1", "10", "11"], ["10"]),
        ("F5O", ["F5", "F50", "F51"], ["F50"]),
        ("l2", ["2", "12"], ["12"]),
        ("f30", ["F30", "F3"], ["F30"]),
        ("ECN", ["GEN", "ECM"], ["ECM"]),
    ],
)
def test_a_letter_for_a_digit_is_seen_through_and_the_first_letter_weighs(
    typed: str, known: list[str], meant: list[str]
) -> None:
    assert nearest(typed, known) == meant


def entries() -> list[tuple[str, str]]:
    """Every part of the demo that stands in one line: the sheet and the name."""
    found = []
    for sheet in sorted((DEMO / "sheets").glob("*.yaml")):
        for line in sheet.read_text(encoding="utf-8").splitlines():
            if match := ENTRY.match(line):
                facts = yaml.safe_load(match["facts"])
                kind = facts.get("is") if isinstance(facts, dict) else facts
                if kind in ("splice", "ground", "connector", "joint", "relay", "diode", "load", "switch", "strap"):
                    found.append((sheet.name, match["name"]))
    return found


def test_an_entry_left_out_is_to_be_declared_and_nothing_proposed_in_its_place_gives_a_complete_list(
    tmp_path: Path,
) -> None:
    found = entries()
    assert len(found) > 60
    proposals: dict[tuple[str, str], str] = {}
    for sheet, name in found:
        folder = tmp_path / name
        folder.mkdir()
        for file in [DEMO / "vehicle.yaml", *sorted((DEMO / "sheets").glob("*.yaml"))]:
            target = folder / file.relative_to(DEMO)
            target.parent.mkdir(exist_ok=True)
            text = file.read_text(encoding="utf-8")
            if file.name == sheet:
                text = re.sub(rf"(?m)^  {name}: ?(\{{.*\}}|\w+)\s*\n", "", text)
            target.write_text(text, encoding="utf-8")
        said = [one for one in loose_ends(tracer.Tracing(tracer.load(folder))) if one.code == "L162" and one.at == name]
        assert said, name
        for one in said:
            assert "declared once" in one.fix.split("id you mean")[0], one.fix
            proposals |= {(name, other): sheet for other in PROPOSED.findall(one.fix)}
    for (name, other), _ in proposals.items():
        for file in (tmp_path / name / "sheets").glob("*.yaml"):
            text = file.read_text(encoding="utf-8")
            file.write_text(re.sub(rf"\b{name}\b", other, text), encoding="utf-8")
        try:
            tracing = tracer.Tracing(tracer.load(tmp_path / name))
        except tracer.CannotUse:
            continue
        whole = tracer.Tracing(tracer.load(DEMO))
        for module in whole.circuit.modules():
            followed = tracer.supplies(tracing, module.name)
            right = tracer.supplies(whole, module.name)
            ways = [[row.point, [fuse.part for fuse in row.fuses]] for row in followed.rows]
            assert not followed.complete or ways == [
                [row.point, [fuse.part for fuse in row.fuses]] for row in right.rows
            ], f"{name} read as {other}: {module.name}"
