"""Commands that print on paper: diagram, worksheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

import tracer
from tracer.cli.answer import (
    CANNOT_USE,
    NO_MODULE,
    WRONG_USAGE,
    Bar,
    asked,
    end,
    fail,
    one_of,
    show,
    tell,
    tell_open,
    write,
)
from tracer.cli.app import app, chosen
from tracer.cli.options import KEYS, MODULES, JsonOption, ShopOption

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit
    from tracer.report.printing import Job
    from tracer.trace.lists.completeness import Completeness
    from tracer.trace.tracing import Tracing

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
        metavar="MODULE", help="The module's name, such as ALM; left out with --all.", autocompletion=MODULES
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
            "--key", metavar="STATE", help="Draw what is live, dead or depends in this key state.", autocompletion=KEYS
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

    one_of("--engine", engine, ("pure", "dot"))
    _print(_Wanted(module, output, every, DIAGRAM_FORMS), Job("diagram", form, paper, _date(date), key, engine), None)


@app.command(
    epilog="Examples: tracer -C circuits/minibus worksheet ALM -o alm.pdf    tracer worksheet ALM --all -o alm-all.pdf    tracer worksheet -o prints"
)
def worksheet(
    module: Annotated[
        str | None,
        typer.Argument(
            metavar="MODULE",
            help="The module's name, such as ALM; left out: every module, into the folder that -o names.",
            autocompletion=MODULES,
        ),
    ] = None,
    output: OutputOption = None,
    paper: PaperOption = "a4",
    date: DateOption = None,
    full: Annotated[
        bool,
        typer.Option(
            "--all", help="Every probe point, by place, in place of what is read at the plug (PDF, HTML or CSV)."
        ),
    ] = False,
    form: Annotated[
        str, typer.Option("--format", metavar="pdf|html|txt|csv", help="The format for a folder, or without -o.")
    ] = "pdf",
    shop: ShopOption = None,
    json: JsonOption = False,
) -> None:
    """A form to take to the vehicle: every supply and ground proven from the plug (PDF, HTML, text or CSV)."""
    from tracer.report.printing import FULL_FORMS, WORKSHEET_FORMS, Job

    if json and output is not None:
        fail("--json prints the content; to write a file, leave it out.", WRONG_USAGE)
    if json and module is None:
        fail("--json wants one module.", WRONG_USAGE)
    forms = FULL_FORMS if full else WORKSHEET_FORMS
    day = _date(date)
    if json and module is not None:
        made = asked(
            lambda tracing: tracer.worksheet(tracing, module, "json", full=full, date=day, shop=shop), json=True
        )
        show(made.files[0].decode())
        end(made.completeness)
    if module is None and (output is None or output.suffix.lower().removeprefix(".") in WORKSHEET_FORMS):
        fail("Name one module, such as `tracer worksheet ALM`, or a folder for all of them: -o FOLDER.", WRONG_USAGE)
    _print(_Wanted(module, output, module is None, forms), Job("worksheet", form, paper, day, full=full), shop)


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Which modules go into which file or folder, and the formats that there are."""

    module: str | None
    output: Path | None
    every: bool
    forms: tuple[str, ...]


def _print(wanted: _Wanted, job: Job, shop: Path | None) -> NoReturn:
    """Write the diagram or worksheet of one module, or of all."""
    one_of("--paper", job.paper, ("a4", "letter"))
    one_of("--format", job.form, wanted.forms)
    if wanted.every == (wanted.module is not None):
        fail(f"Name one module, such as `tracer {job.what} ALM`, or all of them with --all.", WRONG_USAGE)

    def ask(tracing: Tracing) -> Completeness:
        checked = replace(
            job,
            key=tracing.key_state(job.key) if job.key is not None else None,
            limits=tracer.limits(tracing, shop) if job.what == "worksheet" else None,
            decimal=chosen.decimal,
        )
        if wanted.module is None:
            return _print_all(tracing.circuit, wanted.output, checked)
        return _print_one(tracing, wanted.module, wanted, checked)

    end(asked(ask))


def _print_one(tracing: Tracing, module: str, wanted: _Wanted, job: Job) -> Completeness:
    from tracer.report.printing import file_stems

    file = wanted.output or Path(f"{file_stems([module])[module]}-{job.what}.{job.form}")
    ending = file.suffix.lower().removeprefix(".")
    if ending not in wanted.forms:
        endings = ", ".join("." + form for form in wanted.forms)
        fail(f"{file}: the ending says the format; write one of {endings}.", WRONG_USAGE)
    made = tracer.printed(tracing, module, replace(job, form=ending))
    _write_pages(file, made.files, tell)
    tell_open(module, made.completeness)
    return made.completeness


def _write_pages(file: Path, pages: Sequence[bytes], say: Callable[[str], object]) -> None:
    """Write one file for each page; pages of an earlier call that had more go, what may be somebody else's is named."""
    from tracer.report.printing import is_page_of, old_pages, page_names

    for name, content in zip(page_names(file, len(pages)), pages, strict=True):
        write(name, content, say)
    for old in old_pages(file, len(pages)):
        try:
            if is_page_of(old, pages[0]):
                old.unlink()
                say(f"removed {old}, a page of an earlier diagram of this module")
                continue
        except OSError as error:
            say(f"{old} could not be looked at or removed: {error.strerror}")
        say(f"{old} lies there from before and is no page of this diagram")


def _print_all(circuit: Circuit, folder: Path | None, job: Job) -> Completeness:
    """Every module into a folder, with a progress bar on a terminal; answers whether all lists are complete."""
    from tracer.report.printing import file_stems

    if folder is None:
        fail("With --all, say which folder to write into: -o FOLDER.", WRONG_USAGE)
    modules = sorted(part.name for part in circuit.modules())
    if not modules:
        fail(NO_MODULE, CANNOT_USE)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        fail(f"cannot make the folder {folder}: {error.strerror}", CANNOT_USE)
    stems = file_stems(modules)
    lists: list[Completeness] = []
    open_lists: dict[str, list[str]] = {}
    with Bar(f"{job.what}s", len(modules)) as bar:
        for made in tracer.printed_all(chosen.folder, modules, job):
            file = folder / f"{stems[made.module]}-{job.what}.{job.form}"
            _write_pages(file, made.files, bar.say)
            lists.append(made.completeness)
            if not made.complete:
                open_lists.setdefault(made.completeness.word, []).append(made.module)
            bar.advance()
    tell(
        f"{len(modules)} modules"
        + "".join(f"; {word}: {', '.join(sorted(open_lists[word]))}" for word in sorted(open_lists, reverse=True))
        + ("" if open_lists else "; all complete")
    )
    return tracer.Completeness.of_all(lists)


def _date(typed: str | None) -> str:
    """The date that is printed: as typed after a check, or today."""
    from datetime import date

    if typed is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(typed).isoformat()
    except ValueError:
        fail(f"--date must be YYYY-MM-DD, such as 2026-03-31, not {typed}.", WRONG_USAGE)
