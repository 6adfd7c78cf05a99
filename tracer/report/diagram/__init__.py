"""One printable page of one module: from its sources down to its grounds, with every probe point of its list.

What is shown is picked in `plan.diagram`; `blocks` makes symbols with their texts, `ranks` and `layout` place them (dot orders and spaces them), `paper` puts them on pages,
`svg` and `typ` write them down.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tracer.plan.diagram import View
from tracer.report.diagram.back import back_of
from tracer.report.diagram.paper import PAPERS, Paper, pages_of
from tracer.report.diagram.shapes import DiagramPage
from tracer.report.diagram.svg import as_svg
from tracer.report.diagram.typ import as_typst
from tracer.report.plain_data import json_text
from tracer.report.typeset import pdf, pictures, template


def diagram_of(view: View, paper: Paper | None = None) -> list[DiagramPage]:
    """The pages of a module's diagram; `paper` says paper, engine and date.

    Raises
    ------
    NoEngine : the layout engine cannot be run
    """
    return pages_of(view, paper or Paper())


def files_of(pages: list[DiagramPage], form: str, back: Mapping[str, Any] | None = None) -> list[bytes]:
    """The pages as file contents: one PDF, or one SVG or PNG for each page; the `back` with the faces goes into a PDF only."""
    if form == "svg":
        return [as_svg(page).encode() for page in pages]
    source = as_typst(pages, pages[0].title)
    texts = [text.text for page in pages for text in page.texts()]
    if form == "png":
        return pictures(source, {}, texts, ppi=200)
    if back is None:
        return [pdf(source, {}, texts)]
    data = json_text(back)
    return [pdf(source + template("soft.typ", "faces.typ", "diagram_back.typ"), {"back": data}, [*texts, data])]


__all__ = ["PAPERS", "DiagramPage", "Paper", "as_svg", "as_typst", "back_of", "diagram_of", "files_of"]
