"""The list of supplies and grounds: as text, as JSON, as CSV."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from tracer.report.layout import Page, codes, counted
from tracer.report.sheets import csv_text, place_fields
from tracer.trace.results import Cavity, FuseOnWay, LooseEnd, Probe, Row, RowEnd, SupplyReport

SCHEMA = "tracer.supplies/1"
WIDE = 100  # columns from which nothing is shortened
_KIND_ORDER = ("supply", "ground", "bus", "output", "reference", "signal", "shield", "unused", "unaccounted")


# --- text ----------------------------------------------------------------------------------------------------------


def as_text(report: SupplyReport, *, width: int = 80, bold: bool = False) -> str:
    """The list as plain text of the given width."""
    page = Page(width, bold=bold)
    _title(page, report)
    if report.loose_ends:
        _loose(page, report.loose_ends)
    places = _Places(report.rows)
    _summary(page, report)
    _section(page, places, "Supplies", report.supplies, "no pin of this module reaches a source")
    _section(page, places, "Grounds", report.grounds, "no pin of this module reaches ground")
    if report.carrying:
        _section(page, places, "Other pins that carry supply or ground level", report.carrying, "")
    if report.chains:
        _section(page, places, "What must work first", report.chains, "")
    places.write(page)
    _through_loads(page, report)
    _census(page, report)
    _cross_check(page, report)
    if report.remarks:
        page.heading("Remarks")
        for remark in report.remarks:
            page.line(f"{remark.code} {remark.place}: {remark.message}. {remark.fix}", indent=2, hang=7)
    _foot(page, report)
    return page.text()


def verdict(report: SupplyReport) -> str:
    """The first words: COMPLETE or NOT COMPLETE, and what that rests on."""
    counts = f"{counted(len(report.supplies), 'supply', 'supplies')}, {counted(len(report.grounds), 'ground')}"
    if report.chains:
        counts += f", {counted(len(report.chains), 'side chain')}"
    accounted = sum(cavity.kind != "unaccounted" for cavity in report.census)
    cavities = (
        f"{accounted} of {len(report.census)} cavities accounted for"
        if report.cavities_listed
        else "its cavities are not listed"
    )
    if report.complete:
        return f"COMPLETE: {counts}; {cavities}; nothing loose on any way to this module."
    loose = counted(len(report.loose_ends), "loose end")
    reason = f"{loose} on the ways to this module" if report.loose_ends else "the two counts differ"
    return f"NOT COMPLETE: {reason}. So far {counts}; {cavities}."


def _title(page: Page, report: SupplyReport) -> None:
    name = f" - {report.name}" if report.name else ""
    page.line(f"{report.vehicle}: {report.module}{name}", strong=True)
    if report.place:
        page.line(f"at: {report.place}" + (f" ({report.access})" if report.access else ""))
    page.line(verdict(report), strong=True)
    assumed = sorted({end.id for row in report.rows for end in row.ends if end.assumed})
    if assumed:
        page.line(
            f"Rests on {'an assumed end' if len(assumed) == 1 else 'assumed ends'}: {', '.join(assumed)} (the way from there to the battery is not typed in)."
        )
    if report.loose_elsewhere:
        page.line(
            f"{counted(report.loose_elsewhere, 'loose end')} elsewhere in the vehicle; `tracer check` lists them."
        )


def _loose(page: Page, loose_ends: Iterable[LooseEnd]) -> None:
    page.heading("Loose ends")
    for loose in loose_ends:
        page.line(f"{loose.code} {loose.place}: {loose.message}.", indent=2, hang=7)
        page.line(loose.fix, indent=7)


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
            page.line("?  place not typed in", indent=2)


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
            what = "cavity unaccounted" if cavity.kind == "unaccounted" else f"{cavity.kind}, WAY NOT KNOWN"
            cells.append(["?", cavity.pin, *("unknown" for _ in report.keys), what])
    if cells:
        page.heading("At a glance")
        head = ["row", "pin", *report.keys, "fuses and contacts" if report.supplies else "ends at"]
        page.table(cells, indent=2, head=head, stacked_names=report.keys)


def _summary_way(row: Row) -> str:
    ends = [end.id for end in row.ends] if row.level == "ground" else []
    return ", ".join([*(fuse.part for fuse in row.fuses), *row.switches, *ends]) or ", ".join(
        end.id for end in row.ends
    )


def _section(page: Page, places: _Places, title: str, rows: Sequence[Row], empty: str) -> None:
    page.heading(title)
    if not rows:
        page.line(empty, indent=2)
    for row in rows:
        _row(page, places, row)


def _row(page: Page, places: _Places, row: Row) -> None:
    page.blank()
    said = row.what_for or row.declared or "not declared on any sheet"
    wire = f"   wire {row.wire}" if row.wire else ""
    page.line(f"{row.code:<3} {row.point}  {said}{wire}", hang=4, strong=True)
    ends = ", ".join(_end_words(end) for end in row.ends) or "none"
    page.labelled("source" if row.level == "supply" else "ground", ends)
    if row.level == "supply" or row.fuses:
        page.labelled("fuses", _fuse_words(row.fuses) or "none")
    if row.switches:
        page.labelled("switched", ", ".join(row.switches))
    if row.diodes:
        page.labelled("diodes", ", ".join(row.diodes))
    if row.references:
        page.labelled("goes on", "; ".join(row.references))
    if row.needs:
        page.labelled("needs", _needs_words(row.needs))
    page.labelled("live" if row.level == "supply" else "grounded", live_words(row))
    if row.probes:
        page.labelled("expect", row.probes[-1].expect.text)
    if row.joined_with:
        pins = ", ".join(row.joined_with)
        page.labelled(
            "joined",
            f"inside the module with pin {pins}: unplug, and prove each pin alone; plugged in, an open pin reads good through its neighbour",
        )
    for note in row.notes:
        page.labelled("note", note)
    if row.probes:
        _probes(page, places, row)


def _probes(page: Page, places: _Places, row: Row) -> None:
    parallel = any(not probe.sole for probe in row.probes)
    legend = "; * every way runs through it" if parallel else "; one way, no branch"
    direction = "from source to pin" if row.level == "supply" else "from ground to pin"
    page.line(f"probe points {direction}{legend}:", indent=4)
    cells = []
    for number, probe in enumerate(row.probes, 1):
        kind = probe.kind if page.width >= WIDE else probe.kind.partition(" (")[0]
        kind += " [assumed]" if probe.seen == "assumed" else ""
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


def _fuse_words(fuses: Sequence[FuseOnWay]) -> str:
    words = []
    for fuse in fuses:
        rating = "no fuse, electronic output" if fuse.state == "none" else "rating not known"
        text = fuse.part + (f" {fuse.amps:g} A" if fuse.amps is not None else f" {rating}")
        if not fuse.sole:
            text += " (parallel, alone suffices)" if fuse.alone else " (parallel, does not suffice alone)"
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


def _through_loads(page: Page, report: SupplyReport) -> None:
    if not report.through_loads:
        return
    page.heading("Only through a load (not a supply, not a ground)")
    page.line(
        "Without load a meter reads supply or ground level here, through the load. It proves nothing about a supply.",
        indent=2,
    )
    for level, words in (("supply", "reads battery voltage at rest"), ("ground", "reads ground at rest")):
        found = [
            [f"pin {load.pin}", load.declared or "not declared", f"only through {', '.join(load.loads)}"]
            for load in report.through_loads
            if load.level == level
        ]
        if found:
            page.line(f"{words}:", indent=2)
            page.table(found, indent=4)


def _census(page: Page, report: SupplyReport) -> None:
    page.heading("Census of the cavities")
    if not report.cavities_listed:
        page.line(
            "The cavities of this module are not listed, so it is not known whether a pin is missing.",
            indent=2,
        )
    rows = []
    for kind in _KIND_ORDER:
        cavities = [cavity for cavity in report.census if cavity.kind == kind]
        if cavities:
            label = kind.upper() if kind == "unaccounted" else kind
            rows.append([label, str(len(cavities)), ", ".join(_cavity_words(cavity) for cavity in cavities)])
    rows.append(["total", str(len(report.census)), ""])
    page.table(rows, indent=2)


def _cavity_words(cavity: Cavity) -> str:
    return f"{cavity.pin} ({cavity.row})" if cavity.row else cavity.pin


def _cross_check(page: Page, report: SupplyReport) -> None:
    check = report.cross_check
    page.heading("Second count, from the source side")
    if check.differences:
        for difference in check.differences:
            page.line(f"DIFFERENCE: {difference}.", indent=2, hang=4)
        return
    pins = ", ".join(check.pins) or "none"
    page.line(f"A walk down from every source names the same pins: {pins}.", indent=2)
    if check.fuses:
        page.line(f"Fuses that this module is found below: {', '.join(check.fuses)}.", indent=2)


def _foot(page: Page, report: SupplyReport) -> None:
    page.heading("Cautions")
    for caution in report.cautions:
        page.line(f"- {caution}", indent=2, hang=4)
    page.blank()
    sources = sorted({probe.expect.source for row in report.rows for probe in row.probes})
    if sources:
        page.line(f"Limits are common practice, the maker's figure comes first: {'; '.join(sources)}.")
    page.line(f"Sheets used: {', '.join(report.sheets) or 'none'}.")
    page.line("A source is an end: no way is traced through one source to another. A load is an end too.")


# --- JSON ----------------------------------------------------------------------------------------------------------


def as_data(report: SupplyReport) -> dict[str, Any]:
    """The list as plain data, documented in docs/json.md."""
    return {
        "schema": SCHEMA,
        "vehicle": report.vehicle,
        "module": report.module,
        "name": report.name,
        "place": report.place,
        "complete": report.complete,
        "keys": list(report.keys),
        "supplies": [_row_data(row, "sources") for row in report.supplies],
        "grounds": [_row_data(row, "grounds") for row in report.grounds],
        "carrying": [_row_data(row, "sources" if row.level == "supply" else "grounds") for row in report.carrying],
        "chains": [_row_data(row, "sources" if row.level == "supply" else "grounds") for row in report.chains],
        "through_loads": [
            {
                "pin": load.pin,
                "declared": load.declared,
                "level": load.level,
                "loads": list(load.loads),
                "note": load.note,
            }
            for load in report.through_loads
        ],
        "census": {
            "listed": report.cavities_listed,
            "cavities": [
                {
                    "pin": cavity.pin,
                    "kind": cavity.kind,
                    "declared": cavity.declared,
                    "traced": cavity.traced,
                    "row": cavity.row or None,
                }
                for cavity in report.census
            ],
        },
        "loose_ends": [loose_data(loose) for loose in report.loose_ends],
        "loose_elsewhere": report.loose_elsewhere,
        "remarks": [loose_data(remark) for remark in report.remarks],
        "cross_check": {
            "pins": list(report.cross_check.pins),
            "fuses": list(report.cross_check.fuses),
            "differences": list(report.cross_check.differences),
        },
        "sheets": list(report.sheets),
        "cautions": list(report.cautions),
    }


def loose_data(loose: LooseEnd) -> dict[str, Any]:
    """One loose end or remark as plain data."""
    return {
        "code": loose.code,
        **place_fields(loose.place),
        "at": loose.at,
        "message": loose.message,
        "fix": loose.fix,
    }


def _row_data(row: Row, ends: str) -> dict[str, Any]:
    return {
        "row": row.code,
        "part": row.part,
        "pin": row.pin,
        "level": row.level,
        "declared": row.declared,
        "for": row.what_for or None,
        "wire": row.wire,
        "fuses": [
            {
                "part": fuse.part,
                "kind": fuse.kind,
                "amps": fuse.amps,
                "panel": fuse.panel,
                "sole": fuse.sole,
                "alone": fuse.alone,
            }
            for fuse in row.fuses
        ],
        ends: [{"id": end.id, "assumed": end.assumed, "why": end.why} for end in row.ends],
        "switches": list(row.switches),
        "diodes": list(row.diodes),
        "references": list(row.references),
        "needs": list(row.needs),
        "live": row.live,
        "why": {key: list(reasons) for key, reasons in row.why.items()},
        "joined_with": list(row.joined_with),
        "notes": list(row.notes),
        "probes": [_probe_data(probe) for probe in row.probes],
    }


def _probe_data(probe: Probe) -> dict[str, Any]:
    expect = probe.expect
    return {
        "at": probe.at,
        "part": probe.part,
        "kind": probe.kind,
        "place": probe.place,
        "access": probe.access,
        "sheet": ", ".join(probe.sheets),
        "wire": probe.wire,
        "sole": probe.sole,
        "shared_with": list(probe.shared_with),
        "seen": probe.seen,
        "expect": {
            "text": expect.text,
            "limit_v": expect.limit_v,
            "source": expect.source,
            "live": expect.live,
        },
    }


# --- CSV -----------------------------------------------------------------------------------------------------------


def as_csv(report: SupplyReport) -> str:
    """The probe list as CSV, one line for each probe point of each row; the first line says whether the list is complete."""
    head = [
        "row",
        "pin",
        "number",
        "at",
        "kind",
        "place",
        "access",
        "wire",
        "sheet",
        "sole",
        "also in",
        *(f"live in {key}" for key in report.keys),
        "expect",
        "limit V",
        "complete",
    ]
    complete = "complete" if report.complete else "NOT COMPLETE"
    lines = [
        [
            row.code, row.point, str(number), probe.at, probe.kind, probe.place or "", probe.access or "", probe.wire, ", ".join(probe.sheets),
            "yes" if probe.sole else "no", " ".join(probe.shared_with), *(probe.expect.live[key] for key in report.keys), probe.expect.text,
            "" if probe.expect.limit_v is None else f"{probe.expect.limit_v:g}", complete,
        ]
        for row in report.rows
        for number, probe in enumerate(row.probes, 1)
    ]  # fmt: skip
    for loose in report.loose_ends:
        lines.append(
            [
                loose.code,
                loose.at,
                "",
                str(loose.place),
                "LOOSE END",
                loose.message,
                loose.fix,
                *[""] * (len(head) - 8),
                complete,
            ]
        )
    return csv_text(head, lines)
