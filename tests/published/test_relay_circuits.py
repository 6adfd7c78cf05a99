"""Relay and switch terminals of DIN 72552, and the classical relay circuits, through the key states.

Terminals, pages as in `test_din_72552.py`: [A] "DIN codes explained"; [B] "Common Terminal designations according to DIN 72552"; [E]
contacts of relays, DIN 72552 as reproduced there. The standard itself was not read.
Circuits: [LEC4] Tony R. Kuphaldt, "Lessons In Electric Circuits, Volume IV - Digital" (Design Science License), chapters "Electromechanical relays" and
"Ladder logic": start/stop with seal-in contact, forward/reverse interlock, permissive contacts in series; from memory. [PET] Frank D. Petruzella,
"Electric Motors and Control Systems", three-wire control and change-over; from memory. The self-interrupting buzzer: Horowitz and Hill, "The Art of
Electronics", chapter 1 (relays), from memory.
"""

from __future__ import annotations

import tempfile
from itertools import product
from pathlib import Path

import pytest

import tracer
from tracer.circuit.states import KeyStates, Level

LIVE, DEAD = Level.LIVE, Level.DEAD


def _states(parts: str, runs: list[str], vehicle: str = "key: [run]") -> KeyStates:
    text = f"sheet: 1\nparts: {{BAT: battery, P: splice, N: splice, {parts}}}\nruns:\n"
    text += "".join(f"- {run}\n" for run in ["BAT.+ -- RD 1 -- P", "BAT.- -- BK 1 -- N", *runs])
    with tempfile.TemporaryDirectory() as scratch:
        (Path(scratch) / "sheets").mkdir()
        (Path(scratch) / "vehicle.yaml").write_text(f"vehicle: v\n{vehicle}\n", encoding="utf-8")
        (Path(scratch) / "sheets" / "1.yaml").write_text(text, encoding="utf-8")
        return KeyStates(tracer.load(scratch))


def _pressed(**pressed: bool) -> dict[str, bool]:
    """Hand switches as `fixed`."""
    return {f"{name}={'pressed' if down else 'released'}": True for name, down in pressed.items()}


class Bench:
    """Buttons are pressed one after the other; the relays remember."""

    def __init__(self, states: KeyStates) -> None:
        self.states = states
        self.relays: dict[str, Level] = {}

    def press(self, **pressed: bool) -> dict[str, Level]:
        settled = self.states.settle("run", self.relays, _pressed(**pressed))
        self.relays = settled.relays
        return {name: level for name, level in settled.relays.items()}


# --- terminals --------------------------------------------------------------------------------------------------------

# [E]: 30 common; 87 joined with it while the coil 86-85 carries current, 87a while it does not. Coil polarity does not matter without a diode [E].
KINDS = {
    "normally open": {"87": (DEAD, LIVE)},
    "normally closed": {"87a": (LIVE, DEAD)},
    "change-over": {"87": (DEAD, LIVE), "87a": (LIVE, DEAD)},
    "double make": {"87": (DEAD, LIVE), "87b": (DEAD, LIVE)},
    "make with bridged 87": {"87": (DEAD, LIVE), "87b": (DEAD, LIVE)},
}


@pytest.mark.parametrize("polarity", ["86 plus", "85 plus"])
@pytest.mark.parametrize("kind", KINDS)
def test_relay_contacts_follow_the_coil(kind: str, polarity: str) -> None:
    plus, minus = ("86", "85") if polarity == "86 plus" else ("85", "86")
    runs = ["P -- RD 1 -- K.30", "P -- RD 1 -- H.1", f"H.2 -- RD 1 -- K.{plus}", f"K.{minus} -- BN 1 -- N"]
    loads = [f"E{pin}" for pin in KINDS[kind]]
    runs += [f"K.{pin} -- GN 1 -- E{pin} -- BN 1 -- N" for pin in KINDS[kind]]
    parts = ", ".join(
        [f"K: {{is: relay, kind: {kind}}}", "H: {is: switch, kind: make switch}", *(f"{load}: load" for load in loads)]
    )
    states = _states(parts, runs)
    for pin, expected in KINDS[kind].items():
        net = states.nets.of[states.circuit.node_names.index(f"K.{pin}")]
        for down, level in zip((False, True), expected, strict=True):
            settled = states.settle("run", {}, _pressed(H=down))
            assert settled.supply.get(net, DEAD) is level, (pin, down)


def test_the_coil_needs_both_sides() -> None:
    """A coil with plus on both ends, or ground on both, never pulls in."""
    for a, b in (("P", "P"), ("N", "N")):
        runs = [f"{a} -- RD 1 -- K.86", f"{b} -- RD 1 -- K.85", "P -- RD 1 -- K.30", "K.87 -- GN 1 -- E -- BN 1 -- N"]
        settled = _states("K: {is: relay, kind: normally open}, E: load", runs).settle("run", {})
        assert settled.relays == {"K": DEAD}


@pytest.mark.parametrize(
    ("kind", "table"),
    [
        # [A] [B]: 30 battery, 15 switched by the ignition switch, 50 starter control; 75 accessory [A]. Whether 15 stays while cranking is the vehicle's fact.
        ("ignition switch, 15 stays during start", {"75": "acc run", "15": "run start", "50": "start"}),
        ("ignition switch, 15 drops during start", {"75": "acc run", "15": "run", "50": "start"}),
    ],
)
def test_ignition_switch_terminals(kind: str, table: dict[str, str]) -> None:
    runs = ["P -- RD 1 -- IGN.30", *(f"IGN.{pin} -- BK 1 -- E{pin} -- BN 1 -- N" for pin in table)]
    parts = f'IGN: {{is: switch, kind: "{kind}"}}, ' + ", ".join(f"E{pin}: load" for pin in table)
    states = _states(parts, runs, "key: [off, acc, run, start]")
    for pin, live in table.items():
        node = states.circuit.node_names.index(f"IGN.{pin}")
        for key in states.keys:
            assert states.supply_level(node, key) is (LIVE if key in live.split() else DEAD), (pin, key)


def test_a_flasher_makes_49a_of_49() -> None:
    """[A]: 49 input, 49a output of the flasher unit; what hangs on 49a pulses, so it is never simply live."""
    runs = ["P -- RD 1 -- FL.49", "FL.49a -- GN 1 -- E -- BN 1 -- N"]
    states = _states("FL: {is: switch, kind: flasher}, E: load", runs)
    level = {pin: states.supply_level(states.circuit.node_names.index(f"FL.{pin}"), "run") for pin in ("49", "49a")}
    assert level == {"49": LIVE, "49a": Level.DEPENDS}


# --- classical circuits -----------------------------------------------------------------------------------------------


def test_start_and_stop_with_a_seal_in_contact() -> None:
    """[LEC4] [PET]: stop (break) in series with start (make) parallel to the relay's own make contact. Truth over a sequence of presses."""
    parts = "K: {is: relay, kind: normally open}, ON: {is: switch, kind: make switch}, OFF: {is: switch, kind: break switch}"
    runs = ["P -- RD 1 -- OFF.1", "OFF.2 -- RD 1 -- ON.1", "OFF.2 -- RD 1 -- K.30", "ON.2 -- RD 1 -- K.86", "K.87 -- RD 1 -- K.86", "K.85 -- BN 1 -- N"]  # fmt: skip
    bench = Bench(_states(parts, runs))
    presses = [(False, False, DEAD), (True, False, LIVE), (False, False, LIVE), (False, True, DEAD), (False, False, DEAD), (True, True, DEAD)]  # fmt: skip
    for on, off, expected in presses:
        assert bench.press(ON=on, OFF=off) == {"K": expected}


def test_forward_and_reverse_lock_each_other_out() -> None:
    """[LEC4]: each coil is fed through a break contact of the other; whoever was first stays, both at once never."""
    contacts = "coil: 86-85, contacts: {energised: [13-14], rest: [21-22]}"
    parts = f"F: {{is: relay, {contacts}}}, R: {{is: relay, {contacts}}}, A: {{is: switch, kind: make switch}}, B: {{is: switch, kind: make switch}}"
    runs = ["P -- RD 1 -- A.1", "A.2 -- RD 1 -- R.21", "R.22 -- RD 1 -- F.86", "F.85 -- BN 1 -- N",
            "P -- RD 1 -- B.1", "B.2 -- RD 1 -- F.21", "F.22 -- RD 1 -- R.86", "R.85 -- BN 1 -- N"]  # fmt: skip
    bench = Bench(_states(parts, runs))
    assert bench.press(A=True, B=False) == {"F": LIVE, "R": DEAD}
    assert bench.press(A=True, B=True) == {"F": LIVE, "R": DEAD}  # the first one keeps the second out
    assert bench.press(A=False, B=True) == {"F": DEAD, "R": LIVE}
    together = Bench(bench.states)
    assert set(together.press(A=True, B=True).values()) == {
        Level.DEPENDS
    }  # from rest at once: a race, said and not guessed
    assert bench.states.settle("run", {}, _pressed(A=True, B=True)).races == ("F", "R")


@pytest.mark.parametrize("pressed", list(product((False, True), repeat=3)))
def test_contacts_in_series_are_and_in_parallel_or(pressed: tuple[bool, bool, bool]) -> None:
    """[LEC4]: permissive contacts in series (and) with an override in parallel (or)."""
    parts = "K: {is: relay, kind: normally open}, A: {is: switch, kind: make switch}, B: {is: switch, kind: make switch}, C: {is: switch, kind: make switch}"
    runs = ["P -- RD 1 -- A.1", "A.2 -- RD 1 -- B.1", "B.2 -- RD 1 -- K.86", "P -- RD 1 -- C.1", "C.2 -- RD 1 -- K.86", "K.85 -- BN 1 -- N"]  # fmt: skip
    a, b, c = pressed
    assert Bench(_states(parts, runs)).press(A=a, B=b, C=c) == {"K": LIVE if (a and b) or c else DEAD}


@pytest.mark.parametrize("up", [False, True])
@pytest.mark.parametrize("down", [False, True])
def test_two_change_over_relays_turn_a_motor_both_ways(up: bool, down: bool) -> None:
    """[PET]: each motor wire hangs on a 30, rests on ground by 87a and is put on plus by 87; both pressed brakes the motor."""
    parts = "U: {is: relay, kind: change-over}, D: {is: relay, kind: change-over}, M: load, A: {is: switch, kind: make switch}, B: {is: switch, kind: make switch}"
    runs = ["U.87a -- BN 1 -- N", "U.87 -- RD 1 -- P", "D.87a -- BN 1 -- N", "D.87 -- RD 1 -- P", "U.30 -- GN 1 -- M -- YE 1 -- D.30",
            "P -- RD 1 -- A.1", "A.2 -- RD 1 -- U.86", "U.85 -- BN 1 -- N", "P -- RD 1 -- B.1", "B.2 -- RD 1 -- D.86", "D.85 -- BN 1 -- N"]  # fmt: skip
    states = _states(parts, runs)
    settled = states.settle("run", {}, _pressed(A=up, B=down))
    for pin, raised in (("M.1", up), ("M.2", down)):
        net = states.nets.of[states.circuit.node_names.index(pin)]
        assert settled.supply.get(net, DEAD) is (LIVE if raised else DEAD)
        assert settled.ground.get(net, DEAD) is (DEAD if raised else LIVE)


def test_a_relay_in_series_with_its_own_break_contact_buzzes() -> None:
    parts = "K: {is: relay, kind: change-over}, E: load"
    runs = ["P -- RD 1 -- K.30", "K.87a -- RD 1 -- K.86", "K.85 -- BN 1 -- N", "K.87 -- GN 1 -- E -- BN 1 -- N"]
    states = _states(parts, runs)
    settled = states.settle("run", {})
    assert settled.unstable == ("K",)
    assert settled.relays == {"K": Level.DEPENDS}
    reasons = states.reasons(states.circuit.node_names.index("K.87"), "run")
    assert [reason.text for reason in reasons] == ["relay K, which has no stable state"]


@pytest.mark.parametrize("count", [3, 4, 5])
def test_a_ring_of_break_contacts_settles_only_when_it_is_even(count: int) -> None:
    """Each coil is fed through a break contact of the one before: an odd ring has no state that holds, an even one has two (a race)."""
    parts = ", ".join(f"K{n}: {{is: relay, kind: normally closed}}" for n in range(count))
    runs = [run for n in range(count) for run in (f"P -- RD 1 -- K{n}.30", f"K{n}.87a -- RD 1 -- K{(n + 1) % count}.86", f"K{n}.85 -- BN 1 -- N")]  # fmt: skip
    settled = _states(parts, runs).settle("run", {})
    names = tuple(f"K{n}" for n in range(count))
    assert (settled.unstable, settled.races) == ((names, ()) if count % 2 else ((), names))
