"""A printed page against the list it is made from: whole processes on the demo, as a user runs them.

The diagram as SVG may take at most 3 times the processor time of `tracer supplies --quick`, as PDF at most 6 times; the worksheet as PDF at most 6 times that of
`tracer supplies`: both compute what must be read.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchmarks.ratios import Ratio, checked, process_cpu_s, tracer_command

SVG_MOST, PDF_MOST = 3.0, 6.0
RUNS = 5
DEMO = Path(__file__).resolve().parent.parent / "circuits" / "minibus"
MODULE = "ALM"


def ratios() -> list[Ratio]:
    """Diagram as SVG and as PDF against the list, on the demo."""
    with tempfile.TemporaryDirectory() as scratch:
        base = [tracer_command(), "-C", str(DEMO)]
        commands = [
            [*base, "supplies", MODULE, "--quick"],
            [*base, "diagram", MODULE, "-o", str(Path(scratch) / "out.svg")],
            [*base, "diagram", MODULE, "-o", str(Path(scratch) / "out.pdf")],
            [*base, "supplies", MODULE],
            [*base, "worksheet", MODULE, "-o", str(Path(scratch) / "form.pdf")],
        ]
        for command in commands:
            checked(command)
        listed, svg, pdf, computed, form = (process_cpu_s(command, RUNS) for command in commands)
    return [
        Ratio("diagram of the demo module as SVG, against its list", svg, listed, SVG_MOST),
        Ratio("diagram of the demo module as PDF, against its list", pdf, listed, PDF_MOST),
        Ratio("worksheet of the demo module as PDF, against its computed list", form, computed, PDF_MOST),
    ]


__all__ = ["ratios"]
