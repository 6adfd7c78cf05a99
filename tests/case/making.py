"""Cases made for tests: on a plan, in memory or in a file."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import tracer
from tracer.case.case import Case, case_in
from tracer.case.file import create
from tracer.case.opening import kept_plan
from tracer.case.readings import Conditions, Reading, Value
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parent.parent.parent
NOON = datetime(2026, 3, 31, 12, 0, tzinfo=UTC)
FACTS = {"complaint": "c", "by": "k", "km": "", "customer": ""}


@cache
def demo() -> Tracing:
    return Tracing(tracer.load(ROOT / "circuits" / "minibus"))


@cache
def demo_plan(module: str = "ALM") -> dict[str, Any]:
    return kept_plan(demo(), tracer.supplies(demo(), module), tracer.limits(demo()))


def opened(folder: Path, plan: dict[str, Any] | None = None) -> Case:
    """A case in a file."""
    create(folder / "a.case", {"kind": "open", "at": NOON.isoformat(), **FACTS, "plan": plan or demo_plan()})
    return case_in(folder / "a.case")


def in_memory(plan: dict[str, Any], readings: Iterable[Reading]) -> Case:
    """A case with these readings."""
    opening = {"kind": "open", "at": NOON.isoformat(), **FACTS, "plan": plan}
    return Case(Path("x.case"), opening, Conditions(), tuple(readings), {}, (), (), (), 99)


def reading(name: str, volts: Iterable[float], conditions: Conditions, number: int = 2) -> Reading:
    """A reading of these values, as a meter with two decimals shows them."""
    values = tuple(Value(f"{one:.2f}", round(one, 2)) for one in volts)
    return Reading(name, values, "", conditions, f"{number}.1", NOON.isoformat())


def true_pieces(plan_row: dict[str, Any], fault: str) -> set[str]:
    """The pieces that a resistance at a part or point lies in, or at the end of."""
    return {
        piece
        for piece, points in plan_row["ends"].items()
        if piece.partition(" (")[0] == fault or any(at == fault or at.startswith((f"{fault}.", f"{fault}:")) for at in points)
    }  # fmt: skip
