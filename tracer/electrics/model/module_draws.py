"""What modules draw: at each supply pin a current, which goes back through the return pins. And what converters take in."""

from __future__ import annotations

from collections.abc import Iterable

from tracer.circuit.model import Link, LinkKind
from tracer.electrics.model.branches import Branch, Draw
from tracer.electrics.model.elements import Ohms
from tracer.electrics.model.making import Draft
from tracer.electrics.model.sources import converter_follows
from tracer.electrics.model.switching import Switching
from tracer.entry.models import ModuleFacts
from tracer.standards import figures
from tracer.standards.allowances import contact_ohm, conversion, default_draw_a, spread

_SAME = 0.3  # of the vehicle's voltage: a battery at rest, cranking or charging is still one of it
_LEAST_SYSTEM_V = 9.0


class ModuleDraws:
    """Adds the draws of modules to a draft. `inside` is the node inside each module at which its supplies and returns meet."""

    def __init__(self, draft: Draft, switching: Switching) -> None:
        self.draft = draft
        self.circuit = draft.circuit
        self.changes = draft.changes
        self.switching = switching
        self.inside: dict[str, int] = {}
        self.rated_v: dict[int, float] = {}
        self.held = [name for name, on in switching.held.items() if on]

    def make(self) -> None:
        """Add what every module draws at its supply pins, save of those that are unplugged or taken out."""
        self.rated_v = rated_volts(self.draft)
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

        for number, link in enumerate(self.circuit.links):
            if link.kind is LinkKind.CONVERTER and number not in self.switching.open_links:
                self._converter_input(link)

    def _converter_input(self, link: Link) -> None:
        """What a converter takes in: so far what it takes idle, the rest follows what it gives out (`fitting.py`)."""
        if converter_follows(self.draft, link.part):
            idle = conversion("idle")
            rated_v = self.rated_v.get(link.a, self.draft.system_v)
            amounts = (idle.low, idle.nominal, idle.high)
            self.draft.draws.append(
                Draw(f"{link.part}.in", link.a, link.b, "power", amounts, rated_v, converter=link.part)
            )

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
            assumed = f"current of {module}.{pin} ({figures.stated_range(amounts[0], amounts[2], 'A')} taken)"
        rated_v = self.rated_v.get(node, self.draft.system_v)
        self.draft.draws.append(Draw(f"{module}.{pin}", node, hub, "current", amounts, rated_v, assumed))

    def _typed_draw(self, draw: dict[str, float | None]) -> float | None:
        """The current that holds now: that of a condition that is held, else of the key state, else what holds otherwise."""
        for name in self.held if draw else ():
            if name in draw:
                return draw[name]
        if self.draft.key in draw:
            return draw[self.draft.key]
        return draw.get("otherwise", draw.get(""))


def rated_volts(draft: Draft) -> dict[int, float]:
    """V for which what hangs on a node is made, where sources of several voltages feed the vehicle: of a tapped battery, behind a converter.

    Empty where all sources have the vehicle's voltage. Nodes that several voltages reach take the highest.
    """
    sources = [branch for branch in draft.branches if branch.volts is not None and not branch.is_diode]
    if all(branch.is_battery and abs(_nominal(branch) / draft.system_v - 1) < _SAME for branch in sources):
        return {}
    joined: dict[int, list[int]] = {}
    for branch in draft.branches:
        if branch.closed and branch.kind != "load" and (branch.volts is None or branch.is_diode):
            joined.setdefault(branch.a, []).append(branch.b)
            joined.setdefault(branch.b, []).append(branch.a)
    grounds = {end.node for end in draft.circuit.grounds}
    found: dict[int, float] = {}
    # lower batteries first: the upper one of a stack stands on the post of the lower one
    for branch in sorted(sources, key=lambda one: _nominal(one)) * 2:
        stands_on = found.get(branch.a, 0.0) if branch.is_battery and branch.a not in grounds else 0.0
        volts = _nominal(branch) + stands_on
        _spread(found, joined, branch.b, volts)
    return {node: _system_of(volts) if volts > _LEAST_SYSTEM_V else volts for node, volts in found.items()}


def _nominal(branch: Branch) -> float:
    assert branch.volts is not None
    return branch.volts.nominal


def _system_of(volts: float) -> float:
    """12, 24 or 48 V, whichever a battery or converter of so many volts belongs to."""
    return 12.0 if volts < 18 else 24.0 if volts < 36 else 48.0


def _spread(found: dict[int, float], joined: dict[int, list[int]], start: int, volts: float) -> None:
    waiting = [start]
    while waiting:
        node = waiting.pop()
        if found.get(node, 0.0) >= volts:
            continue
        found[node] = volts
        waiting += joined.get(node, ())
