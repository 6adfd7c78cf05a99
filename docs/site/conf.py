"""What Sphinx is told; `build.py` lays the pages together and calls it."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    from sphinx.application import Sphinx
    from sphinx.builders.html import StandaloneHTMLBuilder

project = "tracer"
copyright = ""
extensions = ["myst_parser"]
myst_heading_anchors = 3  # a link may name a heading, as where the pages are read without being built
templates_path = ["templates"]
html_theme = "basic"
html_static_path = ["static"]
html_copy_source = False
html_use_index = False
html_permalinks = False
# Examples are read as they are typed: no colours, and many are no whole file.
highlight_language = "none"
suppress_warnings = ["misc.highlighting_failure"]


def _without_search(app: Sphinx) -> None:
    """Leave the index for searching away: the pages run no script, and the browser searches a page."""
    cast("StandaloneHTMLBuilder", app.builder).search = False


def setup(app: Sphinx) -> None:
    """Called by Sphinx."""
    app.connect("builder-inited", _without_search)
