"""What positions of switches and relays rule out, put in words, and levels that only contacts which are never closed together would give.

The key states spread supply and ground over every contact that may be closed, each by itself. Where the ways to a node clash, a level that only *depends* is held
against the ways: without one that some setting closes in that key state, it is dead.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from tracer.circuit.model import SWITCHED, Link
from tracer.circuit.states import KeyStates, Level, Reason
from tracer.entry.problems import natural
from tracer.trace.lists.results import LeftOut
from tracer.trace.tracing import Tracing, ground_sense, supply_sense
from tracer.trace.ways.clashes import Variable
from tracer.trace.ways.simple import Way, Ways
from tracer.trace.ways.without import WaysWithout, fed_without


def level_of(tracing: Tracing, node: int, key: str, level: str) -> Level:
    """The level of a node in a key state, with positions heeded."""
    states = tracing.states
    found = states.supply_level(node, key) if level == "supply" else states.ground_level(node, key)
    if found is not Level.DEPENDS:
        return found
    ways = tracing.supply_ways() if level == "supply" else tracing.ground_ways()
    return Level.DEAD if is_ruled_out(states, ways, node, key, level) else found


def reasons_of(tracing: Tracing, node: int, key: str, level: str) -> tuple[Reason, ...]:
    """What a level that depends hangs on, without what only ways that no setting closes would bring. What is not known stays: it may come over any of them."""
    states, supply = tracing.states, level == "supply"
    found = states.reasons(node, key, supply=supply)
    ways = tracing.supply_ways() if supply else tracing.ground_ways()
    way = ways.to(node) if ways.is_clashing(node) else None
    if way is None or not way.taken_out:
        return found
    left = frozenset(states.reasons(node, key, supply=supply, leaving_out=way.taken_out))
    return tuple(reason for reason in found if reason in left or not reason.known) if left else found


def is_ruled_out(
    states: KeyStates, ways: Ways | WaysWithout, node: int, key: str, level: str, opened: Collection[int] = frozenset()
) -> bool:
    """Whether a node whose level depends is dead in a key state, since no setting closes a way to it. Silent where something unknown, or a bound, is in the way."""
    if not ways.is_clashing(node) or ways.begins_at(node):
        return False
    if any(not reason.known for reason in states.reasons(node, key, supply=level == "supply")):
        return False
    way = ways.to(node)
    if way is None:
        return True
    links = ways.links
    ends: Iterable[int] = way.ends
    if level == "supply":  # an end of which everything was taken off is none here
        live = {end.node for end in states.circuit.sources}
        ends = [end for end in way.ends & live if states.source_level(end, key) is not Level.DEAD]
    sense: Callable[[Link], int] = supply_sense if level == "supply" else ground_sense
    for settled in (states.settled[key], states.settled_again[key]):
        gone = {n for n in way.links if links[n].kind in SWITCHED and states.conducts(links[n], settled) is Level.DEAD}
        if fed_without(way, links, sense, gone.union(opened), ends=ends) is not False:
            return False
    return True


def left_out(tracing: Tracing, way: Way) -> tuple[LeftOut, ...]:
    """The parts and sources that lie only on ways which no setting closes, fuses first, by what rules them out."""
    circuit = tracing.circuit
    ends = {end.node for end in (*circuit.sources, *circuit.grounds)}
    kept = {circuit.links[number].part for number in way.links} | {circuit.node_parts[node] for node in way.nodes}
    found: dict[tuple[str, ...], dict[str, None]] = {}
    for number, variables in sorted(way.taken_out.items()):
        if number >= len(circuit.links):  # stands for a source that begins a way there: the links at it say so
            continue
        link = circuit.links[number]
        switches = switched_by(tracing, variables, (*way.links, *way.taken_out))
        nodes = [node for node in (link.a, link.b) if node not in way.distance]
        names = [circuit.node_names[node] for node in nodes if node in ends]
        parts = [link.part, *(circuit.node_parts[node] for node in nodes if node not in ends)]
        names += [name for name in parts if name in circuit.parts and name not in kept and name not in switches]
        found.setdefault(switches, {}).update(dict.fromkeys(names))
    return tuple(
        LeftOut(tuple(sorted(names, key=lambda name: (not tracing.is_fuse(name), natural(name)))), switches)
        for switches, names in sorted(found.items())
        if names
    )


def switched_by(tracing: Tracing, variables: Collection[Variable], links: Iterable[int]) -> tuple[str, ...]:
    """The switches and relays among these links that move with one of the variables, by name."""
    guards = tracing.guards
    names = {tracing.circuit.links[n].part for n in links if n in guards and guards[n].variable in variables}
    return tuple(sorted(names, key=natural))


__all__ = ["is_ruled_out", "left_out", "level_of", "reasons_of", "switched_by"]
