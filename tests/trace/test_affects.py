"""What opening a part takes away, against taking it out and tracing anew; and the cases of the trade, one by one."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import tracer
from tests.trace.drawn import FUSES, runs, typed
from tests.trace.slow import LEVELS, lost_without
from tests.typed import load
from tracer.circuit.model import Circuit, LinkKind
from tracer.circuit.states import KeyStates, Level
from tracer.trace.affects.dead_part import (
    FEWER,
    LOST,
    OTHER_WAY,
    SOME_STATES,
    Affected,
    AffectsReport,
    UnknownPart,
    affects,
    target_of,
)
from tracer.trace.affects.every_part import every_loss
from tracer.trace.affects.in_common import common_of
from tracer.trace.affects.still_fed import Opened, Reach
from tracer.trace.tracing import Tracing

DEMO = str(Path(__file__).parent.parent.parent / "circuits" / "minibus")


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(DEMO))


def test_a_pin_that_does_not_exist_names_those_that_do_in_order(demo: Tracing) -> None:
    with pytest.raises(UnknownPart, match=r"Wired pins: 1, 2, 3, 4"):
        Affected(demo).report("ALM", "99")


# --- against a fresh trace -----------------------------------------------------------------------------------


@given(runs(), st.data())
def test_what_is_lost_is_what_a_fresh_trace_no_longer_finds(lines: tuple[str, ...], data: st.DataObject) -> None:
    tracing = Tracing(typed(lines))
    circuit = tracing.circuit
    name = data.draw(st.sampled_from(sorted(name for name, part in circuit.parts.items() if part.kind != "panel")))
    opened = target_of(circuit, name).opened
    _same_as_slow(tracing, opened)


@given(runs(), st.data())
def test_a_wire_or_a_few_of_them_are_lost_as_a_fresh_trace_says(lines: tuple[str, ...], data: st.DataObject) -> None:
    tracing = Tracing(typed(lines))
    links = data.draw(st.sets(st.integers(0, len(tracing.circuit.links) - 1), min_size=1, max_size=3))
    _same_as_slow(tracing, Opened(frozenset(links)))


def test_what_only_a_generator_feeds_in_any_setting_is_not_lost_with_the_battery() -> None:
    """SW.7 is joined with 4 in one position, 6 with 4 in another: the battery at 6 never feeds 7, the generator at 4 does."""
    lines = ("BAT.+ -- RD 1 -- SW.6", "S0 -- RD 1 -- GEN.B+", "S0 -- RD 1 -- SW.4", "BAT.- -- RD 1 -- G0")
    tracing = Tracing(typed(lines))
    circuit = tracing.circuit
    (wire,) = (n for n, link in enumerate(circuit.links) if {circuit.node_names[link.a], circuit.node_names[link.b]} == {"BAT.+", "SW.6"})  # fmt: skip
    opened = Opened(frozenset({wire}))
    _same_as_slow(tracing, opened)
    lost = {circuit.node_names[node] for node in Reach(tracing, steady=True).lost_by(opened).supply}
    assert {"SW.6", "SW.4"} <= lost and "SW.7" not in lost


def _same_as_slow(tracing: Tracing, opened: Opened) -> None:
    for steady in (False, True):
        loss = Reach(tracing, steady=steady).lost_by(opened)
        lost, fallen = lost_without(tracing, set(opened.links), set(opened.nodes), steady=steady)
        for level in LEVELS:
            assert set(loss.at(level)) == lost[level], level
        assert {dropped.part for dropped in loss.dropped} == fallen


@given(runs())
def test_one_pass_over_all_parts_answers_as_one_at_a_time(lines: tuple[str, ...]) -> None:
    tracing = Tracing(typed(lines))
    terminals = Affected(tracing).fitted().terminals
    found = {one.part: one for one in every_loss(tracing).parts}
    assert set(found) == {part.name for part in tracing.circuit.parts.values() if part.kind != "panel"}
    for name, one in found.items():
        opened = target_of(tracing.circuit, name).opened
        lost, fallen = lost_without(tracing, set(opened.links), set(opened.nodes))
        assert {gone.part for gone in one.dropped} == fallen - {name}
        relays = {part for part in fallen if tracing.circuit.parts[part].kind == "relay"} | {name}
        assert list(one.lost) == [end for end in terminals if end.node in lost[end.level] and end.part not in relays]


@given(runs())
# what a contact with an open end may still feed is less sure, not lost
@example(("BAT.+ -- RD 1 -- F0.feed", "BAT.- -- RD 1 -- G0", "BAT.- -- RD 1 -- K2.30", "K2.30 -- RD 1 -- K0.85"))
def test_what_one_pass_says_is_lost_is_named_when_the_part_is_asked_for(lines: tuple[str, ...]) -> None:
    tracing = Tracing(typed(lines))
    for one in every_loss(tracing).parts:
        effects = tracing.once(Affected).report(one.part).effects
        assert set(one.lost) <= {effect.terminal for effect in effects if effect.verdict != OTHER_WAY}


_TWO_FUSES = ("BAT.+ -- RD 1 -- F0.feed", "BAT.+ -- RD 1 -- F1.feed", "BAT.- -- RD 1 -- G0", "G0 -- RD 1 -- M0.2")


@given(runs(), st.integers(0, FUSES - 1))
# another fuse feeds the same pin
@example((*_TWO_FUSES, "F0.load -- RD 1 -- M0.1", "F1.load -- RD 1 -- M0.1"), 0)
# what is left comes from an output that is on in run and start only
@example((*_TWO_FUSES, "F1.load -- RD 1 -- M0.1", "F0.load -- RD 1 -- E0.1", "M0.4 -- RD 1 -- E0.1"), 0)
# the fuse of the coil lets a change-over relay fall back, which feeds the load
@example(
    (
        *_TWO_FUSES,
        "F0.load -- RD 1 -- K1.86",
        "K1.85 -- RD 1 -- G0",
        "F1.load -- RD 1 -- K1.30",
        "K1.87a -- RD 1 -- E0.1",
    ),
    0,
)
def test_every_verdict_agrees_with_the_vehicle_typed_again_without_the_fuse(
    lines: tuple[str, ...], number: int
) -> None:
    fuse = f"F{number}"
    circuit, without = typed(lines), typed(lines, empty=fuse)
    report = affects(circuit, fuse)
    if any(relay.kind == "module" and relay.lacks == "ground" for relay in report.relays):
        return  # the key states let a module without ground go on switching; `affects` does not
    before, after = KeyStates(circuit), KeyStates(without)
    told = {(effect.terminal.part, effect.terminal.pin, effect.terminal.level): effect for effect in report.effects}
    gained = {(gain.terminal.part, gain.terminal.pin, gain.terminal.level) for gain in report.gains}
    for terminal in Affected(Tracing(circuit)).fitted().terminals:
        key = (terminal.part, terminal.pin, terminal.level)
        then = _levels(before, circuit, key)
        now = _levels(after, without, key)
        effect = told.get(key)
        if effect is not None:
            assert effect.after == {state: _words(level) for state, level in now.items()}
            assert effect.before == {state: _words(level) for state, level in then.items()}
        worse = {state for state in then if now[state] < then[state]}
        dead = {state for state in worse if now[state] is Level.DEAD}
        if worse and all(level is Level.DEAD for level in now.values()):
            assert effect is not None and effect.verdict == LOST
        elif dead:
            assert effect is not None and effect.verdict == SOME_STATES and set(effect.states) == dead
        elif worse:
            assert effect is not None and effect.verdict == FEWER
        elif effect is not None:
            structurally_gone = all(level is Level.DEAD for level in now.values())
            assert effect.verdict in (OTHER_WAY, FEWER) or (effect.verdict == LOST and structurally_gone)
        elif any(now[state] > then[state] for state in then):
            assert key in gained


def _levels(states: KeyStates, circuit: Circuit, key: tuple[str, str, str]) -> dict[str, Level]:
    node = circuit.node_of_point[key[0], key[1]]
    of = states.supply_level if key[2] == "supply" else states.ground_level
    return {state: of(node, state) for state in states.keys}


def _words(level: Level) -> str:
    return {Level.DEAD: "dead", Level.DEPENDS: "depends", Level.LIVE: "live"}[level]


# --- cases ---------------------------------------------------------------------------------------------------


def _pins(report: AffectsReport, verdict: str) -> set[str]:
    return {f"{effect.terminal.part}.{effect.terminal.pin}" for effect in report.of(verdict)}


def test_a_fuse_before_a_main_relay_takes_all_behind_its_contact(demo: Tracing) -> None:
    report = affects(demo, "F50")
    assert {"ALM.2", "RMP.6", "CMP.1", "MV1.1", "MV5.1"} <= _pins(report, LOST)
    assert [relay.part for relay in report.relays] == ["KAL", "KCP"]
    (compressor,) = [effect for effect in report.of(LOST) if effect.terminal.part == "CMP"]
    assert compressor.by == "KCP"


def test_one_of_two_ways_over_diodes_is_missed_while_cranking_only(demo: Tracing) -> None:
    report = affects(demo, "F20")
    assert _pins(report, LOST) == set()
    (effect,) = report.of(SOME_STATES)
    assert (effect.terminal.part, effect.terminal.pin) == ("ALM", "8")
    assert effect.states == ("start",)
    assert effect.remains == ("F24",)


def test_a_ring_of_grounds_is_still_grounded_another_way(demo: Tracing) -> None:
    report = affects(demo, "G5")
    assert {"ALM.1", "ALM.17"} <= _pins(report, OTHER_WAY)
    assert "SDM.3" in _pins(report, LOST)
    assert [(relay.part, relay.lacks) for relay in report.relays] == [("SDM", "ground")]
    assert all("G6" in effect.remains for effect in report.of(OTHER_WAY) if effect.terminal.part == "ALM")


def test_a_coil_without_supply_leaves_its_rest_contact_closed_while_cranking(demo: Tracing) -> None:
    report = affects(demo, "KSC", "86")
    assert [relay.part for relay in report.relays] == ["KSC"]
    gained = {f"{gain.terminal.part}.{gain.terminal.pin}": gain.states for gain in report.gains}
    assert gained["ALM.7"] == ("start",)


def test_a_bus_wire_is_told_as_a_line_that_comes_apart(demo: Tracing) -> None:
    report = affects(demo, "ALM", "25")
    (severed,) = report.severed
    assert ("ALM.25",) in severed.pieces
    assert report.effects == ()


def test_a_pin_may_be_given_in_one_word(demo: Tracing) -> None:
    assert affects(demo, "ALM.3").effects == affects(demo, "ALM", "3").effects
    assert _pins(affects(demo, "ALM.3"), LOST) == {"ALM.3"}


def test_a_connector_comes_apart_in_all_its_cavities_or_in_one(demo: Tracing) -> None:
    whole, one = affects(demo, "X4"), affects(demo, "X4", "1")
    assert _pins(one, LOST) == {"ALM.3"}
    assert {f"ALM.{pin}" for pin in range(2, 10)} <= _pins(whole, LOST)


def test_crossed_cavities_must_be_named_with_their_halves(demo: Tracing) -> None:
    with pytest.raises(UnknownPart, match="5>12 or 12>5"):
        affects(demo, "X4", "5")
    assert _pins(affects(demo, "X4", "5>12"), LOST) >= {"ALM.2"}
    assert _pins(affects(demo, "X4", "12:b"), LOST) >= {"ALM.2"}
    assert _pins(affects(demo, "X4", "5:b"), LOST) == {"ALM.7"}


def test_an_option_that_is_not_fitted_feeds_nothing(demo: Tracing) -> None:
    report = affects(demo, "F12")
    assert report.effects == ()
    assert "not fitted" in report.notes[0]


def test_either_or_is_taken_as_sitting_where_it_is_asked_for(demo: Tracing) -> None:
    report = affects(demo, "F25")
    assert _pins(report, LOST) == {"SOC.1"}
    assert "F15" in report.notes[-1]


def test_both_elements_of_a_three_tab_fuse_open_together(demo: Tracing) -> None:
    report = affects(demo, "FT1")
    assert report.target.parts == ("F27", "F28")
    assert {"SL1.1", "SL2.1"} <= _pins(report, LOST)
    assert "SL2.1" not in _pins(affects(demo, "F27"), LOST)


def test_a_whole_panel_and_a_rail_may_be_asked_for(demo: Tracing) -> None:
    assert {"ALM.3", "SOC.1"} <= _pins(affects(demo, "FPC"), LOST)
    assert {"ALM.4", "INS.2"} <= _pins(affects(demo, "15"), LOST)


@pytest.mark.parametrize(
    ("name", "pin", "message"),
    [
        ("F5O", None, "there is no part F5O. Did you mean"),
        ("ALM", "99", "ALM has no pin 99 that is wired"),
        ("S20", "1", "S20 has no pin 1"),
        ("X4", "1:c", "halves a and b"),
        ("FPC", "3", "name one of them"),
    ],
)
def test_what_cannot_be_asked_is_said(demo: Tracing, name: str, pin: str | None, message: str) -> None:
    with pytest.raises(UnknownPart, match=message.replace(".", r"\.")):
        affects(demo, name, pin)


def test_fuses_come_with_their_cautions_and_links_with_those_of_the_battery(demo: Tracing) -> None:
    from tracer.standards.cautions import caution

    assert caution("fuse-rating") in affects(demo, "F7").cautions
    assert caution("battery-order") in affects(demo, "ML1").cautions


def test_a_wire_that_opens_is_not_taken_for_one_that_was_never_typed(demo: Tracing) -> None:
    """The half of a connector that loses its wire is open, not unknown: what hangs there is dead, not uncertain."""
    report = affects(demo, "G5")
    (effect,) = [effect for effect in report.effects if effect.terminal.part == "SDM" and effect.terminal.pin == "3"]
    assert set(effect.after.values()) == {"dead"}


def test_opening_asks_nothing_of_links_that_are_not_there(demo: Tracing) -> None:
    coil = next(n for n, link in enumerate(demo.circuit.links) if link.kind is LinkKind.COIL)
    assert Reach(demo).lost_by(Opened(frozenset((coil,)))).supply == {}


def test_some_key_states_are_never_called_every(tmp_path: Path) -> None:
    """A pin that keeps supply in run and start only must not read `live in every key state`."""
    from tracer.report.affects import levels_words

    assert levels_words({"run": "live", "start": "live"}, every=False) == "live in run, start"
    assert levels_words({"off": "live", "run": "live"}) == "live in every key state"


def test_a_rest_contact_that_stays_closed_is_told_by_its_key_states(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 5}, F2: {is: fuse, amps: 5}, G1: ground, IGN: {is: switch, kind: 'ignition switch, 15 stays during start'},\n"
        "  K1: {is: relay, kind: normally closed}, M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1.feed\n  - BAT.+ -- RD 1 -- IGN.30\n  - IGN.15 -- RD 1 -- F2 -- RD 1 -- K1.86\n  - K1.85 -- BN 1 -- G1\n"
        "  - F1.load -- RD 1 -- K1.30\n  - K1.87a -- RD 1 -- M.1\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BN 1 -- G1\n"
    )
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: v\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text(sheet, encoding="utf-8")
    tracing = Tracing(tracer.load(str(tmp_path)))
    from tracer.report.affects import as_text

    text = as_text(tracing.circuit, affects(tracing, "F2"))
    assert "now live in run, start" in text
    assert "every key state" not in text


@pytest.mark.parametrize("feeder", ["BAT", "CV", "D", "GEN"])
def test_what_only_one_part_feeds_is_lost_when_that_part_comes_off(feeder: str, tmp_path: Path) -> None:
    parts = "BAT: battery, G1: ground, CV: {is: converter, return: isolated}, GEN: generator, D: {is: module, pins: {1: supply, 2: ground, 3: output}, outputs: {3: {drives: high, from: 1, when: always}}}, M: module"
    fed = {"BAT": "BAT.+", "CV": "CV.out", "D": "D.3", "GEN": "GEN.B+"}[feeder]
    runs = ["BAT.- -- BN 1 -- G1", "BAT.+ -- RD 1 -- D.1", "BAT.+ -- RD 1 -- CV.in", "CV.ground -- BN 1 -- G1", "D.2 -- BN 1 -- G1",
            f"{fed} -- RD 1 -- M.1", "CV.return -- BN 1 -- M.2"]  # fmt: skip
    listed = "".join(f"- {run}\n" for run in runs)
    tracing = Tracing(load(tmp_path, f"sheet: 1\nparts: {{{parts}}}\nruns:\n{listed}"))
    report = affects(tracing, feeder)
    lost = {(effect.terminal.part, effect.terminal.pin) for effect in report.of(LOST)}
    assert ("M", "1") in lost
    assert (("M", "2") in lost) == (feeder == "CV")
    (told,) = [loss for loss in every_loss(tracing).parts if loss.part == feeder]
    assert "M" in {terminal.part for terminal in told.lost}
    assert feeder in {one.name for group in common_of(tracing, ["M.1"]).groups for one in group.candidates}


def test_a_pin_that_becomes_live_is_told_so_though_what_opened_fed_it_too(tmp_path: Path) -> None:
    """Two fuses feed its rest contact over diodes, and one of them the coil: without that one it is live with the key in run, and was dead."""
    sheet = (
        "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 5}, F2: {is: fuse, amps: 5}, D1: diode, D2: diode, G1: ground, M: module,\n"
        "  IGN: {is: switch, follows: key, contacts: {off: [], run: [30-15]}}, K1: {is: relay, kind: normally closed}}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1 -- RD 1 -- D1.A\n  - BAT.+ -- RD 1 -- F2 -- RD 1 -- D2.A\n  - D1.K -- RD 1 -- K1.30\n  - D2.K -- RD 1 -- K1.30\n"
        "  - K1.87a -- RD 1 -- M.1\n  - D2.A -- RD 1 -- IGN.30\n  - IGN.15 -- RD 1 -- K1.86\n  - K1.85 -- BN 1 -- G1\n  - BAT.- -- BN 1 -- G1\n"
    )
    tracing = Tracing(load(tmp_path, sheet, vehicle="vehicle: v\nkey: [off, run]\n"))
    report = affects(tracing, "F2")
    (gain,) = report.gains
    assert (gain.terminal.part, gain.terminal.pin, gain.states) == ("M", "1", ("run",))
    assert "M" not in {effect.terminal.part for effect in report.effects}
    assert [effect.terminal.part for effect in affects(tracing, "F1").of(OTHER_WAY)] == ["M"]
