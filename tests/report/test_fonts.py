"""Room for text against the typesetter's own measure of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typst

import tracer
from tests.report.overlaps import overlapping
from tracer.plan.diagram import view_of
from tracer.report.diagram import DiagramPage, Paper, diagram_of
from tracer.report.fonts import SERIF, svg_width, text_width

ROOT = Path(__file__).resolve().parents[2]

MEASURE = """
#let texts = json(bytes(sys.inputs.texts))
#set text(font: "FACE", fallback: true, hyphenate: false)
#context [#metadata(texts.map(((words, size, weight)) => measure(text(size: size * 1pt, weight: weight, words)).width.pt())) <widths>]
""".replace("FACE", SERIF)


def widths_in_pdf(texts: list[tuple[str, float, str]]) -> list[float]:
    """The width of each text as the typesetter sets it."""
    found = typst.query(MEASURE.encode(), "<widths>", sys_inputs={"texts": json.dumps(texts)}, ignore_system_fonts=True)
    return [float(width) for width in json.loads(found)[0]["value"]]


@pytest.fixture(scope="module")
def pages() -> list[DiagramPage]:
    made = []
    for vehicle, module in (("minibus", "ALM"), ("minibus", "INS"), ("unfinished", "LIFT")):
        tracing = tracer.Tracing(tracer.load(ROOT / "circuits" / vehicle))
        made += diagram_of(view_of(tracing, tracer.supplies(tracing, module), "run"), Paper(date="2026-01-31"))
    return made


def test_every_text_of_a_diagram_fits_the_room_that_is_kept_for_it(pages: list[DiagramPage]) -> None:
    """Kerning can only draw letters together by so much; a hundredth is for rounding."""
    texts = [text for page in pages for text in page.texts()]
    set_as = [(text.text, text.size, "bold" if text.bold else "regular") for text in texts]
    assert len(texts) > 500
    for text, wide in zip(texts, widths_in_pdf(set_as), strict=True):
        assert wide <= text.width * 1.01, text
        assert svg_width(text.text, text.size, bold=text.bold) <= text.width * 1.0001, text


@pytest.mark.parametrize("bold", [False, True])
def test_single_letters_are_as_wide_as_the_typesetter_sets_them(bold: bool) -> None:
    letters = [chr(code) for code in range(33, 127)]
    for letter, wide in zip(
        letters, widths_in_pdf([(letter, 100.0, "bold" if bold else "regular") for letter in letters]), strict=True
    ):
        assert text_width(letter, 100.0, bold=bold) >= wide - 0.1, letter


def test_no_text_runs_over_the_edge_of_its_page_or_into_another(pages: list[DiagramPage]) -> None:
    for page in pages:
        texts = list(page.texts())
        for text in texts:
            assert text.box.x >= 0 and text.box.x + text.box.width <= page.width, text
        assert not overlapping(texts)
