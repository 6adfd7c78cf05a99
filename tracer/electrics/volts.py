"""Expected volts at every probe point of a module's rows, the drop of each element, and what a test there can and cannot tell.

A range is not a tolerance that was guessed: it holds what the computation gives when everything that is uncertain (resistance of wires and contacts, currents
that were not typed in, the battery) is taken at its ends, all together and in the combination that moves the pin most.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from tracer.electrics.changes import Changes
from tracer.electrics.extremes import Push, extremes, source_ohms
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.many import States, Together, alike
from tracer.electrics.meters import source_ohm
from tracer.electrics.model import Model, NotSettled, model_of, models_of, with_test_lamp
from tracer.electrics.network import BoolArray, FloatArray, IntArray
from tracer.trace.results import Row, SupplyReport
from tracer.trace.survey import Survey

TEST_LAMP_W = 21.0
NO_LAMP = (["bus"], ["signal"], ["reference"], ["output"], ["shield"])  # roles of pins on which no lamp may hang
BACKFED_V = 1.0  # a dead pin above this is fed back
FLOWING_A = 1e-6  # below, no current is said to flow
KNOWN_DIGITS = 10  # of volts and amperes, after the point: what the solve is sure of


@dataclass(frozen=True, slots=True)
class Range:
    """Least, nominal and greatest value."""

    low: float
    nominal: float
    high: float


@dataclass(frozen=True, slots=True)
class ElementVolts:
    """One element on the way of a row: its current (A) and drop (V), the drop of its copper alone, and the usual limit for such an element."""

    name: str
    from_point: str
    to_point: str
    ohm: Range
    current_a: Range
    drop_v: Range
    copper_v: float
    basis: str
    assumed: str
    limit: LimitInUse | None

    @property
    def over(self) -> bool:
        """Whether it is over its limit although in order, nominal current."""
        return self.limit is not None and self.drop_v.nominal > self.limit.high


@dataclass(frozen=True, slots=True)
class ProbeVolts:
    """A probe point: volts to battery negative, and volts lost up to it (supply: from the source; ground: to battery negative)."""

    at: str
    volts: Range
    lost: Range
    floating: bool


@dataclass(frozen=True, slots=True)
class LampTest:
    """The module unplugged: what a meter shows at the harness pin, and what it shows with a lamp of `watts` on it. None where floating.

    No lamp belongs on a pin that is declared as something else than supply or ground, whatever was traced to it: `allowed` is false, `lamp_v` None.
    """

    meter_v: float | None
    lamp_v: float | None
    watts: float
    allowed: bool = True


@dataclass(frozen=True, slots=True)
class RowVolts:
    """One row in one state.

    `state` is live, dead or depends (for a ground: grounded, open, depends); `why` what it depends on. `elements` are the way along which most of its current
    flows, from the source to the pin (ground: from the pin to battery negative). `across` is the voltage to the module's return pin `across_to`. `closes_mv` is
    what is left when the drops on the way, the module and the drops on the way back are taken from the battery. `limit` is for the whole way.
    """

    code: str
    point: str
    level: str
    declared: str
    state: str
    why: tuple[str, ...]
    floating: bool
    volts: Range
    lost: Range
    current_a: Range
    copper_v: float
    limit: LimitInUse
    elements: tuple[ElementVolts, ...]
    probes: tuple[ProbeVolts, ...]
    across: Range | None
    across_to: str
    closes_mv: float | None
    in_order_v: float | None
    verdicts: tuple[str, ...]
    assumed: tuple[str, ...]
    lamp: LampTest | None
    live_unplugged: bool = True


@dataclass(frozen=True, slots=True)
class VoltsReport:
    """A module's rows in one key state, with what they rest on."""

    vehicle: str
    module: str
    key: str
    battery: Range
    battery_state: str
    battery_source: str
    changes: tuple[str, ...]
    held: tuple[str, ...]
    rows: tuple[RowVolts, ...]
    undecided: tuple[str, ...]
    notes: tuple[str, ...]
    complete: bool
    loose_elsewhere: int
    meter_ohm: float
    system_v: int
    assumed_currents: int  # of all modules and loads, not only on the rows


def volts_of(
    survey: Survey,
    report: SupplyReport,
    key: str,
    changes: Changes | None = None,
    *,
    limits: LimitsInUse,
    lamp_w: float = TEST_LAMP_W,
    with_lamp: bool = True,
) -> VoltsReport:
    """Expected volts of every row of a module in a key state.

    Raises
    ------
    NotSettled : no steady voltages were found; never hidden
    ValueError : no such key state
    """
    changes = changes or Changes()
    models = [model_of(survey, key, changes, limits=limits, first=report.module)]
    if changes.faulty:
        models.append(model_of(survey, key, changes.without_faults, limits=limits, first=report.module))
    runs, *sound = _runs_of(survey, models, report)
    lamps = _lamp_tests(survey, report, key, changes, limits, lamp_w) if with_lamp else {}
    return _report(runs, sound[0] if sound else None, lamps)


def _report(runs: _Runs, in_order: _Runs | None, lamps: Mapping[str, LampTest]) -> VoltsReport:
    model, report = runs.model, runs.report
    rows = tuple(runs.row(row, in_order, lamps.get(row.code)) for row in report.rows)
    held = tuple(f"{name}={state}" if state not in ("yes",) else name for name, state in model.changes.held.items())
    battery = model.battery
    return VoltsReport(
        report.vehicle,
        report.module,
        model.key,
        Range(battery.low, battery.nominal, battery.high),
        model.battery_state,
        battery.source,
        model.changes.words,
        held,
        rows,
        model.undecided,
        model.notes,
        report.complete,
        report.loose_elsewhere,
        model.limits.of("meter input").high,
        model.limits.system_v,
        sum(bool(draw.assumed) for draw in model.draws)
        + sum(branch.kind == "load" and bool(branch.ohms.assumed) for branch in model.branches),
    )


def _runs_of(survey: Survey, models: Sequence[Model], report: SupplyReport) -> list[_Runs]:
    """Each model solved in every setting that can move a row to an end of its range; those with the same branches together.

    Raises
    ------
    NotSettled : no steady voltages in some setting
    """
    found: dict[int, _Runs] = {}
    for group in alike(models):
        together = Together([models[number] for number in group])
        nominal = together.solve([(place, model.setting()) for place, model in enumerate(together.models)])
        some = [_Runs(survey, model, report, nominal, place) for place, model in enumerate(together.models)]
        ohms = source_ohms(together, nominal, [one.probed for one in some])
        states = extremes(together, nominal, [list(one.pushes()) for one in some])
        for one, ohm in zip(some, ohms, strict=True):
            one.take([nominal, *states], ohm)
        found.update(zip(group, some, strict=True))
    return [found[number] for number in range(len(models))]


@dataclass(frozen=True, eq=False)
class _Nominal:
    """The nominal state: (n,) volts against battery negative and what floats, (m,) amperes, siemens and volts of the branches."""

    node_v: FloatArray
    floating: BoolArray
    branch_a: FloatArray
    conductance_s: FloatArray
    source_v: FloatArray


class _Runs:
    """A model and its states: first the nominal one, then those in every setting that can move a row to an end of its range.

    `place` is its number among the models of the states. After `take`, `node_v`, `potential_v` (s, n) and `branch_a` (s, m) hold all states, the nominal first.
    """

    node_v: FloatArray
    potential_v: FloatArray
    branch_a: FloatArray
    source_ohm: dict[int, float]

    def __init__(self, survey: Survey, model: Model, report: SupplyReport, nominal: States, place: int) -> None:
        self.survey = survey
        self.circuit = survey.circuit
        self.model = model
        self.report = report
        self.place = place
        self.nominal = _Nominal(
            nominal.node_v(np.array([place]))[:, 0],
            nominal.shape[place].floating,
            nominal.branch_a[:, place],
            nominal.conductance_s[:, place],
            nominal.source_v[:, place],
        )
        self._ways: dict[tuple[int, bool], list[tuple[int, int]]] = {}
        self._shown: dict[int, Range] = {}
        self._lost_between: dict[tuple[int, int | None], Range] = {}
        posts = [branch.b for branch in model.branches if branch.is_battery]
        # where a row has no way, it is judged against the highest post (24 V of two batteries)
        self.plus = max(posts, key=lambda node: np.nan_to_num(self.nominal.node_v[node]), default=None)

    @cached_property
    def probed(self) -> IntArray:
        """Nodes at which a meter is held."""
        nodes = {self._numbers[probe.at] for row in self.report.rows for probe in row.probes}
        return np.array(sorted(nodes | {self._node(row) for row in self.report.rows}), dtype=np.intp)

    def take(self, states: Sequence[States], source_ohm: FloatArray) -> None:
        """Its columns of all the states, and the ohms that a meter looks into at each of `probed`."""
        columns = [(some, np.flatnonzero(some.model == self.place)) for some in states]
        self.node_v = np.concatenate([some.node_v(mine) for some, mine in columns], axis=1).T
        self.potential_v = np.concatenate([some.potential_v[:, mine] for some, mine in columns], axis=1).T
        self.branch_a = np.concatenate([some.branch_a[:, mine] for some, mine in columns], axis=1).T
        self.source_ohm = dict(zip(self.probed.tolist(), source_ohm.tolist(), strict=True))

    def _node(self, row: Row) -> int:
        return self.circuit.pins_of[row.part][row.pin]

    def pushes(self) -> Iterator[Push]:
        """What is to be moved to its ends for the rows."""
        for row in self.report.rows:
            if row.code[0] != "C":
                yield from self._pushes_of(row)

    def _pushes_of(self, row: Row) -> Iterator[Push]:
        """The volts of a row, the volts across the module, and (of several ways) the current of its own way."""
        node = self._node(row)
        if self.nominal.floating[node]:
            return
        # a converter takes in and gives out through one ground: there too a slope may turn round
        several = self._converts or row.level == "ground" or not all(probe.sole for probe in row.probes)
        # what is lost on the way of a supply is most where the pin is lowest, but goes with the volts of the battery the other way round
        yield Push({node: 1.0}, again=several, both_batteries=row.level == "supply")
        across, back = self._across_ends(row, node)
        if across:
            yield Push({node: 1.0, back: -1.0}, again=several or len(self._return_pins) > 1)
        way = self._way(node, row.level == "supply")
        if way and several:
            number, _ = way[-1 if row.level == "supply" else 0]
            branch = self.model.branches[number]
            sign = 1.0 if self.nominal.branch_a[number] >= 0 else -1.0
            # across itself it loses most with its greatest resistance, but carries most with its least
            yield Push({branch.a: sign, branch.b: -sign}, turned=number)

    @cached_property
    def _converts(self) -> bool:
        return any(branch.kind == "converter" for branch in self.model.branches)

    # --- one row -----------------------------------------------------------------------------------------------

    def row(self, row: Row, in_order: _Runs | None, lamp: LampTest | None) -> RowVolts:
        model = self.model
        node = self._node(row)
        supply = row.level == "supply"
        state = model.level_words(node, supply=supply)
        if not supply:
            state = {"live": "grounded", "dead": "open"}.get(state, state)
        floating = bool(self.nominal.floating[node])
        way = self._way(node, supply)
        elements = tuple(self._element(number, node_from) for number, node_from in way)
        numbers = [number for number, _ in way]
        current = self._current(numbers[-1 if supply else 0]) if numbers else Range(0.0, 0.0, 0.0)
        copper_v = sum(element.copper_v for element in elements)
        across, across_to = self._across(row, node)
        start = way[0][1] if supply and way else self.plus
        lost = self._lost(node, supply, start)
        limit = self._limit(supply, start)
        flowing = current.nominal > FLOWING_A
        if in_order is None:
            found = _verdicts(
                state, self._volts(node).nominal, lost, copper_v, limit, elements, flowing=flowing, supply=supply
            )
        else:
            found = self._shows(row, node, state, lost, in_order, supply=supply)
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
            row.why.get(model.key, ())
            if state == "depends" or row.live.get(model.key) in ("depends", "unknown")
            else (),
            floating,
            self._volts(node),
            lost,
            current,
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

    def _limit(self, supply: bool, start: int | None) -> LimitInUse:
        """The limit of a whole way: of a positive lead by the volts of the source it begins at."""
        if not supply:
            return self.model.limits.of("ground path")
        source_v = float(np.nan_to_num(self.nominal.node_v[start])) if start is not None else 0.0
        limits = self.model.limits.for_source(source_v) if source_v > 0 else self.model.limits
        return limits.of("supply path")

    def _shows(self, row: Row, node: int, state: str, lost: Range, in_order: _Runs, *, supply: bool) -> Iterator[str]:
        """Whether a reading at the pin, plugged in, shows what is supposed."""
        before = in_order.model.level_words(node, supply=supply)
        before = before if supply else {"live": "grounded", "dead": "open"}.get(before, before)
        if before != state:
            yield f"{state} in place of {before}: a reading shows it"
            yield from _backfed(state, self._volts(node).nominal, supply=supply)
            return
        if state not in ("live", "grounded"):
            return
        way = in_order._way(node, supply)
        start = way[0][1] if supply and way else in_order.plus
        sound = in_order._lost(node, supply, start)
        limit = in_order._limit(supply, start)
        seen = f"in order {_milli(sound.low)} to {_milli(sound.high)} are lost"
        if sound.low <= lost.nominal <= sound.high:
            yield f"{_milli(lost.nominal)} lost, and {seen}: a reading here, plugged in, does not show what is supposed"
        elif lost.nominal < sound.low:
            yield f"{_milli(lost.nominal)} lost where {seen}: less than in order, for less current flows; a small drop here proves nothing"
        elif lost.nominal <= limit.high:
            yield f"{_milli(lost.nominal)} lost where {seen}: the drop shows it, although the limit of {limit.high:.2f} V passes it"
        else:
            yield f"{_milli(lost.nominal)} lost where {seen}: the drop shows it"

    def _assumed_draws(self, row: Row) -> list[str]:
        return [draw.assumed for draw in self.model.draws if draw.assumed and draw.name == row.point]

    def _volts(self, node: int) -> Range:
        """What a meter shows; the rows of a module share most of their probe points, so each is looked at once."""
        if node not in self._shown:
            self._shown[node] = _range(self.node_v[:, node] * self._meter_factor(node))
        return self._shown[node]

    def _meter_factor(self, node: int) -> float:
        """What the meter's own resistance makes of a voltage: it loads the probed point only."""
        factor: float = 1.0 / (1.0 + self.source_ohm[node] / self.model.limits.of("meter input").high)
        return factor

    def _lost(self, node: int, supply: bool, start: int | None) -> Range:
        if supply and start is None:
            return Range(0.0, 0.0, 0.0)
        way = (node, start if supply else None)
        if way not in self._lost_between:
            lost_v = self.node_v[:, start] - self.node_v[:, node] if supply else self.node_v[:, node]
            self._lost_between[way] = _range(lost_v)
        return self._lost_between[way]

    def _probe(self, at: str, supply: bool, start: int | None) -> ProbeVolts:
        node = self._numbers[at]
        return ProbeVolts(at, self._volts(node), self._lost(node, supply, start), bool(self.nominal.floating[node]))

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {name: number for number, name in enumerate(self.circuit.node_names)}

    def _current(self, number: int) -> Range:
        return _range(np.abs(self.branch_a[:, number]))

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
            _range(drop),
            branch.ohms.copper * current.nominal,
            branch.ohms.basis,
            branch.ohms.assumed,
            _element_limit(model, branch.kind),
        )

    # --- the way of the current ----------------------------------------------------------------------------------

    def _way(self, node: int, supply: bool) -> list[tuple[int, int]]:
        """As `_traced_way`, each once."""
        if (node, supply) not in self._ways:
            self._ways[node, supply] = self._traced_way(node, supply)
        return self._ways[node, supply]

    def _traced_way(self, node: int, supply: bool) -> list[tuple[int, int]]:
        """(branch, node where it begins) from the source to the pin, or from the pin to battery negative: where most current flows, else the shortest closed way."""
        found: list[tuple[int, int]] = []
        seen = {node}
        here = node
        a_now = self.nominal.branch_a
        stops = self._sources if supply else {self.model.reference}
        while here not in stops:
            best, most = -1, FLOWING_A
            for number in self._at(here):
                branch = self.model.branches[number]
                into = -a_now[number] if branch.a == here else a_now[number]
                amps = into if supply else -into
                other = branch.b if branch.a == here else branch.a
                if amps > most and other not in seen:
                    best, most = number, float(amps)
            if best < 0:
                break
            branch = self.model.branches[best]
            other = branch.b if branch.a == here else branch.a
            found.append((best, other if supply else here))
            seen.add(other)
            here = other
        if here not in stops:
            found = self._shortest(node, stops, supply)
        return found[::-1] if supply else found

    def _shortest(self, node: int, stops: set[int], supply: bool) -> list[tuple[int, int]]:
        came: dict[int, tuple[int, int]] = {node: (-1, -1)}
        queue = [node]
        for here in queue:
            if here in stops:
                steps = []
                while came[here][0] >= 0:
                    number, before = came[here]
                    steps.append((number, here if supply else before))
                    here = before
                return steps[::-1]
            for number in self._at(here):
                branch = self.model.branches[number]
                other = branch.b if branch.a == here else branch.a
                if branch.is_diode and (branch.b if supply else branch.a) != here:
                    continue
                if other not in came:
                    came[other] = (number, here)
                    queue.append(other)
        return []

    @cached_property
    def _sources(self) -> set[int]:
        """Where a way of supply begins: battery posts and the outputs of converters."""
        return {branch.b for branch in self.model.branches if branch.is_battery or branch.kind == "converter"}

    @cached_property
    def _leading(self) -> tuple[IntArray, list[int]]:
        """The closed branches that lead, node by node and at each by number; and where each node begins."""
        model = self.model
        passed = ("inside", "reference of", "converter")
        leads = np.fromiter(
            (branch.closed and not branch.is_battery and branch.kind not in passed for branch in model.branches),
            dtype=np.bool_,
        )
        numbers = np.flatnonzero(leads & ~model.is_load)
        nodes = model.placed.ends[numbers].ravel()
        order = np.argsort(nodes, kind="stable")
        begin = np.searchsorted(nodes[order], np.arange(len(model.node_names) + 1))
        return np.repeat(numbers, 2)[order], begin.tolist()

    def _at(self, node: int) -> list[int]:
        """Closed branches that lead, at a node."""
        numbers, begin = self._leading
        found: list[int] = numbers[begin[node] : begin[node + 1]].tolist()
        return found

    # --- across and closing ----------------------------------------------------------------------------------------

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
        return _range(self.node_v[:, node] - self.node_v[:, back]), self.model.node_names[back]

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
        way = self._way(node, supply=True)
        if not way or not elements:
            return None
        out, home = self._sum_of_drops(way), self._sum_of_drops(self._way(back, supply=False))
        v = self.nominal.node_v
        return float(v[way[0][1]] - out - (v[node] - v[back]) - home) * 1000

    def _sum_of_drops(self, way: Iterable[tuple[int, int]]) -> float:
        total = 0.0
        for number, start in way:
            branch = self.model.branches[number]
            sign = 1.0 if branch.a == start else -1.0
            drop = self.nominal.branch_a[number] / self.nominal.conductance_s[number]
            drop -= self.nominal.source_v[number]
            total += sign * float(drop)
        return total


def _range(values: FloatArray) -> Range:
    """Nominal is the first; a floating point (not a number) counts as 0 V."""
    low = float(values.min())
    if math.isnan(low):
        return _range(np.where(np.isnan(values), 0.0, values))
    return Range(_known(low), _known(float(values[0])), _known(float(values.max())))


def _known(value: float) -> float:
    """Without what the solve does not know: else the last bit would decide whether 0.15 mV is shown as 0.1 or 0.2."""
    return round(value, KNOWN_DIGITS)


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


def _verdicts(
    state: str,
    volts_v: float,
    lost: Range,
    copper_v: float,
    limit: LimitInUse,
    elements: Sequence[ElementVolts],
    *,
    flowing: bool,
    supply: bool,
) -> Iterable[str]:
    """What the numbers allow one to say beforehand."""
    if state not in ("live", "grounded"):
        yield from _backfed(state, volts_v, supply=supply)
        return
    what = "the whole way" if supply else "the whole way back"
    if not flowing:
        yield "no current flows here in this state: a reading proves nothing about resistance; load it"
        return
    guessed = [element for element in elements if element.assumed]
    resting = "with what was typed in" if not guessed else "by what was typed in and by default values"
    typed_copper_v = copper_v - sum(element.copper_v for element in guessed)
    typed_lost_v = lost.nominal - sum(element.drop_v.nominal for element in guessed)
    if typed_copper_v > limit.high:
        yield (
            f"copper alone loses {typed_copper_v:.2f} V here, above the limit of {limit.high:.2f} V for {what}: a good wire would be failed; "
            f"up to {lost.high:.2f} V is in order {resting}"
        )
    elif typed_lost_v > limit.high:
        most = max(elements, key=lambda element: element.drop_v.nominal)
        yield (
            f"in order about {typed_lost_v:.2f} V are lost here, above the limit of {limit.high:.2f} V for {what}, most of it in {most.name} ({_milli(most.drop_v.nominal)}): "
            f"the limit would fail a good circuit; up to {lost.high:.2f} V is in order {resting}"
        )
    elif lost.nominal > limit.high:
        yield (
            f"{len(guessed)} values on this way are not typed in: {lost.low:.2f} to {lost.high:.2f} V by default values cannot tell a good wire from a bad one; "
            f"type them in, or keep to the limit of {limit.high:.2f} V"
        )
    elif lost.high > limit.high:
        yield f"between {limit.high:.2f} V (limit) and {lost.high:.2f} V a reading can still be in order: type in what was assumed, or measure the current"
    else:
        yield f"above {_milli(lost.high)} there is more resistance than the wiring explains, although the limit passes {limit.high:.2f} V"
    for element in elements:
        if element.over and element.limit is not None and not element.assumed:
            where = f"{element.name} ({element.from_point} to {element.to_point})"
            yield f"{where} alone loses {_milli(element.drop_v.nominal)}, more than the {element.limit.high:.2f} V for it ({element.limit.item})"


def _backfed(state: str, volts_v: float, *, supply: bool) -> Iterator[str]:
    if volts_v <= BACKFED_V:
        return
    if supply:
        yield f"reads {volts_v:.1f} V although it is {state}: that comes back through a load or through the module, and is no supply"
    else:
        yield f"its way to ground is open and it is pulled up to {volts_v:.1f} V through the module or a load: a lost ground"


def amps_number(amps: float, figures: int = 2) -> str:
    """'0.015', '1.2', '120': rounded to so many figures and written out; below 1 mA 0."""
    return f"{float(f'{amps:.{figures}g}'):g}" if amps >= 0.001 else "0"


def _milli(volts: float) -> str:
    return f"{volts * 1000:.0f} mV" if volts < 0.1 else f"{volts:.2f} V"


# --- unplugged -----------------------------------------------------------------------------------------------------


def _lamp_tests(
    survey: Survey, report: SupplyReport, key: str, changes: Changes, limits: LimitsInUse, watts: float
) -> dict[str, LampTest]:
    """Each pin of the module alone, unplugged: the meter by itself, and with a lamp."""
    unplugged = replace(changes, unplugged=tuple(dict.fromkeys((*changes.unplugged, report.module))))
    model = model_of(survey, key, unplugged, limits=limits, first=report.module)
    bare = model.solve()
    meter_ohm = limits.of("meter input").high
    found = {}
    for row in report.rows:
        if row.part != report.module:
            continue
        node = survey.circuit.pins_of[row.part][row.pin]
        loaded = with_test_lamp(model, node, watts, supply=row.level == "supply").solve()
        readings = []
        for one in (bare, loaded):
            volts = float(one.node_v[node])
            ohm = float(source_ohm(one.solution.factor, [node])[0])
            # a pin behind a diode that carries nothing lies below ground in the model by the diode's volts; the diode
            # blocks there, and the meter draws the pin to battery negative
            readings.append(None if np.isnan(volts) else max(0.0, volts / (1.0 + ohm / meter_ohm)))
        allowed = row.declared.split()[:1] not in NO_LAMP
        found[row.code] = LampTest(readings[0], readings[1] if allowed else None, watts, allowed)
    return found


# --- for the list of supplies --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ComputedExpect:
    """A computed reading for one probe point of one row in one key state; volts to battery negative, `lost_v` up to the point."""

    state: str
    nominal_v: float
    low_v: float
    high_v: float
    lost_nominal_v: float
    lost_high_v: float
    floating: bool
    current_a: Range  # through the row's pin
    limit: LimitInUse  # of the whole way
    assumed: tuple[str, ...]  # what was not typed in and taken by default
    battery: Range
    battery_state: str

    @property
    def load(self) -> str:
        """The current that the reading holds for, in words."""
        current = self.current_a
        low, nominal, high = (amps_number(a, 3) for a in (current.low, current.nominal, current.high))
        return f"{nominal} A ({low} to {high} A), plugged in"


def expectations(
    survey: Survey, report: SupplyReport, *, limits: LimitsInUse, keys: Iterable[str] | None = None
) -> dict[tuple[str, str], tuple[ComputedExpect, ...]]:
    """For each probe point (row code, point) the computed reading in each key state, module plugged in.

    Raises
    ------
    NotSettled : no steady voltages in some key state
    """
    found: dict[tuple[str, str], list[ComputedExpect]] = {}
    wanted = list(keys or report.keys)
    models = models_of(survey, wanted, limits=limits, first=report.module)
    for key, runs in zip(wanted, _runs_of(survey, models, report), strict=True):
        volts = _report(runs, None, {})
        for row in volts.rows:
            for probe in row.probes:
                found.setdefault((row.code, probe.at), []).append(
                    ComputedExpect(
                        key, probe.volts.nominal, probe.volts.low, probe.volts.high, probe.lost.nominal, probe.lost.high,
                        probe.floating, row.current_a, row.limit, row.assumed, volts.battery, volts.battery_state,
                    )
                )  # fmt: skip
    return {point: tuple(expected) for point, expected in found.items()}


__all__ = [
    "ComputedExpect",
    "ElementVolts",
    "LampTest",
    "NotSettled",
    "ProbeVolts",
    "Range",
    "RowVolts",
    "VoltsReport",
    "amps_number",
    "expectations",
    "volts_of",
]  # fmt: skip
