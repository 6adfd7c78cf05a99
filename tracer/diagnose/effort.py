"""What a measurement costs from where the technician stands, and what is set before it."""

from __future__ import annotations

from collections.abc import Mapping

from tracer.case.case import Case
from tracer.case.readings import Conditions
from tracer.standards import figures
from tracer.standards.faults import effort


def changes(now: Conditions, wanted: Conditions) -> tuple[str, ...]:
    """The words of `tracer case set` that bring about what a measurement wants."""
    lamp = "none" if wanted.lamp_w is None else "".join(figures.stated(wanted.lamp_w, "W").split())
    words = {
        "key": f"key={wanted.key}", "plugged": f"plug={'in' if wanted.plugged else 'out'}", "lamp_w": f"lamp={lamp}",
        "out": f"out={','.join(wanted.out) or 'none'}", "leads": f"lead={','.join(wanted.leads) or 'none'}", "asleep": f"asleep={'yes' if wanted.asleep else 'no'}",
    }  # fmt: skip
    return tuple(word for name, word in words.items() if getattr(now, name) != getattr(wanted, name))


def effort_of(case: Case, wanted: Conditions, at: str, where: Mapping[str, str]) -> float:
    """What a measurement costs from where the technician stands now."""
    now = case.conditions
    last = case.readings[-1].name if case.readings else at
    stands = case.plan["points"].get(last, {"place": case.plan["place"]})["place"]
    changed = {
        "another place": stands != where["place"], "splice": where.get("kind") == "splice", "key": now.key != wanted.key, "lamp": now.lamp_w != wanted.lamp_w,
        "out": (now.out, now.leads) != (wanted.out, wanted.leads), "plug": now.plugged != wanted.plugged, "asleep": now.asleep != wanted.asleep,
    }  # fmt: skip
    return effort("reading") + sum(effort(what) for what, more in changed.items() if more)


__all__ = ["changes", "effort_of"]
