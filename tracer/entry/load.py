"""A folder to checked text: the vehicle, its sheets, the facts about each part and the runs.

`read_folder` is the front door. It raises `CannotUse` with every problem found; it never stops at the first.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracer.entry import values
from tracer.entry.facts import read_facts
from tracer.entry.kinds import KindFacts, kinds_of
from tracer.entry.models import (
    IN_A_POSITION,
    KINDS,
    ROLES,
    LeverFacts,
    ModuleFacts,
    PanelFacts,
    PartFacts,
    RelayFacts,
    RunFacts,
    SheetFacts,
    SwitchFacts,
    VehicleFacts,
)
from tracer.entry.overrides import check_buses, check_draws, check_limits
from tracer.entry.part_kinds import PartKind
from tracer.entry.problems import CannotUse, Place, Problem, did_you_mean, listed
from tracer.entry.runs import NOT_A_COLOUR, Run, has_dashes, read_run
from tracer.entry.text import TypedFile, files_of, read_file
from tracer.entry.values import Misread, When
from tracer.standards.colours import SYSTEMS

Path_ = tuple[str | int, ...]

_PART_NAME = re.compile(r"^[^\s.:<>?,/\[\]{}]+$")
_RESERVED = frozenset({"ref", "unknown", "track", "bare", "key"})


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page: the file it was typed in, what the page calls itself, its title, where its facts are from."""

    file: str
    id: str
    title: str | None
    seen: str


@dataclass(frozen=True, slots=True)
class Fragment:
    """What one sheet says about one part. `path` leads to it inside the file."""

    name: str
    kind: PartKind
    facts: PartFacts
    sheet: int
    file: TypedFile
    path: Path_
    seen: str
    panel: str | None = None
    label: str | None = None

    @property
    def place(self) -> Place:
        return self.file.place_of(self.path, key=True)

    def place_of(self, path: Path_, *, key: bool = False, text: str = "") -> Place:
        """Place of one fact of the part, or of a piece of text in it."""
        return self.file.place_of(self.path + path, key=key, text=text)

    def has(self, path: Path_) -> bool:
        """Whether this fragment says something at `path`."""
        return _at(self.file.tree, self.path + path) is not None


@dataclass(frozen=True, slots=True)
class Typed:
    """A vehicle as typed, checked line by line but not yet joined."""

    folder: Path
    vehicle: VehicleFacts
    vehicle_file: TypedFile
    sheets: tuple[Sheet, ...]
    files: tuple[TypedFile, ...]
    fragments: dict[str, list[Fragment]]
    runs: tuple[Run, ...]
    kinds: Mapping[str, KindFacts]
    ignored: tuple[str, ...]

    def place_in_run(self, run: Run, offset: int = 0) -> Place:
        """Place of the piece that starts at `offset` of the run's text, also when the run is folded over lines."""
        file = self.files[run.sheet]
        return _place_in_run(file, run.line, run.column, run.text, offset)


def read_folder(folder: str | Path) -> Typed:
    """Read and check a vehicle's folder.

    Raises
    ------
    CannotUse : with every problem found, in file order
    """
    folder = Path(folder)
    problems: list[Problem] = []
    names, ignored = files_of(folder, problems)
    vehicle_file = read_file(folder, "vehicle.yaml", problems) if names is not None else None
    vehicle = _vehicle(vehicle_file, problems) if vehicle_file else None
    if names is None:
        raise CannotUse(problems)
    kinds = kinds_of(folder, problems)
    reader = _SheetReader(_colours(vehicle, vehicle_file), problems)
    all_read = True
    for name in names:
        file = read_file(folder, name, problems)
        if file is not None:
            reader.read(file)
        else:
            all_read = False
    reader.finish()
    if vehicle is not None and vehicle_file is not None:
        unread = reader.names() - set(reader.fragments) if all_read else None
        _check_vehicle_names(vehicle, vehicle_file, reader.fragments, unread, problems)
    _check_names(vehicle, reader.fragments, kinds, problems)
    if problems or vehicle is None or vehicle_file is None:
        raise CannotUse(problems)
    return Typed(
        folder,
        vehicle,
        vehicle_file,
        tuple(reader.sheets),
        tuple(reader.files),
        reader.fragments,
        tuple(reader.runs),
        kinds,
        ignored,
    )


def _colours(vehicle: VehicleFacts | None, file: TypedFile | None) -> str | None:
    """The abbreviations of the diagram; None where vehicle.yaml cannot say, so that not every wire is a problem as well."""
    typed = vehicle.colours if vehicle else _at(file.tree, ("colours",)) or "iec" if file else None
    return typed if typed in SYSTEMS else None


# --- trees to facts ------------------------------------------------------------------------------------------------


def _facts(model: type[Any], tree: Any, file: TypedFile, path: Path_, problems: list[Problem]) -> Any:
    """The model filled from the tree, or None with a problem for each thing that is wrong."""

    def report(at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        problems.append(file.problem(file.place_of(at, key=key, text=text), what, fix, text))

    return read_facts(model, tree, path, report)


def _at(tree: Any, path: Path_) -> Any:
    for step in path:
        if isinstance(tree, dict):
            tree = tree.get(step)
        elif isinstance(tree, list) and isinstance(step, int) and step < len(tree):
            tree = tree[step]
        else:
            return None
    return tree


# --- the two kinds of file -----------------------------------------------------------------------------------------


def _vehicle(file: TypedFile, problems: list[Problem]) -> VehicleFacts | None:
    vehicle: VehicleFacts | None = _facts(VehicleFacts, file.tree, file, (), problems)
    if vehicle is None:
        return None
    names = [*vehicle.key, *vehicle.conditions]
    for index, name in enumerate(names):
        path: Path_ = ("key", index) if index < len(vehicle.key) else ("conditions", name)
        if name in names[:index]:
            problems.append(
                file.problem(
                    file.place_of(path, key=True),
                    f"`{name}` is named twice",
                    "Each key state and condition needs a name of its own.",
                    name,
                )
            )
        if (
            name in ("always", "never", "unknown", "yes", "no", "and", "not", "or", "din", "ground")
            or " and " in name
            or name.startswith("not ")
        ):
            problems.append(
                file.problem(
                    file.place_of(path, key=True),
                    f"`{name}` cannot be the name of a key state or condition",
                    "Choose another word.",
                    name,
                )
            )
    if not vehicle.key:
        problems.append(
            file.problem(file.place_of(("key",)), "no key state is named", "Write `key: [off, acc, run, start]`.")
        )
    for rail in vehicle.rails:
        if not _PART_NAME.match(rail) or rail in _RESERVED:
            problems.append(
                file.problem(
                    file.place_of(("rails", rail), key=True),
                    f"`{rail}` cannot be the name of a rail",
                    "Use one word without dots, colons or slashes.",
                    rail,
                )
            )
    return vehicle


class _SheetReader:
    """Reads sheet after sheet; keeps fragments by part name, runs and problems."""

    def __init__(self, colours: str | None, problems: list[Problem]) -> None:
        self.colours = colours
        self.problems = problems
        self.sheets: list[Sheet] = []
        self.files: list[TypedFile] = []
        self.fragments: dict[str, list[Fragment]] = {}
        self.runs: list[Run] = []
        self._ids: dict[str, str] = {}
        self._parts: list[tuple[str, Any, int, TypedFile, str]] = []

    def names(self) -> set[str]:
        """Every part that stands on a sheet, with or without a problem of its own."""
        return {name for name, *_ in self._parts}

    def read(self, file: TypedFile) -> None:
        head: SheetFacts | None = _facts(SheetFacts, file.tree, file, (), self.problems)
        if head is not None and head.sheet in self._ids:
            place = file.place_of(("sheet",))
            self.problems.append(
                file.problem(
                    place,
                    f"sheet {head.sheet} is already typed in ({self._ids[head.sheet]})",
                    "Give each page its own number, or merge the two files.",
                    head.sheet,
                )
            )
        number = len(self.sheets)
        seen = head.seen if head else "diagram"
        sheet_id = head.sheet if head else file.name
        self._ids.setdefault(sheet_id, file.name)
        self.sheets.append(Sheet(file.name, sheet_id, head.title if head else None, seen))
        self.files.append(file)
        self._read_parts(file, number, seen)
        self._read_runs(file, number, seen)

    def _read_parts(self, file: TypedFile, number: int, seen: str) -> None:
        parts = file.tree.get("parts")
        if parts in (None, ""):
            return
        if not isinstance(parts, dict):
            self.problems.append(
                file.problem(
                    file.place_of(("parts",)),
                    "`parts` must be a mapping of names",
                    "Write `parts:` and below it `ALM: {is: module}`.",
                )
            )
            return
        for name, tree in parts.items():
            if not _PART_NAME.match(name) or name in _RESERVED:
                self.problems.append(
                    file.problem(
                        file.place_of(("parts", name), key=True),
                        f"`{name}` cannot be the name of a part",
                        "Use one word without dots, colons, slashes or brackets.",
                        name,
                    )
                )
                continue
            self._parts.append((name, {"is": tree} if isinstance(tree, str) else tree, number, file, seen))

    def finish(self) -> None:
        """Check the facts about each part, once every sheet is known (a part's kind may stand on another sheet)."""
        kinds: dict[str, tuple[str, TypedFile, Path_]] = {}
        for name, tree, _, file, _ in self._parts:
            if not isinstance(tree, dict):
                continue
            kind = tree.get("is")
            path: Path_ = ("parts", name, "is")
            if isinstance(kind, list | dict):
                what = f"{name}: its kind is one word, not a list or a mapping"
                self.problems.append(file.problem(file.place_of(path), what, f"Write `{name}: {{is: module}}`."))
            if not isinstance(kind, str) or not kind:
                continue
            if kind not in KINDS:
                fix = did_you_mean(kind, KINDS, f"Known kinds: {listed(list(KINDS), most=24, joiner='and')}. A sensor, lamp or motor is a load.")  # fmt: skip
                self.problems.append(file.problem(file.place_of(path), f"`{kind}` is not a kind of part", fix, kind))
            elif name not in kinds:
                kinds[name] = (kind, file, path)
            elif kinds[name][0] != kind:
                first, first_file, first_path = kinds[name]
                self.problems.append(
                    file.problem(
                        file.place_of(path),
                        f"{name} is a {kind} here, but a {first} at {first_file.place_of(first_path)}",
                        "Two different parts need two names; the same part has one kind.",
                        kind,
                    )
                )
        for name, tree, number, file, seen in self._parts:
            path = ("parts", name)
            if name not in kinds:
                if not isinstance(tree, dict):
                    self.problems.append(
                        file.problem(
                            file.place_of(path),
                            f"{name}: its kind is missing",
                            f"Write `{name}: {{is: module}}`.",
                        )
                    )
                elif "is" not in tree:
                    self.problems.append(
                        file.problem(
                            file.place_of(path, key=True),
                            f"{name}: its kind is missing",
                            f"Add `is: ...` ({listed(list(KINDS), most=24)}).",
                            name,
                        )
                    )
                elif not tree["is"]:
                    self.problems.append(
                        file.problem(
                            file.place_of(path, key=True),
                            f"{name}: its kind is missing",
                            f"Write `is: ...` ({listed(list(KINDS), most=24)}).",
                            name,
                        )
                    )
                continue
            kind = kinds[name][0]
            facts: PartFacts | None = _facts(KINDS[kind], tree, file, path, self.problems)
            if facts is None:
                continue
            self._add(Fragment(name, PartKind(kind), facts, number, file, path, facts.seen or seen))
            if isinstance(facts, PanelFacts):
                self._positions(name, facts, number, file, path, facts.seen or seen)

    def _positions(self, panel: str, facts: PanelFacts, number: int, file: TypedFile, path: Path_, seen: str) -> None:
        for labels, typed in facts.positions.items():
            at: Path_ = (*path, "positions", labels)
            try:
                expanded = values.pin_list(labels)
            except Misread as misread:
                self.problems.append(file.problem(file.place_of(at, key=True), misread.what, misread.fix, labels))
                continue
            kind, tree = str(PartKind.FUSE), typed
            if isinstance(typed, str):
                word = typed.strip()
                tree = {"state": "empty"} if word == "empty" else {} if word in values.UNKNOWN_WORDS else {"amps": word}
            elif isinstance(typed, dict):
                kind = typed.get("is", PartKind.FUSE)
                if kind not in IN_A_POSITION:
                    fix = did_you_mean(str(kind), IN_A_POSITION, f"In a position sits a {listed(IN_A_POSITION)}.")
                    self.problems.append(
                        file.problem(file.place_of((*at, "is")), f"`{kind}` cannot sit in a position", fix, str(kind))
                    )
                    continue
            before = len(self.problems)
            position: PartFacts | None = _facts(KINDS[kind], tree, file, at, self.problems)
            if position is None:
                if isinstance(typed, str) and len(self.problems) > before:
                    del self.problems[before:]
                    self.problems.append(
                        file.problem(
                            file.place_of(at),
                            f"`{typed}` is not a rating in A",
                            "Write the rating (`15`), `empty`, `unknown`, or `{is: relay, ...}`.",
                            typed,
                        )
                    )
                continue
            for label in expanded:
                if not _PART_NAME.match(label) or label in _RESERVED:
                    self.problems.append(
                        file.problem(
                            file.place_of(at, key=True),
                            f"`{label}` cannot be the label of a position",
                            "Use one word.",
                            label,
                        )
                    )
                    continue
                self._add(
                    Fragment(
                        f"{panel}/{label}",
                        PartKind(kind),
                        position,
                        number,
                        file,
                        at,
                        position.seen or seen,
                        panel,
                        label,
                    )
                )

    def _add(self, fragment: Fragment) -> None:
        self.fragments.setdefault(fragment.name, []).append(fragment)

    def _read_runs(self, file: TypedFile, number: int, seen: str) -> None:
        runs = file.tree.get("runs")
        if runs in (None, ""):
            return
        if not isinstance(runs, list):
            self.problems.append(
                file.problem(
                    file.place_of(("runs",)),
                    "`runs` must be a list",
                    "Begin each run on its own line with `- `.",
                )
            )
            return
        nodes = file.node_of(("runs",)).value
        for index, typed in enumerate(runs):
            node = nodes[index]
            note = None
            run_seen = seen
            if isinstance(typed, dict):
                text, run_seen, note, node = self._run_mapping(typed, file, index, seen)
            else:
                text = typed
            if not isinstance(text, str):
                if isinstance(typed, list):
                    self.problems.append(
                        file.problem(
                            file.place(node),
                            "a run is one line of text, not a list",
                            "Write it without brackets: `F9 -- RD 2.5 -- ALM.4`.",
                        )
                    )
                continue
            if node.style not in ("|", ">") and node.end_mark.line < len(file.lines):
                rest = file.lines[node.end_mark.line][node.end_mark.column :]
                if "#" in rest and has_dashes(rest):
                    place = Place(file.name, node.end_mark.line + 1, node.end_mark.column + rest.index("#") + 1)
                    self.problems.append(
                        file.problem(
                            place,
                            "`#` begins a comment, so the rest of this run is not read",
                            "Write a wire number in round brackets: `RD 2.5 (204)`. A comment goes on a line of its own.",
                            "#",
                        )
                    )
            mark = node.start_mark
            column = mark.column + 1 + (node.style in ("'", '"') if node.style else 0)
            points, wires, slips = read_run(text, self.colours or "iec")
            for slip in slips:
                if self.colours is None and slip.what.endswith(NOT_A_COLOUR):
                    continue
                place = _place_in_run(file, mark.line + 1, column, text, slip.offset)
                self.problems.append(file.problem(place, slip.what, slip.fix, slip.text))
            if not slips:
                self.runs.append(Run(number, text, mark.line + 1, column, points, wires, run_seen, note))
        nodes.clear()  # each run has kept its place; the nodes would be most of the memory of a large vehicle
        runs.clear()

    def _run_mapping(
        self, typed: dict[str, Any], file: TypedFile, index: int, seen: str
    ) -> tuple[str | None, str, str | None, Any]:
        path: Path_ = ("runs", index)
        keys = list(typed)
        if (keys and keys[0].startswith(("--", "?"))) or keys == [""]:
            self.problems.append(
                file.problem(
                    file.place_of(path),
                    "a run cannot begin with `?` (YAML reads it as something else)",
                    "Turn the run round so that `?` comes last, or begin it with `unknown`.",
                    "?",
                )
            )
            return None, seen, None, None
        if keys and has_dashes(keys[0]):
            colon = file.node_of((*path, keys[0]), key=True).end_mark
            self.problems.append(
                file.problem(
                    Place(file.name, colon.line + 1, colon.column + 1),
                    "a colon followed by a space splits this run in two (YAML reads it as `key: value`)",
                    "Remove the colon, or put the whole run in quotes.",
                    ":",
                )
            )
            return None, seen, None, None
        facts: RunFacts | None = _facts(RunFacts, typed, file, path, self.problems)
        if facts is None:
            return None, seen, None, None
        return facts.run, facts.seen or seen, facts.note, file.node_of((*path, "run"))


def _place_in_run(file: TypedFile, line: int, column: int, text: str, offset: int) -> Place:
    typed = file.lines[line - 1] if line <= len(file.lines) else ""
    piece = text[offset : offset + 12].split("\n")[0]
    if typed[column - 1 + offset : column - 1 + offset + len(piece)] == piece:
        return Place(file.name, line, column + offset)
    for number in range(
        line, min(line + 40, len(file.lines) + 1)
    ):  # a folded run: look for the piece on the lines below
        at = file.lines[number - 1].find(piece, column - 1 if number == line else 0)
        if piece and at >= 0:
            return Place(file.name, number, at + 1)
    return Place(file.name, line, column)


# --- names that must be known --------------------------------------------------------------------------------------


def _check_vehicle_names(
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


def _check_names(
    vehicle: VehicleFacts | None,
    fragments: dict[str, list[Fragment]],
    kinds: Mapping[str, KindFacts],
    problems: list[Problem],
) -> None:
    """Key states, conditions, pin roles and part kinds that sheets name must exist; without a vehicle its names are not checked."""
    known = [*vehicle.key, *vehicle.conditions] if vehicle else []
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
        what = f"`{name}` is neither a key state nor a condition of this vehicle"
        problems.append(file.problem(file.place_of(path, text=name), what, fix, name))


def _check_roles(fragment: Fragment, facts: ModuleFacts, problems: list[Problem]) -> None:
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
        if not _PART_NAME.match(name):
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
