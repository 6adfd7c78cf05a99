"""Diagrams and worksheets as files: one module, or every module of a vehicle in several processes."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count, takewhile
from pathlib import Path
from typing import TYPE_CHECKING

from tracer.entry.problems import CannotCompute
from tracer.report.interrupts import interrupts
from tracer.standards.figures import POINT, decimal_mark
from tracer.trace.lists.completeness import Answer, Completeness

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit
    from tracer.electrics.limits_in_use import LimitsInUse
    from tracer.plan.diagram import View
    from tracer.plan.plug_values import PlugWorksheet
    from tracer.plan.values import Plan
    from tracer.trace.lists.results import SupplyReport

DIAGRAM_FORMS = ("svg", "pdf", "png")
PAGED = (".svg", ".png")  # a file for each page
WORKSHEET_FORMS = ("pdf", "html", "txt", "csv")  # and json, which is shown and not made into a file
FULL_FORMS = ("pdf", "html", "csv")  # of a worksheet of every point
_HEAD = 4096  # bytes of an SVG in which its title stands
FOR_PROGRAMS = ("csv", "json")  # these always have the decimal point


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
    decimal: str = POINT
    full: bool = False  # a worksheet of every point by place, in place of those at the plug

    @property
    def mark(self) -> str:
        """The decimal mark of this form."""
        return POINT if self.form in FOR_PROGRAMS else self.decimal


@dataclass(frozen=True, slots=True)
class Printed(Answer):
    """The files of one module: contents in order (several for an SVG or PNG of several pages), and whether its list is complete."""

    module: str
    completeness: Completeness
    files: tuple[bytes, ...]


def worksheet(circuit: Circuit, report: SupplyReport, plan: Plan, job: Job) -> Printed:
    """One module's worksheet of every point, by place."""
    from tracer.report.worksheet import file_of, worksheet_of

    with decimal_mark(job.mark):
        worksheet = worksheet_of(circuit, report, plan)
        return Printed(
            report.module, report.completeness, (file_of(worksheet, job.form, paper=job.paper, date=job.date),)
        )


def plug_worksheet(made: PlugWorksheet, system: str, job: Job) -> Printed:
    """One module's worksheet."""
    from tracer.report.plug_worksheet import file_of, worksheet_in_words

    report = made.glance.report
    with decimal_mark(job.mark):
        worksheet = worksheet_in_words(made, system)
        return Printed(
            report.module, report.completeness, (file_of(worksheet, job.form, paper=job.paper, date=job.date),)
        )


def diagram(view: View, job: Job) -> Printed:
    """One module's diagram.

    Raises
    ------
    NoEngine : the layout engine cannot be run
    """
    from tracer.report.diagram import Paper, back_of, diagram_of, files_of

    with decimal_mark(job.mark):
        paper = Paper(job.paper, job.engine, job.date)
        files = files_of(diagram_of(view, paper), job.form, back_of(view, paper))
        return Printed(view.module, view.report.completeness, tuple(files))


def in_processes(
    print_one: Callable[[str], Printed], modules: list[str], workers: int | None = None
) -> Iterator[Printed]:
    """Every module's, as they get ready; with one worker everything is done in this process."""
    many = max(1, min(workers or os.cpu_count() or 1, len(modules)))
    if many == 1:
        yield from map(print_one, modules)
        return
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import active_children, get_context

    mine = set(active_children())
    pool = ProcessPoolExecutor(many, mp_context=get_context("spawn"))
    try:
        # a process begun within never shows where an interrupt caught it: it keeps to this, and ending it is the caller's
        with interrupts(signal.SIG_IGN):
            waiting = [pool.submit(print_one, module) for module in modules]
        for done in as_completed(waiting):
            yield done.result()
    except BrokenProcessPool as error:
        raise CannotCompute("a process that prints was ended from outside, perhaps for want of memory: what is listed as written is whole, the rest is not there.") from error  # fmt: skip
    except BaseException:  # nothing more is wanted of them
        for process in set(active_children()) - mine:
            process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def page_names(file: Path, pages: int) -> list[Path]:
    """One name for one page; `ALM-1.svg`, `ALM-2.svg` for several.

    >>> [str(path) for path in page_names(Path("ALM.svg"), 2)]
    ['ALM-1.svg', 'ALM-2.svg']
    """
    if pages == 1:
        return [file]
    return [file.with_name(f"{file.stem}-{number}{file.suffix}") for number in range(1, pages + 1)]


def old_pages(file: Path, pages: int) -> list[Path]:
    """Files named like pages of this diagram that are none of the pages written now: left by an earlier call, or somebody else's."""
    if file.suffix.lower() not in PAGED:
        return []
    numbered = (
        file.with_name(f"{file.stem}-{number}{file.suffix}") for number in count(1 if pages == 1 else pages + 1)
    )
    found = list(takewhile(Path.is_file, numbered))
    return found if pages == 1 or not file.is_file() else [file, *found]


def is_page_of(old: Path, page: bytes) -> bool:
    """Whether a file is certainly a page that was drawn of the same module: an SVG with the same title. A PNG says nothing of it."""
    if old.suffix.lower() != ".svg" or old.is_symlink():
        return False
    with old.open("rb") as file:
        return _title_of(file.read(_HEAD)) == _title_of(page[:_HEAD]) != b""


def _title_of(head: bytes) -> bytes:
    """The vehicle and module in the head of an SVG that this program drew, without the number of the page."""
    found = re.match(rb"<\?xml [^>]*>\n<svg [^>]*>\n<title>([^<]*?)(?:, page \d+ of \d+)?</title>", head)
    return found[1] if found else b""


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
