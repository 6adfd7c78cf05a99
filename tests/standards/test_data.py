"""The data files: every row says where it is from, and importing the tables reads none of them."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
import yaml

from tracer.standards import _tables
from tracer.standards._tables import CERTAINTIES, BrokenTable, Row, table, weakest
from tracer.standards.sources import sources

FILES = ["allowances", "bus", "cautions", "colours", "conductors", "faults", "fuses", "limits", "terminals"]


def tables() -> list[tuple[str, str]]:
    return [(file, name) for file in FILES for name in _tables.raw_file(file)]


def pages_named() -> set[str]:
    return {p for file, name in tables() for row in table(file, name) for p in row.values.get("seen_in", [])}


def test_every_data_file_is_known() -> None:
    """A new data file must be listed above, or its rows would go unchecked."""
    data = files("tracer.standards") / "data"
    assert sorted(p.name for p in data.iterdir()) == sorted([f"{name}.yaml" for name in FILES] + ["sources.yaml"])


@pytest.mark.parametrize(("file", "name"), tables())
def test_every_row_has_source_and_certainty(file: str, name: str) -> None:
    """Each row of each table loads with a source text that fits its certainty."""
    rows = table(file, name)
    assert rows
    for row in rows:
        assert row.certainty in CERTAINTIES, row.where
        assert row.source.strip(), row.where
        assert ("from memory" in row.source) == (row.certainty == "memory"), row.where
        assert ("custom of the trade, no source" in row.source) == (row.certainty == "custom"), row.where


@pytest.mark.parametrize(("file", "name"), tables())
def test_only_seen_rows_name_pages(file: str, name: str) -> None:
    """A row from memory that names a page would look like evidence."""
    for row in table(file, name):
        assert ("seen_in" in row.values) == (row.certainty in ("standard", "handbook", "maker")), row.where


def test_no_key_is_typed_twice() -> None:
    """YAML drops the first of two equal keys without a word, so a reader that refuses them looks again."""

    class Strict(yaml.SafeLoader):
        def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
            mapping = super().construct_mapping(node, deep)
            assert len(mapping) == len(node.value), f"a key twice near line {node.start_mark.line + 1}"
            return mapping

    for name in [*FILES, "sources"]:
        text = (files("tracer.standards") / "data" / f"{name}.yaml").read_text(encoding="utf-8")
        assert yaml.load(text, Loader=Strict) == dict(_tables.raw_file(name))


def test_listed_pages_are_exactly_the_named_ones() -> None:
    """No dead page in sources.yaml, and none missing."""
    assert {entry.id for entry in sources()} == pages_named()


def test_every_page_has_a_title_of_its_own() -> None:
    """A source without a title cannot be found; two with one title and address are one."""
    listed = [(entry.title, entry.address) for entry in sources()]
    assert all(title.strip() for title, _ in listed)
    assert len(set(listed)) == len(listed)


@pytest.mark.parametrize(
    ("values", "complaint"),
    [
        ({"sure": "certainly"}, "must be one of seen, custom, from memory"),
        ({"sure": "memory"}, "must be one of seen, custom, from memory"),
        ({}, "must be one of seen, custom, from memory"),
        ({"sure": "seen"}, "names no page"),
        ({"sure": "seen", "seen_in": ["nowhere"]}, "'nowhere' is not listed"),
        ({"sure": "computed"}, "gives no formula"),
        ("text", "must be a mapping"),
    ],
)
def test_a_row_without_its_source_is_refused(values: object, complaint: str) -> None:
    """A row that hides where it is from is a fault and does not load."""
    with pytest.raises(BrokenTable, match=complaint):
        _tables._row(values, "x.yaml, t, row 1", "")


def test_a_missing_table_is_refused() -> None:
    """A misspelt table name is a fault, not an empty table."""
    with pytest.raises(BrokenTable, match="no table 'colors'"):
        table("colours", "colors")


def test_row_fields_are_typed() -> None:
    """An unquoted `on` in YAML 1.1 is a truth value; it must not pass as a number or a text."""
    row = Row("x.yaml, t, row 1", {"a": True, "b": "1", "c": 1, "d": ["x", True], "e": [1, True]}, "s", "own")
    for read in (row.text, row.number):
        with pytest.raises(BrokenTable, match="row 1: 'a' must be"):
            read("a")
    with pytest.raises(BrokenTable, match="must be a number, is '1'"):
        row.number("b")
    with pytest.raises(BrokenTable, match="must be true or false"):
        row.flag("c")
    with pytest.raises(BrokenTable, match="list of texts"):
        row.texts("d")
    with pytest.raises(BrokenTable, match="list of numbers"):
        row.numbers("e")
    assert (row.number("c"), row.text("b"), row.flag("a")) == (1.0, "1", True)
    assert (row.optional_text("z"), row.optional_number("z"), row.flag("z")) == ("", None, False)


def test_weakest_is_the_least_sure() -> None:
    """A value built on a row from memory is from memory."""
    assert weakest(["standard", "computed"]) == "computed"
    assert weakest(["computed", "memory", "custom"]) == "memory"
    assert weakest(["maker", "standard"]) == "maker"


def test_what_a_row_is_comes_from_its_best_document_or_from_the_standard_that_it_reproduces() -> None:
    datasheet, handbook = {"sure": "seen", "seen_in": ["lin_datasheet_a"]}, {"sure": "seen", "seen_in": ["lec_dc3"]}
    both = {"sure": "seen", "seen_in": ["lin_datasheet_a", "lec_dc3"]}
    kinds = [_tables._row(row, "x", "").certainty for row in (datasheet, handbook, both)]
    assert kinds == ["maker", "handbook", "handbook"]
    assert _tables._row(datasheet, "x", "LIN 2.x").certainty == "standard"
    assert _tables._row({"sure": "custom"}, "x", "").certainty == "custom"
    assert _tables._row({"sure": "from memory"}, "x", "ISO 1").certainty == "memory"


# Kinds of pages that no workshop would accept as a source, by what their addresses and titles look like (own list).
NO_SOURCE = re.compile(
    r"wiki|pedia|blog|forum|thread|mailing|shop|\.ask/|/ask/|seller|scribd|issuu|studylib|360docs|ic37|pdf\.|howto|hobby|advice|quotation|second hand",
    re.I,
)


def test_only_what_a_workshop_would_accept_is_named() -> None:
    for entry in sources():
        assert not NO_SOURCE.search(f"{entry.title} {entry.address}"), entry


def test_no_other_address_stands_in_the_program_its_tests_and_its_documents() -> None:
    """An address is a host with a path; those of sources.yaml, of JSON Schema, of SVG and of a workbook are all there are."""
    known = {entry.address.partition("/")[0].removeprefix("www.") for entry in sources() if entry.address}
    known |= {"json-schema.org", "w3.org", "schemas.openxmlformats.org", "example.org"}
    address = re.compile(
        r"(?<![\w@./-])(?:https?://)?(?:www\.)?((?:[a-z0-9-]+\.)+(?:com|org|net|de|uk|nl|ca|edu|info|eu|io|it|pl|cc|id|shop|engineer))(?=[/?])"
    )
    root = Path(__file__).parents[2]
    files_ = [
        path
        for name in ("tracer", "tests", "docs", "circuits", "shared", "benchmarks")
        for path in (root / name).rglob("*")
    ]
    for path in [*files_, *root.glob("*.md")]:
        if path.suffix in (".py", ".yaml", ".md", ".json", ".txt", ".csv", ".html", ".typ") and path.is_file():
            found = set(address.findall(path.read_text(encoding="utf-8"))) - known
            assert not found, f"{path}: {found}"


def test_import_reads_no_file_and_loads_nothing_heavy() -> None:
    """Start-up is felt at every command: importing all modules loads neither yaml nor numpy."""
    modules = ", ".join(f"tracer.standards.{name}" for name in [*FILES, "sources"])
    code = (
        f"import sys, {modules}\n"
        "heavy = {'yaml', 'numpy', 'scipy', 'networkx', 'pydantic', 'difflib', 'importlib.resources'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
        "print(tracer.standards._tables.raw_file.cache_info().currsize)\n"
    )
    # -S keeps start-up files of the surroundings out; the package is found beside this test.
    run = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True, cwd=_root())
    assert run.stdout.split("\n")[:2] == ["[]", "0"]


def _root() -> str:
    return str(Path(_tables.__file__).parents[2])
