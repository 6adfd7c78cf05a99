"""The command itself, and what every command has: the folder, the width of text, bold type."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from tracer.entry.visible import visible

typer.core.HAS_RICH = (
    False  # the help is plain text; where rich is installed, backslashes would stand before its brackets
)


_Refused: Any = typer.BadParameter.__base__  # of all that is wrong usage: newer versions of the library bring their own


@contextlib.contextmanager
def _seen_as_typed() -> Iterator[None]:
    """What the library refuses it quotes as it came: on a terminal that must do nothing."""
    try:
        yield
    except _Refused as refused:
        refused.message = "\n".join(visible(line) for line in refused.message.split("\n"))
        raise


class _SharedOptionsAnywhere(typer.core.TyperGroup):
    """The commands, whose shared options may stand before the command or behind it: `tracer supplies ALM --width 40`."""

    def invoke(self, ctx: Any) -> Any:
        with _seen_as_typed():
            return super().invoke(ctx)

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        with _seen_as_typed():
            return super().parse_args(ctx, self._in_front(args))

    @staticmethod
    def _in_front(args: list[str]) -> list[str]:
        front, rest, words = [], [], iter(args)
        for word in words:
            if word == "--":  # what stands behind is no option
                rest += [word, *words]
            elif word == "--plain" or word.startswith(tuple(f"{name}=" for name in _WITH_A_VALUE)):
                front.append(word)
            elif word in _WITH_A_VALUE:
                if (value := next(words, None)) is None:
                    raise typer.BadParameter("a value is missing behind it", param_hint=word)
                front += [word, value]
            else:
                rest.append(word)
        return front + rest


_WITH_A_VALUE = ("-C", "--folder", "--width", "--decimal")

app = typer.Typer(
    cls=_SharedOptionsAnywhere,
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    help="Type a wiring diagram in as it is drawn; get every supply and ground of a control module, where to probe each, and what is still unknown.",
    epilog="The options may also stand behind the command. Exit status: 0 done and complete, 1 the input cannot be used, 2 wrong usage, 3 done but loose ends remain, or the answer rests on something not typed in.",
)


@dataclass
class Options:
    """What was said before the command."""

    folder: Path = Path()
    width: int | None = None
    bold: bool | None = None  # None: where the output is a terminal
    decimal: str = "."  # the mark in text and on paper; JSON and CSV always have the point


chosen = Options()


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
        typer.Option("--width", help="Columns of text, 40 to 400; the terminal's width by default."),
    ] = None,
    decimal: Annotated[
        str,
        typer.Option(
            "--decimal",
            metavar="point|comma|locale",
            envvar="TRACER_DECIMAL",
            help="The decimal mark in text and on paper; JSON and CSV always have the point.",
        ),
    ] = "point",
    plain: Annotated[bool, typer.Option("--plain", help="No bold type, also on a terminal.")] = False,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Options that every command has."""
    if (
        width is not None and not 40 <= width <= 400
    ):  # said here, since each version of the library words it in its own way
        raise typer.BadParameter(f"{width} is not in the range 40<=x<=400", param_hint="--width")
    chosen.folder, chosen.width, chosen.bold = folder, width, False if plain else None
    chosen.decimal = _mark(decimal)


def _mark(word: str) -> str:
    """The decimal mark that a word of --decimal stands for."""
    if word == "locale":
        import locale

        try:
            locale.setlocale(locale.LC_NUMERIC, "")
        except locale.Error:  # the environment names a locale that this machine does not have: as if it named none
            return "."
        return "," if locale.localeconv()["decimal_point"] == "," else "."
    marks = {"point": ".", "comma": ","}
    if word not in marks:
        raise typer.BadParameter(f"{word} is no decimal mark: write point, comma or locale", param_hint="--decimal")
    return marks[word]
