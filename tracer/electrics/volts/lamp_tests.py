"""A module unplugged: what a meter shows at each harness pin by itself, and with a test lamp. Which lamp is decided in `plan`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import LOW, NOMINAL
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import Model, NotSettled
from tracer.electrics.model.fitting import METER_A
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.described import FloatArray
from tracer.electrics.network.in_many_settings import States, Together
from tracer.electrics.volts.alone import AlonePin, PinsAlone, with_test_lamp
from tracer.electrics.volts.current_ways import CurrentWays
from tracer.electrics.volts.rows import nominal_in_order
from tracer.electrics.volts.values import Lamp, LampTest
from tracer.standards.allowances import junctions
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing


def lamp_tests(
    tracing: Tracing, report: SupplyReport, key: str, changes: Changes, limits: LimitsInUse, lamps: Mapping[str, Lamp]
) -> dict[str, LampTest]:
    """Each pin of the module that `lamps` names by its row, alone and unplugged: the meter by itself, and with that lamp."""
    rows = [row for row in report.rows if row.part == report.module and row.code in lamps]
    pins = {
        row.code: AlonePin(tracing.circuit.pins_of[row.part][row.pin], row.level == "supply", bool(row.diodes))
        for row in rows
    }
    sound: dict[int, float] = {}
    whole: PinsAlone | None = None
    sound_changes = replace(changes.without_faults, unplugged=(report.module,))
    unplugged = replace(changes, unplugged=tuple(dict.fromkeys((*changes.unplugged, report.module))))
    if changes.faulty:  # a fault makes no contact better
        in_order = model_of(tracing, key, sound_changes, limits=limits, first=report.module)
        whole = PinsAlone(in_order, list(pins.values()), limits, sound)
    made = model_of(tracing, key, unplugged, limits=limits, first=report.module)
    alone = PinsAlone(made, list(pins.values()), limits, sound)
    if whole is None and sound_changes == unplugged:
        whole = alone
    bare_v = dict(
        zip(
            pins, _shown_v(alone.together, alone.nominal, [(0, pin.node) for pin in pins.values()], limits), strict=True
        )
    )
    most_v = _most_v(tracing, report, key, sound_changes, limits, lamps, pins, whole)
    lit_v: dict[str, float | None] = {}
    diode_v: dict[str, float] = {}
    together = {code: pin for code, pin in pins.items() if lamps[code].watts is not None and not pin.diodes and not alone.floats(pin)}  # fmt: skip
    if together:
        lit_v = _each_lit(alone.model, together, lamps, limits)
    for code, pin in pins.items():
        watts = lamps[code].watts
        if watts is not None and code not in together:
            lit, states = _lit(made if pin.diodes else alone.model, pin, watts, sound)
            (lit_v[code],) = _shown_v(lit, states, [(0, pin.node)], limits)
            if pin.diodes:
                diode_v[code] = _lost_more_v(lit.models[0], states.branch_a[:, 0], pin.node)
    return {
        code: LampTest(bare_v[code], lit_v.get(code), lamps[code], diode_v.get(code, 0.0), most_v.get(code))
        for code in pins
    }


def _shown_v(
    together: Together, states: States, places: Sequence[tuple[int, int]], limits: LimitsInUse
) -> list[float | None]:
    """What a meter shows at `watched` nodes, each in a column of its own (column, node); None where a node floats. It loads the probed point only."""
    row = {node: place for place, node in enumerate(together.watched.tolist())}
    columns = np.array(sorted({column for column, _ in places}), dtype=np.intp)
    pushed_a = np.zeros((len(row), len(places)))
    for number, (_, node) in enumerate(places):
        pushed_a[row[node], number] = 1.0
    moved_v = together.answers_at(states, columns, pushed_a, slopes=False)
    node_v, meter_ohm = states.at(together.watched), limits.of("meter input").high
    found: list[float | None] = []
    for number, (column, node) in enumerate(places):
        volts = float(node_v[row[node], column])
        ohm = float(moved_v[row[node], np.searchsorted(columns, column), number])
        found.append(None if np.isnan(volts) else volts / (1.0 + ohm / meter_ohm))
    return found


def _each_lit(
    model: Model, pins: Mapping[str, AlonePin], lamps: Mapping[str, Lamp], limits: LimitsInUse
) -> dict[str, float | None]:
    """What a meter shows at each pin with its lamp, in one network with all lamps, of which one at a time is lit."""
    lit = model
    for code, pin in reversed(list(pins.items())):
        lit = with_test_lamp(lit, pin.node, lamps[code].watts or 0.0, supply=pin.supply, unlit=True)
    of_lamps = np.full((len(pins), len(lit.draws)), NOMINAL, dtype=np.intp)
    of_lamps[:, : len(pins)] = np.where(np.eye(len(pins), dtype=np.bool_), NOMINAL, LOW)
    setting = lit.setting()
    together = Together([lit], (), [pin.node for pin in pins.values()])
    states = together.solve([(0, replace(setting, draws=draws)) for draws in of_lamps])
    shown_v = _shown_v(together, states, [(column, pin.node) for column, pin in enumerate(pins.values())], limits)
    return dict(zip(pins, shown_v, strict=True))


def _lit(model: Model, pin: AlonePin, watts: float, sound: dict[int, float]) -> tuple[Together, States]:
    """A pin with its lamp by itself: where a diode is on its way, with what follows from its own currents."""
    together = Together([with_test_lamp(model, pin.node, watts, supply=pin.supply)], (), [pin.node])
    if pin.diodes:
        return nominal_in_order(together, sound)
    return together, together.solve([(0, together.models[0].setting())])


def _most_v(
    tracing: Tracing, report: SupplyReport, key: str, changes: Changes, limits: LimitsInUse, lamps: Mapping[str, Lamp],
    pins: Mapping[str, AlonePin], alone: PinsAlone | None,
) -> dict[str, float]:  # fmt: skip
    """What each way in order loses at most under its lamp besides what a meter shows, by the code of its row: the figure of the first look.

    `changes` are without faults; `alone` is the vehicle with them, if it is there.
    """
    tested = {code: pin for code, pin in pins.items() if lamps[code].watts is not None and not pin.diodes}
    if not tested:
        return {}
    try:
        alone = alone or PinsAlone(
            model_of(tracing, key, changes, limits=limits, first=report.module), list(tested.values()), limits
        )
        return {
            code: alone.most_growth_v(pin, lamps[code].watts or 0.0)
            for code, pin in tested.items()
            if not alone.floats(pin)
        }
    except NotSettled:  # in some setting of a vehicle in order: what it loses there is not known
        return {}


def _lost_more_v(model: Model, branch_a: FloatArray, node: int) -> float:
    """What the diodes on the way to a supply pin lose more with the lamp than with the meter alone, by their law."""
    way = CurrentWays(model, branch_a).way(node, supply=True)
    amps = [float(branch_a[number]) for number, _ in way if model.branches[number].is_diode]
    _, junction, _ = junctions()
    return sum(max(0.0, junction.volts(max(a, METER_A)) - junction.volts(METER_A)) for a in amps)
