"""What comes to rest when several things move at the same moment, whichever of them is quicker.

Relays take their time, and so do levers and rails that follow the key: between one key state and the next each may be the last to move. Whatever the order, relays end in one of
the states that cannot be left for good. Two bounds of that are worked out, the cheap one first:

- Everything that may move at all *depends* until it has; what is then still certain, and what becomes certain from there, is so in every order (three-valued simulation,
  Eichelberger 1965; from memory). Where that leaves no more open than all moving together does, no order matters.
- Else every order is tried, from the state before: a state in which several want to move is followed by one for each of them that goes first, alone or with others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations

from tracer.circuit.truths import Level

MOST_STATES_SEARCHED = 1024  # beyond it what an order might change is left as depending on it
MOST_TOGETHER = 4  # of more that want to move, each alone and all together

Levels = tuple[Level, ...]  # of the relays, in one order


@dataclass(frozen=True, slots=True)
class Turn:
    """A key state, and from which one the key came: `late` are the movers not there yet, all of them perhaps where `unsure`."""

    key: str
    before: str = ""
    late: frozenset[str] = frozenset()
    unsure: bool = False

    def level(self, mover: str, ask: Callable[[str], Level]) -> Level:
        """What a mover passes, by what it passes in a key state."""
        if not self.before or not (self.unsure or mover in self.late):
            return ask(self.key)
        was = ask(self.before)
        return was if not self.unsure or was is ask(self.key) else Level.DEPENDS


@dataclass(frozen=True, slots=True)
class Rest:
    """How the relays come to rest. `races` and `unstable` are places of those that depend on what is quicker, and of those that never rest."""

    levels: Levels
    races: tuple[int, ...] = ()
    unstable: tuple[int, ...] = ()


def at_rest(start: Levels, turn: Turn, follow: Callable[[Turn, Levels], Levels]) -> Rest:
    """How the relays come to rest in a key state; `follow` says what each relay does with all as they are."""
    rest = Turn(turn.key)
    in_every_order = _in_every_order(start, turn, follow)
    if Level.DEPENDS not in in_every_order:
        return Rest(in_every_order)
    # The likely case: all moving together leaves as much open as any order can, so no order has to be tried.
    ring = _together(start, rest, follow)
    if ring == [in_every_order]:
        return Rest(in_every_order)
    ends = _every_order([(start, turn.late)], turn, follow)
    if ends is None:  # too many to tell: a race, unless those that go round when all move together never rest
        round_and_round = _every_order([(state, frozenset()) for state in ring], rest, follow) or []
        races = tuple(n for n, level in enumerate(in_every_order) if {state[n] for state in ring} != {level})
        return Rest(in_every_order, races, _going_on(round_and_round))
    levels = _joined([state for end in ends for state in end])
    by_end = [_joined(end) for end in ends]
    races = tuple(n for n in range(len(start)) if len({end[n] for end in by_end}) > 1)
    return Rest(levels, races, _going_on(ends))


def _joined(states: list[Levels]) -> Levels:
    return tuple(here[0] if len(set(here)) == 1 else Level.DEPENDS for here in zip(*states, strict=True))


def _going_on(ends: list[list[Levels]]) -> tuple[int, ...]:
    return tuple(sorted({n for end in ends for n, here in enumerate(zip(*end, strict=True)) if len(set(here)) > 1}))


def _in_every_order(start: Levels, turn: Turn, follow: Callable[[Turn, Levels], Levels]) -> Levels:
    moving = Turn(turn.key, turn.before, unsure=bool(turn.late))
    state = start
    # Outwards first, until nothing that may move is left certain; then back to what is certain whatever came of that.
    while (wider := _joined([state, follow(moving, state)])) != state:
        state = wider
    rest = Turn(turn.key)
    while (after := follow(rest, state)) != state:
        state = after
    return state


def _together(start: Levels, rest: Turn, follow: Callable[[Turn, Levels], Levels]) -> list[Levels]:
    """The states that all relays moving together end in: one, or a ring."""
    seen: dict[Levels, None] = {}
    state = start
    while state not in seen:
        seen[state] = None
        state = follow(rest, state)
    states = list(seen)
    return states[states.index(state) :]


_State = tuple[Levels, frozenset[str]]  # the relays, and the movers that are late


def _every_order(
    starts: list[_State], turn: Turn, follow: Callable[[Turn, Levels], Levels]
) -> list[list[Levels]] | None:
    """The sets of states that, once met, are not left again, whatever moves first; None beyond the bound."""
    import networkx as nx  # slow to import, and seldom needed

    graph: nx.DiGraph = nx.DiGraph()
    graph.add_nodes_from(starts)
    queue = list(graph)
    for levels, late in queue:
        wanted = follow(Turn(turn.key, turn.before, late), levels)
        wants = [n for n, level in enumerate(wanted) if level is not levels[n]]
        for going in _firsts((*wants, *sorted(late))):
            after = (
                tuple(wanted[n] if n in going else level for n, level in enumerate(levels)),
                late.difference(going),
            )
            if after not in graph:
                queue.append(after)
            graph.add_edge((levels, late), after)
        if len(graph) > MOST_STATES_SEARCHED:
            return None
    ends = [[levels for levels, _ in end] for end in nx.attracting_components(graph)]
    return sorted(ends, key=min)


def _firsts(moving: tuple[int | str, ...]) -> Iterator[frozenset[int | str]]:
    """What may go first of all that want to move."""
    sizes = range(1, len(moving) + 1) if len(moving) <= MOST_TOGETHER else (1, len(moving)) if moving else ()
    for size in sizes:
        yield from map(frozenset, combinations(moving, size))


__all__ = ["MOST_STATES_SEARCHED", "Levels", "Rest", "Turn", "at_rest"]
