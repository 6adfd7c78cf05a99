"""The JSON Schemas that editors use: valid, shipped as made, and of one mind with the loader about every kind and key.

JSON Schema Draft 2020-12 is checked with the `jsonschema` library.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator

from tests.typed import VEHICLE, problems, write
from tracer.entry.facts import keys_of
from tracer.entry.models import KINDS
from tracer.entry.schema import FOLDER, SHEET_FILE, VEHICLE_FILE, schema_texts, sheet_schema, vehicle_schema

ROOT = Path(__file__).parent.parent.parent
SHEET = Draft202012Validator(sheet_schema())
VEHICLE_SCHEMA = Draft202012Validator(vehicle_schema())


def _as_text(text: str) -> Any:
    """The tree with every scalar as text, as the loader reads it."""
    return yaml.load(text, Loader=yaml.BaseLoader)


def _as_guessed(text: str) -> Any:
    """The tree as an editor's YAML 1.1 reading gives it: numbers, yes and no guessed."""
    return yaml.safe_load(text)


def test_both_schemas_are_valid_schemas() -> None:
    Draft202012Validator.check_schema(sheet_schema())
    Draft202012Validator.check_schema(vehicle_schema())


def test_the_shipped_schemas_are_those_made_from_the_models() -> None:
    # after a change of the models: python -m tracer.entry.schema
    shipped = {path.name: path.read_text(encoding="utf-8") for path in FOLDER.iterdir()}
    assert shipped == schema_texts()
    assert set(shipped) == {SHEET_FILE, VEHICLE_FILE}


@pytest.mark.parametrize("path", sorted((ROOT / "circuits").rglob("*.yaml")), ids=lambda path: path.name)
def test_every_file_of_the_demo_fits_the_schema(path: Path) -> None:
    validator = VEHICLE_SCHEMA if path.name == "vehicle.yaml" else SHEET
    errors = [error.message for error in validator.iter_errors(_as_text(path.read_text(encoding="utf-8")))]
    assert errors == []


# --- the format page, the loader and the schema ----------------------------------------------------------------------

PAGE = (ROOT / "docs" / "format.md").read_text(encoding="utf-8")

# Every documented key, filled in as the page describes it.
COMMON = {"name": "x", "at": "floor", "access": "open", "note": "x", "seen": "vehicle"}
FILLED: dict[str, dict[str, str]] = {
    "module": {"cavities": "1-32", "unused": "[1, 5-8]", "signals": "[10-12]", "not looked at": "[20-22]", "gets": "passive", "pins": "{4: supply, 9: bus drive H}", "joined": "[[2, 18]]", "face": "[[1-16], [17-30, _, 32]]", "viewed": "wire side",
               "outputs": "{29: {drives: low, through: [2], when: [run]}, 12: {drives: high, from: [4], when: unknown, fuse: 15}, 21: {drives: reference, volts: 5}, 22: {drives: both, from: [4], through: [2], command: m}}"},
    "fuse": {"amps": "15", "type": "C", "serves": "ALM", "state": "fitted"},
    "link": {"amps": "60", "type": "C", "serves": "ALM", "state": "fitted"},
    "breaker": {"amps": "20", "type": "C", "serves": "ALM", "state": "option"},
    "panel": {"positions": "{F1-F4: 10, F5: empty, F6: unknown, F9: {is: fuse, amps: 5, state: none}, K2: {is: relay, kind: normally open}}",
              "busbars": '{"30": [F1-F4, K2.30]}', "rows": "[[F1-F4], [F5, _, F6]]"},
    "splice": {"wires": "4", "lugs": "[1-4]"},
    "connector": {"cavities": "1-8", "mates": "{1: 7}", "halves": "[engine harness, body harness]", "unused": "[3]", "contact ohms": "3 mohm", "face": "[[1-4], [5-8]]", "viewed": "mating side a"},
    "joint": {"cavities": "1-8", "bussed": "[[1-4], [5-7]]", "unused": "[8]", "several": "[2]", "contact ohms": "0.002"},
    "ground": {"on": "engine", "wires": "unknown", "lugs": "[a, b]", "contact ohms": "0.5 mΩ"},
    "strap": {},
    "battery": {"volts": "12"},
    "generator": {"volts": "14", "amps": "140"},
    "converter": {"volts": "12", "return": "isolated"},
    "load": {"watts": "55", "amps": "5", "ohms": "2.5", "pins": "[a, b]", "behaves": "lamp"},
    "resistor": {"ohms": "120"},
    "diode": {},
    "switch": {"kind": "make switch", "follows": "lights", "contacts": '{"yes": [1-2], "no": []}',
               "levers": "{a: {kind: make switch}, b: {contacts: unknown}, c: {contacts: {up: [[CN8-1, CN8-2]]}}}", "pins": "{CN9-: 1-2}", "amps": "16", "contact ohms": "unknown"},
    "relay": {"kind": "normally open", "across coil": "diode", "unused": "[87]", "coil": "86-85", "reset": "86r-85r", "contacts": "{energised: [30-87]}", "pins": "[K]", "amps": "40", "contact ohms": "2 mohm"},
    "box": {"cavities": "1-8", "unused": "[3]"},
}  # fmt: skip


def _kinds_of_the_page() -> dict[str, set[str]]:
    """Each kind of the table in docs/format.md with the keys its row names."""
    rows: dict[str, set[str]] = {}
    table = PAGE.split("| kind | pins | what it may say |")[1].split("\n\n")[0]
    for line in table.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 3 and not cells[0].startswith("---"):
            keys = {re.split(r"[:{]", code)[0].strip() for code in re.findall(r"`([^`]+)`", cells[2])}
            for kind in re.findall(r"`([^`]+)`", cells[0]):
                rows[kind] = keys
    return rows


def test_the_page_has_a_row_for_every_kind_and_no_other() -> None:
    assert set(_kinds_of_the_page()) == set(KINDS) == set(FILLED)


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_that_the_page_gives_a_kind_is_one_of_the_loader(kind: str) -> None:
    known = set(keys_of(KINDS[kind]))
    named = {key for key in _kinds_of_the_page()[kind] if re.fullmatch(r"[a-z ]+", key)} - {
        "in",
        "out",
        "fuse",
        "engine",
        "body",
    }
    assert named <= known | {"serves"}
    assert set(FILLED[kind]) >= named & known


@pytest.mark.parametrize("kind", KINDS)
def test_the_loader_and_the_schema_take_every_documented_key_of_a_kind(kind: str, tmp_path: Path) -> None:
    facts = ", ".join(f"{key}: {value}" for key, value in {"is": kind, **COMMON, **FILLED[kind]}.items())
    sheet = f"sheet: 1\ntitle: x\nnote: x\nseen: assumed\nparts:\n  Q: {{{facts}}}\nruns: []\n"
    assert problems(write(tmp_path, sheet)) == []
    guessed = _as_guessed(sheet.replace("on: engine", '"on": engine'))  # YAML 1.2, which editors read, has no `on`
    for tree in (_as_text(sheet), guessed):
        assert [error.message for error in SHEET.iter_errors(tree)] == []


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_alone_is_taken_by_both(kind: str, tmp_path: Path) -> None:
    sheet = f"sheet: 1\nparts: {{Q: {kind}}}\n"
    assert problems(write(tmp_path, sheet)) == []
    assert SHEET.is_valid(_as_text(sheet))


def test_the_vehicle_of_the_page_is_taken_by_both(tmp_path: Path) -> None:
    typed = PAGE.split("## vehicle.yaml")[1].split("```yaml\n")[1].split("```")[0]
    sheet = "sheet: 1\nparts: {IGN: {is: switch, follows: key, contacts: {run: [30-15]}}}\n"
    assert problems(write(tmp_path, sheet, vehicle=typed)) == []
    assert [error.message for error in VEHICLE_SCHEMA.iter_errors(_as_text(typed))] == []


def test_a_run_as_a_mapping_is_taken_by_both(tmp_path: Path) -> None:
    runs = '{run: "S1 -- RD 2.5 -- S2", seen: vehicle, note: moved by an earlier repair}'
    sheet = f"sheet: 1\nparts: {{S1: splice, S2: splice}}\nruns:\n  - {runs}\n  - S1 -- RD -- S2\n"
    assert problems(write(tmp_path, sheet)) == []
    assert SHEET.is_valid(_as_text(sheet))


@pytest.mark.parametrize(
    "sheet",
    [
        "title: x\n",
        "sheet: 1\npart: {}\n",
        "sheet: 1\nparts: {Q: modul}\n",
        "sheet: 1\nparts: {Q: {is: modul}}\n",
        "sheet: 1\nparts: {Q: {is: fuse, amp: 10}}\n",
        "sheet: 1\nparts: {Q: {is: fuse, state: broken}}\n",
        "sheet: 1\nparts: {Q: {is: module, outputs: {1: {drives: up}}}}\n",
        "sheet: 1\nparts: [Q]\n",
        "sheet: 1\nruns: S1\n",
        "sheet: 1\nruns: [S1]\n",
        "sheet: 1\nruns: [{note: x}]\n",
        "sheet: 1\nruns: [[S1, RD, S2]]\n",
        "sheet: 1\nseen: there\n",
    ],
)
def test_what_the_schema_refuses_the_loader_refuses(sheet: str, tmp_path: Path) -> None:
    assert not SHEET.is_valid(_as_text(sheet))
    assert problems(write(tmp_path, sheet))


@pytest.mark.parametrize(
    "vehicle",
    [
        "system: 12 V\n",
        "vehicle: v\nrail: {}\n",
        "vehicle: v\ncolours: french\n",
        "vehicle: v\nsystem: 6 V\n",
        "vehicle: v\nrails: []\n",
    ],
)
def test_what_the_schema_refuses_in_a_vehicle_the_loader_refuses(vehicle: str, tmp_path: Path) -> None:
    assert not VEHICLE_SCHEMA.is_valid(_as_text(vehicle))
    assert problems(write(tmp_path, "sheet: 1\n", vehicle=vehicle))


def test_the_vehicle_of_the_tests_fits_the_schema() -> None:
    assert VEHICLE_SCHEMA.is_valid(_as_text(VEHICLE))
