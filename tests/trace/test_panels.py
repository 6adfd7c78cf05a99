"""The inventory of panels: what belongs, what feeds it, when it is live, what it serves, and its own text beside the tracing."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given

import tracer
from tests.trace.drawn import runs, typed
from tests.trace.slow import reached_without
from tracer.circuit.join import join
from tracer.circuit.model import Circuit
from tracer.entry.load import read_folder
from tracer.trace.affects.dead_part import target_of
from tracer.trace.panels.positions_of import (
    EITHER,
    ELECTRONIC,
    EMPTY,
    FITTED,
    OPTION,
    UNKNOWN,
    Position,
    UnknownPanel,
    panels_of,
)
from tracer.trace.tracing import Tracing

DEMO = str(Path(__file__).parent.parent.parent / "circuits" / "minibus")


@pytest.fixture(scope="module")
def demo() -> dict[str, Position]:
    return {position.label: position for position in panels_of(tracer.load(DEMO)).positions}


def vehicle(folder: Path, parts: str, runs: str = "[]", rails: str = "") -> Circuit:
    """A vehicle of one sheet."""
    (folder / "sheets").mkdir(parents=True)
    (folder / "vehicle.yaml").write_text(f"vehicle: v\n{rails}", encoding="utf-8")
    text = f"sheet: 1\nparts: {{BAT: battery, G1: ground, E1: load, E2: load, {parts}}}\nruns: {runs}\n"
    (folder / "sheets" / "1.yaml").write_text(text, encoding="utf-8")
    return join(read_folder(folder))


@pytest.mark.parametrize(
    ("amps", "letter", "colour"),
    # Body colours of miniature, medium and high-current blades; ISO 8820-3 by way of the pages named in tracer/standards/data/fuses.yaml.
    [
        ("5", "F", "tan"),
        ("7.5", "C", "brown"),
        ("10", "F", "red"),
        ("15", "C", "blue"),
        ("20", "F", "yellow"),
        ("25", "C", "clear"),
        ("30", "C", "green"),
        ("30", "E", "light green"),
        ("40", "E", "orange"),
        ("60", "E", "blue"),
        ("12", "F", None),
    ],
)
def test_the_colour_is_that_of_the_rating_in_its_family(
    tmp_path: Path, amps: str, letter: str, colour: str | None
) -> None:
    circuit = vehicle(tmp_path, f"FB: {{is: panel, positions: {{F1: {{amps: {amps}, type: {letter}}}}}}}")
    (position,) = panels_of(circuit).positions
    assert position.colour == colour
    assert position.belongs.startswith(f"fuse {float(amps):g} A, type {letter}")


def test_every_state_of_a_position_is_told(demo: dict[str, Position]) -> None:
    assert demo["F7"].state == FITTED
    assert demo["F11"].state == EMPTY and demo["F11"].belongs == "nothing"
    assert demo["F12"].state == OPTION
    assert demo["F15"].state == OPTION and demo["F15"].either == "F25"
    assert demo["F25"].state == FITTED and demo["F25"].either == "F15"
    assert demo["F26"].state == ELECTRONIC and "BDM.11" in demo["F26"].belongs
    assert demo["F27"].body == demo["F28"].body == "FT1"
    assert demo["KSC"].kind == "relay"


def test_positions_come_in_the_order_in_which_they_sit(tmp_path: Path) -> None:
    circuit = vehicle(tmp_path, "FB: {is: panel, positions: {F1-F4: 10, F10: 5}, rows: [[F4, _, F3], [F2, F1]]}")
    (panel,) = panels_of(circuit).panels
    assert [position.label for position in panel.positions] == ["F4", "F3", "F2", "F1", "F10"]
    assert panel.plan == (("F4", "_", "F3"), ("F2", "F1"))


def test_a_position_tells_its_feed_its_side_and_when_it_is_live(demo: dict[str, Position]) -> None:
    f10 = demo["F10"]
    assert f10.fed_from == ("load side of F9",)
    assert f10.upstream == ("ML2 100 A", "F9 10 A")
    assert f10.feed_side == "upper"
    assert demo["F22"].live == {"off": "dead", "acc": "dead", "run": "live", "start": "dead"}
    assert demo["F24"].live == {"off": "dead", "acc": "live", "run": "live", "start": "dead"}
    assert demo["F27"].live["run"] == "depends" and demo["F27"].why["run"] == ("lights",)


def test_what_a_position_serves_is_told_with_the_outputs_that_pass_it_on(demo: dict[str, Position]) -> None:
    served = {(one.part, one.pin): one.through for one in demo["F1"].serves}
    assert served[("BDM", "1")] == ()
    assert served[("HL1", "1")] == ("BDM.9",)
    assert ("HL2", "1") not in served
    assert {one.part for one in demo["F26"].serves} == {"TL1", "TL2"}
    assert demo["F50"].below == ("F51", "F52", "KAL")
    assert demo["F12"].serves == ()


def test_an_output_replaces_a_fuse_and_is_live_when_it_is_commanded(demo: dict[str, Position]) -> None:
    assert demo["F26"].live["run"] == "depends" and demo["F26"].why["run"] == ("lights",)


def test_the_text_on_the_lid_is_compared_with_the_tracing(tmp_path: Path) -> None:
    parts = (
        "M1: {is: module, cavities: [1], pins: {1: supply}}, M2: {is: module, cavities: [1], pins: {1: supply}}, "
        "FB: {is: panel, positions: {F1: {amps: 10, serves: M1 and lamp E1}, F2: {amps: 10, serves: M2}}, busbars: {BAT.+: [F1-F2]}}"
    )
    circuit = vehicle(
        tmp_path, parts, "['F1 -- RD 1 -- M1.1', 'M1.1 -- RD 1 -- M2.1', 'F2 -- RD 1 -- E1 -- BN 1 -- G1']"
    )
    found = {position.label: position for position in panels_of(circuit).positions}
    assert found["F1"].not_found == ("E1",) and found["F1"].not_named == ("M2",)
    assert found["F2"].not_found == ("M2",) and found["F2"].not_named == ()
    codes = {loose.code for loose in panels_of(circuit).panels[0].loose_ends}
    assert {"L132", "L146"} <= codes


def test_an_either_or_that_nobody_settled_is_a_loose_end(tmp_path: Path) -> None:
    parts = (
        "FB: {is: panel, positions: {F1: {amps: 10, or: F2}, F2: 10}, busbars: {BAT.+: [F1-F2], F1.load: [F2.load]}}"
    )
    circuit = vehicle(tmp_path, parts, "['F1 -- RD 1 -- E1 -- BN 1 -- G1']")
    (panel,) = panels_of(circuit).panels
    assert [position.state for position in panel.positions] == [EITHER, EITHER]
    assert [position.either for position in panel.positions] == ["F2", "F1"]
    assert "L144" in {loose.code for loose in panel.loose_ends}


@pytest.mark.parametrize("other", ["F9", "K1"])
def test_an_either_or_with_what_is_no_fuse_position_is_a_loose_end(other: str, tmp_path: Path) -> None:
    """A label that nobody typed in, and one of a relay."""
    parts = f"FB: {{is: panel, positions: {{F1: {{amps: 10, or: {other}}}, K1: {{is: relay, kind: normally open}}}}, busbars: {{BAT.+: [F1]}}}}"
    (panel,) = panels_of(vehicle(tmp_path, parts, "['F1 -- RD 1 -- E1 -- BN 1 -- G1']")).panels
    said = [loose.message for loose in panel.loose_ends if loose.code == "L144"]
    assert said == [f"F1 may sit in {other} instead, but there is no such position"]


def test_the_open_position_of_an_either_or_joins_nothing() -> None:
    """The two feeds of the demo's socket are never joined: what hangs on one rail is not live with the other."""
    circuit = tracer.load(DEMO)
    states = Tracing(circuit).states
    assert states.supply_level(circuit.node_of_point["75", ""], "off").name == "DEAD"


def test_an_unknown_position_is_told(tmp_path: Path) -> None:
    circuit = vehicle(tmp_path, "FB: {is: panel, positions: {F1: unknown}}")
    (position,) = panels_of(circuit).positions
    assert position.state == UNKNOWN and "rating not known" in position.belongs


def test_an_unknown_panel_is_said() -> None:
    with pytest.raises(UnknownPanel, match=r"there is no panel FPD\. Did you mean FP"):
        panels_of(tracer.load(DEMO), "FPD")


@given(runs())
def test_what_a_fuse_serves_is_missed_where_it_is_the_only_way(lines: tuple[str, ...]) -> None:
    """Whatever loses supply when the fuse opens, traced anew, is listed under it."""
    tracing = Tracing(typed(lines))
    circuit = tracing.circuit
    before = reached_without(tracing, set(), set())["supply"]
    for position in panels_of(tracing).positions:
        now = reached_without(tracing, set(target_of(circuit, position.part).opened.links), set())["supply"]
        served = {(one.part, one.pin) for one in position.serves}
        for part, kind, pin in (
            ("M0", "module", "1"),
            ("M1", "module", "1"),
            ("E0", "load", "1"),
            ("K0", "relay", "86"),
        ):
            node = circuit.pins_of.get(part, {}).get(pin)
            if node is not None and node in before - now and (kind != "module" or circuit.is_attached(node)):
                assert (part, pin) in served


def test_what_is_loose_below_a_position_leaves_its_panel_incomplete(tmp_path: Path) -> None:
    """What hangs on an unanswered reference is served by the fuse above it, and nobody knows what it is."""
    parts = "S1: splice, FB: {is: panel, positions: {F1: 10, F2: 10}, busbars: {BAT.+: [F1, F2]}}"
    wires = (
        "[F1 -- RD 1 -- S1, S1 -- RD 1 -- E1, E1 -- BN 1 -- G1, F2 -- RD 1 -- E2, E2 -- BN 1 -- G1, BAT.- -- BN 1 -- G1"
    )
    whole = panels_of(vehicle(tmp_path / "whole", parts, f"{wires}]"))
    assert whole.complete
    assert whole.loose_elsewhere == 0
    loose = panels_of(vehicle(tmp_path / "loose", parts, f"{wires}, S1 -- RD 1 -- ref 5>9]"))
    assert not loose.complete
    assert {position.label: [words[:4] for words in position.loose] for position in loose.positions} == {
        "F1": ["L101"],
        "F2": [],
    }


def test_what_is_loose_elsewhere_is_counted(tmp_path: Path) -> None:
    parts = (
        "M: {is: module, cavities: 1, pins: {1: supply}}, FB: {is: panel, positions: {F1: 10}, busbars: {BAT.+: [F1]}}"
    )
    wires = "[F1 -- RD 1 -- E1, E1 -- BN 1 -- G1, E2.1 -- BN 1 -- G1, E2.2 -- BN 1 -- G1, BAT.- -- BN 1 -- G1, M.1 -- RD 1 -- ref 5>9]"
    report = panels_of(vehicle(tmp_path, parts, wires))
    assert report.loose_elsewhere >= 1
    assert not report.complete


def test_a_wire_to_a_cavity_that_is_listed_unused_leaves_its_panel_incomplete(tmp_path: Path) -> None:
    """One of the two is a slip: what the fuse serves is then another pin, or nothing."""
    parts = (
        "M: {is: module, cavities: 1-3, unused: 3, pins: {1: supply, 2: ground}}, "
        "FB: {is: panel, positions: {F1: 10, F2: 10}, busbars: {BAT.+: [F1, F2]}}"
    )
    wires = "[F1 -- RD 1 -- M.1, M.2 -- BN 1 -- G1, BAT.- -- BN 1 -- G1, F2 -- RD 1 -- M.3]"
    report = panels_of(vehicle(tmp_path, parts, wires))
    assert not report.complete
    assert {position.label: [words[:4] for words in position.loose] for position in report.positions} == {
        "F1": [],
        "F2": ["L117"],
    }


def test_what_feeds_a_position_is_said_in_words(tmp_path: Path) -> None:
    parts = "F9: {is: fuse, amps: 30}, K: {is: relay, kind: normally open}, P: {is: panel, positions: {A: 5, B: 5, C: 5}, busbars: {F9.load: [A], K.87: [B]}}"
    circuit = vehicle(tmp_path, parts, "[BAT.+ -- RD 1 -- F9.feed, 30 -- RD 1 -- C.feed]", 'rails: {"30": always}\n')
    fed = {one.label: one.fed_from for one in panels_of(Tracing(circuit)).positions}
    assert fed == {"A": ("load side of F9",), "B": ("K.87",), "C": ("rail 30 (wire RD 1)",)}


def test_a_pin_of_a_relay_that_is_typed_as_unused_is_told_as_such(tmp_path: Path) -> None:
    parts = "FB: {is: panel, positions: {K1: {is: relay, kind: change-over, unused: [87a]}}}"
    wires = "['BAT.+ -- RD 1 -- K1.30', 'K1.87 -- RD 1 -- E1 -- BN 1 -- G1', 'BAT.+ -- RD 1 -- K1.86', 'K1.85 -- BN 1 -- G1']"
    (relay,) = panels_of(vehicle(tmp_path, parts, wires)).positions
    assert relay.pins == (("30", "BAT.+"), ("85", "G1"), ("86", "BAT.+"), ("87", "E1.1"), ("87a", "not used"))
