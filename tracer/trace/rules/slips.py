"""What is typed without a gap and is nearly always a slip of the finger: one run twice, a coil turned round."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from tracer.circuit.model import Circuit
from tracer.entry.problems import natural
from tracer.entry.runs import Run
from tracer.trace.rules.registry import EXAMPLE_PARTS, EXAMPLE_RUNS, Finding, rule
from tracer.trace.rules.wiring import turned_coils
from tracer.trace.tracing import Tracing


@rule(
    "L165",
    "run typed twice",
    why="Two wires side by side carry twice the current of one: with a wire too many the list allows too small a drop, and says that a wire is left when one is cut.",
    fix="Take one of the two out. If the diagram shows two wires, give each its number or one of them a `note`.",
    bad=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS + "- ALM.4 -- RD 1 -- S1  # L165\n",
    good=EXAMPLE_PARTS + "}\n" + EXAMPLE_RUNS + "- {run: ALM.4 -- RD 1 -- S1, note: two wires as drawn}\n",
)
def run_typed_twice(tracing: Tracing) -> Iterator[Finding]:
    """Runs that say word for word, or from their other end, the same; not where all but one have a note, nor where wire numbers tell them apart."""
    circuit = tracing.circuit
    typed: dict[tuple[str, ...], list[int]] = {}
    for number, run in enumerate(circuit.runs):
        if not run.note and not any(point.is_reference or point.is_unknown for point in run.points):
            typed.setdefault(_words(run), []).append(number)
    twice = {words: runs for words, runs in typed.items() if len(runs) > 1}
    nodes = _nodes(circuit, {run for runs in twice.values() for run in runs})
    for words, runs in twice.items():
        first, second, *_ = runs
        times = "twice" if len(runs) == 2 else f"{len(runs)} times"
        message = f"this run is typed {times}: word for word at {circuit.run_place(first)} too"
        yield Finding(
            circuit.run_place(second),
            ", ".join(sorted((words[0], words[-1]), key=natural)),
            message,
            "",
            tuple(dict.fromkeys(node for run in runs for node in nodes[run])),
        )


def _words(run: Run) -> tuple[str, ...]:
    """The points and wires of a run, from whichever end comes first in the alphabet."""
    words = [point.text for point in run.points]
    for at, wire in enumerate(run.wires):
        words.insert(2 * at + 1, wire.text)
    return min(tuple(words), tuple(reversed(words)))


def _nodes(circuit: Circuit, runs: Collection[int]) -> dict[int, list[int]]:
    """The nodes of each of these runs."""
    nodes: dict[int, list[int]] = {run: [] for run in runs}
    for link in circuit.links:
        if link.run in nodes:
            nodes[link.run] += (link.a, link.b)
    return nodes


@rule(
    "R263",
    "coil with plus on 85 and minus on 86",
    why="Usual is plus on 86 and minus on 85, and the two are easily exchanged in typing. Some diagrams have them the other way round: without a diode across the coil the relay works either way; with one, in it or in its spare part, supply is shorted.",
    fix="Compare the two pins with the diagram; if it shows them so, leave it.",
    bad=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}  # R263\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.85\n- BAT.- -- BN 1 -- K1.86\n",
    good=EXAMPLE_PARTS
    + ", K1: {is: relay, kind: normally open}}\nruns:\n- BAT.+ -- RD 1 -- F9 -- RD 1 -- K1.30\n- ALM.4 -- RD 1 -- K1.87\n"
    "- BAT.+ -- RD 1 -- K1.86\n- BAT.- -- BN 1 -- K1.85\n",
)
def coil_unusual(tracing: Tracing) -> Iterator[Finding]:
    """A coil 86-85, as `tracer.standards.terminals` has the usual sense, whose 85 reaches supply only and whose 86 reaches ground only; one with a diode across it is R243."""
    circuit = tracing.circuit
    for part, pins, (plus, minus) in turned_coils(tracing):
        if pins == ("86", "85") and part.facts.said("across_coil") != "diode":
            name = part.label or part.name
            message = f"plus comes to {name}.85{_run_at(circuit, minus)} and minus to {name}.86{_run_at(circuit, plus)}; usual is 86 plus, 85 minus (custom of the trade)"
            yield Finding(part.place, f"{part.name}.86, {part.name}.85", message, "", (plus, minus), (part.name,))


def _run_at(circuit: Circuit, node: int) -> str:
    """Where the run of a pin with one wire is typed in."""
    wires = circuit.wires_at(node)
    return f" ({circuit.run_place(circuit.links[wires[0]].run)})" if len(wires) == 1 else ""
