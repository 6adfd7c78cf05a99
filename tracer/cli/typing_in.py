"""Commands for whoever is typing: missing, compare, read-back, take-in, write-out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import tracer
from tracer.cli.answer import LOOSE_ENDS, WRONG_USAGE, answer, asked, end, fail, page, said, show, tell, write
from tracer.cli.app import app, chosen
from tracer.cli.options import JsonOption, ModuleArgument


@app.command(epilog="Example: tracer -C circuits/unfinished missing LIFT")
def missing(module: ModuleArgument, json: JsonOption = False) -> None:
    """What to type in next for a module: each loose end of its list in one line, page by page, the page with the most first."""
    from tracer.report import missing as report

    answer(lambda tracing: tracer.missing(tracing, module), text=report.as_text, data=report.as_data, json=json)


@app.command(epilog="Examples: tracer compare my-van second-typing    tracer compare my-van/sheets/05.yaml again.yaml")
def compare(
    a: Annotated[Path, typer.Argument(metavar="A", help="A vehicle's folder, or one sheet.")],
    b: Annotated[Path, typer.Argument(metavar="B", help="The other typing of the same pages.")],
    json: JsonOption = False,
) -> None:
    """Two typings of the same pages: what differs, wire by wire and fact by fact. Exit status 0 the same, 3 not."""
    from tracer.report import compare as report

    found = said(lambda: tracer.compare(a, b), json=json)
    show(report.as_data(found) if json else report.as_text(found, **page()))
    end(found)


@app.command(epilog="Examples: tracer -C circuits/minibus read-back 5    tracer read-back 5 --tick 1-12,15")
def read_back(
    sheet: Annotated[str, typer.Argument(metavar="SHEET", help="What the page calls itself, or its file.")],
    tick: Annotated[str, typer.Option("--tick", metavar="LINES", help="Tick lines: 1-12,15 or all.")] = "",
    untick: Annotated[str, typer.Option("--untick", metavar="LINES", help="Take ticks away.")] = "",
    json: JsonOption = False,
) -> None:
    """A sheet in plain lines, to be ticked against the drawing. Ticks are kept, and go stale when their line changes."""
    from tracer.report import read_back as report

    found = said(lambda: tracer.read_back(chosen.folder, sheet, tick=tick, untick=untick), json=json)
    show(report.as_data(found) if json else report.as_text(found, **page()))
    end(found)


@app.command(epilog="Examples: tracer -C my-van take-in wires.xlsx    tracer -C my-van take-in wires.csv --yes")
def take_in(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A wire list: .csv, .tsv, .txt or .xlsx.")],
    yes: Annotated[bool, typer.Option("--yes", help="The columns are right: write the sheets.")] = False,
    columns: Annotated[
        Path | None, typer.Option("--columns", metavar="FILE", help="Which column is what; writes the sheets.")
    ] = None,
    worksheet: Annotated[str | None, typer.Option("--worksheet", metavar="NAME", help="Of an .xlsx file.")] = None,
    colours: Annotated[
        str | None, typer.Option("--colours", metavar="iec|din|american", help="How the list abbreviates colours.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """A wire list into sheets to go on editing; shows what it reads first, and names each row that it cannot take."""
    from tracer.report import wire_lists as report

    writes = yes or columns is not None
    taken = said(
        lambda: tracer.take_in(
            chosen.folder, file, columns=columns, worksheet=worksheet, colours=colours, write=writes
        ),
        json=json,
    )
    show(report.taken_data(taken, writes) if json else report.taken_text(taken, writes, **page()))
    if not writes:  # nothing is taken in yet
        raise typer.Exit(LOOSE_ENDS)
    end(taken)


@app.command(epilog="Examples: tracer -C circuits/minibus write-out > wires.csv    tracer write-out -o wires.xlsx")
def write_out(
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="A .csv or .xlsx file; CSV on the screen if left out."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """The vehicle as a wire list, one wire a row; what such a list cannot hold is named."""
    from tracer.report import wire_lists as report

    if output is not None and (json or output.suffix.lower() not in (".csv", ".xlsx")):
        fail("-o: the name of the file must end in .csv or .xlsx, and --json goes to the screen.", WRONG_USAGE)
    found = asked(lambda tracing: tracer.wire_list(tracing.circuit), json=json)
    if json:
        show(report.list_data(found))
    elif output is None:
        show(report.list_csv(found))
        tell(report.left_out_text(found, **page()).removesuffix("\n"))
    else:
        xlsx = output.suffix.lower() == ".xlsx"
        write(output, report.list_xlsx(found) if xlsx else report.list_csv(found).encode())
        show(report.left_out_text(found, **page()))
    end(found)
