"""The one verdict that the readings of a case allow: wiring proven and the module suspect, fault found, or not proven, with what is open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from tracer.case.beside import NOT_IN_ORDER, BesideRead, beside_of_case
from tracer.case.case import Case
from tracer.case.judged import BAD_OHM, leads_of, row_leads, test_words, wants_lit
from tracer.case.narrow import (
    Clears,
    Narrowed,
    Splits,
    good_up_to_v,
    narrowed,
    rows_at_odds,
    split_readings,
    splits_by_points,
    splits_of,
    things_at_odds,
    within,
)
from tracer.case.notes import not_as_listed, watches
from tracer.case.rows import RowProof, rows_of, still_wanted
from tracer.case.touched import unseated
from tracer.case.which_line import lines_not_shown, lines_not_told
from tracer.entry.problems import listed
from tracer.plan.words import line_name

FOUND_AT_MOST = 4  # places that are opened and looked at one after another: a wire, its two contacts, what it ends in (common practice, no source)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Exactly one of `proven` (wiring proven, module suspect), `found` and `not proven`; `open` says what is missing, `left` what even a proof does not exclude.

    `narrowed` is what is left of the way of the first row that failed, found or not; `blocked` is why nothing is said of its place although it failed. With `found_at` and more than
    `FOUND_AT_MOST` places it is narrowed down and not found.
    `clears` are the good readings with what they clear: of that way, else row by row. `split_by` says what would split the pieces of what is found.
    """

    kind: str
    rows: tuple[RowProof, ...]
    open: tuple[str, ...]
    left: tuple[str, ...]
    pieces: tuple[str, ...]
    found_at: str
    contradictions: tuple[str, ...]
    seat: tuple[str, ...]
    narrowed: Narrowed | None = None
    blocked: tuple[str, ...] = ()
    clears: tuple[Clears, ...] = ()
    split_by: str = ""
    also: tuple[str, ...] = ()  # of what is found: what may be wrong instead, and is no piece of that way
    list_open: str = ""  # why the list may lack something, of what is found on a way that is whole
    before: Verdict | None = None  # what the readings before the first repair said
    beside: tuple[BesideRead, ...] = ()  # what was read beside the rows

    @property
    def complete(self) -> bool:
        """Whether the wiring is proven or the fault found."""
        return self.kind != "not proven"

    @property
    def narrowed_down(self) -> bool:
        """Whether a row failed and the places where the fault may be are named, too many of them to call it found."""
        return self.kind == "not proven" and bool(self.pieces or self.also)

    @property
    def set_aside(self) -> tuple[str, ...]:
        """The rows that were settled without being measured, each with its reason."""
        return tuple(one.set_aside for one in self.rows if one.set_aside)


def verdict_of(case: Case) -> Verdict:
    """What the case allows to be said by the rule alone, and what it allowed before anything was repaired; `diagnose/verdict.py` holds it against what explains the readings."""
    earlier = before_repairs(case)
    return _now(case) if earlier is None else replace(_now(case), before=_now(earlier))


def before_repairs(case: Case) -> Case | None:
    """The case as it was before the first repair; None where nothing was repaired."""
    repairs = case.notes_of("repair")
    if not repairs:
        return None
    first = repairs[0].n
    readings = tuple(one for one in case.readings if one.n < first)
    return replace(case, readings=readings, notes=tuple(note for note in case.notes if note.n < first))


def _now(case: Case) -> Verdict:
    beside = beside_of_case(case)
    found = _said(case, rows_of(case), beside)
    return replace(
        found, beside=beside, clears=tuple(found.narrowed.clears if found.narrowed else _cleared(found.rows))
    )


def _said(case: Case, rows: tuple[RowProof, ...], beside: tuple[BesideRead, ...]) -> Verdict:
    unread = [one for one in rows if one.state not in ("proven", "failed", "waived", "not fitted")]
    failed = [one for one in rows if one.state == "failed"]
    worst = (narrowed(case, failed[0], rows) if failed[0].name in case.plan["rows"] else _on_a_bus(failed[0])) if failed else None  # fmt: skip
    contradictions = (*things_at_odds(case), *rows_at_odds(rows), *(worst.contradictions if worst else ()))
    seat = tuple(unseated(case))
    missing = (
        *(f"{one.short}: {one.state}, {one.reason}" for one in unread),
        *(f"pin {point} is declared, but its way is not known" for point in case.plan["untraced"]),
        *(f"{one.short}: {one.state}, {one.reason}" for one in beside if one.state == NOT_IN_ORDER),
        *_gate(case, rows),
        *_of_lines(case, rows, beside),
        *contradictions,
    )
    excluded = (*(one.set_aside for one in rows if one.set_aside), *_given(case), *_added(case), *_never_excluded())
    if worst is not None:
        blocked = (*_blocks_finding(case, worst), *contradictions)
        if not blocked:
            if worst.row.name not in case.plan["rows"]:
                missing = (*failed_words(rows), *missing)
                return Verdict("not proven", rows, missing, excluded, (), worst.row.short, contradictions, seat, worst)
            found = Verdict("found", rows, missing, excluded, (), worst.row.short, contradictions, seat, worst, list_open=case.list_open)  # fmt: skip
            return placed(case, found, worst.pieces, ())
        missing = (*failed_words(rows), *missing)
        return Verdict("not proven", rows, missing, excluded, (), "", contradictions, seat, worst, blocked)
    if not missing and not seat:
        return Verdict("proven", rows, (), excluded, (), "", (), seat)
    return Verdict("not proven", rows, (*missing, *(f"{part} is to be seated and tested again" for part in seat)), excluded, (), "", contradictions, seat)  # fmt: skip


def _on_a_bus(failed: RowProof) -> Narrowed:
    """A bus that failed: no way leads there, and what may be wrong with it is weighed alone."""
    return Narrowed(failed, (), (), Splits(failed.name, {}, "`tracer next` says what would"), ())


def placed(case: Case, said: Verdict, pieces: tuple[str, ...], also: tuple[str, ...]) -> Verdict:
    """A verdict with the places where the fault may be: found where they are few, else narrowed down."""
    assert said.narrowed is not None
    few = len(pieces) + len(also) <= FOUND_AT_MOST
    failed = failed_words(said.rows)
    others = tuple(one for one in said.open if one not in failed)
    kind, missing = ("found", others) if few else ("not proven", (*failed, *others))
    return replace(said, kind=kind, open=missing, pieces=pieces, also=also, split_by=split_by(case, said.narrowed, pieces))  # fmt: skip


def failed_words(rows: Iterable[RowProof]) -> tuple[str, ...]:
    """What failed, as it stands among what is open."""
    return tuple(f"{one.short}: failed, {one.reason}" for one in rows if one.state == "failed")


def split_by(case: Case, worst: Narrowed, left: Sequence[str]) -> str:
    """What would tell the pieces that are left of a failed way apart, or why nothing can; empty for a single one."""
    if len(left) < 2:
        return ""
    splits = splits_of(case, worst.row, left) if worst.row.name in case.plan["rows"] else worst.splits
    if splits.why_not:
        return splits.why_not
    points = [case.short(at) for at in within(case, splits, left)]
    return f"the same lamp at {', '.join(points)}; `tracer next` says where first" if points else ""


def _cleared(rows: Iterable[RowProof]) -> Iterator[Clears]:
    """What the tests that each row passed clear."""
    for row in rows:
        pieces = dict.fromkeys(piece for one in row.passed if one.test is not None for piece in one.test["proves"])
        if pieces:
            yield Clears(row.short, row.passed[-1].reading, tuple(pieces))


def _blocks_finding(case: Case, worst: Narrowed) -> Iterator[str]:
    """What of the gate keeps a fault from being called found: another way may feed the row, or the readings are not those of the symptom.

    What else of the list is open keeps nothing from being found on a way that is whole.
    """
    on_a_bus = worst.row.name not in case.plan["rows"]
    if on_a_bus and not any(facts.get("network") for facts in case.plan["buses"].values()):
        yield "of this bus nothing is weighed: `tracer bus` says what explains its reading"
    elif left := () if on_a_bus else case.open_on_way(worst.row.name):
        yield f"the way to {worst.row.short} is not whole: {listed(left, most=3, joiner='and')}"
    by = (*worst.row.by, *(one.reading for one in worst.clears))
    if not all(one.conditions.symptom for one in by):
        yield _no_symptom("it was read")
    yield from _damaged(case)


def _no_symptom(when: str) -> str:
    return f"the symptom was not seen to be present while {when} (set symptom=yes)"


def _damaged(case: Case) -> Iterator[str]:
    if case.damaged:
        yield f"the file of the case is damaged: {'; '.join(case.damaged)}"


# --- the gate ----------------------------------------------------------------------------------------------------------


def _gate(case: Case, rows: Iterable[RowProof]) -> Iterator[str]:
    """What must be settled before anything may be said of the module."""
    if words := case.list_open:
        yield words
    reads = [one for row in rows for one in row.by]
    if not reads or not all(one.conditions.symptom for one in reads if one.values):
        yield _no_symptom("every reading was taken")
        yield from (one.words(case) for one in watches(case) if not one.symptom)
    for one in watches(case):
        if names := one.broke_off(case):
            yield f"{', '.join(map(case.short, names))} broke off while it was watched (entry {one.n})"
    yield from not_as_listed(case)
    works = {name: said for note in case.notes_of("works") for name, said in note.words.items()}
    if idle := [name for name, said in works.items() if said == "no"]:
        yield f"must work first and does not: {', '.join(idle)}"
    for level, giver in case.plan.get("gets", {}).items():
        if giver not in ("passive", "case") and works.get(giver) != "yes":
            yield f"its {level} comes from {giver} and is no row of this list: prove the rows of {giver}, then `tracer case note works {giver}=yes`"
    yield from _damaged(case)
    ticked = {name for note in case.notes_of("tick") for name in note.words}
    wanted = ["lamp", "wake", "coding", "variant", "immobiliser", *(["sensors"] if case.plan["outputs"] else [])]
    if left := [name for name in wanted if name not in ticked]:
        yield f"not ticked, with how: {', '.join(left)}"
    own = case.plan["module"].casefold()  # that it is silent or answers says nothing of the others
    answers = {name: said for note in case.notes_of("roll-call") for name, said in note.words.items() if name.casefold() != own}  # fmt: skip
    if case.plan["buses"] and not answers:
        yield "no roll-call of the other modules on the bus"
    if silent := [name for name, said in answers.items() if said == "no"]:
        yield f"other modules do not answer: {', '.join(silent)}"
    fits = {name: said for note in case.notes_of("fit") for name, said in note.words.items()}
    module = case.plan["module"]
    pins = [*case.plan["rows"], *(f"{module}.{pin}" for bus in case.plan["buses"].values() for pin in bus["pins"].values())]  # fmt: skip
    if left := [case.short(pin) for pin in pins if pin not in fits and not case.withheld(pin, plugged=False)]:
        yield f"contacts whose fit was not looked at: {', '.join(left)}"
    if bad := [f"{case.short(pin)} {said}" for pin, said in fits.items() if said != "ok"]:
        yield f"contacts that do not sit well: {', '.join(bad)}"


def _of_lines(case: Case, rows: Iterable[RowProof], beside: Sequence[BesideRead]) -> Iterator[str]:
    """What the rows of the buses leave open: those of two lines which is which, those of one line whether its wire is whole."""
    states = {row.name: row.state for row in rows}
    for bus, facts in case.plan["buses"].items():
        state = states.get(line_name(bus, *facts["pins"]))
        if state == "proven":
            yield from lines_not_told(case, bus, beside)
        elif state is None:
            yield from lines_not_shown(case, bus, beside)


def _given(case: Case) -> Iterator[str]:
    """What the module has by no pin of the list."""
    for level, giver in case.plan.get("gets", {}).items():
        if giver == "case":
            yield f"its {level} by its case, which is no row of this list"
        elif giver != "passive":
            yield f"its {level} from {giver}, which is no row of this list"


def _added(case: Case) -> Iterator[str]:
    for note in case.notes_of("added"):
        for where, what in note.words.items():
            yield f"{what} was added {'somewhere' if where == 'unknown' else f'at {where}'} and is on no drawing"


def _never_excluded() -> tuple[str, ...]:
    return (
        "a fault that comes and goes and was not there while it was read",
        "wiring of signals, sensors and loads, which this list does not prove",
    )


__all__ = [
    "BAD_OHM",
    "FOUND_AT_MOST",
    "Clears",
    "Narrowed",
    "RowProof",
    "Splits",
    "Verdict",
    "before_repairs",
    "failed_words",
    "good_up_to_v",
    "leads_of",
    "placed",
    "row_leads",
    "split_by",
    "split_readings",
    "splits_by_points",
    "still_wanted",
    "test_words",
    "verdict_of",
    "wants_lit",
]
