"""Every command of the command line in this process, on a vehicle that was read once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from unittest import mock

from typer.testing import CliRunner

import tracer
from tracer.cli import app
from tracer.trace.tracing import Tracing


def commands(tracing: Tracing, modules: Sequence[str], folder: Path) -> Iterator[list[str]]:
    """One call of each command, or of each command with each of the modules; prints go into the folder."""
    for command in ("check", "panel", "affects", "draw", "bus"):
        yield [command]
    yield from ([command, "--all"] for command in ("panel", "affects", "draw", "bus"))
    for module in modules:
        for command in ("supplies", "missing", "states", "affects", "common", "volts"):
            yield [command, module]
        yield ["supplies", module, "--place", module]
        yield from ([command, module, "--all"] for command in ("supplies", "affects", "common", "volts"))
        yield ["worksheet", module, "--json"]
        yield ["worksheet", module, "--all", "--json"]
        yield ["diagram", module, "-o", str(folder / "diagram.svg"), "--date", "2020-02-02"]
    if len(modules) > 1:
        yield ["common", *modules]


@cache
def shipped(vehicle: str) -> Tracing:
    """A vehicle of `circuits/`, read once for all tests of this process."""
    return tracer.Tracing(tracer.load(Path(__file__).parent.parent / "circuits" / vehicle))


def run(tracing: Tracing, arguments: Sequence[str]) -> tuple[int, str]:
    """Exit status and everything that a command wrote, into files too; whatever it raises comes through."""
    with (
        mock.patch.object(tracer, "load", lambda folder: tracing.circuit),
        mock.patch.object(tracer, "Tracing", lambda circuit: tracing),
    ):
        done = CliRunner().invoke(app, [*arguments], catch_exceptions=False)
    written = done.output
    if "-o" in arguments:
        first = Path(arguments[list(arguments).index("-o") + 1])
        for file in sorted(first.parent.glob(f"{first.stem}*{first.suffix}")):
            written += file.read_text(encoding="utf-8")
            file.unlink()
    return done.exit_code, written
