"""Where to measure next in a case: what parts the faults that explain its readings (find), or the cheapest row that is still open (prove).

Nothing is offered that may not be measured: a row with a hazard on its way has no test in the plan, and none of its points is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from tracer.case.case import Case
from tracer.case.proof import RowProof, Verdict, leads_of, row_leads, still_wanted, verdict_of, wants_lit
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.counted import Counted, counted
from tracer.diagnose.effort import changes, effort_of, place_of, typed
from tracer.diagnose.faults import READING_WRONG
from tracer.diagnose.find import Finding, in_words, surprising
from tracer.diagnose.likely import Weighed, weigh
from tracer.diagnose.values import Explains, Measurement, Next
from tracer.diagnose.verdict import agreed, why_no_network
from tracer.entry.problems import listed
from tracer.plan.words import BAD_TWICE, CRANKING, line_name
from tracer.standards import figures

SETTLED = 0.01  # where nothing broken explains the readings with a smaller share, something is broken
_SETTLED_STATES = ("proven", "failed", "waived", "not reached", "not fitted")


def next_of(case: Case) -> Next:
    """What to measure next."""
    verdict = verdict_of(case)
    failed = [one for one in verdict.rows if one.state == "failed"]
    if why_not := why_no_network(case):
        if not failed:
            return _prove(case, verdict)
        worst = failed[0]
        if withheld := case.withheld(worst.name):
            return Next("find", worst.short, None, withheld, (), verdict)
        first = listed(case.plan["rows"][worst.name]["splits"] or worst.pieces, most=3)
        return Next("find", worst.short, None, f"no volts are computed for this vehicle ({why_not}): look at each piece by hand, first {first}", (), verdict)  # fmt: skip
    kept = counted(case)
    readings, bad = kept.readings, kept.against
    return replace(_weighed(case, verdict, failed, readings, bad), outweighed=tuple(_outweighed(case, kept)))


def _weighed(case: Case, verdict: Verdict, failed: Sequence[RowProof], readings: Sequence[Reading], bad: Sequence[Reading]) -> Next:  # fmt: skip
    if not bad and not failed:
        in_order = not any(row.repeat for row in verdict.rows)
        return replace(_prove(case, verdict), possible=tuple(_possible(case, readings)) if in_order else ())
    weighed = weigh(case.plan, readings)
    verdict = agreed(case, verdict, weighed, readings)
    if failed or (bad and weighed.nothing < SETTLED):
        return _find(case, verdict, weighed, failed, readings)
    if any(row.repeat for row in verdict.rows):
        return _prove(case, verdict)
    what = "it is not as the list says"
    if withheld := _withheld(case, bad[-1]):
        return Next("prove", "", None, f"of {in_words(case, bad[-1])} ({what}): {withheld}", (), verdict)
    again = _again(case, bad[-1])
    return Next("prove", again.short, again, "", (), verdict, surprise=what)


def _withheld(case: Case, one: Reading) -> str:
    """Why a reading is not asked for once more; empty where it may be."""
    return case.withheld(one.name, plugged=one.conditions.plugged)


def _outweighed(case: Case, kept: Counted) -> Iterator[str]:
    """The readings that are not weighed since later ones outweigh them, in words."""
    for one, since in kept.outweighed:
        bad = any(last is since[-1] for last in kept.against)
        why = "it came since, or comes and goes" if bad else "it was wrong, or what is wrong comes and goes"
        yield f"{in_words(case, one)} ({one.id}) is not weighed, since {', '.join(last.id for last in since)} read otherwise: {why}"


# --- find --------------------------------------------------------------------------------------------------------------


def _find(case: Case, verdict: Verdict, weighed: Weighed, failed: Sequence[RowProof], readings: Sequence[Reading]) -> Next:  # fmt: skip
    worst = failed[0].by[-1] if failed else next(one.reading for one in reversed(weighed.evidence) if one.contradicts[0])  # fmt: skip
    of = failed[0].name if failed else _row_of(case, worst.name)
    finding = Finding(case, weighed, of, _as_tested(case, of, worst))
    explains = tuple(finding.explains())
    short = case.short(of)
    again = surprising(weighed, readings)
    if again is not None and (withheld := _withheld(case, again)):
        return Next("find", short, None, f"{finding.surprises(again)}, and {withheld}", explains, verdict)
    if again is not None:
        return Next("find", short, _again(case, again), "", explains, verdict, (), finding.surprises(again))
    found = finding.next()
    if found is not None:
        return Next("find", short, found, "", explains, verdict, finding.by_hand())
    left = [n for n in finding.live if _free(explains, finding.words(weighed.faults[n]))]
    span = finding.span(left or finding.live[:1])
    if withheld := case.withheld(of):
        why = f"{withheld}; what is left is {span}"
    else:
        why = f"no point that can be reached parts what is left: look at {span}, and after the repair read {short} once more"  # fmt: skip
    return Next("find", short, None, why, explains, verdict, finding.by_hand())


def _row_of(case: Case, name: str) -> str:
    """The row on whose way a point lies, the first of several."""
    if name in case.plan["rows"]:
        return name
    network = case.plan["network"]
    on = (row for row in case.plan["rows"] if any(name in network["pieces"][n]["ends"] for n in network["ways"][row] if n >= 0))  # fmt: skip
    return next(on, name)


def _as_tested(case: Case, row: str, bad: Reading) -> Conditions:
    """The conditions under which points of a way are read: those of the bad reading, with the lamp of the plan where a dead pin was found without one, and the engine off."""
    on = replace(bad.conditions, symptom=True, hand="", engine=False)
    kept = case.plan["rows"].get(row)
    live = kept is None or kept["live"].get(on.key) != "dead"
    for test in kept["tests"] if kept is not None and live and not on.plugged else ():
        if (test["key"], set(test["out"])) == (on.key, set(on.out)):
            return replace(on, lamp_w=test["lamp_w"])
    return on if bad.loaded else replace(on, lamp_w=None)


def _again(case: Case, one: Reading) -> Measurement:
    """A reading once more as it was taken."""
    short, on = case.short(one.name), one.conditions
    place = place_of(case, one.name)
    outcomes = (
        ("the same again", "it counts, and what explains it comes first"),
        ("as it should be", "the first one was wrong: a lead off, another pin, another key state"),
    )
    words = typed(case, one.name, on, "ALONE/LAMP/lit" if on.lamp_w is not None and not on.plugged else "VOLTS")
    return Measurement(short, changes(case.conditions, on), (), words, outcomes, effort_of(case, on, one.name, {"place": place}), place)  # fmt: skip


def _free(explains: Sequence[Explains], what: str) -> bool:
    return any(one.what == what and not one.speaks_against for one in explains)


# --- prove -------------------------------------------------------------------------------------------------------------


def _prove(case: Case, verdict: Verdict) -> Next:
    offers = [(not row.repeat, one, row) for row in verdict.rows if row.state not in _SETTLED_STATES for one in _offers(case, row)]  # fmt: skip
    if not offers:
        return Next("prove", "", None, "; ".join(_why_nothing(case, verdict)), (), verdict)
    _, best, row = min(offers, key=lambda one: (one[0], one[1].effort))
    again = f"{row.short}: {row.reason.partition(': read it once more')[0]}" if row.repeat else ""
    return Next("prove", best.short, best, "", (), verdict, surprise=again)


def _why_nothing(case: Case, verdict: Verdict) -> Iterator[str]:
    """Why no measurement proves what is open."""
    left = [one for one in verdict.rows if one.state not in ("proven", "waived", "not fitted")]
    never = {one.short: case.withheld(one.name, plugged=False) for one in left}
    if reached := [short for short, why in never.items() if not why]:
        yield f"no measurement of the plan proves {listed(reached, most=4, joiner='and')}: reach it, or waive it with a reason"  # fmt: skip
    for why in dict.fromkeys(why for why in never.values() if why):
        yield f"of {listed([short for short, one in never.items() if one == why], most=4, joiner='and')} {why}"
    if not left:
        yield "every row is settled; `tracer proof` says what else is open"


def _possible(case: Case, readings: Sequence[Reading]) -> Iterator[Explains]:
    """What may be wrong where every reading is in order and the symptom was there: what none of them would have shown, and the module itself; nothing where the symptom was not seen."""
    if not any(one.values and one.conditions.symptom for one in readings):
        return
    weighed = weigh(case.plan, readings)
    left = [n for n in range(1, len(weighed.faults)) if not any(one.contradicts[weighed.best[n]] for one in weighed.evidence)]  # fmt: skip
    total = sum(float(weighed.share[n]) for n in left)
    for group, n in enumerate(sorted(left, key=lambda n: -weighed.share[n])):
        fault = weighed.faults[n]
        yield Explains(fault.called, float(weighed.share[n]) / total, fault.how, (), (), group)


def _offers(case: Case, proof: RowProof) -> Iterator[Measurement]:
    if proof.name not in case.plan["rows"]:
        yield from _bus(case, proof)
        return
    if case.plan["not_unplugged"] or case.plan["rows"][proof.name]["no_method"]:
        return
    wanted, keys = still_wanted(case, proof.name)
    if proof.repeat and not wanted:
        on = proof.by[-1].conditions
        wanted = [test for test in case.plan["rows"][proof.name]["tests"] if test["most_v"] is not None and (test["key"], set(test["out"])) == (on.key, set(on.out))]  # fmt: skip
    for test in wanted:
        yield _row(case, proof.name, test, again=proof.repeat)
    for key in keys:
        yield _meter(case, proof.name, key)


def _row(case: Case, name: str, test: Mapping[str, Any], *, again: bool) -> Measurement:
    """The pin of a row with one of its tests."""
    on = Conditions(key=test["key"], plugged=False, lamp_w=test["lamp_w"], out=tuple(sorted(test["out"])), leads=leads_of(test))  # fmt: skip
    short = case.short(name)
    least, most = figures.volts(max(0.0, test["least_v"] or 0.0)), figures.volts(test["most_v"])
    others = len(case.plan["rows"][name]["tests"]) > 1 or any(live in ("live", "dead") and key not in (test["key"], *CRANKING) for key, live in case.plan["rows"][name]["live"].items() if case.plan["rows"][name]["level"] == "supply")  # fmt: skip
    passed = f"{listed(test['proves'], most=3)} carry the load" + ("; its other tests and key states still count" if others else "")  # fmt: skip
    outcomes = (
        (f"the lamp moves it by {least} to {most}", passed),
        (
            "dead, dim, or moved by clearly more",
            "the row has failed, and the fault is on its way" if again else BAD_TWICE,
        ),
    )
    leads = tuple(f"a fused lead from pin {pin} to {other}" for pin, other in test["leads"])
    return Measurement(short, changes(case.conditions, on), leads, f"tracer read battery=VOLTS {short}=ALONE/LAMP{'/lit' if wants_lit(test) else ''}", outcomes, effort_of(case, on, name, {"place": case.plan["place"]}), case.plan["place"])  # fmt: skip


def _meter(case: Case, name: str, key: str) -> Measurement:
    """The pin of a row by meter alone in another key state."""
    on, live = Conditions(key=key, plugged=False, leads=row_leads(case.plan["rows"][name])), case.plan["rows"][name]["live"][key]  # fmt: skip
    short = case.short(name)
    other = "dead" if live == "live" else "live"
    outcomes = (
        (f"{live} in key {key}", "as it must be"),
        (f"{other} in key {key}", "read it once more: what feeds it is not as drawn, or a contact is stuck"),
    )
    return Measurement(short, changes(case.conditions, on), tuple(f"a fused lead {lead}" for lead in on.leads), f"tracer read battery=VOLTS {short}=VOLTS", outcomes, effort_of(case, on, name, {"place": case.plan["place"]}), case.plan["place"])  # fmt: skip


def _bus(case: Case, proof: RowProof) -> Iterator[Measurement]:
    facts = next(facts for bus, facts in case.plan["buses"].items() if line_name(bus, *facts["pins"]) == proof.name)
    if proof.by and _withheld(case, proof.by[-1]):
        return
    if proof.repeat and proof.by and (proof.by[-1].name != proof.name or facts["ohms"] is None):
        yield _again(case, proof.by[-1])
        return
    if facts["ohms"] is None or case.plan["not_unplugged"]:
        return
    low, _, high = facts["ohms"]
    on = Conditions(key=case.conditions.key or case.plan["keys"][0], plugged=False, asleep=True)
    outcomes = (
        (figures.ohms_ends(low, high), "trunk and terminations are in order; it says nothing of supplies"),
        ("anything else", "a termination is missing or added, or a line is open or shorted"),
    )
    yield Measurement(proof.name, changes(case.conditions, on), (), typed(case, proof.name, on), outcomes, effort_of(case, on, proof.name, {"place": case.plan["place"]}), case.plan["place"])  # fmt: skip


__all__ = ["READING_WRONG", "Explains", "Measurement", "Next", "next_of"]
