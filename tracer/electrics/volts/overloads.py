"""Fuses that carry more than their rating: which of them open in a short circuit, and which are overloaded in any state.

A fuse must carry 1.1 times its rating for 100 hours and open within half an hour at 1.35 times (`opens_at`). What lies between may open or not. Of
several on one way the one with the highest multiple of its rating is the quickest; with fuses of different families that is not certain, so the others are named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from tracer.circuit.model import LinkKind
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.described import FloatArray
from tracer.electrics.network.in_many_settings import Together
from tracer.electrics.volts.not_computed import said
from tracer.electrics.volts.rows import nominal_in_order
from tracer.electrics.volts.values import FLOWS_A, Opening, Overload, Shorted
from tracer.entry.models import FuseFacts
from tracer.entry.problems import listed
from tracer.standards.allowances import opens_at
from tracer.trace.affects.dead_part import target_of
from tracer.trace.tracing import Tracing

_ON_WAY = 0.05  # of what flows through the short: a fuse that carries so much more than in order is on its way
_ROUNDING = 1.001

__all__ = ["after_fuses", "overloads_of"]


def overloads_of(model: Model, branch_a: FloatArray) -> list[Overload]:
    """The fuses that carry more than their rating at (m,) nominal amperes, the highest multiple first."""
    found = [
        Overload(fuse, rating_a, amps)
        for fuse, rating_a, amps in _fuses(model, branch_a)
        if rating_a is not None and amps > _ROUNDING * rating_a
    ]
    return _quickest_first(found)


def after_fuses(
    tracing: Tracing, key: str, changes: Changes, limits: LimitsInUse, first: str
) -> tuple[Changes, Shorted | None]:
    """What is left of a vehicle with shorts when its fuses have opened, one after another, the quickest first; and what the shorts come to.

    Raises
    ------
    NotSettled : no state of rest on the way there
    """
    if not changes.shorts:
        return changes, None
    in_order: dict[int, float] = {}
    sound = model_of(tracing, key, changes.without_faults, limits=limits, first=first)
    together, nominal = nominal_in_order(Together([sound], asked=()), in_order)
    before_a = {fuse: amps for fuse, _, amps in _fuses(together.models[0], nominal.branch_a[:, 0])}
    given_a = _given_a(together.models[0], nominal.branch_a[:, 0])
    openings: list[Opening] = []
    shorted_a: list[float] = []
    fused = False
    while True:
        together, nominal = nominal_in_order(
            Together([model_of(tracing, key, changes, limits=limits, first=first)], asked=()), in_order
        )
        (model,), branch_a = together.models, nominal.branch_a[:, 0]
        shorted_a.append(_shorted_a(model, branch_a))
        if len(shorted_a) == 1:
            fed_by = _fed_by(given_a, _given_a(model, branch_a), shorted_a[0])
            behind = tuple(sorted({name for kind, name in fed_by if kind == "converter"}))
            if behind:
                limits_it = "which limits what it gives, to how much is not known: whether a fuse before it opens is not known either"
                why_not = said(f"the short is fed by converter {listed(behind, joiner='and')}, {limits_it}")
                return changes, Shorted((), shorted_a[0], shorted_a[0], False, behind=behind, not_computed=why_not)
        on_way = list(_on_way(model, branch_a, before_a, shorted_a[-1]))
        fused = fused or (not openings and bool(on_way))
        over = _quickest_first([one for one in on_way if one.rating_a is None or one.multiple > _ROUNDING])
        if not over or over[0].multiple < opens_at().value:
            unrated = tuple(one for one in over if one.rating_a is None)
            return changes, Shorted(
                tuple(openings), shorted_a[0], shorted_a[-1], fused, unrated, not fed_by and shorted_a[0] >= FLOWS_A
            )
        openings.append(Opening(over[0], tuple(over[1:])))
        changes = replace(changes, opened=(*changes.opened, target_of(tracing.circuit, over[0].fuse)))


def _given_a(model: Model, branch_a: FloatArray) -> dict[tuple[str, str], float]:
    """What each source gives, by its kind and its part."""
    found: dict[tuple[str, str], float] = {}
    for number, branch in enumerate(model.branches):
        if branch.closed and (branch.is_battery or branch.kind == "converter"):
            source = branch.kind, branch.part
            found[source] = found.get(source, 0.0) + float(branch_a[number])
    return found


def _fed_by(
    before_a: Mapping[tuple[str, str], float], given_a: Mapping[tuple[str, str], float], shorted_a: float
) -> list[tuple[str, str]]:
    """The sources that give a clear part of a short more than in order; none where it takes over what flowed before."""
    if shorted_a < FLOWS_A:
        return []
    return [one for one, amps in given_a.items() if amps - before_a.get(one, 0.0) >= _ON_WAY * shorted_a]


def _on_way(model: Model, branch_a: FloatArray, before_a: Mapping[str, float], shorted_a: float) -> Iterator[Overload]:
    """The fuses over which a short flows: what they carry has risen by a clear part of it. What a fuse carries in order is no matter of the short."""
    if shorted_a >= FLOWS_A:
        for fuse, rating_a, amps in _fuses(model, branch_a):
            if amps - before_a.get(fuse, 0.0) >= _ON_WAY * shorted_a:
                yield Overload(fuse, rating_a, amps)


def _quickest_first(found: Iterable[Overload]) -> list[Overload]:
    return sorted(found, key=lambda one: (-one.multiple, one.fuse))


def _fuses(model: Model, branch_a: FloatArray) -> list[tuple[str, float | None, float]]:
    """Every fuse that is closed, its rating (None where it is not known) and what it carries."""
    found = []
    for number, branch in enumerate(model.branches):
        if branch.link < 0 or not branch.closed or model.circuit.links[branch.link].kind is not LinkKind.FUSE:
            continue
        facts = model.circuit.parts[branch.part].facts
        rating_a = facts.amps if isinstance(facts, FuseFacts) else None
        found.append((branch.part, model.changes.fitted_a.get(branch.part, rating_a), abs(float(branch_a[number]))))
    return found


def _shorted_a(model: Model, branch_a: FloatArray) -> float:
    """The most that flows through one of the shorts that are supposed."""
    return max(
        (abs(float(branch_a[n])) for n, branch in enumerate(model.branches) if branch.kind == "short"), default=0.0
    )
