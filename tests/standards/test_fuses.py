"""Fuse families, ratings and resistances."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracer.standards.fuses import (
    UnknownFuseKind,
    cold_resistance_mohm,
    fuse_kind,
    fuse_kinds,
    rating_of,
    ratings,
)

KINDS = [kind.name for kind in fuse_kinds()]


@given(st.text() | st.text("CEFNPLM cefnplmx", max_size=3))
def test_any_text_is_a_kind_or_unknown(text: str) -> None:
    """Arbitrary text gives a listed family or UnknownFuseKind."""
    try:
        assert fuse_kind(text) in fuse_kinds()
    except UnknownFuseKind as error:
        assert error.text == text
        assert set(error.nearest) <= set(KINDS)


def test_kind_by_letter_and_by_name() -> None:
    """Letter or name, in any case and spacing; an empty text is no family although some have no letter."""
    assert fuse_kind("c") == fuse_kind(" Medium  blade ") == fuse_kind("C")
    with pytest.raises(UnknownFuseKind):
        fuse_kind("")
    with pytest.raises(UnknownFuseKind, match="use medium blade"):
        fuse_kind("mediun blade")


@pytest.mark.parametrize("ask", [rating_of, cold_resistance_mohm])
def test_unknown_kind_is_refused_everywhere(ask: object) -> None:
    """A misspelt family never reads as a fuse without data."""
    assert callable(ask)
    with pytest.raises(UnknownFuseKind):
        ask(10, "blade")


@pytest.mark.parametrize("kind", KINDS)
def test_ratings_rise_and_are_listed_once(kind: str) -> None:
    """Smallest first, none twice, each with its source."""
    values = [r.rating_a for r in ratings(kind)]
    assert values == sorted(set(values))
    assert all(r.kind == kind and r.source for r in ratings(kind))


def test_colour_does_not_carry_over() -> None:
    """30 A is another colour in each of these families; an unlisted rating has none."""
    found = [rating_of(30, kind) for kind in ("C", "E", "cartridge with female terminals")]
    assert [one and one.colour for one in found] == ["green", "light green", "pink"]
    assert rating_of(12, "C") is None
    strip = rating_of(100, "bolted strip, 30 mm between bolts")
    assert strip is not None and strip.colour is None


@pytest.mark.parametrize("kind", ["miniature blade", "medium blade"])
def test_cold_resistance_falls_with_the_rating(kind: str) -> None:
    """A larger fuse has a thicker element; the values are steeper than one over the rating."""
    found = [(r.rating_a, cold_resistance_mohm(r.rating_a, kind)) for r in ratings(kind)]
    values = [c.value for _, c in found if c is not None]
    assert len(values) >= 12
    assert values == sorted(values, reverse=True)


def test_borrowed_resistance_says_so() -> None:
    """A miniature blade without its own value takes the medium blade's, as from memory, and says it."""
    own, borrowed = cold_resistance_mohm(5, "F"), cold_resistance_mohm(10, "F")
    medium = cold_resistance_mohm(10, "C")
    assert own and borrowed and medium
    assert own.certainty == "memory"
    assert "value of a medium blade" not in own.note
    assert borrowed.value == medium.value
    assert borrowed.certainty == "memory"
    assert "value of a medium blade" in borrowed.note


def test_borrowing_is_within_a_tenth() -> None:
    """The claim that lets a miniature blade borrow: ratings known for both differ by less than a tenth."""
    for rating_a in (3, 4, 5, 15):
        mini, medium = cold_resistance_mohm(rating_a, "F"), cold_resistance_mohm(rating_a, "C")
        assert mini and medium
        assert mini.value != medium.value
        assert mini.value == pytest.approx(medium.value, rel=0.1)


def test_nothing_is_made_up() -> None:
    """Families and ratings without data give None."""
    assert cold_resistance_mohm(50, "E") is None
    assert cold_resistance_mohm(12, "F") is None
