"""What a list says that it did not say before: pins with another way, loose ends that are new or gone."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.trace.lists.results import LooseEnd, News, Row, SupplyReport


def news(before: SupplyReport, now: SupplyReport) -> tuple[News, ...]:
    """What changed between two lists of one module: pins first, then loose ends. Places of typing do not count: a line put in moves them all."""
    return (*_pins(before, now), *_loose(before, now))


def _pins(before: SupplyReport, now: SupplyReport) -> Iterator[News]:
    old, new = _rows(before), _rows(now)
    for name, row in new.items():
        if name not in old:
            yield News("+", name, _way(row))
        elif _of(old[name]) != _of(row):
            yield News("~", name, _way(row))
    for name, row in old.items():
        if name not in new:
            yield News("-", name, _way(row))


def _loose(before: SupplyReport, now: SupplyReport) -> Iterator[News]:
    old, new = _ends(before), _ends(now)
    for mark, some, others in (("+", new, old), ("-", old, new)):
        for key, end in some.items():
            if key not in others:
                yield News(mark, end.at, f"{end.code} {end.message}")


def _rows(report: SupplyReport) -> dict[str, Row]:
    rows = (*report.supplies, *report.grounds, *report.carrying, *report.chains)
    return {f"{row.point}{'+' if row.level == 'supply' else '-'}": row for row in rows}


def _ends(report: SupplyReport) -> dict[tuple[str, str, str], LooseEnd]:
    return {(one.code, one.at, one.message): one for one in report.loose_ends}


def _of(row: Row) -> tuple[object, ...]:
    probes = tuple((probe.at, probe.wire, probe.sole) for probe in row.probes)
    return probes, row.fuses, row.ends, row.switches, tuple(row.live.items()), row.declared, row.notes, row.left_out


def _way(row: Row) -> str:
    """Where a way comes from, and over which fuses and contacts."""
    ends = ", ".join(end.id for end in row.ends)
    over = ", ".join((*(fuse.part for fuse in row.fuses), *row.switches))
    return f"{'from' if row.level == 'supply' else 'to'} {ends}{f' over {over}' if over else ''}"
