"""The command line: arguments in, one call per folder, exit status out. No logic of its own.

Exit status: 0 done and complete, 1 the input cannot be used, 2 wrong usage, 3 done but loose ends remain, or the answer rests on something not typed in.
"""

from __future__ import annotations

import codecs
import gc
import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

if TYPE_CHECKING:
    from collections.abc import Callable

    from tracer.circuit.model import Circuit
    from tracer.electrics.expected import Expected
    from tracer.electrics.limits_in_use import LimitsInUse
    from tracer.entry.problems import CannotUse
    from tracer.report.printing import Job
    from tracer.trace.results import SupplyReport
    from tracer.trace.survey import Survey

typer.core.HAS_RICH = (
    False  # the help is plain text; where rich is installed, backslashes would stand before its brackets
)

COMPLETE, CANNOT_USE, WRONG_USAGE, LOOSE_ENDS = 0, 1, 2, 3

app = typer.Typer(
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    help="Type a wiring diagram in as it is drawn; get every supply and ground of a control module, where to probe each, and what is still unknown.",
    epilog="Exit status: 0 done and complete, 1 the input cannot be used, 2 wrong usage, 3 done but loose ends remain, or the answer rests on something not typed in.",
)


class _Options:
    folder = Path()
    width: int | None = None
    colour: bool | None = None


def _version(wanted: bool) -> None:
    if wanted:
        from tracer import __version__

        typer.echo(f"tracer {__version__}")
        raise typer.Exit


@app.callback()
def options(
    folder: Annotated[Path, typer.Option("-C", "--folder", metavar="DIR", help="The vehicle's folder.")] = Path(),
    width: Annotated[
        int | None,
        typer.Option("--width", min=40, max=400, help="Columns of text; the terminal's width by default."),
    ] = None,
    plain: Annotated[bool, typer.Option("--plain", help="No bold type, also on a terminal.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Options that every command has."""
    _Options.folder, _Options.width, _Options.colour = folder, width, False if plain else None


JsonOption = Annotated[bool, typer.Option("--json", help="The same content as JSON.")]
CsvOption = Annotated[bool, typer.Option("--csv", help="The list as CSV.")]


def _names(ctx: typer.Context, incomplete: str, names_of: Callable[[Circuit], Iterable[str]]) -> list[str]:
    """Names of the folder that begin so, for shell completion; nothing where the folder cannot be read."""
    from tracer.entry.problems import CannotUse, natural

    folder = ctx.parent.params.get("folder") if ctx.parent else None
    try:
        circuit = _circuit(Path(folder or "."))
    except CannotUse:
        return []
    return sorted((name for name in names_of(circuit) if name.startswith(incomplete)), key=natural)


def _complete_module(ctx: typer.Context, incomplete: str) -> list[str]:
    return _names(ctx, incomplete, lambda circuit: (part.name for part in circuit.modules()))


def _complete_part(ctx: typer.Context, incomplete: str) -> list[str]:
    return _names(ctx, incomplete, lambda circuit: circuit.parts)


def _complete_panel(ctx: typer.Context, incomplete: str) -> list[str]:
    return _names(ctx, incomplete, lambda circuit: (p.name for p in circuit.parts.values() if p.kind == "panel"))


def _complete_key(ctx: typer.Context, incomplete: str) -> list[str]:
    return _names(ctx, incomplete, lambda circuit: circuit.typed.vehicle.key)


def _complete_bus(ctx: typer.Context, incomplete: str) -> list[str]:
    from tracer.electrics.bus_lines import bus_names

    return _names(ctx, incomplete, bus_names)


ModuleArgument = Annotated[
    str,
    typer.Argument(metavar="MODULE", help="The module's name, such as ALM.", autocompletion=_complete_module),
]


# --- commands ------------------------------------------------------------------------------------------------------


@app.command(epilog="Example: tracer new my-van")
def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that does not exist yet, or is empty.")],
) -> None:
    """Start a vehicle: commented files that already pass `check`. Nothing is ever overwritten."""
    from tracer.entry.start import CannotStart, start_vehicle

    try:
        written = start_vehicle(folder)
    except CannotStart as error:
        _fail(str(error), CANNOT_USE)
    for path in written:
        _show(f"wrote {path}\n")
    _show(f"Next: type the first page into {written[1]}, then `tracer -C {folder} check`.\n")


@app.command(epilog="Examples: tracer -C circuits/minibus check    tracer check --rules")
def check(
    json: JsonOption = False,
    rules: Annotated[bool, typer.Option("--rules", help="List every rule with its reason, and stop.")] = False,
) -> None:
    """Is the transcription sound, and what is loose? All problems, loose ends and remarks of the whole vehicle."""
    from tracer.electrics.rules import electric_remarks, electric_rules
    from tracer.report import check as report
    from tracer.trace.rules import all_rules, loose_ends, remarks
    from tracer.trace.survey import Survey

    if rules:
        found = (*all_rules(), *electric_rules())
        _show(report.rules_data(found) if json else report.rules_text(found, **_page()))
        return
    circuit = _load(json=json)
    survey = Survey(circuit)
    loose, noted = loose_ends(survey), sorted([*remarks(survey), *electric_remarks(survey)], key=lambda one: one.place)
    _show(report.as_data(circuit, loose, noted) if json else report.as_text(circuit, loose, noted, **_page()))
    raise typer.Exit(LOOSE_ENDS if loose else COMPLETE)


ShopOption = Annotated[
    Path | None,
    typer.Option("--shop", metavar="FILE", envvar="TRACER_SHOP", help="A workshop's own limits (YAML with `limits:`)."),
]


@app.command(
    epilog="Examples: tracer -C circuits/minibus supplies ALM    tracer supplies ALM --csv > probes.csv    tracer supplies ALM --quick"
)
def supplies(
    module: ModuleArgument,
    json: JsonOption = False,
    csv: CsvOption = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Compute no volts: the list at once, with the usual limits only.")
    ] = False,
    shop: ShopOption = None,
) -> None:
    """Every supply and ground of a module, what must work first, where to probe, what to expect; and what is still loose."""
    from tracer.report import supplies as report
    from tracer.trace.supplies import UnknownModule, supplies_of
    from tracer.trace.survey import Survey

    _one_form(json=json, csv=csv)
    circuit = _load(json=json)
    survey = Survey(circuit)
    try:
        found = supplies_of(survey, module)
    except UnknownModule as error:
        _fail(str(error), WRONG_USAGE)
    expected = None if quick else _expected(survey, found, _limits(circuit, shop, json=json))
    _show(
        report.as_data(found, expected)
        if json
        else report.as_csv(found, expected)
        if csv
        else report.as_text(found, expected, **_page())
    )
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


@app.command(epilog="Example: tracer -C circuits/minibus states ALM")
def states(module: ModuleArgument, json: JsonOption = False) -> None:
    """What each pin of a module must read in each key state, and why."""
    from tracer.report import states as report
    from tracer.trace.pin_states import pin_states
    from tracer.trace.supplies import UnknownModule
    from tracer.trace.survey import Survey

    circuit = _load(json=json)
    try:
        found = pin_states(Survey(circuit), module)
    except UnknownModule as error:
        _fail(str(error), WRONG_USAGE)
    _show(report.as_data(found) if json else report.as_text(found, **_page()))
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


@app.command(
    epilog="Examples: tracer -C circuits/minibus affects F50    tracer affects ALM 3    tracer affects X4 5:a    tracer affects FPC"
)
def affects(
    part: Annotated[
        str,
        typer.Argument(
            metavar="PART",
            help="A fuse, relay, splice, connector, ground point, switch, module, panel or rail; also PART.PIN.",
            autocompletion=_complete_part,
        ),
    ],
    pin: Annotated[
        str | None,
        typer.Argument(metavar="[PIN]", help="A pin or cavity of it: the contact there, with its wire, opens."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """What loses supply, ground or control if a part (or the wire at a pin) opens; in which key states; what is still fed another way."""
    from tracer.report import affects as report
    from tracer.trace.affects import Affected, UnknownPart
    from tracer.trace.survey import Survey

    circuit = _load(json=json)
    survey = Survey(circuit)
    try:
        found = Affected(survey).report(part, pin)
    except UnknownPart as error:
        _fail(str(error), WRONG_USAGE)
    _show(report.as_data(found) if json else report.as_text(survey, found, **_page()))
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


@app.command(
    epilog="Examples: tracer -C circuits/minibus panel FPC    tracer panel --pdf panels.pdf    tracer panel FPC --saw '12:15 13:- 14:20'"
)
def panel(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[PANEL]", help="One panel; all of them where it is left out.", autocompletion=_complete_panel
        ),
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
    json: JsonOption = False,
    csv: CsvOption = False,
) -> None:
    """What belongs in each position of the fuse panels: rating, colour, feed, when live, what it serves; and what is really plugged in."""
    from tracer.entry.problems import CannotUse
    from tracer.report import panel as report
    from tracer.trace.panels import UnknownPanel, panels_of
    from tracer.trace.plugged import compare, read_seen
    from tracer.trace.survey import Survey

    if pdf is not None and pdf.suffix.lower() != ".pdf":
        _fail(f"{pdf}: what --pdf writes ends in .pdf.", WRONG_USAGE)
    _one_form(json=json, csv=csv)
    circuit = _load(json=json)
    survey = Survey(circuit)
    try:
        found = panels_of(survey, name)
    except UnknownPanel as error:
        _fail(str(error), WRONG_USAGE)
    if pdf is not None:
        _write(pdf, report.as_pdf(found))
    if seen is not None or saw:
        try:
            typed = read_seen("\n".join(saw or ()), found, "--saw")
            if seen is not None:
                typed = {**read_seen(_text_of(seen), found, str(seen)), **typed}
        except CannotUse as error:
            _show_problems(error, json=json)
        compared = compare(survey, found, typed)
        _show(report.seen_data(found, compared) if json else report.seen_text(found, compared, **_page()))
        raise typer.Exit(COMPLETE if compared.complete else LOOSE_ENDS)
    if pdf is None or json or csv:
        _show(report.as_data(found) if json else report.as_csv(found) if csv else report.as_text(found, **_page()))
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


@app.command(
    epilog="Examples: tracer -C circuits/minibus common ALM CLM --working BDM    tracer common HRN SOC.1 --working INS,GTW"
)
def common(
    parts: Annotated[
        list[str],
        typer.Argument(
            metavar="PART...",
            help="Dead modules, loads or relays; PART.PIN for one pin.",
            autocompletion=_complete_part,
        ),
    ],
    working: Annotated[
        list[str] | None,
        typer.Option("--working", metavar="PART", help="Parts that work: BDM,INS; may be given more than once."),
    ] = None,
    json: JsonOption = False,
) -> None:
    """What several dead parts have in common upstream, ranked; what a working part clears comes last."""
    from tracer.report import common as report
    from tracer.trace.affects import UnknownPart
    from tracer.trace.common import common_of
    from tracer.trace.survey import Survey

    circuit = _load(json=json)
    try:
        working_parts = [name for word in working or () for name in word.replace(",", " ").split()]
        found = common_of(Survey(circuit), parts, working_parts)
    except UnknownPart as error:
        _fail(str(error), WRONG_USAGE)
    _show(report.as_data(found) if json else report.as_text(found, **_page()))
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


def _between_1_and_100(typed: str | float) -> float:
    """Volts or watts as typed on the command line: 12.3, 12,3, 12.3V, 21W."""
    text = str(typed).strip().rstrip("VvWw").strip().replace(",", ".")
    try:
        number = float(text)
    except ValueError:
        raise typer.BadParameter(f"`{typed}` is no number: write it as 12.3") from None
    if not 1 <= number <= 100:
        raise typer.BadParameter(f"{text} is not between 1 and 100")
    return number


@app.command(
    epilog="Examples: tracer -C circuits/minibus volts ALM --key run    tracer volts ALM --add X4.1=0.5ohm --battery 12.3    tracer volts ALM --open G5 --load S2=21W"
)
def volts(
    module: ModuleArgument,
    key: Annotated[str | None, typer.Option("--key", metavar="STATE", help="The key state; default run, else the last but one.", autocompletion=_complete_key)] = None,
    held: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="NAME", help="Hold a condition, a command (MODULE.PIN), SWITCH=POSITION or a turning generator."),
    ] = None,
    battery: Annotated[float | None, typer.Option("--battery", metavar="V", parser=_between_1_and_100, help="Volts measured at the battery posts.")] = None,
    opened: Annotated[list[str] | None, typer.Option("--open", metavar="PART", help="What if PART, or PART.PIN, is open: a blown fuse, a lost ground.", autocompletion=_complete_part)] = None,
    unplug: Annotated[list[str] | None, typer.Option("--unplug", metavar="MODULE", help="What if a module is unplugged.", autocompletion=_complete_module)] = None,
    load: Annotated[list[str] | None, typer.Option("--load", metavar="ROW=21W", help="A test load at a row or PART.PIN: W (lamp), A or ohm.")] = None,
    add: Annotated[list[str] | None, typer.Option("--add", metavar="PIN=0.5ohm", help="A resistance in series at a pin, fuse, cavity or ground point.")] = None,
    fuse: Annotated[list[str] | None, typer.Option("--fuse", metavar="F9=30", help="Another rating fitted than the one typed in.")] = None,
    lamp: Annotated[float, typer.Option("--lamp", metavar="W", parser=_between_1_and_100, help="The test lamp of the last table, W.", show_default="21")] = 21.0,
    shop: ShopOption = None,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Expected volts at every probe point of a module's rows, what each wire and contact loses, and what a test there can tell."""
    from tracer.electrics.changes import BadChange, changes_of
    from tracer.electrics.model import NotSettled
    from tracer.electrics.volts import volts_of
    from tracer.report import volts as report
    from tracer.trace.affects import UnknownPart
    from tracer.trace.supplies import UnknownModule, supplies_of
    from tracer.trace.survey import Survey

    circuit = _load(json=json)
    survey, limits = Survey(circuit), _limits(circuit, shop, json=json)
    try:
        rows = supplies_of(survey, module)
        changes = changes_of(
            circuit, rows.rows, opened=opened or (), unplugged=unplug or (), loads=load or (), added=add or (),
            fitted=fuse or (), held=held or (), battery_v=battery,
        )  # fmt: skip
        found = volts_of(survey, rows, _key_state(circuit, key), changes, limits=limits, lamp_w=lamp)
    except (UnknownModule, UnknownPart, BadChange) as error:
        _fail(str(error), WRONG_USAGE)
    except NotSettled as error:
        _fail(f"No values: {error}.", CANNOT_USE)
    _show(report.as_data(found) if json else report.as_text(found, **_page()))
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


@app.command(
    epilog="Examples: tracer -C circuits/minibus bus    tracer bus drive    tracer bus drive --reading 120ohm --at ALM"
)
def bus(
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="One bus; all of them by default.", autocompletion=_complete_bus)] = None,
    reading: Annotated[str | None, typer.Option("--reading", metavar="120ohm", help="A resistance read between the lines, or `open`: what explains it?")] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="POINT", help="Where it was read: a module, a connector, a joint connector.")] = None,
    shop: ShopOption = None,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Lines, terminations and branches of a bus; the resistance to expect at each point, whole and with one thing changed; which tests tell nothing."""
    from tracer.electrics.bus import bus_of
    from tracer.electrics.bus_lines import bus_names
    from tracer.electrics.bus_readings import classify, ohm_value
    from tracer.electrics.bus_report import UnknownBus
    from tracer.report import bus as report
    from tracer.trace.survey import Survey

    if (reading is None) != (at is None) or (reading is not None and name is None):
        _fail("A reading needs a bus, --reading and --at: tracer bus drive --reading 120ohm --at ALM", WRONG_USAGE)
    circuit = _load(json=json)
    survey, limits = Survey(circuit), _limits(circuit, shop, json=json)
    try:
        names = [name] if name is not None else bus_names(circuit)
        if not names:
            _fail("No bus: no pin is called `bus NAME LINE`, and vehicle.yaml has no `buses`.", CANNOT_USE)
        found = [bus_of(survey, one, limits=limits) for one in names]
        explained = (
            classify(found[0], ohm_value(reading), at, limits=limits)
            if reading is not None and at is not None
            else None
        )
    except (UnknownBus, ValueError) as error:
        _fail(str(error), WRONG_USAGE)
    _show(report.as_data(found, explained) if json else report.as_text(found, explained, **_page()))
    raise typer.Exit(COMPLETE if all(one.complete for one in found) else LOOSE_ENDS)


@app.command(epilog="Examples: tracer -C circuits/minibus draw    tracer draw --mv F4=0.4 --mv F7=0.1")
def draw(
    mv: Annotated[list[str] | None, typer.Option("--mv", metavar="F12=0.4", help="Millivolts read across a fuse; may be repeated.")] = None,
    held: Annotated[list[str] | None, typer.Option("--with", metavar="NAME", help="Hold a condition for what is expected; `asleep` is held of itself, asleep=no lets go of it.")] = None,
    shop: ShopOption = None,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Key-off draw: the current of each circuit from the millivolts across its fuse, total and shares, what to open up next."""
    from tracer.electrics.changes import BadChange, changes_of
    from tracer.electrics.draw import BadReading, UnknownPart, draw_of, readings_of
    from tracer.report import draw as report
    from tracer.trace.survey import Survey

    circuit = _load(json=json)
    survey, limits = Survey(circuit), _limits(circuit, shop, json=json)
    try:
        chosen = changes_of(circuit, held=held or ())
        found = draw_of(survey, readings_of(survey, mv or ()), limits=limits, held=chosen.held)
    except (BadReading, UnknownPart, BadChange) as error:
        _fail(str(error), WRONG_USAGE)
    _show(report.as_data(found) if json else report.as_text(found, **_page()))
    raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)


def _expected(survey: Survey, found: SupplyReport, limits: LimitsInUse) -> Expected:
    from tracer.electrics.expected import expected_of

    return expected_of(survey, found, limits=limits)


def _key_state(circuit: Circuit, key: str | None) -> str:
    keys = circuit.typed.vehicle.key
    if key is None:
        return "run" if "run" in keys else keys[max(0, len(keys) - 2)]
    if key not in keys:
        _fail(f"{key} is no key state; this vehicle has {', '.join(keys)}.", WRONG_USAGE)
    return key


def _limits(circuit: Circuit, shop: Path | None, *, json: bool) -> LimitsInUse:
    from tracer.electrics.limits_in_use import limits_of
    from tracer.entry.overrides import read_shop
    from tracer.entry.problems import CannotUse

    try:
        return limits_of(circuit, read_shop(shop) if shop is not None else None)
    except CannotUse as error:
        _show_problems(error, json=json)


OutputOption = Annotated[
    Path | None,
    typer.Option(
        "-o", "--output", metavar="FILE", help="The file to write; its ending says the format. With --all a folder."
    ),
]
PaperOption = Annotated[str, typer.Option("--paper", metavar="a4|letter", help="The paper.")]
DateOption = Annotated[
    str | None, typer.Option("--date", metavar="YYYY-MM-DD", help="The date printed on it; today by default.")
]
AllOption = Annotated[bool, typer.Option("--all", help="Every module of the vehicle, into the folder that -o names.")]
PrintedModule = Annotated[
    str | None,
    typer.Argument(
        metavar="MODULE", help="The module's name, such as ALM; left out with --all.", autocompletion=_complete_module
    ),
]


@app.command(
    epilog="Examples: tracer -C circuits/minibus diagram ALM -o alm.pdf    tracer diagram ALM --key run -o alm.svg    tracer diagram --all -o prints"
)
def diagram(
    module: PrintedModule = None,
    output: OutputOption = None,
    key: Annotated[
        str | None,
        typer.Option(
            "--key",
            metavar="STATE",
            help="Draw what is live, dead or depends in this key state.",
            autocompletion=_complete_key,
        ),
    ] = None,
    paper: PaperOption = "a4",
    engine: Annotated[
        str,
        typer.Option(
            "--engine", metavar="pure|dot", help="The layout engine: installed with tracer, or the system's dot."
        ),
    ] = "pure",
    date: DateOption = None,
    every: AllOption = False,
    form: Annotated[
        str, typer.Option("--format", metavar="svg|pdf|png", help="The format with --all, or without -o.")
    ] = "pdf",
) -> None:
    """One page with this module's circuits only, from source to ground, with every probe point (PDF, SVG or PNG)."""
    from tracer.report.printing import DIAGRAM_FORMS, Job

    _one_of("--engine", engine, ("pure", "dot"))
    _print(module, output, every, Job("diagram", form, paper, _date(date), key, engine), DIAGRAM_FORMS)


@app.command(
    epilog="Examples: tracer -C circuits/minibus worksheet ALM -o alm.pdf    tracer worksheet ALM -o alm.html    tracer worksheet --all -o prints"
)
def worksheet(
    module: PrintedModule = None,
    output: OutputOption = None,
    paper: PaperOption = "a4",
    date: DateOption = None,
    every: AllOption = False,
    form: Annotated[
        str, typer.Option("--format", metavar="pdf|html|csv", help="The format with --all, or without -o.")
    ] = "pdf",
    shop: ShopOption = None,
    json: JsonOption = False,
) -> None:
    """The probe list to take to the vehicle, in the order in which hands and key move (PDF, HTML or CSV)."""
    from tracer.report.printing import WORKSHEET_FORMS, Job

    if json and output is not None:
        _fail("--json prints the content; to write a file, leave it out.", WRONG_USAGE)
    if json and module is not None and not every:
        from tracer.report.worksheet import as_data, worksheet_of
        from tracer.trace.supplies import UnknownModule, supplies_of
        from tracer.trace.survey import Survey

        survey = Survey(_load(json=True))
        limits = _limits(survey.circuit, shop, json=True)
        try:
            found = supplies_of(survey, module)
        except UnknownModule as error:
            _fail(str(error), WRONG_USAGE)
        _show(as_data(worksheet_of(survey, found, limits=limits), _date(date)))
        raise typer.Exit(COMPLETE if found.complete else LOOSE_ENDS)
    if json:
        _fail("--json wants one module, and not --all.", WRONG_USAGE)
    _print(module, output, every, Job("worksheet", form, paper, _date(date)), WORKSHEET_FORMS, shop)


def _print(
    module: str | None, output: Path | None, every: bool, job: Job, forms: tuple[str, ...], shop: Path | None = None
) -> NoReturn:
    """Write the diagram or worksheet of one module, or of all."""
    from dataclasses import replace

    from tracer.report.diagram.engine import NoEngine
    from tracer.report.printing import page_names, printed
    from tracer.trace.supplies import UnknownModule
    from tracer.trace.survey import Survey

    _one_of("--paper", job.paper, ("a4", "letter"))
    _one_of("--format", job.form, forms)
    if every == (module is not None):
        _fail(f"Name one module, such as `tracer {job.what} ALM`, or all of them with --all.", WRONG_USAGE)
    circuit = _load(json=False)
    if job.key is not None:
        _key_state(circuit, job.key)
    if job.what == "worksheet":
        job = replace(job, limits=_limits(circuit, shop, json=False))
    try:
        if every:
            complete = _print_all(circuit, output, job)
        else:
            assert module is not None
            file = output or Path(f"{module}-{job.what}.{job.form}")
            ending = file.suffix.lower().removeprefix(".")
            if ending not in forms:
                _fail(
                    f"{file}: the ending says the format; write one of {', '.join('.' + form for form in forms)}.",
                    WRONG_USAGE,
                )
            made = printed(Survey(circuit), module, replace(job, form=ending))
            for name, content in zip(page_names(file, len(made.files)), made.files, strict=True):
                _write(name, content)
            complete = made.complete
    except UnknownModule as error:
        _fail(str(error), WRONG_USAGE)
    except NoEngine as error:
        _fail(str(error), CANNOT_USE)
    raise typer.Exit(COMPLETE if complete else LOOSE_ENDS)


def _print_all(circuit: Circuit, folder: Path | None, job: Job) -> bool:
    """Every module into a folder, with a progress bar on a terminal; answers whether all lists are complete."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from tracer.report.printing import file_stems, page_names, printed_all

    if folder is None:
        _fail("With --all, say which folder to write into: -o FOLDER.", WRONG_USAGE)
    modules = sorted(part.name for part in circuit.modules())
    if not modules:
        _fail("There is no module in this vehicle.", CANNOT_USE)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _fail(f"cannot make the folder {folder}: {error.strerror}", CANNOT_USE)
    stems = file_stems(modules)
    open_lists: dict[str, list[str]] = {}
    console = Console(stderr=True, no_color=True if _Options.colour is False else None)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())

    def say(words: str) -> None:  # above the bar; what is written past the console lands in it
        console.print(words, markup=False, highlight=False, emoji=False, soft_wrap=True)

    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as progress:
        task = progress.add_task(f"{job.what}s", total=len(modules))
        for made in printed_all(_Options.folder, modules, job):
            file = folder / f"{stems[made.module]}-{job.what}.{job.form}"
            for name, content in zip(page_names(file, len(made.files)), made.files, strict=True):
                _write(name, content, say)
            if not made.complete:
                open_lists.setdefault(made.word, []).append(made.module)
            progress.advance(task)
    typer.echo(
        f"{len(modules)} modules"
        + "".join(f"; {word}: {', '.join(sorted(open_lists[word]))}" for word in sorted(open_lists, reverse=True))
        + ("" if open_lists else "; all complete"),
        err=True,
    )
    return not open_lists


def _one_of(option: str, word: str, words: tuple[str, ...]) -> None:
    if word not in words:
        _fail(f"{option} must be {' or '.join(words)}, not {word}.", WRONG_USAGE)


def _date(typed: str | None) -> str:
    """The date that is printed: as typed after a check, or today."""
    from datetime import date

    if typed is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(typed).isoformat()
    except ValueError:
        _fail(f"--date must be YYYY-MM-DD, such as 2026-03-31, not {typed}.", WRONG_USAGE)


# --- what the commands share ---------------------------------------------------------------------------------------


def _circuit(folder: Path) -> Circuit:
    from tracer.circuit.join import join
    from tracer.entry.load import read_folder

    return join(read_folder(folder))


def _load(*, json: bool) -> Circuit:
    """The circuit of the folder; with problems, they are shown and the program ends."""
    from tracer.entry.problems import CannotUse

    try:
        return _circuit(_Options.folder)
    except CannotUse as error:
        _show_problems(error, json=json)


def _show_problems(error: CannotUse, *, json: bool) -> NoReturn:
    """Every problem, in file order; then the program ends."""
    if json:
        from tracer.report.sheets import problems_data

        _show(problems_data(error.problems))
    else:
        for problem in error.problems:
            typer.echo(problem.render(_page()["width"]), err=True)
        count = len(error.problems)
        typer.echo(
            f"{count} problem{'s' if count > 1 else ''}: nothing is concluded until {'they are' if count > 1 else 'it is'} mended.",
            err=True,
        )
    raise typer.Exit(CANNOT_USE) from None


def _text_of(file: Path) -> str:
    """The text of a file named on the command line."""
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        _fail(f"cannot read {file}: {error.strerror}", CANNOT_USE)
    except UnicodeDecodeError:
        _fail(f"{file} is not text (UTF-8): save it as plain text.", CANNOT_USE)


def _write(file: Path, content: bytes, say: Callable[[str], object] | None = None) -> None:
    """Write a file named on the command line, and say so; `say` is for where a progress bar owns the terminal."""
    try:
        file.write_bytes(content)
    except OSError as error:
        _fail(f"cannot write {file}: {error.strerror}", CANNOT_USE)
    if say is None:
        typer.echo(f"wrote {file}", err=True)
    else:
        say(f"wrote {file}")


def _one_form(*, json: bool, csv: bool) -> None:
    if json and csv:
        _fail("--json and --csv: one of them, please.", WRONG_USAGE)


def _page() -> dict[str, Any]:
    """Width and bold for text output: the terminal's, unless told otherwise; 80 columns and no bold where the output goes into a file."""
    terminal = sys.stdout.isatty()
    width = _Options.width
    if width is None:
        try:
            width = min(os.get_terminal_size().columns, 120) if terminal else 80
        except OSError:
            width = 80
    bold = terminal and "NO_COLOR" not in os.environ if _Options.colour is None else _Options.colour
    return {"width": width, "bold": bold}


def _show(content: dict[str, Any] | str) -> None:
    from tracer.report.sheets import json_text

    text = content if isinstance(content, str) else json_text(content)
    stream = sys.stdout
    if hasattr(stream, "reconfigure"):  # whatever a name holds and the terminal can show, the output comes out
        stream.reconfigure(errors="tracer.text" if isinstance(content, str) else "tracer.json")
    try:
        stream.write(text)
        stream.flush()
    except (
        BrokenPipeError
    ):  # the reader (head, less) has gone: what was asked is answered all the same, and so is the exit status
        _drop_output()
    except OSError as error:
        _drop_output()
        _fail(f"cannot write the output: {error.strerror}", CANNOT_USE)


_SPELLED = {"Ω": "ohm", "µ": "u", "²": "2", "³": "3", "°": " deg ", "–": "-", "…": "..."}


def _spelled_out(error: UnicodeError) -> tuple[str, int]:
    """For people: a unit must not come out as a question mark."""
    assert isinstance(error, UnicodeEncodeError)
    return "".join(_SPELLED.get(letter, "?") for letter in error.object[error.start : error.end]), error.end


def _escaped(error: UnicodeError) -> tuple[str, int]:
    """For programs: JSON has a way to write every letter in plain ones, so none is lost."""
    from json import dumps

    assert isinstance(error, UnicodeEncodeError)
    return "".join(dumps(letter)[1:-1] for letter in error.object[error.start : error.end]), error.end


codecs.register_error("tracer.text", _spelled_out)
codecs.register_error("tracer.json", _escaped)


def _drop_output() -> None:
    """Nobody takes the rest: Python must not complain when it closes the stream."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fail(message: str, status: int) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(status)


def main() -> None:
    """The `tracer` command."""
    if sys.stdout is None:  # closed by whoever called, who wants the exit status only
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - open until the process ends
    gc.disable()  # one question, one answer, then the process ends: collecting only costs time
    try:
        app()
    except BrokenPipeError:  # from the help, which is not written by `_show`
        _drop_output()
        sys.exit(COMPLETE)


if __name__ == "__main__":
    main()
