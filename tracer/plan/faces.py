"""The faces of the connectors on a list: which cavity of them is which row's, seen from the side that was typed, or drawn as a mirror from the other one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from tracer.circuit.faces import BLANK, half_of
from tracer.circuit.model import Circuit
from tracer.entry.models import ConnectorFacts, ModuleFacts
from tracer.entry.problems import natural
from tracer.plan.values import Face
from tracer.trace.lists.results import Row, SupplyReport

_OTHER = {"wire side": "mating side", "mating side": "wire side"}


def _faces(circuit: Circuit, report: SupplyReport, rows: tuple[Row, ...]) -> Iterator[Face]:
    """The face of the module's plug and of each connector on these rows, where one is typed in; each as typed."""
    nodes = {name: node for node, name in enumerate(circuit.node_names)}
    parts = dict.fromkeys([report.module, *(probe.part for row in rows for probe in row.probes)])
    for name in parts:
        part = circuit.parts.get(name)
        facts = None if part is None else part.facts
        if not isinstance(facts, ModuleFacts | ConnectorFacts) or not facts.face or facts.viewed is None:
            continue
        half = half_of(facts.viewed)
        levels: dict[str, str] = {}
        for row in rows:
            for probe in row.probes:
                if probe.part == name:
                    cavity, _, of = circuit.node_pins[nodes[probe.at]].partition(":")
                    if of == half:
                        own = facts.mates.get(cavity, cavity) if isinstance(facts, ConnectorFacts) and half == "b" else cavity  # fmt: skip
                        levels.setdefault(own, row.level)
        shown = tuple(tuple("" if one == BLANK else one for one in row) for row in facts.face)
        beside = sorted(levels.keys() - {one for row in shown for one in row}, key=natural)
        words = f"half {half}" if half else ""
        if isinstance(facts, ConnectorFacts) and len(facts.halves) == 2:
            words += f" ({facts.halves[half == 'b']})"
        yield Face(name, words, facts.viewed.removesuffix(f" {half}"), False, shown, levels, tuple(beside))


def mirrored(face: Face) -> Face:
    """The same cavities seen from the other side: left and right change places."""
    widest = max(len(row) for row in face.rows)
    rows = tuple(tuple(reversed([*row, *[""] * (widest - len(row))])) for row in face.rows)
    return replace(face, viewed=_OTHER[face.viewed], mirrored=not face.mirrored, rows=rows)


def faces_of_rows(circuit: Circuit, report: SupplyReport, rows: tuple[Row, ...]) -> tuple[Face, ...]:
    """Each face on the ways of these rows as typed, and behind it the mirror: the same seen from the other side."""
    return tuple(one for face in _faces(circuit, report, rows) for one in (face, mirrored(face)))


__all__ = ["faces_of_rows", "mirrored"]
