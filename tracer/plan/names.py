"""How rows and points are called, in one place: by the pin.

A row is its pin: in full `ALM.2:+` (a supply) or `ALM.1:-` (a ground); no name may hold a colon. In short `2+`, `1-` where no part and no pin of the
vehicle is called so. A row of another part (a side chain) is short by its point, `KAL.85`. A point is `F52.feed`, a half of a cavity `X3.12:X1` (the half
towards X1), a pin without a row `ALM.19`, a line of a bus `drive:H`, both lines together `drive:H-L`, a line to ground in ohms `drive:H:ground`, the seconds after which a
supply is gone `2+:gone`.

A word is found as typed in other letters, with the panel before a position (`FPE.F52.feed`), and a pin by itself where it has one row (`2`). A word that
could mean two things is refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from tracer.circuit.model import Circuit
from tracer.entry.bus_words import bus_as_called
from tracer.entry.problems import CannotAnswer
from tracer.plan.values import Kind, Step
from tracer.plan.words import Names, UnknownName, gone_name, line_name, point_name, to_ground_name
from tracer.trace.lists.results import Row, SupplyReport

_SIGN = {"supply": "+", "ground": "-"}


def full_name(row: Row) -> str:
    """'ALM.2:+', which nothing else can be called."""
    return f"{row.point}:{_SIGN[row.level]}"


def names_of(circuit: Circuit, report: SupplyReport) -> Names:
    """The names of a module's list: rows, probe points, the module's other pins, the lines of its buses."""
    taken = {*circuit.parts, *circuit.short_names, *circuit.node_pins}
    short: dict[str, str] = {}
    words: dict[str, dict[str, None]] = {}

    def call(full: str, *said: str) -> None:
        for word in (full, *said):
            words.setdefault(word, {})[full] = None

    rows = {full_name(row): row for row in report.rows}
    at_point: dict[str, list[str]] = {}
    for full, row in rows.items():
        at_point.setdefault(row.point, []).append(full)
    for full, row in rows.items():
        own, by_pin = row.part == report.module, f"{row.pin}{_SIGN[row.level]}"
        if own:
            short[full] = full if by_pin in taken else by_pin
            call(full, *([by_pin] if by_pin not in taken else []), *([row.pin] if row.pin not in circuit.parts else []))
        else:
            short[full] = row.point if len(at_point[row.point]) == 1 else full
        call(full, row.point)
    for at in dict.fromkeys(probe.at for row in report.rows for probe in row.probes):
        if at not in at_point:
            name = point_name(at)
            short[name] = name
            call(name, at, *_before_panel(circuit, name), *([name.partition(":")[0]] if ":" in name else []))
    for cavity in report.census:
        point = f"{report.module}.{cavity.pin}"
        if point not in at_point and cavity.kind != "unused":
            short.setdefault(point, point)
            call(point, *([cavity.pin] if cavity.pin not in circuit.parts else []))
    for full, said in _lines(report):
        short[full] = full
        call(full, *said)
    for row in report.supplies:
        full, gone = full_name(row), gone_name(full_name(row))
        short[gone] = gone_name(short[full])
        call(gone, *(gone_name(word) for word, meant in words.items() if full in meant))
    return Names(short, {word: tuple(fulls) for word, fulls in words.items()})


def step_name(step: Step) -> str:
    """The full name of what a step measures: the row of a pin, a point, a line of a bus; `battery` for the posts."""
    if step.kind is Kind.BATTERY:
        return "battery"
    if step.coded is not None and not step.coded.is_pin:
        return point_name(step.point)
    if step.rows and step.kind is not Kind.COIL:
        return full_name(step.row)
    return step.point


def bus_pins_of(report: SupplyReport) -> dict[str, dict[str, str]]:
    """The lines of each bus of a module, each with its pin."""
    found: dict[str, dict[str, str]] = {}
    for cavity in report.census:
        if cavity.kind == "bus":
            bus, line = bus_as_called(cavity.declared)
            found.setdefault(bus, {}).setdefault(line or cavity.pin, cavity.pin)
    return found


def _lines(report: SupplyReport) -> Iterator[tuple[str, Iterable[str]]]:
    """Each line of each bus of the module and each pair of lines, with the words that may be typed for it."""
    for bus, pins in bus_pins_of(report).items():
        for line, pin in pins.items():
            yield line_name(bus, line), ()
            yield to_ground_name(line_name(bus, line)), (to_ground_name(pin), to_ground_name(f"{report.module}.{pin}"))
        for one, other in combinations(pins, 2):
            pair = f"{pins[one]}-{pins[other]}"
            yield line_name(bus, one, other), (line_name(bus, other, one), pair, f"{report.module}.{pair}")


def _before_panel(circuit: Circuit, name: str) -> Iterator[str]:
    """'FPE.F52.feed' for a position whose panel is not in its name."""
    part = circuit.parts.get(name.partition(".")[0])
    if part is not None and part.panel is not None and "/" not in part.name:
        yield f"{part.panel}.{name}"


# --- rows as typed behind --load ---------------------------------------------------------------------------------------


def rows_by_word(circuit: Circuit, report: SupplyReport, typed: Iterable[str]) -> dict[str, Row]:
    """Every row of a list by each word that means it and nothing else: its names and its code; and by those of the typed words that do so in other letters.

    Raises
    ------
    UnknownName : one of the typed words could mean two things, such as G1 where a ground point is called so
    """
    names = names_of(circuit, report)
    rows = {full_name(row): row for row in report.rows}
    found = {row.code: row for row in report.rows if not _is_a_part(circuit, row.code)}
    found |= {word: rows[full[0]] for word, full in names.words.items() if len(full) == 1 and full[0] in rows}
    codes = {row.code: row for row in report.rows}
    for word in typed:
        if word in codes and _is_a_part(circuit, word):
            name = names.short[full_name(codes[word])]
            raise UnknownName(f"{word} could mean the row {name} or the part {word}: write {name} for the row.")
        if word not in found and names.means_something(word) and (full := names.find(word)) in rows:
            found[word] = rows[full]
    return found


def _is_a_part(circuit: Circuit, word: str) -> bool:
    spelt = circuit.spelt(word)
    return spelt in circuit.parts or spelt in circuit.short_names


def rows_of(report: SupplyReport, pin: str) -> tuple[Row, ...]:
    """The rows of one pin of the module, also typed as `2+`, `1-`, in full or with the module's name before it; both of a pin that has two.

    Raises
    ------
    CannotAnswer : it is no pin of this list; the message says what it is or which there are
    """
    own = (*report.supplies, *report.grounds, *report.carrying)
    words = {
        row.code: (row.pin, f"{row.pin}{_SIGN[row.level]}", row.point, f"{row.point}{_SIGN[row.level]}", full_name(row))
        for row in own
    }
    found = tuple(row for row in own if pin in words[row.code])
    found = found or tuple(row for row in own if pin.casefold() in (word.casefold() for word in words[row.code]))
    if found:
        return found
    name = pin.removeprefix(f"{report.module}.")
    cavity = next((cavity for cavity in report.census if name in (cavity.pin, *(f"{cavity.pin}{sign}" for sign in _SIGN.values()))), None)  # fmt: skip
    if cavity is not None:
        said = f", declared `{cavity.declared}`" if cavity.declared else ""
        if cavity.kind in ("supply", "ground"):
            raise CannotAnswer(f"{report.module}.{cavity.pin} is {cavity.kind}{said}, and its way is not known: `tracer missing {report.module}` says what to type in.")  # fmt: skip
        raise CannotAnswer(f"{report.module}.{cavity.pin} is {cavity.kind}{said}: no supply or ground is traced to it.")
    raise CannotAnswer(
        f"{report.module} has no pin {pin} here. Pins with a way: {', '.join(row.pin for row in own) or 'none'}."
    )


__all__ = [
    "Names",
    "UnknownName",
    "bus_pins_of",
    "full_name",
    "line_name",
    "names_of",
    "point_name",
    "rows_by_word",
    "rows_of",
    "step_name",
]
