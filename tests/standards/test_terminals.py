"""Terminal designations: spelling, key states and what is not certain."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.standards.terminals import KEY_STATES, ROLES, Terminal, meaning, terminals


@pytest.mark.parametrize("entry", terminals(), ids=lambda e: e.code)
def test_entry_is_consistent(entry: Terminal) -> None:
    """Key states or the reason why there are none; grounds never live; nothing certain that depends."""
    assert meaning(entry.code) is entry
    assert entry.role in ROLES
    assert (entry.live is None) == bool(entry.when)
    assert (entry.live == ()) == (entry.role == "ground")
    if entry.live is None:
        assert not entry.start_certain
    else:
        assert list(entry.live) == [state for state in KEY_STATES if state in entry.live]
    if entry.live_certainty == "memory":
        assert not entry.start_certain


def test_codes_are_unique() -> None:
    """One entry per spelling."""
    assert len({entry.code for entry in terminals()}) == len(terminals())


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        (" 30 ", "30"),
        ("15E", "15e"),
        ("b+", "B+"),
        ("B\u2212", "B-"),
        ("B\u2013", "B-"),
        ("58l", "58L"),
    ],
)
def test_spelling_is_forgiven_where_it_is_clear(typed: str, code: str) -> None:
    """Blanks, case and long minus signs."""
    entry = meaning(typed)
    assert entry is not None
    assert entry.code == code


@pytest.mark.parametrize("typed", ["", "3", "300", "Kl. 30", "-", "99", "15 e"])
def test_unlisted_designation_has_no_meaning(typed: str) -> None:
    """No meaning is guessed from a part of a designation."""
    assert meaning(typed) is None


@given(st.text())
def test_any_text_gives_an_entry_or_none(text: str) -> None:
    """Arbitrary text never raises."""
    entry = meaning(text)
    assert entry is None or entry in terminals()


def test_cranking_is_left_open_for_15() -> None:
    """Some vehicles drop part of 15 while cranking, so it has to be measured; 30 stays up."""
    fifteen, thirty = meaning("15"), meaning("30")
    assert fifteen is not None
    assert thirty is not None
    assert fifteen.live == ("run", "start")
    assert not fifteen.start_certain
    assert "cranking" in fifteen.note
    assert thirty.start_certain


def test_relay_terminal_87_names_its_other_sense() -> None:
    """87 is an output on relay bodies and an input in the DIN list: the note says both."""
    entry = meaning("87")
    assert entry is not None
    assert "output" in entry.meaning
    assert "input" in entry.note
    assert entry.source.startswith("ISO mini relay")


@pytest.mark.parametrize("mark", ["15R", "X", "75x", "S", "86s", "IG2", "ST"])
def test_marks_that_are_some_diagrams_own_mean_nothing_by_themselves(mark: str) -> None:
    """They are in no list of DIN 72552: whoever reads the diagram types in what they mean."""
    assert meaning(mark) is None
