"""One wrapper for all commands: load, ask, show as text, JSON or CSV, and end with the exit status that the answer deserves."""

from __future__ import annotations

import codecs
import contextlib
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, Protocol, TypeVar

import typer

import tracer
from tracer.cli.app import chosen
from tracer.entry.problems import CannotAnswer, CannotCompute, CannotUse
from tracer.entry.visible import visible
from tracer.standards.figures import POINT, decimal_mark

if TYPE_CHECKING:
    from rich.progress import Progress

    from tracer.trace.lists.completeness import Completeness
    from tracer.trace.tracing import Tracing

BAR_AFTER_S = 1.0
ONE_OF_THEM = "--json and --csv: one of them, please."
NO_MODULE = "There is no module in this vehicle."
COMPLETE, CANNOT_USE, WRONG_USAGE, LOOSE_ENDS = 0, 1, 2, 3


Got = TypeVar("Got")


class Answered(Protocol):
    """What says whether nothing is left."""

    @property
    def complete(self) -> bool: ...


def answer(
    ask: Callable[[Tracing], Got],
    *,
    text: Callable[..., str],
    data: Callable[[Got], Mapping[str, Any]] | None = None,
    table: Callable[[Got], str] | None = None,
    completeness: Callable[[Got], Completeness] = lambda got: got.completeness,  # type: ignore[attr-defined]
    json: bool = False,
    csv: bool = False,
) -> NoReturn:
    """Load the vehicle, ask, show what comes back, and end.

    Parameters
    ----------
    ask : the question, one call of the front door
    text, data, table : what shows the answer for people (with `width` and `bold`), for programs, for a spreadsheet
    completeness : of what was asked for
    """
    if json and csv:
        fail(ONE_OF_THEM, WRONG_USAGE)
    with decimal_mark(
        POINT if json or csv else chosen.decimal
    ):  # numbers stand in reasons as well, so around the question too
        got = asked(ask, json=json)
        show(
            data(got) if json and data is not None else table(got) if csv and table is not None else text(got, **page())
        )
    end(completeness(got))


def asked(ask: Callable[[Tracing], Got], *, json: bool = False) -> Got:
    """What the front door says to a question about the vehicle; where it cannot say anything, the program ends with the reason."""
    return said(lambda: ask(tracer.Tracing(tracer.load(chosen.folder))), json=json)


def said(ask: Callable[[], Got], *, json: bool = False) -> Got:
    """The same for a question that is not about the vehicle as a whole."""
    from tracer.entry.files import NotWritten

    try:
        return ask()
    except CannotUse as error:
        show_problems(error, json=json)
    except CannotAnswer as error:
        fail(str(error), WRONG_USAGE)
    except (CannotCompute, NotWritten) as error:
        fail(str(error), CANNOT_USE)


def end(shown: Answered) -> NoReturn:
    """The exit status of an answer that was shown: of its completeness, or of an answer that is complete in itself or not."""
    raise typer.Exit(COMPLETE if shown.complete else LOOSE_ENDS)


def show_problems(error: CannotUse, *, json: bool) -> NoReturn:
    """Every problem, in file order; then the program ends."""
    if json:
        from tracer.report.plain_data import problems_data

        show(problems_data(error.problems))
    else:
        for problem in error.problems:
            tell(problem.render(page()["width"]))
        count = len(error.problems)
        tell(
            f"{count} problem{'s' if count > 1 else ''}: nothing is concluded until {'they are' if count > 1 else 'it is'} mended."
        )
    raise typer.Exit(CANNOT_USE) from None


def fail(message: str, status: int) -> NoReturn:
    """Say why there is no answer, and end."""
    tell(message)
    raise typer.Exit(status)


def tell(words: str) -> None:
    """Lines for the person at the terminal, which may quote what was typed on the command line; where nobody can be told, the exit status says it alone."""
    with contextlib.suppress(OSError):
        for line in words.split("\n"):
            typer.echo(visible(line), err=True)


def one_of(option: str, word: str, words: tuple[str, ...]) -> None:
    """A word that an option does not know ends the program."""
    if word not in words:
        fail(f"{option} must be {' or '.join(words)}, not {word}.", WRONG_USAGE)


def page() -> dict[str, Any]:
    """Width and bold for text output: the terminal's, unless told otherwise; 80 columns and no bold where the output goes into a file."""
    terminal = sys.stdout.isatty()
    width = chosen.width
    if width is None:
        try:
            width = min(os.get_terminal_size().columns, 120) if terminal else 80
        except OSError:
            width = 80
    bold = terminal and "NO_COLOR" not in os.environ if chosen.bold is None else chosen.bold
    return {"width": width, "bold": bold}


class Bar:
    """How far a long answer is: a bar on a terminal once it has taken longer than a second; lines said meanwhile stand above it."""

    def __init__(self, what: str, total: int) -> None:
        self._what, self._total, self._done = what, total, 0
        self._started = time.monotonic()
        self._shown: Progress | None = None

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *_: object) -> None:
        if self._shown is not None:
            self._shown.stop()

    def over(self, answers: Iterable[Got]) -> Iterator[Got]:
        """The same answers one by one, each of which is one more that is done."""
        for one in answers:
            self.advance()
            yield one

    def advance(self) -> None:
        """One more is done."""
        self._done += 1
        if self._shown is None and sys.stderr.isatty() and time.monotonic() - self._started > BAR_AFTER_S:
            from rich.console import Console
            from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

            console = Console(stderr=True, no_color=True if chosen.bold is False else None)
            columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
            self._shown = Progress(*columns, console=console, transient=True)
            self._shown.add_task(self._what, total=self._total)
            self._shown.start()
        if self._shown is not None:
            self._shown.update(self._shown.task_ids[0], completed=self._done)

    def say(self, words: str) -> None:
        """A line for the terminal; what is written past the console of the bar would land in it."""
        if self._shown is None:
            tell(words)
        else:
            self._shown.console.print(visible(words), markup=False, highlight=False, emoji=False, soft_wrap=True)


# --- files -----------------------------------------------------------------------------------------------------------


def text_of(file: Path) -> str:
    """The text of a file named on the command line."""
    try:
        return file.read_text(encoding="utf-8-sig")
    except OSError as error:
        fail(f"cannot read {file}: {error.strerror}", CANNOT_USE)
    except UnicodeDecodeError:
        fail(f"{file} is not text (UTF-8): save it as plain text.", CANNOT_USE)


def write(file: Path, content: bytes, say: Callable[[str], object] | None = None) -> None:
    """Write a file named on the command line, whole or not at all, and say so; `say` is for where a progress bar owns the terminal."""
    from tracer.entry.files import NotWritten, write_whole

    try:
        write_whole(file, content, spare=typed_files(), spare_endings=TYPED_ENDINGS)
    except NotWritten as error:
        fail(str(error), CANNOT_USE)
    (say or tell)(f"wrote {file}")


def tell_open(module: str, completeness: Completeness) -> None:
    """Beside a file that was written: that the list in it is not complete, where it is not."""
    from tracer.report.completeness import list_words

    if not completeness.complete:
        tell(list_words(module, completeness))


TYPED_ENDINGS = (".yaml", ".yml", ".case")  # of no output; behind a link one may be meant, of another vehicle too


def typed_files() -> Iterable[Path]:
    """What an output must never be written over."""
    folder = Path(chosen.folder)
    yield from (folder / "vehicle.yaml", folder / "types.yaml", folder / "sheets")


# --- the output ------------------------------------------------------------------------------------------------------


def show(content: Mapping[str, Any] | str) -> None:
    """Text or JSON to standard output."""
    written = content if isinstance(content, str) else _as_json(content)
    stream = sys.stdout
    if hasattr(stream, "reconfigure"):  # whatever a name holds and the terminal can show, the output comes out
        stream.reconfigure(errors="tracer.text" if isinstance(content, str) else "tracer.json")
    try:
        stream.write(written)
        stream.flush()
    except (
        BrokenPipeError
    ):  # the reader (head, less) has gone: what was asked is answered all the same, and so is the exit status
        drop_output()
    except OSError as error:
        drop_output()
        fail(f"cannot write the output: {error.strerror}", CANNOT_USE)


def _as_json(content: Mapping[str, Any]) -> str:
    from tracer.report.plain_data import json_text

    return json_text(content)


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


def drop_output() -> None:
    """Nobody takes the rest: Python must not complain when it closes the stream."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
