"""Wires and parts to the text of sheets, as a person would have typed them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping

from tracer.entry.models import KINDS, LoadFacts
from tracer.entry.part_kinds import PartKind
from tracer.entry.problems import natural
from tracer.entry.wire_lists.kinds import Found
from tracer.entry.wire_lists.rows import Taken
from tracer.standards.colours import ColourSystem

_PLAIN = re.compile(r"^[A-Za-z0-9](?:[\w +./()<>=²-]|:[ab](?= |$))*$", re.ASCII)
_WORD = re.compile(r"^[A-Za-z0-9][\w/+-]*$", re.ASCII)


def scalar(text: str) -> str:
    """A text as YAML: plain where nothing in it can be read as something else, in quotes otherwise."""
    return text if _PLAIN.match(text) and text == text.strip() else json.dumps(text, ensure_ascii=False)


def word(text: str) -> str:
    """A name or pin as YAML, inside brackets too."""
    return text if _WORD.match(text) else json.dumps(text, ensure_ascii=False)


def sheet_text(sheet: str, listed_in: str, parts: Iterable[Found], wires: Iterable[Taken]) -> str:
    """One sheet: its head, the parts declared on it, its wires in the order of the list."""
    lines = [f"sheet: {word(sheet)}", f"title: {scalar(f'taken in from {listed_in}')}"]
    declared = _declared(parts)
    lines += ["parts:", *(f"  {line}" for line in declared)] if declared else []
    runs = [line for wire in wires for line in _run(wire)]
    lines += ["runs:", *runs] if runs else []
    return "\n".join(lines) + "\n"


def _run(wire: Taken) -> list[str]:
    run = scalar(f"{wire.a.typed()} -- {wire.wire} -- {wire.b.typed()}")
    if not wire.note and not wire.seen:
        return [f"  - {run}"]
    lines = [f"  - run: {run}"]
    lines += [f"    seen: {wire.seen}"] if wire.seen else []
    return [*lines, f"    note: {scalar(wire.note)}"] if wire.note else lines


def _declared(parts: Iterable[Found]) -> list[str]:
    lines: list[str] = []
    panels: dict[str, list[Found]] = {}
    for part in sorted(parts, key=lambda part: natural(part.name)):
        if part.panel:
            panels.setdefault(part.panel, []).append(part)
        else:
            lines.append(f"{word(part.name)}: {_facts(part)}")
    for panel, positions in panels.items():
        lines += [f"{word(panel)}:", "  is: panel", "  positions:"]
        lines += [f"    {word(one.name.partition('/')[2])}: {_facts(one)}" for one in positions]
    return lines


def _facts(part: Found) -> str:
    """What the list says of a part, as one mapping; a connector's and a module's cavities are not known by it."""
    facts: dict[str, str] = {"is": part.kind}
    if part.listed and part.listed != part.name:
        facts["name"] = json.dumps(part.listed, ensure_ascii=False)
    if part.guess:
        facts["guess"] = word(part.guess) if _WORD.match(part.guess) else _quoted_if_needed(part.guess)
    if part.kind in (PartKind.SPLICE, PartKind.GROUND) and part.pins:
        facts["lugs"] = pins_text(part.pins)
    elif part.kind is PartKind.JOINT:
        facts["cavities"] = pins_text(part.pins)
        if part.several:
            facts["several"] = pins_text(part.several)
    elif issubclass(KINDS[part.kind], LoadFacts) and not set(part.pins) <= {"1", "2"}:
        facts["pins"] = pins_text(part.pins)
    elif part.kind is PartKind.CONVERTER and "return" in part.pins:
        facts["return"] = "unknown"
    elif part.mates:
        facts["mates"] = f"{{{', '.join(f'{word(a)}: {word(b)}' for a, b in part.mates.items())}}}"
    return f"{{{', '.join(f'{key}: {text}' for key, text in facts.items())}}}"


def pins_text(pins: Iterable[str]) -> str:
    """A list of pins; those with a dash in their names by what stands before it, since `CN8-3` in a list would be a range."""
    behind: dict[str, list[str]] = {}
    for pin in pins:
        before, dash, last = pin.rpartition("-")
        behind.setdefault(before + dash, []).append(last)
    lists = {before: f"[{', '.join(word(pin) for pin in several)}]" for before, several in behind.items()}
    return (
        lists[""]
        if set(lists) == {""}
        else f"{{{', '.join(f'{word(before)}: {one}' for before, one in lists.items())}}}"
    )


def _quoted_if_needed(text: str) -> str:
    return text if re.fullmatch(r"[A-Za-z][\w ]*", text, re.ASCII) else json.dumps(text, ensure_ascii=False)


def vehicle_text(name: str, colours: ColourSystem, rails: Iterable[str]) -> str:
    """A vehicle.yaml for a folder that has none; rails that the list names are there, and not known when they are live."""
    lines = [f"vehicle: {scalar(name)}", f"colours: {colours}"]
    typed = [f"  {word(rail) if not rail.isdecimal() else json.dumps(rail)}: unknown" for rail in rails]
    return "\n".join([*lines, *(["rails:", *typed] if typed else [])]) + "\n"


def pages(wires: Iterable[Taken], otherwise: str) -> Mapping[str, list[Taken]]:
    """The wires by the page they are on; `otherwise` where a row names none."""
    found: dict[str, list[Taken]] = {}
    for wire in wires:
        found.setdefault(wire.sheet or otherwise, []).append(wire)
    return found
