"""A model while it is being made from a circuit, and what several models of one circuit share."""

from __future__ import annotations

from dataclasses import dataclass, field

from tracer.circuit.states import KeyStates, Settled
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import Branch, Draw
from tracer.electrics.model.changes import Changes
from tracer.trace.tracing import Tracing


class Draft:
    """What a model is made from, and its branches, draws, undecided things and notes as far as they are found.

    `names` are those of the nodes: first those of the circuit, then those that the model adds.
    """

    def __init__(self, tracing: Tracing, key: str, changes: Changes, limits: LimitsInUse) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.key = key
        self.changes = changes
        self.limits = limits
        self.system_v = float(limits.system_v)
        self.names = list(self.circuit.node_names)
        self.branches: list[Branch] = []
        self.draws: list[Draw] = []
        self.undecided: dict[str, None] = {}
        self.notes: list[str] = []

    def node(self, name: str) -> int:
        """A node that is not in the circuit."""
        self.names.append(name)
        return len(self.names) - 1

    def facts(self, part: str) -> object:
        """What is typed in about a part."""
        return self.circuit.parts[part].facts


@dataclass
class Shared:
    """What the models of a circuit with the same changes have in common: the switching states by key state."""

    states: KeyStates | None = None
    settled: dict[str, Settled] = field(default_factory=dict)
