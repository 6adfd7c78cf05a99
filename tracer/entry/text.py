"""Files to trees of text, each scalar with its place; everything a careless or hostile file can do is caught here.

Scalars stay text. PyYAML's C parser gives the nodes and their places; its own type guessing (`off` to False, `010` to 8) is never used.
"""

from __future__ import annotations

import errno
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from tracer.entry.files import read_settled
from tracer.entry.problems import Place, Problem
from tracer.entry.visible import visible
from tracer.entry.yaml_problems import TOO_DEEP, yaml_problem
from tracer.standards import figures

MAX_FILE_BYTES = (
    2_000_000  # some 30 000 runs, and no page holds them; a file of slips costs up to 2 s and 200 MB for each million
)
_AS_UTF8 = "Save it as UTF-8 in your editor."
_NOT_FOLLOWED = "what is used again through an alias is not read here"
MAX_ANCHORS = 100
MAX_DEPTH = 24  # the format needs 6; more is a slip or an attack

_SCALAR_TAGS = frozenset(
    f"tag:yaml.org,2002:{name}" for name in ("str", "int", "float", "bool", "null", "timestamp", "value", "merge")
)

_TEXT = "tag:yaml.org,2002:str"

Tree = Any  # str | list[Tree] | dict[str, Tree]

_MAY_BE_ANCHOR = re.compile(r"(?:^|[\s,:?\[{-])[&*][^\s,\[\]{}]", re.MULTILINE)
# The characters that YAML 1.2 allows in a file (section 5.1 of the specification).
_NOT_YAML = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_TAGS = {yaml.ScalarNode: _TEXT, yaml.SequenceNode: "tag:yaml.org,2002:seq", yaml.MappingNode: "tag:yaml.org,2002:map"}
_SafeLoader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Loader(_SafeLoader):  # type: ignore[misc]
    """Gives the nodes without looking at each scalar for what else than text it could be."""

    def resolve(self, kind: type[yaml.Node], value: object, implicit: object) -> str:
        """The tag of a node that has none of its own."""
        return _TAGS[kind]

    def descend_resolver(self, current_node: object, current_index: object) -> None:
        """Nothing: no tag hangs on where a node stands."""

    def ascend_resolver(self) -> None:
        """Nothing."""


@dataclass(frozen=True, slots=True)
class TypedFile:
    """One file as typed: its name inside the vehicle's folder (as `visible` shows it), its lines, its tree of text and the nodes it came from."""

    name: str
    lines: list[str]
    tree: Tree
    node: yaml.Node
    _pairs: dict[int, dict[str, tuple[yaml.Node, yaml.Node]]] = field(default_factory=dict, repr=False, compare=False)
    _items: dict[int, dict[str, yaml.ScalarNode]] = field(default_factory=dict, repr=False, compare=False)

    def place(self, node: yaml.Node, offset: int = 0) -> Place:
        """Place of a node; `offset` moves right inside it (used for words inside one scalar)."""
        mark = node.start_mark
        column = mark.column + 1 + offset
        if offset and getattr(node, "style", None) in ("'", '"'):
            column += 1
        if offset and mark.line < len(self.lines):  # a character made visible is longer than it was typed
            column = min(column, len(self.lines[mark.line]) + 1)
        return Place(self.name, mark.line + 1, column)

    def place_of(self, path: tuple[str | int, ...], *, key: bool = False, text: str = "") -> Place:
        """Place of the value at `path` (keys and list indices), or of its key; the deepest known place when the path ends early.

        With `text`, the place of that piece inside the value, where it is a list.
        """
        node = self.node_of(path, key=key)
        if text and isinstance(node, yaml.SequenceNode):
            items = self._items.get(id(node))
            if items is None:
                items = self._items[id(node)] = {}
                for item in _scalars(node):
                    items.setdefault(item.value, item)
            if text in items:
                return self.place(items[text])
            for item in items.values():
                if (at := _word_at(item.value, text)) >= 0:
                    return self.place(item, at)
        return self.place(node)

    def node_of(self, path: tuple[str | int, ...], *, key: bool = False) -> yaml.Node:
        """The node at `path`, or the deepest one on the way to it."""
        node = self.node
        for depth, step in enumerate(path):
            if isinstance(node, yaml.MappingNode):
                pairs = self._pairs.get(id(node))
                if pairs is None:
                    pairs = self._pairs[id(node)] = {
                        one.value: (one, other)
                        for one, other in reversed(node.value)
                        if isinstance(one, yaml.ScalarNode)
                    }
                if str(step) not in pairs:
                    return node
                node = pairs[str(step)][0 if key and depth == len(path) - 1 else 1]
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value):
                node = node.value[step]
            else:
                return node
        return node

    def problem(self, place: Place, what: str, fix: str, text: str = "") -> Problem:
        """A problem in this file, with the typed line beside it."""
        line = self.lines[place.line - 1] if 0 < place.line <= len(self.lines) else ""
        start = place.column - 1
        first = text.split("\n")[0]
        if line[start : start + 1] in ("'", '"') and line.startswith(first, start + 1):
            place = Place(place.file, place.line, place.column + 1)
        elif not line.startswith(first, start):
            text = ""  # typed in another way (folded, escaped): the place alone is marked
        return Problem(place, what, fix, text, line)


def _word_at(text: str, word: str) -> int:
    """Where a word stands in a text with no letter, digit or underline beside it; -1 where it does not."""
    at = text.find(word)
    while at >= 0:
        beside = text[max(0, at - 1) : at] + text[at + len(word) : at + len(word) + 1]
        if not any(letter.isalnum() or letter == "_" for letter in beside):
            return at
        at = text.find(word, at + 1)
    return -1


def _scalars(node: yaml.Node) -> Iterator[yaml.ScalarNode]:
    if isinstance(node, yaml.ScalarNode):
        yield node
    elif isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from _scalars(item)


class Kept:
    """What files said when they were read the last time, for whoever reads a folder again and again.

    A file whose bytes are the same is not parsed again. Whether it is there and may be read is looked at each time.
    """

    def __init__(self) -> None:
        self._files: dict[tuple[Path, str], tuple[bytes, TypedFile | None, tuple[Problem, ...]]] = {}
        self._state: tuple[tuple[str, int, int, int], ...] | None = None

    def something_saved(self, folder: Path) -> bool:
        """Whether a file of the vehicle was saved, came or went since the last call; yes at the first.

        Ask before reading: what is saved while the files are read shows at the next call.
        """
        before, self._state = self._state, _state_of_files(folder)
        return self._state != before

    def parsed(self, folder: Path, name: str, data: bytes, problems: list[Problem]) -> TypedFile | None:
        """The file that these bytes are."""
        before = self._files.get((folder, name))
        if before is None or before[0] != data:
            found: list[Problem] = []
            before = self._files[folder, name] = (data, _parsed(name, data, found), tuple(found))
        problems.extend(before[2])
        return before[1]


def _state_of_files(folder: Path) -> tuple[tuple[str, int, int, int], ...]:
    """The files that an answer about this folder may depend on, each with its size, time of change and number on the disk: equal while nobody saves."""
    found = []
    for part in (folder, folder / "sheets"):
        try:
            entries = sorted(part.iterdir())
        except OSError:
            continue  # not there now; it may be at the next look
        for entry in entries:
            try:
                info = entry.stat()
            except OSError:
                found.append((str(entry), -1, -1, -1))
            else:
                found.append((str(entry), info.st_size, info.st_mtime_ns, info.st_ino))
    return tuple(found)


def read_file(folder: Path, name: str, problems: list[Problem], kept: Kept | None = None) -> TypedFile | None:
    """Read `folder/name`; None, with at least one problem added, when it cannot be used."""
    data = _bytes_of(folder, name, problems)
    if data is None:
        return None
    name = visible(name)
    return _parsed(name, data, problems) if kept is None else kept.parsed(folder, name, data, problems)


def _parsed(name: str, data: bytes, problems: list[Problem]) -> TypedFile | None:
    text = _decoded(name, data, problems)
    if text is None:
        return None
    lines = text.splitlines()
    try:
        if anchors := _anchors(name, text, lines):
            problems.extend(anchors)
            return None
        node = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        problems.append(yaml_problem(name, lines, error))
        return None
    except (yaml.reader.ReaderError, ValueError):  # control characters and the like
        problems.append(_character_problem(name, text, lines))
        return None
    except RecursionError:
        problems.append(Problem(Place(name), "brackets nested too deeply to be read", "Remove the surplus brackets."))
        return None
    if node is None:
        problems.append(Problem(Place(name), "the file is empty", "Type it in, or delete it."))
        return None
    file = TypedFile(name, lines, None, node)
    tree = _Converter(file, problems).tree(node, 0)
    if not isinstance(tree, dict):
        problems.append(
            file.problem(
                file.place(node),
                "the file must be a mapping (`key: value` lines)",
                f"Begin with a line such as `{'vehicle: NAME' if name == 'vehicle.yaml' else 'sheet: 4'}`.",
            )
        )
        return None
    return TypedFile(name, lines, tree, node)


def _bytes_of(folder: Path, name: str, problems: list[Problem]) -> bytes | None:
    """The bytes of a file right in the folder, or of one that `files_of` named: only if it is a link itself can it be elsewhere."""
    path = folder / name
    name = visible(name)
    try:
        info = path.lstat()
        if stat.S_ISLNK(info.st_mode):
            if not path.resolve(strict=True).is_relative_to(folder.resolve()):
                problems.append(
                    Problem(
                        Place(name),
                        "the file is a link out of the vehicle's folder",
                        "Put the file itself into the folder.",
                    )
                )
                return None
            info = path.stat()
        if not stat.S_ISREG(info.st_mode):
            problems.append(
                Problem(Place(name), "this is not a file with text", "Put a YAML file there, or remove it.")
            )
            return None
        if info.st_size > MAX_FILE_BYTES:
            problems.append(
                Problem(
                    Place(name),
                    f"the file has {figures.megabytes(info.st_size)}; at most {figures.megabytes(MAX_FILE_BYTES)} are read",
                    "One file is one page of the diagram: split it.",
                )
            )
            return None
        return read_settled(path)
    except FileNotFoundError:
        problems.append(
            Problem(
                Place(name),
                "there is no such file (or a link that leads nowhere)",
                "Write it; `tracer new DIR` makes a start.",
            )
        )
    except (OSError, RuntimeError) as error:  # a loop of links: RuntimeError up to Python 3.12, OSError after it
        seen = isinstance(error, OSError) and error.errno != errno.ELOOP
        reason = error.strerror if isinstance(error, OSError) and seen and error.strerror else "a loop of links"
        problems.append(
            Problem(Place(name), f"the file cannot be read: {reason}", "Check the file and its permissions.")
        )
    return None


def _decoded(name: str, data: bytes, problems: list[Problem]) -> str | None:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        problems.append(Problem(Place(name), "the file is UTF-16 or UTF-32, not UTF-8", _AS_UTF8))
        return None
    if len(data) > 1 and data[:2].count(0) == 1:
        problems.append(Problem(Place(name), "the file is probably UTF-16, not UTF-8", _AS_UTF8))
        return None
    data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        data = data.removeprefix(b"\xef\xbb\xbf")  # the place of the error is counted without it
        before = (data[: error.start].decode("utf-8", "replace") + "?").splitlines()
        line, column = len(before), len(before[-1])
        typed = data.decode("utf-8", "replace").splitlines()[line - 1].replace("�", "?")
        problems.append(
            Problem(
                Place(name, line, column),
                f"byte 0x{data[error.start]:02x} is not UTF-8 text",
                "Save the file as UTF-8 in your editor (it was probably saved in an older encoding).",
                "?",
                typed,
            )
        )
        return None


def _anchors(name: str, text: str, lines: list[str]) -> list[Problem]:
    """A problem for each anchor (`&x`) and alias (`*x`): a few of them can stand for millions of parts."""
    found: list[Problem] = []
    if ("&" not in text and "*" not in text) or not _MAY_BE_ANCHOR.search(text):
        return found
    for event in yaml.parse(text, Loader=_Loader):
        anchor = getattr(event, "anchor", None)
        if anchor is None:
            continue
        anchor = anchor if len(anchor) <= 40 else f"{anchor[:40]}…"
        mark: Any = event.start_mark
        place = Place(name, mark.line + 1, mark.column + 1)
        if isinstance(event, yaml.AliasEvent):
            typed, what = f"*{anchor}", f"`*{anchor}` is an alias: {_NOT_FOLLOWED}"
            fix = "Type the text out instead, or put it in quotes if it really begins with `*`."
        else:
            typed, what = (
                f"&{anchor}",
                f"`&{anchor}` is an anchor: {_NOT_FOLLOWED}",
            )
            fix = "Type the text out where it is used, or put it in quotes if it really begins with `&`."
        found.append(Problem(place, what, fix, typed, lines[mark.line] if mark.line < len(lines) else ""))
        if len(found) == MAX_ANCHORS:
            break
    return found


def _character_problem(name: str, text: str, lines: list[str]) -> Problem:
    match = _NOT_YAML.search(text)
    offset = match.start() if match else 0
    before = (text[:offset] + ".").splitlines()
    line, column = len(before), len(before[-1])
    character = f"U+{ord(text[offset]):04X}" if text else "?"
    what = f"the character {character} may not stand in a text file"
    return Problem(Place(name, line, column), what, "Delete it.", "?", lines[line - 1] if line <= len(lines) else "")


class _Converter:
    """Nodes to plain text trees; reports duplicate keys, tags and depth, and goes on with what is left."""

    def __init__(self, file: TypedFile, problems: list[Problem]) -> None:
        self.file = file
        self.problems = problems

    def tree(self, node: yaml.Node, depth: int) -> Tree:
        if isinstance(node, yaml.ScalarNode):
            if node.tag != _TEXT and node.tag not in _SCALAR_TAGS:
                self._tagged(node)
            node.value = visible(node.value)  # in the node as well: places are looked up by what stands in the tree
            return node.value
        if depth > MAX_DEPTH:
            self.problems.append(
                self.file.problem(
                    self.file.place(node),
                    TOO_DEEP,
                    "Remove the surplus level.",
                )
            )
            return ""
        if node.tag not in ("tag:yaml.org,2002:map", "tag:yaml.org,2002:seq"):
            self._tagged(node)
        if isinstance(node, yaml.SequenceNode):
            return [self.tree(item, depth + 1) for item in node.value]
        return self._mapping(node, depth)

    def _mapping(self, node: yaml.Node, depth: int) -> dict[str, Tree]:
        result: dict[str, Tree] = {}
        first: dict[str, yaml.Node] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                self.problems.append(
                    self.file.problem(
                        self.file.place(key_node),
                        "a key must be a plain word",
                        "Put the key in quotes, or remove the brackets.",
                    )
                )
                continue
            key = key_node.value = visible(key_node.value)
            if key == "<<":
                self.problems.append(
                    self.file.problem(
                        self.file.place(key_node),
                        "merge keys (`<<`) are not used here",
                        "Type the keys out instead.",
                        key,
                    )
                )
                continue
            if key in first:
                line = first[key].start_mark.line + 1
                self.problems.append(
                    self.file.problem(
                        self.file.place(key_node),
                        f"`{key}` stands here a second time (first on line {line})",
                        "Keep one of the two, or merge them.",
                        key,
                    )
                )
                continue
            first[key] = key_node
            result[key] = self.tree(value_node, depth + 1)
        return result

    def _tagged(self, node: yaml.Node) -> None:
        self.problems.append(
            self.file.problem(
                self.file.place(node),
                f"the tag `{node.tag.replace('tag:yaml.org,2002:', '!!')}` is not used here",
                "Remove the word that begins with `!`.",
                "!",
            )
        )
