"""The cavities of a module in its whole list: those reached only through a load, and all of them by what they count as."""

from __future__ import annotations

from tracer.report.layout import Page
from tracer.trace.lists.results import Cavity, SupplyReport

USE_NOT_KNOWN = "USE NOT KNOWN"
_KIND_ORDER = (
    "supply",
    "ground",
    "bus",
    "output",
    "reference",
    "signal",
    "shield",
    "unused",
    "not looked at",
    "unaccounted",
)


def way_not_known(kind: str) -> str:
    """What stands for the way of a pin that is in the list without a row: declared as supply or ground, or of a use that nobody has typed in."""
    return USE_NOT_KNOWN if kind == "unaccounted" else f"{kind.upper()}, WAY NOT KNOWN"


def through_loads(page: Page, report: SupplyReport) -> None:
    """Pins that read supply or ground level only through a load."""
    if not report.through_loads:
        return
    page.heading("Only through a load (not a supply, not a ground)")
    if not all(load.no_method for load in report.through_loads):
        page.line(
            "Without load a meter reads supply or ground level here, through the load. It proves nothing about a supply.",
            indent=2,
        )
    for load in report.through_loads:
        if load.no_method:
            page.line(f"pin {load.pin}  {load.declared or 'not declared'}: {load.note}", indent=2, hang=4)
    for level, words in (
        ("supply", "reads battery voltage at rest, while its load is fed"),
        ("ground", "reads ground at rest"),
    ):
        found = [
            [f"pin {load.pin}", load.declared or "not declared", f"only through {', '.join(load.loads)}"]
            for load in report.through_loads
            if load.level == level and not load.no_method
        ]
        if found:
            page.line(f"{words}:", indent=2)
            page.table(found, indent=4)


def census(page: Page, report: SupplyReport) -> None:
    """Every cavity of the module, by what it counts as."""
    page.heading("All cavities")
    if not report.cavities_listed:
        page.line(
            "The cavities of this module are not listed, so it is not known whether a pin is missing.",
            indent=2,
        )
    rows = []
    for kind in _KIND_ORDER:
        cavities = [cavity for cavity in report.census if cavity.kind == kind]
        if cavities:
            rows.append(
                [
                    USE_NOT_KNOWN if kind == "unaccounted" else kind,
                    str(len(cavities)),
                    ", ".join(_cavity_words(cavity) for cavity in cavities),
                ]
            )
    rows.append(["total", str(len(report.census)), ""])
    page.table(rows, indent=2)


def _cavity_words(cavity: Cavity) -> str:
    return f"{cavity.pin} ({cavity.row})" if cavity.row else cavity.pin
