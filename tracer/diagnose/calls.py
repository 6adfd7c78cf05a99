"""What is asked of the current case: the front door of this folder."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tracer.case.calls import current_case
from tracer.case.case import Case
from tracer.case.proof import Verdict, verdict_of

if TYPE_CHECKING:
    from tracer.diagnose.values import Next


def next_measurement() -> tuple[Case, Next]:
    """The current case and where to measure next in it.

    Raises
    ------
    CannotCompute : no case is open, or it cannot be read
    """
    from tracer.diagnose.next import next_of

    found = current_case()
    return found, next_of(found)


def proof() -> tuple[Case, Verdict]:
    """The current case and what its readings prove.

    Raises
    ------
    CannotCompute : no case is open, or it cannot be read
    """
    found = current_case()
    said = verdict_of(found)
    if not (said.found_at or (said.before and said.before.found_at)):
        return found, said  # nothing is held against the weighing, which loads what solves networks
    from tracer.diagnose.verdict import weighed_verdict

    return found, weighed_verdict(found, said)


__all__ = ["next_measurement", "proof"]
