"""References between sheets: `ref A>B` is joined only with `ref B>A`, one with one, and only when both say the same wire.

Everything else about a reference is a loose end; `finding_of` says which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

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
        most = 2 if end.here == end.there else 1
        if len(same) > most or len(answers) > 1:
            others = tuple(dict.fromkeys(other for other in (*same, *answers) if other is not end))
            yield ReferenceFinding("doubled", end, others)
        elif answers:
            yield ReferenceFinding("disagreeing", end, tuple(answers))
        elif end.here != end.there and by_here.get(end.there):
            yield ReferenceFinding("chained", end, tuple(by_here[end.there]))
        else:
            yield ReferenceFinding("unanswered", end, ())


Exchange = tuple[ReferenceEnd, ReferenceEnd]


def exchanged(circuit: Circuit) -> Iterator[tuple[Exchange, ...]]:
    """Two references whose marks look exchanged on a sheet: their ends there; more than one pair where it may be either of two sheets.

    Only where all four wires have a known colour and size, these agree once the two are exchanged, and no other exchange would do.
    """
    broken: dict[tuple[int, int], Exchange] = {}
    for found in findings(circuit):
        if found.kind == "disagreeing" and len(found.others) == 1:
            ends = sorted((found.end, found.others[0]), key=lambda end: end.node)
            broken[ends[0].node, ends[1].node] = (ends[0], ends[1])
    fitting: dict[tuple[int, int], list[Exchange]] = {}
    several = list(broken.values())
    for number, one in enumerate(several):
        for other_number in range(number + 1, len(several)):
            other = several[other_number]
            for (end, answer), (other_end, other_answer) in product((one, one[::-1]), (other, other[::-1])):
                on_one_sheet = circuit.runs[end.run].sheet == circuit.runs[other_end.run].sheet
                if on_one_sheet and _agree(circuit, end, other_answer) and _agree(circuit, other_end, answer):
                    first, second = sorted((end, other_end), key=_marks)
                    fitting.setdefault((number, other_number), []).append((first, second))
    asked = Counter(number for pair in fitting for number in pair)
    for pair, exchanges in fitting.items():
        if all(asked[number] == 1 for number in pair):
            yield tuple(sorted(exchanges, key=lambda ends: _marks(ends[0])))


def _agree(circuit: Circuit, one: ReferenceEnd, other: ReferenceEnd) -> bool:
    """Whether the wires at two ends are known and alike."""
    wires = [_wire(end, circuit.runs) for end in (one, other)]
    return all(wire.colours and wire.area_mm2 is not None for wire in wires) and not difference(*wires)


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


def _marks(end: ReferenceEnd) -> tuple[str, str]:
    return end.here, end.there


def _by_marks(ends: Sequence[ReferenceEnd]) -> dict[tuple[str, str], list[ReferenceEnd]]:
    by_marks: dict[tuple[str, str], list[ReferenceEnd]] = {}
    for end in ends:
        by_marks.setdefault((end.here, end.there), []).append(end)
    return by_marks
