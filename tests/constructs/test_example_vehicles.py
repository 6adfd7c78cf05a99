"""Real wiring, as folders that anybody can open: one small invented vehicle for each construct, with the list of its module M as a golden file.

The golden text ends before the cautions. What matters most of each list is asserted besides, so that a careless rewriting of the files is noticed.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

import tracer
from tests.golden import check_golden
from tracer.report.supplies import as_text
from tracer.trace.lists.results import Row, SupplyReport

HERE = Path(__file__).parent
NAMES = sorted(folder.name for folder in HERE.iterdir() if (folder / "vehicle.yaml").is_file())


@cache
def listed(name: str) -> SupplyReport:
    """The list of M in one of the example vehicles."""
    return tracer.supplies(tracer.load(str(HERE / name)), "M")


def row(name: str, code: str) -> Row:
    return next(row for row in listed(name).rows if row.code == code)


def points(name: str, code: str) -> list[str]:
    return [probe.at for probe in row(name, code).probes]


def loose(name: str) -> set[str]:
    return {end.code for end in listed(name).loose_ends}


@pytest.mark.parametrize("name", NAMES)
def test_the_list_reads_as_it_did_when_somebody_last_read_it(name: str) -> None:
    text = as_text(listed(name), width=100)
    check_golden(f"constructs/{name}.txt", text.partition("\nCAUTIONS")[0] + "\n")


NOT_COMPLETE = {
    "documents_that_contradict": {"L104", "L114", "L121"},
    "ground_in_name_only": {"L115"},
    "halves_in_different_harnesses": {"L107", "L154"},  # cavity 3 of half a, crossed with 1, is not used
    "unknown_inside": {"L114", "L161"},
}


RESTS_ON = {"latching_relay": ("15 is live as typed (its origin is not typed in)",)}


@pytest.mark.parametrize("name", NAMES)
def test_an_example_is_complete_unless_its_construct_is_a_loose_end(name: str) -> None:
    assert loose(name) <= NOT_COMPLETE.get(name, set())
    state = "not complete" if name in NOT_COMPLETE else "complete if" if name in RESTS_ON else "complete"
    assert listed(name).completeness.state == state
    assert listed(name).completeness.conditions == RESTS_ON.get(name, ())
    assert listed(name).cross_check.differences == ()


def test_a_sensor_in_the_battery_negative_lies_on_every_way_to_ground() -> None:
    assert points("battery_sensor_in_the_negative", "G1") == ["BAT.-", "BS.P", "BS.B", "G1", "M.2"]
    assert not row("battery_sensor_in_the_negative", "G1").ends[0].assumed


def test_each_post_and_each_ring_is_a_place_of_its_own() -> None:
    name = "several_posts_and_rings"
    assert (points(name, "S1")[0], points(name, "S2")[0]) == ("BAT.+1", "BAT.+2")
    # both cables of the minus post carry both grounds, for G1 and G2 are joined by the body they sit on
    assert points(name, "G1") == ["BAT.-", "G2", "G1", "M.2"]
    assert points(name, "G2") == ["BAT.-", "G1", "G2", "M.4"]


def test_a_switched_minus_is_a_side_chain_with_its_switch() -> None:
    name = "coil_plus_permanent_minus_switched"
    assert [(chain.point, chain.level, chain.switches) for chain in listed(name).chains] == [
        ("K1.86", "supply", ()),
        ("K1.85", "ground", ("DS (2 to 1)",)),
    ]
    assert row(name, "S1").why["off"] == ("door",)


def test_outputs_joined_at_one_load_bring_both_fuses_and_one_command() -> None:
    found = row("several_outputs_to_one_load", "S1")
    assert {(fuse.part, fuse.sole, fuse.alone) for fuse in found.fuses} == {("F1", False, True), ("F2", False, True)}
    assert found.live == {"off": "dead", "acc": "dead", "run": "live", "start": "dead"}
    assert {chain.point for chain in listed("several_outputs_to_one_load").chains} == {"D.1", "D.2", "D.3"}


def test_a_busbar_and_a_cascade_of_fuses_stand_in_order() -> None:
    assert [fuse.part for fuse in row("busbar_and_cascade", "S1").fuses] == ["P1", "P2"]
    assert points("busbar_and_cascade", "S1") == ["BAT.+", "P1.feed", "P1.load", "P2.feed", "P2.load", "M.1"]


def test_the_other_position_of_an_either_or_pair_is_named() -> None:
    found = row("either_or_positions", "S1")
    assert [fuse.part for fuse in found.fuses] == ["P1"]
    assert any("P2 instead" in note for note in found.notes)


def test_half_a_three_tab_fuse_is_named_as_such() -> None:
    for code in ("S1", "S2"):
        assert any("one half of fuse T1" in note for note in row("three_tab_fuse", code).notes)


def test_both_halves_of_a_cavity_can_be_probed_under_their_own_numbers() -> None:
    assert points("halves_in_different_harnesses", "S1")[-3:] == ["X1.1, towards F1", "X1.3, towards M", "M.1"]


def test_names_never_decide_what_a_ground_is() -> None:
    assert [found.pin for found in listed("ground_in_name_only").grounds] == ["2"]
    assert [found.pin for found in listed("reference_ground_and_load_return").grounds] == ["2", "3"]
    assert [found.pin for found in listed("isolated_return").grounds] == ["2"]
    through = {load.pin for load in listed("reference_ground_and_load_return").through_loads}
    assert "4" in through  # the lamp's return reads battery voltage at rest, and is no supply


def test_both_documents_stay_visible() -> None:
    messages = " ".join(end.message for end in listed("documents_that_contradict").loose_ends)
    assert "colour differs" in messages
    assert listed("documents_that_contradict").supplies == ()


def test_a_position_without_a_fuse_says_that_none_exists() -> None:
    found = row("electronic_output_instead_of_a_fuse", "S1")
    assert any("no fuse exists at P7" in note for note in found.notes)
    assert any("5 A fuse" in note for note in found.notes)
    assert found.switches == ("output D.3",)


def test_two_batteries_are_two_sources_and_two_grounds() -> None:
    name = "second_battery_30a"
    assert [end.id for end in row(name, "S1").ends] == ["BAT.+"]
    assert [end.id for end in row(name, "S2").ends] == ["AUX.+"]
    assert any("own negative" in note for note in row(name, "G1").notes)


def test_a_supply_that_drops_out_while_cranking() -> None:
    found = row("crank_drop_out", "S1")
    assert found.live == {"off": "dead", "acc": "dead", "run": "live", "start": "dead"}
    assert [chain.point for chain in listed("crank_drop_out").chains] == ["K1.86", "K1.85"]


def test_a_latching_relay_depends_on_how_it_was_last_put() -> None:
    found = row("latching_relay", "S1")
    assert set(found.live.values()) == {"depends"}
    assert "how relay K1 was last put" in found.why["off"]
    assert len(listed("latching_relay").chains) == 4


def test_an_always_on_output_is_live_while_its_module_has_supply() -> None:
    assert set(row("always_on_output", "S1").live.values()) == {"live"}


def test_the_upper_of_two_batteries_stands_on_the_lower_one() -> None:
    name = "tapped_12_v_of_24_v"
    assert [end.id for end in row(name, "S1").ends] == ["UP.+"]
    assert [end.id for end in row(name, "G1").ends] == ["BAT.-"]
    assert points(name, "C1") == ["BAT.+", "UP.-"]  # the link between the two is on the list


def test_a_housing_is_a_ground_of_its_own() -> None:
    assert points("housing_ground", "G2") == ["BAT.-", "G1", "G2", "M.H"]


def test_a_lamp_joint_is_no_supply() -> None:
    assert [found.pin for found in listed("lamp_joint").supplies] == ["1"]
    assert {(load.pin, load.level) for load in listed("lamp_joint").through_loads} == {("3", "supply"), ("3", "ground")}


def test_supply_passed_on_by_another_module_keeps_link_and_breaker() -> None:
    found = row("breaker_link_and_pass_through", "S1")
    assert [(fuse.part, fuse.kind) for fuse in found.fuses] == [("L1", "link"), ("CB", "breaker")]
    assert {"D.1", "D.3"} <= {probe.at for probe in found.probes}


def test_a_coil_switched_by_two_modules_needs_both() -> None:
    name = "motor_run_relay_by_two_modules"
    assert row(name, "S1").live == {"off": "dead", "acc": "dead", "run": "live", "start": "dead"}
    assert {chain.point for chain in listed(name).chains} == {"K1.86", "K1.85", "A.1", "A.2", "B.1", "B.2"}
