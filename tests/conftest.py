"""Settings for the whole test run: how hard the generated cases are tried, and the one browser.

Where there is no browser its tests are left out, but never where `TRACER_NEEDS_BROWSER` says that there is one.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# `quick` is for every run and, where CI is set, draws the same cases each time, so that a red run means a
# change in the code. `few` is for what is slow with each case, as under `make coverage`. `thorough` is for a release or a night: TRACER_TESTS=thorough pytest -n auto
settings.register_profile("quick", deadline=None, max_examples=60, derandomize="CI" in os.environ)
settings.register_profile("few", deadline=None, max_examples=12, derandomize=True)
settings.register_profile("thorough", deadline=None, max_examples=3000, print_blob=True)

_profile = os.environ.get("TRACER_TESTS", "quick")
if _profile not in ("few", "quick", "thorough"):
    raise ValueError(f"TRACER_TESTS is {_profile!r}; it can be few, quick or thorough")
settings.load_profile(_profile)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The system's Chromium; one for the whole run, since its driver can be begun only once in a process."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("TRACER_NEEDS_BROWSER"):
            pytest.fail("there is no Chromium, though TRACER_NEEDS_BROWSER is set")
        pytest.skip("no Chromium on this system: apt install chromium")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program)
        yield browser
        browser.close()
