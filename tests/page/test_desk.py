"""The desk: always what a cold start would say, for several at once, and nothing acknowledged is ever lost."""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page

import tracer
from tests.case.making import ROOT
from tests.page.pages import AXE, DESK, NARROW, PHONE, card, prepare, read, view
from tracer.case import calls as cases
from tracer.case.case import case_in
from tracer.diagnose.next import next_of
from tracer.page.calls import page_content
from tracer.page.case_view import case_data
from tracer.page.desk import LOOK_EVERY_S, Desk
from tracer.page.server import ASK_EVERY_S
from tracer.report.next import MAY_STILL_BE, possible
from tracer.trace.tracing import Tracing

Visit = Callable[..., Page]
PATIENCE_S = 60.0  # of a machine that does much else besides


@pytest.fixture
def van(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A vehicle that may be changed, with a case open on its module."""
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "state"))
    folder = tmp_path / "van"
    shutil.copytree(ROOT / "circuits" / "minibus", folder)
    cases.open_case(tracer.load(folder), "ALM", None, {"complaint": "c", "by": "k"})
    return folder


@dataclass
class Served:
    """A desk in a process of its own."""

    process: subprocess.Popen[str]
    address: str

    @property
    def port(self) -> int:
        match = re.search(r":(\d+)/", self.address)
        assert match is not None
        return int(match[1])

    def ask(self, method: str, path: str, body: str = "", **headers: str) -> tuple[int, dict[str, str], str]:
        """Status, headers and body of an answer, without a browser."""
        asking = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        asking.putrequest(method, path, skip_host=True)
        sent = {"Host": f"127.0.0.1:{self.port}", **{name.replace("_", "-"): value for name, value in headers.items()}}
        for name, value in {**sent, "Content-Length": str(len(body.encode()))}.items():
            asking.putheader(name, value)
        asking.endheaders(body.encode())
        answer = asking.getresponse()
        found = answer.status, dict(answer.getheaders()), answer.read().decode()
        asking.close()
        return found


@contextmanager
def desk(folder: Path, *options: str, port: int = 0, module: str = "ALM") -> Iterator[Served]:
    words = [sys.executable, "-m", "tracer.cli", "-C", str(folder), "desk", module, "--port", str(port), *options]
    process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    assert process.stdout is not None
    try:
        yield Served(process, process.stdout.readline().strip())
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        process.wait(PATIENCE_S)
        process.stdout.close()


def until(true: Callable[[], object]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end, "never"
        time.sleep(0.05)


# --- what it shows -----------------------------------------------------------------------------------------------------


def test_after_every_save_it_shows_what_a_cold_start_would(van: Path) -> None:
    """Also when saves come faster than the page is worked out, and when a file cannot be used in between."""
    sheet = next(file for file in sorted((van / "sheets").glob("*.yaml")) if "-- ALM.3" in file.read_text("utf-8"))
    whole = sheet.read_text(encoding="utf-8")
    lines = [line for line in whole.splitlines(keepends=True) if re.search(r"-- ALM\.\d+$", line.strip())]
    watched = Desk(van, "ALM")
    watched.begin()
    try:
        for less in lines[:3]:
            sheet.write_text(whole.replace(less, ""), encoding="utf-8")
        until(lambda: watched.listed["version"] > 1 and _worked_out(watched))
        _same_as_cold(watched, van)
        assert not watched.complete
        sheet.write_text(whole + "\nruns: [", encoding="utf-8")
        until(lambda: watched.listed["problems"])
        assert "sheets/" in watched.listed["problems"][0]
        assert watched.listed["complete"] is False
        sheet.write_text(whole, encoding="utf-8")
        until(lambda: not watched.listed["problems"] and _worked_out(watched))
        _same_as_cold(watched, van)
        assert watched.complete
    finally:
        watched.end()


def _worked_out(watched: Desk) -> bool:
    return watched.page.get("version") == watched.listed["version"] and watched.page["without"] is not None


def _same_as_cold(watched: Desk, folder: Path) -> None:
    cold = page_content(Tracing(tracer.load(folder)), "ALM")[1]
    assert {name: what for name, what in watched.page.items() if name != "version"} == cold
    assert watched.listed["complete"] == cold["complete"]
    assert {pin["full"] for pin in watched.listed["pins"]} <= set(cold["picture"]["rows"])


def test_a_module_that_is_not_there_yet_is_waited_for(van: Path) -> None:
    watched = Desk(van, "NEWMOD")
    watched.begin()
    watched.end()
    assert watched.listed["complete"] is False
    assert "NEWMOD" in watched.listed["problems"][0]


# --- who may ask -------------------------------------------------------------------------------------------------------


def test_only_its_own_page_may_hand_readings_over_and_no_path_leads_anywhere_else(van: Path) -> None:
    with desk(van) as served:
        assert served.address.startswith("http://127.0.0.1:")
        own = {"x_tracer": "page"}
        status, headers, _ = served.ask("GET", "/")
        assert status == 200 and "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "unsafe" not in headers["content-security-policy"]
        for host in (f"evil.example:{served.port}", "127.0.0.1", ""):
            assert served.ask("GET", "/list", Host=host)[0] in (400, 403)
        assert served.ask("POST", "/readings", "x")[0] == 403
        assert served.ask("POST", "/readings", "x", **own, origin="http://evil.example")[0] == 403
        assert "no text of readings" in served.ask("POST", "/readings", "x", **own)[2]
        assert served.ask("POST", "/readings", "x" * 1_000_001, **own)[0] == 413
        for path in ("/../vehicle.yaml", "/..%2fvehicle.yaml", "/sheets/1.yaml", "//etc/passwd", "/page/../../x", "/files/page.css"):  # fmt: skip
            assert served.ask("GET", path)[0] == 404, path
        assert served.ask("GET", "/changes?list=x&page=-1&case=%00")[0] == 200
        with socket.create_server(("0.0.0.0", 0)) as other, pytest.raises(OSError):
            other.connect((_not_loopback(), served.port))


def _not_loopback() -> str:
    """An address of this machine other than the loopback one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.connect(("192.0.2.1", 9))
        found = str(asking.getsockname()[0])
    return found


def test_over_a_network_every_request_wants_the_key(van: Path, tmp_path: Path) -> None:
    with desk(van, "--lan") as served:
        match = re.fullmatch(r"http://[\d.]+:\d+/key/([\w-]{22})", served.address)
        assert match is not None
        for path in ("/", "/list", "/page", "/case", "/changes", "/nothing"):
            assert served.ask("GET", path)[0] == 403
            assert served.ask("GET", path, cookie=f"tracer-key={'x' * 22}")[0] == 403
        assert served.ask("GET", "/list", cookie="tracer-key=\xe9")[0] == 403
        for method in ("OPTIONS", "HEAD", "TRACE", "MADEUP", "POST"):
            assert served.ask(method, "/list")[0] == 403
        for key in ("wrong", "%C3%A9", "%FF", f"{match[1]}x", f"{match[1]}/x"):
            assert served.ask("GET", f"/key/{key}")[0] == 403
        assert served.ask("GET", f"/key/{match[1]}", Host=f"evil.example:{served.port}")[0] == 403
        status, headers, _ = served.ask("GET", f"/key/{match[1]}")
        cookie = headers["set-cookie"].split(";")[0]
        assert status == 303 and "httponly" in headers["set-cookie"].lower() and "samesite=lax" in headers["set-cookie"].lower()  # fmt: skip
        assert served.ask("GET", "/list", cookie=cookie)[0] == 200
        assert served.ask("POST", "/readings", "x", x_tracer="page")[0] == 403
    kept = tmp_path / "state" / "desk-key"
    assert kept.read_text().strip() == match[1] and (os.name == "nt" or kept.stat().st_mode & 0o077 == 0)
    with desk(van, "--lan") as again:  # phones find a desk again that was begun anew
        assert again.address.endswith(match[1])


def test_it_ends_at_once_though_the_page_is_being_worked_out(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, on = Event(), Event()

    def slow(*_: object, **__: object) -> dict[str, Any]:
        begun.set()
        on.wait(PATIENCE_S)
        return {}

    monkeypatch.setattr("tracer.page.content.content_of", slow)
    watched = Desk(van, "ALM")
    watched.begin()
    assert begun.wait(PATIENCE_S)
    before = time.monotonic()
    watched.end()
    on.set()
    assert time.monotonic() - before < PATIENCE_S / 3


INTERRUPTED = """
import signal, sys
from pathlib import Path
from tracer.page.desk import Desk
from tracer.page.open import serve

def say(opened):
    signal.raise_signal(signal.SIGINT)
    print("said")

before = signal.getsignal(signal.SIGINT)
serve(Desk(Path(sys.argv[1]), "ALM"), say, port=0)
print("as before" if signal.getsignal(signal.SIGINT) is before else "another handler is left")
"""


def test_an_interrupt_just_as_the_address_is_said_is_not_lost(van: Path) -> None:
    """In a process of its own: the browser's driver keeps an event loop in this one, and a server needs its own."""
    words = [sys.executable, "-c", INTERRUPTED, str(van)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False, timeout=PATIENCE_S)
    assert (done.returncode, done.stdout.splitlines()) == (0, ["said", "as before"]), done.stderr


def test_a_port_that_is_taken_is_said(van: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        words = [sys.executable, "-m", "tracer.cli", "-C", str(van), "desk", "ALM", "--port", str(port)]
        done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1 and f"port {port} cannot be used" in done.stderr and "--port" in done.stderr


# --- in the browser ----------------------------------------------------------------------------------------------------


PAUSES = "window.pauses = []; const put = window.setTimeout; window.setTimeout = (act, ms) => { window.pauses.push(ms); return put(act, ms); }"  # fmt: skip


def test_two_phones_and_a_laptop_see_each_other_and_nothing_acknowledged_is_lost_when_it_is_killed(van: Path, visit: Visit) -> None:  # fmt: skip
    with desk(van) as served:
        laptop = visit(served.address, DESK, script=PAUSES, offline=False)
        one, two = (visit(served.address, PHONE, offline=False) for _ in range(2))
        for page in (laptop, one, two):
            page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        view(laptop, "Case")
        until(lambda: json.loads(served.ask("GET", "/page")[2]).get("without"))
        card(one, "5 unplugged", "5+")
        prepare(one)
        read(one, "dead")
        laptop.get_by_text("dead alone, key off").first.wait_for(
            timeout=PATIENCE_S * 1000
        )  # and with it the whole page
        laptop.evaluate("window.opened = 'before'")
        asked: list[str] = []
        laptop.on("request", lambda request: asked.append(urlsplit(request.url).path))
        card(two, "5 unplugged", "5+")
        prepare(two)
        read(two, "dead")
        laptop.get_by_text("narrowed down at 5+").wait_for(timeout=PATIENCE_S * 1000)
        # It came by what the laptop was waiting for: no reload, nothing else fetched, and the case only once it had grown.
        assert laptop.evaluate("window.opened") == "before" and set(asked) <= {"/changes", "/case"}
        assert 0 < asked.count("/case") <= asked.count("/changes") + 1  # the one that waited was asked before
        view(one, "Case")
        one.get_by_text("narrowed down at 5+").wait_for(timeout=PATIENCE_S * 1000)  # the other phone's reading as well
        assert len(case_in(cases.current_case().file).readings) == 2
        assert "The vehicle maker's procedure" in one.locator("main").inner_text()
        _audit(one, PHONE)

        served.process.kill()
        served.process.wait()
        read(two, "dead")  # kept in the phone meanwhile
        two.get_by_text("The desk does not answer.").wait_for(timeout=PATIENCE_S * 1000)
        assert "1 reading kept here" in two.locator("#notice").inner_text()
        assert len(cases.current_case().readings) == 2
        port = served.port
    with desk(van, port=port):
        until(lambda: len(cases.current_case().readings) == 3)
        view(laptop, "Case")
        laptop.get_by_text("Readings: 3").wait_for(timeout=PATIENCE_S * 1000)
        pauses = laptop.evaluate("window.pauses")
        assert pauses and max(pauses) + 1000 * (ASK_EVERY_S + LOOK_EVERY_S) <= 1000  # also while it is looked for again
        two.locator("#notice", has_text="does not answer").wait_for(state="detached", timeout=PATIENCE_S * 1000)
        assert sorted(cases.current_case().handed.values()) == [2, 3, 4]


def test_a_case_on_a_list_that_is_not_complete_says_so_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, visit: Visit) -> None:  # fmt: skip
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "state"))
    folder = ROOT / "circuits" / "unfinished"
    cases.open_case(tracer.load(folder), "LIFT")
    with desk(folder, module="LIFT") as served:
        page = visit(served.address, NARROW, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        view(page, "Case")
        page.locator("main .heavy").first.wait_for(timeout=PATIENCE_S * 1000)
        assert page.locator("main .heavy").first.inner_text().startswith("The list of LIFT is not complete: ")
        assert "NOT COMPLETE" in page.locator("#head").inner_text()


def test_the_card_of_the_next_measurement_asks_for_just_its_conditions(van: Path, visit: Visit) -> None:
    """Also where no card of the sheet has them, as a meter in another key state: the reading would count for something else."""
    cases.set_case(["key=off", "plug=out", "lamp=21W", "symptom=yes"])
    cases.read(["battery=12.62", "3+=12.61/12.39"])
    cases.set_case(["key=acc", "lamp=none"])
    with desk(van) as served:
        page = visit(served.address, PHONE, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        titles = []
        for count in range(2, 4):
            asks = case_data(cases.current_case())["next"]["asks"]
            view(page, "Case")
            page.get_by_text(f"Readings: {count - 1}").wait_for(timeout=PATIENCE_S * 1000)
            page.get_by_role("button", name="Its card").click()
            for _ in range(2):  # the battery is asked for once the conditions hold
                prepare(page)
            titles.append(page.locator(".where-in span").first.inner_text())
            dead = asks["words"].startswith("dead")
            read(page, *(["dead"] if dead else ["12.61", "12.55"] if asks["lamp_w"] else ["12.60"]))
            until(lambda wanted=count: len(cases.current_case().readings) == wanted)  # type: ignore[misc]
            on = cases.current_case().readings[-1].conditions
            assert (on.key, on.plugged, on.lamp_w, list(on.out), on.asleep) == (asks["key"], asks["plug"] == "in", asks["lamp_w"], asks["out"], asks["asleep"])  # fmt: skip
        assert [title.partition(" ")[2] for title in titles] == ["what the case asks", "must be dead"]


def test_what_is_done_by_hand_has_a_card_and_its_reading_counts_under_it(van: Path, visit: Visit) -> None:
    """`next` asks for a lead beside a wire: the card asks for it first, hands it over with the reading, and the next card asks to take it away again."""
    cases.set_case(["key=off", "plug=out", "lamp=21W", "symptom=yes"])
    cases.read(["battery=12.62", "5+=dead", "5+=dead", "F9.load=12.60/12.44", "S12=12.59/12.39", "X3.10:S12=dead"])
    asks = case_data(cases.current_case())["next"]["asks"]
    assert asks["hand"] == "bridge:S12-X3.10:S12" and "a lead beside S12-X3.10:S12" in asks["hand_words"]
    with desk(van) as served:
        page = visit(served.address, NARROW, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        view(page, "Case")
        page.get_by_text("Readings: 5").wait_for(timeout=PATIENCE_S * 1000)
        page.get_by_role("button", name="Its card").click()
        assert asks["hand_words"] in page.locator(".todo li").all_inner_texts()
        for _ in range(2):
            prepare(page)
        assert page.locator(".figure").inner_text() == asks["words"]
        read(page, "12.55", "12.3")
        until(lambda: len(cases.current_case().readings) == 6)
        got = cases.current_case().readings[-1]
        assert (got.name, got.conditions.hand, got.conditions.lamp_w) == ("ALM.5:+", asks["hand"], 21.0)
        card(page, "5 unplugged", "3+")
        assert page.locator(".todo li").all_inner_texts() == ["As it was, nothing by hand"]
        prepare(page)
        read(page, "12.61", "12.39")
        until(lambda: len(cases.current_case().readings) == 7)
        assert cases.current_case().readings[-1].conditions.hand == ""


def test_a_point_that_is_on_no_card_of_the_sheet_gets_one_too(van: Path, visit: Visit) -> None:
    """Beside the way that failed, and at another place: a coil by meter alone."""
    cases.set_case(["key=run", "plug=out", "lamp=21W", "symptom=yes"])
    cases.read(["battery=12.4", "6+=dead", "6+=dead"])
    for _ in range(6):  # until a point is asked for under conditions that no card of the sheet has
        found = case_data(cases.current_case())["next"]["asks"]
        if found["name"] in cases.current_case().plan["points"] and found["lamp_w"] is None:
            break
        volts = "12.3/12.1" if found["lamp_w"] else "12.3"
        cases.set_case([f"key={found['key']}", "lamp=none" if found["lamp_w"] is None else f"lamp={found['lamp_w']:g}W", *([f"hand={found['hand']}"] if found["hand"] else ["hand=none"])])  # fmt: skip
        cases.read(["battery=12.4", f"{found['short']}={volts}"])
    assert found["lamp_w"] is None and found["name"] in cases.current_case().plan["points"]
    before = len(cases.current_case().readings)
    with desk(van) as served:
        page = visit(served.address, NARROW, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        view(page, "Case")
        page.get_by_text(f"Readings: {before}").wait_for(timeout=PATIENCE_S * 1000)
        page.get_by_role("button", name="Its card").click()
        for _ in range(2):
            prepare(page)
        read(page, "12.3")
        until(lambda: len(cases.current_case().readings) == before + 1)
        got = cases.current_case().readings[-1]
        assert (got.name, got.conditions.key, got.conditions.lamp_w) == (found["name"], found["key"], None)


def test_what_was_unfolded_stays_so_when_a_reading_comes_in(van: Path, visit: Visit) -> None:
    with desk(van) as served:
        page = visit(served.address, PHONE, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        section = page.locator("details", has_text="5 unplugged")
        section.locator("summary").click()
        before = section.element_handle()
        cases.set_case(["key=off", "plug=out", "lamp=21W", "symptom=yes"])
        cases.read(["battery=12.62", "3+=12.61/12.39"])
        until(lambda: not before.evaluate("one => one.isConnected"))  # drawn anew
        assert section.evaluate("one => one.open")
        assert not page.locator("details", has_text="8 all asleep").evaluate("one => one.open")


def test_what_may_still_be_wrong_stands_on_the_desk_as_at_the_terminal(van: Path, visit: Visit) -> None:
    cases.set_case(["key=off", "plug=out", "lamp=21W", "symptom=yes"])
    cases.read(["battery=12.62", "5+=dead"])
    cases.read(["5+=12.60/12.31"])
    cases.read(["5+=12.60/12.31"])
    case = cases.current_case()
    said = [(one.share, one.what) for one in possible(case, next_of(case))]
    assert said[0][1].startswith("ALM itself: ")
    with desk(van) as served:
        page = visit(served.address, NARROW, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        view(page, "Case")
        shown = page.locator("ul.points li")
        shown.first.wait_for(timeout=PATIENCE_S * 1000)
        assert [tuple(one.split("\n")[:2]) for one in shown.all_inner_texts()] == said
        assert page.get_by_role("heading", name=MAY_STILL_BE).count() == 1
        assert "! 5+ dead (3.1) is not weighed, since 4.1, 5.1 read otherwise" in page.locator(".todo").inner_text()


def _audit(page: Page, size: tuple[int, int]) -> None:
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found: Any = page.evaluate("axe.run(document, {resultTypes: ['violations']}).then((got) => got.violations.map((one) => [one.id, one.nodes.map((node) => node.target.join(' '))]))")  # fmt: skip
    assert found == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


def test_the_list_grows_while_it_is_typed_in(van: Path, visit: Visit) -> None:
    sheet = next(file for file in sorted((van / "sheets").glob("*.yaml")) if "-- ALM.3" in file.read_text("utf-8"))
    whole = sheet.read_text(encoding="utf-8")
    [run] = [line for line in whole.splitlines(keepends=True) if re.search(r"-- ALM\.3$", line.strip())]
    sheet.write_text(whole.replace(run, ""), encoding="utf-8")
    with desk(van) as served:
        page = visit(served.address, NARROW, offline=False)
        page.get_by_role("heading", name="Type in next").wait_for(timeout=PATIENCE_S * 1000)
        assert "NOT COMPLETE" in page.locator("#head").inner_text()
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        card(page, "5 unplugged", "5+")
        sheet.write_text(whole, encoding="utf-8")
        page.locator("#head", has_text="COMPLETE: 8 supplies, 3 grounds").or_(page.locator("#head", has_text="list complete")).first.wait_for(timeout=PATIENCE_S * 1000)  # fmt: skip
        page.locator("#head", has_text="list complete").wait_for(timeout=PATIENCE_S * 1000)
        assert page.locator("h2.code").inner_text().startswith("5+")  # whoever stands on a card stays on it
        sheet.write_text(whole + "\nruns: [", encoding="utf-8")
        page.get_by_text("The files cannot be used as they are").first.wait_for(timeout=PATIENCE_S * 1000)
        assert page.locator("#notice pre").count() >= 1


def test_readings_for_a_case_on_another_module_stay_in_the_page_and_it_says_why(van: Path, visit: Visit) -> None:
    cases.open_case(tracer.load(van), "BDM")
    with desk(van) as served:
        page = visit(served.address, PHONE, offline=False)
        page.get_by_role("button", name="Begin").wait_for(timeout=PATIENCE_S * 1000)
        card(page, "5 unplugged", "5+")
        prepare(page)
        read(page, "dead")
        page.get_by_text("1 reading not handed over.").wait_for(timeout=PATIENCE_S * 1000)
        assert "the case is on BDM" in page.locator("#notice").inner_text()
        assert cases.current_case().readings == ()
        cases.open_case(tracer.load(van), "ALM")  # now it goes where it belongs
        until(lambda: len(cases.current_case().readings) == 1)
        view(page, "Readings")
        page.get_by_text("1 in the case, 0 on the way").wait_for(timeout=PATIENCE_S * 1000)
        cases.open_case(tracer.load(van), "ALM")  # what went into one case is none of the next one's
        page.get_by_text("Nothing was read here yet").wait_for(timeout=PATIENCE_S * 1000)
