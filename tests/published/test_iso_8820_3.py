"""Vehicle fuses: scope and letters of ISO 8820-3, current from the drop of a miniature blade.

[A] "ISO/FDIS 8820-3 catalogue page", standards.iteh.ai/catalog/standards/iso/65ad1633-ed2b-4551-aa66-c8e45fe0dec4/iso-fdis-8820-3 (scope only);
[I] MACS Service Reports 2017, fuse drop chart remark. The colours are custom of the trade, no source; times, drops and the other resistances are from memory.
"""

from __future__ import annotations

import pytest

from tracer.standards.fuses import (
    blade_scope,
    cold_resistance_mohm,
    colour_of,
    continuous_share,
    drop_at_rating_mv,
    fuse_kind,
    is_standard_rating,
    ratings,
    time_current,
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
    assert colour_of(rating_a, kind) == colour
    assert is_standard_rating(rating_a, kind)


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


def test_scope() -> None:
    """ISO 8820-3 covers up to 100 A, 32 V or 58 V, 1000 A breaking capacity [A]."""
    assert {name: (v.value, v.unit) for name, v in blade_scope()} == {
        "largest rating": (100, "A"),
        "breaking capacity": (1000, "A"),
        "rated voltage, lower class": (32, "V"),
        "rated voltage, upper class": (58, "V"),
    }


def test_opening_times_of_the_large_blade() -> None:
    """DIN 72581-3 form E, from memory."""
    times = {(t.times_rating, t.min_s, t.max_s) for t in time_current("E")}
    assert times >= {(1.0, 360000, None), (1.35, 60, 1800), (2.0, 2, 60), (3.5, 0.2, 7)}
    assert {t.certainty for t in time_current("E")} == {"memory"}


@pytest.mark.parametrize(("rating_a", "drop_mv"), [(20, 125), (30, 100), (80, 100), (100, None)])
def test_drop_limit_of_the_large_blade(rating_a: float, drop_mv: float | None) -> None:
    """125 mV at 20 A and 100 mV above; form E of DIN 72581-3 ends at 80 A; from memory."""
    drop = drop_at_rating_mv(rating_a, "E")
    assert (None if drop is None else (drop.value, drop.note.partition(",")[0])) == (
        None if drop_mv is None else (drop_mv, "limit")
    )


@pytest.mark.parametrize(("rating_a", "mohm", "drop_mv"), [(3, 33.75, 153), (4, 23.48, 121), (5, 17.75, 129)])
def test_miniature_blade_resistance_and_drop(rating_a: float, mohm: float, drop_mv: float) -> None:
    """Typical values of a component datasheet, from memory."""
    cold = cold_resistance_mohm(rating_a, "F")
    hot = drop_at_rating_mv(rating_a, "F")
    assert cold is not None
    assert hot is not None
    assert (cold.value, hot.value) == (mohm, drop_mv)


def test_continuous_load() -> None:
    """A fuse carries about 75 % of its rating all the time, rule of thumb, from memory."""
    assert continuous_share().value == 0.75
