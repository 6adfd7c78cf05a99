"""ISO 16750-2:2010, Table 1 (12 V) and Table 2 (24 V), supply voltage codes, as seen in an excerpt of BS ISO 16750-2:2010.

The 2023 edition was not seen.
"""

from __future__ import annotations

import pytest

from tracer.standards.limits import UnknownItem, supply_range, supply_ranges

CODES = {
    "A": (12, 6, 16),
    "B": (12, 8, 16),
    "C": (12, 9, 16),
    "D": (12, 10.5, 16),
    "E": (24, 10, 32),
    "F": (24, 16, 32),
    "G": (24, 22, 32),
    "H": (24, 18, 32),
}


@pytest.mark.parametrize(("code", "expected"), CODES.items())
def test_supply_code(code: str, expected: tuple[float, float, float]) -> None:
    """Each code has its published system voltage and range."""
    found = supply_range(code)
    assert (found.system_v, found.min_v, found.max_v) == expected
    assert "2010" in found.source


def test_there_are_eight_codes() -> None:
    """A to D for 12 V, E to H for 24 V, no others."""
    assert [entry.code for entry in supply_ranges()] == list(CODES)
    with pytest.raises(UnknownItem, match="supply code 'I'"):
        supply_range("I")
