"""What several dead parts have in common upstream: every part and wire whose opening takes something from them, ranked, and cleared by what still works.

Each candidate is opened by itself (see `reach`), so parallel feeds, relays that drop out and modules that then switch nothing are all taken into account. What is lost
only in some key states does not count here: ask `affects` for that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from tracer.circuit.kinds import INSIDE_MODULE, LinkKind, PartKind
from tracer.entry.problems import natural
from tracer.standards.cautions import cautions_for
from tracer.trace.affects.dead_part import Affected, Target, Terminal, UnknownPart, target_of
from tracer.trace.affects.still_fed import Opened, Reach
from tracer.trace.kinds import PARTS, suspect_order
from tracer.trace.lists.basis import whole_vehicle
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.tracing import Tracing

SUSPECT, DOUBTFUL, CLEARED = "suspect", "doubtful", "cleared"


@dataclass(frozen=True, slots=True)
class Hit:
    """What one asked part loses with a candidate: its pins by level, and whether it keeps no other pin of that level."""

    part: str
    pins: tuple[tuple[str, str], ...]  # pin, level
    whole: bool


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing that can open: a part, a cavity, a wire or a whole panel, with where it sits."""

    name: str
    kind: str
    words: str
    place: str | None
    access: str | None


@dataclass(frozen=True, slots=True)
class CommonGroup:
    """Candidates that take the same pins away, and so cannot be told apart by who is dead and who works; in the order in which to look.

    `verdict`: suspect; doubtful (a working part would lose pins, but keeps others of the same level); cleared (a working part would lose every supply or every ground of it).
    """

    verdict: str
    candidates: tuple[Candidate, ...]
    dead: tuple[Hit, ...]
    working: tuple[Hit, ...]


@dataclass(frozen=True, slots=True)
class CommonPlace:
    """A place where something that each of these dead parts hangs on sits."""

    place: str
    dead: tuple[str, ...]
    working: tuple[str, ...]
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CommonReport(Answer):
    """What dead parts share, best first."""

    vehicle: str
    dead: tuple[str, ...]
    working: tuple[str, ...]
    groups: tuple[CommonGroup, ...]
    places: tuple[CommonPlace, ...]
    cautions: tuple[str, ...]
    completeness: Completeness  # of the vehicle: what is shared may run over something loose
    minding: Minding = NOTHING

    def shared_by_all(self) -> tuple[CommonGroup, ...]:
        """The groups that every dead part hangs on and no working part clears."""
        return tuple(group for group in self.groups if len(group.dead) == len(self.dead) and group.verdict != CLEARED)


def common_of(tracing: Tracing, dead: Sequence[str], working: Sequence[str] = ()) -> CommonReport:
    """What several dead parts share.

    Parameters
    ----------
    tracing : of the circuit
    dead : modules, loads, relays or converters that do not work; `ALM.4` stands for one pin
    working : such parts that do work

    Raises
    ------
    UnknownPart : no such part, one that draws on neither supply nor ground, or one named as dead and as working
    """
    both = set(dead) & set(working)
    if both:
        raise UnknownPart(f"{', '.join(sorted(both))}: named as dead and as working.")
    return _Common(tracing, tuple(dict.fromkeys(dead)), tuple(dict.fromkeys(working))).report()


class _Common:
    def __init__(self, tracing: Tracing, dead: tuple[str, ...], working: tuple[str, ...]) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.dead, self.working = dead, working
        self.fitted = Affected(tracing).fitted()
        # What a generator or a rail that may be dead still feeds is lost all the same; but only what is lost for certain clears anything.
        self.certain: Reach = self.fitted.reach
        self.reach = Reach(tracing, steady=True) if tracing.passing_sources else self.certain
        self.terminals = {name: self._terminals(name) for name in (*dead, *working)}
        self.own = {terminals[0].part for name, terminals in self.terminals.items() if name in dead}

    def report(self) -> CommonReport:
        grouped: dict[tuple[tuple[Hit, ...], tuple[Hit, ...]], list[Candidate]] = {}
        for candidate, opened in self._candidates():
            loss = self.reach.lost_by(opened)
            lost = {level: loss.at(level) for level in ("supply", "ground")}
            hits = tuple(hit for name in self.dead if (hit := self._hit(name, lost)))
            if hits:
                if self.working and self.certain is not self.reach:
                    loss = self.certain.lost_by(opened)
                    lost = {level: loss.at(level) for level in ("supply", "ground")}
                spared = tuple(hit for name in self.working if (hit := self._hit(name, lost)))
                grouped.setdefault((hits, spared), []).append(candidate)
        groups = [
            CommonGroup(_verdict(working), tuple(sorted(found, key=_candidate_order)), hits, working)
            for (hits, working), found in grouped.items()
        ]
        groups = [group for group in groups if len(self.dead) == 1 or len(group.dead) > 1]
        report = CommonReport(
            self.circuit.name,
            self.dead,
            self.working,
            tuple(sorted(groups, key=self._group_order)),
            tuple(self._places(grouped)),
            tuple(caution.text for caution in cautions_for("probe")),
            whole_vehicle(self.tracing),
        )
        return replace(report, minding=minding_of(self.tracing, report))

    def _terminals(self, name: str) -> list[Terminal]:
        part, _, pin = (name, "", "") if name in self.circuit.parts else name.partition(".")
        if part not in self.circuit.parts:
            target_of(self.circuit, part)  # says what is near
        found = [
            terminal
            for terminal in self.fitted.terminals
            if terminal.part == part and (not pin or terminal.pin == pin) and (pin or terminal.role != "signal")
        ]
        if not found:
            where = f"pin {pin} of {part}" if pin else part
            raise UnknownPart(
                f"{where} draws on no supply and no ground that is typed in: name a module, load or relay."
            )
        return found

    def _hit(self, name: str, lost: dict[str, dict[int, str]]) -> Hit | None:
        terminals = self.terminals[name]
        gone = [terminal for terminal in terminals if terminal.node in lost[terminal.level]]
        if not gone:
            return None
        left = {terminal.level for terminal in terminals if terminal not in gone}
        whole = any(terminal.level not in left for terminal in gone)
        return Hit(name, tuple((terminal.pin, terminal.level) for terminal in gone), whole)

    # --- what can open -------------------------------------------------------------------------------------

    def _candidates(self) -> Iterator[tuple[Candidate, Opened]]:
        """Everything on the ways of the dead parts' pins, and on the ways of what those need."""
        circuit = self.circuit
        links, nodes = self._upstream()
        parts = {circuit.links[number].part for number in links} | {circuit.node_parts[node] for node in nodes}
        known = [name for name in parts if name in circuit.parts and name not in self.own]
        panels = {panel for name in known if (panel := circuit.parts[name].panel) is not None}
        rails = [circuit.node_names[node] for node in nodes if circuit.node_names[node] in circuit.typed.vehicle.rails]
        for name in sorted({*known, *panels}, key=natural):
            kind = circuit.parts[name].kind
            if PARTS[kind].suspect is not None:
                yield self._candidate(target_of(circuit, name), kind)
        for rail in sorted(set(rails), key=natural):
            yield self._candidate(target_of(circuit, rail), "rail")
        for number in sorted(links):
            link = circuit.links[number]
            if link.kind is LinkKind.WIRE:
                wire = circuit.wire_of(link)
                ends = f"{circuit.cavity_of(link.a)} to {circuit.cavity_of(link.b)}"
                name = f"wire {wire.text}, {ends}"
                yield Candidate(name, "wire", name, None, None), Opened(frozenset((number,)))
            elif link.kind is LinkKind.MATING and circuit.parts[link.part].kind is PartKind.CONNECTOR:
                place, access = self.tracing.circuit.place_of_part(link.part)
                name = circuit.contact_name(link.a, link.b)
                yield Candidate(name, "cavity", f"cavity {name}", place, access), Opened(frozenset((number,)))

    def _candidate(self, target: Target, kind: str) -> tuple[Candidate, Opened]:
        place, access = (
            self.tracing.circuit.place_of_part(target.name) if target.name in self.circuit.parts else (None, None)
        )
        part = self.circuit.parts.get(target.name)
        title = f"{target.name} ({part.facts.name})" if part is not None and part.facts.name else target.name
        return Candidate(target.name, kind, f"{kind} {title}", place, access), target.opened

    def _upstream(self) -> tuple[set[int], set[int]]:
        circuit = self.circuit
        links: set[int] = set()
        nodes: set[int] = set()
        asked: set[tuple[int, str]] = set()
        queue = [(terminal.node, terminal.level) for name in self.dead for terminal in self.terminals[name]]
        for node, level in queue:
            if (node, level) in asked:
                continue
            asked.add((node, level))
            nodes.add(node)
            way = self.fitted.ways(level).to(node)
            if way is None:
                continue
            links |= way.links
            nodes.update(way.nodes)
            needed = {circuit.links[number].part for number in way.links if self._is_switched(number)}
            needed |= {circuit.node_parts[end] for end in way.ends}
            for terminal in self.fitted.terminals:
                if terminal.part in needed and terminal.role != "signal":
                    queue.append((terminal.node, terminal.level))
        return links, nodes

    def _is_switched(self, number: int) -> bool:
        link = self.circuit.links[number]
        return link.kind in INSIDE_MODULE or (
            link.kind is LinkKind.CONTACT and self.circuit.parts[link.part].kind is PartKind.RELAY
        )

    # --- order ---------------------------------------------------------------------------------------------

    def _group_order(self, group: CommonGroup) -> tuple[int, int, int, int, int, str]:
        verdict = (SUSPECT, DOUBTFUL, CLEARED).index(group.verdict)
        everybody = len(group.dead) < len(self.dead)
        whole = sum(hit.whole for hit in group.dead)
        first = group.candidates[0]
        return (
            2 if verdict == 2 else int(everybody),
            verdict,
            -len(group.dead),
            -whole,
            suspect_order(first.kind),
            first.name,
        )

    def _places(self, grouped: dict[tuple[tuple[Hit, ...], tuple[Hit, ...]], list[Candidate]]) -> Iterator[CommonPlace]:
        """Places where something sits that each of two or more dead parts hangs on: water, heat or an accident there would explain them."""
        dead: dict[str, dict[str, None]] = {}
        working: dict[str, dict[str, None]] = {}
        names: dict[str, dict[str, None]] = {}
        for (hits, spared), candidates in grouped.items():
            for candidate in candidates:
                if candidate.place:
                    dead.setdefault(candidate.place, {}).update(dict.fromkeys(hit.part for hit in hits))
                    working.setdefault(candidate.place, {}).update(dict.fromkeys(hit.part for hit in spared))
                    names.setdefault(candidate.place, {})[candidate.name] = None
        found = [
            CommonPlace(
                place,
                tuple(name for name in self.dead if name in dead[place]),
                tuple(name for name in self.working if name in working[place]),
                tuple(sorted(names[place], key=natural)),
            )
            for place in dead
            if len(dead[place]) > 1
        ]
        yield from sorted(found, key=lambda one: (-len(one.dead), len(one.working), one.place))


def _verdict(working: Iterable[Hit]) -> str:
    hits = list(working)
    if any(hit.whole for hit in hits):
        return CLEARED
    return DOUBTFUL if hits else SUSPECT


def _candidate_order(candidate: Candidate) -> tuple[int, list[tuple[int, int, str]]]:
    return suspect_order(candidate.kind), natural(candidate.name)


__all__ = [
    "CLEARED", "DOUBTFUL", "SUSPECT", "Candidate", "CommonGroup", "CommonPlace", "CommonReport", "Hit", "common_of",
]  # fmt: skip
