"""The edition mark of a list: whether two papers, files or screens are of the same list."""

from __future__ import annotations

from base64 import b32encode
from hashlib import sha256
from json import dumps
from typing import Any

from tracer.plan.names import full_name
from tracer.trace.lists.results import Row, SupplyReport

LENGTH = 8
ROW_LENGTH = 6


def edition_of(report: SupplyReport) -> str:
    """Eight letters and digits (RFC 4648 base 32, so never 0, 1 or 8) made from what a list rests on.

    From its rows with their ways, wires, fuses, contacts, key states and needs, its cavities, and what is loose, assumed or without a wire count. Comments, notes, sheets, files, and the
    order and direction of typing change nothing. Figures that are computed are not in it: a workshop's own limit makes no new list.
    """
    named = {row.code: full_name(row) for row in report.rows}
    content = {
        "module": report.module,
        "keys": report.keys,
        "rows": sorted((_row(row, named) for row in report.rows), key=lambda row: str(row["name"])),
        "cavities": sorted([cavity.pin, cavity.kind, cavity.declared, cavity.traced] for cavity in report.census),
        "through loads": sorted([load.pin, load.declared, load.level, *sorted(load.loads)] for load in report.through_loads),
        "gets": report.gets,
        "loose": sorted([loose.code, loose.at] for loose in report.loose_ends),
        "rests on": sorted([one.kind, one.at] for one in report.completeness.rests_on),
        "uncounted": sorted(report.completeness.uncounted),
        "differences": sorted(report.cross_check.differences),
        "not looked at": sorted(report.completeness.not_looked_at),
    }  # fmt: skip
    return _mark(content, LENGTH)


def row_marks(report: SupplyReport) -> dict[str, str]:
    """A mark of each row by its full name, made like that of the list: whether a row of one edition is the same in another one."""
    named = {row.code: full_name(row) for row in report.rows}
    return {named[row.code]: _mark(_row(row, named), ROW_LENGTH) for row in report.rows}


def _mark(content: object, length: int) -> str:
    text = dumps(content, sort_keys=True, ensure_ascii=True)
    return b32encode(sha256(text.encode()).digest()).decode()[:length]


def _row(row: Row, named: dict[str, str]) -> dict[str, Any]:
    return {
        "name": full_name(row),
        "declared": row.declared,
        "wire": row.wire,
        "fuses": sorted([fuse.part, fuse.kind, fuse.amps, fuse.sole, fuse.alone, fuse.panel, fuse.state, sorted(fuse.beside)] for fuse in row.fuses),
        "ends": sorted([end.id, end.assumed] for end in row.ends),
        "probes": sorted([probe.at, probe.kind, probe.wire, probe.sole, probe.expect.live] for probe in row.probes),
        "switches": sorted(row.switches),
        "diodes": sorted(row.diodes),
        "live": row.live,
        "why": {key: sorted(reasons) for key, reasons in row.why.items()},
        "needs": sorted(named.get(need, need) for need in row.needs),
        "joined with": sorted(row.joined_with),
        "left out": sorted([sorted(one.names), sorted(one.switches)] for one in row.left_out),
        "too many": sorted(row.too_many),
        "no method": row.no_method,
    }  # fmt: skip


__all__ = ["LENGTH", "edition_of", "row_marks"]
