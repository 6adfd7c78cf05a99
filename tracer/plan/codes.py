"""One code for each place to touch, the same on the diagram and on the worksheet.

The rule: a point is called by the first row of `supplies` that has it and its number in that row (S1.7). Where other rows have it too it says so
("also S3, C1"), and is not named a second time. Bus pins, which `supplies` counts but does not trace, are called B1, B2 ...
"""

from __future__ import annotations

from dataclasses import dataclass

from tracer.trace.lists.results import Cavity, Probe, Row, SupplyReport


@dataclass(frozen=True, slots=True)
class CodedPoint:
    """A place to touch. `code` is row and number in the first row that has it; `also` are the other rows."""

    code: str
    row: Row
    number: int
    probe: Probe
    also: tuple[str, ...]

    @property
    def is_pin(self) -> bool:
        """Whether it is the pin of its row, the last point of the way."""
        return self.number == len(self.row.probes)


def coded_points(report: SupplyReport) -> dict[str, CodedPoint]:
    """Every probe point of a report once, by its name, in the order of the rows."""
    found: dict[str, CodedPoint] = {}
    for row in report.rows:
        for number, probe in enumerate(row.probes, 1):
            if probe.at not in found:
                found[probe.at] = CodedPoint(f"{row.code}.{number}", row, number, probe, probe.shared_with)
    return found


def bus_pins(report: SupplyReport) -> tuple[tuple[str, Cavity], ...]:
    """The bus pins of the module with their codes B1, B2 ..."""
    buses = [cavity for cavity in report.census if cavity.kind == "bus"]
    return tuple((f"B{number}", cavity) for number, cavity in enumerate(buses, 1))
