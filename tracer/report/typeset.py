"""Paper and pages: a template filled with data, by the typesetter or as HTML. No name from a vehicle is ever markup, since all words come as data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from typing import Any

from tracer.report.fonts import only_embedded

PAPERS = {"a4": "a4", "letter": "us-letter"}
CSS_PAPERS = {"a4": "A4", "letter": "letter"}


@cache
def template(*names: str) -> str:
    """A template that is packed with the program; of several one after the other."""
    folder = resources.files("tracer.report").joinpath("templates")
    return "".join(folder.joinpath(name).read_text(encoding="utf-8") for name in names)


def pdf(source: str, inputs: Mapping[str, str], texts: Iterable[str] | None = None) -> bytes:
    """A typst source, with what it takes in, as PDF. `texts` are all words that are set, where they are not in `inputs`."""
    import typst

    return typst.compile(source.encode(), format="pdf", ignore_system_fonts=_embedded(inputs, texts), sys_inputs=dict(inputs))  # fmt: skip


def pictures(
    source: str, inputs: Mapping[str, str], texts: Iterable[str] | None = None, *, ppi: int = 100
) -> list[bytes]:
    """The same as one PNG for each page."""
    import typst

    # One page comes as bytes, several as a list; the library's annotations know the first only.
    made: Any = typst.compile(source.encode(), format="png", ppi=ppi, ignore_system_fonts=_embedded(inputs, texts), sys_inputs=dict(inputs))  # fmt: skip
    return [made] if isinstance(made, bytes) else list(made)


def _embedded(inputs: Mapping[str, str], texts: Iterable[str] | None) -> bool:
    return only_embedded(inputs.values() if texts is None else texts)


def html(name: str, **values: object) -> str:
    """A template as one self-contained page that prints."""
    import jinja2

    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(template(name)).render(**values)


__all__ = ["CSS_PAPERS", "PAPERS", "html", "pdf", "pictures", "template"]
