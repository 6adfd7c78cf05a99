"""Make the pictures of the page for the phone and of the desk anew; part of `make pictures`. Needs the system's Chromium.

They are kept as PNG, whose bytes differ with the fonts of a machine. Beside them stand the words that each shows, and these are what the test compares.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ROOT = Path(__file__).resolve().parents[2]
DEMO, MODULE = ROOT / "circuits" / "minibus", "ALM"
PATIENCE_S = 120  # of a machine that does much else besides
CASE = (
    ("case", "open", MODULE, "-o", "ALM.case", "--complaint", "the rear sags overnight"),
    ("case", "set", "key=off", "plug=out", "lamp=21W", "other=-", "symptom=yes"),
    ("read", "battery=12.62", "3+=12.61/12.39"),
    ("read", "5+=dead"),
    ("read", "5+=dead"),
)


@dataclass(frozen=True)
class Screen:
    """A picture, and the words in it."""

    png: bytes
    words: str


def screens(browser: Browser) -> dict[str, Screen]:
    """Each picture by its name."""
    with TemporaryDirectory() as made:
        return {**_pocket(browser, Path(made)), "desk.png": _desk(browser, Path(made))}


def words(found: dict[str, Screen]) -> str:
    """What `screens.txt` holds."""
    return "\n".join(f"{name}\n{found[name].words}" for name in sorted(found))


def _taken(page: Page) -> Screen:
    """The page as it stands; of its words those that a person sees, without blank lines."""
    page.locator("#said").evaluate("box => { box.textContent = '' }")  # says of the last tap what goes by itself
    seen = re.sub(r"\b\d\d:\d\d\b", "TIME", page.locator("body").inner_text())
    return Screen(page.screenshot(), re.sub(r"[^\S\n]*\n\s*", "\n", seen).strip() + "\n")


def _pocket(browser: Browser, folder: Path) -> dict[str, Screen]:
    """The list, and a card, as a phone shows them."""
    import tracer
    from tests.page.pages import PHONE, card, prepare
    from tracer.page.calls import pocket

    file = folder / "alm.html"
    file.write_text(pocket(tracer.load(DEMO), MODULE).html, encoding="utf-8")
    page = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True, is_mobile=True).new_page()  # fmt: skip
    page.goto(file.as_uri())
    listed = _taken(page)
    card(page, "5 unplugged", "3+")
    prepare(page)
    return {"pocket-list.png": listed, "pocket-card.png": _taken(page)}


def _desk(browser: Browser, folder: Path) -> Screen:
    """The case as the desk shows it, with the readings that find where to measure next."""
    with _served(folder, {**os.environ, "TRACER_STATE": str(folder / "state"), "PYTHONPATH": str(ROOT)}) as address:
        context = browser.new_context(viewport={"width": 1100, "height": 820})
        context.set_default_timeout(PATIENCE_S * 1000)
        page = context.new_page()
        page.goto(address)
        page.locator("#tabs").get_by_role("button", name="Case").click()
        page.get_by_text("explains").first.wait_for()
        found = _taken(page)
        context.close()
        return found


@contextmanager
def _served(folder: Path, environment: dict[str, str]) -> Iterator[str]:
    """The address of a desk with a case, as long as it is asked."""
    command = [sys.executable, "-m", "tracer.cli", "-C", str(DEMO)]
    for words in CASE:
        subprocess.run([*command, *words], cwd=folder, env=environment, check=True, stdout=subprocess.DEVNULL)
    served = subprocess.Popen([*command, "desk", MODULE, "--port", "0"], env=environment, stdout=subprocess.PIPE, text=True)  # fmt: skip
    assert served.stdout is not None
    try:
        yield served.stdout.readline().split()[-1]
    finally:
        served.send_signal(signal.SIGINT)
        served.wait(PATIENCE_S)
        served.stdout.close()


def made() -> dict[str, bytes]:
    """The files: each picture, and their words."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=shutil.which("chromium") or shutil.which("chromium-browser"))
        found = screens(browser)
        browser.close()
    return {**{name: screen.png for name, screen in found.items()}, "screens.txt": words(found).encode()}
