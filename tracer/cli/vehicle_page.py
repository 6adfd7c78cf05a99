"""Commands that show the page for the vehicle: pocket, desk."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Annotated

import typer

from tracer.cli.answer import WRONG_USAGE, asked, end, fail, write
from tracer.cli.app import app, chosen
from tracer.cli.options import ModuleArgument, ShopOption

if TYPE_CHECKING:
    from tracer.page.calls import Pocket
    from tracer.trace.tracing import Tracing


def calls() -> ModuleType:
    """The front door of the page, loaded when one is asked for."""
    from tracer.page import calls as found

    return found


@app.command(epilog="Example: tracer -C circuits/minibus pocket ALM -o alm.html")
def pocket(
    module: ModuleArgument,
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="The .html file to write; MODULE-pocket.html if left out.")] = None,
    shop: ShopOption = None,
) -> None:  # fmt: skip
    """One file for a phone without a network: list, cards for readings, panels and diagram; `tracer read --from` takes what it hands over."""
    file = output or Path(f"{module}-pocket.html")
    if file.suffix.lower() not in (".html", ".htm"):
        fail(f"{file}: the name must end in .html.", WRONG_USAGE)

    def ask(tracing: Tracing) -> Pocket:
        made: Pocket = calls().pocket(tracing, module, decimal=chosen.decimal, shop=shop)
        write(tracing.circuit, file, made.html.encode())
        return made

    end(asked(ask))
