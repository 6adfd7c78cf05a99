"""`tracer watch`: a module's first look again on every save."""

from __future__ import annotations

import gc
import time
from pathlib import Path
from typing import Annotated

import typer

import tracer
from tracer.cli.answer import CANNOT_USE, COMPLETE, LOOSE_ENDS, WRONG_USAGE, page, show
from tracer.cli.app import app, chosen
from tracer.cli.options import ModuleArgument
from tracer.entry.problems import CannotAnswer, CannotUse
from tracer.standards.figures import decimal_mark

_LOOK_EVERY_S = 0.1
_NEW_SCREEN = "\x1b[H\x1b[2J"  # cursor home, clear: ECMA-48


class Watched:
    """One module over many saves: what is shown, and the exit status that the last answer deserves."""

    def __init__(self, folder: Path, module: str) -> None:
        self._folder, self._module = folder, module
        self.kept = tracer.Kept()
        self._last: tracer.SupplyReport | None = None
        self.status = COMPLETE

    def look(self) -> str:
        """The text for the folder as it is now."""
        from tracer.report import watch as report

        try:
            tracing = tracer.Tracing(tracer.load(self._folder, self.kept))
            found = tracer.supplies(tracing, self._module)
            glance = tracer.glance(tracing, found, computed=False)
            missing = tracer.missing(tracing, found.module)
        except CannotUse as error:
            self.status = CANNOT_USE
            return report.problems_text(error.problems, **page())
        except CannotAnswer as error:
            self.status = WRONG_USAGE
            return report.waiting_text(str(error), **page())
        since = None if self._last is None else tracer.news(self._last, found)
        self._last, self.status = found, COMPLETE if found.complete else LOOSE_ENDS
        return report.as_text(glance, missing, since, **page())


@app.command(epilog="Example: tracer -C my-van watch ALM")
def watch(
    module: ModuleArgument,
    saves: Annotated[
        int | None, typer.Option("--saves", min=0, metavar="N", help="Stop after so many saves; 0: look once.")
    ] = None,
) -> None:
    """The first look at a module again on every save, without volts; what is new in it, and what to type in next. Ctrl-C ends it."""
    watched, shown = Watched(chosen.folder, module), 0
    try:
        while saves is None or shown <= saves:
            if not watched.kept.something_saved(chosen.folder):
                time.sleep(_LOOK_EVERY_S)
                continue
            with decimal_mark(chosen.decimal):
                text = watched.look()
            if page()["bold"]:
                text = f"{_NEW_SCREEN}{text}"
            elif shown:
                text = f"\n{time.strftime('%H:%M:%S')} saved\n{text}"
            show(text)
            shown += 1
            gc.collect()  # switched off for the short commands; this one goes on
    except KeyboardInterrupt:
        pass
    raise typer.Exit(watched.status)
