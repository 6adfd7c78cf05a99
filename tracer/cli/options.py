"""Arguments and options that several commands have, and what a shell may complete."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import tracer

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit


def names(of: Callable[[Circuit], Iterable[str]]) -> Callable[[typer.Context, str], list[str]]:
    """Names of the folder that begin as typed so far; nothing where the folder cannot be read."""

    def complete(ctx: typer.Context, incomplete: str) -> list[str]:
        from tracer.entry.problems import CannotUse, natural

        folder = ctx.parent.params.get("folder") if ctx.parent else None
        try:
            circuit = tracer.load(folder or ".")
        except CannotUse:
            return []
        return sorted((name for name in of(circuit) if name.startswith(incomplete)), key=natural)

    return complete


MODULES = names(lambda circuit: (part.name for part in circuit.modules()))
PARTS = names(lambda circuit: circuit.parts)
PANELS = names(lambda circuit: (part.name for part in circuit.parts.values() if part.kind == "panel"))
KEYS = names(lambda circuit: circuit.typed.vehicle.key)
BUSES = names(lambda circuit: tracer.buses(circuit))

JsonOption = Annotated[bool, typer.Option("--json", help="The same content as JSON.")]
CsvOption = Annotated[bool, typer.Option("--csv", help="The list as CSV.")]
ShopOption = Annotated[
    Path | None,
    typer.Option("--shop", metavar="FILE", envvar="TRACER_SHOP", help="A workshop's own limits (YAML with `limits:`)."),
]
ModuleArgument = Annotated[
    str,
    typer.Argument(metavar="MODULE", help="The module's name, such as ALM.", autocompletion=MODULES),
]
