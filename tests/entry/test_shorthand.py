"""Shorthand that mirrors a drawing gives the same circuit as the same lines written out."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.typed import HEAD, load, problems, wires, write
from tracer.entry.models import KINDS, ROLES
from tracer.entry.runs import read_run
from tracer.entry.synonyms import KIND_WORDS, ROLE_WORDS


def runs(*lines: str) -> str:
    return HEAD + "runs:\n" + "".join(f"  - {line}\n" for line in lines)


@pytest.mark.parametrize(
    ("short", "long"),
    [
        (["M.[1-3] -- BN 1 -- G1"], ["M.1 -- BN 1 -- G1", "M.2 -- BN 1 -- G1", "M.3 -- BN 1 -- G1"]),
        (["S1 -- BN 1 -- M.[2, 4]"], ["S1 -- BN 1 -- M.2", "S1 -- BN 1 -- M.4"]),
        (["M.[1-2] -- RD 1 -- X1.[3-4] -- same -- S1"], ["M.1 -- RD 1 -- X1.3 -- RD 1 -- S1", "M.2 -- RD 1 -- X1.4 -- RD 1 -- S1"]),
        (["F1.load -- RD/GN 2.5 3m (204) -- X1.1 -- same -- M.1"], ["F1.load -- RD/GN 2.5 3m (204) -- X1.1 -- RD/GN 2.5 -- M.1"]),
        (["M.[4] -- RD 1 -- S1"], ["M.4 -- RD 1 -- S1"]),
    ],
)  # fmt: skip
def test_a_short_line_is_the_lines_it_stands_for(short: list[str], long: list[str], tmp_path: Path) -> None:
    one, other = load(tmp_path / "short", runs(*short)), load(tmp_path / "long", runs(*long))
    assert sorted(wires(one)) == sorted(wires(other))
    assert [one.runs[link.run].wires[link.wire].text for link in one.links if link.run >= 0] == [
        other.runs[link.run].wires[link.wire].text for link in other.links if link.run >= 0
    ]


@pytest.mark.parametrize(
    ("line", "column", "what"),
    [
        ("M.[1-3] -- RD 1 -- X1.[1-2] -- same -- S1", 24, "the groups of pins in this run are not of one size"),
        ("M.[1-9] -- RD 1 -- S1", 5, "M has no pin 5"),
        ("M.[1-2] -- RD 1 -- X1.4 -- same -- S1", 24, "cavity X1.4 is used twice"),
        ("M.1 -- same -- S1", 12, "`same` stands for the wire before"),
    ],
)
def test_a_short_line_that_cannot_be_is_told(line: str, column: int, what: str, tmp_path: Path) -> None:
    found = problems(write(tmp_path, runs(line)))
    assert what in found[0].what
    assert (found[0].place.line, found[0].place.column) == (12, column)


@pytest.mark.parametrize(
    ("typed", "colours", "area", "size"),
    [
        ("red/blue 1,5", ("RD", "BU"), 1.5, "1.5 mm²"),
        ("light green 0.5", ("LTGN",), 0.5, "0.5 mm²"),
        ("RD 16 AWG", ("RD",), pytest.approx(1.309, abs=0.001), "16 AWG"),  # ASTM B258: 16 AWG is 1.31 mm²
        ("RD/YE 1.5-2.5", ("RD", "YE"), 1.5, "1.5 mm² (drawn as 1.5-2.5)"),
        ("BK 2,5-1,5 2m", ("BK",), 1.5, "1.5 mm² (drawn as 2,5-1,5)"),
    ],
)
def test_a_wire_is_read_as_drawn(typed: str, colours: tuple[str, ...], area: object, size: str) -> None:
    _, (wire,), slips = read_run(f"S1 -- {typed} -- M.1", "iec")
    assert not slips
    assert (wire.colours, wire.area_mm2, wire.size_text) == (colours, area, size)


@pytest.mark.parametrize(
    ("typed", "form"),
    [("31-51", "`ref 31>51`"), ("31 51", "`ref 31>51`"), ("31 to 51", "`ref 31>51`"), ("5/51", "`ref HERE>51`")],
)
def test_a_reference_without_its_sign_is_refused_with_the_form(typed: str, form: str, tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, runs(f"S1 -- RD 1 -- ref {typed}")))
    assert form in found.fix


def test_words_of_the_trade_are_answered_with_words_that_can_be_typed(tmp_path: Path) -> None:
    assert set(KIND_WORDS.values()) <= set(KINDS) and set(ROLE_WORDS.values()) <= set(ROLES)
    assert not set(KIND_WORDS) & set(KINDS) and not set(ROLE_WORDS) & set(ROLES)
    for word, kind in KIND_WORDS.items():
        (found,) = problems(write(tmp_path, HEAD + f"  Q: {{is: {word}}}\n"))
        assert found.fix == f"Write `{kind}`: that is the word for it here."
    for word in ("joint", "link", "breaker"):
        assert problems(write(tmp_path, HEAD + f"  Q: {{is: {word}}}\n")) == []
    (found,) = problems(write(tmp_path, HEAD.replace("cavities: 1-4", "cavities: 1-4, pins: {2: earth}")))
    assert found.fix == "Write `ground`: that is the word for it here."
