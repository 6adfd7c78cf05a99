"""How a value and its unit are written: the one place for numbers on the screen, on paper and inside sentences.

The rounding rule:

- **volts** at a point, a limit in volts: two decimals, as a usual meter shows them (`12.40 V`);
- **a drop** below 0.1 V in millivolts: whole ones, below 10 mV with one decimal (`45 mV`, `3.2 mV`); from 0.1 V on as volts;
- **ohms and amperes**: three significant digits and no finer than hundredths, below 0.1 two digits; no zeros at the end (`60 Ω`, `12.3 kΩ`, `0.36 Ω`, `1.75 A`,
  `0.015 A`); below a milliampere there is no current worth naming;
- **milliamperes** read across a fuse: no more digits than a reading of tenths of a millivolt can carry;
- **what is typed in, stamped on a part or listed in a table** (rating, size, length, watts, system): as it stands there (`7.5 A`, `0.35 mm²`).

A space stands between number and unit, and the decimal mark is the point or the comma, on the line: SI Brochure, 9th edition, 5.4.3 and 5.4.4.
JSON and CSV are for programs: they always have the point.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

POINT, COMMA = ".", ","
_MARK: ContextVar[str] = ContextVar("decimal mark", default=POINT)
NO_CURRENT_A = 0.001  # below it nothing is worth naming


@contextmanager
def decimal_mark(mark: str) -> Iterator[None]:
    """Everything that is written inside has this decimal mark, `.` or `,`."""
    if mark not in (POINT, COMMA):
        raise ValueError(f"{mark!r} is no decimal mark")
    before = _MARK.set(mark)
    try:
        yield
    finally:
        _MARK.reset(before)


# --- bare numbers ----------------------------------------------------------------------------------------------------


def fixed(value: float, decimals: int) -> str:
    """So many decimals, and no minus before a zero.

    >>> fixed(-0.001, 2), fixed(12.4, 2)
    ('0.00', '12.40')
    """
    text = f"{value:.{decimals}f}"
    return _marked(text.removeprefix("-") if not text.strip("-0.") else text)


def significant(value: float, digits: int = 3) -> str:
    """So many significant digits, written out without a power of ten, without zeros at the end.

    >>> significant(0.01534), significant(123.4), significant(1234.0), significant(60.0), significant(2e6)
    ('0.0153', '123', '1230', '60', '2000000')
    """
    rounded = float(f"{value:.{digits}g}")
    if rounded == 0:
        return "0"
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    text = f"{rounded:.{decimals}f}"
    return _marked(text.rstrip("0").rstrip(".") if "." in text else text)


def measured(value: float) -> str:
    """Ohms or amperes, as fine as they can be read.

    >>> measured(1.2089), measured(0.3561), measured(0.03391), measured(123.4)
    ('1.21', '0.36', '0.034', '123')
    """
    return significant(value, 2) if abs(value) < 0.0995 else significant(round(value, 2))


def _marked(text: str) -> str:
    mark = _MARK.get()
    return text if mark == POINT else text.replace(POINT, mark)


def plain(value: float) -> str:
    """All digits that were typed, for files and programs: always with the point.

    >>> plain(0.35), plain(12.0), plain(1234.5678)
    ('0.35', '12', '1234.5678')
    """
    return f"{value:.10g}"


# --- with units ------------------------------------------------------------------------------------------------------


def stated(value: float, unit: str = "") -> str:
    """A value as it was typed in, is stamped on a part, or is listed: '7.5 A', '0.35 mm²', '12 V'; without a unit the number alone."""
    number = significant(value, 6)
    return f"{number} {unit}" if unit else number


def typed(value: float, unit: str) -> str:
    """With all digits that were typed, where two typings are held against each other: '1234.5678 m'."""
    return f"{_marked(plain(value))} {unit}"


def stated_range(low: float, high: float, unit: str) -> str:
    """'0.5 to 2.5 mm²'."""
    return f"{stated(low)} to {stated(high)} {unit}"


def volts_number(value: float) -> str:
    """'12.40'."""
    return fixed(value, 2)


def volts(value: float) -> str:
    """'12.40 V'."""
    return f"{volts_number(value)} V"


def volts_ends(low: float, high: float) -> str:
    """'11.80 to 12.80', for a column that says volts."""
    return f"{volts_number(low)} to {volts_number(high)}"


def volts_range(low: float, nominal: float, high: float) -> str:
    """'12.40 V (11.80 to 12.80)'; the brackets only where they say more."""
    if abs(high - low) < 0.005:
        return volts(nominal)
    return f"{volts(nominal)} ({volts_ends(low, high)})"


def millivolts_number(value_v: float) -> str:
    """Of a drop in volts: '3.2', '45', '320'."""
    return fixed(value_v * 1000, 1 if abs(value_v) < 0.00995 else 0)


def millivolts(value_v: float) -> str:
    """Of a drop in volts, whatever its size: '45 mV'."""
    return f"{millivolts_number(value_v)} mV"


def drop(value_v: float) -> str:
    """A drop: '3.2 mV', '45 mV', '0.12 V'."""
    return millivolts(value_v) if abs(value_v) < 0.0995 else volts(value_v)


def ohms(value: float) -> str:
    """'60 Ω', '0.36 Ω', '12.3 kΩ', '10 MΩ', 'open'."""
    if math.isinf(value):
        return "open"
    for least, prefix in ((999_500, "M"), (999.5, "k")):
        if abs(value) >= least:
            return f"{significant(value / (1e6 if prefix == 'M' else 1e3))} {prefix}Ω"
    return f"{measured(value)} Ω"


def ohms_ends(low: float, high: float) -> str:
    """'58.3 to 61 Ω', '820 Ω to 12.3 kΩ'."""
    one, two = ohms(low), ohms(high)
    same_unit = one.rpartition(" ")[2] == two.rpartition(" ")[2]
    return f"{one.rpartition(' ')[0] if same_unit and ' ' in one else one} to {two}"


def ohms_range(low: float, nominal: float, high: float) -> str:
    """'60.2 Ω (58.3 to 61 Ω)'."""
    return f"{ohms(nominal)} ({ohms_ends(low, high)})"


def amps_number(value: float) -> str:
    """'0.015', '1.75', '120'; below a milliampere 0."""
    return measured(value) if abs(value) >= NO_CURRENT_A else "0"


def amps(value: float) -> str:
    """'1.75 A'."""
    return f"{amps_number(value)} A"


def amps_range(low: float, nominal: float, high: float) -> str:
    """'1.2 A (0.8 to 1.9)'; next to none is said in words."""
    if high < NO_CURRENT_A:
        return "none worth naming"
    if high - low < 0.005 * high:
        return amps(nominal)
    return f"{amps(nominal)} ({amps_number(low)} to {amps_number(high)})"


def milliamps_number(value_ma: float) -> str:
    """'0.4', '3.2', '45', '1230': what is read across a fuse in tenths of a millivolt carries no more."""
    if value_ma < 0.005:
        return "0"
    if value_ma < 10:
        return significant(value_ma, 1) if value_ma < 1 else fixed(value_ma, 1)
    return significant(float(f"{value_ma:.0f}"))


def milliamps(value_ma: float) -> str:
    """'45 mA'; '0' without a unit where nothing flows."""
    number = milliamps_number(value_ma)
    return number if number == "0" else f"{number} mA"


def rating(amps: float | None) -> str:
    """'15 A' of a fuse, or that nobody typed it."""
    return stated(amps, "A") if amps is not None else "rating not known"


def rating_behind(amps: float | None) -> str:
    """The same behind a name: ' 15 A', ', rating not known'."""
    return f"{'' if amps is not None else ','} {rating(amps)}"


def metres(value: float | None) -> str:
    """'1.3 m', a length that was added up."""
    return f"{fixed(value, 1)} m" if value is not None else "length not known"


def minutes(seconds: float) -> str:
    """'12 minutes'."""
    return f"{fixed(seconds / 60, 0)} minutes"


def megabytes(count: float) -> str:
    """Of a file: '1.3 MB'."""
    return f"{stated(round(count / 1e6, 1))} MB"


def percent(share: float, digits: int = 3) -> str:
    """Of a share: '12 %', '0.5 %'."""
    return f"{significant(100 * share, digits)} %"
