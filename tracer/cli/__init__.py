"""The command line: arguments in, one call of the front door, exit status out. No logic of its own.

Exit status: 0 done and complete, 1 the input cannot be used, 2 wrong usage, 3 done but loose ends remain, or the answer rests on something not typed in.

A command is a function with the decorator of `app`; it asks the front door (`import tracer`) through `answer` and names the texts that show what it gets.
"""

from __future__ import annotations

import gc
import io
import os
import sys

from tracer.cli.interrupted import INTERRUPTED, ends_at_once, from_now_on

with ends_at_once():
    # Each registers its commands with `app`; in this order the help lists them.
    from tracer.cli import start, typing_in, watching, lists, figures, paper, vehicle_page, case  # isort: skip
    from tracer.cli.answer import CANNOT_USE, COMPLETE, drop_output, tell
    from tracer.cli.app import app

__all__ = ["app", "case", "figures", "lists", "main", "paper", "start", "typing_in", "vehicle_page", "watching"]


def main() -> None:
    """The `tracer` command. Whatever happens, it ends with a line that says so and an exit status, never with a traceback (`TRACER_TRACEBACK=1` shows one)."""
    if sys.stdout is None:  # closed by whoever called, who wants the exit status only
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - open until the process ends
    elif isinstance(getattr(sys.stdout, "buffer", None), io.RawIOBase):
        # PYTHONUNBUFFERED: what the disk has no room for in one piece would be dropped without a word, and a list cut short reads as a shorter one
        sys.stdout = open(sys.stdout.fileno(), "w", buffering=1, encoding=sys.stdout.encoding, errors=sys.stdout.errors, closefd=False)  # noqa: SIM115  # fmt: skip
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115
    gc.disable()  # one question, one answer, then the process ends: collecting only costs time
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # none is used; to look for them costs time too
    try:
        app()
    except BrokenPipeError:  # from the help, which is not written by `show`
        drop_output()
        sys.exit(COMPLETE)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    except Exception as error:
        if os.environ.get("TRACER_TRACEBACK"):
            raise
        drop_output()
        tell(_what_happened(error))
        sys.exit(CANNOT_USE)
    finally:
        from_now_on()
        gc.freeze()  # or Python would look through all of it once more before it ends, which takes as long as reading a vehicle


def _what_happened(error: Exception) -> str:
    """One line for what no command foresaw."""
    if isinstance(error, ModuleNotFoundError) and error.name and not error.name.startswith("tracer"):
        package = _PACKAGES.get(error.name, error.name)
        return f"this needs the Python package {package}, which is not installed: `pip install {package}`."
    if isinstance(error, OSError):
        name = f" {error.filename}" if error.filename else ""
        return f"cannot go on:{name} {error.strerror or error}".replace("  ", " ")
    if isinstance(error, MemoryError):
        return "cannot go on: there is not enough memory."
    from tracer.entry.problems import fault  # here: what is missing may be what it needs

    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    where = f" at {os.path.basename(at.tb_frame.f_code.co_filename)}:{at.tb_lineno}" if at is not None else ""
    return f"{fault(error, where)}. Nothing is concluded. Please report it; TRACER_TRACEBACK=1 shows all of it."


_PACKAGES = {"yaml": "PyYAML"}  # called otherwise where it is installed from
