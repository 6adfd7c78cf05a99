"""Hazards: typed or given away by a name, and how far along the wires they reach."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.typed import write
from tracer.report.panel_page import page_data
from tracer.report.supplies import as_text
from tracer.standards.hazards import HAZARDS, hazards_in_words
from tracer.trace.hazards import Hazards
from tracer.trace.minding import minding_of
from tracer.trace.tracing import Tracing

SHEET = """
sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 5}
  X1: connector
  S1: splice
  S2: splice
  G1: {is: ground, at: floor}
  RCM: {is: module, name: NAME, cavities: 1-4, pins: {3: output, 4: signal}MORE}
  SQ: {is: load, ohms: 2}
  RAD: {is: module, cavities: 1-2}
runs:
  - BAT.+ -- RD 4 -- S1
  - S1 -- RD 2.5 -- F1 -- RD 1 -- X1.1 -- RD 1 -- RCM.1
  - S1 -- RD 2.5 -- F2 -- RD 1 -- RAD.1
  - RCM.2 -- BN 1 -- S2 -- BN 2.5 -- G1
  - RAD.2 -- BN 1 -- S2
  - BAT.- -- BK 25 -- G1
  - RCM.3 -- GN 0.5 -- SQ.1
  - RCM.4 -- YE 0.5 -- SQ.2
"""


def hazards(tmp_path: Path, name: str = "Crash module", more: str = "", head: str = "") -> tuple[Tracing, Hazards]:
    text = head + SHEET.replace("NAME", name).replace("MORE", more)
    tracing = Tracing(tracer.load(write(tmp_path, text, vehicle="vehicle: v\n")))
    return tracing, tracing.once(Hazards)


def reach(found: tuple[Tracing, Hazards], kind: str = "restraint") -> set[str]:
    tracing, of = found
    nodes = frozenset[int]().union(*(found for danger, found in of.nodes_of.items() if danger.kind == kind))
    return {tracing.circuit.node_names[node] for node in nodes}


ALONE = {
    "RCM.1",
    "X1.1, towards RCM",
    "X1.1, towards F1",
    "F1.load",
    "F1.feed",
    "RCM.2",
    "RCM.3",
    "SQ.1",
    "RCM.4",
    "SQ.2",
}


def test_a_typed_hazard_reaches_to_the_last_place_that_feeds_nothing_else(tmp_path: Path) -> None:
    found = hazards(tmp_path, more=", hazard: restraint")
    assert reach(found) == ALONE  # the igniter as well: nothing but the module feeds it


def test_a_name_makes_a_hazard_until_none_is_typed(tmp_path: Path) -> None:
    found = hazards(tmp_path / "a", name="Air-bag control module")
    assert {(hazard.part, hazard.kind, hazard.word) for hazard in found[1].guessed} == {("RCM", "restraint", "air bag")}
    assert {"RCM.1", "F1.load"} <= reach(found)
    assert reach(hazards(tmp_path / "b", name="Air-bag control module", more=", hazard: none")) == set()
    assert reach(hazards(tmp_path / "c")) == set()


def test_a_pin_alone_can_be_one(tmp_path: Path) -> None:
    found = hazards(tmp_path, more=", hazard: {3: restraint, 2: hot}")
    assert reach(found) == {"RCM.3", "SQ.1"}
    assert reach(found, "hot") == {"RCM.2"}


def test_a_page_makes_its_consumers_hazards_and_not_its_fuses(tmp_path: Path) -> None:
    found = hazards(tmp_path, head="hazard: restraint\n")
    parts = set(found[1].of_part)
    assert parts == {"RCM", "RAD", "SQ"}
    assert "BAT.+" not in reach(found)
    assert {"F1.load", "F2.load", "SQ.1", "S1", "S2"} <= reach(found)  # nothing else is fed over the two splices


def test_cautions_and_notes_come_from_the_part_its_pin_its_page_and_the_vehicle(tmp_path: Path) -> None:
    tracing, _ = hazards(tmp_path, more=", caution: {3: wait}, note: {1: new}", head="caution: chock the wheels\n")
    found = minding_of(tracing, ("RCM.3", "RCM.1"))
    assert [(one.kind, one.of, one.words, one.at) for one in found.things] == [
        ("caution", "RCM.3", "wait", ("RCM.3",)),
        ("caution", "sheet 1", "chock the wheels", ()),
        ("note", "RCM.1", "new", ("RCM.1",)),
    ]


@pytest.mark.parametrize("also", ["", "  - RAD.1 -- RD 1 -- X1.1:b\n"])
def test_a_ring_of_its_own_is_its_own_unless_something_else_hangs_on_it(tmp_path: Path, also: str) -> None:
    ring = "  - S1 -- RD 2.5 -- F3 -- RD 1 -- X1.1:b\n" + also
    sheet = SHEET.replace("F2: {is", "F3: {is: fuse, amps: 10}\n  F2: {is")
    text = sheet.replace("NAME", "Airbag").replace("MORE", "") + ring
    tracing = Tracing(tracer.load(write(tmp_path, text, vehicle="vehicle: v\n")))
    assert ({"F1.load", "F3.load", "F3.feed"} <= reach((tracing, tracing.once(Hazards)))) == (not also)
    assert "RCM.1" in reach((tracing, tracing.once(Hazards)))


def test_a_line_that_others_share_is_theirs_too_up_to_the_branch(tmp_path: Path) -> None:
    bus = SHEET.replace("cavities: 1-4", "cavities: 1-5").replace("cavities: 1-2}", "cavities: 1-3}")
    bus = (
        bus.replace("NAME", "Airbag")
        .replace("MORE", "")
        .replace("  S2: splice", "  S2: splice\n  S9: splice\n  O: {is: module, cavities: [1]}")
    )
    bus += "  - RCM.5 -- YE 0.5 -- X1.5 -- YE 0.5 -- S9\n  - S9 -- YE 0.5 -- RAD.3\n  - S9 -- YE 0.5 -- O.1\n"
    tracing = Tracing(tracer.load(write(tmp_path, bus, vehicle="vehicle: v\n")))
    found = reach((tracing, tracing.once(Hazards)))
    assert {"RCM.5", "X1.5, towards RCM", "X1.5, towards S9"} <= found and not {"S9", "RAD.3", "O.1"} & found


def test_none_beside_another_hazard_and_an_unknown_word_are_problems(tmp_path: Path) -> None:
    for typed, said in (
        ("[none, hot]", "`none` does not go with another hazard"),
        ("explosive", "is not possible here"),
    ):
        with pytest.raises(tracer.CannotUse, match=said):
            hazards(tmp_path / typed.strip("[]").replace(", ", "-"), more=f", hazard: {typed}")


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("Airbag module", ["restraint"]),
        ("AIRBAG", ["restraint"]),
        ("Belt-tensioner, left", ["restraint"]),
        ("HV contactor", ["high voltage"]),
        ("Traction battery monitor", ["high voltage"]),
        ("Air levelling module", []),
        ("Shiver sensor", []),
    ],
)
def test_words_that_sound_like_a_hazard(name: str, kinds: list[str]) -> None:
    assert [kind for kind, _ in hazards_in_words(name)] == kinds


def test_each_kind_has_a_line_and_two_withhold_every_method() -> None:
    assert {name for name, kind in HAZARDS.items() if kind.no_method} == {"restraint", "high voltage"}
    assert all(kind.line for kind in HAZARDS.values())


def test_positions_in_reach_get_no_boxes_for_volts_and_millivolts(tmp_path: Path) -> None:
    text = (
        SHEET.replace("NAME", "Airbag")
        .replace("MORE", "")
        .replace(
            "  F1: {is: fuse, amps: 10}\n  F2: {is: fuse, amps: 5}\n", "  P: {is: panel, positions: {F1: 10, F2: 5}}\n"
        )
    )
    report = tracer.panels(tracer.load(write(tmp_path, text, vehicle="vehicle: v\n")))
    rows = {row["label"]: row for row in page_data(report)["panels"][0]["positions"]}
    assert [rows[label]["no_method"] for label in ("F1", "F2")] == [True, False]
    assert "restraint (RCM); restraint wiring, the maker's procedure only" in rows["F1"]["state"]


def test_a_hazard_of_a_panel_is_that_of_its_positions(tmp_path: Path) -> None:
    text = (
        SHEET.replace("NAME", "Radio")
        .replace("MORE", "")
        .replace("  F1: {is: fuse, amps: 10}\n", "  P: {is: panel, hazard: high voltage, positions: {F1: 10}}\n")
    )
    tracing = Tracing(tracer.load(write(tmp_path, text, vehicle="vehicle: v\n")))
    assert {"F1.feed", "F1.load", "RCM.1"} <= reach((tracing, tracing.once(Hazards)), "high voltage")


def test_of_a_whole_vehicle_it_is_said_everywhere_and_withholds_nothing(tmp_path: Path) -> None:
    text = SHEET.replace("NAME", "Radio").replace("MORE", "")
    tracing = Tracing(
        tracer.load(write(tmp_path, text, vehicle="vehicle: v\nhazard: [high voltage, fuel]\nnote: third key lost\n"))
    )
    report = tracer.supplies(tracing, "RCM")
    assert [(one.kind, one.hazard, one.at) for one in report.minding.things] == [
        ("hazard", "high voltage", ()), ("hazard", "fuel", ()), ("note", "", ()),
    ]  # fmt: skip
    assert not any(row.no_method for row in report.rows)
    shown = as_text(report)
    assert "2 HAZARDS: high voltage (vehicle), fuel (vehicle)." in shown and "vehicle: third key lost" in shown


@pytest.mark.parametrize(
    ("vehicle", "more", "said"),
    [
        ("vehicle: v\nhazard: none\n", "", "`none` is not possible for a whole vehicle"),
        ("vehicle: v\n", ", hazard: {9: restraint}", "RCM has no pin 9"),
        ("vehicle: v\n", ", note: {9: words}", "RCM has no pin 9"),
        ("vehicle: v\n", ", hazard: restrain", "Did you mean `restraint`"),
    ],
)
def test_slips_are_problems(tmp_path: Path, vehicle: str, more: str, said: str) -> None:
    text = SHEET.replace("NAME", "Radio").replace("MORE", more)
    with pytest.raises(tracer.CannotUse, match=said):
        tracer.load(write(tmp_path, text, vehicle=vehicle))


def test_one_pin_of_a_hazard_can_be_none(tmp_path: Path) -> None:
    found = hazards(tmp_path, name="Airbag", more=', hazard: {"": restraint, 3: none}')
    assert "RCM.1" in reach(found) and "RCM.3" not in reach(found)
    guessed = hazards(tmp_path / "b", name="Airbag", more=", hazard: {3: none}")
    assert "RCM.1" in reach(guessed) and "RCM.3" not in reach(guessed)
