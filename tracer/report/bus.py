"""One bus, or the list of buses: as text and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from tracer.electrics.bus.alike import clusters_of, cut_off, cut_off_modules, only_cuts_off, signature
from tracer.electrics.bus.values import (
    FAULT_TOLERANT,
    HIGH_SPEED,
    INPUTS_OHM,
    KINDS,
    LIN,
    BusReport,
    BusTermination,
    Case,
    ExpectedOnLine,
    LevelLine,
    ohm_words,
)
from tracer.entry.bus_words import NO_BUS as NO_BUS
from tracer.report.completeness import first_line
from tracer.report.layout import Page, counted, elsewhere_words
from tracer.report.minding import marked, notes, opening
from tracer.standards import figures
from tracer.standards.cautions import cautions_for

if TYPE_CHECKING:  # what works them out is not needed to show them
    from tracer.electrics.bus.readings import Classified


# --- text ----------------------------------------------------------------------------------------------------------


def as_text(reports: Sequence[BusReport], reading: Classified | None, *, width: int = 80, bold: bool = False) -> str:
    """Each bus with its lines, resistances, tests and levels; with a reading, only what explains it."""
    page = Page(width, bold=bold)
    shown: set[str] = set()
    for number, report in enumerate(reports):
        if number:
            page.blank()
            page.line("-" * min(page.width, 60))
        _head(page, report)
        if reading is not None:
            _reading(page, report, reading)
            continue
        _make_up(page, report)
        if report.cases:
            _in_order(page, report)
            _cases(page, report)
            _tests(page, report)
        elif report.kind:
            _without_rule(page, report)
        _on_lines(page, report)
        if report.kind not in shown:
            _levels(page, report)
        shown.add(report.kind)
    notes(page, *(report.minding for report in reports))
    _foot(page)
    return page.text()


def _head(page: Page, report: BusReport) -> None:
    title = f" - {report.title}" if report.title else ""
    page.line(
        f"{report.vehicle}: bus {report.name}{title}, {KINDS.get(report.kind, report.kind) or 'kind not said'}",
        strong=True,
    )
    doubts(page, report)
    for note in report.notes:
        page.line(f"Note: {note}.", hang=4)
    opening(page, report.minding)
    not_to_measure(page, report)


def doubts(page: Page, report: BusReport, *, elsewhere: bool = True) -> None:
    """Whether all of the bus is known, and what is not."""
    holds = "" if report.complete else " What follows holds only for what is typed in."
    page.line(f"{first_line(report.completeness, most=1000)}{holds}", strong=True, hang=4)
    for problem in report.problems:
        page.line(f"NOT KNOWN: {problem}.", strong=True, hang=4)
    if elsewhere and report.completeness.elsewhere:
        page.line(elsewhere_words(report.completeness.elsewhere))


def not_to_measure(page: Page, report: BusReport) -> None:
    """The modules that must not be touched, and why, each reason once."""
    for words in dict.fromkeys(words for _, words in report.not_to_measure):
        names = ", ".join(name for name, one in report.not_to_measure if one == words)
        page.line(f"{names}: {words}. Nothing is measured there, and no reading with it unplugged is given.", hang=4)


def _make_up(page: Page, report: BusReport) -> None:
    page.heading("Lines")
    rows = []
    for node in report.nodes:
        pins = ", ".join(names if line == "LIN" else f"{line} {names}" for line, names in node.pin_names.items())
        ends = ", ".join(termination_words(t) for t in report.terminations if t.name == node.module)
        closed = node.module in dict(report.not_to_measure)
        rows.append([marked(node.module, report.minding, node.module), pins, "yes" if closed and ends else ends])
    page.table(rows, indent=2, head=["module", "pins", "termination inside"])
    outside = [t for t in report.terminations if not t.module]
    if outside:
        page.line(f"in the harness: {', '.join(f'{t.name} {termination_words(t)}' for t in outside)}", indent=2)
    if not report.terminations and report.kind != LIN:
        page.line("no termination is typed in", indent=2)
    if report.kind == LIN:
        page.line(f"commander: {report.commander or 'not typed in (`commander` in vehicle.yaml)'}", indent=2)
    if report.trunk:
        page.line(f"trunk: {' - '.join(report.trunk)}, {_metres(report.trunk_m)}", indent=2, hang=9)
        stubs = [
            f"{s.module} {_metres(s.length_m)} from {s.leaves_at}" for s in report.stubs if s.module not in report.trunk
        ]
        if stubs:
            page.line(f"branches: {'; '.join(stubs)}", indent=2, hang=12)


def termination_words(one: BusTermination) -> str:
    """'120 Ω, split', 'resistance not known'."""
    text = figures.ohms(one.ohms) if one.ohms is not None else "resistance not known"
    return text + (", split" if one.split else "") + ("" if one.fitted else ", not fitted")


def _metres(length_m: float | None) -> str:
    return figures.metres(length_m)


def _in_order(page: Page, report: BusReport) -> None:
    page.heading("In order: resistance between the two lines")
    page.line("Supplies off, bus asleep, leads nulled. With everything plugged:", indent=2)
    for value, names in _clusters(report, report.cases[0]):
        page.line(f"{value}: {_names(report, names)}", indent=4, hang=6)
    expected = next((one for one in report.cases[0].expected if one is not None), None)
    if expected is not None and expected.nominal < INPUTS_OHM:
        page.line(
            f"Range {_ohm_range(report.cases[0])} by the inputs of the nodes (12 to 100 kΩ each) and the terminations (1 %); meter {report.meter}.",
            indent=2,
        )


def _cases(page: Page, report: BusReport) -> None:
    page.heading("With one thing changed")
    alike: dict[tuple[str, str], list[str]] = {}
    for case in report.cases[1:]:
        if case.kind in ("unplugged", "termination", "added"):
            name, changed, note = case.words.partition(" unplugged")
            alike.setdefault((changed + note, _case_words(report, case)), []).append(name)
    for (changed, words), names in alike.items():
        single = f"{' or '.join(names)}{changed}" if changed else ", or ".join(names)
        page.line(f"{single}: {words}", indent=2, hang=4)
    shorts = [case for case in report.cases if case.kind == "short"]
    if shorts:
        most = max(ohm.nominal for case in shorts for ohm in case.expected if ohm is not None)
        page.line(
            f"the two lines touching anywhere: 0 to {figures.ohms(most)} (plus the contact) at every point; the lowest reading is nearest to the fault",
            indent=2,
            hang=4,
        )
    _opens(page, report)


def _opens(page: Page, report: BusReport) -> None:
    """Opens by what is read: first those that move the reading everywhere, then branch by branch from the trunk outwards."""
    groups: dict[tuple[str, ...], list[Case]] = {}
    for case in report.cases:
        if case.kind == "open":
            groups.setdefault(signature(report, case), []).append(case)
    if not groups:
        return
    page.heading("One line open: where it reads what")
    branches: dict[tuple[str, ...], list[list[Case]]] = {}
    for cases in groups.values():
        if only_cuts_off(report, cases[0]):
            branches.setdefault(cut_off_modules(report, cases[0]), []).append(cases)
            continue
        page.line(_case_words(report, cases[0]), indent=2, hang=4, strong=True)
        page.line(f"open in any of: {_places(cases)}", indent=4, hang=6)
    if branches:
        page.line(
            "Beyond the fault open, or some kΩ from the inputs of the nodes; on this side of it as in order:", indent=2
        )
    rows = []
    for modules, sets in branches.items():
        sets.sort(key=lambda cases: -len(cut_off(report, cases[0])))
        for n, cases in enumerate(sets):
            here = cut_off(report, cases[0])
            beyond = frozenset[int]().union(*(cut_off(report, later[0]) for later in sets[n + 1 :]))
            first = sorted(here - beyond) or sorted(here)
            more = "" if len(first) == len(here) else " and beyond"
            towards = ", ".join(modules) if n == 0 else ""
            rows.append([towards, ", ".join(report.accesses[at].name for at in first) + more, _places(cases)])
    if rows:
        page.table(rows, indent=4, head=["towards", "reads open at", "one of these is open"], stacked_names=["towards"])
    page.line("Faults of one line of this list read alike: a resistance reading cannot tell them apart.", indent=2)


def _places(cases: Sequence[Case]) -> str:
    return "; ".join(_place(case) for case in cases)


def _place(case: Case) -> str:
    line, _, rest = case.words.partition(" open: ")
    words = rest.rpartition(", ")[2] if rest.startswith("wire ") else rest
    return f"{line.replace('line ', '')} {words}"


def _case_words(report: BusReport, case: Case) -> str:
    """'119 Ω everywhere', 'open at ALM.25/26; as in order elsewhere'."""
    clusters = _clusters(report, case, compare=True)
    if len(clusters) == 1:
        return f"{clusters[0][0]} at every point"
    largest = max(clusters, key=lambda cluster: len(cluster[1]))
    words = [f"{value} at {_names(report, names)}" for value, names in clusters if names is not largest[1]]
    return "; ".join([*words, f"{largest[0]} elsewhere"])


def _clusters(report: BusReport, case: Case, *, compare: bool = False) -> list[tuple[str, Sequence[int]]]:
    """What is read, lowest first, and at which access points; with `compare` it is said where that is as in order."""
    return [
        (
            f"as in order ({ohm_words(one.ohm)})" if compare and one.in_order else _class_words(one.ohm),
            one.accesses,
        )
        for one in clusters_of(report, case)
    ]


def _class_words(ohm: float) -> str:
    if ohm >= INPUTS_OHM and not math.isinf(ohm):
        return "open or some kΩ"
    return ohm_words(ohm)


def _names(report: BusReport, numbers: Sequence[int]) -> str:
    if len(numbers) == len(report.accesses):
        return "every point"
    return ", ".join(report.accesses[n].name for n in numbers)


def _ohm_range(case: Case) -> str:
    expected = [ohm for ohm in case.expected if ohm is not None]
    return figures.ohms_ends(min(r.low for r in expected), max(r.high for r in expected))


def _tests(page: Page, report: BusReport) -> None:
    page.heading("Can the test tell?")
    own = [test for test in report.tests if test.own_plug]
    useful, useless = [test for test in own if test.tells], [test for test in own if not test.tells]
    if useful:
        page.line(
            "Module unplugged, read at its own harness pins. About the reading below: both wires of its branch lead to the rest. "
            "Open: one of them does not. One strand reads as good as all.",
            indent=2,
        )
        page.table(
            [[t.module, t.at, ohm_words(t.before.nominal)] for t in useful],
            indent=4,
            head=["unplug", "read at", "good"],
        )
    for test in useless:
        page.line(f"{test.words} ({test.at}): {test.verdict}.", indent=2, hang=4)
    rows = []
    accuracy = 0.0
    for test in (test for test in report.tests if not test.own_plug):
        low, high = sorted((abs(test.change_low), abs(test.change_high)))
        if test.before.nominal >= INPUTS_OHM:
            moves, tells = "no termination in reach", "nothing"
        elif test.tells:
            moves, tells = f"{ohm_words(test.before.nominal)} to {_class_words(test.after.nominal)}", "yes"
        else:
            moves, tells = f"by {figures.ohms_ends(low, high)} of {figures.ohms(test.before.nominal)}", "nothing"
            accuracy = max(accuracy, test.accuracy)
        rows.append([test.module, test.at, moves, tells])
    if rows:
        page.line("Module unplugged, read elsewhere (where it moves most):", indent=2)
        page.table(rows, indent=4, head=["unplug", "read at", "moves the reading", "tells"], stacked_names=["tells"])
    if accuracy:
        page.line(
            f"Nothing: the reading moves by less than the accuracy of the meter ({figures.ohms(accuracy)}), so this test says nothing about the module or its branch.",
            indent=4,
        )
    page.line(
        "Plug each module in again before the next is unplugged: with two off, every reading is another bus.", indent=2
    )


def _without_rule(page: Page, report: BusReport) -> None:
    page.heading("Resistance")
    if report.kind == FAULT_TOLERANT:
        page.line(
            "The 60 Ω rule does not hold here: every node has its own resistor on each line, and none lies between the lines.",
            indent=2,
        )
        for line, ohm in report.line_ohms.items():
            page.line(
                f"line {line}: all resistors together {figures.ohms(ohm)} as typed in (about 100 Ω is usual, from memory). With a node unplugged they are more.",
                indent=2,
            )
        page.line(
            "Across the lines a meter sees transceivers without supply; it proves nothing about this bus.", indent=2
        )
    elif report.kind == LIN:
        page.line(
            "The 60 Ω rule does not hold here: one line, pulled up to the supply by about 1 kΩ in the commander and 30 kΩ in each responder, each behind a diode. "
            "A meter shows open in one direction of its leads; judge by voltage.",
            indent=2,
        )
    elif report.kind == HIGH_SPEED:
        why = "Nothing is measured on this bus" if report.not_to_measure else "It cannot be computed"
        page.line(f"{why}: see {'above' if report.not_to_measure else 'what is not known above'}.", indent=2)
    else:
        page.line("No rule is known for this kind: the maker's figures decide.", indent=2)


def _on_lines(page: Page, report: BusReport) -> None:
    """Each line to ground and to supply: lines that read alike in a state together."""
    if not report.on_lines:
        return
    held = "" if report.supply_v is None else f", with {figures.stated(report.supply_v, 'V')} there"
    page.heading(f"Each line to ground, and to supply{held}")
    cells: dict[tuple[str, str], dict[str, str]] = {}
    for one in report.on_lines:
        cells.setdefault((one.state, one.line), {})[one.to] = expected_words(one)
    alike: dict[tuple[str, str, str], list[str]] = {}
    for (state, line), found in cells.items():
        alike.setdefault((state, found["ground"], found.get("supply", "")), []).append(line)
    rows = [[state, ", ".join(lines), ground, supply] for (state, ground, supply), lines in alike.items()]
    page.table(
        rows,
        indent=2,
        head=["state", "line", "to ground", "to supply"],
        stretch=0,
        stacked_names=["to ground", "to supply"],
    )
    for words in dict.fromkeys(one.words for one in report.on_lines if one.words):
        page.line(f"{words[0].upper()}{words[1:]}.", indent=2, hang=4)
    if any(one.unit == "Ω" and one.low is not None for one in report.on_lines):
        page.line(
            "Off: supplies off, all asleep. Less Ω than that is a way beside the bus: unplug the modules one after another; what is left with all unplugged lies in the harness.",
            indent=2,
            hang=4,
        )
    sources = dict.fromkeys(
        one.source for one in report.on_lines if one.unit == "Ω" and not one.source.startswith("computed")
    )
    for source in filter(None, sources):
        page.line(f"- Ω: {source}", indent=2, hang=4)


def expected_words(one: ExpectedOnLine) -> str:
    """'2.50 (2.00 to 3.00) V', 'at least 1 kΩ', 'open', 'not judged'."""
    if one.words:
        return one.words.partition(":")[0]
    if one.unit == "Ω":
        low = one.low or 0.0
        return "open" if math.isinf(low) else f"at least {figures.ohms(low)}"
    ends = "" if one.low is None or one.high is None else figures.volts_ends(one.low, one.high)
    if one.nominal is None:
        return f"{ends} V"
    return f"{figures.volts_number(one.nominal)} ({ends}) V" if ends else figures.volts(one.nominal)


def _levels(page: Page, report: BusReport) -> None:
    if not report.levels:
        return
    page.heading("Levels, V to battery negative")
    lines = [line for line in dict.fromkeys(level.line for level in report.levels) if line != "difference"]
    states: dict[str, dict[str, str]] = {}
    notes: dict[str, dict[str, None]] = {}
    for level in report.levels:
        cells, said = states.setdefault(level.state, {}), notes.setdefault(level.state, {})
        value, words = _level(level)
        if level.line == "difference":
            said[f"H less L {value}"] = None
        else:
            cells[level.line] = value
        said |= dict.fromkeys(words)
    rows = []
    for state, cells in states.items():
        note = f" ({'; '.join(notes[state])})" if notes[state] else ""
        rows.append([state + note, *(cells.get(line, "") for line in lines)])
    page.table(rows, indent=2, head=["state", *lines], stretch=0, stacked_names=lines)
    for origin in _level_sources(report):
        page.line(f"- {origin}", indent=2, hang=4)
    page.line(
        "A meter shows averages; levels while talking need an oscilloscope. That a bus talks does not clear its wiring (common practice, no source).",
        indent=2,
    )


def _level_sources(report: BusReport) -> Iterator[str]:
    """What the levels are and where they are from: states of the same kind together, each source once."""
    states: dict[str, dict[str, None]] = {}
    sources: dict[str, dict[str, None]] = {}
    for level in (one for one in report.levels if one.source):
        kind, colon, source = level.source.partition(": ")
        states.setdefault(kind, {})[level.state] = None
        sources.setdefault(kind, {}).update(dict.fromkeys(source.split("; ") if colon else ()))
    for n, kind in enumerate(states):
        named = "the others" if n and n == len(states) - 1 else ", ".join(states[kind])
        yield f"{named}: {kind}" + (f": {'; '.join(sources[kind])}" if sources[kind] else "")


SHORT_WORDS = 22  # longer than this is no cell but a note


def _level(level: LevelLine) -> tuple[str, list[str]]:
    """The cell of a line in a state, and what else is said about it."""
    words = level.words.split("; ") if level.words else []
    value = "" if level.nominal_v is None else figures.volts_number(level.nominal_v)
    if level.low_v is not None and level.high_v is not None:
        ends = figures.volts_ends(level.low_v, level.high_v)
        value = f"{value} ({ends})" if value else ends
    if not value and words and len(words[0]) <= SHORT_WORDS:
        value = words.pop(0)
    return value, words


def _reading(page: Page, report: BusReport, reading: Classified) -> None:
    value = ohm_words(reading.reading) if math.isfinite(reading.reading) else "open"
    page.heading(f"Reading {value} at {reading.at}")
    for words in reading.words:
        page.line(f"- {words}", indent=2, hang=4)
    if reading.explanations:
        page.line(
            f"{counted(len(reading.explanations), 'single thing explains', 'single things explain')} it:", indent=2
        )
        for words, parts in _explained(report, reading).items():
            page.line(words + (f": {'; '.join(parts)}" if parts else ""), indent=4, hang=6)
    page.line(f"Meter: {report.meter}. Holds with supplies off and the bus asleep only.", indent=2)


def _explained(report: BusReport, reading: Classified) -> dict[str, list[str]]:
    """What explains a reading, like things together: in words, and where."""
    cases = {case.words: case for case in report.cases}
    found: dict[str, list[str]] = {}
    shorts = sorted(
        (one for one in reading.explanations if one.kind == "short"),
        key=lambda one: abs(one.expected.nominal - reading.reading),
    )
    for one in reading.explanations:
        value = _class_words(one.expected.nominal)
        if one.kind == "open":
            modules = cut_off_modules(report, cases[one.words])
            where = f"one line open towards {', '.join(modules)}" if modules else "one line open"
            found.setdefault(f"{where} (reads {value})", []).append(_place(cases[one.words]))
        elif one.kind == "unplugged":
            name, _, note = one.words.partition(" unplugged")
            found.setdefault(f"unplugged (reads {value})", []).append(name + note)
        elif one.kind == "short":
            found.setdefault(
                "the lines touch, nearest to the reading first",
                [f"{s.words.rpartition(' at ')[2]} {ohm_words(s.expected.nominal)}" for s in shorts],
            )
        else:
            found[f"{one.words} (reads {value})"] = []
    return found


def _foot(page: Page) -> None:
    page.cautions(caution.text for caution in cautions_for("resistance"))
    page.line("- No ohms on a bus that is awake, never a test lamp on a bus.", indent=2, hang=4)
