"""Expected volts at every probe point of a module's rows, the drop of each element, and what a test there can and cannot tell.

A range is not a tolerance that was guessed: it holds what the computation gives when everything that is uncertain (resistance of wires and contacts, currents
that were not typed in, the battery) is taken at its ends, all together and in the combination that moves the pin most.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.changes import BadChange, Changes
from tracer.electrics.model.elements import wire_temperatures_c
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.lamp_tests import lamp_tests
from tracer.electrics.volts.overloads import after_fuses, overloads_of
from tracer.electrics.volts.rows import SolvedRows, solved_rows
from tracer.electrics.volts.values import Lamp, LampTest, VoltsReport
from tracer.trace.hazards import Hazards
from tracer.trace.lists.results import SupplyReport
from tracer.trace.minding import minding_of
from tracer.trace.tracing import Tracing

__all__ = ["volts_of"]


def volts_of(
    tracing: Tracing,
    report: SupplyReport,
    key: str,
    changes: Changes | None = None,
    *,
    limits: LimitsInUse,
    lamps: Mapping[str, Lamp] | None = None,
) -> VoltsReport:
    """Expected volts of every row of a module in a key state; with `lamps` (by the code of the row) also what each pin reads alone and unplugged.

    Raises
    ------
    NotSettled : no steady voltages were found; never hidden
    BadChange : a test load or a short where nothing may be measured
    ValueError : no such key state
    """
    changes = changes or Changes()
    for load in changes.loads:
        if withheld := tracing.once(Hazards).withheld(tracing.circuit.node_names[load.node]):
            raise BadChange(f"{load.words}: {withheld}; no test load belongs there.")
    for short in changes.shorts:
        for node in (short.node, short.other):
            if node is not None and (withheld := tracing.once(Hazards).withheld(tracing.circuit.node_names[node])):
                raise BadChange(f"{short.words}: {withheld}; no short is computed there.")
    supposed_words = changes.words
    changes, shorted = after_fuses(tracing, key, changes, limits, report.module)
    models = [model_of(tracing, key, changes, limits=limits, first=report.module)]
    if changes.faulty:
        models.append(model_of(tracing, key, changes.without_faults, limits=limits, first=report.module))
    supposed, *sound = solved_rows(tracing, models, report)
    if shorted is not None:
        supposed.withheld.not_computed = shorted.not_computed
    tests = lamp_tests(tracing, report, key, changes, limits, lamps) if lamps else {}
    found = _report(supposed, sound[0] if sound else None, tests)
    overloads = (*found.overloads, *(shorted.unrated if shorted is not None else ()))
    return replace(
        found, changes=supposed_words, shorted=shorted, overloads=overloads, minding=minding_of(tracing, found)
    )


def _report(solved: SolvedRows, in_order: SolvedRows | None, lamps: Mapping[str, LampTest]) -> VoltsReport:
    """All rows of a solved model; `in_order` is the same without what is supposed, `lamps` are by the code of the row."""
    model, report = solved.model, solved.report
    rows = tuple(solved.row(row, in_order, lamps.get(row.code)) for row in report.rows)
    held = tuple(f"{name}={state}" if state not in ("yes",) else name for name, state in model.changes.held.items())
    return VoltsReport(
        report.vehicle,
        report.module,
        model.key,
        solved.battery,
        model.battery_state,
        model.battery.source,
        model.changes.words,
        held,
        rows,
        model.undecided,
        model.notes,
        report.completeness,
        model.limits.of("meter input").high,
        model.limits.system_v,
        sum(bool(draw.assumed) for draw in model.draws)
        + sum(branch.kind == "load" and bool(branch.ohms.assumed) for branch in model.branches),
        wires_c=wire_temperatures_c(model.circuit.typed.vehicle.warmest),
        overloads=()
        if solved.withheld.not_computed or solved.withheld.shorted
        else tuple(overloads_of(model, solved.nominal.branch_a)),
    )
