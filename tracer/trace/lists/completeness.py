"""Whether an answer is complete, and what that rests on: one value for every command, in words, in JSON and in the exit status."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from tracer.entry.problems import listed, natural

# What an answer may rest on, in the order in which it is said: as a condition about one thing, and about several.
_CONDITIONS: dict[str, tuple[str, str]] = {
    "source": (
        "{} is live as typed (its origin is not typed in)",
        "{} are live as typed (their origin is not typed in)",
    ),
    "ground": (
        "{} is joined with a battery negative (not typed in)",
        "{} are joined with a battery negative (not typed in)",
    ),
    "mass": ("{} sits on the body", "{} sit on the body"),
    "assumed": ("what is only assumed of {} is so",) * 2,
    "position": ("{} closes nothing more", "{} close nothing more"),
    "output": (
        "nothing comes from {}, an output that is not entered",
        "nothing comes from {}, outputs that are not entered",
    ),
    "net": ("nothing else drives {}",) * 2,
}


@dataclass(frozen=True, slots=True)
class Assumption:
    """One thing that is taken to be so and stands nowhere: what kind of thing, and which one."""

    kind: str
    at: str

    def __post_init__(self) -> None:
        if self.kind not in _CONDITIONS:
            raise ValueError(f"no such kind of assumption: {self.kind!r}")


@dataclass(frozen=True, slots=True)
class Completeness:
    """Whether an answer is complete.

    `loose` counts the loose ends it concerns, `differences` what two counts do not agree on, `uncounted` names the joints on its ways for which nobody has
    typed how many wires they hold, `elsewhere` counts loose ends that do not concern it. Only the last two leave it complete. `about` says what the answer
    is about: `list` (the ways to one module), `vehicle` (all that is typed in), `bus` (its lines), `buses` (several at once) or `plugged` (the positions of a panel, as seen).
    `not_looked_at` are pins that nobody has looked at, of the module or of one that the list goes through; `looked_at` counts the other pins of the module.
    """

    loose: int = 0
    differences: int = 0
    rests_on: tuple[Assumption, ...] = ()
    uncounted: tuple[str, ...] = ()
    elsewhere: int = 0
    about: Literal["list", "vehicle", "bus", "buses", "plugged"] = "list"
    not_looked_at: tuple[str, ...] = ()
    looked_at: int = 0

    @property
    def state(self) -> str:
        """`complete`, `complete if`, `not all looked at` or `not complete`."""
        if self.loose or self.differences:
            return "not complete"
        if self.not_looked_at:
            return "not all looked at"
        return "complete if" if self.rests_on else "complete"

    @property
    def complete(self) -> bool:
        """Whether nothing is loose, nothing differs and nothing had to be assumed."""
        return self.state == "complete"

    @property
    def word(self) -> str:
        """The state as the first word of an answer: 'COMPLETE', or 'COMPLETE for 42 pins; 11 not looked at'."""
        if self.state == "not all looked at":
            return f"COMPLETE for {self.looked_at} pins; {len(self.not_looked_at)} not looked at"
        return self.state.upper()

    @property
    def conditions(self) -> tuple[str, ...]:
        """What must be so for the answer to be complete, each in a few words."""
        return conditions(self.rests_on)

    @classmethod
    def of_all(cls, found: Sequence[Completeness]) -> Completeness:
        """Several answers as one: complete only where each is."""
        return cls(
            loose=sum(one.loose for one in found),
            differences=sum(one.differences for one in found),
            rests_on=tuple(dict.fromkeys(what for one in found for what in one.rests_on)),
            not_looked_at=tuple(dict.fromkeys(pin for one in found for pin in one.not_looked_at)),
            looked_at=sum(one.looked_at for one in found),
            uncounted=tuple(dict.fromkeys(name for one in found for name in one.uncounted)),
            elsewhere=max((one.elsewhere for one in found), default=0),
            about=found[0].about if found else "list",
        )


class Answer:
    """What every answer carries."""

    __slots__ = ()
    completeness: Completeness

    @property
    def complete(self) -> bool:
        """Whether nothing is loose, nothing differs and nothing had to be assumed."""
        return self.completeness.complete


def conditions(found: Iterable[Assumption]) -> tuple[str, ...]:
    """Assumptions in words, those of one kind together.

    >>> conditions([Assumption("mass", "G2"), Assumption("mass", "G1"), Assumption("source", "rail 30")])
    ('rail 30 is live as typed (its origin is not typed in)', 'G1 and G2 sit on the body')
    """
    by_kind: dict[str, set[str]] = {}
    for one in found:
        by_kind.setdefault(one.kind, set()).add(one.at)
    return tuple(
        words[len(by_kind[kind]) > 1].format(listed(sorted(by_kind[kind], key=natural), most=1000, joiner="and"))
        for kind, words in _CONDITIONS.items()
        if kind in by_kind
    )
