"""What a message proposes never leads to a wrong list: another number is another part, and a forgotten entry is declared, not replaced by a neighbour.

Tried on every name of the demo: typed with another number, and with its entry left out.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
import yaml

import tracer
from tracer.circuit import join
from tracer.entry import Typed, read_folder
from tracer.entry.problems import nearest
from tracer.entry.runs import Point
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.rules.registry import Finding, loose_ends
from tracer.trace.tracing import Tracing

from .test_removals import _content

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"


@cache
def _typed() -> Typed:
    return read_folder(DEMO)


@cache
def _names() -> frozenset[str]:
    """Every name of a part or a rail, and the label of every position."""
    names = set(_typed().fragments) | set(_typed().vehicle.rails)
    return frozenset(names | {name.rpartition("/")[2] for name in names})


def _not_declared(folder: Path) -> list[Finding]:
    return [one for one in loose_ends(Tracing(join(read_folder(folder)))) if one.code == "L162"]


def _proposed(fix: str) -> Iterator[str]:
    """What stands in backquotes, cut to the part's name."""
    for text in re.findall(r"`([^`]*)`", fix):
        yield re.split(r"[.:\s]", text, maxsplit=1)[0]


def _other_numbers(name: str) -> Iterator[str]:
    """The name with one of its numbers changed: each digit left out, doubled, and replaced by its neighbour."""
    for match in re.finditer(r"\d", name):
        at, digit = match.start(), match[0]
        for new in ("", digit * 2, str((int(digit) + 1) % 10), "1" + digit):
            yield name[:at] + new + name[at + 1 :]


def _points() -> dict[str, Point]:
    """One point of the runs for each part that they name."""
    return {point.part: point for run in _typed().runs for point in run.points if point.part}


@pytest.mark.parametrize("name", sorted(_points()))
def test_a_name_with_another_number_is_never_taken_for_a_neighbour(name: str) -> None:
    point, run = _points()[name], _typed().runs[0]
    wrong = sorted(set(_other_numbers(name)) - _names())
    points = [replace(point, part=typed) for typed in wrong]
    runs = tuple(replace(run, points=(one, Point("?")), wires=run.wires[:1]) for one in points)
    found = {one.at: one.fix for one in loose_ends(Tracing(join(replace(_typed(), runs=runs)))) if one.code == "L162"}
    tried = 0
    for typed in wrong:
        fix = found[typed]
        assert set(_proposed(fix)) & _names() == set(), f"{typed}: {fix}"
        assert typed in fix and fix.startswith(("If it is", "Every part", "A position"))
        tried += 1
    assert tried or not re.search(r"\d", name)


def test_no_name_is_proposed_for_one_that_differs_by_its_number_only() -> None:
    known = sorted(_names())
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


def test_a_pin_with_another_number_is_never_taken_for_a_neighbour() -> None:
    known = [str(number) for number in range(1, 41)] + ["30", "87", "87a", "85", "86"]
    for pin in known:
        for typed in set(_other_numbers(pin)) - set(known):
            assert nearest(typed, known) == [], typed


@pytest.mark.parametrize(
    ("typed", "known", "meant"),
    [
        ("1O", ["1", "10", "11"], ["10"]),
        ("F3l", ["F3", "F31"], ["F31"]),
        ("F5O", ["F5", "F50", "F51"], ["F50"]),
        ("l2", ["2", "12"], ["12"]),
        ("f30", ["F30", "F3"], ["F30"]),
        ("ECN", ["GEN", "ECM"], ["ECM"]),
        ("S22", ["S2", "S21", "S32"], []),
        ("S12", ["SL2"], []),
        ("KL15", ["K1", "K15"], []),
        ("K9", ["F9", "S9", "G9"], []),
        ("87b", ["87", "87a"], []),
        ("FB/F9", ["FC/F9", "F9"], []),
        ("sensor", ["resistor"], []),
        ("AML", ["ALM"], ["ALM"]),
        ("ecm", ["ECM"], ["ECM"]),
    ],
)
def test_only_a_slip_of_the_pen_is_proposed(typed: str, known: list[str], meant: list[str]) -> None:
    assert nearest(typed, known) == meant


# --- entries left out ----------------------------------------------------------------------------------------------


def _entries() -> Iterator[tuple[str, str, Mapping[str, str]]]:
    """Each splice, ground point and connector of the demo that one sheet declares: its name, its sheet and what it says."""
    for name, fragments in _typed().fragments.items():
        if fragments[0].kind in ("splice", "ground", "connector") and len(fragments) == 1:
            file = fragments[0].file
            yield name, file.name, file.tree["parts"][name]


def _without(folder: Path, sheet: str, name: str, instead: object = None) -> Path:
    """The demo with one entry taken out of a sheet, or replaced. A sheet is written anew: its content counts here, not its places."""
    shutil.copytree(DEMO, folder)
    path = folder / sheet
    tree = yaml.load(path.read_text(), Loader=yaml.BaseLoader)
    del tree["parts"][name]
    if instead is not None:
        tree["parts"][name] = instead
    path.write_text(yaml.safe_dump(tree, sort_keys=False, width=10_000, allow_unicode=True))
    return folder


@pytest.mark.parametrize(("name", "sheet", "said"), list(_entries()), ids=[name for name, _, _ in _entries()])
def test_a_forgotten_entry_is_declared_and_the_list_is_as_before(
    name: str, sheet: str, said: Mapping[str, str] | str, tmp_path: Path
) -> None:
    kind = said if isinstance(said, str) else said["is"]
    found = [one for one in _not_declared(_without(tmp_path / "left", sheet, name)) if one.at == name]
    assert found
    for one in found:
        assert set(_proposed(one.fix)) & _names() <= {name}, one.fix
    declared = re.search(rf"`{re.escape(name)}: (\{{.*?\}})`", found[0].fix)
    assert declared is not None, found[0].fix
    # Followed to the letter; the mass of a ground point is the one thing that the typist is asked for.
    mass = said.get("on", "body") if isinstance(said, dict) else "body"
    entry = yaml.load(declared[1].replace("MASS", mass), Loader=yaml.BaseLoader)
    if isinstance(said, dict) and "mates" in said:
        entry["mates"] = said["mates"]  # the next message asks for them
    assert entry["is"] in (kind, "KIND")
    if entry["is"] == "KIND":
        return
    folder = _without(tmp_path / "followed", sheet, name, entry)
    report = supplies_of(join(read_folder(folder)), "ALM")
    assert not report.complete or _facts(report) == _facts(supplies_of(join(_typed()), "ALM"))


def _facts(report: object) -> object:
    return {key: content[:2] + content[3:] for key, content in _content(report).items()}  # type: ignore[arg-type]


# --- proposals followed in a hurry ---------------------------------------------------------------------------------

ENTRY = re.compile(r"^  (?P<name>[A-Z][A-Z0-9]*): ?(?P<facts>\{.*\}|\w+)\s*$")
PROPOSED = re.compile(r"[Dd]id you mean `([^`]+)`")


def _one_line_entries() -> list[tuple[str, str]]:
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
    found = _one_line_entries()
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
            assert "very part is declared once" in one.fix, one.fix
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
