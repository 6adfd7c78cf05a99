"""The page as one file: template, style, script and data, with a content-security policy that lets nothing else run and nothing be fetched."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib import resources
from typing import Any

SCRIPTS = ("basics.js", "store.js", "words.js", "pad.js", "cards.js", "list.js", "panels.js", "diagram.js", "readings.js", "case.js", "main.js")  # fmt: skip


def page_html(content: Mapping[str, Any] | None, *, live: bool = False) -> str:
    """The page with its content; `live`: of the desk, which asks its server for content and hands readings over by itself."""
    import jinja2

    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    # Style and script are the program's own; everything from a vehicle is data, written so that no tag can begin in it.
    return environment.from_string(_file("page.html")).render(
        title=f"{content['module']}, {content['vehicle']}" if content else "tracer",
        policy=policy(live=live), style=_style(), script=_script(), data=_data({"live": live, "page": content}),
    )  # fmt: skip


def policy(*, live: bool) -> str:
    """The content-security policy: this script and this style, by their hashes; requests to its own server where it is `live`."""
    connect = "; connect-src 'self'" if live else ""
    return (
        f"default-src 'none'; script-src '{_hash(_script())}'; style-src '{_hash(_style())}'; img-src data:{connect}; "
        "base-uri 'none'; form-action 'none'"
    )


@cache
def _file(name: str) -> str:
    return resources.files("tracer.page").joinpath("files", name).read_text(encoding="utf-8")


@cache
def _style() -> str:
    return _file("page.css")


@cache
def _script() -> str:
    return '"use strict";\n(() => {\n' + "\n".join(_file(name) for name in SCRIPTS) + "\n})();\n"


def _hash(text: str) -> str:
    return f"sha256-{b64encode(sha256(text.encode()).digest()).decode()}"


def _data(content: Mapping[str, Any]) -> str:
    """JSON in which no `<` stands, nor what a script may take for the end of a line."""
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    for letter in ("<", "\u2028", "\u2029"):
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


__all__ = ["page_html", "policy"]
