"""The network of a vehicle as plain data, as a case keeps it: what every reading rests on, with all that may be wrong in it.

Kept are branches between numbered nodes with their ohms (node 0 is battery negative), and for each way of reading (key state, module plugged in or not, leads in
its plug) which of them are open, what pushes in them, and what each load amounts to at rest. Beside them stand the pieces that may fail: everything on the ways
of the list's rows and of what these rows need first, with what follows in relays and outputs when a piece opens. So a case predicts readings, with faults that
nobody thought of when it was opened, and needs no vehicle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from tracer.circuit.kinds import SWITCHED, LinkKind
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.changes import Changes, changes_of
from tracer.electrics.model.circuit_model import Model, NotSettled, Solved
from tracer.electrics.model.making import Draft, Shared
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.model.switching import Switching
from tracer.electrics.network.described import FloatArray, Network
from tracer.electrics.network.in_many_settings import Together
from tracer.electrics.network.linear import Solution, solve
from tracer.electrics.volts.rows import nominal_in_order
from tracer.entry.models import FuseFacts
from tracer.entry.problems import natural
from tracer.plan.names import full_name, point_name
from tracer.plan.side_by_side import in_series, pieces_of
from tracer.plan.steps import working_key
from tracer.standards.allowances import contact_ohm, opens_at
from tracer.trace.affects.still_fed import Opened
from tracer.trace.affects.targets import Target, target_of
from tracer.trace.lists.results import SupplyReport
from tracer.trace.panels.labels import position_in
from tracer.trace.tracing import Tracing

_SAME_SHARE = 0.03  # ohms that differ by less from one key state to the next are kept once
_DIGITS = 4
# A silicon diode as a line from 0.15 V under a meter to 0.75 V under a lamp of 21 W (from memory); what lies between is in `DIODE_OFF_V`, one sigma.
DIODE_V, DIODE_OHM, DIODE_OFF_V = 0.4, 0.2, 0.25
_MOST_FUSES = 3
_MOST_IN_PLUG = 24  # pins of a list up to which each pair may have changed places; of more the neighbours
_ON_WAY = 0.05  # of what flows through a short: a fuse that carries so much more lies on its way

Lead = tuple[str, str]


@dataclass(frozen=True, slots=True)
class _Base:
    """A way of reading: key state, module plugged in or not, and leads in its plug."""

    key: str
    plugged: bool
    leads: tuple[Lead, ...] = ()


@dataclass
class _Piece:
    """One thing that may fail: a link, in words, between two points; `opens`: the pins that lose their supply or ground when it does."""

    link: int
    what: str
    ends: Sequence[str]
    opens: set[str] = field(default_factory=set)


def kept_network(tracing: Tracing, report: SupplyReport, limits: LimitsInUse, leads: Iterable[tuple[str, tuple[Lead, ...]]], *, unplugged: bool = True) -> dict[str, Any]:  # fmt: skip
    """The network around a module; `leads` are pairs of a key state and the leads in the plug that some test of the plan wants there.

    A way of reading in which no steady voltages are found is left out; where there is none at all there is no network, and `why_not` says so.
    """
    maker = _Maker(tracing, report, limits)
    bases = [_Base(key, True) for key in report.keys]
    if unplugged:
        bases += [_Base(key, False) for key in report.keys]
        bases += [_Base(key, False, some) for key, some in dict.fromkeys(leads) if some]
    try:
        found = maker.made(bases)
    except NotSettled as error:
        return {"why_not": str(error)}
    return found if found["post"] is not None else {"why_not": "no battery and no rail that is live is typed in"}


class _Maker:
    def __init__(self, tracing: Tracing, report: SupplyReport, limits: LimitsInUse) -> None:
        self.tracing, self.circuit, self.report, self.limits = tracing, tracing.circuit, report, limits
        self.nodes: dict[int | str, int] = {}
        self.branches: dict[tuple[Any, ...], int] = {}
        self.ends: list[tuple[int, int]] = []
        self.ohm: list[float] = []
        self.ways: dict[str, list[int]] = {}
        self.pieces: dict[int, _Piece] = {}  # by link
        self._shared: dict[tuple[Any, ...], Shared] = {}
        self._find_pieces()

    def made(self, bases: Sequence[_Base]) -> dict[str, Any]:
        """Everything as plain data.

        Raises
        ------
        NotSettled : no steady voltages in any way of reading
        """
        solved, found, failed = [], [], ""
        for base in bases:
            try:
                solved.append(self._solved(base))
                found.append(base)
            except NotSettled as error:  # the others still say something
                failed = failed or str(error)
        if not solved:
            raise NotSettled(failed)
        bases = found
        self.nodes[solved[0][0].reference] = 0
        kept = [self._kept(base, *one) for base, one in zip(bases, solved, strict=True)]
        for data in kept:  # what is not there in one of them is open there
            data["open"] = [n for n in range(len(self.ohm)) if n not in data["closed"]]
            del data["closed"]
        pieces = [one for one in self.pieces.values() if ("link", one.link) in self.branches]
        place = {one.link: n for n, one in enumerate(pieces)}
        signs = {sign: n for n, sign in enumerate(dict.fromkeys(frozenset(one.opens) for one in pieces))}
        for base, data in zip(bases, kept, strict=True):
            data["follows"] = self._follows(base, pieces, signs)
        working = working_key(self.report)
        loaded = next((one for base, one in zip(bases, solved, strict=True) if base == _Base(working, True)), solved[0])
        return {
            "nodes": len(self.nodes), "ends": [node for pair in self.ends for node in pair], "ohm": [_rounded(ohm) for ohm in self.ohm], "post": self._post(solved[0]),
            "diodes": [n for key, n in self.branches.items() if key[0] == "link" and self.circuit.links[key[1]].kind is LinkKind.DIODE],
            "bases": kept,
            "pieces": [
                {
                    "what": one.what, "kind": self.circuit.links[one.link].kind.name.casefold(), "part": self.circuit.links[one.link].part or self._part_at(one.link),
                    "branch": self.branches["link", one.link], "ends": list(one.ends), "follow": signs[frozenset(one.opens)],
                }
                for one in pieces
            ]
            + list(self._clamp(solved[0])),
            "ways": {name: [place.get(link, -1) for link in links] for name, links in self.ways.items()},
            "at": {name: self.nodes[node] for name, node in self._points() if node in self.nodes},
            "outs": {part: sorted(self.branches["link", n] for n in links if ("link", n) in self.branches) for part, links in self._outs(pieces).items()},
            "blows": {str(place[link]): [place[fuse] for fuse in fuses if fuse in place] for link, fuses in self._blows(loaded).items() if link in place},
            "options": list(self._options()),
            "crossings": [[place[a], place[b]] for a, b in self._crossings(pieces)],
            "crossed_at_plug": list(self._crossed_at_plug(pieces, place)),
        }  # fmt: skip

    # --- the ways ----------------------------------------------------------------------------------------------------

    def _find_pieces(self) -> None:
        taken: dict[str, int] = {}
        for row in self.report.rows:
            node = self.circuit.pins_of.get(row.part, {}).get(row.pin)
            way = None if node is None else self.tracing.ways_to(node, row.level, row.part).to(node)
            if way is None:
                continue
            pieces, name = pieces_of(self.circuit, way), full_name(row)
            self.ways[name] = list(pieces)
            alone = set(in_series(self.tracing, way, ()))
            for link, piece in pieces.items():
                if link not in self.pieces:
                    longer = f"{piece.words.partition(' (')[0]} ({' to '.join(piece.ends)})"
                    what = piece.words if taken.setdefault(piece.words, link) == link else longer
                    self.pieces[link] = _Piece(link, what, piece.ends)
                if link in alone:
                    self.pieces[link].opens.add(name)
        relays = {self.circuit.links[link].part for link in self.pieces if self.circuit.links[link].kind is LinkKind.CONTACT}  # fmt: skip
        for number, coil in enumerate(self.circuit.links):
            if coil.kind is LinkKind.COIL and coil.part in relays:
                ends = [point_name(self.circuit.node_names[node]) for node in (coil.a, coil.b)]
                self.pieces[number] = _Piece(number, f"coil of {coil.part}", ends, {f"coil {number}"})

    def _part_at(self, link: int) -> str:
        """The connector that a cavity belongs to."""
        one = self.circuit.links[link]
        return self.circuit.node_parts[one.a] if one.kind is LinkKind.MATING else ""

    def _points(self) -> Iterator[tuple[str, int]]:
        names = {name: node for node, name in enumerate(self.circuit.node_names)}
        for row in self.report.rows:
            for probe in row.probes:
                if probe.kind != "battery post":  # what is read there is the battery
                    yield point_name(probe.at), names[probe.at]
            node = self.circuit.pins_of.get(row.part, {}).get(row.pin)
            if node is not None:
                yield full_name(row), node

    def _outs(self, pieces: Iterable[_Piece]) -> dict[str, frozenset[int]]:
        """What opens when a part on a way is pulled, unplugged, cut or loosened."""
        found: dict[str, frozenset[int]] = {}
        for one in pieces:
            here = self.circuit.links[one.link]
            for name in dict.fromkeys((here.part, *(self.circuit.node_parts[node] for node in (here.a, here.b)))):
                if name in self.circuit.parts and name not in found:
                    opened = target_of(self.circuit, name).opened
                    found[name] = opened.links.union(n for node in opened.nodes for n in self.circuit.at[node])
        return found

    def _options(self) -> Iterator[dict[str, Any]]:
        """Fuses on the ways that are an option of the equipment and not fitted here, or may sit in place of one that is: what they would join."""
        on_way = {self.circuit.links[link].part for link in self.pieces}
        for part in self.circuit.parts.values():
            if not isinstance(part.facts, FuseFacts) or not self.circuit.is_not_fitted(part.name):
                continue
            other = position_in(self.circuit, part.panel, part.facts.or_) if part.facts.or_ is not None else None
            ends = [self.nodes[node] for node in self.circuit.pins_of.get(part.name, {}).values() if node in self.nodes]
            if (part.name in on_way or other in on_way) and len(ends) == 2:
                yield {"part": part.name, "instead": other or "", "ends": ends}

    def _crossings(self, pieces: Iterable[_Piece]) -> Iterator[tuple[int, int]]:
        """Neighbouring cavities of a connector, by their number."""
        by_part: dict[str, list[tuple[Any, int]]] = {}
        for one in pieces:
            link = self.circuit.links[one.link]
            if link.kind is LinkKind.MATING:
                pin = self.circuit.cavity_of(link.a).rpartition(".")[2]
                by_part.setdefault(self.circuit.node_parts[link.a], []).append((natural(pin), one.link))
        for found in by_part.values():
            yield from ((a, b) for (_, a), (_, b) in pairwise(sorted(found)))

    def _crossed_at_plug(self, pieces: Sequence[_Piece], place: Mapping[int, int]) -> Iterator[dict[str, Any]]:
        """Pairs of wires that may have changed places in the plug of the module, and in which connectors on both ways they may have done so as well.

        What is read at the plug is the same wherever two ways changed places; of a connector in which they are no neighbours nothing else says so.
        """
        told = [{a, b} for a, b in self._crossings(pieces)]
        wires = list(self._wires_at_plug())
        for n, (pin, wire, far) in enumerate(wires):
            for apart, (other_pin, other, other_far) in enumerate(
                wires[n + 1 : None if len(wires) <= _MOST_IN_PLUG else n + 2]
            ):
                nodes = [self.nodes.get(node, -1) for node in (far, other_pin, other_far, pin)]
                if wire == other or wire not in place or other not in place or -1 in nodes:
                    continue
                here, there = (self._contacts_before(one) for one in (pin, other_pin))
                elsewhere = [
                    part
                    for part in sorted(here.keys() & there.keys(), key=natural)
                    if any(a != b and {a, b} not in told for a in here[part] for b in there[part])
                ]
                yield {
                    "pieces": [place[wire], place[other]],
                    "joins": [nodes[:2], nodes[2:]],
                    "what": [point_name(self.circuit.node_names[node]) for node in (pin, other_pin)],
                    "elsewhere": elsewhere,
                    "neighbours": not apart,
                }

    def _wires_at_plug(self) -> Iterator[tuple[int, int, int]]:
        """Each pin of the list, in order of its number, that one wire leads to: the pin, the wire, what is at its other end."""
        module = self.report.module
        pins = {row.pin: self.circuit.pins_of[module][row.pin] for row in self.report.rows if row.part == module and full_name(row) in self.ways}  # fmt: skip
        for pin in sorted(pins, key=natural):
            node = pins[pin]
            wires = [
                n for n in self.circuit.at[node] if n in self.pieces and self.circuit.links[n].kind is LinkKind.WIRE
            ]
            if len(wires) == 1:
                yield node, wires[0], self.circuit.other(self.circuit.links[wires[0]], node)

    def _contacts_before(self, pin: int) -> dict[str, set[int]]:
        """By connector the contacts on the ways to a pin of the module."""
        found: dict[str, set[int]] = {}
        for row in self.report.rows:
            if row.part == self.report.module and self.circuit.pins_of[row.part][row.pin] == pin:
                for link in self.ways.get(full_name(row), ()):
                    if self.circuit.links[link].kind is LinkKind.MATING:
                        found.setdefault(self._part_at(link), set()).add(link)
        return found

    # --- the networks ------------------------------------------------------------------------------------------------

    def _solved(self, base: _Base) -> tuple[Model, Solved]:
        changes = self._changes(base)
        made = model_of(self.tracing, base.key, changes, limits=self.limits, first=self.report.module)
        together, nominal = nominal_in_order(Together([made], asked=()), {})
        return together.models[0], together.solved(nominal, 0)

    def _changes(self, base: _Base) -> Changes:
        module = self.report.module
        return changes_of(
            self.circuit,
            unplugged=() if base.plugged else (module,),
            pulled=[f"{module}.{pin}" for pin, _ in base.leads],
        )

    def _post(self, solved: tuple[Model, Solved]) -> int | None:
        model, state = solved
        volts = {one: float(state.node_v[one]) for one in model.posts}
        post = max(volts, key=lambda one: volts[one] if math.isfinite(volts[one]) else 0.0, default=None)
        return None if post is None else self.nodes[post]

    def _clamp(self, solved: tuple[Model, Solved]) -> Iterator[dict[str, Any]]:
        """The clamp on the post: what is on no way, since no way runs through the battery, and takes all of them along."""
        post = self._post(solved)
        for key, number in self.branches.items():
            if key[0] == "battery" and self.ends[number][1] == post:
                at = f"{key[1]}.+"
                yield {"what": f"clamp at {at}", "kind": "clamp", "part": key[1], "branch": number, "ends": [at, at], "follow": -1}  # fmt: skip

    def _kept(self, base: _Base, model: Model, state: Solved) -> dict[str, Any]:
        network = _with_large_diodes(model, state.solution.network)
        plain = len(model.branches)
        closed: set[int] = set()
        ohm: dict[str, float] = {}
        push: dict[str, float] = {}
        seen: dict[tuple[Any, ...], int] = {}
        for n, (a, b) in enumerate(network.ends.tolist()):
            key = self._key(model, n, plain, a, b)
            seen[key] = seen.get(key, -1) + 1
            if seen[key]:
                key = (*key, seen[key])
            number = self._branch(model, key, a, b, 1.0 / float(network.conductance_s[n]))
            if network.closed[n]:
                closed.add(number)
                value = 1.0 / float(network.conductance_s[n])
                if abs(value / self.ohm[number] - 1.0) > _SAME_SHARE:
                    ohm[str(number)] = _rounded(value)
            if network.source_v[n]:
                push[str(number)] = round(float(network.source_v[n]), 4)
        return {"key": base.key, "plugged": base.plugged, "leads": [list(lead) for lead in base.leads], "closed": closed, "ohm": ohm, "push": push}  # fmt: skip

    def _key(self, model: Model, n: int, plain: int, a: int, b: int) -> tuple[Any, ...]:
        if n >= plain:
            draw = model.draws[n - plain]
            return "draw", draw.name, model.node_names[a], model.node_names[b]
        branch = model.branches[n]
        if branch.link >= 0:
            return "link", branch.link
        return branch.kind, branch.part, model.node_names[a], model.node_names[b]

    def _branch(self, model: Model, key: tuple[Any, ...], a: int, b: int, ohm: float) -> int:
        if key not in self.branches:
            self.branches[key] = len(self.ohm)
            self.ends.append((self._node(model, a), self._node(model, b)))
            self.ohm.append(ohm)
        return self.branches[key]

    def _node(self, model: Model, node: int) -> int:
        known = node if node < len(self.circuit.node_names) else model.node_names[node]
        return self.nodes.setdefault(known, len(self.nodes))

    # --- what follows ------------------------------------------------------------------------------------------------

    def _follows(self, base: _Base, pieces: Sequence[_Piece], signs: Mapping[frozenset[str], int]) -> dict[str, list[list[int]]]:  # fmt: skip
        """What a piece that opens switches: by the number of what loses its supply or ground, the branches that open and those that close then."""
        own = {full_name(row) for row in self.report.rows if row.part == self.report.module}
        before = self._closed(base, None)
        found: dict[str, list[list[int]]] = {}
        known: dict[frozenset[str], list[list[int]]] = {}
        first = {frozenset(one.opens): one for one in reversed(pieces)}
        for sign, number in signs.items():
            matters = sign if base.plugged else sign - own
            if not matters:
                continue
            if matters not in known:
                after = self._closed(base, first[sign].link)
                turned = [n for n in before if n != first[sign].link and before[n] != after.get(n, before[n]) and ("link", n) in self.branches]  # fmt: skip
                known[matters] = [[self.branches["link", n] for n in turned if before[n] == how] for how in (True, False)]  # fmt: skip
            if any(known[matters]):
                found[str(number)] = known[matters]
        return found

    def _closed(self, base: _Base, opened: int | None) -> dict[int, bool]:
        """Whether each contact and output conducts, with one link open."""
        changes = self._changes(base)
        if opened is not None:
            target = Target("", "wire", (), Opened(frozenset({opened}), frozenset()), "")
            changes = Changes(opened=(target,), unplugged=changes.unplugged, pulled=changes.pulled)
        kept = "", "" if opened is None else str(opened), base.plugged, base.leads
        shared = self._shared.setdefault(kept, Shared())
        switching = Switching(Draft(self.tracing, base.key, changes, self.limits), shared)
        return {n: switching.closed(link) for n, link in enumerate(self.circuit.links) if link.kind in SWITCHED and n not in switching.open_links}  # fmt: skip

    def _blows(self, loaded: tuple[Model, Solved]) -> dict[int, list[int]]:
        """For each piece of a supply the fuses that a short to ground there opens, one after another: of those that it flows over the one that carries the highest multiple of its rating."""
        import numpy as np

        model, state = loaded
        fuses, rated_a = [], []
        for n, branch in enumerate(model.branches):
            facts = self.circuit.parts[branch.part].facts if branch.part in self.circuit.parts else None
            if branch.link >= 0 and branch.closed and isinstance(facts, FuseFacts) and facts.amps and self.circuit.links[branch.link].kind is LinkKind.FUSE:  # fmt: skip
                fuses.append(n)
                rated_a.append(facts.amps)
        whole = _with_large_diodes(model, state.solution.network)
        solved: dict[tuple[int, ...], Solution] = {(): solve(whole)}
        found: dict[int, list[int]] = {}
        for link in self.pieces if fuses else ():
            node, opened = self.circuit.links[link].b, tuple[int, ...]()
            if self.circuit.links[link].kind is LinkKind.COIL or not state.node_v[node] > model.limits.system_v / 2:
                continue
            while len(opened) < _MOST_FUSES:
                if opened not in solved:
                    solved[opened] = solve(whole.opened(list(opened)))
                more_a, shorted_a = _in_fuses(solved[opened], node, fuses)
                multiple = np.where(more_a >= _ON_WAY * shorted_a, more_a / np.array(rated_a), 0.0)
                best = int(np.argmax(multiple))
                if multiple[best] < opens_at().value:
                    break
                opened = tuple(sorted((*opened, fuses[best])))
            found[link] = [model.branches[n].link for n in opened]
        return found


def _with_large_diodes(model: Model, network: Network) -> Network:
    """The network with every diode as one line between what a meter and what a lamp sees of it, where the model has its tangent at what flows there in order."""
    diodes = [n for n, branch in enumerate(model.branches) if branch.is_diode]
    conductance_s, source_v = network.conductance_s.copy(), network.source_v.copy()
    conductance_s[diodes], source_v[diodes] = 1.0 / DIODE_OHM, -DIODE_V
    return network.with_conductances(conductance_s, source_v)


def _in_fuses(state: Solution, node: int, fuses: Sequence[int]) -> tuple[FloatArray, float]:
    """What a short to ground at a node makes some branches carry besides, and what flows through it."""
    import numpy as np

    if np.isnan(state.node_v[node]):
        return np.zeros(len(fuses)), 1.0
    push: FloatArray = np.zeros(state.network.node_count)
    push[node] = 1.0
    seen = state.factor.respond(push)
    shorted_a = float(state.node_v[node]) / (float(seen[node]) + contact_ohm("short circuit").nominal)
    a, b = state.network.ends[fuses].T
    closed_s = np.where(state.network.closed[fuses], state.network.conductance_s[fuses], 0.0)
    return np.abs(closed_s * (seen[a] - seen[b]) * shorted_a), shorted_a


def _rounded(ohm: float) -> float:
    return float(f"{ohm:.{_DIGITS}g}")


__all__ = ["DIODE_OFF_V", "DIODE_V", "kept_network"]
