"""What the tests of the page share: pages of vehicles, and what a thumb does on them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from playwright.sync_api import Page

import tracer
from tests.case.making import demo
from tracer.page.calls import pocket

PHONE, NARROW, DESK = (390, 844), (320, 640), (1280, 860)
AXE = Path(__file__).parent / "axe" / "axe.min.js"


@cache
def demo_page() -> str:
    return pocket(demo(), "ALM").html


@cache
def page_of(folder: Path, module: str, decimal: str = ".") -> str:
    return pocket(tracer.load(folder), module, decimal=decimal).html


def view(page: Page, name: str) -> None:
    page.locator("#tabs").get_by_role("button", name=name).click()


def card(page: Page, step: str, name: str) -> None:
    """Open the card of a step by the list."""
    view(page, "Pins")
    section = page.locator("details", has_text=step).first
    section.locator("summary").click()
    section.get_by_role("button", name=name, exact=True).click()


def press(page: Page, text: str) -> None:
    """Type on the pad, key by key."""
    for letter in text:
        page.locator(".keys").get_by_role("button", name={".": "point", ",": "comma", "-": "minus"}.get(letter, letter), exact=True).click()  # fmt: skip


def enter(page: Page) -> None:
    page.locator(".key.enter").click()


def prepare(page: Page, battery: str = "12.62") -> None:
    """Do what the card asks for first, and read the battery where it wants that."""
    if page.locator(".todo li").count():
        page.locator(".todo .main").click()
    if page.get_by_role("heading", name="Battery posts, now").count():
        press(page, battery)
        enter(page)
    if page.get_by_role("heading", name="Is the fault there now?").count():
        page.get_by_role("button", name="It is there").click()


def read(page: Page, *values: str) -> None:
    """Values on the pad, each kept with the large key; a word by its own key."""
    for value in values:
        if value[0].isalpha():
            page.locator(".pad .words").get_by_role("button", name=value, exact=True).click()
        else:
            press(page, value)
        enter(page)


def handed(page: Page) -> str:
    view(page, "Readings")
    return page.locator("#handed").input_value()
