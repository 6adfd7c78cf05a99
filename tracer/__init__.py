"""Type a wiring diagram in as it is drawn; get every supply and ground of a control module, where to probe each, and what is still unknown.

Every answer of the command line is one call here; the values it gives are frozen dataclasses. What was worked out about a vehicle serves the next
question when a `Tracing` of the circuit is passed in its place.

>>> import tracer
>>> circuit = tracer.load("circuits/minibus")                       # doctest: +SKIP
>>> report = tracer.supplies(circuit, "ALM")                        # doctest: +SKIP
>>> report.complete, [row.code for row in report.supplies]          # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tracer.public import VALUES

__version__ = "0.1.0"

if TYPE_CHECKING:  # `as` makes a name public
    from tracer.circuit.comparing import Comparison as Comparison
    from tracer.circuit.comparing import compare as compare
    from tracer.circuit.model import Circuit as Circuit
    from tracer.circuit.read_back import ReadBack as ReadBack
    from tracer.circuit.read_back import read_back as read_back
    from tracer.circuit.wire_list import WireList as WireList
    from tracer.circuit.wire_list import wire_list as wire_list
    from tracer.electrics.audit import Audit as Audit
    from tracer.electrics.bus.readings import Classified as Classified
    from tracer.electrics.bus.values import BusReport as BusReport
    from tracer.electrics.bus.values import UnknownBus as UnknownBus
    from tracer.electrics.key_off_draw import DrawReport as DrawReport
    from tracer.electrics.limits_in_use import LimitsInUse
    from tracer.electrics.model.changes import BadChange as BadChange
    from tracer.electrics.model.circuit_model import NotSettled as NotSettled
    from tracer.electrics.volts.expected import Expected as Expected
    from tracer.electrics.volts.values import VoltsReport as VoltsReport
    from tracer.entry.problems import BadReading as BadReading
    from tracer.entry.problems import CannotAnswer as CannotAnswer
    from tracer.entry.problems import CannotCompute as CannotCompute
    from tracer.entry.problems import CannotUse as CannotUse
    from tracer.entry.problems import Place as Place
    from tracer.entry.problems import Problem as Problem
    from tracer.entry.text import Kept as Kept
    from tracer.entry.wire_lists.take_in import TakenIn as TakenIn
    from tracer.entry.wire_lists.take_in import take_in as take_in
    from tracer.plan.at_place import UnknownPlace as UnknownPlace
    from tracer.plan.faces import faces_of_rows as faces_of_rows
    from tracer.plan.names import rows_of as rows_of
    from tracer.plan.values import AtPlace as AtPlace
    from tracer.plan.values import Glance as Glance
    from tracer.report.printing import Job as Job
    from tracer.report.printing import Printed as Printed
    from tracer.standards.cautions import cautions as cautions
    from tracer.standards.sources import sources as sources
    from tracer.trace.affects.dead_part import AffectsReport as AffectsReport
    from tracer.trace.affects.dead_part import UnknownPart as UnknownPart
    from tracer.trace.affects.every_part import EveryLoss as EveryLoss
    from tracer.trace.affects.every_part import PartLoss as PartLoss
    from tracer.trace.affects.in_common import CommonReport as CommonReport
    from tracer.trace.lists.completeness import Completeness as Completeness
    from tracer.trace.lists.missing import Missing as Missing
    from tracer.trace.lists.missing import missing as missing
    from tracer.trace.lists.news import news as news
    from tracer.trace.lists.pin_states import ModuleStates as ModuleStates
    from tracer.trace.lists.results import LooseEnd as LooseEnd
    from tracer.trace.lists.results import News as News
    from tracer.trace.lists.results import Probe as Probe
    from tracer.trace.lists.results import Row as Row
    from tracer.trace.lists.results import SupplyReport as SupplyReport
    from tracer.trace.lists.supplies import UnknownModule as UnknownModule
    from tracer.trace.lists.supplies import every_list as every_list
    from tracer.trace.panels.plugged_in import SeenReport as SeenReport
    from tracer.trace.panels.positions_of import PanelReport as PanelReport
    from tracer.trace.panels.positions_of import UnknownPanel as UnknownPanel
    from tracer.trace.rules.registry import Rule
    from tracer.trace.tracing import Tracing as Tracing
    from tracer.trace.tracing import UnknownKeyState as UnknownKeyState


def load(folder: str | Path, kept: Kept | None = None) -> Circuit:
    """Read a vehicle's folder and join its sheets to one circuit; a `Kept` handed over each time spares parsing files that have not changed since.

    Raises
    ------
    CannotUse : with every problem found, each with file, line and column
    """
    from tracer.circuit.join import joined_folder

    return joined_folder(folder, kept)


def rules() -> tuple[Rule, ...]:
    """Everything that `check` looks for, with the reason and the cure."""
    from tracer.electrics.remarks import electric_rules
    from tracer.trace.rules.registry import all_rules

    return (*all_rules(), *electric_rules())


def check(circuit: Circuit | Tracing) -> Audit:
    """What is loose and what is remarkable in the whole vehicle."""
    from tracer.electrics.audit import audit_of

    return audit_of(_tracing(circuit))


def supplies(circuit: Circuit | Tracing, module: str) -> SupplyReport:
    """Every supply and ground of a module, where to probe each, and the loose ends.

    Raises
    ------
    UnknownModule : no module has that name
    """
    from tracer.trace.lists.supplies import supplies_of

    tracing = _tracing(circuit)
    return supplies_of(tracing, tracing.circuit.spelt(module))


def glance(
    circuit: Circuit | Tracing, report: SupplyReport, *, shop: Path | None = None, computed: bool = True
) -> Glance:
    """The first look at a list: for each pin what feeds it, the test that decides, where to split. Nothing `computed`: at once, without figures.

    Raises
    ------
    CannotUse : the workshop's file cannot be read
    """
    from tracer.plan.glance import glance_of

    tracing = _tracing(circuit)
    return glance_of(tracing, report, limits(tracing, shop) if computed else None)


def at_place(circuit: Circuit | Tracing, name: str, module: str | None = None, *, shop: Path | None = None, computed: bool = True, reports: Iterable[SupplyReport] | None = None) -> AtPlace:  # fmt: skip
    """What can be read at the place of a part, or at a place in words: points of one module's list, with volts where `computed`, or of every list.

    Parameters
    ----------
    reports : the lists, where they are there already or are made one by one; `every_list` where they are left out

    Raises
    ------
    UnknownPlace, UnknownModule : nothing is called so
    """
    from tracer.plan.at_place import at_place as points_at
    from tracer.trace.lists.supplies import every_list

    if module is None:
        tracing = _tracing(circuit)
        return points_at(tracing, every_list(tracing) if reports is None else reports, name)
    report = supplies(tracing := _tracing(circuit), module)
    return points_at(tracing, [report], name, expected(tracing, report, shop=shop) if computed else None)


def expected(circuit: Circuit | Tracing, report: SupplyReport, *, shop: Path | None = None) -> Expected:
    """Computed volts at every probe point of a list in every key state, with the limits of a workshop's file; or the reason why there are none.

    Raises
    ------
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.volts.expected import expected_of

    tracing = _tracing(circuit)
    return expected_of(tracing, report, limits=limits(tracing, shop))


def states(circuit: Circuit | Tracing, module: str) -> ModuleStates:
    """What each pin of a module must read in each key state, and why.

    Raises
    ------
    UnknownModule : no module has that name
    """
    from tracer.trace.lists.pin_states import pin_states

    tracing = _tracing(circuit)
    return pin_states(tracing, tracing.circuit.spelt(module))


def panels(circuit: Circuit | Tracing, name: str | None = None, *, module: str | None = None) -> PanelReport:
    """What belongs in each fuse position of a panel, or of all, and what it serves; of a module's list only where one is named.

    Raises
    ------
    UnknownPanel, UnknownModule : there is none of that name
    """
    from tracer.trace.panels.positions_of import only_these, panels_of

    tracing = _tracing(circuit)
    found = panels_of(tracing, None if name is None else tracing.circuit.spelt(name))
    if module is None:
        return found
    rows = supplies(tracing, module).rows
    return only_these(
        tracing,
        found,
        {fuse.part for row in rows for fuse in row.fuses} | {probe.part for row in rows for probe in row.probes},
    )


def seen(circuit: Circuit | Tracing, report: PanelReport, texts: Mapping[str, str]) -> SeenReport:
    """What is really plugged in (texts by the name of where each was written, a later one before an earlier) against what belongs there.

    Raises
    ------
    CannotUse : with every slip in the texts
    """
    from tracer.trace.panels.plugged_in import compare, read_seen

    plugged = {label: found for name, text in texts.items() for label, found in read_seen(text, report, name).items()}
    return compare(_tracing(circuit), report, plugged)


def affects(circuit: Circuit | Tracing, part: str, pin: str | None = None) -> AffectsReport:
    """What loses supply, ground or control if a part, or the wire at one pin of it, opens.

    Raises
    ------
    UnknownPart : no part has that name, or no such pin
    """
    from tracer.trace.affects.dead_part import Affected

    tracing = _tracing(circuit)
    return tracing.once(Affected).report(tracing.circuit.spelt(part), pin)


def every_loss(
    circuit: Circuit | Tracing, told: Callable[[Iterator[PartLoss]], Iterable[PartLoss]] = iter
) -> EveryLoss:
    """What has no way left without each part of the vehicle, key states left out; `told` sees each part as it gets ready."""
    from tracer.trace.affects.every_part import every_loss as found

    return found(_tracing(circuit), told)


def common(circuit: Circuit | Tracing, dead: Sequence[str], working: Sequence[str] = ()) -> CommonReport:
    """What several dead parts have in common upstream, without what a working part shares.

    Raises
    ------
    UnknownPart : no part has that name, or no such pin
    """
    from tracer.trace.affects.in_common import common_of

    tracing = _tracing(circuit)
    spelt = tracing.circuit.spelt
    return common_of(tracing, [spelt(name) for name in dead], [spelt(name) for name in working])


def volts(
    circuit: Circuit | Tracing,
    module: str,
    key: str | None = None,
    *,
    battery_v: float | None = None,
    opened: Iterable[str] = (),
    unplugged: Iterable[str] = (),
    loads: Iterable[str] = (),
    added: Iterable[str] = (),
    shorts: Iterable[str] = (),
    fitted: Iterable[str] = (),
    held: Iterable[str] = (),
    lamp_w: float | None = None,
    shop: Path | None = None,
) -> VoltsReport:
    """Computed volts at every probe point of a module's rows in a key state, with what-ifs and the limits of a workshop's file.

    Parameters
    ----------
    key : a key state; run, or the last but one, where it is left out
    opened, unplugged, loads, added, shorts, fitted, held : what-ifs as on the command line ("G5", "X4.1=0.5ohm", "F9=30" ...)
    lamp_w : a test lamp for each pin in place of the one that its fuse or wire allows, which is the usual one

    Raises
    ------
    UnknownModule, UnknownKeyState, UnknownPart, BadChange (all CannotAnswer) : the question names something that is not there
    NotSettled : no steady voltages were found
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.model.changes import changes_of
    from tracer.electrics.volts.of_module import volts_of
    from tracer.plan.lamps import LampRule
    from tracer.plan.names import rows_by_word

    tracing, loads = _tracing(circuit), tuple(loads)
    report = supplies(tracing, module)
    changes = changes_of(
        tracing.circuit, rows_by_word(tracing.circuit, report, (text.partition("=")[0].strip() for text in loads)), opened=opened, unplugged=unplugged, loads=loads, added=added, shorts=shorts, fitted=fitted, held=held, battery_v=battery_v,
    )  # fmt: skip
    return volts_of(
        tracing,
        report,
        tracing.key_state(key),
        changes,
        limits=limits(tracing, shop),
        lamps=LampRule(tracing.circuit).own_pins(report, lamp_w),
    )


def buses(circuit: Circuit | Tracing) -> list[str]:
    """The names of all buses."""
    from tracer.electrics.bus.lines import bus_names

    return bus_names(_tracing(circuit).circuit)


def bus(circuit: Circuit | Tracing, name: str, *, shop: Path | None = None) -> BusReport:
    """Lines, terminations and branches of a bus, the resistance to expect at each point, and what each test can tell.

    Raises
    ------
    UnknownBus : there is no bus of that name
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.bus.of_vehicle import bus_of

    tracing = _tracing(circuit)
    return bus_of(tracing, name, limits=limits(tracing, shop))


def bus_reading(
    circuit: Circuit | Tracing, report: BusReport, reading: str, at: str, *, shop: Path | None = None
) -> Classified:
    """What explains a resistance read between the lines of a bus at a point ("120ohm", "open").

    Raises
    ------
    CannotAnswer : it is no resistance, or there is no such point
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.bus.readings import classify, ohm_value

    return classify(report, ohm_value(reading), at, limits=limits(_tracing(circuit), shop))


def draw(
    circuit: Circuit | Tracing, readings: Iterable[str] = (), *, held: Iterable[str] = (), shop: Path | None = None,
    total: str | None = None,
) -> DrawReport:  # fmt: skip
    """Key-off current of each circuit from the millivolts across its fuse ("F4=0.4"), and the whole draw ("0.35A") by clamp or series meter.

    Raises
    ------
    CannotAnswer : a reading that cannot be understood, or a part that is not there
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.key_off_draw import draw_of, readings_of, total_of
    from tracer.electrics.model.changes import changes_of

    tracing = _tracing(circuit)
    found, chosen = readings_of(tracing, readings), changes_of(tracing.circuit, held=held).held
    return draw_of(tracing, found, limits=limits(tracing, shop), held=chosen, total_ma=total_of(total))


def diagram(
    circuit: Circuit | Tracing,
    module: str,
    form: str = "pdf",
    *,
    key: str | None = None,
    paper: str = "a4",
    engine: str = "pure",
    date: str = "",
) -> Printed:
    """The circuits of one module as the contents of files (svg, pdf or png), with what is live where a key state is given.

    Raises
    ------
    UnknownModule, UnknownKeyState : there is none of that name
    NoEngine (a CannotCompute) : the layout engine cannot be run
    """
    from tracer.report.printing import Job

    tracing = _tracing(circuit)
    state = tracing.key_state(key) if key is not None else None
    return printed(tracing, module, Job("diagram", form, paper, date, state, engine))


def worksheet(
    circuit: Circuit | Tracing,
    module: str,
    form: str = "pdf",
    *,
    full: bool = False,
    paper: str = "a4",
    date: str = "",
    shop: Path | None = None,
) -> Printed:
    """The worksheet of a module as the contents of a file to take to the vehicle (pdf, html, txt, csv or json); `full`: every point, by place.

    Raises
    ------
    UnknownModule, CannotUse : no module has that name, or the workshop's file cannot be read
    """
    from tracer.report.printing import Job

    tracing = _tracing(circuit)
    return printed(tracing, module, Job("worksheet", form, paper, date, limits=limits(tracing, shop), full=full))


def printed(circuit: Circuit | Tracing, module: str, job: Job) -> Printed:
    """One module's diagram or worksheet as a `Job` says.

    Raises
    ------
    UnknownModule, NoEngine (a CannotCompute) : no module has that name, or the layout engine cannot be run
    """
    from tracer.report import printing
    from tracer.standards.figures import decimal_mark

    tracing = _tracing(circuit)
    with decimal_mark(job.mark):  # numbers stand in reasons and notes as well
        report = supplies(tracing, module)
        if job.what == "worksheet":
            if not job.full:
                from tracer.plan.plug_worksheet import plug_worksheet_of

                made = plug_worksheet_of(tracing, report, job.limits or limits(tracing))
                return printing.plug_worksheet(made, tracing.circuit.typed.vehicle.system, job)
            from tracer.plan.steps import plan_of

            plan = plan_of(tracing, report, job.limits or limits(tracing))
            return printing.worksheet(tracing.circuit, report, plan, job)
        from tracer.plan.diagram import view_of

        return printing.diagram(view_of(tracing, report, job.key), job)


def printed_all(folder: Path, modules: list[str], job: Job) -> Iterator[Printed]:
    """Every module's, as they get ready, in several processes; each reads the vehicle's folder once."""
    from functools import partial

    from tracer.report.printing import in_processes

    return in_processes(partial(_printed_in_worker, str(folder), job), modules)


_opened: dict[str, Tracing] = {}  # in a worker: the one vehicle it works on


def _printed_in_worker(folder: str, job: Job, module: str) -> Printed:
    if folder not in _opened:
        _opened[folder] = _tracing(load(folder))
    return printed(_opened[folder], module, job)


def limits(circuit: Circuit | Tracing, shop: Path | None = None) -> LimitsInUse:
    """The limits that hold for a vehicle, those of a workshop's file among them.

    Raises
    ------
    CannotUse : the workshop's file cannot be read
    """
    from tracer.electrics.limits_in_use import limits_of
    from tracer.entry.overrides import read_shop

    return limits_of(_tracing(circuit).circuit, read_shop(shop) if shop is not None else None)


def _tracing(circuit: Circuit | Tracing) -> Tracing:
    from tracer.trace.tracing import Tracing

    return circuit if isinstance(circuit, Tracing) else Tracing(circuit)


# The calls are what is defined here: no second list that could miss one.
__all__ = [
    *VALUES,
    *(name for name, value in globals().items() if getattr(value, "__module__", "") == __name__ and name[0] != "_"),
]


def __getattr__(name: str) -> Any:
    if name in VALUES:
        return getattr(import_module(VALUES[name]), name)
    raise AttributeError(f"module 'tracer' has no attribute {name!r}")
