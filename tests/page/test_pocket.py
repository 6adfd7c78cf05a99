"""The file for the pocket in a real browser without a network: a case played through taps, kept, handed over; on every size, by everyone."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdf
import pytest
from playwright.sync_api import Page, expect

import tracer
from tests.case.making import ROOT, demo, demo_plan, in_memory, reading
from tests.page.pages import AXE, DESK, NARROW, PHONE, card, enter, handed, page_of, prepare, press, read, view
from tests.typed import write
from tracer.case import calls as cases
from tracer.case.judged import Says, judged
from tracer.case.readings import Conditions
from tracer.diagnose.calls import proof
from tracer.page.calls import page_content

Visit = Callable[..., Page]


@pytest.fixture
def open_case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRACER_STATE", str(tmp_path / "state"))
    cases.open_case(demo(), "ALM", None, {"complaint": "c", "by": "k"})


def split(page: Page, name: str) -> None:
    page.get_by_role("button", name=f"read {name}", exact=True).click()


@pytest.mark.usefixtures("open_case")
def test_the_demo_case_played_through_taps_finds_what_the_typed_one_finds(demo_file: Path, visit: Visit, tmp_path: Path) -> None:  # fmt: skip
    page = visit(demo_file)
    card(page, "1 base", "Battery, lamp")
    page.get_by_role("button", name="The fault is there now").click()
    card(page, "5 unplugged", "3+")
    prepare(page, "12.62")
    read(page, "12.61", "12.39")
    assert page.locator("h2.code").inner_text().startswith("4+")  # within the figure: the next card
    assert "3+ kept: 12.61 / 12.39. moved by 0.22 V" in page.locator("#said").inner_text()
    card(page, "5 unplugged", "5+")
    prepare(page)
    for _ in range(2):
        read(page, "dead")
        assert page.locator("h2.code").inner_text().startswith("5+")
    split(page, "F9.load")
    read(page, "12.60", "12.44")
    page.get_by_role("button", name="Back to the pin").click()
    split(page, "X3.10:S12")
    read(page, "dead")
    text = handed(page)
    taken = cases.read_handed(text)
    assert taken.complete and len(taken.recorded) == 5, taken
    _, verdict = proof()
    assert (verdict.kind, verdict.found_at) == ("found", "5+")
    again = cases.read_handed(text)
    assert len(again.there) == 5 and not again.recorded

    cases.open_case(demo(), "ALM", tmp_path / "typed.case")
    cases.set_case(["key=off", "plug=out", "lamp=21W", "other=-", "symptom=yes"])
    for words in (["battery=12.62", "3+=12.61/12.39"], ["5+=dead"], ["5+=dead"], ["F9.load=12.60/12.44"], ["X3.10:S12=dead"]):  # fmt: skip
        cases.read(words)
    assert proof()[1].pieces == verdict.pieces

    page.reload()  # everything is still there, on the same card
    assert handed(page) == text
    view(page, "Card")
    assert page.locator("h2.code").inner_text().startswith("5+")
    assert page.locator(".kept").count() == 2


@pytest.mark.parametrize("beyond_v", [(0.0, 0.0), (0.0, 0.02), (0.0, 0.05), (0.05, 0.0), (0.08, 0.0)])
def test_the_hint_is_beyond_where_the_case_says_so(beyond_v: tuple[float, float], demo_file: Path, visit: Visit) -> None:  # fmt: skip
    """By the last digits of a meter, and by the battery that was read before: two hundredths off the post are no bad joint."""
    lost, moved = beyond_v
    on = Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.62)
    page = visit(demo_file)
    for name in ("3+", "5+"):
        row = demo_plan()["rows"][f"ALM.{name[:-1]}:+"]
        test = row["tests"][0]
        alone = round(12.62 - test["bare_most_v"] - lost - 0.005, 2)
        lit = round(alone - test["most_v"] - moved + 0.005, 2)
        says = judged(in_memory(demo_plan(), ()), f"ALM.{name[:-1]}:+", reading(f"ALM.{name[:-1]}:+", (alone, lit), on)).says  # fmt: skip
        card(page, "5 unplugged", name)
        prepare(page)
        read(page, f"{alone:.2f}", f"{lit:.2f}")
        stays = page.locator("h2.code").inner_text().startswith(name)  # to be read once more
        assert stays == (says is not Says.PASSES), (name, alone, lit, says)
        assert stays == bool(page.locator(".last strong").count())


@pytest.mark.usefixtures("open_case")
def test_what_is_asked_beside_the_pins_is_tapped_in_and_taken(demo_file: Path, visit: Visit) -> None:
    """An output for sensors, a line of a bus, the time after the key, what must work first: none of it is for paper only."""
    page = visit(demo_file)
    card(page, "1 base", "Battery, lamp")
    page.get_by_role("button", name="KAL works", exact=True).click()
    page.get_by_role("button", name="KLE does not work", exact=True).click()
    page.get_by_role("button", name="leads together").click()
    card(page, "2 plugged in", "19")
    prepare(page, "13.10")
    if page.locator(".todo").count():
        prepare(page, "13.10")
    read(page, "4.2")
    assert "not in order" in page.locator(".kept.beyond").inner_text()
    card(page, "4 key off", "2+")
    prepare(page)
    page.get_by_role("button", name="gone now").click()
    assert 0 <= int(page.locator("#field-0").input_value()) < 60
    enter(page)
    card(page, "4 key off", "9+")
    press(page, "600")
    page.get_by_role("button", name="still live then").click()
    enter(page)
    card(page, "8 all asleep", "26 to ground")
    prepare(page)
    prepare(page)
    read(page, "open")
    text = handed(page)
    taken = cases.read_handed(text)
    assert taken.complete, taken.refused
    said = {taken.case.short(one.name): one.values[0].text for one in taken.readings}
    assert (said["ALM.19"], said["9+:gone"], said["drive:L:ground"]) == ("4.2", "gt600", "OL") and "2+:gone" in said
    _, verdict = proof()
    assert {one.short for one in verdict.beside if one.state == "not in order"} == {"ALM.19", "9+:gone"}
    assert "must work first and does not: KLE" in verdict.open
    page.reload()
    card(page, "4 key off", "✓ 9+")
    assert "more than 600" in page.locator(".kept").inner_text()


def test_every_tap_is_kept_before_anything_else(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    card(page, "5 unplugged", "3+")
    prepare(page)
    press(page, "12.5")
    page.reload()  # in the middle of typing
    view(page, "Card")
    assert page.locator("#field-0").input_value() == "12.5"
    press(page, "8")
    enter(page)
    press(page, "12")
    enter(page)
    assert ": ALM.3:+=12.58/12" in handed(page)


def test_a_slip_is_mended_under_the_same_conditions(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    card(page, "5 unplugged", "3+")
    prepare(page)
    read(page, "1.25", "12.3")
    page.get_by_role("button", name="1.25/12.3 was mistyped").click()
    assert page.locator("#field-0").input_value() == "1.25"
    page.locator("#field-0").fill("12.5")
    enter(page)
    first, second = handed(page).splitlines()[1:3]
    assert f"instead-of={first.split(' ')[0]} " in second and second.endswith(": ALM.3:+=12.5/12.3")


def test_conditions_that_a_card_wants_come_first_and_the_battery_after_each_turn_of_the_key(demo_file: Path, visit: Visit) -> None:  # fmt: skip
    page = visit(demo_file)
    card(page, "5 unplugged", "6+")
    assert page.locator(".keys").count() == 0  # nothing can be typed under conditions that are not those of the card
    assert page.locator(".todo li").all_inner_texts() == ["Key to run", "Unplug ALM", "Lamp 21 W"]
    assert page.locator("#conditions").get_by_role("button", name="fault ?").count() == 1
    prepare(page)
    assert page.locator("#conditions .chip").all_inner_texts()[:4] == ["key run", "unplugged", "lamp 21 W", "lead at −"]
    read(page, "12.58", "12.5")
    page.locator("#conditions").get_by_role("button", name="key run").click()
    page.locator("#conditions .choosing").get_by_role("button", name="off").click()
    card(page, "5 unplugged", "3+")
    assert "The key was turned since the battery was read" in page.locator("main").inner_text()


def test_at_a_ground_the_lamp_is_asked_for_before_the_values_are_kept(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    card(page, "5 unplugged", "1-")
    prepare(page)
    read(page, "0", "0.01")
    assert "Is the lamp lit?" in page.locator(".wrong").inner_text()
    page.get_by_role("button", name="the lamp is lit").click()
    enter(page)
    assert handed(page).splitlines()[1].endswith(": ALM.1:-=0/0.01/lit")
    card(page, "5 unplugged", "17-")
    read(page, "0", "0.01")
    enter(page)  # asked once, and left as it is
    assert handed(page).splitlines()[2].endswith(": ALM.17:-=0/0.01")
    card(page, "5 unplugged", "3+")
    read(page, "12.6", "12.4")  # the volts show it
    assert handed(page).splitlines()[3].endswith(": ALM.3:+=12.6/12.4")


def test_not_reached_wants_a_reason(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    card(page, "5 unplugged", "2+")
    prepare(page)
    page.get_by_role("button", name="not reached").click()
    page.locator("#reason").fill("rust # and\tmud")
    page.get_by_role("button", name="Keep", exact=True).click()
    assert handed(page).splitlines()[1].endswith(": ALM.2:+=not-reached # rust and mud")


@pytest.mark.usefixtures("open_case")
def test_what_is_noted_beside_readings_comes_into_the_case(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    card(page, "5 unplugged", "3+")
    prepare(page)
    page.locator(".contact").get_by_role("button", name="loose").click()
    view(page, "Readings")
    page.get_by_text("Note something").click()
    page.get_by_label("What", exact=True).select_option("repair")
    page.get_by_label("Where and what").fill("X3")
    page.get_by_label("Why").fill("cavity 10 # contact renewed")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_label("What", exact=True).select_option("tick")
    page.get_by_label("Where and what").fill("coding")
    page.get_by_role("button", name="Keep", exact=True).click()
    assert "Write it as in: coding=HOW" in page.locator(".wrong").inner_text()
    page.get_by_label("Where and what").fill("coding=compared")
    page.get_by_role("button", name="Keep", exact=True).click()
    taken = cases.read_handed(handed(page))
    assert taken.complete, taken.refused
    assert [(one.kind, dict(one.words), one.why) for one in taken.notes] == [("fit", {"ALM.3:+": "loose"}, ""), ("repair", {"X3": ""}, "cavity 10 contact renewed"), ("tick", {"coding": "compared"}, "")]  # fmt: skip


def test_where_the_phone_keeps_nothing_the_page_says_so_first_and_the_text_stays_in_view(demo_file: Path, visit: Visit) -> None:  # fmt: skip
    refuse = "Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('no', 'SecurityError'); }})"
    page = visit(demo_file, script=refuse)
    assert "This phone keeps nothing for this file" in page.locator("#notice").inner_text()
    card(page, "5 unplugged", "3+")
    prepare(page)
    read(page, "12.61", "12.39")
    assert page.locator("h2.code").inner_text().startswith("4+")
    assert "ALM.3:+=12.61/12.39" in page.locator("#keep textarea").input_value()


def test_a_full_memory_is_seen_at_the_reading_that_does_not_fit(demo_file: Path, visit: Visit) -> None:
    full = "const put = Storage.prototype.setItem; Storage.prototype.setItem = function (name, value) { if (name.includes('/read/')) throw new DOMException('full', 'QuotaExceededError'); put.call(this, name, value); }"  # fmt: skip
    page = visit(demo_file, script=full)
    assert page.locator("#notice").inner_text() == ""
    card(page, "5 unplugged", "3+")
    prepare(page)
    read(page, "12.61", "12.39")
    assert "keeps nothing" in page.locator("#notice").inner_text()
    assert "ALM.3:+=12.61/12.39" in page.locator("#keep textarea").input_value()


def test_the_decimal_comma(visit: Visit, tmp_path: Path) -> None:
    file = tmp_path / "comma.html"
    file.write_text(page_of(ROOT / "circuits" / "minibus", "ALM", ","), encoding="utf-8")
    page = visit(file)
    card(page, "5 unplugged", "3+")
    assert "0,33 V" in page.locator(".figure").inner_text()
    prepare(page, "12,62")
    read(page, "12,61", "12,39")
    assert "moved by 0,22 V" in page.locator("#said").inner_text()
    assert re.search(r"battery=12\.62 read=\d+s : ALM\.3:\+=12\.61/12\.39$", handed(page).splitlines()[1])


def test_the_panel_shows_what_belongs_and_what_is_seen(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    view(page, "Panels")
    labels = page.locator("#panel-FPC .cell .label").all_inner_texts()
    assert labels[:3] == ["F1", "F2", "F3"] and len(labels) == 33
    assert page.locator("#panel-FPC .cell.own .label").all_inner_texts() == ["F1", "F2", "F4", "F7", "F9", "F16", "F18", "F19", "F20", "F22", "F24", "KSC"]  # fmt: skip
    page.get_by_role("button", name=re.compile("^F7 .*fuse 10 A")).click()
    told = page.locator(".detail").inner_text()
    assert "ALM" in told and "Without it" in told and "ALM (Air levelling module) 3: supply lost" in told
    page.locator(".detail").get_by_role("button", name="30 A", exact=True).click()
    assert "RATING TOO LARGE: 30 A where 10 A belongs" in page.locator(".detail").inner_text()
    assert "1 position differs: F7" in page.locator("#panel-FPC").inner_text()
    card(page, "0 look", "FPE")
    page.get_by_role("button", name="F50 is not as it should be").click()
    expect(page.get_by_role("button", name=re.compile("^F50 "))).to_be_in_viewport()
    assert handed(page).splitlines()[1].endswith(": look F7=30")


def test_the_diagram_answers_a_tap(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    view(page, "Diagram")
    tap(page, "node-ALM.2")
    assert page.locator(".told").inner_text().endswith("on the way of 2+")
    lit = set(page.locator(".sheet g.lit").evaluate_all("all => all.map((one) => one.id)"))
    assert {"element-F50.feed-load", "element-KAL.30-87", "element-F52.feed-load", "node-STE"} <= lit
    assert not any("F9" in name or "STC" in name for name in lit)
    points = page.locator(".points strong").all_inner_texts()
    assert (points[0], points[-1]) == ("ALM.2", "BAT.+")
    page.get_by_role("button", name="fails the part").click()
    tap(page, "element-F52.feed-load")
    assert "2 pins of 2 modules without supply or ground" in page.locator(".told").inner_text()
    assert page.locator(".sheet .cross").count() == 1 and page.locator(".sheet .failed-part").count() == 1


def test_levels_are_drawn_as_on_paper(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    view(page, "Diagram")
    page.get_by_role("button", name="acc", exact=True).click()
    shown = page.locator(".sheet g[id]").evaluate_all("all => Object.fromEntries(all.map((one) => [one.id, [...one.children].filter((child) => child.tagName !== 'title').map((child) => [child.tagName, child.getAttribute('stroke-width'), child.getAttribute('stroke-dasharray')])]))")  # fmt: skip
    paper = tracer.diagram(demo(), "ALM", "svg", key="acc").files[0].decode()
    for name, body in re.findall(r'<g id="([^"]*)"[^>]*>(.*?)</g>', paper, re.DOTALL):
        if name != "title-block":
            drawn = re.findall(r"<(rect|polyline|text|circle|polygon)\b([^>]*)>", body)
            assert shown[name] == [[tag, _attribute(rest, "stroke-width"), _attribute(rest, "stroke-dasharray")] for tag, rest in drawn], name  # fmt: skip


def _attribute(text: str, name: str) -> str | None:
    found = re.search(rf'\b{name}="([^"]*)"', text)
    return found[1] if found else None


def tap(page: Page, group: str) -> None:
    """A thumb on the middle of what is drawn."""
    box = page.locator(f'.sheet g[id="{group}"]').bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def test_two_fingers_and_keys_move_the_diagram(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    view(page, "Diagram")
    width = "document.querySelector('.sheet svg').viewBox.baseVal.width"
    whole = page.evaluate(width)
    page.locator(".sheet").focus()
    for _ in range(5):
        page.keyboard.press("+")
    assert page.evaluate(width) < 0.5 * whole
    session = page.context.new_cdp_session(page)
    box = page.locator(".sheet").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for kind, apart in (("touchStart", 80.0), ("touchMove", 60.0), ("touchMove", 30.0), ("touchEnd", 0.0)):
        points = [{"x": x - apart, "y": y, "id": 0}, {"x": x + apart, "y": y, "id": 1}] if apart else []
        before = page.evaluate(width)
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert before > page.evaluate(width) or page.evaluate(width) > 0.5 * whole


@pytest.mark.parametrize(("size", "dark"), [(PHONE, False), (NARROW, True), (DESK, False)])
def test_everyone_can_use_every_view(demo_file: Path, visit: Visit, size: tuple[int, int], dark: bool) -> None:
    """The automatic audit finds nothing, and nothing is wider than the screen."""
    page = visit(demo_file, size, dark=dark)
    page.evaluate(AXE.read_text(encoding="utf-8"))

    def audit(where: str) -> None:
        found: Any = page.evaluate("axe.run(document, {resultTypes: ['violations']}).then((got) => got.violations.map((one) => [one.id, one.nodes.map((node) => node.target.join(' ') + ' ' + node.failureSummary)]))")  # fmt: skip
        assert found == [], where
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], where

    audit("Pins")
    card(page, "5 unplugged", "5+")
    audit("what a card wants first")
    prepare(page)
    read(page, "12.6", "10.2")
    audit("a card that fails")
    page.get_by_role("button", name="not reached").click()
    audit("not reached")
    view(page, "Panels")
    page.locator(".cell").first.click()
    audit("Panels")
    view(page, "Diagram")
    page.get_by_role("button", name="run", exact=True).click()
    audit("Diagram")
    view(page, "Readings")
    page.get_by_text("Note something").click()
    audit("Readings")


def test_all_can_be_done_by_keyboard(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file, DESK)
    card(page, "5 unplugged", "3+")
    page.locator(".todo .main").focus()
    page.keyboard.press("Enter")
    page.locator("#field-0").focus()
    page.keyboard.type("12,62")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="It is there").focus()
    page.keyboard.press("Enter")
    page.locator("#field-0").focus()
    page.keyboard.type("12.61")
    page.keyboard.press("Enter")  # on to the second field
    page.keyboard.type("12.39")
    page.keyboard.press("Enter")
    assert page.locator("h2.code").inner_text().startswith("4+")
    assert page.locator("#said").get_attribute("role") == "status"


def test_not_complete_stands_on_every_view(visit: Visit, tmp_path: Path) -> None:
    file = tmp_path / "lift.html"
    file.write_text(page_of(ROOT / "circuits" / "unfinished", "LIFT"), encoding="utf-8")
    page = visit(file, NARROW)
    for name in ("Pins", "Card", "Panels", "Diagram", "Readings"):
        view(page, name)
        page.evaluate("window.scrollTo(0, 99999)")
        head = page.locator("#head")
        assert "NOT COMPLETE: 11 loose ends" in head.inner_text()
        box = head.bounding_box()
        assert box is not None and box["y"] == 0
    view(page, "Pins")
    assert "FIND THESE FIRST" in page.locator("main").inner_text()


LOOSE_ELSEWHERE = """\
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  G1: {is: ground, on: body}
  M: {is: module, cavities: 1-2}
  N: {is: module, cavities: 1-2}
runs:
  - BAT.+ -- RD 2.5 -- F1 -- RD 1 -- M.1
  - M.2 -- BN 2.5 -- G1
  - N.1 -- BN 2.5 -- G1
"""


def test_what_is_loose_elsewhere_stands_in_the_first_line_of_every_view(visit: Visit, tmp_path: Path) -> None:
    folder = write(tmp_path / "v", LOOSE_ELSEWHERE)
    assert tracer.supplies(tracer.load(folder), "M").completeness.elsewhere
    file = tmp_path / "m.html"
    file.write_text(page_of(folder, "M"), encoding="utf-8")
    page = visit(file, NARROW)
    for name in ("Pins", "Card", "Diagram"):
        view(page, name)
        assert re.search(r"loose ends? elsewhere in the vehicle", page.locator("#head").inner_text())


NASTY = """\
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10, name: "</script><script>document.title='owned'</script>", at: "<img src=x onerror=alert(1)>"}
  G1: {is: ground, on: body, at: "&lt;b&gt; \\u202Eright to left"}
  M: {is: module, name: "<b>bold</b> \\u05D0\\u05D1\\u05D2", at: "%s", cavities: 1-3, unused: [3], note: "<svg onload=alert(1)>"}
runs:
  - BAT.+ -- RD 2.5 -- F1 -- RD 1 -- M.1
  - M.2 -- BN 2.5 -- G1
""" % ("long" * 60)  # fmt: skip


def test_names_and_notes_are_shown_as_typed_whatever_they_hold(visit: Visit, tmp_path: Path) -> None:
    folder = write(tmp_path / "v", NASTY)
    file = tmp_path / "nasty.html"
    file.write_text(page_of(folder, "M"), encoding="utf-8")
    page = visit(file, NARROW)
    assert "<b>bold</b> \u05d0\u05d1\u05d2" in page.locator("h1").inner_text()
    for name in ("Pins", "Card", "Diagram", "Readings"):
        view(page, name)
        assert page.locator("img, main b, main script, main svg[onload]").count() == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= NARROW[0]
    assert page.title() != "owned"
    card(page, "0 look", "Fuses outside the panels")
    assert "<img src=x onerror=alert(1)>" in page.locator(".looks small").inner_text()


HAZARD = """\
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  G1: {is: ground, on: body}
  RCM: {is: module, hazard: restraint, cavities: 1-2}
runs:
  - BAT.+ -- RD 2.5 -- F1 -- RD 1 -- RCM.1
  - RCM.2 -- BN 2.5 -- G1
"""


def test_a_pin_that_nobody_may_probe_has_a_caution_and_no_field(visit: Visit, tmp_path: Path) -> None:
    folder = write(tmp_path / "v", HAZARD)
    _, content = page_content(tracer.load(folder), "RCM")
    assert [card["kind"] for card in content["cards"] if card["step"] > 1] and all(card["kind"] in ("look", "base", "hazard") for card in content["cards"])  # fmt: skip
    file = tmp_path / "rcm.html"
    file.write_text(page_of(folder, "RCM"), encoding="utf-8")
    page = visit(file)
    assert "restraint" in page.locator(".opening").inner_text()
    card(page, "5", "1+")
    assert page.locator(".caution").count() == 1 and page.locator("input, .keys").count() == 0


def test_the_page_prints_black_on_white(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file, dark=True)
    view(page, "Diagram")
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert not page.locator("#tabs").is_visible() and page.locator(".sheet svg").is_visible()


def test_the_printed_diagram_is_whole_whatever_the_screen_shows_of_it(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file, DESK)
    view(page, "Diagram")
    page.get_by_role("button", name="acc", exact=True).click()
    page.locator(".sheet").focus()
    seen = "document.querySelector('.sheet svg').getAttribute('viewBox')"
    for _ in range(4):
        page.keyboard.press("+")
    zoomed = page.evaluate(seen)
    [paper] = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4"))).pages
    words = paper.extract_text()
    assert all(name in words for name in ("ML1", "F50", "ALM", "G11", "page 1 of 1", "depends, or not known"))
    assert "Print" not in words and "No key state is shown" not in words
    assert page.evaluate(seen) == zoomed


def test_every_view_prints_without_what_is_only_there_to_be_tapped(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    view(page, "Panels")
    page.get_by_role("button", name=re.compile("^F7 .*fuse 10 A")).click()
    page.locator(".detail").get_by_role("button", name="30 A", exact=True).click()
    for name in ("Pins", "Card", "Panels", "Diagram", "Readings"):
        view(page, name)
        page.emulate_media(media="print")
        shown = page.locator("button").evaluate_all("all => all.filter((one) => one.checkVisibility()).map((one) => [one.className, one.getAttribute('aria-pressed')])")  # fmt: skip
        assert {what for what, chosen in shown if chosen != "true"} <= {"pin", *(what for what, _ in shown if "cell" in what)}, name  # fmt: skip
        assert page.locator("main").inner_text().strip()
        page.emulate_media(media="screen")


def test_rows_wider_than_the_screen_are_marked_at_the_edge_that_more_lies_behind(demo_file: Path, visit: Visit) -> None:  # fmt: skip
    page = visit(demo_file, NARROW)
    view(page, "Panels")
    frame = page.locator("#panel-FPC .lid-frame")
    assert "swipe sideways" in page.locator("#panel-FPC").inner_text()
    expect(frame).to_have_class("lid-frame after")
    frame.locator(".lid").evaluate("lid => { lid.scrollLeft = lid.scrollWidth }")
    expect(frame).to_have_class("lid-frame before")
    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    expect(frame).to_have_class("lid-frame")
    assert "swipe sideways" not in page.locator("#panel-FPC").inner_text()


LOCKS = """
const asked = [];
Object.defineProperty(navigator, "wakeLock", {value: {async request(kind) { const lock = {kind, released: false, async release() { this.released = true; }}; asked.push(lock); return lock; }}});
Object.defineProperty(document, "visibilityState", {get: () => window.away ? "hidden" : "visible"});
window.turn = (away) => { window.away = away; document.dispatchEvent(new Event("visibilitychange")); };
window.locks = () => asked.map((one) => [one.kind, one.released]);
"""  # fmt: skip


def test_the_screen_is_kept_awake_while_the_page_is_in_view(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file, script=LOCKS)
    card(page, "5 unplugged", "3+")
    assert page.evaluate("locks()") == [["screen", False]]  # asked for once, however much is tapped
    page.evaluate("turn(true)")
    assert page.evaluate("locks()") == [["screen", True]]
    page.evaluate("turn(false)")
    view(page, "Diagram")
    assert page.evaluate("locks()") == [["screen", True], ["screen", False]]


def test_a_screen_that_may_not_be_kept_awake_is_asked_for_again_and_nothing_else_changes(demo_file: Path, visit: Visit) -> None:  # fmt: skip
    refused = "Object.defineProperty(navigator, 'wakeLock', {value: {async request() { window.asked = (window.asked || 0) + 1; throw new DOMException('low battery', 'NotAllowedError'); }}})"  # fmt: skip
    page = visit(demo_file, script=refused)
    before = page.evaluate("window.asked")
    card(page, "5 unplugged", "3+")
    assert before == 1 and page.evaluate("window.asked") > before
    assert page.locator("h2.code").inner_text().startswith("3+")
