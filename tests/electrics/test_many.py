"""Many settings of many key states solved at once, against each solved by itself."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import tracer
from tests.electrics.vehicles import tracing_of
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.branches import HIGH, LOW, Setting
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model, NotSettled
from tracer.electrics.model.of_circuit import model_of, models_of
from tracer.electrics.model.rest import Rest
from tracer.electrics.network.in_many_settings import States, Together, alike
from tracer.electrics.volts.expected import expectations
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parents[2] / "circuits" / "minibus"

# Diodes in both directions, a converter, loads of every kind, a rail that is live in some key states, parts cut off by a switch.
MIXED = """
parts:
  BAT: battery
  S1: splice
  S2: splice
  SW: {is: switch, kind: "ignition switch, 15 drops during start"}
  D1: diode
  D2: diode
  CV: {is: converter, volts: 14}
  E1: {is: load, watts: 40, behaves: lamp}
  E2: {is: load, watts: 30, behaves: power}
  E3: {is: load, amps: 2, behaves: current}
  E4: {is: load, watts: 10}
  M: {is: module, pins: {1: supply, 2: ground, 3: supply, 4: ground}, draws: {1: 2, 3: 0.5}}
  N: {is: module, pins: {1: supply, 2: ground}, draws: {1: 1}}
runs:
- BAT.+ -- RD 2.5 1m -- S1
- S1 -- RD 1 2m -- SW.30
- SW.15 -- RD 1 1m -- S2
- S1 -- RD 1 -- D1.A
- D1.K -- RD 1 -- M.1
- S2 -- RD 1 1m -- D2.A
- D2.K -- RD 1 1m -- M.1
- S2 -- RD 1 1m -- CV.in
- CV.out -- RD 1 1m -- M.3
- CV.ground -- BN 1 1m -- BAT.-
- S2 -- RD 1 -- E1 -- BN 1 -- BAT.-
- S2 -- RD 1 -- E2 -- BN 1 -- BAT.-
- S1 -- RD 1 -- E3 -- BN 1 -- BAT.-
- E4.1 -- RD 1 1m -- N.1
- S1 -- RD 1 1m -- E4.2
- N.2 -- BN 1 1m -- BAT.-
- M.2 -- BN 1 1m -- BAT.-
- M.4 -- BN 1 -- BAT.-
"""


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(str(DEMO)))


def by_chance(models: list[Model], count: int) -> list[tuple[int, Setting]]:
    """Settings of every model, each value at one of its three places."""
    chance = np.random.default_rng(11)
    return [
        (
            number,
            Setting(
                chance.integers(LOW, HIGH + 1, len(model.branches)),
                chance.integers(LOW, HIGH + 1, len(model.draws)),
                int(chance.integers(LOW, HIGH + 1)),
            ),
        )
        for number, model in enumerate(models)
        for _ in range(count)
    ]


def nominal_of(together: Together) -> States:
    return together.solve([(number, model.setting()) for number, model in enumerate(together.models)])


def agree(models: list[Model], states: States) -> None:
    """Each column is what the careful way finds by itself."""
    node_v = states.node_v(np.arange(len(states.cases)))
    for column, (number, setting) in enumerate(states.cases):
        alone = Rest(models[number], setting).found()
        assert np.array_equal(np.isnan(node_v[:, column]), np.isnan(alone.node_v))
        assert np.allclose(node_v[:, column], alone.node_v, rtol=0, atol=1e-7, equal_nan=True)
        assert np.allclose(states.branch_a[:, column], alone.branch_a, rtol=1e-7, atol=1e-7)
        assert np.allclose(states.drop_v[:, column], alone.draw_drop_v, rtol=0, atol=1e-7)
        assert np.array_equal(states.closed[:, column], alone.loaded.closed[: len(alone.branch_a)])


def mixed(folder: Path) -> Tracing:
    return tracing_of(folder, MIXED, 'rails:\n  "15": {live: [run], from: SW.15}\n')


def models_in_every_key(tracing: Tracing) -> list[Model]:
    keys = tracing.circuit.typed.vehicle.key
    return models_of(tracing, keys, limits=limits_of(tracing.circuit), first="M")


def test_all_at_once_is_as_each_by_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    models = models_in_every_key(mixed(tmp_path))
    blocking = set()
    for group in alike(models):
        some = [models[number] for number in group]
        with monkeypatch.context() as patched:
            patched.setattr(Rest, "found", by_itself)
            together = Together(some)
            found = together.solve(by_chance(some, 12), nominal_of(together))
        agree(some, found)
        blocking |= {tuple(found.closed[together.diodes, column].tolist()) for column in range(found.closed.shape[1])}
    assert len(blocking) > 1  # the diodes do not always stand alike


def by_itself(*_: object) -> None:
    raise AssertionError("a setting was left to be solved by itself")


def test_all_at_once_is_as_each_by_itself_on_the_demo(demo: Tracing, monkeypatch: pytest.MonkeyPatch) -> None:
    models = models_in_every_key(demo)
    assert len(alike(models)) == 1
    with monkeypatch.context() as patched:
        patched.setattr(Rest, "found", by_itself)
        together = Together(models)
        nominal = nominal_of(together)
        found = together.solve(by_chance(models, 4), nominal)
    agree(models, nominal)
    agree(models, found)


def test_a_setting_does_not_hang_on_what_is_solved_with_it(tmp_path: Path) -> None:
    models = models_in_every_key(mixed(tmp_path))
    some = [models[number] for number in alike(models)[0]]
    together = Together(some)
    nominal = nominal_of(together)
    cases = by_chance(some, 6)
    whole = together.solve(cases, nominal)
    for column, case in enumerate(cases):
        one = Together(some)
        found = one.solve([case], nominal_of(one))
        assert np.allclose(found.potential_v[:, 0], whole.potential_v[:, column], rtol=0, atol=1e-9)


def test_answers_are_those_of_the_network_with_the_draws_as_resistors(tmp_path: Path) -> None:
    models = models_in_every_key(mixed(tmp_path))
    some = [models[number] for number in alike(models)[0]]
    together = Together(some)
    nominal = nominal_of(together)
    states = together.solve(by_chance(some, 3), nominal)
    n = together.node_count
    columns = np.arange(len(states.cases))
    answer = together.answers(states, columns, np.repeat(np.eye(n)[:, np.newaxis], columns.size, axis=1))
    for column, (number, setting) in enumerate(states.cases):
        solution = Rest(some[number], setting).found().solution
        alive = ~solution.floating
        expected = solution.factor.respond(np.eye(n))
        found = answer[:, column]
        assert np.allclose(found[np.ix_(alive, alive)], expected[np.ix_(alive, alive)], rtol=1e-6, atol=1e-9)


@pytest.mark.parametrize("every", [1, 7, 1000])
def test_dead_ends_left_out_and_branches_in_a_row_as_one_change_nothing(
    every: int, demo: Tracing, tmp_path: Path
) -> None:
    """Volts, amperes and the answers at the nodes asked are those of the whole network, however few nodes are asked."""
    left_out = 0
    parts = "  P: {is: module, pins: {1: supply, 2: ground}}\n  S8: splice\n  S9: splice\n"
    nothing_but_a_draw = MIXED.replace("runs:\n", f"{parts}runs:\n- P.1 -- RD 1 1m -- S8\n- P.2 -- BN 1 1m -- S9\n")
    for tracing in (demo, mixed(tmp_path / "mixed"), tracing_of(tmp_path / "draw", nothing_but_a_draw)):
        models = models_in_every_key(tracing)
        for group in alike(models):
            some = [models[number] for number in group]
            asked = np.arange(0, len(some[0].node_names), every)
            whole, part = Together(some), Together(some, asked.tolist(), watched=asked.tolist())
            cases = by_chance(some, 4)
            expected, found = (one.solve(cases, nominal_of(one)) for one in (whole, part))
            columns = np.arange(len(cases))
            node_v, found_v = expected.node_v(columns), found.node_v(columns)
            assert np.array_equal(np.isnan(node_v), np.isnan(found_v))
            assert np.allclose(node_v, found_v, rtol=0, atol=1e-9, equal_nan=True)
            assert np.array_equal(found.at(asked), found_v[asked], equal_nan=True)
            assert np.allclose(expected.potential_v, found.potential_v, rtol=0, atol=1e-9)
            assert np.allclose(expected.branch_a, found.branch_a, rtol=0, atol=1e-9)
            pushed_a = np.zeros((whole.node_count, columns.size, asked.size))
            pushed_a[asked, :, np.arange(asked.size)] = 1.0
            wanted, answer = (one.answers(expected, columns, pushed_a.copy(), slopes=True) for one in (whole, part))
            floats = np.stack([expected.islands[column].floating[asked] for column in columns.tolist()], axis=1)
            across = [one[whole.ends[:, 0]] - one[whole.ends[:, 1]] for one in (wanted, answer)]
            closed = np.concatenate([expected.closed, np.ones((len(whole.ends) - whole.plain, columns.size), bool)])
            fed = closed[:, :, np.newaxis] & ~floats.T[np.newaxis]
            assert np.allclose(across[0][fed], across[1][fed], rtol=1e-6, atol=1e-9)
            alive = ~(floats[:, :, np.newaxis] | floats.T[np.newaxis])
            for at_asked in (answer[asked], part.answers_at(expected, columns, np.eye(asked.size))):
                assert np.allclose(at_asked[alive], wanted[asked][alive], rtol=1e-6, atol=1e-9)
            left_out += whole.nodes.size - part.nodes.size
    assert (left_out > 0) == (every > 1)


def test_models_of_several_key_states_are_those_made_one_by_one(demo: Tracing) -> None:
    limits = limits_of(demo.circuit)
    for one in models_of(demo, demo.circuit.typed.vehicle.key, limits=limits, first="ALM"):
        alone = model_of(demo, one.key, limits=limits, first="ALM")
        assert (one.branches, one.draws, one.node_names) == (alone.branches, alone.draws, alone.node_names)
        assert (one.settled, one.undecided, one.notes) == (alone.settled, alone.undecided, alone.notes)


def test_where_nothing_comes_to_rest_together_each_is_solved_by_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tracing = mixed(tmp_path)
    report, limits = supplies_of(tracing, "M"), limits_of(tracing.circuit)
    together = expectations(tracing, report, limits=limits)
    monkeypatch.setattr("tracer.electrics.network.in_many_settings._DIODE_TURNS", 0)
    alone = expectations(tracing, report, limits=limits)
    assert together.keys() == alone.keys()
    for point, expected in together.items():
        for one, other in zip(expected, alone[point], strict=True):
            if one.volts is None or other.volts is None:
                assert one.not_computed == other.not_computed != ""
                continue
            assert one.volts.nominal == pytest.approx(other.volts.nominal, abs=1e-6)
            assert one.volts.low == pytest.approx(other.volts.low, abs=1e-6)
            assert one.volts.high == pytest.approx(other.volts.high, abs=1e-6)


def test_what_has_no_state_of_rest_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    models = models_in_every_key(mixed(tmp_path))

    def refused(*_: object) -> None:
        raise NotSettled("no steady state was found")

    monkeypatch.setattr("tracer.electrics.network.in_many_settings._DIODE_TURNS", 0)
    monkeypatch.setattr(Rest, "found", refused)
    with pytest.raises(NotSettled, match="no steady state"):
        nominal_of(Together([models[0]]))


def test_models_with_other_branches_are_told_apart(tmp_path: Path) -> None:
    tracing = mixed(tmp_path)
    limits = limits_of(tracing.circuit)
    added = changes_of(tracing.circuit, added=["M.1=1ohm"])
    models = [model_of(tracing, "run", limits=limits), model_of(tracing, "run", added, limits=limits)]
    assert alike(models) == [[0], [1]]
    with pytest.raises(ValueError, match="different branches"):
        Together(models)


@pytest.mark.parametrize("pins", ["", ", pins: {1: signal}"])
def test_a_vehicle_without_draws_or_rows_has_nothing_to_expect(tmp_path: Path, pins: str) -> None:
    tracing = tracing_of(
        tmp_path, f"parts:\n  BAT: battery\n  M: {{is: module{pins}}}\nruns:\n- BAT.- -- BN 1 -- BAT.+\n"
    )
    assert expectations(tracing, supplies_of(tracing, "M"), limits=limits_of(tracing.circuit)) == {}


def test_the_list_of_supplies_does_without_the_large_library() -> None:
    code = "import sys; from tracer.cli import main\ntry:\n    main()\nexcept SystemExit:\n    pass\nsys.exit('scipy' in sys.modules)"
    command = [sys.executable, "-c", code, "-C", str(DEMO), "supplies", "ALM"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=DEMO.parents[1])
    assert done.returncode == 0, done.stderr
    assert "COMPLETE" in done.stdout
