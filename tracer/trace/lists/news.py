"""What a list says that it did not say before: pins with another way, loose ends that are new or gone."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.standards import figures
from tracer.trace.lists.results import LooseEnd, News, Row, SupplyReport


def news(before: SupplyReport, now: SupplyReport) -> tuple[News, ...]:
    """What changed between two lists of one module: pins first, then loose ends, then what else its completeness rests on. Places of typing do not count: a line put in moves them all."""
    return (*_pins(before, now), *_loose(before, now), *_rests(before, now))


def _pins(before: SupplyReport, now: SupplyReport) -> Iterator[News]:
    old, new = _rows(before), _rows(now)
    for name, row in new.items():
        if name not in old:
            yield News("+", name, _way(row))
        elif changed := [words for key, words in _told(row).items() if words != _told(old[name])[key]]:
            yield News("~", name, "; ".join(changed))
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


def _told(row: Row) -> dict[str, str]:
    """What a row says, each thing in words that name it."""
    amps = ", ".join(
        f"{fuse.part} {figures.stated(fuse.amps, 'A') if fuse.amps is not None else '?'}" for fuse in row.fuses
    )
    return {
        "way": _way(row),
        "fuses": f"fuses {amps}",
        "wire": f"wire {row.wire or '?'}",
        "points": f"points {', '.join(probe.at for probe in row.probes)}",
        "wires": f"wires {', '.join(probe.wire for probe in row.probes)}",
        "sole": f"on every way {', '.join(probe.at for probe in row.probes if probe.sole)}",
        "live": ", ".join(f"{key} {level}" for key, level in row.live.items()),
        "declared": f"declared {row.declared or 'as nothing'}",
        "assumed": f"assumed {', '.join(end.id for end in row.ends if end.assumed)}",
        "left out": f"ruled out {', '.join(name for one in row.left_out for name in one.names)}",
        "notes": f"noted {'; '.join(row.notes)}",
    }


def _rests(before: SupplyReport, now: SupplyReport) -> Iterator[News]:
    old, new = before.completeness, now.completeness
    for about, was, found in (
        ("it rests on", old.conditions, new.conditions),
        ("joints without a wire count", old.uncounted, new.uncounted),
        ("not looked at", old.not_looked_at, new.not_looked_at),
    ):
        yield from (News("+", about, str(one)) for one in found if one not in was)
        yield from (News("-", about, str(one)) for one in was if one not in found)


def _way(row: Row) -> str:
    """Where a way comes from, and over which fuses and contacts."""
    ends = ", ".join(end.id for end in row.ends)
    over = ", ".join((*(fuse.part for fuse in row.fuses), *row.switches))
    return f"{'from' if row.level == 'supply' else 'to'} {ends}{f' over {over}' if over else ''}"
