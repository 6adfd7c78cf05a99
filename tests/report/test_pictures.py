"""The pictures that the README shows are those of the demo as it is now: `make pictures` makes them anew."""

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from tests.report.pixels import ink_of

ROOT = Path(__file__).resolve().parents[2]
PICTURES = ROOT / "docs" / "pictures"


@pytest.fixture(scope="module")
def rebuild() -> ModuleType:
    spec = importlib.util.spec_from_file_location("rebuild", PICTURES / "rebuild.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_pictures_are_current(rebuild: ModuleType) -> None:
    contents = rebuild.contents()
    made_by = {"rebuild.py", "screens.py"}
    screens = {"pocket-list.png", "pocket-card.png", "desk.png", "screens.txt"}  # held by tests/page/test_screens.py
    assert {*contents, "worksheet.png"} | made_by | screens == {path.name for path in PICTURES.iterdir() if path.is_file()}  # fmt: skip
    for name, content in contents.items():
        assert (PICTURES / name).read_bytes() == content, f"docs/pictures/{name} is old: make pictures"


def test_the_picture_of_the_worksheet_shows_the_worksheet(rebuild: ModuleType) -> None:
    """Pixel by pixel; versions of the typesetter may differ in the grey at the edges of letters."""
    kept, made = ink_of((PICTURES / "worksheet.png").read_bytes()), ink_of(rebuild.worksheet_picture())
    assert kept.shape == made.shape
    assert 0.02 < (kept > 0.5).mean() < 0.3  # print on paper: neither blank nor black
    assert (np.abs(kept - made) > 0.5).mean() < 0.002, "docs/pictures/worksheet.png is old: make pictures"


def test_the_readme_shows_each_picture() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert [name for name in ("diagram.svg", "worksheet.png") if f"docs/pictures/{name}" not in readme] == []
