"""What a measurement costs from where the technician stands, and what is set before it."""

from __future__ import annotations

from collections.abc import Mapping

from tracer.case.case import Case
from tracer.case.readings import Conditions
from tracer.standards import figures
from tracer.standards.faults import effort


def place_of(case: Case, name: str) -> str:
    """Where something is read: at its point, at the place of a bus that is named, else at the module."""
    at = [facts["network"]["at"][name] for facts in case.plan["buses"].values() if facts.get("network") and name in facts["network"]["at"]]  # fmt: skip
    return str(case.plan["points"].get(name, at[0] if at else {"place": case.plan["place"]})["place"])


def typed(case: Case, name: str, on: Conditions, values: str = "VOLTS") -> str:
    """What is typed for a reading: of a bus that is asleep ohms."""
    return f"tracer read battery=VOLTS {case.short(name)}={'OHMS' if case.unit(name, on) == 'ohm' else values}"


def changes(now: Conditions, wanted: Conditions) -> tuple[str, ...]:
    """The words of `tracer case set` that bring about what a measurement wants."""
    lamp = "none" if wanted.lamp_w is None else "".join(figures.stated(wanted.lamp_w, "W").split())
    words = {
        "key": f"key={wanted.key}", "plugged": f"plug={'in' if wanted.plugged else 'out'}", "lamp_w": f"lamp={lamp}",
        "out": f"out={','.join(wanted.out) or 'none'}", "leads": f"lead={','.join(wanted.leads) or 'none'}", "asleep": f"asleep={'yes' if wanted.asleep else 'no'}",
        "hand": f"hand={wanted.hand or 'none'}", "engine": f"engine={'on' if wanted.engine else 'off'}",
    }  # fmt: skip
    return tuple(word for name, word in words.items() if getattr(now, name) != getattr(wanted, name))


def effort_of(case: Case, wanted: Conditions, at: str, where: Mapping[str, str]) -> float:
    """What a measurement costs from where the technician stands now."""
    now = case.conditions
    away = {one["place"] for facts in case.plan["buses"].values() if (kept := facts.get("network")) for part, one in kept["outs"].items() if part in wanted.out and part not in now.out}  # fmt: skip
    last = case.readings[-1].name if case.readings else at
    stands = place_of(case, last)
    changed = {
        "another place": stands != where["place"] or bool(away - {where["place"]}), "splice": where.get("kind") == "splice", "key": now.key != wanted.key, "lamp": now.lamp_w != wanted.lamp_w,
        "out": (now.out, now.leads) != (wanted.out, wanted.leads), "plug": now.plugged != wanted.plugged, "asleep": now.asleep != wanted.asleep,
    }  # fmt: skip
    by_hand = wanted.hand.partition(":")[0]
    return effort("reading") + sum(effort(what) for what, more in changed.items() if more) + (effort(by_hand) if by_hand and now.hand != wanted.hand else 0.0)  # fmt: skip


__all__ = ["changes", "effort_of", "place_of", "typed"]
