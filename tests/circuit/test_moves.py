"""Relays, and levers that follow the key, that move at the same moment: nothing is certain that hangs on which of them is quicker."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.circuit.test_states import Net, _reach, _states
from tracer.circuit import moves
from tracer.circuit.states import KeyStates, Level

KEYS = ("off", "run")
State = tuple[tuple[bool, ...], frozenset[int]]  # the relays, and the levers that are still where the key came from


@dataclass(frozen=True)
class Drawn:
    """Coils (net, net); contacts (net, net, mover, where it is closed), the mover a relay from 0 on or a lever from -1 down."""

    coils: tuple[tuple[Net, Net], ...]
    contacts: tuple[tuple[Net, Net, int, str], ...]

    @property
    def levers(self) -> frozenset[int]:
        return frozenset(mover for _, _, mover, _ in self.contacts if mover < 0)

    def states(self) -> KeyStates:
        """The same as a vehicle: contact number n has pins an and bn."""
        runs: list[str] = []
        tables: dict[int, dict[str, list[str]]] = {lever: {key: [] for key in KEYS} for lever in self.levers}
        for number, (a, b, mover, position) in enumerate(self.contacts):
            tables.setdefault(mover, {}).setdefault(position, []).append(f"a{number}-b{number}")
            name = f"K{mover}" if mover >= 0 else f"S{-mover}"
            runs += [f"{a} -- RD 1 -- {name}.a{number}", f"{b} -- RD 1 -- {name}.b{number}"]
        parts = ["A: splice, B: splice, C: splice, D: splice, E: splice"]
        for mover, positions in tables.items():
            table = ", ".join(f"{position}: [{', '.join(groups)}]" for position, groups in positions.items())
            coil = f"is: relay, coil: 86-85, contacts: {{{table}}}"
            parts.append(
                f"K{mover}: {{{coil}}}"
                if mover >= 0
                else f"S{-mover}: {{is: switch, follows: key, contacts: {{{table}}}}}"
            )
        for relay, (a, b) in enumerate(self.coils):
            runs += [f"{a} -- RD 1 -- K{relay}.86", f"{b} -- RD 1 -- K{relay}.85"]
            if relay not in tables:
                parts.append(f"K{relay}: {{is: relay, coil: 86-85, contacts: {{energised: [30-87]}}}}")
                runs.append(f"K{relay}.30 -- RD 1 -- K{relay}.87")
        return _states(", ".join(parts), runs, f"key: [{', '.join(KEYS)}]")

    def reached(self, state: State, key: str) -> tuple[set[Net], set[Net]]:
        """The nets with supply and with ground."""
        relays, late = state
        was = {"run": "off", "off": "run"}[key]
        closed = [
            (a, b)
            for a, b, mover, position in self.contacts
            if (
                position == (was if mover in late else key) if mover < 0 else relays[mover] == (position == "energised")
            )
        ]
        return _reach("P", "N", closed), _reach("N", "", closed)

    def wanting(self, state: State, key: str) -> list[int]:
        """The relays that are not where their coil wants them, and the levers that are late."""
        supply, ground = self.reached(state, key)
        wanted = [(a in supply and b in ground) or (b in supply and a in ground) for a, b in self.coils]
        return [n for n, on in enumerate(wanted) if on != state[0][n]] + sorted(state[1])

    def ends(self, starts: Iterable[State], key: str, *, together: bool) -> list[set[State]]:
        """Where it may be once everything that could move has: every order of single moves, or also of several at once.

        A state counts when every state that can follow it can be followed by it in turn; states that follow each other stand together.
        """
        follows: dict[State, set[State]] = {}
        queue = list(starts)
        while queue:
            state = queue.pop()
            if state in follows:
                continue
            moving = self.wanting(state, key)
            sizes = range(1, len(moving) + 1) if together else range(1, min(len(moving), 1) + 1)
            follows[state] = {self._after(state, going) for size in sizes for going in combinations(moving, size)}
            queue += follows[state]
        reach = {state: self._all_after(state, follows) for state in follows}
        kept = {frozenset(reach[state]) for state in follows if all(state in reach[other] for other in reach[state])}
        return [set(end) for end in kept]

    @staticmethod
    def _after(state: State, going: tuple[int, ...]) -> State:
        relays, late = state
        return tuple(on != (n in going) for n, on in enumerate(relays)), late.difference(going)

    @staticmethod
    def _all_after(state: State, follows: dict[State, set[State]]) -> set[State]:
        found, queue = {state}, [state]
        while queue:
            for other in follows[queue.pop()]:
                if other not in found:
                    found.add(other)
                    queue.append(other)
        return found


@st.composite
def drawn_nets(draw: st.DrawFn) -> Drawn:
    nets = st.sampled_from(("P", "N", "A", "B", "C", "D"))
    pair = st.tuples(nets, nets).filter(lambda two: two[0] != two[1])
    coils = tuple(draw(pair) for _ in range(draw(st.integers(2, 3))))
    movers = st.one_of(st.integers(0, len(coils) - 1), st.integers(-2, -1))
    contacts = []
    for mover in draw(st.lists(movers, min_size=3, max_size=7)):
        position = draw(st.sampled_from(KEYS if mover < 0 else ("rest", "energised")))
        contacts.append((*draw(pair), mover, position))
    return Drawn(coils, tuple(contacts))


# K2 may be caught by K1 before K0 parts it: only where K0 is slower
CAUGHT = Drawn(
    (("A", "N"), ("B", "N"), ("C", "N")),
    (("P", "A", -1, "run"), ("A", "B", 0, "rest"), ("P", "C", 1, "energised"), ("P", "C", 2, "energised")),
)
# held over one lever in off and over another in run: it stays only if the second closes before the first opens
HANDED_OVER = Drawn(
    (("A", "N"),),
    (("P", "A", -2, "off"), ("P", "B", -1, "run"), ("B", "A", 0, "energised")),
)
# each of two relays parts the other; a third is caught only where both pull in at once
BOTH_AT_ONCE = Drawn(
    (("A", "N"), ("B", "N"), ("C", "N")),
    (
        *(("P", "E", -1, "run"), ("E", "A", 1, "rest"), ("E", "B", 0, "rest")),
        *(("P", "D", 0, "energised"), ("D", "C", 1, "energised"), ("P", "C", 2, "energised")),
    ),
)


@given(drawn_nets())
@example(CAUGHT)
@example(HANDED_OVER)
def test_what_is_certain_is_so_in_every_order_of_single_moves(net: Drawn) -> None:
    states = net.states()
    rest = [(tuple(False for _ in net.coils), frozenset[int]())]
    off = set[State]().union(*net.ends(rest, "off", together=False))
    run = set[State]().union(*net.ends([(relays, net.levers) for relays, _ in off], "run", together=False))
    again = set[State]().union(*net.ends(run, "run", together=False))  # on the way back
    for key, ends, settled in (
        ("off", off, states.settled["off"]),
        ("run", run, states.settled["run"]),
        ("run", again, states.settled_again["run"]),
    ):
        for relay in range(len(net.coils)):
            level = settled.relays[f"K{relay}"]
            if level is not Level.DEPENDS:
                assert {relays[relay] for relays, _ in ends} == {level is Level.LIVE}, (key, relay)
        reached = [net.reached(state, key) for state in ends]
        for name in ("A", "B", "C", "D"):
            number = states.nets.of[states.circuit.node_names.index(name)]
            for which, levels in enumerate((settled.supply, settled.ground)):
                level = levels.get(number, Level.DEAD)
                if level is not Level.DEPENDS:
                    assert {name in found[which] for found in reached} == {level is Level.LIVE}, (key, name)


@given(drawn_nets())
@example(CAUGHT)
@example(BOTH_AT_ONCE)
def test_nothing_depends_on_an_order_that_changes_nothing(net: Drawn) -> None:
    states = net.states()
    rest = [(tuple(False for _ in net.coils), frozenset[int]())]
    off = set[State]().union(*net.ends(rest, "off", together=True))
    if len(off) > 1 or len(net.coils) + len(net.levers) > moves.MOST_TOGETHER:
        return
    run = net.ends([(relays, net.levers) for relays, _ in off], "run", together=True)
    settled = states.settled["run"]
    for relay in range(len(net.coils)):
        by_end = [{relays[relay] for relays, _ in end} for end in run]
        assert (f"K{relay}" in settled.unstable) == any(len(found) > 1 for found in by_end)
        assert (f"K{relay}" in settled.races) == (len(set(map(frozenset, by_end))) > 1)
        assert (settled.relays[f"K{relay}"] is Level.DEPENDS) == (len(set[bool]().union(*by_end)) > 1)


@pytest.mark.parametrize(("net", "relay"), [(CAUGHT, "K2"), (HANDED_OVER, "K0")])
def test_a_race_is_never_a_sure_level_and_says_so(net: Drawn, relay: str) -> None:
    states = net.states()
    settled = states.settled["run"]
    assert settled.relays[relay] is Level.DEPENDS
    assert settled.races == (relay,) and settled.unstable == ()
    held = states.circuit.node_names.index("C" if net is CAUGHT else "A")
    assert states.supply_level(held, "run") is Level.DEPENDS
    reasons = [reason.text for reason in states.reasons(held, "run")]
    assert any(f"what moves first as the key reaches run ({relay})" in words for words in reasons)


def test_beyond_the_bound_a_race_still_depends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(moves, "MOST_STATES_SEARCHED", 2)
    settled = CAUGHT.states().settled["run"]
    assert settled.relays["K2"] is Level.DEPENDS
    assert settled.races == ("K2",) and settled.relays["K0"] is Level.LIVE and settled.relays["K1"] is Level.DEAD
