"""The worksheet as plain values: strips of boxes, and one line for each pin."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from tracer.plan.values import Face
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.lists.results import LooseEnd
from tracer.trace.minding import NOTHING, Minding


@dataclass(frozen=True, slots=True)
class Box:
    """One thing to write down, or to tick. `unit` is V, Ω, s, tick or words; `ask` stands before the box, `expect` behind it.

    `plug` says whether the module is plugged in; empty where it does not matter. `decides`: it counts among the tests. `out`: what is pulled or
    loosened meanwhile, where one of several parallel ways is tried alone. `name` is what it is read by where that is not the row of its pin.
    """

    row: str
    ask: str
    unit: str
    expect: str = ""
    key: str = ""
    plug: str = ""
    point: str = ""
    decides: bool = False
    out: tuple[str, ...] = ()
    name: str = ""


@dataclass(frozen=True, slots=True)
class Strip:
    """One step of the worksheet: its number, what is done, what makes it safe, and its boxes in order."""

    number: int
    title: str
    safe: str
    boxes: tuple[Box, ...]


@dataclass(frozen=True, slots=True)
class PinLine:
    """A pin over the whole width: its boxes by step; `splits` are used only where it fails. `says` stands in place of the tests."""

    name: str
    point: str
    wire: str
    way: str
    key: str = ""
    lamp: str = ""
    plugged: Box | None = None
    start: Box | None = None
    bare: Box | None = None
    loaded: Box | None = None
    lit: Box | None = None  # where the volts do not show that the lamp was lit
    dead: tuple[Box, ...] = ()
    splits: tuple[Box, ...] = ()
    says: str = ""

    def boxes_of(self, step: int) -> tuple[Box, ...]:
        """The boxes of one step."""
        by_step = {
            PLUGGED: (self.plugged,),
            START: (self.start,),
            ALONE: (self.bare, self.loaded, self.lit, *self.splits),
            DEAD: self.dead,
        }
        return tuple(box for box in by_step.get(step, ()) if box is not None)


@dataclass
class WorksheetInWords(Answer):
    """The whole worksheet. `before` are the strips above the pins, `after` those below."""

    vehicle: str
    module: str
    name: str
    place: str
    access: str
    system: str
    completeness: Completeness
    list_words: str
    edition: str  # the mark of the list
    marks: dict[str, str]  # of each row, by its full name
    full_names: dict[str, str]  # of rows, by the short name
    titles: dict[int, str]  # of the steps that the lines of pins belong to
    dead_keys: tuple[str, ...]  # the key states in which some pin must be dead
    before: tuple[Strip, ...]
    pins: tuple[PinLine, ...]
    after: tuple[Strip, ...]
    loose: tuple[LooseEnd, ...] = ()
    marked: tuple[str, ...] = ()  # what is loose, assumed or doubtful, one line each
    hazards: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    faces: tuple[Face, ...] = ()
    minding: Minding = NOTHING
    sheets: tuple[str, ...] = field(default=())

    @property
    def steps(self) -> Iterator[tuple[int, str, str, tuple[Box, ...], PinLine | None]]:
        """Every box in the order of the work: number, title and safety of its step, and the line that it belongs to."""
        strips = {strip.number: strip for strip in (*self.before, *self.after)}
        for number in STEPS:
            strip = strips.get(number)
            title, safe = (strip.title, strip.safe) if strip else (self.titles.get(number, ""), "")
            for pin in self.pins:
                if boxes := pin.boxes_of(number):
                    yield number, self.titles.get(number, title), safe, boxes, pin
            if strip:
                yield number, title, safe, strip.boxes, None

    @property
    def tests(self) -> int:
        """How many of the boxes decide: so many tests there are."""
        return sum(box.decides for _, _, _, boxes, _ in self.steps for box in boxes)

    @property
    def status(self) -> str:
        """'Wiring list complete; tested 0 of 31': a list that is complete is not a vehicle that is in order."""
        return f"Wiring list {self.list_words}; tested 0 of {self.tests}"


STEPS = LOOK, BASE, PLUGGED, START, KEY_OFF, ALONE, LEGS, DEAD, ASLEEP = tuple(range(9))
"""The steps in the order of the work: the module is unplugged once, and the bus is measured last, asleep."""


__all__ = ["ALONE", "ASLEEP", "BASE", "DEAD", "KEY_OFF", "LEGS", "LOOK", "PLUGGED", "START", "STEPS", "Box", "PinLine", "Strip", "WorksheetInWords"]  # fmt: skip
