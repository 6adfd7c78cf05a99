"""One law for all answers: with something loose or assumed anywhere, none says that it is complete without saying what about.

Tried on the vehicles of every construct and on the demo: one wire that leads nobody knows where, or one run that is only assumed, at any point. The oracle
for a list is what its rows hold when the run is not there at all.
"""

from __future__ import annotations

import json
import os
import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
import typer

from tests.commands import commands, run
from tracer.circuit import join
from tracer.cli import app
from tracer.entry import CannotUse, Typed, read_folder
from tracer.entry.models import PanelFacts
from tracer.entry.runs import Run, read_run
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parent.parent.parent
CONSTRUCTS = ROOT / "tests" / "constructs"
FOLDERS = [*sorted(folder.parent for folder in CONSTRUCTS.glob("*/vehicle.yaml")), ROOT / "circuits" / "minibus"]
# Answers about all that is typed in: nothing loose is elsewhere for them.
WHOLE = frozenset({"check", "panel", "draw", "affects", "common"})


@cache
def _typed(folder: Path) -> Typed:
    return read_folder(folder)


def _one_of(folder: Path, trial: int = 0) -> random.Random:
    return random.Random(f"{folder.name} {trial}")


def _asked(tracing: Tracing, scratch: Path, modules: list[str]) -> Iterator[list[str]]:
    """One call of each command, and a panel held against what is plugged in."""
    yield from commands(tracing, modules, scratch)
    for part in tracing.circuit.parts.values():
        if isinstance(part.facts, PanelFacts) and part.facts.positions:
            yield ["panel", part.name, "--saw", f"{next(iter(part.facts.positions))}:ok"]
            return


# Commands that are not among those above, and why.
NOT_ASKED = {
    **dict.fromkeys(("demo", "watch"), "the list of `supplies`"),
    **dict.fromkeys(("pocket", "desk"), "a page with the list of `supplies`: tests/page"),
    **dict.fromkeys(("case", "read", "next", "proof", "report"), "about a case, which keeps what its list rested on: tests/case"),
    **dict.fromkeys(("new", "take-in", "write-out", "compare", "read-back"), "about what is typed, not about the circuit"),
    **dict.fromkeys(("cautions", "sources"), "about no vehicle"),
}  # fmt: skip


def test_every_command_is_asked_or_is_said_why_not(tmp_path: Path) -> None:
    tracing = Tracing(join(_typed(ROOT / "circuits" / "minibus")))
    asked = {arguments[0] for arguments in _asked(tracing, tmp_path, ["ALM"])}
    every = set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
    assert every - asked == NOT_ASKED.keys(), "tests/commands.py calls every command that answers"


def _word(text: str) -> str:
    """The first word about completeness, as it stands in a text."""
    flat = " ".join(text.split())
    found = [(flat.find(word), word) for word in ("NOT COMPLETE", "COMPLETE IF", "COMPLETE") if word in flat]
    assert found, text[:400]
    return min(found, key=lambda one: (one[0], -len(one[1])))[1].lower()


def _answers(tracing: Tracing, scratch: Path, modules: list[str]) -> dict[str, tuple[str, int]]:
    """The state of each answer, and how many loose ends it says are elsewhere; text, JSON and exit status are held against each other."""
    found = {}
    for arguments in _asked(tracing, scratch, modules):
        said = " ".join(arguments)
        status, text = run(tracing, arguments)
        if status == 1:
            assert "No pin is called `bus NAME LINE`" in text or "not computed" in text or "no steady" in text, (
                said,
                text,
            )
            continue
        assert status in (0, 3), (said, text)
        if arguments[0] == "diagram":
            data = None
            state, elsewhere = _word(text), int("elsewhere in the vehicle" in " ".join(text.split()))
        else:
            data = json.loads(text if "--json" in arguments else run(tracing, [*arguments, "--json"])[1])
            completeness = data["completeness"]
            state, elsewhere = completeness["state"], completeness["loose_elsewhere"]
            assert data["complete"] is (state == "complete"), said
            words = data.get("status", text).replace(
                "Wiring list complete;", "COMPLETE;"
            )  # on the sheet nothing else is
            if arguments[0] != "bus":  # several buses have a first line each
                assert _word(words) == state, (said, words[:400])
                for condition in completeness["conditions"][:3]:
                    assert condition in " ".join(words.split()), said
            if elsewhere and "--saw" not in arguments:
                assert "elsewhere in the vehicle" in " ".join(words.split()), said
        assert status == (0 if state == "complete" else 3), said
        found[said] = (state, elsewhere)
    return found


def _modules(tracing: Tracing, chance: random.Random) -> list[str]:
    names = sorted(part.name for part in tracing.circuit.modules())
    return names if len(names) < 3 else sorted(chance.sample(names, 2))


def _with_run(typed: Typed, text: str) -> Tracing | None:
    """The vehicle with one more run; None where it cannot be typed there."""
    read, wires, slips = read_run(text, "iec")
    assert not slips
    try:
        return Tracing(join(replace(typed, runs=(*typed.runs, Run(0, text, 1, 1, read, wires, "diagram")))))
    except CannotUse as refused:
        assert refused.problems
        return None


def _somewhere(typed: Typed, chance: random.Random) -> Tracing:
    """The vehicle with a wire that leads nobody knows where, from any point that a run names."""
    points = sorted({point.text for one in typed.runs for point in one.points if point.part and not point.is_reference})
    chance.shuffle(points)
    for point in points:
        if (found := _with_run(typed, f"{point} -- RD 1 -- ?")) is not None:
            return found
    raise AssertionError("no point takes a wire")


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_text_json_and_exit_status_agree(folder: Path, tmp_path: Path) -> None:
    tracing = Tracing(join(_typed(folder)))
    assert len(_answers(tracing, tmp_path, _modules(tracing, _one_of(folder)))) > 6


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_wire_that_leads_nobody_knows_where_is_seen_by_every_answer(folder: Path, tmp_path: Path) -> None:
    chance = _one_of(folder)
    tracing = _somewhere(_typed(folder), chance)
    found = _answers(tracing, tmp_path, _modules(tracing, chance))
    for said, (state, elsewhere) in found.items():
        about_all = said.split()[0] in WHOLE and "--saw" not in said
        assert state == "not complete" or (elsewhere and not about_all), said


def _rows(tracing: Tracing, module: str) -> object:
    return [
        (row.point, row.level, [fuse.part for fuse in row.fuses], [end.id for end in row.ends], {probe.at for probe in row.probes})
        for row in supplies_of(tracing, module).rows
    ]  # fmt: skip


@pytest.mark.parametrize("trial", range(20 if os.environ.get("TRACER_TESTS") == "thorough" else 1))
@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_no_answer_that_hangs_on_an_assumed_run_is_complete(folder: Path, trial: int, tmp_path: Path) -> None:
    typed = _typed(folder)
    chance = _one_of(folder, trial)
    number = chance.randrange(len(typed.runs))
    before, after = typed.runs[:number], typed.runs[number + 1 :]
    tracing = Tracing(join(replace(typed, runs=(*before, replace(typed.runs[number], seen="assumed"), *after))))
    modules = _modules(tracing, chance)
    found = _answers(tracing, tmp_path, modules)
    for said, (state, _) in found.items():
        if said.split()[0] in WHOLE and "--saw" not in said:
            assert state != "complete", said
    try:
        without = Tracing(join(replace(typed, runs=(*before, *after))))
    except CannotUse as refused:
        assert refused.problems
        return
    whole = Tracing(join(typed))
    for module in modules:
        if _rows(whole, module) != _rows(without, module):
            assert supplies_of(tracing, module).completeness.state != "complete", module
            for command in ("supplies", "states", "volts"):
                assert found.get(f"{command} {module}", ("", 0))[0] != "complete", (command, module)
