"""How every output shows what is to be minded: counted in the first lines, told once, named at each row and point that it concerns."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import Any

from tracer.report.layout import Page, counted
from tracer.standards.hazards import HAZARDS
from tracer.trace.minding import CAUTION, HAZARD, NOTE, Minded, Minding

_NOTES_LINES = 2  # of a short form


def first_words(minding: Minding) -> str:
    """'2 HAZARDS: restraint (RCM), hot (EXH). 1 caution.'; empty where there is nothing but notes."""
    hazards, cautions = minding.of(HAZARD), minding.of(CAUTION)
    words = []
    if hazards:
        words.append(f"{counted(len(hazards), 'HAZARD', 'HAZARDS')}: {_by_kind(hazards)}.")
    if cautions:
        words.append(f"{counted(len(cautions), 'caution')}.")
    return " ".join(words)


def _by_kind(hazards: Iterable[Minded]) -> str:
    kinds: dict[str, list[str]] = {}
    for one in hazards:
        kinds.setdefault(one.hazard, []).append(one.of + (", by its name" if one.called else ""))
    return ", ".join(f"{kind} ({'; '.join(whose)})" for kind, whose in kinds.items())


def opening(page: Page, minding: Minding) -> None:
    """The first line about hazards, and each hazard and caution once."""
    if words := first_words(minding):
        page.line(words, strong=True)
    for line in lines(minding, HAZARD, CAUTION):
        page.line(f"- {line}", indent=2, hang=4)


def notes(page: Page, *mindings: Minding, told: Collection[str] = ()) -> None:
    """What was typed as a note about what is shown, without the notes of those that are `told` beside them."""
    left = dict.fromkeys(replace(one, at=()) for minding in mindings for one in minding.of(NOTE) if one.of not in told)
    found = lines(Minding(tuple(left)), NOTE)
    if found:
        page.heading("Notes")
    for line in found:
        page.line(line, indent=2, hang=4)


def notes_line(page: Page, *mindings: Minding, column: int = 7, rest: str = "--all") -> None:
    """The notes of a short form, in one labelled paragraph of few lines: that of the vehicle last, and how many more `rest` shows."""
    left = dict.fromkeys(replace(one, at=()) for minding in mindings for one in minding.of(NOTE))
    in_order = sorted(left, key=lambda one: one.of == "vehicle")
    found = [words.rstrip(".") for words in lines(Minding(tuple(in_order)), NOTE)]
    for shown in range(len(found), 0, -1):
        more = f"; and {len(found) - shown} more: {rest}" if shown < len(found) else ""
        text = "; ".join(found[:shown]) + more
        if shown == 1 or page.height_of(text, column) <= _NOTES_LINES:
            page.labelled("notes", text, indent=0, column=column)
            break


def lines(minding: Minding, *kinds: str) -> list[str]:
    """What is said, once: hazards of one kind in one line with whose they are, every caution and note in a line of its own."""
    said: dict[tuple[str, str], list[str]] = {}
    for one in (one for kind in kinds for one in minding.of(kind)):
        guess = f" (called `{one.called}`; type `hazard: none` if it is no such part)" if one.called else ""
        said.setdefault((one.kind, one.words), []).append(one.of + guess)
    return [
        f"{words.rstrip('.')}: {', '.join(whose)}" if kind == HAZARD else f"{', '.join(whose)}: {words}"
        for (kind, words), whose in said.items()
    ]


def mark(minding: Minding, *names: str) -> str:
    """What stands at a row or point: 'restraint (RCM)', 'caution (FAN)'; empty where nothing is to be minded."""
    return ", ".join(
        f"{one.hazard or 'caution'} ({one.of})" for one in minding.at(*names) if one.kind in (HAZARD, CAUTION)
    )


def withheld(minding: Minding, *names: str) -> str:
    """What stands in place of every method and figure at a part or point; empty where they are given."""
    found = (HAZARDS[one.hazard].withheld for one in minding.at(*names) if one.hazard)
    return next((words for words in found if words), "")


def labelled(page: Page, minding: Minding, *names: str, indent: int = 4) -> None:
    """The line of a row about its hazards and cautions."""
    found = [one for one in minding.at(*names) if one.kind in (HAZARD, CAUTION)]
    if any(one.hazard for one in found):
        page.labelled("hazard", mark(minding, *names), indent=indent)
    elif found:
        page.labelled("caution", ", ".join(one.of for one in found), indent=indent)


def marked(text: str, minding: Minding, *names: str) -> str:
    """The text of a table's cell with its mark behind."""
    words = mark(minding, *names)
    return f"{text} [{words}]" if words else text


def cell(minding: Minding, *names: str) -> str:
    """All that is to be minded in a line of a CSV file."""
    return "; ".join(_cell_words(one) for one in minding.at(*names))


def _cell_words(one: Minded) -> str:
    return f"HAZARD {one.hazard} ({one.of})" if one.hazard else f"{one.kind} ({one.of}): {one.words}"


def notes_at(minding: Minding, *names: str) -> str:
    """The notes and cautions of a line of a CSV file that has its hazards already."""
    return "; ".join(_cell_words(one) for one in minding.at(*names) if not one.hazard)


def everywhere(minding: Minding) -> list[str]:
    """What concerns a whole answer, for lines of their own at the end of a CSV file."""
    return [_cell_words(one) for one in minding.things if not one.at]


def minding_data(minding: Minding) -> list[dict[str, Any]]:
    """Each thing once, with the names of the parts and points that it concerns (none: all of the answer)."""
    return [
        {
            "kind": one.kind,
            "of": one.of,
            "hazard": one.hazard or None,
            "called": one.called or None,
            "words": one.words,
            "at": list(one.at),
        }
        for one in minding.things
    ]
