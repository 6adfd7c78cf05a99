"""Parts that are used and that no sheet declares: the page that shows them is missing, or the name is a slip."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.kinds import PARTS, PartKind
from tracer.circuit.model import Part
from tracer.circuit.undeclared import Declared, what_to_declare
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import listed, natural
from tracer.trace.rules.registry import EXAMPLE_PARTS, Finding, rule
from tracer.trace.tracing import Tracing


@rule(
    "L162",
    "part that is not declared",
    why="What it is, and what joins its pins, is not known. The page that shows it may be missing, with a supply on it; or the name is a slip of the pen.",
    fix="Declare it under `parts:` of a sheet, or correct the name.",
    bad=EXAMPLE_PARTS
    + "}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- GTW.3  # L162\n",
    good=EXAMPLE_PARTS
    + ", E1: load}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- S1 -- RD 1 -- E1 -- BN 1 -- BAT.-\n",
)
def not_declared(tracing: Tracing) -> Iterator[Finding]:
    """A name that stands somewhere and that no sheet declares: once for each name, with how often it stands where."""
    circuit = tracing.circuit
    declared, modules = Declared(circuit), list(circuit.modules())
    for part in circuit.parts.values():
        if not part.undeclared:
            continue
        nodes = tuple(circuit.pins_of.get(part.name, {}).values())
        beside, fix = what_to_declare(declared, part)
        message = f"`{part.label or part.name}` is not declared{beside}: {_used(tracing, part)}{_guessed(part)}"
        yield Finding(part.place, part.name, message, fix, nodes, (part.name,))
        for module in modules:
            assert isinstance(module.facts, ModuleFacts)
            for level, how in module.facts.gets.items():
                if how == part.name:
                    message = f"{module.name} gets its {level} from `{how}`, which is not declared"
                    yield Finding(module.place_of("gets", level), part.name, message, fix, nodes, (), module.name)


def _used(tracing: Tracing, part: Part) -> str:
    """'used in 3 places (sheets 2 and 5)'."""
    places = part.fragments[0].used
    ids = {
        file.name: sheet.id
        for file, sheet in zip(tracing.circuit.typed.files, tracing.circuit.typed.sheets, strict=True)
    }
    sheets = sorted({ids[place.file] for place in places if place.file in ids}, key=natural)
    files = sorted({place.file for place in places if place.file not in ids})
    shown = [f"sheet{'s' if len(sheets) > 1 else ''} {listed(sheets, joiner='and')}"] if sheets else []
    count = f"{len(places)} place{'s' if len(places) > 1 else ''}"
    return f"used in {count} ({' and '.join([*shown, *files])})"


def _guessed(part: Part) -> str:
    guess = part.fragments[0].guess
    if not guess:
        return ""
    declare = PARTS[PartKind(guess)].declare
    return f"; by its name and use {declare[1].partition(' (')[0] if declare else f'a {guess}'}"
