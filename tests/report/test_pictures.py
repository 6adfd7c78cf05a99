"""The pictures that the README shows are those of the demo as it is now: `make pictures` makes them anew."""

import importlib.util
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def test_pictures_are_current() -> None:
    spec = importlib.util.spec_from_file_location("rebuild", ROOT / "docs" / "pictures" / "rebuild.py")
    assert spec is not None and spec.loader is not None
    rebuild = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(rebuild)
    for name, content in rebuild.contents().items():
        assert (ROOT / "docs" / "pictures" / name).read_bytes() == content, (
            f"docs/pictures/{name} is old: make pictures"
        )
    assert (ROOT / "docs" / "pictures" / "worksheet.png").read_bytes().startswith(b"\x89PNG")
