"""The values that the calls of the front door take, give and raise, each with the module that it is taken from when it is first asked for.

For the type checker they stand once more at the top of `__init__.py`, which can read no table; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Mapping

_TAKEN_FROM: Mapping[str, str] = {
    "tracer.circuit.comparing": "Comparison compare",
    "tracer.circuit.model": "Circuit",
    "tracer.circuit.read_back": "ReadBack read_back",
    "tracer.circuit.wire_list": "WireList wire_list",
    "tracer.electrics.audit": "Audit",
    "tracer.electrics.bus.readings": "Classified",
    "tracer.electrics.bus.values": "BusReport UnknownBus",
    "tracer.electrics.key_off_draw": "DrawReport",
    "tracer.electrics.model.changes": "BadChange",
    "tracer.electrics.model.circuit_model": "NotSettled",
    "tracer.electrics.volts.expected": "Expected",
    "tracer.electrics.volts.values": "VoltsReport",
    "tracer.entry.problems": "BadReading CannotAnswer CannotCompute CannotUse Place Problem",
    "tracer.entry.text": "Kept",
    "tracer.entry.wire_lists.take_in": "TakenIn take_in",
    "tracer.plan.at_place": "UnknownPlace",
    "tracer.plan.faces": "faces_of_rows",
    "tracer.plan.names": "rows_of",
    "tracer.plan.values": "AtPlace Glance",
    "tracer.report.printing": "Job Printed",
    "tracer.standards.cautions": "cautions",
    "tracer.standards.sources": "sources",
    "tracer.trace.affects.dead_part": "AffectsReport UnknownPart",
    "tracer.trace.affects.every_part": "EveryLoss PartLoss",
    "tracer.trace.affects.in_common": "CommonReport",
    "tracer.trace.lists.completeness": "Completeness",
    "tracer.trace.lists.missing": "Missing missing",
    "tracer.trace.lists.news": "news",
    "tracer.trace.lists.pin_states": "ModuleStates",
    "tracer.trace.lists.results": "LooseEnd News Probe Row SupplyReport",
    "tracer.trace.lists.supplies": "UnknownModule every_list",
    "tracer.trace.panels.plugged_in": "SeenReport",
    "tracer.trace.panels.positions_of": "PanelReport UnknownPanel",
    "tracer.trace.tracing": "Tracing UnknownKeyState",
}
VALUES: Mapping[str, str] = {name: module for module, names in _TAKEN_FROM.items() for name in names.split()}

__all__ = ["VALUES"]
