"""The volts of one model's rows, read from its states: at the pin, along the way, across the module."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from tracer.circuit.model import LinkKind
from tracer.electrics.limits_in_use import LimitInUse
from tracer.electrics.model.branches import HIGH, LOW, Sampled
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.fitting import NOT_FITTED, TURNS, Fit, State
from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.network.in_many_settings import Case, States, Together, alike
from tracer.electrics.volts.current_ways import FLOWING_A, CurrentWays
from tracer.electrics.volts.extremes import Push, extremes, source_ohms
from tracer.electrics.volts.likely import band, sampled_settings
from tracer.electrics.volts.not_computed import Withheld, beside_unknown
from tracer.electrics.volts.values import ElementVolts, Figures, LampTest, ProbeVolts, Range, RowVolts
from tracer.electrics.volts.verdicts import shown_by_drop, shown_by_state, verdicts_of
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing


def solved_rows(tracing: Tracing, models: Sequence[Model], report: SupplyReport) -> list[SolvedRows]:
    """Each model solved in every setting that can move a row to an end of its range; those with the same branches together.

    Raises
    ------
    NotSettled : no steady voltages in some setting
    """
    found: dict[int, SolvedRows] = {}
    sound: dict[int, float] = {}
    asked = [*_probed(tracing, report), *tracing.circuit.pins_of.get(report.module, {}).values()]
    for group in reversed(alike(models)):
        together, nominal = nominal_in_order(Together([models[number] for number in group], asked), sound)
        some = [SolvedRows(tracing, model, report, nominal, place) for place, model in enumerate(together.models)]
        ohms = source_ohms(together, nominal, [one.probed for one in some])
        sampled = [sampled_settings(model) for model in together.models]
        states = extremes(together, nominal, [list(one.pushes()) for one in some], sampled)
        for one, ohm in zip(some, ohms, strict=True):
            one.take([nominal, *states], ohm)
        found.update(zip(group, some, strict=True))
    return [found[number] for number in range(len(models))]


def _probed(tracing: Tracing, report: SupplyReport) -> set[int]:
    """Nodes at which a meter is held for the rows of a list."""
    circuit = tracing.circuit
    numbers = tracing.once(_numbers)
    nodes = {numbers[probe.at] for row in report.rows for probe in row.probes}
    return nodes | {circuit.pins_of[row.part][row.pin] for row in report.rows}


def _numbers(tracing: Tracing) -> dict[str, int]:
    """The number of each node by its name."""
    return {name: number for number, name in enumerate(tracing.circuit.node_names)}


def nominal_in_order(together: Together, sound: dict[int, float]) -> tuple[Together, States]:
    """Models at rest, everything nominal, with what follows from their currents.

    `sound` takes what contacts of the vehicle in order have, and gives it to what is supposed of it: a fault makes no contact better.
    """
    models = together.models
    fits = [Fit(dict(sound)) if model.changes.faulty else Fit() for model in models]
    nominal: States | None = None
    bending = [place for place, model in enumerate(models) if model.converts]
    cases = [(place, model.setting()) for place, model in enumerate(models)]
    cases += [(place, models[place].setting(at, at)) for place in bending for at in (LOW, HIGH)]
    for _ in range(TURNS):
        together = together.with_values_of([fit.of(model) for fit, model in zip(fits, models, strict=True)])
        solved = together.solve(cases, nominal)
        nominal = solved.first(len(models))
        before = fits
        fits = [
            fit.after(model, states)
            for fit, model, states in zip(fits, together.models, _states_of(solved, len(models), bending), strict=True)
        ]
        for model, fit in zip(models, fits, strict=True):
            sound.update({} if model.changes.faulty else fit.shares)
        fits = [
            replace(fit, shares=dict(sound)) if one.changes.faulty else fit
            for fit, one in zip(fits, models, strict=True)
        ]
        if fits == before:
            break
    else:
        for model, fit, last in zip(together.models, fits, before, strict=True):
            if fit != last:
                model.undecided = tuple(dict.fromkeys((*model.undecided, NOT_FITTED)))
    assert nominal is not None
    return together, nominal


def _states_of(solved: States, count: int, bending: Sequence[int]) -> list[list[State]]:
    """Of each of the models its nominal state, and those at both ends of one that bends: their nominal columns come first, then both ends of each that bends."""
    node_v = solved.node_v(np.arange(len(solved.cases)))
    states = [State(*one) for one in zip(solved.branch_a.T, node_v.T, solved.closed.T, strict=True)]
    found = [[state] for state in states[:count]]
    for number, place in enumerate(bending):
        low, high = states[count + 2 * number : count + 2 * number + 2]
        found[place] = [low, *found[place], high]
    return found


@dataclass(frozen=True, eq=False)
class _Nominal:
    """The nominal state: (n,) volts against battery negative and what floats, (m,) amperes, siemens and volts of the branches."""

    node_v: FloatArray
    floating: BoolArray
    branch_a: FloatArray
    conductance_s: FloatArray
    source_v: FloatArray


class SolvedRows:
    """A model and its states: first the nominal one, then those in every setting that can move a row to an end of its range, and those taken by chance.

    `place` is its number among the models of the states. After `take`, `node_v`, `potential_v` (s, n) and `branch_a` (s, m) hold all states, the nominal first;
    `cases` are their settings, `sampled` (s,) is true for those taken by chance.
    """

    node_v: FloatArray
    potential_v: FloatArray
    branch_a: FloatArray
    cases: list[Case]
    sampled: BoolArray
    source_ohm: dict[int, float]

    def __init__(self, tracing: Tracing, model: Model, report: SupplyReport, nominal: States, place: int) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.model = model
        self.report = report
        self.place = place
        self.nominal = _Nominal(
            nominal.node_v(np.array([place]))[:, 0],
            nominal.islands[place].floating,
            nominal.branch_a[:, place],
            nominal.conductance_s[:, place],
            nominal.source_v[:, place],
        )
        self.ways = CurrentWays(model, self.nominal.branch_a)
        self.withheld = Withheld(tracing, model, self.nominal.branch_a)
        self._shown: dict[int, Range] = {}
        self._lost_between: dict[tuple[int, int], Range] = {}
        # where a row has no way, it is judged against the highest post (24 V of two batteries)
        self.plus = max(model.posts, key=lambda node: np.nan_to_num(self.nominal.node_v[node]), default=None)

    @cached_property
    def probed(self) -> IntArray:
        """Nodes at which a meter is held."""
        return np.array(sorted(_probed(self.tracing, self.report)), dtype=np.intp)

    def take(self, states: Sequence[States], source_ohm: FloatArray) -> None:
        """Its columns of all the states, and the ohms that a meter looks into at each of `probed`."""
        self.cases = [case for some in states for case in some.cases if case[0] == self.place]
        columns = [(some, np.flatnonzero(some.model == self.place)) for some in states]
        self.node_v = np.concatenate([some.node_v(mine) for some, mine in columns], axis=1).T
        self.potential_v = np.concatenate([some.potential_v[:, mine] for some, mine in columns], axis=1).T
        self.branch_a = np.concatenate([some.branch_a[:, mine] for some, mine in columns], axis=1).T
        self.sampled = np.array([isinstance(setting, Sampled) for _, setting in self.cases], dtype=np.bool_)
        self.source_ohm = dict(zip(self.probed.tolist(), source_ohm.tolist(), strict=True))

    def pushes(self) -> Iterator[Push]:
        """What is to be moved to its ends for the rows."""
        for row in self.report.rows:
            if row.code[0] != "C":
                yield from self._pushes_of(row)

    def _pushes_of(self, row: Row) -> Iterator[Push]:
        """The volts of a row, what is lost up to it, the volts across the module, and the current of its own way."""
        node = self.circuit.pins_of[row.part][row.pin]
        if self.nominal.floating[node]:
            return
        yield Push({node: 1.0})
        if self._turning and self.model.changes.battery_v is not None and self.plus not in (None, node):
            yield Push({node: 1.0, self.plus: -1.0})  # the posts read what was measured
        end = self._end(node, row.level == "supply")
        if end is not None and end not in (node, self.model.reference):
            yield Push({node: 1.0, end: -1.0})
        across, back = self._across_ends(row, node)
        if across:
            yield Push({node: 1.0, back: -1.0})
        way = self.ways.way(node, row.level == "supply")
        if way:
            number, _ = way[-1 if row.level == "supply" else 0]
            branch = self.model.branches[number]
            sign = 1.0 if self.nominal.branch_a[number] >= 0 else -1.0
            yield Push({branch.a: sign, branch.b: -sign}, through=number)

    @property
    def battery(self) -> Range:
        """Volts at the battery posts."""
        battery = self.model.battery
        if self._turning and self.plus is not None:
            return self._range(self.node_v[:, self.plus])
        return Range(battery.low, battery.nominal, battery.high)

    @cached_property
    def _turning(self) -> bool:
        """Whether a generator feeds: then neither the posts of the battery nor its minus are where volts are held."""
        return any(branch.kind == "generator" for branch in self.model.branches)

    def _end(self, node: int, supply: bool) -> int | None:
        """From where what is lost up to a pin is counted: where its way begins; of a ground, where its way back ends."""
        way = self.ways.way(node, supply)
        if supply:
            return way[0][1] if way else self.plus
        if not way:
            return self.model.reference
        number, start = way[-1]
        branch = self.model.branches[number]
        return branch.b if branch.a == start else branch.a

    # --- one row -----------------------------------------------------------------------------------------------

    def row(self, row: Row, in_order: SolvedRows | None, lamp: LampTest | None) -> RowVolts:
        """A row with its volts; `in_order` is the same without what is supposed."""
        model = self.model
        node = self.circuit.pins_of[row.part][row.pin]
        supply = row.level == "supply"
        state = self._state(node, supply=supply)
        floating = bool(self.nominal.floating[node])
        way = self.ways.way(node, supply)
        reason = row.no_method or self.withheld.why(row)
        if in_order is not None and not reason:  # what a fault changes is told from what is computed without it
            reason = in_order.withheld.why(row)
        if reason:
            return self._not_computed(row, state, self._end(node, supply), reason)
        elements = tuple(self._element(number, node_from) for number, node_from in way)
        numbers = [number for number, _ in way]
        current = self._current(numbers[-1 if supply else 0]) if numbers else Range(0.0, 0.0, 0.0)
        copper_v = sum(element.copper_v for element in elements)
        # back through the grounds: withheld where one of them is
        across, across_to = (None, "") if self._grounds_withheld else self._across(row, node)
        start = self._end(node, supply)
        lost = self._lost(node, supply, start)
        limit = self._limit(supply, start)
        flowing = current.nominal > FLOWING_A
        if in_order is None:
            found = verdicts_of(
                state, self._volts(node).nominal, lost, copper_v, limit, elements, flowing=flowing, supply=supply
            )
        else:
            found = self._shows(node, state, lost, in_order, supply=supply)
        verdicts = tuple(found)
        in_order_v = None
        if in_order is not None and not in_order.nominal.floating[node]:
            in_order_v = in_order._volts(node).nominal
        assumed = [*model.assumed(numbers), *self._assumed_draws(row)]
        return RowVolts(
            row.code,
            row.point,
            row.level,
            row.what_for or row.declared,
            state,
            self._why(row, state),
            floating,
            Figures(self._volts(node), lost, current),
            copper_v,
            limit,
            elements,
            tuple(self._probe(probe.at, supply, start) for probe in row.probes),
            across,
            across_to,
            self._closes(row, node, across_to, elements) if across is not None else None,
            in_order_v,
            verdicts,
            tuple(dict.fromkeys(assumed)),
            lamp,
        )

    def _not_computed(self, row: Row, state: str, start: int | None, reason: str) -> RowVolts:
        """A row without figures and verdicts."""
        return RowVolts(
            row.code, row.point, row.level, row.what_for or row.declared, state, self._why(row, state), False, None, 0.0,
            self._limit(row.level == "supply", start), (), (), None, "", None, None, (), (), None, reason, bool(row.no_method),
        )  # fmt: skip

    def _why(self, row: Row, state: str) -> tuple[str, ...]:
        """What decides whether the row is live, where that is not certain."""
        uncertain = state == "depends" or row.live.get(self.model.key) in ("depends", "unknown")
        if state == "live" and any(name.split(" ")[0] in self._pulled_in for name in row.switches):
            return ()  # by the test load that pulls its relay in
        return row.why.get(self.model.key, ()) if uncertain else ()

    @cached_property
    def _pulled_in(self) -> frozenset[str]:
        """The relays that a test load or a short pulls in."""
        of = self.model.states.nets.of
        grounded = {of[node] for node in self.model.changes.grounded}
        coils = (link for link in self.circuit.links if link.kind is LinkKind.COIL)
        return frozenset(link.part for link in coils if not grounded.isdisjoint((of[link.a], of[link.b])))

    def _limit(self, supply: bool, start: int | None) -> LimitInUse:
        """The limit of a whole way: of a positive lead by the volts of the source it begins at."""
        if not supply:
            return self.model.limits.of("ground path")
        source_v = float(np.nan_to_num(self.nominal.node_v[start])) if start is not None else 0.0
        limits = self.model.limits.for_source(source_v) if source_v > 0 else self.model.limits
        return limits.of("supply path")

    def _state(self, node: int, *, supply: bool) -> str:
        level = self.model.level_words(node, supply=supply)
        return level if supply else {"live": "grounded", "dead": "open"}.get(level, level)

    def _shows(self, node: int, state: str, lost: Range, in_order: SolvedRows, *, supply: bool) -> Iterator[str]:
        """Whether a reading at the pin, plugged in, shows what is supposed."""
        before = in_order._state(node, supply=supply)
        if before != state:
            yield from shown_by_state(state, before, self._volts(node).nominal, supply=supply)
        elif state in ("live", "grounded"):
            start = in_order._end(node, supply)
            sound = in_order._lost(node, supply, start)
            yield shown_by_drop(lost, sound, in_order._limit(supply, start))

    def _assumed_draws(self, row: Row) -> list[str]:
        return [draw.assumed for draw in self.model.draws if draw.assumed and draw.name == row.point]

    def _volts(self, node: int) -> Range:
        """What a meter shows; the rows of a module share most of their probe points, so each is looked at once."""
        if node not in self._shown:
            self._shown[node] = self._range(self.node_v[:, node] * self._meter_factor(node))
        return self._shown[node]

    def _range(self, values: FloatArray) -> Range:
        """The band and the worst case of (s,) values, one of each state."""
        return band(values, self.sampled)

    def _meter_factor(self, node: int) -> float:
        """What the meter's own resistance makes of a voltage: it loads the probed point only."""
        factor: float = 1.0 / (1.0 + self.source_ohm[node] / self.model.limits.of("meter input").high)
        return factor

    def _lost(self, node: int, supply: bool, end: int | None) -> Range:
        if end is None:
            return Range(0.0, 0.0, 0.0)
        if (node, end) not in self._lost_between:
            first, second = (end, node) if supply else (node, end)
            self._lost_between[node, end] = self._range(self.node_v[:, first] - self.node_v[:, second])
        return self._lost_between[node, end]

    def _probe(self, at: str, supply: bool, start: int | None) -> ProbeVolts:
        node = self._numbers[at]
        return ProbeVolts(at, self._volts(node), self._lost(node, supply, start), bool(self.nominal.floating[node]))

    @property
    def _numbers(self) -> dict[str, int]:
        return self.tracing.once(_numbers)

    def _current(self, number: int) -> Range:
        return self._range(np.abs(self.branch_a[:, number]))

    def _element(self, number: int, start: int) -> ElementVolts:
        model = self.model
        branch = model.branches[number]
        end = branch.b if branch.a == start else branch.a
        drop = self.potential_v[:, start] - self.potential_v[:, end]
        if self.nominal.floating[start] != self.nominal.floating[end]:
            drop = drop * 0.0
        current = self._current(number)
        ohm = Range(branch.ohms.low, branch.ohms.nominal, branch.ohms.high)
        return ElementVolts(
            model.element_name(number),
            model.node_names[start],
            model.node_names[end],
            ohm,
            current,
            self._range(drop),
            branch.ohms.copper * current.nominal,
            branch.ohms.basis,
            branch.ohms.assumed,
            _element_limit(model, branch.kind),
        )

    # --- across and closing ----------------------------------------------------------------------------------------

    @cached_property
    def _grounds_withheld(self) -> bool:
        grounds = (row for row in self.report.rows if row.level == "ground" and row.part == self.report.module)
        return bool(self.withheld.charged_by_unknown) or any(
            beside_unknown(self.tracing, row.part, self.circuit.pins_of[row.part][row.pin], "ground") for row in grounds
        )

    @cached_property
    def _return_pins(self) -> list[int]:
        hub = self.model.module_inside.get(self.report.module)
        if hub is None:
            return []
        return [branch.a for branch in self.model.branches if branch.b == hub and branch.kind == "inside"]

    def _across(self, row: Row, node: int) -> tuple[Range | None, str]:
        found, back = self._across_ends(row, node)
        if not found:
            return None, self.model.node_names[back] if back >= 0 else ""
        return self._range(self.node_v[:, node] - self.node_v[:, back]), self.model.node_names[back]

    def _across_ends(self, row: Row, node: int) -> tuple[bool, int]:
        """Whether there is a voltage between a supply pin and a return pin of the module, and that pin (-1: none)."""
        pins = self._return_pins
        if row.part != self.report.module or row.level != "supply" or not pins:
            return False, -1
        floating = self.nominal.floating
        return not (floating[node] or floating[pins[0]]), pins[0]

    def _closes(self, row: Row, node: int, across_to: str, elements: Sequence[ElementVolts]) -> float | None:
        """Millivolts left over: battery less drops out, module, drops back, each drop taken from its own current and resistance."""
        back = self._numbers[across_to]
        way = self.ways.way(node, supply=True)
        if not way or not elements:
            return None
        out, home = self._sum_of_drops(way), self._sum_of_drops(self.ways.way(back, supply=False))
        v = self.nominal.node_v
        end = self._end(back, supply=False)
        return float(v[way[0][1]] - out - (v[node] - v[back]) - home - v[end]) * 1000

    def _sum_of_drops(self, way: Iterable[tuple[int, int]]) -> float:
        total = 0.0
        for number, start in way:
            branch = self.model.branches[number]
            sign = 1.0 if branch.a == start else -1.0
            drop = self.nominal.branch_a[number] / self.nominal.conductance_s[number]
            drop -= self.nominal.source_v[number]
            total += sign * float(drop)
        return total


def _element_limit(model: Model, kind: str) -> LimitInUse | None:
    items = {
        "wire": "single wire",
        "contact of relay": "switch contact",
        "contact of switch": "switch contact",
        "mating": "connection at high current",
        "ground point": "connection at high current",
        "joint": "connection at high current",
        "bolted": "connection at high current",
    }
    return model.limits.of(items[kind]) if kind in items else None
