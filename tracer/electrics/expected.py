"""What `supplies` and the worksheet expect at each probe point: computed volts, or the reason why there are none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.volts import ComputedExpect, NotSettled, expectations
from tracer.trace.results import SupplyReport
from tracer.trace.survey import Survey

MOST_LINKS = 20_000  # of a vehicle; with more the list would be waited for. `tracer volts` computes any size


@dataclass(frozen=True, slots=True)
class Expected:
    """For each probe point (row code, point) what is computed in each key state; `why_not` says why there is nothing."""

    points: Mapping[tuple[str, str], tuple[ComputedExpect, ...]] = field(default_factory=dict)
    why_not: str = ""

    def at(self, row: str, point: str) -> tuple[ComputedExpect, ...]:
        """What is computed for a probe point of a row; nothing where nothing is."""
        return self.points.get((row, point), ())


def expected_of(survey: Survey, report: SupplyReport, *, limits: LimitsInUse) -> Expected:
    """Computed volts at every probe point of a list, in every key state; a list without them is still a list."""
    links = len(survey.circuit.links)
    if links > MOST_LINKS:
        return Expected(
            why_not=f"the vehicle has {links} links, `tracer volts {report.module}` takes its time over them"
        )
    try:
        return Expected(expectations(survey, report, limits=limits))
    except NotSettled as error:
        return Expected(why_not=str(error))


__all__ = ["MOST_LINKS", "Expected", "expected_of"]
