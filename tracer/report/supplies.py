"""The list of supplies and grounds as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from tracer.entry.problems import listed, natural
from tracer.plan.values import Face
from tracer.plan.words import NO_PLACE
from tracer.report.cavities import census, through_loads, way_not_known
from tracer.report.completeness import first_line
from tracer.report.faces import write as write_face
from tracer.report.layout import Page, codes, counted, elsewhere_words
from tracer.report.minding import labelled, mark, notes, opening, withheld
from tracer.report.supplies_data import as_csv, as_data, by_default, limits_used
from tracer.report.words import CARRYING, EVERY_WAY, MUST_WORK, NO_VOLTS, NOT_DECLARED, TOO_MANY_TO_WALK
from tracer.standards import figures
from tracer.trace.lists.results import FuseOnWay, LeftOut, LooseEnd, Probe, Row, RowEnd, SupplyReport
from tracer.trace.minding import Minding

if TYPE_CHECKING:  # the numbers are computed only where they are asked for
    from tracer.electrics.volts.expected import ComputedExpect, Expected

WIDE = 100  # columns from which nothing is shortened


# --- text ----------------------------------------------------------------------------------------------------------


def as_text(report: SupplyReport, expected: Expected | None = None, *, width: int = 80, bold: bool = False) -> str:
    """The list as plain text of the given width, with the computed volts where there are any."""
    page = Page(width, bold=bold)
    _title(page, report)
    opening(page, report.minding)
    if report.loose_ends:
        _loose(page, report.loose_ends)
    places = _Places(report.rows)
    _summary(page, report)
    _section(page, places, expected, report.minding, "Supplies", report.supplies, gets_words(report, "supply"))
    _section(page, places, expected, report.minding, "Grounds", report.grounds, gets_words(report, "ground"))
    if report.carrying:
        _section(page, places, expected, report.minding, CARRYING, report.carrying, "")
    if report.chains:
        _section(page, places, expected, report.minding, MUST_WORK, report.chains, "")
    places.write(page)
    through_loads(page, report)
    census(page, report)
    _cross_check(page, report)
    notes(page, report.minding)
    if report.remarks:
        page.heading("Remarks")
        for remark in report.remarks:
            page.line(f"{remark.code} {remark.place}: {remark.message}. {remark.fix}", indent=2, hang=7)
    if expected is not None:
        _what_volts_rest_on(page, report, expected)
    _foot(page, report, expected)
    return page.text()


def pin_text(
    report: SupplyReport,
    expected: Expected | None,
    rows: Sequence[Row],
    faces: Sequence[Face] = (),
    *,
    width: int = 80,
    bold: bool = False,
) -> str:
    """The rows of one pin with their whole ways, what must work first for it, the places, and the faces on its way from both sides."""
    page = Page(width, bold=bold)
    _title(page, report)
    needed = {need for row in rows for need in row.needs}
    chains = [row for row in report.chains if row.code in needed]
    places = _Places([*rows, *chains])
    for row in rows:
        _row(page, places, expected, report.minding, row)
    if chains:
        _section(page, places, expected, report.minding, MUST_WORK, chains, "")
    places.write(page)
    if faces:
        page.heading("Faces of the connectors")
    for face in faces:
        write_face(page, face, indent=2)
    notes(page, report.minding)
    return page.text()


def verdict(report: SupplyReport) -> str:
    """The first words: COMPLETE, COMPLETE IF or NOT COMPLETE, and what that rests on."""
    counts = f"{counted(len(report.supplies), 'supply', 'supplies')}, {counted(len(report.grounds), 'ground')}"
    if report.chains:
        counts += f", {counted(len(report.chains), 'side chain')}"
    accounted = sum(cavity.kind not in ("unaccounted", "not looked at") for cavity in report.census)
    cavities = (
        f"use of {accounted} of {len(report.census)} cavities known"
        if report.cavities_listed
        else "its cavities are not listed"
    )
    return first_line(report.completeness, counts=f"{counts}; {cavities}", most=1000)


def _title(page: Page, report: SupplyReport) -> None:
    name = f" - {report.name}" if report.name else ""
    page.line(f"{report.vehicle}: {report.module}{name}", strong=True)
    if report.place:
        page.line(f"at: {report.place}" + (f" ({report.access})" if report.access else ""))
    page.line(verdict(report), strong=True)
    ruled_out = {
        row.code: {name for one in row.left_out for name in one.switches} for row in report.rows if row.left_out
    }
    if ruled_out:
        names = ", ".join(sorted(set[str]().union(*ruled_out.values()), key=natural))
        page.line(f"Positions of {names} rule parts out of {codes(list(ruled_out))}: see `left out` there, and check the contact tables.")  # fmt: skip
    doubtful = [row.code for row in report.rows if row.too_many]
    if doubtful:
        page.line(
            f"MAY LIST TOO MUCH: {codes(doubtful)}; more switch positions there than can be tried. Nothing is missing for that reason."
        )
    if report.loose_elsewhere:
        page.line(elsewhere_words(report.loose_elsewhere))


def _loose(page: Page, loose_ends: Iterable[LooseEnd]) -> None:
    page.heading("Loose ends")
    for loose in loose_ends:
        page.line(f"{loose.code} {loose.place}: {loose.message}.", indent=2, hang=7)
        page.line(loose.fix, indent=7)


def gets_words(report: SupplyReport, level: str) -> str:
    """What stands where the module has no row of a level: how it gets one, as typed under `gets`."""
    none = f"no pin of this module reaches {'a source' if level == 'supply' else 'ground'}"
    how = report.gets.get(level)
    if how is None:
        return none
    if how == "passive":
        return f"{none}; as typed it needs none (passive)"
    if how == "case":
        proof = (
            withheld(report.minding, report.module)
            or "prove the case against battery negative, with the module working"
        )
        return f"{none}; as typed it is grounded by its case: {proof}"
    return f"{none}; as typed {how} gives it one: `tracer supplies {how}`"


class _Places:
    """The places of all probe points, each with a letter that the probe lists use."""

    def __init__(self, rows: Iterable[Row]) -> None:
        found = dict.fromkeys((probe.place, probe.access) for row in rows for probe in row.probes)
        known = [place for place in found if place[0]]
        self._some_unknown = len(known) < len(found)
        self._letters = {place: _letter(number) for number, place in enumerate(known)}

    def letter(self, probe: Probe) -> str:
        """The letter of a probe point's place; `?` where the place is not typed in."""
        return self._letters.get((probe.place, probe.access), "?")

    def write(self, page: Page) -> None:
        """The legend."""
        page.heading("Places")
        for (place, access), letter in self._letters.items():
            page.line(f"{letter:<3}{place}", indent=2, hang=5)
            if access:
                page.line(f"access: {access}", indent=5, hang=7)
        if self._some_unknown:
            page.line(f"?  {NO_PLACE}", indent=2)


def _letter(number: int) -> str:
    """A, B ... Z, AA, AB ..."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _summary(page: Page, report: SupplyReport) -> None:
    """All rows of the module at a glance, and in the same table the cavities whose way is not known."""
    words = {"supply": {}, "ground": {"live": "ground", "dead": "open"}}
    cells = [
        [
            row.code,
            row.pin,
            *(words[row.level].get(row.live[key], row.live[key]) for key in report.keys),
            _summary_way(row),
        ]
        for row in (*report.supplies, *report.grounds, *report.carrying)
    ]
    for cavity in report.census:
        if cavity.kind in ("supply", "ground", "unaccounted") and not cavity.row:
            cells.append(["?", cavity.pin, *("unknown" for _ in report.keys), way_not_known(cavity.kind)])
    if cells:
        page.heading("At a glance")
        head = ["row", "pin", *report.keys, "fuses and contacts" if report.supplies else "ends at"]
        page.table(cells, indent=2, head=head, stacked_names=report.keys)


def _summary_way(row: Row) -> str:
    ends = [end.id for end in row.ends] if row.level == "ground" else []
    return ", ".join([*(fuse.part for fuse in row.fuses), *row.switches, *ends]) or ", ".join(
        end.id for end in row.ends
    )


def _section(
    page: Page,
    places: _Places,
    expected: Expected | None,
    minding: Minding,
    title: str,
    rows: Sequence[Row],
    empty: str,
) -> None:
    page.heading(title)
    if not rows:
        page.line(empty, indent=2)
    for row in rows:
        _row(page, places, expected, minding, row)


def _row(page: Page, places: _Places, expected: Expected | None, minding: Minding, row: Row) -> None:
    page.blank()
    said = row.what_for or row.declared or NOT_DECLARED
    wire = f"   wire {row.wire}" if row.wire else ""
    page.line(f"{row.code:<3} {row.point}  {said}{wire}", hang=4, strong=True)
    ends = ", ".join(_end_words(end) for end in row.ends) or "none"
    page.labelled("source" if row.level == "supply" else "ground", ends)
    if row.level == "supply" or row.fuses:
        page.labelled("fuses", fuse_words(row.fuses) or "none")
    if row.switches:
        page.labelled("switched", ", ".join(row.switches))
    if row.diodes:
        page.labelled("diodes", ", ".join(row.diodes))
    if row.references:
        page.labelled("goes on", "; ".join(row.references))
    labelled(page, minding, row.point, *(probe.at for probe in row.probes))
    if row.needs:
        page.labelled("needs", _needs_words(row.needs))
    page.labelled("live" if row.level == "supply" else "grounded", live_words(row))
    _expect(page, expected, row)
    if row.joined_with:
        pins = ", ".join(row.joined_with)
        page.labelled(
            "joined",
            f"inside the module with pin {pins}"
            + (
                ""
                if row.no_method
                else ": unplug, and prove each pin alone; plugged in, an open pin reads good through its neighbour"
            ),
        )
    for one in row.left_out:
        page.labelled("left out", left_out_words(one))
    for note in row.notes:
        page.labelled("note", note)
    if row.probes:
        _probes(page, places, minding, row)


def left_out_words(one: LeftOut) -> str:
    """'F1: only over contacts of SW that are never closed together (check its contact table)'."""
    tables = "its contact table" if len(one.switches) == 1 else "their contact tables"
    return f"{listed(one.names, most=12, joiner='and')}: only over contacts of {' and '.join(one.switches)} that are never closed together; check {tables}"


def _expect(page: Page, expected: Expected | None, row: Row) -> None:
    """What must be read at the row's pin: computed for each key state, or what is common practice."""
    if not row.probes:
        return
    last = row.probes[-1]
    computed = _computed(row, expected)
    if not computed:
        page.labelled("expect", last.expect.text)
        return
    if not any(row.live.get(one.state) == "live" for one in computed):
        page.labelled("expect", f"when {'live' if row.level == 'supply' else 'grounded'}: {last.expect.text}")
        return
    page.labelled("expect", " | ".join(f"{one.state}: {_volts_words(row, one)}" for one in computed))
    if words := lost_words(row, expected):
        page.labelled("lost" if row.level == "supply" else "limit", words)


def _computed(row: Row, expected: Expected | None) -> Sequence[ComputedExpect]:
    return expected.at(row.code, row.probes[-1].at) if expected is not None and row.probes else ()


def volts_line(row: Row, expected: Expected | None) -> str:
    """'run 12.29 V* (11.58 to 12.73); start 10.41 V': what is computed at the pin where it is live; empty where nothing is."""
    on = [one for one in _computed(row, expected) if row.live.get(one.state) == "live"]
    return "; ".join(f"{one.state} {_volts_words(row, one)}" for one in on)


def lost_words(row: Row, expected: Expected | None) -> str:
    """What is lost on the way to a pin and what may be; of a ground the limit. Empty where nothing is computed."""
    on = (one for one in _computed(row, expected) if row.live.get(one.state) == "live")
    flowing = [one for one in on if not one.floating and one.lost is not None]
    if not flowing:
        return ""
    if row.level == "supply":
        limit_v = row.probes[-1].expect.limit_v
        return f"{_lost_words(flowing)}; limit {_limit_words(row, flowing[0], limit_v)}"
    return f"{flowing[0].limit.words()} lost from pin to battery negative"


def _volts_words(row: Row, one: ComputedExpect) -> str:
    """'12.27 V (11.49 to 12.72)', or the level where it is not certain that there is a voltage."""
    level = row.live.get(one.state, "unknown")
    if level != "live":
        return {"dead": "no supply" if row.level == "supply" else "open"}.get(level, level)
    if one.volts is None:
        return one.not_computed
    if one.floating:
        return "floating"
    mark = "*" if one.assumed else ""
    return f"{figures.volts(one.volts.nominal)}{mark} ({figures.volts_ends(one.volts.low, one.volts.high)})"


def _lost_words(flowing: Sequence[ComputedExpect]) -> str:
    """'0.13 V, up to 0.32 V, at 1.2 A (run)': the key state in which most is lost."""
    lost, current_a, state = max(
        ((one.lost, one.current_a.nominal, one.state) for one in flowing if one.lost and one.current_a),
        key=lambda one: one[0].high,
    )
    at = f"at {figures.amps(current_a)}" if current_a >= 0.0005 else "next to no current"
    return f"{figures.volts(lost.nominal)}, up to {figures.volts(lost.high)}, {at} ({state})"


def _limit_words(row: Row, one: ComputedExpect, wire_limit_v: float | None) -> str:
    diode = " besides what the diode takes" if row.diodes else ""
    wire = f", {figures.volts(wire_limit_v)} in one wire" if wire_limit_v is not None else ""
    return f"{one.limit.words()} on the whole way{diode}{wire}"


def _what_volts_rest_on(page: Page, report: SupplyReport, expected: Expected) -> None:
    page.heading("What the volts rest on")
    if not expected.points:
        page.line(f"{NO_VOLTS}: {expected.why_not}. What is said under `expect` is common practice.", indent=2, hang=4)
        return
    any_point = next(iter(expected.points.values()))
    battery = "; ".join(
        f"{one.state} {figures.volts(one.battery.nominal)} ({figures.volts_ends(one.battery.low, one.battery.high)}, {one.battery_state})"
        for one in any_point
    )
    page.line(
        "Computed for the module's pin, to battery negative, plugged in and working; in brackets the range that is still in order.",
        indent=2,
        hang=4,
    )
    page.line(f"Battery at its posts: {battery}. Measure it first.", indent=2, hang=4)
    for words in expected.overloads:
        page.line(f"! {words}.", indent=2, hang=4, strong=True)
    assumed = by_default(expected)
    if assumed:
        page.line(f"* By default, not typed in: {', '.join(assumed)}.", indent=2, hang=4)
    page.line(
        f"Each point, each drop, and the volts with the battery as measured: `tracer volts {report.module} --key STATE --battery V`.",
        indent=2,
        hang=4,
    )


def _probes(page: Page, places: _Places, minding: Minding, row: Row) -> None:
    parallel = any(not probe.sole for probe in row.probes)
    legend = EVERY_WAY if parallel else "; one way, no branch"
    direction = "from source to pin" if row.level == "supply" else "from ground to pin"
    what = "points (not to be probed where a hazard stands)" if row.no_method else "probe points"
    page.line(f"{what} {direction}{legend}:", indent=4)
    cells = []
    for number, probe in enumerate(row.probes, 1):
        kind = probe.kind if page.width >= WIDE else probe.kind.partition(" (")[0]
        kind += " [assumed]" if probe.seen == "assumed" else ""
        kind += f" [{mark(minding, probe.at)}]" if mark(minding, probe.at) else ""
        shared = codes(probe.shared_with) if page.width >= WIDE else _short_codes(probe.shared_with)
        cells.append(
            [
                f"{number:>2}{'*' if probe.sole and parallel else ' '}",
                places.letter(probe),
                probe.at,
                kind,
                probe.wire,
                shared,
            ]
        )
    page.table(
        cells,
        indent=4,
        head=["", "", "point", "what it is", "wire", "also in"],
        stacked_names=["also in"],
        gap=1 if page.width < 100 else 2,
    )


def _short_codes(shared: Sequence[str]) -> str:
    """Row codes with the side chains only counted: 'S3, S5-S7, 4 C'."""
    chains = [code for code in shared if code.startswith("C")]
    rows = [code for code in shared if not code.startswith("C")]
    counted_chains = chains if len(chains) < 2 else [f"{len(chains)} C"]
    return ", ".join([*([codes(rows)] if rows else []), *counted_chains])


def _end_words(end: RowEnd) -> str:
    return f"{end.id} (ASSUMED: {end.why})" if end.assumed else f"{end.id} ({end.why})"


def fuse_words(fuses: Sequence[FuseOnWay]) -> str:
    """'ML1 150 A, F50 30 A', with what is parallel."""
    words = []
    for fuse in fuses:
        none = fuse.state == "none" and fuse.amps is None
        text = f"{fuse.part} {'no fuse, electronic output' if none else figures.rating(fuse.amps)}"
        if fuse.beside:
            text += f" (all but {' and '.join(fuse.beside)} comes through it)"
        elif not fuse.sole:
            alone = {True: ", alone suffices", False: ", does not suffice alone", None: ""}[fuse.alone]
            text += f" (parallel{alone})"
        words.append(text)
    return ", ".join(words)


def _needs_words(needs: Sequence[str]) -> str:
    plain = [need for need in needs if " " not in need]
    loops = [
        f"{need.split()[0]}: the module itself switches this (loop), so it must be awake first"
        for need in needs
        if " " in need
    ]
    return "; ".join(([codes(plain)] if plain else []) + loops)


def live_words(row: Row) -> str:
    """'off dead; run live; start depends on lights'."""
    words = []
    for key, state in row.live.items():
        state = {"live": "yes", "dead": "no"}.get(state, state) if row.level == "ground" else state
        reasons = row.why.get(key, ())
        words.append(f"{key}: {state}" + (f" ({'; '.join(reasons)})" if reasons else ""))
    if len(set(row.live.values())) == 1 and not row.why:
        only = next(iter(row.live.values()))
        return {"live": "always", "dead": "never"}.get(only, only) + f" ({', '.join(row.live)})"
    return " | ".join(words)


def _cross_check(page: Page, report: SupplyReport) -> None:
    check = report.cross_check
    page.heading("Second count, made apart from the rows")
    if check.differences:
        for difference in check.differences:
            page.line(f"DIFFERENCE: {difference}.", indent=2, hang=4)
        return
    for ends, named in (("the sources", check.pins), ("ground", check.grounds)):
        page.line(f"A walk from each pin back to {ends} names the same pins: {', '.join(named) or 'none'}.", indent=2)
    if check.not_walked:
        pins = ", ".join(check.not_walked)
        page.line(f"Pins {pins}: {TOO_MANY_TO_WALK} on their rows would not show here.", indent=2, hang=4)  # fmt: skip
    if check.fuses:
        page.line(f"Fuses that this module is found below: {', '.join(check.fuses)}.", indent=2)


def _foot(page: Page, report: SupplyReport, expected: Expected | None) -> None:
    page.cautions(report.cautions)
    page.blank()
    sources = {probe.expect.source: None for row in report.rows for probe in row.probes}
    if expected is not None:
        sources |= {f"{limit.item} {limit.words()}: {limit.said}": None for limit in limits_used(expected)}
    if sources:
        page.line(f"The maker's limits come before these: {'; '.join(sorted(sources))}.")
    page.line(f"Sheets used: {', '.join(report.sheets) or 'none'}.")
    page.line(
        "A source that is always live ends a way, and so does a load; a way runs on through a generator, a converter or a rail that may be dead. "
        "A way counts where one setting closes all its contacts."
    )


__all__ = [
    "as_csv",
    "as_data",
    "as_text",
    "fuse_words",
    "left_out_words",
    "live_words",
    "lost_words",
    "pin_text",
    "verdict",
    "volts_line",
]
