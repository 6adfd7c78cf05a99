"""The pages of docs/adding do what they say: each is followed, block by block, on a copy of the package, and what it adds works in every answer."""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PAGES = ROOT / "docs" / "adding"
BLOCK = re.compile(r"^(?P<said>[^\n]*)\n\n```(?P<language>\w+)\n(?P<code>.*?)^```$", re.MULTILINE | re.DOTALL)
INTO = re.compile(r"^In `(?P<file>[^`]+)`, (?:(?P<how>below|above) `(?P<anchor>[^`]+)`|at the end):$")
NEW = re.compile(r"^A new file `(?P<file>[^`]+)`:$")

# What of the order of the layers something new may break.
LAYERS = [
    f"tests/test_layers.py::test_{name}"
    for name in (
        "no_layer_imports_from_its_right",
        "report_only_shows",
        "every_module_stands_in_a_layer",
        "no_file_is_too_long_to_be_read_at_once",
    )
]
USING = "tests/test_using_from_python.py"
VEHICLE = "vehicle: adding\n"
SHEET = """sheet: 1
parts:
  BAT: {is: battery, at: engine bay}
  F1: {is: fuse, amps: 10}
  S1: splice
  G1: ground
  ALM: {is: module, at: floor, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
  - BAT.+ -- RD 1 -- F1 -- RD 1 -- S1
  - S1 -- RD 1 -- ALM.1
  - ALM.2 -- BN 1 -- G1
  - BAT.- -- BK 35 -- G1
"""


@dataclass
class Copy:
    """The package in a folder of its own, with a small vehicle; `said` is what each command of the page printed."""

    root: Path
    said: dict[str, str]

    def follow(self, page: str) -> None:
        """Do what the page says, from its top to its end."""
        text = (PAGES / page).read_text(encoding="utf-8")
        blocks = list(BLOCK.finditer(text))
        assert len(blocks) == text.count("\n```") / 2 >= 2, "every block has a line above it that says where it goes"
        for block in blocks:
            if block["language"] == "sh":
                for line in block["code"].splitlines():
                    self.said[line] = self.run(*shlex.split(line))
            else:
                self.put(block["said"], block["code"])

    def put(self, said: str, code: str) -> None:
        """One block of code to where the line above it says."""
        if new := NEW.match(said):
            path = self.path(new["file"])
            assert not path.exists() or path.suffix == ".yaml", f"{path} is there already"
            path.write_text(code, encoding="utf-8")
            return
        found = INTO.match(said)
        assert found, f"where does this block go: {said!r}"
        path = self.path(found["file"])
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        where = [
            number for number, line in enumerate(lines) if found["anchor"] and line.lstrip().startswith(found["anchor"])
        ]
        assert len(where) == 1 or not found["anchor"], f"{found['anchor']!r} begins {len(where)} lines of {path.name}"
        at = len(lines) if not where else where[0] if found["how"] == "above" else self._end(lines, where[0])
        if path.suffix == ".py" and not code.startswith(" "):  # a function or class stands two lines from the next
            code = f"{code}\n\n" if found["how"] == "above" else f"\n\n{code}"
        path.write_text("".join([*lines[:at], code, *lines[at:]]), encoding="utf-8")

    @staticmethod
    def _end(lines: list[str], start: int) -> int:
        """Below the line, and below the lines that its brackets go on over."""
        depth = 0
        for number in range(start, len(lines)):
            depth += sum(lines[number].count(one) for one in "([{") - sum(lines[number].count(one) for one in ")]}")
            if depth <= 0:
                return number + 1
        raise AssertionError("brackets are not closed")

    def path(self, name: str) -> Path:
        """Of the package and its tests, or of the vehicle."""
        return (self.root if name.startswith(("tracer/", "tests/")) else self.root / "vehicle") / name

    def run(self, program: str, *arguments: str, cwd: str = "vehicle") -> str:
        """What a command of the page prints; it must end as an answer does (0, or 3 with loose ends)."""
        command = [sys.executable, *(["-m", "tracer.cli"] if program == "tracer" else []), *arguments]
        environment = {
            **os.environ,
            "PYTHONPATH": str(self.root),
            "PYTHONDONTWRITEBYTECODE": "1",
            "TRACER_STATE": str(self.root / "state"),  # the current case is kept there
        }
        done = subprocess.run(
            command, cwd=self.root / cwd, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode in (0, 3), f"{shlex.join(command)}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
        return done.stdout

    def tests(self, *arguments: str) -> str:
        """The project's own tests, run on the copy."""
        return self.run("python", "-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider", *arguments, cwd=".")


def _left_out(folder: str, names: list[str]) -> set[str]:
    return {"__pycache__", *(["golden", "page"] if Path(folder) == ROOT / "tests" else [])} & set(names)


def copied(root: Path) -> Copy:
    """The package, its tests (a link would lead them back to the package as it is) and the vehicle, copied."""
    for folder in ("tracer", "shared", "circuits", "docs", "tests"):
        shutil.copytree(ROOT / folder, root / folder, ignore=_left_out)
    shutil.copy(ROOT / "pyproject.toml", root)
    (root / "vehicle" / "sheets").mkdir(parents=True)
    (root / "vehicle" / "vehicle.yaml").write_text(VEHICLE, encoding="utf-8")
    (root / "vehicle" / "sheets" / "1.yaml").write_text(SHEET, encoding="utf-8")
    return Copy(root, {})


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    return copied(tmp_path / "copy")


@pytest.fixture(scope="module")
def with_kinds(tmp_path_factory: pytest.TempPathFactory) -> Copy:
    """A copy in which the page about kinds was followed: it has a shunt and a glow plug."""
    made = copied(tmp_path_factory.mktemp("kinds") / "copy")
    made.follow("kind-of-part.md")
    return made


def test_every_page_is_followed_here() -> None:
    followed = {"command.md", "kind-of-part.md", "row-of-a-standard.md", "rule.md"}
    assert {page.name for page in PAGES.iterdir()} - {"index.md"} == followed


def test_a_kind_of_part_works_everywhere(with_kinds: Copy) -> None:
    listed = with_kinds.said["tracer supplies ALM --all"]
    assert re.search(r"SH1\.1 +.*shunt", listed) and re.search(r"SH1\.2 +.*shunt", listed)
    assert "COMPLETE" in listed.splitlines()[1] and "NOT COMPLETE" not in listed
    assert "SH1" in with_kinds.said["tracer volts ALM --all"]
    assert "ALM" in with_kinds.said["tracer affects SH1"] and "shunt SH1 open" in with_kinds.said["tracer affects SH1"]
    assert "shunt SH1 (battery shunt)" in with_kinds.said["tracer common ALM --all"]
    drawn = (with_kinds.root / "vehicle" / "ALM.svg").read_text(encoding="utf-8")
    assert "SH1 (battery shunt), shunt 1-2" in drawn
    assert re.search(r"SH1.*loose or\s+corroded at a bolt", with_kinds.said["tracer next"], re.DOTALL)
    lost = with_kinds.run("tracer", "affects", "F1")
    assert "of 1 module and 1 glow plug and 1 load without supply or ground" in " ".join(lost.split())
    assert "1 HAZARD: hot (GP1)." in lost
    schema = (with_kinds.root / "tracer" / "entry" / "schemas" / "sheet.schema.json").read_text(encoding="utf-8")
    assert '"shunt"' in schema and '"glow plug"' in schema
    told = with_kinds.run("python", "-c", "import tracer; t = tracer.Tracing(tracer.load('.')); print(tracer.supplies(t, 'ALM').cross_check.differences)")  # fmt: skip
    assert told == "()\n", "the second count knows it as well"
    with_kinds.tests("tests/test_kinds.py")
    with_kinds.tests(*LAYERS)


def _hazards(copy: Copy, part: str) -> set[str]:
    things = json.loads(copy.run("tracer", "affects", "F1", "--json"))["minding"]
    return {one["hazard"] for one in things if one["of"] == part and one["kind"] == "hazard"}


def test_the_hazard_of_a_kind_stands_beside_what_is_typed(with_kinds: Copy) -> None:
    sheet = with_kinds.root / "vehicle" / "sheets" / "1.yaml"
    whole = sheet.read_text(encoding="utf-8")
    said = {}
    for typed in ("hazard: moving", "hazard: none", "name: airbag heater"):
        sheet.write_text(whole.replace("watts: 80", f"watts: 80, {typed}"), encoding="utf-8")
        said[typed] = _hazards(with_kinds, "GP1")
    sheet.write_text(whole.replace("sheet: 1", "sheet: 1\nhazard: fuel"), encoding="utf-8")
    said["sheet"] = _hazards(with_kinds, "GP1")
    sheet.write_text(whole, encoding="utf-8")
    assert said == {
        "hazard: moving": {"moving", "hot"},
        "hazard: none": set(),
        "name: airbag heater": {"restraint", "hot"},
        "sheet": {"fuel", "hot"},
    }


def test_a_wire_list_knows_the_pins_of_a_kind_like_a_load(with_kinds: Copy) -> None:
    rows = "from,from pin,from kind,to,to pin,to kind,colour\nGP2,A,glow plug,GP2,B,glow plug,RD\n"
    (with_kinds.root / "vehicle" / "list.csv").write_text(rows, encoding="utf-8")
    with_kinds.run("tracer", "take-in", "list.csv", "--yes")
    sheet = with_kinds.root / "vehicle" / "sheets" / "list.yaml"
    assert "GP2: {is: glow plug, pins: [A, B]}" in sheet.read_text(encoding="utf-8")
    sheet.unlink()


def test_its_ohms_count_in_the_volts(with_kinds: Copy) -> None:
    sheet = with_kinds.root / "vehicle" / "sheets" / "1.yaml"
    before = with_kinds.run("tracer", "volts", "ALM", "--load", "S1=5A", "--json")
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("ohms: 0.002", "ohms: 0.5"), encoding="utf-8")
    assert with_kinds.run("tracer", "volts", "ALM", "--load", "S1=5A", "--json") != before


def test_a_table_without_the_row_is_named(with_kinds: Copy) -> None:
    """What a forgotten row looks like: the page without one of its steps."""
    table = with_kinds.root / "tracer" / "trace" / "kinds.py"
    row = '    PartKind.SHUNT: PartRow("shunt", 5, passes_current=True),\n'
    whole = table.read_text(encoding="utf-8")
    assert row in whole
    table.write_text(whole.replace(row, ""), encoding="utf-8")
    with pytest.raises(AssertionError, match=r"on a list: PARTS in trace/kinds\.py lacks rows"):
        with_kinds.tests("tests/test_kinds.py", "-k", "every_kind_has_a_row")
    table.write_text(whole, encoding="utf-8")


def test_a_command_works(copy: Copy) -> None:
    copy.follow("command.md")
    assert "engine bay: BAT" in copy.said["tracer places"]
    assert '"floor": [' in copy.said["tracer places --json"]
    assert re.search(r'"?engine bay"?,BAT,complete', copy.said["tracer places --csv"])
    assert re.search(r"places +Where the parts of the vehicle sit\.", copy.said["tracer --help"])
    assert "Places" in copy.run("python", "-c", "import tracer; print(*tracer.__all__)")
    copy.tests(*LAYERS, f"{USING}::test_the_names_for_the_type_checker_are_those_at_run_time")
    copy.tests("tests/laws/test_every_answer.py", "-k", "every_command or (agree and lamp_joint)")
    commands = copy.root / "tests" / "commands.py"
    commands.write_text(commands.read_text(encoding="utf-8").replace('    yield ["places"]\n', ""), encoding="utf-8")
    with pytest.raises(AssertionError, match=r"tests/commands\.py calls every command"):
        copy.tests("tests/laws/test_every_answer.py", "-k", "every_command")


def test_a_rule_works(copy: Copy) -> None:
    copy.follow("rule.md")
    assert "R299" in copy.said["tracer check --rules"]
    assert re.search(r"R299 +sheets/1\.yaml:5:3: where S1 sits", copy.run("tracer", "check"))
    assert "passed" in copy.tests("tests/trace/test_rules.py", "-k", "R299")


def test_a_row_of_a_standard_works(copy: Copy) -> None:
    copy.follow("row-of-a-standard.md")
    (said,) = copy.said.values()
    assert "0.02" in said and "slip ring" in said and "maker" in said
    assert "passed" in copy.tests("tests/standards/test_data.py")
