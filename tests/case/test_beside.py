"""What is read beside the tests of the pins counts only as the worksheet asks for it; read in another way it stays open and says so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import tracer
from tests.case.making import demo_plan, in_memory, reading
from tests.typed import load
from tracer.case.beside import beside_of_case
from tracer.case.opening import kept_plan
from tracer.case.readings import Conditions
from tracer.trace.tracing import Tracing

ASKED = [of for of in demo_plan()["beside"] if of["high"] is not None]


def state_of(name: str, volts: float, on: Conditions) -> tuple[str, str]:
    (found,) = beside_of_case(in_memory(demo_plan(), [reading(name, [volts], on)]))
    return found.state, found.reason


@pytest.mark.parametrize("of", ASKED, ids=lambda of: f"{of['names'][0]} {of['kind']}")
def test_read_as_it_is_asked_for_it_is_in_order_or_not_and_read_otherwise_neither(of: dict[str, Any]) -> None:
    name = of["names"][0]
    on = Conditions(key=of["key"], plugged=of["plugged"], asleep=of["asleep"], symptom=True, battery_v=12.4)
    middle = (of["low"] + of["high"]) / 2
    assert state_of(name, middle, on)[0] == "in order"
    assert state_of(name, of["high"] + 1, on)[0] == "not in order"
    for other in (replace(on, key="acc"), replace(on, plugged=not on.plugged), replace(on, asleep=not on.asleep), replace(on, other="+")):  # fmt: skip
        for volts in (middle, of["high"] + 1):
            state, reason = state_of(name, volts, other)
            assert state == "read otherwise" and reason.startswith("the worksheet asks for it with key ")


def test_a_pin_that_carries_supply_or_ground_undeclared_has_a_figure_only_where_it_is_steadily_so(tmp_path: Path) -> None:  # fmt: skip
    sheet = """
sheet: 1
parts:
  BAT: {is: battery, volts: 12}
  G1: ground
  SW: {is: switch, contacts: {rest: [], pressed: [1-2]}}
  M: {is: module, cavities: 1-5, pins: {1: supply, 2: ground, 3: signal, 4: signal, 5: signal}}
runs:
  - BAT.+ -- RD 4 -- S1
  - S1 -- RD 1 -- M.1
  - S1 -- RD 1 -- M.3
  - S1 -- RD 1 -- SW.1
  - SW.2 -- RD 1 -- M.5
  - M.2 -- BN 1 -- G1
  - M.4 -- BN 1 -- G1
  - BAT.- -- BK 16 -- G1
"""
    tracing = Tracing(load(tmp_path, sheet, vehicle="vehicle: v\nkey: [off, run]\n"))
    plan = kept_plan(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))
    levels = {of["pin"]: (of["low"], of["high"]) for of in plan["beside"] if of["kind"] == "level"}
    assert levels == {"3+": (6.0, None), "4-": (None, 1.0), "5+": (None, None)}
