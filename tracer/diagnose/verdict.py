"""The verdict, held against the weighing that `tracer next` ranks by, so that the two cannot name different places.

The rule says which pieces of a failed way good readings leave (`case/proof.py`). What they leave is found only where what explains all readings best
is not cleared by them; beside the pieces stands what is on no piece of that way and explains the readings as well: the coil of a contact that does not close and what feeds it, a short behind
a fuse, the clamp at the post. A piece that some reading speaks against is no longer named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tracer.case.case import Case
from tracer.case.proof import Verdict, before_repairs, failed_words, placed
from tracer.case.readings import Reading
from tracer.diagnose.counted import counted
from tracer.diagnose.find import Finding, surprising
from tracer.diagnose.likely import Weighed, weigh

_NO_NETWORK = {"why_not": "the case was opened by an earlier version of this program"}


def weighed_verdict(case: Case, by_rule: Verdict) -> Verdict:
    """What the case allows to be said, and what it allowed before anything was repaired."""
    said = agreed(case, by_rule)
    earlier = before_repairs(case)
    return said if earlier is None or said.before is None else replace(said, before=agreed(earlier, said.before))


def why_no_network(case: Case) -> str:
    """Why no volts are predicted in a case; empty where they are."""
    return str(case.plan.get("network", _NO_NETWORK).get("why_not", ""))


def agreed(case: Case, said: Verdict, weighed: Weighed | None = None, readings: Sequence[Reading] | None = None) -> Verdict:  # fmt: skip
    """A verdict by the rule, as the weighing bears it out; one that finds nothing is as it was, and so is one on readings of which nothing is predicted."""
    if not said.found_at or said.narrowed is None or why_no_network(case):
        return said
    readings = counted(case).readings if readings is None else readings
    weighed = weighed or weigh(case.plan, readings)
    failed = said.narrowed.row
    told = {one.reading.id for one in weighed.evidence}
    if not told.intersection(one.id for one in failed.by):
        return said
    left = _Left(case, weighed, said)
    best = int(np.argmax(weighed.share))
    own = [n for n in left.faults if weighed.faults[n].inside == case.plan["module"]]
    again = surprising(weighed, readings)
    if best in left.faults and again is None and not own:
        return placed(case, said, left.pieces, left.also)
    if again is not None:
        why = f"{left.finding.surprises(again)}, and was read once only"
    elif best in left.faults and own:
        why = f"{left.words(own[0])} explains them too, and nothing is said of the module while anything is open"
    elif best == 0:
        why = "a reading that is wrong explains them better than anything broken"
    else:
        why = f"what explains the readings best is {left.words(best)}, and good readings say that it is not there"
    return replace(
        said, kind="not proven", pieces=(), found_at="", blocked=(f"{why}: `tracer next` says what to read",), split_by="", list_open="",
        open=tuple(dict.fromkeys((*failed_words(said.rows), *said.open))),  # a row that failed stands first
    )  # fmt: skip


class _Left:
    """The faults that no reading speaks against, without those in pieces of the failed way that good readings clear."""

    def __init__(self, case: Case, weighed: Weighed, said: Verdict) -> None:
        assert said.narrowed is not None
        failed = said.narrowed.row
        self.weighed = weighed
        self.finding = Finding(case, weighed, failed.name, failed.by[-1].conditions)
        on_way = failed.name in case.plan["rows"]
        way = list(zip(case.plan["network"]["ways"][failed.name], case.plan["rows"][failed.name]["parts"], strict=True)) if on_way else []  # fmt: skip
        cleared = {n for n, words in way if words not in said.pieces}
        self.faults = [n for n in np.argsort(-weighed.share, kind="stable").tolist() if n and not self._spoken_against(n) and not (weighed.faults[n].pieces and cleared.issuperset(weighed.faults[n].pieces))]  # fmt: skip
        words = [self.words(n) for n in self.faults]
        # a piece that is not in the network (-1) is in no fault, and nothing speaks against it
        self.pieces = tuple(one for n, one in way if one in said.pieces and (n < 0 or one in words))
        self.also = tuple(one for one in words if one not in self.pieces)
        if not on_way:  # what is wrong with a bus is on no way
            self.pieces, self.also = self.also, ()

    def words(self, n: int) -> str:
        """A fault as `tracer next` names it."""
        return self.finding.words(self.weighed.faults[n])

    def _spoken_against(self, n: int) -> bool:
        return any(one.contradicts[self.weighed.best[n]] for one in self.weighed.evidence)


__all__ = ["agreed", "weighed_verdict", "why_no_network"]
