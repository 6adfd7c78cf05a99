"""What dies when one of the parts that the page shows fails open."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tracer.circuit.model import Circuit
from tracer.report.affects import verdict
from tracer.trace.affects.dead_part import FEWER, LOST, SOME_STATES, Affected
from tracer.trace.affects.effects import AffectsReport
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

_SIGNS = {LOST: "lost", SOME_STATES: "lost in some key states", FEWER: "no longer certain"}


LARGE = 2_000  # links: beyond it what dies is worked out for the ways of the module only, since it takes a third of a second for each part


def is_large(circuit: Circuit) -> bool:
    """Whether only what lies on the ways of the module is asked for what dies without it."""
    return len(circuit.links) > LARGE


def without_data(tracing: Tracing, report: SupplyReport, parts: Iterable[str]) -> dict[str, Any]:
    """For each part the verdict, and by its number in `pins` each pin that loses something; pins of the module first.

    Much dies with many parts, all of it with the battery: each pin stands once with its words, or they would be half of the file of a large vehicle.
    """
    affected = tracing.once(Affected)
    words: dict[tuple[int, bool, str], int] = {}
    found = {part: _data(tracing, report, affected.report(part), words) for part in parts if part in tracing.circuit.parts and part != report.module}  # fmt: skip
    return {"pins": [{"node": node, "own": own, "words": said} for node, own, said in words], "parts": found}


def _data(tracing: Tracing, report: SupplyReport, asked: AffectsReport, words: dict[tuple[int, bool, str], int]) -> dict[str, Any]:  # fmt: skip
    effects = [(kind, one) for kind in _SIGNS for one in asked.of(kind)]
    effects.sort(key=lambda pair: pair[1].terminal.part != report.module)
    pins = []
    for kind, one in effects:
        states = f" ({', '.join(one.states)})" if kind == SOME_STATES else ""
        said = f"{tracing.circuit.title(one.terminal.part)} {one.terminal.pin}: {one.terminal.level} {_SIGNS[kind]}{states}"  # fmt: skip
        pins.append(words.setdefault((one.terminal.node, one.terminal.part == report.module, said), len(words)))
    return {
        "title": asked.target.words,
        "verdict": verdict(asked),
        "pins": pins,
        "gains": [f"{tracing.circuit.title(one.terminal.part)} {one.terminal.pin}: {one.terminal.level} though it should not be ({', '.join(one.states)})" for one in asked.gains],
    }  # fmt: skip


__all__ = ["without_data"]
