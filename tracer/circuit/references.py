"""References between sheets: `ref A>B` is joined only with `ref B>A`, one with one, and only when both say the same wire.

Everything else about a reference is a loose end; `finding_of` says which.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tracer.circuit.model import Circuit, ReferenceEnd
from tracer.entry.runs import Run, Wire


@dataclass(frozen=True, slots=True)
class ReferenceFinding:
    """Why a reference is not joined: `kind` is unanswered, chained, doubled or disagreeing."""

    kind: str
    end: ReferenceEnd
    others: tuple[ReferenceEnd, ...]


def agreeing_pairs(ends: Sequence[ReferenceEnd], runs: Sequence[Run]) -> Iterator[tuple[ReferenceEnd, ReferenceEnd]]:
    """The pairs that are joined."""
    by_marks = _by_marks(ends)
    for (here, there), several in by_marks.items():
        if here == there:
            if len(several) == 2 and not difference(*(_wire(end, runs) for end in several)):
                yield several[0], several[1]
        elif here < there:
            answers = by_marks.get((there, here), [])
            if len(several) == len(answers) == 1 and not difference(_wire(several[0], runs), _wire(answers[0], runs)):
                yield several[0], answers[0]


def findings(circuit: Circuit) -> Iterator[ReferenceFinding]:
    """One finding for each end of a reference that is not joined, in the order typed."""
    by_marks = _by_marks(circuit.references)
    by_here: dict[str, list[ReferenceEnd]] = {}
    for end in circuit.references:
        by_here.setdefault(end.here, []).append(end)
    for end in circuit.references:
        if end.node in circuit.partner:
            continue
        same = by_marks[end.here, end.there]
        answers = [other for other in by_marks.get((end.there, end.here), []) if other is not end]
        expected = 2 if end.here == end.there else 1
        if len(same) > expected or len(answers) > 1:
            others = tuple(dict.fromkeys(other for other in (*same, *answers) if other is not end))
            yield ReferenceFinding("doubled", end, others)
        elif answers:
            yield ReferenceFinding("disagreeing", end, tuple(answers))
        elif end.here != end.there and by_here.get(end.there):
            yield ReferenceFinding("chained", end, tuple(by_here[end.there]))
        else:
            yield ReferenceFinding("unanswered", end, ())


def difference(a: Wire, b: Wire) -> str:
    """In what two known wires differ ('colour', 'size', 'colour and size', 'number'), or '' when they may be the same conductor."""
    found = []
    if a.colours and b.colours and a.colours != b.colours:
        found.append("colour")
    if a.area_mm2 is not None and b.area_mm2 is not None and abs(a.area_mm2 - b.area_mm2) > 1e-9:
        found.append("size")
    if a.number and b.number and a.number != b.number:
        found.append("number")
    return " and ".join(found)


def _wire(end: ReferenceEnd, runs: Sequence[Run]) -> Wire:
    return runs[end.run].wires[end.wire]


def _by_marks(ends: Sequence[ReferenceEnd]) -> dict[tuple[str, str], list[ReferenceEnd]]:
    by_marks: dict[tuple[str, str], list[ReferenceEnd]] = {}
    for end in ends:
        by_marks.setdefault((end.here, end.there), []).append(end)
    return by_marks
