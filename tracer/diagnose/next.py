"""Where to measure next in a case: within a way that failed (find), or the cheapest row that is still open (prove).

Nothing is offered that may not be measured: a row with a hazard on its way has no test in the plan, and its points belong to no other row that has one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracer.case.case import Case
from tracer.case.proof import (
    RowProof,
    Verdict,
    good_up_to_v,
    leads_of,
    row_leads,
    split_readings,
    splits_by_points,
    still_wanted,
    verdict_of,
    wants_lit,
)
from tracer.case.readings import Conditions, Reading
from tracer.diagnose.choice import choose, normalised
from tracer.entry.problems import listed
from tracer.plan.words import CRANKING, line_name
from tracer.standards import figures
from tracer.standards.faults import effort, piece_fails, slip

READING_WRONG = "a reading is wrong"
_UNLIKELY = 0.01  # what is not named among the outcomes
_GONE = ("not-reached", "not-fitted")
_SETTLED_STATES = ("proven", "failed", "waived", "not reached", "not fitted")


@dataclass(frozen=True, slots=True)
class Explains:
    """One thing that explains the readings: its `share` of all that does, how it fails, what speaks for and against it."""

    what: str
    share: float
    how: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement: what to set before, what to type, what each outcome would mean, and what it costs in effort."""

    short: str
    set_before: tuple[str, ...]
    by_hand: tuple[str, ...]
    typed: str
    outcomes: tuple[tuple[str, str], ...]
    effort: float
    place: str


@dataclass(frozen=True, slots=True)
class Next:
    """The measurement to take next; `aim` is find or prove, `of` the row that failed. Without a measurement `why_not` says why."""

    aim: str
    of: str
    measurement: Measurement | None
    why_not: str
    explains: tuple[Explains, ...]
    verdict: Verdict

    @property
    def complete(self) -> bool:
        """Whether there is a measurement."""
        return self.measurement is not None


def next_of(case: Case) -> Next:
    """What to measure next."""
    verdict = verdict_of(case)
    failed = [one for one in verdict.rows if one.state == "failed"]
    return _find(case, verdict, failed) if failed else _prove(case, verdict)


# --- find --------------------------------------------------------------------------------------------------------------


def _find(case: Case, verdict: Verdict, failed: Sequence[RowProof]) -> Next:
    worst = failed[0]
    row, last = case.plan["rows"][worst.name], worst.by[-1].conditions
    explains = tuple(_explained(case, verdict, failed))
    test = splits_by_points(case, worst)
    assert verdict.narrowed is not None
    splits = verdict.narrowed.splits
    if test is None or splits.why_not:
        return Next("find", worst.short, None, splits.why_not, explains, verdict)
    if last.lamp_w != test["lamp_w"]:  # without the lamp no point can be told good
        again = _row(case, worst.name, test)
        return Next("find", worst.short, again, "", explains, verdict)
    parts = row["parts"]
    places = splits.points
    weights = _weights(case, verdict, failed)
    predicted = {at: [*(int(parts.index(piece) >= n) for piece in worst.pieces), 1] for at, n in places.items()}
    costs = {at: _effort(case, last, at, case.plan["points"][at]) for at in places}
    chosen = choose(weights, predicted, costs) if places else None
    if chosen is None:
        free = set(looked_at(explains))
        likely = [piece for piece in (*parts, READING_WRONG) if piece in free]
        return Next("find", worst.short, None, f"no point that can be reached parts what is left: look at {_span(likely)}, and after the repair read {worst.short} once more", explains, verdict)  # fmt: skip
    at = chosen.probe
    live = {one.what for one in explains if one.share > _UNLIKELY}
    before = [piece for piece in parts[: places[at]] if piece in live]
    behind = [piece for piece in parts[places[at] :] if piece in live]
    most = good_up_to_v(case, worst, test)
    outcomes = (
        (
            f"good: the lamp is lit and moves it by {figures.volts(max(0.0, most))} at most",
            f"the fault is behind it, {_span(behind)}",
        ),
        ("bad: dead, dim, or moved by clearly more", f"the fault is before it, {_span(before)}"),
    )
    short = case.short(at)
    found = Measurement(
        short, _changes(case.conditions, last), tuple(f"fused lead from pin {pin} to {other}" for pin, other in test["leads"]),
        f"tracer read battery=VOLTS {short}=ALONE/LAMP/lit", outcomes, costs[at], case.plan["points"][at]["place"],
    )  # fmt: skip
    return Next("find", worst.short, found, "", explains, verdict)


def looked_at(explains: Sequence[Explains]) -> list[str]:
    """What is looked at once nothing is left to measure: every piece that nothing speaks against, however seldom it fails; the likeliest where readings disagree."""
    free = [one.what for one in explains if not one.speaks_against and one.what != READING_WRONG]
    return free or [one.what for one in explains[:1]]


def _span(pieces: Sequence[str]) -> str:
    if len(pieces) < 3:
        return listed(pieces, joiner="or") if pieces else "which nothing else says: read both once more"
    return f"one of {len(pieces)} from {pieces[0]} to {pieces[-1]}"


def _evidence(case: Case, failed: RowProof) -> list[tuple[Reading, int, bool]]:
    return [(one, n, good) for one, n, good in split_readings(case, failed) if good is not None]


def _clearing(verdict: Verdict, piece: str) -> list[str]:
    return [one.short for one in verdict.rows if one.state == "proven" and piece in one.pieces]


def _weights(case: Case, verdict: Verdict, failed: Sequence[RowProof]) -> list[float]:
    """The weight of each piece of the first failed row, then of wrong readings; none is ever 0, since any reading may be wrong."""
    worst, others = failed[0], failed[1:]
    row, wrong, second = case.plan["rows"][worst.name], slip("reading wrong"), slip("second fault")
    evidence = _evidence(case, worst)
    prior = normalised([piece_fails(row["kinds"][piece])[0] for piece in worst.pieces])
    weights = []
    for piece, weight in zip(worst.pieces, prior, strict=True):
        place = row["parts"].index(piece)
        for _, n, good in evidence:
            weight *= 1 - wrong if (place >= n) == good else wrong
        weight *= wrong ** len(_clearing(verdict, piece))
        weights.append(weight * second ** sum(piece not in other.pieces for other in others))
    slipped = wrong ** len(worst.by) * second ** len(others)
    for _, _, good in evidence:
        slipped *= 1 - wrong if good else wrong
    return normalised([*weights, slipped])


def _explained(case: Case, verdict: Verdict, failed: Sequence[RowProof]) -> Iterator[Explains]:
    """Everything that explains the readings, the likeliest first."""
    worst, others = failed[0], failed[1:]
    row, evidence = case.plan["rows"][worst.name], _evidence(case, failed[0])
    said = [f"{one.short} failed" for one in failed]
    found = []
    for piece, share in zip((*worst.pieces, READING_WRONG), _weights(case, verdict, failed), strict=True):
        if piece == READING_WRONG:
            found.append(Explains(piece, share, "wrong pin, a lead off, another key state", (), tuple(f"{worst.short} was read bad {len(worst.by)} times" for _ in said[:1])))  # fmt: skip
            continue
        place = row["parts"].index(piece)
        agrees = {(case.short(one.name), good): (place >= n) == good for one, n, good in evidence}
        words = {key: f"{key[0]} {'good' if key[1] else 'bad'}" for key in agrees}
        explained = [f"{one.short} failed" for one in failed if piece in one.pieces]
        against = [words[key] for key, fits in agrees.items() if not fits]
        against += [f"cleared by {one}" for one in _clearing(verdict, piece)]
        against += [f"does not explain {one.short}" for one in others if piece not in one.pieces]
        found.append(Explains(piece, share, piece_fails(row["kinds"][piece])[1], (*explained, *(words[key] for key, fits in agrees.items() if fits)), tuple(against)))  # fmt: skip
    yield from sorted(found, key=lambda one: -one.share)


# --- prove -------------------------------------------------------------------------------------------------------------


def _prove(case: Case, verdict: Verdict) -> Next:
    offers = [(not row.repeat, one) for row in verdict.rows if row.state not in _SETTLED_STATES for one in _offers(case, row)]  # fmt: skip
    if not offers:
        left = [one.short for one in verdict.rows if one.state not in ("proven", "waived", "not fitted")]
        why = f"no measurement of the plan proves {listed(left, most=4, joiner='and')}: reach it, or waive it with a reason" if left else "every row is settled; `tracer proof` says what else is open"  # fmt: skip
        return Next("prove", "", None, why, (), verdict)
    _, best = min(offers, key=lambda one: (one[0], one[1].effort))
    return Next("prove", best.short, best, "", (), verdict)


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
        yield _row(case, proof.name, test)
    for key in keys:
        yield _meter(case, proof.name, key)


def _row(case: Case, name: str, test: Mapping[str, Any]) -> Measurement:
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
            "read it once more; bad twice, the row has failed and the fault is on its way",
        ),
    )
    leads = tuple(f"fused lead from pin {pin} to {other}" for pin, other in test["leads"])
    return Measurement(short, _changes(case.conditions, on), leads, f"tracer read battery=VOLTS {short}=ALONE/LAMP{'/lit' if wants_lit(test) else ''}", outcomes, _effort(case, on, name, {"place": case.plan["place"]}), case.plan["place"])  # fmt: skip


def _meter(case: Case, name: str, key: str) -> Measurement:
    """The pin of a row by meter alone in another key state."""
    on, live = Conditions(key=key, plugged=False, leads=row_leads(case.plan["rows"][name])), case.plan["rows"][name]["live"][key]  # fmt: skip
    short = case.short(name)
    other = "dead" if live == "live" else "live"
    outcomes = (
        (f"{live} in key {key}", "as it must be"),
        (f"{other} in key {key}", "read it once more: what feeds it is not as drawn, or a contact is stuck"),
    )
    return Measurement(short, _changes(case.conditions, on), tuple(f"fused lead {lead}" for lead in on.leads), f"tracer read battery=VOLTS {short}=VOLTS", outcomes, _effort(case, on, name, {"place": case.plan["place"]}), case.plan["place"])  # fmt: skip


def _bus(case: Case, proof: RowProof) -> Iterator[Measurement]:
    facts = next(facts for bus, facts in case.plan["buses"].items() if line_name(bus, *facts["pins"]) == proof.name)
    if facts["ohms"] is None or case.plan["not_unplugged"]:
        return
    low, _, high = facts["ohms"]
    on = Conditions(key=case.conditions.key, plugged=False, asleep=True)
    outcomes = (
        (f"{low:.0f} to {high:.0f} ohm", "trunk and terminations are in order; it says nothing of supplies"),
        ("anything else", "a termination is missing or added, or a line is open or shorted"),
    )
    yield Measurement(proof.name, _changes(case.conditions, on), (), f"tracer read battery=VOLTS {proof.name}=OHMS", outcomes, _effort(case, on, proof.name, {"place": case.plan["place"]}), case.plan["place"])  # fmt: skip


# --- effort ------------------------------------------------------------------------------------------------------------


def _changes(now: Conditions, wanted: Conditions) -> tuple[str, ...]:
    """The words of `tracer case set` that bring about what a measurement wants."""
    lamp = "none" if wanted.lamp_w is None else "".join(figures.stated(wanted.lamp_w, "W").split())
    words = {
        "key": f"key={wanted.key}", "plugged": f"plug={'in' if wanted.plugged else 'out'}", "lamp_w": f"lamp={lamp}",
        "out": f"out={','.join(wanted.out) or 'none'}", "asleep": f"asleep={'yes' if wanted.asleep else 'no'}",
        "leads": f"lead={','.join(wanted.leads) or 'none'}",
    }  # fmt: skip
    return tuple(word for name, word in words.items() if getattr(now, name) != getattr(wanted, name))


def _effort(case: Case, wanted: Conditions, at: str, where: Mapping[str, str]) -> float:
    """What a measurement costs from where the technician stands now."""
    now = case.conditions
    last = case.readings[-1].name if case.readings else at
    stands = case.plan["points"].get(last, {"place": case.plan["place"]})["place"]
    changed = {
        "another place": stands != where["place"], "splice": where.get("kind") == "splice", "key": now.key != wanted.key, "lamp": now.lamp_w != wanted.lamp_w,
        "out": now.out != wanted.out, "plug": now.plugged != wanted.plugged, "asleep": now.asleep != wanted.asleep,
    }  # fmt: skip
    return effort("reading") + sum(effort(what) for what, more in changed.items() if more)


__all__ = ["READING_WRONG", "Explains", "Measurement", "Next", "looked_at", "next_of"]
