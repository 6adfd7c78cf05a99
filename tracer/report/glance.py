"""The list of a module on one screen: the verdict, one line for each pin with what feeds it and the figure that decides, and how to go on."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tracer.entry.problems import display_width, listed, natural
from tracer.plan.values import ON_NOTHING, BusAtAGlance, Decides, Glance, OnWay, PinAtAGlance
from tracer.plan.words import NO_PLACE
from tracer.report.cavities import way_not_known
from tracer.report.completeness import joints_words, loose_words
from tracer.report.completeness import opening as opening_words
from tracer.report.lamps import lead_words
from tracer.report.layout import GROUND_SIGNS, SIGNS, Page, counted, level_sign, signs_meaning
from tracer.report.minding import mark, notes_line, opening
from tracer.report.supplies import gets_words
from tracer.report.words import FED_THROUGH, MAKER_FIRST, PINS_NOT_LISTED, RESTS_ON, TOO_MANY_TO_WALK
from tracer.standards import figures
from tracer.trace.lists.results import FuseOnWay, Row, SupplyReport

SHOWN_OHM = 0.2  # what the figure of a row shows; a row that may hide more is named
STACKED = 64  # columns below which a pin takes several lines
MOST_LINES = 8  # of loose ends, assumptions and the like: more become a count
_TOGETHER = "\N{NO-BREAK SPACE}"  # while lines are broken: a fuse stays beside its rating
_LENGTH = re.compile(r" \d+([.,]\d+)?m\b")


def as_text(glance: Glance, *, width: int = 80, bold: bool = False) -> str:
    """The first look as plain text of the given width."""
    page = Page(width, bold=bold)
    report = glance.report
    head(page, glance, begin=True)
    if glance.why_not:
        page.line(f"! NO VOLTS COMPUTED: {glance.why_not}", hang=2)
    behind = behind_panels(glance)
    if width < STACKED:
        _stacked(page, glance, behind)
    else:
        _table(page, glance, behind)
    for label, text in _below(glance, behind):
        page.labelled(label, text, indent=0, column=7)
    notes_line(page, report.minding)
    return page.text().replace(_TOGETHER, " ")


# --- the first lines ---------------------------------------------------------------------------------------------------


def verdict(report: SupplyReport) -> str:
    """'COMPLETE: 8 supplies, 3 grounds', and what that does not cover."""
    counts = f"{counted(len(report.supplies), 'supply', 'supplies')}, {counted(len(report.grounds), 'ground')}"
    open_pins = sum(cavity.kind == "unaccounted" for cavity in report.census)
    besides = [
        *([f"{counted(open_pins, 'pin')} of unknown use"] if open_pins else []),
        *([] if report.cavities_listed else [PINS_NOT_LISTED]),
        *([joints] if (joints := joints_words(report.completeness)) else []),
    ]
    if report.completeness.state == "not complete":
        return f"NOT COMPLETE: {'; '.join([loose_words(report.completeness), *besides])}. So far {counts}."
    return f"{opening_words(report.completeness, most=1000)}: {'; '.join([counts, *besides])}."


def head(page: Page, glance: Glance, *, begin: bool = False) -> None:
    """The module, the verdict, what is to be minded, and what is loose or doubtful, the first few each in a line; with `begin` also where to begin."""
    report = glance.report
    where = f", {report.place}" if report.place else ""
    page.line(f"{report.module}{f' - {report.name}' if report.name else ''}{where}", strong=True)
    page.line(verdict(report) + (_begin(glance) if begin else ""), strong=True, hang=4)
    opening(page, report.minding)
    rests_on = report.completeness.conditions if report.completeness.state == "not complete" else ()
    marked = [
        *two_counts(report),
        *(f"{RESTS_ON}: {one}" for one in rests_on),
        *(f"{loose.at}: {loose.message}. {loose.code}" for loose in glance.loose_ends),
    ]
    shown = marked if len(marked) <= MOST_LINES else marked[: MOST_LINES - 1]
    for line in shown:
        page.line(_cut(f"! {line}", page.width), hang=2)
    if len(shown) < len(marked):
        page.line(f"! and {len(marked) - len(shown)} more: `tracer supplies {report.module} --all`", hang=2)
    for line in other_doubts(report):
        page.line(f"! {line}", hang=2)


def two_counts(report: SupplyReport) -> list[str]:
    """Where the two counts differ."""
    return [f"the two counts differ: {difference}" for difference in report.cross_check.differences]


def other_doubts(report: SupplyReport) -> Iterator[str]:
    """What else may be wrong with a list, each in a line."""
    if report.cross_check.not_walked:
        pins = listed(list(report.cross_check.not_walked))
        yield f"pin {pins}: {TOO_MANY_TO_WALK} would not show"
    for level, rows in (("supply", report.supplies), ("ground", report.grounds)):
        if not rows:
            yield gets_words(report, level)
    own = (*report.supplies, *report.grounds, *report.carrying)
    ruled_out = {row.pin: {name for one in row.left_out for name in one.switches} for row in own if row.left_out}
    if ruled_out:  # a slip in a contact table could hide a supply
        switches = listed(sorted(set[str]().union(*ruled_out.values()), key=natural))
        yield f"positions of {switches} rule parts out at pin {listed(list(ruled_out))}: check the contact tables"
    doubtful = [row.pin for row in report.rows if row.too_many]
    if doubtful:
        yield f"MAY LIST TOO MUCH at pin {listed(doubtful)}: more switch positions than can be tried"


def _cut(text: str, width: int) -> str:
    """One line of a wide page; the whole text stands under --all. A narrow page has it in several lines."""
    if width < STACKED or display_width(text) <= width:
        return text
    words = text.split(" ")
    while len(words) > 1 and display_width(" ".join(words)) > width - 2:
        words.pop()
    return " ".join(words) + " …"


# --- one line for each pin ---------------------------------------------------------------------------------------------


def _states(row: Row, keys: Iterable[str]) -> str:
    signs = SIGNS if row.level == "supply" else GROUND_SIGNS
    return "".join(signs[row.live.get(key, "unknown")] for key in keys)


def _on_way(one: OnWay) -> str:
    words = one.part if one.kind != "output" else f"output {one.part}"
    if one.kind == "fuse":
        words += f" {figures.stated(one.amps)}A" if one.amps is not None else " ?A"
    outs = [pins.split("-")[-1] for pins in one.pins]  # of a relay's working contact nothing needs saying
    return (f"{words} {'/'.join(outs)}" if outs and outs != ["87"] else words).replace(" ", _TOGETHER)


def _way(way: Iterable[OnWay]) -> str:
    """'FPE F50 30A > KAL 30-87 > F52 20A'; what stands side by side is joined by a stroke."""
    text, panel, beside = "", None, False
    for one in way:
        words = _on_way(one)
        if one.panel and one.panel != panel:
            words = f"{one.panel}{_TOGETHER}{words}"
        panel = one.panel
        text += ("" if not text else " / " if beside and one.beside else " > ") + words
        beside = one.beside
    return text


def behind_panels(glance: Glance) -> dict[str, tuple[OnWay, ...]]:
    """The fuses outside every panel that all supplies of a panel come through: said with the panel, not in each line."""
    found: dict[str, set[tuple[OnWay, ...]]] = {}
    for pin in glance.pins:
        if pin.row.level == "supply":
            lead = _lead(pin.way)
            if len(lead) < len(pin.way) and (panel := pin.way[len(lead)].panel):
                found.setdefault(panel, set()).add(lead)
    return {panel: next(iter(leads)) for panel, leads in found.items() if len(leads) == 1 and next(iter(leads))}


def _lead(way: tuple[OnWay, ...]) -> tuple[OnWay, ...]:
    number = next((n for n, one in enumerate(way) if one.panel or one.kind != "fuse"), len(way))
    return way[:number]


def way_words(pin: PinAtAGlance, behind: dict[str, tuple[OnWay, ...]]) -> str:
    """What feeds a pin, source first, without what is said with its panel; of a ground what it goes through, and its end."""
    way, lead = pin.way, _lead(pin.way)
    if pin.row.level == "supply" and lead and len(lead) < len(way) and behind.get(way[len(lead)].panel or "") == lead:
        way = way[len(lead) :]
    text = _way(way)
    ends = [end.id for end in pin.row.ends if end.assumed or not way]
    if pin.row.level == "ground" or not text:
        text = " > ".join(filter(None, (text, " / ".join(ends))))  # each end alone suffices
    return text


def _test(test: Decides) -> str:
    """'run 21W'; nothing where it is not known when the pin is live."""
    if test.why_not == ON_NOTHING:
        return f"{test.key} plugged"
    lamp = figures.stated(test.lamp.watts) + "W" if test.lamp.watts is not None else "meter"
    return f"{test.key} {lamp}" if test.key else ""


def _figure(test: Decides) -> str:
    """'0.32': what a sound way loses at most under the lamp, in volts; or in a word why no figure decides."""
    if test.most_v is not None:
        return figures.volts_number(test.most_v)
    return "first" if test.held and not test.leads else "diode" if test.why_not == "diode" else ""


def test_words(pin: PinAtAGlance) -> str:
    """'run, 21 W: growth 0.26 V at most; fails: F52, X3.12, F50'."""
    split = f"; fails: {', '.join(pin.splits)}" if pin.splits else ""
    figure = _figure(pin.test)
    most = f"growth {figure} V at most" if figure[:1].isdigit() else figure
    return f"{_test(pin.test) or 'not known when it is live'}{f', {most}' if most else ''}{split}"


def short_wire(row: Row) -> str:
    """The wire at a pin without its length."""
    return without_length(row.wire)


def without_length(wire: str) -> str:
    """A wire as typed, without its length: 'RD/BU 2.5'."""
    return _LENGTH.sub("", wire)


@dataclass(frozen=True, slots=True)
class _Line:
    cells: tuple[str, ...]  # pin, wire, states, test, figure
    way: str
    splits: tuple[str, ...]


def _lines(glance: Glance, behind: dict[str, tuple[OnWay, ...]]) -> Iterator[_Line]:
    for pin in glance.pins:
        declared = pin.row.declared.split(" ")[0]
        carrying = pin.row.code[0] == "V"
        states = _states(pin.row, glance.report.keys)
        cells = (pin.name, short_wire(pin.row), states, "" if carrying or pin.row.no_method else _test(pin.test), "" if carrying else _figure(pin.test))  # fmt: skip
        minded = mark(glance.report.minding, pin.row.point, *(probe.at for probe in pin.row.probes))
        way = way_words(pin, behind) + (f" ! {minded}" if minded else "")
        yield _Line(
            cells, f"{declared or 'not declared'}, over {way}" if carrying else way, () if carrying else pin.splits
        )
    for cavity in glance.unknown:
        yield _Line((cavity.pin, "", "?" * len(glance.report.keys), "", ""), way_not_known(cavity.kind), ())


HEAD = ("pin", "wire", "live", "test", "growth")


def _table(page: Page, glance: Glance, behind: dict[str, tuple[OnWay, ...]]) -> None:
    pins = list(_lines(glance, behind))
    every = [line.cells for line in pins] + [HEAD]
    widths = [max(display_width(cells[n]) for cells in every) for n in range(len(HEAD))]
    fixed = sum(widths) + len(widths)
    longest = max((display_width(line.way) for line in pins), default=0)
    splits = 0
    for splits in (3, 2, 1, 0):
        width = max((display_width(" ".join(line.splits[:splits])) for line in pins), default=0)
        if page.width - fixed - width - 1 >= min(longest, 34):
            break
    room = page.width - fixed - width - 1
    table = [(*line.cells[:3], line.way, *line.cells[3:], " ".join(line.splits[:splits])) for line in pins]
    through = FED_THROUGH
    head = (*HEAD[:3], through if len(through) <= room else "fed through", *HEAD[3:], "split at" if splits else "")
    page.table(table, head=head, gap=1, stretch=3)


def _stacked(page: Page, glance: Glance, behind: dict[str, tuple[OnWay, ...]]) -> None:
    for line in _lines(glance, behind):
        name, wire, states, test, figure = line.cells
        page.line("  ".join(word for word in (name, wire, states) if word), strong=True)
        page.line(line.way, indent=2, hang=4)
        if test:
            words = f"{test} growth {figure} V" if figure[:1].isdigit() else f"{test} {figure}".rstrip()
            for most in range(len(line.splits), 0, -1):
                split = f"; split {' '.join(line.splits[:most])}"
                if most == 1 or display_width(words + split) <= page.width - 2:
                    words += split
                    break
            page.line(words, indent=2, hang=4)


# --- below -------------------------------------------------------------------------------------------------------------


def _below(glance: Glance, behind: dict[str, tuple[OnWay, ...]]) -> Iterator[tuple[str, str]]:
    report = glance.report
    signs = {sign for pin in glance.pins for sign in _states(pin.row, report.keys)}
    yield (
        "live",
        f"in {', '.join(report.keys)}: {signs_meaning(signs)}{_depends(glance)}",
    )
    for name, place, _ in glance.panels:
        lead = f", behind {_way(behind[name])}" if name in behind else ""
        yield name, (place or NO_PLACE) + lead
    if firsts := [first for pin in glance.pins if (first := first_words(report, pin))]:
        yield "needs", "; ".join(firsts)
    for bus in glance.buses:
        yield "bus", _bus(bus)
    yield from _how(glance)
    for words in dict.fromkeys(pin.row.no_method for pin in glance.pins if pin.row.no_method):
        yield "stop", f"{', '.join(pin.name for pin in glance.pins if pin.row.no_method == words)}: {words}"
    elsewhere = report.loose_elsewhere
    if elsewhere:
        yield "loose", f"{counted(elsewhere, 'loose end')} elsewhere in the vehicle: `tracer check`"
    yield "in", report.vehicle
    yield (
        "more",
        f"supplies {report.module} PIN or --all; worksheet. {MAKER_FIRST}",
    )


def _begin(glance: Glance) -> str:
    """'Begin with 3+, 5+ and 1-: always there.' of two supplies and a ground that are read in any key state, whatever else works; only of a list that is complete."""
    if glance.report.completeness.state != "complete":
        return ""
    always = [
        pin.name
        for pin in glance.pins
        if not pin.row.needs and not pin.row.no_method and set(pin.row.live.values()) == {"live"}
    ]
    supplies = [name for name in always if name[-1] == "+"][:2]
    grounds = [name for name in always if name[-1] == "-"][:1]
    names = [*supplies, *grounds]
    return f" Begin with {listed(names, joiner='and')}: always there." if names else ""


def _how(glance: Glance) -> Iterator[tuple[str, str]]:
    hidden = [pin.test.hides_ohm for pin in glance.pins if pin.test.hides_ohm is not None]
    if hidden:
        yield "test", how_words(hidden)
    if exceptions := minded(glance.pins):
        yield "mind", f"{'; '.join(exceptions)}."


def how_words(hidden: Iterable[float]) -> str:
    """How a pin is tried alone with the lamp, and from how many ohms on a bad joint shows."""
    ohms = figures.ohms(_tenths_up(max((ohm for ohm in hidden if ohm <= SHOWN_OHM), default=SHOWN_OHM)))
    return f"plug off, pin alone: drop to battery + (ground: -), then with lamp to the other post. More V than `growth`: bad joint ({ohms} up, less may hide)."


def minded(pins: Iterable[PinAtAGlance]) -> list[str]:
    """What is tried otherwise at which pins: behind diodes, with ways side by side, and where less than usual shows."""
    pins = list(pins)
    hidden = {pin.name: pin.test.hides_ohm for pin in pins if pin.test.hides_ohm is not None}
    diodes = [pin.name for pin in pins if pin.test.why_not == "diode"]
    nothing = [pin.name for pin in pins if pin.test.why_not == ON_NOTHING]
    own = [pin for pin in pins if pin.row.code[0] in "SG"]
    legs = [pin.name for pin in own if pin.beside.legs]
    untold = [pin.name for pin in own if pin.beside.left]
    return [
        *([f"{', '.join(diodes)}: diode, 5 W against 21 W"] if diodes else []),
        *([f"{', '.join(nothing)}: {ON_NOTHING}"] if nothing else []),
        *([f"{', '.join(legs)}: each way alone"] if legs else []),
        *([f"{', '.join(untold)}: ways side by side that no test tells apart"] if untold else []),
        *(f"{name}: {figures.ohms(_tenths_up(ohm))} up" for name, ohm in hidden.items() if ohm > SHOWN_OHM),
    ]


def _tenths_up(ohm: float) -> float:
    """Rounded up, so that what is said to show does show."""
    return max(0.1, math.ceil(ohm * 10 - 1e-9) / 10)


def _depends(glance: Glance) -> str:
    said: dict[str, list[str]] = {}
    for pin in glance.pins:
        for reason in dict.fromkeys(reason for reasons in pin.row.why.values() for reason in reasons):
            said.setdefault(reason, []).append(pin.name)
    return "".join(f"; {', '.join(pins)}: {reason}" for reason, pins in said.items())


def first_words(report: SupplyReport, pin: PinAtAGlance) -> str:
    """'2+: KAL (86+, 85- from ALM.11: plug off, it stays dead)', '6+: KLE (86+ FPC F19, 85-)', '9+: BDM working (FPC F1, F2)', with the fuses that stand on no row of the module."""
    parts: dict[str, list[str]] = {}
    fuses: dict[str, list[FuseOnWay]] = {}
    shown = {fuse.part for row in (*report.supplies, *report.carrying) for fuse in row.fuses}
    for row in (row for row in report.chains if row.code in pin.row.needs):
        own = next((one for one in row.needs if one.startswith(f"{report.module}.")), "")
        without = f"; plug off: {lead_words(pin.test.leads)}" if pin.test.leads else ": plug off, it stays dead"
        from_itself = f" from {own.split(' ')[0]}{without}" if own else ""
        others = [fuse for fuse in row.fuses if fuse.part not in shown]
        words = f"{row.pin}{level_sign(row.level)}{f' {_fuse_names(others)}' if others else ''}{from_itself}"
        parts.setdefault(row.part, []).append("" if " of module " in row.what_for else words)
        fuses.setdefault(row.part, []).extend(others)
    at_rest = {one.part for one in pin.way if one.at_rest}
    needs = [
        f"{part} at rest"
        if part in at_rest
        else f"{part} ({', '.join(pins)})"
        if all(pins)
        else f"{part} working" + (f" ({_fuse_names(fuses[part])})" if fuses[part] else "")
        for part, pins in parts.items()
    ]
    return f"{pin.name}: {' and '.join(needs)}" if needs else ""


def _fuse_names(fuses: Iterable[FuseOnWay]) -> str:
    """'FPC F1, F2, F16': each once, its panel where it changes."""
    names, panel = [], None
    once = {fuse.part: fuse for fuse in fuses}
    for _, fuse in sorted(once.items(), key=lambda one: natural(one[0])):
        label = fuse.part.removeprefix(f"{fuse.panel}/")
        names.append(f"{fuse.panel} {label}" if fuse.panel and fuse.panel != panel else label)
        panel = fuse.panel
    return ", ".join(names)


def _bus(bus: BusAtAGlance) -> str:
    pins = ", ".join(
        f"{pin}{f' ({line})' if line else ''}" for pin, line in sorted(bus.pins, key=lambda one: natural(one[0]))
    )
    ohms = f"; across them, plug off, asleep: {figures.ohms(bus.ohms)}" if bus.ohms is not None else ""
    return f"{bus.name}{': ' if bus.name else ''}{pins}: no lamp{ohms}"


__all__ = [
    "as_text",
    "behind_panels",
    "first_words",
    "head",
    "how_words",
    "minded",
    "other_doubts",
    "short_wire",
    "test_words",
    "two_counts",
    "verdict",
    "way_words",
    "without_length",
]
