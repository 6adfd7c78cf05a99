"""Models of one circuit solved in many settings at once, every key state together.

The branches of a circuit are the same in every key state and setting; their values, and which of them are closed, are not. So the nodes are taken out once for
all of them (see `elimination`): first those on which no load ends, which stays as it is while the loads come to rest, then the others, once for each step of the
loads. Every state found is held against the current sums of the whole network, as in `loads.settle`. What finds no rest here is left to `Model.solve`, which
looks for it with more care and says what stands in the way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from tracer.electrics.model.branches import Drawn, Setting
from tracer.electrics.model.circuit_model import BACKWARDS_A, FORWARDS_V, Model
from tracer.electrics.network.elimination import Reduction, RowSums, elimination_of
from tracer.electrics.network.linear import BoolArray, FloatArray, IntArray, islands_of, limit_of_correction_v
from tracer.electrics.network.load_laws import LoadLaws

__all__ = ["Case", "Shape", "States", "Together", "alike"]

Case = tuple[int, Setting | Drawn]
"""The number of a model, and the setting it is solved in."""

_CELLS = 240_000  # of an array of branches by settings that is worked on at a time: what a processor keeps at hand (measured)
_DIODE_TURNS = 12
_STEPS = 30
_RESTING_V = 1e-10
_TREMBLING_V = 1e-6
_REFINEMENTS = 4
_LEAK_S = 1.0  # of a part that floats, at its lowest node; no current flows there, whatever it is


@dataclass(frozen=True, eq=False)
class Shape:
    """What hangs on which branches are closed: (n,) `island`, the lowest node of the part each node is in, and whether it is `floating`."""

    island: IntArray
    floating: BoolArray

    @property
    def lowest(self) -> IntArray:
        """The lowest node of each part that floats."""
        return np.flatnonzero(self.floating & (self.island == np.arange(self.island.size)))


_NO_SHAPE = Shape(np.empty(0, dtype=np.intp), np.empty(0, dtype=np.bool_))  # until it is looked for


@dataclass(frozen=True, eq=False)
class States:
    """Models at rest in s settings, one a column.

    Attributes
    ----------
    model : (s,) number of the model
    shape : of the network in each
    closed : (m, s) of the model's own branches
    conductance_s, source_v, branch_a : (m, s); 0 S and 0 A where open
    potential_v : (n, s) against battery negative; in a floating part against its own lowest node
    laws : (4, k, s), see `LoadLaws`
    drop_v : (k, s) across the draws
    """

    cases: Sequence[Case]
    model: IntArray
    shape: Sequence[Shape]
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
            volts[self.shape[column].floating, place] = np.nan
        return volts

    def first(self, count: int) -> States:
        """The first columns alone."""
        some = slice(count)
        return States(
            self.cases[some], self.model[some], self.shape[some], self.closed[:, some], self.conductance_s[:, some], self.source_v[:, some],
            self.branch_a[:, some], self.potential_v[:, some], self.laws[:, :, some], self.drop_v[:, some],
        )  # fmt: skip


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
    watched : nodes that `answers_at` will be asked about, which is far quicker for a few of them than `answers` for all

    Raises
    ------
    ValueError : they are not `alike`
    """

    def __init__(self, models: Sequence[Model], watched: Iterable[int] = ()) -> None:
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
        self.flows = _Flows(self.ends, self.node_count)
        self._shapes: dict[bytes, Shape] = {}
        self._leaks: set[int] = set()
        self._plan: _Plan | None = None

    def with_values_of(self, models: Sequence[Model]) -> Together:
        """The same with other values in the branches, and nothing else changed."""
        changed = copy(self)
        changed.models = models
        return changed

    def solve(self, cases: Sequence[Case], start: States | None = None) -> States:
        """The models at rest in these settings.

        Parameters
        ----------
        start : one state of each model, in their order, from which most settings are not far

        Raises
        ------
        NotSettled : a setting has no state of rest; see `Model.solve`
        """
        work = self._prepared(cases, start)
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
            turned = np.any(wrong, axis=0)
            waiting = waiting[turned]
            if not waiting.size:
                break
            work.closed[self.diodes[:, np.newaxis], waiting] ^= wrong[:, turned]
            work.at_rest[waiting] = False
            self._shape(work, waiting)
        for column in np.flatnonzero(~work.at_rest).tolist():
            self._solve_alone(work, column)
        return work.states()

    def answers(self, states: States, columns: IntArray, pushed_a: FloatArray, *, slopes: bool = False) -> FloatArray:
        """Volts that currents alone would cause in some of the states, every draw as the resistor it amounts to.

        `pushed_a` is (n, c) amperes for c columns, or (n, c, p) for p pushes in each. With `slopes` small currents: every draw goes along its own law.
        """
        block, late = self._as_resistors(states, columns, slopes=slopes)
        return block.answer(late, pushed_a)

    def answers_at(self, states: States, columns: IntArray, pushed_a: FloatArray) -> FloatArray:
        """The same along the slopes, for the `watched` nodes alone: (w, p) amperes pushed in there in each of the columns, (w, c, p) volts there."""
        found = np.empty((self.watched.size, columns.size, pushed_a.shape[1]))
        for some in self._chunks(np.arange(columns.size)):
            block, late = self._as_resistors(states, columns[some], slopes=True)
            found[:, some] = block.answer_at(late, self.watched, pushed_a)
        return found

    def _as_resistors(self, states: States, columns: IntArray, *, slopes: bool) -> tuple[_Block, Reduction]:
        """The networks of some columns with every draw as a resistor: what it amounts to, or the slope of its own law."""
        laws, drop_v = LoadLaws(*states.laws[:, :, columns]), states.drop_v[:, columns]
        block = self._block(
            np.where(states.closed[:, columns], states.conductance_s[:, columns], 0.0),
            [states.shape[column] for column in columns.tolist()],
        )
        return block, block.with_loads(laws.along_s(drop_v) if slopes else laws.resistor_s(drop_v))

    # --- inside ------------------------------------------------------------------------------------------------------

    def _prepared(self, cases: Sequence[Case], start: States | None) -> _Work:
        model = np.array([number for number, _ in cases], dtype=np.intp)
        count, draws = len(cases), len(self.models[0].draws)
        conductance_s, source_v = np.empty((2, self.plain, count))
        laws, rated_s = np.empty((4, draws, count)), np.empty((draws, count))
        for number in np.unique(model).tolist():
            columns = np.flatnonzero(model == number)
            settings = [cases[column][1] for column in columns.tolist()]
            one = self.models[number]
            conductance_s[:, columns], source_v[:, columns] = one.values_of(settings)
            laws[:, :, columns], rated_s[:, columns] = one.laws_of(settings)
        work = _Work(
            cases,
            model,
            [_NO_SHAPE] * count,
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
        self._shape(work, np.arange(count))
        return work

    def _chunks(self, columns: IntArray) -> Iterator[IntArray]:
        """So many columns at a time that what is worked on stays at hand."""
        width = max(8, _CELLS // max(1, len(self.ends)))
        for begin in range(0, columns.size, width):
            yield columns[begin : begin + width]

    def _shape(self, work: _Work, columns: IntArray) -> None:
        """Find the shape of some columns; of those that have the same branches closed only once."""
        for column in columns.tolist():
            closed = work.closed[:, column]
            key = np.packbits(closed).tobytes()
            if key not in self._shapes:
                links = np.concatenate([self.ends[: self.plain][closed], self.ends[self.plain :]])
                island = islands_of(self.node_count, links)
                self._shapes[key] = Shape(island, island != island[self.reference])
            work.shape[column] = self._shapes[key]

    def _block(self, conductance_s: FloatArray, shapes: Sequence[Shape]) -> _Block:
        """The networks of some columns, `conductance_s` (m, c) siemens, 0 where open."""
        new = {node for shape in set(shapes) for node in shape.lowest.tolist()} - self._leaks
        if new or self._plan is None:
            self._leaks |= new
            able = np.any(self.closed, axis=1)
            self._plan = _Plan(self.ends, able, self.reference, self.node_count, sorted(self._leaks), self.watched)
        leaks = self._plan.leaks
        leaking = {id(shape): shape.floating[leaks] & (shape.island[leaks] == leaks) for shape in shapes}
        leak_s = np.stack([leaking[id(shape)] for shape in shapes], axis=1) * _LEAK_S
        return _Block(self._plan, conductance_s, leak_s)

    def _settle(self, work: _Work, columns: IntArray, *, rated: bool) -> None:
        """Bring some columns to rest, from the drops across the draws in `work` or from every draw as the resistor it is when rated."""
        conductance_s = np.where(work.closed[:, columns], work.conductance_s[:, columns], 0.0)
        source_v = work.source_v[:, columns]
        block = self._block(conductance_s, [work.shape[column] for column in columns.tolist()])
        laws = LoadLaws(*work.laws[:, :, columns])
        block.push(self._pushed_a(conductance_s, source_v))
        drop_v = work.drop_v[:, columns]
        if rated:
            late_v = block.late_v(block.with_loads(work.rated_s[:, columns]))
            drop_v = block.drop_v(late_v)
        late, late_v = _with_loads_at_rest(block, laws, drop_v)
        potential_v = block.whole_v(late_v)
        before_v = np.full(columns.size, np.inf)
        for _ in range(_REFINEMENTS):
            branch_a, drop_v = self._currents(conductance_s, source_v, laws, potential_v)
            change_v = block.answer(late, self.flows.surplus_a(branch_a))
            correction_v = np.max(np.abs(change_v), axis=0)
            potential_v += change_v
            if not np.any((correction_v > _RESTING_V) & (correction_v < before_v)):
                break
            before_v = correction_v
        branch_a, drop_v = self._currents(conductance_s, source_v, laws, potential_v)
        # written so that what is not a number is no rest either
        work.at_rest[columns] = correction_v <= limit_of_correction_v(branch_a)
        work.potential_v[:, columns] = potential_v
        work.branch_a[:, columns] = branch_a[: self.plain]
        work.drop_v[:, columns] = drop_v

    def _currents(
        self, conductance_s: FloatArray, source_v: FloatArray, laws: LoadLaws, potential_v: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Amperes of branches and draws, volts across the draws."""
        across_v = potential_v[self.ends[:, 0]] - potential_v[self.ends[:, 1]]
        drop_v = across_v[self.plain :]
        branch_a = np.concatenate([conductance_s * (across_v[: self.plain] + source_v), laws.current_a(drop_v)])
        return branch_a, drop_v

    def _pushed_a(self, conductance_s: FloatArray, source_v: FloatArray) -> FloatArray:
        """(n, c) amperes that what pushes in the branches brings to each node as long as all nodes are at 0 V."""
        pushing = np.flatnonzero(np.any(source_v, axis=1))
        pushed_a = np.zeros((self.node_count, source_v.shape[1]))
        at_0_v = conductance_s[pushing] * source_v[pushing]
        np.subtract.at(pushed_a, self.ends[pushing, 0], at_0_v)
        np.add.at(pushed_a, self.ends[pushing, 1], at_0_v)
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
            shape = work.shape[column]
            apart = (shape.floating[a] | shape.floating[b]) & (shape.island[a] != shape.island[b])
            # conducting, it carries nothing and gives the far side its level, unless that is below battery negative
            given = shape.floating[a[apart]] | (passed_v[apart, place] > 0.0)
            forwards[apart, place] = shape.floating[b[apart]] & given
            below[shape.floating[b], place] = False
        wrong: BoolArray = np.where(work.closed[n, columns], backwards | below, forwards)
        return wrong & self.live_diodes[:, work.model[columns]]

    def _solve_alone(self, work: _Work, column: int) -> None:
        number, setting = work.cases[column]
        solved = self.models[number].solve(setting)
        work.closed[:, column] = solved.loaded.closed[: self.plain]
        work.potential_v[:, column] = solved.potential_v
        work.branch_a[:, column] = solved.branch_a
        work.drop_v[:, column] = solved.draw_drop_v
        self._shape(work, np.array([column]))


@dataclass(frozen=True, eq=False)
class _Work:
    """`States` on the way; `rated_s` (k, s) the draws as resistors, `at_rest` (s,) true where done."""

    cases: Sequence[Case]
    model: IntArray
    shape: list[Shape]
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
            self.shape,
            self.closed,
            self.conductance_s,
            self.source_v,
            self.branch_a,
            self.potential_v,
            self.laws,
            self.drop_v,
        )


class _Flows:
    """Sums the currents of branches at their nodes; `ends` (m, 2) of n nodes."""

    def __init__(self, ends: IntArray, node_count: int) -> None:
        # what goes round in one branch comes back to its node; summed, it would only leave its rounding there
        number = np.flatnonzero(ends[:, 0] != ends[:, 1])
        self._sums = RowSums.by(ends[number].T.ravel())
        place = self._sums.order
        self._branch = np.concatenate([number, number])[place]
        self._sign = np.where(place < number.size, -1.0, 1.0)[:, np.newaxis]
        self._node_count = node_count

    def surplus_a(self, branch_a: FloatArray) -> FloatArray:
        """(n, s) amperes that (m, s) branch currents bring to each node."""
        surplus_a = np.zeros((self._node_count, branch_a.shape[1]))
        self._sums.add(branch_a[self._branch] * self._sign, surplus_a)
        return surplus_a


class _Plan:
    """In which order the nodes are taken out, and where branches, leaks and draws go in it.

    Attributes
    ----------
    able : numbers of the branches that are closed in some state; only these are in the plan
    leaks : nodes that are the lowest of a part that floats in some state
    branch_sums, branches : which edge each of `able`, then of `leaks`, is part of, and their rows in that order
    draw_sums, draws : the same for the draws, which all go into edges of the late part
    draw_ends : (k, 2) rows of the late part
    row_of : (n,) row of each node in the late part; the row of the reference where it has none
    alone : nodes on which no branch ends
    """

    def __init__(
        self, ends: IntArray, able: BoolArray, reference: int, node_count: int, leaks: Sequence[int], watched: IntArray
    ) -> None:
        """`able` (m,) true for the branches that are closed in some state; the ends after these m are those of the draws."""
        self.able = np.flatnonzero(able)
        self.leaks = np.array(leaks, dtype=np.intp)
        draw_ends = ends[able.size :]
        used = np.concatenate([ends[self.able], draw_ends])
        late = np.union1d(draw_ends, watched)
        self.elimination = elimination_of(node_count, used, reference, late=late, leaks=leaks)
        edge_of = self.elimination.edge_of
        of_branches = np.concatenate([edge_of[: self.able.size], edge_of[len(used) :]])
        # what joins a node to itself is left out
        real = np.flatnonzero(of_branches >= 0)
        self.branch_sums = RowSums.by(of_branches[real])
        self.branches = real[self.branch_sums.order]
        of_draws = edge_of[self.able.size : len(used)]
        real = np.flatnonzero(of_draws >= 0)
        self.draw_sums = RowSums.by(np.searchsorted(self.elimination.late_edge, of_draws[real]))
        self.draws = real[self.draw_sums.order]
        late_node = self.elimination.late_node
        self.row_of = np.full(node_count, late_node.size, dtype=np.intp)
        self.row_of[late_node] = np.arange(late_node.size)
        # between a node and itself no voltage is seen, as between the reference and itself
        self.draw_ends = np.where((of_draws >= 0)[:, np.newaxis], self.row_of[draw_ends], late_node.size)
        self.draw_flows = _Flows(self.draw_ends, late_node.size + 1)
        alone = np.ones(node_count, dtype=np.bool_)
        alone[used] = False
        self.alone = np.flatnonzero(alone)


class _Block:
    """Networks with the same plan in c columns, the early nodes taken out; `conductance_s` (m, c), `leak_s` (leaks, c) siemens."""

    def __init__(self, plan: _Plan, conductance_s: FloatArray, leak_s: FloatArray) -> None:
        self.plan = plan
        own = plan.elimination
        given_s = np.concatenate([conductance_s[plan.able], leak_s])
        edge_s = np.zeros((own.edge_count, given_s.shape[1]))
        plan.branch_sums.add(given_s[plan.branches], edge_s)
        self.early = own.reduce_early(edge_s)
        self.late_s = edge_s[own.late_edge]
        self.pushed_a = np.zeros((own.node_count, given_s.shape[1]))

    def with_loads(self, draw_s: FloatArray) -> Reduction:
        """The late part with the draws as resistors of (k, c) siemens."""
        own = self.plan.elimination
        edge_s = np.zeros((own.late_edge_count, draw_s.shape[1]))
        edge_s[: len(self.late_s)] = self.late_s
        self.plan.draw_sums.add(draw_s[self.plan.draws], edge_s)
        return own.reduce_late(edge_s)

    def push(self, pushed_a: FloatArray) -> None:
        """What the sources push into each node, (n, c) amperes; from now on part of `late_v` and `whole_v`."""
        self.early.forward(pushed_a)
        self.pushed_a = pushed_a

    def late_v(self, late: Reduction, draw_a: FloatArray | None = None) -> FloatArray:
        """(b + 1, c) volts of the late nodes and the reference, if the draws take (k, c) amperes besides."""
        volts = self.pushed_a[self.plan.elimination.late_node]
        volts = np.concatenate([volts, np.zeros((1, *volts.shape[1:]))])
        if draw_a is not None:
            volts += self.plan.draw_flows.surplus_a(draw_a)
        return _solved(late, volts)

    def drop_v(self, late_v: FloatArray) -> FloatArray:
        """(k, c) volts across the draws."""
        drop_v: FloatArray = late_v[self.plan.draw_ends[:, 0]] - late_v[self.plan.draw_ends[:, 1]]
        return drop_v

    def whole_v(self, late_v: FloatArray) -> FloatArray:
        """(n, c) volts of all nodes."""
        return self._whole_v(self.pushed_a.copy(), late_v)

    def answer(self, late: Reduction, injected_a: FloatArray) -> FloatArray:
        """Volts that injected currents alone would cause; (n, c) or (n, c, p), changed in place."""
        self.early.forward(injected_a)
        volts = injected_a[self.plan.elimination.late_node]
        return self._whole_v(injected_a, _solved(late, np.concatenate([volts, np.zeros((1, *volts.shape[1:]))])))

    def answer_at(self, late: Reduction, nodes: IntArray, injected_a: FloatArray) -> FloatArray:
        """(w, c, p) volts at nodes of the late part that (w, p) amperes injected there alone would cause; 0 at one on which no branch ends."""
        rows = self.plan.row_of[nodes]
        volts = np.zeros((self.plan.elimination.late_node.size + 1, self.late_s.shape[1], injected_a.shape[1]))
        volts[rows] = injected_a[:, np.newaxis]
        found: FloatArray = _solved(late, volts)[rows]
        return found

    def _whole_v(self, volts: FloatArray, late_v: FloatArray) -> FloatArray:
        volts[self.plan.elimination.late_node] = late_v[:-1]
        volts[self.plan.alone] = 0.0
        volts[self.plan.elimination.reference] = 0.0
        self.early.back(volts)
        return volts


def _solved(late: Reduction, volts: FloatArray) -> FloatArray:
    """From currents into the late nodes to their volts, in place; the last row is the reference."""
    late.forward(volts)
    volts[-1] = 0.0
    late.back(volts)
    return volts


def _with_loads_at_rest(block: _Block, laws: LoadLaws, drop_v: FloatArray) -> tuple[Reduction, FloatArray]:
    """The late part at rest with its loads (Newton's method), from (k, c) volts across them; where it finds none, the last that it tried."""
    moved_v = np.inf
    for _ in range(_STEPS):
        slope_s = laws.tangent_s(drop_v)
        late = block.with_loads(slope_s)
        late_v = block.late_v(late, laws.current_a(drop_v) - slope_s * drop_v)
        after_v = block.drop_v(late_v)
        before_v, moved_v = moved_v, float(np.max(np.abs(after_v - drop_v), initial=0.0))
        # what no longer works is looked at as the resistor it then is, else its tangent would throw it to and fro
        stopped = (after_v * drop_v < 0.0) & (np.abs(drop_v) >= laws.knee_v)
        drop_v = np.where(stopped, 0.0, after_v)
        # once it only trembles in the last digits, the current sums of the whole network take over
        if moved_v <= _RESTING_V or (moved_v <= _TREMBLING_V and moved_v >= before_v):
            break
    return late, late_v
