"""The pages that are made and not typed: rules, constructs, commands with what they print, cautions, sources, the first ten minutes.

Each as Markdown, by its name below `docs/`. Whatever is shown as printed is printed here, by the command itself.
"""

from __future__ import annotations

import contextlib
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest import mock

from typer.main import get_command
from typer.testing import CliRunner

from docs.site.rules import rules_page
from docs.site.shown import MORE, NOT_SHOWN, SHOWN
from tracer.cli import app
from tracer.standards.cautions import WORK_KINDS, cautions
from tracer.trace.rules.registry import all_rules

ROOT = Path(__file__).resolve().parents[2]
CONSTRUCTS = ROOT / "tests" / "constructs"


def pages() -> Iterator[tuple[str, str]]:
    """Each made page: its name and its text."""
    yield "rules.md", rules_page(all_rules())
    yield "start.md", _from_the_readme("The first ten minutes")
    yield "cautions.md", _cautions()
    yield "constructs.md", _constructs()
    yield from _commands()


def printed(line: str) -> str:
    """What a call prints, with the call before it and any exit status but 0 behind it.

    Raises
    ------
    RuntimeError : the call cannot be used
    """
    with mock.patch.dict("os.environ", {"COLUMNS": "80"}):
        done = CliRunner().invoke(
            app, ["--width", "80", *shlex.split(line)], prog_name="tracer", catch_exceptions=False
        )
    if done.exit_code not in (0, 3):
        raise RuntimeError(f"tracer {line}: exit status {done.exit_code}\n{done.output}")
    status = f"\n(exit status {done.exit_code})\n" if done.exit_code else ""
    return f"$ tracer {line}\n{done.output.rstrip()}\n{status}"


@contextlib.contextmanager
def beside_the_demo() -> Iterator[Path]:
    """A folder to work in, with the demo vehicles, a second typing of one of them and no case."""
    with TemporaryDirectory() as made:
        folder = Path(made)
        shutil.copytree(ROOT / "circuits", folder / "circuits")
        shutil.copytree(ROOT / "circuits" / "minibus", folder / "second-typing")
        sheet = next((folder / "second-typing" / "sheets").glob("05-*"))
        typed = sheet.read_text(encoding="utf-8")
        slipped = typed.replace("X3.10 -- RD/YE 0.75", "X3.10 -- RD/VT 0.75", 1)
        if slipped == typed:
            raise RuntimeError("the wire in which the second typing differs is no longer there")
        sheet.write_text(slipped, encoding="utf-8")
        (folder / "from-a-list").mkdir()
        state = {"TRACER_STATE": str(folder / "state"), "HOME": made}
        with contextlib.chdir(folder), mock.patch.dict("os.environ", state):
            yield folder


def _block(text: str) -> str:
    return f"\n```text\n{text.rstrip()}\n```\n"


def _from_the_readme(title: str) -> str:
    """One section of the README as a page: it is told there, once."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## )", readme, re.DOTALL | re.MULTILINE)
    if section is None:
        raise RuntimeError(f"README.md has no section {title!r}")
    return f"# {title}\n" + section[1].replace("](docs/", "](")


def _cautions() -> str:
    """Every caution, by kind of work; each once, under the first kind that it is said with."""
    lines = [
        "# Cautions\n\nThe tool knows what was typed in, not the vehicle. Each line stands in the output where it applies; `tracer cautions` prints them all.\n"
    ]
    for kind in WORK_KINDS:
        lines.append(f"\n## {kind.capitalize()}\n")
        for one in cautions():
            if one.kinds[0] == kind:
                also = f" Also: {', '.join(one.kinds[1:])}." if len(one.kinds) > 1 else ""
                note = f"; {one.note}" if one.note else ""
                lines.append(f"- {one.text}{also} *({one.source or one.certainty}{note})*")
    return "\n".join(lines) + "\n"


def _constructs() -> str:
    """Each example vehicle of `tests/constructs`: what is typed, and the list of its module."""
    text = "# Wiring that is drawn in an unusual way\n\nOne small vehicle for each construct: what is typed, and what `tracer supplies M` says of its module M. Everything in them is invented.\n"
    for folder in sorted(path.parent for path in CONSTRUCTS.glob("*/vehicle.yaml")):
        sheets = sorted((folder / "sheets").glob("*.yaml"))
        said, vehicle = (folder / "vehicle.yaml").read_text(encoding="utf-8").split("\n", 1)
        text += f"\n## {folder.name.replace('_', ' ').capitalize()}\n\n{said.removeprefix('# Invented. ')}\n"
        for name, typed in (
            ("vehicle.yaml", vehicle),
            *((path.name, path.read_text(encoding="utf-8")) for path in sheets),
        ):
            text += f"\n`{name}`\n\n```yaml\n{typed.strip()}\n```\n"
        with contextlib.chdir(folder):
            text += _block(printed("supplies M"))
    return text


def _commands() -> Iterator[tuple[str, str]]:
    """A page for each command: its help, and what calls of it print."""
    known = get_command(app).commands  # type: ignore[attr-defined]
    if unshown := set(known) ^ (set(SHOWN) | NOT_SHOWN):
        raise RuntimeError(f"docs/site/shown.py and the commands differ in: {', '.join(sorted(unshown))}")
    listed = [
        "# Commands\n",
        "Each with its help and with what it prints: run when these pages were made.\n",
        "| command | |",
        "|---|---|",
    ]
    with beside_the_demo():
        calls = {name: [printed(line) for line in lines] for name, lines in SHOWN.items()}
        for name in known:
            help_ = printed(f"{name} --help").split("\n", 1)[1]
            text = f"# tracer {name}\n{_block(help_)}"
            if name in MORE:
                text += f"\nMore: [{MORE[name].removesuffix('.md')}](../{MORE[name]})\n"
            if name in calls:
                text += "\n## What it prints\n" + "".join(map(_block, calls[name]))
            listed.append(f"| [`{name}`]({name}.md) | {_sentence(known[name].help)} |")
            yield f"commands/{name}.md", text
    names = "\n".join(known)
    yield "commands/index.md", "\n".join(listed) + f"\n\n```{{toctree}}\n:hidden:\n\n{names}\n```\n"


def _sentence(help_: str) -> str:
    """The first sentence of a command's help."""
    return re.split(r"(?<=[.?])\s", " ".join(help_.split()))[0].replace("|", "\\|")
