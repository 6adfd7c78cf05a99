"""Commands that show the page for the vehicle: pocket, desk."""

from __future__ import annotations

import gc
import sys
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Annotated

import typer

from tracer.cli.answer import WRONG_USAGE, asked, end, fail, page, said, show, tell_open, write
from tracer.cli.app import app, chosen
from tracer.cli.options import ModuleArgument, ShopOption

if TYPE_CHECKING:
    from tracer.page.calls import Pocket
    from tracer.page.desk import Desk
    from tracer.page.open import Opened
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
    from tracer.report.printing import file_stems

    file = output or Path(f"{file_stems([module])[module]}-pocket.html")
    if file.suffix.lower() not in (".html", ".htm"):
        fail(f"{file}: the name must end in .html.", WRONG_USAGE)

    def ask(tracing: Tracing) -> Pocket:
        made: Pocket = calls().pocket(tracing, module, decimal=chosen.decimal, shop=shop)
        write(file, made.html.encode())
        tell_open(made.module, made.completeness)
        return made

    end(asked(ask))


@app.command(epilog="Examples: tracer -C circuits/minibus desk ALM    tracer desk ALM --lan")
def desk(
    module: ModuleArgument,
    lan: Annotated[bool, typer.Option("--lan", help="Open to phones in this network, by an address with a key in it; otherwise to this machine only.")] = False,
    port: Annotated[int | None, typer.Option("--port", min=0, max=65535, metavar="N", help="The port; 0 for any that is free.")] = None,
    shop: ShopOption = None,
) -> None:  # fmt: skip
    """The page beside the editor: it follows every save, and takes readings from this machine and from phones into the current case. Ctrl-C ends it."""
    gc.enable()  # switched off for the short commands; this one goes on

    def say(opened: Opened) -> None:
        show(f"{opened.address}\n")
        if opened.lan:
            if sys.stdout.isatty():
                opened.qr(sys.stdout, page()["width"])
            show("Whoever has this address sees the list and may add readings: for phones in your own network only. No password protects what goes over it.\n")  # fmt: skip
        show("Ctrl-C ends it.\n")

    made: Desk = said(lambda: calls().desk(chosen.folder, module, say, decimal=chosen.decimal, shop=shop, lan=lan, port=port))  # fmt: skip
    end(made)
