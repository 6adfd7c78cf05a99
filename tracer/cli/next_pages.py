"""Commands for whoever is typing: missing."""

from __future__ import annotations

import tracer
from tracer.cli.answer import answer
from tracer.cli.app import app
from tracer.cli.options import JsonOption, ModuleArgument


@app.command(epilog="Example: tracer -C circuits/unfinished missing LIFT")
def missing(module: ModuleArgument, json: JsonOption = False) -> None:
    """What to type in next for a module: each loose end of its list in one line, page by page, the page with the most first."""
    from tracer.report import missing as report

    answer(lambda tracing: tracer.missing(tracing, module), text=report.as_text, data=report.as_data, json=json)
