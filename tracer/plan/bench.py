"""What each reading should be, computed: plugged in and working, and unplugged with each pin alone, with and without its lamp.

Nothing here decides what is read; `steps` asks for single values. A key state in which no steady voltages are found is remembered in `failed` with the
reason, and has no values.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tracer.electrics.bus.lines import bus_names
from tracer.electrics.bus.of_vehicle import bus_of
from tracer.electrics.bus.values import BusReport, Ohm
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.meters import reading_at
from tracer.electrics.model.branches import HIGH, LOW, NOMINAL
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model, NotSettled, Solved
from tracer.electrics.model.fitting import fitted
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.load_laws import FilamentLamp
from tracer.electrics.volts.expected import ComputedExpect, expectations
from tracer.electrics.volts.lamp_tests import with_test_lamp
from tracer.electrics.volts.not_computed import Withheld
from tracer.plan.values import METER_ONLY, Computed, Range
from tracer.standards import figures
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing


@dataclass
class Bench:
    """Computed readings of one module, worked out as they are asked for."""

    tracing: Tracing
    report: SupplyReport
    limits: LimitsInUse
    failed: dict[str, str] = field(default_factory=dict)
    _plugged: dict[str, dict[tuple[str, str], ComputedExpect] | None] = field(default_factory=dict)
    _unplugged: dict[tuple[str, tuple[str, ...], tuple[str, ...]], _Unplugged] = field(default_factory=dict)
    _batteries: dict[str, tuple[Range, str]] = field(default_factory=dict)
    _buses: dict[str, BusReport] | None = None

    def battery(self, key: str) -> tuple[Range, str]:
        """Volts at the battery posts in a key state, and the state of the battery in words."""
        if key not in self._batteries:
            # the battery is taken by key state alone, so a model that is there already will do
            made = self._unplugged.get((key, (), ()))
            model = made.model if made else model_of(self.tracing, key, limits=self.limits, first=self.report.module)
            span = model.battery
            self._batteries[key] = Range(span.low, span.nominal, span.high), model.battery_state
        return self._batteries[key]

    def plugged_in(self, row: Row, at: str, key: str) -> Computed | None:
        """A probe point with the module plugged in and working; None where nothing could be computed."""
        if key not in self._plugged:
            self._plugged[key] = self._in_key(key)
        found = (self._plugged[key] or {}).get((row.code, at))
        if found is None:
            return None
        box = "volts" if row.level == "supply" else "drop"
        if found.not_computed:
            return Computed(box, key, True, "", None, not_computed=found.not_computed)
        value, lost = (None, None) if found.floating else (found.volts, found.lost)
        limit = found.limit
        basis = "partly by default: " + "; ".join(found.assumed) if found.assumed else "as typed in"
        return Computed(
            box, key, True, found.load, value, None if lost is None else lost.nominal, None if lost is None else lost.high, limit.high, limit.said, basis,
        )  # fmt: skip

    def _in_key(self, key: str) -> dict[tuple[str, str], ComputedExpect] | None:
        try:
            computed = expectations(self.tracing, self.report, limits=self.limits, keys=(key,))
        except NotSettled as error:
            self.failed.setdefault(key, str(error))
            return None
        return {point: found for point, (found,) in computed.items()}

    # --- unplugged -----------------------------------------------------------------------------------------------

    def alone(
        self, row: Row, key: str, lamp_w: float | None, out: tuple[str, ...] = (), pulled: tuple[str, ...] = ()
    ) -> tuple[Computed | None, Computed | None]:
        """A pin of the module by itself, unplugged: the meter alone, and with a lamp of `lamp_w`; `out` are fuses that are pulled out, `pulled` outputs that a lead in the plug stands in for.

        The second is None without a lamp, and where the pin is not connected to anything: a lamp then only pulls it to its other end.
        """
        limit = self.limits.of("supply path" if row.level == "supply" else "ground path")
        try:
            if (key, out, pulled) not in self._unplugged:
                self._unplugged[key, out, pulled] = self._made(key, out, pulled)
            bench = self._unplugged[key, out, pulled]
            if reason := bench.why_not(row):
                return Computed("volts", key, False, "", None, not_computed=reason), None
            bare = bench.reading(row, key, None, limit)
            return bare, None if lamp_w is None or bare.floating else bench.reading(row, key, lamp_w, limit)
        except NotSettled as error:
            self.failed.setdefault(key, str(error))
            return None, None

    def _made(self, key: str, out: tuple[str, ...], pulled: tuple[str, ...]) -> _Unplugged:
        changes = changes_of(self.tracing.circuit, opened=out, unplugged=(self.report.module,), pulled=pulled)
        model = fitted(model_of(self.tracing, key, changes, limits=self.limits, first=self.report.module))
        return _Unplugged(self.tracing, model, self.limits.of("meter input").high)

    # --- bus -----------------------------------------------------------------------------------------------------

    def bus_of_pin(self, pin: str) -> tuple[BusReport, str] | None:
        """The bus that a pin of the module belongs to, and its line; None where the pin names none."""
        if self._buses is None:
            self._buses = {name: bus_of(self.tracing, name, limits=self.limits) for name in self._names_of_buses()}
        node = self.tracing.circuit.pins_of.get(self.report.module, {}).get(pin)
        for bus in self._buses.values():
            for member in bus.nodes:
                if member.module == self.report.module:
                    for line, at in member.pins.items():
                        if node in at:
                            return bus, line
        return None

    def _names_of_buses(self) -> list[str]:
        said = {word for cavity in self.report.census if cavity.kind == "bus" for word in cavity.declared.split()}
        return [name for name in bus_names(self.tracing.circuit) if name in said]

    def bus_ohms(self, bus: BusReport) -> Computed | None:
        """Between the two lines at the harness connector of the module, which is unplugged; None where it cannot be computed."""
        if bus.problems or not bus.cases:
            return None
        module = self.report.module
        at = next((n for n, access in enumerate(bus.accesses) if access.module == module), None)
        case = next((case for case in bus.cases if case.kind == "unplugged" and case.parts == (module,)), None)
        reading: Ohm | None = None if at is None or case is None else case.readings[at]
        if reading is None:
            return None
        return Computed(
            "ohms", "supply off", False, "none, bus asleep", Range(reading.low, reading.nominal, reading.high),
            basis=f"terminations of bus {bus.name} as typed in, {module} unplugged",
        )  # fmt: skip


class _Unplugged:
    """The vehicle with the module unplugged, in one key state, solved at its nominal values and at both ends."""

    def __init__(self, tracing: Tracing, model: Model, meter_ohm: float) -> None:
        self.tracing = tracing
        self.model = model
        self.meter_ohm = meter_ohm
        self._posts = model.posts
        self._bare: dict[tuple[int, int, int], Solved] = {}
        self._withheld: Withheld | None = None

    def why_not(self, row: Row) -> str:
        """Why nothing is computed for a pin; empty where something is."""
        nominal = self._without_lamp(_NOMINAL)
        if self._withheld is None:
            self._withheld = Withheld(self.tracing, self.model, nominal.branch_a)
        return self._withheld.why(row)

    def reading(self, row: Row, key: str, lamp_w: float | None, limit: LimitInUse) -> Computed:
        """One pin in all settings.

        Raises
        ------
        NotSettled : with the lamp no steady state is found
        """
        node = self.tracing.circuit.pins_of[row.part][row.pin]
        supply = row.level == "supply"
        volts, lost = [], []
        for setting in (_NOMINAL, *(_SUPPLY_ENDS if supply else _GROUND_ENDS)):
            bare = self._without_lamp(setting)
            shown = reading_at(bare.solution, node, self.meter_ohm)
            if shown.floating:
                return Computed("volts", key, False, METER_ONLY, None, basis="as typed in")
            plus = _highest(self._posts, bare)
            node_v, plus_v = shown.volts, 0.0 if plus is None else float(bare.node_v[plus])
            if lamp_w is not None and row.diodes:  # the lamp can change which of them conducts
                model = with_test_lamp(self.model, node, lamp_w, supply=supply)
                lit = model.solve(model.setting(*setting)).node_v
                node_v, plus_v = float(lit[node]), 0.0 if plus is None else float(lit[plus])
            elif lamp_w is not None and plus is not None:
                node_v, plus_v = self._with_lamp(bare, node, plus, lamp_w, supply=supply)
            volts.append(node_v)
            lost.append(plus_v - node_v if supply else node_v)
        box = ("volts" if supply else "drop") if lamp_w is None else "loaded"
        load = METER_ONLY if lamp_w is None else f"lamp {figures.stated(lamp_w, 'W')}"
        return Computed(
            box, key, False, load, Range(min(volts), volts[0], max(volts)), lost[0], max(lost), limit.high, limit.said, "as typed in", losses_v=tuple(lost),
        )  # fmt: skip

    def _with_lamp(self, bare: Solved, node: int, plus: int, watts: float, *, supply: bool) -> tuple[float, float]:
        """Volts of the node and of battery positive with a lamp at the node.

        From the network as the lamp sees it (volts without it, and what a current through it changes), so that nothing is solved anew: what other loads do
        when the pin goes down by some tenths of a volt is left out.
        """
        first, second = (node, self.model.reference) if supply else (plus, node)
        lamp = FilamentLamp(first, second, float(self.model.limits.system_v), watts)
        import numpy as np

        push = np.zeros(bare.node_v.size)
        push[first] -= 1.0
        push[second] += 1.0
        moved = bare.solution.factor.respond(push)
        without, per_amp = float(bare.node_v[first] - bare.node_v[second]), float(moved[first] - moved[second])
        low, high = 0.0, max(without, 0.0)  # across the lamp: less than without it
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if without + per_amp * lamp.current_a(middle) > middle else (low, middle)
        amps = lamp.current_a(low)
        return float(bare.node_v[node] + moved[node] * amps), float(bare.node_v[plus] + moved[plus] * amps)

    def _without_lamp(self, setting: tuple[int, int, int]) -> Solved:
        """The same for every pin, so worked out once."""
        if setting not in self._bare:
            self._bare[setting] = self.model.solve(self.model.setting(*setting))
        return self._bare[setting]


def _highest(posts: list[int], solved: Solved) -> int | None:
    """The positive post that the drop of a supply is measured from; None where no battery is typed in."""
    return max(posts, key=lambda post: float(solved.node_v[post]), default=None)


_NOMINAL = (NOMINAL, NOMINAL, NOMINAL)
_SUPPLY_ENDS = ((HIGH, HIGH, LOW), (HIGH, HIGH, HIGH), (LOW, LOW, HIGH))  # resistances, currents, battery
_GROUND_ENDS = ((HIGH, HIGH, HIGH), (LOW, LOW, LOW))
