"""Read the data files of this folder into typed rows.

A data file is a mapping of table names. A table has ``rows`` and may have ``standard``, the name
of the standard that its rows are credited to; a row may name its own. Every row says ``sure``
(seen, custom, from memory, computed, own) and, where that is ``seen``, ``seen_in``: ids from
``sources.yaml``. A ``computed`` row says ``formula``. Read, a row has one of `CERTAINTIES`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any, Final, Literal, get_args

Certainty = Literal["standard", "handbook", "maker", "shop", "computed", "own", "custom", "memory"]
"""What a value is, in one short word; shown with every limit.

standard : stood in a standard, or in a document that reproduces it, when the table was compiled
handbook : stood in a government manual, a handbook, a textbook, a paper or a page of a safety body
maker : stood in a data sheet or a page of a component's maker, or is typed in for this vehicle
shop : set by the workshop
computed : arithmetic from other rows, formula given
own : a convention of this project, in no standard
custom : custom of the trade, no source
memory : usual value, not looked up; never to be quoted as evidence
"""

CERTAINTIES: Final[tuple[Certainty, ...]] = get_args(Certainty)

# From best to worst; a value built on several rows is as sure as the worst of them.
_ORDER: Final = CERTAINTIES
_SEEN: Final[tuple[Certainty, ...]] = ("standard", "handbook", "maker")
# What a row says of itself where it was seen nowhere.
_UNSEEN: Final[Mapping[str, Certainty]] = {
    "custom": "custom",
    "from memory": "memory",
    "computed": "computed",
    "own": "own",
}


class BrokenTable(RuntimeError):
    """A data file of this folder does not hold what the code expects: a fault of ours."""


def weakest(certainties: Iterable[Certainty]) -> Certainty:
    """The least sure of the given marks."""
    return max(certainties, key=_ORDER.index)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table, with the text of its source.

    ``where`` (file, table and row number) is for error text only.
    """

    where: str
    values: Mapping[str, Any]
    source: str
    certainty: Certainty

    def text(self, key: str) -> str:
        """The text under `key`; raises BrokenTable where it is missing or not text."""
        value = self.values.get(key)
        if not isinstance(value, str):
            raise BrokenTable(f"{self.where}: {key!r} must be text, is {value!r}")
        return value

    def optional_text(self, key: str) -> str:
        """As `text`, but an absent key gives an empty text."""
        return self.text(key) if key in self.values else ""

    def number(self, key: str) -> float:
        """The number under `key`; raises BrokenTable where it is missing or not a number."""
        value = self.values.get(key)
        # bool is an int in Python, and an unquoted `on` or `no` in YAML 1.1 is a bool
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BrokenTable(f"{self.where}: {key!r} must be a number, is {value!r}")
        return float(value)

    def optional_number(self, key: str) -> float | None:
        """As `number`, but an absent or empty key gives None."""
        return None if self.values.get(key) is None else self.number(key)

    def flag(self, key: str) -> bool:
        """The yes/no under `key`; an absent key is no."""
        value = self.values.get(key, False)
        if not isinstance(value, bool):
            raise BrokenTable(f"{self.where}: {key!r} must be true or false, is {value!r}")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """The list of texts under `key`."""
        value = self.values.get(key)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise BrokenTable(f"{self.where}: {key!r} must be a list of texts, is {value!r}")
        return tuple(value)

    def numbers(self, key: str) -> tuple[float, ...]:
        """The list of numbers under `key`."""
        value = self.values.get(key)
        if not isinstance(value, list) or any(isinstance(n, bool) or not isinstance(n, int | float) for n in value):
            raise BrokenTable(f"{self.where}: {key!r} must be a list of numbers, is {value!r}")
        return tuple(float(number) for number in value)

    def mark(self, key: str) -> Certainty:
        """The certainty under `key`, for a field less sure than its row; absent means the row's own."""
        return (
            _certainty(self.values, self.values[key], f"{self.where}: {key}") if key in self.values else self.certainty
        )


@cache
def raw_file(name: str) -> Mapping[str, Any]:
    """The content of ``data/<name>.yaml`` as plain values; read once."""
    from importlib.resources import files

    import yaml

    # libyaml is about ten times faster; the pure reader gives the same values
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    text = (files("tracer.standards") / "data" / f"{name}.yaml").read_text(encoding="utf-8")
    content = yaml.load(text, Loader=loader)
    if not isinstance(content, dict):
        raise BrokenTable(f"{name}.yaml: expected a mapping of tables")
    return MappingProxyType(content)


@cache
def table(file: str, name: str) -> tuple[Row, ...]:
    """All rows of table `name` in ``data/<file>.yaml``, in file order.

    Raises
    ------
    BrokenTable : the table is missing, or a row lacks its source or its certainty
    """
    content = raw_file(file).get(name)
    if not isinstance(content, dict) or not isinstance(content.get("rows"), list):
        raise BrokenTable(f"{file}.yaml: no table {name!r} with rows")
    standard = content.get("standard", "")
    return tuple(
        _row(values, f"{file}.yaml, {name}, row {number}", standard)
        for number, values in enumerate(content["rows"], start=1)
    )


def _row(values: object, where: str, standard: str) -> Row:
    if not isinstance(values, dict):
        raise BrokenTable(f"{where}: a row must be a mapping")
    certainty = _certainty(values, values.get("sure"), where, standard)
    named = str(values.get("standard", standard))
    return Row(where, MappingProxyType(values), _citation(values, certainty, named, where), certainty)


def _certainty(values: Mapping[str, Any], sure: object, where: str, standard: str = "") -> Certainty:
    if sure != "seen":
        found = _UNSEEN.get(str(sure))
        if found is None:
            raise BrokenTable(f"{where}: `sure` must be one of seen, {', '.join(_UNSEEN)}, is {sure!r}")
        return found
    pages = values.get("seen_in")
    if not pages:
        raise BrokenTable(f"{where}: marked as seen, but names no page")
    if values.get("standard", standard):
        return "standard"
    return min((_kind(page, where) for page in pages), key=_SEEN.index)


def _citation(values: Mapping[str, Any], certainty: Certainty, standard: str, where: str) -> str:
    if certainty in _SEEN:
        listed = "; ".join(_page(page, where) for page in values["seen_in"])
        # No standard was read in full, so it is never cited alone.
        return f"{standard}, as reproduced in: {listed}" if standard else listed
    named = f"{standard}, " if standard else ""
    if certainty == "memory":
        return f"{named}from memory" if standard else "from memory, no source"
    if certainty == "custom":
        return f"{named}custom of the trade, no source"
    if certainty == "computed":
        if not values.get("formula"):
            raise BrokenTable(f"{where}: marked as computed, but gives no formula")
        return f"computed: {values['formula']}"
    return "convention of this tool, in no standard"


def _entry(page: str, where: str) -> Mapping[str, Any]:
    entry = raw_file("sources").get(page)
    if not isinstance(entry, dict):
        raise BrokenTable(f"{where}: {page!r} is not listed in sources.yaml")
    return entry


def _kind(page: str, where: str) -> Certainty:
    kind = _entry(page, where).get("kind")
    for known in _SEEN:
        if kind == known:
            return known
    raise BrokenTable(f"sources.yaml: {page!r} must say `kind`, one of {', '.join(_SEEN)}, is {kind!r}")


def _page(page: str, where: str) -> str:
    entry = _entry(page, where)
    address = entry.get("address")
    return f"{entry['title']} ({address})" if address else str(entry["title"])
