"""What cannot be seen is made visible where text comes in."""

from __future__ import annotations

import json
from pathlib import Path
from unicodedata import category

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.typed import HEAD, load, problems, write
from tracer.entry.visible import all_visible, visible

HIDDEN = ("Cc", "Cf", "Cs", "Zl", "Zp")


def test_no_control_mark_of_direction_zero_width_or_half_letter_of_unicode_is_left() -> None:
    shown = {code: visible(chr(code)) for code in range(0x110000)}
    assert [code for code, text in shown.items() if any(category(letter) in HIDDEN for letter in text)] == []
    assert {text for code, text in shown.items() if chr(code) in "\t\n\r\v\f\x85\u2028\u2029"} == {" "}
    # Everything that is a letter, a digit or a sign with ink stays what it is.
    assert [code for code in range(0x110000) if category(chr(code)) in ("Lu", "Ll", "Nd", "Sm", "So", "Po") and shown[code] != chr(code)] == []  # fmt: skip


@given(st.text())
def test_what_is_visible_stays_as_it_is(text: str) -> None:
    assert visible(visible(text)) == visible(text)
    assert all_visible({text: [text, 1, None, {text: text}]}) == {visible(text): [visible(text), 1, None, {visible(text): visible(text)}]}  # fmt: skip


@pytest.mark.parametrize(
    ("letter", "shown"),
    [("\u200b", "<U+200B>"), ("\u00ad", "<U+00AD>"), ("\u202e", "<U+202E>"), ("\ufe0f", "<U+FE0F>")],
)
def test_a_name_with_a_letter_that_nobody_sees_is_refused_and_shows_it(letter: str, shown: str, tmp_path: Path) -> None:
    # Pasted out of a PDF; taken as it stands it would be another part that looks the same.
    (found,) = problems(write(tmp_path, HEAD + f"runs:\n  - S1 -- RD 1 -- S{letter}2\n"))
    assert shown in found.what
    lines = (tmp_path / "sheets" / "1.yaml").read_text(encoding="utf-8").splitlines()
    assert lines[found.place.line - 1][found.place.column - 1 :] == f"S{letter}2"


def test_a_text_of_several_lines_stands_on_one(tmp_path: Path) -> None:
    typed = json.dumps({"sheet": 1, "parts": {"S1": {"is": "splice", "at": "left\nsill\x1b[2J"}}})
    assert load(tmp_path, typed).place_of_part("S1")[0] == "left sill<U+001B>[2J"


def test_the_name_of_a_file_cannot_tear_a_message_apart(tmp_path: Path) -> None:
    folder = write(tmp_path, HEAD, more={"sheets/a\nb\x1b.yaml": "sheet: 2\nshet: 1\n", "sheets/\u202etxt": ""})
    shown = [str(problem.place) for problem in problems(folder)]
    assert shown == ["sheets/<U+202E>txt", "sheets/a b<U+001B>.yaml:2:1"]


def test_a_number_sign_in_the_note_of_a_run_is_no_comment(tmp_path: Path) -> None:
    sheet = HEAD + 'runs:\n  - {run: S1 -- RD 1 -- S2, note: "was #4 -- now 5"}\n'
    assert problems(write(tmp_path, sheet)) == []
    (found,) = problems(write(tmp_path, HEAD + "runs:\n  - S1 -- RD 1 #4 -- S2\n"))
    assert "begins a comment" in found.what
