"""A short run of `make fuzz`, and every input that once went wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.fuzz import FOUND, SORTS, main, tried

KEPT = sorted(FOUND.glob("*.txt"))


@pytest.mark.parametrize("file", KEPT, ids=lambda file: file.stem)
def test_what_once_went_wrong_is_answered(file: Path) -> None:
    assert tried(file.stem.rpartition(" ")[0], file.read_bytes()) == ""


def test_the_seeds_are_good_and_some_spoiled_inputs_are_answered() -> None:
    assert set(SORTS) == {"sheets", "vehicles", "runs", "seen", "readings", "cases", "wire lists"}
    for name, (_, seeds) in SORTS.items():
        assert seeds(), name
        for data in seeds():
            assert tried(name, data) == "", name
    assert main(210, seed=7) == 0
