"""Slips of typing that leave no gap: each is made alone in the sound demo vehicle, and `check` says where; on wiring that is meant so it is silent."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given

from tests.trace import drawn
from tests.trace.slow import reached_without
from tests.typed import load
from tracer.circuit import join
from tracer.circuit.flood import flood
from tracer.circuit.kinds import SUPPLY_KINDS, LinkKind
from tracer.entry import read_folder
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.rules.registry import Finding, loose_ends, remarks
from tracer.trace.rules.wiring import sole_fuses
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "circuits" / "minibus"
VEHICLE = 'vehicle: v\nkey: [off, run]\nrails: {"31": ground}\n'
POWER = "sheet: 1\nparts:\n  BAT: {is: battery, at: bay}\n  G1: {is: ground, at: bay}\n  F1: {is: fuse, amps: 10, at: bay}\n"
CABLE = "runs:\n- BAT.- -- BK 35 -- G1\n"


def found_in(tracing: Tracing) -> list[tuple[str, str]]:
    return [(one.code, one.at) for one in (*loose_ends(tracing), *remarks(tracing))]


def slip(folder: Path, *changes: tuple[str, str, str]) -> Tracing:
    """The demo with each (sheet, typed, typed instead)."""
    shutil.copytree(DEMO, folder / "demo")
    for sheet, typed, instead in changes:
        (path,) = (folder / "demo" / "sheets").glob(f"{sheet}*")
        text = path.read_text(encoding="utf-8")
        assert text.count(typed) == 1, typed
        path.write_text(text.replace(typed, instead), encoding="utf-8")
    return Tracing(join(read_folder(folder / "demo")))


SOUND = found_in(Tracing(join(read_folder(DEMO))))


def test_the_sound_vehicle_has_none_of_them() -> None:
    assert [code for code, _ in SOUND] == ["R205"]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        pytest.param(
            [("10", "GN/RD 0.5 0.5m -- INS.4", "GN/RD 0.5 0.5m -- INS.5"), ("10", "YE/RD 0.5 0.5m -- INS.5", "YE/RD 0.5 0.5m -- INS.4")],
            [("R241", "INS.5"), ("R241", "INS.4")],
            id="the two wires of a bus swapped at one module",
        ),
        pytest.param(
            [("08", "11: bus drive H", "11: bus drvie H"), ("08", "12: bus drive L", "12: bus drvie L")],
            [("R242", "ENM.11"), ("R242", "ENM.12")],
            id="a bus name misspelt at one module",
        ),
        pytest.param(
            [("05", "F52 -- RD/BU 2.5 0.6m -- X1.5 --", "F52 -- RD/BU 2.5 0.6m -- X1.27 --")],
            [("L117", "X1.27")],
            id="a cavity that is declared unused",
        ),
        pytest.param(
            [("02", "KSC.87a: [F22, F23]", "KSC.87a: [F22]\n      KSC.87: [F23]")],
            [("L117", "KSC.87")],
            id="a pin of a relay that is declared unused",
        ),
        pytest.param(
            [("01", "contacts: {energised: [30-45]}", "contacts: {energised: [30-45-50]}")],
            [("L153", "STR.50")],
            id="a pin of a relay in two roles",
        ),
        pytest.param(
            [("02", "F50.load: [KAL.30, KAL.86]", "F50.load: [KAL.30, KAL.85]"), ("05", "  - KAL.85 -- ", "  - KAL.86 -- ")],
            [("R243", "KAL.86, KAL.85")],
            id="the two pins of a coil with a diode swapped",
        ),
        pytest.param(
            [("01", "BAT.+ -- RD 50 1.8m -- STR.30", "BAT.+ -- RD 50 1.8m -- MST.1")],
            [("R244", "MST")],
            id="the starter motor straight on the battery post",
        ),
        pytest.param(
            [("07", "watts: 60}", "watts: 600}")],
            [("R245", "F14")],
            id="a load that its fuse cannot carry",
        ),
        pytest.param(
            [("05", "3: {otherwise: 0.15, asleep: 1.2 mA}", "3: {otherwise: 15, asleep: 1.2 mA}")],
            [("R245", "F7")],
            id="a module that its fuse cannot carry",
        ),
        pytest.param(
            [("03", "F40 -- RD 4 1.1m -- X1.1", "BAT.+ -- RD 4 1.1m -- X1.1")],
            [("R246", "wire RD 4 1.1m from BAT.+")],
            id="a wire from the battery post without its fuse",
        ),
    ],
)  # fmt: skip
def test_a_slip_is_seen_where_it_was_made(
    changes: list[tuple[str, str, str]], expected: list[tuple[str, str]], tmp_path: Path
) -> None:
    tracing = slip(tmp_path, *changes)
    found = [one for one in found_in(tracing) if one not in SOUND]
    assert [one for one in found if one in expected] == expected
    own = {code for code, _ in expected}
    assert [one for one in found if one[0] in own] == expected  # and nowhere else


def test_a_supply_over_an_unused_cavity_is_not_complete_and_one_beside_it_is(tmp_path: Path) -> None:
    tracing = slip(tmp_path, ("05", "F52 -- RD/BU 2.5 0.6m -- X1.5 --", "F52 -- RD/BU 2.5 0.6m -- X1.27 --"))
    report = supplies_of(tracing, "ALM")
    assert not report.complete
    assert "L117" in {one.code for one in report.loose_ends}
    # cavity 5 of X1 is in no run now, which concerns every list near X1; the unused cavity concerns its own list only
    assert [one.code for one in supplies_of(tracing, "GTW").loose_ends] == ["L154"]


def test_a_remark_about_a_bus_leaves_the_list_complete(tmp_path: Path) -> None:
    tracing = slip(tmp_path, ("08", "11: bus drive H", "11: bus drvie H"), ("08", "12: bus drive L", "12: bus drvie L"))
    assert supplies_of(tracing, "ENM").complete


def small(folder: Path, parts: str, runs: str, vehicle: str = VEHICLE) -> list[Finding]:
    tracing = Tracing(load(folder, POWER + parts + CABLE + runs, vehicle=vehicle))
    return [
        one for one in (*loose_ends(tracing), *remarks(tracing)) if one.code in ("L117", "L153") or one.code > "R240"
    ]


def test_a_bus_of_two_modules_swapped_is_said_at_the_second(tmp_path: Path) -> None:
    parts = "".join(
        f"  {name}: {{is: module, at: x, cavities: 1-2, pins: {{1: bus d H, 2: bus d L}}}}\n" for name in "AB"
    )
    found = small(tmp_path, parts, "- A.1 -- GN 0.5 -- B.2\n- A.2 -- YE 0.5 -- B.1\n")
    assert [(one.code, one.at) for one in found] == [("R241", "B.2"), ("R241", "B.1")]
    assert found[1].message == "B.1 is line H of bus d, but lies on one conductor with line L (A.2)"
    assert str(found[1].place) == "sheets/1.yaml:11:3" and "B.1 and B.2 look exchanged" in found[1].fix


def test_lines_under_buses_count_as_bus_pins_and_one_pin_is_said_once(tmp_path: Path) -> None:
    parts = "".join(
        f"  {name}: {{is: module, at: x, cavities: 1-2, pins: {{1: bus d H, 2: signal}}}}\n" for name in "AB"
    )
    vehicle = VEHICLE + "buses: {d: {kind: other, lines: {H: [A.1, B.1], L: [A.2, B.2]}}}\n"
    crossed = small(tmp_path / "1", parts, "- A.1 -- GN 0.5 -- B.2\n- A.2 -- YE 0.5 -- B.1\n", vehicle)
    assert [(one.code, one.at) for one in crossed] == [("R241", "B.2"), ("R241", "B.1")]
    assert small(tmp_path / "2", parts, "- A.1 -- GN 0.5 -- B.1\n- A.2 -- YE 0.5 -- B.2\n", vehicle) == []


def test_a_bus_that_no_pin_carries_is_said_at_its_name(tmp_path: Path) -> None:
    parts = "".join(f"  {name}: {{is: module, at: x, cavities: 1, pins: {{1: bus local LIN}}}}\n" for name in "AB")
    found = small(tmp_path, parts, "- A.1 -- GN 0.5 -- B.1\n", VEHICLE + "buses: {lcoal: {kind: lin}}\n")
    assert [(one.code, one.at, one.place.file) for one in found] == [("R242", "bus lcoal", "vehicle.yaml")]


def test_a_bus_through_a_module_that_bridges_it_is_one_conductor(tmp_path: Path) -> None:
    parts = (
        "  A: {is: module, at: x, cavities: 1, pins: {1: bus d H}}\n  C: {is: module, at: x, cavities: 1, pins: {1: bus d L}}\n"
        "  B: {is: module, at: x, cavities: 1-2, pins: {1: bus d H, 2: bus d H}, joined: [[1, 2]]}\n"
    )
    found = small(tmp_path, parts, "- A.1 -- GN 0.5 -- B.1\n- B.2 -- GN 0.5 -- C.1\n")
    assert [(one.code, one.at) for one in found] == [("R241", "C.1")]


@pytest.mark.parametrize("across", ["resistor", "diode"])
@pytest.mark.parametrize("turned", [False, True])
def test_a_coil_turned_round_is_harmless_without_a_diode_and_told_either_way(
    across: str, turned: bool, tmp_path: Path
) -> None:
    plus, minus = ("85", "86") if turned else ("86", "85")
    parts = f"  K1: {{is: relay, at: x, kind: normally open, across coil: {across}}}\n"
    found = small(tmp_path, parts, f"- BAT.+ -- RD 1 -- F1 -- RD 1 -- K1.{plus}\n- K1.{minus} -- BN 1 -- G1\n")
    assert [one.code for one in found] == ([{"diode": "R243", "resistor": "R263"}[across]] if turned else [])


def test_a_coil_with_a_diode_that_a_half_bridge_drives_either_way_is_left_alone(tmp_path: Path) -> None:
    parts = (
        "  K1: {is: relay, at: x, kind: normally open, across coil: diode}\n"
        "  M: {is: module, at: x, cavities: 1-4, pins: {1: supply, 2: ground, 3: output, 4: output}, "
        "outputs: {3: {drives: both, from: [1], through: [2]}, 4: {drives: both, from: [1], through: [2]}}}\n"
    )
    runs = "- BAT.+ -- RD 1 -- F1 -- RD 1 -- M.1\n- M.2 -- BN 1 -- G1\n- M.3 -- GN 1 -- K1.85\n- M.4 -- GN 1 -- K1.86\n"
    assert small(tmp_path, parts, runs) == []


@pytest.mark.parametrize(
    ("facts", "said"),
    [("", True), ("watts: 5", True), ("watts: 0.7", True), ("watts: 0.5", False), ("watts: 0.01", False)],
)
def test_a_load_that_is_always_on_is_silent_below_the_usual_key_off_draw(
    facts: str, said: bool, tmp_path: Path
) -> None:
    """50 mA for the whole vehicle: the limit of `tracer draw` (custom of the trade)."""
    parts = f"  E1: {{is: load, at: x, {facts}}}\n"
    found = small(tmp_path, parts, "- BAT.+ -- RD 1 -- F1 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n")
    assert [(one.code, one.at) for one in found] == ([("R244", "E1")] if said else [])


def test_a_starter_with_its_solenoid_in_one_part_is_commanded_by_its_third_pin(tmp_path: Path) -> None:
    parts = '  STM: {is: load, at: engine, pins: [30, 50, 31]}\n  SW: {is: switch, at: x, follows: key, contacts: {"off": [], run: [1-2]}}\n'
    runs = "- BAT.+ -- RD 50 -- STM.30\n- STM.31 -- BK 50 -- G1\n- BAT.+ -- RD 1 -- F1 -- RD 1 -- SW.1\n- SW.2 -- RD 1 -- STM.50\n"
    assert small(tmp_path, parts, runs) == []


def test_a_load_on_a_rail_that_the_key_switches_is_not_always_on(tmp_path: Path) -> None:
    vehicle = 'vehicle: v\nkey: [off, run]\nrails: {"15": [run]}\n'
    runs = "- 15 -- RD 1 -- F1.feed\n- F1.load -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    assert small(tmp_path, "  E1: {is: load, at: x, watts: 5}\n", runs, vehicle) == []


LAMPS = "".join(f"  E{n}: {{is: load, at: x, amps: 4}}\n" for n in (1, 2, 3))


def test_currents_of_one_key_state_are_added_up_and_each_is_named(tmp_path: Path) -> None:
    runs = "- BAT.+ -- RD 1 -- F1 -- RD 1 -- E1.1\n- F1.load -- RD 1 -- E2.1\n- F1.load -- RD 1 -- E3.1\n"
    runs += "".join(f"- E{n}.2 -- BN 1 -- G1\n" for n in (1, 2, 3))
    found = [one for one in small(tmp_path, LAMPS, runs) if one.code == "R245"]
    assert [one.message for one in found] == [
        "F1 is 10 A, but carries more in off: E1 4 A, E2 4 A and E3 4 A, together 12 A"
    ]


def test_loads_that_hands_switch_are_not_added_up(tmp_path: Path) -> None:
    """Nobody says that the three are on together."""
    parts = LAMPS + "".join(f"  S{n}: {{is: switch, at: x, kind: make switch}}\n" for n in (1, 2, 3))
    runs = "- BAT.+ -- RD 1 -- F1.feed\n" + "".join(
        f"- F1.load -- RD 1 -- S{n}.1\n- S{n}.2 -- RD 1 -- E{n}.1\n- E{n}.2 -- BN 1 -- G1\n" for n in (1, 2, 3)
    )
    assert small(tmp_path, parts, runs) == []


def test_a_load_that_two_fuses_feed_is_put_down_to_neither(tmp_path: Path) -> None:
    parts = "  F2: {is: fuse, amps: 10, at: bay}\n  E1: {is: load, at: x, amps: 15}\n"
    runs = "- BAT.+ -- RD 1 -- F1 -- RD 1 -- E1.1\n- BAT.+ -- RD 1 -- F2 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    assert "R245" not in {one.code for one in small(tmp_path, parts, runs)}


def test_a_current_at_the_rating_itself_is_carried(tmp_path: Path) -> None:
    runs = "- BAT.+ -- RD 1 -- F1 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    at = small(tmp_path / "1", "  E1: {is: load, at: x, watts: 120}\n", runs)
    above = small(tmp_path / "2", "  E1: {is: load, at: x, watts: 121}\n", runs)
    assert ["R245" in {one.code for one in found} for found in (at, above)] == [False, True]


@pytest.mark.parametrize(
    ("wire", "said"),
    [
        pytest.param("RD 1.5", True, id="thin"),
        pytest.param("RD", True, id="size not known, to a load"),
        pytest.param("RD 10", False, id="as thick as a starter cable"),
    ],
)
def test_a_wire_from_the_post_to_a_load_needs_a_fuse_or_the_size_of_a_cable(
    wire: str, said: bool, tmp_path: Path
) -> None:
    runs = f"- BAT.+ -- {wire} -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    found = [one.at for one in small(tmp_path, "  E1: {is: load, at: x, watts: 0.1}\n", runs)]
    assert found == ([f"wire {wire} from BAT.+"] if said else [])


def test_the_wire_to_a_fuse_is_the_one_that_has_none_also_when_it_goes_on_at_another_mark(tmp_path: Path) -> None:
    parts = "  E1: {is: load, at: x, watts: 0.1}\n"
    direct = "- BAT.+ -- RD 1 -- F1 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    marks = "- BAT.+ -- RD 1 -- ref 1>2\n- ref 2>1 -- RD 1 -- F1 -- RD 1 -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    assert small(tmp_path / "1", parts, direct) == small(tmp_path / "2", parts, marks) == []


def test_what_a_converter_feeds_without_a_fuse_is_its_own_affair(tmp_path: Path) -> None:
    parts = "  DC: {is: converter, at: x, volts: 5}\n  E1: {is: load, at: x, watts: 0.1}\n"
    runs = "- BAT.+ -- RD 1 -- F1 -- RD 1 -- DC.in\n- DC.ground -- BN 1 -- G1\n- DC.out -- GN 0.5 -- E1.1\n- E1.2 -- BN 1 -- G1\n"
    assert small(tmp_path, parts, runs) == []


# --- laws ------------------------------------------------------------------------------------------------------------

_TWO_LINES = re.compile(r"(?P<high>\d+): bus (?P<bus>\w+) H(?P<between>[^H]*?)(?P<low>\d+): bus (?P=bus) L")
TWO_LINES = [
    (path.name[:2], found) for path in sorted((DEMO / "sheets").iterdir()) for found in _TWO_LINES.finditer(path.read_text(encoding="utf-8")) if found["bus"] != "diagnostic"  # of two modules, neither is the odd one
]  # fmt: skip


def test_the_demo_has_modules_on_two_buses() -> None:
    assert len(TWO_LINES) >= 12 and {found["bus"] for _, found in TWO_LINES} == {"drive", "body"}


@pytest.mark.parametrize(("sheet", "found"), TWO_LINES, ids=str)
def test_whichever_module_has_its_lines_swapped_is_the_one_that_is_named(
    sheet: str, found: re.Match[str], tmp_path: Path
) -> None:
    high, bus, between, low = found.group("high", "bus", "between", "low")
    (path,) = (DEMO / "sheets").glob(f"{sheet}*")
    start = found.start()
    shutil.copytree(DEMO, tmp_path / "demo")
    text = path.read_text(encoding="utf-8")
    swapped = f"{high}: bus {bus} L{between}{low}: bus {bus} H"
    (tmp_path / "demo" / "sheets" / path.name).write_text(
        text[:start] + swapped + text[found.end() :], encoding="utf-8"
    )
    new = [one for one in found_in(Tracing(join(read_folder(tmp_path / "demo")))) if one not in SOUND]
    assert {code for code, _ in new} == {"R241"}
    assert sorted(at.partition(".")[2] for _, at in new) == sorted((high, low))
    assert len({at.partition(".")[0] for _, at in new}) == 1


@given(drawn.runs())
@example(
    (
        "BAT.+ -- RD 1 -- K1.87a",
        "K1.87 -- RD 1 -- M0.1",
        "F0.load -- RD 1 -- M0.4",
        "BAT.+ -- RD 1 -- F0.feed",
        "BAT.- -- RD 1 -- G0",
    )
)
@example(
    (  # the other way leads over two contacts of one switch that are never closed together
        "BAT.+ -- RD 1 -- F0.feed",
        "F0.load -- RD 1 -- E0.1",
        "F0.load -- RD 1 -- SW.6",
        "SW.7 -- RD 1 -- BAT.+",
        "BAT.- -- RD 1 -- G0",
    )
)
def test_what_a_fuse_is_charged_with_has_no_other_way(lines: tuple[str, ...]) -> None:
    """Against a fresh search without the fuse; where no diode or output gives a sense, all that hangs on it alone by the wires is charged."""
    circuit = drawn.typed(lines)
    tracing = Tracing(circuit)
    before = reached_without(tracing, set(), set())["supply"]
    # also what only contacts lead to that are never closed together: a fuse is charged by the wires, whatever position a switch is in
    sources = [end.node for end in circuit.sources]
    near = flood(circuit, sources, SUPPLY_KINDS, barred=tracing.hard_ground).keys()
    one_way = any(
        link.kind in (LinkKind.DIODE, LinkKind.DRIVER_HIGH) and {link.a, link.b} <= near for link in circuit.links
    )
    consumers = [f"E{n}" for n in range(drawn.LOADS)] + [f"M{n}" for n in range(drawn.MODULES)]
    for fuse in (f"F{n}" for n in range(drawn.FUSES)):
        gone = {number for number, link in enumerate(circuit.links) if link.part == fuse}
        now = reached_without(tracing, gone, set())["supply"]
        left = replace(circuit, links=[link for number, link in enumerate(circuit.links) if number not in gone])
        wired = flood(left, sources, SUPPLY_KINDS, barred=tracing.hard_ground).keys()
        for consumer in consumers:
            for node in circuit.pins_of.get(consumer, {}).values():
                charged = fuse in sole_fuses(tracing, [node])
                lost = node in before and node not in now
                assert lost or not charged
                assert charged or not lost or one_way or node in wired


@pytest.mark.parametrize(
    ("run", "named"),
    [
        ("M.1 -- RD 1 -- F9 -- GN 1 -- ?", ["wire GN 1 from F9"]),
        ("unknown -- GN 1 -- F9 -- RD 1 -- M.1", ["wire GN 1 from F9"]),
        ("unknown -- GN 1 -- S1 -- RD 1 -- F9 -- YE 1 -- ?", ["wire GN 1 from S1", "wire YE 1 from F9"]),
    ],
)
def test_a_wire_that_just_ends_is_named_by_its_colour_and_its_other_end(run: str, named: list[str], tmp_path: Path) -> None:  # fmt: skip
    parts = "sheet: 1\nparts: {M: module, S1: splice, F9: {is: fuse, amps: 5}}\n"
    found = [one for one in loose_ends(Tracing(load(tmp_path, f"{parts}runs:\n- {run}\n"))) if one.code == "L105"]
    assert sorted(one.at for one in found) == named
    columns = {one.at: one.place.column for one in found}
    ends = [0] * run.startswith("unknown") + [len(run) - 1] * run.endswith("?")
    assert [columns[name] for name in named] == [3 + at for at in ends]


@pytest.mark.parametrize(
    ("joint", "said", "at"),
    [
        ("{is: joint, bussed: [[1, 2]]}", "", ""),
        (
            "{is: joint, cavities: 1-3, bussed: [[1, 3]]}",
            "cavity 2 of joint connector J has a wire but belongs to no group",
            "J.2",
        ),
        ("{is: joint, bussed: [[1], [2, 3]]}", "only one wire (J.2) reaches J group 2", "J.2"),
    ],
)
def test_a_joint_connector_whose_other_wires_are_missing_leaves_the_list_open(
    joint: str, said: str, at: str, tmp_path: Path
) -> None:
    sheet = (
        f"sheet: 1\nparts: {{BAT: battery, G1: ground, F1: {{is: fuse, amps: 5}}, J: {joint}, M: {{is: module, cavities: 1-2}}}}\n"
        "runs:\n- BAT.+ -- RD 1 -- F1 -- RD 1 -- J.1\n- J.2 -- RD 1 -- M.1\n- M.2 -- BN 1 -- G1\n- BAT.- -- BK 16 -- G1\n"
    )
    report = supplies_of(load(tmp_path, sheet), "M")
    found = {one.message: one.at for one in report.loose_ends if one.code == "L106"}
    assert report.complete is not bool(said)
    assert found == ({said: at} if said else {}), [(one.code, one.message) for one in report.loose_ends]


@pytest.mark.parametrize(
    ("parts", "way", "said"),
    [
        ("SW: {is: switch, follows: key, contacts: {off: [], run: [1-2]}}", "SW.1 -- RD 1 -- SW.2", "SW joins supply and ground without a load in run"),
        (
            "SW: {is: switch, follows: key, contacts: {off: [1-2], run: [1-2]}}, T: {is: switch, follows: key, contacts: {off: [], run: [1-2]}}",
            "SW.1 -- RD 1 -- SW.2 -- RD 1 -- T.1 -- RD 1 -- T.2",
            "SW and T join supply and ground without a load in run",
        ),
    ],
)  # fmt: skip
def test_contacts_that_short_supply_to_ground_are_named_with_the_key_state(parts: str, way: str, said: str, tmp_path: Path) -> None:  # fmt: skip
    points = way.split(" -- RD 1 -- ")
    runs = [f"BAT.+ -- RD 1 -- F1 -- RD 1 -- {points[0]}", *(f"{a} -- RD 1 -- {b}" for a, b in zip(points[1::2], points[2::2], strict=False)), f"{points[-1]} -- BN 1 -- G1", "BAT.- -- BK 16 -- G1"]  # fmt: skip
    sheet = f"sheet: 1\nparts: {{BAT: battery, G1: ground, F1: {{is: fuse, amps: 5}}, {parts}}}\nruns:\n"
    tracing = Tracing(
        load(tmp_path, sheet + "".join(f"- {run}\n" for run in runs), vehicle="vehicle: v\nkey: [off, run]\n")
    )
    messages = [one.message for one in (*loose_ends(tracing), *remarks(tracing))]
    assert said in messages, messages


BESIDE = (
    POWER
    + """  D1: {is: diode, at: bay}
  D2: {is: diode, at: bay}
  S1: {is: splice, at: bay}
  SW: {is: switch, levers: {main: {contacts: {off: [], on: [1-2, 3-4]}}, aux: {contacts: {off: [], on: [5-6]}}}, at: bay}
  K1: {is: relay, kind: make with bridged 87, at: bay}
  M: {is: module, at: bay, cavities: 1-3, pins: {1: supply, 2: ground, 3: supply}}
"""
    + CABLE
    + "- BAT.+ -- RD 6 -- F1 -- RD 6 -- S1\n- S1 -- RD 1 -- SW.1\n- S1 -- RD 1 -- SW.3\n- S1 -- RD 1 -- SW.5\n- S1 -- RD 1 -- D1.A\n- S1 -- RD 1 -- K1.30\n"
    "- SW.4 -- RD 1 -- K1.86\n- K1.85 -- BN 1 -- G1\n- M.2 -- BN 1 -- G1\n- D1.K -- RD 1 -- M.1\n- D2.A -- RD 1 -- SW.6\n- D2.K -- RD 1 -- M.1\n- K1.87 -- RD 1 -- M.3\n- K1.87b -- RD 1 -- M.3\n"
)


@pytest.mark.parametrize(
    ("more", "at"),
    [
        ("- SW.2 -- RD 1 -- M.1\n", []),
        ("- SW.2 -- RD 1 -- S1\n", []),  # one pole of two: the other one still works
        ("- SW.2 -- RD 1 -- S1\n- SW.4 -- RD 1 -- S1\n", ["SW/main"]),
        ("- SW.2 -- RD 1 -- M.1\n- SW.6 -- RD 1 -- S1\n", ["SW/aux"]),
        ("- SW.2 -- RD 1 -- M.1\n- M.1 -- RD 1 -- S1\n", ["D1"]),
        ("- SW.2 -- RD 1 -- M.1\n- M.3 -- RD 1 -- S1\n", ["K1"]),
    ],
)
def test_a_part_with_a_conductor_beside_it_is_loose_on_the_list(more: str, at: list[str], tmp_path: Path) -> None:
    """The two of its runs that were taken for each other leave no gap, and the part is on no list."""
    tracing = Tracing(load(tmp_path, BESIDE + more, vehicle=VEHICLE))
    assert [where for code, where in found_in(tracing) if code == "L167"] == at
    assert [one.at for one in supplies_of(tracing, "M").loose_ends if one.code == "L167"] == at


@pytest.mark.parametrize(
    ("live", "contacts", "words"),
    [
        ("[run]", "{off: [], run: [30-15]}", None),
        ("[run and lights]", "{off: [], run: [30-15]}", None),  # not sure, so not against it
        ("din", "{off: [30-15], run: []}", None),  # nobody said it of this vehicle
        ("[run]", "{run: [30-15]}", None),  # what the switch does with the key off is not known
        ("[off, run]", "{off: [], run: [30-15]}", "rail 15 is live in off as typed, but dead as traced from IGN.15"),
        ("[run]", "{off: [30-15], run: [30-15]}", "rail 15 is dead in off as typed, but live as traced from IGN.15"),
    ],
)
def test_key_states_typed_for_a_rail_against_its_origin(live: str, contacts: str, words: str | None, tmp_path: Path) -> None:  # fmt: skip
    rail = '"15": {from: IGN.15}' if live == "din" else f'"15": {{live: {live}, from: IGN.15}}'
    vehicle = f"vehicle: v\nkey: [off, run]\nconditions: {{lights: on}}\nrails: {{{rail}}}\n"
    sheet = (
        POWER
        + f"  IGN: {{is: switch, at: column, follows: key, contacts: {contacts}}}\n  M: {{is: module, at: bay, cavities: 1-2}}\n"
        + CABLE
        + '- BAT.+ -- RD 1 -- F1 -- RD 1 -- IGN.30\n- "15 -- RD 1 -- M.1"\n- M.2 -- BN 1 -- G1\n'
    )
    tracing = Tracing(load(tmp_path, sheet, vehicle=vehicle))
    assert [one.message for one in supplies_of(tracing, "M").loose_ends if one.code == "L168"] == ([words] if words else [])  # fmt: skip
