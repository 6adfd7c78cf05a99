"""The rows of one pin of a list, by the name under which somebody asks for it."""

from __future__ import annotations

from tracer.entry.problems import CannotAnswer
from tracer.trace.lists.results import Row, SupplyReport


def rows_of(report: SupplyReport, pin: str) -> tuple[Row, ...]:
    """The rows of one pin of the module, also typed as `2+`, `1-` or with the module's name before it.

    Raises
    ------
    CannotAnswer : it is no pin of this list; the message says what it is or which there are
    """
    name = pin.removeprefix(f"{report.module}.")
    own = (*report.supplies, *report.grounds, *report.carrying)
    found = tuple(row for row in own if name in (row.pin, f"{row.pin}{'+' if row.level == 'supply' else '-'}"))
    if found:
        return found
    cavity = next((cavity for cavity in report.census if cavity.pin == name), None)
    if cavity is not None:
        said = f", declared `{cavity.declared}`" if cavity.declared else ""
        raise CannotAnswer(f"{report.module}.{name} is {cavity.kind}{said}: no supply or ground is traced to it.")
    raise CannotAnswer(
        f"{report.module} has no pin {pin} here. Pins with a way: {', '.join(row.pin for row in own) or 'none'}."
    )
