"""What lies side by side on the way of a pin: which of its parallel ways are tried alone, and which pieces each test is through by itself.

A lamp tells something of a piece only where all its current flows through it. With two ways side by side one of them may be open and nothing shows; so each is
tried with the others opened, where that can be done (fuses out, eyelets of ground points off). What then is still beside something else no test tells apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from tracer.circuit.kinds import LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.circuit.over_references import Conductor, conductors
from tracer.plan.names import point_name
from tracer.plan.values import LegAlone, Piece, SideBySide
from tracer.trace.hazards import Hazards
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing
from tracer.trace.ways.one_way import reach
from tracer.trace.ways.simple import Way

if TYPE_CHECKING:  # what solves networks is loaded only where something is computed
    from tracer.plan.bench import Bench

_FAR = 999_999  # of a node that has no place on the way


def side_by_side(tracing: Tracing, bench: Bench | None, report: SupplyReport, row: Row, key: str) -> SideBySide:
    """The legs of a pin that are tried alone, and which pieces of its way its tests prove; `key` is the key state of the test of a ground."""
    node = tracing.circuit.pins_of[row.part][row.pin]
    way = tracing.ways_to(node, row.level, report.module).to(node)
    if way is None:
        return SideBySide({}, frozenset())
    legs = tuple(
        LegAlone(by, out, frozenset(in_series(tracing, way, out)))
        for by, out in _legs(tracing, bench, report, row, key)
    )
    alone = frozenset(in_series(tracing, way, ()))
    pieces = pieces_of(tracing.circuit, way)
    proven = alone.union(*(leg.proves for leg in legs))
    return SideBySide(
        pieces, alone, legs, tuple(piece.words for number, piece in pieces.items() if number not in proven)
    )


def fuses_alone(tracing: Tracing, report: SupplyReport, row: Row) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each of the parallel fuses of a supply that suffices alone, with those that are out meanwhile."""
    if _withheld(tracing, report, row):
        return
    parallel = [fuse for fuse in row.fuses if not fuse.sole]
    for fuse in (fuse for fuse in parallel if fuse.alone):
        yield fuse.part, tuple(other.part for other in parallel if other.part != fuse.part)


def _legs(tracing: Tracing, bench: Bench | None, report: SupplyReport, row: Row, key: str) -> Iterator[tuple[str, tuple[str, ...]]]:  # fmt: skip
    """The parallel ways of a pin that are tried by themselves, each with what is opened for it."""
    if row.level == "supply":
        yield from fuses_alone(tracing, report, row)
        return
    if _withheld(tracing, report, row) or not key:
        return
    parts = tracing.circuit.parts
    grounds = dict.fromkeys(
        probe.part for probe in row.probes
        if not probe.sole and probe.part in parts and parts[probe.part].kind == PartKind.GROUND
    )  # fmt: skip
    for point in grounds if len(grounds) > 1 else ():
        out = tuple(other for other in grounds if other != point)
        if _still_grounded(bench, row, key, out):
            yield point, out


def _withheld(tracing: Tracing, report: SupplyReport, row: Row) -> bool:
    return bool(row.no_method or tracing.once(Hazards).withheld_in(report.module))


def _still_grounded(bench: Bench | None, row: Row, key: str, out: tuple[str, ...]) -> bool:
    """Whether one ground point suffices with the others loosened; without values nobody can say, so it is tried."""
    if bench is None:
        return True
    return bench.still_grounded(row, key, out)


# --- through which piece all the current flows -----------------------------------------------------------------------


def in_series(tracing: Tracing, way: Way, out: Iterable[str]) -> Iterator[int]:
    """The links through which all the current flows when these parts are opened; diodes count as leading both ways, so never too many."""
    circuit, gone = tracing.circuit, set(out)
    left = {n for n in way.links if circuit.links[n].part not in gone and not gone.intersection((circuit.node_parts[circuit.links[n].a], circuit.node_parts[circuit.links[n].b]))}  # fmt: skip
    ends = way.ends - tracing.passing_sources or way.ends
    if _reaches(circuit, left, way.target, ends):
        yield from (number for number in left if not _reaches(circuit, left - {number}, way.target, ends))


def _reaches(circuit: Circuit, links: Iterable[int], start: int, ends: frozenset[int]) -> bool:
    at: dict[int, list[int]] = {}
    for number in links:
        link = circuit.links[number]
        at.setdefault(link.a, []).append(link.b)
        at.setdefault(link.b, []).append(link.a)
    return not ends.isdisjoint(reach(at, [start]))


# --- the pieces in words ---------------------------------------------------------------------------------------------


def pieces_of(circuit: Circuit, way: Way) -> dict[int, Piece]:
    """Each wire and part of a way in words that no other one has, in the order from the source to the pin; a wire over references is one, by its first link."""
    place = {node: n for n, node in enumerate(way.nodes)}
    real = [one for one in conductors(circuit, sorted(way.links)) if not _is_mark(circuit, one)]
    ends = {one: sorted(one.ends, key=lambda node: place.get(node, _FAR)) for one in real}
    ordered = sorted(real, key=lambda one: (place.get(ends[one][0], _FAR), one.links))
    points = {one: tuple(point_name(circuit.node_names[node]) for node in ends[one]) for one in ordered}
    plain = {one: _piece(circuit, one, ends[one][0], " to ".join(points[one])) for one in ordered}
    often = Counter(plain.values())
    named = {one: f"{words} ({' to '.join(points[one])})" if often[words] > 1 else words for one, words in plain.items()}  # fmt: skip
    twice = Counter(named.values())  # wires side by side
    return {
        one.links[0]: Piece(f"{words}, {at}" if twice[words] > 1 else words, _kind(circuit, one).name.casefold(), points[one])
        for at, (one, words) in enumerate(named.items())
    }  # fmt: skip


def _is_mark(circuit: Circuit, one: Conductor) -> bool:
    """Whether it is nothing but a mark on paper."""
    return all(circuit.links[number].kind is LinkKind.REFERENCE for number in one.links)


def _kind(circuit: Circuit, one: Conductor) -> LinkKind:
    return LinkKind.WIRE if len(one.links) > 1 else circuit.links[one.links[0]].kind


def _piece(circuit: Circuit, one: Conductor, first: int, ends: str) -> str:
    link = circuit.links[one.links[0]]
    if len(one.links) > 1:
        mark = one.marks[0] if first == one.ends[0] else one.marks[-1]  # the one nearer to the source
        return f"wire {ends} over {circuit.node_names[mark]}"
    if link.kind is LinkKind.MATING:
        return circuit.node_names[link.a].partition(",")[0]
    if link.part and link.part in circuit.parts:
        return link.part
    return f"{'wire ' if link.kind is LinkKind.WIRE else ''}{ends}"


__all__ = ["fuses_alone", "in_series", "pieces_of", "side_by_side"]
