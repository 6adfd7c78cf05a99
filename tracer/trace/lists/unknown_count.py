"""The second count of what is unknown: a plain walk along the wires at a module's pins to pins that nothing is known to join inside their part.

It shares nothing with the rule that makes loose ends of such pins (L161) and with the zone of a list, so that a slip in one does not hide in the other.
"""

from __future__ import annotations

from collections.abc import Collection

from tracer.circuit.kinds import LinkKind
from tracer.circuit.model import Circuit, Link, Part
from tracer.trace.lists.second_table import METAL

_SWITCHING = frozenset({"box", "relay", "switch"})


def _in_doubt(part: Part, link: Link) -> bool:
    """Whether a contact has a position of which it is not known what it joins."""
    return link.kind is LinkKind.CONTACT and bool(part.levers[link.lever].unknown)


def unknown_but_unsaid(circuit: Circuit, module: str, said: Collection[str]) -> list[str]:
    """What is wrong with a list whose loose ends are at the points `said`: a pin of unknown inside is joined with the module, and none of them says so."""
    ends = {end.node for end in (*circuit.sources, *circuit.grounds)}
    found = []
    queue = list(circuit.pins_of.get(module, {}).values())
    seen = set(queue)
    for node in queue:
        links = [circuit.links[number] for number in circuit.at[node]]
        name = circuit.node_names[node]
        part = circuit.part_at(node)
        told = name in said or (part is not None and part.undeclared and part.name in said)
        if part is not None and part.kind in _SWITCHING and not told:
            # joined inside by a contact or coil, or another part sits on the pin
            inside = any(link.kind not in METAL and not _in_doubt(part, link) for link in links)
            guest = any(link.kind is LinkKind.MEETS and link.part != part.name for link in links)
            if not inside and (part.inside_unknown or not guest):
                found.append(f"{name} is joined with {module}, what it leads to is not known, and no loose end says so")
        for link in links if node not in ends else ():
            other = circuit.other(link, node)
            if link.kind in METAL and other not in seen:
                seen.add(other)
                queue.append(other)
    return found
