"""What the computed numbers allow one to say beforehand of a reading: what it would prove, and what it would not."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tracer.electrics.limits_in_use import LimitInUse
from tracer.electrics.volts.values import NO_CURRENT, ElementVolts, Range
from tracer.standards import figures

BACKFED_V = 1.0  # a dead pin above this is fed back


def verdicts_of(
    state: str,
    volts_v: float,
    lost: Range,
    copper_v: float,
    limit: LimitInUse,
    elements: Sequence[ElementVolts],
    *,
    flowing: bool,
    supply: bool,
) -> Iterator[str]:
    """What the numbers allow one to say beforehand."""
    if state not in ("live", "grounded"):
        yield from _backfed(state, volts_v, supply=supply)
        return
    what = "the whole way" if supply else "the whole way back"
    if not flowing:
        yield NO_CURRENT
        return
    guessed = [element for element in elements if element.assumed]
    resting = "with what was typed in" if not guessed else "by what was typed in and by default values"
    typed_copper_v = copper_v - sum(element.copper_v for element in guessed)
    typed_lost_v = lost.nominal - sum(element.drop_v.nominal for element in guessed)
    if typed_copper_v > limit.high:
        yield (
            f"copper alone loses {figures.volts(typed_copper_v)} here, above the limit of {figures.volts(limit.high)} for {what}: a good wire would be failed; "
            f"up to {figures.volts(lost.high)} is in order {resting}"
        )
    elif typed_lost_v > limit.high:
        most = max(elements, key=lambda element: element.drop_v.nominal)
        yield (
            f"in order about {figures.volts(typed_lost_v)} are lost here, above the limit of {figures.volts(limit.high)} for {what}, most of it in {most.name} ({figures.drop(most.drop_v.nominal)}): "
            f"the limit would fail a good circuit; up to {figures.volts(lost.high)} is in order {resting}"
        )
    elif lost.nominal > limit.high:
        yield (
            f"{len(guessed)} values on this way are not typed in: {figures.volts_ends(lost.low, lost.high)} V by default values cannot tell a good wire from a bad one; "
            f"type them in, or keep to the limit of {figures.volts(limit.high)}"
        )
    elif lost.high > limit.high:
        yield f"between {figures.volts(limit.high)} (limit) and {figures.volts(lost.high)} a reading can still be in order: type in what was assumed, or measure the current"
    else:
        yield f"above {figures.drop(lost.high)} there is more resistance than the wiring explains, although the limit passes {figures.volts(limit.high)}"
    for element in elements:
        if element.over and element.limit is not None and not element.assumed:
            where = f"{element.name} ({element.from_point} to {element.to_point})"
            yield f"{where} alone loses {figures.drop(element.drop_v.nominal)}, more than the {figures.volts(element.limit.high)} for it ({element.limit.item})"


def shown_by_state(state: str, in_order: str, volts_v: float, *, supply: bool) -> Iterator[str]:
    """What a supposed fault does to a pin that is then in another state than in order."""
    yield f"{state} in place of {in_order}: a reading shows it"
    yield from _backfed(state, volts_v, supply=supply)


def shown_by_drop(lost: Range, in_order: Range, limit: LimitInUse) -> str:
    """Whether the volts lost at a pin, plugged in, show what is supposed; `in_order` are those without it."""
    seen = f"in order {figures.drop(in_order.low)} to {figures.drop(in_order.high)} are lost"
    if in_order.low <= lost.nominal <= in_order.high:
        return (
            f"{figures.drop(lost.nominal)} lost, and {seen}: a reading here, plugged in, does not show what is supposed"
        )
    if lost.nominal < in_order.low:
        return f"{figures.drop(lost.nominal)} lost where {seen}: less than in order, for less current flows; a small drop here proves nothing"
    if lost.nominal <= limit.high:
        return f"{figures.drop(lost.nominal)} lost where {seen}: the drop shows it, although the limit of {figures.volts(limit.high)} passes it"
    return f"{figures.drop(lost.nominal)} lost where {seen}: the drop shows it"


def _backfed(state: str, volts_v: float, *, supply: bool) -> Iterator[str]:
    if volts_v <= BACKFED_V:
        return
    if supply:
        yield f"reads {figures.volts(volts_v)} although it is {state}: that comes back through a load or through the module, and is no supply"
    else:
        yield f"its way to ground is open and it is pulled up to {figures.volts(volts_v)} through the module or a load: a lost ground"
