"""A name that no sheet declares: what to write, without leading the typist to another part.

Most such names are right, and their entry was forgotten. Another name is offered, and then first, only where it may be a slip of the pen and its
part can stand there. A wrong offer that is followed joins two wires that never meet, and nothing shows it.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from functools import cached_property

from tracer.circuit.kinds import FUSE_KINDS, PARTS, LinkKind, PartKind, Written
from tracer.circuit.model import Circuit, Part
from tracer.circuit.parts import pins_known
from tracer.entry.problems import is_letter_for_digit, nearest
from tracer.entry.scalars import NO_FUSE_BELONGS

_RAIL = re.compile(r"(?:kl|t|term|terminal)[-_]?(\d+\w*)", re.IGNORECASE)


MOST_OFFERED = 100  # whoever has more names to mend than this mends those first


class Declared:
    """What is declared in a circuit, looked through once for all names that are not."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.parts = {one.name: one for one in circuit.parts.values() if not one.undeclared}
        self.missing_sheet = _missing_sheet(circuit)
        self.offered = 0
        self._families: dict[str, set[PartKind]] = {}
        for one in self.parts.values():
            self._families.setdefault(re.sub(r"\d", "", one.name), set()).add(one.kind)

    def is_of_a_family(self, name: str) -> bool:
        """Whether other parts differ from the name by their number only, all of one kind."""
        return len(self._families.get(re.sub(r"\d", "", name), ())) == 1

    @cached_property
    def idle(self) -> list[Part]:
        """Fuse positions with nothing on their load side."""
        parts, attached = self.circuit.parts, self.circuit.is_attached
        return [
            parts[link.part]
            for link in self.circuit.links
            if link.kind is LinkKind.FUSE
            and parts[link.part].panel
            and parts[link.part].facts.said("state") not in NO_FUSE_BELONGS
            and attached(link.a)
            and not attached(link.b)
        ]

    @cached_property
    def kinds_in_panels(self) -> set[PartKind]:
        """The kinds of part that sit in a panel."""
        return {part.kind for part in self.parts.values() if part.panel}


def what_to_declare(declared: Declared, part: Part) -> tuple[str, str]:
    """Of a part that no sheet declares: what the pages show beside it, and what to write. A name that stands in several places is no slip."""
    circuit, parts = declared.circuit, declared.parts
    name, rails = part.name, list(circuit.typed.vehicle.rails)
    pins = frozenset(pin for pin in circuit.pins_of.get(name, {}) if not pin.startswith("use ")) - {"", "feed", "load"}
    guess = PartKind(part.fragments[0].guess) if part.fragments[0].guess else None
    declared.offered += 1
    fitting = [one for one in parts.values() if _fits(one, name, pins)] if declared.offered <= MOST_OFFERED else []
    family = declared.is_of_a_family(name)
    fix = _other_number(declared, part, guess) + _declaration(name, part, declared, guess)
    if name.replace(".", "").isdigit():
        fix = f"If it is a rail, name it under `rails:` in vehicle.yaml. {fix}"
    if pins and not family and len(part.fragments[0].used) > 1:
        near = []
    elif pins and not family:
        near = nearest(name, [one.name for one in fitting])
    else:  # one of a family whose entry was forgotten; or one splice or ground point, which looks like the next
        near = [known for known in (*(one.name for one in fitting), *rails) if is_letter_for_digit(name, known)]
    split = name.rpartition("-")
    if split[0] in parts and split[2] in (pins_known(parts[split[0]]) or ()):
        near = [f"{split[0]}.{split[2]}"]
    terminal = _RAIL.fullmatch(name)
    if terminal and terminal[1] in rails and not pins:
        near = [terminal[1]]
    otherwise = fix[0].lower() + fix[1:]
    if near:
        return "", f"Did you mean `{near[0]}`? If not: {otherwise}"
    if gap := declared.missing_sheet:
        sheet, where = gap
        return (
            f", and sheet {sheet} is missing {where}",
            f"Is that page not typed in, or its file gone? If neither: {otherwise}",
        )
    return "", fix


def _missing_sheet(circuit: Circuit) -> tuple[str, str] | None:
    """The one number that is missing among those of the sheets, and where ('5', 'between 4 and 6'); None where none is, or several are."""
    ids = [sheet.id for sheet in circuit.typed.sheets]
    if len(ids) < 3 or not all(one.isdecimal() for one in ids):
        return None
    numbers = {int(one) for one in ids}
    first, last = min(1, *numbers), max(numbers)
    if last - first + 1 - len(numbers) != 1:
        return None
    gap = next(number for number in range(first, last) if number not in numbers)
    return str(gap), f"between {gap - 1} and {gap + 1}" if gap - 1 in numbers else f"before {gap + 1}"


def _other_number(declared: Declared, part: Part, kind: PartKind | None) -> str:
    """A fuse used once, whose number differs in one digit from that of the only position with nothing on its load side: what to compare first."""
    if kind not in FUSE_KINDS or len(part.fragments[0].used) > 1:
        return ""
    idle = declared.idle
    label = (idle[0].label or "") if len(idle) == 1 else ""
    name = part.label or part.name
    if len(label) != len(name) or sum(one != other for one, other in zip(label, name, strict=True)) != 1:
        return ""
    return f"Look at the number on the diagram again: {label} is the only position with nothing on its load side. "


def _fits(part: Part, name: str, pins: Collection[str]) -> bool:
    """Whether a declared part can stand where the name does."""
    if "/" in name:
        return False  # a label of another panel is another fuse
    written, known = PARTS[part.kind].written, pins_known(part)
    if not pins:
        return written in (Written.ALONE, Written.SIDES, Written.LIKE_PINS)
    return written not in (Written.ALONE, Written.NOT) and (known is None or known.issuperset(pins))


def _declaration(name: str, used: Part, declared: Declared, kind: PartKind | None) -> str:
    """How to declare it, as a part of that kind where one is likely."""
    panel, slash, label = (used.panel, "/", used.label) if used.panel else name.rpartition("/")
    if slash:
        return f"A position is declared under `positions` of its panel: `{panel}: {{is: panel, positions: {{{label}: AMPS}}}}`."
    if kind in FUSE_KINDS and kind in declared.kinds_in_panels:
        return f"If it is a {kind}, add it under `positions` of its panel: `{name}: AMPS`."
    declare = PARTS[kind].declare if kind is not None else None
    if declare is not None:
        facts, word = declare
        how = f"`{name}: {facts}` if it is {word}."
    else:
        how = f"`{name}: {{is: KIND}}`; docs/format.md lists the kinds."
    return f"Every part is declared once, under `parts:` of a sheet: {how}"
