"""The graphic symbols, each drawn downwards along x = 0 in a strip of a given height, with leads to its top and bottom.

The forms follow the usual symbols of IEC 60617 (fuse, make and break contact, operating coil, diode, battery, earth, plug and socket); names of symbols
seen in lists of that standard: "Fuse (general symbol)", "Make contact", "Break contact", "Control coil (general symbol)", "Plug and socket". The
symbols of battery, earth, diode and the connection dot are from memory. The standard has no symbol named splice: it is a connection dot.
"""

from __future__ import annotations

from tracer.report.diagram.shapes import Box, Dot, Line, Polygon, Rect, Shape

LEAST = 16.2  # height that every symbol fits into


def _lead(y1: float, y2: float, style: str) -> list[Shape]:
    return [Line(((0, y1), (0, y2)), style)] if y2 > y1 else []


def fuse(height: float, upper: str, lower: str) -> list[Shape]:
    """A rectangle with the line through it."""
    middle = height / 2
    return [
        *_lead(0, middle - 6, upper),
        Rect(Box(-3, middle - 6, 6, 12)),
        Line(((0, middle - 6), (0, middle + 6))),
        *_lead(middle + 6, height, lower),
    ]


def make_contact(height: float, upper: str, lower: str) -> list[Shape]:
    """Open at rest: the moving part hangs on the lower lead and stands off to the left."""
    middle = height / 2
    return [
        *_lead(0, middle - 5, upper),
        Line(((0, middle + 5), (-5, middle - 5))),
        *_lead(middle + 5, height, lower),
    ]


def break_contact(height: float, upper: str, lower: str) -> list[Shape]:
    """Closed at rest: the moving part touches the foot of the upper lead."""
    middle = height / 2
    return [
        *_lead(0, middle - 5, upper),
        Line(((0, middle - 5), (4.5, middle - 5))),
        Line(((0, middle + 5), (4, middle - 6.5))),
        *_lead(middle + 5, height, lower),
    ]


def breaker(height: float, upper: str, lower: str) -> list[Shape]:
    """A make contact with the cross of the circuit-breaker function."""
    top = height / 2 - 5
    cross: list[Shape] = [Line(((-2, top - 2), (2, top + 2))), Line(((-2, top + 2), (2, top - 2)))]
    return [*make_contact(height, upper, lower), *cross]


def coil(height: float, upper: str, lower: str) -> list[Shape]:
    """An operating coil: a rectangle across the line."""
    middle = height / 2
    return [*_lead(0, middle - 5, upper), Rect(Box(-7, middle - 5, 14, 10)), *_lead(middle + 5, height, lower)]


def diode(height: float, upper: str, lower: str, *, downwards: bool = True) -> list[Shape]:
    """A filled triangle towards its bar."""
    middle = height / 2
    tip, base = (middle + 4, middle - 4) if downwards else (middle - 4, middle + 4)
    return [
        *_lead(0, middle - 4, upper),
        Polygon(((-4, base), (4, base), (0, tip))),
        Line(((-4, tip), (4, tip))),
        *_lead(middle + 4, height, lower),
    ]


def mating(height: float, upper: str, lower: str) -> list[Shape]:
    """Plug and socket: a filled pin in an open half circle."""
    middle = height / 2
    cup = ((-3.5, middle - 1.5), (-3.2, middle + 1), (-1.8, middle + 2.6), (0, middle + 3.2), (1.8, middle + 2.6), (3.2, middle + 1), (3.5, middle - 1.5))  # fmt: skip
    return [
        *_lead(0, middle - 6, upper),
        Polygon(((-1.3, middle - 6), (1.3, middle - 6), (1.3, middle + 1), (-1.3, middle + 1))),
        Line(cup),
        *_lead(middle + 3.2, height, lower),
    ]


def strap(height: float, upper: str, lower: str) -> list[Shape]:
    """A braided strap: a flexible connection, drawn as a wave."""
    middle = height / 2
    wave = tuple((2.5 if i % 2 else -2.5, middle - 6 + 2 * i) for i in range(7))
    points = ((0.0, middle - 7), *wave, (0.0, middle + 7))
    return [*_lead(0, middle - 7, upper), Line(points), *_lead(middle + 7, height, lower)]


def driver(height: float, upper: str, lower: str) -> list[Shape]:
    """An electronic output: a contact in a box."""
    middle = height / 2
    return [
        *_lead(0, middle - 9, upper),
        Rect(Box(-7, middle - 9, 14, 18)),
        Line(((0, middle - 9), (0, middle - 4))),
        Line(((0, middle + 4), (-4, middle - 4))),
        Line(((0, middle + 4), (0, middle + 9))),
        *_lead(middle + 9, height, lower),
    ]


def splice() -> list[Shape]:
    """A connection dot."""
    return [Line(((0, 0), (0, 10))), Dot(0, 5, 2)]


def terminal() -> list[Shape]:
    """A terminal: an open circle on the line."""
    return [Line(((0, 0), (0, 3.2))), Dot(0, 5, 1.8, filled=False), Line(((0, 6.8), (0, 10)))]


def ground(y: float) -> list[Shape]:
    """Earth, general symbol: three bars, each shorter. Hangs below `y`."""
    return [Line(((-w, y + 2.5 * i), (w, y + 2.5 * i))) for i, w in enumerate((6.0, 4.0, 2.0))]


def ground_above(y: float) -> list[Shape]:
    """The same symbol turned over, standing on `y`."""
    return [Line(((-w, y - 2.5 * i), (w, y - 2.5 * i))) for i, w in enumerate((6.0, 4.0, 2.0))]


def battery(*, positive: bool) -> list[Shape]:
    """One cell drawn twice; the long thin plate is the positive one. The post that is meant is at the wire's end."""
    plates: list[Shape] = []
    for top in (2.0, 8.0):
        long_y, short_y = (top + 3, top) if positive else (top, top + 3)
        plates += [Line(((-7, long_y), (7, long_y))), Rect(Box(-3.5, short_y - 0.6, 7, 1.2), fill="black")]
    end = Line(((0, 11.5), (0, 18))) if positive else Line(((0, -4), (0, 2)))
    return [*plates, Line(((0, 5.5), (0, 7.5))), end]


def broken(*, below: bool) -> list[Shape]:
    """A visibly broken end: a wavy tear across the line and nothing beyond it. `below`: the known wire comes from above."""
    tear = tuple((x, 9 + (1.6 if i % 2 else -1.6)) for i, x in enumerate((-8.0, -5.3, -2.7, 0.0, 2.7, 5.3, 8.0)))
    second = tuple((x, y + (-3 if not below else 3)) for x, y in tear)
    line = Line(((0, 0), (0, 9))) if below else Line(((0, 9), (0, 18)))
    return [line, Line(tear, "heavy"), Line(second)]
