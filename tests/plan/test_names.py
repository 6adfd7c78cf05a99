"""One name for one thing: rows by their pin, points and bus lines; and the mark of a list."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

import tracer
from tests.laws.test_turned_runs import retyped
from tests.typed import load
from tracer.plan.edition import LENGTH, edition_of
from tracer.plan.names import Names, UnknownName, full_name, names_of, rows_by_word
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "circuits" / "minibus"


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(DEMO))


def names(tracing: Tracing, module: str) -> Names:
    return names_of(tracing.circuit, tracer.supplies(tracing, module))


@pytest.mark.parametrize(
    ("word", "full"),
    [
        ("2+", "ALM.2:+"),
        ("2", "ALM.2:+"),
        ("alm.2", "ALM.2:+"),
        ("ALM.2:+", "ALM.2:+"),
        ("1-", "ALM.1:-"),
        ("KAL.85", "KAL.85:-"),
        ("kal.85:-", "KAL.85:-"),
        ("G1", "G1"),
        ("FPE.F52.feed", "F52.feed"),
        ("x3.12:x1", "X3.12:X1"),
        ("X3.12, towards X1", "X3.12:X1"),
        ("drive:L-H", "drive:H-L"),
        ("drive:h", "drive:H"),
        ("19", "ALM.19"),
    ],
)
def test_a_word_is_found(demo: Tracing, word: str, full: str) -> None:
    assert names(demo, "ALM").find(word) == full


@pytest.mark.parametrize(
    ("word", "message"),
    [
        ("X3.12", r"could mean X3\.12:X1 or X3\.12:X4: write which"),
        ("F52", r"has the points F52\.feed or F52\.load"),
        ("2-", "is not in this list"),
        ("drive:X", "is not in this list"),
    ],
)
def test_a_word_that_means_nothing_or_two_things_is_refused(demo: Tracing, word: str, message: str) -> None:
    with pytest.raises(UnknownName, match=message):
        names(demo, "ALM").find(word)


@pytest.mark.parametrize("vehicle", ["minibus", "unfinished"])
def test_every_row_and_point_of_every_list_has_a_name_that_finds_it_and_nothing_else(vehicle: str) -> None:
    tracing = Tracing(tracer.load(ROOT / "circuits" / vehicle))
    for module in tracing.circuit.modules():
        report = tracer.supplies(tracing, module.name)
        found = names_of(tracing.circuit, report)
        assert len({found.short[full_name(row)] for row in report.rows}) == len(report.rows)
        for full, short in found.short.items():
            assert found.find(full) == found.find(short) == full
            assert not re.search(r"[\s<>|&;()$`]", short), short  # a shell would take it for its own


OTHER = (
    "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 5}, G1: {is: ground, at: floor}, M: {is: module, cavities: [1, 2], at: floor}, 1+: splice}\n"
    "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- 1+ -- RD 1 -- M.1\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n"
)


def test_where_a_part_is_called_like_a_short_name_the_row_has_its_full_one(tmp_path: Path) -> None:
    tracing = Tracing(load(tmp_path, OTHER, vehicle="vehicle: v\n"))
    report = tracer.supplies(tracing, "M")
    found = names_of(tracing.circuit, report)
    assert [found.short[full_name(row)] for row in report.rows] == ["M.1:+", "2-"]
    assert found.find("1+") == "1+"  # the splice
    assert found.find("M.1") == "M.1:+"


def test_a_code_that_is_the_name_of_a_part_too_is_refused(demo: Tracing) -> None:
    report = tracer.supplies(demo, "ALM")
    with pytest.raises(UnknownName, match="could mean the row 1- or the part G1"):
        rows_by_word(demo.circuit, report, ["G1"])
    assert rows_by_word(demo.circuit, report, [])["S1"].pin == "2"
    with pytest.raises(UnknownName, match="write 1- for the row"):
        tracer.volts(demo, "ALM", loads=["G1=21W"])
    loaded = tracer.volts(demo, "ALM", "run", unplugged=["ALM"], loads=["1-=21W"])
    assert loaded.rows == tracer.volts(demo, "ALM", "run", unplugged=["ALM"], loads=["ALM.1=21W"]).rows


# --- the edition mark --------------------------------------------------------------------------------------------------


def editions(tracing: Tracing) -> dict[str, str]:
    return {module.name: edition_of(tracer.supplies(tracing, module.name)) for module in tracing.circuit.modules()}


@pytest.mark.parametrize("seed", range(3))
def test_order_and_direction_of_typing_and_comments_make_no_new_edition(
    seed: int, tmp_path: Path, demo: Tracing
) -> None:
    other = retyped(DEMO, tmp_path / "v", random.Random(seed))
    for page in (other / "sheets").glob("*.yaml"):
        page.write_text("# a comment\n" + page.read_text(encoding="utf-8"), encoding="utf-8")
    found = editions(Tracing(tracer.load(other)))
    assert found == editions(demo)
    assert all(re.fullmatch(f"[A-Z2-7]{{{LENGTH}}}", mark) for mark in found.values())
    assert len(set(found.values())) == len(found)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("amps: 5", "amps: 7.5"),
        ("F1 -- RD 1 -- 1+", "F1 -- RD 1.5 -- 1+"),
        ("cavities: [1, 2]", "cavities: [1, 2, 3]"),
        ("M.2 -- BN 1 -- G1", "M.2 -- BN 1 -- G2"),
        ("1+: splice", "1+: {is: splice, wires: 2}"),
        ("1+: splice", "1+: {is: splice, note: n}"),
    ],
)
def test_what_the_list_rests_on_makes_a_new_edition_and_a_note_does_not(old: str, new: str, tmp_path: Path) -> None:
    assert OTHER.count(old) == 1
    first = load(tmp_path / "a", OTHER, vehicle="vehicle: v\n")
    second = load(
        tmp_path / "b", OTHER.replace(old, new).replace("1+: splice", "1+: splice, G2: ground"), vehicle="vehicle: v\n"
    )
    same = edition_of(tracer.supplies(first, "M")) == edition_of(tracer.supplies(second, "M"))
    assert same == ("note" in new)


def test_json_carries_the_name_of_each_row_and_the_mark(demo: Tracing) -> None:
    from json import loads

    from tracer.report import supplies as shown

    report = tracer.supplies(demo, "ALM")
    data = shown.as_data(report, None)
    assert data["edition"] == edition_of(report)
    assert [row["name"] for row in data["supplies"]] == [full_name(row) for row in report.supplies]
    assert loads(tracer.worksheet(demo, "ALM", "json").files[0])["edition"] == edition_of(report)
    sheet = loads(tracer.worksheet(demo, "ALM", "json", full=True).files[0])
    assert sheet["edition"] == edition_of(report)
    known = names(demo, "ALM")
    for batch in sheet["batches"]:
        for reading in batch["readings"]:
            if reading["kind"] not in ("battery", "coil") and "-" not in reading["point"]:
                assert known.find(reading["name"]) in known.short
