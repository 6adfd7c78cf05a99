"""Three values are sound: live means live, and dead means dead, for every truth of what is free; also with break contacts, conditions and commands.

Small random relay nets with make, break and change-over contacts, coils fed through contacts, free hand switches, a condition and a module's command.
Every truth of the free names is tried in turn.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tracer.circuit.states import KeyStates, Level, Settled

NETS = ("P", "N", "A", "B", "C", "D")
CONTACTS = {
    "make": "energised: [{0}-{1}]",
    "break": "rest: [{0}-{1}]",
    "change": "energised: [{0}-{1}], rest: [{0}-{2}]",
}


@dataclass
class Net:
    """A typed relay net: its key states, and the free names with what makes each true and false."""

    states: KeyStates
    free: list[tuple[dict[str, bool], dict[str, bool]]]

    def truths(self) -> list[dict[str, bool]]:
        """One `fixed` for each truth of all free names."""
        return [
            {name: value for choice in choices for name, value in choice.items()} for choices in product(*self.free)
        ]

    def level(self, settled: Settled, net: str, *, supply: bool) -> Level:
        node = self.states.circuit.node_names.index(net)
        return (settled.supply if supply else settled.ground).get(self.states.nets.of[node], Level.DEAD)


@st.composite
def nets(draw: st.DrawFn) -> Net:
    net = st.sampled_from(NETS)
    two = st.tuples(net, net).filter(lambda pair: pair[0] != pair[1])
    three = st.tuples(net, net, net).filter(lambda triple: len(set(triple)) == 3)
    parts, runs = ["A: splice, B: splice, C: splice, D: splice"], []
    free: list[tuple[dict[str, bool], dict[str, bool]]] = []
    for number in range(draw(st.integers(1, 3))):
        kind = draw(st.sampled_from(sorted(CONTACTS)))
        name = f"K{number}"
        parts.append(f"{name}: {{is: relay, coil: 86-85, contacts: {{{CONTACTS[kind].format('30', '87', '87a')}}}}}")
        ends = draw(three)
        runs += [f"{ends[0]} -- RD 1 -- {name}.30", f"{ends[1]} -- RD 1 -- {name}.87"]
        runs += [f"{ends[2]} -- RD 1 -- {name}.87a"] if kind == "change" else []
        coil = draw(two)
        runs += [f"{coil[0]} -- RD 1 -- {name}.86", f"{coil[1]} -- RD 1 -- {name}.85"]
    for number in range(draw(st.integers(0, 2))):
        a, b = draw(two)
        parts.append(f"H{number}: {{is: switch, contacts: {{out: [], in: [1-2]}}}}")
        runs += [f"{a} -- RD 1 -- H{number}.1", f"{b} -- RD 1 -- H{number}.2"]
        free.append(({f"H{number}=in": True}, {f"H{number}=out": True}))
    if draw(st.booleans()):
        a, b = draw(two)
        position = draw(st.sampled_from(("yes: [1-2], no: []", "yes: [], no: [1-2]")))
        parts.append(f"W: {{is: switch, follows: lights, contacts: {{{position}}}}}")
        runs += [f"{a} -- RD 1 -- W.1", f"{b} -- RD 1 -- W.2"]
        free.append(({"lights": True}, {"lights": False}))
    if draw(st.booleans()):
        out = draw(net)
        drives = draw(st.sampled_from(("drives: high, from: 1", "drives: low, through: 2")))
        parts.append(f"M: {{is: module, pins: {{1: supply, 2: ground, 3: output}}, outputs: {{3: {{{drives}}}}}}}")
        runs += [f"{draw(net)} -- RD 1 -- M.1", "N -- BN 1 -- M.2", f"{out} -- GN 1 -- M.3"]
        free.append(({"M.3": True}, {"M.3": False}))
    text = f"sheet: 1\nparts: {{BAT: battery, P: splice, N: splice, {', '.join(parts)}}}\nruns:\n"
    text += "".join(f"- {run}\n" for run in ["BAT.+ -- RD 1 -- P", "BAT.- -- BK 1 -- N", *runs])
    with tempfile.TemporaryDirectory() as scratch:
        (Path(scratch) / "sheets").mkdir()
        vehicle = "vehicle: v\nkey: [run]\nconditions: {lights: side lights}\n"
        (Path(scratch) / "vehicle.yaml").write_text(vehicle, encoding="utf-8")
        (Path(scratch) / "sheets" / "1.yaml").write_text(text, encoding="utf-8")
        return Net(KeyStates(tracer.load(scratch)), free)


@given(nets())
def test_certain_levels_hold_for_every_truth_of_what_is_free(net: Net) -> None:
    unsure = net.states.settle("run", {})
    for truth in net.truths():
        sure = net.states.settle("run", {}, truth)
        for name in NETS:
            for supply in (True, False):
                level = net.level(unsure, name, supply=supply)
                if level is not Level.DEPENDS:
                    assert net.level(sure, name, supply=supply) is level, (name, truth)
        for relay, level in unsure.relays.items():
            if level is not Level.DEPENDS:
                assert sure.relays[relay] is level, (relay, truth)


@given(nets())
def test_with_everything_fixed_only_a_race_or_an_unstable_relay_is_not_certain(net: Net) -> None:
    for truth in net.truths():
        sure = net.states.settle("run", {}, truth)
        uncertain = {relay for relay, level in sure.relays.items() if level is Level.DEPENDS}
        if uncertain:
            assert sure.unstable or sure.races
        else:
            again = net.states.settle("run", sure.relays, truth)
            assert again.relays == sure.relays  # a stable state stays


@given(nets())
def test_the_same_net_settles_the_same_way_twice(net: Net) -> None:
    first, second = net.states.settle("run", {}), net.states.settle("run", {})
    assert (first.relays, first.supply, first.ground) == (second.relays, second.supply, second.ground)


@given(nets())
def test_a_level_that_depends_says_on_what(net: Net) -> None:
    """A technician is never told 'depends' without a word on what."""
    states = net.states
    for name in NETS:
        node = states.circuit.node_names.index(name)
        for supply in (True, False):
            level = states.supply_level(node, "run") if supply else states.ground_level(node, "run")
            reasons = states.reasons(node, "run", supply=supply)
            assert bool(reasons) == (level is Level.DEPENDS), (name, supply)


@pytest.mark.parametrize("pressed", [True, False])
def test_a_fixed_hand_switch_is_certain(pressed: bool) -> None:
    text = "sheet: 1\nparts: {BAT: battery, H: {is: switch, kind: make switch}, E: load}\nruns:\n- BAT.+ -- RD 1 -- H.1\n- H.2 -- RD 1 -- E -- BN 1 -- BAT.-\n"
    with tempfile.TemporaryDirectory() as scratch:
        (Path(scratch) / "sheets").mkdir()
        (Path(scratch) / "vehicle.yaml").write_text("vehicle: v\nkey: [run]\n", encoding="utf-8")
        (Path(scratch) / "sheets" / "1.yaml").write_text(text, encoding="utf-8")
        states = KeyStates(tracer.load(scratch))
    settled = states.settle("run", {}, {f"H={'pressed' if pressed else 'released'}": True})
    net = states.nets.of[states.circuit.node_names.index("E.1")]
    assert settled.supply.get(net, Level.DEAD) is (Level.LIVE if pressed else Level.DEAD)
