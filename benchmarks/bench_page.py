"""The page: how soon the desk shows something, the list of a large vehicle on it, and the file for the pocket.

The yardstick of the desk's first view is the whole process of `supplies --quick`, which says the same; that of the file, the worksheet of the same module. A list on a desk that has read its vehicle is held
against a third of a second, and the file being opened, with the browser slowed six times as a phone is slow, against one second.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
import time
from itertools import count
from pathlib import Path
from urllib.request import urlopen

import tracer
from benchmarks.believable import believable
from benchmarks.ratios import Ratio, checked, fastest_s, process_cpu_s, tracer_command
from tracer.page.at_once import list_of
from tracer.trace.tracing import Tracing

DEMO, MODULE = Path(__file__).parent.parent / "circuits" / "minibus", "ALM"
LIST_S, OPEN_S, SLOWED = 0.3, 1.0, 6
RUNS = 3


def ratios() -> list[Ratio]:
    """First view, list on a large vehicle, the file made, and the file opened where there is a browser."""
    with tempfile.TemporaryDirectory() as scratch:
        base = [tracer_command(), "-C", str(DEMO)]
        listing, file = [*base, "supplies", MODULE, "--quick"], Path(scratch) / "alm.html"
        checked(listing)
        made, sheet = [*base, "pocket", MODULE, "-o", str(file)], [*base, "worksheet", MODULE, "-o", str(Path(scratch) / "sheet.html")]  # fmt: skip
        checked(made)
        checked(sheet)
        quick = fastest_s(lambda: subprocess.run(listing, stdout=subprocess.DEVNULL, check=False), RUNS)
        first = min(_first_view([*base, "desk", MODULE, "--port", "0"]) for _ in range(RUNS))
        return [
            Ratio("first view of the desk, demo / `supplies --quick`", first, quick, 2),
            Ratio("a module's list on the desk, 5 000 wires, vehicle read / 0.3 s", _list_s(Path(scratch)), LIST_S, 1),
            Ratio("pocket, demo / its worksheet", process_cpu_s(made, RUNS), process_cpu_s(sheet, RUNS), 3),
            *_opened(file),
        ]


def _first_view(command: list[str]) -> float:
    """From the call to the list at the other end."""
    start = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        with urlopen(address) as page, urlopen(f"{address}list") as answer:
            page.read()
            found = json.load(answer)
        taken = time.perf_counter() - start
        process.terminate()
    if not found["pins"]:
        raise RuntimeError("the desk shows no list")
    return taken


def _list_s(folder: Path) -> float:
    """A module that nobody asked for before, each time another one."""
    modules = believable(folder / "coach")
    tracing = Tracing(tracer.load(folder / "coach"))
    list_of(tracing, tracer.supplies(tracing, modules[0]))
    number = count(40)
    return fastest_s(lambda: list_of(tracing, tracer.supplies(tracing, modules[next(number)])), 8)


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
