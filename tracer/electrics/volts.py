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
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.meters import source_ohm
from tracer.electrics.model import HIGH, LOW, Model, NotSettled, Setting, Solved, model_of, with_test_lamp
from tracer.electrics.network import IntArray
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
    model = model_of(survey, key, changes, limits=limits, first=report.module)
    runs = _Runs(survey, model, report)
    in_order = None
    if changes.faulty:
        sound = model_of(survey, key, changes.without_faults, limits=limits, first=report.module)
        in_order = _Runs(survey, sound, report)
    lamps = _lamp_tests(survey, report, key, changes, limits, lamp_w) if with_lamp else {}
    rows = tuple(runs.row(row, in_order, lamps.get(row.code)) for row in report.rows)
    held = tuple(f"{name}={state}" if state not in ("yes",) else name for name, state in changes.held.items())
    battery = runs.model.battery
    return VoltsReport(
        report.vehicle,
        report.module,
        key,
        Range(battery.low, battery.nominal, battery.high),
        model.battery_state,
        battery.source,
        changes.words,
        held,
        rows,
        model.undecided,
        model.notes,
        report.complete,
        limits.of("meter input").high,
        limits.system_v,
        sum(bool(draw.assumed) for draw in model.draws)
        + sum(branch.kind == "load" and bool(branch.ohms.assumed) for branch in model.branches),
    )


class _Runs:
    """The model solved in every setting that can move a row to an end of its range."""

    def __init__(self, survey: Survey, model: Model, report: SupplyReport) -> None:
        self.survey = survey
        self.circuit = survey.circuit
        self.model = model
        self.report = report
        self._known: dict[bytes, Solved] = {}
        self.nominal = self._solve(model.setting())
        settings = [
            model.setting(series, draws, battery)
            for series in (LOW, HIGH)
            for draws in (LOW, HIGH)
            for battery in (LOW, HIGH)
        ]
        for row in report.rows:
            if row.code[0] != "C":
                settings += self._worst_of(row)
        for setting in settings:
            self._solve(setting)
        solved = list(self._known.values())  # the nominal one first
        self.node_v = np.array([one.node_v for one in solved])
        self.potential_v = np.array([one.potential_v for one in solved])
        self.branch_a = np.array([one.branch_a for one in solved])
        self.settings = [one.setting for one in solved]
        posts = [branch.b for branch in model.branches if branch.is_battery]
        # where a row has no way, it is judged against the highest post (24 V of two batteries)
        self.plus = max(posts, key=lambda node: np.nan_to_num(self.nominal.node_v[node]), default=None)
        probed = {self._numbers[probe.at] for row in report.rows for probe in row.probes}
        probed |= {self._node(row) for row in report.rows}
        nodes = sorted(probed)
        self.source_ohm = dict(zip(nodes, source_ohm(self.nominal.solution.factor, nodes).tolist(), strict=True))

    def _node(self, row: Row) -> int:
        return self.circuit.pins_of[row.part][row.pin]

    def _solve(self, setting: Setting) -> Solved:
        """The model in a setting, each only once."""
        key = setting.branches.tobytes() + setting.draws.tobytes() + bytes([setting.battery])
        if key not in self._known:
            self._known[key] = self.model.solve(setting)
        return self._known[key]

    def _worst_of(self, row: Row) -> Iterator[Setting]:
        """Settings that move the volts of a row, the volts across the module, and (of several ways) the current of its own way furthest."""
        node = self._node(row)
        if self.nominal.solution.floating[node]:
            return
        # a converter takes in and gives out through one ground: there too a slope may turn round
        converts = any(branch.kind == "converter" for branch in self.model.branches)
        several = converts or row.level == "ground" or not all(probe.sole for probe in row.probes)
        # what is lost on the way of a supply is most where the pin is lowest, but goes with the volts of the battery the other way round
        yield from self._worst({node: 1.0}, again=several, both_batteries=row.level == "supply")
        across, back = self._across_ends(row, node)
        if across:
            yield from self._worst({node: 1.0, back: -1.0}, again=several or len(self._return_pins()) > 1)
        way = self._way(node, row.level == "supply")
        if way and several:
            number, _ = way[-1 if row.level == "supply" else 0]
            branch = self.model.branches[number]
            sign = 1.0 if self.nominal.branch_a[number] >= 0 else -1.0
            for setting in self._worst({branch.a: sign, branch.b: -sign}):
                # across itself it loses most with its greatest resistance, but carries most with its least
                branches = setting.branches.copy()
                branches[number] = HIGH - branches[number]
                yield replace(setting, branches=branches)

    def _worst(
        self, push: Mapping[int, float], *, again: bool = False, both_batteries: bool = False
    ) -> Iterator[Setting]:
        """The settings that move a sum of voltages furthest down and up, by the sign of its slope in each value (adjoint network).

        The slopes are those of the nominal state, and where there are several ways (`again`) once more those of the state that this leads to: there a slope may turn round.
        """
        for up in (False, True):
            branches, draws = self._steepest(self.nominal, push, up=up)
            here, other = (HIGH, LOW) if up else (LOW, HIGH)
            yield Setting(branches, draws, here)
            if both_batteries and self.model.battery.low < self.model.battery.high:
                yield Setting(branches, draws, other)
            if again:
                there = self._solve(Setting(branches, draws, here))
                further, draws_ = self._steepest(there, push, up=up)
                if not (np.array_equal(further, branches) and np.array_equal(draws_, draws)):
                    yield Setting(further, draws_, here)

    def _steepest(self, solved: Solved, push: Mapping[int, float], *, up: bool) -> tuple[IntArray, IntArray]:
        """The choice for each branch and draw that moves the sum up (or down) from a solved state."""
        solution = solved.solution
        pushed = np.zeros(len(self.model.node_names))
        for node, share in push.items():
            pushed[node] += share
        answer = solution.factor.respond(pushed)
        count = len(self.model.branches)
        a, b = solution.network.ends[:count].T
        # of the sum, from the low to the high end of each branch: its ohms, and the volts of diodes and converters
        slope = (answer[a] - answer[b]) * (solved.branch_a * self._spread_ohm - self._spread_v)
        first = np.array([draw.first for draw in self.model.draws], dtype=np.intp)
        second = np.array([draw.second for draw in self.model.draws], dtype=np.intp)
        falls = (answer[first] - answer[second]) > 0 if first.size else np.zeros(0, dtype=np.bool_)
        branches = np.where((slope < 0) == up, LOW, HIGH).astype(np.intp)
        return branches, np.where(falls == up, LOW, HIGH).astype(np.intp)

    # --- one row -----------------------------------------------------------------------------------------------

    def row(self, row: Row, in_order: _Runs | None, lamp: LampTest | None) -> RowVolts:
        model = self.model
        node = self._node(row)
        supply = row.level == "supply"
        state = model.level_words(node, supply=supply)
        if not supply:
            state = {"live": "grounded", "dead": "open"}.get(state, state)
        floating = bool(self.nominal.solution.floating[node])
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
        if in_order is not None and not in_order.nominal.solution.floating[node]:
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
        factor = self._meter_factor(node)
        return _range(self.node_v[:, node] * factor)

    def _meter_factor(self, node: int) -> float:
        """What the meter's own resistance makes of a voltage: it loads the probed point only."""
        factor: float = 1.0 / (1.0 + self.source_ohm[node] / self.model.limits.of("meter input").high)
        return factor

    def _lost(self, node: int, supply: bool, start: int | None) -> Range:
        if not supply:
            return _range(self.node_v[:, node])
        if start is None:
            return Range(0.0, 0.0, 0.0)
        return _range(self.node_v[:, start] - self.node_v[:, node])

    def _probe(self, at: str, supply: bool, start: int | None) -> ProbeVolts:
        node = self._numbers[at]
        return ProbeVolts(
            at, self._volts(node), self._lost(node, supply, start), bool(self.nominal.solution.floating[node])
        )

    @property
    def _numbers(self) -> dict[str, int]:
        if not hasattr(self, "_number_of"):
            self._number_of = {name: number for number, name in enumerate(self.circuit.node_names)}
        return self._number_of

    def _current(self, number: int) -> Range:
        return _range(np.abs(self.branch_a[:, number]))

    def _element(self, number: int, start: int) -> ElementVolts:
        model = self.model
        branch = model.branches[number]
        end = branch.b if branch.a == start else branch.a
        drop = self.potential_v[:, start] - self.potential_v[:, end]
        if self.nominal.solution.floating[start] != self.nominal.solution.floating[end]:
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
        """(branch, node where it begins) from the source to the pin, or from the pin to battery negative: where most current flows, else the shortest closed way."""
        at = self._at
        found: list[tuple[int, int]] = []
        seen = {node}
        here = node
        a_now = self.nominal.branch_a
        stops = self._sources if supply else {self.model.reference}
        while here not in stops:
            best, most = -1, FLOWING_A
            for number in at.get(here, ()):
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
            for number in self._at.get(here, ()):
                branch = self.model.branches[number]
                other = branch.b if branch.a == here else branch.a
                if branch.is_diode and (branch.b if supply else branch.a) != here:
                    continue
                if other not in came:
                    came[other] = (number, here)
                    queue.append(other)
        return []

    @cached_property
    def _spread_ohm(self) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array([branch.ohms.high - branch.ohms.low for branch in self.model.branches])

    @cached_property
    def _spread_v(self) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        """Of what pushes inside a branch; the battery has an end of its own."""
        return np.array(
            [
                0.0 if branch.volts is None or branch.is_battery else branch.volts.high - branch.volts.low
                for branch in self.model.branches
            ]
        )

    @cached_property
    def _sources(self) -> set[int]:
        """Where a way of supply begins: battery posts and the outputs of converters."""
        return {branch.b for branch in self.model.branches if branch.is_battery or branch.kind == "converter"}

    @property
    def _at(self) -> dict[int, list[int]]:
        if not hasattr(self, "_branches_at"):
            found: dict[int, list[int]] = {}
            is_load = self.model.is_load.tolist()
            for number, branch in enumerate(self.model.branches):
                inside = branch.kind in ("inside", "reference of", "converter")
                if branch.closed and not is_load[number] and not branch.is_battery and not inside:
                    found.setdefault(branch.a, []).append(number)
                    found.setdefault(branch.b, []).append(number)
            self._branches_at = found
        return self._branches_at

    # --- across and closing ----------------------------------------------------------------------------------------

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
        pins = self._return_pins()
        if row.part != self.report.module or row.level != "supply" or not pins:
            return False, -1
        floating = self.nominal.solution.floating
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
        network = self.nominal.solution.network
        for number, start in way:
            branch = self.model.branches[number]
            sign = 1.0 if branch.a == start else -1.0
            drop = self.nominal.branch_a[number] / network.conductance_s[number] - network.source_v[number]
            total += sign * float(drop)
        return total


def _range(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Range:
    """Nominal is the first; a floating point (not a number) counts as 0 V."""
    # plain numbers: for so few, the array functions take ten times as long (measured)
    clean = [0.0 if math.isnan(value) else value for value in values.tolist()]
    return Range(_known(min(clean)), _known(clean[0]), _known(max(clean)))


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
            readings.append(None if np.isnan(volts) else volts / (1.0 + ohm / meter_ohm))
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
    for key in keys or report.keys:
        volts = volts_of(survey, report, key, limits=limits, with_lamp=False)
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
