"""What lies between nets and opens and closes, and what was found of it while supply and ground spread (`states.py`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tracer.circuit.kinds import Link, LinkKind
from tracer.circuit.moves import Turn
from tracer.circuit.truths import Level


@dataclass(frozen=True, slots=True, eq=False)
class Gate:
    """A link between nets that something opens and closes: `mover` is what, by a name of its own (a diode has none)."""

    a: int
    b: int
    link: Link
    mover: str
    is_contact: bool
    of_relay: bool


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """Truths that are given, and what follows from them for what no relay moves: by key state and link, by turn and link, by turn and node of a source."""

    fixed: Mapping[str, bool] = field(default_factory=dict)
    known: dict[tuple[str, int], Level] = field(default_factory=dict)
    at_turn: dict[Turn, dict[int, Level]] = field(default_factory=dict)
    of_sources: dict[Turn, dict[int, Level]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """What supply and ground spread through: relays as they stand, and modules as far as they are alive.

    What was found of the gates that relays move, and of all others, which hang on the turn alone, is kept by the number of the link.
    """

    turn: Turn
    relays: Mapping[str, Level]
    held: Held
    alive: dict[str, Level]
    others: dict[int, Level] = field(default_factory=dict)
    of_relays: dict[int, Level] = field(default_factory=dict)


def leads_on(link: Link, supply: bool, *, forward: bool) -> bool:
    """Whether a gate can pass supply (or ground) on from its first end to its second, or (not `forward`) the other way."""
    if link.kind is LinkKind.DIODE:
        return forward is supply
    if link.kind is LinkKind.CONTACT:
        return True
    return supply and forward if link.kind is LinkKind.DRIVER_HIGH else not supply and not forward
