"""A module unplugged: what a meter shows at each harness pin by itself, and with a test lamp. Which lamp is decided in `plan`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.meters import source_ohm
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import Model, NotSettled, Solved
from tracer.electrics.model.fitting import METER_A
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.in_many_settings import Together
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
    unplugged = replace(changes, unplugged=tuple(dict.fromkeys((*changes.unplugged, report.module))))
    sound: dict[int, float] = {}
    if changes.faulty:  # a fault makes no contact better
        in_order = replace(changes.without_faults, unplugged=(report.module,))
        in_order_model = model_of(tracing, key, in_order, limits=limits, first=report.module)
        nominal_in_order(Together([in_order_model], asked=()), sound)
    made = model_of(tracing, key, unplugged, limits=limits, first=report.module)
    model = _in_order(made, sound)
    bare = model.solve()
    meter_ohm = limits.of("meter input").high
    sound_changes = replace(changes.without_faults, unplugged=(report.module,))
    in_order_made = made if sound_changes == unplugged else None
    most_v = _most_v(tracing, report, key, sound_changes, limits, lamps, in_order_made)
    found = {}
    for row in report.rows:
        if row.part != report.module or row.code not in lamps:
            continue
        lamp = lamps[row.code]
        node = tracing.circuit.pins_of[row.part][row.pin]
        settled = [bare]
        if lamp.watts is not None:
            lit = with_test_lamp(made if row.diodes else model, node, lamp.watts, supply=row.level == "supply")
            lit = _in_order(lit, sound) if row.diodes else lit
            settled.append(lit.solve())
        readings = []
        for one in settled:
            volts = float(one.node_v[node])
            ohm = float(source_ohm(one.solution.factor, [node])[0])
            readings.append(None if np.isnan(volts) else volts / (1.0 + ohm / meter_ohm))
        diode_v = _lost_more_v(lit, settled[1], node) if lamp.watts is not None and row.diodes else 0.0
        lamp_v = readings[1] if lamp.watts is not None else None
        found[row.code] = LampTest(readings[0], lamp_v, lamp, diode_v, most_v.get(row.code))
    return found


def _in_order(model: Model, sound: dict[int, float]) -> Model:
    """The model with what follows from its own nominal currents."""
    together, _ = nominal_in_order(Together([model], asked=()), sound)
    return together.models[0]


def _most_v(
    tracing: Tracing, report: SupplyReport, key: str, changes: Changes, limits: LimitsInUse, lamps: Mapping[str, Lamp], made: Model | None,
) -> dict[str, float]:  # fmt: skip
    """What each way in order loses at most under its lamp besides what a meter shows, by the code of its row: the figure of the first look.

    `changes` are without faults, `made` is their model if there is one.
    """
    pins = {
        row.code: AlonePin(tracing.circuit.pins_of[row.part][row.pin], row.level == "supply", False)
        for row in report.rows
        if row.part == report.module and row.code in lamps and lamps[row.code].watts is not None and not row.diodes
    }
    if not pins:
        return {}
    try:
        made = made or model_of(tracing, key, changes, limits=limits, first=report.module)
        alone = PinsAlone(made, list(pins.values()), limits)
        return {
            code: alone.most_growth_v(pin, lamps[code].watts or 0.0)
            for code, pin in pins.items()
            if not alone.floats(pin)
        }
    except NotSettled:  # in some setting of a vehicle in order: what it loses there is not known
        return {}


def _lost_more_v(model: Model, lit: Solved, node: int) -> float:
    """What the diodes on the way to a supply pin lose more with the lamp than with the meter alone, by their law."""
    way = CurrentWays(model, lit.branch_a).way(node, supply=True)
    amps = [float(lit.branch_a[number]) for number, _ in way if model.branches[number].is_diode]
    _, junction, _ = junctions()
    return sum(max(0.0, junction.volts(max(a, METER_A)) - junction.volts(METER_A)) for a in amps)
