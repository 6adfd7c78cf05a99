"""Make the pictures of the README and of the documentation anew: `make pictures`. A test asks whether they are current.

The diagram is kept as SVG. The worksheet is kept as PNG, whose bytes differ between versions of the typesetter; beside it stands a digest of what it is
made from, and that is what the test compares.
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tracer import SupplyReport, Tracing
    from tracer.report.plug_worksheet import WorksheetInWords

FOLDER = Path(__file__).resolve().parent
ROOT = FOLDER.parent.parent
sys.path.insert(0, str(ROOT))

DATE = "2026-01-31"
DEMO, MODULE = ROOT / "circuits" / "minibus", "ALM"


def _demo() -> tuple[Tracing, SupplyReport, WorksheetInWords]:
    """The demo module's list, and its worksheet."""
    import tracer
    from tracer.electrics.limits_in_use import limits_of
    from tracer.plan.plug_worksheet import plug_worksheet_of
    from tracer.report.plug_worksheet import worksheet_in_words

    tracing = tracer.Tracing(tracer.load(DEMO))
    report = tracer.supplies(tracing, MODULE)
    made = plug_worksheet_of(tracing, report, limits_of(tracing.circuit))
    return tracing, report, worksheet_in_words(made, tracing.circuit.typed.vehicle.system)


def contents() -> dict[str, bytes]:
    """The files that do not depend on a typesetter's version: the diagram, and the digest of the worksheet's source."""
    from tracer.plan.diagram import view_of
    from tracer.report.diagram import Paper, diagram_of, files_of
    from tracer.report.plain_data import json_text
    from tracer.report.plug_worksheet import as_data
    from tracer.report.typeset import template

    tracing, report, worksheet = _demo()
    (diagram,) = files_of(diagram_of(view_of(tracing, report), Paper(date=DATE)), "svg")
    source = template("plug_worksheet.typ").encode() + json_text(as_data(worksheet, DATE)).encode()
    return {"diagram.svg": diagram, "worksheet.sha256": hashlib.sha256(source).hexdigest().encode() + b"\n"}


def worksheet_picture() -> bytes:
    """The front of the worksheet as PNG."""
    from tracer.report.plug_worksheet import as_png

    front, *_ = as_png(_demo()[2], date=DATE, ppi=110)
    return front


def main() -> None:
    """Write the pictures."""
    from docs.pictures.screens import made

    for name, content in {**contents(), "worksheet.png": worksheet_picture(), **made()}.items():
        (FOLDER / name).write_bytes(content)
        print(f"wrote docs/pictures/{name}")


if __name__ == "__main__":
    main()
