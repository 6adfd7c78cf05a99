"""What hangs together in a vehicle of real size: our walks against networkx on the graph that it needs for them, and what importing it would add to a command.

Where a ratio is no longer met, the reason for our own code is gone, and networkx can do it.
"""

from __future__ import annotations

import gc
import sys
import tempfile
from collections.abc import Collection
from pathlib import Path

import networkx

import tracer
from benchmarks.believable import believable
from benchmarks.ratios import Ratio, least_cpu_s, process_cpu_s
from tracer.circuit.flood import flood
from tracer.circuit.kinds import CONDUCTORS, INSIDE_MODULE, WIRING, LinkKind
from tracer.circuit.model import Circuit
from tracer.circuit.nets import Nets
from tracer.trace.ways.simple import Ways


def ratios() -> list[Ratio]:
    """Ours against networkx, for the same answer."""
    with tempfile.TemporaryDirectory() as scratch:
        believable(Path(scratch))
        circuit = tracer.load(scratch)
    start = circuit.sources[0].node
    gc.collect()
    gc.disable()
    try:
        metal = CONDUCTORS - INSIDE_MODULE
        found = [
            _ratio("components", lambda: _nets(circuit), lambda: _components(_graph(circuit, metal))),
            _ratio(
                "a flood along wires",
                lambda: set(flood(circuit, [start], WIRING)),
                lambda: networkx.node_connected_component(_graph(circuit, WIRING), start),
            ),
            _ratio(
                "blocks, and which of them lie on the ways to each node",
                lambda: _blocks(circuit, start),
                lambda: list(networkx.biconnected_component_edges(_graph(circuit, frozenset(LinkKind)))),
                same=False,
            ),
        ]
    finally:
        gc.enable()
    four_s = process_cpu_s([sys.executable, "-c", "import networkx, pydantic, yaml, typer"], 9)
    three_s = process_cpu_s([sys.executable, "-c", "import pydantic, yaml, typer"], 9)
    found.append(Ratio("importing all that every answer needs / the same and networkx", three_s, four_s, 0.7))
    return found


def _ratio(what: str, ours: object, theirs: object, *, same: bool = True) -> Ratio:
    assert callable(ours) and callable(theirs)
    assert not same or ours() == theirs(), what
    return Ratio(f"{what} / networkx with its graph", least_cpu_s(ours, 5), least_cpu_s(theirs, 5), 1)


def _graph(circuit: Circuit, kinds: Collection[LinkKind]) -> networkx.MultiGraph:
    graph = networkx.MultiGraph()
    graph.add_nodes_from(range(len(circuit.node_names)))
    links = enumerate(circuit.links)
    graph.add_edges_from((link.a, link.b, n) for n, link in links if link.kind in kinds and not circuit.is_left_open(link))  # fmt: skip
    return graph


def _nets(circuit: Circuit) -> set[frozenset[int]]:
    return {frozenset(net) for net in Nets(circuit, inside_modules=False).members.values()}


def _components(graph: networkx.MultiGraph) -> set[frozenset[int]]:
    return {frozenset(piece) for piece in networkx.connected_components(graph)}


def _blocks(circuit: Circuit, start: int) -> Ways:
    return Ways(circuit.links, circuit.at, [start], lambda link: True)
