"""What a thumb reaches and an eye reads on a small phone: keys without moving the page, readings beside no other text, typed text without hidden letters."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any
from unicodedata import category

import pytest
import segno
from playwright.sync_api import Page

from tests.case.making import ROOT
from tests.page.pages import NARROW, card, enter, handed, page_of, prepare, read, view
from tracer.entry.visible import visible
from tracer.page.open import Opened

Visit = Callable[..., Page]
LOW = (360, 640)


def in_reach(page: Page) -> None:
    """The figure, and every key below it, between the top of the screen and the views; each as large as a thumb wants it."""
    found: Any = page.evaluate("""() => {
      const box = (one) => { const { top, bottom, width, height } = one.getBoundingClientRect(); return { top, bottom, width, height }; };
      return { moved: scrollY, above: box(document.querySelector("#conditions")).bottom, below: box(document.querySelector("#tabs")).top,
        figure: box(document.querySelector(".figure")), keys: [...document.querySelectorAll(".pad button")].map(box) };
    }""")  # fmt: skip
    assert found["moved"] == 0 and len(found["keys"]) >= 14
    assert found["above"] <= found["figure"]["top"] and found["figure"]["bottom"] <= found["keys"][0]["top"]
    assert max(one["bottom"] for one in found["keys"]) <= found["below"]
    assert min(min(one["width"], one["height"]) for one in found["keys"]) >= 44


@pytest.mark.parametrize(
    ("step", "name"), [("5 unplugged", "3+"), ("5 unplugged", "1-"), ("6 each", "17-"), ("8 all asleep", "26")]
)
def test_figure_and_keys_are_seen_without_moving_the_page(step: str, name: str, demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file, LOW)
    view(page, "Pins")
    section = page.locator("details", has_text=step).first
    section.locator("summary").click()
    section.get_by_role("button", name=name).first.click()
    prepare(page)
    in_reach(page)


# What a thumb does on one card: all that is asked first, then, where a pin is read with the lamp, `dead`, so that what was kept stands above the keys as well.
ON_A_CARD = """(read) => {
  const one = (css) => document.querySelector(css), all = (css) => [...document.querySelectorAll(css)];
  const named = (words) => all("main button").find((key) => key.textContent === words);
  for (let asked = 0; one(".todo") && asked < 5; asked += 1) {
    const battery = one(".todo .field");
    if (battery) { battery.value = "12.62"; battery.dispatchEvent(new Event("input")); }
    (one(".todo .enter") || named("It is there") || one(".todo .main")).click();
  }
  if (read && named("dead")) { named("dead").click(); one(".enter").click(); }
  one("#said").textContent = ""; // gone with the next tap
  const keys = all(".pad button").map((key) => key.getBoundingClientRect());
  return { card: one(".card-head").textContent, keys: keys.length, kept: one(".last") !== null,
    over: Math.max(0, ...keys.map((key) => key.bottom - one("#tabs").getBoundingClientRect().top)), least: Math.min(44, ...keys.map((key) => Math.min(key.width, key.height))),
    wide: document.documentElement.scrollWidth - innerWidth };
}"""


@pytest.mark.parametrize(("vehicle", "module"), [("minibus", "ALM"), ("unfinished", "LIFT")])
@pytest.mark.parametrize("size", [NARROW, LOW])
def test_the_keys_of_every_card_are_above_the_views_on_the_smallest_phone(vehicle: str, module: str, size: tuple[int, int], visit: Visit, tmp_path: Path) -> None:  # fmt: skip
    file = tmp_path / "page.html"
    file.write_text(page_of(ROOT / "circuits" / vehicle, module), encoding="utf-8")
    page = visit(file, size)
    view(page, "Card")
    following = page.locator(".turn button", has_text="Next")
    found: list[Any] = []
    while True:
        found.append(page.evaluate(ON_A_CARD, False))
        if following.is_disabled():
            break
        following.evaluate("key => key.click()")
    for name in {"minibus": ("2+", "3+"), "unfinished": ("1+",)}[vehicle]:  # with what was kept above the keys
        card(page, "5 unplugged", name)
        found.append(page.evaluate(ON_A_CARD, True))
        assert found[-1]["kept"]
    assert sum(one["keys"] >= 14 for one in found) > 20
    assert [one for one in found if one["over"] > 0.5 or one["least"] < 43.9 or one["wide"] > 0] == []


def test_what_was_read_stands_above_the_keys_in_one_line(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file, LOW)
    card(page, "5 unplugged", "3+")
    assert "slide the plug lock back" in page.locator(".todo, .place").all_inner_texts()[0]  # how to get there, first
    prepare(page)
    read(page, "12.6", "12.1")
    assert page.locator(".last").inner_text() == "kept: 12.6 / 12.1 beyond the figure, once more"
    in_reach(page)
    page.get_by_role("button", name="was mistyped").click()
    assert page.locator(".key.enter").inner_text() == "Mend"
    in_reach(page)


def test_a_reading_on_the_diagram_covers_no_text(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    for name, values in (("5+", ["dead"]), ("3+", ["12.6", "12.4"]), ("1-", ["0", "0.01"])):
        card(page, "5 unplugged", name)
        prepare(page)
        read(page, *values)
    enter(page)  # the lamp at a ground is asked for once
    view(page, "Diagram")
    page.locator(".read-at").nth(2).wait_for(state="attached")
    touched: Any = page.evaluate("""() => [...document.querySelectorAll(".read-frame")].map((frame) => {
      const own = frame.getBBox();
      return [...frame.closest("svg").querySelectorAll("text:not(.read-at)")].filter((text) => {
        const it = text.getBBox();
        return own.x < it.x + it.width && it.x < own.x + own.width && own.y < it.y + it.height && it.y < own.y + own.height;
      }).map((text) => text.textContent);
    })""")
    assert touched == [[], [], []]


def test_the_page_makes_visible_what_the_files_make_visible(demo_file: Path, visit: Visit) -> None:
    """Every letter that Unicode knows here, one a line of its own: as `visible` has it."""
    script = resources.files("tracer.page").joinpath("files", "words.js").read_text(encoding="utf-8")
    known = [chr(n) for n in range(sys.maxunicode + 1) if category(chr(n)) not in ("Cn", "Co", "Cs")]
    shown: list[str] = visit(demo_file).evaluate(f"(letters) => {{ {script}\nreturn letters.map(visible); }}", known)
    assert [pair for pair in zip(known, shown, strict=True) if pair[1] != visible(pair[0])] == []


def test_what_turns_the_line_around_is_seen_in_a_note_and_a_reason(demo_file: Path, visit: Visit) -> None:
    page = visit(demo_file)
    card(page, "5 unplugged", "2+")
    prepare(page)
    page.get_by_role("button", name="not reached").click()
    page.locator("#reason").fill("rust \u202eand mud")
    page.get_by_role("button", name="Keep", exact=True).click()
    view(page, "Readings")
    page.get_by_text("Note something").click()
    page.get_by_label("What", exact=True).select_option("repair")
    page.get_by_label("Where and what").fill("X3")
    page.get_by_label("Why").fill("cavity\u2066 10")
    page.get_by_role("button", name="Keep", exact=True).click()
    assert "cavity<U+2066> 10" in page.locator(".read-list").inner_text()
    assert "rust <U+202E>and mud" in page.locator(".read-list").inner_text()
    text = handed(page)
    assert "# rust <U+202E>and mud" in text and text == "\n".join(map(visible, text.split("\n")))


@pytest.mark.parametrize(("columns", "wide"), [(80, 41), (40, 39), (36, 0)])
def test_the_code_of_the_address_is_no_wider_than_the_terminal(columns: int, wide: int) -> None:
    out = io.StringIO()
    Opened("http://192.168.178.123:8737/key/" + "A" * 22, True).qr(out, columns)
    lines = out.getvalue().splitlines()
    assert all(line.startswith("\x1b[97;40m") and line.endswith("\x1b[0m") for line in lines)
    assert {len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in lines} == ({wide} if wide else set())


def test_the_code_in_the_terminal_is_the_address_white_around_black() -> None:
    """Drawn out as a terminal does, half a line a module: the very modules of the code, dark ones black, with the white around them that a phone wants."""
    address = "http://192.168.178.123:8737/key/" + "A" * 22
    out = io.StringIO()
    Opened(address, True).qr(out, 80)
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    drawn: list[list[int]] = []
    for line in out.getvalue().splitlines():
        plain = line.removeprefix("\x1b[97;40m").removesuffix("\x1b[0m")
        drawn += [[halves[letter][half] for letter in plain] for half in (0, 1)]
    code = segno.make(address, error="l")
    wanted = [[0 if dark else 1 for dark in row] for row in code.matrix_iter(border=4)]
    assert drawn[: len(wanted)] == wanted
