"""Names that must be known: key states, conditions, parts, roles of pins, kinds of relay and switch, positions of contacts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tracer.entry import values
from tracer.entry.bus_words import bus_as_called, bus_in_rows
from tracer.entry.file_models import VehicleFacts
from tracer.entry.fragments import PART_NAME, Fragment, Path_
from tracer.entry.kinds import KindFacts
from tracer.entry.models import ROLES, LeverFacts, ModuleFacts, RelayFacts, SwitchFacts
from tracer.entry.overrides import check_buses, check_draws, check_limits, neither
from tracer.entry.problems import Problem, did_you_mean, listed
from tracer.entry.synonyms import ROLE_WORDS, right_word
from tracer.entry.text import TypedFile
from tracer.entry.values import Misread, When


def check_vehicle_names(
    vehicle: VehicleFacts,
    vehicle_file: TypedFile,
    fragments: dict[str, list[Fragment]],
    unread: set[str] | None,
    problems: list[Problem],
) -> None:
    """Key states, conditions and parts that vehicle.yaml names must exist.

    `unread` are parts that stand on the sheets with a problem of their own: they are there. None: a whole sheet could not be read, so nobody knows which are.
    """
    known = [*vehicle.key, *vehicle.conditions]
    for rail, rail_facts in vehicle.rails.items():
        _check_when(rail_facts.live, known, vehicle_file, ("rails", rail), problems)
    for name, condition in vehicle.conditions.items():
        _check_when(condition.when, vehicle.key, vehicle_file, ("conditions", name, "when"), problems)
    check_limits(vehicle.limits, vehicle_file, problems)
    if vehicle.buses and unread is not None:
        parts: dict[str, tuple[str, object]] = {
            name: (several[0].kind, several[0].facts) for name, several in fragments.items()
        }
        parts |= {name.split("/", 1)[1]: facts for name, facts in parts.items() if "/" in name}
        parts |= {name: ("module", None) for name in unread}
        check_buses(vehicle.buses, parts, vehicle_file, problems)


def check_names(
    vehicle: VehicleFacts | None,
    fragments: dict[str, list[Fragment]],
    kinds: Mapping[str, KindFacts],
    problems: list[Problem],
) -> None:
    """Key states, conditions, pin roles and part kinds that sheets name must exist; without a vehicle its names are not checked."""
    known = [*vehicle.key, *vehicle.conditions] if vehicle else []
    _check_buses((fragment for several in fragments.values() for fragment in several), problems)
    for fragment in (fragment for several in fragments.values() for fragment in several):
        facts = fragment.facts
        if isinstance(facts, ModuleFacts):
            _check_roles(fragment, facts, problems)
            if vehicle is None:
                continue
            check_draws(facts, known, fragment.file, fragment.path, problems)
            for pin, output in facts.outputs.items():
                _check_when(output.when, known, fragment.file, (*fragment.path, "outputs", pin, "when"), problems)
        elif isinstance(facts, SwitchFacts | RelayFacts):
            _check_contacts(fragment, facts, vehicle, kinds, problems)


def _check_buses(fragments: Iterable[Fragment], problems: list[Problem]) -> None:
    """A bus is one word in the names of its rows, so two buses may not differ by a blank and a `_` only."""
    first: dict[str, tuple[str, Fragment, str]] = {}
    for fragment in fragments:
        for pin, words in fragment.facts.pins.items() if isinstance(fragment.facts, ModuleFacts) else ():
            if words.split()[:1] == ["bus"]:
                bus = bus_as_called(words)[0]
                other, where, at = first.setdefault(bus_in_rows(bus), (bus, fragment, pin))
                if other != bus:
                    place = where.place_of(("pins", at))
                    called = [f"bus `{one}`" if one else "a bus without a name" for one in (bus, other)]
                    what = f"{called[0]} and {called[1]} ({place}) have one name in readings: {bus_in_rows(bus)}"
                    fix = "Write both alike if they are one bus, else give one of them another name."
                    problems.append(fragment.file.problem(fragment.place_of(("pins", pin)), what, fix, words))


def _check_when(
    condition: When | None, known: Iterable[str], file: TypedFile, path: Path_, problems: list[Problem]
) -> None:
    known = list(known)
    for name in sorted((condition.names() if condition else set()) - set(known)):
        fix = did_you_mean(
            name,
            [*known, *values.ALONE],
            f"Known: {listed(known, joiner='and')}. More go under `conditions` in vehicle.yaml; "
            f"{listed(values.ALONE)} stand alone.",
        )
        what = neither(name)
        problems.append(file.problem(file.place_of(path, text=name), what, fix, name))


def _check_roles(fragment: Fragment, facts: ModuleFacts, problems: list[Problem]) -> None:
    for pin in facts.signals:
        other = facts.pins.get(pin, "signal").split()[:1]
        if other not in ([], ["signal"]):
            what = f"pin {pin} is listed under `signals`, but is {other[0]} under `pins`"
            place = fragment.place_of(("signals",), text=pin)
            problems.append(fragment.file.problem(place, what, "Take it out of one of the two.", pin))
    for pin, words in facts.pins.items():
        if values.is_range(pin) and pin not in facts.cavities:
            what = f"`{pin}` is a range, and each pin has a role of its own"
            try:
                example = ", ".join(f"{one}: {words or 'ROLE'}" for one in values.pin_list(pin)[:2])
            except Misread as misread:  # a range that cannot be
                what, example = misread.what, f"1: {words or 'ROLE'}, 2: {words or 'ROLE'}"
            place = fragment.place_of(("pins", pin), key=True)
            prefix, _, last = pin.rpartition("-")
            fix = f"Write `{example}` and so on; or list it under `cavities: {{{prefix}-: {last}}}` if it is one pin."
            problems.append(fragment.file.problem(place, what, fix, pin))
        role = words.split()[0] if words.split() else ""
        if not role:
            what = f"what pin {pin} is for is not said"
            fix = f"Write a role, {listed(ROLES)}, or remove the pin here."
            problems.append(fragment.file.problem(fragment.place_of(("pins", pin), key=True), what, fix, pin))
        elif role not in ROLES:
            place = fragment.place_of(("pins", pin))
            fix = did_you_mean(role, ROLES, f"Begin with {listed(ROLES)}; more words may follow.")
            fix = right_word(role, ROLE_WORDS, fix)
            problems.append(fragment.file.problem(place, f"`{role}` is not what a pin can be", fix, role))


def _check_contacts(
    fragment: Fragment,
    facts: SwitchFacts | RelayFacts,
    vehicle: VehicleFacts | None,
    kinds: Mapping[str, KindFacts],
    problems: list[Problem],
) -> None:
    _check_table(fragment, facts, (), vehicle, kinds, problems)
    for name, lever in facts.levers.items() if isinstance(facts, SwitchFacts) else ():
        if not PART_NAME.match(name):
            what = f"`{name}` cannot be the name of a lever"
            place = fragment.place_of(("levers", name), key=True)
            problems.append(fragment.file.problem(place, what, "Write one word, such as `wiper`.", name))
        _check_table(fragment, lever, ("levers", name), vehicle, kinds, problems)


def _check_table(
    fragment: Fragment,
    facts: SwitchFacts | RelayFacts | LeverFacts,
    at: Path_,
    vehicle: VehicleFacts | None,
    kinds: Mapping[str, KindFacts],
    problems: list[Problem],
) -> None:
    """The kind and the positions of a relay, a switch or one of its levers."""
    file = fragment.file
    if facts.kind is not None:
        fitting = [name for name, kind in kinds.items() if kind.is_ == fragment.kind]
        if facts.kind not in fitting:
            fix = did_you_mean(
                facts.kind,
                fitting,
                f"Known kinds: {listed(fitting, most=24, joiner='and')}; your own go into types.yaml.",
            )
            problems.append(
                file.problem(
                    fragment.place_of((*at, "kind")),
                    f"`{facts.kind}` is not a kind of {fragment.kind}",
                    fix,
                    facts.kind,
                )
            )
    if isinstance(facts, RelayFacts):
        allowed, where = ["rest", "energised"], "a relay's contacts are closed at `rest` or when `energised`"
    elif facts.follows is None or vehicle is None:
        return
    elif facts.follows == "key":
        allowed, where = list(vehicle.key), "the switch follows the key, so its positions are key states"
    elif facts.follows in vehicle.conditions:
        allowed, where = (
            ["yes", "no"],
            f"the switch follows the condition `{facts.follows}`, so its positions are `yes` and `no`",
        )
    else:
        known = ["key", *vehicle.conditions]
        fix = did_you_mean(facts.follows, known, f"Write {listed(known)}, or leave it out for a switch worked by hand.")
        problems.append(
            file.problem(
                fragment.place_of((*at, "follows")),
                f"`{facts.follows}` is neither `key` nor a condition of this vehicle",
                fix,
                facts.follows,
            )
        )
        return
    for position, closed in facts.contacts.items():
        if position not in allowed and (position != values.UNKNOWN or closed):
            place = fragment.place_of((*at, "contacts", position), key=True)
            problems.append(
                file.problem(
                    place,
                    f"`{position}` is not a position here: {where}",
                    did_you_mean(position, allowed, f"Write {listed(allowed)}."),
                    position,
                )
            )
