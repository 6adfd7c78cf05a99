"""The command line: arguments in, one call of the front door, exit status out. No logic of its own.

Exit status: 0 done and complete, 1 the input cannot be used, 2 wrong usage, 3 done but loose ends remain, or the answer rests on something not typed in.

A command is a function with the decorator of `app`; it asks the front door (`import tracer`) through `answer` and names the texts that show what it gets.
"""

from __future__ import annotations

import gc
import os
import sys

# Each registers its commands with `app`; in this order the help lists them.
from tracer.cli import start, typing_in, watching, lists, figures, paper, case  # isort: skip
from tracer.cli.answer import COMPLETE, drop_output
from tracer.cli.app import app

__all__ = ["app", "case", "figures", "lists", "main", "paper", "start", "typing_in", "watching"]


def main() -> None:
    """The `tracer` command."""
    if sys.stdout is None:  # closed by whoever called, who wants the exit status only
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - open until the process ends
    gc.disable()  # one question, one answer, then the process ends: collecting only costs time
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # none is used; to look for them costs time too
    try:
        app()
    except BrokenPipeError:  # from the help, which is not written by `show`
        drop_output()
        sys.exit(COMPLETE)
    finally:
        gc.freeze()  # or Python would look through all of it once more before it ends, which takes as long as reading a vehicle
