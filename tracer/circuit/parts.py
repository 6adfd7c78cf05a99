"""The facts about one part, spread over sheets, put together; contradictions are found here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tracer.circuit.faces import check_face
from tracer.circuit.kinds import PARTS, PartKind
from tracer.circuit.model import Conflict, Lever, Part
from tracer.entry.facts import keys_of
from tracer.entry.kinds import KindFacts
from tracer.entry.load import Fragment, Typed
from tracer.entry.models import (
    BoxFacts,
    ConnectorFacts,
    ConverterFacts,
    JointFacts,
    LeverFacts,
    LoadFacts,
    ModuleFacts,
    PartFacts,
    RelayFacts,
    SwitchFacts,
)
from tracer.entry.names import short_names
from tracer.entry.overrides import NO_SUCH_CAVITY
from tracer.entry.problems import Problem, listed, natural, nearest
from tracer.entry.values import UNKNOWN, UNKNOWN_CONTACTS

# Facts that two documents may state differently without making the circuit unclear: both stay visible as a loose end.
_KEEP_ONE = "Both cannot hold: correct one of them, or keep one."
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
        "contact ohms",
        "volts",
        "on",
        "halves",
        "wires",
    }
)
_NUMBERS = frozenset({"amps", "watts", "ohms", "contact_ohms", "volts"})  # what is computed with
_NOT_COMPARED = frozenset({"seen", "note", "is_", "hazard", "caution", "guess"})  # every sheet may add its own


def joined_parts(typed: Typed, problems: list[Problem]) -> tuple[dict[str, Part], dict[str, str], list[Conflict]]:
    """Every part by its name, the short names of panel positions, and the contradictions.

    A position is called by its label alone where that is unambiguous (`F9`), otherwise `PANEL/LABEL`.
    """
    short = _short_names(typed, problems)
    grouped: dict[str, list[Fragment]] = {}
    for name, fragments in typed.fragments.items():
        grouped.setdefault(short.get(name, name), []).extend(fragments)
    for fragments in grouped.values():  # by the page they are on, so that nothing hangs on the names of the files
        if len(fragments) > 1:
            fragments.sort(key=lambda one: natural(typed.sheets[one.sheet].id))
    conflicts: list[Conflict] = []
    parts = {  # by name, so that nothing hangs on which sheet comes first
        name: _part(name, grouped[name], typed.kinds, problems, conflicts) for name in sorted(grouped, key=natural)
    }
    for part in parts.values():
        for key, lever in part.levers.items():
            if part.kind is PartKind.SWITCH and lever.follows is not None:
                _check_positions(part, key, lever, typed, problems)
    names = {full: name for full, name in short.items()}
    return parts, names, conflicts


def _short_names(typed: Typed, problems: list[Problem]) -> dict[str, str]:
    """`PANEL/LABEL` to the name the part goes by."""
    kinds = {name: fragments[0].kind for name, fragments in typed.fragments.items()}
    labels = {name: found[0].label for name, found in typed.fragments.items() if found[0].label is not None}
    short = short_names(kinds, labels)
    panels: dict[str, list[str]] = {}
    for name, label in labels.items():
        if name not in short and label in kinds:
            panels.setdefault(label, []).append(name)
    for label, names in panels.items():
        plain, other = typed.fragments[label][0], typed.fragments[names[0]][0]
        what = f"{label} is a {plain.kind} here, but a {other.kind} in panel {other.panel} at {other.place}"
        if len(names) > 1:
            what = f"{label} is a part here and a position in several panels"
        problems.append(plain.file.problem(plain.place, what, "Give this part a name of its own.", label))
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
    if isinstance(facts, ModuleFacts) and facts.signals:
        signals = {pin: "signal" for pin in facts.signals}
        facts = facts.model_copy(update={"pins": {**signals, **facts.pins}})
    coils: list[tuple[str, str]] = []
    levers: dict[str, Lever] = {}
    unknown = isinstance(facts, BoxFacts)
    lag = None
    if isinstance(facts, RelayFacts | SwitchFacts):
        by_kind = kinds.get(facts.kind) if facts.kind else None
        lag = by_kind.lag if by_kind else None
        several = facts.levers if isinstance(facts, SwitchFacts) else {}
        moved: dict[str, LeverFacts | RelayFacts | SwitchFacts] = {} if several and not facts.contacts else {"": facts}
        for key, one in {**moved, **several}.items():
            lever = _lever(f"{name}/{key}" if key else name, one, kinds)
            if lever.contacts:
                levers[key] = lever
            unknown = unknown or bool(lever.unknown) or not lever.contacts
        if isinstance(facts, RelayFacts):
            # where not even the contacts are known, neither is which pins are the coil
            coil = facts.coil or (by_kind.coil if by_kind else None if unknown else ("86", "85"))
            reset = facts.reset or (by_kind.reset if by_kind else None)
            coils = [found for found in (coil, reset) if found]
    whole = levers.get("")
    part = Part(
        name,
        kind,
        facts,
        tuple(fragments),
        tuple(coils),
        whole.contacts if whole else {},
        whole.follows if whole else None,
        lag,
        levers,
        next((fragment.panel for fragment in fragments if fragment.panel), None),
        next((fragment.label for fragment in fragments if fragment.label), None),
        unknown,
    )
    _check_pins(part, problems)
    check_face(part, problems)
    return part


def _lever(name: str, facts: LeverFacts | RelayFacts | SwitchFacts, kinds: Mapping[str, KindFacts]) -> Lever:
    """What is known of the contacts that move together; without any where they are not given, or typed as unknown."""
    by_kind = kinds.get(facts.kind) if facts.kind else None
    contacts = dict(facts.contacts or (by_kind.contacts if by_kind else {}))
    if contacts.get(UNKNOWN) == ():  # said on one sheet; another one may know them
        del contacts[UNKNOWN]
    own = None if isinstance(facts, RelayFacts) else facts.follows
    known = {position: groups for position, groups in contacts.items() if groups != UNKNOWN_CONTACTS}
    unknown = tuple(position for position in contacts if position not in known)
    return Lever(name, known, own or (by_kind.follows if by_kind else None), unknown)


def _check_positions(part: Part, key: str, lever: Lever, typed: Typed, problems: list[Problem]) -> None:
    """Positions that nothing ever takes would be contacts that never close. What stands on one sheet was checked there."""
    assert isinstance(part.facts, SwitchFacts) and lever.follows is not None
    facts, follows = part.facts.levers[key] if key else part.facts, lever.follows
    own = bool(facts.contacts)
    kind = facts.kind or ""
    at: tuple[str, ...] = (*(("levers", key) if key else ()), "contacts" if own else "kind")
    named = lever.name if own else f"kind `{kind}`"
    fragment = next((found for found in part.fragments if found.has(at)), part.fragments[0])
    vehicle = typed.vehicle
    if follows != "key" and follows not in vehicle.conditions:
        what = f"{named} follows `{follows}`, which is neither `key` nor a condition of this vehicle"
        fix = "Add the condition in vehicle.yaml, or give the switch its own `follows` and `contacts`."
        problems.append(fragment.file.problem(fragment.place_of(at), what, fix, "" if own else kind))
        return
    possible = vehicle.key if follows == "key" else ("yes", "no")
    positions = (*lever.contacts, *lever.unknown)
    strange = [position for position in positions if position not in possible]
    if not strange or (not own and follows == "key" and len(strange) < len(positions)):
        return  # a shared kind may know more key states than this vehicle has
    what = f"{named} has the position {listed(strange, joiner='and')}, but follows `{follows}`: possible are {listed(possible, joiner='and')}"
    fix = (
        "Correct the position." if own else f"Give the switch its own `contacts` for {listed(possible, joiner='and')}."
    )
    problems.append(fragment.file.problem(fragment.place_of(at), what, fix, "" if own else kind))


def _merged(name: str, fragments: list[Fragment], problems: list[Problem], conflicts: list[Conflict]) -> PartFacts:
    """One set of facts from several fragments: mappings and lists united, single facts compared."""
    merged: dict[str, Any] = {}
    origin: dict[str, Fragment] = {}
    keys = keys_of(type(fragments[0].facts))
    contradicted: set[str] = set()
    for fragment in fragments:
        for key, field in keys.items():
            value = getattr(fragment.facts, field)
            if value is None or value == () or value == {}:
                continue
            if field not in origin or field in _NOT_COMPARED:
                merged.setdefault(field, value)
                origin.setdefault(field, fragment)
            elif isinstance(value, dict):
                united = _united(name, key, merged[field], value, origin[field], fragment, problems)
                merged[field] = united
            elif isinstance(value, tuple) and field not in ("coil", "reset", "halves", "face"):
                merged[field] = tuple(dict.fromkeys((*merged[field], *value)))
            elif merged[field] != value:
                contradicted.add(field)
                _contradiction(name, key, merged[field], value, origin[field], fragment, problems, conflicts)
    for field in contradicted.intersection(_NUMBERS):  # nothing may be computed with one of the two
        merged[field] = None
    return fragments[0].facts.model_copy(update=merged)  # each fact was checked when its sheet was read


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
        elif path == "contacts" and UNKNOWN_CONTACTS in (value, united.get(key)):  # another sheet may know it
            united[key] = united.get(key, value) if value == UNKNOWN_CONTACTS else value
        elif key in united and united[key] != value and path != "positions":
            place = fragment.place_of((path, key))
            what = f"{name}: `{path}` says something else about {key} than at {origin.place_of((path, key))}"
            problems.append(
                fragment.file.problem(
                    place,
                    what,
                    _KEEP_ONE,
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
    problems.append(fragment.file.problem(here, what, _KEEP_ONE))


def _shown(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"[{', '.join(item)}]" if isinstance(item, tuple) else str(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def joined_inside(part: Part) -> frozenset[str]:
    """The pins of a relay or switch of which it is known what joins them: coils, and contacts of which no position is unknown."""
    levers = (lever for lever in part.levers.values() if not lever.unknown)
    pins = {pin for lever in levers for groups in lever.contacts.values() for group in groups for pin in group}
    return frozenset(pins.union(*part.coils))


def pins_known(part: Part) -> frozenset[str] | None:
    """The pins a part can have, or None when any name may be a pin."""
    facts = part.facts
    if isinstance(facts, RelayFacts | SwitchFacts):
        return None if part.inside_unknown else joined_inside(part).union(facts.pins, getattr(facts, "unused", ()))
    if isinstance(facts, BoxFacts):
        return frozenset((*facts.cavities, *facts.unused)) if facts.cavities else None
    if isinstance(facts, ConverterFacts):
        return frozenset((*PARTS[part.kind].pins, *(("return",) if facts.return_ else ())))
    if isinstance(facts, ModuleFacts):
        every = (*facts.cavities, *facts.pins, *facts.unused, *facts.not_looked_at)
        return frozenset(every) if facts.cavities else None
    if isinstance(facts, ConnectorFacts):
        return frozenset((*facts.cavities, *facts.mates, *facts.mates.values())) if facts.cavities else None
    if isinstance(facts, JointFacts):
        return frozenset(facts.cavities or (pin for group in facts.bussed for pin in group))
    if isinstance(facts, LoadFacts) and facts.pins:
        return frozenset(facts.pins)
    return frozenset(PARTS[part.kind].pins) or None


def _check_pins(part: Part, problems: list[Problem]) -> None:
    """Pins that are named among the facts of a part must be pins of it."""
    facts = part.facts
    _check_minded_pins(part, problems)
    if isinstance(facts, ModuleFacts) and facts.cavities:
        cavities = frozenset(facts.cavities)
        listed: list[tuple[tuple[str, ...], str]] = [
            (("signals",) if pin in facts.signals else ("pins", pin), pin) for pin in facts.pins
        ]
        listed += [(("not looked at",), pin) for pin in facts.not_looked_at]
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


def _check_minded_pins(part: Part, problems: list[Problem]) -> None:
    """A hazard, caution or note of a pin that there is not would be one of nothing."""
    for fragment in part.fragments:
        for key in ("hazard", "caution", "note"):
            for pin in getattr(fragment.facts, key):
                known = pins_known(part) if pin else None
                if known is not None and pin not in known:
                    near = nearest(pin, known)
                    fix = f"Did you mean {near[0]}? " if near else ""
                    place = fragment.place_of((key, pin), key=True, text=pin)
                    what = f"{part.name} has no pin {pin}"
                    problems.append(fragment.file.problem(place, what, f"{fix}Correct the pin under `{key}`.", pin))


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
                    f"{fix}{NO_SUCH_CAVITY}",
                    pin,
                )
            )
