"""The second count is a guard: it agrees for no reason but the wiring, and where the two counts differ no output says COMPLETE."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from tests.cli.test_exit_status import invoke
from tests.trace.test_completeness import PARTS, RUNS, VEHICLE, M, listed
from tests.typed import write
from tracer.circuit import join
from tracer.entry import read_folder
from tracer.trace.affects.downwards import parts_below
from tracer.trace.lists import cross_check as guard
from tracer.trace.lists import rows, second_count, supplies
from tracer.trace.lists.results import Row
from tracer.trace.lists.second_count import Counted, SecondCount
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"


# --- it never differs for a reason of its own ------------------------------------------------------------------------


def test_a_breaker_between_two_sources_behind_an_output(tmp_path: Path) -> None:
    """The breaker's load side is fed by the second battery: a way to M.1 leads over it from load to feed side."""
    parts = (
        f"{M}, AUX: battery, CB: {{is: breaker, amps: 20}}, S1: splice, "
        "D: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: output}, outputs: {3: {drives: high, from: [1], when: [run]}}}"
    )
    runs = ("BAT.+ -- RD 4 -- S1", "S1 -- RD 4 -- CB -- RD 4 -- AUX.+", "S1 -- RD 2 -- F1 -- RD 2 -- D.1", "D.3 -- RD 1 -- M.1", "D.2 -- BN 1 -- G1",
            "AUX.- -- BK 16 -- G1", *RUNS[1:])  # fmt: skip
    report = listed(tmp_path, parts, runs)
    assert {fuse.part for fuse in report.supplies[0].fuses} >= {"CB", "F1"}
    assert report.cross_check.differences == () and not report.cross_check.not_walked
    assert report.complete


def test_a_supply_that_only_its_own_output_feeds(tmp_path: Path) -> None:
    parts = "M: {is: module, cavities: 1-4, pins: {1: supply, 2: ground, 3: output, 4: supply}, outputs: {3: {drives: high, from: [1], when: [run]}}}, F2: {is: fuse, amps: 5}"
    report = listed(tmp_path, parts, (*RUNS, "M.3 -- RD 1 -- F2 -- RD 1 -- M.4"))
    assert [row.pin for row in report.supplies] == ["1", "4"]
    assert report.cross_check.differences == ()


def test_two_fuses_typed_the_wrong_way_round(tmp_path: Path) -> None:
    parts = f"{M}, F2: {{is: fuse, amps: 5}}"
    report = listed(tmp_path, parts, ("M.1 -- RD 1 -- F1 -- RD 1 -- F2 -- RD 1 -- BAT.+", *RUNS[1:]))
    assert report.cross_check.fuses == ("F1", "F2") and report.cross_check.differences == ()
    circuit = join(read_folder(tmp_path))
    assert parts_below(Tracing(circuit), "F2") == {"F1", "M"}


def test_a_fuse_typed_the_wrong_way_round_whose_feed_side_the_module_feeds_through_its_inside(tmp_path: Path) -> None:
    """A generated vehicle that was once wrong: M.3 is fed over F1 from its load side, and M joins 3 with 4, which is fed as well."""
    parts = "M: {is: module, cavities: 1-4, pins: {2: ground}, unused: [1], joined: [[3, 4]]}"
    report = listed(tmp_path, parts, ("M.3 -- RD 1 -- F1 -- RD 1 -- BAT.+", "M.4 -- RD 1 -- BAT.+", *RUNS[1:]))
    assert report.cross_check.pins == ("3", "4") and report.cross_check.differences == ()
    assert report.complete


def test_many_ways_stop_the_search_and_prove_nothing_wrong(tmp_path: Path) -> None:
    """A ladder of fuses has 2 to the power of its rungs ways: what was found holds, what was not found is no difference."""
    rungs = 16
    parts = M + "".join(f", A{n}: splice, B{n}: splice" for n in range(rungs))
    parts += "".join(f", FA{n}: {{is: fuse, amps: 5}}, FB{n}: {{is: fuse, amps: 5}}, FR{n}: {{is: fuse, amps: 5}}" for n in range(rungs))  # fmt: skip
    runs = ["BAT.+ -- RD 1 -- F1 -- RD 1 -- A0", f"A{rungs - 1} -- RD 1 -- M.1", *RUNS[1:]]
    for n in range(rungs):
        runs.append(f"A{n} -- RD 1 -- FR{n} -- RD 1 -- B{n}")
        if n:
            runs += [f"A{n - 1} -- RD 1 -- FA{n} -- RD 1 -- A{n}", f"B{n - 1} -- RD 1 -- FB{n} -- RD 1 -- B{n}"]
    report = listed(tmp_path, parts, tuple(run for run in runs))
    assert "L108" not in {loose.code for loose in report.loose_ends}
    assert report.cross_check.differences == ()


# --- it shares nothing with the first count but the circuit ----------------------------------------------------------


def test_it_calls_no_function_of_the_first_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every function of the first count raises here; the second goes on."""
    from tracer.circuit import flood
    from tracer.circuit.nets import Nets
    from tracer.circuit.states import KeyStates
    from tracer.trace.lists import census
    from tracer.trace.ways import blocks, clashes, directed_paths, guards, one_way, two_paths, without
    from tracer.trace.ways import consistent as consistent_ways
    from tracer.trace.ways import simple as ways

    circuit = join(read_folder(DEMO))

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the second count called the first")

    firsts = (flood, without, blocks, clashes, consistent_ways, directed_paths, guards, two_paths, one_way, ways)
    for owner in (Tracing, ways.Ways, without.WaysWithout, Nets, KeyStates, census, *firsts):
        for name, value in [*vars(owner).items()]:
            if callable(value) and name != "__class__" and getattr(value, "__module__", "").startswith("tracer."):
                monkeypatch.setattr(owner, name, refuse)
    bare = cast(Tracing, SimpleNamespace(circuit=circuit, second_count=SecondCount(circuit)))
    for level, least in (("supply", 6), ("ground", 3)):
        found = guard.pins_counted(bare, "ALM", level)
        assert sum(one.fuses is not None for one in found.values()) >= least
    assert guard.pins_counted(bare, "ALM", "supply")["3"].fuses == frozenset({"F7", "ML2"})


# --- where the counts differ, nothing says COMPLETE ------------------------------------------------------------------


def _without_a_row(monkeypatch: pytest.MonkeyPatch, letter: str) -> None:
    whole = supplies._Lister._rows

    def short(self: Any, which: str, level: str, pins: Any) -> list[Row]:
        found = whole(self, which, level, pins)
        return found[:-1] if which == letter else found

    monkeypatch.setattr(supplies._Lister, "_rows", short)


def _without_a_fuse(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = rows._fuses
    monkeypatch.setattr(rows, "_fuses", lambda *given: whole(*given)[:-1])


def _with_a_fuse_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = rows._fuses
    monkeypatch.setattr(rows, "_fuses", lambda *given: (*whole(*given), *(replace(one, part="F99") for one in whole(*given)[:1])))  # fmt: skip


def _without_a_contact(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first count forgets that supply passes a contact."""
    from tracer.circuit.kinds import SUPPLY_KINDS, LinkKind
    from tracer.trace import tracing as tracing

    monkeypatch.setattr(tracing, "SUPPLY_KINDS", SUPPLY_KINDS - {LinkKind.CONTACT})


def _with_a_blind_second_count(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = guard.pins_counted

    def blind(tracing: Tracing, module: str, level: str) -> dict[str, Counted]:
        found = whole(tracing, module, level)
        found.pop(max(found))
        return found

    monkeypatch.setattr(guard, "pins_counted", blind)


SLIPS: dict[str, tuple[Callable[[pytest.MonkeyPatch], None], str]] = {
    "a supply row is dropped": (lambda patch: _without_a_row(patch, "S"), "is reached from a source, but has no row"),
    "a ground row is dropped": (lambda patch: _without_a_row(patch, "G"), "is reached from ground, but has no row"),
    "a fuse is dropped": (_without_a_fuse, "but its row lacks it"),
    "a fuse is invented": (_with_a_fuse_too_many, "but no way leads over it"),
    "a kind of link is forgotten": (_without_a_contact, "is reached from a source, but has no row"),
    "the second count is blind": (_with_a_blind_second_count, "has a row, but is not reached from"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_in_one_count_makes_every_output_refuse(
    slip: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = f"{PARTS}, S2: splice, SW: {{is: switch, contacts: {{a: [1-2], b: []}}}}, M: {{is: module, cavities: 1-3, pins: {{1: supply, 2: ground, 3: power}}}}"
    runs = (*RUNS, "S2 -- RD 1 -- SW.1", "SW.2 -- RD 1 -- M.3", "BAT.+ -- RD 1 -- F2 -- RD 1 -- S2")
    typed = (
        typed.replace("3: power", "3: supply")
        if slip != "a kind of link is forgotten"
        else typed.replace(", 3: power", "")
    )
    text = f"sheet: 1\nparts: {{{typed}, F2: {{is: fuse, amps: 5}}}}\nruns:\n" + "".join(f"- {run}\n" for run in runs)
    folder = str(write(tmp_path, text, vehicle=VEHICLE))
    assert invoke("-C", folder, "supplies", "M", "--quick")[0] == 0
    patch, said = SLIPS[slip]
    patch(monkeypatch)
    status, out, _ = invoke("-C", folder, "supplies", "M", "--quick")
    assert status == 3
    assert out.splitlines()[1].startswith("NOT COMPLETE: ")
    assert said in " ".join(out.split())
    status, out, _ = invoke("-C", folder, "supplies", "M", "--json", "--quick")
    data = json.loads(out)
    assert (status, data["complete"], data["completeness"]["state"]) == (3, False, "not complete")
    assert any(said in one for one in data["cross_check"]["differences"])
    assert data["completeness"]["differences"] == len(data["cross_check"]["differences"])
    status, out, _ = invoke("-C", folder, "supplies", "M", "--csv", "--quick")
    assert status == 3 and all(line.endswith(",NOT COMPLETE") for line in out.splitlines()[1:])
    for command in (
        ["states", "M"],
        ["diagram", "M", "-o", str(tmp_path / "m.svg")],
        ["worksheet", "M", "-o", str(tmp_path / "m.html")],
    ):
        assert invoke("-C", folder, *command)[0] == 3, command
    assert "NOT COMPLETE" in (tmp_path / "m.svg").read_text(encoding="utf-8")
    assert "NOT COMPLETE" in (tmp_path / "m.html").read_text(encoding="utf-8")


def test_a_list_with_nothing_loose_and_a_difference_says_which_counts_differ(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _without_a_fuse(monkeypatch)
    report = listed(tmp_path)
    assert report.loose_ends == ()
    assert report.completeness.word == "NOT COMPLETE"
    assert report.cross_check.differences == ("a way to M.1 leads over fuse F1, but its row lacks it",)


@pytest.mark.parametrize(
    "typed",
    ["{is: switch, contacts: unknown}", "{is: switch, contacts: {a: [1-2], b: unknown}}", "{is: relay, coil: 3-4, contacts: {energised: [1-2], rest: unknown}}", "box"],
)  # fmt: skip
def test_an_unknown_inside_that_no_loose_end_tells_of_is_a_difference(
    typed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts, runs = f"{M}, Q1: {typed}, S1: splice", ("BAT.+ -- RD 1 -- F1 -- RD 1 -- S1", "S1 -- RD 1 -- M.1", "S1 -- RD 1 -- Q1.1", *RUNS[1:])  # fmt: skip
    report = listed(tmp_path / "told", parts, runs)
    assert report.cross_check.differences == () and any(end.at == "Q1.1" for end in report.loose_ends)
    first = guard.cross_check
    monkeypatch.setattr(supplies, "cross_check", lambda tracing, module, own, loose: first(tracing, module, own, [end for end in loose if end.at != "Q1.1"]))  # fmt: skip
    (said,) = listed(tmp_path / "forgotten", parts, runs).cross_check.differences
    assert said == "Q1.1 is joined with M, what it leads to is not known, and no loose end says so"


def test_the_bound_is_in_steps(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(second_count, "MOST_STEPS", 0)
    report = listed(tmp_path, f"{M}, F2: {{is: fuse, amps: 5}}", (*RUNS, "BAT.+ -- RD 1 -- F2 -- RD 1 -- M.1"))
    assert report.cross_check.not_walked and report.cross_check.differences == ()
    assert "too many ways to walk them all" in invoke("-C", str(tmp_path), "supplies", "M", "--quick")[1]
