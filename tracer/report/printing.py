"""Diagrams and worksheets as files: one module, or every module of a vehicle in several processes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tracer.trace.lists.completeness import Answer, Completeness

if TYPE_CHECKING:
    from tracer.electrics.limits_in_use import LimitsInUse
    from tracer.report.worksheet import Worksheet
    from tracer.trace.lists.results import SupplyReport
    from tracer.trace.tracing import Tracing

DIAGRAM_FORMS = ("svg", "pdf", "png")
WORKSHEET_FORMS = ("pdf", "html", "csv")  # and json, which is shown and not made into a file
_OPEN: dict[str, Tracing] = {}  # in a worker: the one vehicle it works on


@dataclass(frozen=True, slots=True)
class Job:
    """What is wanted: `what` is diagram or worksheet, `form` a file format, `date` what is printed as date."""

    what: str
    form: str
    paper: str = "a4"
    date: str = ""
    key: str | None = None
    engine: str = "pure"
    limits: LimitsInUse | None = None  # those of the vehicle and the tables where it is left out


@dataclass(frozen=True, slots=True)
class Printed(Answer):
    """The files of one module: contents in order (several for an SVG or PNG of several pages), and whether its list is complete."""

    module: str
    completeness: Completeness
    files: tuple[bytes, ...]


def printed(tracing: Tracing, module: str, job: Job) -> Printed:
    """One module's diagram or worksheet.

    Raises
    ------
    UnknownModule : no module has that name
    NoEngine : the layout engine cannot be run
    """
    from tracer.trace.lists.supplies import supplies_of

    report = supplies_of(tracing, module)
    if job.what == "worksheet":
        from tracer.report.worksheet import file_of

        sheet = sheet_of(tracing, report, job.limits)
        return Printed(module, report.completeness, (file_of(sheet, job.form, paper=job.paper, date=job.date),))
    from tracer.report.diagram import Sheet, diagram_of, files_of

    pages = diagram_of(tracing, report, key=job.key, sheet=Sheet(job.paper, job.engine, job.date))
    return Printed(module, report.completeness, tuple(files_of(pages, job.form)))


def sheet_of(tracing: Tracing, report: SupplyReport, limits: LimitsInUse | None = None) -> Worksheet:
    """The form of a module's list; `limits` are those of the vehicle and of this tool where none are given."""
    from tracer.electrics.limits_in_use import limits_of
    from tracer.plan.steps import plan_of
    from tracer.report.worksheet import worksheet_of

    return worksheet_of(tracing.circuit, report, plan_of(tracing, report, limits or limits_of(tracing.circuit)))


def printed_all(folder: Path, modules: list[str], job: Job, workers: int | None = None) -> Iterator[Printed]:
    """Every module's, as they get ready. Each process reads the vehicle once.

    With one worker everything is done in this process.
    """
    count = max(1, min(workers or os.cpu_count() or 1, len(modules)))
    if count == 1:
        tracing = _tracing(str(folder))
        yield from (printed(tracing, module, job) for module in modules)
        return
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from multiprocessing import get_context

    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        waiting = [pool.submit(_in_worker, str(folder), module, job) for module in modules]
        for done in as_completed(waiting):
            yield done.result()


def _in_worker(folder: str, module: str, job: Job) -> Printed:
    return printed(_tracing(folder), module, job)


def _tracing(folder: str) -> Tracing:
    from tracer.circuit.join import join
    from tracer.entry.load import read_folder
    from tracer.trace.tracing import Tracing

    if folder not in _OPEN:
        _OPEN[folder] = Tracing(join(read_folder(Path(folder))))
    return _OPEN[folder]


def page_names(file: Path, pages: int) -> list[Path]:
    """One name for one page; `ALM-1.svg`, `ALM-2.svg` for several.

    >>> [str(path) for path in page_names(Path("ALM.svg"), 2)]
    ['ALM-1.svg', 'ALM-2.svg']
    """
    if pages == 1:
        return [file]
    return [file.with_name(f"{file.stem}-{number}{file.suffix}") for number in range(1, pages + 1)]


def file_stems(modules: list[str]) -> dict[str, str]:
    """A file name for each module that every file system takes and that no two share.

    >>> file_stems(["ALM", "alm", "A*1"])
    {'ALM': 'ALM', 'alm': 'alm-2', 'A*1': 'A_2a_1'}
    """
    stems: dict[str, str] = {}
    taken: set[str] = set()
    for module in modules:
        stem = "".join(c if c.isalnum() or c in "-_" else f"_{ord(c):x}_" for c in module)
        number, name = 1, stem
        while name.casefold() in taken:
            number += 1
            name = f"{stem}-{number}"
        taken.add(name.casefold())
        stems[module] = name
    return stems
