"""Expected volts at every probe point of a module's rows, the drop of each element, and what a test there can and cannot tell.

A range is not a tolerance that was guessed: it holds what the computation gives when everything that is uncertain (resistance of wires and contacts, currents
that were not typed in, the battery) is taken at its ends, all together and in the combination that moves the pin most.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tracer.electrics.changes import Changes
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.meters import source_ohm
from tracer.electrics.model import HIGH, LOW, Model, NotSettled, Setting, model_of, with_test_lamp
from tracer.trace.results import Row, SupplyReport
from tracer.trace.survey import Survey

TEST_LAMP_W = 21.0
BACKFED_V = 1.0  # a dead pin above this is fed back
FLOWING_A = 1e-6  # below, no current is said to flow


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
    """The module unplugged: what a meter shows at the harness pin, and what it shows with a lamp of `watts` on it. None where floating."""

    meter_v: float | None
    lamp_v: float | None
    watts: float


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
        plain = replace(Changes(), held=changes.held, battery_v=changes.battery_v)
        in_order = _Runs(survey, model_of(survey, key, plain, limits=limits, first=report.module), report)
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
        self.nominal = model.solve()
        settings = [
            model.setting(series, draws, battery)
            for series in (LOW, HIGH)
            for draws in (LOW, HIGH)
            for battery in (LOW, HIGH)
        ]
        for row in report.rows:
            if row.code[0] != "C" and not all(probe.sole for probe in row.probes):
                settings += self._worst(self._node(row))
        solved = [self.nominal, *(model.solve(setting) for setting in settings)]
        self.node_v = np.array([one.node_v for one in solved])
        self.potential_v = np.array([one.solution.potential_v for one in solved])
        self.branch_a = np.array([one.branch_a for one in solved])
        self.settings = [one.setting for one in solved]
        posts = [branch.b for branch in model.branches if branch.is_battery]
        # where a row has no way, it is judged against the highest post (24 V of two batteries)
        self.plus = max(posts, key=lambda node: np.nan_to_num(self.nominal.node_v[node]), default=None)
        self.source_ohm = dict[int, float]()

    def _node(self, row: Row) -> int:
        return self.circuit.pins_of[row.part][row.pin]

    def _worst(self, node: int) -> list[Setting]:
        """The two settings that move a node furthest, by the sign of the voltage's slope in each value (adjoint network)."""
        solution = self.nominal.solution
        if solution.floating[node]:
            return []
        push = np.zeros(len(self.model.node_names))
        push[node] = 1.0
        answer = solution.factor.respond(push)
        count = len(self.model.branches)
        a, b = solution.network.ends[:count].T
        slope = (answer[a] - answer[b]) * self.nominal.branch_a  # of the node's volts in each resistance
        lowers = slope < 0
        high = np.where(lowers, LOW, HIGH).astype(np.intp)
        low = np.where(lowers, HIGH, LOW).astype(np.intp)
        first = np.array([draw.first for draw in self.model.draws], dtype=np.intp)
        second = np.array([draw.second for draw in self.model.draws], dtype=np.intp)
        falls = (answer[first] - answer[second]) > 0 if first.size else np.zeros(0, dtype=np.bool_)
        draws_low = np.where(falls, HIGH, LOW).astype(np.intp)
        return [Setting(low, draws_low, LOW), Setting(high, HIGH - draws_low, HIGH)]

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
        limit = model.limits.of("supply path" if supply else "ground path")
        numbers = [number for number, _ in way]
        current = self._current(numbers[-1 if supply else 0]) if numbers else Range(0.0, 0.0, 0.0)
        copper_v = sum(element.copper_v for element in elements)
        across, across_to = self._across(row, node)
        start = way[0][1] if supply and way else self.plus
        lost = self._lost(node, supply, start)
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
        sound = in_order._lost(node, supply, way[0][1] if supply and way else in_order.plus)
        limit = self.model.limits.of("supply path" if supply else "ground path")
        seen = f"in order {_milli(sound.low)} to {_milli(sound.high)} are lost"
        if sound.low <= lost.nominal <= sound.high:
            yield f"{_milli(lost.nominal)} lost, and {seen}: a reading here, plugged in, does not show what is supposed"
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
        if node not in self.source_ohm:
            self.source_ohm[node] = float(source_ohm(self.nominal.solution.factor, [node])[0])
        return 1.0 / (1.0 + self.source_ohm[node] / self.model.limits.of("meter input").high)

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
        stops = {branch.b for branch in self.model.branches if branch.is_battery} if supply else {self.model.reference}
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

    @property
    def _at(self) -> dict[int, list[int]]:
        if not hasattr(self, "_branches_at"):
            found: dict[int, list[int]] = {}
            for number, branch in enumerate(self.model.branches):
                inside = branch.kind in ("inside", "reference of")
                if branch.closed and not self.model.is_load[number] and not branch.is_battery and not inside:
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
        pins = self._return_pins()
        if row.part != self.report.module or row.level != "supply" or not pins:
            return None, ""
        back = pins[0]
        if self.nominal.solution.floating[node] or self.nominal.solution.floating[back]:
            return None, self.model.node_names[back]
        return _range(self.node_v[:, node] - self.node_v[:, back]), self.model.node_names[back]

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
    clean = np.nan_to_num(values, nan=0.0)
    return Range(float(np.min(clean)), float(clean[0]), float(np.max(clean)))


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
    if copper_v > limit.high:
        yield (
            f"copper alone loses {copper_v:.2f} V here, above the limit of {limit.high:.2f} V for {what}: a good wire would be failed; "
            f"up to {lost.high:.2f} V is in order with what was typed in"
        )
    elif lost.high > limit.high:
        yield f"between {limit.high:.2f} V (limit) and {lost.high:.2f} V a reading can still be in order: type in what was assumed, or measure the current"
    else:
        yield f"above {_milli(lost.high)} there is more resistance than the wiring explains, although the limit passes {limit.high:.2f} V"
    for element in elements:
        if element.over and element.limit is not None:
            yield f"{element.name} alone loses {_milli(element.drop_v.nominal)}, more than the {element.limit.high:.2f} V for it ({element.limit.item})"


def _backfed(state: str, volts_v: float, *, supply: bool) -> Iterator[str]:
    if volts_v <= BACKFED_V:
        return
    if supply:
        yield f"reads {volts_v:.1f} V although it is {state}: that comes back through a load or through the module, and is no supply"
    else:
        yield f"its way to ground is open and it is pulled up to {volts_v:.1f} V through the module or a load: a lost ground"


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
        found[row.code] = LampTest(readings[0], readings[1], watts)
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
    load: str
    limit_v: float
    source: str
    basis: str


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
            load = f"{row.current_a.nominal:.3g} A ({row.current_a.low:.3g} to {row.current_a.high:.3g} A), plugged in"
            basis = "partly by default: " + "; ".join(row.assumed) if row.assumed else "as typed in"
            for probe in row.probes:
                found.setdefault((row.code, probe.at), []).append(
                    ComputedExpect(
                        key, probe.volts.nominal, probe.volts.low, probe.volts.high, probe.lost.nominal, probe.lost.high,
                        probe.floating, load, row.limit.high, f"{row.limit.origin}: {row.limit.source}", basis,
                    )
                )  # fmt: skip
    return {point: tuple(expected) for point, expected in found.items()}


__all__ = [
    "ComputedExpect", "ElementVolts", "LampTest", "NotSettled", "ProbeVolts", "Range", "RowVolts",
    "VoltsReport", "expectations", "volts_of",
]  # fmt: skip
