"""`tracer new`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import tracer
from tracer.cli.answer import CANNOT_USE, answer, fail, show, tell
from tracer.cli.app import app, chosen
from tracer.entry.visible import visible


@app.command(epilog="Example: tracer demo")
def demo() -> None:
    """List a module of the invented vehicle that comes with the program, and say where its files are."""
    from tracer.entry.start import DEMO, demo_folder
    from tracer.report import glance as report

    chosen.folder, module = demo_folder(), DEMO[1]
    tell(f'tracer -C "{chosen.folder}" supplies {module}')
    answer(
        lambda tracing: tracer.glance(tracing, tracer.supplies(tracing, module)),
        text=report.as_text,
        completeness=lambda got: got.report.completeness,
    )


@app.command(epilog="Example: tracer new my-van")
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that does not exist yet, or is empty.")],
) -> None:
    """Start a vehicle: commented files that already pass `check`. Nothing is ever overwritten."""
    from tracer.entry.start import CannotStart, start_vehicle

    try:
        written = start_vehicle(folder)
    except CannotStart as error:
        fail(str(error), CANNOT_USE)
    for path in written:
        show(f"wrote {visible(str(path))}\n")
    place, sheet = visible(str(folder)), visible(str(written[1]))
    show(
        f"Next: type the first page into {sheet}, then `tracer -C {place} check`.\n"
        f"Already there to try: `tracer -C {place} supplies MOD`. A wire list: `tracer -C {place} take-in FILE`.\n"
        "An editor that knows `# yaml-language-server: $schema=` completes and checks while you type.\n"
    )
