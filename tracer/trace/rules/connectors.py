"""In-line connectors that a run may have left out: cavities that must be used, and no run goes through them."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.halves import Key, harness_pieces, leads_to
from tracer.circuit.kinds import PARTS, PartKind
from tracer.circuit.model import Circuit
from tracer.circuit.wires import cavities_in_no_run
from tracer.entry.models import ConnectorFacts
from tracer.entry.problems import listed, natural
from tracer.trace.rules.registry import Finding, rule
from tracer.trace.tracing import Tracing

_HEAD = "parts: {ALM: {is: module, cavities: [4], pins: {4: supply}}, BAT: battery, F9: {is: fuse, amps: 10}"


@rule(
    "L154",
    "in-line cavity without a run",
    why="The connector is said to have the cavity and to use it, and no run goes through it: a run may have been typed past the connector, and its probe points are missing.",
    fix="Look which wire goes through it and type it in (`-- X3.2 --`); or list the cavity under `unused`. Who types part of a connector only leaves `cavities` out.",
    bad=_HEAD
    + ", X3: {is: connector, cavities: 1-2}}  # L154\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- X3.1 -- RD 1 -- ALM.4\n",
    good=_HEAD
    + ", X3: {is: connector, cavities: 1-2, unused: 2}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- X3.1 -- RD 1 -- ALM.4\n",
)
def cavity_without_run(tracing: Tracing) -> Iterator[Finding]:
    """Cavities of an in-line connector that are neither in a run nor unused.

    It concerns what goes past the connector from one of its harnesses to the other; and where that does not make up for all of them, what goes through it.
    """
    circuit = tracing.circuit
    harnesses: _Harnesses | None = None
    for part in circuit.parts.values():
        facts = part.facts
        if not isinstance(facts, ConnectorFacts):
            continue
        pins = circuit.pins_of.get(part.name, {})
        missing = cavities_in_no_run(part, circuit.pins_of.get(part.name, {}).__contains__)
        if not missing:
            continue
        harnesses = harnesses or _Harnesses(circuit)
        past = harnesses.past(part.name)
        nodes = [node for piece in past for node in _own_nodes(circuit, piece)]
        if len(missing) > sum(_surely_past(circuit, piece) for piece in past):
            # wires that go past the connector do not make up for all of them: by its own count some wire goes through it, and nobody knows which
            nodes += pins.values()
        if not pins:
            nodes += _in_its_harnesses(circuit, facts)
        one = len(missing) == 1
        names = listed([f"{part.name}.{cavity}" for cavity in sorted(missing, key=natural)], joiner="and")
        message = (
            f"{'cavity' if one else 'cavities'} {names} {'is' if one else 'are'} neither in a run nor listed as unused"
        )
        if past:
            wires = sorted({_words(circuit, piece) for piece in past})
            message += f"; past the connector, from one of its harnesses to the other, {'goes' if len(wires) == 1 else 'go'} {listed(wires, most=3, joiner='and')}"
        yield Finding(part.place_of("cavities"), part.name, message, "", tuple(dict.fromkeys(nodes)))


def _surely_past(circuit: Circuit, piece: list[int]) -> bool:
    """Whether a piece that leads from one harness to the other ends at no further connector, which might join the two as well."""
    parts = (circuit.part_at(node) for number in piece for node in (circuit.links[number].a, circuit.links[number].b))
    return all(part is None or part.kind is not PartKind.CONNECTOR for part in parts)


class _Harnesses:
    """The pieces of harness of a circuit, and where each of them leads; worked out once for all connectors."""

    def __init__(self, circuit: Circuit) -> None:
        self.pieces = harness_pieces(circuit.links, circuit.parts, circuit.node_parts)
        self.leads = [set(leads_to(piece, circuit.links, circuit.parts, circuit.node_parts)) for piece in self.pieces]
        self.leading_to: dict[Key, list[int]] = {}
        self.at_half: dict[tuple[str, str], set[int]] = {}
        for number, (piece, keys) in enumerate(zip(self.pieces, self.leads, strict=True)):
            for key in keys:
                self.leading_to.setdefault(key, []).append(number)
            for link in piece:
                for node in (circuit.links[link].a, circuit.links[link].b):
                    name = circuit.node_parts[node]
                    if name in circuit.parts and circuit.parts[name].kind is PartKind.CONNECTOR:
                        self.at_half.setdefault((name, circuit.node_pins[node][-1]), set()).add(number)

    def past(self, connector: str) -> list[list[int]]:
        """The pieces that lead from what only one half of a connector leads to, to what only the other half leads to."""
        sides = [
            {key for number in self.at_half.get((connector, half), ()) for key in self.leads[number]}
            - {("2 connector", connector)}
            for half in "ab"
        ]
        only_a, only_b = sides[0] - sides[1], sides[1] - sides[0]
        from_a = {number for key in only_a for number in self.leading_to[key]}
        return [self.pieces[number] for number in sorted(from_a) if self.leads[number] & only_b]


def _in_its_harnesses(circuit: Circuit, facts: ConnectorFacts) -> list[int]:
    """Halves of other connectors in a harness of a connector that is in no run."""
    found = []
    for node in circuit.told_halves:
        other = circuit.parts[circuit.node_parts[node]].facts
        assert isinstance(other, ConnectorFacts)
        if len(other.halves) == 2 and other.halves["ab".index(circuit.node_pins[node][-1])] in facts.halves:
            found.append(node)
    return sorted(found)


def _own_nodes(circuit: Circuit, piece: list[int]) -> list[int]:
    """The ends of a piece of harness that are not a source, a ground point or a rail, where every list meets."""
    ends = dict.fromkeys(node for number in piece for node in (circuit.links[number].a, circuit.links[number].b))
    return [node for node in ends if not _meets_every_list(circuit, node)]


def _meets_every_list(circuit: Circuit, node: int) -> bool:
    part = circuit.part_at(node)
    return (
        PARTS[part.kind].many_harnesses if part else bool(circuit.node_parts[node])
    )  # a rail; a reference is of no part


def _words(circuit: Circuit, piece: list[int]) -> str:
    link = circuit.links[piece[0]]
    return f"{circuit.wire_of(link).text} from {circuit.cavity_of(link.a)} to {circuit.cavity_of(link.b)}"
