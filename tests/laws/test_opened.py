"""The key states with something open, had by taking out of the levels of the whole circuit what the opened links may have carried, are those of the circuit without them.

The slow, obvious oracle: a circuit made anew with the links left out, through which supply and ground spread from the start each time the key or a relay moves.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tracer
from tests.circuit.test_three_values import Net, nets
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.circuit.gates import Held
from tracer.circuit.model import Circuit
from tracer.circuit.moves import Turn
from tracer.circuit.open_ends import open_coils
from tracer.circuit.spreading import Spread, Spreading, Starts
from tracer.circuit.states import KeyStates, Settled
from tracer.circuit.truths import Level
from tracer.circuit.without import circuit_without, pieces_of_net

ROOT = Path(__file__).resolve().parents[2]
CONSTRUCTS = ROOT / "tests" / "constructs"


class _FromTheStart(Spreading):
    """Supply and ground spread each time as if nothing were known."""

    def begin(self, turn: Turn, relays: Mapping[str, Level], held: Held) -> tuple[Spread, Starts]:
        self._last.clear()
        return super().begin(turn, relays, held)


def _made_anew(circuit: Circuit) -> KeyStates:
    states = KeyStates.__new__(KeyStates)
    states._of(_FromTheStart(circuit), open_coils(circuit))
    return states


def _plain(states: KeyStates, settled: Settled) -> tuple[object, ...]:
    of = states.nets.of
    nodes = range(len(of))
    shorts = set(settled.shorts)
    return (
        settled.relays,
        settled.alive,
        settled.unstable,
        settled.races,
        [settled.supply.get(of[node]) for node in nodes],
        [settled.ground.get(of[node]) for node in nodes],
        [of[node] in shorts for node in nodes],
    )


def _check(found: KeyStates, wanted: KeyStates, fixed: dict[str, bool]) -> None:
    assert found.circuit.links == wanted.circuit.links
    assert found.circuit.pins_of == wanted.circuit.pins_of
    numbers: dict[int, int] = {}
    assert all(numbers.setdefault(a, b) == b for a, b in zip(found.nets.of, wanted.nets.of, strict=True))
    assert len(set(numbers.values())) == len(numbers)
    for key in wanted.keys:
        for one, other in ((found.settled, wanted.settled), (found.settled_again, wanted.settled_again)):
            assert _plain(found, one[key]) == _plain(wanted, other[key])
        for node in {net: node for node, net in enumerate(wanted.nets.of)}.values():
            for supply in (True, False):
                assert found.reasons(node, key, supply=supply) == wanted.reasons(node, key, supply=supply)
        before = wanted.keys[wanted.keys.index(key) - 1]
        starts = [one.settle(before, {}, fixed) for one in (found, wanted)]
        ends = [
            one.settle(key, start.relays, fixed, before=before)
            for one, start in zip((found, wanted), starts, strict=True)
        ]
        assert _plain(found, starts[0]) == _plain(wanted, starts[1])
        assert _plain(found, ends[0]) == _plain(wanted, ends[1])


def _open_some(data: st.DataObject, circuit: Circuit) -> tuple[frozenset[int], frozenset[int]]:
    links = data.draw(st.frozensets(st.integers(0, len(circuit.links) - 1), min_size=1, max_size=4), label="links")
    ends = sorted({end.node for end in (*circuit.sources, *circuit.grounds)})
    return links, data.draw(st.frozensets(st.sampled_from(ends), max_size=1), label="ends") if ends else frozenset()


def _agree(data: st.DataObject, states: KeyStates, free: list[str]) -> None:
    """Open some links again and again; of the first, some more."""
    fixed = {name: data.draw(st.booleans(), label=name) for name in free}
    _check(states, _made_anew(states.circuit), fixed)
    for _ in range(3):
        links, nodes = _open_some(data, states.circuit)
        found = states.without(links, nodes)
        left = circuit_without(states.circuit, links, nodes)
        _check(found, _made_anew(left), fixed)
    if left.links:
        links, nodes = _open_some(data, left)
        _check(found.without(links, nodes), _made_anew(circuit_without(left, links, nodes)), fixed)


@given(typed_vehicles(), st.data())
def test_opened_as_if_never_closed(vehicle: TypedVehicle, data: st.DataObject) -> None:
    with tempfile.TemporaryDirectory() as folder:
        circuit = tracer.load(vehicle.write(Path(folder)))
    if circuit.links:
        names = ["SW=off", "SW=on", "D commanding 3", "D.3", "M.1"]
        _agree(data, KeyStates(circuit), names)


@given(nets(), st.data())
def test_opened_in_nets_of_relays(net: Net, data: st.DataObject) -> None:
    _agree(data, net.states, sorted({name for truths in net.free for truth in truths for name in truth}))


@settings(max_examples=500)
@given(st.integers(2, 8), st.data())
def test_a_net_falls_into_its_components(size: int, data: st.DataObject) -> None:
    """As networkx says: each component in which something opened, but one."""
    node = st.integers(0, size - 1)
    graph = nx.Graph(data.draw(st.lists(st.tuples(node, node), max_size=2 * size)))
    graph.add_nodes_from(range(size))
    ends = data.draw(st.lists(node, min_size=1, max_size=6))
    wanted = {frozenset(one) for one in nx.connected_components(graph) if not one.isdisjoint(ends)}
    found = pieces_of_net(ends, graph.neighbors)
    assert len(found) == len(wanted) - 1
    assert {frozenset(one) for one in found} <= wanted
    assert sum(map(len, found)) == len(frozenset().union(*found))


@pytest.mark.parametrize(
    "folder", sorted(path.parent for path in CONSTRUCTS.glob("*/vehicle.yaml")), ids=lambda folder: folder.name
)
def test_each_link_of_each_construct(folder: Path) -> None:
    states = KeyStates(tracer.load(folder))
    circuit = states.circuit
    _check(states, _made_anew(circuit), {})
    ends = {end.node for end in (*circuit.sources, *circuit.grounds)}
    for links, nodes in (
        *((frozenset({number}), frozenset[int]()) for number in range(len(circuit.links))),
        *((frozenset(circuit.at[node]), frozenset({node})) for node in ends),
    ):
        _check(states.without(links, nodes), _made_anew(circuit_without(circuit, links, nodes)), {})


@settings(max_examples=10)
@given(st.data())
def test_opened_in_the_demo(data: st.DataObject) -> None:
    _agree(data, _demo(), ["heat wanted"])


_kept: list[KeyStates] = []


def _demo() -> KeyStates:
    if not _kept:
        _kept.append(KeyStates(tracer.load(ROOT / "circuits" / "minibus")))
    return _kept[0]
