"""What the worksheet asks beside the tests of the pins: each with the name by which it is read, under what it is read, and between what it lies in order."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.electrics.bus.values import ASLEEP, ONE_OUT, OPEN_OHM, ExpectedOnLine
from tracer.plan.names import bus_pins_of, full_name
from tracer.plan.plug_values import (
    AT_REST,
    AWAKE,
    GONE,
    LEVEL,
    OUTPUT,
    TO_GROUND,
    UNTRACED,
    Beside,
    PlugWorksheet,
)
from tracer.plan.values import GROUND_BELOW_V, Step
from tracer.plan.words import gone_name, line_name, to_ground_name

OUTPUT_OFF = 0.05  # of its volts, a reference output in order (from memory)


def beside_of(made: PlugWorksheet) -> tuple[Beside, ...]:
    """All of them, in the order of the worksheet."""
    return tuple(_Maker(made).all())


class _Maker:
    def __init__(self, made: PlugWorksheet) -> None:
        self.made, self.report = made, made.glance.report
        self.rest = self.report.keys[0]
        self.lines = {pin: (bus, line) for bus, pins in bus_pins_of(self.report).items() for line, pin in pins.items()}

    def all(self) -> Iterator[Beside]:
        yield from self._outputs()
        yield from self._levels()
        for step, names in self._bus_lines():
            value = None if step.bare is None else step.bare.value
            yield self._line(AWAKE, step, names, "V", None if value is None else value.low, None if value is None else value.high)  # fmt: skip
        for one in self.made.after_key:
            name = gone_name(f"{one.point}:+")
            yield Beside(GONE, one.name, one.point, (name,), "s", self.rest, True, about=one.why)
        if not self.made.not_unplugged:
            yield from self._untraced()
        for step, names in self._bus_lines():
            asleep = step.bus.expected_on_line(ASLEEP, step.bus_line) if step.bus else None
            if asleep is not None or self.made.bus_ohms:
                yield self._asleep(step, names, asleep)
        for step, names in self._bus_lines():
            open_ohm = step.bus.expected_on_line(ONE_OUT, step.bus_line) if step.bus else None
            if open_ohm is not None and open_ohm.low is not None and not self.made.not_unplugged:
                yield self._line(
                    TO_GROUND, step, tuple(map(to_ground_name, names[:1])), "ohm", min(open_ohm.low, OPEN_OHM)
                )

    def _outputs(self) -> Iterator[Beside]:
        for one in self.made.outputs:
            point = f"{self.report.module}.{one.pin}"
            off = None if one.volts is None else OUTPUT_OFF * one.volts
            low, high = (None, None) if one.volts is None or off is None else (one.volts - off, one.volts + off)
            yield Beside(OUTPUT, one.pin, point, (point,), "V", self.made.working, True, False, low, one.volts, high, one.feeds)  # fmt: skip

    def _levels(self) -> Iterator[Beside]:
        """Pins that carry supply or ground without being declared as such."""
        for pin in self.made.glance.pins:
            row = pin.row
            if row.code[0] != "V" or row.no_method:
                continue
            why = tuple(dict.fromkeys(reason for reasons in row.why.values() for reason in reasons))
            what = row.declared.split(" ")[0] or "NOT DECLARED"
            live = row.live.get(self.made.working) == "live"
            low = self.made.plan.system_v / 2 if live and row.level == "supply" else None
            high = GROUND_BELOW_V if live and row.level == "ground" else None
            yield Beside(LEVEL, pin.name, row.point, (full_name(row),), "V", self.made.working, True, False, low, None, high, (what, row.level, *why))  # fmt: skip

    def _untraced(self) -> Iterator[Beside]:
        """Pins whose way is not known, or of which it is not known when they are live, are read in every key state."""
        for pin, steps in self.made.untraced:
            for step in steps:
                if not step.no_method:
                    yield Beside(UNTRACED, pin, step.point, (step.point,), "V", step.key, False)

    def _bus_lines(self) -> Iterator[tuple[Step, tuple[str, ...]]]:
        """Each line of each bus with the names that mean it."""
        for step in self.made.bus_levels:
            if step.cavity is None or step.no_method:
                continue
            called = self.lines.get(step.cavity.pin)
            yield step, ((line_name(*called), step.point) if called else (step.point,))

    def _line(self, kind: str, step: Step, names: tuple[str, ...], unit: str, low: float | None, high: float | None = None) -> Beside:  # fmt: skip
        assert step.cavity is not None
        awake = kind == AWAKE
        return Beside(kind, step.cavity.pin, step.point, names, unit, self.made.working if awake else self.rest, awake, not awake, low, None, high, (step.cavity.declared,))  # fmt: skip

    def _asleep(self, step: Step, names: tuple[str, ...], asleep: ExpectedOnLine | None) -> Beside:
        assert step.cavity is not None
        low, nominal, high = (None, None, None) if asleep is None else (asleep.low, asleep.nominal, asleep.high)
        return Beside(AT_REST, step.cavity.pin, step.point, names, "V", self.rest, bool(self.made.not_unplugged), True, low, nominal, high, (step.cavity.declared,))  # fmt: skip


__all__ = ["beside_of"]
