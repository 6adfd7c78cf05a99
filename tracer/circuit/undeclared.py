"""A name in a run that no sheet declares: what to write, without leading the typist to another part.

Most such names are right, and their entry was forgotten: so that comes first. Another name is offered only where it may be a slip of the pen and its
part can stand there. A wrong offer that is followed joins two wires that never meet, and nothing shows it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from tracer.circuit.kinds import FUSE_KINDS, PARTS, PartKind, Written
from tracer.circuit.model import Part
from tracer.entry.problems import is_letter_for_digit, nearest
from tracer.entry.runs import Point

_RAIL = re.compile(r"(?:kl|t|term|terminal)[-_]?(\d+\w*)", re.IGNORECASE)


def undeclared(
    point: Point,
    parts: Mapping[str, Part],
    rails: Iterable[str],
    pins_known: Mapping[str, frozenset[str] | None],
    uses: int = 1,
) -> tuple[str, str]:
    """What is wrong with a point whose name is neither a part nor a rail, and what to write; a name that stands in several places (`uses`) is no slip."""
    name, rails = point.part, list(rails)
    fitting = [part for part in parts.values() if _fits(part, point, pins_known.get(part.name))]
    kind = _kind_of_letters(name, parts, fitting)
    fix = _declaration(name, parts, kind)
    if name.replace(".", "").isdigit():
        fix = f"If it is a rail, name it under `rails:` in vehicle.yaml. {fix}"
    if point.pin and not kind and uses > 1:
        near = []
    elif point.pin and not kind:
        near = nearest(name, [part.name for part in fitting])
    else:  # one of a family whose entry was forgotten; or one splice or ground point, which looks like the next
        near = [known for known in (*(part.name for part in fitting), *rails) if is_letter_for_digit(name, known)]
    split = name.rpartition("-")
    if split[0] in parts and split[2] in (pins_known.get(split[0]) or ()):
        near = [f"{split[0]}.{split[2]}"]
    terminal = _RAIL.fullmatch(name)
    if terminal and terminal[1] in rails and not point.pin:
        near = [terminal[1]]
    return f"there is no part or rail `{name}`", f"{fix} Or did you mean `{near[0]}`?" if near else fix


def _fits(part: Part, point: Point, pins: frozenset[str] | None) -> bool:
    """Whether a part can stand where the point stands."""
    if "/" in point.part:
        return False  # a label of another panel is another fuse
    written = PARTS[part.kind].written
    if point.half or point.mate:
        return written is Written.CAVITY
    if point.pin is None:
        return written in (Written.ALONE, Written.SIDES, Written.LIKE_PINS)
    return written not in (Written.ALONE, Written.NOT) and (pins is None or point.pin in pins)


def _kind_of_letters(name: str, parts: Mapping[str, Part], fitting: list[Part]) -> PartKind | None:
    """The kind of all parts whose names differ from this one by their number only, where such a part can stand there."""
    letters = re.sub(r"\d", "", name)
    family = [part for part in parts.values() if re.sub(r"\d", "", part.name) == letters]
    kinds = {part.kind for part in family}
    return kinds.pop() if len(kinds) == 1 and any(part in fitting for part in family) else None


def _declaration(name: str, parts: Mapping[str, Part], kind: PartKind | None) -> str:
    """How to declare it, as a part of that kind where one is known."""
    panel, slash, label = name.rpartition("/")
    if slash:
        return f"A position is declared under `positions` of its panel: `{panel}: {{is: panel, positions: {{{label}: AMPS}}}}`."
    if kind in FUSE_KINDS and any(part.panel for part in parts.values() if part.kind == kind):
        return f"If it is a {kind}, add it under `positions` of its panel: `{name}: AMPS`."
    declare = PARTS[kind].declare if kind is not None else None
    if declare is not None:
        facts, word = declare
        return f"Every part is declared once, under `parts:` of a sheet: `{name}: {facts}` if it is {word}."
    return f"Every part is declared once, under `parts:` of a sheet: `{name}: {{is: KIND}}`; docs/format.md lists the kinds."
