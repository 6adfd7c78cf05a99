"""The expected volts of a module, one line for each of its pins: what is read plugged in, how much may be lost, what the lamp shows."""

from __future__ import annotations

from tracer.electrics.volts.values import RowVolts, VoltsReport
from tracer.report.layout import Page, counted
from tracer.report.minding import mark, notes_line
from tracer.report.volts import doubts, lamp_cells, no_rows, supposed, taken_as, volts
from tracer.report.words import MAKER_FIRST, NEVER_A_LAMP
from tracer.standards import figures

STACKED = 70  # columns below which a pin takes two lines
NO_LOAD, OFF = "no load", "off"
_ON = ("live", "grounded")


def as_text(report: VoltsReport, *, width: int = 80, bold: bool = False) -> str:
    """One line for each pin of the module; what else must work, and how to read it, below."""
    page = Page(width, bold=bold)
    page.line(f"{report.module}: expected volts, key state {report.key}", strong=True)
    doubts(page, report)
    page.line(f"Battery posts {volts(report.battery)} ({report.battery_state}). Measured: --battery VOLTS.", hang=4)
    supposed(page, report)
    _marked(page, report)
    own = [row for row in report.rows if row.code[0] != "C"]
    no_rows(page, own)
    changed = any(row.in_order_v is not None for row in report.rows)
    beside = ("in order", "lost") if changed else ("low to high", "lost", "at most")
    names = ("point", "state", "volts", *beside, "A", "lamp", "with it")
    cells = [_cells(row, report, changed=changed) for row in own]
    if page.width < STACKED:
        for cell in cells:
            _stacked(page, cell, changed=changed)
    else:
        page.table(cells, head=names, gap=1)
    _below(page, report, own, changed=changed)
    return page.text()


def _marked(page: Page, report: VoltsReport) -> None:
    """What the figures do not rest on, and what a reading would show that the columns do not."""
    assumed = dict.fromkeys(text for row in report.rows if row.code[0] != "C" for text in row.assumed)
    if assumed or report.assumed_currents:
        values = [
            *([counted(len(assumed), "value")] if assumed else []),
            *([counted(report.assumed_currents, "current", "currents")] if report.assumed_currents else []),
        ]
        page.line(f"Not typed in, taken by default: {' and '.join(values)}.", hang=4)
    said: dict[str, list[str]] = {}
    for row in report.rows:
        reasons = [row.not_computed] if row.not_computed else list(row.verdicts) if row.state not in _ON else []
        for words in reasons:
            said.setdefault(words, []).append(row.point)
    for words, points in said.items():
        page.line(f"! {', '.join(points)}: {words}", hang=2)


def _cells(row: RowVolts, report: VoltsReport, *, changed: bool) -> list[str]:
    point = row.point + (f" [{words}]" if (words := mark(report.minding, row.point)) else "")
    between = 2 if changed else 3
    if row.not_computed:
        return [point, row.state, "not computed", *[""] * between, "", "", ""]
    lamp, lit = lamp_cells(row.lamp) if row.lamp is not None else ("", "")
    on = row.state in _ON
    if lit and on and _is_off(row):
        lit = OFF
    if row.floating:
        return [point, row.state, "floating", *[""] * between, "", lamp, lit]
    lost = figures.volts_number(row.lost.nominal) if on else ""
    if changed:
        beside = ["-" if row.in_order_v is None else figures.volts_number(row.in_order_v), lost]
    else:
        most = NO_LOAD if row.idle else figures.volts_number(row.lost.high)
        beside = [figures.volts_ends(row.volts.low, row.volts.high), lost, most if on else ""]
    volts_, amps = figures.volts_number(row.volts.nominal), figures.amps_number(row.current_a.nominal)
    return [point, row.state, volts_, *beside, amps, lamp, lit]


def _is_off(row: RowVolts) -> bool:
    """Whether a pin that is live while the module works has nothing on it once it is unplugged."""
    test = row.lamp
    return test is not None and (test.meter_v is None or (row.level == "supply" and test.meter_v < 1.0))


def _stacked(page: Page, cells: list[str], *, changed: bool) -> None:
    point, state, number, beside, *lost, amps, lamp, lit = cells
    around = "in order " if changed else ""
    number += " V" if number and number[-1].isdigit() else ""
    page.line(f"{point} {state} {number}{f' ({around}{beside})' if beside else ''}", hang=2)
    parts = [
        *([f"lost {lost[0]}"] if lost[0] else []),
        *([lost[1] if lost[1] == NO_LOAD else f"at most {lost[1]}"] if lost[1:] and lost[1] else []),
        *([f"{amps} A"] if amps else []),
        *([f"lamp {lamp} {lit}"] if lit else []),
    ]
    if parts:
        page.line(", ".join(parts), indent=2, hang=4)


def _below(page: Page, report: VoltsReport, own: list[RowVolts], *, changed: bool) -> None:
    def told(label: str, text: str) -> None:
        page.labelled(label, text, indent=0, column=8)

    said: dict[str, list[str]] = {}
    for row in own:
        for reason in row.why:
            said.setdefault(reason, []).append(row.point)
    if said:
        told("depends", "; ".join(f"{', '.join(points)}: {words}" for words, points in said.items()) + f" ({taken_as(report)}: --with)")  # fmt: skip
    charging = " or the generator's minus" if "charging" in report.battery_state else ""
    most = "" if changed else "; above `at most`: more resistance than the wiring has"
    idle = f"; {NO_LOAD}: a reading proves nothing" if not changed and any(row.idle for row in own) else ""  # fmt: skip
    told("lost", f"from battery + to the pin (ground: on to battery -{charging}){most}{idle}.")
    if any(row.lamp is not None for row in own):
        off = f"; {OFF}: not there then" if any(row.state in _ON and _is_off(row) for row in own) else ""
        told("lamp", f"unplugged, that pin alone, V with this lamp to the other post; clearly less (ground: more) is resistance{off}. N{NEVER_A_LAMP}.")  # fmt: skip
    notes_line(page, report.minding, column=8)
    told("in", report.vehicle)
    chains = sum(row.code[0] == "C" for row in report.rows)
    first = f", and {counted(chains, 'pin')} that must work first" if chains else ""
    told("more", f"volts {report.module} --all: each way{first}. {MAKER_FIRST}")


__all__ = ["as_text"]
