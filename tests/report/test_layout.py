"""Text that fits its width, cells that no spreadsheet runs, and codes drawn together."""

from __future__ import annotations

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.report.completeness import list_words
from tracer.report.layout import NARROWEST, Page, codes, counted, display_width
from tracer.report.plain_data import csv_text, json_text, safe_cell
from tracer.trace.lists.completeness import Assumption, Completeness

ASCII = st.lists(st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=12), max_size=30).map(" ".join)
WIDTH = st.integers(NARROWEST, 130)


def _sticks_out_by_a_word(line: str, width: int, indent: int) -> bool:
    """Whether a line is too wide only because its last word is too long to be wrapped."""
    body = line[indent:]
    return " " not in body.strip() and display_width(line) > width


@pytest.mark.parametrize(
    ("text", "columns"),
    [("", 0), ("ALM", 3), ("Öl", 2), ("O\u0308l", 2), ("窓", 2), ("ｱ", 1), ("Ａ", 2), ("🚗", 2), ("e\u0301e\u0301", 2), ("a\u200bb", 2), ("❤\ufe0f", 1), ("Ω µ", 3)],
)  # fmt: skip
def test_the_columns_of_a_text(text: str, columns: int) -> None:
    # Wide and full-width letters take two columns, combining marks none: Unicode Standard Annex 11.
    assert display_width(text) == columns


@given(ASCII, WIDTH, st.integers(0, 10), st.integers(0, 10))
def test_a_paragraph_keeps_its_words_and_its_width(text: str, width: int, indent: int, hang: int) -> None:
    page = Page(width)
    page.line(text, indent=indent, hang=hang)
    assert page.text().split() == text.split()
    for number, line in enumerate(page.text().splitlines()):
        start = hang if number else indent
        assert display_width(line) <= width or _sticks_out_by_a_word(line, width, start)
        assert not line or line[:start].strip() == ""


@given(st.lists(st.lists(ASCII, min_size=3, max_size=3), min_size=1, max_size=6), WIDTH)
def test_a_table_keeps_every_word_of_every_cell(rows: list[list[str]], width: int) -> None:
    words = [word for row in rows for cell in row for word in cell.split()]
    for head in ([], ["ONE", "TWO", "THREE"]):
        page = Page(width)
        page.table(rows, head=head)
        written = page.text().split()
        # Where the columns do not fit, each row is a paragraph and the head is left out; where they do, it is not.
        columns = list(zip(*([head] if head else []), *rows, strict=True))
        fits = sum(max(map(display_width, column)) for column in columns) + 2 * (len(columns) - 1) <= width
        kept = written[: len(head)] == head
        assert kept or not fits
        assert sorted(written) == sorted([*(head if kept else []), *words])


@given(st.lists(st.tuples(st.sampled_from(("S1", "G10", "窓")), ASCII), min_size=1, max_size=6), WIDTH)
def test_a_table_is_no_wider_than_the_page_unless_a_word_is(rows: list[tuple[str, str]], width: int) -> None:
    page = Page(width)
    page.table(rows, indent=2)
    longest = max((len(word) for _, text in rows for word in text.split()), default=0)
    for line in page.text().splitlines():
        assert display_width(line) <= max(width, 2 + 3 + 2 + longest)


@given(st.text(st.sampled_from("Ab"), max_size=8), ASCII, WIDTH)
def test_a_label_has_its_text_beside_it(label: str, text: str, width: int) -> None:
    page = Page(width)
    page.labelled(label, text)
    first, *rest = page.text().split("\n")
    assert first.split()[: 1 if label else 0] == ([label] if label else [])
    assert page.text().split() == [*([label] if label else []), *text.split()]
    assert all(line.startswith(" " * 14) for line in rest if line)


def test_bold_adds_no_columns_and_no_words() -> None:
    plain, bold = Page(60), Page(60, bold=True)
    for page in (plain, bold):
        page.heading("supplies of ALM")
        page.table([["S1", "battery"]], head=["code", "from"])
        page.line("NOT COMPLETE", strong=True)
    stripped = bold.text().replace("\x1b[1m", "").replace("\x1b[0m", "")
    assert "\x1b[1m" in bold.text()
    assert stripped == plain.text()


def test_a_narrow_page_is_never_narrower_than_the_narrowest() -> None:
    assert Page(1).width == NARROWEST
    assert Page(NARROWEST + 1).width == NARROWEST + 1


def test_two_blank_lines_are_one() -> None:
    page = Page()
    page.blank()
    page.line("a")
    page.blank()
    page.blank()
    page.line("b")
    assert page.text() == "a\n\nb\n"


# --- codes -----------------------------------------------------------------------------------------------------------


def _spread(text: str) -> list[str]:
    """The reverse of `codes`."""
    names = []
    for piece in filter(None, text.split(", ")):
        first, dash, last = piece.partition("-")
        names += [f"{first[0]}{number}" for number in range(int(first[1:]), int(last[1:]) + 1)] if dash else [piece]
    return names


@given(st.lists(st.tuples(st.sampled_from("SGVC"), st.integers(1, 12)), max_size=12))
def test_codes_drawn_together_are_the_codes_that_went_in(pairs: list[tuple[str, int]]) -> None:
    names = [f"{letter}{number}" for letter, number in pairs]
    assert _spread(codes(names)) == names


def test_three_in_a_row_are_drawn_together_two_are_not() -> None:
    assert codes(["S1", "S2"]) == "S1, S2"
    assert codes(["S1", "S2", "S3", "G4"]) == "S1-S3, G4"
    assert codes([]) == ""
    assert (counted(1, "supply", "supplies"), counted(0, "part"), counted(2, "supply", "supplies")) == (
        "1 supply",
        "0 parts",
        "2 supplies",
    )


# --- CSV and JSON ----------------------------------------------------------------------------------------------------

# What a spreadsheet takes for the start of a formula: OWASP, "CSV Injection" (read from memory).
STARTS = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
CELL = st.text(st.characters(exclude_categories=["Cs"]), max_size=12) | st.builds(
    "{}{}{}".format,
    st.text(st.sampled_from(" \n\x0b\x0c\u00a0\ufeff"), max_size=2),
    st.sampled_from(STARTS),
    st.text(st.sampled_from('A1+-|!"\n, '), max_size=8),
)


@given(CELL)
def test_a_safe_cell_starts_with_nothing_that_runs_and_loses_nothing(cell: str) -> None:
    safe = safe_cell(cell)
    assert not safe.startswith(STARTS)
    assert not safe.lstrip(" ").startswith(STARTS)
    assert safe in (cell, f"'{cell}")


@pytest.mark.parametrize(
    "cell", ["=1+1", "+A1", "-A1", "@SUM(A1)", " =1", "\t=1", "\r=1", "\n=1", "\ufeff=1", "＝1", "\u00a0=1"]
)
def test_a_cell_that_would_run_is_kept_as_text(cell: str) -> None:
    assert safe_cell(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["", "RD 2.5", "BAT.-", "BAT.+", "S1", "12.6 V", "'=1", "a=b"])
def test_a_cell_that_would_not_run_stays_as_it_is(cell: str) -> None:
    assert safe_cell(cell) == cell


@given(st.lists(st.lists(CELL, min_size=2, max_size=2), max_size=5))
def test_csv_is_read_back_as_it_was_written(rows: list[list[str]]) -> None:
    text = csv_text(["a", "b"], rows)
    read = list(csv.reader(io.StringIO(text, newline="")))
    assert read == [["a", "b"], *([safe_cell(cell) for cell in row] for row in rows)]


def test_csv_has_the_line_ends_and_quotes_of_rfc_4180() -> None:
    # RFC 4180, section 2: CRLF; a cell with a comma, quote or line break in quotes; a quote doubled.
    assert csv_text(["code", "wire"], [["S1", 'RD, 2.5 "new"'], ["G1", "a\nb"]]) == (
        'code,wire\r\nS1,"RD, 2.5 ""new"""\r\nG1,"a\nb"\r\n'
    )


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.text(),
        lambda one: st.lists(one) | st.dictionaries(st.text(), one),
        max_leaves=10,
    )
)
def test_json_is_read_back_as_it_was_written(data: object) -> None:
    assert json.loads(json_text(data)) == data
    assert json_text(data).endswith("\n")
    assert "ü" in json_text("ü")


def test_a_list_whose_counts_differ_is_not_said_to_have_no_loose_ends() -> None:
    assert list_words("M", Completeness(loose=2)).startswith("NOT COMPLETE: 2 loose ends on the ways")
    assert list_words("M", Completeness(differences=1)).startswith("NOT COMPLETE: the two counts differ")
    assert list_words("M", Completeness(rests_on=(Assumption("mass", "G1"),))).startswith("COMPLETE IF G1 sits on")
    assert list_words("M", Completeness(elsewhere=3, uncounted=("S1",))).startswith("COMPLETE: 1 joint on these ways")
