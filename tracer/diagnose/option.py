"""One measurement that could be taken, as plain values."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.case.readings import Conditions


@dataclass(frozen=True)
class Option:
    """One measurement that could be taken: a point or row under conditions; `label` is its band with each live fault, `good_v` what a lamp moves it by at most where it is in order."""

    name: str
    on: Conditions
    level: str
    label: tuple[int, ...]
    good_v: float
    effort: float
    seen: tuple[str, ...] = ()  # of a bus: each band in words

    @property
    def with_lamp(self) -> bool:
        """Whether it has a second value."""
        return self.on.lamp_w is not None


__all__ = ["Option"]
