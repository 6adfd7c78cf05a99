"""Sheets become one circuit: parts, panels, points that meet, rails, and each line of the table of points in docs/format.md."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.typed import HEAD, VEHICLE, links, load, problems, wires, write
from tracer.circuit.model import Circuit
from tracer.entry.models import BatteryFacts, ConnectorFacts, FuseFacts, GroundFacts, LoadFacts, ModuleFacts, PanelFacts


def _runs(*runs: str, parts: str = "") -> str:
    typed = "".join(f"  {part}\n" for part in parts.splitlines())
    return HEAD + typed + "runs:\n" + "".join(f"  - {run}\n" for run in runs)


def _wired(folder: Path, *runs: str, parts: str = "") -> list[tuple[str, str]]:
    return wires(load(folder, _runs(*runs, parts=parts)))


def _of_kind(circuit: Circuit, kind: str) -> list[tuple[str, str]]:
    return [(a, b) for found, a, b in links(circuit) if found == kind]


# --- the table of points, line by line -------------------------------------------------------------------------------

FED = "FB: {is: panel, positions: {F9: 10, F8: 5}, busbars: {30: [F9]}}"


def test_a_pin_is_itself(tmp_path: Path) -> None:
    assert _wired(tmp_path, "M.4 -- RD -- E1.2") == [("M.4", "E1.2")]


def test_a_splice_and_a_ground_point_are_one_point(tmp_path: Path) -> None:
    circuit = load(tmp_path, _runs("S1 -- BN -- G1", "S1 -- BN -- M.1"))
    assert wires(circuit) == [("S1", "G1"), ("S1", "M.1")]
    assert circuit.node_names.count("S1") == circuit.node_names.count("G1") == 1


def test_a_fuse_in_the_middle_has_its_feed_side_first(tmp_path: Path) -> None:
    assert _wired(tmp_path, "S1 -- RD -- F1 -- RD -- M.1") == [("S1", "F1.feed"), ("F1.load", "M.1")]


def test_a_fuse_at_an_end_is_its_load_side_if_its_panel_feeds_it(tmp_path: Path) -> None:
    both = _wired(tmp_path / "a", "F9 -- RD -- M.1", "M.2 -- RD -- F9", parts=FED)
    assert both == [("F9.load", "M.1"), ("M.2", "F9.load")]
    assert _wired(tmp_path / "b", "F9.feed -- RD -- M.1", parts=FED) == [("F9.feed", "M.1")]


def test_a_fuse_at_an_end_that_nothing_feeds_must_name_its_side(tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, _runs("F8 -- RD -- M.1", parts=FED)))
    assert str(found.place) == "sheets/1.yaml:13:5"
    assert "`busbars` of panel FB" in found.fix and found.fix.endswith("write `F8.feed` or `F8.load`.")


@pytest.mark.parametrize(("run", "side"), [("BAT.+ -- RD -- F8.feed", "load"), ("F8.load -- RD -- S1", "feed")])
def test_a_fuse_at_an_end_is_its_free_side_where_the_other_one_is_taken(run: str, side: str, tmp_path: Path) -> None:
    assert (f"F8.{side}", "M.1") in _wired(tmp_path, "F8 -- RD -- M.1", run, parts=FED)


def test_a_link_bolted_on_the_post_has_its_load_side_free(tmp_path: Path) -> None:
    assert _wired(tmp_path, "L1 -- RD -- M.1", parts="L1: {is: link, meets: {feed: BAT.+}}") == [("L1.load", "M.1")]


def test_a_fuse_with_both_sides_wired_has_no_free_side(tmp_path: Path) -> None:
    (found,) = problems(write(tmp_path, _runs("BAT.+ -- RD -- F8 -- RD -- S1", "F8 -- RD -- M.1", parts=FED)))
    assert found.what == "both sides of F8 already have a wire"


def test_a_busbar_on_the_load_side_does_not_say_what_feeds_a_fuse(tmp_path: Path) -> None:
    panel = "FB: {is: panel, positions: {F9: 10, F8: 5}, busbars: {F9.load: [F8.load]}}"
    (found,) = problems(write(tmp_path, _runs("F8 -- RD -- M.1", parts=panel)))
    assert found.what == "`F8` is a fuse that no busbar of FB feeds: which side is meant?"


def test_a_cavity_in_the_middle_goes_through_both_halves(tmp_path: Path) -> None:
    circuit = load(tmp_path, _runs("S1 -- RD -- X1.1 -- RD -- M.1"))
    assert wires(circuit) == [("S1", "X1.1, towards S1"), ("X1.1, towards M", "M.1")]
    assert ("MATING", "X1.1, towards S1", "X1.1, towards M") in links(circuit)


def test_a_cavity_at_the_end_is_the_half_still_free(tmp_path: Path) -> None:
    free = _wired(tmp_path / "a", "S1 -- RD -- X1.1", "X1.1 -- RD -- M.1")
    assert free == [("S1", "X1.1, towards S1"), ("X1.1, towards M", "M.1")]
    # a half that is named, or taken by a run through, is taken whatever the order of the runs
    named = _wired(tmp_path / "b", "S1 -- RD -- X1.1", "X1.1:a -- RD -- M.1")
    assert named == [("S1", "X1.1, towards S1"), ("X1.1, towards M", "M.1")]


def test_a_cavity_over_two_sheets_is_one_cavity(tmp_path: Path) -> None:
    circuit = load(tmp_path, _runs("S1 -- RD -- X1.1"), "sheet: 2\nruns:\n  - X1.1 -- RD -- M.1\n")
    assert wires(circuit) == [("S1", "X1.1, towards S1"), ("X1.1, towards M", "M.1")]


def test_two_wires_share_a_half_only_where_it_is_named(tmp_path: Path) -> None:
    shared = _wired(tmp_path / "a", "S1 -- RD -- X1.1:a", "S2 -- RD -- X1.1:a", "X1.1:b -- RD -- M.1")
    assert shared == [
        ("S1", "X1.1, towards S1 and S2"),
        ("S2", "X1.1, towards S1 and S2"),
        ("X1.1, towards M", "M.1"),
    ]
    found = problems(write(tmp_path / "b", _runs("S1 -- RD -- X1.1 -- RD -- M.1", "S2 -- RD -- X1.1 -- RD -- M.2")))
    assert {problem.what for problem in found} == {"cavity X1.1 is used twice: here and at sheets/1.yaml:12:17"}


def test_cavities_of_two_numbers_meet_as_the_connector_says(tmp_path: Path) -> None:
    mates = "X2: {is: connector, cavities: 1-8, mates: {1: 7}}"
    for number, run in enumerate(("S1 -- RD -- X2.1>7 -- RD -- M.1", "M.1 -- RD -- X2.7>1 -- RD -- S1")):
        circuit = load(tmp_path / str(number), _runs(run, parts=mates))
        assert {frozenset(pair) for pair in wires(circuit)} == {
            frozenset({"S1", "X2.1, towards S1"}),
            frozenset({"X2.7, towards M", "M.1"}),
        }
        assert ("MATING", "X2.1, towards S1", "X2.7, towards M") in links(circuit)
    halves = _wired(tmp_path / "halves", "S1 -- RD -- X2.1:a", "X2.7:b -- RD -- M.1", parts=mates)
    assert halves == [("S1", "X2.1, towards S1"), ("X2.7, towards M", "M.1")]
    for bare, fix in (("X2.1", "`X2.1>7`, or the half: `X2.1:a`"), ("X2.7", "`X2.1>7`, or the half: `X2.7:b`")):
        (found,) = problems(write(tmp_path / bare, _runs(f"S1 -- RD -- {bare} -- RD -- M.1", parts=mates)))
        assert fix in found.fix


def test_a_part_with_two_like_pins_is_passed_or_taken_at_the_free_pin(tmp_path: Path) -> None:
    assert _wired(tmp_path / "a", "S1 -- RD -- E1 -- BN -- G1") == [("S1", "E1.1"), ("E1.2", "G1")]
    assert _wired(tmp_path / "b", "S1 -- RD -- E1", "E1 -- BN -- G1") == [("S1", "E1.1"), ("E1.2", "G1")]
    assert _wired(tmp_path / "c", "E1 -- RD -- S1", "E1.1 -- BN -- G1") == [("E1.2", "S1"), ("E1.1", "G1")]
    for kind in ("resistor", "strap"):
        passed = _wired(tmp_path / kind, "S1 -- RD -- Q -- BN -- G1", parts=f"Q: {kind}")
        assert passed == [("S1", "Q.1"), ("Q.2", "G1")]


def test_a_diode_is_passed_from_anode_to_cathode(tmp_path: Path) -> None:
    circuit = load(tmp_path, _runs("S1 -- RD -- D1 -- RD -- S2", parts="D1: diode"))
    assert wires(circuit) == [("S1", "D1.A"), ("D1.K", "S2")]
    assert ("DIODE", "D1.A", "D1.K") in links(circuit)


def test_a_label_in_two_panels_is_named_with_its_panel(tmp_path: Path) -> None:
    panels = "FB: {is: panel, positions: {F9: 10, F8: 5}}\nFC: {is: panel, positions: {F9: 15}}"
    runs = ("S1 -- RD -- FB/F9.feed", "S2 -- RD -- FC/F9.feed", "FB/F8.load -- RD -- M.1", "F8.feed -- RD -- S1")
    circuit = load(tmp_path, _runs(*runs, parts=panels))
    assert wires(circuit) == [("S1", "FB/F9.feed"), ("S2", "FC/F9.feed"), ("F8.load", "M.1"), ("F8.feed", "S1")]
    ratings = {name: part.facts.amps for name, part in circuit.parts.items() if isinstance(part.facts, FuseFacts)}
    assert ratings == {"F1": 10, "FB/F9": 10, "FC/F9": 15, "F8": 5}


def test_a_rail_is_one_conductor_on_all_sheets(tmp_path: Path) -> None:
    circuit = load(tmp_path, _runs("30 -- RD -- M.1"), "sheet: 2\nruns:\n  - M.2 -- RD -- 30\n")
    assert wires(circuit) == [("30", "M.1"), ("M.2", "30")]
    assert circuit.node_names.count("30") == 1


def test_what_is_not_known_is_never_joined(tmp_path: Path) -> None:
    circuit = load(tmp_path, _runs("M.1 -- RD -- ?", "unknown -- RD -- M.2", "M.3 -- RD -- unknown"))
    assert len(circuit.unknown_ends) == 3
    assert [circuit.node_names[node] for node in circuit.unknown_ends] == ["?", "?", "?"]


# --- parts over sheets -----------------------------------------------------------------------------------------------


def _part_over(folder: Path, first: str, second: str) -> Circuit:
    return load(folder, f"{HEAD}  Q: {first}\n", f"sheet: 2\nparts: {{Q: {second}}}\n")


def test_facts_of_a_part_are_united_over_sheets(tmp_path: Path) -> None:
    first = "{is: module, name: Door, cavities: 1-4, pins: {1: supply}, unused: [4]}"
    second = "{at: left door, cavities: 5-6, pins: {2: ground}, unused: [5], joined: [[2, 3]], outputs: {6: low}}"
    circuit = _part_over(tmp_path, first, second)
    facts = circuit.parts["Q"].facts
    assert isinstance(facts, ModuleFacts)
    assert (facts.name, facts.at) == ("Door", "left door")
    assert facts.cavities == ("1", "2", "3", "4", "5", "6")
    assert facts.pins == {"1": "supply", "2": "ground"}
    assert facts.unused == ("4", "5")
    assert facts.joined == (("2", "3"),)
    assert list(facts.outputs) == ["6"]
    assert not circuit.conflicts


def test_the_kind_may_stand_on_a_later_sheet(tmp_path: Path) -> None:
    first = "sheet: 1\nparts: {Q: {at: floor}}\nruns: [M.1 -- RD -- Q]\n"
    circuit = load(tmp_path, first, HEAD.replace("sheet: 1", "sheet: 2") + "  Q: splice\n")
    assert (circuit.parts["Q"].kind, circuit.parts["Q"].facts.at) == ("splice", "floor")


def test_the_place_of_a_fact_is_on_the_sheet_that_says_it(tmp_path: Path) -> None:
    part = _part_over(tmp_path, "{is: module, at: left}", "{pins: {2: ground}}").parts["Q"]
    assert str(part.place) == "sheets/1.yaml:11:3"
    assert str(part.place_of("at")) == "sheets/1.yaml:11:23"
    assert str(part.place_of("pins", "2", key=True)) == "sheets/2.yaml:2:20"


@pytest.mark.parametrize(
    ("first", "second", "fact"),
    [
        ("{is: fuse, amps: 10}", "{amps: 15}", ("amps", "10", "15")),
        ("{is: fuse, type: C}", "{type: F}", ("type", "C", "F")),
        ("{is: fuse, state: fitted}", "{state: option}", ("state", "fitted", "option")),
        ("{is: splice, at: left}", "{at: right}", ("at", "left", "right")),
        ("{is: load, watts: 5}", "{watts: 10}", ("watts", "5", "10")),
        ("{is: resistor, ohms: 60}", "{ohms: 120}", ("ohms", "60", "120")),
        ("{is: battery, volts: 12}", "{volts: 24}", ("volts", "12", "24")),
        ("{is: ground}", "{on: engine}", None),
        ("{is: ground, on: body}", "{on: engine}", ("on", "body", "engine")),
        ("{is: connector, halves: [engine, cab]}", "{halves: [bay, cab]}", ("halves", "engine, cab", "bay, cab")),
        ("{is: splice, note: one}", "{note: two}", None),
        ("{is: fuse, amps: 10}", "{amps: 10.0}", None),
    ],
)
def test_two_documents_that_describe_differently_are_a_loose_end(
    first: str, second: str, fact: tuple[str, str, str] | None, tmp_path: Path
) -> None:
    conflicts = _part_over(tmp_path, first, second).conflicts
    assert [(one.fact, one.first, one.second) for one in conflicts] == ([fact] if fact else [])
    if fact:
        assert (conflicts[0].first_place.file, conflicts[0].second_place.file) == ("sheets/1.yaml", "sheets/2.yaml")


@pytest.mark.parametrize(
    ("first", "second", "what"),
    [
        ("splice", "ground", "Q is a ground here, but a splice at"),
        ("{is: module, pins: {1: supply}}", "{pins: {1: ground}}", "`pins` says something else about 1"),
        ("{is: module, outputs: {1: low}}", "{outputs: {1: high}}", "`outputs` says something else about 1"),
        ("{is: connector, mates: {1: 2}}", "{mates: {1: 3}}", "`mates` says something else about 1"),
        ("{is: fuse, meets: {feed: S1}}", "{meets: {feed: S2}}", "`meets` says something else about feed"),
        ("{is: relay, kind: normally open}", "{kind: change-over}", "`kind` is change-over here, but normally open"),
        ("{is: relay, kind: normally open, coil: 1-2}", "{coil: 3-4}", "`coil` is 3, 4 here, but 1, 2"),
        ("{is: relay, kind: change-over, across coil: diode}", "{across coil: resistor}", "`across coil` is resistor"),
        ("{is: switch, contacts: {a: [1-2]}}", "{contacts: {a: [1-3]}}", "`contacts` says something else about a"),
        (
            "{is: switch, follows: key, contacts: {run: [1-2]}}",
            "{follows: lights}",
            "`follows` is lights here, but key",
        ),
        ("{is: joint, bussed: [[1-4]]}", "{bussed: [[4-6]]}", "cavity 4 stands in two groups"),
    ],
)
def test_two_documents_that_join_differently_are_a_problem(first: str, second: str, what: str, tmp_path: Path) -> None:
    found = problems(write(tmp_path, f"{HEAD}  Q: {first}\n", f"sheet: 2\nparts: {{Q: {second}}}\n"))
    assert any(what in problem.what for problem in found), [problem.what for problem in found]


# --- panels ----------------------------------------------------------------------------------------------------------


def test_positions_have_their_rating_state_and_kind(tmp_path: Path) -> None:
    positions = (
        'F1-F3: 10, F4: empty, F5: unknown, F6: "?", F7: {amps: "7,5", state: option}, L1: {is: link, amps: 60}, '
        "K1: {is: relay, kind: normally open}, D1: {is: diode}"
    )
    circuit = load(tmp_path, f"sheet: 1\nparts: {{FB: {{is: panel, positions: {{{positions}}}}}}}\n")
    found = {
        name: (part.kind, getattr(part.facts, "amps", None), getattr(part.facts, "state", None))
        for name, part in circuit.parts.items()
        if part.panel == "FB"
    }
    assert found == {
        "F1": ("fuse", 10, None), "F2": ("fuse", 10, None), "F3": ("fuse", 10, None), "F4": ("fuse", None, "empty"),
        "F5": ("fuse", None, None), "F6": ("fuse", None, None), "F7": ("fuse", 7.5, "option"), "L1": ("link", 60, None),
        "K1": ("relay", None, None), "D1": ("diode", None, None)}  # fmt: skip


def test_busbars_reach_feed_sides_pins_and_load_sides(tmp_path: Path) -> None:
    panel = (
        "FB: {is: panel, positions: {A1-A3: 10, K: {is: relay, kind: normally open}}, "
        "busbars: {30: [A1-A2, K.30], S1: A3, A1.load: [K.86], K.87: [A3.load]}}"
    )
    assert _of_kind(load(tmp_path, _runs(parts=panel)), "BUSBAR") == [
        ("30", "A1.feed"), ("30", "A2.feed"), ("30", "K.30"), ("S1", "A3.feed"), ("A1.load", "K.86"), ("K.87", "A3.load")]  # fmt: skip


def test_a_busbar_continued_on_another_sheet_has_the_positions_of_both(tmp_path: Path) -> None:
    first = "FB: {is: panel, positions: {A1-A3: 10}, busbars: {30: [A1, A2]}}"
    circuit = load(tmp_path, _runs(parts=first), "sheet: 2\nparts: {FB: {busbars: {30: [A2, A3]}}}\n")
    assert _of_kind(circuit, "BUSBAR") == [("30", "A1.feed"), ("30", "A2.feed"), ("30", "A3.feed")]
    facts = circuit.parts["FB"].facts
    assert isinstance(facts, PanelFacts)
    assert facts.busbars == {"30": ("A1", "A2", "A3")}


def test_labels_inside_a_panel_mean_that_panel(tmp_path: Path) -> None:
    panels = (
        "FB: {is: panel, positions: {A: 10, B: 5}, busbars: {30: [A], A.load: [B]}}\n"
        "FC: {is: panel, positions: {A: 15, B: 20}, busbars: {S1: [A], A.load: [B]}}"
    )
    assert _of_kind(load(tmp_path, _runs(parts=panels)), "BUSBAR") == [
        ("30", "FB/A.feed"), ("FB/A.load", "FB/B.feed"), ("S1", "FC/A.feed"), ("FC/A.load", "FC/B.feed")]  # fmt: skip


def test_a_position_and_a_part_of_the_same_kind_and_name_are_one_part(tmp_path: Path) -> None:
    parts = "FB: {is: panel, positions: {F9: 10}}\nF9: {is: fuse, serves: horn}"
    circuit = load(tmp_path, _runs(parts=parts))
    facts = circuit.parts["F9"].facts
    assert isinstance(facts, FuseFacts)
    assert (facts.amps, facts.serves, circuit.parts["F9"].panel) == (10, "horn", "FB")


def test_rows_keep_gaps_and_ranges(tmp_path: Path) -> None:
    sheet = "sheet: 1\nparts: {FB: {is: panel, rows: [[F1-F3], [F4, _, F5], F6]}}\n"
    facts = load(tmp_path, sheet).parts["FB"].facts
    assert isinstance(facts, PanelFacts)
    assert facts.rows == (("F1", "F2", "F3"), ("F4", "_", "F5"), ("F6",))


# --- points that meet, rails, masses, ends ---------------------------------------------------------------------------


def test_points_that_meet_are_joined_without_a_wire(tmp_path: Path) -> None:
    parts = "L1: {is: link, meets: {feed: BAT.+, load: S1}}\nW1: {is: strap, meets: {1: G1, 2: M.1}}"
    assert _of_kind(load(tmp_path, _runs(parts=parts)), "MEETS") == [
        ("L1.feed", "BAT.+"), ("L1.load", "S1"), ("W1.1", "G1"), ("W1.2", "M.1")]  # fmt: skip


def test_a_position_of_a_panel_may_meet_a_point(tmp_path: Path) -> None:
    parts = "\n".join(
        f"{panel}: {{is: panel, positions: {{A: {{amps: 10, meets: {{feed: {point}}}}}}}}}"
        for panel, point in (("FB", "S1"), ("FC", "S2"))
    )
    assert _of_kind(load(tmp_path, _runs(parts=parts)), "MEETS") == [("FB/A.feed", "S1"), ("FC/A.feed", "S2")]


def test_a_rail_with_an_origin_is_no_source(tmp_path: Path) -> None:
    vehicle = (
        'vehicle: v\nrails: {"30": {live: always, from: BAT.+}, "15": {live: [run], from: M.1}, "58": [run], '
        '"31": ground, "31b": {ground: yes, from: G1}}\n'
    )
    circuit = load(tmp_path, _runs("30 -- RD -- M.2"), vehicle=vehicle)
    assert _of_kind(circuit, "RAIL") == [("BAT.+", "30"), ("M.1", "15"), ("G1", "31b")]
    assert {(end.id, end.assumed) for end in circuit.sources} == {("BAT.+", False), ("58", True)}
    assert {(end.id, end.assumed) for end in circuit.grounds} == {("31", True), ("body", True)}


def test_the_body_is_assumed_only_where_no_battery_or_ground_rail_is_joined_with_it(tmp_path: Path) -> None:
    joined = load(tmp_path / "a", _runs("BAT.- -- BK -- G1"), vehicle="vehicle: v\n")
    assert [(end.id, end.assumed) for end in joined.grounds] == [("BAT.-", False)]
    alone = load(tmp_path / "b", _runs("M.1 -- BK -- G1"), vehicle="vehicle: v\n")
    assert [(end.id, end.assumed) for end in alone.grounds] == [("body", True)]


def test_grounds_on_one_mass_are_joined_and_others_are_not(tmp_path: Path) -> None:
    circuit = load(
        tmp_path, "sheet: 1\nparts: {G1: ground, G2: {is: ground, on: body}, G3: {is: ground, on: engine}}\n"
    )
    assert _of_kind(circuit, "MASS") == [("G1", "body"), ("G2", "body"), ("G3", "engine")]


def test_sources_are_battery_generator_converter_and_outputs_whose_supply_is_not_said(tmp_path: Path) -> None:
    parts = (
        "GEN: generator\nDC: {is: converter, volts: 12}\n"
        "N: {is: module, outputs: {1: high, 2: {drives: high, from: [5]}, 3: low}}"
    )
    runs = ("BAT.+a -- RD -- S1", "BAT.+b -- RD -- S2", "GEN.B+ -- RD -- S1", "GEN.L -- RD -- M.1", "DC.in -- RD -- S1",
            "DC.out -- RD -- M.2", "N.1 -- RD -- E1", "N.2 -- RD -- M.3", "N.3 -- RD -- M.4")  # fmt: skip
    circuit = load(tmp_path, _runs(*runs, parts=parts), vehicle="vehicle: v\n")
    assert {(end.id, end.assumed) for end in circuit.sources} == {
        ("BAT.+a", False), ("BAT.+b", False), ("GEN.B+", False), ("DC.out", False), ("N.1", True)}  # fmt: skip


def test_joints_loads_and_modules_have_the_links_they_say(tmp_path: Path) -> None:
    parts = (
        "J: {is: joint, cavities: 1-5, bussed: [[1-3], [4, 5]]}\nE2: {is: load, pins: [a, b, c]}\nDC: converter\n"
        "N: {is: module, joined: [[1, 2, 3]], outputs: {7: {drives: both, from: [1], through: [5]}}}"
    )
    circuit = load(tmp_path, _runs(parts=parts))
    groups = {"J.1": "J group 1", "J.2": "J group 1", "J.3": "J group 1", "J.4": "J group 2", "J.5": "J group 2"}
    assert _of_kind(circuit, "BUSSED") == list(groups.items())
    assert [pair for pair in _of_kind(circuit, "LOAD") if pair[0] == "E2.a"] == [("E2.a", "E2.b"), ("E2.a", "E2.c")]
    assert _of_kind(circuit, "JOINED") == [("N.1", "N.2"), ("N.1", "N.3")]
    assert _of_kind(circuit, "DRIVER_HIGH") == [("N.1", "N.7")]
    assert _of_kind(circuit, "DRIVER_LOW") == [("N.7", "N.5")]
    assert _of_kind(circuit, "CONVERTER") == [("DC.in", "DC.ground")]


def test_contacts_and_coils_come_from_the_kind_or_from_the_part(tmp_path: Path) -> None:
    parts = (
        "K1: {is: relay, kind: change-over}\nK2: {is: relay, coil: 1-2, contacts: {energised: [3-5]}}\n"
        "K3: {is: relay, kind: latching}\nQ: {is: switch, follows: key, contacts: {off: [], run: [30-15-75]}}"
    )
    circuit = load(tmp_path, _runs(parts=parts))
    closed = {
        (circuit.node_names[link.a], circuit.node_names[link.b]): link.closed
        for link in circuit.links
        if link.kind.name == "CONTACT"
    }
    assert closed == {
        ("K1.30", "K1.87a"): ("rest",), ("K1.30", "K1.87"): ("energised",), ("K2.3", "K2.5"): ("energised",),
        ("K3.30", "K3.87a"): ("rest",), ("K3.30", "K3.87"): ("energised",),
        ("Q.30", "Q.15"): ("run",), ("Q.30", "Q.75"): ("run",)}  # fmt: skip
    assert _of_kind(circuit, "COIL") == [("K1.86", "K1.85"), ("K2.1", "K2.2"), ("K3.86", "K3.85"), ("K3.86r", "K3.85r")]


# --- kinds of its own ------------------------------------------------------------------------------------------------


def _own_kind(folder: Path, kind: str, part: str) -> list[str]:
    more = {"types.yaml": f"kinds: {{mine: {kind}}}\n"}
    return [problem.what for problem in problems(write(folder, f"{HEAD}  Q: {part}\n", more=more))]


def test_a_kind_of_the_vehicle_is_used_like_a_shared_one(tmp_path: Path) -> None:
    kind = "{is: switch, follows: lights, contacts: {yes: [1-2], no: []}}"
    assert _own_kind(tmp_path, kind, "{is: switch, kind: mine}") == []


@pytest.mark.parametrize(
    ("kind", "part", "what"),
    [
        (
            "{is: switch, follows: dark, contacts: {yes: [1-2]}}",
            "{is: switch, kind: mine}",
            "kind `mine` follows `dark`",
        ),
        ("{is: switch, follows: lights, contacts: {on: [1-2]}}", "{is: switch, kind: mine}", "has the position on"),
        ("{is: switch, contacts: {on: [1-2]}}", "{is: switch, kind: mine, follows: key}", "has the position on"),
        ("{is: relay, contacts: {rest: [1-2]}}", "{is: relay, kind: mine}", "a relay kind needs its coil"),
        ("{is: relay, coil: 1-2, contacts: {res: [1-2]}}", "{is: relay, kind: mine}", "`res` is not a position"),
        ("{is: fuse, contacts: {}}", "splice", "`fuse` has no kinds"),
        ("{is: switch}", "splice", "`contacts` is missing"),
    ],
)
def test_a_kind_that_would_never_close_is_a_problem(kind: str, part: str, what: str, tmp_path: Path) -> None:
    assert any(what in found for found in _own_kind(tmp_path, kind, part))


def test_a_shared_kind_may_know_more_key_states_than_the_vehicle(tmp_path: Path) -> None:
    # the shared ignition switch has acc and start; this vehicle has off and run only
    part = "  Q: {is: switch, kind: 'ignition switch, 15 stays during start'}\n"
    assert problems(write(tmp_path, HEAD + part)) == []


# --- what every kind says --------------------------------------------------------------------------------------------


def test_facts_are_read_as_values_with_their_units(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts:\n  B: {is: battery, volts: 12 V}\n  E: {is: load, watts: '1,5 kW', amps: 500 mA, ohms: 4.7k}\n"
        "  X: {is: connector, cavities: [A1-A3, 010-012], halves: [left, right]}\n  G: {is: ground, on: cab}\n"
    )
    circuit = load(tmp_path, sheet, vehicle=VEHICLE)
    battery, lamp, plug, ground = (circuit.parts[name].facts for name in "BEXG")
    assert isinstance(battery, BatteryFacts) and battery.volts == 12
    assert isinstance(lamp, LoadFacts) and (lamp.watts, lamp.amps, lamp.ohms) == (1500, 0.5, 4700)
    assert isinstance(plug, ConnectorFacts) and plug.cavities == ("A1", "A2", "A3", "010", "011", "012")
    assert isinstance(ground, GroundFacts) and ground.on == "cab"


@pytest.mark.parametrize(
    ("part", "key", "one", "other"),
    [
        ("H1", "watts", "21", "55"),
        ("R1", "ohms", "10", "20"),
        ("F1", "amps", "10", "15"),
        ("X9", "contact ohms", "1 mohm", "5 mohm"),
    ],
)
def test_a_number_that_two_pages_contradict_is_not_known(
    part: str, key: str, one: str, other: str, tmp_path: Path
) -> None:
    kinds = {"H1": "load", "R1": "resistor", "F1": "fuse", "X9": "connector"}
    sheets = [
        f"sheet: {n}\nparts: {{{part}: {{is: {kinds[part]}, {key}: {value}}}}}\n" for n, value in ((1, one), (2, other))
    ]
    circuit = load(tmp_path, *sheets)
    assert getattr(circuit.parts[part].facts, key.replace(" ", "_")) is None
    assert [conflict.fact for conflict in circuit.conflicts] == [key]
    codes = {finding.code for finding in tracer.check(circuit).remarks} | {
        end.code for end in tracer.check(circuit).loose_ends
    }
    assert "L121" in codes and not codes & {"R210", "L124"}
