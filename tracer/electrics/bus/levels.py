"""Expected levels of the lines, by kind of bus."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.electrics.bus.supply import LinSupply
from tracer.electrics.bus.values import ALL_STATES, KINDS, LevelLine
from tracer.electrics.volts.not_computed import said as not_computed
from tracer.standards import bus as tables
from tracer.standards import figures
from tracer.standards.sources import said


def levels_of(kind: str, supply: LinSupply | None) -> Iterator[LevelLine]:
    """What each line reads against ground in each state, by the standard of the kind of bus, or why that is not computed; `supply` is that of a LIN bus."""
    name = KINDS.get(kind)
    if name is None:
        return
    if supply is not None:
        if supply.why_not:
            yield LevelLine(ALL_STATES, "LIN", None, None, None, not_computed(supply.why_not), "")
            return
        yield from _lin_levels(supply)
    for level in tables.levels(name):
        source = said(level.certainty, level.source)
        yield LevelLine(level.state, level.line, level.min_v, level.nominal_v, level.max_v, level.condition, source)
    for one in tables.situations(name):
        source = said(one.certainty, one.source)
        yield LevelLine(one.situation, one.line, one.min_v, one.nominal_v, one.max_v, one.note, source)


def _lin_levels(supply: LinSupply) -> Iterator[LevelLine]:
    """Shares of what is left of the module's supply behind the diode before its transceiver."""
    least, most = (tables.lin_quantity(f"diode before the transceiver, {end}") for end in ("least", "most"))
    form = supply.system_v
    recessive = tables.lin_level_v("transmitter, recessive at least", supply.full_v - most.value, form)
    dominant = tables.lin_level_v("transmitter, dominant at most", supply.full_v - least.value, form)
    at = f"with {figures.stated(supply.full_v, 'V')} at the module's supply pin, and {figures.stated_range(least.value, most.value, 'V')} less behind its diode (from memory)"
    for state, low, high, level in (
        ("recessive (at rest)", recessive.value, supply.full_v, recessive),
        ("dominant", 0.0, dominant.value, dominant),
    ):
        yield LevelLine(state, "LIN", low, None, high, at, said(level.certainty, level.source))
