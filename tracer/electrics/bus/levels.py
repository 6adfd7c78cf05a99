"""Expected levels of the lines, by kind of bus."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.electrics.bus.values import KINDS, LevelLine
from tracer.electrics.volts.not_computed import why_no_lin_levels
from tracer.standards import bus as tables
from tracer.standards import figures
from tracer.standards.limits import battery_open_circuit
from tracer.standards.sources import said


def levels_of(kind: str, system_v: int) -> Iterator[LevelLine]:
    """What each line reads against ground in each state, by the standard of the kind of bus, or why that is not computed."""
    name = KINDS.get(kind)
    if name is None:
        return
    if name == "LIN":
        if reason := why_no_lin_levels(system_v):
            yield LevelLine("all states", "LIN", None, None, None, reason, "")
            return
        yield from _lin_levels()
    for level in tables.levels(name):
        source = said(level.certainty, level.source)
        yield LevelLine(level.state, level.line, level.min_v, level.nominal_v, level.max_v, level.condition, source)
    for one in tables.situations(name):
        source = said(one.certainty, one.source)
        yield LevelLine(one.situation, one.line, one.min_v, one.nominal_v, one.max_v, one.note, source)


def _lin_levels() -> Iterator[LevelLine]:
    full = battery_open_circuit()[0].voltage_v
    recessive = tables.lin_level_v("transmitter, recessive at least", full)
    dominant = tables.lin_level_v("transmitter, dominant at most", full)
    yield LevelLine(
        "recessive (at rest)",
        "LIN",
        recessive.value,
        None,
        full,
        f"supply {figures.stated(full, 'V')}",
        said(recessive.certainty, recessive.source),
    )
    yield LevelLine(
        "dominant",
        "LIN",
        0.0,
        None,
        dominant.value,
        f"supply {figures.stated(full, 'V')}",
        said(dominant.certainty, dominant.source),
    )
