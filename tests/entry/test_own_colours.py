"""A diagram that explains its own colour letters is typed as drawn, and the risk of confusion is said."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.typed import HEAD, load, problems, write
from tracer.report.wire_lists import list_csv


def vehicle(colours: str) -> str:
    return f'vehicle: v\nkey: [off, run]\nrails: {{"30": always, "31": ground}}\ncolours: {colours}\n'


def colours_of(colours: str, wire: str, folder: Path) -> tuple[str, ...]:
    circuit = load(folder, HEAD + f"runs:\n  - F1.load -- {wire} 1 -- M.1\n", vehicle=vehicle(colours))
    return circuit.runs[0].wires[0].colours


@pytest.mark.parametrize(
    ("colours", "wire", "read"),
    [
        ("{P: pink, B: black, LB: light blue}", "P/B", ("PK", "BK")),
        ("{P: pink, B: black, LB: light blue}", "p/lb", ("PK", "LTBU")),
        ("{P: pink, B: black, LB: light blue}", "LBP", ("LTBU", "PK")),  # taken apart in one way only
        ("{P: PK, B: BN}", "B", ("BN",)),  # a code of IEC 60757 in place of a word
        ("{P: pink, like: din}", "P/sw", ("PK", "BK")),
        ("{br: black, like: din}", "br", ("BK",)),  # its own letters go before those of the system
        ("{P: pink, B: black}", "pink/black", ("PK", "BK")),  # words are understood as ever
    ],
)
def test_letters_of_its_own_are_read(colours: str, wire: str, read: tuple[str, ...], tmp_path: Path) -> None:
    assert colours_of(colours, wire, tmp_path) == read


@pytest.mark.parametrize(
    ("wire", "what", "fix"),
    [
        ("RD", "`RD` is not a wire colour (own abbreviations, as vehicle.yaml says)", "give it a line below `colours`"),
        (
            "BBR",
            "`BBR` is not a wire colour (own abbreviations",
            "It can be `B/B/R` or `B/BR` or `BB/R`",
        ),  # B with BR, or BB with R: nobody knows
    ],
)
def test_a_letter_that_is_not_in_the_table_is_refused(wire: str, what: str, fix: str, tmp_path: Path) -> None:
    sheet = HEAD + f"runs:\n  - F1.load -- {wire} 1 -- M.1\n"
    own = "{B: black, BR: brown, BB: blue, R: red}"
    (problem,) = problems(write(tmp_path, sheet, vehicle=vehicle(own)))
    assert problem.place.line == 12 and what in problem.what and fix in problem.fix


@pytest.mark.parametrize(
    ("colours", "what", "column"),
    [
        ("{P: pinkish}", "`P` needs one colour in plain words", 12),
        ("{P: red/green}", "`P` needs one colour in plain words", 12),
        ("{P: [red]}", "`P` needs one colour in plain words", 12),
        ("{P/K: pink}", "`P/K` cannot stand for a colour", 12),
        ("{P: pink, p: red}", "`p` stands here a second time", 12),
        ("{like: din}", "no letters are given", 12),
        ("{P: pink, like: dim}", "`dim` is not possible here", 12),
        ("inc", "`inc` is not possible here", 10),
        ("sae", "no SAE table of colour letters was seen", 10),
        ("{P: pink, like: sae}", "no SAE table of colour letters was seen", 12),
    ],
)
def test_a_slip_in_the_table_is_one_problem_with_its_place(
    colours: str, what: str, column: int, tmp_path: Path
) -> None:
    sheet = HEAD + "runs:\n  - F1.load -- RD 1 -- M.1\n"
    (problem,) = problems(write(tmp_path, sheet, vehicle=vehicle(colours)))
    assert (problem.place.file, problem.place.line) == ("vehicle.yaml", 4)
    assert what in problem.what


def test_letters_that_mean_another_colour_in_a_common_table_are_said(tmp_path: Path) -> None:
    sheet = HEAD + "runs:\n  - F1.load -- P/BL 1 -- M.1\n"
    circuit = load(tmp_path, sheet, vehicle=vehicle("{P: pink, BL: black, GE: grey}"))
    (remark,) = (one for one in tracer.check(circuit).remarks if one.code == "R262")
    assert (
        remark.message
        == "BL is black, with din letters blue; BL is black, with american letters blue; GE is grey, with din letters yellow"
    )


def test_a_wire_list_keeps_the_letters_of_the_diagram(tmp_path: Path) -> None:
    sheet = HEAD + "runs:\n  - F1.load -- P/B 1 -- M.1\n"
    circuit = load(tmp_path, sheet, vehicle=vehicle("{P: pink, B: black}"))
    assert "P/B" in list_csv(tracer.wire_list(circuit))
