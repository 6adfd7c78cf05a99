"""Several batteries: whose negative is joined with which ground decides whether a supply from them is one."""

from __future__ import annotations

from pathlib import Path

import pytest

import tracer
from tests.typed import write

PARTS = """\
sheet: 1
parts:
  BAT: battery
  B2: battery
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 10}
  ST: strap
  Q1: {is: switch, contacts: {on: [1-2], off: []}}
  G1: {is: ground, on: body}
  G2: {is: ground, on: rear frame}
  ALM: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}
runs:
- ALM.2 -- BN 1 1m -- G1 -- BK 35 1m -- BAT.-
"""
FEED = "- B2.+ -- RD 1 1m -- F1 -- RD 1 1m -- ALM.1\n"
CHARGED = "- BAT.+ -- RD 1 1m -- F2 -- RD 1 1m -- B2.+\n"


def found(folder: Path, runs: str, vehicle: str = "vehicle: v\n") -> tuple[list[str], tracer.SupplyReport]:
    report = tracer.supplies(tracer.load(write(folder, PARTS + runs, vehicle=vehicle)), "ALM")
    return [one.code for one in report.loose_ends], report


@pytest.mark.parametrize(
    ("runs", "codes"),
    [
        (FEED + CHARGED + "- B2.- -- BK 35 1m -- G1\n", []),
        (FEED + CHARGED + "- B2.- -- BK 35 1m -- Q1.1\n- Q1.2 -- BK 35 1m -- G1\n", []),  # a main switch in the negative
        (FEED + CHARGED + "- B2.- -- BK 35 1m -- ST -- BK 35 1m -- BAT.-\n", []),
        (FEED + CHARGED, ["L134"]),  # no battery at all, perhaps: F2 would be on no list
        (FEED + CHARGED + "- B2.- -- BK 35 1m -- G2\n", ["L166"]),
        (FEED + "- BAT.+ -- RD 1 1m -- F2 -- BN 1 1m -- Q1.1\n- B2.- -- BK 35 1m -- G2\n", ["L166"]),
        (FEED + "- B2.- -- BK 35 1m -- ALM.2\n- BAT.+ -- RD 1 1m -- F2 -- BN 1 1m -- Q1.1\n", []),
    ],
)  # fmt: skip
def test_a_supply_wants_the_negative_of_its_battery_on_the_list(runs: str, codes: list[str], tmp_path: Path) -> None:
    told, report = found(tmp_path, runs)
    assert [code for code in told if code in ("L134", "L166")] == codes
    assert report.complete is (codes == []), told


@pytest.mark.parametrize("between", ["", "F2 -- RD 35 1m -- ", "ST -- RD 35 1m -- "])
def test_24_v_of_two_batteries_whatever_conducts_between_them(between: str, tmp_path: Path) -> None:
    told, report = found(tmp_path, FEED + f"- BAT.+ -- RD 35 1m -- {between}B2.-\n", "vehicle: v\nsystem: 24 V\n")
    assert told == [] and report.complete
    assert [end.id for end in report.supplies[0].ends] == ["B2.+"]
    supply = tracer.volts(tracer.load(tmp_path), "ALM").rows[0]
    assert supply.figures and 24 < supply.figures.volts.nominal < 26
