"""The same questions put to another program: ngspice in batch mode (Debian package `ngspice`, tried with 39.3).

Floating nodes are left out: the program prints 0 V there without saying that it could not know.
"""

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from benchmarks.bench_solve import vehicle_like_network
from tests.electrics.slow import FloatArray, floating_nodes, with_added_ohm, with_branch
from tracer.electrics.network.described import Network, network_of_resistances
from tracer.electrics.network.linear import solve
from tracer.electrics.network.load_laws import ConstantPower, FilamentLamp, Load
from tracer.electrics.network.with_loads import solve_with_loads

NGSPICE = shutil.which("ngspice")
pytestmark = pytest.mark.skipif(NGSPICE is None, reason="the program ngspice is not installed (apt install ngspice)")

# ngspice works in double precision without refinement; differences up to 3e-8 V were seen and were its rounding.
TOLERANCE_V = 1e-6


def netlist(network: Network, loads: Sequence[Load] = ()) -> list[str]:
    """The network in the program's language; node 0 is the reference in both."""
    lines = []
    for k, (a, b) in enumerate(network.ends.tolist()):
        if not network.closed[k] or a == b:
            continue
        ohm = 1.0 / float(network.conductance_s[k])
        if network.source_v[k]:
            # the source pushes from the first end on: the inner node is higher than the first end
            lines.append(f"V{k} s{k} {a} DC {float(network.source_v[k])!r}")
            lines.append(f"R{k} s{k} {b} {ohm!r}")
        else:
            lines.append(f"R{k} {a} {b} {ohm!r}")
    for node, volts in zip(network.fixed_node.tolist(), network.fixed_v.tolist(), strict=True):
        lines.append(f"VF{node} {node} 0 DC {volts!r}")
    for k, load in enumerate(loads):
        # the program's search passes through voltages where the laws below have no value; 1 V is far from any answer
        drop = f"max(V({load.first},{load.second}),1)"
        match load:
            case ConstantPower(power_w=watts):
                lines.append(f"BL{k} {load.first} {load.second} I={watts!r}/{drop}")
            case FilamentLamp():
                rated_a = load.rated_w / load.rated_v
                law = f"{rated_a!r}*exp({load.exponent!r}*ln({drop}/{load.rated_v!r}))"
                lines.append(f"BL{k} {load.first} {load.second} I={law}")
            case _:
                raise NotImplementedError(type(load).__name__)
    return lines


def ngspice_voltages(
    folder: Path, network: Network, loads: Sequence[Load] = (), *, near_v: FloatArray | None = None
) -> dict[int, float]:
    """Node voltages as the program finds them; `near_v` is where its search begins, for networks with loads."""
    assert NGSPICE is not None
    lines = ["* drawn by a test", *netlist(network, loads)]
    lines.append(".options reltol=1e-9 abstol=1e-14 vntol=1e-11 gmin=1e-18")
    if near_v is not None:
        lines.append(".nodeset " + " ".join(f"v({k})={v:.3f}" for k, v in enumerate(near_v) if k))
    lines += [".control", "set filetype=ascii", "op", "write answer.raw", "quit 0", ".endc", ".end", ""]
    (folder / "drawn.cir").write_text("\n".join(lines), encoding="ascii")
    run = subprocess.run(
        [NGSPICE, "-b", "drawn.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    answer = folder / "answer.raw"
    assert answer.exists(), run.stdout + run.stderr
    text = answer.read_text(encoding="ascii")
    answer.unlink()
    names, values = text.split("Values:")
    numbers = [float(word) for word in re.findall(r"[-+]?\d\.\d+e[-+]\d+", values)]
    found = re.findall(r"^\s*(\d+)\s+(\S+)\s+(?:voltage|current)", names, flags=re.MULTILINE)
    assert len(found) == len(numbers)
    volts = {0: 0.0}
    for place, name in found:
        node = re.fullmatch(r"v\((\d+)\)|(\d+)", name, flags=re.IGNORECASE)
        if node:
            volts[int(node.group(1) or node.group(2))] = numbers[int(place)]
    return volts


def assert_same(volts: FloatArray, expected: dict[int, float]) -> None:
    compared = 0
    for node, value in enumerate(volts):
        if not np.isnan(value) and node in expected:
            assert value == pytest.approx(expected[node], abs=TOLERANCE_V), node
            compared += 1
    assert compared == np.count_nonzero(~np.isnan(volts)), "the other program left out a node that does not float"


def drawn_network(seed: int) -> Network:
    """Twelve nodes, everything joined by wires and loads, two batteries with resistance, one ideal source."""
    draw = np.random.default_rng(seed)
    n = 12
    ends = [(int(draw.integers(0, k)), k) for k in range(1, n)]
    ends += [(int(a), int(b)) for a, b in draw.integers(0, n, (14, 2))]
    ohm = np.exp(draw.uniform(np.log(0.005), np.log(2e3), len(ends)))
    source_v = np.where(draw.random(len(ends)) < 0.15, draw.choice([12.6, 24.5, -5.0], len(ends)), 0.0)
    return network_of_resistances(n, ends, ohm, reference=[0], fixed_node=[4], fixed_v=[12.0], source_v=source_v)


@pytest.mark.parametrize("seed", range(12))
def test_voltages_of_drawn_networks(seed: int, tmp_path: Path) -> None:
    network = drawn_network(seed)
    assert_same(solve(network).node_v, ngspice_voltages(tmp_path, network))


@pytest.mark.parametrize("node_count", [60, 300])
def test_voltages_of_a_vehicle_like_network(node_count: int, tmp_path: Path) -> None:
    network = vehicle_like_network(node_count)
    assert_same(solve(network).node_v, ngspice_voltages(tmp_path, network))


@pytest.mark.parametrize("seed", range(4))
def test_opens_added_resistances_and_shorts_of_drawn_networks(seed: int, tmp_path: Path) -> None:
    network = drawn_network(seed)
    branches = np.random.default_rng(seed).choice(network.branch_count, 4, replace=False)
    changed = [network.opened([branch]) for branch in branches.tolist()]
    changed = [one for one in changed if not floating_nodes(solve(one))]
    changed += [with_added_ohm(network, branch, 7.5) for branch in branches.tolist()]
    changed += [with_branch(network, node, 0, 0.05) for node in range(1, 5)]
    assert len(changed) > 8
    for one in changed:
        assert_same(solve(one).node_v, ngspice_voltages(tmp_path, one))


def test_a_meter_is_a_resistor_of_10_megohm(tmp_path: Path) -> None:
    network = vehicle_like_network(60)
    solution = solve(network)
    behind_inputs = solve(network.opened([0]))
    for base in (solution, behind_inputs):
        for node in (7, 20, 41):
            drawn = ngspice_voltages(tmp_path, with_branch(base.network, node, 0, 10e6))
            push = np.zeros(base.network.node_count)
            push[node] = 1.0
            source_ohm = base.factor.respond(push)[node]
            assert base.node_v[node] / (1.0 + source_ohm / 10e6) == pytest.approx(drawn[node], abs=TOLERANCE_V)


@pytest.mark.parametrize("feed_ohm", [0.05, 0.4, 1.0])
def test_constant_power_and_lamps(feed_ohm: float, tmp_path: Path) -> None:
    # battery, feed, splice; a lamp and two modules with a common, thin ground wire
    network = network_of_resistances(
        6,
        [(0, 1), (1, 2), (2, 3), (2, 4), (5, 0)],
        [0.01, feed_ohm, 0.02, 0.05, 0.1],
        reference=[0],
        source_v=[12.6, 0.0, 0.0, 0.0, 0.0],
    )
    loads: list[Load] = [
        FilamentLamp(3, 5, rated_v=12.0, rated_w=21.0),
        ConstantPower(4, 5, 8.0),
        ConstantPower(2, 5, 3.0),
    ]
    found = solve_with_loads(network, loads)
    expected = ngspice_voltages(tmp_path, network, loads, near_v=np.array([0, 12, 10, 10, 10, 0.3]))
    assert found.node_v[1:].tolist() == pytest.approx([expected[k] for k in range(1, 6)], abs=1e-5)
