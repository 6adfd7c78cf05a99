"""Models of one circuit solved in many settings at once, every key state together.

The branches of a circuit are the same in every key state and setting; their values, and which of them are closed, are not. So the nodes are taken out once for
all of them (see `elimination`): first those on which no load ends, which stays as it is while the loads come to rest, then the others, once for each step of the
loads. Every state found is held against the current sums of the whole network, branch by branch and with the true currents of the loads, so what is found is as
exact as `linear.solve`; a constant-power load cannot come to rest at its lower operating point, where a step leads away. What finds no rest here is left to
`model.rest`, which looks for it with more care and says what stands in the way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from tracer.electrics.model.branches import Sampled, Setting
from tracer.electrics.model.circuit_model import Model, Solved
from tracer.electrics.model.rest import BACKWARDS_A, FORWARDS_V, Rest
from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.network.elimination import Reduction
from tracer.electrics.network.factor import islands_of
from tracer.electrics.network.linear import limit_of_correction_v
from tracer.electrics.network.load_laws import LoadLaws
from tracer.electrics.network.needed import Needed
from tracer.electrics.network.reduced import RESTING_V, Block, Flows, Plan, with_loads_at_rest

__all__ = ["Case", "Islands", "States", "Together", "alike"]

Case = tuple[int, Setting | Sampled]
"""The number of a model, and the setting it is solved in."""

_CELLS = 240_000  # of an array of branches by settings that is worked on at a time: what a processor keeps at hand (measured)
_DIODE_TURNS = 24  # of which the second half turns one diode of a setting at a time: all at once is quick, but may go round in circles
_REFINEMENTS = 4
_LEAK_S = 1.0  # of an island that floats, at its lowest node; no current flows there, whatever it is


@dataclass(frozen=True, eq=False)
class Islands:
    """What falls apart by which branches are closed: (n,) `island`, the lowest node of the island that each node is in, and whether it is `floating`."""

    island: IntArray
    floating: BoolArray


_NO_ISLANDS = Islands(np.empty(0, dtype=np.intp), np.empty(0, dtype=np.bool_))  # until it is looked for


@dataclass(frozen=True, eq=False)
class States:
    """Models at rest in s settings, one a column.

    Attributes
    ----------
    model : (s,) number of the model
    islands : of the network in each
    closed : (m, s) of the model's own branches
    conductance_s, source_v, branch_a : (m, s); 0 S and 0 A where open
    potential_v : (n, s) against battery negative; in a floating island against its own lowest node
    laws : (4, k, s), see `LoadLaws`
    drop_v : (k, s) across the draws
    """

    cases: Sequence[Case]
    model: IntArray
    islands: Sequence[Islands]
    closed: BoolArray
    conductance_s: FloatArray
    source_v: FloatArray
    branch_a: FloatArray
    potential_v: FloatArray
    laws: FloatArray
    drop_v: FloatArray

    def node_v(self, columns: IntArray) -> FloatArray:
        """(n, c) volts against battery negative of some columns, not a number where floating."""
        volts = self.potential_v[:, columns]
        for place, column in enumerate(columns.tolist()):
            volts[self.islands[column].floating, place] = np.nan
        return volts

    def at(self, nodes: IntArray) -> FloatArray:
        """(w, s) volts of some nodes against battery negative, not a number where floating."""
        floating = np.stack([islands.floating[nodes] for islands in self.islands], axis=1)
        found: FloatArray = np.where(floating, np.nan, self.potential_v[nodes])
        return found

    def with_columns(self, columns: IntArray, states: States) -> States:
        """The same with some columns as in other states of these models."""
        islands = list(self.islands)
        for place, column in enumerate(columns.tolist()):
            islands[column] = states.islands[place]
        found = replace(self, islands=islands)
        for name in ("closed", "conductance_s", "source_v", "branch_a", "potential_v", "laws", "drop_v"):
            values = getattr(self, name).copy()
            values[..., columns] = getattr(states, name)
            found.__dict__[name] = values
        return found

    def first(self, count: int) -> States:
        """The first columns alone; the others are let go."""
        some = np.arange(count)
        return States(
            self.cases[:count], self.model[some], self.islands[:count], self.closed[:, some], self.conductance_s[:, some], self.source_v[:, some],
            self.branch_a[:, some], self.potential_v[:, some], self.laws[:, :, some], self.drop_v[:, some],
        )  # fmt: skip


_Span = slice | IntArray


def _span(columns: IntArray) -> _Span:
    """Columns in a row as a slice, which is far quicker to read and write."""
    if columns.size and columns[-1] - columns[0] + 1 == columns.size:
        return slice(int(columns[0]), int(columns[-1]) + 1)
    return columns


def _places(rows: IntArray, span: _Span) -> tuple[IntArray, ...] | tuple[IntArray, slice]:
    return (rows, span) if isinstance(span, slice) else np.ix_(rows, span)


def alike(models: Sequence[Model]) -> list[list[int]]:
    """Numbers of the models in groups: those of a group have the same nodes, branches and draws."""
    groups: dict[tuple[int, int, bytes], list[int]] = {}
    for number, model in enumerate(models):
        sizes = len(model.node_names), len(model.draws)
        groups.setdefault((*sizes, model.placed.ends.tobytes()), []).append(number)
    return list(groups.values())


class Together:
    """Models with the same nodes, branches and draws, which may differ in every value and in what is closed.

    Parameters
    ----------
    asked : nodes at which `answers` will be pushed into and read; left out, all. The fewer, the less has to be solved (see `needed`)
    watched : nodes that `answers_at` will be asked about, which is far quicker for a few of them than `answers` for many

    Raises
    ------
    ValueError : they are not `alike`
    """

    def __init__(
        self, models: Sequence[Model], asked: Iterable[int] | None = None, watched: Iterable[int] = ()
    ) -> None:
        if len(alike(models)) != 1:
            raise ValueError("models with different branches cannot be solved together")
        self.models = models
        self.watched = np.array(sorted(set(watched)), dtype=np.intp)
        one = models[0]
        self.ends = one.placed.ends
        self.plain = len(one.branches)
        self.node_count = len(one.node_names)
        self.reference = one.reference
        self.closed = np.stack([model.placed.closed[: self.plain] for model in models], axis=1)
        self.diodes = np.array(sorted({n for model in models for n in model.live_diodes}), dtype=np.intp)
        live = [[n in model.live_diodes for model in models] for n in self.diodes.tolist()]
        self.live_diodes = np.array(live, dtype=np.bool_).reshape(self.diodes.size, len(models))
        self.needed = self._needed(None if asked is None else [*asked, *self.watched.tolist()])
        self.edge_ends = np.concatenate([self.needed.ends, self.ends[self.plain :]])
        self.nodes = np.flatnonzero(np.bincount(self.edge_ends.ravel(), minlength=self.node_count))  # that are solved
        self.flows = Flows(self.edge_ends, self.node_count)
        self._known_islands: dict[bytes, Islands] = {}
        self._leaks: set[int] = set()
        self._plan: Plan | None = None

    def _needed(self, asked: Sequence[int] | None) -> Needed:
        """What has to be solved: where nothing pushes, draws, or is asked, as little as possible."""
        able, always = np.any(self.closed, axis=1), np.all(self.closed, axis=1)
        always[self.diodes] = False
        staying = None
        if asked is not None:
            pushing = {n for model in self.models for n in model.pushing.tolist()}.union(self.diodes.tolist())
            at_ends = self.ends[[*sorted(pushing), *range(self.plain, len(self.ends))]].ravel()
            staying = np.concatenate([at_ends, np.array([self.reference, *asked], dtype=np.intp)])
        needed = Needed(self.node_count, self.ends[: self.plain], able, always, staying)
        # rows that are open in some state, and those in which something pushes: of a vehicle next to none
        self._switching = np.flatnonzero(~always[needed.rows])
        pushing_rows = np.concatenate([model.pushing for model in self.models])
        self._pushing = np.flatnonzero(np.isin(needed.rows[: needed.single], pushing_rows, kind="table"))
        return needed

    def with_values_of(self, models: Sequence[Model]) -> Together:
        """The same with other values in the branches, and nothing else changed."""
        changed = copy(self)
        changed.models = models
        return changed

    def solve(
        self, cases: Sequence[Case], start: States | None = None, values: tuple[FloatArray, FloatArray] | None = None
    ) -> States:
        """The models at rest in these settings.

        Parameters
        ----------
        start : one state of each model, in their order, from which most settings are not far
        values : (m, s) siemens and volts of the branches, where they are not those that the settings choose

        Raises
        ------
        NotSettled : a setting has no state of rest; see `Rest`
        """
        work = self._prepared(cases, start, values)
        waiting = np.arange(len(cases))
        for turn in range(_DIODE_TURNS):
            rated = start is None or turn > 0
            for some in self._chunks(waiting):
                self._settle(work, some, rated=rated)
            if not rated:
                for some in self._chunks(waiting[~work.at_rest[waiting]]):
                    self._settle(work, some, rated=True)
            waiting = waiting[work.at_rest[waiting]]
            wrong = self._wrong_diodes(work, waiting)
            # Diodes that turn one another would go round for ever when all are turned at once: from half of the turns on, the first one only.
            if turn >= _DIODE_TURNS // 2:
                wrong &= np.cumsum(wrong, axis=0) == 1
            turned = np.any(wrong, axis=0)
            waiting = waiting[turned]
            if not waiting.size:
                break
            work.closed[self.diodes[:, np.newaxis], waiting] ^= wrong[:, turned]
            work.at_rest[waiting] = False
            self._find_islands(work, waiting)
        for column in np.flatnonzero(~work.at_rest).tolist():
            self._solve_alone(work, column)
        return work.states()

    def solved(self, states: States, column: int) -> Solved:
        """One of the states by itself."""
        number, setting = states.cases[column]
        model, islands, laws = self.models[number], states.islands[column], LoadLaws(*states.laws[:, :, column])
        drop_v = states.drop_v[:, column]
        draws = np.ones(drop_v.size)
        loaded = model.with_blocking(n for n in model.live_diodes if not states.closed[n, column]).with_conductances(
            np.concatenate([states.conductance_s[:, column], draws]),
            np.concatenate([states.source_v[:, column], 0.0 * draws]),
        )
        return Solved(
            setting, states.potential_v[:, column], states.branch_a[:, column], laws.current_a(drop_v), drop_v, laws, loaded,
            islands.island, islands.floating,
        )  # fmt: skip

    def answers(self, states: States, columns: IntArray, pushed_a: FloatArray, *, slopes: bool = False) -> FloatArray:
        """Volts that currents alone would cause in some of the states, every draw as the resistor it amounts to.

        `pushed_a` is (n, c) amperes for c columns, or (n, c, p) for p pushes in each. With `slopes` small currents: every draw goes along its own law.
        """
        block, late = self._as_resistors(states, columns, slopes=slopes)
        answer = block.answer(late, pushed_a)
        conductance_s = states.conductance_s[_places(self.needed.rows, _span(columns))]
        islands = [states.islands[column].island for column in columns.tolist()]
        self.needed.spread(answer, conductance_s, self.needed.edges(conductance_s), islands)
        return answer

    def answers_at(self, states: States, columns: IntArray, pushed_a: FloatArray, *, slopes: bool = True) -> FloatArray:
        """The same for the `watched` nodes alone: (w, p) amperes pushed in there in each of the columns, (w, c, p) volts there."""
        found = np.empty((self.watched.size, columns.size, pushed_a.shape[1]))
        for some in self._chunks(np.arange(columns.size)):
            block, late = self._as_resistors(states, columns[some], slopes=slopes)
            found[:, some] = block.answer_at(late, self.watched, pushed_a)
        return found

    def _as_resistors(self, states: States, columns: IntArray, *, slopes: bool) -> tuple[Block, Reduction]:
        """The networks of some columns with every draw as a resistor: what it amounts to, or the slope of its own law."""
        laws, drop_v = LoadLaws(*states.laws[:, :, columns]), states.drop_v[:, columns]
        block = self._block(
            self.needed.edges(self._row_s(states.conductance_s, states.closed, _span(columns))),
            [states.islands[column] for column in columns.tolist()],
        )
        return block, block.with_loads(laws.along_s(drop_v) if slopes else laws.resistor_s(drop_v))

    # --- inside ------------------------------------------------------------------------------------------------------

    def _prepared(
        self, cases: Sequence[Case], start: States | None, values: tuple[FloatArray, FloatArray] | None
    ) -> _Work:
        model = np.array([number for number, _ in cases], dtype=np.intp)
        count = len(cases)
        conductance_s, source_v, laws, rated_s = self._values_of(cases, model)
        if values is not None:
            conductance_s, source_v = values
        draws = len(rated_s)
        work = _Work(
            cases,
            model,
            [_NO_ISLANDS] * count,
            (self.closed if start is None else start.closed)[:, model],
            conductance_s,
            source_v,
            np.zeros((self.plain, count)),
            np.zeros((self.node_count, count)),
            laws,
            rated_s,
            np.zeros((draws, count)) if start is None else start.drop_v[:, model],
            np.zeros(count, dtype=np.bool_),
        )
        self._find_islands(work, np.arange(count))
        return work

    def _values_of(
        self, cases: Sequence[Case], model: IntArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """(m, s) siemens and volts of the branches, (4, k, s) laws of the draws and (k, s) siemens of them when rated."""
        settings = [setting for _, setting in cases]
        numbers = sorted(set(model.tolist()))  # `np.unique` of nothing else loads `numpy.ma`
        if len(numbers) == 1:
            return *self.models[numbers[0]].values_of(settings), *self.models[numbers[0]].laws_of(settings)
        count, draws = len(cases), len(self.models[0].draws)
        conductance_s, source_v = np.empty((2, self.plain, count))
        laws, rated_s = np.empty((4, draws, count)), np.empty((draws, count))
        for number in numbers:
            columns = np.flatnonzero(model == number)
            some = [settings[column] for column in columns.tolist()]
            conductance_s[:, columns], source_v[:, columns] = self.models[number].values_of(some)
            laws[:, :, columns], rated_s[:, columns] = self.models[number].laws_of(some)
        return conductance_s, source_v, laws, rated_s

    def _chunks(self, columns: IntArray) -> Iterator[IntArray]:
        """So many columns at a time that what is worked on stays at hand."""
        width = max(8, _CELLS // max(1, len(self.edge_ends)))
        for begin in range(0, columns.size, width):
            yield columns[begin : begin + width]

    def _find_islands(self, work: _Work, columns: IntArray) -> None:
        """Find the islands of some columns; of those that have the same branches closed only once."""
        for column in columns.tolist():
            work.islands[column] = self._islands_of(work.closed[:, column])

    def _islands_of(self, closed: BoolArray) -> Islands:
        # Of thousands of settings most have the same branches closed: islands are found once for each pattern.
        key = np.packbits(closed).tobytes()
        if key not in self._known_islands:
            links = np.concatenate([self.ends[: self.plain][closed], self.ends[self.plain :]])
            island = islands_of(self.node_count, links)
            self._known_islands[key] = Islands(island, island != island[self.reference])
        return self._known_islands[key]

    def _with_diodes_open(self) -> Iterator[Islands]:
        for closed in self.closed.T if self.diodes.size else ():
            blocking = closed.copy()
            blocking[self.diodes] = False
            yield self._islands_of(blocking)

    def _block(self, edge_s: FloatArray, each: Sequence[Islands]) -> Block:
        """The networks of some columns, `edge_s` (e, c) siemens of the edges, 0 where open."""
        # where all diodes block, too, so that one plan does for all
        met = {*each, *self._with_diodes_open()} if self._plan is None else set(each)
        new = {node for islands in met for node in self._leaking(islands).tolist()} - self._leaks
        if new or self._plan is None:
            self._leaks |= new
            self._plan = Plan(
                self.edge_ends,
                len(self.needed.ends),
                self.reference,
                self.node_count,
                sorted(self._leaks),
                self.watched,
            )
        leaks = self._plan.leaks
        leaking = {id(islands): np.isin(leaks, self._leaking(islands), kind="table") for islands in each}
        leak_s: FloatArray = np.stack([leaking[id(islands)] for islands in each], axis=1).astype(np.float64) * _LEAK_S
        return Block(self._plan, edge_s, leak_s)

    def _leaking(self, islands: Islands) -> IntArray:
        """Where each island that floats is tied down: at the lowest node of it that is solved."""
        floating = self.nodes[islands.floating[self.nodes]]
        _, first = np.unique(islands.island[floating], return_index=True)
        found: IntArray = floating[first]
        return found

    def _settle(self, work: _Work, columns: IntArray, *, rated: bool) -> None:
        """Bring some columns to rest, from the drops across the draws in `work` or from every draw as the resistor it is when rated."""
        span = _span(columns)
        row_s = self._row_s(work.conductance_s, work.closed, span)
        conductance_s, source_v = self.needed.edges(row_s), self._edge_v(work.source_v, span)
        each = [work.islands[column] for column in columns.tolist()]
        block = self._block(conductance_s, each)
        laws = LoadLaws(*work.laws[:, :, span])
        block.push(self._pushed_a(conductance_s, source_v))
        drop_v = work.drop_v[:, span]
        if rated:
            late_v = block.late_v(block.with_loads(work.rated_s[:, span]))
            drop_v = block.drop_v(late_v)
        late, late_v = with_loads_at_rest(block, laws, drop_v)
        potential_v = block.whole_v(late_v)
        before_v = np.full(columns.size, np.inf)
        # The surplus at each node is computed from the branches, not by the elimination, so what was lost there is found and put right.
        for _ in range(_REFINEMENTS):
            branch_a, drop_v = self._currents(conductance_s, source_v, laws, potential_v)
            change_v = block.answer(late, self.flows.surplus_a(branch_a))
            correction_v = np.max(np.abs(change_v), axis=0)
            potential_v += change_v
            if not np.any((correction_v > RESTING_V) & (correction_v < before_v)):
                break
            before_v = correction_v
        branch_a, drop_v = self._currents(conductance_s, source_v, laws, potential_v)
        # written so that what is not a number is no rest either
        work.at_rest[span] = correction_v <= limit_of_correction_v(branch_a)
        self.needed.spread(potential_v, row_s, conductance_s, [islands.island for islands in each])
        work.potential_v[:, span] = potential_v
        work.branch_a[_places(self.needed.rows, span)] = self.needed.currents(branch_a[: len(self.needed.ends)])
        work.drop_v[:, span] = drop_v

    def _row_s(self, conductance_s: FloatArray, closed: BoolArray, span: _Span) -> FloatArray:
        """(r, c) siemens of the rows in some columns, 0 where open."""
        row_s: FloatArray = conductance_s[_places(self.needed.rows, span)]
        row_s[self._switching] *= closed[_places(self.needed.rows[self._switching], span)]
        return row_s

    def _edge_v(self, source_v: FloatArray, span: _Span) -> FloatArray:
        """(e, c) volts in the edges in some columns; nothing pushes in a branch that is in a row of them."""
        pushing_v = source_v[_places(self.needed.rows[self._pushing], span)]
        edge_v = np.zeros((len(self.needed.ends), pushing_v.shape[1]))
        edge_v[self._pushing] = pushing_v
        return edge_v

    def _currents(
        self, conductance_s: FloatArray, source_v: FloatArray, laws: LoadLaws, potential_v: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Amperes of the edges and draws, volts across the draws."""
        across_v = potential_v[self.edge_ends[:, 0]] - potential_v[self.edge_ends[:, 1]]
        plain = len(self.needed.ends)
        drop_v = across_v[plain:]
        branch_a = np.concatenate([conductance_s * (across_v[:plain] + source_v), laws.current_a(drop_v)])
        return branch_a, drop_v

    def _pushed_a(self, conductance_s: FloatArray, source_v: FloatArray) -> FloatArray:
        """(n, c) amperes that what pushes in the branches brings to each node as long as all nodes are at 0 V."""
        pushing = np.flatnonzero(np.any(source_v, axis=1))
        pushed_a = np.zeros((self.node_count, source_v.shape[1]))
        at_0_v = conductance_s[pushing] * source_v[pushing]
        np.subtract.at(pushed_a, self.edge_ends[pushing, 0], at_0_v)
        np.add.at(pushed_a, self.edge_ends[pushing, 1], at_0_v)
        return pushed_a

    def _wrong_diodes(self, work: _Work, columns: IntArray) -> BoolArray:
        """(d, c) true for the diodes that block although they should conduct, or conduct backwards."""
        n = self.diodes[:, np.newaxis]
        a, b = self.ends[self.diodes].T
        branch_a = work.branch_a[n, columns]
        a_v, b_v = work.potential_v[a[:, np.newaxis], columns], work.potential_v[b[:, np.newaxis], columns]
        passed_v = a_v + work.source_v[n, columns]
        backwards = branch_a < -BACKWARDS_A
        # as in `_diode_error` of one model: what hangs on a diode alone, below battery negative, floats
        below = (np.abs(branch_a) <= BACKWARDS_A) & (b_v < -FORWARDS_V)
        forwards = passed_v - b_v > FORWARDS_V
        for place, column in enumerate(columns.tolist()):
            islands = work.islands[column]
            apart = (islands.floating[a] | islands.floating[b]) & (islands.island[a] != islands.island[b])
            # conducting, it carries nothing and gives the far side its level, unless that is below battery negative
            given = islands.floating[a[apart]] | (passed_v[apart, place] > 0.0)
            forwards[apart, place] = islands.floating[b[apart]] & given
            below[islands.floating[b], place] = False
        wrong: BoolArray = np.where(work.closed[n, columns], backwards | below, forwards)
        return wrong & self.live_diodes[:, work.model[columns]]

    def _solve_alone(self, work: _Work, column: int) -> None:
        number, setting = work.cases[column]
        solved = Rest(self.models[number], setting, (work.conductance_s[:, column], work.source_v[:, column])).found()
        work.closed[:, column] = solved.loaded.closed[: self.plain]
        work.potential_v[:, column] = solved.potential_v
        work.branch_a[:, column] = solved.branch_a
        work.drop_v[:, column] = solved.draw_drop_v
        self._find_islands(work, np.array([column]))


@dataclass(frozen=True, eq=False)
class _Work:
    """`States` on the way; `rated_s` (k, s) the draws as resistors, `at_rest` (s,) true where done."""

    cases: Sequence[Case]
    model: IntArray
    islands: list[Islands]
    closed: BoolArray
    conductance_s: FloatArray
    source_v: FloatArray
    branch_a: FloatArray
    potential_v: FloatArray
    laws: FloatArray
    rated_s: FloatArray
    drop_v: FloatArray
    at_rest: BoolArray

    def states(self) -> States:
        return States(
            self.cases,
            self.model,
            self.islands,
            self.closed,
            self.conductance_s,
            self.source_v,
            self.branch_a,
            self.potential_v,
            self.laws,
            self.drop_v,
        )
