"""What a note means: the parts of the vehicle, their pins, the pieces of the ways and the buses, by every word that may be typed; and what lies at a piece of a way.

A name is kept as the plan writes it, however it was typed, so that what was touched, looked at or unplugged is found again on the ways that lead over it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any

from tracer.entry.problems import listed, nearest
from tracer.plan.words import Names, UnknownName, line_name


class Things:
    """The names of one plan. A plan that was kept without the vehicle's parts knows those on its own ways."""

    def __init__(self, plan: Mapping[str, Any], names: Names) -> None:
        self._plan, self._names = plan, names
        self._around: dict[str, frozenset[str] | None] = {}

    @cached_property
    def parts(self) -> Mapping[str, Mapping[str, Any]]:
        """Each part by its name: kind, panel, label, pins, amps, and whether its position is empty; what is not known is left out."""
        if "parts" in self._plan:
            kept: Mapping[str, Mapping[str, Any]] = self._plan["parts"]
            return kept
        ends = {end for row in self._plan["rows"].values() for pair in row.get("ends", {}).values() for end in pair}
        return {name: {} for name in sorted({end.partition(":")[0].partition(".")[0] for end in ends} | {self._plan["module"]})}  # fmt: skip

    def find(self, word: str) -> str:
        """The name that a word means: a part, `PART.PIN`, a point, a piece of a way, a bus or a line of it. A row is its pin.

        Raises
        ------
        UnknownName : nothing, or several things
        """
        for known in (self._words, self._folded):
            found = known.get(word if known is self._words else word.casefold(), ())
            if len(found) > 1:
                raise UnknownName(f"{word} could mean {listed(list(found))}: write which.")
            if found:
                return found[0]
        if (pin := self._pin(word)) is not None:
            return pin
        if self._names.means_something(word):
            return _pin_of(self._names.find(word))
        near = nearest(word, (*self._words, *self._names.words))
        meant = f" Did you mean {near[0]}?" if near else " What is on no drawing is noted as `added`."
        raise UnknownName(f"{word} is no part, point or wire of this vehicle.{meant}")

    def part(self, word: str, kinds: Iterable[str], what: str) -> str:
        """The part of one of these kinds that a word means; `what` says in words which are wanted.

        Raises
        ------
        UnknownName : it means something else, or nothing
        """
        name, wanted = self.find(word), set(kinds)
        kind = self.parts.get(name, {}).get("kind", "")
        if name in self.parts and (kind in wanted or not kind):
            return name
        near = nearest(word, [one for one, facts in self.parts.items() if facts.get("kind") in wanted])
        raise UnknownName(f"{word} is no {what}." + (f" Did you mean {near[0]}?" if near else ""))

    def at(self, end: str) -> Iterator[str]:
        """What lies at one end of a piece: the point, its cavity, its part and the panel of that."""
        cavity = end.partition(":")[0]
        part = cavity if cavity in self.parts else cavity.partition(".")[0]
        yield from (end, cavity, part)
        if panel := self.parts.get(part, {}).get("panel"):
            yield panel

    def around(self, name: str) -> frozenset[str] | None:
        """Everything that lies on the way of a row, or on the lines of a bus; None where that is not known."""
        if name not in self._around:
            self._around[name] = self._found_around(name)
        return self._around[name]

    def _found_around(self, name: str) -> frozenset[str] | None:
        if name in self._plan["rows"]:
            row = self._plan["rows"][name]
            ends = [_pin_of(name), *(end for piece in row["parts"] for end in row.get("ends", {}).get(piece, ()))]
            return frozenset((*row["parts"], *(there for end in ends for there in self.at(end))))
        for bus, facts in self._plan["buses"].items():
            if name.startswith(line_name(bus, "")) and "around" in facts:
                return frozenset((*facts["around"], name, bus, *(line_name(bus, line) for line in facts["pins"])))
        return None

    def _pin(self, word: str) -> str | None:
        typed, dot, pin = word.rpartition(".")
        found = self._words.get(typed) or self._folded.get(typed.casefold(), ())
        if not dot or len(found) != 1:
            return None
        pins = {one.casefold(): one for one in self.parts.get(found[0], {}).get("pins", ())}
        return f"{found[0]}.{pins[pin.casefold()]}" if pin.casefold() in pins else None

    @cached_property
    def _words(self) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, dict[str, None]] = {}
        for name, facts in self.parts.items():
            found.setdefault(name, {})[name] = None
            if panel := facts.get("panel"):
                label = facts.get("label", name)
                for word in (label, f"{panel}.{label}", f"{panel}/{label}"):
                    if word not in self.parts or word == name:
                        found.setdefault(word, {})[name] = None
        for row in self._plan["rows"].values():
            for piece in row["parts"]:
                if piece not in self.parts:
                    found.setdefault(piece, {})[piece] = None
        for bus in self._plan["buses"]:
            if bus and bus not in self.parts:
                found.setdefault(bus, {})[bus] = None
        return {word: tuple(names) for word, names in found.items()}

    @cached_property
    def _folded(self) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, dict[str, None]] = {}
        for word, names in self._words.items():
            found.setdefault(word.casefold(), {}).update(dict.fromkeys(names))
        return {word: tuple(names) for word, names in found.items()}


def _pin_of(name: str) -> str:
    """A row's pin; any other name as it is."""
    return name.removesuffix(":+").removesuffix(":-")


__all__ = ["Things"]
