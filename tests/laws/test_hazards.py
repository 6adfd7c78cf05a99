"""A hazard on any part of any vehicle is shown by every command that shows its wiring, and nothing to measure is printed there; notes are shown; `none` takes all back.

The reach itself is held against a slow oracle: every simple path between two ends that belong to something else is walked with networkx.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import networkx
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

import tracer
from tests.commands import run
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tests.typed import load
from tracer.circuit.kinds import GROUND_KINDS, SUPPLY_KINDS
from tracer.circuit.model import LOADS, LinkKind
from tracer.entry.problems import CannotUse
from tracer.trace.hazards import Danger, Hazards
from tracer.trace.tracing import Tracing

# Every command is run on each vehicle: few of them, and a failing one is not made smaller, which would take minutes.
FEW = settings(max_examples=max(6, settings().max_examples // 6), phases=(Phase.explicit, Phase.reuse, Phase.generate))
KINDS = st.sampled_from(("restraint", "high voltage"))
ASKED = ("supplies", "states", "volts", "affects", "common", "panel", "draw", "check", "worksheet", "diagram")
_METHOD = re.compile(r"\d ?(?:V|mV|mA|Ω|ohm|W)\b|(?i:test lamp|lamp \d|measure|meter|drags evenly|battery voltage)")


def typed_on(vehicle: TypedVehicle, name: str, words: str) -> TypedVehicle:
    """The vehicle with more facts on one part."""

    def with_more(line: str) -> str:
        part, _, facts = line.partition(": ")
        if part != name:
            return line
        return f"{part}: {facts[:-1]}, {words}}}" if facts.startswith("{") else f"{part}: {{is: {facts}, {words}}}"

    return replace(vehicle, parts=[[with_more(line) for line in sheet] for sheet in vehicle.parts])


def tracing_of(vehicle: TypedVehicle) -> Tracing:
    with tempfile.TemporaryDirectory() as folder:
        try:
            return Tracing(tracer.load(vehicle.write(Path(folder) / "v")))
        except CannotUse:
            assume(False)
            raise


def names_of(vehicle: TypedVehicle) -> list[str]:
    return [line.partition(":")[0] for sheet in vehicle.parts for line in sheet]


def calls(tracing: Tracing) -> Iterator[list[str]]:
    """One call of every command, of those that want a part with each module."""
    modules = [part.name for part in tracing.circuit.modules()]
    for command in ASKED:
        if command in ("panel", "draw", "check"):
            yield from ([command], *([[command, "--all"]] if command != "check" else []))
        elif command not in ("worksheet", "diagram"):
            yield from ([command, module] for module in modules)
        if command in ("volts", "affects", "common"):
            yield from ([command, module, "--all"] for module in modules)
    for module in modules:
        yield from (["worksheet", module, "--json"], ["worksheet", module, "--all", "--json"])


def texts(tracing: Tracing, *, drawn: bool = False) -> Iterator[tuple[list[str], str]]:
    with tempfile.TemporaryDirectory() as folder:
        more = [["diagram", "M", "-o", f"{folder}/d.svg", "--date", "2020-02-02"]] if drawn else []
        for arguments in (*calls(tracing), *more):
            yield arguments, run(tracing, ["--width", "300", *arguments])[1]


def is_named(name: str, text: str) -> bool:
    return re.search(rf"(?<![\w.]){re.escape(name)}(?![\w.:])", text) is not None


@FEW
@given(typed_vehicles(), KINDS, st.data())
def test_wherever_its_wiring_is_shown_the_hazard_is(vehicle: TypedVehicle, kind: str, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(names_of(vehicle)))
    hazard_is_shown(tracing_of(typed_on(vehicle, name, f"hazard: {kind}")), name, kind)


def test_on_a_lead_to_a_loose_end_the_hazard_is_shown() -> None:
    """F4 is on no way of M: the diagram draws it because what it joins is loose."""
    vehicle = TypedVehicle(
        {},
        [["BAT: battery", "M: {is: module, cavities: [1, 2]}", "F4: {is: fuse, amps: 10}"]],
        [["BAT.+ -- RD 1 -- F4 -- RD 1 -- BAT.-", "BAT.+ -- RD 1 -- M.1"]],
    )
    tracing = tracing_of(typed_on(vehicle, "F4", "hazard: restraint"))
    assert any("F4" in text for arguments, text in texts(tracing, drawn=True) if arguments[0] == "diagram")
    hazard_is_shown(tracing, "F4", "restraint")


def hazard_is_shown(tracing: Tracing, name: str, kind: str) -> None:
    """That every command, and the diagram of M, that shows a point of the wiring of the one hazard of a vehicle says so."""
    (danger,) = tracing.once(Hazards).nodes_of
    reach = {tracing.circuit.node_names[node] for node in tracing.once(Hazards).nodes_of[danger]}
    dotted = {point for point in reach if "." in point}  # S1 is a row as well as a splice
    said = f"{kind} ({name})"
    for arguments, text in texts(tracing, drawn=True):
        shown = {point for point in dotted if is_named(point, text)}
        assert not shown or said in text or f'"hazard": "{kind}"' in text, (arguments, shown)
        if shown and arguments[0] in ("supplies", "states", "volts", "affects", "common", "panel", "draw"):
            found = json.loads(run(tracing, [*arguments, "--json"])[1])
            listed = [
                one for one in found["minding"] if (one["kind"], one["of"], one["hazard"]) == ("hazard", name, kind)
            ]
            assert listed and shown & set(points_in(found)) <= set(listed[0]["at"]), arguments
        if shown and arguments[0] in ("supplies", "panel"):
            table = csv.DictReader(io.StringIO(run(tracing, [*arguments, "--csv"])[1]))
            assert all(f"HAZARD {said}" in line["to mind"] for line in table if line.get("at", "") in reach - {""})


def points_in(value: Any) -> Iterator[str]:
    """Every text that is a point, outside the list of what is to be minded."""
    if isinstance(value, dict):
        for key, held in value.items():
            if key in ("at", "point") and isinstance(held, str):
                yield held
            elif key != "minding":
                yield from points_in(held)
    elif isinstance(value, list):
        for held in value:
            yield from points_in(held)


@FEW
@given(typed_vehicles(), KINDS, st.data())
def test_nothing_to_measure_stands_on_its_wiring(vehicle: TypedVehicle, kind: str, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(["M", *names_of(vehicle)]))
    withheld_by_every_command(tracing_of(typed_on(vehicle, name, f"hazard: {kind}")), name, kind)


@pytest.mark.parametrize("kind", ["restraint", "high voltage"])
def test_nothing_to_measure_stands_on_a_module_with_fuse_ground_and_bus(kind: str, tmp_path: Path) -> None:
    sheet = """sheet: 1
parts:
  BAT: battery
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 5}
  X1: connector
  S1: splice
  S2: splice
  S3: splice
  S4: splice
  G1: ground
  RCM: {is: module, hazard: HAZARD, cavities: 1-7, pins: {1: supply, 2: ground, 3: output, 4: signal, 5: bus d H, 6: bus d L, 7: supply}, joined: [[1, 7]], draws: {1: 1}}
  SQ: {is: load, ohms: 2}
  RAD: {is: module, cavities: 1-4, pins: {1: supply, 2: ground, 3: bus d H, 4: bus d L}, draws: {1: 1}}
  GW: {is: module, cavities: 1-4, pins: {1: supply, 2: ground, 3: bus d H, 4: bus d L}, draws: {1: 1}}
runs:
  - BAT.+ -- RD 4 1m -- S1
  - S1 -- RD 1 1m -- F1 -- RD 1 1m -- X1.1 -- RD 1 1m -- RCM.1
  - S1 -- RD 1 1m -- F2 -- RD 1 1m -- RAD.1
  - S1 -- RD 1 1m -- GW.1
  - RCM.2 -- BN 1 1m -- S2 -- BN 2.5 1m -- G1
  - RAD.2 -- BN 1 1m -- S2
  - GW.2 -- BN 1 1m -- S2
  - BAT.- -- BK 25 1m -- G1
  - RCM.3 -- GN 0.5 1m -- SQ.1
  - RCM.4 -- YE 0.5 1m -- SQ.2
  - RCM.5 -- YE 0.5 1m -- S3 -- YE 0.5 1m -- RAD.3
  - RCM.6 -- GN 0.5 1m -- S4 -- GN 0.5 1m -- RAD.4
  - S3 -- YE 0.5 1m -- GW.3
  - S4 -- GN 0.5 1m -- GW.4
"""
    vehicle = "vehicle: v\nbuses: {d: {kind: high-speed can, terminations: {RCM: 120, RAD: 120}}}\n"
    tracing = Tracing(load(tmp_path, sheet.replace("HAZARD", kind), vehicle=vehicle))
    assert withheld_by_every_command(tracing, "RCM", kind) >= 10
    bus = json.loads(run(tracing, ["bus", "--json"])[1])["buses"][0]
    assert all(case["ohms"]["RCM.5/6"] is None for case in bus["cases"])
    assert bus["cases"][0]["ohms"]["RAD.3/4"] is not None
    assert not any("RCM unplugged" in case["words"] for case in bus["cases"])
    assert not any("RCM" in test["test"] or "RCM" in test["at"] for test in bus["tests"])
    with pytest.raises(tracer.CannotAnswer, match="the maker's procedure only"):
        tracer.bus_reading(tracing, tracer.bus(tracing, "d"), "120ohm", "RCM")
    with pytest.raises(tracer.BadChange, match="the maker's procedure only"):
        tracer.volts(tracing, "RCM", loads=["1+=21W"])
    with pytest.raises(tracer.BadReading, match="the maker's procedure only"):
        tracer.draw(tracing, ["F1=0.4"])


def test_a_bus_without_a_point_that_may_be_read(tmp_path: Path) -> None:
    """Both of its modules are restraint modules: no reading is given, and `bus` says so."""
    pins = "pins: {1: supply, 2: ground, 3: bus d H, 4: bus d L}"
    sheet = f"""sheet: 1
parts:
  BAT: battery
  F1: {{is: fuse, amps: 10}}
  S1: splice
  G1: ground
  RCM: {{is: module, hazard: restraint, cavities: 1-4, {pins}}}
  SBM: {{is: module, hazard: restraint, cavities: 1-4, {pins}}}
runs:
  - BAT.+ -- RD 4 1m -- F1 -- RD 1 1m -- S1
  - S1 -- RD 1 1m -- RCM.1
  - S1 -- RD 1 1m -- SBM.1
  - RCM.2 -- BN 1 1m -- G1
  - SBM.2 -- BN 1 1m -- G1
  - BAT.- -- BK 25 1m -- G1
  - RCM.3 -- YE 0.5 1m -- SBM.3
  - RCM.4 -- GN 0.5 1m -- SBM.4
"""
    vehicle = "vehicle: v\nbuses: {d: {kind: high-speed can, terminations: {RCM: 120, SBM: 120}}}\n"
    tracing = Tracing(load(tmp_path, sheet, vehicle=vehicle))
    assert json.loads(run(tracing, ["bus", "--json"])[1])["buses"][0]["cases"] == []
    text = run(tracing, ["--width", "300", "bus"])[1]
    assert "RCM, SBM" in text or "RCM.3/4, SBM.3/4" in text
    assert "the maker's procedure only" in text and "With everything plugged" not in text
    assert run(tracing, ["worksheet", "RCM", "--json"])[0] in (0, 3)


def withheld_by_every_command(tracing: Tracing, name: str, kind: str) -> int:
    """That nothing to measure stands on the wiring of the one hazard of a vehicle, in any command; how many rows and points were looked at."""
    looked_at = 0
    names = tracing.circuit.node_names
    reach = {names[node] for nodes in tracing.once(Hazards).nodes_of.values() for node in nodes}
    parts = {
        tracing.circuit.node_parts[node] for nodes in tracing.once(Hazards).nodes_of.values() for node in nodes
    } | {name}
    words = (
        "restraint wiring, the maker's procedure only"
        if kind == "restraint"
        else "high voltage, the maker's procedure only"
    )
    for module in (part.name for part in tracing.circuit.modules()):
        listed = json.loads(run(tracing, ["supplies", module, "--json"])[1])
        for row in (row for level in ("supplies", "grounds", "carrying", "chains") for row in listed[level]):
            for probe in row["probes"]:
                if probe["at"] in reach:
                    looked_at += 1
                    assert listed["points"][probe["at"]]["no_method"] == row["no_method"] == words
                    assert not row["computed"]
                    assert not any({**listed["points"][other["at"]], **other}["computed"] for other in row["probes"])
        for row in json.loads(run(tracing, ["volts", module, "--json"])[1])["rows"]:
            if {row["point"], *(probe["at"] for probe in row["probes"])} & reach:
                looked_at += 1
                figures = (
                    "volts",
                    "lost",
                    "current",
                    "copper_v",
                    "limit",
                    "across",
                    "unplugged",
                    "in_order_v",
                    "judge",
                )
                assert row["not_computed"] == words and not any(row[figure] for figure in figures)
                assert not row["elements"] and not row["probes"]
        for pin in json.loads(run(tracing, ["states", module, "--json"])[1])["pins"]:
            if f"{module}.{pin['pin']}" in reach:
                looked_at += 1
                assert pin["reading"] == words
        sheet = json.loads(run(tracing, ["worksheet", module, "--json"])[1])
        for box in boxes_of(sheet):
            assert box["point"] not in reach, box
        looked_at += sum(pin["point"] in reach and pin["says"] == words for pin in sheet["pins"])
        for batch in json.loads(run(tracing, ["worksheet", module, "--all", "--json"])[1])["batches"]:
            for reading in batch["readings"]:
                if reading["point"] in reach:
                    looked_at += 1
                    assert reading["expected"] == words and reading["no_method"] and not reading["must"]
                    kept = ("boxes", "computed", "lamp", "lamp_w", "limit", "source")
                    assert not any(reading[key] for key in kept), reading
    drawn = json.loads(run(tracing, ["draw", "--json"])[1])
    assert not parts & {one["fuse"] for one in (*drawn["readings"], *drawn["unread"])}
    for arguments, text in texts(tracing):
        if arguments[0] in ("supplies", "states", "volts", "panel", "draw"):
            for line in text.partition("\nCAUTIONS")[0].partition("\nREMARKS")[0].splitlines():
                if any(is_named(point, line) for point in reach if "." in point) and said_of_one(line):
                    looked_at += 1
                    assert not _METHOD.search(line), (arguments, line)
    return looked_at


def boxes_of(sheet: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every box of a sheet of a module to write a reading into, as data."""
    for strip in (*sheet["before"], *sheet["after"]):
        yield from (box for box in strip["boxes"] if strip["number"] > 1)  # a fuse may be looked at, a relay heard
    for pin in sheet["pins"]:
        single = (pin[name] for name in ("plugged", "start", "bare", "loaded") if pin[name])
        yield from (*single, *pin["dead"], *pin["splits"])


def said_of_one(line: str) -> bool:
    """A line about one row or point, not a loose end with its cure."""
    return not re.match(r"\s*[LR]\d{3} ", line)


@FEW
@given(typed_vehicles(most_runs=9), KINDS, st.data())
def test_the_reach_ends_where_something_else_is_fed(vehicle: TypedVehicle, kind: str, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from([one for one in names_of(vehicle) if one not in ("P", "R")]))  # no panel
    tracing = tracing_of(typed_on(vehicle, name, f"hazard: {kind}"))
    circuit = tracing.circuit
    own = set(circuit.pins_of.get(name, {}).values())
    graph = networkx.Graph()
    graph.add_nodes_from(range(len(circuit.node_names)))
    graph.add_edges_from((one.a, one.b) for one in circuit.links if one.kind in SUPPLY_KINDS | GROUND_KINDS)
    without = graph.subgraph(set(graph) - own)
    ends = set[int]()
    sources = {end.node for end in circuit.sources}
    for consumer in {one.part for one in circuit.links if one.kind in LOADS} | {one.name for one in circuit.modules()}:
        pins = {node for one in circuit.links if one.kind in LOADS and one.part == consumer for node in (one.a, one.b)}
        pins |= set(circuit.pins_of.get(consumer, {}).values()) if circuit.parts[consumer].kind == "module" else set()
        fed = {node for node in pins - own if is_fed(tracing, node, own)}
        fed_at_all = any(tracing.supply_ways().reached(node) for node in pins)
        if fed or (circuit.parts[consumer].kind == "module" and not fed_at_all):
            ends |= pins
    ends |= sources | {end.node for end in circuit.grounds} | tracing.masses
    ends -= own
    shared = set(ends)
    for a, b in combinations(sorted(ends), 2):
        free = without.subgraph((set(without) - ends) | {a, b})
        if networkx.has_path(free, a, b):
            for path in networkx.all_simple_paths(free, a, b):
                shared.update(path)
    (reached,) = tracing.once(Hazards).nodes_of.values()
    assert own <= reached and not (reached - own) & shared
    beside = {other for node in reached for other in graph.neighbors(node)} - reached
    assert beside <= shared | own


def is_fed(tracing: Tracing, node: int, own: set[int]) -> bool:
    """Whether supply reaches a node over conductors, contacts, diodes and high-side outputs without the dangerous pins or ground."""
    circuit = tracing.circuit
    barred = own | tracing.hard_ground
    graph = networkx.Graph()
    graph.add_nodes_from(set(range(len(circuit.node_names))) - barred)
    for one in circuit.links:
        if one.kind in SUPPLY_KINDS and one.a not in barred and one.b not in barred:
            graph.add_edge(one.a, one.b)
    return node in graph and any(
        end.node in graph and networkx.has_path(graph, end.node, node) for end in circuit.sources
    )


@FEW
@given(typed_vehicles(), st.data())
def test_none_takes_back_all_that_a_name_did(vehicle: TypedVehicle, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from([one for one in names_of(vehicle) if one != "P"]))
    plain = tracing_of(typed_on(vehicle, name, "name: Walrus q7"))
    none = tracing_of(typed_on(vehicle, name, "name: Airbag q7, hazard: none"))
    guessed = tracing_of(typed_on(vehicle, name, "name: Airbag"))
    assert guessed.once(Hazards).guessed == (Danger("restraint", name, word="airbag"),)
    assert any("R251" in text for arguments, text in texts(guessed) if arguments == ["check"])
    for (arguments, expected), (_, found) in zip(texts(plain, drawn=True), texts(none, drawn=True), strict=True):
        if arguments[0] != "diagram":  # laid out by the width of the letters
            assert found.replace("Airbag q7", "Walrus q7") == expected, arguments
        assert "restraint (" not in found


@FEW
@given(typed_vehicles(), st.data())
def test_a_note_typed_anywhere_is_shown(vehicle: TypedVehicle, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(names_of(vehicle)))
    noted = typed_on(vehicle, name, "note: oneword")
    sheet = data.draw(st.sampled_from([n for n, runs in enumerate(noted.runs) if runs]))
    number = data.draw(st.integers(0, len(noted.runs[sheet]) - 1))
    runs = [list(some) for some in noted.runs]
    runs[sheet][number] = f"{{run: {runs[sheet][number]}, note: twoword}}"
    tracing = tracing_of(replace(noted, runs=runs))
    shown = "".join(run(tracing, ["affects", part])[1] for part in tracing.circuit.parts)
    assert "oneword" in shown
    ends = {end for one in tracing.circuit.runs if one.note == "twoword" for end in one.points}
    assert "twoword" in shown or all(point.is_reference or point.part in noted.rails for point in ends)


def test_kinds_of_links_that_a_hazard_passes() -> None:
    """What the oracle takes for granted: no load, coil or converter is passed."""
    assert not (SUPPLY_KINDS | GROUND_KINDS) & (LOADS | {LinkKind.CONVERTER})
