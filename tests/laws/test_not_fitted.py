"""Not fitted means the same for every kind: a fuse, link, breaker, relay or diode position that is an option, or must be empty, conducts nowhere.

Law over kinds x states x commands. The one supply of M leads over the position; fitted it is live, otherwise every command says that nothing comes.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_exit_status import invoke
from tests.typed import load, write
from tracer.trace.lists.supplies import supplies_of

VEHICLE = "vehicle: v\nkey: [off, run]\n"
KINDS = {
    "fuse": ("is: fuse, amps: 5", "F1.load: [P]", ["P -- RD 1 -- M.1"]),
    "link": ("is: link, amps: 50", "F1.load: [P]", ["P -- RD 1 -- M.1"]),
    "breaker": ("is: breaker, amps: 20", "F1.load: [P]", ["P -- RD 1 -- M.1"]),
    "make relay": ("is: relay, kind: normally open", "F1.load: [P.30, P.86]", ["P.87 -- RD 1 -- M.1", "P.85 -- BN 1 -- G1"]),
    "break relay": ("is: relay, kind: normally closed", "F1.load: [P.30]", ["P.87a -- RD 1 -- M.1", "P.85 -- BN 1 -- G1", "F2.load -- RD 1 -- P.86"]),
    "relay with bridged 87": ("is: relay, kind: make with bridged 87", "F1.load: [P.87b, P.86]", ["P.87 -- RD 1 -- M.1", "P.85 -- BN 1 -- G1", "P.30 -- RD 1 -- S1", "S1 -- RD 1 -- E1"]),
    "diode": ("is: diode", "F1.load: [P.A]", ["P.K -- RD 1 -- M.1"]),
}  # fmt: skip
ABSENT = ("option", "empty")
EVERY = pytest.mark.parametrize(("kind", "state"), [(kind, state) for kind in KINDS for state in ABSENT])


def _sheet(kind: str, state: str) -> str:
    facts, busbar, runs = KINDS[kind]
    return (
        f"sheet: 1\nparts:\n  BAT: battery\n  G1: ground\n  S1: splice\n  E1: load\n"
        f"  F1: {{is: fuse, amps: 10}}\n  F2: {{is: fuse, amps: 3}}\n"
        f"  FB: {{is: panel, at: dash, positions: {{P: {{{facts}, state: {state}}}}}, busbars: {{{busbar}}}}}\n"
        "  M: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}, returns: [2]}\n"
        "runs:\n  - BAT.+ -- RD 1 -- F1.feed\n  - BAT.+ -- RD 1 -- F2.feed\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BK 16 -- G1\n"
        "  - F2.load -- RD 1 -- S1\n  - E1.2 -- BN 1 -- G1\n"
        + ("" if "S1 -- RD 1 -- E1" in runs else "  - S1 -- RD 1 -- E1.1\n")
        + "".join(f"  - {run}\n" for run in runs)
    )


@pytest.mark.parametrize("kind", KINDS)
def test_fitted_it_is_live(kind: str, tmp_path: Path) -> None:
    report = supplies_of(load(tmp_path, _sheet(kind, "fitted"), vehicle=VEHICLE), "M")
    live = report.supplies[0].live["run"]
    assert live == ("dead" if kind == "break relay" else "live")  # its coil is fed as long as it sits there


@EVERY
def test_supplies_and_states(kind: str, state: str, tmp_path: Path) -> None:
    report = supplies_of(load(tmp_path, _sheet(kind, state), vehicle=VEHICLE), "M")
    (row,) = report.supplies
    assert set(row.live.values()) == {"dead"}
    assert "leads over a position that is not fitted: P" in row.notes
    assert report.chains == ()  # nothing has to work first where nothing is plugged in
    assert {loose.code for loose in report.loose_ends} == ({"L125"} if state == "empty" else set())
    assert any(remark.code == "R234" or "not fitted" in remark.message for remark in report.remarks)
    folder = str(tmp_path)
    data = json.loads(invoke("-C", folder, "states", "M", "--json")[1])
    assert set(data["pins"][0]["level"].values()) == {"dead"}
    assert data["complete"] is (state == "option")


@EVERY
def test_panel(kind: str, state: str, tmp_path: Path) -> None:
    folder = str(write(tmp_path, _sheet(kind, state), vehicle=VEHICLE))
    data = json.loads(invoke("-C", folder, "panel", "--json")[1])
    (position,) = data["panels"][0]["positions"]
    assert position["state"] == {"option": "option not fitted", "empty": "must be empty"}[state]


@EVERY
def test_volts(kind: str, state: str, tmp_path: Path) -> None:
    folder = str(write(tmp_path, _sheet(kind, state), vehicle=VEHICLE))
    data = json.loads(invoke("-C", folder, "volts", "M", "--key", "run", "--json")[1])
    row = next(one for one in data["rows"] if one["point"] == "M.1")
    assert row["state"] == "dead"
    last = {**data["points"][row["probes"][-1]["at"]], **row["probes"][-1]}
    assert last["at"] == "M.1"
    assert last["floating"] or abs(last["volts"]["nominal_v"]) < 0.1, last


@EVERY
def test_affects(kind: str, state: str, tmp_path: Path) -> None:
    folder = str(write(tmp_path, _sheet(kind, state), vehicle=VEHICLE))
    data = json.loads(invoke("-C", folder, "affects", "P", "--json")[1])
    assert not any(data[what] for what in ("lost", "some_states", "less_certain", "another_way", "dropped"))
    assert any("nothing is lost by opening it" in note for note in data["notes"])


@EVERY
def test_common(kind: str, state: str, tmp_path: Path) -> None:
    folder = str(write(tmp_path, _sheet(kind, state), vehicle=VEHICLE))
    as_fuse = str(write(tmp_path / "fuse", _sheet("fuse", state), vehicle=VEHICLE))
    said, expected = (json.loads(invoke("-C", one, "common", "M", "--json")[1]) for one in (folder, as_fuse))
    assert ("P" in json.dumps(said["groups"])) == ("P" in json.dumps(expected["groups"]))


@EVERY
def test_diagram(kind: str, state: str, tmp_path: Path) -> None:
    folder = str(write(tmp_path, _sheet(kind, state), vehicle=VEHICLE))
    page = tmp_path / "m.svg"
    assert invoke("-C", folder, "diagram", "M", "--key", "run", "-o", str(page))[0] == (3 if state == "empty" else 0)
    assert f">{state}<" in page.read_text(encoding="utf-8")
