"""Commands that list: check, supplies, states, affects, panel, common."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

import tracer
from tracer.cli.answer import (
    CANNOT_USE,
    NO_MODULE,
    ONE_OF_THEM,
    WRONG_USAGE,
    Bar,
    answer,
    asked,
    end,
    fail,
    page,
    show,
    text_of,
    write,
)
from tracer.cli.app import app, chosen
from tracer.cli.options import (
    MODULES,
    PANELS,
    PARTS,
    AllOption,
    CsvOption,
    JsonOption,
    MaybeModule,
    ModuleArgument,
    ShopOption,
)
from tracer.standards.figures import POINT, decimal_mark

if TYPE_CHECKING:
    from tracer.plan.values import Face
    from tracer.trace.tracing import Tracing


@app.command(epilog="Examples: tracer -C circuits/minibus check    tracer check --rules")
def check(
    json: JsonOption = False,
    rules: Annotated[bool, typer.Option("--rules", help="List every rule with its reason, and stop.")] = False,
) -> None:
    """Is the transcription sound, and what is loose? All problems, loose ends and remarks of the whole vehicle."""
    from tracer.report import check as report

    if rules:
        show(report.rules_data(tracer.rules()) if json else report.rules_text(tracer.rules(), **page()))
        return
    answer(tracer.check, text=report.as_text, data=report.as_data, json=json)


@app.command(
    epilog="Examples: tracer -C circuits/minibus supplies ALM    tracer supplies ALM 2    tracer supplies ALM --all    tracer supplies ALM --csv > probes.csv    tracer supplies --place FPC"
)
def supplies(
    module: MaybeModule = None,
    pin: Annotated[
        str | None,
        typer.Argument(
            metavar="[PIN]",
            help="One pin: its whole way with every probe point; --all: also the ways of what it needs.",
        ),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="Every pin with its whole way, places, count of pins.")] = False,
    json: JsonOption = False,
    csv: CsvOption = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Compute no volts: the list at once, with the usual limits only.")
    ] = False,
    shop: ShopOption = None,
    place: Annotated[
        str | None,
        typer.Option(
            "--place",
            metavar="PART",
            help="What can be read at the place of a part (while a lid is open), or at a place in words; of MODULE, or of every module.",
            autocompletion=PARTS,
        ),
    ] = None,
) -> None:
    """Every supply and ground of a module (of all modules in one line each where none is named): what feeds each pin, where to probe, which figure decides; and what is still loose."""
    from tracer.report import supplies as report

    if place is not None:
        if pin is not None or every or csv:
            fail("--place goes with MODULE, --json and --quick only.", WRONG_USAGE)
        _at_place(place, module, quick=quick, shop=shop, json=json)
    if module is None:
        if every or csv:
            fail("--all and --csv want a MODULE; without one every module is listed in one line.", WRONG_USAGE)
        _every_module(json=json)
    if pin is not None and (json or csv):
        fail("PIN goes without --json and --csv: those hold every pin.", WRONG_USAGE)
    if pin is not None:
        _one_pin(module, pin, every=every, quick=quick, shop=shop)
    if not (every or json or csv):
        _at_a_glance(module, quick=quick, shop=shop)

    def ask(tracing: Tracing) -> tuple[tracer.SupplyReport, tracer.Expected | None]:
        found = tracer.supplies(tracing, module)
        return found, None if quick else tracer.expected(tracing, found, shop=shop)

    answer(
        ask,
        text=lambda got, **page: report.as_text(*got, **page),
        data=lambda got: report.as_data(*got),
        table=lambda got: report.as_csv(*got),
        completeness=lambda got: got[0].completeness,
        json=json,
        csv=csv,
    )


def _one_pin(module: str, pin: str, *, every: bool, quick: bool, shop: Path | None) -> NoReturn:
    from tracer.report import pin_glance
    from tracer.report import supplies as report

    rows: list[tracer.Row] = []
    faces: list[Face] = []

    def ask(tracing: Tracing) -> tuple[tracer.SupplyReport, tracer.Expected | None, tracer.Glance | None]:
        found = tracer.supplies(tracing, module)
        rows.extend(tracer.rows_of(found, pin))
        faces.extend(tracer.faces_of_rows(tracing.circuit, found, tuple(rows)))
        expected = None if quick else tracer.expected(tracing, found, shop=shop)
        return found, expected, None if every else tracer.glance(tracing, found, shop=shop, computed=not quick)

    answer(
        ask,
        text=lambda got, **page: (
            report.pin_text(got[0], got[1], rows, faces, **page)
            if got[2] is None
            else pin_glance.as_text(got[2], got[1], rows, faces, **page)
        ),
        completeness=lambda got: got[0].completeness,
    )


def _every_module(*, json: bool) -> NoReturn:
    from tracer.report import modules as report

    def ask(tracing: Tracing) -> list[tracer.SupplyReport]:
        with _bar_of_lists(tracing) as bar:
            found = list(bar.over(tracer.every_list(tracing)))
        if not found:
            fail(NO_MODULE, CANNOT_USE)
        return found

    answer(
        ask,
        text=report.as_text,
        data=report.as_data,
        completeness=lambda got: tracer.Completeness.of_all([one.completeness for one in got]),
        json=json,
    )


def _bar_of_lists(tracing: Tracing) -> Bar:
    return Bar("lists", sum(1 for _ in tracing.circuit.modules()))


def _at_place(place: str, module: str | None, *, quick: bool, shop: Path | None, json: bool) -> NoReturn:
    from tracer.report import at_place as report

    def ask(tracing: Tracing) -> tracer.AtPlace:
        if module is None and next(iter(tracing.circuit.modules()), None) is None:
            fail(NO_MODULE, CANNOT_USE)
        if module is not None:
            return tracer.at_place(tracing, place, module, shop=shop, computed=not quick)
        with _bar_of_lists(tracing) as bar:
            return tracer.at_place(tracing, place, reports=bar.over(tracer.every_list(tracing)))

    answer(ask, text=report.as_text, data=report.as_data, json=json)


def _at_a_glance(module: str, *, quick: bool, shop: Path | None) -> NoReturn:
    from tracer.report import glance as report

    def ask(tracing: Tracing) -> tracer.Glance:
        return tracer.glance(tracing, tracer.supplies(tracing, module), shop=shop, computed=not quick)

    answer(ask, text=report.as_text, completeness=lambda got: got.report.completeness)


@app.command(epilog="Example: tracer -C circuits/minibus states ALM")
def states(module: ModuleArgument, json: JsonOption = False) -> None:
    """What each pin of a module must read in each key state, and why."""
    from tracer.report import states as report

    answer(lambda tracing: tracer.states(tracing, module), text=report.as_text, data=report.as_data, json=json)


@app.command(
    epilog='Examples: tracer -C circuits/minibus affects F50    tracer affects ALM 3    tracer affects X4 "5, towards ALM"    tracer affects --csv > all.csv'
)
def affects(
    part: Annotated[
        str | None,
        typer.Argument(
            metavar="[PART]",
            help="A fuse, relay, splice, connector, ground point, switch, module, panel or rail; also PART.PIN. Left out: every part, a line each.",
            autocompletion=PARTS,
        ),
    ] = None,
    pin: Annotated[
        str | None,
        typer.Argument(metavar="[PIN]", help="A pin or cavity of it: the contact there, with its wire, opens."),
    ] = None,
    every: AllOption = False,
    json: JsonOption = False,
    csv: CsvOption = False,
) -> None:
    """What loses supply, ground or control if a part (or the wire at a pin) opens; in which key states; what is still fed another way."""
    from tracer.report import affects as report
    from tracer.report import affects_glance

    if part is None:
        _every_part(every=every, json=json, csv=csv)
    if csv:
        fail("--csv is of every part: leave PART out, or ask for --json.", WRONG_USAGE)
    answer(
        lambda tracing: (tracing.circuit, tracer.affects(tracing, part, pin)),
        text=lambda got, **page: (report.as_text if every else affects_glance.as_text)(*got, **page),
        data=lambda got: report.as_data(got[1]),
        completeness=lambda got: got[1].completeness,
        json=json,
    )


def _every_part(*, every: bool, json: bool, csv: bool) -> NoReturn:
    from functools import partial

    from tracer.report import affects_every as report

    def ask(tracing: Tracing) -> tracer.EveryLoss:
        with Bar("parts", len(tracing.circuit.parts)) as bar:
            return tracer.every_loss(tracing, bar.over)

    answer(ask, text=partial(report.as_text, every=every), data=report.as_data, table=report.as_csv, json=json, csv=csv)


@app.command(
    epilog="Examples: tracer -C circuits/minibus panel FPC    tracer panel --pdf panels.pdf    tracer panel FPC --saw '12:15 13:- 14:20'"
)
def panel(
    name: Annotated[
        str | None,
        typer.Argument(metavar="[PANEL]", help="One panel; all of them where it is left out.", autocompletion=PANELS),
    ] = None,
    seen: Annotated[
        Path | None,
        typer.Option("--seen", metavar="FILE", help="Compare with what was seen: LABEL:WHAT, by blanks or lines."),
    ] = None,
    saw: Annotated[
        list[str] | None,
        typer.Option(
            "--saw",
            metavar="TEXT",
            help="The same, typed here: '12:15 13:- 14:blown 15:?'; may be given more than once.",
        ),
    ] = None,
    pdf: Annotated[
        Path | None, typer.Option("--pdf", metavar="FILE", help="Write a page to fill in at the panel.")
    ] = None,
    module: Annotated[
        str | None,
        typer.Option(
            "--for", metavar="MODULE", help="Only the positions of this module's list.", autocompletion=MODULES
        ),
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Everything about each position, with a plan of the panel.")
    ] = False,
    json: JsonOption = False,
    csv: CsvOption = False,
) -> None:
    """What belongs in each position of the fuse panels: rating, colour, feed, when live, what it serves; and what is really plugged in."""
    from tracer.report import panel as report
    from tracer.report import panel_data, panel_glance, panel_page

    if pdf is not None and pdf.suffix.lower() != ".pdf":
        fail(f"{pdf}: what --pdf writes ends in .pdf.", WRONG_USAGE)
    if json and csv:
        fail(ONE_OF_THEM, WRONG_USAGE)

    def ask(tracing: Tracing) -> tuple[tracer.PanelReport, tracer.SeenReport | None]:
        found = tracer.panels(tracing, name, module=module)
        if pdf is not None:
            with decimal_mark(chosen.decimal):
                write(pdf, panel_page.as_pdf(found))
        texts = {str(seen): text_of(seen)} if seen is not None else {}
        if saw:
            texts["--saw"] = "\n".join(saw)
        return found, tracer.seen(tracing, found, texts) if texts else None

    with decimal_mark(POINT if json or csv else chosen.decimal):
        found, compared = asked(ask, json=json)
        if compared is not None:
            show(panel_data.seen_data(found, compared) if json else report.seen_text(found, compared, **page()))
            end(compared.completeness)
        if pdf is None or json or csv:
            show(
                panel_data.as_data(found)
                if json
                else panel_data.as_csv(found)
                if csv
                else report.as_text(found, **page())
                if every
                else panel_glance.as_text(found, module=module or "", **page())
            )
    end(found.completeness)


@app.command(
    epilog="Examples: tracer -C circuits/minibus common ALM CLM --working BDM    tracer common HRN SOC.1 --working INS,GTW"
)
def common(
    parts: Annotated[
        list[str],
        typer.Argument(
            metavar="PART...", help="Dead modules, loads or relays; PART.PIN for one pin.", autocompletion=PARTS
        ),
    ],
    working: Annotated[
        list[str] | None,
        typer.Option("--working", metavar="PART", help="Parts that work: BDM,INS; may be given more than once."),
    ] = None,
    every: AllOption = False,
    json: JsonOption = False,
) -> None:
    """What several dead parts have in common upstream, ranked; what a working part clears comes last."""
    from tracer.report import common as report
    from tracer.report import common_glance

    works = [name for word in working or () for name in word.replace(",", " ").split()]
    text = report.as_text if every else common_glance.as_text
    answer(lambda tracing: tracer.common(tracing, parts, works), text=text, data=report.as_data, json=json)


@app.command(epilog="Examples: tracer cautions    tracer cautions --json")
def cautions(json: JsonOption = False) -> None:
    """Every caution in full, by kind of work, with where it is from; asks for no vehicle."""
    from tracer.report import tables

    found = tracer.cautions()
    show(tables.cautions_data(found) if json else tables.cautions_text(found, **page()))


@app.command(epilog="Examples: tracer sources    tracer sources --json")
def sources(json: JsonOption = False) -> None:
    """Every document that a figure was seen in: standards, handbooks, makers; asks for no vehicle."""
    from tracer.report import tables

    found = tracer.sources()
    show(tables.sources_data(found) if json else tables.sources_text(found, **page()))
