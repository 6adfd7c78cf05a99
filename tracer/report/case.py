"""A case as text and as JSON: what was understood, what stands in it, what it proves; and its report."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from tracer.case.beside import asks_beside
from tracer.case.case import Case, Note, Recorded
from tracer.case.notes import not_as_listed, watches
from tracer.case.proof import RowProof, Verdict
from tracer.case.readings import Conditions, Reading
from tracer.entry.visible import visible
from tracer.report.layout import Page, counted
from tracer.report.typeset import html, pdf, template
from tracer.standards import figures

_CORRECTED = "Corrected or taken back"
_MOST_NAMED = 5  # pieces in the sentence
PROOF_SCHEMA, SHOW_SCHEMA, READ_SCHEMA = "tracer.proof/1", "tracer.case.show/1", "tracer.read/1"


def conditions_text(on: Conditions) -> str:
    """'key run, unplugged, lamp 21 W, other lead at battery -, symptom present, battery 12.40 V'."""
    lead = f"other lead at battery {on.other}"
    words = [
        f"key {on.key}" + (f" {figures.stated(on.after_s, 's')} after the turn" if on.after_s is not None else ""),
        "plugged in" if on.plugged else "unplugged",
        *([f"{', '.join(on.out)} out"] if on.out else []),
        *([f"by hand {on.hand}"] if on.hand else []),
        *(f"fused lead {lead}" for lead in on.leads),
        f"lamp {figures.stated(on.lamp_w, 'W')}" if on.lamp_w is not None else "no lamp",
        lead,
        {None: "symptom not said", True: "symptom present", False: "symptom absent"}[on.symptom],
        *(["engine running"] if on.engine else []),
        *(["asleep"] if on.asleep else []),
        *([f"at {on.place}"] if on.place else []),
        f"battery {figures.volts(on.battery_v)}" if on.battery_v is not None else "battery not read",
    ]
    return ", ".join(words)


def values_text(case: Case, one: Reading) -> str:
    """'12.38 V, with the lamp 12.17 V'."""
    unit = case.unit(one.name, one.conditions)
    said = [
        value.text if value.is_word or value.number is None else f"{'below ' if value.below else 'more than ' if value.above else ''}{_number(value.number, unit)}"
        for value in one.values
    ]  # fmt: skip
    if one.status:
        return one.status.replace("-", " ") + (f": {one.why}" if one.why else "")
    return said[0] if len(said) == 1 else f"{said[0]}, with the lamp {said[1]}{' (lit)' if one.lit else ''}"


def _number(value: float, unit: str) -> str:
    if unit == "V":
        return figures.volts(value) if abs(value) >= 1 else figures.stated(value, "V")
    return figures.ohms(value) if unit == "ohm" else figures.stated(value, "s")


def read_text(got: Recorded, left: tuple[str, ...] = (), *, width: int = 80, bold: bool = False) -> str:
    """What was recorded, as it was understood, and what is asked."""
    page = Page(width, bold=bold)
    before = ""
    if not got.readings:  # the battery alone
        page.line(conditions_text(got.case.conditions))
    for one in got.readings:
        if (said := conditions_text(one.conditions)) != before:
            page.line(said, strong=True)
            before = said
        page.line(f"{one.id}  {got.case.short(one.name)}  {values_text(got.case, one)}", indent=2, hang=6)
    asked(page, _asks(got))
    if left:
        page.line("Written on the worksheet and not taken:")
    page.first([f"- {words}" for words in left], indent=2, hang=4)
    return page.text()


def asked(page: Page, asks: Iterable[str]) -> None:
    """What is asked about readings that are recorded all the same."""
    for ask in asks:
        page.line(f"? {ask} It is recorded; `tracer read --instead-of ID` mends it.", hang=2)


def _asks(got: Recorded) -> list[str]:
    return [*got.asks, *(ask for one in got.readings for ask in asks_beside(got.case, one))]


def note_text(case: Case, *, width: int = 80, bold: bool = False) -> str:
    """What was noted last, as it was understood, and what of it is not as the list says."""
    page = Page(width, bold=bold)
    last = case.notes[-1]
    _note(page, case, last)
    if last.kind == "look":
        for words in not_as_listed(case, all_parts=True):
            if words.partition(" ")[0] in last.words:
                page.line(f"? {words}.", hang=2)
    if last.kind == "roll-call":
        unknown = [name for name in last.words if name not in case.things.parts]
        if unknown:
            page.line(f"? {', '.join(unknown)}: on no page that was typed in; kept as written.", hang=2)
    return page.text()


def set_text(case: Case, *, width: int = 80, bold: bool = False) -> str:
    """The conditions that hold from now on."""
    page = Page(width, bold=bold)
    page.line(conditions_text(case.conditions))
    return page.text()


def read_data(got: Recorded, left: tuple[str, ...] = ()) -> dict[str, Any]:
    """The same as plain values."""
    return {"schema": READ_SCHEMA, "entry": got.n, "readings": [reading_data(got.case, one) for one in got.readings], "asks": _asks(got), "left_out": list(left)}  # fmt: skip


def reading_data(case: Case, one: Reading) -> dict[str, Any]:
    return {
        "id": one.id, "name": one.name, "row": case.short(one.name), "values": [{"text": value.text, "number": value.number, "below": value.below, "above": value.above} for value in one.values],
        "lit": one.lit, "status": one.status, "why": one.why, "at": one.at, "instead_of": one.instead_of, "conditions": one.conditions.data(),
    }  # fmt: skip


# --- show --------------------------------------------------------------------------------------------------------------


def show_text(case: Case, *, width: int = 80, bold: bool = False) -> str:
    """Everything that stands in a case."""
    page = Page(width, bold=bold)
    page.line(f"{case.plan['module']}{' - ' + case.plan['title'] if case.plan['title'] else ''}, {case.plan['vehicle']}", strong=True)  # fmt: skip
    for words in (*case.damaged, *case.remarks):
        page.line(f"! {words}", hang=2)
    if words := case.list_open:
        page.line(f"! {words}", hang=2)
    page.line(f"complaint: {case.opening['complaint'] or 'not said'}; list edition {case.plan['edition']}; opened {case.opening['at']} by {case.opening['by'] or 'nobody named'}")  # fmt: skip
    page.line(f"file {visible(str(case.file))}")
    page.line(f"now: {conditions_text(case.conditions)}", hang=5)
    _readings(page, case, case.readings)
    _notes(page, case)
    if case.corrected or case.withdrawn:
        page.heading(_CORRECTED)
    for one in case.corrected.values():
        page.line(f"{one.id}  {case.short(one.name)}  {values_text(case, one)}", indent=2, hang=6)
    for note in case.withdrawn:
        _note(page, case, note)
    return page.text()


def show_data(case: Case) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": SHOW_SCHEMA,
        "file": str(case.file),
        **{name: case.opening[name] for name in ("complaint", "by", "km", "customer", "at")},
        "vehicle": case.plan["vehicle"],
        "module": case.plan["module"],
        "edition": case.plan["edition"],
        "damaged": list(case.damaged),
        "remarks": list(case.remarks),
        "conditions": case.conditions.data(),
        "readings": [reading_data(case, one) for one in case.readings],
        "corrected": [reading_data(case, one) for one in case.corrected.values()],
        "notes": [_note_data(note) for note in case.notes],
        "withdrawn": [_note_data(note) for note in case.withdrawn],
    }  # fmt: skip


def _note_data(note: Note) -> dict[str, Any]:
    return {"entry": note.n, "kind": note.kind, "words": dict(note.words), "why": note.why, "at": note.at, "by": note.by}  # fmt: skip


def _readings(page: Page, case: Case, readings: Iterable[Reading]) -> None:
    before, readings = "", tuple(readings)
    if readings:
        page.heading("Readings")
    for one in readings:
        said = conditions_text(one.conditions)
        if said != before:
            page.line(said, strong=True)
            before = said
        mended = f" (in place of {one.instead_of})" if one.instead_of else ""
        page.line(f"{one.id}  {one.at[11:16]}  {case.short(one.name)}  {values_text(case, one)}{mended}", indent=2, hang=6)  # fmt: skip


def _notes(page: Page, case: Case) -> None:
    if case.notes:
        page.heading("Noted")
    for note in case.notes:
        _note(page, case, note)


def _note(page: Page, case: Case, note: Note) -> None:
    line = " Proposed for its sheet: what was found, with `seen: vehicle`." if note.kind == "drawing" else ""
    page.line(f"{note.n}  {note.kind}  {_note_words(case, note)}{'.' if note.why else ''}{line}", indent=2, hang=6)


def _note_words(case: Case, note: Note) -> str:
    """'5+ ok, 3+ loose: wiggled'; a watch as it is said in the proof."""
    if note.kind == "watch":
        return next(one.words(case) for one in (*watches(case), *watches(replace(case, notes=case.withdrawn))) if one.n == note.n)  # fmt: skip
    words = ", ".join(f"{case.short(name)} {said}".strip() for name, said in note.words.items())
    return words + (f": {note.why}" if note.why else "")


# --- proof -------------------------------------------------------------------------------------------------------------


def verdict_line(case: Case, verdict: Verdict) -> str:
    """The one sentence."""
    module = case.plan["module"]
    but = f", but {'; '.join(verdict.set_aside)}" if verdict.set_aside else ""
    if verdict.kind == "proven":
        return f"WIRING PROVEN, MODULE SUSPECT: every supply, ground and bus of {module} is proven{but}."
    if verdict.kind == "found":
        return f"FOUND at {verdict.found_at}: {_found(verdict, most=_MOST_NAMED)}."
    if verdict.narrowed_down:
        return f"NOT PROVEN: narrowed down at {verdict.found_at}: {_found(verdict, most=_MOST_NAMED)}. Nothing can be said of {module}{but}."
    open_rows = sum(one.state not in ("proven", "waived", "not fitted") for one in verdict.rows)
    failed = f"{verdict.narrowed.row.short} failed, but nothing is found: {verdict.blocked[0] if verdict.blocked else 'see what is open'}. " if verdict.narrowed else ""  # fmt: skip
    return f"NOT PROVEN: {failed}{counted(open_rows, 'row')} of {len(verdict.rows)} and {counted(len(verdict.open), 'point')} in all are open{f'; {case.list_open}' if case.list_open else ''}. Nothing can be said of {module}{but}."  # fmt: skip


def _found(verdict: Verdict, most: int) -> str:
    """The pieces that are left, what explains the readings as well and is no piece of that way, and what else of the list is open."""
    pieces, also = verdict.pieces, verdict.also
    if verdict.narrowed is not None and not verdict.narrowed.row.pieces:  # of a bus, whose faults stand in no order
        return f"one of {len(pieces)}: {', '.join(pieces[:most])}{f' and {len(pieces) - most} more' if len(pieces) > most else ''}" if len(pieces) > 1 else "".join(pieces)  # fmt: skip
    said = [f"between {pieces[0]} and {pieces[-1]}, one of {counted(len(pieces), 'piece')}" if len(pieces) > 1 else "".join(pieces)]  # fmt: skip
    if 1 < len(pieces) <= most:
        said[0] += f": {', '.join(pieces)}"
    if also:
        said += [f"{'or ' if pieces else ''}beside this way {', '.join(also) if len(also) <= most else f'one of {len(also)}'}"]  # fmt: skip
    if verdict.list_open:
        said += [f"{verdict.list_open}, nothing of it on this way"]
    return "; ".join(filter(None, said))


def _did_not(found: Verdict) -> str:
    """What was wrong, in plain words before the row."""
    on_a_bus = found.narrowed is not None and not found.narrowed.row.pieces
    return "A bus did not read what it must at" if on_a_bus else "A supply or ground did not carry its load at"


def proof_text(case: Case, verdict: Verdict, *, width: int = 80, bold: bool = False) -> str:
    """The verdict, what is open, and the one table."""
    page, parts = Page(width, bold=bold), proof_parts(case, verdict)
    page.line(parts.sentence, strong=True)
    for words in parts.said:
        page.line(words, hang=2)
    _sections(page, parts.left)
    if parts.rows:
        page.table(parts.rows, head=("row", "state", "because"))
    if parts.unread:
        page.line(parts.unread, hang=4)
    _sections(page, parts.beside)
    return page.text()


def _sections(page: Page, sections: Iterable[tuple[str, list[str]]]) -> None:
    for title, lines in sections:
        page.heading(title)
        for words in lines:
            page.line(words, hang=2 if words.startswith("- ") else 4)


@dataclass(frozen=True, slots=True)
class ProofParts:
    """A proof in words, for the terminal and the page: sentence, what is said of it, what is left, rows as they stand in the table, rows without a reading in one line, and headings with their lines."""

    sentence: str
    said: list[str]
    left: list[tuple[str, list[str]]]
    rows: list[tuple[str, str, str]]
    unread: str
    beside: list[tuple[str, list[str]]]


def proof_parts(case: Case, verdict: Verdict) -> ProofParts:
    """Everything that a proof says, in its order."""
    split = [f"What would split them: {verdict.split_by}."] if verdict.split_by else []
    left = []
    if max(len(verdict.pieces), len(verdict.also)) > _MOST_NAMED:
        also = [f"or beside it: {', '.join(verdict.also)}"] if verdict.also else []
        left.append((f"Left on the way to {verdict.found_at}", [", ".join(verdict.pieces), *also]))
    rows = [(one.short, one.state, _reason(one)) for one in verdict.rows if not one.unread]
    rows += [(one.short, one.state, one.reason) for one in verdict.beside]
    beside = [
        ("Open", [f"- {words}" for words in besides(verdict)]),
        (f"Cleared on the way to {verdict.narrowed.row.short}" if verdict.narrowed else "Cleared", [f"by {one.by} ({_when(one.reading)}): {', '.join(one.pieces)}" for one in verdict.clears]),
        ("Not excluded by this", [f"- {words}" for words in verdict.left] if verdict.kind == "proven" else []),
        ("Seat and test again", [", ".join(verdict.seat)] if verdict.seat else []),
    ]  # fmt: skip
    return ProofParts(
        verdict_line(case, verdict), [*split, *(f"! {words}" for words in verdict.contradictions)], left, rows,
        _unread(verdict), [(title, lines) for title, lines in beside if lines],
    )  # fmt: skip


def _unread(verdict: Verdict) -> str:
    """The rows without a reading, in one line."""
    unread = ", ".join(one.short for one in verdict.rows if one.unread)
    return f"no reading yet: {unread}" if unread else ""


def besides(verdict: Verdict) -> list[str]:
    """What is open and stands with no row."""
    shown = tuple(f"{one}: " for one in [*(row.short for row in verdict.rows), *(one.short for one in verdict.beside)])
    return [words for words in verdict.open if not words.startswith(shown)]


def _when(one: Reading) -> str:
    return f"{one.id}, {one.at[11:16]}, key {one.conditions.key}"


def _reason(one: RowProof) -> str:
    return (one.waived if one.state == "waived" else one.reason) + (f" [{one.source}]" if one.source and one.state in ("proven", "failed") else "")  # fmt: skip


def proof_data(case: Case, verdict: Verdict) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "schema": PROOF_SCHEMA, "module": case.plan["module"], "edition": case.plan["edition"], "complete": verdict.complete, "verdict": verdict.kind,
        "sentence": verdict_line(case, verdict), "found_at": verdict.found_at, "pieces": list(verdict.pieces), "also": list(verdict.also), "open": list(verdict.open),
        "not_excluded": list(verdict.left), "blocked": list(verdict.blocked),
        "cleared": [{"by": one.by, "reading": one.reading.id, "at": one.reading.at, "key": one.reading.conditions.key, "pieces": list(one.pieces)} for one in verdict.clears], "contradictions": list(verdict.contradictions), "seat": list(verdict.seat),
        "rows": [
            {"name": one.name, "row": one.short, "state": one.state, "reason": one.reason, "readings": [by.id for by in one.by], "cleared": list(one.pieces) if one.state == "proven" else [], "source": one.source, "waived": one.waived}
            for one in verdict.rows
        ],
        "beside": [{"row": one.short, "state": one.state, "reason": one.reason, "reading": one.reading.id} for one in verdict.beside],
    }  # fmt: skip


# --- report ------------------------------------------------------------------------------------------------------------


def report_text(case: Case, verdict: Verdict, *, width: int = 80, bold: bool = False) -> str:
    """Half a page in plain words, then every reading with its conditions."""
    page = Page(width, bold=bold)
    for title, lines in report_sections(case, verdict):
        if title:
            page.heading(title)
        for line in lines:
            page.line(line, hang=4)
    return page.text()


def report_sections(case: Case, verdict: Verdict) -> list[tuple[str, list[str]]]:
    """The report as headings with their lines: complaint, cause, correction first, in plain words."""
    from tracer.standards.cautions import cautions_for

    opening, plan = case.opening, case.plan
    repairs = [f"{', '.join(note.words)}{f': {note.why}' if note.why else ''}" for note in case.notes_of("repair")]
    found = verdict.before or verdict  # what was found stands in the readings before the repair
    cause = {
        "found": f"{_did_not(found)} {found.found_at}: {_found(found, most=1000)}.",
        "proven": f"Every supply and ground of {plan['module']} carried its load{', but ' + '; '.join(found.set_aside) if found.set_aside else ''}. The module itself is suspect.",
        "not proven": f"{_did_not(found)} {found.found_at}; not found yet: {_found(found, most=1000)}."
        if found.narrowed_down
        else "Not proven yet: see what is open.",
    }[found.kind]
    head = [f"Vehicle: {plan['vehicle']}", f"Customer: {opening['customer'] or 'not said'}; {opening['km'] + ' km' if opening['km'] else 'km not said'}", f"Opened {opening['at'][:16].replace('T', ' ')} by {opening['by'] or 'nobody named'}"]  # fmt: skip
    parts = [
        (f"Report on {plan['module']}{' - ' + plan['title'] if plan['title'] else ''}", head),
        ("Complaint", [opening["complaint"] or "not said"]),
        ("Cause", [cause]),
        ("Correction", repairs or ["none so far"]),
        ("Verdict now", [verdict_line(case, verdict)]),
        ("Rows", [*(f"{one.short}: {one.state}; {_reason(one)}" for one in verdict.rows if not one.unread), *filter(None, [_unread(verdict)])]),
        ("Beside the rows", [f"{one.short}: {one.state}; {one.reason}" for one in verdict.beside]),
        *([("Before and after", before)] if (before := list(_before_after(case))) else []),
        ("Open besides", besides(verdict) or ["nothing"]),
        ("Readings", [f"{one.id}  {one.at[:16].replace('T', ' ')}  {case.short(one.name)}: {values_text(case, one)}; {conditions_text(one.conditions)}" for one in case.readings]),
        ("Noted", [f"{note.n}  {note.kind}: {_note_words(case, note)}" for note in case.notes]),
        (_CORRECTED, [*(f"{one.id}  {case.short(one.name)}: {values_text(case, one)}" for one in case.corrected.values()), *(f"{note.n}  {note.kind}: {_note_words(case, note)}" for note in case.withdrawn)]),
        ("Not reached", [f"{case.short(one.name)}: {one.why}" for one in case.readings if one.status == "not-reached"] or ["none"]),
        ("Cautions", [*plan["hazards"], *(caution.text for caution in cautions_for("probe"))]),
    ]  # fmt: skip
    return [(title, lines) for title, lines in parts if lines]


def _before_after(case: Case) -> Iterable[str]:
    """The same rows before the first repair and after the last, side by side."""
    repairs = [note.n for note in case.notes_of("repair")]
    if not repairs:
        return
    before: dict[tuple[Any, ...], Reading] = {}
    after: dict[tuple[Any, ...], Reading] = {}
    for one in case.readings:
        same = (one.name, one.conditions.key, one.conditions.plugged, one.conditions.lamp_w, one.conditions.out)
        if one.values and one.n < repairs[0]:
            before[same] = one
        elif one.values and one.n > repairs[-1]:
            after[same] = one
    for name in before:
        if name in after:
            yield f"{case.short(name[0])}, key {name[1]}: before {values_text(case, before[name])}; after {values_text(case, after[name])}"


def report_html(case: Case, verdict: Verdict) -> str:
    """The report as one self-contained page that prints."""
    return html("case.html", sections=report_sections(case, verdict))


def report_pdf(case: Case, verdict: Verdict) -> bytes:
    """The report as PDF, A4."""
    from tracer.report.plain_data import json_text  # not at the top: `read` needs none of what it loads

    sections = [{"title": title, "lines": lines} for title, lines in report_sections(case, verdict)]
    return pdf(template("case.typ"), {"data": json_text({"sections": sections})})


__all__ = [
    "ProofParts",
    "asked",
    "besides",
    "note_text",
    "proof_data",
    "proof_parts",
    "proof_text",
    "read_data",
    "read_text",
    "report_html",
    "report_pdf",
    "report_sections",
    "report_text",
    "set_text",
    "show_data",
    "show_text",
]  # fmt: skip
