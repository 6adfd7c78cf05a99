"""Vehicle fuses: scope and letters of ISO 8820-3, current from the drop of a miniature blade.

[A] "ISO/FDIS 8820-3 catalogue page", standards.iteh.ai/catalog/standards/iso/65ad1633-ed2b-4551-aa66-c8e45fe0dec4/iso-fdis-8820-3 (scope only);
[I] MACS Service Reports 2017, fuse drop chart remark. The colours are custom of the trade, no source; times, drops and the other resistances are from memory.
"""

from __future__ import annotations

import pytest

from tracer.standards.fuses import (
    cold_resistance_mohm,
    fuse_kind,
    rating_of,
    ratings,
)

BLADE = {
    1: "black",
    2: "grey",
    3: "violet",
    4: "pink",
    5: "tan",
    7.5: "brown",
    10: "red",
    15: "blue",
    20: "yellow",
    25: "clear",
    30: "green",
    35: "blue-green",
    40: "orange",
}

LARGE_BLADE = {
    20: "yellow",
    30: "light green",
    40: "orange",
    50: "red",
    60: "blue",
    70: "tan",
    80: "clear",
    100: "violet",
}

CARTRIDGE = {20: "blue", 30: "pink", 40: "green", 50: "red", 60: "yellow"}
TORPEDO = {5: "yellow", 8: "white", 16: "red", 25: "blue"}  # DIN 72581-1


@pytest.mark.parametrize("kind", ["miniature blade", "medium blade"])
@pytest.mark.parametrize(("rating_a", "colour"), BLADE.items())
def test_blade_colour(kind: str, rating_a: float, colour: str) -> None:
    """Miniature and medium blades share their colours."""
    assert (found := rating_of(rating_a, kind)) and found.colour == colour
    assert any(one.rating_a == rating_a and one.standard for one in ratings(kind))


@pytest.mark.parametrize(
    ("kind", "table"),
    [
        ("high-current blade", LARGE_BLADE),
        ("cartridge with female terminals", CARTRIDGE),
        ("torpedo 6 x 25 mm", TORPEDO),
    ],
)
def test_colour_of_the_other_families(kind: str, table: dict[float, str]) -> None:
    """Each family has its own colours, and no other standard ratings."""
    assert {r.rating_a: r.colour for r in ratings(kind) if r.standard} == table


@pytest.mark.parametrize(("letter", "name"), [("C", "medium"), ("E", "high-current"), ("F", "miniature")])
def test_type_letters(letter: str, name: str) -> None:
    """C, E and F are the medium, high-current and miniature blade [A]."""
    assert fuse_kind(letter).name == f"{name} blade"
    assert fuse_kind(letter).certainty == "standard"


@pytest.mark.parametrize(("rating_a", "mohm"), [(3, 33.75), (4, 23.48), (5, 17.75)])
def test_miniature_blade_resistance(rating_a: float, mohm: float) -> None:
    """Typical values of a component datasheet, from memory."""
    cold = cold_resistance_mohm(rating_a, "F")
    assert cold is not None
    assert cold.value == mohm
