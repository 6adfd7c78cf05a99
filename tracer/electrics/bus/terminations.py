"""The terminations of a bus: in modules, or resistors between its lines; and whether there are as many as a working bus has."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tracer.circuit.kinds import PartKind
from tracer.circuit.model import Link, LinkKind
from tracer.electrics.bus.lines import BusLines
from tracer.electrics.bus.values import FAULT_TOLERANT, HIGH_SPEED, INPUTS_OHM, BusTermination, Case
from tracer.entry.file_models import TerminationFacts
from tracer.entry.models import ResistorFacts
from tracer.standards import bus as tables
from tracer.standards import figures


def terminations_of(lines: BusLines) -> tuple[BusTermination, ...]:
    """Every termination of a bus."""
    return tuple(_Terminations(lines).found())


def judge_terminations(lines: BusLines, terminations: Sequence[BusTermination], cases: Sequence[Case]) -> None:
    """Note or report any other number of terminations than two, by the resistance of the bus in order."""
    fitted = [one for one in terminations if one.fitted]
    total = next((ohm for ohm in cases[0].expected if ohm is not None), None) if cases else None
    low, high = usual_range_ohm()
    if len(fitted) == 1 and total is not None and low <= total.nominal <= high:
        lines.notes.append(
            f"one termination of {figures.ohms(fitted[0].ohms or 0.0)} at {fitted[0].name} in place of two of 120 Ω: the reading is right, but losing that one leaves none"
        )
    elif len(fitted) == 1 and (total is None or total.nominal > high):
        lines.problems.append(
            f"only the termination at {fitted[0].name} is typed in or fitted; a working bus has two: the other may be missing here, and no reading can be called in order"
        )
    elif fitted and len(fitted) != 2 and total is not None:
        lines.notes.append(
            f"{len(fitted)} termination{'s' if len(fitted) != 1 else ''}: {figures.ohms(total.nominal) if total.nominal < INPUTS_OHM else 'the lines read open, or some kΩ,'} in order; two of 120 Ω would make 60 Ω"
        )


def line_ohms(terminations: Sequence[BusTermination]) -> dict[str, float]:
    """All termination resistors of one line together: each node has one for each line."""
    conductance = sum(1 / one.ohms for one in terminations if one.fitted and one.ohms)
    if not conductance:
        return {}
    return {line: 1 / conductance for line in ("H", "L")}


def usual_range_ohm() -> tuple[float, float]:
    """Ω of two terminations at the limits of the standard."""
    row = next(r for r in tables.workshop_readings() if r.case.startswith("both ends present, at"))
    assert row.min_ohm is not None and row.max_ohm is not None
    return row.min_ohm, row.max_ohm


@dataclass(frozen=True, slots=True)
class _Chain:
    """Resistors in a row from a node of line H to a node of line L."""

    parts: tuple[str, ...]
    high: int
    low: int


class _Terminations:
    def __init__(self, lines: BusLines) -> None:
        self.lines = lines
        self.facts = lines.facts
        self.circuit = lines.circuit

    def found(self) -> Iterator[BusTermination]:
        """Those of vehicle.yaml, then the resistors it does not name; a note on each of those."""
        chains = list(self._chains())
        named: set[tuple[str, ...]] = set()
        for name, facts in self.facts.terminations.items():
            part = self.circuit.parts[self.circuit.short_names.get(name, name)]
            if part.kind is PartKind.MODULE:
                yield self._in_module(name, facts)
                continue
            chain = next((one for one in chains if part.name in one.parts), None)
            if chain is None:
                between = "H" in self.lines.nets and self.facts.kind != FAULT_TOLERANT
                problem = f"termination {name}: it does not lie between the two lines" if between else ""
                ohms = facts.ohms if facts.ohms is not None else self._resistor_ohms(part.name)
                yield BusTermination(name, False, ohms, facts.split == "yes", facts.fitted == "yes", problem)
            elif chain.parts not in named:
                named.add(chain.parts)
                yield self._in_harness(chain)
        for chain in chains:
            if chain.parts not in named:
                name = " + ".join(chain.parts)
                self.lines.notes.append(
                    f"resistor {name} lies between the lines and is counted, though `terminations` does not name it"
                )
                yield self._in_harness(chain)

    def _in_module(self, name: str, facts: TerminationFacts) -> BusTermination:
        node = next((node for node in self.lines.nodes if node.module == name), None)
        problem, ends = "", None
        if node is None:
            problem = f"termination {name}: no pin of this module is on the bus"
        elif "H" in node.pins and "L" in node.pins:
            ends = (node.pins["H"][0], node.pins["L"][0])
        elif self.facts.kind == HIGH_SPEED:
            problem = (
                f"termination {name}: only line {', '.join(node.pins)} of this module is typed in, so it is not counted"
            )
        if facts.ohms is None:
            problem = problem or self._not_counted(name)
        return BusTermination(name, True, facts.ohms, facts.split == "yes", facts.fitted == "yes", problem, ends)

    def _in_harness(self, chain: _Chain) -> BusTermination:
        """A resistor, or resistors in a row, between the lines. Ohms in vehicle.yaml are those of the part, or of the whole row."""
        typed = {part: self.facts.terminations[part] for part in chain.parts if part in self.facts.terminations}
        typed |= {
            full: facts
            for name, facts in self.facts.terminations.items()
            if (full := self.circuit.short_names.get(name, name)) in chain.parts
        }
        own = [self._resistor_ohms(part) for part in chain.parts]
        each = [
            ohms if ohms is not None else typed[part].ohms if part in typed else None
            for part, ohms in zip(chain.parts, own, strict=True)
        ]
        known = [ohms for ohms in each if ohms is not None]
        total = sum(known) if len(known) == len(each) else None
        problem = ""
        name = " + ".join(chain.parts)
        for part, ohms in zip(chain.parts, own, strict=True):
            stated = typed[part].ohms if part in typed else None
            if stated is not None and ohms is not None and stated not in (ohms, total):
                problem = (
                    f"termination {part}: {figures.ohms(stated)} in vehicle.yaml, {figures.ohms(ohms)} on its sheet"
                )
        if total is None:
            problem = problem or self._not_counted(name)
        split = len(chain.parts) > 1 or any(facts.split == "yes" for facts in typed.values())
        fitted = all(facts.fitted == "yes" for facts in typed.values())
        return BusTermination(name, False, total, split, fitted, problem, (chain.high, chain.low))

    def _not_counted(self, name: str) -> str:
        known_kinds = ("high-speed can", "fault-tolerant can")
        counted = self.facts.kind in known_kinds
        return f"termination {name}: its resistance is not typed in, so it is not counted" if counted else ""

    def _resistor_ohms(self, part: str) -> float | None:
        facts = self.circuit.parts[part].facts
        return facts.ohms if isinstance(facts, ResistorFacts) else None

    def _chains(self) -> Iterator[_Chain]:
        """Resistors between the lines, several in a row as one."""
        nets = self.lines.nets
        high, low = nets.get("H", frozenset()), nets.get("L", frozenset())
        of = self.lines.net_of
        resistors = [link for link in self.circuit.links if link.kind is LinkKind.RESISTOR]
        at: dict[int, list[Link]] = {}
        for link in resistors:
            for node in {link.a, link.b}:
                at.setdefault(of[node], []).append(link)
        for first in resistors:
            starts = [node for node in (first.a, first.b) if node in high]
            if len(starts) != 1:
                continue
            row, here, link = [first.part], first.b if first.a == starts[0] else first.a, first
            while here not in low and here not in high and len(at[of[here]]) == 2:
                link = next(one for one in at[of[here]] if one is not link)
                if link.part in row:
                    break
                row.append(link.part)
                here = link.b if of[link.a] == of[here] else link.a
            if here in low:
                yield _Chain(tuple(row), starts[0], here)
