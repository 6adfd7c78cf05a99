"""What opening a part affects: as text and as JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from tracer.circuit.model import Circuit
from tracer.report.completeness import completeness_data, first_line
from tracer.report.layout import Page, counted
from tracer.report.minding import mark, marked, minding_data, notes, opening
from tracer.report.words import MAY_BE_MISSING
from tracer.trace.affects.effects import (
    FEWER,
    LOST,
    OTHER_WAY,
    SOME_STATES,
    AffectsReport,
    Effect,
    Gain,
    Relay,
    Severed,
)
from tracer.trace.minding import Minding

SCHEMA = "tracer.affects/1"
_MOST_DROPPED = 4  # named in the verdict
_TITLES = {
    LOST: "Lost outright",
    SOME_STATES: "Lost in these key states only",
    FEWER: "Live in fewer cases, or no longer certain",
    OTHER_WAY: "Still fed another way",
}


# --- text ----------------------------------------------------------------------------------------------------------


def as_text(circuit: Circuit, report: AffectsReport, *, width: int = 80, bold: bool = False) -> str:
    """The report as plain text: verdict first, then what is lost, grouped by module and load with their places."""
    page = Page(width, bold=bold)
    page.line(f"{report.vehicle}: {report.target.words}", strong=True)
    place(page, circuit, report)
    verdict_lines(page, report)
    opening(page, report.minding)
    for note in report.notes:
        page.line(f"Note: {note}.")
    _effects(page, circuit, LOST, report)
    if report.relays:
        _relays(page, circuit, report)
    for kind in (SOME_STATES, FEWER):
        _effects(page, circuit, kind, report)
    if report.gains:
        page.heading("Live or grounded though it should not be")
        for (part, _), gains in groupby(report.gains, key=lambda gain: (gain.terminal.part, gain.terminal.kind)):
            _part_line(page, circuit, part, report.minding)
            page.table([_gain_row(gain, report.minding) for gain in gains], indent=6)
    if report.severed:
        page.heading("Lines without supply or ground of their own that come apart")
        for severed in report.severed:
            pieces = " | ".join(", ".join(piece) for piece in severed.pieces)
            page.line(
                marked(pieces, report.minding, *(at for piece in severed.pieces for at in piece)), indent=2, hang=4
            )
    _effects(page, circuit, OTHER_WAY, report)
    notes(page, report.minding)
    _foot(page, report)
    return page.text()


def verdict_lines(page: Page, report: AffectsReport) -> None:
    """Whether all of it is known, and what is lost."""
    page.line(first_line(report.completeness, missing=MAY_BE_MISSING), strong=True)
    page.line(verdict(report), strong=True)


def verdict(report: AffectsReport) -> str:
    """How many pins of how many parts lose what."""
    lost = [effect for effect in report.of(LOST) if shown(report, effect)]
    some = [effect for effect in report.of(SOME_STATES) if shown(report, effect)]
    parts = [
        f"{counted(len(found), 'pin')} of {_parts_words(found)} {words}"
        for found, words in ((lost, "without supply or ground"), (some, "without it in some key states"))
        if found
    ]
    if report.relays:
        parts.append(f"{_dropped_words(report.relays)} {'drops' if len(report.relays) == 1 else 'drop'} out")
    if report.severed:
        parts.append(f"{counted(len(report.severed), 'signal line')} apart")
    if not parts:
        return "Nothing that is typed in loses supply, ground or control by it."
    return f"{'; '.join(parts)}."


def _dropped_words(relays: Sequence[Relay]) -> str:
    """'relay KAL, relay KCP'; of many how many of each kind."""
    if len(relays) <= _MOST_DROPPED:
        return ", ".join(f"{relay.kind} {relay.part}" for relay in relays)
    kinds = Counter(relay.kind for relay in relays)
    return " and ".join(counted(number, kind) for kind, number in sorted(kinds.items()))


def _parts_words(effects: Iterable[Effect]) -> str:
    names: dict[str, set[str]] = {}
    for effect in effects:
        names.setdefault(effect.terminal.kind, set()).add(effect.terminal.part)
    return " and ".join(counted(len(parts), kind) for kind, parts in names.items())  # in the order of the effects


def place(page: Page, circuit: Circuit, report: AffectsReport) -> None:
    """Where what opens sits."""
    for name in report.target.parts[:1]:
        where, access = circuit.place_of_part(name)
        part = circuit.parts[name]
        panel = f"in {circuit.title(part.panel)}, " if part.panel and report.target.kind != "panel" else ""
        if where:
            page.line(f"at: {panel}{where}" + (f" ({access})" if access else ""))


def shown(report: AffectsReport, effect: Effect) -> bool:
    """Coils are told under the relays, unless the relay itself does not drop out."""
    return effect.terminal.kind != "relay" or effect.terminal.part not in {relay.part for relay in report.relays}


def _effects(page: Page, circuit: Circuit, kind: str, report: AffectsReport) -> None:
    effects = [effect for effect in report.of(kind) if shown(report, effect)]
    if not effects:
        return
    page.heading(_TITLES[kind])
    for part, group in groupby(effects, key=lambda effect: effect.terminal.part):
        _part_line(page, circuit, part, report.minding)
        page.table([_row(kind, effect, report.minding) for effect in group], indent=6, stretch=3)


def _part_line(page: Page, circuit: Circuit, name: str, minding: Minding) -> None:
    part = circuit.parts[name]
    place, access = circuit.place_of_part(name)
    title = marked(f"{name} - {part.facts.name}" if part.facts.name else name, minding, name)
    where = f"; at: {place}" + (f" ({access})" if access else "") if place else ""
    page.line(f"{title}{where}", indent=2, hang=6)


def _row(kind: str, effect: Effect, minding: Minding) -> list[str]:
    terminal = effect.terminal
    what = terminal.declared if terminal.kind == "module" and terminal.declared else ""
    words = [_levels(kind, effect)]
    if effect.by:
        words.append(f"taken along by {effect.by}")
    if effect.remains and kind != LOST:
        words.append(f"over {', '.join(effect.remains)}")
    said = f"{what} - " if what else ""
    words.append(mark(minding, f"{terminal.part}.{terminal.pin}"))
    role = "" if what.split(" ")[0] == terminal.level else terminal.level
    return [f"pin {terminal.pin}", role, "", said + "; ".join(word for word in words if word)]


def _levels(kind: str, effect: Effect) -> str:
    if kind == LOST:
        return f"before: {levels_words(effect.before)}" if set(effect.before.values()) != {"dead"} else ""
    if kind == SOME_STATES:
        alive = {key: level for key, level in effect.after.items() if level != "dead"}
        left = levels_words(alive, every=len(alive) == len(effect.after))
        return f"dead in {', '.join(effect.states)}" + (f", still {left}" if left else "")
    return f"now {levels_words(effect.after)}" + _why(effect)


def _why(effect: Effect) -> str:
    reasons = dict.fromkeys(reason for key in effect.why for reason in effect.why[key])
    return f" (on {'; '.join(reasons)})" if reasons else ""


def levels_words(levels: dict[str, str], *, every: bool = True) -> str:
    """'live in run, start; depends in off'; 'live in every key state', where these are all the vehicle has (`every`)."""
    groups: dict[str, list[str]] = {}
    for key, level in levels.items():
        groups.setdefault(level, []).append(key)
    if every and len(groups) == 1 and len(levels) > 1:
        return f"{next(iter(groups))} in every key state"
    order = ("live", "depends", "dead")
    return "; ".join(f"{level} in {', '.join(groups[level])}" for level in order if level in groups)


def _gain_row(gain: Gain, minding: Minding) -> list[str]:
    terminal = gain.terminal
    what = terminal.declared if terminal.kind == "module" else ""
    return [
        f"pin {terminal.pin}",
        terminal.level,
        marked(
            f"{what}{' - ' if what else ''}now {levels_words({key: gain.after[key] for key in gain.states}, every=len(gain.states) == len(gain.after))}",
            minding,
            f"{terminal.part}.{terminal.pin}",
        ),
    ]


def _relays(page: Page, circuit: Circuit, report: AffectsReport) -> None:
    page.heading("What drops out, and takes along what hangs on it")
    for relay in report.relays:
        after = f", after {relay.by}" if relay.by else ""
        every = set(relay.states) >= set(report.keys)
        states = "" if every or not relay.states else f" (in {', '.join(relay.states)})"
        unsure = "" if relay.certain else "; not certain, as something that is not typed in may still feed it"
        page.line(
            f"{relay.kind} {circuit.title(relay.part)}{states}: no {relay.lacks} at {relay.pin}{after}{unsure}",
            indent=2,
            hang=6,
        )
        taken = [effect.terminal for effect in report.effects if effect.by == relay.part]
        if taken:
            pins = ", ".join(f"{terminal.part}.{terminal.pin} ({terminal.level})" for terminal in taken)
            page.line(f"takes along: {pins}", indent=6, hang=8)


def _foot(page: Page, report: AffectsReport) -> None:
    page.blank()
    page.line(
        "A relay's rest contact and a latching relay stay as they are. Current that finds a way back through a load (back-feed) is not followed here: "
        "what is lost outright may still read some volts."
    )
    page.cautions(report.cautions)


# --- JSON ----------------------------------------------------------------------------------------------------------


def as_data(report: AffectsReport) -> dict[str, Any]:
    """The report as plain data, documented in docs/json/affects.md."""
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        **completeness_data(report.completeness),
        "loose_ends": report.completeness.loose,
        "target": {"name": report.target.name, "kind": report.target.kind, "parts": list(report.target.parts), "words": report.target.words},
        "keys": list(report.keys),
        "lost": [_effect_data(effect) for effect in report.of(LOST)],
        "some_states": [_effect_data(effect) for effect in report.of(SOME_STATES)],
        "less_certain": [_effect_data(effect) for effect in report.of(FEWER)],
        "another_way": [_effect_data(effect) for effect in report.of(OTHER_WAY)],
        "dropped": [_relay_data(relay) for relay in report.relays],
        "gained": [
            {**_terminal_data(gain.terminal), "states": list(gain.states), "before": gain.before, "after": gain.after}
            for gain in report.gains
        ],
        "parted": [_severed_data(severed) for severed in report.severed],
        "notes": list(report.notes),
        "minding": minding_data(report.minding),
        "cautions": list(report.cautions),
    }  # fmt: skip


def _terminal_data(terminal: Any) -> dict[str, Any]:
    return {
        "part": terminal.part,
        "kind": terminal.kind,
        "pin": terminal.pin,
        "level": terminal.level,
        "role": terminal.role,
        "declared": terminal.declared,
    }


def _effect_data(effect: Effect) -> dict[str, Any]:
    return {
        **_terminal_data(effect.terminal),
        "by": effect.by or None,
        "states": list(effect.states),
        "before": effect.before,
        "after": effect.after,
        "why": {key: list(reasons) for key, reasons in effect.why.items()},
        "remains": list(effect.remains),
    }


def _relay_data(relay: Relay) -> dict[str, Any]:
    return {
        "part": relay.part,
        "kind": relay.kind,
        "lacks": relay.lacks,
        "pin": relay.pin,
        "states": list(relay.states),
        "by": relay.by or None,
        "certain": relay.certain,
    }


def _severed_data(severed: Severed) -> list[Sequence[str]]:
    return [list(piece) for piece in severed.pieces]
