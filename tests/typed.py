"""A vehicle's folder written for one test, and what the tool says about it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from tracer.circuit import join, joined_folder
from tracer.circuit.model import Circuit, LinkKind
from tracer.entry import CannotUse, Problem, read_folder
from tracer.trace.tracing import Tracing

VEHICLE = 'vehicle: v\nkey: [off, run]\nconditions: {lights: on}\nrails: {"30": always, "31": ground}\n'
HEAD = """\
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  S1: splice
  S2: splice
  G1: ground
  E1: load
  X1: {is: connector, cavities: 1-6}
  M: {is: module, cavities: 1-4}
"""


def write(
    folder: Path,
    *sheets: str | bytes,
    vehicle: str | bytes | None = VEHICLE,
    more: Mapping[str, str | bytes] | None = None,
) -> Path:
    """Write `vehicle.yaml`, the sheets as `sheets/1.yaml`, `sheets/2.yaml` ..., and `more` files by name; returns the folder."""
    files: dict[str, str | bytes] = {f"sheets/{number}.yaml": sheet for number, sheet in enumerate(sheets, 1)}
    if vehicle is not None:
        files["vehicle.yaml"] = vehicle
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    for name, text in {**files, **(more or {})}.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def problems(folder: Path) -> list[Problem]:
    """Every problem of the folder, in the order shown; empty when it can be used."""
    try:
        joined_folder(folder)
    except CannotUse as error:
        return list(error.problems)
    return []


def load(
    folder: Path, *sheets: str | bytes, vehicle: str = VEHICLE, more: Mapping[str, str | bytes] | None = None
) -> Circuit:
    """The circuit of a folder written with `write`; problems fail the test with their whole text."""
    return join(read_folder(write(folder, *sheets, vehicle=vehicle, more=more)))


def links(circuit: Circuit) -> list[tuple[str, str, str]]:
    """Every link as kind and the two node names, in the order of the circuit."""
    return [(link.kind.name, circuit.node_names[link.a], circuit.node_names[link.b]) for link in circuit.links]


def wires(circuit: Circuit) -> list[tuple[str, str]]:
    """The two node names of every wire, in the order typed, the part that was typed first in front."""
    found = []
    for link in sorted(circuit.links, key=lambda link: (link.run, link.wire)):
        if link.kind is LinkKind.WIRE:
            first = circuit.runs[link.run].points[link.wire].part.rpartition("/")[2]
            ends = [link.a, link.b]
            ends.sort(key=lambda node: circuit.node_parts[node].rpartition("/")[2] != first)
            found.append((circuit.node_names[ends[0]], circuit.node_names[ends[1]]))
    return found


def example_tracing(folder: Path, example: str) -> Tracing:
    """The tracing of a rule's example: pages after `---`; a first piece that begins with `rails:` or `colours:` belongs to vehicle.yaml."""
    documents = example.split("\n---\n")
    vehicle = documents.pop(0) if documents[0].startswith(("rails:", "colours:")) else ""
    sheets = [f"sheet: {number}\n{document}" for number, document in enumerate(documents, 1)]
    return Tracing(join(read_folder(write(folder, *sheets, vehicle=f"vehicle: example\n{vehicle}\n"))))
