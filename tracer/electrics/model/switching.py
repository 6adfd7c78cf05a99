"""What is open and what is closed in a key state: parts taken out, conditions held, relays settled, outputs given."""

from __future__ import annotations

from dataclasses import replace

from tracer.circuit.kinds import DRIVERS, INSIDE_MODULE
from tracer.circuit.model import End, Link, LinkKind
from tracer.circuit.states import KeyStates, Level, Settled
from tracer.electrics.model.changes import commands_of, default_position
from tracer.electrics.model.making import Draft, Shared
from tracer.entry.models import ModuleFacts, SwitchFacts
from tracer.trace.tracing import Tracing


class _Prepared:
    """Key states of the whole circuit with leads in a plug and grounds of test loads: many things are opened in them, one after another."""

    def __init__(self, tracing: Tracing) -> None:
        self.circuit = tracing.circuit
        self._kept: dict[tuple[frozenset[int], ...], KeyStates] = {}

    def of(self, switching: Switching) -> KeyStates:
        """With what the changes of a switching state want; nothing is open in it yet."""
        circuit = self.circuit
        pulled = frozenset(n for n, link in enumerate(circuit.links) if switching.is_pulled(link))
        grounded = frozenset(switching.changes.grounded)
        no_source = grounded & switching.open_nodes  # what is opened there would take the test load along
        if (pulled, grounded, no_source) not in self._kept:
            # a lead in the plug is a conductor: it needs no module that is alive
            links = [
                replace(link, kind=LinkKind.STRAP) if n in pulled else link for n, link in enumerate(circuit.links)
            ]
            changed = replace(
                circuit,
                links=links,
                sources=tuple(end for end in circuit.sources if end.node not in no_source),
                grounds=(*circuit.grounds, *(End(node, circuit.node_names[node], True, "a test load") for node in sorted(grounded))),
            )  # fmt: skip
            self._kept[pulled, grounded, no_source] = KeyStates(changed)
        return self._kept[pulled, grounded, no_source]


def _left_open(tracing: Tracing) -> frozenset[int]:
    circuit = tracing.circuit
    return frozenset(n for n, link in enumerate(circuit.links) if circuit.is_left_open(link))


class Switching:
    """The switching state that a model rests on.

    Attributes
    ----------
    held : the truth of every condition, unknown command and hand-worked position
    open_links, open_nodes : what is taken out of the circuit
    states, settled : the key states of what is left, and the one asked for
    """

    def __init__(self, draft: Draft, shared: Shared) -> None:
        self.draft = draft
        self.circuit = draft.circuit
        self.changes = draft.changes
        self.shared = shared
        self.held = self._held()
        opened, self.open_nodes = self._opened()
        self.open_links = opened | self._unfitted()
        if shared.states is None:
            shared.states = self._key_states()
        self.states = shared.states
        self.settled = self._settle()

    def _opened(self) -> tuple[frozenset[int], frozenset[int]]:
        links: set[int] = set()
        nodes: set[int] = set()
        for target in self.changes.opened:
            links |= target.opened.links
            nodes |= target.opened.nodes
        for number, link in enumerate(self.circuit.links):
            if link.part in self.changes.unplugged and link.kind in INSIDE_MODULE and not self.is_pulled(link):
                links.add(number)
        for name in self.changes.unplugged:  # what it gives out is no source any more
            nodes |= {node for node in self.circuit.pins_of.get(name, {}).values()}
        return frozenset(links), frozenset(nodes)

    def _unfitted(self) -> frozenset[int]:
        """What is inside positions that are empty or an option."""
        return self.draft.tracing.once(_left_open)

    def _key_states(self) -> KeyStates:
        if not (self.open_links or self.open_nodes or self.changes.grounded or self.changes.pulled):
            return self.draft.tracing.states
        if not (self.changes.grounded or self.changes.pulled):
            return self.draft.tracing.states.without(self.open_links, self.open_nodes)
        prepared = self.draft.tracing.once(_Prepared).of(self)
        return prepared.without(self.open_links, self.open_nodes - frozenset(self.changes.grounded))

    def _held(self) -> dict[str, bool]:
        """The truth of every condition, unknown command and hand-worked position: false unless held."""
        chosen = self.changes.held
        fixed = {name: chosen.get(name, "no") == "yes" for name in self.circuit.typed.vehicle.conditions}
        pulled = self._leads() if self.changes.pulled else ()
        for name, known in commands_of(self.circuit).items():
            if name in pulled:
                fixed[name] = True
            elif name in chosen:
                fixed[name] = chosen[name] != "no"
            elif not known:
                fixed[name] = False
        for part in self.circuit.parts.values():
            for lever in part.levers.values() if isinstance(part.facts, SwitchFacts) else ():
                if lever.follows is None:
                    fixed[f"{lever.name}={chosen.get(lever.name) or default_position(lever.contacts)}"] = True
        return fixed

    def _leads(self) -> set[str]:
        """The commands of the outputs that leads stand in for."""
        return {self._command(link) for link in self.circuit.links if self.is_pulled(link)}

    def _settle(self) -> Settled:
        """The key states one after another from the first to the wanted one, so that a relay that holds itself stays held."""
        keys = self.circuit.typed.vehicle.key
        relays: dict[str, Level] = {}
        for before, key in zip(("", *keys), keys, strict=False):
            if key not in self.shared.settled:
                self.shared.settled[key] = self.states.settle(key, relays, self.held, before=before)
            settled = self.shared.settled[key]
            relays = settled.relays
            if key == self.draft.key:
                return settled
        raise ValueError(f"{self.draft.key} is no key state")

    def is_pulled(self, link: Link) -> bool:
        """Whether a lead in the plug does what an output of the unplugged module does."""
        return link.kind in DRIVERS and f"{link.part}.{link.output}" in self.changes.pulled

    def closed(self, link: Link) -> bool:
        """Whether a contact or an output conducts; what is not decided is taken as open, and named."""
        if self.is_pulled(link):
            return True
        level = self.states.conducts(link, self.settled, self.held)
        if link.kind in DRIVERS:
            side = self.changes.held.get(self._command(link), "")
            if side in ("high", "low") and side != ("high" if link.kind is LinkKind.DRIVER_HIGH else "low"):
                return False
            facts = self.draft.facts(link.part)
            assert isinstance(facts, ModuleFacts)
            if facts.outputs[link.output].drives == "both" and side not in ("high", "low"):
                if level is not Level.DEAD:
                    self.draft.undecided[
                        f"which side of the half bridge {link.part}.{link.output} is on (taken as neither)"
                    ] = None
                return False
        if level is Level.DEPENDS:
            what = f"contact {link.part}" if link.kind is LinkKind.CONTACT else f"output {link.part}.{link.output}"
            self.draft.undecided[f"{what} (taken as open)"] = None
        return level is Level.LIVE

    def _command(self, link: Link) -> str:
        facts = self.draft.facts(link.part)
        assert isinstance(facts, ModuleFacts)
        return facts.outputs[link.output].command or f"{link.part}.{link.output}"
