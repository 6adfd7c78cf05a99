"""What modules draw: at each supply pin a current, which goes back through the return pins."""

from __future__ import annotations

from collections.abc import Iterable

from tracer.electrics.branches import Branch, Draw
from tracer.electrics.draft import Draft
from tracer.electrics.elements import Ohms
from tracer.electrics.switching import Switching
from tracer.entry.models import ModuleFacts
from tracer.standards.allowances import contact_ohm, default_draw_a, spread


class ModuleDraws:
    """Adds the draws of modules to a draft. `inside` is the node inside each module at which its supplies and returns meet."""

    def __init__(self, draft: Draft, switching: Switching) -> None:
        self.draft = draft
        self.circuit = draft.circuit
        self.changes = draft.changes
        self.switching = switching
        self.inside: dict[str, int] = {}

    def make(self) -> None:
        """Add what every module draws at its supply pins, save of those that are unplugged or taken out."""
        for part in self.circuit.modules():
            if part.name in self.changes.unplugged or any(
                part.name in target.parts and target.kind == "module" for target in self.changes.opened
            ):
                continue
            facts = part.facts
            assert isinstance(facts, ModuleFacts)
            pins = self.circuit.pins_of.get(part.name, {})
            returns = self._returns(facts, pins)
            supplies = [pin for pin, words in facts.pins.items() if words.split()[:1] == ["supply"] and pin in pins]
            supplies += [pin for pin in facts.draws if pin in pins and pin not in supplies]
            if not supplies:
                continue
            if not returns:
                self.draft.notes.append(f"{part.name}: no ground pin is typed in, so what it draws is left out")
                continue
            hub = self.inside[part.name] = self.draft.node(f"inside {part.name}")
            span = contact_ohm("bridge inside a module")
            for pin in returns:
                self.draft.branches.append(Branch(pins[pin], hub, -1, "inside", part.name, Ohms.of(span)))
            for pin in supplies:
                self._module_draw(part.name, facts, pin, pins[pin], hub)

    def _returns(self, facts: ModuleFacts, pins: dict[str, int]) -> list[str]:
        """The pins through which what a module draws goes back: as typed, else those its low-side outputs use, else every declared ground."""
        through = [pin for output in facts.outputs.values() for pin in output.through]
        declared = [pin for pin, words in facts.pins.items() if words.split()[:1] == ["ground"]]
        chosen: Iterable[str] = facts.returns or through or declared
        return [pin for pin in dict.fromkeys(chosen) if pin in pins]

    def _module_draw(self, module: str, facts: ModuleFacts, pin: str, node: int, hub: int) -> None:
        typed = self._typed_draw(facts.draws.get(pin, {}))
        if typed == 0.0:
            return  # typed in as taking nothing
        if typed is not None:
            share = spread("amps of a load or draw")
            amounts = (typed * share.low, typed, typed * share.high)
            assumed = ""
        else:
            off = self.draft.key == self.circuit.typed.vehicle.key[0]
            span = default_draw_a(f"supply pin of a module, {'key off' if off else 'awake'}")
            factor = 12.0 / self.draft.system_v
            amounts = (span.low * factor, span.nominal * factor, span.high * factor)
            assumed = f"current of {module}.{pin} ({amounts[0]:g} to {amounts[2]:g} A taken)"
        self.draft.draws.append(Draw(f"{module}.{pin}", node, hub, "current", amounts, self.draft.system_v, assumed))

    def _typed_draw(self, draw: dict[str, float | None]) -> float | None:
        """The current that holds now: that of a condition that is held, else of the key state, else what holds otherwise."""
        for name, on in self.switching.held.items():
            if on and name in draw:
                return draw[name]
        if self.draft.key in draw:
            return draw[self.draft.key]
        return draw.get("otherwise", draw.get(""))
