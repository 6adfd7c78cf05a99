"""A resistance read between the lines of a bus: what was typed, where, and everything single that explains it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tracer.electrics.bus.terminations import usual_range_ohm
from tracer.electrics.bus.values import INPUTS_OHM, BusReport, Ohm, UnknownBus
from tracer.electrics.limits_in_use import LimitsInUse, accuracy_ohm
from tracer.entry.problems import BadReading, listed, nearest
from tracer.standards import bus as tables
from tracer.standards import figures

_TYPED_OHM = re.compile(r"^(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>|ohms?|ω|kohms?|kω|k)$")


def ohm_value(text: str) -> float:
    """A typed resistance: '120', '120ohm', '1.2kohm', 'open'.

    Raises
    ------
    BadReading : it cannot be understood
    """
    word = text.strip().lower()
    if word in ("open", "ol", "inf"):
        return math.inf
    match = _TYPED_OHM.match(word)
    if match is None:
        raise BadReading(f"`{text}` is no resistance: write 120ohm, 1.2kohm or open.")
    return float(match["number"].replace(",", ".")) * (1000.0 if match["unit"].startswith("k") else 1.0)


@dataclass(frozen=True, slots=True)
class Explanation:
    """One thing that explains a reading; `expected` is what is then read there."""

    kind: str
    words: str
    expected: Ohm


@dataclass(frozen=True, slots=True)
class Classified:
    """A typed-in reading at an access point with everything single that explains it, simplest first."""

    reading: float
    at: str
    accuracy: float
    explanations: tuple[Explanation, ...]
    words: tuple[str, ...]


def classify(report: BusReport, reading_ohm: float, at: str, *, limits: LimitsInUse) -> Classified:
    """What explains a reading between the lines.

    Parameters
    ----------
    reading_ohm : as the meter shows it; infinite for open
    at : an access point, or a part that has only one (or whose points all read alike)

    Raises
    ------
    UnknownBus : no such access point
    """
    if not report.cases:
        raise UnknownBus(
            f"no resistance rule holds for bus {report.name} ({report.kind or 'kind not said'}): a reading between its lines cannot be judged."
        )
    number = access_named(report, at)
    for name, words in report.not_to_measure:
        if name == report.accesses[number].name:
            raise UnknownBus(f"{name}: {words}; no reading there is judged here.")
    accuracy = accuracy_ohm(limits, reading_ohm)
    order = {
        kind: place for place, kind in enumerate(("in order", "unplugged", "termination", "added", "short", "open"))
    }
    found = []
    for case in report.cases:
        expected = case.expected[number]
        if expected is not None and _fits(reading_ohm, accuracy, expected):
            found.append(Explanation(case.kind, case.words, expected))
    found.sort(key=lambda one: order[one.kind])
    return Classified(
        reading_ohm,
        report.accesses[number].name,
        accuracy,
        tuple(found),
        tuple(_reading_words(reading_ohm, found, usual=_is_usual(report))),
    )


def _is_usual(report: BusReport) -> bool:
    """Whether the bus as typed in reads what a working one does."""
    expected = next((one for one in report.cases[0].expected if one is not None), None)
    low, high = usual_range_ohm()
    return expected is not None and low <= expected.nominal <= high


def _fits(reading: float, accuracy: float, expected: Ohm) -> bool:
    if not math.isfinite(reading):  # the input of a plugged node alone: some meters show kΩ, some open
        return expected.nominal >= INPUTS_OHM
    return expected.low - accuracy <= reading <= expected.high + accuracy


def _reading_words(reading: float, found: Sequence[Explanation], *, usual: bool) -> Iterator[str]:
    kinds = {one.kind for one in found}
    if "in order" in kinds and not usual:
        yield "as the bus is typed in, which is not what a working bus reads (about 60 Ω): look for a termination that is missing, one too many, or not typed in, before this is taken as in order"
    elif "in order" in kinds:
        others = len(found) - 1
        yield (
            f"as in order; {others} single faults read the same here, so the reading does not prove the bus"
            if others
            else "as in order, and no single fault that is modelled reads the same here"
        )
    elif not found:
        yield "nothing single that is modelled explains it: supply on or bus awake while measuring, leads not nulled, a joint with resistance in one line, two faults, or a termination of another value"
    if math.isfinite(reading):
        low, high = tables.trade_range("accepted by many at 20 °C")
        if low <= reading <= high:
            yield f"many accept {figures.ohms_ends(low, high)} at 20 °C (common practice, no source)"
        for row in tables.workshop_readings():
            if row.about_ohm is not None and abs(reading - row.about_ohm) <= 0.1 * row.about_ohm:
                yield f"about {figures.ohms(row.about_ohm)} is usual for: {row.case} ({row.certainty})"


def access_named(report: BusReport, at: str) -> int:
    """The number of an access point by its name, its part, or the name of one of its pins.

    Raises
    ------
    UnknownBus : there is none, or a part has several that read differently
    """
    exact = [n for n, access in enumerate(report.accesses) if access.name == at]
    by_part = [n for n, access in enumerate(report.accesses) if access.part == at]
    by_pin = [
        n for n, access in enumerate(report.accesses) if access.name.startswith(f"{at}/") or at in _pins_in(access.name)
    ]
    for found in (exact, by_part, by_pin):
        if len(found) == 1:
            return found[0]
        if found:
            alike = {tuple(_rounded(case.expected[n]) for case in report.cases) for n in found}
            if len(alike) == 1:
                return found[0]
            raise UnknownBus(
                f"{at} can be touched at several places that read differently: {listed([report.accesses[n].name for n in found])}."
            )
    known = [access.name for access in report.accesses]
    near = nearest(at, [*known, *dict.fromkeys(access.part for access in report.accesses)])
    raise UnknownBus(
        f"both lines of {report.name} cannot be touched at {at}. "
        + (f"Did you mean {near[0]}? " if near else "")
        + f"Places: {listed(known, most=40)}."
    )


def _pins_in(name: str) -> tuple[str, ...]:
    part, _, pins = name.partition(".")
    return tuple(f"{part}.{pin}" for pin in pins.partition(",")[0].split("/"))


def _rounded(expected: Ohm | None) -> float | None:
    return None if expected is None else math.inf if expected.is_open else round(expected.nominal, 1)
