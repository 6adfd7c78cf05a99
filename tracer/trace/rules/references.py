"""References that leave a sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tracer.circuit.model import ReferenceEnd
from tracer.circuit.references import difference, exchanged, findings
from tracer.entry.problems import listed
from tracer.trace.rules.registry import EXAMPLE_PARTS, Finding, rule
from tracer.trace.tracing import Tracing


def _reference_findings(tracing: Tracing, kind: str) -> Iterator[tuple[Finding, str]]:
    circuit = tracing.circuit
    for found in findings(circuit):
        if found.kind != kind:
            continue
        end = found.end
        sheet = circuit.sheet_of_run(end.run)
        others = ", ".join(f"{other.place} (sheet {circuit.sheet_of_run(other.run)})" for other in found.others)
        yield Finding(end.place, f"{reference_name(end)} on sheet {sheet}", "", "", (end.node,)), others


def reference_name(end: ReferenceEnd) -> str:
    """A reference as it is typed at this end."""
    return f"ref {end.here}>{end.there}" if end.here != end.there else f"ref {end.here}"


def _marks(ends: Iterable[ReferenceEnd]) -> set[tuple[str, str]]:
    return {(end.here, end.there) for end in ends}


@rule(
    "L101",
    "reference not answered",
    why="The wire goes on at a page that is not typed in. A supply may come from there, and it would never be probed.",
    fix="Type in the page or the run that holds the other mark.",
    bad=EXAMPLE_PARTS + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L101\n",
    good=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_not_answered(tracing: Tracing) -> Iterator[Finding]:
    """A reference whose partner mark stands on no sheet."""
    for finding, _ in _reference_findings(tracing, "unanswered"):
        end = tracing.circuit.reference_of[finding.nodes[0]]
        if end.here == end.there:
            message, mark = f"no other sheet holds `ref {end.here}`", end.here
        else:
            message, mark = f"no sheet holds mark {end.there} that leads back to {end.here}", end.there
        yield Finding(
            finding.place, finding.at, message, f"Type in the page or the run that has mark {mark}.", finding.nodes
        )


@rule(
    "L102",
    "reference answered by another chain",
    why="The mark exists, but it leads elsewhere: a digit is wrong on one side, or there is a second wire of that mark.",
    fix="Look at both pages and correct the mark.",
    bad=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L102\n- ref 12>48 -- RD 1 -- F9.load  # L101\n- F9.feed -- RD 1 -- BAT.+\n",
    good=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_chained(tracing: Tracing) -> Iterator[Finding]:
    """A reference whose partner mark exists but leads to a third mark."""
    leads: dict[str, list[str]] = {}
    for other in tracing.circuit.references:
        leads.setdefault(other.here, []).append(other.there)
    for finding, others in _reference_findings(tracing, "chained"):
        end = tracing.circuit.reference_of[finding.nodes[0]]
        to = " and ".join(leads[end.there])
        message = f"mark {end.there} stands at {others}, but leads to {to}, not back to {end.here}"
        yield Finding(finding.place, finding.at, message, "", finding.nodes)


@rule(
    "L103",
    "reference doubled",
    why="One mark with several partners: which wire goes where is not known, and one of them may be a supply.",
    fix="Look at the pages: each end of a wire has one mark. Correct or remove the surplus one.",
    bad=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L103\n- ref 12>47 -- RD 1 -- F9.load  # L103\n- ref 12>47 -- RD 1 -- S1  # L103\n"
    + "- F9.feed -- RD 1 -- S1\n- S1 -- RD 1 -- BAT.+\n",
    good=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_doubled(tracing: Tracing) -> Iterator[Finding]:
    """The same reference typed more than once."""
    for finding, others in _reference_findings(tracing, "doubled"):
        yield Finding(finding.place, finding.at, f"the same reference stands again at {others}", "", finding.nodes)


@rule(
    "L104",
    "reference ends disagree",
    why="The two halves of one wire have one colour and one size. Where they differ, one of the marks is wrong and the wire leads elsewhere.",
    fix="Look at both pages; correct the wire or the mark.",
    bad=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4  # L104\n- ref 12>47 -- BK 1 -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
    good=EXAMPLE_PARTS
    + "}\nruns:\n- ref 47>12 -- RD 1 -- ALM.4\n- ref 12>47 -- RD -- F9.load\n- F9.feed -- RD 1 -- BAT.+\n",
)
def reference_disagrees(tracing: Tracing) -> Iterator[Finding]:
    """Both ends are there, but say different wires; they are not joined."""
    circuit = tracing.circuit
    told: set[int] = set()
    for exchanges in exchanged(circuit):
        end, other = exchanges[0]
        sheets = listed([f"sheet {circuit.sheet_of_run(one.run)}" for one, _ in exchanges])
        message = (
            f"{reference_name(end)} looks exchanged with {reference_name(other)} ({other.place}): "
            "exchanged, colour and size agree at both; as typed they differ, and neither is joined"
        )
        fix = f"Look at both pages; exchange the two on {sheets}."
        nodes = tuple(one.node for pair in exchanges[:1] for one in pair)
        nodes += tuple(other.node for other in circuit.references if (other.there, other.here) in _marks(exchanges[0]))
        told.update(nodes)
        yield Finding(end.place, f"{reference_name(end)} on sheet {circuit.sheet_of_run(end.run)}", message, fix, nodes)
    for finding, others in _reference_findings(tracing, "disagreeing"):
        if finding.nodes[0] in told:
            continue
        end = circuit.reference_of[finding.nodes[0]]
        other = next(o for o in circuit.references if (o.here, o.there) == (end.there, end.here) and o is not end)
        if other.node < end.node:  # said once, at the same end however the two were typed
            continue
        wire, other_wire = (circuit.runs[one.run].wires[one.wire] for one in (end, other))
        differ = difference(wire, other_wire)
        verb = "differ" if " and " in differ else "differs"
        message = f"{differ} {verb}: {wire.text} here, {other_wire.text} at {others}; the two ends are not joined"
        yield Finding(finding.place, finding.at, message, "", (end.node, other.node))
