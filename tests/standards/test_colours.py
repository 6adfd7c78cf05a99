"""Wire colours: reading, refusing and naming."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tracer.standards.colours import (
    SYSTEMS,
    UnknownColour,
    abbreviations,
    colour_name,
    colours,
    parse_colour,
)

CODES = {system: {a.written: a.code for a in abbreviations(system)} for system in SYSTEMS}

systems = st.sampled_from(SYSTEMS)
spelt = systems.flatmap(
    lambda system: st.tuples(st.just(system), st.lists(st.sampled_from(sorted(CODES[system])), min_size=1, max_size=3))
)


@given(spelt, st.sampled_from(["/", " / ", "-"]), st.sampled_from([str.upper, str.lower, str.swapcase]))
def test_table_colours_joined_by_a_separator_are_read_back(
    drawn: tuple[str, list[str]], separator: str, case: object
) -> None:
    """One to three abbreviations joined by a separator, in any case, give their codes in order."""
    system, written = drawn
    assert callable(case)
    expected = tuple(CODES[system][w] for w in written)
    assert parse_colour(case(separator.join(written)), system) == expected


@given(st.lists(st.sampled_from(sorted(CODES["iec"])), min_size=1, max_size=3))
def test_iec_codes_need_no_separator(codes: list[str]) -> None:
    """Codes run together are read back: no run of codes can be split in two ways."""
    assert parse_colour("".join(codes), "iec") == tuple(codes)


@given(st.lists(st.sampled_from(sorted(CODES["din"])), min_size=1, max_size=3))
def test_german_abbreviations_need_no_separator(written: list[str]) -> None:
    """All have two letters, so a run of them can be split in one way only."""
    assert parse_colour("".join(written), "din") == tuple(CODES["din"][w] for w in written)


@given(st.lists(st.sampled_from(sorted(w for w in CODES["american"] if len(w) > 2)), min_size=1, max_size=3))
def test_us_words_need_no_separator(written: list[str]) -> None:
    """Words of three letters, with or without a shade, run together are read back."""
    joined = "".join(w.replace(" ", "") for w in written)
    assert parse_colour(joined, "american") == tuple(CODES["american"][w] for w in written)


@given(st.text() | st.text("RDGNBULTKW/- ", max_size=12) | st.text("rdgnbuſK\n", max_size=6), systems)
@example("ſw", "din")  # upper-cases to SW
@example("\x1f", "iec")
@example("/" * 1000, "american")
@example("B" * 5000, "american")
def test_any_text_gives_known_codes_or_unknown_colour(text: str, system: str) -> None:
    """Arbitrary text never gives a code that is not in the table, and no other error."""
    known = {c.code for c in colours()}
    try:
        codes = parse_colour(text, system)
    except UnknownColour as error:
        assert (error.text, error.system) == (text, system)
        assert repr(text) in str(error)
    else:
        assert 1 <= len(codes) <= 3
        assert set(codes) <= known
        assert text.isascii()


@given(spelt)
def test_suggestions_can_be_typed(drawn: tuple[str, list[str]]) -> None:
    """What an error suggests is itself accepted, or the advice would send the reader round in a circle."""
    system, written = drawn
    with pytest.raises(UnknownColour) as caught:
        parse_colour("".join(written) + "Q", system)
    for suggestion in caught.value.nearest:
        assert parse_colour(suggestion, system)


@pytest.mark.parametrize("typed", ["LT BLU", "LTBLU", "LT-BLU", "lt blu", "Lt  Blu", " LT - BLU "])
def test_spellings_of_a_us_shade(typed: str) -> None:
    """Space, hyphen or nothing between shade and colour."""
    assert parse_colour(typed, "american") == ("LTBU",)


@pytest.mark.parametrize(
    ("typed", "codes"),
    [
        ("LT-BLU-BLK", ("LTBU", "BK")),
        ("BLK-LT-GRN", ("BK", "LTGN")),
        ("DK GRN/T", ("DKGN", "TN")),
        ("BLKLTBLU", ("BK", "LTBU")),
        ("W/B", ("WH", "BK")),
        ("R-W/BLK", ("RD", "WH", "BK")),
    ],
)
def test_us_colours_in_one_wire(typed: str, codes: tuple[str, ...]) -> None:
    """A hyphen separates two colours unless it stands behind LT or DK."""
    assert parse_colour(typed, "american") == codes


@pytest.mark.parametrize(("typed", "codes"), [("BR", ("BN",)), ("GR", ("GY",)), ("BL", ("BU",)), ("PP", ("VT",))])
def test_two_letters_in_the_us_table_are_one_colour(typed: str, codes: tuple[str, ...]) -> None:
    """BR is brown and not black with red: a whole abbreviation wins."""
    assert parse_colour(typed, "american") == codes


@pytest.mark.parametrize(
    ("typed", "nearest"), [("BW", ["B/W"]), ("GY", ["G/Y"]), ("VT", ["V/T"]), ("BRBL", ["B/R/BL", "BR/BL"])]
)
def test_one_letter_colours_need_a_separator(typed: str, nearest: list[str]) -> None:
    """Run together they might be another system's code (GY is grey in IEC), so the reader is asked."""
    with pytest.raises(UnknownColour) as caught:
        parse_colour(typed, "american")
    assert sorted(caught.value.nearest) == nearest


@pytest.mark.parametrize(
    ("typed", "system", "valid_in", "words"),
    [
        ("sw", "iec", ["din"], "din (black)"),
        ("BL", "iec", ["din", "american"], "din (blue) and american (blue)"),
        ("RD/BK", "din", ["iec"], "iec (red with black)"),
        ("tk", "american", ["din"], "din (turquoise)"),
        ("QQ", "iec", [], "not in its table"),
    ],
)
def test_error_says_in_which_system_the_text_is_a_colour(
    typed: str, system: str, valid_in: list[str], words: str
) -> None:
    """A diagram of another system is the usual mistake; the message says which one."""
    with pytest.raises(UnknownColour) as caught:
        parse_colour(typed, system)
    assert caught.value.valid_in == valid_in
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "system", "reason"),
    [
        ("", "iec", "nothing is written"),
        ("   ", "iec", "nothing is written"),
        ("RD/", "iec", "a colour is missing beside a separator"),
        ("/RD", "iec", "a colour is missing beside a separator"),
        ("RD//GN", "iec", "a colour is missing beside a separator"),
        ("RD/GN/YE/BK", "iec", "more than 3 colours"),
        ("RD/QQ", "iec", "'QQ' is not in its table"),
        ("RD GN", "iec", "near: RD/GN"),
        ("BLK RED", "american", "near: BLK/RED"),
        ("LT/BLU", "american", "'LT' is not in its table"),
        ("ſw", "din", "not in its table"),
        ("RF", "iec", "near: RD"),
    ],
)
def test_error_says_what_is_wrong(typed: str, system: str, reason: str) -> None:
    """Each kind of fault has its own words."""
    with pytest.raises(UnknownColour) as caught:
        parse_colour(typed, system)
    assert reason in str(caught.value)


def test_unknown_system_is_a_fault_of_the_caller() -> None:
    """A misspelt system is not blamed on the colour."""
    for ask in (lambda: parse_colour("RD", "jis"), lambda: abbreviations("IEC")):
        with pytest.raises(ValueError, match="no colour system") as caught:
            ask()
        assert not isinstance(caught.value, UnknownColour)


def test_colour_name() -> None:
    """Base colour, then the tracers."""
    assert colour_name(("RD",)) == "red"
    assert colour_name(("RD", "GN")) == "red with green"
    assert colour_name(("LTBU", "GN", "WH")) == "light blue with green and white"


def test_colour_name_refuses_what_is_no_wire() -> None:
    """No colour, four colours and codes of another system are refused."""
    for codes in [(), ("RD", "GN", "YE", "BK")]:
        with pytest.raises(ValueError, match="one to 3 colours"):
            colour_name(codes)
    with pytest.raises(UnknownColour, match="'sw' is no colour in the iec system: no such code"):
        colour_name(("sw",))


def test_codes_and_names_are_unique() -> None:
    """Two codes for one colour would make two ends of a wire disagree."""
    assert len({c.code for c in colours()}) == len(colours())
    assert len({c.name for c in colours()}) == len(colours())


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_abbreviation_stands_for_a_listed_code(system: str) -> None:
    """No abbreviation leads to a code without a name, and none is listed twice."""
    known = {c.code for c in colours()}
    entries = abbreviations(system)
    assert {a.code for a in entries} <= known
    assert len({a.written.upper() for a in entries}) == len(entries)
    assert all(a.system == system and a.source for a in entries)


def test_extension_codes_are_marked_as_ours() -> None:
    """A code that is not in IEC 60757 never passes for one that is."""
    ours = {c.code for c in colours() if c.extension}
    assert ours == {"LTBU", "DKBU", "LTGN", "DKGN", "LTGY", "DKGY", "TN", "BG", "CR"}
    assert all((c.certainty == "own") == c.extension for c in colours())
