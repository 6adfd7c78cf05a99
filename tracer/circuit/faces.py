"""The face of a connector as typed: whether its cavities are there, each once, and whether it is said from which side it is seen."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from tracer.entry.models import ConnectorFacts, ModuleFacts
from tracer.entry.problems import Problem, nearest

if TYPE_CHECKING:
    from tracer.circuit.model import Part

BLANK = "_"


def half_of(viewed: str | None) -> str:
    """'a' of 'wire side a'; empty where no half is named."""
    return (viewed or "").partition(" side")[2].strip()


def cavities_of_half(facts: ConnectorFacts, half: str) -> frozenset[str]:
    """The cavities of one half, as it numbers them."""
    return frozenset(facts.mates.get(one, one) if half == "b" else one for one in facts.cavities)


def check_face(part: Part, problems: list[Problem]) -> None:
    """A face that cannot be read off beside the vehicle is a problem: a wrong one leads to the wrong pin."""
    facts = part.facts
    if not isinstance(facts, ModuleFacts | ConnectorFacts):
        return

    def report(path: tuple[str | int, ...], what: str, fix: str, text: str = "") -> None:
        fragment = next((one for one in part.fragments if one.has(path[:1])), part.fragments[0])
        place = fragment.place_of(path, key=len(path) == 1, text=text)
        problems.append(fragment.file.problem(place, what, fix, text))

    half = half_of(facts.viewed)
    if facts.viewed and not facts.face:
        report(("viewed",), f"{part.name} has no `face` that could be seen from the {facts.viewed}", "Type `face` in as well, such as `face: [[1, 2, 3], [4, _, 6]]`, or take `viewed` away.")  # fmt: skip
        return
    if not facts.face:
        return
    if facts.viewed is None:
        sides = "`viewed: wire side a` (or b), or `mating side a` (or b)" if isinstance(facts, ConnectorFacts) else "`viewed: wire side` or `viewed: mating side`"  # fmt: skip
        report(("face",), f"it is not said from which side the face of {part.name} is seen", f"Write {sides} beside it: seen from the other side, left and right change places.")  # fmt: skip
    elif isinstance(facts, ConnectorFacts) and not half:
        report(("viewed",), f"{part.name} has two halves, and the face of the one is the mirror of the other", f"Write of which half this is the {facts.viewed}: `{facts.viewed} a` or `{facts.viewed} b`.")  # fmt: skip
    elif isinstance(facts, ModuleFacts) and half:
        report(("viewed",), f"{part.name} is a module: its plug has no half {half}", f"Write `{facts.viewed.removesuffix(f' {half}')}`: of the plug on the harness.")  # fmt: skip
    known = frozenset(facts.cavities) if isinstance(facts, ModuleFacts) else cavities_of_half(facts, half)
    times = Counter(one for row in facts.face for one in row if one != BLANK)
    told: set[str] = set()
    for number, row in enumerate(facts.face):
        for pin in row:
            if pin == BLANK or pin in told:
                continue
            told.add(pin)
            if known and pin not in known:
                near = nearest(pin, known)
                report(("face", number), f"{part.name} has no cavity {pin}", (f"Did you mean {near[0]}? " if near else "") + "Correct the face, or add it to `cavities`; a place without a cavity is `_`.", pin)  # fmt: skip
            elif times[pin] > 1:
                last = max(n for n, one in enumerate(facts.face) if pin in one)
                report(("face", last), f"cavity {pin} of {part.name} stands {times[pin]} times in its face", "Each cavity sits in one place: correct one of them; a place without a cavity is `_`.", pin)  # fmt: skip


__all__ = ["BLANK", "cavities_of_half", "check_face", "half_of"]
