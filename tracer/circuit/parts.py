"""The facts about one part, spread over sheets, put together; contradictions are found here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tracer.circuit.model import Conflict, Part
from tracer.entry.kinds import KindFacts
from tracer.entry.load import Fragment, Typed
from tracer.entry.models import (
    ConnectorFacts,
    ConverterFacts,
    DiodeFacts,
    FuseFacts,
    GeneratorFacts,
    JointFacts,
    LoadFacts,
    ModuleFacts,
    PartFacts,
    RelayFacts,
    SwitchFacts,
    TwoPinFacts,
)
from tracer.entry.problems import Problem, listed, natural, nearest
from tracer.entry.shapes import specs_of

# Facts that two documents may state differently without making the circuit unclear: both stay visible as a loose end.
DESCRIPTIVE = frozenset(
    {
        "amps",
        "type",
        "serves",
        "at",
        "access",
        "name",
        "note",
        "seen",
        "state",
        "or",
        "body",
        "feed side",
        "output",
        "watts",
        "ohms",
        "volts",
        "on",
        "halves",
    }
)
_NOT_COMPARED = frozenset({"seen", "note", "is_"})


def joined_parts(typed: Typed, problems: list[Problem]) -> tuple[dict[str, Part], dict[str, str], list[Conflict]]:
    """Every part by its name, the short names of panel positions, and the contradictions.

    A position is called by its label alone where that is unambiguous (`F9`), otherwise `PANEL/LABEL`.
    """
    short = _short_names(typed, problems)
    grouped: dict[str, list[Fragment]] = {}
    for name, fragments in typed.fragments.items():
        grouped.setdefault(short.get(name, name), []).extend(fragments)
    conflicts: list[Conflict] = []
    parts = {  # by name, so that nothing hangs on which sheet comes first
        name: _part(name, grouped[name], typed.kinds, problems, conflicts) for name in sorted(grouped, key=natural)
    }
    for part in parts.values():
        if part.kind == "switch" and part.follows is not None:
            _check_positions(part, part.follows, typed, problems)
    names = {full: name for full, name in short.items()}
    return parts, names, conflicts


def _short_names(typed: Typed, problems: list[Problem]) -> dict[str, str]:
    """`PANEL/LABEL` to the name the part goes by."""
    panels: dict[str, list[str]] = {}
    for name, fragments in typed.fragments.items():
        label = fragments[0].label
        if label is not None:
            panels.setdefault(label, []).append(name)
    short: dict[str, str] = {}
    for label, names in panels.items():
        plain = typed.fragments.get(label)
        if len(names) == 1 and (plain is None or plain[0].kind == typed.fragments[names[0]][0].kind):
            short[names[0]] = label
            continue
        if plain is not None:
            other = typed.fragments[names[0]][0]
            what = f"{label} is a {plain[0].kind} here, but a {other.kind} in panel {other.panel} at {other.place}"
            if len(names) > 1:
                what = f"{label} is a part here and a position in several panels"
            problems.append(plain[0].file.problem(plain[0].place, what, "Give this part a name of its own.", label))
    return short


def _part(
    name: str,
    fragments: list[Fragment],
    kinds: Mapping[str, KindFacts],
    problems: list[Problem],
    conflicts: list[Conflict],
) -> Part:
    facts = fragments[0].facts if len(fragments) == 1 else _merged(name, fragments, problems, conflicts)
    kind = fragments[0].kind
    coils: list[tuple[str, str]] = []
    contacts: Mapping[str, tuple[tuple[str, ...], ...]] = {}
    follows = lag = None
    if isinstance(facts, RelayFacts | SwitchFacts):
        by_kind = kinds.get(facts.kind) if facts.kind else None
        contacts = facts.contacts or (by_kind.contacts if by_kind else {})
        follows = (
            facts.follows if isinstance(facts, SwitchFacts) and facts.follows else by_kind.follows if by_kind else None
        )
        lag = by_kind.lag if by_kind else None
        if isinstance(facts, RelayFacts):
            coil = facts.coil or (by_kind.coil if by_kind else ("86", "85"))
            reset = facts.reset or (by_kind.reset if by_kind else None)
            coils = [found for found in (coil, reset) if found]
        if not contacts:
            fragment = fragments[0]
            what = f"{name}: which of its pins are joined, and when, is not said"
            fix = "Add `kind: normally open` (or another kind), or its own `contacts: {...}`; docs/part-types.md lists the kinds."
            problems.append(fragment.file.problem(fragment.place, what, fix, fragment.label or name))
    part = Part(name, kind, facts, tuple(fragments), tuple(coils), contacts, follows, lag)
    _check_pins(part, problems)
    return part


def _check_positions(part: Part, follows: str, typed: Typed, problems: list[Problem]) -> None:
    """Positions that nothing ever takes would be contacts that never close. What stands on one sheet was checked there."""
    own = bool(getattr(part.facts, "contacts", None))
    kind = getattr(part.facts, "kind", None) or ""
    at: tuple[str, ...] = ("contacts",) if own else ("kind",)
    named = part.name if own else f"kind `{kind}`"
    fragment = next((found for found in part.fragments if found.has(at)), part.fragments[0])
    vehicle = typed.vehicle
    if follows != "key" and follows not in vehicle.conditions:
        what = f"{named} follows `{follows}`, which is neither `key` nor a condition of this vehicle"
        fix = "Add the condition in vehicle.yaml, or give the switch its own `follows` and `contacts`."
        problems.append(fragment.file.problem(fragment.place_of(at), what, fix, "" if own else kind))
        return
    possible = vehicle.key if follows == "key" else ("yes", "no")
    strange = [position for position in part.contacts if position not in possible]
    if not strange or (not own and follows == "key" and len(strange) < len(part.contacts)):
        return  # a shared kind may know more key states than this vehicle has
    what = f"{named} has the position {listed(strange, joiner='and')}, but follows `{follows}`: possible are {listed(possible, joiner='and')}"
    fix = (
        "Correct the position." if own else f"Give the switch its own `contacts` for {listed(possible, joiner='and')}."
    )
    problems.append(fragment.file.problem(fragment.place_of(at), what, fix, "" if own else kind))


def _merged(name: str, fragments: list[Fragment], problems: list[Problem], conflicts: list[Conflict]) -> PartFacts:
    """One set of facts from several fragments: mappings and lists united, single facts compared."""
    model: Any = type(fragments[0].facts)
    merged: dict[str, Any] = {}
    origin: dict[str, Fragment] = {}
    for fragment in fragments:
        for spec in specs_of(model).values():
            value = getattr(fragment.facts, spec.name)
            if value is None or value == () or value == {}:
                continue
            if spec.name not in origin or spec.name in _NOT_COMPARED:
                merged.setdefault(spec.name, value)
                origin.setdefault(spec.name, fragment)
            elif isinstance(value, dict):
                united = _united(name, spec.key, merged[spec.name], value, origin[spec.name], fragment, problems)
                merged[spec.name] = united
            elif isinstance(value, tuple) and spec.name not in ("coil", "reset", "halves"):
                merged[spec.name] = tuple(dict.fromkeys((*merged[spec.name], *value)))
            elif merged[spec.name] != value:
                _contradiction(
                    name, spec.key, merged[spec.name], value, origin[spec.name], fragment, problems, conflicts
                )
    facts: PartFacts = model(**merged)
    return facts


def _united(
    name: str,
    path: str,
    first: dict[str, Any],
    second: dict[str, Any],
    origin: Fragment,
    fragment: Fragment,
    problems: list[Problem],
) -> dict[str, Any]:
    united = dict(first)
    for key, value in second.items():
        if path == "busbars" and key in united:  # more positions on the same busbar
            united[key] = tuple(dict.fromkeys((*united[key], *value)))
        elif key in united and united[key] != value and path != "positions":
            place = fragment.place_of((path, key))
            what = f"{name}: `{path}` says something else about {key} than at {origin.place_of((path, key))}"
            problems.append(
                fragment.file.problem(
                    place,
                    what,
                    "Both cannot hold: correct one of them, or keep one.",
                    str(value) if isinstance(value, str) else "",
                )
            )
        united.setdefault(key, value)
    return united


def _contradiction(
    name: str,
    path: str,
    first: Any,
    second: Any,
    origin: Fragment,
    fragment: Fragment,
    problems: list[Problem],
    conflicts: list[Conflict],
) -> None:
    here, there = fragment.place_of((path,)), origin.place_of((path,))
    if path in DESCRIPTIVE:
        conflicts.append(Conflict(name, path, _shown(first), there, _shown(second), here))
        return
    what = f"{name}: `{path}` is {_shown(second)} here, but {_shown(first)} at {there}"
    problems.append(fragment.file.problem(here, what, "Both cannot hold: correct one of them, or keep one."))


def _shown(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(str(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def pins_known(part: Part) -> frozenset[str] | None:
    """The pins a part can have, or None when any name may be a pin."""
    facts = part.facts
    if isinstance(facts, FuseFacts):
        return frozenset({"feed", "load"})
    if isinstance(facts, RelayFacts | SwitchFacts):
        pins = {pin for groups in part.contacts.values() for group in groups for pin in group}
        return frozenset(pins.union(*part.coils, facts.unused if isinstance(facts, RelayFacts) else ()))
    if isinstance(facts, DiodeFacts):
        return frozenset({"A", "K"})
    if isinstance(facts, LoadFacts):
        return frozenset(facts.pins or ("1", "2"))
    if isinstance(facts, TwoPinFacts):
        return frozenset({"1", "2"})
    if isinstance(facts, ConverterFacts):
        return frozenset({"in", "out", "ground"})
    if isinstance(facts, ModuleFacts):
        return frozenset((*facts.cavities, *facts.pins, *facts.unused)) if facts.cavities else None
    if isinstance(facts, ConnectorFacts):
        return frozenset((*facts.cavities, *facts.mates, *facts.mates.values())) if facts.cavities else None
    if isinstance(facts, JointFacts):
        return frozenset(facts.cavities or (pin for group in facts.bussed for pin in group))
    if isinstance(facts, GeneratorFacts):
        return None
    return None


def _check_pins(part: Part, problems: list[Problem]) -> None:
    """Pins that are named among the facts of a part must be pins of it."""
    facts = part.facts
    if isinstance(facts, ModuleFacts) and facts.cavities:
        cavities = frozenset(facts.cavities)
        listed: list[tuple[tuple[str, ...], str]] = [(("pins", pin), pin) for pin in facts.pins]
        listed += [(("unused",), pin) for pin in facts.unused]
        listed += [(("joined",), pin) for group in facts.joined for pin in group]
        listed += [(("outputs", pin), pin) for pin in facts.outputs]
        for pin, output in facts.outputs.items():
            listed += [(("outputs", pin, "from"), other) for other in output.from_]
            listed += [(("outputs", pin, "through"), other) for other in output.through]
        _report_pins(part, listed, cavities, problems)
    elif isinstance(facts, JointFacts) and facts.cavities:
        _report_pins(
            part,
            [(("bussed",), pin) for group in facts.bussed for pin in group],
            frozenset(facts.cavities),
            problems,
        )
    elif isinstance(facts, ConnectorFacts) and facts.cavities:
        _report_pins(part, [(("mates", a), a) for a in facts.mates], frozenset(facts.cavities), problems)


def _report_pins(
    part: Part, listed: list[tuple[tuple[str, ...], str]], known: frozenset[str], problems: list[Problem]
) -> None:
    for path, pin in listed:
        if pin not in known:
            fragment = next((found for found in part.fragments if found.has(path)), part.fragments[0])
            near = nearest(pin, known)
            fix = f"Did you mean {near[0]}? " if near else ""
            what = f"{part.name} has no cavity {pin} (its `cavities` do not hold it)"
            key = path[0] in ("pins", "mates") or len(path) == 2
            problems.append(
                fragment.file.problem(
                    fragment.place_of(path, key=key, text=pin),
                    what,
                    f"{fix}Correct the pin, or add it to `cavities`.",
                    pin,
                )
            )
