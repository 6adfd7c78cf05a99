"""Type a wiring diagram in as it is drawn; get every supply and ground of a control module, where to probe each, and what is still unknown.

>>> import tracer
>>> circuit = tracer.load("circuits/minibus")                       # doctest: +SKIP
>>> report = tracer.supplies(circuit, "ALM")                        # doctest: +SKIP
>>> report.complete, [row.code for row in report.supplies]          # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit
    from tracer.electrics.bus_report import BusReport, UnknownBus
    from tracer.electrics.model import NotSettled
    from tracer.electrics.volts_report import VoltsReport
    from tracer.entry.problems import CannotUse, Place, Problem
    from tracer.trace.affects import AffectsReport, UnknownPart
    from tracer.trace.common import CommonReport
    from tracer.trace.panels import PanelReport, UnknownPanel
    from tracer.trace.results import LooseEnd, Probe, Row, SupplyReport
    from tracer.trace.supplies import UnknownModule
    from tracer.trace.survey import Survey

_PLACES = {
    "AffectsReport": "tracer.trace.affects",
    "BusReport": "tracer.electrics.bus_report",
    "CannotUse": "tracer.entry.problems",
    "Circuit": "tracer.circuit.model",
    "CommonReport": "tracer.trace.common",
    "LooseEnd": "tracer.trace.results",
    "NotSettled": "tracer.electrics.model",
    "PanelReport": "tracer.trace.panels",
    "Place": "tracer.entry.problems",
    "Probe": "tracer.trace.results",
    "Problem": "tracer.entry.problems",
    "Row": "tracer.trace.results",
    "SupplyReport": "tracer.trace.results",
    "Survey": "tracer.trace.survey",
    "UnknownBus": "tracer.electrics.bus_report",
    "UnknownModule": "tracer.trace.supplies",
    "UnknownPanel": "tracer.trace.panels",
    "UnknownPart": "tracer.trace.affects",
    "VoltsReport": "tracer.electrics.volts_report",
}

__all__ = [
    "AffectsReport",
    "BusReport",
    "CannotUse",
    "Circuit",
    "CommonReport",
    "LooseEnd",
    "NotSettled",
    "PanelReport",
    "Place",
    "Probe",
    "Problem",
    "Row",
    "SupplyReport",
    "Survey",
    "UnknownBus",
    "UnknownModule",
    "UnknownPanel",
    "UnknownPart",
    "VoltsReport",
    "affects",
    "bus",
    "common",
    "load",
    "panels",
    "supplies",
    "volts",
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


def panels(circuit: Circuit | Survey, name: str | None = None) -> PanelReport:
    """What belongs in each fuse position of a panel, or of all, and what it serves.

    Raises
    ------
    UnknownPanel : no panel has that name
    """
    from tracer.trace.panels import panels_of

    return panels_of(circuit, name)


def affects(circuit: Circuit | Survey, part: str, pin: str | None = None) -> AffectsReport:
    """What loses supply, ground or control if a part, or the wire at one pin of it, opens.

    Raises
    ------
    UnknownPart : no part has that name, or no such pin
    """
    from tracer.trace.affects import Affected

    return Affected(_survey(circuit)).report(part, pin)


def common(circuit: Circuit | Survey, dead: Sequence[str], working: Sequence[str] = ()) -> CommonReport:
    """What several dead parts have in common upstream, without what a working part shares.

    Raises
    ------
    UnknownPart : no part has that name, or no such pin
    """
    from tracer.trace.common import common_of

    return common_of(_survey(circuit), dead, working)


def volts(
    circuit: Circuit | Survey, module: str, key: str, *, battery_v: float | None = None, shop: Path | None = None
) -> VoltsReport:
    """Computed volts at every probe point of a module's rows in a key state, with the limits of a workshop's file.

    Raises
    ------
    UnknownModule : no module has that name
    ValueError : there is no such key state
    NotSettled : no steady voltages were found
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.changes import Changes
    from tracer.electrics.limits_in_use import limits_of
    from tracer.electrics.volts import volts_of
    from tracer.entry.overrides import read_shop

    survey = _survey(circuit)
    limits = limits_of(survey.circuit, read_shop(shop) if shop is not None else None)
    return volts_of(survey, supplies(survey, module), key, Changes(battery_v=battery_v), limits=limits)


def bus(circuit: Circuit | Survey, name: str) -> BusReport:
    """Lines, terminations and branches of a bus, the resistance to expect at each point, and what each test can tell.

    Raises
    ------
    UnknownBus : there is no bus of that name
    """
    from tracer.electrics.bus import bus_of
    from tracer.electrics.limits_in_use import limits_of

    survey = _survey(circuit)
    return bus_of(survey, name, limits=limits_of(survey.circuit))


def _survey(circuit: Circuit | Survey) -> Survey:
    from tracer.trace.survey import Survey

    return circuit if isinstance(circuit, Survey) else Survey(circuit)


def __getattr__(name: str) -> Any:
    if name in _PLACES:
        return getattr(import_module(_PLACES[name]), name)
    raise AttributeError(f"module 'tracer' has no attribute {name!r}")
