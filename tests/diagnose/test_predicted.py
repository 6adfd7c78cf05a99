"""Predicted readings against two other ways to them: the program's own what-ifs, with loads as they are, and a dense solve of the same branches."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import tracer
from benchmarks.believable import believable
from tests.case.making import demo, demo_plan
from tests.case.test_proof import THOROUGH, Simulated, faults
from tracer.case.kept_network import DIODE_V
from tracer.case.opening import kept_plan
from tracer.diagnose.faults import Atom, Fault, Faults, faults_of
from tracer.diagnose.likely import behind_a_diode
from tracer.diagnose.predicted import FLOATS_OHM, Predicted, Setting
from tracer.trace.tracing import Tracing


def base_of(network: dict[str, Any], key: str, *, plugged: bool, leads: Any = ()) -> int:
    wanted = (key, plugged, [list(lead) for lead in leads])
    return next(n for n, base in enumerate(network["bases"]) if (base["key"], base["plugged"], base["leads"]) == wanted)


def with_half_an_ohm(network: dict[str, Any]) -> tuple[Faults, dict[str, int]]:
    """Nothing wrong, and half an ohm in each piece."""
    pieces = network["pieces"]
    faults = (Fault("none", "", (), 1.0), *(Fault(piece["what"], "", (n,), 1.0) for n, piece in enumerate(pieces)))
    atoms = (Atom(0, 1.0), *(Atom(n + 1, 1.0, adds=((n, 0.5),)) for n in range(len(pieces))))
    return Faults(faults, atoms), {piece["what"]: n + 1 for n, piece in enumerate(pieces)}


def test_a_bad_joint_moves_a_row_as_the_programs_own_what_if_does() -> None:
    """There loads keep their current or power, here they are resistors: so what else hangs on a bad joint makes up to a third of what it moves."""
    simulated = Simulated(demo(), "ALM")
    network = simulated.plan["network"]
    half, column = with_half_an_ohm(network)
    predicted = Predicted(network, half, 12.0)
    tried = {name: list(dict.fromkeys(faults(simulated.tracing, row))) for name, row in simulated.rows.items()}
    compared = 0
    for name, kept in simulated.plan["rows"].items():
        for test in kept["tests"]:
            if test["most_v"] is None:
                continue
            base = base_of(network, test["key"], plugged=False, leads=test["leads"])
            found = predicted.at(Setting(base, tuple(test["out"]))).row(name, kept["level"], test["lamp_w"])
            assert found is not None and found.lit_v is not None
            post_v = found.post_v if kept["level"] == "supply" else np.zeros_like(found.post_v)
            bare, lit = (np.abs(post_v - volts) for volts in (found.bare_v, found.lit_v))
            for fault in (None, *(one for one in tried[name] if one in column and one in kept["parts"])):
                here = 0 if fault is None else column[fault]
                for lost, lamp_w in ((bare, None), (lit, test["lamp_w"])):
                    true = simulated._lost(simulated.rows[name], test, lamp_w, fault, 0)
                    sound = simulated._lost(simulated.rows[name], test, lamp_w, None, 0)
                    assert lost[here] == pytest.approx(true, abs=0.003 + 0.33 * abs(true - sound)), (name, fault, lamp_w)  # fmt: skip
                    compared += 1
    assert compared > 80


def dense(predicted: Predicted, setting: Setting, atom: Atom, lamp: tuple[int, float] | None = None) -> np.ndarray[Any, Any]:  # fmt: skip
    """Volts of every node by Gauss, from the plain data alone; a resistor of so many ohms from a node to battery negative. Diodes: whichever of all states is right."""
    network = predicted.network
    base = network["bases"][setting.base]
    ohm = {n: ohm for n, ohm in enumerate(network["ohm"])} | {int(n): ohm for n, ohm in base["ohm"].items()}
    push = {int(n): volts for n, volts in base["push"].items()}
    ends = list(zip(network["ends"][::2], network["ends"][1::2], strict=True))
    opened = {*base["open"], *(n for part in setting.out for n in network["outs"][part])} - set(network["diodes"])
    pieces = network["pieces"]
    gone = {pieces[n]["branch"] for n in atom.opens}
    for piece in pieces:
        if piece["branch"] in gone | {n for part in setting.out for n in network["outs"][part]}:
            opens, closes = base["follows"].get(str(piece["follow"]), ((), ()))
            opened = (opened | set(opens)) - set(closes)
    opened = (opened - {pieces[n]["branch"] for n in atom.closes}) | gone
    more = {pieces[n]["branch"]: added for n, added in atom.adds}
    stuck = {pieces[n]["branch"] for n in atom.closes}
    blocking: set[int] = set()
    while True:
        matrix, given = np.zeros((network["nodes"],) * 2), np.zeros(network["nodes"])
        every = [(*ends[n], 0.05 if n in stuck else ohm[n] + more.get(n, 0.0), push.get(n, 0.0)) for n in ohm if n not in opened | blocking]  # fmt: skip
        every += [(a, b, added, 0.0) for a, b, added in atom.joins]
        every += [(lamp[0], 0, lamp[1], 0.0)] if lamp else []
        for a, b, value, volts in every:
            for one, other, sign in ((a, b, -1.0), (b, a, 1.0)):
                matrix[one, one] += 1.0 / value
                matrix[one, other] -= 1.0 / value
                given[one] += sign * volts / value
        matrix[np.arange(1, len(matrix)), np.arange(1, len(matrix))] += 1e-9
        found = np.zeros(network["nodes"])
        found[1:] = np.linalg.solve(matrix[1:, 1:], given[1:])
        wrong = set()
        for n in set(network["diodes"]) - gone:
            forward = found[ends[n][0]] - found[ends[n][1]] - DIODE_V
            if (n in blocking and forward > 1e-3) or (
                n not in blocking and (forward < -2e-7 or found[ends[n][1]] < -1e-3)
            ):
                wrong.add(n)
        if not wrong:
            return found
        blocking ^= wrong


def some_atoms(rng: random.Random, faults: Faults, count: int) -> Iterator[tuple[int, Atom]]:
    yield 0, faults.atoms[0]
    for column in rng.sample(range(len(faults.atoms)), min(count, len(faults.atoms))):
        yield column, faults.atoms[column]


def check_against_gauss(plan: dict[str, Any], rng: random.Random, count: int) -> int:
    """How many voltages were held against each other."""
    network = plan["network"]
    every = faults_of(network)
    predicted = Predicted(network, every, 12.0)
    compared = 0
    outs = [(), *((part,) for part in network["outs"])]
    for base in rng.sample(range(len(network["bases"])), 8 if THOROUGH else 4):
        setting = Setting(base, rng.choice(outs))
        solved = predicted.some(setting, every.atoms)
        names = rng.sample(sorted(network["at"]), min(12, len(network["at"])))
        nodes = [network["at"][name] for name in names]
        read = solved.of_nodes(nodes, "supply", None)
        seen = solved._seen(nodes, "supply", 0)
        for column, atom in some_atoms(rng, every, count):
            volts = dense(predicted, setting, atom)
            for n, (node, one) in enumerate(zip(nodes, read, strict=True)):
                if node == 0:
                    continue
                ohm = float(seen[solved._late_row[node], column, n])
                assert one.floats[column] == (ohm > FLOATS_OHM)
                if ohm < 1e5:  # a floating point has whatever the leaks give it
                    assert one.bare_v[column] == pytest.approx(volts[node] / (1 + ohm / 1e7), abs=2e-3), (names[n], atom)  # fmt: skip
                    compared += 1
    return compared


def test_every_kind_of_fault_is_solved_as_gauss_does_on_the_demo() -> None:
    assert check_against_gauss(demo_plan(), random.Random(1), 25 if THOROUGH else 5) > 100


def test_every_kind_of_fault_is_solved_as_gauss_does_on_a_generated_vehicle(tmp_path: Path) -> None:
    names = believable(tmp_path / "coach", 2, seed=2)
    tracing = Tracing(tracer.load(tmp_path / "coach"))
    plan = kept_plan(tracing, tracer.supplies(tracing, names[0]), tracer.limits(tracing))
    assert check_against_gauss(plan, random.Random(2), 25 if THOROUGH else 5) > 50


def test_a_lamp_pulls_a_point_as_the_resistor_that_it_is_then() -> None:
    plan = demo_plan()
    network = plan["network"]
    every = faults_of(network)
    predicted = Predicted(network, every, 12.0)
    setting = Setting(base_of(network, "off", plugged=False))
    found = predicted.at(setting).row("ALM.5:+", "supply", 21.0)
    assert found is not None and found.lit_v is not None
    node = network["at"]["ALM.5:+"]
    for column in range(0, len(every.atoms), 97):
        lit = float(found.lit_v[column])
        amps = 21.0 / 12.0 * (lit / 12.0) ** 0.55  # as in `network.load_laws`
        if lit > 1.0:
            volts = dense(predicted, setting, every.atoms[column], (node, lit / amps))
            assert volts[node] == pytest.approx(lit, abs=2e-3)


def test_what_follows_a_dead_coil_is_in_the_prediction() -> None:
    """F19 feeds the coil of KLE: without it the contact is open and pin 6 hangs on nothing, without any current of the pin's own through F19."""
    network = demo_plan()["network"]
    every = faults_of(network)
    predicted = Predicted(network, every, 12.0)
    found = predicted.at(Setting(base_of(network, "run", plugged=False))).row("ALM.6:+", "supply", None)
    assert found is not None
    f19 = next(n for n, atom in enumerate(every.atoms) if atom.opens and every.faults[atom.fault].what == "F19")
    assert found.bare_v[0] > 12 and found.floats[f19] and found.bare_v[f19] < 0.5
    stuck = next(n for n, atom in enumerate(every.atoms) if every.faults[atom.fault].what == "KLE stuck closed")
    off = predicted.at(Setting(base_of(network, "off", plugged=False))).row("ALM.6:+", "supply", None)
    assert off is not None and off.bare_v[0] < 0.5 and off.bare_v[stuck] > 12


def test_a_short_leaves_the_fuse_open_that_it_blows() -> None:
    network = demo_plan()["network"]
    every = faults_of(network)
    number = {fault.what: n for n, fault in enumerate(every.faults)}
    short = every.faults[number["short to ground behind F7"]]
    assert short.how == "F7 opens, and opens again when renewed"
    assert {"X3.8", "wire X4.1:ALM to ALM.3"} <= {network["pieces"][n]["what"] for n in short.pieces}
    both = every.faults[number["short to ground behind F20 and F24"]]  # fed over two fuses and their diodes
    assert "X3.14" in {network["pieces"][n]["what"] for n in both.pieces}


def test_the_demo_stays_small() -> None:
    import json

    assert len(json.dumps(demo_plan(), separators=(",", ":"))) < 150_000


def test_the_demo_has_one_pin_behind_diodes_and_each_point_between_is_behind_them_too() -> None:
    plan = demo_plan()
    assert [name for name in plan["rows"] if behind_a_diode(plan, name)] == ["ALM.8:+"]
    points = {name: behind_a_diode(plan, name) for name in plan["points"]}
    assert points["S20"] and points["X4.6:X3"] and points["ALM.8"]
    assert not any(points[name] for name in ("BAT.+", "F20.load", "F24.load", "ALM.3", "G1"))
