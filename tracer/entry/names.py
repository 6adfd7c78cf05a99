"""The names of a vehicle for a shell that completes a word, read from the trees of its files alone.

A shell asks at every press of the key and cannot show a problem: so neither the models nor the circuit are loaded here, and a folder with a slip
in one file still gives the names of the others. The rules by which a name is made stand here once, for the circuit too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracer.entry.bus_words import bus_of
from tracer.entry.folder import files_of
from tracer.entry.problems import Problem
from tracer.entry.text import read_file
from tracer.entry.values import KEY_STATES, Misread, pin_list


@dataclass(frozen=True, slots=True)
class Names:
    """The kind of each part by its name, the key states in their order, and the buses."""

    kinds: Mapping[str, str]
    keys: tuple[str, ...]
    buses: tuple[str, ...]

    def parts(self, kind: str | None = None) -> list[str]:
        """The parts of one kind, or all."""
        return [name for name, of in self.kinds.items() if kind in (None, of)]


def names_of(folder: Path) -> Names:
    """Every name of the folder; what cannot be read has none."""
    problems: list[Problem] = []
    sheets = [read_file(folder, name, problems) for name in files_of(folder, problems)[0] or ()]
    typed = [(name, tree) for sheet in sheets if sheet for name, tree in _mapping(sheet.tree, "parts").items()]
    kinds: dict[str, str] = {}
    for name, tree in typed:
        kind = tree.get("is") if isinstance(tree, dict) else tree
        if isinstance(kind, str) and kind:
            kinds.setdefault(name, kind)
    labels: dict[str, str] = {}
    for name, tree in typed:
        for label, position in _positions(tree) if kinds.get(name) == "panel" else ():
            kind = position.get("is", "fuse") if isinstance(position, dict) else "fuse"
            kinds.setdefault(f"{name}/{label}", str(kind))
            labels[f"{name}/{label}"] = label
    pins = [words for name, tree in typed if kinds.get(name) == "module" for words in _mapping(tree, "pins").values()]
    named = [bus[0] for words in pins if isinstance(words, str) and (bus := bus_of(words))]
    file = read_file(folder, "vehicle.yaml", problems)
    vehicle = file.tree if file else {}
    keys = vehicle.get("key") or KEY_STATES
    short = short_names(kinds, labels)
    return Names(
        {short.get(name, name): kind for name, kind in kinds.items()},
        (keys,) if isinstance(keys, str) else tuple(key for key in keys if isinstance(key, str)),
        tuple(dict.fromkeys([*_mapping(vehicle, "buses"), *named])),
    )


def _mapping(tree: Any, key: str) -> dict[str, Any]:
    found = tree.get(key) if isinstance(tree, dict) else None
    return found if isinstance(found, dict) else {}


def _positions(panel: Any) -> Iterator[tuple[str, Any]]:
    """Each label of a panel, ranges of labels spread out, with what is typed there."""
    for labels, position in _mapping(panel, "positions").items():
        try:
            yield from ((label, position) for label in pin_list(labels))
        except Misread:
            continue  # `check` says what is wrong with it


def short_names(kinds: Mapping[str, str], labels: Mapping[str, str]) -> dict[str, str]:
    """The label alone for each position (`PANEL/LABEL`) that is unambiguous by it: no other panel has one, and a part of that name is of the same kind.

    >>> short_names({"P/F1": "fuse", "P/F2": "fuse", "Q/F2": "fuse"}, {"P/F1": "F1", "P/F2": "F2", "Q/F2": "F2"})
    {'P/F1': 'F1'}
    """
    positions: dict[str, list[str]] = {}
    for name, label in labels.items():
        positions.setdefault(label, []).append(name)
    return {
        names[0]: label
        for label, names in positions.items()
        if len(names) == 1 and kinds.get(label, kinds[names[0]]) == kinds[names[0]]
    }
