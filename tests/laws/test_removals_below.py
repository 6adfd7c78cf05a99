"""The same law downwards: a run is left out of the demo, and what a fuse position serves, or which modules a bus has, may not shrink unsaid.

Below a fuse a splice may have more wires than are typed in, so a panel's list is complete only when nothing in the vehicle is loose.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tracer.circuit import join
from tracer.circuit.model import Circuit
from tracer.electrics.bus.lines import bus_names
from tracer.electrics.bus.of_vehicle import bus_of
from tracer.electrics.limits_in_use import limits_of
from tracer.entry import Typed, read_folder
from tracer.trace.panels.positions_of import PanelReport, panels_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"


@cache
def _typed() -> Typed:
    return read_folder(DEMO)


def _served(report: PanelReport) -> dict[tuple[str, str], frozenset[tuple[str, str]]]:
    return {
        (position.panel, position.label): frozenset((one.part, one.pin) for one in position.serves)
        for position in report.positions
    }


def _buses(circuit: Circuit) -> dict[str, tuple[bool, frozenset[str], int]]:
    tracing, limits = Tracing(circuit), limits_of(circuit)
    found = {name: bus_of(tracing, name, limits=limits) for name in bus_names(circuit)}
    return {
        name: (bus.complete, frozenset(node.module for node in bus.nodes), len(bus.terminations))
        for name, bus in found.items()
    }


@cache
def _before() -> tuple[PanelReport, dict[str, tuple[bool, frozenset[str], int]]]:
    circuit = join(_typed())
    return panels_of(Tracing(circuit)), _buses(circuit)


def test_the_demo_is_complete_before_anything_is_left_out() -> None:
    panels, buses = _before()
    assert panels.complete
    assert all(complete for complete, _, _ in buses.values())


@pytest.mark.parametrize("start", range(8))
def test_nothing_served_and_no_node_of_a_bus_is_lost_unsaid(start: int) -> None:
    """One run after the other; each eighth of them in a test of its own, so that they run side by side."""
    panels, buses = _before()
    unsaid = set()
    for number in range(start, len(_typed().runs), 8):
        run = _typed().runs[number]
        runs = tuple(one for other, one in enumerate(_typed().runs) if other != number)
        circuit = join(replace(_typed(), runs=runs))
        report = panels_of(Tracing(circuit))
        if report.complete and _served(report) != _served(panels):
            unsaid.add(run.text)
        for name, (complete, modules, terminations) in _buses(circuit).items():
            assert not complete or (modules, terminations) == buses[name][1:], f"{name} without {run.text}"
    assert unsaid == set()
