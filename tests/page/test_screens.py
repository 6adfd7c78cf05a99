"""The pictures of the page and the desk in the documentation show what these say now: `make pictures` makes them anew."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Browser

from docs.pictures.screens import screens, words

PICTURES = Path(__file__).resolve().parents[2] / "docs" / "pictures"


def test_the_words_on_the_pictures_are_current(chromium: Browser) -> None:
    found = screens(chromium)
    for name, screen in found.items():
        kept = (PICTURES / name).read_bytes()
        assert kept[:24] == screen.png[:24], (
            f"docs/pictures/{name} has another size"
        )  # the head of a PNG: width and height
        assert len(kept) < 150_000
    assert "narrowed down at 5+" in found["desk.png"].words and "list complete" in found["pocket-list.png"].words
    assert (PICTURES / "screens.txt").read_text(encoding="utf-8") == words(found), (
        "docs/pictures/ is old: make pictures"
    )
