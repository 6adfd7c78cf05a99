"""Expected volts of a module in one key state, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tracer.electrics.limits_in_use import LimitInUse
from tracer.electrics.volts.values import (
    ElementVolts,
    LampTest,
    Overload,
    ProbeVolts,
    Range,
    RowVolts,
    Shorted,
    VoltsReport,
    Why,
)  # fmt: skip
from tracer.report.completeness import list_words
from tracer.report.lamps import reason
from tracer.report.layout import Page, codes, counted, elsewhere_words
from tracer.report.minding import labelled, notes, opening
from tracer.report.volts_data import as_data
from tracer.report.words import CARRYING, NEVER_A_LAMP, NOT_IN_THESE
from tracer.standards import figures
from tracer.standards.cautions import cautions_for

NARROW = 70
SHORT_IS_COMPUTED = (
    "The short is computed only, nothing to try: made on a vehicle it burns wires and people. Currents are without the resistance inside the battery: really less flows, "
    "and a fuse opens later. Until a fuse opens, relays stand as without the short, save those that it pulls to ground; that a module's output switches itself off is not computed."
)
NOT_COMPUTED = "not computed"  # in a cell; the reason stands with the row


# --- text ----------------------------------------------------------------------------------------------------------


def as_text(report: VoltsReport, *, width: int = 80, bold: bool = False) -> str:
    """The readings as plain text of the given width."""
    page = Page(width, bold=bold)
    _head(page, report)
    _glance(page, report)
    for title, letters in (("Supplies", "S"), ("Grounds", "G"), (CARRYING, "V")):
        rows = [row for row in report.rows if row.code[0] in letters]
        if rows:
            page.heading(title)
            for row in rows:
                _row(page, report, row)
    _unplugged(page, report)
    notes(page, report.minding)
    _rests_on(page, report)
    return page.text()


def _head(page: Page, report: VoltsReport) -> None:
    page.line(f"{report.vehicle}: {report.module}, expected volts, key state {report.key}", strong=True)
    doubts(page, report)
    page.line(
        f"Battery at its posts {volts(report.battery)} ({report.battery_state}). Measure it first and give it with --battery: every other value follows it."
    )
    supposed(page, report)


def doubts(page: Page, report: VoltsReport) -> None:
    """Whether the list is complete, and what can hurt somebody."""
    not_in_them = "" if report.complete else f" {NOT_IN_THESE}"
    page.line(f"{list_words(report.module, report.completeness)}{not_in_them}", strong=True)
    if report.completeness.elsewhere:
        page.line(elsewhere_words(report.completeness.elsewhere))
    opening(page, report.minding)


def no_rows(page: Page, rows: Sequence[RowVolts]) -> bool:
    """Says so where no pin has a row."""
    if not rows:
        page.line("No row: no pin of this module reaches a source or ground.")
    return not rows


def supposed(page: Page, report: VoltsReport) -> None:
    """What is held and supposed, what that does to fuses, what is not decided."""
    if report.held:
        page.line(f"Held: {', '.join(report.held)}.")
    if report.changes:
        page.heading("What if")
        for change in report.changes:
            page.line(change, indent=2, hang=4)
    _fuses(page, report)
    for one in report.undecided:
        page.line(f"Not decided: {one}.", hang=4)


def _fuses(page: Page, report: VoltsReport) -> None:
    """What a short comes to, and which fuses carry more than their rating in the state that is shown."""
    if report.shorted is not None:
        for line in _shorted(report.shorted):
            page.line(f"! {line}", hang=2, strong=True)
    for one in report.overloads:
        page.line(f"! {one.words}.", hang=2, strong=True)
    if report.shorted is not None:
        page.line(SHORT_IS_COMPUTED)


def _shorted(shorted: Shorted) -> Iterator[str]:
    first, left = figures.amps(shorted.first_a), figures.amps(shorted.left_a)
    if not shorted.flows:
        yield "Nothing flows through the short in this state: no fuse opens."
        return
    if shorted.not_computed:
        yield f"What it opens is {shorted.not_computed}."
        return
    if not shorted.fused and shorted.takes_over:
        yield f"{first} through the short, all of which flowed before over other ways: no fuse opens."
    elif not shorted.fused:
        yield f"NO FUSE is on the way of the short: {first} through it, and no fuse ends it."
    for one in shorted.openings:
        yield f"{one.fuse.fuse} OPENS: {_carries(one.fuse)} (from 1.35 times its rating on, from memory)."
        rated = [_carries(other, name=True) for other in one.beside if other.rating_a is not None]
        unrated = [other.words for other in one.beside if other.rating_a is None]
        if rated:
            yield f"Over their rating until then, and open too where they are the quicker: {'; '.join(rated)}."
        yield from (f"{words}." for words in unrated)
    if shorted.openings:
        after = f"still {left}" if shorted.flows_on else "nothing flows"
        yield f"After that {after} through the short. All below is the state after it."
    elif shorted.fused:
        yield f"{first} through the short, and no fuse is known to open."


def _carries(one: Overload, *, name: bool = False) -> str:
    rating = "" if one.rating_a is None else f" of {figures.stated(one.rating_a, 'A')}"
    return f"{f'{one.fuse}, ' if name else ''}{figures.amps(one.current_a)} on a fuse{rating}"


def _glance(page: Page, report: VoltsReport) -> None:
    if no_rows(page, report.rows):
        return
    page.heading("At a glance")
    changed = any(row.in_order_v is not None for row in report.rows)
    head = ["row", "point", "state", "volts", *(["in order"] if changed else ["low to high"]), "lost V", "A"]
    cells = []
    for row in report.rows:
        before = "-" if row.in_order_v is None else figures.volts_number(row.in_order_v)
        if row.not_computed:
            cells.append([row.code, row.point, row.state, NOT_COMPUTED, "", "", ""])
            continue
        cells.append(
            [
                row.code,
                row.point,
                row.state,
                "floating" if row.floating else figures.volts_number(row.volts.nominal),
                before if changed else "" if row.floating else figures.volts_ends(row.volts.low, row.volts.high),
                "" if row.floating or row.state in ("dead", "open") else figures.volts_number(row.lost.nominal),
                figures.amps_number(row.current_a.nominal),
            ]
        )
    if page.width < NARROW:
        cells = [[row, point, state, volts_, lost] for row, point, state, volts_, _, lost, _ in cells]
        head = ["row", "point", "state", "volts", "lost V"]
    page.table(cells, indent=2 if page.width >= NARROW else 0, head=head, gap=2 if page.width >= NARROW else 1)
    page.line(
        "Volts to battery negative, module plugged in unless it is unplugged above. Lost: from battery positive to the pin; for a ground, from the pin to battery negative"
        + (
            ", or to the minus of the generator where its current goes back there."
            if "charging" in report.battery_state
            else "."
        ),
        indent=2,
    )


def taken_as(report: VoltsReport) -> str:
    """How what a row depends on is taken."""
    return "what is not held is taken as not so" if report.held else "taken as not so"


def _row(page: Page, report: VoltsReport, row: RowVolts) -> None:
    page.blank()
    page.line(f"{row.code:<3} {row.point}  {row.declared or 'not declared'}: {row.state}", hang=4, strong=True)
    if row.why:
        page.labelled("depends", f"{'; '.join(row.why)} ({taken_as(report)}; hold it with --with)")
    labelled(page, report.minding, row.point, *(probe.at for probe in row.probes))
    if row.not_computed:
        page.labelled("expect", row.not_computed)
        return
    if row.floating:
        page.labelled(
            "expect",
            "FLOATING: no way to the battery in this state. A meter shows about 0 V or whatever leaks in; it says nothing",
        )
        return
    page.labelled("expect", f"{volts(row.volts)} to battery negative{at_worst(row.volts)}")
    if row.in_order_v is not None:
        page.labelled("in order", f"{figures.volts(row.in_order_v)} without what is supposed above")
    if row.across is not None:
        page.labelled("across", f"{volts(row.across)} from {row.point} to {row.across_to}{at_worst(row.across)}")
    if row.state in ("live", "grounded"):
        page.labelled("lost", f"{volts(row.lost)}, {figures.drop(row.copper_v)} of it in the wires{at_worst(row.lost)}")
        page.labelled("current", figures.amps_range(row.current_a.low, row.current_a.nominal, row.current_a.high))
        page.labelled("limit", f"{row.limit.words()} for {row.limit.item} ({row.limit.origin})")
    for verdict in row.verdicts:
        page.labelled("judge", verdict)
    if row.closes_mv is not None and row.state == "live":
        page.labelled(
            "adds up",
            f"drops out, module and drops back add up to the source, {figures.millivolts(abs(row.closes_mv) / 1000)} left over (nominal)",
        )
    if row.elements and row.state in ("live", "grounded"):
        _way(page, row)


def _way(page: Page, row: RowVolts) -> None:
    """The way of the current, point by point, with what is lost in each element."""
    by_point = {probe.at: probe for probe in row.probes}
    first = row.elements[0].from_point
    cells = [_way_line(first, by_point.get(first), None)]
    cells += [_way_line(element.to_point, by_point.get(element.to_point), element) for element in row.elements]
    on_way = {first, *(element.to_point for element in row.elements)}
    head = ["point", "volts", "low to high", "mV", "up to", "wire", "lost in"]
    page.line("way of the current:", indent=4)
    if page.width < NARROW:  # too narrow for columns: in words
        for point, value, _, drop, most, _, name in cells:
            reads = f" {value}{'' if value == 'floating' else ' V'}" if value else ""
            lost = f"; {drop} mV, up to {most}, in {name}" if name else ""
            page.line(f"{point}{reads}{lost}", indent=4, hang=6)
    else:
        page.table(cells, indent=4, head=head, gap=1)
    beside = [probe for probe in row.probes if probe.at not in on_way]
    if beside:
        page.labelled(
            "beside",
            ", ".join(
                f"{probe.at} {'floating' if probe.floating else f'{figures.volts_number(probe.volts.nominal)} V'}"
                for probe in beside
            ),
        )


def _way_line(point: str, probe: ProbeVolts | None, element: ElementVolts | None) -> list[str]:
    value, ends = "", ""
    point = point.replace(" behind the added resistance", ", wire side")
    if probe is not None:
        value = "floating" if probe.floating else figures.volts_number(probe.volts.nominal)
        ends = "" if probe.floating else figures.volts_ends(probe.volts.low, probe.volts.high)
    if element is None:
        return [point, value, ends, "", "", "", ""]
    return [
        point,
        value,
        ends,
        figures.millivolts_number(element.drop_v.nominal),
        figures.millivolts_number(element.drop_v.high),
        figures.millivolts_number(element.copper_v) if element.copper_v else "",
        element.name + (" (*)" if element.assumed else ""),
    ]


def _unplugged(page: Page, report: VoltsReport) -> None:
    """Each pin alone, with the lamp that its fuse or wire allows."""
    tested = [(row, row.lamp) for row in report.rows if row.lamp is not None]
    if not tested:
        return
    page.heading("Unplugged, each pin alone: meter, and meter with a lamp")
    cells = [
        [row.code, row.point, _lamp_volts(test.meter_v), *lamp_cells(test), _lamp_says(row, test)]
        for row, test in tested
    ]
    if page.width < NARROW:
        for code, point, meter, watts, lamp_v, says in cells:
            page.line(f"{code} {point}: meter {meter}, lamp {f'{watts} {lamp_v}'.strip()}; {says}", indent=2, hang=4)
    else:
        page.table(cells, indent=2, head=["row", "point", "meter", "lamp", "V", "what it tells"])
    for words, found in _too_large(tested).items():
        page.line(f"{codes(found)}: lamp {words}.", indent=2, hang=4, strong=True)
    page.line(
        f"Volts to battery negative, to be expected {'with what is supposed above' if report.changes else 'with everything in order'}: clearly less with the lamp (on a ground: more) is resistance in that way. "
        f"For a supply the lamp is clipped to battery negative, for a ground to battery positive. A lamp belongs on supplies and grounds only, n{NEVER_A_LAMP}.",
        indent=2,
    )


def _lamp_volts(value: float | None) -> str:
    return "floating" if value is None else figures.volts_number(value)


def lamp_cells(test: LampTest) -> list[str]:
    """The lamp, and what the meter shows with it."""
    if test.lamp.watts is None:
        return ["-", ""]
    return [figures.stated(test.lamp.watts, "W"), _lamp_volts(test.lamp_v)]


def _too_large(tested: Sequence[tuple[RowVolts, LampTest]]) -> dict[str, list[str]]:
    """Rows whose lamp was asked for and is more than their fuse or wire allows."""
    found: dict[str, list[str]] = {}
    for row, test in tested:
        lamp = test.lamp
        if lamp.why is Why.ASKED and lamp.watts is not None and lamp.watts > (lamp.of or 0.0):
            found.setdefault(reason(lamp), []).append(row.code)
    return found


def _lamp_says(row: RowVolts, test: LampTest) -> str:
    if test.lamp.watts is None:
        return f"no lamp on this pin: {reason(test.lamp)}"
    if test.meter_v is None:
        return "off with the module unplugged" if row.state in ("live", "grounded") else "open"
    if row.level == "supply" and test.meter_v < 1.0:
        return "dead"
    lost = f"{figures.drop(test.lost_v(row.level))} lost under load"
    if test.diode_v:
        lost += f", {figures.drop(test.diode_v)} of it by the law of the diode"
    return f"the meter alone hides it: {lost}" if test.hidden(row.level) else lost


def _rests_on(page: Page, report: VoltsReport) -> None:
    page.heading("What the values rest on")
    assumed = dict.fromkeys(text for row in report.rows if row.code[0] != "C" for text in row.assumed)
    if assumed:
        page.line(f"(*) Not typed in, taken by default; type it in and the range shrinks ({len(assumed)}):", indent=2)
        for text in assumed:
            page.line(f"- {text}", indent=4, hang=6)
    if report.assumed_currents:
        page.line(
            f"Of all modules and loads of the vehicle, {counted(report.assumed_currents, 'current is', 'currents are')} not typed in (`draws`, `watts`): every range allows for it.",
            indent=2,
        )
    for note in report.notes:
        page.line(f"- {note}", indent=2, hang=4)
    limits = {row.limit.item: row.limit for row in report.rows if not row.no_method}
    limits |= {e.limit.item: e.limit for row in report.rows for e in row.elements if e.limit is not None}
    for limit in limits.values():
        page.line(f"- limit {limit_words(limit)}", indent=2, hang=4)
    cold_c, warm_c = report.wires_c or (0.0, 0.0)
    page.line(
        f"Low to high: in 99 of 100 vehicles in order, everything uncertain by itself between its ends; a reading is judged by it. At worst: everything at the ends that move the pin most. Wires by size and length at {figures.stated_range(cold_c, warm_c, '°C')}, contacts and joints by usual allowances (from memory), the battery as stated.",
        indent=2,
    )
    page.line(
        f"Meter of {figures.ohms(report.meter_ohm)} at the probed point only. Battery: {report.battery_source}.",
        indent=2,
    )
    page.line("What depends on something not held is taken as off. The maker's figures come first.", indent=2)
    page.cautions(caution.text for caution in cautions_for("probe"))


def volts(value: Range) -> str:
    """'12.40 V (11.80 to 12.80)'."""
    return figures.volts_range(value.low, value.nominal, value.high)


def at_worst(value: Range) -> str:
    """'; at worst 11.72 to 12.81 V', what is possible beside what is likely; empty where both show the same."""
    ends = figures.volts_ends(value.least, value.most)
    return "" if ends == figures.volts_ends(value.low, value.high) else f"; at worst {ends} V"


def limit_words(limit: LimitInUse) -> str:
    """'0.50 V for supply path (standard: ...)'."""
    return f"{limit.words()} for {limit.item} ({limit.said})"


__all__ = ["as_data", "as_text", "doubts", "lamp_cells", "limit_words", "supposed", "taken_as", "volts"]
