"""The current case as the desk shows it: rows with their state, what explains the readings, the next measurement, the verdict and what is open."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tracer.case.by_hand import WIGGLE, known
from tracer.case.case import Case
from tracer.case.readings import set_by
from tracer.diagnose.next import next_of
from tracer.diagnose.values import Measurement
from tracer.report.case import conditions_text, proof_data, proof_parts, reading_data, values_text
from tracer.report.next import MAY_STILL_BE, SHARES_REST_ON, explained, list_words, possible, surprise_words
from tracer.report.next import as_data as next_data
from tracer.standards.cautions import caution


def case_data(case: Case) -> dict[str, Any]:
    """Everything of a case that the desk shows; verdict, reasons and outcomes in the words of the terminal."""
    found = next_of(case)
    verdict = found.verdict
    handed = {number: name for name, number in case.handed.items()}
    return {
        "case": case.file.stem,
        "id": case_id(case),
        "module": case.plan["module"],
        "vehicle": case.plan["vehicle"],
        "edition": case.plan["edition"],
        "complaint": case.opening["complaint"],
        "now": conditions_text(case.conditions),
        "damaged": [*case.damaged, *case.remarks],
        "readings": [{**reading_data(case, one), "words": values_text(case, one), "on": conditions_text(one.conditions), "handed": handed.get(one.entry, "")} for one in case.readings],
        "looks": [[name, said] for note in case.notes_of("look") for name, said in note.words.items()],
        "proof": {**proof_data(case, verdict), "parts": asdict(proof_parts(case, verdict))},
        "next": {
            **next_data(case, found), "asks": _asks(case, found.measurement), "list_words": list_words(case), "surprise_words": surprise_words(found),
            "explained": [asdict(one) for one in explained(found)], "may_still_be": [asdict(one) for one in possible(case, found)], "may_still_be_head": MAY_STILL_BE, "rest_on": SHARES_REST_ON, "caution": caution("maker-first"),
        },
    }  # fmt: skip


def _asks(case: Case, one: Measurement | None) -> dict[str, Any] | None:
    """The conditions under which the next measurement is read, as a card of the page has them, and what it reads there when all is well."""
    if one is None:
        return None
    on = set_by(case.conditions, list(one.set_before), tuple(case.plan["keys"]), "", 0)  # in words only: nothing is set
    name, by_hand = case.find(one.short), known(case.plan, on.hand) if on.hand else None
    return {
        "name": name, "short": one.short, "level": case.level(name), "unit": case.unit(name, on), "place": one.place, "hand_words": by_hand.called if by_hand else "", "wiggles": by_hand is not None and by_hand.do == WIGGLE,
        "key": on.key, "plug": "in" if on.plugged else "out", "lamp_w": on.lamp_w, "out": sorted(on.out), "leads": sorted(on.leads), "asleep": on.asleep, "hand": on.hand,
        "words": one.outcomes[0][0] if one.outcomes else "",
    }  # fmt: skip


def case_id(case: Case) -> str:
    """What tells a case from every other one."""
    return f"{case.file.stem}, opened {case.opening['at']}"


__all__ = ["case_data", "case_id"]
