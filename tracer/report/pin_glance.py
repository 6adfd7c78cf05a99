"""One pin on one screen: what feeds it, the test that decides, what must work first, and its whole way with where each point sits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from tracer.plan.values import Face, Glance, PinAtAGlance
from tracer.plan.words import NO_PLACE
from tracer.report.faces import write as write_face
from tracer.report.glance import first_words, head, how_words, minded, test_words, way_words, without_length
from tracer.report.layout import Page, level_sign, when_words
from tracer.report.minding import mark, notes_line
from tracer.report.supplies import fuse_words, left_out_words, lost_words, volts_line
from tracer.report.words import EVERY_WAY, MAKER_FIRST, NOT_DECLARED
from tracer.trace.lists.results import Probe, Row
from tracer.trace.minding import Minding

if TYPE_CHECKING:  # the numbers are computed only where they are asked for
    from tracer.electrics.volts.expected import Expected

_COLUMN = 7


def as_text(
    glance: Glance,
    expected: Expected | None,
    rows: Sequence[Row],
    faces: Sequence[Face] = (),
    *,
    width: int = 80,
    bold: bool = False,
) -> str:
    """The rows of one pin: verdict first, then each with its way; and the face of the plug that they sit in."""
    page = Page(width, bold=bold)
    report = glance.report
    head(page, glance)
    codes = {row.code for row in rows}
    for pin in (one for one in glance.pins if one.row.code in codes):
        _pin(page, glance, pin, expected)
    if hidden := [
        one.test.hides_ohm for one in glance.pins if one.row.code in codes and one.test.hides_ohm is not None
    ]:
        page.labelled("how", how_words(hidden), indent=0, column=_COLUMN)
    for face in (one for one in faces if one.part == report.module and not one.mirrored):
        write_face(page, face)
    shown = [
        report.module,
        *(probe.at for row in rows for probe in row.probes),
        *(probe.part for row in rows for probe in row.probes),
    ]
    notes_line(page, Minding(report.minding.at(*shown)))
    again = ", the faces from both sides" if faces else ""
    page.labelled("more", f"supplies {report.module} {rows[0].pin} --all: what must work first with its own ways{again}. {MAKER_FIRST}", indent=0, column=_COLUMN)  # fmt: skip
    return page.text()


def _pin(page: Page, glance: Glance, pin: PinAtAGlance, expected: Expected | None) -> None:
    row = pin.row

    def told(label: str, text: str) -> None:
        page.labelled(label, text, indent=0, column=_COLUMN)

    said = row.what_for or row.declared or NOT_DECLARED
    page.blank()
    page.line(f"{pin.name}  {said}{f', wire {row.wire}' if row.wire else ''}", strong=True, hang=4)
    told("way", way_words(pin, {}) or "none")
    if row.references:
        told("goes", f"on from sheet to sheet: {'; '.join(row.references)}")
    told("live" if row.level == "supply" else "ground", when_words(row.live, row.why))
    if row.no_method:
        told("stop", row.no_method)
    elif row.code[0] != "V":
        told("test", test_words(pin))
        if words := volts_line(row, expected):
            told("volts", f"plugged in: {words}")
        if words := lost_words(row, expected):
            told("lost" if row.level == "supply" else "limit", words)
        if exceptions := minded([pin]):
            told("mind", f"{'; '.join(exceptions)}.")
    if words := first_words(glance.report, pin):
        told("needs", words)
        for chain in (one for one in glance.report.chains if one.code in row.needs):
            page.line(_chain(chain), indent=_COLUMN, hang=_COLUMN + 2)
    for one in row.left_out:
        told("! out", left_out_words(one))
    for note in row.notes:
        told("note", note)
    _way(page, row, glance.report.minding)


def _chain(row: Row) -> str:
    fuses = f"over {fuse_words(row.fuses)}; " if row.fuses else ""
    switched = f"over {', '.join(row.switches)}; " if row.switches else ""
    return f"{row.point}{level_sign(row.level)}: {fuses}{switched}{when_words(row.live, row.why)}"


def _way(page: Page, row: Row, minding: Minding) -> None:
    """The points from the source (of a ground from the end) to the pin: both sides of a part in one line, the place where it changes."""
    parallel = any(not probe.sole for probe in row.probes)
    cells = []
    before: str | None = ""
    told: set[str] = set()
    for number, same in enumerate(_alike(row.probes), 1):
        one = same[0]
        place = one.place or NO_PLACE
        access = f"; {one.access}" if one.access and place not in told else ""
        where = "" if place == before else f"{place}{access}"
        before = place
        told.add(place)
        star = "*" if parallel and one.sole else " " if parallel else ""
        words = [_point(same), *(["[assumed]"] if one.seen == "assumed" else [])]
        if marks := mark(minding, *(probe.at for probe in same)):
            words.append(f"[{marks}]")
        wire = ", ".join(dict.fromkeys(word for one in same for word in without_length(one.wire).split(", ") if word))
        cells.append((f"{number}{star}", " ".join(words), wire, where))
    source = "source" if row.level == "supply" else "ground"
    page.table(cells, head=("", f"from the {source}", "wire", "where" + (EVERY_WAY if parallel else "")), gap=1)  # fmt: skip


def _alike(probes: Iterable[Probe]) -> Iterator[list[Probe]]:
    """The points of one part, or of one cavity of a connector, that follow each other on a way."""
    for _, same in groupby(probes, key=lambda one: (one.part, one.at.partition(", ")[0] if ", " in one.at else "", one.place, one.sole)):  # fmt: skip
        yield list(same)


def _point(same: Sequence[Probe]) -> str:
    """'F50 feed/load', 'X1.5 towards F52/X3', 'ALM.2'."""
    first = same[0]
    if len(same) == 1:
        return first.at
    at, comma, _ = first.at.partition(", ")
    if comma:
        return f"{at} towards {'/'.join(one.at.partition(', ')[2].removeprefix('towards ') for one in same)}"
    return f"{first.part} {'/'.join(one.at.removeprefix(f'{first.part}.') for one in same)}"


__all__ = ["as_text"]
