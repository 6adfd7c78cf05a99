"""Sheets become one circuit: same name, same part; a reference joins only with its answer.

Order of work: parts from their fragments; the links inside parts; the runs, wire by wire; references in pairs; sources and grounds.
Whatever is named but not known is a problem, and all of them come out together.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tracer.circuit.bolted import Bolted
from tracer.circuit.ends import Ends
from tracer.circuit.halves import Wiring, name_halves, settle_halves
from tracer.circuit.insides import Insides
from tracer.circuit.joining import Joining
from tracer.circuit.kinds import LinkKind, PartKind
from tracer.circuit.model import Circuit
from tracer.circuit.points import Points
from tracer.circuit.references import agreeing_pairs
from tracer.circuit.wires import Wires
from tracer.entry.load import Typed, not_read, read_folder
from tracer.entry.problems import CannotUse, Problem, TooMany
from tracer.entry.text import Kept


def joined_folder(folder: str | Path, kept: Kept | None = None) -> Circuit:
    """Read a vehicle's folder and join its sheets to one circuit; `kept` spares parsing files that have not changed since.

    Raises
    ------
    CannotUse : with every problem found; those of joining are looked for also where something could not be read
    """
    found: tuple[Problem, ...] = ()
    try:
        typed = read_folder(folder, kept)
    except CannotUse as error:
        if not isinstance(error.rest, Typed):
            raise
        typed, found = error.rest, error.problems
    try:
        circuit = join(typed)
    except CannotUse as error:
        raise CannotUse([*found, *error.problems, *not_read(typed.ignored)]) from None
    if found:
        raise CannotUse(found)
    return circuit


def join(typed: Typed) -> Circuit:
    """The circuit of a typed vehicle.

    Raises
    ------
    CannotUse : with every problem found (unknown parts and pins, cavities used twice, contradicting facts)
    """
    try:
        return _Joined(typed).circuit()
    except TooMany as error:
        raise error.said(typed.folder.name) from None


class _Joined(Joining):
    def circuit(self) -> Circuit:
        """Every step in its order."""
        self._check_rail_names()
        Insides(self).make()
        points = Points(self)
        bolted, wires = Bolted(self, points), Wires(self, points)
        bolted.busbars()  # before the runs: a bare fuse that one of them feeds means its load side
        wires.make()
        bolted.meets()
        bolted.rail_origins()
        partner = self._join_references()
        if self.problems:
            raise CannotUse(self.problems)
        told = self._halves(wires.free)
        sources, grounds = Ends(self).found()
        return Circuit(
            typed=self.typed,
            parts=self.parts,
            short_names=self.short,
            node_names=self.names,
            node_parts=self.part_of,
            node_pins=self.pin_of,
            links=self.links,
            node_of_point=self.node_at,
            sources=sources,
            grounds=grounds,
            references=tuple(sorted(self.references, key=lambda end: (end.run, end.place))),
            reference_of={end.node: end for end in self.references},
            partner=partner,
            unknown_ends=self.unknown_ends,
            conflicts=tuple(self.conflicts),
            told_halves=told,
        )

    def _halves(self, free: list[tuple[int, int]]) -> frozenset[int]:
        wiring = Wiring(self.parts, self.names, self.part_of, self.pin_of, self.node_at, self.links, free)
        told = settle_halves(wiring)
        wired = {node for link in self.links if link.kind is not LinkKind.MATING for node in (link.a, link.b)}
        self.links = [
            link for link in self.links if link.kind is not LinkKind.MATING or link.a in wired or link.b in wired
        ]
        matings = {node for link in self.links if link.kind is LinkKind.MATING for node in (link.a, link.b)}
        self.node_at = {
            key: node
            for key, node in self.node_at.items()
            if node in matings or key[0] not in self.parts or self.parts[key[0]].kind is not PartKind.CONNECTOR
        }
        name_halves(replace(wiring, links=self.links))
        return told

    def _check_rail_names(self) -> None:
        file = self.typed.vehicle_file
        for rail in self.rails:
            if rail in self.parts:
                place = file.place_of(("rails", rail), key=True)
                what = f"{rail} is the name of a rail and of a part ({self.parts[rail].place})"
                self.problems.append(file.problem(place, what, "Give one of the two another name.", rail))

    def _join_references(self) -> dict[int, int]:
        partner: dict[int, int] = {}
        for a, b in agreeing_pairs(self.references, self.typed.runs):
            partner[a.node] = b.node
            partner[b.node] = a.node
            self.link(a.node, b.node, LinkKind.REFERENCE)
        return partner
