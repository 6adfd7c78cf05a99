"""What is asked of the current case: the front door of this folder."""

from __future__ import annotations

from tracer.case.calls import current_case
from tracer.case.case import Case
from tracer.diagnose.next import Next, next_of


def next_measurement() -> tuple[Case, Next]:
    """The current case and where to measure next in it.

    Raises
    ------
    CannotCompute : no case is open, or it cannot be read
    """
    found = current_case()
    return found, next_of(found)


__all__ = ["next_measurement"]
