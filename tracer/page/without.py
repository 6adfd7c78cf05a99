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
    """For each part the verdict, and each pin that loses something; pins of the module first."""
    affected = tracing.once(Affected)
    found = {}
    for part in parts:
        if part not in tracing.circuit.parts or part == report.module:
            continue
        found[part] = _data(tracing, report, affected.report(part))
    return found


def _data(tracing: Tracing, report: SupplyReport, asked: AffectsReport) -> dict[str, Any]:
    effects = [(kind, one) for kind in _SIGNS for one in asked.of(kind)]
    effects.sort(key=lambda pair: pair[1].terminal.part != report.module)
    return {
        "title": asked.target.words,
        "verdict": verdict(asked),
        "pins": [
            {
                "node": one.terminal.node,
                "own": one.terminal.part == report.module,
                "words": f"{tracing.circuit.title(one.terminal.part)} {one.terminal.pin}: {one.terminal.level} {_SIGNS[kind]}"
                + (f" ({', '.join(one.states)})" if kind == SOME_STATES else ""),
            }
            for kind, one in effects
        ],
        "gains": [f"{tracing.circuit.title(one.terminal.part)} {one.terminal.pin}: {one.terminal.level} though it should not be ({', '.join(one.states)})" for one in asked.gains],
    }  # fmt: skip


__all__ = ["without_data"]
