"""Contacts go by the size of their wires, their fuse or their rating, and none in order loses more than 0.12 V at its current."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from tests.electrics.fitting import fitted
from tests.electrics.vehicles import row, tracing_of, volts
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.model.of_circuit import model_of
from tracer.standards.allowances import contact_most_v, contact_ohm

MOST_V = 0.12  # copper softens near it (contact theory, from memory)

# M.1 hangs behind the contact of K1 and cavity X1.1, together with a heater.
HEATER = """
parts:
  BAT: battery
  F1: {is: fuse, amps: 80}
  F2: {is: fuse, amps: 10}
  K1: {is: relay, kind: normally open, MORE}
  X1: {is: connector}
  S1: splice
  G1: ground
  H1: {is: load, amps: AMPS}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- BAT.+ -- RD SIZE 1m -- F1 -- RD SIZE 1m -- K1.30
- K1.87 -- RD SIZE 1m -- X1.1 -- RD SIZE 1m -- S1
- S1 -- RD 1 1m -- M.1
- S1 -- RD SIZE 1m -- H1 -- BN SIZE 1m -- G1
- G1 -- BK 35 1m -- BAT.-
- BAT.+ -- RD 1 1m -- F2 -- RD 1 1m -- K1.86
- K1.85 -- BN 1 1m -- BAT.-
- M.2 -- BN 1 1m -- BAT.-
"""


def heater(folder: Path, amps: float, size: str = "6", more: str = "name: x") -> Model:
    sheet = HEATER.replace("AMPS", f"{amps:g}").replace("SIZE", size).replace("MORE", more)
    tracing = tracing_of(folder, sheet)
    wanted = changes_of(tracing.circuit, battery_v=12.6)
    return model_of(tracing, "run", wanted, limits=limits_of(tracing.circuit))


def worst_contact_v(model: Model) -> float:
    """The most that one contact loses with its greatest ohms at its nominal current, each branch by itself."""
    branch_a = np.abs(model.solve().branch_a)
    lost_v: list[float] = [
        amps * one.ohms.contact[2] / one.ohms.contacts
        for one, amps in zip(model.branches, branch_a.tolist(), strict=True)
        if one.ohms.contacts
    ]
    return max(lost_v)


def test_the_most_that_a_contact_loses_says_that_it_is_from_memory() -> None:
    most = contact_most_v()
    assert most.value == MOST_V and most.certainty == "memory"


@pytest.mark.parametrize("amps", [5, 18, 40, 55, 150, 600])
@pytest.mark.parametrize("size", ["?", "1", "6", "35"])
def test_no_contact_in_order_loses_more_at_any_current_and_size(tmp_path: Path, amps: float, size: str) -> None:
    """With one resistance for every size a cavity would be allowed 0.83 V at 55 A."""
    size = "" if size == "?" else size
    model = fitted(heater(tmp_path, amps, size))
    assert 0.0 < worst_contact_v(model) <= 1.02 * MOST_V
    if amps == 55 and size == "1":
        assert worst_contact_v(heater(tmp_path, amps, size)) > 2 * MOST_V, "nothing had to be bound here"


def test_a_thicker_wire_never_has_the_worse_contact(tmp_path: Path) -> None:
    def contact(size: str) -> tuple[float, float, float]:
        (found,) = (one.ohms.contact for one in heater(tmp_path / size, 5, size).branches if one.kind == "mating")
        return found

    sizes = [contact(size) for size in ("0.35", "0.5", "1", "2.5", "6", "16", "50")]
    for thin, thick in itertools.pairwise(sizes):
        assert all(a >= b for a, b in zip(thin, thick, strict=True)) and thin[0] >= thick[0]
    assert sizes[-1][2] < sizes[0][2] / 5


def test_a_thin_and_a_thick_wire_at_one_contact_count_as_thin(tmp_path: Path) -> None:
    sheet = (
        HEATER.replace("AMPS", "5").replace("MORE", "name: x").replace("- RD SIZE 1m -- X1.1", "- RD 0.5 1m -- X1.1")
    )
    tracing = tracing_of(tmp_path, sheet.replace("SIZE", "16"))
    model = model_of(tracing, "run", limits=limits_of(tracing.circuit))
    (found,) = (one.ohms for one in model.branches if one.kind == "mating")
    assert found.high == contact_ohm("cavity of an in-line connector", 7.5).high


def test_typed_ratings_and_ohms_win(tmp_path: Path) -> None:
    def ohms(more: str) -> tuple[float, float, float]:
        found = next(one.ohms for one in heater(tmp_path, 5, more=more).branches if one.kind == "contact of relay")
        return found.low, found.nominal, found.high

    typed = ohms("contact ohms: 2.5 mohm")
    assert typed == (0.0025, 0.0025, 0.0025)
    assert ohms("amps: 200")[2] < ohms("name: x")[2] < ohms("amps: 10")[2]
    # what is typed in is not bound by what a contact in order may lose: it was measured
    model = fitted(heater(tmp_path, 60, more="contact ohms: 10 mohm"))
    found = next(one.ohms for one in model.branches if one.kind == "contact of relay")
    assert found.high == 0.010


STARTER = """
parts:
  BAT: battery
  SOL: {is: relay, kind: normally open}
  KSW: {is: switch, contacts: {off: [], on: [1-2]}}
  STM: {is: load, amps: 300}
  G1: {is: ground, on: engine}
  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- BAT.+ -- RD SIZE 1m -- SOL.30
- SOL.87 -- STM -- BK SIZE 0.5m -- G1
- G1 -- BK SIZE 1m -- BAT.-
- BAT.+ -- RD 2.5 1m -- KSW.1
- KSW.2 -- RD 2.5 1m -- SOL.86
- SOL.85 -- BN 2.5 1m -- G1
- SOL.87 -- RD 1 1m -- M.1
- M.2 -- BN 1 1m -- BAT.-
"""


@pytest.mark.parametrize("size", ["35", ""])
def test_a_starter_solenoid_is_no_relay_of_8_milliohm(tmp_path: Path, size: str) -> None:
    """300 A over 8 mΩ would lose 2.4 V."""
    sheet = STARTER.replace("SOL.87 -- STM", "SOL.87 -- RD SIZE 0.2m -- STM").replace("SIZE", size)
    found = row(volts(tracing_of(tmp_path, sheet), "M", "start", 10.5, held=("KSW=on",)), "M.1")
    contact = next(one for one in found.elements if one.name == "contact of relay SOL")
    assert contact.current_a.nominal > 100
    assert 0.005 < contact.drop_v.nominal < 0.13


def test_a_fault_makes_no_contact_better(tmp_path: Path) -> None:
    """With the heater a short of 20 mΩ the contacts keep the ohms they have in order."""
    plain = heater(tmp_path, 30, "2.5")
    tracing = tracing_of(tmp_path, HEATER.replace("AMPS", "30").replace("SIZE", "2.5").replace("MORE", "name: x"))
    sound = row(volts(tracing, "M"), "M.1")
    bad = row(volts(tracing, "M", added=("M.1=0.5ohm",)), "M.1")
    assert [one.ohm for one in bad.elements][:5] == [one.ohm for one in sound.elements][:5]
    assert fitted(plain) is not plain  # something had to be bound
