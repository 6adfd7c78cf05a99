"""What dead parts share, against the intersection of what opening each thing by itself takes away, traced anew each time."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import tracer
from tests.trace.drawn import runs, typed
from tests.trace.slow import lost_without
from tests.typed import load
from tracer.circuit.model import LinkKind
from tracer.trace.affects.dead_part import Affected, UnknownPart, target_of
from tracer.trace.affects.in_common import CLEARED, DOUBTFUL, SUSPECT, common_of
from tracer.trace.tracing import Tracing

DEMO = str(Path(__file__).parent.parent.parent / "circuits" / "minibus")
CONSUMERS = ("M0", "M1", "E0", "E1")


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(DEMO))


def _killers(tracing: Tracing, names: Sequence[str], *, steady: bool) -> dict[str, set[str]]:
    """Of each part, every part, wire and cavity whose opening takes a supply or ground pin of it away, each traced anew."""
    circuit = tracing.circuit
    pins = [
        (terminal.part, terminal.node, terminal.level)
        for terminal in Affected(tracing).fitted().terminals
        if terminal.part in names and terminal.role != "signal"
    ]
    things: dict[str, tuple[set[int], set[int]]] = {}
    for part in circuit.parts.values():
        if part.kind not in ("load", "resistor"):
            opened = target_of(circuit, part.name).opened
            things[part.name] = (set(opened.links), set(opened.nodes))
    for number, link in enumerate(circuit.links):
        if link.kind is LinkKind.WIRE:
            things[f"#{number}"] = ({number}, set())
        elif link.kind is LinkKind.MATING:
            things[f"{link.part}.1"] = ({number}, set())
    found: dict[str, set[str]] = {name: set() for name in names}
    for thing, (links, nodes) in things.items():
        lost, _ = lost_without(tracing, links, nodes, steady=steady)
        for part_name, node, level in pins:
            if node in lost[level]:
                found[part_name].add(thing)
    return found


# A shared fuse; a shared relay whose coil has a fuse of its own; a shared converter. The fuses, coil and converter are suspects with the wires between.
SPLIT = (("S0", "M0.1"), ("S0", "E0.1"), ("M0.2", "S3"), ("E0.2", "S3"), ("S3", "G1"))
FUSE = (("F0.load", "S0"), *SPLIT)
RELAY = (("F0.load", "K0.30"), ("K0.87", "S0"), ("BAT.+", "F1.feed"), ("F1.load", "K0.86"), ("K0.85", "G1"), *SPLIT)
CONVERTER = (("F0.load", "CV.in"), ("CV.ground", "G1"), ("CV.out", "S0"), *SPLIT)
ENDS = (("BAT.+", "F0.feed"), ("BAT.-", "G0"))


def _lines(pairs: tuple[tuple[str, str], ...]) -> tuple[str, ...]:
    return tuple(f"{a} -- RD 1 -- {b}" for a, b in (*pairs, *ENDS))


@settings(max_examples=max(12, settings().max_examples // 5))
@given(runs(), st.sets(st.sampled_from(CONSUMERS), min_size=2, max_size=3), st.sampled_from(CONSUMERS))
@example(_lines(FUSE), {"M0", "E0"}, "E1")
@example(_lines(RELAY), {"M0", "E0"}, "E1")
@example(_lines(CONVERTER), {"M0", "E0"}, "E1")
@example(_lines((*FUSE, ("S0", "E1.1"), ("E1.2", "G1"))), {"M0", "E0"}, "E1")
def test_shared_is_the_intersection_of_what_kills_each(lines: tuple[str, ...], dead: set[str], works: str) -> None:
    tracing = Tracing(typed(lines))
    drawing = {terminal.part for terminal in Affected(tracing).fitted().terminals if terminal.role != "signal"}
    dead &= drawing
    working = [works] if works in drawing - dead else []
    if len(dead) < 2:
        return
    report = common_of(tracing, sorted(dead), working)
    groups = [group for group in report.groups if len(group.dead) == len(dead)]
    shared = {one.name for group in groups for one in group.candidates if one.kind != "wire"}
    told_wires = sum(one.kind == "wire" for group in groups for one in group.candidates)
    expected = set.intersection(*_killers(tracing, sorted(dead), steady=True).values()) - dead
    wires = {name for name in expected if name.startswith("#")}
    assert shared == expected - wires
    assert told_wires == len(wires)
    if working:
        touching = {one.name for group in groups if group.working for one in group.candidates if one.kind != "wire"}
        assert touching == (expected - wires) & _killers(tracing, working, steady=False)[works]


def test_two_pins_off_while_cranking_share_the_cut_out_relay(demo: Tracing) -> None:
    report = common_of(demo, ["ALM.7", "CLM.2"], ["BDM"])
    first, *others = report.groups
    assert [candidate.name for candidate in first.candidates] == ["KSC"]
    assert first.verdict == SUSPECT
    doubtful = [group for group in others if group.verdict == DOUBTFUL]
    assert {"F40", "IGN"} <= {candidate.name for group in doubtful for candidate in group.candidates}
    assert others[-1].verdict == CLEARED
    assert [candidate.name for candidate in others[-1].candidates] == ["BAT"]
    assert others[-1] not in report.shared_by_all() and first in report.shared_by_all()  # what works clears the battery


def test_of_one_dead_pin_everything_on_its_way_is_told(demo: Tracing) -> None:
    report = common_of(demo, ["ALM.3"])
    named = {candidate.name for group in report.groups for candidate in group.candidates}
    row = next(row for row in tracer.supplies(demo, "ALM").supplies if row.pin == "3")
    assert {fuse.part for fuse in row.fuses if fuse.sole} <= named and "BAT" in named


def test_a_shared_connector_counts_although_the_cavities_differ(demo: Tracing) -> None:
    report = common_of(demo, ["ALM.3", "RMP.3"])
    shared = {candidate.name for group in report.shared_by_all() for candidate in group.candidates}
    assert "X3" in shared
    assert not {"X3.8", "X3.5"} & shared
    assert report.places[0].dead == ("ALM.3", "RMP.3")


def test_what_only_some_share_comes_after_what_all_share(demo: Tracing) -> None:
    report = common_of(demo, ["DDM", "SDM", "RMP"])
    counts = [len(group.dead) for group in report.groups if group.verdict != CLEARED]
    assert counts == sorted(counts, reverse=True) and len(set(counts)) > 1
    assert min(len(group.dead) for group in report.groups) > 1


@pytest.mark.parametrize(
    ("dead", "working", "message"),
    [
        (["NIX"], [], "there is no part NIX"),
        (["F7"], [], "draws on no supply"),
        (["ALM.25"], [], "draws on no supply"),
        (["ALM"], ["ALM"], "dead and as working"),
    ],
)
def test_what_cannot_be_asked_is_said(demo: Tracing, dead: list[str], working: list[str], message: str) -> None:
    with pytest.raises(UnknownPart, match=message):
        common_of(demo, dead, working)


def test_a_rail_that_all_hang_on_is_named(tmp_path: Path) -> None:
    sheet = (
        "sheet: 1\nparts: {BAT: battery, G1: ground, F1: {is: fuse, amps: 5}, F2: {is: fuse, amps: 5}, E1: load, E2: load}\n"
        "runs:\n- BAT.- -- BK 16 -- G1\n- 30 -- RD 1 -- F1 -- RD 1 -- E1 -- BN 1 -- G1\n- 30 -- RD 1 -- F2 -- RD 1 -- E2 -- BN 1 -- G1\n"
        "- BAT.+ -- RD 1 -- ?\n"
    )
    report = common_of(Tracing(load(tmp_path, sheet, vehicle='vehicle: v\nrails: {"30": always}\n')), ["E1", "E2"])
    supplied = [
        group for group in report.groups if all(level == "supply" for hit in group.dead for _, level in hit.pins)
    ]
    assert [[candidate.words for candidate in group.candidates] for group in supplied] == [["rail 30"]]
