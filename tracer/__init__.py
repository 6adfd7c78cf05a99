"""Type a wiring diagram in as it is drawn; get every supply and ground of a control module, where to probe each, and what is still unknown.

>>> import tracer
>>> circuit = tracer.load("circuits/minibus")                       # doctest: +SKIP
>>> report = tracer.supplies(circuit, "ALM")                        # doctest: +SKIP
>>> report.complete, [row.code for row in report.supplies]          # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit
    from tracer.entry.problems import CannotUse, Place, Problem
    from tracer.trace.results import LooseEnd, Probe, Row, SupplyReport
    from tracer.trace.supplies import UnknownModule
    from tracer.trace.survey import Survey

_PLACES = {
    "CannotUse": "tracer.entry.problems",
    "Circuit": "tracer.circuit.model",
    "LooseEnd": "tracer.trace.results",
    "Place": "tracer.entry.problems",
    "Probe": "tracer.trace.results",
    "Problem": "tracer.entry.problems",
    "Row": "tracer.trace.results",
    "SupplyReport": "tracer.trace.results",
    "Survey": "tracer.trace.survey",
    "UnknownModule": "tracer.trace.supplies",
}

__all__ = [
    "CannotUse",
    "Circuit",
    "LooseEnd",
    "Place",
    "Probe",
    "Problem",
    "Row",
    "SupplyReport",
    "Survey",
    "UnknownModule",
    "load",
    "supplies",
]


def load(folder: str) -> Circuit:
    """Read a vehicle's folder and join its sheets to one circuit.

    Raises
    ------
    CannotUse : with every problem found, each with file, line and column
    """
    from tracer.circuit.join import join
    from tracer.entry.load import read_folder

    return join(read_folder(folder))


def supplies(circuit: Circuit | Survey, module: str) -> SupplyReport:
    """Every supply and ground of a module, where to probe each, and the loose ends.

    Raises
    ------
    UnknownModule : no module has that name
    """
    from tracer.trace.supplies import supplies_of

    return supplies_of(circuit, module)


def __getattr__(name: str) -> Any:
    if name in _PLACES:
        return getattr(import_module(_PLACES[name]), name)
    raise AttributeError(f"module 'tracer' has no attribute {name!r}")
