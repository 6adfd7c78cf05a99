"""Key states: the settled relays against every possible relay state, three values against every truth, and the classical relay circuits."""

from __future__ import annotations

import tempfile
from itertools import combinations, product
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import tracer
from tracer.circuit.states import KeyStates, Level


def _circuit(parts: str, runs: list[str], vehicle: str = "") -> tracer.Circuit:
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        (folder / "sheets").mkdir()
        (folder / "vehicle.yaml").write_text(f"vehicle: v\n{vehicle}\n", encoding="utf-8")
        text = f"sheet: 1\nparts: {{BAT: battery, P: splice, N: splice, {parts}}}\nruns:\n"
        text += "".join(f"- {run}\n" for run in ["BAT.+ -- RD 1 -- P", "BAT.- -- BK 1 -- N", *runs])
        (folder / "sheets" / "1.yaml").write_text(text, encoding="utf-8")
        return tracer.load(scratch)


def _states(parts: str, runs: list[str], vehicle: str = "") -> KeyStates:
    return KeyStates(_circuit(parts, runs, vehicle))


def _supply(states: KeyStates, at: str, key: str) -> Level:
    return states.supply_level(states.circuit.node_names.index(at), key)


# --- against every relay state ---------------------------------------------------------------------------------------

RELAYS = 3
Net = str


@st.composite
def relay_nets(draw: st.DrawFn) -> tuple[list[tuple[Net, Net, int, str]], list[tuple[Net, Net]], int]:
    """Contacts (net, net, relay, position), coils (net, net), and the number of hand switches among the contacts (relay -1, -2 ...)."""
    nets = st.sampled_from(("P", "N", "A", "B", "C", "D"))
    pair = st.tuples(nets, nets).filter(lambda two: two[0] != two[1])
    coils = [draw(pair) for _ in range(RELAYS)]
    contacts = [(*draw(pair), relay, draw(st.sampled_from(("rest", "energised")))) for relay in range(RELAYS)]
    contacts += [
        (*draw(pair), relay, draw(st.sampled_from(("rest", "energised"))))
        for relay in draw(st.lists(st.integers(0, RELAYS - 1), max_size=2))
    ]
    hands = draw(st.integers(0, 2))
    contacts += [(*draw(pair), -1 - hand, "on") for hand in range(hands)]
    return contacts, coils, hands


def _typed(contacts: list[tuple[Net, Net, int, str]], coils: list[tuple[Net, Net]], hands: int) -> KeyStates:
    """The same net as a vehicle: contact number n of relay k has pins an and bn."""
    parts, runs = ["A: splice, B: splice, C: splice, D: splice"], []
    tables: dict[int, dict[str, list[str]]] = {}
    for number, (a, b, relay, position) in enumerate(contacts):
        tables.setdefault(relay, {}).setdefault(position, []).append(f"a{number}-b{number}")
        name = f"K{relay}" if relay >= 0 else f"H{-relay}"
        runs += [f"{a} -- RD 1 -- {name}.a{number}", f"{b} -- RD 1 -- {name}.b{number}"]
    for relay, (a, b) in enumerate(coils):
        table = ", ".join(f"{position}: [{', '.join(groups)}]" for position, groups in tables.get(relay, {}).items())
        parts.append(f"K{relay}: {{is: relay, coil: 86-85, contacts: {{{table}}}}}")
        runs += [f"{a} -- RD 1 -- K{relay}.86", f"{b} -- RD 1 -- K{relay}.85"]
    for hand in range(1, hands + 1):
        table = ", ".join(groups for groups in tables[-hand]["on"])
        parts.append(f"H{hand}: {{is: switch, contacts: {{off: [], on: [{table}]}}}}")
    return _states(", ".join(parts), runs, "key: [run]")


def _reach(start: Net, barred: Net, closed: list[tuple[Net, Net]]) -> set[Net]:
    """Slow and obvious: what is joined with a net; the other pole is reached but not passed."""
    reached = {start}
    grown = True
    while grown:
        grown = False
        for a, b in closed:
            for here, there in ((a, b), (b, a)):
                if here in reached and there not in reached and here != barred:
                    reached.add(there)
                    grown = True
    return reached


def _next(
    contacts: list[tuple[Net, Net, int, str]],
    coils: list[tuple[Net, Net]],
    state: tuple[bool, ...],
    hands: dict[int, bool],
) -> tuple[bool, ...]:
    closed = [
        (a, b)
        for a, b, relay, position in contacts
        if (hands[-relay] if relay < 0 else state[relay] == (position == "energised"))
    ]
    supply, ground = _reach("P", "N", closed), _reach("N", "", closed)
    return tuple((a in supply and b in ground) or (b in supply and a in ground) for a, b in coils)


def _cycle_from_rest(step: dict[tuple[bool, ...], tuple[bool, ...]]) -> list[tuple[bool, ...]]:
    """Where moving all relays together ends: one state that holds, or a ring of states."""
    seen: list[tuple[bool, ...]] = []
    state = (False,) * RELAYS
    while state not in seen:
        seen.append(state)
        state = step[state]
    return seen[seen.index(state) :]


def _restless(step: dict[tuple[bool, ...], tuple[bool, ...]]) -> set[int]:
    """The relays that never come to rest where some order of moves ends, one at a time or several at once; every state is asked by itself."""

    def after(state: tuple[bool, ...]) -> set[tuple[bool, ...]]:
        moving = [n for n in range(RELAYS) if step[state][n] != state[n]]
        some = (set(going) for size in range(1, len(moving) + 1) for going in combinations(moving, size))
        return {tuple(on != (n in going) for n, on in enumerate(state)) for going in some}

    def reached(state: tuple[bool, ...]) -> set[tuple[bool, ...]]:
        found, queue = {state}, [state]
        while queue:
            more = after(queue.pop()) - found
            found |= more
            queue += more
        return found

    rings = {state: reached(state) for state in reached((False,) * RELAYS)}
    ends = [ring for state, ring in rings.items() if all(state in reached(other) for other in ring)]
    return {n for ring in ends for n in range(RELAYS) if len({state[n] for state in ring}) > 1}


@given(relay_nets())
# all together come to rest, held over a net that is plus and ground for a moment; where K1 is quicker, K2 opens its own coil for ever
@example(
    (
        [
            ("N", "A", 0, "energised"),
            ("P", "N", 1, "rest"),
            ("P", "A", 2, "rest"),
            ("P", "B", 0, "rest"),
            ("N", "C", 2, "rest"),
        ],
        [("P", "A"), ("P", "N"), ("B", "C")],
        0,
    )
)
# each of two relays opens the other's coil: whichever is quicker holds
@example(
    ([("P", "A", 1, "rest"), ("P", "B", 0, "rest"), ("P", "D", 2, "rest")], [("A", "N"), ("B", "N"), ("C", "N")], 0)
)
def test_a_settled_state_is_one_of_all_the_states_that_hold(
    drawn: tuple[list[tuple[Net, Net, int, str]], list[tuple[Net, Net]], int],
) -> None:
    contacts, coils, hands = drawn
    states = _typed(contacts, coils, hands)
    for truth in product((False, True), repeat=hands):
        positions = {hand + 1: on for hand, on in enumerate(truth)}
        fixed = {f"H{hand}={'on' if on else 'off'}": True for hand, on in positions.items()}
        step = {state: _next(contacts, coils, state, positions) for state in product((False, True), repeat=RELAYS)}
        settled = states.settle("run", {}, fixed)
        levels = tuple(settled.relays[f"K{relay}"] for relay in range(RELAYS))
        cycle = _cycle_from_rest(step)
        if len(cycle) == 1:  # all together they come to rest there; which order of moves ends elsewhere: test_moves.py
            assert {int(name.removeprefix("K")) for name in settled.unstable} <= _restless(step)
            assert all(
                level in (Level.DEPENDS, Level.LIVE if on else Level.DEAD)
                for level, on in zip(levels, cycle[0], strict=True)
            )
        if settled.unstable:  # in which order: test_moves.py
            continue
        if Level.DEPENDS in levels:
            assert settled.races
            continue
        found = tuple(level is Level.LIVE for level in levels)
        assert step[found] == found
        if all(position == "energised" for _, _, relay, position in contacts if relay >= 0):
            holding = [state for state, after in step.items() if state == after]
            assert all(not one or other for state in holding for one, other in zip(found, state, strict=True)), (
                "not the least fixpoint"
            )


@given(relay_nets())
def test_live_and_dead_hold_for_every_position_of_the_hand_switches(
    drawn: tuple[list[tuple[Net, Net, int, str]], list[tuple[Net, Net]], int],
) -> None:
    contacts, coils, hands = drawn
    contacts = [
        (a, b, relay, "on" if relay < 0 else "energised") for a, b, relay, _ in contacts
    ]  # make contacts only: one least state for each truth
    states = _typed(contacts, coils, hands)
    free = states.settle("run", {})
    for node in ("A", "B", "C", "D"):
        net = states.nets.of[states.circuit.node_names.index(node)]
        level = free.supply.get(net, Level.DEAD)
        for positions in product(("off", "on"), repeat=hands):
            fixed = {f"H{hand}={position}": True for hand, position in enumerate(positions, 1)}
            sure = states.settle("run", {}, fixed).supply.get(net, Level.DEAD)
            if level is not Level.DEPENDS:
                assert sure is level


# --- classical circuits ----------------------------------------------------------------------------------------------
# The self-hold with a stop button, the interlock of two relays, the change-over and the self-interrupting buzzer stand in every textbook of
# relay and contactor circuits; the circuits and their behaviour are given here from memory, the terminal numbers are those of DIN 72552.

HOLD = (
    "K1: {is: relay, kind: normally open}, ON: {is: switch, kind: make switch}, OFF: {is: switch, kind: break switch}"
)
HOLD_RUNS = [
    "P -- RD 1 -- OFF.1",
    "OFF.2 -- RD 1 -- K1.30",
    "OFF.2 -- RD 1 -- ON.1",
    "ON.2 -- RD 1 -- K1.86",
    "K1.87 -- RD 1 -- K1.86",
    "K1.85 -- BN 1 -- N",
]


def test_a_relay_that_holds_itself_stays_until_the_stop_button() -> None:
    states = _states(HOLD, HOLD_RUNS, "key: [run]")

    def press(on: str, off: str, before: dict[str, Level]) -> dict[str, Level]:
        return states.settle("run", before, {f"ON={on}": True, f"OFF={off}": True}).relays

    rest = press("released", "released", {})
    pulled_in = press("pressed", "released", rest)
    held = press("released", "released", pulled_in)
    dropped = press("released", "pressed", held)
    again = press("released", "released", dropped)
    assert [state["K1"] for state in (rest, pulled_in, held, dropped, again)] == [
        Level.DEAD,
        Level.LIVE,
        Level.LIVE,
        Level.DEAD,
        Level.DEAD,
    ]


def test_two_interlocked_relays_are_a_race_when_both_buttons_are_pressed() -> None:
    parts = "K1: {is: relay, kind: normally closed}, K2: {is: relay, kind: normally closed}"
    runs = [
        "P -- RD 1 -- K1.30",
        "K1.87a -- RD 1 -- K2.86",
        "K2.85 -- BN 1 -- N",
        "P -- RD 1 -- K2.30",
        "K2.87a -- RD 1 -- K1.86",
        "K1.85 -- BN 1 -- N",
    ]
    settled = _states(parts, runs, "key: [run]").settle("run", {})
    assert settled.races == ("K1", "K2")
    assert not settled.unstable


def test_a_relay_that_opens_its_own_coil_is_named_and_never_looped_on() -> None:
    parts = "K1: {is: relay, kind: normally closed}"
    settled = _states(
        parts, ["P -- RD 1 -- K1.30", "K1.87a -- RD 1 -- K1.86", "K1.85 -- BN 1 -- N"], "key: [run]"
    ).settle("run", {})
    assert settled.unstable == ("K1",)


@pytest.mark.parametrize(("key", "rest", "make"), [("off", Level.LIVE, Level.DEAD), ("run", Level.DEAD, Level.LIVE)])
def test_a_change_over_joins_30_with_87a_at_rest_and_with_87_when_energised(key: str, rest: Level, make: Level) -> None:
    parts = "K1: {is: relay, kind: change-over}, E1: load, E2: load"
    runs = [
        "P -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- E1.1",
        "K1.87a -- RD 1 -- E2.1",
        "15 -- RD 1 -- K1.86",
        "K1.85 -- BN 1 -- N",
    ]
    states = _states(parts, runs, 'rails: {"15": [run]}\nkey: [off, run]')
    assert (_supply(states, "K1.87a", key), _supply(states, "K1.87", key)) == (rest, make)


def test_a_latching_relay_remembers_on_the_way_back() -> None:
    parts = "K1: {is: relay, kind: latching}, E1: load"
    runs = [
        "P -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- E1.1",
        "50 -- RD 1 -- K1.86",
        "K1.85 -- BN 1 -- N",
        "N -- BN 1 -- K1.86r",
        "N -- BN 1 -- K1.85r",
    ]
    states = _states(parts, runs, 'rails: {"50": [start]}\nkey: [off, run, start]')
    assert states.settled["run"].relays["K1"] is Level.DEAD
    assert states.settled_again["run"].relays["K1"] is Level.LIVE
    assert _supply(states, "K1.87", "run") is Level.DEPENDS
    assert "what came before" in states.reasons(states.circuit.node_names.index("K1.87"), "run")[0].text


# --- what decides besides the key ------------------------------------------------------------------------------------


def test_what_hangs_on_a_condition_depends_only_where_it_is_possible() -> None:
    vehicle = 'rails: {"58": [lights]}\nconditions: {lights: {text: side lights, when: [run]}}\nkey: [off, run]'
    states = _states("F: {is: fuse, amps: 5}", ["58 -- GY 1 -- F.feed"], vehicle)
    assert (_supply(states, "F.load", "off"), _supply(states, "F.load", "run")) == (Level.DEAD, Level.DEPENDS)
    assert [reason.text for reason in states.reasons(states.circuit.node_names.index("F.load"), "run")] == ["lights"]


def test_whether_15_stays_during_start_is_never_guessed() -> None:
    states = _states("F: {is: fuse, amps: 5}", ["15 -- GY 1 -- F.feed"], 'rails: {"15": din}')
    levels = [_supply(states, "F.load", key) for key in states.keys]
    assert levels == [Level.DEAD, Level.DEAD, Level.LIVE, Level.DEPENDS]
    assert not states.reasons(states.circuit.node_names.index("F.load"), "start")[0].known


def test_a_diode_passes_supply_from_a_to_k_only() -> None:
    states = _states(
        "D: diode, E1: load, D2: diode, E2: load",
        ["P -- RD 1 -- D.A", "D.K -- RD 1 -- E1.1", "P -- RD 1 -- D2.K", "D2.A -- RD 1 -- E2.1"],
    )
    assert _supply(states, "E1.1", "off") is Level.LIVE
    assert _supply(states, "E2.1", "off") is Level.DEAD


def test_a_module_without_supply_commands_nothing_and_lives_by_no_bootstrap() -> None:
    """A relay fed module that holds its own relay stays dead until something else wakes it."""
    module = "M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: output}, outputs: {3: {drives: low, through: 2, when: always}}}"
    runs = [
        "P -- RD 1 -- K1.30",
        "K1.87 -- RD 1 -- M.1",
        "P -- RD 1 -- K1.86",
        "K1.85 -- BN 1 -- M.3",
        "M.2 -- BN 1 -- N",
    ]
    alone = _states(f"K1: {{is: relay, kind: normally open}}, {module}", runs)
    assert _supply(alone, "M.1", "run") is Level.DEAD
    woken = _states(
        f"K1: {{is: relay, kind: normally open}}, {module}", [*runs, "15 -- RD 1 -- M.1"], 'rails: {"15": [run]}'
    )
    assert _supply(woken, "M.1", "run") is Level.LIVE


def test_a_converter_gives_only_what_it_gets() -> None:
    runs = ["15 -- RD 1 -- DC.in", "DC.ground -- BN 1 -- N", "DC.out -- RD 1 -- E1.1"]
    states = _states("DC: converter, E1: load", runs, 'rails: {"15": [run]}\nkey: [off, run]')
    assert (_supply(states, "E1.1", "off"), _supply(states, "E1.1", "run")) == (Level.DEAD, Level.LIVE)


def test_nothing_behind_an_open_end_is_called_dead() -> None:
    states = _states("S: splice, E1: load", ["ref 1>2 -- RD 1 -- S", "S -- RD 1 -- E1.1"])
    assert _supply(states, "E1.1", "run") is Level.DEPENDS
    reasons = states.reasons(states.circuit.node_names.index("E1.1"), "run")
    assert [reason.known for reason in reasons] == [False]


@pytest.mark.parametrize("rail", ["15", "30", "50", "58"])
def test_a_terminal_in_a_key_state_of_the_vehicles_own_is_unknown_there_never_dead(rail: str) -> None:
    """DIN 72552 knows no key state `comfort`: what the terminal does there is not known, whatever it does in the others."""
    states = _states(
        "F: {is: fuse, amps: 5}", [f"{rail} -- GY 1 -- F.feed"], f'key: [off, comfort, run]\nrails: {{"{rail}": din}}'
    )
    assert _supply(states, "F.load", "comfort") is Level.DEPENDS
    node = states.circuit.node_names.index("F.load")
    assert [reason.known for reason in states.reasons(node, "comfort")] == [False]


# --- what nobody knows is never dead -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("parts", "runs", "vehicle", "key", "why"),
    [
        ("SW: {is: switch, follows: key, contacts: {run: [1-2]}}", ["P -- RD 1 -- SW.1"], "", "off", "what SW does in off"),
        ("SW: {is: switch, follows: key, contacts: {off: unknown, run: [1-2]}}", ["P -- RD 1 -- SW.1"], "", "off", "what SW does in off"),
        ("SW: {is: switch, follows: lights, contacts: {no: unknown, yes: [1-2]}}", ["P -- RD 1 -- SW.1"], "", "off", "what SW joins in position no"),
        ("SW: {is: switch, contacts: {off: unknown, on: [1-2]}}", ["P -- RD 1 -- SW.1"], "", "off", "what SW.2 is joined with inside SW"),
        ("", ["15 -- RD 1 -- SW.2"], 'rails: {"15": unknown}', "off", "when rail 15 is live"),
        ("", ["15 -- RD 1 -- SW.2"], 'rails: {"15": din}', "start", "whether rail 15 is live in start"),
        ("", ["58 -- RD 1 -- SW.2"], 'rails: {"58": din}', "run", "whether rail 58 is live in run"),
        ("", ["X -- RD 1 -- SW.2"], "rails: {X: din}", "run", "whether rail X is live in run"),
        ("", ["ref 1>2 -- RD 1 -- SW.2"], "", "off", "what comes over ref 1>2"),
        ("", ["SW.2 -- RD 1 -- ?"], "", "off", "leads"),
        ("F1: {is: fuse, amps: 5}", ["F1.load -- RD 1 -- SW.2"], "", "off", "what feeds F1"),
        ("X1: {is: connector, cavities: 1-2}", ["X1.1:a -- RD 1 -- SW.2"], "", "off", "what is behind X1.1"),
        ("B: {is: box, cavities: 1-2}", ["P -- RD 1 -- B.1", "B.2 -- RD 1 -- SW.2"], "", "off", "joined with inside B"),
        ("K: {is: relay, kind: normally open}", ["P -- RD 1 -- K.30", "K.87 -- RD 1 -- SW.2"], "", "off", "its coil is not typed in"),
        ("K: {is: relay, kind: change-over}", ["P -- RD 1 -- K.30", "K.87a -- RD 1 -- SW.2"], "", "off", "its coil is not typed in"),
    ],
)  # fmt: skip
def test_what_is_not_known_is_never_dead(parts: str, runs: list[str], vehicle: str, key: str, why: str) -> None:
    switch = "" if "SW:" in parts else "SW: {is: splice}"
    runs = [run.replace("SW.2", "SW") if switch else run for run in runs]
    more = "conditions: {lights: on}\nkey: [off, run, start]"
    made = ", ".join(one for one in (parts, switch) if one)
    states = _states(f"{made}, E: load", [*runs, f"{'SW' if switch else 'SW.2'} -- RD 1 -- E.1"], f"{vehicle}\n{more}")
    assert _supply(states, "E.1", key) is Level.DEPENDS
    reasons = states.reasons(states.circuit.node_names.index("E.1"), key)
    assert any(why in reason.text and not reason.known for reason in reasons), reasons


@pytest.mark.parametrize(
    ("when", "off", "run"),
    [
        ("[run and lights]", Level.DEAD, Level.DEPENDS),
        ("[lights and run]", Level.DEAD, Level.DEPENDS),
        ("[not run and lights]", Level.DEPENDS, Level.DEAD),
        ("[run and not lights]", Level.DEAD, Level.DEPENDS),
        ("[run, lights]", Level.DEPENDS, Level.LIVE),
        ("[off, run and lights]", Level.LIVE, Level.DEPENDS),
    ],
)
def test_all_that_is_joined_by_and_must_hold_and_any_entry_suffices(when: str, off: Level, run: Level) -> None:
    vehicle = f'rails: {{"58": {when}}}\nconditions: {{lights: on}}\nkey: [off, run]'
    states = _states("E: load", ["58 -- GY 1 -- E.1"], vehicle)
    assert (_supply(states, "E.1", "off"), _supply(states, "E.1", "run")) == (off, run)


def test_a_half_bridge_that_is_commanded_may_drive_either_way() -> None:
    module = "M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground}, outputs: {3: {drives: %s, from: 1, %swhen: [run]}}}"
    runs = ["P -- RD 1 -- M.1", "M.2 -- BN 1 -- N", "M.3 -- RD 1 -- E.1"]
    high = _states("E: load, " + module % ("high", ""), runs)
    assert (_supply(high, "E.1", "off"), _supply(high, "E.1", "run")) == (Level.DEAD, Level.LIVE)
    both = _states("E: load, " + module % ("both", "through: 2, "), runs)
    assert (_supply(both, "E.1", "off"), _supply(both, "E.1", "run")) == (Level.DEAD, Level.DEPENDS)
    assert [one.text for one in both.reasons(both.circuit.node_names.index("E.1"), "run")] == ["which way M drives pin 3"]  # fmt: skip


# --- modules whose supplies are not declared -------------------------------------------------------------------------

SWITCHED = (
    ["BAT.+ -- RD 1 -- IG.1", "IG.2 -- RD 1 -- D.1", "D.2 -- BN 1 -- BAT.-", "BAT.+ -- RD 1 -- F1.feed", "M.3 -- BN 1 -- D.3"],
    "IG: {is: switch, follows: key, contacts: {off: [], run: [1-2]}}, M: module, F1: {is: fuse, amps: 5}",
    "key: [off, run]",
)  # fmt: skip


@pytest.mark.parametrize(
    ("pins", "more", "off"),
    [
        ("1: supply, 2: ground, 3: output", [], Level.DEAD),
        ("3: output", [], Level.DEPENDS),  # nobody says by which pins it works, and none that supply comes to is live
        ("3: output", ["D.4 -- RD 1 -- F1.load"], Level.LIVE),  # by one of them it does
        ("1: supply, 3: output", ["D.4 -- RD 1 -- F1.load"], Level.DEPENDS),  # it may work by the one that is not declared
        ("1: supply, 3: output, 4: signal", ["D.4 -- RD 1 -- F1.load"], Level.DEAD),
    ],
)  # fmt: skip
def test_a_module_of_undeclared_supplies_neither_works_without_one_nor_is_dead_for_certain(
    pins: str, more: list[str], off: Level
) -> None:
    runs, parts, vehicle = SWITCHED
    module = (
        f"D: {{is: module, cavities: 1-4, pins: {{{pins}}}, outputs: {{3: {{drives: low, through: 2, when: always}}}}}}"
    )
    states = _states(f"{parts}, {module}", [*runs, *more], vehicle)
    node = states.circuit.node_names.index("M.3")
    assert states.ground_level(node, "off") is off
    assert states.ground_level(node, "run") is Level.LIVE
    if off is Level.DEPENDS:
        (reason,) = states.reasons(node, "off", supply=False)
        assert "supplies" in reason.text and not reason.known


@pytest.mark.parametrize(
    ("pins", "more", "off"),
    [
        ("1: supply, 2: ground, 3: output", [], Level.DEAD),
        ("1: supply, 2: ground, 3: output, 4: ground", ["D.4 -- BN 1 -- BAT.-"], Level.LIVE),
        ("1: supply, 2: ground, 3: output", ["D.4 -- BN 1 -- BAT.-"], Level.DEPENDS),  # it may be grounded by pin 4
        ("1: supply, 3: output", [], Level.LIVE),  # none of its grounds is typed in: it counts as grounded
        ("1: supply, 2: ground, 3: output", ["D.2 -- BN 1 -- ref A"], Level.DEPENDS),  # what comes over it is not known
    ],
)
def test_a_module_of_which_every_ground_is_switched_off_commands_nothing(
    pins: str, more: list[str], off: Level
) -> None:
    runs = ["BAT.- -- BN 1 -- IG.1", "IG.2 -- BN 1 -- D.2", "BAT.+ -- RD 1 -- D.1", "D.3 -- RD 1 -- M.1"]
    switch = "IG: {is: switch, follows: key, contacts: {off: [], run: [1-2]}}"
    module = (
        f"D: {{is: module, cavities: 1-4, pins: {{{pins}}}, outputs: {{3: {{drives: high, from: 1, when: always}}}}}}"
    )
    states = _states(f"{switch}, M: module, {module}", [*runs, *more], "key: [off, run]")
    assert _supply(states, "M.1", "off") is off
    assert _supply(states, "M.1", "run") is Level.LIVE
    if off is Level.DEPENDS:
        (reason,) = states.reasons(states.circuit.node_names.index("M.1"), "off")
        assert not reason.known


# --- generators ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("pin", ["D+", "61"])
def test_nothing_behind_a_terminal_that_is_live_while_a_generator_turns_is_dead(pin: str) -> None:
    parts = "GEN: generator, K: {is: relay, kind: change-over}, M: module"
    runs = ["BAT.+ -- RD 1 -- K.30", "K.87 -- RD 1 -- M.1", "K.87a -- RD 1 -- M.2", f"GEN.{pin} -- BU 1 -- K.86", "K.85 -- BN 1 -- BAT.-"]  # fmt: skip
    states = _states(parts, runs)
    for at in ("M.1", "M.2"):
        assert _supply(states, at, "run") is Level.DEPENDS
        (reason,) = states.reasons(states.circuit.node_names.index(at), "run")
        assert reason.text == f"what GEN.{pin} gives" and not reason.known


def test_what_a_rail_says_of_such_a_terminal_is_known_and_other_terminals_give_nothing() -> None:
    runs = ["GEN.D+ -- BU 1 -- 61", "61 -- BU 1 -- M.1", "GEN.W -- BU 1 -- M.2", "GEN.IG -- BU 1 -- 15", "15 -- BK 1 -- M.3"]  # fmt: skip
    vehicle = "conditions: {engine: it runs}\nrails: {'61': [engine], '15': [run]}"
    states = _states("GEN: generator, M: module", runs, vehicle)
    node = states.circuit.node_names.index("M.1")
    assert [reason.text for reason in states.reasons(node, "run")] == ["engine"]
    assert _supply(states, "M.2", "run") is Level.DEAD and _supply(states, "M.3", "off") is Level.DEAD
