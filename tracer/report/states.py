"""The table of a module's pins against key states: as text and as JSON."""

from __future__ import annotations

import re
from typing import Any

from tracer.report.completeness import completeness_data, list_words
from tracer.report.layout import Page, elsewhere_words
from tracer.report.minding import marked, minding_data, notes, opening
from tracer.report.plain_data import loose_data
from tracer.report.supplies import WIDE
from tracer.report.words import MUST_WORK
from tracer.trace.lists.pin_states import ModuleStates, PinStates

SCHEMA = "tracer.states/1"


def as_text(states: ModuleStates, *, width: int = 80, bold: bool = False) -> str:
    """The table, then what the words `depends` and `unknown` in it hang on."""
    page = Page(width, bold=bold)
    name = f" - {states.name}" if states.name else ""
    page.line(f"{states.vehicle}: {states.module}{name}", strong=True)
    page.line(list_words(states.module, states.completeness), strong=True)
    if states.completeness.elsewhere:
        page.line(elsewhere_words(states.completeness.elsewhere))
    opening(page, states.minding)
    page.line(
        "A reading without its key state proves nothing. Levels are for a module plugged in, with the wiring in order."
    )
    reasons: list[str] = []
    for title, kind, pins in (
        ("Pins traced to supply or ground", "pin", [pin for pin in states.pins if pin.row]),
        (MUST_WORK, "point", list(states.chains)),
    ):
        if pins:
            page.heading(title)
            rows = [
                [
                    pin.row,
                    pin.pin,
                    *(_level(pin, key, reasons) for key in states.keys),
                    marked(_short(pin.declared or pin.kind, page.width), states.minding, _point(states, pin)),
                ]
                for pin in pins
            ]
            gap = 1 if page.width < WIDE else 2
            page.table(rows, indent=gap, head=["row", kind, *states.keys, "what it is"], gap=gap, stacked_names=states.keys)  # fmt: skip
    if reasons:
        page.heading("What it depends on")
        for number, reason in enumerate(reasons, 1):
            page.line(f"[{number}] {reason}", indent=2, hang=6)
        for condition, text in states.conditions.items():
            if text and any(condition in reason for reason in reasons):
                page.line(f"{condition}: {text}", indent=2, hang=6)
    others = [pin for pin in states.pins if not pin.row]
    if others:
        page.heading("Other pins")
        alike: dict[str, list[str]] = {}
        for pin in others:
            words = marked(f"{pin.pin} {pin.declared or pin.kind}", states.minding, _point(states, pin))
            alike.setdefault(pin.expected, []).append(words)
        for expected, pins_alike in alike.items():
            page.line(f"{', '.join(pins_alike)}: {expected}.", indent=2, hang=4)
    for relay in states.unstable:
        page.line(f"Relay {relay} has no stable state: it opens its own coil circuit.", indent=2)
    notes(page, states.minding)
    return page.text()


def _short(words: str, width: int) -> str:
    """What a pin is, without what stands in brackets where the page is not wide."""
    return words if width >= WIDE else re.sub(r" \([^()]*\)", "", words)


def _point(states: ModuleStates, pin: PinStates) -> str:
    """The full name of a pin; those of side chains have it already."""
    return pin.pin if pin.row.startswith("C") else f"{states.module}.{pin.pin}"


def _level(pin: PinStates, key: str, reasons: list[str]) -> str:
    """'live', 'dead', 'depends [2]'."""
    level = pin.level.get(key, "")
    why = pin.why.get(key, ())
    if not why:
        return level
    reason = "; ".join(why)
    if reason not in reasons:
        reasons.append(reason)
    return f"{level} [{reasons.index(reason) + 1}]"


def as_data(states: ModuleStates) -> dict[str, Any]:
    """The table as plain data."""
    return {
        "schema": SCHEMA,
        "vehicle": states.vehicle,
        "module": states.module,
        "name": states.name,
        **completeness_data(states.completeness),
        "loose_elsewhere": states.completeness.elsewhere,
        "keys": list(states.keys),
        "conditions": states.conditions,
        "pins": [_pin_data(pin) for pin in states.pins],
        "chains": [_pin_data(pin) for pin in states.chains],
        "unstable_relays": list(states.unstable),
        "loose_ends": [loose_data(loose) for loose in states.loose_ends],
        "minding": minding_data(states.minding),
    }


def _pin_data(pin: PinStates) -> dict[str, Any]:
    return {
        "pin": pin.pin,
        "row": pin.row or None,
        "declared": pin.declared,
        "kind": pin.kind,
        "level": pin.level,
        "why": {key: list(reasons) for key, reasons in pin.why.items()},
        "reading": pin.expected,
        "note": pin.note,
    }
