"""Names of panel positions: which part a label means, which parts a text names, which output does the work of a fuse."""

from __future__ import annotations

import re

from tracer.circuit.model import Circuit, PartKind
from tracer.entry.models import ModuleFacts

_WORD = re.compile(r"[^\s,;:()]+")


def position_in(circuit: Circuit, panel: str | None, label: str) -> str | None:
    """The part at a label, first in the given panel, then by its own name; None when there is none."""
    for name in (f"{panel}/{label}", label):
        found = circuit.short_names.get(name, name)
        if found in circuit.parts and circuit.parts[found].kind is not PartKind.PANEL:
            return found
    return None


def output_node(circuit: Circuit, output: str) -> int | None:
    """The node of an electronic output named as `MODULE.PIN`; None when there is no such output."""
    module, _, pin = output.partition(".")
    part = circuit.parts.get(module)
    if part is None or not isinstance(part.facts, ModuleFacts) or pin not in part.facts.outputs:
        return None
    return circuit.pins_of.get(module, {}).get(pin)


def named_in(circuit: Circuit, text: str) -> list[str]:
    """The parts named in a text such as `BDM: pump, relay KEM`, in order."""
    found: dict[str, None] = {}
    for word in _WORD.findall(text):
        name = circuit.short_names.get(word, word).rstrip(".")
        if name in circuit.parts:
            found[name] = None
    return list(found)
