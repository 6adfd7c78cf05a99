"""Which readings no longer hold, because something on their way was touched after they were taken."""

from __future__ import annotations

from tracer.case.case import Case
from tracer.case.readings import Reading
from tracer.plan.words import UnknownName

TOUCHING = ("repair", "unplugged", "seated", "moved")


def is_stale(case: Case, name: str, one: Reading) -> bool:
    """Whether something on the way of a row, or on the lines of a bus, was touched after a reading.

    A word that the plan does not know (from a file that was written by hand or by an earlier program) may be anything, so it touches everything.
    """
    touched = list(dict.fromkeys(word for note in case.notes if note.kind in TOUCHING and note.n > one.n for word in note.words))  # fmt: skip
    return any(lies_on(case, name, word) for word in touched)


def unseated(case: Case, before: int | None = None) -> list[str]:
    """What was unplugged and is not seated again, now or before an entry."""
    loose: dict[str, None] = {}
    for note in case.notes:
        for word in note.words if before is None or note.n < before else ():
            if note.kind == "unplugged":
                loose[word] = None
            elif note.kind == "seated":
                loose.pop(word, None)
    return list(loose)


def lies_on(case: Case, name: str, word: str) -> bool:
    """Whether something lies on the way of a row or on the lines of a bus; so does what the plan does not know."""
    around = case.things.around(name)
    return around is None or (meant := _name(case, word)) is None or meant in around


def _name(case: Case, word: str) -> str | None:
    try:
        return case.things.find(word)
    except UnknownName:
        return None


__all__ = ["TOUCHING", "is_stale", "lies_on", "unseated"]
