"""What nobody knows is never taken for nothing: a part of unknown inside at any point of a way leaves the list open, and what was not dead is not dead."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.typed import load, write
from tracer.circuit import join
from tracer.circuit.states import KeyStates, Level
from tracer.entry import Typed, read_folder
from tracer.entry.models import RelayFacts, SwitchFacts
from tracer.entry.runs import Run, read_run
from tracer.entry.values import UNKNOWN_CONTACTS
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"


@cache
def _typed(folder: Path, kind: str) -> Typed:
    """The demo with a part of unknown inside that no run touches yet."""
    write(folder, f"sheet: extra\nparts: {{Q1: {kind}}}\nruns: [Q1.1 -- RD 1 -- Q1.2]\n", vehicle=None)
    extra = read_folder_of(folder)
    demo = read_folder(DEMO)
    return replace(demo, fragments={**demo.fragments, **extra.fragments})


def read_folder_of(folder: Path) -> Typed:
    write(folder, *(path.read_text() for path in sorted((folder / "sheets").glob("*.yaml"))))
    return read_folder(folder)


@cache
def _demo_points() -> tuple[str, ...]:
    """Every point of the demo's list that a wire can be typed to, but the posts where its ways end: a further way from there is no other supply."""
    typed = read_folder(DEMO)
    rows = supplies_of(join(typed), "ALM").rows
    ends = {end.id for row in rows for end in row.ends}
    return tuple(
        dict.fromkeys(
            probe.at for row in rows for probe in row.probes if ", towards " not in probe.at and probe.at not in ends
        )
    )


@pytest.mark.parametrize("kind", ["box", "switch", "{is: relay, contacts: unknown}"])
@pytest.mark.parametrize("part", range(8))
def test_a_wire_to_an_unknown_inside_anywhere_on_the_ways_leaves_the_list_open(
    kind: str, part: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    typed = _typed(tmp_path_factory.getbasetemp() / f"unknown-{kind[:4].strip('{')}", kind)
    points = _demo_points()[part::8]
    assert points
    for point in points[:: 1 if kind == "box" else 3]:
        text = f"{point} -- RD 1 -- Q1.1"
        read, wires, slips = read_run(text, "iec")
        assert not slips
        run = Run(0, text, 1, 1, read, wires, "diagram")
        report = supplies_of(join(replace(typed, runs=(*typed.runs, run))), "ALM")
        assert not report.complete, point
        assert "Q1.1" in {end.at for end in report.loose_ends}, point
        assert not report.cross_check.differences, point


def _tables() -> list[tuple[str, str]]:
    """Each part of the demo with a contact table of its own, and each position of it."""
    typed = read_folder(DEMO)
    short = join(typed).short_names
    return [
        (short.get(full, full), position)
        for full, fragments in typed.fragments.items()
        for one in fragments
        if isinstance(one.facts, SwitchFacts | RelayFacts)
        for position in one.facts.contacts
    ]


@pytest.mark.parametrize(("name", "position"), _tables())
def test_one_position_that_becomes_unknown_makes_nothing_dead_and_no_list_complete(name: str, position: str) -> None:
    typed = read_folder(DEMO)
    short = join(typed).short_names
    full = next(full for full in typed.fragments if short.get(full, full) == name)
    before = typed.fragments[full]
    unknown = [one if position not in one.facts.contacts else replace(one, facts=one.facts.model_copy(update={"contacts": {**one.facts.contacts, position: UNKNOWN_CONTACTS}})) for one in before]  # type: ignore[attr-defined] # fmt: skip
    _nothing_dead_by_it(name, replace(typed, fragments={**typed.fragments, full: unknown}))


@cache
def _switching() -> tuple[str, ...]:
    return tuple(part.name for part in join(read_folder(DEMO)).parts.values() if part.kind in ("relay", "switch"))


@pytest.mark.parametrize("name", _switching())
def test_contacts_that_become_unknown_make_nothing_dead_and_no_list_complete(name: str) -> None:
    typed = read_folder(DEMO)
    short = join(typed).short_names
    full = next(full for full in typed.fragments if short.get(full, full) == name)
    unknown = [
        replace(one, facts=one.facts.model_copy(update={"kind": None, "contacts": {"unknown": ()}, "levers": {}}))
        for one in typed.fragments[full]
    ]
    _nothing_dead_by_it(name, replace(typed, fragments={**typed.fragments, full: unknown}))


def _nothing_dead_by_it(name: str, typed: Typed) -> None:
    before, after = join(read_folder(DEMO)), join(typed)
    assert after.parts[name].inside_unknown
    was, now = KeyStates(before), KeyStates(after)
    number_of = {point: node for node, point in enumerate(after.node_names)}
    for node, point in enumerate(before.node_names):
        if point not in number_of:
            continue
        for key in was.keys:
            for level in ("supply_level", "ground_level"):
                if getattr(was, level)(node, key) is not Level.DEAD:
                    assert getattr(now, level)(number_of[point], key) is not Level.DEAD, (point, key, level)
    old, new = Tracing(before), Tracing(after)
    for module in before.modules():
        touched = any(
            name == switch.split(" ")[0] for row in supplies_of(old, module.name).rows for switch in row.switches
        )
        if touched:
            assert not supplies_of(new, module.name).complete, module.name


LEVERS = """\
sheet: 1
parts:
  BAT: battery
  G1: ground
  S7: {is: switch, levers: {a: {contacts: {off: [], on: [1-2]}}, b: {contacts: {up: [3-4], down: [3-5]}}}}
  M: {is: module, cavities: 1-4, pins: {1: supply, 2: supply, 3: supply, 4: ground}}
runs:
  - BAT.+ -- RD 1 -- S7.1
  - BAT.+ -- RD 1 -- S7.3
  - S7.2 -- RD 1 -- M.1
  - S7.4 -- RD 1 -- M.2
  - S7.5 -- RD 1 -- M.3
  - M.4 -- BN 1 -- G1
  - BAT.- -- BN 1 -- G1
"""


@given(a=st.sampled_from(["off", "on"]), b=st.sampled_from(["up", "down"]))
def test_each_lever_of_a_switch_is_a_variable_of_its_own(
    a: str, b: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    circuit = load(tmp_path_factory.mktemp("levers"), LEVERS)
    states = KeyStates(circuit)
    settled = states.settle("run", {}, {f"S7/a={a}": True, f"S7/b={b}": True})
    level = [settled.supply.get(states.nets.of[circuit.node_of_point["M", pin]], Level.DEAD) for pin in "123"]
    assert level == [Level.LIVE if held else Level.DEAD for held in (a == "on", b == "up", b == "down")]
    assert {(link.part, link.lever) for link in circuit.links if link.lever} == {("S7", "a"), ("S7", "b")}
    assert all(states.supply_level(circuit.node_of_point["M", pin], "run") is Level.DEPENDS for pin in "123")
