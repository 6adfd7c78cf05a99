"""What `tracer next` answers with, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.case.proof import Verdict


@dataclass(frozen=True, slots=True)
class Explains:
    """One thing that explains the readings: its `share` of all that does, how it fails, what speaks for and against it.

    What no measurement that is left tells apart has the same number of a `group`.
    """

    what: str
    share: float
    how: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    group: int = 0


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement: what to set before, what to type, what each outcome would mean, and what it costs in effort."""

    short: str
    set_before: tuple[str, ...]
    by_hand: tuple[str, ...]
    typed: str
    outcomes: tuple[tuple[str, str], ...]
    effort: float
    place: str


@dataclass(frozen=True, slots=True)
class Next:
    """The measurement to take next; `aim` is find or prove, `of` the row that failed. Without a measurement `why_not` says why.

    `by_hand` is what may be done beside it, each with what it would mean; `surprise` is said where a reading is taken once more before it counts. `possible` is what may
    still be wrong while every reading is in order and the symptom was there, the likeliest first. `outweighed` are the readings that are not weighed, since later ones outweigh them.
    """

    aim: str
    of: str
    measurement: Measurement | None
    why_not: str
    explains: tuple[Explains, ...]
    verdict: Verdict
    by_hand: tuple[tuple[str, str], ...] = ()
    surprise: str = ""
    possible: tuple[Explains, ...] = ()
    outweighed: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether there is a measurement."""
        return self.measurement is not None


__all__ = ["Explains", "Measurement", "Next"]
