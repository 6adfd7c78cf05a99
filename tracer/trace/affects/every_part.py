"""What each part of a vehicle takes along when it opens: every part in one pass, one after the other, without the key states.

What all answers share (what feeds what, by which way) is worked out once. What is lost in some key states only is left out, and a loop that only holds itself
(a module that holds the relay that feeds it) counts as held: `dead_part` settles the key states for one part and sees both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from tracer.circuit.model import PartKind
from tracer.entry.problems import natural
from tracer.trace.affects.dead_part import Affected
from tracer.trace.affects.effects import Terminal
from tracer.trace.affects.still_fed import Dropped
from tracer.trace.affects.targets import either_partners, target_of
from tracer.trace.lists.basis import whole_vehicle
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class PartLoss:
    """What has no way left without a part: pins of modules and loads, and the relays, modules and converters that drop out with it."""

    part: str
    kind: str
    lost: tuple[Terminal, ...]
    dropped: tuple[Dropped, ...]


@dataclass(frozen=True, slots=True)
class EveryLoss(Answer):
    """Of every part that is fitted what it takes along, those first that take most."""

    vehicle: str
    parts: tuple[PartLoss, ...]
    completeness: Completeness
    minding: Minding = NOTHING


def every_loss(tracing: Tracing, told: Callable[[Iterator[PartLoss]], Iterable[PartLoss]] = iter) -> EveryLoss:
    """Of every part what it takes along; `told` sees each as it gets ready (a progress bar)."""
    found = sorted(told(_losses(tracing)), key=_order)
    report = EveryLoss(tracing.circuit.name, tuple(found), whole_vehicle(tracing))
    return replace(report, minding=minding_of(tracing, report))


def _losses(tracing: Tracing) -> Iterator[PartLoss]:
    """Of every part that is fitted; a panel is all of its positions and has no line of its own."""
    affected = tracing.once(Affected)
    unfitted = affected.fitted().reach.unfitted
    for part in tracing.circuit.parts.values():
        if part.kind is PartKind.PANEL or part.name in unfitted:
            continue
        target = target_of(tracing.circuit, part.name)
        fitted = affected.fitted(either_partners(tracing.circuit, target.parts))
        loss = fitted.reach.lost_by(target.opened)
        dropped = tuple(one for one in loss.dropped if one.part != part.name)
        told = {part.name, *(one.part for one in dropped if one.kind == "relay")}  # by its name, not by its coil
        lost = tuple(one for one in fitted.terminals if one.node in loss.at(one.level) and one.part not in told)
        yield PartLoss(part.name, target.kind, lost, dropped)


def _order(loss: PartLoss) -> tuple[int, int, list[tuple[int, int, str]]]:
    return -len(loss.lost), -len(loss.dropped), natural(loss.part)


__all__ = ["EveryLoss", "PartLoss", "every_loss"]
