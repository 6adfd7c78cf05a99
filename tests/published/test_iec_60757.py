"""IEC 60757 colour codes against a page that reproduces them; the German and US words are custom of the trade, no source.

[A] "Letter codes for colours per GOST 28763-90 (IEC 757-83)", profsector.com/reference-data/show/25/. No standard was read in full.
"""

from __future__ import annotations

import pytest

from tracer.standards.colours import colour_name, parse_colour

# [A]
IEC = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "TQ": "turquoise",
    "GD": "gold",
    "SR": "silver",
}

# DIN 47002 and vehicle usage: custom of the trade, no source
GERMAN = {
    "sw": "black",
    "br": "brown",
    "rt": "red",
    "or": "orange",
    "ge": "yellow",
    "gn": "green",
    "bl": "blue",
    "vi": "violet",
    "gr": "grey",
    "ws": "white",
    "rs": "pink",
    "tk": "turquoise",
}


@pytest.mark.parametrize(("code", "name"), IEC.items())
def test_iec_code_has_its_published_colour(code: str, name: str) -> None:
    """Each IEC code is its own canonical code and has the published name."""
    assert parse_colour(code, "iec") == (code,)
    assert colour_name((code,)) == name


@pytest.mark.parametrize(("written", "name"), GERMAN.items())
def test_german_abbreviation_has_its_usual_colour(written: str, name: str) -> None:
    """Each German abbreviation gives its colour, in small and capital letters."""
    assert colour_name(parse_colour(written, "din")) == name
    assert colour_name(parse_colour(written.upper(), "din")) == name


def test_two_colours_are_joined_without_separator() -> None:
    """IEC joins two colours as in RDBU [A], and green-and-yellow is GNYE [A]."""
    assert parse_colour("RDBU", "iec") == ("RD", "BU")
    assert parse_colour("GNYE", "iec") == ("GN", "YE")
    assert parse_colour("gnge", "din") == ("GN", "YE")  # DIN 47002, custom of the trade


def test_the_same_letters_are_different_colours_in_different_systems() -> None:
    """gr and GR are grey and never green; bl and BL are blue where IEC writes BU."""
    assert parse_colour("gr", "din") == parse_colour("GR", "american") == ("GY",)
    assert parse_colour("bl", "din") == parse_colour("BL", "american") == parse_colour("BU", "iec")
    assert parse_colour("rs", "din") != parse_colour("rt", "din")
