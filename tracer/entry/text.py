"""Files to trees of text, each scalar with its place; everything a careless or hostile file can do is caught here.

Scalars stay text. PyYAML's C parser gives the nodes and their places; its own type guessing (`off` to False, `010` to 8) is never used.
"""

from __future__ import annotations

import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from tracer.entry.problems import Place, Problem

MAX_FILE_BYTES = 16_000_000
MAX_SHEETS = 5_000
MAX_DEPTH = 24  # the format needs 6; more is a slip or an attack

_SCALAR_TAGS = frozenset(
    f"tag:yaml.org,2002:{name}" for name in ("str", "int", "float", "bool", "null", "timestamp", "value", "merge")
)

Tree = Any  # str | list[Tree] | dict[str, Tree]

_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@dataclass(frozen=True, slots=True)
class TypedFile:
    """One file as typed: its name inside the vehicle's folder, its lines, its tree of text and the nodes it came from."""

    name: str
    lines: list[str]
    tree: Tree
    node: yaml.Node

    def place(self, node: yaml.Node, offset: int = 0) -> Place:
        """Place of a node; `offset` moves right inside it (used for words inside one scalar)."""
        mark = node.start_mark
        column = mark.column + 1 + offset
        if offset and getattr(node, "style", None) in ("'", '"'):
            column += 1
        return Place(self.name, mark.line + 1, column)

    def place_of(self, path: tuple[str | int, ...], *, key: bool = False) -> Place:
        """Place of the value at `path` (keys and list indices), or of its key; the deepest known place when the path ends early."""
        return self.place(self.node_of(path, key=key))

    def node_of(self, path: tuple[str | int, ...], *, key: bool = False) -> yaml.Node:
        """The node at `path`, or the deepest one on the way to it."""
        node = self.node
        for depth, step in enumerate(path):
            if isinstance(node, yaml.MappingNode):
                for key_node, value_node in node.value:
                    if key_node.value == str(step):
                        node = key_node if key and depth == len(path) - 1 else value_node
                        break
                else:
                    return node
            elif isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value):
                node = node.value[step]
            else:
                return node
        return node

    def problem(self, place: Place, what: str, fix: str, text: str = "") -> Problem:
        """A problem in this file, with the typed line beside it."""
        line = self.lines[place.line - 1] if 0 < place.line <= len(self.lines) else ""
        return Problem(place, what, fix, text, line)


def read_file(folder: Path, name: str, problems: list[Problem]) -> TypedFile | None:
    """Read `folder/name`; None, with at least one problem added, when it cannot be used."""
    data = _bytes_of(folder, name, problems)
    if data is None:
        return None
    text = _decoded(name, data, problems)
    if text is None:
        return None
    lines = text.splitlines()
    try:
        node = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        problems.append(_yaml_problem(name, lines, error))
        return None
    except (yaml.reader.ReaderError, ValueError) as error:  # control characters and the like
        problems.append(_character_problem(name, text, lines, error))
        return None
    except RecursionError:
        problems.append(Problem(Place(name), "brackets nested too deeply to be read", "Remove the surplus brackets."))
        return None
    if node is None:
        problems.append(
            Problem(Place(name), "the file is empty", "Type it in, or delete it; `tracer new DIR` writes a start.")
        )
        return None
    file = TypedFile(name, lines, None, node)
    before = len(problems)
    tree = _Converter(file, problems).tree(node, 0)
    if len(problems) > before:
        return None
    if not isinstance(tree, dict):
        problems.append(
            file.problem(
                file.place(node),
                "the file must be a mapping (`key: value` lines)",
                "Begin with lines such as `sheet: 4`.",
            )
        )
        return None
    return TypedFile(name, lines, tree, node)


def _bytes_of(folder: Path, name: str, problems: list[Problem]) -> bytes | None:
    path = folder / name
    try:
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
                    f"the file has {info.st_size / 1e6:.0f} MB; at most {MAX_FILE_BYTES / 1e6:.0f} MB are read",
                    "One file is one page of the diagram: split it.",
                )
            )
            return None
        return path.read_bytes()
    except FileNotFoundError:
        problems.append(
            Problem(
                Place(name),
                "there is no such file (or a link that leads nowhere)",
                "Write it; `tracer new DIR` makes a start.",
            )
        )
    except (OSError, RuntimeError) as error:  # RuntimeError: a loop of links
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "a loop of links"
        problems.append(
            Problem(Place(name), f"the file cannot be read: {reason}", "Check the file and its permissions.")
        )
    return None


def _decoded(name: str, data: bytes, problems: list[Problem]) -> str | None:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        problems.append(Problem(Place(name), "the file is UTF-16, not UTF-8", "Save it as UTF-8 in your editor."))
        return None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        start = before.rfind(b"\n") + 1
        column = len(data[start : error.start].decode("utf-8", "replace")) + 1
        typed = data[start:].split(b"\n", 1)[0].decode("utf-8", "replace").replace("�", "?")
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


def _yaml_problem(name: str, lines: list[str], error: yaml.MarkedYAMLError) -> Problem:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
    typed = lines[line - 1] if 0 < line <= len(lines) else ""
    reason = error.problem or "not readable as YAML"
    what, fix = (
        f"not readable as YAML: {reason}",
        "Check the brackets, quotes and indentation here and on the line before.",
    )
    if "found character '\\t'" in reason or "tab" in reason.lower():
        what, fix = "a tab is used for indentation", "Indent with spaces."
    elif "mapping values are not allowed" in reason:
        fix = "A colon followed by a space begins a new `key: value`: put the text in quotes, or begin a new line."
    elif "undefined alias" in reason or "alias" in reason:
        what, fix = (
            "`*` begins an alias, and aliases are not used here",
            "Put the text in quotes, or type it out.",
        )
    elif "found character" in reason and "cannot start any token" in reason:
        fix = "Put the text in quotes."
    return Problem(Place(name, line, column), what, fix, typed[column - 1 : column] if column else "", typed)


def _character_problem(name: str, text: str, lines: list[str], error: Exception) -> Problem:
    position = getattr(error, "position", None)
    offset = (
        position
        if isinstance(position, int)
        else next((i for i, c in enumerate(text) if not (c.isprintable() or c in "\r\n\t")), 0)
    )
    offset = next(
        (i for i, c in enumerate(text) if ord(c) < 32 and c not in "\r\n\t"),
        min(offset, max(0, len(text) - 1)),
    )
    line = text.count("\n", 0, offset) + 1
    column = offset - (text.rfind("\n", 0, offset) + 1) + 1
    character = f"U+{ord(text[offset]):04X}" if text else "?"
    typed = text.split("\n")[line - 1] if text else ""
    return Problem(
        Place(name, line, column),
        f"the character {character} may not stand in a text file",
        "Delete it.",
        "?",
        typed,
    )


class _Converter:
    """Nodes to plain text trees; reports duplicate keys, aliases, tags and depth."""

    def __init__(self, file: TypedFile, problems: list[Problem]) -> None:
        self.file = file
        self.problems = problems
        self.seen: set[int] = set()

    def tree(self, node: yaml.Node, depth: int) -> Tree:
        if isinstance(node, yaml.ScalarNode):
            if node.tag not in _SCALAR_TAGS:
                self._tagged(node)
            return node.value
        if id(node) in self.seen:
            self.problems.append(
                self.file.problem(
                    self.file.place(node),
                    "this part is used again through an alias (`*name`)",
                    "Type the text out again instead.",
                )
            )
            return ""
        self.seen.add(id(node))
        if depth > MAX_DEPTH:
            self.problems.append(
                self.file.problem(
                    self.file.place(node),
                    "brackets or indentation nested too deeply",
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
            key = key_node.value
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
                f"the tag `{node.tag}` is not used here",
                "Remove the word that begins with `!`.",
                "!",
            )
        )
