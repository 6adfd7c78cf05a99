"""What lies side by side on a way, and which piece each test is through alone: held against networkx, and the same in the worksheet, the first look and a case."""

from pathlib import Path

import networkx
import pytest
from hypothesis import given

import tracer
from benchmarks.believable import believable
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tests.laws.test_hazards import FEW, tracing_of
from tests.typed import load
from tracer.case.opening import kept_plan
from tracer.circuit.kinds import PartKind
from tracer.circuit.model import LinkKind
from tracer.entry.problems import listed
from tracer.plan.bench import Bench
from tracer.plan.plug_worksheet import plug_worksheet_of
from tracer.report.glance import as_text
from tracer.report.plug_worksheet import as_text as sheet_text
from tracer.report.plug_worksheet import worksheet_in_words
from tracer.trace.tracing import Tracing

# Two fuses side by side, and behind them two wires side by side: the fuses are tried one by one, the wires cannot be.
TWICE = (
    "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 10}, F2: {is: fuse, amps: 10}, S1: splice, S2: splice, X1: {is: connector, cavities: [1]},"
    " X2: {is: connector, cavities: [1]}, M: {is: module, cavities: [1, 2], at: floor}, G1: ground}\n"
    "runs:\n  - BAT.+ -- RD 4 -- F1 -- RD 2.5 -- S1\n  - BAT.+ -- RD 4 -- F2 -- RD 2.5 -- S1\n"
    "  - S1 -- RD 1 -- X1.1 -- RD 1 -- S2\n  - S1 -- RD 1 -- X2.1 -- RD 1 -- S2\n  - S2 -- RD 2.5 -- M.1\n"
    "  - M.2 -- BN 2.5 -- G1\n  - BAT.- -- BK 25 -- G1\n"
)


def test_a_leg_of_its_own_does_not_hide_what_else_lies_side_by_side(tmp_path: Path) -> None:
    tracing = Tracing(load(tmp_path, TWICE, vehicle="vehicle: v\n"))
    report = tracer.supplies(tracing, "M")
    worksheet = plug_worksheet_of(tracing, report, tracer.limits(tracing))
    pin = next(one for one in worksheet.pins if one.pin.row.pin == "1")
    assert [leg.by for leg in worksheet.legs] == ["F1", "F2"]
    assert {"X1.1", "X2.1"} < set(pin.pin.beside.left) and not {"F1", "F2"} & set(pin.pin.beside.left)
    kept = kept_plan(tracing, report, tracer.limits(tracing))["rows"]["M.1:+"]
    assert kept["not_told_apart"] == list(pin.pin.beside.left)
    words = " ".join(sheet_text(worksheet_in_words(worksheet, "12 V")).split())
    assert (
        f"1+: {listed(pin.pin.beside.left, most=6)} lie side by side; no test proves anything about one of them alone"
        in words
    )
    first = " ".join(as_text(worksheet.glance).split())
    assert "1+: each way alone; 1+: ways side by side that no test tells apart" in first


def test_a_pin_whose_ways_cannot_be_parted_is_not_called_one_with_legs() -> None:
    circuit = tracer.load(Path(__file__).parents[2] / "circuits" / "minibus")
    text = as_text(tracer.glance(circuit, tracer.supplies(circuit, "RMP")))
    assert "2-: ways side by side that no test tells apart" in " ".join(text.split())
    assert "legs" not in text


def proven_links_are_bridges(tracing: Tracing) -> int:
    """Every piece that a test proves cuts the pin off when it opens, beside what is opened for the test; every other one does not. Returns how many were left."""
    circuit, left = tracing.circuit, 0
    report = tracer.supplies(tracing, "M")
    for pin in tracer.glance(tracing, report).pins:
        node = circuit.pins_of[pin.row.part][pin.row.pin]
        way = tracing.ways_to(node, pin.row.level, report.module).to(node)
        assert way is not None
        ends = way.ends - tracing.passing_sources or way.ends
        unproven = {n for n in way.links if circuit.links[n].kind is not LinkKind.REFERENCE}
        for out, proves in [((), pin.beside.alone), *((leg.out, leg.proves) for leg in pin.beside.legs)]:
            graph = networkx.MultiGraph()
            graph.add_node(way.target)
            graph.add_edges_from(("end", end, f"end {end}") for end in ends)
            for n in way.links:
                link = circuit.links[n]
                if not {link.part, circuit.node_parts[link.a], circuit.node_parts[link.b]}.intersection(out):
                    graph.add_edge(link.a, link.b, n)
            cutting = set()
            for a, b, n in list(graph.edges(keys=True)) if networkx.has_path(graph, "end", way.target) else []:
                graph.remove_edge(a, b, n)
                if not str(n).startswith("end") and not networkx.has_path(graph, "end", way.target):
                    cutting.add(n)
                graph.add_edge(a, b, n)
            assert proves == cutting
            unproven -= cutting
        assert [pin.beside.pieces[n].words for n in pin.beside.pieces if n in unproven] == list(pin.beside.left)
        assert len({piece.words for piece in pin.beside.pieces.values()}) == len(pin.beside.pieces)
        left += len(unproven)
    return left


def test_of_two_wires_side_by_side_every_piece_is_left(tmp_path: Path) -> None:
    assert proven_links_are_bridges(Tracing(load(tmp_path, TWICE, vehicle="vehicle: v\n"))) == 6  # 4 wires, 2 matings


@FEW
@given(typed_vehicles())
def test_what_a_test_proves_is_what_cuts_the_pin_off(vehicle: TypedVehicle) -> None:
    proven_links_are_bridges(tracing_of(vehicle))


# One fuse that carries more than its rating in key state run only, by what another load draws.
OVERLOADED = (
    "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 5}, S1: splice, E1: {is: load, watts: 240}, M: {is: module, cavities: [1, 2], at: floor}, G1: ground}\n"
    "runs:\n  - BAT.+ -- RD 4 -- F1 -- RD 4 -- S1 -- RD 1 -- M.1\n  - S1 -- RD 4 -- E1 -- BN 4 -- G1\n  - M.2 -- BN 2.5 -- G1\n  - BAT.- -- BK 25 -- G1\n"
)


def test_the_one_sheet_computes_on_one_bench_and_names_every_overload(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # fmt: skip
    made: list[Bench] = []
    usual = Bench.__init__

    def counted(self: Bench, *args: object, **more: object) -> None:
        made.append(self)
        usual(self, *args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Bench, "__init__", counted)
    tracing = Tracing(load(tmp_path, OVERLOADED, vehicle="vehicle: v\nkey: [off, run]\n"))
    worksheet = plug_worksheet_of(tracing, tracer.supplies(tracing, "M"), tracer.limits(tracing))
    assert len(made) == 1
    assert worksheet.overloads == worksheet.plan.overloads != ()


def test_a_wire_that_goes_on_over_references_is_one_piece(tmp_path: Path) -> None:
    pages = (
        "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 10}, G1: ground, M: {is: module, cavities: [1, 2], at: floor}}\n"
        "runs:\n  - BAT.+ -- RD 4 -- F1 -- RD 1 -- ref 5>2\n  - M.2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n",
        "sheet: 2\nruns:\n  - ref 2>5 -- RD 1 -- ref 7>9\n",
        "sheet: 3\nruns:\n  - M.1 -- RD 1 -- ref 9>7\n",
    )
    tracing = Tracing(load(tmp_path, *pages, vehicle="vehicle: v\n"))
    report = tracer.supplies(tracing, "M")
    kept = kept_plan(tracing, report, tracer.limits(tracing))["rows"]["M.1:+"]
    assert kept["parts"] == ["wire BAT.+ to F1.feed", "F1", "wire F1.load to M.1 over ref 5>2 (sheet 1)"]
    assert kept["tests"][0]["proves"] == kept["parts"] and not kept["not_told_apart"]
    assert kept["ends"]["wire F1.load to M.1 over ref 5>2 (sheet 1)"] == ["F1.load", "M.1"]


def grounded_as_computed(tracing: Tracing) -> tuple[int, int]:
    """What is said without a solve of a ground pin with each of its ground points off, and with all, is what the whole computation says.

    Returns how often it was said, and how often it was asked.
    """
    said = asked = 0
    for part in tracing.circuit.modules():
        report = tracer.supplies(tracing, part.name)
        bench, alone = (Bench(tracing, report, tracer.limits(tracing)) for _ in range(2))
        for row in report.grounds:
            points = dict.fromkeys(
                probe.part for probe in row.probes
                if probe.part in tracing.circuit.parts and tracing.circuit.parts[probe.part].kind == PartKind.GROUND
            )  # fmt: skip
            key = next((key for key in report.keys if row.live.get(key) == "live"), "")
            if not key or row.no_method:
                continue
            for out in {*((one,) for one in points), tuple(points)} - {()}:
                left = alone._unplugged_in(key, out, ())
                connected = not left.why_not(row) and not left.alone.floats(left.pins[row.code, row.point])
                assert bench.still_grounded(row, key, out) == connected, (row.code, key, out)
                asked += 1
                said += (key, out, ()) not in bench._unplugged
    return said, asked


def test_a_ground_leg_that_conductors_alone_keep_is_kept_in_the_whole_computation(tmp_path: Path) -> None:
    said, asked = grounded_as_computed(Tracing(tracer.load(Path(__file__).parents[2] / "circuits" / "minibus")))
    assert 0 < said < asked
    believable(tmp_path / "coach", 3)
    said, asked = grounded_as_computed(Tracing(tracer.load(tmp_path / "coach")))
    assert 0 < said < asked


@FEW
@given(typed_vehicles())
def test_so_it_is_in_vehicles_drawn_by_chance(vehicle: TypedVehicle) -> None:
    grounded_as_computed(tracing_of(vehicle))
