"""The bound for all chains of blocks of a vehicle together: beyond it rows list more and say so, claims fall silent, nothing is lost; it is a count, never a time."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.typed import load
from tracer.report.supplies import as_text
from tracer.trace.lists import rows
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing
from tracer.trace.ways import simple
from tracer.trace.ways.clashes import NotTried


def hard(folder: Path, splices: int, relays: int, loops: int, seed: int) -> Tracing:
    """Relay contacts between random fused splices, and loops over in-line connectors: one block of everything."""
    chance = random.Random(seed)
    parts = ["BAT: battery", "G1: ground", "M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: supply}}"]
    runs = ["BAT.- -- BN 6 -- G1", "M.2 -- BN 1 -- G1", "S0 -- RD 1 -- M.1", f"S{splices - 1} -- RD 1 -- M.3"]
    for n in range(splices):
        parts += [f"S{n}: splice", f"F{n}: {{is: fuse, amps: 10}}"]
        runs += [f"BAT.+ -- RD 4 -- F{n} -- RD 1 -- S{n}"] if n % 2 == 0 or relays == 60 else []
    for n in range(relays):
        a, b, c, d = (chance.randrange(splices) for _ in range(4))
        parts.append(f"K{n}: {{is: relay, kind: change-over}}")
        runs += [f"S{a} -- RD 1 -- K{n}.30", f"K{n}.87 -- RD 1 -- S{b}", f"K{n}.87a -- RD 1 -- S{c}"]
        runs += [f"S{d} -- RD 1 -- K{n}.86", f"K{n}.85 -- BN 1 -- G1"]
    for n in range(loops):
        a, b = chance.sample(range(splices), 2)
        parts.append(f"X{n}: connector")
        runs.append(f"S{a} -- RD 1 -- X{n}.1 -- RD 1 -- S{b}")
    sheet = (
        "sheet: 1\nparts:\n"
        + "".join(f"  {one}\n" for one in parts)
        + "runs:\n"
        + "".join(f"  - {one}\n" for one in runs)
    )
    return Tracing(load(folder, sheet, vehicle="vehicle: v\n"))


@pytest.mark.parametrize("seed", range(4))
def test_beyond_the_bound_nothing_is_lost_and_nothing_claimed(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    exact = hard(tmp_path, 6, 4, 3, seed)
    monkeypatch.setattr(simple, "MOST_TOGETHER", -1)
    bound = hard(tmp_path, 6, 4, 3, seed)
    assert isinstance(whole := exact.supply_ways(), simple.Ways) and whole.has_clashes
    before, after = supplies_of(exact, "M"), supplies_of(bound, "M")
    monkeypatch.undo()
    ways = bound.supply_ways()
    assert isinstance(ways, simple.Ways) and any(isinstance(one, NotTried) for one in ways._clashes.values())
    for old in before.rows:
        new = next(row for row in after.rows if (row.point, row.level) == (old.point, old.level))
        assert {fuse.part for fuse in old.fuses} <= {fuse.part for fuse in new.fuses}
        assert {probe.at for probe in old.probes} <= {probe.at for probe in new.probes}
        sole = {fuse.part for fuse in old.fuses if fuse.sole}
        assert {fuse.part for fuse in new.fuses if fuse.sole} <= sole, "what is sole stays a claim that holds"
        for fuse in new.fuses:
            was = next((one for one in old.fuses if one.part == fuse.part), None)
            assert fuse.alone in (None, False) or (was is not None and was.alone), fuse
        if new.too_many:
            assert "MAY LIST TOO MUCH" in as_text(after, width=200)
    assert after.cross_check.differences == ()


def test_the_bound_of_a_hard_vehicle_is_kept_and_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simple, "MOST_TOGETHER", 100_000)
    tracing = hard(tmp_path, 60, 30, 40, 1)
    report = supplies_of(tracing, "M")
    ways = tracing.supply_ways()
    assert isinstance(ways, simple.Ways)
    tried = [one for one in ways._clashes.values() if not isinstance(one, NotTried)]
    assert len(tried) < len(ways._clashes)
    assert any(row.too_many for row in report.rows)
    assert all(fuse.alone is not True or fuse.sole for row in report.rows if row.too_many for fuse in row.fuses)


def test_so_many_fuses_side_by_side_are_not_tried_one_by_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tracing = hard(tmp_path, 6, 4, 3, 2)
    monkeypatch.setattr(rows, "MOST_ALONE", 0)
    report = supplies_of(tracing, "M")
    beside = [fuse for row in report.rows for fuse in row.fuses if not fuse.sole]
    assert beside and {fuse.alone for fuse in beside} <= {None}
