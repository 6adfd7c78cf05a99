"""A sheet to fragments of parts and to runs; whatever is wrong comes out together."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from tracer.entry import values
from tracer.entry.file_models import RunFacts, SheetFacts
from tracer.entry.fragments import PART_NAME, RESERVED, Fragment, Path_, Sheet, facts_of, place_in_run
from tracer.entry.models import KINDS, PanelFacts, PartFacts
from tracer.entry.part_kinds import IN_A_POSITION, PartKind
from tracer.entry.problems import CannotUse, Place, Problem, did_you_mean, listed
from tracer.entry.runs import NOT_A_COLOUR, Run, has_dashes, read_run, spread
from tracer.entry.synonyms import KIND_WORDS, right_word
from tracer.entry.text import TypedFile
from tracer.entry.values import Misread
from tracer.standards.colours import ColourSystem

MAX_RUNS = 200_000  # of a vehicle, a run over several pins counted once for each; a large truck has some 10 000
MAX_PARTS = 200_000  # of a vehicle
MAX_PINS_TOGETHER = 200_000  # of a vehicle: cavities and positions, which a few letters (`1-900`) make many of


class SheetReader:
    """Reads sheet after sheet; keeps fragments by part name, runs and problems."""

    def __init__(self, colours: ColourSystem | None, problems: list[Problem], *, read_again: bool = False) -> None:
        self.colours = colours
        self.read_again = read_again  # the parsed files are kept for another reading
        self.problems = problems
        self.sheets: list[Sheet] = []
        self.files: list[TypedFile] = []
        self.fragments: dict[str, list[Fragment]] = {}
        self.runs: list[Run] = []
        self.doubled = False  # one page typed in twice
        self._ids: dict[str, str] = {}
        self._parts: list[tuple[str, Any, int, TypedFile, str]] = []
        self._pins = 0

    def names(self) -> set[str]:
        """Every part that stands on a sheet, with or without a problem of its own."""
        return {name for name, *_ in self._parts}

    def sound_fragments(self) -> dict[str, list[Fragment]]:
        """The parts without any problem of their own on any sheet, nor one of their panel."""
        lines: dict[str, list[int]] = {}
        for problem in self.problems:
            lines.setdefault(problem.place.file, []).append(problem.place.line)
        spoilt = set()
        for name, _, _, file, _ in self._parts:
            if file.name in lines:
                first = file.place_of(("parts", name), key=True).line
                last = file.node_of(("parts", name)).end_mark.line + 1
                if any(first <= line <= last for line in lines[file.name]):
                    spoilt.add(name)
        return {name: found for name, found in self.fragments.items() if not {name, name.partition("/")[0]} & spoilt}

    def read(self, file: TypedFile) -> None:
        head: SheetFacts | None = facts_of(SheetFacts, file.tree, file, (), self.problems)
        if head is not None and head.sheet in self._ids:
            self.doubled = True
            self.problems.append(self._doubled(file, head.sheet))
        number = len(self.sheets)
        seen = head.seen if head else "diagram"
        sheet_id = head.sheet if head else file.name
        self._ids.setdefault(sheet_id, file.name)
        told = (head.title, seen, head.note, head.hazard, head.caution, head.page) if head else (None, seen)
        self.sheets.append(Sheet(file.name, sheet_id, *told))
        self.files.append(file)
        self._read_parts(file, number, seen)
        self._read_runs(file, number, seen)

    def _doubled(self, file: TypedFile, sheet: str) -> Problem:
        """A second file of one page; where both say the same, the one with the longer name is likely the copy."""
        first = next(one for one in self.files if one.name == self._ids[sheet])
        if file.lines != first.lines:
            what = f"sheet {sheet} is already typed in ({first.name})"
            number = re.fullmatch(r"0*(\d+)", file.name.rpartition("/")[2].partition(".")[0])
            by_name = (
                f"By the name of its file this is sheet {number[1]}: write `sheet: {number[1]}`. "
                if number and number[1] not in self._ids
                else ""
            )
            fix = f"{by_name}Give each page its own number, or merge the two files."
            return file.problem(file.place_of(("sheet",)), what, fix, sheet)
        copy, kept = (file, first) if len(file.name) >= len(first.name) else (first, file)
        what = f"this file has the same content as {kept.name}"
        fix = "If one of the two is a copy, take it out of sheets/. If it is another page, give it its own number and content."
        return copy.problem(copy.place_of(("sheet",)), what, fix, sheet)

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
            if not PART_NAME.match(name) or name in RESERVED:
                self.problems.append(
                    file.problem(
                        file.place_of(("parts", name), key=True),
                        f"`{name}` cannot be the name of a part",
                        f"Use one word without dots, colons, slashes or brackets{_one_word(name)}.",
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
                fix = right_word(kind, KIND_WORDS, fix)
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
            facts: PartFacts | None = facts_of(KINDS[kind], tree, file, path, self.problems)
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
            position: PartFacts | None = facts_of(KINDS[kind], tree, file, at, self.problems)
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
                if not PART_NAME.match(label) or label in RESERVED:
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
        self._pins += 1 + len(fragment.facts.said("cavities") or ())
        if self._pins > MAX_PINS_TOGETHER:
            what = f"more than {MAX_PINS_TOGETHER} cavities and positions are declared up to here"
            raise self._too_large(fragment.file, fragment.file.place_of(fragment.path, key=True), what)
        self.fragments.setdefault(fragment.name, []).append(fragment)
        if len(self.fragments) > MAX_PARTS:
            what = f"more than {MAX_PARTS} parts are declared up to here"
            raise self._too_large(fragment.file, fragment.file.place_of(fragment.path, key=True), what)

    def _too_large(self, file: TypedFile, place: Place, what: str) -> CannotUse:
        fix = "No vehicle has so many: check the ranges, such as `1-900`."
        return CannotUse([*self.problems, replace(file.problem(place, what, fix), cause=True)])

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
            end = node.end_mark
            if end.line < len(file.lines) and "#" in file.lines[end.line] and node.style not in ("|", ">"):
                rest = file.lines[end.line][end.column :]
                if rest.lstrip().startswith("#") and has_dashes(rest):
                    place = Place(file.name, end.line + 1, end.column + rest.index("#") + 1)
                    self.problems.append(
                        file.problem(
                            place,
                            "`#` begins a comment, so the rest of this run is not read",
                            "Write a wire number in round brackets: `RD 2.5 (204)`. A comment goes on a line of its own.",
                            "#",
                        )
                    )
                    continue
            mark = node.start_mark
            column = mark.column + 1 + (node.style in ("'", '"') if node.style else 0)
            points, wires, slips = read_run(text, self.colours or "iec")
            for slip in slips:
                if self.colours is None and slip.what.endswith(NOT_A_COLOUR):
                    continue
                place = place_in_run(file, mark.line + 1, column, text, slip.offset)
                self.problems.append(file.problem(place, slip.what, slip.fix, slip.text))
            if not slips:
                try:
                    each = spread(points)
                except Misread as misread:
                    place = place_in_run(file, mark.line + 1, column, text, max(0, text.find(misread.text)))
                    self.problems.append(file.problem(place, misread.what, misread.fix, misread.text))
                    continue
                if len(self.runs) + len(each) > MAX_RUNS:
                    place = place_in_run(file, mark.line + 1, column, text, 0)
                    raise self._too_large(file, place, f"more than {MAX_RUNS} runs are typed up to here")
                self.runs += [Run(number, text, mark.line + 1, column, one, wires, run_seen, note) for one in each]
        if not self.read_again:  # each run has kept its place; the nodes would be most of the memory of a large vehicle
            nodes.clear()
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
        facts: RunFacts | None = facts_of(RunFacts, typed, file, path, self.problems)
        if facts is None:
            return None, seen, None, None
        return facts.run, facts.seen or seen, facts.note, file.node_of((*path, "run"))


def _one_word(name: str) -> str:
    """', such as `DOOR_SW`' for `DOOR SW`; nothing where no name is left."""
    word = re.sub(r"[^\w+-]+", "_", name).strip("_")
    return f", such as `{word}`" if PART_NAME.match(word) and word not in RESERVED else ""
