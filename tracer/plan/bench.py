"""What is expected, computed: plugged in and working, and unplugged with each pin alone, with and without its lamp.

Nothing here decides what is read; `steps` asks for single values. A key state in which no steady voltages are found is remembered in `failed` with the
reason, and has no values.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from tracer.electrics.bus.lines import bus_names
from tracer.electrics.bus.of_vehicle import bus_of
from tracer.electrics.bus.values import BusReport, Ohm
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model, NotSettled
from tracer.electrics.model.making import Shared
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.alone import AlonePin, PinsAlone
from tracer.electrics.volts.expected import ComputedExpect, expectations, overload_words
from tracer.electrics.volts.not_computed import Withheld
from tracer.entry.bus_words import bus_of as bus_declared
from tracer.plan.values import METER_ONLY, Computed, Range
from tracer.standards import figures
from tracer.trace.affects.dead_part import target_of
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing


@dataclass
class Bench:
    """What is expected of one module, worked out as they are asked for."""

    tracing: Tracing
    report: SupplyReport
    limits: LimitsInUse
    failed: dict[str, str] = field(default_factory=dict)
    overloads: dict[str, None] = field(
        default_factory=dict
    )  # fuses that carry more than their rating, plugged in, in words
    _plugged: dict[str, dict[tuple[str, str], ComputedExpect] | None] = field(default_factory=dict)
    _unplugged: dict[tuple[str, tuple[str, ...], tuple[str, ...]], _Unplugged] = field(default_factory=dict)
    _shared: dict[tuple[tuple[str, ...], tuple[str, ...]], Shared] = field(default_factory=dict)
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
        for words in overload_words(next(iter(computed.values()), ())):
            self.overloads[words] = None
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
            bench = self._unplugged_in(key, out, pulled)
            if reason := bench.why_not(row):
                return Computed("volts", key, False, "", None, not_computed=reason), None
            bare = bench.expected(row, key, None, limit)
            return bare, None if lamp_w is None or bare.floating else bench.expected(row, key, lamp_w, limit)
        except NotSettled as error:
            self.failed.setdefault(key, str(error))
            return None, None

    def still_grounded(self, row: Row, key: str, out: tuple[str, ...]) -> bool:
        """Whether a ground pin, alone and unplugged, is still connected with these parts opened; where nobody can say, it is tried."""
        try:
            whole = self._unplugged_in(key, (), ())
            if not whole.why_not(row) and whole.grounded_without(row, out):
                return True
            left = self._unplugged_in(key, out, ())
            return not left.why_not(row) and not left.alone.floats(left.pins[row.code, row.point])
        except NotSettled as error:
            self.failed.setdefault(key, str(error))
            return True

    def growth(
        self, row: Row, key: str, lamp_w: float, out: tuple[str, ...] = (), pulled: tuple[str, ...] = ()
    ) -> tuple[Range, float]:
        """By how much the lamp lets the drop of a pin grow, alone and unplugged, its high end rounded up to what is given; and how many ohms may hide in that.

        For a pin that is read with the lamp.
        """
        bench = self._unplugged_in(key, out, pulled)
        pin = bench.pins[row.code, row.point]
        most_v = bench.alone.most_growth_v(pin, lamp_w)
        return replace(bench.alone.grows(pin, lamp_w), high=most_v), bench.alone.hides_ohm(pin, lamp_w, most_v).high

    def _unplugged_in(self, key: str, out: tuple[str, ...], pulled: tuple[str, ...]) -> _Unplugged:
        if (key, out, pulled) not in self._unplugged:
            changes = changes_of(self.tracing.circuit, opened=out, unplugged=(self.report.module,), pulled=pulled)
            shared = self._shared.setdefault((out, pulled), Shared())
            model = model_of(self.tracing, key, changes, limits=self.limits, first=self.report.module, shared=shared)
            self._unplugged[key, out, pulled] = _Unplugged(self.tracing, model, self.report, self.limits)
        return self._unplugged[key, out, pulled]

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
        said = {bus[0] for cavity in self.report.census if (bus := bus_declared(cavity.declared)) is not None}
        return [name for name in bus_names(self.tracing.circuit) if name in said]

    def bus_ohms(self, bus: BusReport) -> Computed | None:
        """Between the two lines at the harness connector of the module, which is unplugged; None where it cannot be computed."""
        if bus.problems or not bus.cases:
            return None
        module = self.report.module
        at = next((n for n, access in enumerate(bus.accesses) if access.module == module), None)
        case = next((case for case in bus.cases if case.kind == "unplugged" and case.parts == (module,)), None)
        expected: Ohm | None = None if at is None or case is None else case.expected[at]
        if expected is None:
            return None
        return Computed(
            "ohms", "supply off", False, "none, bus asleep", Range(expected.low, expected.nominal, expected.high),
            basis=f"terminations of bus {bus.name} as typed in, {module} unplugged",
        )  # fmt: skip


class _Unplugged:
    """The vehicle with the module unplugged, in one key state: what is withheld, and each pin alone."""

    def __init__(self, tracing: Tracing, model: Model, report: SupplyReport, limits: LimitsInUse) -> None:
        self.tracing = tracing
        self.model = model
        own = (row for row in report.rows if row.part == report.module)
        self.pins = {(row.code, row.point): self._pin(row) for row in own}
        self.alone = PinsAlone(model, list(self.pins.values()), limits)
        self._withheld = Withheld(tracing, self.alone.model, self.alone.nominal.branch_a[:, 0])

    def _pin(self, row: Row) -> AlonePin:
        return AlonePin(self.tracing.circuit.pins_of[row.part][row.pin], row.level == "supply", bool(row.diodes))

    def why_not(self, row: Row) -> str:
        """Why nothing is computed for a pin; empty where something is."""
        return self._withheld.why(row)

    def grounded_without(self, row: Row, out: tuple[str, ...]) -> bool:
        """Whether a ground pin is surely still connected with these parts opened."""
        opened = [target_of(self.tracing.circuit, name).opened for name in out]
        return self.alone.grounded_without(self.pins[row.code, row.point], opened)

    def expected(self, row: Row, key: str, lamp_w: float | None, limit: LimitInUse) -> Computed:
        """One pin in all settings.

        Raises
        ------
        NotSettled : with the lamp no steady state is found
        """
        pin = self.pins[row.code, row.point]
        if self.alone.floats(pin):
            return Computed("volts", key, False, METER_ONLY, None, basis="as typed in")
        found = self.alone.bare(pin) if lamp_w is None else self.alone.lit(pin, lamp_w)
        box = ("volts" if pin.supply else "drop") if lamp_w is None else "loaded"
        load = METER_ONLY if lamp_w is None else f"lamp {figures.stated(lamp_w, 'W')}"
        lost = self.alone.range(found.lost_v)
        return Computed(
            box, key, False, load, self.alone.range(found.node_v), lost.nominal, lost.high, limit.high, limit.said, "as typed in",
        )  # fmt: skip
