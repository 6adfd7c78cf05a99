"""What is to be minded with what an answer shows: hazards, cautions and notes, each once, with the places of that answer that it concerns.

An answer is read by its fields, not by a list of what each command shows, so that nothing that a command shows is left out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import cache

from tracer.circuit.model import Circuit, LinkKind
from tracer.entry.problems import natural
from tracer.standards.hazards import HAZARDS
from tracer.trace.hazards import Hazards, pins_named
from tracer.trace.tracing import Tracing

HAZARD, CAUTION, NOTE = "hazard", "caution", "note"


@dataclass(frozen=True, slots=True)
class Minded:
    """One thing to mind.

    `kind` is hazard, caution or note; `of` whose it is (a part, a pin, a run, `sheet 3`, `vehicle`), `words` what is said. `hazard` is the kind of a hazard,
    `called` the word that gave it away where nobody typed it. `at` are the parts and points of the answer that it concerns; empty where it concerns all of it.
    """

    kind: str
    of: str
    words: str
    at: tuple[str, ...] = ()
    hazard: str = ""
    called: str = ""


@dataclass(frozen=True, slots=True)
class Minding:
    """Everything to mind in one answer, in the order shown."""

    things: tuple[Minded, ...] = ()

    def of(self, kind: str) -> tuple[Minded, ...]:
        """The hazards, the cautions or the notes."""
        return tuple(one for one in self.things if one.kind == kind)

    @property
    def names(self) -> tuple[str, ...]:
        """Every part and point of the answer that something concerns."""
        return tuple(dict.fromkeys(name for one in self.things for name in one.at))

    def at(self, *names: str) -> tuple[Minded, ...]:
        """What concerns one of these parts and points."""
        wanted = set(names)
        return tuple(one for one in self.things if not wanted.isdisjoint(one.at))


NOTHING = Minding()


def minding_of(tracing: Tracing, answer: object) -> Minding:
    """What is to be minded in an answer; a value of it that names a part, a point or a module and its pin counts as shown."""
    everything = tracing.once(things_to_mind)
    if not everything:
        return NOTHING
    shown = set(_names_in(answer, ""))
    found = []
    for thing, names in everything:
        at = tuple(sorted(names & shown, key=natural))
        if at or not names:
            everywhere = not names or thing.of.startswith("sheet ")
            found.append(
                Minded(thing.kind, thing.of, thing.words, () if everywhere else at, thing.hazard, thing.called)
            )
    return Minding(tuple(found))


# --- everything that is typed ----------------------------------------------------------------------------------------


def things_to_mind(tracing: Tracing) -> list[tuple[Minded, frozenset[str]]]:
    """Every hazard, caution and note of the vehicle with the names that it concerns; none where it concerns everything."""
    found = [*_hazards(tracing), *_cautions(tracing), *_notes(tracing)]
    order = {HAZARD: 0, CAUTION: 1, NOTE: 2}
    hazards = list(HAZARDS)

    def rank(one: Minded) -> tuple[int, bool, int, list[tuple[int, int, str]]]:
        return order[one.kind], one.of != "vehicle", hazards.index(one.hazard) if one.hazard else 0, natural(one.of)

    return sorted(found, key=lambda one: rank(one[0]))


def _hazards(tracing: Tracing) -> Iterator[tuple[Minded, frozenset[str]]]:
    circuit, nodes_of = tracing.circuit, tracing.once(Hazards).nodes_of
    for kind in circuit.typed.vehicle.hazard:
        yield Minded(HAZARD, "vehicle", HAZARDS[kind].line, hazard=kind), frozenset()
    for danger in nodes_of:
        thing = Minded(HAZARD, danger.of, HAZARDS[danger.kind].line, hazard=danger.kind, called=danger.word)
        yield thing, _names(circuit, nodes_of[danger], danger.part)


def _cautions(tracing: Tracing) -> Iterator[tuple[Minded, frozenset[str]]]:
    def reach(part: str, pin: str) -> Collection[int]:
        return tracing.once(Hazards).reach_of({pin: pins_named(tracing.circuit, part, pin)})[pin]

    yield from _typed(tracing.circuit, CAUTION, reach)


def _notes(tracing: Tracing) -> Iterator[tuple[Minded, frozenset[str]]]:
    circuit = tracing.circuit
    yield from _typed(circuit, NOTE, lambda part, pin: pins_named(circuit, part, pin))
    for number, run in enumerate(circuit.runs):
        if run.note:
            ends = sorted((run.points[0].text, run.points[-1].text), key=natural)  # whichever was typed first
            yield Minded(NOTE, f"wire {' to '.join(ends)}", run.note), _names_of_runs(circuit, {number})


def _typed(
    circuit: Circuit, kind: str, nodes_of: Callable[[str, str], Collection[int]]
) -> Iterator[tuple[Minded, frozenset[str]]]:
    """What is typed under the key `caution` or `note` of the vehicle, of a sheet and of a part or a pin of it; the nodes it holds for there by `nodes_of`."""
    if words := getattr(circuit.typed.vehicle, kind):
        yield Minded(kind, "vehicle", words), frozenset()
    for sheet, one in enumerate(circuit.typed.sheets):
        if words := getattr(one, kind):
            yield Minded(kind, f"sheet {one.id}", words), _names_on_sheet(circuit, sheet)
    for part, pin, words in _typed_on_parts(circuit, kind):
        yield Minded(kind, f"{part}.{pin}" if pin else part, words), _names(circuit, nodes_of(part, pin), part)


def _typed_on_parts(circuit: Circuit, field: str) -> Iterator[tuple[str, str, str]]:
    """Part, pin and words of each caution or note that is typed on a part, the same words of the same part once."""
    for part in circuit.parts.values():
        typed = dict.fromkeys(
            (pin, words) for one in part.fragments for pin, words in getattr(one.facts, field).items() if words
        )
        yield from ((part.name, pin, words) for pin, words in typed)


def _names(circuit: Circuit, nodes: Collection[int], *named: str) -> frozenset[str]:
    """The names of nodes and of the parts that they are pins of; parts that are named in any case."""
    parts = {circuit.node_parts[node] for node in nodes} & circuit.parts.keys()
    points = (name for node in nodes for name in (circuit.node_names[node], circuit.cavity_of(node)))
    return frozenset({*named, *parts, *points})


def _names_of_runs(circuit: Circuit, runs: set[int]) -> frozenset[str]:
    """The points that runs join, and the parts they are pins of."""
    nodes = {
        node for link in circuit.links if link.kind is LinkKind.WIRE and link.run in runs for node in (link.a, link.b)
    }
    return _names(circuit, nodes)


def _names_on_sheet(circuit: Circuit, sheet: int) -> frozenset[str]:
    parts = {part.name for part in circuit.parts.values() if any(one.sheet == sheet for one in part.fragments)}
    runs = {number for number, run in enumerate(circuit.runs) if run.sheet == sheet}
    return _names_of_runs(circuit, runs) | parts


# --- what an answer shows --------------------------------------------------------------------------------------------

_CODES = frozenset(
    {"code", "row", "needs", "shared_with", "minding", "vehicle"}
)  # no names of parts, though S1 may be both
_DOTTED = re.compile(r"[^\s,;()`|]+\.[^\s,;()`|]*[^\s,;()`|.:]")


@cache
def _read_of(kind: type) -> tuple[str, ...]:
    """The fields of a value in which names of parts may stand."""
    return tuple(field.name for field in fields(kind) if field.name not in _CODES)


def _names_in(value: object, module: str) -> Iterator[str]:
    """Whatever may be a name in a value: whole texts, their first words, words with a dot; a pin with its part, or with the module it is listed for."""
    if isinstance(value, str):
        yield value
        if " " in value:
            yield value.partition(" ")[0]
            if "." in value:
                yield from _DOTTED.findall(value)
    elif is_dataclass(value) and not isinstance(value, Enum | type):
        module = getattr(value, "module", module) if isinstance(getattr(value, "module", ""), str) else module
        part = getattr(value, "part", "") or module
        for name in _read_of(type(value)):
            held = getattr(value, name)
            if name == "pin" and isinstance(held, str):
                yield f"{part}.{held}"
                yield held if "." in held else part
            elif held is not None:
                yield from _names_in(held, module)
    elif isinstance(value, dict):
        for key, held in value.items():
            yield from _names_in(key, module)
            yield from _names_in(held, module)
    elif isinstance(value, list | tuple | set | frozenset):
        for held in value:
            yield from _names_in(held, module)


__all__ = ["CAUTION", "HAZARD", "NOTE", "NOTHING", "Minded", "Minding", "minding_of", "things_to_mind"]
