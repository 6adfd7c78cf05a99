"""What may be wrong with a bus of the module: every single fault of its lines, of its terminations and of the modules on it, as a change of its network."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product
from typing import Any

from tracer.case.bus_levels import HIGH_SPEED_KEPT, kept_lines
from tracer.case.kept_bus import SUPPLY
from tracer.diagnose.faults import SHORT_OHM, Atom, Fault, OnBus
from tracer.electrics.bus.ohms import ONE_MORE, lost_words, touch_words
from tracer.entry.bus_words import bus_in_rows
from tracer.standards.faults import bus_fails, fails_as, joint_ohms, piece_fails

_TERMINATION_OHM, _LEAST_JOINT_OHM = 120.0, 4.0  # less than that in a line shows in no ohms between the lines


def bus_faults(name: str, kept: Mapping[str, Any], first: int) -> Iterator[tuple[Fault, list[Atom]]]:
    """Every single fault of a bus; `first` is the number of the first one."""
    number = first
    for fault, changes in _faults(name, kept):
        yield fault, [Atom(number, share, buses=(change,)) for share, change in changes]
        number += 1


def _faults(name: str, kept: Mapping[str, Any]) -> Iterator[tuple[Fault, list[tuple[float, OnBus]]]]:
    bus = bus_in_rows(name)
    ohms = [ohm for ohm in joint_ohms() if ohm >= _LEAST_JOINT_OHM]
    both = fails_as("open") + fails_as("joint")
    for n, piece in enumerate(kept["pieces"]):
        where = f"line {piece['line']}: {piece['what']}"
        if not piece["what"] or piece["kind"] == "termination":
            continue
        weight, words = piece_fails(piece["kind"])
        changes = [(fails_as("open") / both, OnBus(name, opens=(n,)))]
        changes += [(fails_as("joint") / both / len(ohms), OnBus(name, adds=((n, ohm),))) for ohm in ohms]
        yield Fault(where, words, (), weight * both, bus), changes
        if piece["kind"] == "wire":
            end = piece["ends"][0]
            for node, how, to in ((0, "short", "battery negative"), (SUPPLY, "fed", "a supply")):
                yield Fault(f"{where} on {to}", "chafed through", (), weight * fails_as(how), bus), [(1.0, OnBus(name, joins=((end, node, SHORT_OHM),)))]  # fmt: skip
    if kept.get("kind", HIGH_SPEED_KEPT) == HIGH_SPEED_KEPT:
        yield from _terminations(name, kept)
    for n, piece in enumerate(kept["pieces"]):
        if piece["kind"] == "pull" and piece["of"] == [kept["commander"]]:
            weight, words = bus_fails("commander")
            yield Fault(f"{kept['commander']} does not hold the line up", words, (), weight, bus, kept["commander"]), [(1.0, OnBus(name, opens=(n,)))]  # fmt: skip
    yield from _changed_over(name, kept)
    weight, words = bus_fails("touch")
    for at, one in kept["at"].items():
        if not one["of"] and is_pair(one):
            yield Fault(touch_words(at.partition('@')[2]), words, (), weight, bus), [(1.0, OnBus(name, joins=((*one["ends"], SHORT_OHM),)))]  # fmt: skip
    weight, words = bus_fails("module")
    for module, facts in kept["modules"].items():
        nodes = dict(zip(kept_lines(kept), facts["at"], strict=True))
        said = {"the lines touch": tuple(facts["at"])} if len(nodes) == 2 else {}
        grounds = product((("battery negative", 0), ("a supply", SUPPLY)), nodes.items())
        said |= {f"line {line} on {what}": (node, to) for (what, to), (line, node) in grounds}
        for what, (a, b) in said.items():
            yield Fault(f"{what} inside {module} or at its plug", words, (), weight / len(said), bus, module), [(1.0, OnBus(name, joins=((a, b, SHORT_OHM),), inside=module))]  # fmt: skip


def is_pair(at: Mapping[str, Any]) -> bool:
    """Whether at a place both lines are read against each other, not one by itself or along itself."""
    return len(dict.fromkeys(at.get("lines", ("H", "L")))) == 2


def _changed_over(name: str, kept: Mapping[str, Any]) -> Iterator[tuple[Fault, list[tuple[float, OnBus]]]]:
    """Lines H and L changed over at the plug of a module, or in a connector that both run through."""
    bus, (weight, words) = bus_in_rows(name), bus_fails("changed over")
    if kept_lines(kept) != ("H", "L"):
        return
    for module, facts in kept["modules"].items():
        found = [[n for n, piece in enumerate(kept["pieces"]) if piece["line"] == line and piece["what"] and piece["kind"] not in ("termination", "joined") and node in piece["ends"]] for line, node in zip("HL", facts["at"], strict=True)]  # fmt: skip
        if [len(some) for some in found] == [1, 1]:
            yield Fault(f"H and L changed over at the plug of {module}", words, (), weight, bus), [(1.0, _swapped(name, kept, found[0][0], found[1][0], facts["at"]))]  # fmt: skip
    for part in dict.fromkeys(part for piece in kept["pieces"] if piece["kind"] == "mating" for part in piece["of"]):
        here = {line: [n for n, piece in enumerate(kept["pieces"]) if piece["kind"] == "mating" and part in piece["of"] and piece["line"] == line] for line in "HL"}  # fmt: skip
        # a connector that the bus runs through twice has its contacts in the same order on both lines
        ways = [(one, other) for one, other in zip(here["H"], here["L"], strict=False) if len(here["H"]) == len(here["L"])]  # fmt: skip
        if ways:
            changes = [(1.0 / len(ways), _swapped(name, kept, one, other, None, part)) for one, other in ways]
            yield Fault(f"H and L changed over in {part}", words, (), weight, bus), changes


def _swapped(name: str, kept: Mapping[str, Any], high: int, low: int, first: list[int] | None, inside: str = "") -> OnBus:  # fmt: skip
    """Two pieces open, and new ones cross over in their place, gone with a connector that is parted; `first`: the ends at a module, where known."""
    (a, b), (c, d) = (kept["pieces"][n]["ends"] for n in (high, low))
    if first is not None:
        (a, b), (c, d) = ((a, b) if a == first[0] else (b, a)), ((c, d) if c == first[1] else (d, c))
    ohm = kept["pieces"][high]["ohm"][1]
    return OnBus(name, opens=(high, low), joins=((a, d, ohm), (c, b, ohm)), inside=inside, over=True)


def _terminations(name: str, kept: Mapping[str, Any]) -> Iterator[tuple[Fault, list[tuple[float, OnBus]]]]:
    bus = bus_in_rows(name)
    for n, piece in enumerate(kept["pieces"]):
        if piece["kind"] == "termination":
            module = piece["what"] if piece["what"] in kept["modules"] else ""
            weight, words = bus_fails("termination in a module" if module else "termination")
            yield Fault(lost_words(piece['what']), words, (), weight, bus, module), [(1.0, OnBus(name, opens=(n,)))]  # fmt: skip
    weight, words = bus_fails("variant")
    for module, facts in kept["modules"].items():
        if not facts["terminates"]:
            change = OnBus(name, joins=((*facts["at"], _TERMINATION_OHM),), inside=module)
            yield Fault(f"{module} has a termination", words, (), weight, bus, module), [(1.0, change)]
    free = [one["ends"] for one in kept["at"].values() if not one["of"] and is_pair(one)]
    weight, words = bus_fails("added")
    if free:
        yield Fault(ONE_MORE, words, (), weight, bus), [(1.0 / len(free), OnBus(name, joins=((*ends, _TERMINATION_OHM),))) for ends in free]  # fmt: skip


__all__ = ["bus_faults", "is_pair"]
