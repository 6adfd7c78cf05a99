"""What a vehicle or a workshop sets for itself: limits, draws and buses are checked here against what exists."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from tracer.entry.file_models import BusFacts, ShopFacts
from tracer.entry.fragments import facts_of
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import CannotUse, Place, Problem, bounded, did_you_mean, listed
from tracer.entry.text import TypedFile, read_file

NO_SUCH_CAVITY = "Correct the pin, or add it to `cavities`."


def neither(name: str) -> str:
    """That a name, where a state is wanted, is none of this vehicle."""
    return f"`{name}` is neither a key state nor a condition of this vehicle"


Path_ = tuple[str | int, ...]


def check_limits(limits: Mapping[str, tuple[float, ...]], file: TypedFile, problems: list[Problem]) -> None:
    """Every limit must be one that exists, with one number or two as it needs."""
    if not limits:
        return
    from tracer.standards.overrides import standing

    known = standing()
    for item, values in limits.items():
        path: Path_ = ("limits", item)
        if item not in known:
            fix = did_you_mean(item, known, f"Known limits: {listed(list(known), most=40, joiner='and')}.")
            problems.append(file.problem(file.place_of(path, key=True), f"`{item}` is not a limit", fix, item))
        elif len(values) == 2 and not known[item].is_range:
            problems.append(
                file.problem(file.place_of(path), f"{item}: one number is wanted, not a range", "Write one number.")
            )


def check_buses(
    buses: Mapping[str, BusFacts], parts: Mapping[str, tuple[str, object]], file: TypedFile, problems: list[Problem]
) -> None:
    """The parts that a bus names must be modules where only a module can stand; one that no sheet declares is a loose end. `parts` maps a name to its kind and the facts of its first fragment."""
    for name, bus in buses.items():
        path: Path_ = ("buses", name)
        if bus.commander is not None and bus.commander in parts and parts[bus.commander][0] != "module":
            modules = [part for part, (kind, _) in parts.items() if kind == "module"]
            fix = did_you_mean(bus.commander, modules, "Name the module that commands the bus.")
            place = file.place_of((*path, "commander"))
            problems.append(
                file.problem(place, f"bus {name}: there is no module `{bus.commander}`", fix, bus.commander)
            )
        for line, points in bus.lines.items():
            _check_points(name, line, points, parts, file, problems)


def _check_points(
    bus: str,
    line: str,
    points: Sequence[str],
    parts: Mapping[str, tuple[str, object]],
    file: TypedFile,
    problems: list[Problem],
) -> None:
    place = file.place_of(("buses", bus, "lines", line))
    for point in points:
        part, dot, pin = point.partition(".")
        kind, facts = parts.get(part, ("", None))
        if (kind != "module" and part in parts) or not dot:
            modules = [name for name, (found, _) in parts.items() if found == "module"]
            fix = did_you_mean(part, modules, "Write module pins, such as `[ALM.25, ENM.11]`.")
            problems.append(file.problem(place, f"bus {bus}: `{point}` is not a pin of a module", fix, point))
        elif isinstance(facts, ModuleFacts) and facts.cavities and pin not in facts.cavities:
            fix = NO_SUCH_CAVITY
            problems.append(file.problem(place, f"bus {bus}: {part} has no cavity {pin}", fix, point))


def check_draws(
    facts: ModuleFacts,
    known: Sequence[str],
    file: TypedFile,
    path: Path_,
    problems: list[Problem],
) -> None:
    """The states of a draw must be key states or conditions, its pins cavities of the module."""
    for pin, draw in facts.draws.items():
        place = file.place_of((*path, "draws", pin))
        for state in draw:
            if state not in ("", "otherwise", *known):
                fix = did_you_mean(state, known, f"Known: {listed(list(known), joiner='and')}.")
                what = f"draws: {neither(state)}"
                problems.append(file.problem(place, what, fix, state))
    if facts.cavities:
        for key, pins in (("draws", tuple(facts.draws)), ("returns", facts.returns)):
            for pin in pins:
                if pin not in facts.cavities:
                    place = file.place_of((*path, key))
                    fix = NO_SUCH_CAVITY
                    problems.append(file.problem(place, f"{key}: there is no cavity {pin}", fix, pin))


def read_shop(path: str | Path) -> ShopFacts:
    """A workshop's limits from a file of its own.

    Raises
    ------
    CannotUse : with every problem found
    """
    path = Path(path)
    if not path.is_file():
        what = "this is no file" if path.exists() else "there is no such file of a workshop's limits"
        fix = "Correct --shop (or TRACER_SHOP), or write it: `limits: {supply path: 0.4}`."
        raise CannotUse([Problem(Place(str(path)), what, fix)])
    with bounded(path.name) as problems:
        file = read_file(path.parent, path.name, problems)
        facts: ShopFacts | None = facts_of(ShopFacts, file.tree, file, (), problems) if file is not None else None
        if facts is not None and file is not None:
            check_limits(facts.limits, file, problems)
        if problems or facts is None:
            raise CannotUse(problems)
        return facts
