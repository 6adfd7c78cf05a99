"""One printable page of one module: from its sources down to its grounds, with every probe point of its list.

`view` picks what is shown, `blocks` makes symbols with their texts, `ranks` and `layout` place them (dot orders and spaces them), `paper` puts them on pages,
`svg` and `typ` write them down.
"""

from __future__ import annotations

from typing import Any

from tracer.report.diagram.paper import PAPERS, Sheet, pages_of
from tracer.report.diagram.shapes import Drawing
from tracer.report.diagram.svg import as_svg
from tracer.report.diagram.typ import as_typst
from tracer.report.diagram.view import view_of
from tracer.report.fonts import only_embedded
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

FORMATS = ("svg", "pdf", "png")


def diagram_of(
    tracing: Tracing, report: SupplyReport, *, key: str | None = None, sheet: Sheet | None = None
) -> list[Drawing]:
    """The pages of a module's diagram.

    Parameters
    ----------
    report : what `supplies_of` answers for the module
    key : a key state whose live, dead and depending lines are drawn differently; None draws all alike
    sheet : paper, engine and date

    Raises
    ------
    NoEngine : the layout engine cannot be run
    """
    return pages_of(view_of(tracing, report, key), sheet or Sheet())


def files_of(pages: list[Drawing], form: str) -> list[bytes]:
    """The pages as file contents: one PDF, or one SVG or PNG for each page."""
    if form == "svg":
        return [as_svg(page).encode() for page in pages]
    import typst

    source = as_typst(pages, pages[0].title).encode()
    embedded = only_embedded(text.text for page in pages for text in page.texts())
    if form == "pdf":
        return [typst.compile(source, format="pdf", ignore_system_fonts=embedded)]
    # One page comes as bytes, several as a list; the library's annotations know the first only.
    made: Any = typst.compile(source, format="png", ppi=200, ignore_system_fonts=embedded)
    return [made] if isinstance(made, bytes) else list(made)


__all__ = ["FORMATS", "PAPERS", "Drawing", "Sheet", "as_svg", "as_typst", "diagram_of", "files_of"]
