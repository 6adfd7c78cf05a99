"""Conductor sizes and resistances.

Sizes are nominal copper cross-sections in mm², or American wire gauge (AWG). Resistances are per
metre of ONE conductor, in mΩ/m (the same number as Ω/km).
"""

from __future__ import annotations

import math
import re
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache
from typing import Final

from tracer.standards import _tables, figures
from tracer.standards._tables import BrokenTable, weakest
from tracer.standards.sources import Sourced

SMALLEST_MM2: Final = 0.05
LARGEST_MM2: Final = 400.0
THINNEST_AWG: Final = 40
THICKEST_AWG: Final = -3
"""4/0, which the gauge formula counts as -3."""

COLDEST_C: Final = -60.0
HOTTEST_C: Final = 250.0
"""Copper is close to linear in this range; outside it the formula is refused."""

_AREA: Final = re.compile(r"([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*(?:mm²|mm2|mm\^2|sqmm)?", re.IGNORECASE)
_GAUGE_NUMBER: Final = r"([0-9]{1,2}|[0-9]/0|000?0?)"
_GAUGE: Final = re.compile(rf"{_GAUGE_NUMBER}\s*AWG|AWG\s*{_GAUGE_NUMBER}", re.IGNORECASE)
_HOW_TO_WRITE: Final = "write mm² as 2.5 or 2.5 mm², or a gauge as 14AWG or 2/0AWG"


class BadSize(ValueError):
    """A text that is no conductor size; ``text`` holds it, the message says what to write instead."""

    def __init__(self, text: str, reason: str) -> None:
        self.text = text
        super().__init__(f"{text!r} is no conductor size: {reason}")


@dataclass(frozen=True, slots=True)
class Size:
    """A conductor size.

    ``text`` is the size as we write it (``2.5 mm²``, ``14 AWG``), ``awg`` the gauge number as text
    (``14``, ``2/0``) or None where the size was given in mm².
    """

    area_mm2: float
    text: str
    awg: str | None
    source: str


def parse_size(text: str) -> Size:
    """A typed conductor size.

    Parameters
    ----------
    text : ``2.5``, ``2,5``, ``2.5mm²``, ``2.5 mm2``, ``2.5 sqmm``,
        ``14AWG``, ``14 AWG``, ``AWG14``, ``2/0AWG``;
        a bare number is mm². From 0.05 to 400 mm², or from 40 to 4/0 AWG.

    Raises
    ------
    BadSize : anything else

    Examples
    --------
    >>> parse_size("2,5").text
    '2.5 mm²'
    >>> parse_size("00AWG").awg
    '2/0'
    """
    typed = text.strip()
    if gauge := _GAUGE.fullmatch(typed):
        return _gauge_size(text, gauge[1] or gauge[2])
    if area := _AREA.fullmatch(typed):
        return _area_size(text, float(area[1].replace(",", ".")))
    raise BadSize(text, _HOW_TO_WRITE)


def awg_area_mm2(number: int) -> float:
    """Cross-section of a solid round conductor, mm².

    Parameters
    ----------
    number : gauge number from -3 (4/0) to 40; 0 is 1/0, -1 is 2/0

    Raises
    ------
    ValueError : outside that range

    References
    ----------
    ASTM B258, formula as reproduced in the pages named in ``data/conductors.yaml``.
    """
    if not THICKEST_AWG <= number <= THINNEST_AWG:
        raise ValueError(f"gauge {number} is outside 4/0 to {THINNEST_AWG}")
    area, base, steps = (_quantity("awg", name) for name in ("area of number 36", "base", "steps for the area"))
    return area.value * math.pow(base.value, (36 - number) / steps.value)


def copper_resistivity() -> Sourced:
    """Resistivity of annealed copper at 20 °C, Ω·mm²/m (IEC 60028)."""
    return _quantity("copper", "resistivity")


def copper_temperature_coefficient() -> Sourced:
    """Temperature coefficient of copper resistance at 20 °C, per kelvin; belongs to `copper_resistivity`."""
    return _quantity("copper", "temperature coefficient")


def max_resistance_mohm_per_m(area_mm2: float, temperature_c: float = 20.0) -> Sourced:
    """Resistance of one metre of vehicle cable, mΩ/m.

    * A size of the ISO 6722 table: the table's maximum.
    * The exact area of a gauge (as `parse_size` gives it): solid round copper by formula, and what
      stranded wire of that gauge may have above it, so that a gauge means the same as a size in mm².
    * Between two sizes of the table: a straight line in the logarithms of area and resistance.
    * Below 0.13 or above 50 mm²: the nearest row, in inverse proportion to the area.

    What was done stands in ``source`` and ``note``; a value built on a row from memory is from memory.

    Parameters
    ----------
    area_mm2 : from 0.005 (gauge 40) to 400
    temperature_c : of the conductor, -60 to 250 °C; R(T) = R20 * (1 + 0.00393 * (T - 20))

    Raises
    ------
    ValueError : area or temperature outside these ranges
    """
    # The negated form also refuses NaN.
    if not awg_area_mm2(THINNEST_AWG) <= area_mm2 <= LARGEST_MM2:
        raise ValueError(
            f"area {area_mm2} mm² is outside {figures.stated_range(round(awg_area_mm2(THINNEST_AWG), 3), LARGEST_MM2, 'mm²')}"
        )
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ValueError(
            f"temperature {temperature_c} °C is outside {figures.stated_range(COLDEST_C, HOTTEST_C, '°C')}"
        )
    return _at_temperature(_resistance_at_20_c(area_mm2), temperature_c)


@cache
def largest_fuse_a(area_mm2: float) -> Sourced | None:
    """Largest fuse usually put before a copper conductor in a vehicle harness, amperes.

    A size between two rows takes the smaller row, so the answer errs on the careful side. None
    below the smallest row (0.05 mm²). Common practice from memory, no published table: good for a
    remark that a rating looks high, not for choosing a fuse. The maker's rating comes first.

    Raises
    ------
    ValueError : area not above zero
    """
    if not area_mm2 > 0:
        raise ValueError(f"area {area_mm2} mm² is not above zero")
    rows = _tables.table("conductors", "largest_fuse")
    fitting = [row for row in rows if row.number("area_mm2") <= area_mm2]
    if not fitting:
        return None
    row = fitting[-1]
    return Sourced(row.number("rating_a"), "A", row.source, row.certainty, row.optional_text("note"))


def _gauge_size(text: str, written: str) -> Size:
    number, name = _gauge_number(written)
    if not THICKEST_AWG <= number <= THINNEST_AWG:
        raise BadSize(text, f"gauges run from {THINNEST_AWG}AWG to 4/0AWG")
    source = _quantity("awg", "area of number 36").source
    return Size(awg_area_mm2(number), f"{name} AWG", name, source)


def _gauge_number(written: str) -> tuple[int, str]:
    """``14`` -> (14, "14"); ``2/0`` and ``00`` -> (-1, "2/0"); ``0`` -> (0, "1/0")."""
    if "/" in written:
        zeros = int(written.split("/")[0])
    elif set(written) == {"0"}:
        zeros = len(written)
    else:
        return int(written), str(int(written))
    # 0/0 is no gauge; a number outside the range makes the caller say so
    return (1 - zeros, f"{zeros}/0") if zeros else (THICKEST_AWG - 1, written)


def _area_size(text: str, area_mm2: float) -> Size:
    if not SMALLEST_MM2 <= area_mm2 <= LARGEST_MM2:
        raise BadSize(text, f"sizes run from {figures.stated_range(SMALLEST_MM2, LARGEST_MM2, 'mm²')}; {_HOW_TO_WRITE}")
    # Plain decimals, no exponent and no rounding of what was typed.
    plain = f"{area_mm2:.6f}".rstrip("0").rstrip(".")
    return Size(area_mm2, f"{plain} mm²", None, "nominal cross-section as typed")


def _resistance_at_20_c(area_mm2: float) -> Sourced:
    rows = _tables.table("conductors", "automotive_max_resistance")
    areas = [row.number("area_mm2") for row in rows]
    for row, area in zip(rows, areas, strict=True):
        if math.isclose(area, area_mm2):
            return Sourced(row.number("mohm_per_m"), "mΩ/m", row.source, row.certainty, "maximum at 20 °C")
    number = _gauge_of(area_mm2)
    if number is not None:
        return _stranded_gauge(area_mm2)
    above = bisect_right(areas, area_mm2)
    if above in (0, len(rows)):
        return _beyond(rows[0 if above == 0 else -1], area_mm2)
    return _between(rows[above - 1], rows[above], area_mm2)


def _gauge_of(area_mm2: float) -> int | None:
    gauges = range(THICKEST_AWG, THINNEST_AWG + 1)
    return next((n for n in gauges if math.isclose(awg_area_mm2(n), area_mm2, rel_tol=1e-9)), None)


def _stranded_gauge(area_mm2: float) -> Sourced:
    rho, strands = copper_resistivity(), _quantity("awg", "stranded wire against solid")
    return Sourced(
        1000 * rho.value / area_mm2 * strands.value,
        "mΩ/m",
        f"computed: resistivity of copper / area of the gauge, times {strands.value:g} for strands; {rho.source}; {strands.source}",
        weakest(("computed", strands.certainty)),
        "maximum of stranded wire at 20 °C",
    )


def _between(low: _tables.Row, high: _tables.Row, area_mm2: float) -> Sourced:
    (a, r), (b, s) = ((row.number("area_mm2"), row.number("mohm_per_m")) for row in (low, high))
    share = math.log(area_mm2 / a) / math.log(b / a)
    return Sourced(
        r * math.pow(s / r, share),
        "mΩ/m",
        f"computed: straight line in the logarithms {figures.stated_range(a, b, 'mm²')}; {_both(low.source, high.source)}",
        weakest(("computed", low.certainty, high.certainty)),
        "interpolated maximum at 20 °C",
    )


def _beyond(row: _tables.Row, area_mm2: float) -> Sourced:
    edge = row.number("area_mm2")
    return Sourced(
        row.number("mohm_per_m") * edge / area_mm2,
        "mΩ/m",
        f"computed: {figures.stated(edge, 'mm²')} row in inverse proportion to the area; {row.source}",
        weakest(("computed", row.certainty)),
        "outside the table; estimated maximum at 20 °C",
    )


def _both(one: str, other: str) -> str:
    return one if one == other else f"{one}; {other}"


def _at_temperature(at_20_c: Sourced, temperature_c: float) -> Sourced:
    if temperature_c == 20.0:
        return at_20_c
    alpha = copper_temperature_coefficient()
    return Sourced(
        at_20_c.value * (1 + alpha.value * (temperature_c - 20)),
        at_20_c.unit,
        f"{at_20_c.source}; taken to {figures.stated(temperature_c, '°C')} with {alpha.value:g} per K ({alpha.source})",
        weakest(("computed", at_20_c.certainty)),
        at_20_c.note.replace("at 20 °C", f"at {figures.stated(temperature_c, '°C')}"),
    )


@cache
def _quantity(table: str, name: str) -> Sourced:
    for row in _tables.table("conductors", table):
        if row.text("quantity") == name:
            note = row.optional_text("condition")
            return Sourced(row.number("value"), row.text("unit"), row.source, row.certainty, note)
    raise BrokenTable(f"conductors.yaml, {table}: no quantity {name!r}")
