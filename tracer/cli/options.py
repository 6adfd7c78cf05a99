"""Arguments and options that several commands have, and what a shell may complete."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from tracer.entry.names import Names


def names(of: Callable[[Names], Iterable[str]]) -> Callable[[typer.Context, str], list[str]]:
    """Names of the folder that begin as typed so far; nothing where the folder cannot be read."""

    def complete(ctx: typer.Context, incomplete: str) -> list[str]:
        from tracer.entry.names import names_of
        from tracer.entry.problems import natural

        folder = ctx.parent.params.get("folder") if ctx.parent else None
        found = of(names_of(Path(folder or ".")))
        return sorted((name for name in found if name.startswith(incomplete)), key=natural)

    return complete


MODULES = names(lambda names: names.parts("module"))
PARTS = names(lambda names: names.parts())
PANELS = names(lambda names: names.parts("panel"))
KEYS = names(lambda names: names.keys)
BUSES = names(lambda names: names.buses)

JsonOption = Annotated[bool, typer.Option("--json", help="The same content as JSON.")]
CsvOption = Annotated[bool, typer.Option("--csv", help="The list as CSV.")]
AllOption = Annotated[
    bool, typer.Option("--all", help="Everything, with the reasons; without it the verdict and one table.")
]
ShopOption = Annotated[
    Path | None,
    typer.Option("--shop", metavar="FILE", envvar="TRACER_SHOP", help="A workshop's own limits (YAML with `limits:`)."),
]
ModuleArgument = Annotated[
    str,
    typer.Argument(metavar="MODULE", help="The module's name, such as ALM.", autocompletion=MODULES),
]
MaybeModule = Annotated[
    str | None,
    typer.Argument(
        metavar="[MODULE]",
        help="The module's name, such as ALM; all modules where it is left out.",
        autocompletion=MODULES,
    ),
]
