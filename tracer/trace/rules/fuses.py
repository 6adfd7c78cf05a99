"""Fuses without a feed or a load, and positions that are not known or not as their panel says."""

from __future__ import annotations

from collections.abc import Iterator

from tracer.circuit.model import FUSE_KINDS, Circuit, Link, LinkKind, Part
from tracer.entry.models import FuseFacts
from tracer.entry.scalars import NO_FUSE_BELONGS
from tracer.standards import figures
from tracer.trace.rules.registry import EXAMPLE_PARTS, EXAMPLE_RUNS, Finding, rule
from tracer.trace.tracing import Tracing


def _fuse_ends(circuit: Circuit) -> Iterator[tuple[Part, FuseFacts, Link, bool, bool]]:
    for link in circuit.links:
        if link.kind is LinkKind.FUSE:
            part = circuit.parts[link.part]
            assert isinstance(part.facts, FuseFacts)
            yield part, part.facts, link, circuit.is_attached(link.a), circuit.is_attached(link.b)


@rule(
    "L108",
    "nothing on the load side of a fuse",
    why="A fitted fuse serves something. What it serves is not typed in, so nobody knows which module misses it.",
    fix="Type in the run from its load side; or set the position to `empty`, or its `state` to `option`.",
    bad=EXAMPLE_PARTS + "}  # L108\nruns:\n- BAT.+ -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- S1 -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def fuse_without_load(tracing: Tracing) -> Iterator[Finding]:
    """A fuse that is fed but serves nothing typed in."""
    for part, facts, link, fed, loaded in _fuse_ends(tracing.circuit):
        if fed and not loaded and facts.state not in NO_FUSE_BELONGS:
            rating = f" ({figures.stated(facts.amps, 'A')})" if facts.amps else ""
            yield Finding(
                part.place,
                f"{part.name}.load",
                f"{part.name}{rating}: nothing on its load side yet",
                "",
                (link.b,),
                (part.name,),
            )


@rule(
    "L109",
    "fuse fed from nothing",
    why="What feeds the fuse is not typed in. The supply behind it cannot be traced to its source.",
    fix="Type in the run to its feed side, or name the busbar that feeds it under `busbars` of its panel.",
    bad=EXAMPLE_PARTS + "}  # L109\nruns:\n- BAT.+ -- RD 1 -- S1\n- S1 -- RD 1 -- ALM.4\n- F9.load -- RD 1 -- S1\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS,
)
def fuse_without_feed(tracing: Tracing) -> Iterator[Finding]:
    """A fuse with a wire on its load side and nothing on its feed side."""
    for part, facts, link, fed, loaded in _fuse_ends(tracing.circuit):
        if loaded and not fed and facts.state != "none":
            yield Finding(
                part.place,
                f"{part.name}.feed",
                f"{part.name}: what feeds it is not known",
                "",
                (link.a,),
                (part.name,),
            )


@rule(
    "L124",
    "position not known",
    why="What sits in the position, or what it is rated, is typed as unknown: nobody can see whether the right fuse is fitted.",
    fix="Look at the lid, the handbook or the panel and type the rating, or `empty`.",
    bad=EXAMPLE_PARTS
    + ", FB: {is: panel, positions: {F1: unknown}, busbars: {BAT.+: [F1]}}}  # L124\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PARTS
    + ", FB: {is: panel, positions: {F1: 20}, busbars: {BAT.+: [F1]}}}\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
)
def position_not_known(tracing: Tracing) -> Iterator[Finding]:
    """A fuse in a panel without rating that is not empty."""
    two_ratings = {conflict.part for conflict in tracing.circuit.conflicts if conflict.fact == "amps"}  # L121
    for part in tracing.circuit.parts.values():
        facts = part.facts
        if part.name in two_ratings:
            continue
        if part.panel and isinstance(facts, FuseFacts) and facts.amps is None and facts.state not in NO_FUSE_BELONGS:
            pins = tracing.circuit.pins_of[part.name]
            yield Finding(
                part.place,
                part.name,
                f"what sits in position {part.label} of {part.panel} is not known",
                "",
                (pins["load"],),
                (part.name,),
            )


@rule(
    "L125",
    "empty position with a wire",
    why="The position must be empty, but a run leads over it: a supply that comes through it does not exist, or the position is not empty.",
    fix="Correct the position or the run.",
    bad=EXAMPLE_PARTS
    + ", FB: {is: panel, positions: {F1: empty}, busbars: {BAT.+: [F1]}}}  # L125\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
    good=EXAMPLE_PARTS
    + ", FB: {is: panel, positions: {F1: 20, F2: empty}, busbars: {BAT.+: [F1-F2]}}}\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
)
def empty_position_wired(tracing: Tracing) -> Iterator[Finding]:
    """A position typed as empty from which a wire leaves: a fuse's load side, any pin of a relay or diode."""
    circuit = tracing.circuit
    for part in circuit.parts.values():
        if part.facts.said("state") != "empty":
            continue
        is_fuse = part.kind in FUSE_KINDS
        wired = tuple(
            node
            for pin, node in circuit.pins_of.get(part.name, {}).items()
            if (circuit.is_attached(node) if is_fuse else circuit.wires_at(node)) and (pin == "load" or not is_fuse)
        )
        if wired:
            leaves = "a wire leaves its load side" if is_fuse else "a wire leads to it"
            yield Finding(part.place, part.name, f"{part.name} must be empty, but {leaves}", "", wired, (part.name,))


@rule(
    "L132",
    "position serves something else than traced",
    why="The lid or handbook names a module for this fuse, but no supply of that module is traced through it: a page, or a wire, is missing.",
    fix="Find the supply of that module which comes from this position and type it in; correct `serves` if the text is of another variant.",
    bad=EXAMPLE_PARTS
    + ", FB: {is: panel, positions: {F1: {amps: 20, serves: ALM}}, busbars: {BAT.+: [F1]}}, S2: splice}  # L132\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- ALM.4\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- S2\n- S1 -- RD 1 -- S2\n",
    good=EXAMPLE_PARTS
    + ", FB: {is: panel, positions: {F1: {amps: 20, serves: ALM}}, busbars: {BAT.+: [F1]}}}\nruns:\n- F1 -- RD 1 -- S1\n- S1 -- RD 1 -- F9.feed\n- F9.load -- RD 1 -- ALM.4\n",
)
def serves_not_traced(tracing: Tracing) -> Iterator[Finding]:
    """`serves` names a module that supply from this fuse does not reach."""
    from tracer.trace.affects.downwards import modules_below

    circuit = tracing.circuit
    modules = {part.name for part in circuit.modules()}
    for part in circuit.parts.values():
        serves = part.facts.said("serves")
        if not serves or part.facts.said("state") in NO_FUSE_BELONGS:
            continue
        named = [word for word in serves.replace(",", " ").replace(";", " ").split() if word in modules]
        if not named:
            continue
        below = modules_below(tracing, part.name)
        for module in named:
            if module not in below:
                message = f"{part.name} is said to serve {module}, but no pin of {module} is traced to it"
                yield Finding(
                    part.place_of("serves") if not part.label else part.place,
                    part.name,
                    message,
                    "",
                    parts=(part.name,),
                    module=module,
                )
