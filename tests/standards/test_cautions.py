"""Safety lines: nothing missing where people can be hurt."""

from __future__ import annotations

import pytest

from tracer.standards.cautions import CAUTIONS, WORK_KINDS, caution, cautions_for


@pytest.mark.parametrize("kind", WORK_KINDS)
def test_every_kind_starts_with_the_makers_procedure(kind: str) -> None:
    """The line that defers to the maker, local codes and licensed practice stands first everywhere."""
    lines = cautions_for(kind)
    assert lines[0].id == "maker-first"
    assert len(lines) > 1
    assert len(set(lines)) == len(lines)


def test_the_makers_line_names_all_three() -> None:
    """Maker's procedure, local codes, licensed practice."""
    for words in ("maker's procedure", "local codes", "licensed practice"):
        assert words in caution("maker-first")


@pytest.mark.parametrize(
    ("kind", "ids"),
    [
        ("probe", {"srs-no-test-lamp", "hv-orange", "no-pierce", "backprobe-care", "lamp-electronics"}),
        ("fuses", {"fuse-key-off", "fuse-rating", "jumper-fused"}),
        ("restraint", {"srs-no-test-lamp", "srs-wait", "srs-colour", "battery-order"}),
        ("high voltage", {"hv-threshold", "hv-orange", "hv-bond"}),
        ("battery", {"battery-gas", "battery-order", "meter-amps"}),
        ("resistance", {"ohm-dead", "srs-no-test-lamp", "hv-orange"}),
        ("crank", {"crank-safe", "crank-time", "starts-itself"}),
    ],
)
def test_kind_has_its_cautions(kind: str, ids: set[str]) -> None:
    """A caution that fell out of its group would not be printed."""
    assert ids <= {entry.id for entry in cautions_for(kind)}


@pytest.mark.parametrize(
    ("id", "figures"),
    [
        ("srs-wait", ["1 to 3 minutes", "10"]),  # custom of the trade, no source
        ("hv-threshold", ["60 V DC", "30 V AC"]),  # ISO 6469-3 and UN R100, from memory
        ("hv-bond", ["0.1 Ω", "0.2 A"]),  # UN R100, from memory
        ("lamp-electronics", ["10 MΩ"]),  # custom of the trade, no source
        ("battery-gas", ["4 %"]),  # www.ccohs.ca, battery charging hazards
        ("meter-amps", ["10 A"]),  # custom of the trade, no source
        ("crank-time", ["30 s", "2 minutes"]),  # US Army TM 10-3930-671-24, page F-303
    ],
)
def test_figures_in_the_lines(id: str, figures: list[str]) -> None:
    """Figures that people rely on are those of the documents."""
    for figure in figures:
        assert figure in caution(id)


def test_every_line_is_one_line_and_in_a_group() -> None:
    """One sentence or two on one line, each printed with some work."""
    for entry in CAUTIONS.values():
        assert "\n" not in entry.text
        assert entry.text.endswith(".")
        assert 20 < len(entry.text) <= 160
        assert set(entry.kinds) <= set(WORK_KINDS)
        assert entry.kinds


def test_unknown_names_are_refused() -> None:
    """A misspelt id or kind prints no empty list of cautions."""
    with pytest.raises(KeyError):
        caution("airbag")
    with pytest.raises(ValueError, match="no kind of work 'airbag'; known: probe"):
        cautions_for("airbag")


def test_mapping_is_complete_and_read_only() -> None:
    """CAUTIONS holds every line by its id and cannot be changed."""
    assert len(CAUTIONS) == len(list(CAUTIONS)) == 21
    assert all(CAUTIONS[id].id == id for id in CAUTIONS)
    assert not hasattr(CAUTIONS, "__setitem__")
