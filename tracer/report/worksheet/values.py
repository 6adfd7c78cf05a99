"""The form as plain values: batches of what is to be read, each with its words."""

from __future__ import annotations

from dataclasses import dataclass, field

from tracer.plan.values import Computed
from tracer.standards import figures
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.lists.results import LooseEnd
from tracer.trace.minding import NOTHING, Minding


@dataclass(frozen=True, slots=True)
class ToRead:
    """One line of the form. `boxes` says which of volts, loaded, drop, ohms are to be filled; `must`: it decides, and gets a heavy border.

    `computed` has the numbers behind `expected` and `limit`, one for each box that has some; `lamp_w` is the lamp of the loaded box.
    """

    code: str
    point: str
    side: str
    wire: str
    comes_from: str
    expected: str
    limit: str
    source: int  # number in `Worksheet.sources`, 0 for none
    boxes: frozenset[str]
    must: bool = False
    lamp: str = ""
    note: str = ""
    kind: str = "point"  # battery | point | alone | coil | bus | fit
    computed: tuple[Computed, ...] = ()
    lamp_w: float | None = None
    no_method: bool = False  # nothing is measured there
    name: str = ""  # of the row, point or line that is measured, see `plan/names.py`

    @property
    def lamp_box(self) -> str:
        """What stands in the box for the reading with the lamp on."""
        return "lamp" if self.lamp_w is None else figures.stated(self.lamp_w, "W")


@dataclass(frozen=True, slots=True)
class Batch:
    """What is to be read at one place in one key state with the module plugged in or not."""

    place: str
    access: str
    key: str
    plugged: bool
    load: str
    other_lead: str
    helper: str
    to_read: tuple[ToRead, ...]

    @property
    def plug_words(self) -> str:
        return "module plugged in and working" if self.plugged else "module UNPLUGGED"


@dataclass
class Worksheet(Answer):
    """The whole form."""

    vehicle: str
    module: str
    name: str
    place: str
    system: str
    status: str
    completeness: Completeness
    keys: tuple[str, ...]
    conditions: tuple[str, ...]
    cautions: tuple[str, ...]
    loose: tuple[LooseEnd, ...]
    notes: tuple[str, ...]
    sheets: tuple[str, ...]
    rests_on: str = ""  # what the computed values rest on
    not_computed: tuple[str, ...] = ()  # key states without values, with the reason
    batches: list[Batch] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)
    minding: Minding = NOTHING
    edition: str = ""  # the mark of the list that it was made from
