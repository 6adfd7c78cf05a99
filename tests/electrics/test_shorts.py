"""What a short circuit opens, against sums by hand and a network solved by itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import tracer
from tests.electrics.slow import dense_voltages
from tests.electrics.vehicles import row, tracing_of, volts
from tests.typed import load
from tracer.circuit.model import LinkKind
from tracer.electrics.limits_in_use import limits_of
from tracer.electrics.model.changes import BadChange, changes_of
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.expected import expected_of
from tracer.report import volts as shown
from tracer.report.supplies import as_text as list_text
from tracer.standards.allowances import opens_at
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

DEMO = Path(__file__).parent.parent.parent / "circuits" / "minibus"

# F1 feeds a busbar wire, F2 hangs on it; wires of 2.5 mm².
CHAIN = """
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 40, type: C}
  F2: {is: fuse, amps: 10, type: C}
  SP: {is: splice}
  M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: supply}, draws: {1: 1, 3: 1}}
runs:
- BAT.+ -- RD 2.5 1m -- F1 -- RD 2.5 1m -- SP
- SP -- RD 2.5 1m -- F2 -- RD 2.5 1m -- M.1
- SP -- RD 2.5 1m -- M.3
- M.2 -- BN 2.5 2m -- BAT.-
"""


@pytest.fixture(scope="module")
def demo() -> Tracing:
    return Tracing(tracer.load(str(DEMO)))


def test_the_current_before_the_fuse_opens_is_what_ohms_law_says(tmp_path: Path) -> None:
    plain = CHAIN.replace("- SP -- RD 2.5 1m -- M.3\n", "").replace("draws: {1: 1, 3: 1}", "draws: {1: 0.001}")
    report = volts(tracing_of(tmp_path, plain), "M", shorts=("M.1",))
    assert report.shorted is not None
    # 4 m of 7.60 mΩ/m (ISO 6722), 8 crimps, clips and elements of 40 and 10 A, the short itself
    wires = 4 * 0.0076 + 8 * 0.005 / 30
    assert report.shorted.first_a == pytest.approx(12.6 / (wires + 0.005 + 0.0087 + 0.0018), rel=0.03)
    assert [one.fuse.fuse for one in report.shorted.openings] == ["F2"]
    assert [one.fuse for one in report.shorted.openings[0].beside] == ["F1"]
    assert report.shorted.left_a == pytest.approx(0.0, abs=1e-6)
    assert row(report, "M.1").state == "dead"


def test_what_another_fuse_feeds_lives_on(tmp_path: Path) -> None:
    report = volts(tracing_of(tmp_path, CHAIN), "M", shorts=("M.1",))
    assert (row(report, "M.1").state, row(report, "M.3").state) == ("dead", "live")
    assert row(report, "M.3").volts.nominal > 12.0
    assert report.changes == ("M.1 shorted to battery negative",)


def test_the_second_fuse_opens_where_the_first_leaves_the_short_fed(tmp_path: Path) -> None:
    """Two fuses feed one point beside each other: the smaller goes, then the larger carries it all and goes too."""
    beside = CHAIN.replace("- SP -- RD 2.5 1m -- M.3\n", "- BAT.+ -- RD 2.5 1m -- F3 -- RD 2.5 3m -- M.1\n").replace(
        "  SP:", "  F3: {is: fuse, amps: 30, type: C}\n  SP:"
    )
    report = volts(tracing_of(tmp_path, beside), "M", shorts=("M.1",))
    assert report.shorted is not None
    assert [one.fuse.fuse for one in report.shorted.openings] == ["F2", "F3"]
    assert row(report, "M.1").state == "dead"


def test_no_fuse_on_the_way_is_said_first(tmp_path: Path) -> None:
    bare = CHAIN.replace("- SP -- RD 2.5 1m -- M.3\n", "- BAT.+ -- RD 2.5 1m -- M.3\n")
    report = volts(tracing_of(tmp_path, bare), "M", shorts=("M.3",))
    assert report.shorted is not None
    assert not report.shorted.fused
    assert report.shorted.openings == ()
    assert report.shorted.left_a > 100.0
    lines = [line for line in shown.as_text(report, width=200).splitlines() if line.startswith("!")]
    assert lines[0].startswith("! NO FUSE is on the way of the short: ")


def test_a_fuse_of_unknown_rating_is_not_said_to_hold_or_to_open(tmp_path: Path) -> None:
    unknown = CHAIN.replace("F2: {is: fuse, amps: 10, type: C}", "F2: {is: fuse}").replace("amps: 40", "amps: 400")
    report = volts(tracing_of(tmp_path, unknown), "M", shorts=("M.1",))
    assert report.shorted is not None
    assert report.shorted.openings == ()
    assert [(one.fuse, one.rating_a) for one in report.overloads] == [("F2", None)]
    text = shown.as_text(report, width=200)
    assert "its rating is not known: whether it opens is not known" in text
    assert "no fuse is known to open" in text


def test_an_overloaded_fuse_is_named_without_any_short(tmp_path: Path) -> None:
    heavy = CHAIN.replace("draws: {1: 1, 3: 1}", "draws: {1: 12, 3: 1}")
    tracing = tracing_of(tmp_path, heavy)
    report = volts(tracing, "M")
    assert [(one.fuse, one.rating_a) for one in report.overloads] == [("F2", 10)]
    said = "F2 carries 12 A, more than its rating of 10 A"
    assert said in shown.as_text(report, width=200)
    found = supplies_of(tracing, "M")
    expected = expected_of(tracing, found, limits=limits_of(tracing.circuit))
    assert any(said in words for words in expected.overloads)
    assert said in list_text(found, expected, width=200)
    sound = CHAIN.replace("draws: {1: 1, 3: 1}", "draws: {1: 9, 3: 1}")
    assert volts(tracing_of(tmp_path / "sound", sound), "M").overloads == ()


def test_a_short_to_supply_and_one_between_two_points(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, CHAIN)
    to_ground = volts(tracing, "M", shorts=("M.1",))
    assert volts(tracing, "M", shorts=("M.1=M.2",)).shorted is not None
    between = volts(tracing, "M", shorts=("M.1=M.2",)).shorted
    assert between is not None
    assert to_ground.shorted is not None
    assert [one.fuse.fuse for one in between.openings] == ["F2"]
    assert between.first_a < to_ground.shorted.first_a  # the way back is the ground wire
    supplied = volts(tracing, "M", shorts=("M.2=supply",)).shorted
    assert supplied is not None
    assert not supplied.fused


@pytest.mark.parametrize("text", ["=supply", "M.1=", "M.9", "M.1=M.1"])
def test_what_is_no_short_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(BadChange):
        volts(tracing_of(tmp_path, CHAIN), "M", shorts=(text,))


def test_no_short_on_restraint_wiring(tmp_path: Path) -> None:
    tracing = tracing_of(tmp_path, CHAIN.replace("M: {is: module,", "M: {is: module, hazard: restraint,"))
    with pytest.raises(BadChange, match="no short is computed there"):
        volts(tracing, "M", shorts=("M.1",))


def test_the_fuse_of_each_shorted_supply_of_the_demo_is_what_a_dense_solve_finds(demo: Tracing) -> None:
    """Modified nodal analysis with a dense matrix, loads as resistors: at a short's current they do not matter."""
    circuit = demo.circuit
    tried = 0
    for one in supplies_of(demo, "ALM").supplies:
        report = volts(demo, "ALM", "run", 12.6, shorts=(one.point,))
        assert report.shorted is not None
        model = model_of(
            demo, "run", changes_of(circuit, shorts=(one.point,), battery_v=12.6), limits=limits_of(circuit)
        )
        network = model.solve().loaded
        found = dense_voltages(
            network.with_conductances(
                np.concatenate([network.conductance_s[: len(model.branches)], np.full(len(model.draws), 1e-3)])
            )
        )
        multiples = {}
        for number, branch in enumerate(model.branches):
            if branch.link >= 0 and circuit.links[branch.link].kind is LinkKind.FUSE and branch.closed:
                amps = getattr(circuit.parts[branch.part].facts, "amps", None)
                drop_v = found.get(branch.a, 0.0) - found.get(branch.b, 0.0)
                if amps:
                    multiples[branch.part] = abs(drop_v) * network.conductance_s[number] / amps
        first = max(multiples, key=lambda name: multiples[name])
        if multiples[first] < opens_at().value:
            continue
        opened = report.shorted.openings[0].fuse
        assert opened.fuse == first
        assert opened.multiple == pytest.approx(multiples[first], rel=0.1)
        assert row(report, one.point).volts.nominal < 1.0 or len(one.ends) > 1
        tried += 1
    assert tried >= 3


def test_a_short_to_ground_at_a_coil_pulls_its_relay_in(tmp_path: Path) -> None:
    relay = """
parts:
  BAT: {is: battery}
  F1: {is: fuse, amps: 10}
  F2: {is: fuse, amps: 20}
  K1: {is: relay, kind: normally open}
  M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: output}, draws: {1: 1}, outputs: {3: {drives: low, through: [2], when: unknown}}}
runs:
- BAT.+ -- RD 2.5 1m -- F1 -- RD 1 1m -- K1.86
- K1.85 -- BN 0.5 2m -- M.3
- BAT.+ -- RD 2.5 1m -- F2 -- RD 2.5 1m -- K1.30
- K1.87 -- RD 2.5 2m -- M.1
- M.2 -- BN 2.5 1m -- BAT.-
"""
    tracing = tracing_of(tmp_path, relay)
    assert row(volts(tracing, "M"), "M.1").state != "live"
    report = volts(tracing, "M", shorts=("M.3",))
    assert row(report, "M.1").state == "live"
    assert any("coil of K1 with M.3 shorted to battery negative: it pulls in" in note for note in report.notes)


def test_the_worksheets_name_an_overloaded_fuse(tmp_path: Path) -> None:
    tracing_of(tmp_path, CHAIN.replace("draws: {1: 1, 3: 1}", "draws: {1: 12, 3: 1}"))
    circuit = tracer.load(str(tmp_path))
    for form, full in (("txt", False), ("html", True), ("json", True)):
        (made,) = tracer.worksheet(circuit, "M", form, full=full).files
        assert "F2 carries 12 A, more than its rating of 10 A" in " ".join(made.decode().split()), form


def test_a_fuse_that_is_overloaded_in_order_is_no_fuse_of_the_short(tmp_path: Path) -> None:
    """F1 of 5 A carries a load of 8 A; a ground point shorted to ground has nothing to do with it."""
    sheet = (
        "sheet: 1\nparts:\n  BAT: battery\n  F1: {is: fuse, amps: 5}\n  F2: {is: fuse, amps: 10}\n  H2: {is: load, watts: 100}\n  G1: {is: ground, at: floor}\n"
        "  M: {is: module, cavities: 1-2, at: floor}\nruns:\n  - BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1\n  - M.1 -- RD 1 1m -- H2.1\n  - H2.2 -- BN 1 1m -- G1\n"
        "  - M.2 -- BN 1 1m -- G1\n  - BAT.- -- BK 25 -- G1\n"
    )
    report = tracer.volts(load(tmp_path, sheet, vehicle="vehicle: v\n"), "M", "run", shorts=["H2.2"])
    assert report.shorted is not None and not report.shorted.openings
    assert [one.fuse for one in report.overloads] == ["F1"]  # said, as in any state


def test_a_short_behind_a_converter_is_not_computed_and_names_no_fuse(tmp_path: Path) -> None:
    """As a source without an end it pushed 185 A through its own fuse; a converter limits what it gives."""
    sheet = """
parts:
  BAT: battery
  CV: {is: converter, volts: 12}
  F1: {is: fuse, amps: 15}
  M: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: supply}, draws: {1: 2, 3: 1}}
runs:
- BAT.+ -- RD 4 1m -- F1 -- RD 2.5 1m -- CV.in
- CV.out -- BU 1 1m -- M.1
- M.2 -- BN 1 1m -- BAT.-
- CV.ground -- BN 2.5 1m -- BAT.-
- BAT.+ -- RD 1 1m -- M.3
"""
    tracing = tracing_of(tmp_path, sheet, "system: 24 V\n")
    report = volts(tracing, "M", battery_v=25.0, shorts=("M.1",))
    assert report.shorted is not None and report.shorted.behind == ("CV",) and not report.shorted.openings
    assert not report.overloads and all("fed by converter CV" in one.not_computed for one in report.rows)
    text = " ".join(shown.as_text(report, width=200).split())
    assert "What it opens is not computed, because the short is fed by converter CV" in text and "OPENS" not in text
    before = volts(tracing, "M", battery_v=25.0, shorts=("CV.in",))  # there the battery feeds it
    assert before.shorted is not None and [one.fuse.fuse for one in before.shorted.openings] == ["F1"]


def test_a_short_that_takes_over_what_flowed_before_is_none_without_a_fuse(tmp_path: Path) -> None:
    report = volts(tracing_of(tmp_path, CHAIN), "M", shorts=("M.2",))
    assert report.shorted is not None and report.shorted.takes_over and not report.shorted.openings
    text = shown.as_text(report, width=200)
    assert "NO FUSE" not in text and "flowed before over other ways: no fuse opens" in text
