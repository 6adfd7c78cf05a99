"""What every reading would be with each fault: the kept network solved for all of them together.

Each fault is a network of its own with the same branches, of which a few have other ohms: open ones as good as none, new ones (a short, crossed cavities) as good
as none in all others. Nodes are taken out one after another in all networks together, by sums of positive conductances only, so a gigohm beside a milliohm
costs no digit and no case of its own. What no fault touches is taken out once for all. Loads are the resistors that they amount to at rest, which a fault
changes; so what a fault moves is known to within a share, which `likely.py` allows for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from tracer.diagnose.faults import STUCK_OHM, Atom, Faults
from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.network.elimination import Elimination, Reduction, elimination_of
from tracer.electrics.network.load_laws import FilamentLamp, LoadLaws
from tracer.standards import figures
from tracer.standards.allowances import meter

_OPEN_S = 1e-10
_LEAK_S = 1e-9  # at every node, so that what floats has some volts
FLOATS_OHM = 3e6  # what a meter looks into behind an open way
_DIODE_TURNS = 6
_BACKWARDS_A, _FORWARDS_V = 1e-6, 1e-3
_BLOCK = 600  # faults side by side


@dataclass(frozen=True, slots=True)
class Setting:
    """A way of reading: the number of a base of the kept network, parts that are out, pieces beside which a fused lead lies, and pieces that are sound for certain."""

    base: int
    out: tuple[str, ...] = ()
    bridged: tuple[int, ...] = ()
    sound: tuple[int, ...] = ()


@dataclass(frozen=True)
class PredictedRow:
    """(k,) volts at a point with each of k faults: by a meter alone, and with a lamp (None without one); `floats` where the point hangs on nothing, `post_v` at the battery."""

    bare_v: FloatArray
    lit_v: FloatArray | None
    floats: BoolArray
    post_v: FloatArray

    def said(self, atom: int) -> str:
        """What is expected with one of them, in words."""
        if self.floats[atom]:
            return "hanging on nothing"
        shown = self.bare_v[atom] if self.lit_v is None else self.lit_v[atom]
        return figures.volts(float(shown)) + ("" if self.lit_v is None else " with the lamp")

    @property
    def moved_v(self) -> FloatArray | None:
        """By how much the lamp moves the point towards its other end."""
        return None if self.lit_v is None else np.abs(self.bare_v - self.lit_v)


class Predicted:
    """The network of a case with each of its faults."""

    def __init__(self, network: Mapping[str, Any], faults: Faults, system_v: float) -> None:
        self.network, self.faults, self.system_v = network, faults, system_v
        plain = np.array(network["ends"], dtype=np.intp).reshape(-1, 2)
        joins = faults.joins
        self.join_of = {pair: len(plain) + n for n, pair in enumerate(joins)}
        self.ends: IntArray = np.concatenate([plain, np.array(joins, dtype=np.intp).reshape(-1, 2)])
        self.piece_branch = [piece["branch"] for piece in network["pieces"]]
        self.diodes: list[int] = network["diodes"]
        self._settings: dict[Setting, Blocks] = {}

    @cached_property
    def touched(self) -> IntArray:
        """Branches that some fault, or what follows from it, changes."""
        follows = (n for base in self.network["bases"] for two in base["follows"].values() for one in two for n in one)
        return np.array(sorted({*self.piece_branch, *self.diodes, *follows, *self.join_of.values()}), dtype=np.intp)

    @cached_property
    def order(self) -> Elimination:
        """In which order nodes are taken out: the same in every setting."""
        pushes = [int(n) for base in self.network["bases"] for n in base["push"]]
        post = self.network["post"]
        late = {*self.ends[self.touched].ravel().tolist(), *self.ends[pushes].ravel().tolist(), *self.network["at"].values()}  # fmt: skip
        late = (late | ({post} if post is not None else set())) - {0}
        count = self.network["nodes"]
        return elimination_of(count, self.ends, 0, late=np.array(sorted(late), dtype=np.intp), leaks=range(1, count))

    def at(self, setting: Setting) -> Blocks:
        """The network in a setting with every fault."""
        if setting not in self._settings:
            atoms = self.faults.atoms
            here = [
                n for n, atom in enumerate(atoms) if atom.on_ways
            ]  # what is wrong with a bus alone leaves all as it is
            column = np.zeros(len(atoms), dtype=np.intp)
            column[here] = np.arange(1, len(here) + 1)
            solved = [Atom(0, 1.0), *(atoms[n] for n in here)]
            begin = range(0, len(solved), _BLOCK)
            self._settings[setting] = Blocks([_Solved(self, setting, solved[n : n + _BLOCK]) for n in begin], column)
        return self._settings[setting]

    def some(self, setting: Setting, atoms: Sequence[Atom]) -> _Solved:
        """The network in a setting with some faults only."""
        return _Solved(self, setting, atoms)


@dataclass(frozen=True)
class Blocks:
    """The network in one setting with many faults, so many at a time that the arrays stay small."""

    blocks: Sequence[_Solved]
    column: IntArray  # which of those that are solved each fault is

    def row(self, name: str, level: str, lamp_w: float | None) -> PredictedRow | None:
        """What is read at a point or row by its name; None where it is on no kept way."""
        found = [block.row(name, level, lamp_w) for block in self.blocks]
        some = [one for one in found if one is not None]
        if len(some) != len(found):
            return None
        lit = [one.lit_v for one in some if one.lit_v is not None]
        return PredictedRow(
            np.concatenate([one.bare_v for one in some])[self.column], np.concatenate(lit)[self.column] if lit else None,
            np.concatenate([one.floats for one in some])[self.column], np.concatenate([one.post_v for one in some])[self.column],
        )  # fmt: skip


@dataclass
class _Solved:
    """The network in one setting, with k faults side by side."""

    of: Predicted
    setting: Setting
    atoms: Sequence[Atom]
    _volts: dict[tuple[int, ...], FloatArray] = field(default_factory=dict)

    def row(self, name: str, level: str, lamp_w: float | None) -> PredictedRow | None:
        """What is read at a point or row by its name; None where it is on no kept way."""
        node = self.of.network["at"].get(name)
        return None if node is None else self.of_nodes([node], level, lamp_w)[0]

    def of_nodes(self, nodes: Sequence[int], level: str, lamp_w: float | None) -> list[PredictedRow]:
        """What is read at each of some nodes."""
        post = self.of.network["post"] if self.of.network["post"] is not None else 0
        volts, seen = self.volts, self._seen(nodes, level, post)
        found = []
        for n, node in enumerate(nodes):
            row, post_row = self._late_row[node], self._late_row[post]
            # what an ampere from the lamp lifts the point by, and by how much more than its other end: the lamp sees that
            lifts, lamp_ohm = seen[row, :, n], seen[row, :, n]
            if level == "ground":
                lamp_ohm = seen[row, :, n] - seen[post_row, :, n]
            floats = np.abs(lamp_ohm) > FLOATS_OHM
            bare_v = volts[row] / (1.0 + np.abs(lifts) / meter("input resistance").value)
            lit_v = None
            if lamp_w is not None:
                free_v = volts[row] if level == "supply" else volts[post_row] - volts[row]
                lamp = LoadLaws.of([FilamentLamp(0, 0, self.of.system_v, lamp_w).law])
                amps = lamp.behind_a(free_v, np.abs(lamp_ohm))
                lit_v = volts[row] - lifts * amps if level == "supply" else volts[row] + lifts * amps
            found.append(PredictedRow(bare_v, lit_v, floats, volts[post_row]))
        return found

    # --- solving -----------------------------------------------------------------------------------------------------

    @cached_property
    def volts(self) -> FloatArray:
        """(late nodes and the reference, k) volts, with diodes that conduct or block as they must."""
        return self._at_rest[1]

    @cached_property
    def _at_rest(self) -> tuple[Reduction, FloatArray]:
        of, diodes = self.of, np.array(self.of.diodes, dtype=np.intp)
        rows = np.searchsorted(of.touched, diodes)
        conductance_s = self._conductance_s.copy()
        conducts_s = conductance_s[rows]
        push = np.array([self._pushes.get(int(n), 0.0) for n in diodes])[:, np.newaxis]
        blocked = np.isin(diodes, of.network["bases"][self.setting.base]["open"])
        on = np.repeat(~blocked[:, np.newaxis], len(self.atoms), axis=1)
        for turn in range(_DIODE_TURNS):
            conductance_s[rows] = np.where(on, conducts_s, _OPEN_S)
            reduction = self._reduced(conductance_s)
            volts = self._solved(reduction, conductance_s)
            a, b = (self._late_row[of.ends[diodes, end]] for end in (0, 1))
            forward_v = volts[a] - volts[b] + push
            amps = forward_v * conducts_s
            # into what hangs on nothing it conducts no more than that has volts
            backwards = (amps < -_BACKWARDS_A) | ((volts[b] < -_FORWARDS_V) & (amps < _BACKWARDS_A))
            wrong = np.where(on, backwards, forward_v > _FORWARDS_V)
            wrong &= conducts_s > _OPEN_S  # not taken out
            if not np.any(wrong) or turn == _DIODE_TURNS - 1:
                break
            on ^= wrong
        return reduction, volts

    @cached_property
    def _pushes(self) -> dict[int, float]:
        return {int(n): volts for n, volts in self.of.network["bases"][self.setting.base]["push"].items()}

    @cached_property
    def _base_s(self) -> FloatArray:
        """(m,) siemens of every branch with nothing wrong."""
        of = self.of
        base = of.network["bases"][self.setting.base]
        ohm = np.array(of.network["ohm"])
        for n, value in base["ohm"].items():
            ohm[int(n)] = value
        found = np.full(len(of.ends), _OPEN_S)
        found[: ohm.size] = 1.0 / ohm
        found[[n for n in base["open"] if n not in of.diodes]] = _OPEN_S  # whether a diode conducts is found out
        opened = [n for part in self.setting.out for n in of.network["outs"].get(part, ())]
        gone = set(opened)
        for piece in of.network["pieces"]:
            if piece["branch"] in gone:
                self._follow(found, piece)
        found[opened] = _OPEN_S
        return found

    def _follow(self, siemens: FloatArray, piece: Mapping[str, Any]) -> None:
        """Let the contacts follow when a piece opens."""
        network = self.of.network
        opens, closes = network["bases"][self.setting.base]["follows"].get(str(piece["follow"]), ((), ()))
        siemens[list(opens)] = _OPEN_S
        siemens[list(closes)] = [1.0 / network["ohm"][n] for n in closes]

    @cached_property
    def _conductance_s(self) -> FloatArray:
        """(touched branches, k) siemens."""
        of, base_s = self.of, self._base_s
        whole = np.repeat(base_s[of.touched, np.newaxis], len(self.atoms), axis=1)
        place = {int(n): row for row, n in enumerate(of.touched)}
        pieces = of.network["pieces"]
        follows = of.network["bases"][self.setting.base]["follows"]
        sound = self.setting.sound
        for column, atom in enumerate(self.atoms):
            for n in atom.opens if not sound else [n for n in atom.opens if n not in sound]:
                opens, closes = follows.get(str(pieces[n]["follow"]), ((), ()))
                for branch in opens:
                    whole[place[branch], column] = _OPEN_S
                for branch in closes:
                    whole[place[branch], column] = 1.0 / of.network["ohm"][branch]
            for n in atom.closes if not sound else [n for n in atom.closes if n not in sound]:
                whole[place[of.piece_branch[n]], column] = 1.0 / STUCK_OHM
            for n, ohm in atom.adds if not sound else [one for one in atom.adds if one[0] not in sound]:
                row = place[of.piece_branch[n]]
                whole[row, column] = 1.0 / (1.0 / whole[row, column] + ohm)
            for n in atom.opens:
                if n not in self.setting.sound:
                    whole[place[of.piece_branch[n]], column] = _OPEN_S
            for a, b, ohm in atom.joins:
                whole[place[of.join_of[a, b]], column] = 1.0 / ohm
        for n in self.setting.bridged:  # beside whatever is there
            whole[place[of.piece_branch[n]]] += 1.0 / STUCK_OHM
        return whole

    def _reduced(self, conductance_s: FloatArray) -> Reduction:
        order = self.of.order
        edge_s, first_late = self._early
        late_s = np.zeros((order.late_edge_count, len(self.atoms)))
        late_s[: order.late_edge.size] = edge_s[:, np.newaxis]
        np.add.at(late_s, first_late, conductance_s)
        return order.reduce_late(late_s)

    @cached_property
    def _early(self) -> tuple[FloatArray, IntArray]:
        """Siemens of the edges that are left when what no fault touches is taken out, and which of them each touched branch is."""
        of, order = self.of, self.of.order
        plain = self._base_s.copy()
        plain[of.touched] = 0.0
        leaks = np.full(order.edge_of.size - plain.size, _LEAK_S)
        edge_s = np.zeros((order.edge_count, 1))
        real = order.edge_of >= 0
        np.add.at(edge_s[:, 0], order.edge_of[real], np.concatenate([plain, leaks])[real])
        order.reduce_early(edge_s)
        place = np.full(order.edge_count, -1, dtype=np.intp)
        place[order.late_edge] = np.arange(order.late_edge.size)
        return edge_s[order.late_edge, 0], place[order.edge_of[of.touched]]

    def _solved(self, reduction: Reduction, conductance_s: FloatArray) -> FloatArray:
        of = self.of
        values = np.zeros((of.order.late_node.size + 1, len(self.atoms)))
        place = {int(n): row for row, n in enumerate(of.touched)}
        for branch, volts in self._pushes.items():
            siemens = conductance_s[place[branch]] if branch in place else self._base_s[branch]
            a, b = of.ends[branch].tolist()
            values[self._late_row[a]] -= volts * siemens
            values[self._late_row[b]] += volts * siemens
        return reduction.solve(values)

    def _seen(self, nodes: Sequence[int], level: str, post: int) -> FloatArray:
        """(late nodes, k, points) by how much an ampere into each point, of a ground out of the post, lifts every node."""
        key = (*nodes, -1 if level == "ground" else -2)
        if key not in self._volts:
            values = np.zeros((self.of.order.late_node.size + 1, len(self.atoms), len(nodes)))
            for n, node in enumerate(nodes):
                values[self._late_row[node], :, n] += 1.0
                if level == "ground":
                    values[self._late_row[post], :, n] -= 1.0
            self._volts[key] = self._at_rest[0].solve(values)
        return self._volts[key]

    @cached_property
    def _late_row(self) -> IntArray:
        order = self.of.order
        rows = np.full(order.node_count, -1, dtype=np.intp)
        rows[order.late_node] = np.arange(order.late_node.size)
        rows[0] = order.late_node.size
        return rows


__all__ = ["FLOATS_OHM", "Predicted", "PredictedRow", "Setting"]
