"""Buses, one line for each module on them: its pins, what terminates in it, what is read at its plug; and what another reading means."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from tracer.electrics.bus.values import (
    ALL_STATES,
    AVERAGE,
    FAULT_TOLERANT,
    INPUTS_OHM,
    KINDS,
    LIN,
    PLUGGED,
    UNPLUGGED,
    BusReport,
    Case,
    ohm_words,
)
from tracer.report.bus import doubts, expected_words, not_to_measure, termination_words
from tracer.report.completeness import first_line
from tracer.report.layout import Page, elsewhere_words
from tracer.report.minding import lines as mind_lines
from tracer.report.minding import marked, notes_line, opening
from tracer.report.words import MAKER_FIRST
from tracer.standards import figures
from tracer.trace.lists.completeness import Completeness
from tracer.trace.minding import CAUTION, HAZARD

_COLUMN = 8
MOST_IN_FULL = 6  # buses; more take a line each


def as_text(reports: Sequence[BusReport], *, width: int = 80, bold: bool = False) -> str:
    """One bus with a table of its modules; several in a few lines each, many in one each."""
    page = Page(width, bold=bold)
    if len(reports) > MOST_IN_FULL:
        _many(page, reports)
    for number, report in enumerate(reports if len(reports) <= MOST_IN_FULL else ()):
        _head(page, report, loose_elsewhere=number == 0)
        if len(reports) == 1:
            _modules(page, report)
        for label, text in _values(report) if len(reports) == 1 else _overview(report):
            page.labelled(label, text, indent=0, column=_COLUMN)
    notes_line(
        page,
        *(report.minding for report in reports),
        column=_COLUMN,
        rest="--all" if len(reports) == 1 else "bus NAME --all",
    )
    page.labelled("in", reports[0].vehicle, indent=0, column=_COLUMN)
    more = f"bus {reports[0].name} --all: each open, each test, sources" if len(reports) == 1 else "bus NAME: its plugs, what other readings mean"  # fmt: skip
    page.labelled("more", f"{more}. Ohms with supplies off and the bus asleep, never a lamp. {MAKER_FIRST}", indent=0, column=_COLUMN)  # fmt: skip
    return page.text()


def _many(page: Page, reports: Sequence[BusReport]) -> None:
    """A line for each bus: its kind, whether its list is complete, what is read in order; what is unknown about any of them first."""
    whole = Completeness.of_all([report.completeness for report in reports])
    page.line(f"{len(reports)} buses", strong=True)
    page.line(first_line(replace(whole, about="buses")), strong=True, hang=4)
    if whole.elsewhere:
        page.line(elsewhere_words(whole.elsewhere))
    for words in dict.fromkeys(line for report in reports for line in mind_lines(report.minding, HAZARD, CAUTION)):
        page.line(f"- {words}", indent=2, hang=4)
    rows = [
        [report.name, KINDS.get(report.kind, report.kind) or "kind not said", str(len(report.nodes)), _sound(report), _one_value(report)]
        for report in reports
    ]  # fmt: skip
    page.table(rows, head=["bus", "kind", "modules", "list", "in order"], gap=1, stacked_names=["modules", "in order"])


def _sound(report: BusReport) -> str:
    """Whether anything about a bus is unknown or closed to a meter, in a word or two."""
    more = [word for word, there in (("NOT KNOWN", report.problems), ("see NAME", report.not_to_measure)) if there]
    return ", ".join([report.completeness.word, *more])


def _one_value(report: BusReport) -> str:
    if report.cases:
        return _span(report.cases[:1])
    return "judged by voltage" if report.kind == LIN else "no ohms across the lines"


def _head(page: Page, report: BusReport, *, loose_elsewhere: bool) -> None:
    title = f" - {report.title}" if report.title else ""
    page.line(f"{report.name}{title}, {KINDS.get(report.kind, report.kind) or 'kind not said'}", strong=True)
    doubts(page, report, elsewhere=loose_elsewhere)
    opening(page, report.minding)
    not_to_measure(page, report)
    for note in report.notes:
        page.line(f"Note: {note}.", hang=4)


def _modules(page: Page, report: BusReport) -> None:
    good = {test.module: test for test in report.tests if test.own_plug}
    closed = dict(report.not_to_measure)
    rows = []
    for node in report.nodes:
        pins = ", ".join(names if line == "LIN" else f"{line} {names}" for line, names in node.pin_names.items())
        ends = ", ".join(termination_words(one) for one in report.terminations if one.name == node.module)
        test = good.get(node.module)
        read = "" if test is None else ohm_words(test.before.nominal) if test.tells else "tells nothing"
        name = marked(node.module, report.minding, node.module)
        rows.append([name, pins, "yes" if node.module in closed and ends else ends, read])
    page.table(rows, indent=2, head=["module", "pins", "terminates", "plug off, at its plug"], stacked_names=["terminates", "plug off, at its plug"])  # fmt: skip


def _overview(report: BusReport) -> Iterator[tuple[str, str]]:
    ends: dict[str, list[str]] = {}
    for one in report.terminations:
        ends.setdefault(one.name, []).append(
            "yes" if one.name in dict(report.not_to_measure) else termination_words(one)
        )
    plugs = [_plug(node.module, node.pin_names.values(), ends.get(node.module, ())) for node in report.nodes]
    yield "at", ", ".join([*plugs, *(_plug(one.name, (), ends[one.name]) for one in report.terminations if not one.module)])  # fmt: skip
    yield from _rule(report)
    if report.cases:
        yield "ohms", f"in order {_span(report.cases[:1])}"


def _plug(name: str, pins: Iterable[str], ends: Sequence[str]) -> str:
    """'ENM.11/12 (120 Ω)'."""
    at = "/".join(pin.removeprefix(f"{name}.") for pin in pins)
    terminates = f" ({', '.join(ends)})" if ends else ""
    return f"{name}{f'.{at}' if at else ''}{terminates}"


def _rule(report: BusReport) -> Iterator[tuple[str, str]]:
    """What an ohmmeter is good for on a bus that is not terminated between its lines."""
    if report.kind == LIN:
        yield "rule", f"one line, judged by voltage; commander {report.commander or 'not typed in'}{_fed(report)}"
    elif report.kind == FAULT_TOLERANT:
        ohms = ", ".join(f"{line} {figures.ohms(ohm)}" for line, ohm in report.line_ohms.items())
        yield "rule", "across the lines a meter proves nothing" + (f"; all resistors of a line together: {ohms}" if ohms else "")  # fmt: skip


def _fed(report: BusReport) -> str:
    return "" if report.supply_v is None else f", fed with {figures.stated(report.supply_v, 'V')}"


def _values(report: BusReport) -> Iterator[tuple[str, str]]:
    outside = [one for one in report.terminations if not one.module]
    if outside:
        yield "harness", ", ".join(f"{one.name} {termination_words(one)}" for one in outside)
    yield from _rule(report)
    if report.cases:
        yield "ohms", "; ".join(_ohms(report))
    if withheld := [one.words for one in report.levels if one.state == ALL_STATES]:
        yield "volts", f"{withheld[0]}."
    elif levels := _levels(report):
        yield "volts", f"{levels}. That it talks does not clear its wiring."
    if off := _to_ground(report):
        yield "ground", off


def _to_ground(report: BusReport) -> str:
    """What each line reads to ground and to supply with everything off; empty where nothing is said."""
    said = [
        f"{expected_words(one)} with {words}"
        for state, words in ((PLUGGED, "all plugged in"), (UNPLUGGED, "all unplugged"))
        for one in report.on_lines
        if one.state == state and one.low is not None
    ]
    if not said:
        return ""
    return f"each line to ground and to supply, off: {', '.join(dict.fromkeys(said))}; less is a way beside the bus"


def _ohms(report: BusReport) -> Iterator[str]:
    """What is read between the lines in order, and what other readings mean."""
    whole = _span(report.cases[:1])
    yield f"in order {whole}; so it reads too where another branch is open"
    for kind, words in (("termination", "a termination is lost or cut off"), ("added", "one termination too many")):
        if (span := _span(case for case in report.cases if case.kind == kind)) and span != whole:
            yield f"{span}: {words}"
    if any(case.kind == "short" for case in report.cases):
        yield "near 0 Ω: the lines touch"
    if any(case.kind == "open" for case in report.cases):
        yield "open or some kΩ: a line is open before that point"


def _span(cases: Iterable[Case]) -> str:
    found = [ohm.nominal for case in cases for ohm in case.expected if ohm is not None]
    if not found:
        return ""
    if min(found) >= INPUTS_OHM:
        return "open or some kΩ"
    least, most = ohm_words(min(found)), ohm_words(max(found)) if max(found) < INPUTS_OHM else "open or some kΩ"
    return least if least == most else f"{least} to {most}"


_STATES = (("recessive", "at rest"), (AVERAGE, "with traffic"), ("asleep", "asleep"))


def _levels(report: BusReport) -> str:
    """'at rest H 2.50 L 2.50; with traffic H 2.70 L 2.30': what a meter shows while all is well."""
    said = []
    for state, words in _STATES:
        found = [one for one in report.levels if one.state.split(" (")[0] == state and one.line != "difference"]
        volts: dict[str, str] = {}
        for one in found:
            value = "" if one.nominal_v is None else figures.volts_number(one.nominal_v)
            if not value and one.low_v is not None and one.high_v is not None:
                value = figures.volts_ends(one.low_v, one.high_v)
            volts.setdefault(one.line.removeprefix("CAN_"), value or one.words.split("; ")[0])
        if volts:
            said.append(f"{words} {', '.join(f'{line} {value}' for line, value in volts.items())}")
    return "; ".join(said)


__all__ = ["as_text"]
