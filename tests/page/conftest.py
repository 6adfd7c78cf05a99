"""The demo's page as a file, and pages opened in the system's Chromium."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page

from tests.page.pages import PHONE, demo_page


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("pocket") / "alm.html"
    file.write_text(demo_page(), encoding="utf-8")
    return file


@pytest.fixture
def visit(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Open an address in a browser of its own; whatever the page complains about, or asks of a network, fails the test at its end."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def opened(address: str | Path, size: tuple[int, int] = PHONE, *, script: str = "", dark: bool = False, offline: bool = True) -> Page:  # fmt: skip
        context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]}, has_touch=size[0] < 800, is_mobile=size[0] < 800, offline=offline, color_scheme="dark" if dark else "light",
        )  # fmt: skip
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        if script:
            page.add_init_script(script)
        page.on("console", lambda message: complaints.append(message.text) if _is_bad(message, offline) else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        if offline:
            page.on("request", lambda asked: complaints.append(f"asked for {asked.url}") if not asked.url.startswith(("file:", "blob:", "data:")) else None)  # fmt: skip
        page.goto(address.as_uri() if isinstance(address, Path) else address)
        return page

    def _is_bad(message: ConsoleMessage, offline: bool) -> bool:
        gone = not offline and "net::ERR_" in message.text  # a desk that a test has killed
        return message.type in ("error", "warning") and not gone

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []
