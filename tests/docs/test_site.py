"""The documentation as pages: built strictly, made parts whole, readable on a phone, nothing fetched; and every example of the typed pages runs."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator
from typer.main import get_command
from typer.testing import CliRunner

from docs.site import pages
from docs.site.shown import MORE, NOT_SHOWN, SHOWN
from tracer.cli import app
from tracer.entry.schema import sheet_schema, vehicle_schema
from tracer.standards.cautions import cautions
from tracer.trace.rules.registry import all_rules

ROOT = Path(__file__).resolve().parents[2]
TYPED = sorted(
    path for path in (ROOT / "docs").rglob("*.md") if path.parent.name != "adding"
)  # those have a test of their own
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$|((?:^    .*\n)+)", re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages, built as `make docs` does; a link that leads nowhere fails it."""
    folder = tmp_path_factory.mktemp("site")
    done = subprocess.run([sys.executable, str(ROOT / "docs" / "site" / "build.py"), str(folder)], capture_output=True, text=True, check=False)  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    return folder / "docs"


def _text(site: Path, name: str) -> str:
    return (site / name).read_text(encoding="utf-8")


class _Asks(HTMLParser):
    """What a page asks for by itself, and where its links lead."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.links: list[str] = []
        self.ids: set[str] = set()
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        self.tags.add(tag)
        self.ids |= {value for value in [said.get("id")] if value}
        self.fetched += [value for value in [said.get("src"), said.get("href") if tag == "link" else None] if value]
        self.links += [value for value in [said.get("href") if tag == "a" else None] if value]


def test_every_page_is_there_and_every_link_on_it_leads_somewhere(site: Path) -> None:
    read = {}
    for path in site.rglob("*.html"):
        read[path] = _Asks()
        read[path].feed(path.read_text(encoding="utf-8"))
    assert {path.relative_to(ROOT / "docs").with_suffix(".html") for path in (ROOT / "docs").rglob("*.md")} <= {
        path.relative_to(site) for path in read
    }
    assert not (site / "search.html").exists()
    for path, asks in read.items():
        assert "script" not in asks.tags
        assert asks.fetched and all((path.parent / fetched).is_file() for fetched in asks.fetched), path
        for link in asks.links:
            file, _, anchor = link.partition("#")
            if not link.startswith("https://"):
                target = (path.parent / file).resolve() if file else path
                assert target in read, (path, link)
                assert not anchor or anchor in read[target].ids, (path, link)
    style = _text(site, "_static/style.css")
    assert "url(" not in style and "@import" not in style


def test_made_pages_hold_all_that_they_are_made_of(site: Path) -> None:
    rules, constructs, said = (_text(site, f"{name}.html") for name in ("rules", "constructs", "cautions"))
    assert [one.code for one in all_rules() if f'id="{one.code.lower()}"' not in rules] == []
    assert len(all_rules()) > 60
    folders = [path.parent.name for path in pages.CONSTRUCTS.glob("*/vehicle.yaml")]
    assert len(folders) > 20
    assert [name for name in folders if f'id="{name.replace("_", "-")}"' not in constructs] == []
    assert constructs.count("$ tracer supplies M") == len(folders)
    assert [one.id for one in cautions() if _plain(one.text) not in _plain(re.sub("<[^>]*>", "", said))] == []
    for name, lines in SHOWN.items():
        shown = _text(site, f"commands/{name}.html")
        assert shown.count("$ tracer ") == len(lines) and "Usage: tracer" in shown
    assert "NOT COMPLETE: 11 loose ends" in _text(site, "commands/supplies.html")
    assert "exit status 3" in _text(site, "commands/missing.html")
    assert "Usage: tracer desk" in _text(site, "commands/desk.html")


def _plain(text: str) -> str:
    return re.sub(r"\W+", " ", text.replace("&quot;", "").replace("&amp;", ""))


def test_each_command_is_shown_or_said_not_to_be() -> None:
    known = set(get_command(app).commands)  # type: ignore[attr-defined]
    assert set(SHOWN) | NOT_SHOWN == known and set(MORE) <= known


def test_a_call_that_cannot_be_used_is_not_shown() -> None:
    with pages.beside_the_demo(), pytest.raises(RuntimeError, match="exit status 2"):
        pages.printed("-C circuits/minibus supplies NONE")


def test_every_page_can_be_read_on_a_phone_and_printed(site: Path, chromium: Any) -> None:
    page = chromium.new_context(viewport={"width": 320, "height": 640}, offline=True).new_page()
    for path in sorted(site.rglob("*.html")):
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") == 320, path
    page.emulate_media(media="print")
    assert not page.locator("nav.all").is_visible()
    assert page.locator("main").evaluate("box => getComputedStyle(box).color + getComputedStyle(document.body).backgroundColor") == "rgb(17, 17, 17)rgb(255, 255, 255)"  # fmt: skip


# --- examples of the typed pages -----------------------------------------------------------------------------------------


def _calls(path: Path) -> Iterator[str]:
    """The calls that stand in blocks of a page, without the words behind them. `desk` and `watch` go on until Ctrl-C."""
    for block in BLOCK.finditer(path.read_text(encoding="utf-8")):
        for line in (block[2] or block[3] or "").splitlines():
            call = re.split(r"\s{2,}|\s#", line.strip(), maxsplit=1)[0]
            if call.startswith("tracer ") and block[1] != "yaml" and not {"desk", "readings"} & set(call.split()):
                yield call


PAGES_WITH_CALLS = [path for path in TYPED if list(_calls(path))]


def test_most_pages_show_calls() -> None:
    assert len(PAGES_WITH_CALLS) > 10 and sum(len(list(_calls(path))) for path in PAGES_WITH_CALLS) > 50


@pytest.mark.parametrize("path", PAGES_WITH_CALLS, ids=lambda path: path.stem)
def test_each_call_that_a_page_shows_can_be_typed(path: Path) -> None:
    """On the demo, in the order of the page, with the files that the calls name beside it."""
    with pages.beside_the_demo() as folder:
        (folder / "cab.txt").write_text("12:15\n13:-\n14:blown\n", encoding="utf-8")
        handed = re.search(r"^tracer readings 1 .*?^end 1$", (ROOT / "docs" / "pocket.md").read_text("utf-8"), re.M | re.S)  # fmt: skip
        assert handed is not None
        (folder / "phone.txt").write_text(handed[0] + "\n", encoding="utf-8")
        assert (
            _run("-C", "circuits/minibus", "write-out", "-o", "wires.xlsx")[0] == 3
        )  # a list does not hold all that is typed
        assert _run("-C", "circuits/minibus", "case", "open", "ALM")[0] == 0
        for call in _calls(path):
            words = shlex.split(call)[1:]
            status, said = _run(*(words if "-C" in words else ["-C", "circuits/minibus", *words]))
            assert status in (0, 3), (call, said)


def _run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, [*words], catch_exceptions=False)
    return done.exit_code, done.output


SHEET, VEHICLE = Draft202012Validator(sheet_schema()), Draft202012Validator(vehicle_schema())
# How a block of a page that is no whole file is made one, by its first word.
WHOLE: dict[str, Callable[[Any], tuple[Draft202012Validator, Any]]] = {
    "vehicle": lambda block: (VEHICLE, block),
    "buses": lambda block: (VEHICLE, {"vehicle": "v", **block}),
    "limits": lambda block: (VEHICLE, {"vehicle": "v", **block}),
    "outputs": lambda block: (SHEET, {"sheet": "1", "parts": {"M": {"is": "module", **block}}}),
    "draws": lambda block: (SHEET, {"sheet": "1", "parts": {"M": {"is": "module", **block}}}),
    "FPC": lambda block: (SHEET, {"sheet": "1", "parts": block}),
}
# Read by other means, and held by the tests of those: part types, and the columns of a wire list.
ELSEWHERE = {"kinds", "columns"}


def _yaml_blocks() -> Iterator[tuple[Path, str]]:
    for path in TYPED:
        for block in BLOCK.finditer(path.read_text(encoding="utf-8")):
            if block[1] == "yaml" and "..." not in block[2]:  # three dots: a shape, no example
                yield path, block[2]


@pytest.mark.parametrize(
    ("path", "typed"), list(_yaml_blocks()), ids=lambda value: value.stem if isinstance(value, Path) else ""
)
def test_what_a_page_types_fits_the_schema(path: Path, typed: str) -> None:
    block = yaml.load(typed, Loader=yaml.BaseLoader)
    first = next(iter(block))
    if first not in ELSEWHERE:
        validator, whole = WHOLE[first](block)
        assert [error.message for error in validator.iter_errors(whole)] == []
