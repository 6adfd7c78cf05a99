"""What `supplies` and the worksheet expect at each probe point: computed volts, or the reason why there are none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.model.circuit_model import NotSettled
from tracer.electrics.model.of_circuit import models_of
from tracer.electrics.volts.overloads import overloads_of
from tracer.electrics.volts.rows import solved_rows
from tracer.electrics.volts.values import Overload, Range
from tracer.standards import figures
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

__all__ = ["MOST_LINKS", "ComputedExpect", "Expected", "expectations", "expected_of", "overload_words", "too_large"]

MOST_LINKS = 20_000  # of a vehicle; with more the list would be waited for. `tracer volts` computes any size


@dataclass(frozen=True, slots=True)
class ComputedExpect:
    """What is expected at one probe point of one row in one key state; volts to battery negative, `lost` up to the point.

    Where `not_computed` says why there is none, `volts`, `lost` and `current_a` are None.
    """

    state: str
    volts: Range | None
    lost: Range | None
    floating: bool
    current_a: Range | None  # through the row's pin
    limit: LimitInUse  # of the whole way
    assumed: tuple[str, ...]  # what was not typed in and taken by default
    battery: Range
    battery_state: str
    not_computed: str = ""
    overloads: tuple[Overload, ...] = ()  # fuses of the vehicle that carry more than their rating in this key state

    @property
    def load(self) -> str:
        """The current that the reading holds for, in words; empty where nothing is computed."""
        current = self.current_a
        if current is None:
            return ""
        low, nominal, high = (figures.amps_number(a) for a in (current.low, current.nominal, current.high))
        return f"{nominal} A ({low} to {high} A), plugged in"


@dataclass(frozen=True, slots=True)
class Expected:
    """For each probe point (row code, point) what is computed in each key state; `why_not` says why there is nothing."""

    points: Mapping[tuple[str, str], tuple[ComputedExpect, ...]] = field(default_factory=dict)
    why_not: str = ""

    @property
    def overloads(self) -> list[str]:
        """Fuses that carry more than their rating, in words."""
        return overload_words(next(iter(self.points.values()), ()))

    def at(self, row: str, point: str) -> tuple[ComputedExpect, ...]:
        """What is computed for a probe point of a row; nothing where nothing is."""
        return self.points.get((row, point), ())


def overload_words(computed: Iterable[ComputedExpect]) -> list[str]:
    """'Key state run: F7 carries 17.2 A, more than its rating of 15 A', each once."""
    return list(dict.fromkeys(f"key state {one.state}: {over.words}" for one in computed for over in one.overloads))


def too_large(tracing: Tracing, module: str) -> str:
    """Why a list does not wait for volts; empty where the vehicle is small enough."""
    links = len(tracing.circuit.links)
    return (
        f"the vehicle has {links} links, `tracer volts {module}` takes its time over them" if links > MOST_LINKS else ""
    )


def expected_of(tracing: Tracing, report: SupplyReport, *, limits: LimitsInUse) -> Expected:
    """Computed volts at every probe point of a list, in every key state; a list without them is still a list."""
    if why_not := too_large(tracing, report.module):
        return Expected(why_not=why_not)
    if report.rows and all(row.no_method for row in report.rows):
        return Expected(why_not=report.rows[0].no_method)
    try:
        return Expected(expectations(tracing, report, limits=limits))
    except NotSettled as error:
        return Expected(why_not=str(error))


def expectations(
    tracing: Tracing, report: SupplyReport, *, limits: LimitsInUse, keys: Iterable[str] | None = None
) -> dict[tuple[str, str], tuple[ComputedExpect, ...]]:
    """For each probe point (row code, point) what is expected in each key state, module plugged in.

    Raises
    ------
    NotSettled : no steady voltages in some key state
    """
    found: dict[tuple[str, str], list[ComputedExpect]] = {}
    wanted = list(keys or report.keys)
    models = models_of(tracing, wanted, limits=limits, first=report.module)
    for key, solved in zip(wanted, solved_rows(tracing, models, report), strict=True):
        overloads = tuple(overloads_of(solved.model, solved.nominal.branch_a))
        for one in report.rows:
            if one.no_method:
                continue
            row = solved.row(one, None, None)
            probes = {probe.at: probe for probe in row.probes}
            current_a = None if row.not_computed else row.current_a
            for at in dict.fromkeys(probe.at for probe in one.probes):
                probe = probes.get(at)
                volts, lost = (None, None) if probe is None else (probe.volts, probe.lost)
                found.setdefault((row.code, at), []).append(
                    ComputedExpect(
                        key, volts, lost, probe is not None and probe.floating, current_a, row.limit, row.assumed,
                        solved.battery, solved.model.battery_state, row.not_computed, overloads,
                    )
                )  # fmt: skip
    return {point: tuple(expected) for point, expected in found.items()}
