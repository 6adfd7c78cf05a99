"""Three truths: whether a source is live, a contact closed, an output commanded, a condition met in a key state, and what that depends on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Circuit, Lever, Link
from tracer.entry.models import ModuleFacts
from tracer.entry.values import When
from tracer.standards.terminals import meaning


class Level(IntEnum):
    """Whether something is dead, live, or depends on something."""

    DEAD = 0
    DEPENDS = 1
    LIVE = 2


@dataclass(frozen=True, slots=True)
class Reason:
    """What a level depends on: `known` is false when a fact is missing rather than free."""

    text: str
    known: bool = True


class Truths:
    """Answers from what is typed in. `fixed` gives conditions, commands and switches worked by hand a truth; `relays` says how far each is energised."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._commands: dict[tuple[str, str, str], tuple[Level, tuple[Reason, ...]]] = {}  # with nothing fixed

    def source(self, node: int, key: str, fixed: Mapping[str, bool]) -> tuple[Level, tuple[Reason, ...]]:
        """Whether a source is live in a key state, and what that depends on."""
        name = self.circuit.node_names[node]
        rail = self.circuit.typed.vehicle.rails.get(name)
        if rail is not None and self.circuit.node_parts[node] not in self.circuit.parts:
            if rail.live is not None:
                return self.when(rail.live, key, fixed, f"when rail {name} is live")
            return self._din_level(name, key)
        part = self.circuit.parts[self.circuit.node_parts[node]]
        if part.kind is PartKind.MODULE:
            level, why = self.command(part.name, self.circuit.node_pins[node], key, fixed)
            return level, why
        if part.kind is PartKind.GENERATOR:
            return Level.DEPENDS, (Reason(f"{part.name} turning"),)
        if part.kind is PartKind.CONVERTER:
            return Level.DEPENDS, (Reason(f"converter {part.name} working"),)
        return Level.LIVE, ()

    @staticmethod
    def _din_level(rail: str, key: str) -> tuple[Level, tuple[Reason, ...]]:
        terminal = meaning(rail)
        unknown = Reason(f"whether rail {rail} is live in {key} (say it under `rails`)", known=False)
        if terminal is None or terminal.live is None or key not in ("off", "acc", "run", "start"):
            return Level.DEPENDS, (unknown,)
        if key == "start" and not terminal.start_certain:
            return Level.DEPENDS, (unknown,)
        return (Level.LIVE if key in terminal.live else Level.DEAD), ()

    def contact(
        self, link: Link, key: str, relays: Mapping[str, Level], fixed: Mapping[str, bool]
    ) -> tuple[Level, tuple[Reason, ...]]:
        """Whether a contact is closed in a key state, with the relays as they are, and what that depends on."""
        part = self.circuit.parts[link.part]
        lever = part.levers[link.lever]
        if part.kind is PartKind.RELAY:
            energised = relays.get(part.name, Level.DEAD)
            level = _by_two(link, lever, "energised", "rest", energised)
            doubtful = level is Level.DEPENDS and energised is not Level.DEPENDS
            return level, _not_known(lever) if doubtful else ()
        if lever.follows == "key":
            if part.kind is PartKind.SWITCH and key not in lever.contacts:
                words = "not known" if key in lever.unknown else "no such position in its contacts"
                return Level.DEPENDS, (Reason(f"what {lever.name} does in {key} ({words})", known=False),)
            return (Level.LIVE if key in link.closed else Level.DEAD), ()
        if lever.follows is not None:
            on, why = self._name(lever.follows, key, fixed)
            return _by_two(link, lever, "yes", "no", on), (*why, *_not_known(lever))
        chosen = [position for position in lever.contacts if fixed.get(f"{lever.name}={position}")]
        if chosen:
            return (Level.LIVE if chosen[0] in link.closed else Level.DEAD), ()
        if set(link.closed) == set(lever.contacts) and not lever.unknown:
            return Level.LIVE, ()
        return Level.DEPENDS, (Reason(f"{lever.name} in position {' or '.join(link.closed)}"),)

    def command(self, module: str, pin: str, key: str, fixed: Mapping[str, bool]) -> tuple[Level, tuple[Reason, ...]]:
        """Whether a module commands an output in a key state, and what that depends on."""
        if fixed:
            return self._command(module, pin, key, fixed)
        if (module, pin, key) not in self._commands:
            self._commands[module, pin, key] = self._command(module, pin, key, fixed)
        return self._commands[module, pin, key]

    def _command(self, module: str, pin: str, key: str, fixed: Mapping[str, bool]) -> tuple[Level, tuple[Reason, ...]]:
        facts = self.circuit.parts[module].facts
        assert isinstance(facts, ModuleFacts)
        output = facts.outputs[pin]
        name = output.command or f"{module}.{pin}"
        if name in fixed:
            return (Level.LIVE if fixed[name] else Level.DEAD), ()
        if not output.when.known:
            return Level.DEPENDS, (Reason(f"{module} commanding {output.command or f'pin {pin}'}"),)
        level, why = self.when(output.when, key, fixed, f"when {module} commands pin {pin}")
        if output.drives == "both" and level is Level.LIVE:  # a half bridge drives one way at a time
            return Level.DEPENDS, (Reason(f"which way {module} drives pin {pin}"),)
        return level, why

    def when(
        self, condition: When, key: str, fixed: Mapping[str, bool], unknown: str
    ) -> tuple[Level, tuple[Reason, ...]]:
        """Whether a condition holds in a key state; `unknown` is what to say where nobody knows."""
        if condition.clauses is None:
            return Level.DEPENDS, (Reason(f"{unknown} (not known)", known=False),)
        best = Level.DEAD
        why: tuple[Reason, ...] = ()
        for clause in condition.clauses:
            level, clause_why = Level.LIVE, []
            for name, wanted in clause:
                truth, name_why = self._name(name, key, fixed)
                held = truth if wanted else Level(Level.LIVE - truth)
                level = min(level, held)
                clause_why += [
                    Reason(reason.text if wanted else f"not {reason.text}", reason.known) for reason in name_why
                ]
            if level is Level.DEPENDS:
                why = (*why, *clause_why)
            best = max(best, level)
        return best, (why if best is Level.DEPENDS else ())

    def _name(self, name: str, key: str, fixed: Mapping[str, bool]) -> tuple[Level, tuple[Reason, ...]]:
        """The truth of a key state or a condition."""
        if name in self.circuit.typed.vehicle.key:
            return (Level.LIVE if name == key else Level.DEAD), ()
        condition = self.circuit.typed.vehicle.conditions[name]
        if self.when(condition.when, key, {}, name)[0] is Level.DEAD:
            return Level.DEAD, ()
        if name in fixed:
            return (Level.LIVE if fixed[name] else Level.DEAD), ()
        return Level.DEPENDS, (Reason(name),)


def _by_two(link: Link, lever: Lever, one: str, other: str, taken: Level) -> Level:
    """What a contact with two positions passes, by how certain it is that the one is taken; DEPENDS in a position that is not known."""
    there, here = (
        Level.DEPENDS if at in lever.unknown else Level.LIVE if at in link.closed else Level.DEAD for at in (one, other)
    )
    if taken is Level.DEPENDS:
        return there if there is here else Level.DEPENDS
    return there if taken is Level.LIVE else here


def _not_known(lever: Lever) -> tuple[Reason, ...]:
    """Why nobody can say what some positions join; nothing where every position is known."""
    return tuple(Reason(f"what {lever.name} joins in position {one} (not known)", known=False) for one in lever.unknown)
