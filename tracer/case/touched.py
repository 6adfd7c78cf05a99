"""Which readings no longer hold, because something on their way was touched after they were taken."""

from __future__ import annotations

from collections.abc import Iterable

from tracer.case.case import Case, Note
from tracer.case.readings import Reading
from tracer.plan.words import UnknownName

TOUCHING = ("repair", "unplugged", "seated", "moved")


def is_stale(case: Case, name: str, one: Reading) -> bool:
    """Whether something on the way of a row, or on the lines of a bus, was touched after a reading."""
    return touched_since(case, name, one) is not None


def touched_since(case: Case, name: str, one: Reading) -> Note | None:
    """The first note after a reading by which something on the way of its row, or on the lines of its bus, was touched; None where nothing was.

    A word that the plan does not know (from a file that was written by hand or by an earlier program) may be anything, so it touches everything.
    """
    after = (note for note in case.notes if note.kind in TOUCHING and note.n > one.n)
    return next((note for note in after if any(lies_on(case, name, word) for word in note.words)), None)


def stale_words(case: Case, name: str, found: Iterable[Reading]) -> str:
    """'7.2 no longer counts since entry 12 (repair X4, 09:45)', of each entry that made readings stale; empty where none did."""
    by: dict[int, tuple[Note, list[str]]] = {}
    for one in found:
        if (note := touched_since(case, name, one)) is not None:
            by.setdefault(note.n, (note, []))[1].append(one.id)
    return "; ".join(
        f"{', '.join(ids)} no longer count{'s' if len(ids) == 1 else ''} since entry {note.n} ({note.kind} {', '.join(case.short(word) for word in note.words if lies_on(case, name, word))}, {note.at[11:16]})"
        for note, ids in by.values()
    )  # fmt: skip


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


__all__ = ["TOUCHING", "is_stale", "lies_on", "stale_words", "touched_since", "unseated"]
