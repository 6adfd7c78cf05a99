"""A module unplugged: what a meter shows at each harness pin by itself, and with a test lamp. Which lamp is decided in `plan`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.meters import source_ohm
from tracer.electrics.model.branches import Draw
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import Model, Solved
from tracer.electrics.model.fitting import METER_A, fitted
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.current_ways import CurrentWays
from tracer.electrics.volts.values import Lamp, LampTest
from tracer.standards.allowances import junctions
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing


def lamp_tests(
    tracing: Tracing, report: SupplyReport, key: str, changes: Changes, limits: LimitsInUse, lamps: Mapping[str, Lamp]
) -> dict[str, LampTest]:
    """Each pin of the module that `lamps` names by its row, alone and unplugged: the meter by itself, and with that lamp."""
    unplugged = replace(changes, unplugged=tuple(dict.fromkeys((*changes.unplugged, report.module))))
    made = model_of(tracing, key, unplugged, limits=limits, first=report.module)
    model = fitted(made)
    bare = model.solve()
    meter_ohm = limits.of("meter input").high
    found = {}
    for row in report.rows:
        if row.part != report.module or row.code not in lamps:
            continue
        lamp = lamps[row.code]
        node = tracing.circuit.pins_of[row.part][row.pin]
        settled = [bare]
        if lamp.watts is not None:
            lit = with_test_lamp(made if row.diodes else model, node, lamp.watts, supply=row.level == "supply")
            lit = fitted(lit) if row.diodes else lit
            settled.append(lit.solve())
        readings = []
        for one in settled:
            volts = float(one.node_v[node])
            ohm = float(source_ohm(one.solution.factor, [node])[0])
            readings.append(None if np.isnan(volts) else volts / (1.0 + ohm / meter_ohm))
        diode_v = _lost_more_v(lit, settled[1], node) if lamp.watts is not None and row.diodes else 0.0
        found[row.code] = LampTest(readings[0], readings[1] if lamp.watts is not None else None, lamp, diode_v)
    return found


def _lost_more_v(model: Model, lit: Solved, node: int) -> float:
    """What the diodes on the way to a supply pin lose more with the lamp than with the meter alone, by their law."""
    way = CurrentWays(model, lit.branch_a).way(node, supply=True)
    amps = [float(lit.branch_a[number]) for number, _ in way if model.branches[number].is_diode]
    _, junction, _ = junctions()
    return sum(max(0.0, junction.volts(max(a, METER_A)) - junction.volts(METER_A)) for a in amps)


def with_test_lamp(model: Model, node: int, watts: float, *, supply: bool) -> Model:
    """The model with a filament lamp between a node and the battery post that is not its own level's."""
    plus = next(iter(model.posts), model.reference)
    first, second = (node, model.reference) if supply else (plus, node)
    lamp = Draw("test lamp", first, second, "lamp", (watts, watts, watts), float(model.limits.system_v))
    return replace(model, branches=list(model.branches), draws=[lamp, *model.draws])
