"""Commands of a case: case, read, next, proof, report."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

import tracer
from tracer.cli.answer import CANNOT_USE, WRONG_USAGE, asked, end, fail, page, said, show, tell, write
from tracer.cli.app import app, chosen
from tracer.cli.options import JsonOption, ModuleArgument, ShopOption
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotCompute
from tracer.entry.visible import visible
from tracer.standards.figures import POINT, decimal_mark

if TYPE_CHECKING:
    from tracer.case.case import Case

case = typer.Typer(
    no_args_is_help=True,
    help="A job kept in one file: open it, set what holds, note what is seen.",
    epilog="Example: tracer -C circuits/minibus case open ALM",
)
app.add_typer(case, name="case")

Words = Annotated[list[str], typer.Argument(metavar="WORD...")]
WhyOption = Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason.")]


def calls() -> ModuleType:
    """The front door of cases, loaded when one is asked for."""
    from tracer.case import calls as found

    return found


def _shown(ask: Callable[[], Any], text: Callable[..., str], data: Callable[..., dict[str, Any]], *, json: bool) -> Any:
    """Ask, and show as text or JSON."""
    with decimal_mark(POINT if json else chosen.decimal):  # numbers stand in reasons as well
        got = said(ask, json=json)
        parts = got if isinstance(got, tuple) else (got,)
        show(data(*parts) if json else text(*parts, **page()))
    return got


@case.command(
    "open", epilog='Example: tracer -C circuits/minibus case open ALM --complaint "rear sags overnight" --by Kes'
)
def open_(
    module: ModuleArgument,
    complaint: Annotated[str, typer.Option("--complaint", metavar="TEXT", help="In the customer's words.")] = "",
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who works on it.")] = "",
    km: Annotated[str, typer.Option("--km", metavar="KM", help="Mileage.")] = "",
    customer: Annotated[str, typer.Option("--customer", metavar="TEXT", help="Customer, number plate: as you need it.")] = "",
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="The case's file; in the state folder if left out.")] = None,
    shop: ShopOption = None,
) -> None:  # fmt: skip
    """Open a case on a module's list and make it the current one. It keeps the plan: recording needs no vehicle."""
    facts = {"complaint": complaint, "by": by, "km": km, "customer": customer}
    opened = asked(lambda tracing: calls().open_case(tracing, module, output, facts, spare=[chosen.folder], shop=shop))
    from tracer.report import case as report

    show(f"opened {visible(str(opened.file))}\n")
    show(report.show_text(opened, **page()))
    show("Next: tracer case set symptom=yes (if it is there now); then tracer next\n")


@case.command("use", epilog="Example: tracer case use jobs/ALM-2026-03-31.case")
def use(file: Annotated[Path, typer.Argument(metavar="FILE")]) -> None:
    """Make another case the current one."""
    said(lambda: calls().use_case(file))
    show(f"current: {visible(str(file))}\n")


@case.command("show", epilog="Example: tracer case show")
def show_(json: JsonOption = False) -> None:
    """Everything that stands in the current case."""
    from tracer.report import case as report

    _shown(calls().current_case, report.show_text, report.show_data, json=json)


@case.command(
    "set", epilog="Example: tracer case set key=run plug=out lamp=21W other=- symptom=yes out=F20 battery=12,4"
)
def set_(words: Words) -> None:
    """What holds for every reading from now on: key, plug, lamp, other, symptom, engine, asleep, place, out, lead, after, battery."""
    from tracer.report import case as report

    _shown(
        lambda: calls().set_case(words),
        report.set_text,
        report.show_data,
        json=False,
    )


@case.command(
    "note",
    epilog='Examples: tracer case note fit 2+=ok 3+=loose    tracer case note watch 5+=11.9/12.4 for=20min symptom=no --why "drove over kerbs"    tracer case note withdraw 7.2 --why "wrong pin"',
)
def note(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="look, fit, roll-call, tick, waive, watch, repair, unplugged, seated, moved, photo, drawing, added or withdraw.")],
    words: Words,
    why: WhyOption = "",
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who saw it.")] = "",
) -> None:  # fmt: skip
    """Panels as seen, fit of contacts, other modules, the gate's ticks, waived rows, what was watched, repairs, photos, an error of the drawing; or take a reading or a note back."""
    from tracer.report import case as report

    _shown(lambda: calls().note_in_case(kind, words, why=why, by=by), report.note_text, report.show_data, json=False)


@app.command(
    epilog="Examples: tracer read battery=12.6 3+=12,38/12,17 1-=.01/.02    tracer read 2+=not-reached --why sealed    tracer read --from phone.txt"
)
def read(
    words: Annotated[list[str] | None, typer.Argument(metavar="[PIN=ALONE/LAMP]...")] = None,
    why: WhyOption = "",
    instead_of: Annotated[str, typer.Option("--instead-of", metavar="ID", help="The reading that this one corrects, such as 7.2.")] = "",
    filled: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="A filled-in CSV of the worksheet, in any order.")] = None,
    handed: Annotated[Path | None, typer.Option("--from", metavar="FILE", help="Readings that a page handed over as text; `-` for standard input. Twice adds nothing twice.")] = None,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """Record readings in the current case, all of the call or none; without words it asks row by row."""
    from tracer.report import case as report

    if handed is not None:
        if words or instead_of or filled is not None:
            fail("--from goes without words and without --csv.", WRONG_USAGE)
        _take_over(sys.stdin.read() if str(handed) == "-" else _content(handed), json=json)
    if filled is not None:
        if words or instead_of:
            fail("--csv goes without words.", WRONG_USAGE)
        content = _content(filled)
        _shown(lambda: calls().read_filled(content), report.read_text, report.read_data, json=json)
        return
    if words:
        _shown(
            lambda: calls().read(words, why=why, instead_of=instead_of), report.read_text, report.read_data, json=json
        )
        return
    if why or instead_of or json:
        fail("--why, --instead-of and --json go with readings: write them, such as 3+=12.38/12.17.", WRONG_USAGE)
    now: Case = said(calls().current_case)
    with decimal_mark(chosen.decimal):
        _row_by_row(now)


def _take_over(text: str, *, json: bool) -> NoReturn:
    """Exit status 0 where every line is in the case, 3 where something was refused or is missing."""
    from tracer.report import handed as report

    end(_shown(lambda: calls().read_handed(text), report.as_text, report.as_data, json=json))


def _content(file: Path) -> str:
    from tracer.cli.answer import text_of

    return text_of(file)


def _row_by_row(now: Case) -> None:
    """Ask for one row after the other; an empty line goes on, a full stop or the end of the input ends. What was recorded stays so, whatever ends it."""
    from tracer.report import case as report

    show(report.set_text(now, **page()) + "An empty line passes a row over, `.` ends.\n")
    count = 0
    for name in ["battery", *now.plan["rows"]]:
        if withheld := now.withheld(name):
            show(f"{now.short(name)}: {withheld}\n")
            continue
        while (typed := _typed(f"{now.short(name)}=")) is not None and typed:
            try:
                got = calls().read([f"{name}={typed}"])
            except tracer.CannotAnswer as error:
                tell(str(error))
                continue
            except (CannotCompute, NotWritten) as error:
                fail(str(error), CANNOT_USE)
            count += len(got.readings)
            show(report.read_text(got, **page()))
            break
        if typed is None:
            break
    show(f"{count} {'reading is' if count == 1 else 'readings are'} recorded.\n")


def _typed(prompt: str) -> str | None:
    """What is typed behind a prompt; None at the end: a full stop, no more input, an interrupt."""
    typer.echo(prompt, nl=False)
    try:
        line = sys.stdin.buffer.readline().decode(
            sys.stdin.encoding or "utf-8"
        )  # line by line: what is no text spoils none before it
    except UnicodeDecodeError:
        typer.echo()
        fail("The input is no text (UTF-8). What was recorded before is kept.", CANNOT_USE)
    except (KeyboardInterrupt, OSError, ValueError):  # closed from outside
        line = ""
    if not line:
        typer.echo()
    return None if not line or line.strip() == "." else line.strip()


@app.command("next", epilog="Example: tracer next")
def next_(json: JsonOption = False) -> None:
    """Where to measure next in the current case, and what each outcome would mean. Exit status 0 a measurement, 3 nothing left to measure."""
    from tracer.diagnose.calls import next_measurement
    from tracer.report import next as report

    _, found = _shown(next_measurement, report.as_text, report.as_data, json=json)
    end(found)


@app.command(epilog="Example: tracer proof")
def proof(json: JsonOption = False) -> None:
    """What the readings of the current case prove, and the verdict. Exit status 0 wiring proven or fault found, 3 not proven."""
    from tracer.diagnose.calls import proof as proven
    from tracer.report import case as report

    _, verdict = _shown(proven, report.proof_text, report.proof_data, json=json)
    end(verdict)


@app.command("report", epilog="Examples: tracer report    tracer report -o ALM.pdf    tracer report -o ALM.html")
def report_(
    output: Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="A .pdf or .html file; text on the screen if left out.")] = None,
    json: JsonOption = False,
) -> None:  # fmt: skip
    """The report of the current case: complaint, cause, correction in plain words, then every reading."""
    from tracer.diagnose.calls import proof as proven
    from tracer.report import case as report

    if output is None or json:
        _, verdict = _shown(proven, report.report_text, report.proof_data, json=json)
        end(verdict)
    if output.suffix.lower() not in (".pdf", ".html"):
        fail("-o: the name of the file must end in .pdf or .html.", WRONG_USAGE)
    now, verdict = said(proven)
    with decimal_mark(chosen.decimal):
        content = report.report_pdf(now, verdict) if output.suffix.lower() == ".pdf" else report.report_html(now, verdict).encode()  # fmt: skip
    write(output, content)
    end(verdict)
