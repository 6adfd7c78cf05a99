"""Names without a vehicle: what a typed word means in a list, and how points and lines are written. Needs no circuit, so a case that is open may use it too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from tracer.entry.bus_words import bus_in_rows
from tracer.entry.problems import CannotAnswer, listed, nearest

CRANKING = ("start", "crank")  # key states in which the starter turns
# What boxes of the worksheet ask, and by which a filled-in one is read back.
NO_LAMP, TO_ITS_POST, BETWEEN_LINES, MUST_BE_DEAD, IS_LIT, TO_GROUND, LIVE_AT_ONCE = (
    "no lamp",
    "drop to its post",
    "between them",
    "dead, key ",
    "lit",
    "to ground",
    "live at once",
)
MODULE_ITSELF = "{} itself"  # as what is wrong
NO_PLACE = "place not typed in"
BAD_TWICE = "read it once more; bad twice, the row has failed and the fault is on its way"
METER_OFF_V = (
    0.03  # two readings of one meter in one range, two digits each of 0.01 V, gains cancel (common practice, no source)
)
LEAST_OF_LAMP = 0.9  # of its rated current, behind the way


class UnknownName(CannotAnswer):
    """No row, point or line of the list is called so, or several are; the message says which there are."""


@dataclass(frozen=True)
class Names:
    """The names of one list as plain values.

    `short` is by the full name of each row and point, `words` gives for each word that may be typed the full names that it could mean.
    """

    short: Mapping[str, str]
    words: Mapping[str, tuple[str, ...]]

    def find(self, word: str) -> str:
        """The full name that a word means.

        Raises
        ------
        UnknownName : it means nothing here, or could mean several things
        """
        found = self.words.get(word) or self._in_other_letters(word)
        if len(found) == 1:
            return found[0]
        if found:
            raise UnknownName(f"{word} could mean {listed([self.short.get(one, one) for one in found])}: write which.")
        points = [full for full in self.short if full.casefold().startswith(f"{word.casefold()}.")]
        if points:
            raise UnknownName(f"{word} has the points {listed(points)}: write which.")
        near = nearest(word, self.words)
        raise UnknownName(f"{word} is not in this list." + (f" Did you mean {near[0]}?" if near else ""))

    def means_something(self, word: str) -> bool:
        """Whether one or several things are called so."""
        return word in self.words or bool(self._in_other_letters(word))

    def _in_other_letters(self, word: str) -> tuple[str, ...]:
        return self._folded.get(word.casefold(), ())

    @cached_property
    def _folded(self) -> Mapping[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for word, fulls in self.words.items():
            found[word.casefold()] = tuple(dict.fromkeys((*found.get(word.casefold(), ()), *fulls)))
        return found


def may_seem_unlit(least_v: float | None) -> bool:
    """Whether a lamp that moves a sound pin by this least figure may do so unseen by a meter, so that it has to be said to be lit."""
    return least_v is not None and least_v <= 2 * METER_OFF_V


def point_name(at: str) -> str:
    """The name of a probe point without blanks: 'X3.12, towards X1' is X3.12:X1.

    >>> point_name("X3.12, towards X1"), point_name("F52.feed")
    ('X3.12:X1', 'F52.feed')
    """
    point, _, half = at.partition(", ")
    return f"{point}:{half.removeprefix('towards ').replace(', ', '/').replace(' ', '_')}" if half else point


def line_name(bus: str, *lines: str) -> str:
    """A line of a bus, or a pair of lines: `drive:H`, `drive:H-L`; blanks in the name of a bus become `_`.

    >>> line_name("roof lin", "H", "L"), line_name("", "5")
    ('roof_lin:H-L', 'bus:5')
    """
    return f"{bus_in_rows(bus)}:{'-'.join(lines)}"


def gone_name(row: str) -> str:
    """After how many seconds a supply is gone: `ALM.2:+:gone`."""
    return f"{row}:gone"


def to_ground_name(line: str) -> str:
    """The ohms of a line of a bus to ground: `drive:H:ground`."""
    return f"{line}:ground"


def unit_of(name: str, *, is_bus: bool, asleep: bool) -> str:
    """V, ohm or s: what a reading of that name is in. A pair of lines of a bus that is asleep is read in ohms, at whatever place, a single line in volts.

    >>> unit_of("drive:H-L", is_bus=True, asleep=True), unit_of("drive:H", is_bus=True, asleep=True), unit_of("ALM.2:+:gone", is_bus=False, asleep=False)
    ('ohm', 'V', 's')
    >>> unit_of("drive:H-L@X3.19:J1", is_bus=True, asleep=True)
    'ohm'
    """
    if name.endswith(":gone"):
        return "s"
    if name.endswith(":ground"):
        return "ohm"
    return "ohm" if is_bus and asleep and "-" in name.partition("@")[0].rpartition(":")[2] else "V"


__all__ = [
    "BETWEEN_LINES",
    "CRANKING",
    "IS_LIT",
    "LIVE_AT_ONCE",
    "MODULE_ITSELF",
    "MUST_BE_DEAD",
    "NO_LAMP",
    "NO_PLACE",
    "TO_GROUND",
    "TO_ITS_POST",
    "Names",
    "UnknownName",
    "gone_name",
    "line_name",
    "point_name",
    "to_ground_name",
    "unit_of",
]
