"""The registry of audit rules: one function each, with code, title, reason, cure and an example of both.

A rule takes a `Tracing` and yields `Finding`s. L rules name loose ends, R rules remarks; a code is never used again for something else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from types import MappingProxyType

from tracer.circuit.model import Part
from tracer.entry.problems import Place
from tracer.trace.tracing import Tracing

# What most examples of a rule begin with.
EXAMPLE_PARTS = (
    "parts: {ALM: {is: module, cavities: [4], pins: {4: supply}}, BAT: battery, F9: {is: fuse, amps: 10}, S1: splice"
)
EXAMPLE_PLACED = (
    "parts: {ALM: {is: module, at: floor, cavities: [4], pins: {4: supply}}, BAT: {is: battery, at: bay}, "
    "F9: {is: fuse, amps: 10, at: bay}, S1: {is: splice, at: floor}"
)
EXAMPLE_RUNS = "runs:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a rule found.

    `nodes` and `parts` say where in the circuit it lies, `module` which module's census it belongs to; with these a module's list picks what concerns it.
    """

    place: Place
    at: str
    message: str
    fix: str
    nodes: tuple[int, ...] = ()
    parts: tuple[str, ...] = ()
    module: str = ""
    code: str = ""


def at_pin(part: Part, pin: str, node: int | None, says: str, fix: str = "") -> Finding:
    """What is wrong at a pin of a module, where the pin is declared; `says` follows its name."""
    nodes = () if node is None else (node,)
    at = f"{part.name}.{pin}"
    return Finding(part.place_of("pins", pin, key=True), at, f"{at} {says}", fix, nodes, module=part.name)


# A file that is not read, a page that holds nothing, a part that is not declared: in this order before all else.
CAUSES = ("L131", "L136", "L162")

# What contradicts itself is wrong for certain: before what is only missing.
CONTRADICTIONS = ("L102", "L103", "L104", "L117", "L119")

# A pin or a coil that lacks its supply or ground: nearly always because of another loose end, so these come last; so does a run typed twice, where one of
# the two was meant for a pin that has none.
CONSEQUENCES = ("L114", "L115", "L127", "L128", "L133", "L165")

RuleFunction = Callable[[Tracing], Iterator[Finding]]


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule and its reason. `bad` is a small sheet on which it must speak, `good` one on which it must not."""

    code: str
    title: str
    why: str
    fix: str
    bad: str
    good: str
    find: RuleFunction

    @property
    def grade(self) -> str:
        """`loose end` or `remark`."""
        return "loose end" if self.code.startswith("L") else "remark"


_RULES: dict[str, Rule] = {}
RULES: Mapping[str, Rule] = MappingProxyType(_RULES)


def rule(code: str, title: str, *, why: str, fix: str, bad: str, good: str) -> Callable[[RuleFunction], RuleFunction]:
    """Register a rule.

    Raises
    ------
    ValueError : the code is taken, or is not L or R and three digits
    """
    if code in _RULES:
        raise ValueError(f"rule {code} is already registered as {_RULES[code].title!r}")
    if len(code) != 4 or code[0] not in "LR" or not code[1:].isdigit():
        raise ValueError(f"a rule code is L or R and three digits, not {code!r}")

    def register(function: RuleFunction) -> RuleFunction:
        _RULES[code] = Rule(code, title, why, fix, bad, good, function)
        return function

    return register


def findings_of(tracing: Tracing, rules: Iterable[Rule]) -> list[Finding]:
    """Everything the rules find, in file order; what is missing as a whole comes first, since the rest may follow from it."""
    found = []
    circuit = tracing.circuit
    undeclared = {
        name: {*circuit.pins_of.get(name, {}).values()} for name, part in circuit.parts.items() if part.undeclared
    }
    for one in rules:
        for finding in one.find(tracing):
            if one.code not in CAUSES and _follows(finding, undeclared):
                continue
            found.append(
                Finding(
                    finding.place,
                    finding.at,
                    finding.message,
                    finding.fix or one.fix,
                    finding.nodes,
                    finding.parts,
                    finding.module,
                    one.code,
                )
            )
    return sorted(found, key=lambda one: (rank(one.code), one.place.order, one.code, one.at))


def rank(code: str) -> int:
    """What is mended first: what is missing as a whole, since the rest may follow from it; then what contradicts itself; last what follows from something else."""
    if code in CAUSES:
        return CAUSES.index(code)
    return len(CAUSES) + (0 if code in CONTRADICTIONS else 2 if code in CONSEQUENCES else 1)


def _follows(finding: Finding, undeclared: Mapping[str, set[int]]) -> bool:
    """Whether a finding is about a part that is not declared, and about nothing else: that part is a loose end itself."""
    about = finding.parts or ((finding.at,) if not finding.module else ())
    return len(about) == 1 and about[0] in undeclared and undeclared[about[0]].issuperset(finding.nodes)


def loose_ends(tracing: Tracing) -> list[Finding]:
    """Every loose end of the vehicle, in file order."""
    return _graded(tracing, "loose end")


def remarks(tracing: Tracing) -> list[Finding]:
    """Every remark about the vehicle, in file order."""
    return _graded(tracing, "remark")


def _graded(tracing: Tracing, grade: str) -> list[Finding]:
    """The findings of one grade, worked out once for each tracing."""
    if grade not in tracing.findings:
        tracing.findings[grade] = findings_of(tracing, [one for one in all_rules() if one.grade == grade])
    return tracing.findings[grade]


def all_rules() -> tuple[Rule, ...]:
    """Every rule, by code."""
    _load_rules()
    return tuple(one for _, one in sorted(_RULES.items()))


def _load_rules() -> None:
    """Import every file of this folder: that registers its rules, so that no list of files can miss one."""
    for file in sorted(Path(__file__).parent.glob("*.py")):
        if file.stem != "__init__":
            import_module(f"{__package__}.{file.stem}")
