"""IEC 60757 and DIN 47002 colour codes.

[A] both, as reproduced under "Farb-Kurzzeichen" (German encyclopaedia); [B] GOST 28763-90, which is IEC 757-83, letter codes for colours; [C] IEC 60757:2021,
summary. No standard was read in full.
"""

from __future__ import annotations

import pytest

from tracer.standards.colours import colour_name, parse_colour

# [A] [B]
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

# DIN 47002 [A]; hb and li [D] [E], ro [E]
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
def test_german_abbreviation_has_its_published_colour(written: str, name: str) -> None:
    """Each German abbreviation gives the colour its page gives, in small and capital letters."""
    assert colour_name(parse_colour(written, "din")) == name
    assert colour_name(parse_colour(written.upper(), "din")) == name


def test_two_colours_are_joined_without_separator() -> None:
    """IEC joins two colours as in RDBU [B] [C], and green-and-yellow is GNYE [A] [B]."""
    assert parse_colour("RDBU", "iec") == ("RD", "BU")
    assert parse_colour("GNYE", "iec") == ("GN", "YE")
    assert parse_colour("gnge", "din") == ("GN", "YE")  # DIN 47002 [A]


def test_the_same_letters_are_different_colours_in_different_systems() -> None:
    """gr and GR are grey and never green [A] [F]; bl and BL are blue where IEC writes BU."""
    assert parse_colour("gr", "din") == parse_colour("GR", "sae") == ("GY",)
    assert parse_colour("bl", "din") == parse_colour("BL", "sae") == parse_colour("BU", "iec")
    assert parse_colour("rs", "din") != parse_colour("rt", "din")
