"""What is done by hand while something is read: a fused lead beside a piece of a way, a relay changed over, a connector wiggled or warmed.

A reading taken so says nothing of its row by itself; it speaks for and against what explains the readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tracer.case.readings import BadWord
from tracer.case.things import Things

BRIDGE, SWAP, WIGGLE = "bridge", "swap", "wiggle"
_SWAPPED, _WIGGLED = ("contact", "coil"), ("mating", "bussed")


@dataclass(frozen=True, slots=True)
class ByHand:
    """What is done, to what, and the pieces of the kept network that it is done to."""

    do: str
    to: str
    pieces: tuple[int, ...]

    @property
    def word(self) -> str:
        """As it is typed behind `hand=`."""
        return f"{self.do}:{self.to}"

    @property
    def called(self) -> str:
        """'a fused lead from F9.feed to F9.load', in words."""
        said = {BRIDGE: f"a lead beside {self.to}, with a fuse no larger than that of the way", SWAP: f"a like relay in place of {self.to}", WIGGLE: f"{self.to} wiggled or warmed"}  # fmt: skip
        return said[self.do]


def known(plan: Mapping[str, Any], word: str) -> ByHand | None:
    """What a word of a case means; None where its network is not kept, or knows no such piece."""
    do, _, to = word.partition(":")
    for n, piece in enumerate(plan.get("network", {}).get("pieces", ())):
        a, b = piece["ends"]
        if do == BRIDGE and to in (f"{a}-{b}", f"{b}-{a}"):
            return ByHand(do, to, (n,))
    kinds = {SWAP: _SWAPPED, WIGGLE: _WIGGLED}.get(do, ())
    pieces = plan.get("network", {}).get("pieces", ())
    found = tuple(n for n, piece in enumerate(pieces) if piece["part"] == to and piece["kind"] in kinds)
    return ByHand(do, to, found) if found else None


def understood(plan: Mapping[str, Any], things: Things, word: str) -> ByHand:
    """What was typed behind `hand=`.

    Raises
    ------
    BadWord : nothing is done so, or not to that
    UnknownName : nothing is called so
    """
    do, colon, to = word.partition(":")
    if not colon or do.casefold() not in (BRIDGE, SWAP, WIGGLE):
        raise BadWord(f"hand={word} is not understood: write hand=bridge:F9.feed-F9.load (a fused lead between the ends of one piece of a way), hand=swap:RELAY, hand=wiggle:CONNECTOR, or hand=none.")  # fmt: skip
    named = to if do.casefold() == BRIDGE else things.find(to)
    found = known(plan, f"{do.casefold()}:{named}")
    if found is None:
        what = {BRIDGE: "the two ends of one piece of a way of this list", SWAP: "a relay on a way of this list", WIGGLE: "a connector on a way of this list"}[do.casefold()]  # fmt: skip
        raise BadWord(f"hand={word}: {to} is not {what}.")
    never = {name for name, point in plan["points"].items() if point["never"]}
    if any(never.intersection(plan["network"]["pieces"][n]["ends"]) for n in found.pieces):
        raise BadWord(f"hand={word}: there nothing is done or measured, since a way with a hazard leads over it.")
    return found


__all__ = ["BRIDGE", "SWAP", "WIGGLE", "ByHand", "known", "understood"]
