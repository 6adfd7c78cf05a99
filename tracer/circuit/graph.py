"""The circuit as a networkx graph, to be printed and asked.

Not what the lists are worked out on: to import networkx takes as long as the whole list of a small vehicle's module, and its floods, components and blocks take
several times as long as ours on a vehicle of real size (`benchmarks/bench_graph.py` measures both). The tests hold ours against it.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from tracer.circuit.kinds import LINKS, ONE_WAY, LinkKind

if TYPE_CHECKING:
    import networkx

    from tracer.circuit.model import Circuit


def graph_of(circuit: Circuit) -> networkx.MultiGraph:
    """A multigraph whose nodes are the names of nodes and whose edge keys are the numbers of links.

    Nodes that share a name (`?`, where a wire leads is not known) are told apart by their number behind it. Each node has `number`, `part`, `kind` (of the part, as
    typed), `pin`, and `at`: where the part sits. Each edge has `kind` (the link's, in small letters), `part`, `a` and `b` (its ends in their order), `one_way` (current
    flows from `a` to `b` only), `carries` (what a way takes over it: supply, ground), `wire` (as typed), and the `sheet` and `line` of a wire's run.
    """
    import networkx

    graph = networkx.MultiGraph(name=circuit.name)
    often = Counter(circuit.node_names)
    names = [name if often[name] == 1 else f"{name} [{node}]" for node, name in enumerate(circuit.node_names)]
    for node, name in enumerate(names):
        part = circuit.part_at(node)
        panel = circuit.parts.get(part.panel) if part is not None and part.panel else None
        graph.add_node(
            name,
            number=node,
            part=circuit.node_parts[node],
            kind=str(part.kind) if part is not None else "",
            pin=circuit.node_pins[node],
            at=(part.facts.at or (panel.facts.at if panel is not None else None) or "") if part is not None else "",
        )
    for number, link in enumerate(circuit.links):
        wire = link.kind is LinkKind.WIRE
        graph.add_edge(
            names[link.a],
            names[link.b],
            key=number,
            kind=link.kind.name.lower().replace("_", " "),
            part=link.part,
            a=names[link.a],
            b=names[link.b],
            one_way=link.kind in ONE_WAY,
            carries=LINKS[link.kind].carries,
            wire=circuit.wire_of(link).text if wire else "",
            sheet=circuit.sheet_of_run(link.run) if wire else "",
            line=circuit.runs[link.run].line if wire else 0,
        )
    return graph


__all__ = ["graph_of"]
