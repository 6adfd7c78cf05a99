"""The page: how soon the desk shows something, the list of a large vehicle on it, and the file for the pocket.

The yardstick of the desk's first view is the whole process of `supplies --quick`, which says the same, and so is that of a save in a large vehicle; of a save in the demo it is half a second, as a person
feels it. That of the file is the worksheet of the same module. A list on a desk that has read its vehicle is held against a third of a second, and the file being opened, with the browser slowed six times as a phone is slow, against one second.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Sequence
from itertools import count
from pathlib import Path
from typing import Any
from unittest import mock
from urllib.parse import urlencode
from urllib.request import urlopen

import tracer
from benchmarks.believable import believable
from benchmarks.ratios import Ratio, checked, fastest_s, least_cpu_s, process_cpu_s, tracer_command
from tracer.page.at_once import list_of
from tracer.trace.tracing import Tracing

DEMO, MODULE = Path(__file__).parent.parent / "circuits" / "minibus", "ALM"
LIST_S, OPEN_S, SLOWED, SAVED_S = 0.3, 1.0, 6, 0.5
LARGE = "M78"
RUNS = 3


def ratios() -> list[Ratio]:
    """First view and saves, list on a large vehicle, the file made, and the file opened where there is a browser."""
    with tempfile.TemporaryDirectory() as scratch, mock.patch.dict(os.environ, {"TRACER_STATE": scratch}):
        demo, coach = Path(scratch) / "demo", Path(scratch) / "coach"
        shutil.copytree(DEMO, demo)
        modules = believable(coach)
        base, large, file = [tracer_command(), "-C", str(demo)], [tracer_command(), "-C", str(coach)], Path(scratch) / "alm.html"  # fmt: skip
        made, sheet = [*base, "pocket", MODULE, "-o", str(file)], [*base, "worksheet", MODULE, "-o", str(Path(scratch) / "sheet.html")]  # fmt: skip
        page, list_of_large = [*large, "pocket", LARGE, "-o", str(Path(scratch) / "large.html")], [*large, "supplies", LARGE, "--quick"]  # fmt: skip
        for command in (made, sheet, page, list_of_large):
            checked(command)
        quick, quick_large = (fastest_s(lambda asked=asked: subprocess.run(asked, stdout=subprocess.DEVNULL, check=False), RUNS) for asked in ([*base, "supplies", MODULE, "--quick"], list_of_large))  # type: ignore[misc]  # fmt: skip
        first, saved = _on_the_desk([*base, "desk", MODULE, "--port", "0"], demo)
        first_large, saved_large = _on_the_desk([*large, "desk", LARGE, "--port", "0"], coach)
        return [
            Ratio("first view of the desk, demo / `supplies --quick`", first, quick, 2),
            Ratio("first view of the desk, 5 000 wires / `supplies --quick`", first_large, quick_large, 2),
            Ratio("a save shown on the desk, demo / 0.5 s", saved, SAVED_S, 1),
            Ratio("a save shown on the desk, 5 000 wires / `supplies --quick`", saved_large, quick_large, 2),
            Ratio("a module's list on the desk, 5 000 wires, vehicle read / 0.3 s", _list_s(coach, modules), LIST_S, 1),
            Ratio("pocket, demo / its worksheet", process_cpu_s(made, RUNS), process_cpu_s(sheet, RUNS), 3),
            Ratio(
                "pocket, 5 000 wires / `supplies --quick`",
                process_cpu_s(page, 2),
                process_cpu_s(list_of_large, RUNS),
                13,
            ),
            *_opened(file),
        ]


def _on_the_desk(command: list[str], folder: Path) -> tuple[float, float]:
    """From the call to the list at the other end, and from a save to the list that follows it; the least of a few."""
    firsts, saves = [], []
    for _ in range(RUNS):
        start = time.perf_counter()
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            address = process.stdout.readline().strip()
            with urlopen(address) as page:
                page.read()
            if not _asked(f"{address}list")["pins"]:
                raise RuntimeError("the desk shows no list")
            firsts.append(time.perf_counter() - start)
            saves += [_saved(address, folder) for _ in range(RUNS)]
            process.terminate()
    return min(firsts), min(saves)


def _saved(address: str, folder: Path) -> float:
    """From a save of one sheet to its list."""
    sheet = sorted((folder / "sheets").glob("*.yaml"))[0]
    known = _asked(f"{address}changes?list=-1&page=-1&case=-1")
    text = sheet.read_text()
    sheet.write_text(f"{text}# looked at\n")
    start = time.perf_counter()
    while (now := _asked(f"{address}changes?{urlencode(known)}"))["list"] == known["list"]:
        known = now  # the page, or the case, came meanwhile
    _asked(f"{address}list")
    return time.perf_counter() - start


def _asked(address: str) -> dict[str, Any]:
    with urlopen(address) as answer:
        found: dict[str, Any] = json.load(answer)
    return found


def _list_s(folder: Path, modules: Sequence[str]) -> float:
    """A module that nobody asked for before, each time another one."""
    tracing = Tracing(tracer.load(folder))
    list_of(tracing, tracer.supplies(tracing, modules[0]))
    number = count(40)
    return least_cpu_s(lambda: list_of(tracing, tracer.supplies(tracing, modules[next(number)])), 8)


def _opened(file: Path) -> list[Ratio]:
    program = shutil.which("chromium")
    if program is None:
        return []
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        page = driver.chromium.launch(executable_path=program).new_page()
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})

        def open_it() -> None:
            page.goto(file.as_uri())
            page.locator(".pin").first.wait_for()

        return [Ratio(f"the file opened, browser slowed {SLOWED} times / 1 s", fastest_s(open_it, RUNS), OPEN_S, 1)]
