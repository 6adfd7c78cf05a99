"""Diagrams of modules that do not fit: whatever goes onto which page, each point stands once and each line is drawn or goes on; what is too much is listed."""

import math
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import tracer
from benchmarks.believable import believable
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tests.report.overlaps import overlapping
from tests.report.printed_vehicles import write_vehicle
from tests.report.test_diagram import CODE, codes_of_json
from tracer.plan.diagram import View, view_of
from tracer.report.diagram import DiagramPage, Paper, diagram_of, paper
from tracer.report.diagram.blocks import blocks_of
from tracer.report.diagram.layout import Placed, place
from tracer.report.diagram.listed import WHY
from tracer.report.diagram.shapes import Text
from tracer.trace.lists.results import SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

MODULE = "M: {is: module, cavities: [1, 2], pins: {1: supply, 2: ground}}"


def written(folder: Path, parts: list[str], runs: list[str]) -> Tracing:
    sheet = "sheet: 1\nparts:\n" + "".join(f"  {part}\n" for part in ("BAT: battery", "G1: ground", MODULE, *parts))
    sheet += "runs:\n" + "".join(f"  - {run}\n" for run in ("BAT.- -- BK 6 -- G1", "M.2 -- BN 1 -- G1", *runs))
    return Tracing(tracer.load(str(write_vehicle(folder, {"1": sheet}, "vehicle: large\nkey: [off, run]\n"))))


def relays_in_a_chain(folder: Path, number: int) -> Tracing:
    """The contact of each relay feeds the coil of the next one; the last one feeds the module."""
    parts = ["S: splice", "KEY: {is: switch, contacts: {a: [1-2], b: []}}"]
    runs, before = ["BAT.+ -- RD 6 -- S", "S -- RD 1 -- KEY.1"], "KEY.2"
    for one in range(number):
        parts.append(f"K{one}: {{is: relay, kind: normally open}}")
        runs += [f"S -- RD 1 -- K{one}.30", f"{before} -- RD 1 -- K{one}.86", f"K{one}.85 -- BN 1 -- G1"]
        before = f"K{one}.87"
    return written(folder, parts, [*runs, f"{before} -- RD 1 -- M.1"])


def grid(folder: Path, side: int) -> Tracing:
    """Splices in rows and columns, each wired to the next: every wire lies on a way."""
    parts, last = [], side - 1
    runs = ["BAT.+ -- RD 6 -- S0x0", f"S{last}x{last} -- RD 1 -- M.1"]
    for row in range(side):
        for column in range(side):
            parts.append(f"S{row}x{column}: splice")
            runs += [f"S{row - 1}x{column} -- RD 1 -- S{row}x{column}"] if row else []
            runs += [f"S{row}x{column - 1} -- RD 1 -- S{row}x{column}"] if column else []
    return written(folder, parts, runs)


def ladder(folder: Path, rungs: int) -> Tracing:
    """Two rails of hand switches with a hand switch across at each rung."""
    parts, runs = [], []
    a = b = "BAT.+"
    for one in range(rungs):
        parts += [f"H{side}{one}: {{is: switch, kind: make switch}}" for side in "abc"]
        parts += [f"SA{one}: splice", f"SB{one}: splice"]
        runs += [f"{a} -- RD 1 -- Ha{one}.1", f"Ha{one}.2 -- RD 1 -- SA{one}", f"{b} -- RD 1 -- Hb{one}.1"]
        runs += [
            f"Hb{one}.2 -- RD 1 -- SB{one}",
            f"SA{one} -- RD 1 -- Hc{one}.1",
            f"Hc{one}.2 -- RD 1 -- SB{one}",
        ]
        a, b = f"SA{one}", f"SB{one}"
    return written(folder, parts, [*runs, f"{a} -- RD 1 -- M.1"])


def codes_on(texts: list[Text]) -> Counter[str]:
    return Counter(code for text in texts for code in CODE.findall(text.text))


@pytest.mark.parametrize(("make", "size"), [(relays_in_a_chain, 60), (grid, 20), (ladder, 30)])
def test_what_is_too_much_to_draw_is_listed_whole_after_a_bounded_number_of_tries(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, make: object, size: int
) -> None:
    assert callable(make)
    tracing = make(tmp_path / "large", size)
    work: list[int] = []

    def counted(view: View, made: object, *rest: object, **more: object) -> Placed:
        placed = place(view, made, *rest, **more)  # type: ignore[arg-type]
        work.append(1_000 + len(made.edges) * placed.ranks)  # type: ignore[attr-defined]
        return placed

    monkeypatch.setattr(paper, "place", counted)
    if make is ladder:
        monkeypatch.setattr(paper, "_MOST_PLACED", 5_000)
    report = supplies_of(tracing, "M")
    pages = diagram_of(view_of(tracing, report, "run"), Paper(date="2026-01-31"))
    assert sum(work[:-1]) <= paper._MOST_PLACED
    listed_whole(tracing, report, pages)


def listed_whole(tracing: Tracing, report: SupplyReport, pages: list[DiagramPage]) -> None:
    """Every point once with its code, every link of its ways by both its ends, nothing over anything, and each page says that it is a list."""
    view = view_of(tracing, report, "run")
    names = tracing.circuit.node_names
    items: dict[str, list[str]] = {}
    for page in pages:
        assert WHY[:60] in " ".join(text.text for text in page.texts())
        for group in page.groups:
            if group.kind == "point":
                name = group.title.split(",")[0].split(" (")[0]
                items.setdefault(name, []).extend(
                    s.text for s in group.shapes if isinstance(s, Text) and s.role == "note"
                )
        for text in page.texts():
            assert text.box.x >= 0 and text.box.x + text.box.width <= page.width, text
            assert text.box.y >= 0 and text.box.y + text.box.height <= page.height, text
        texts = list(page.texts())
        assert not overlapping(texts)
    assert codes_on([text for page in pages for text in page.texts()]) == codes_of_json(report)
    assert set(items) == {names[node] for node in view.order}
    down = Counter((names[step.upper], names[step.lower]) for step in view.steps)
    written = Counter(
        (upper, line.rpartition(" to ")[2]) for upper, lines in items.items() for line in lines if " to " in line
    )
    assert written == down


def dealt_whole(tracing: Tracing, report: SupplyReport, pages: int) -> None:
    """On that many pages: each code once, each line drawn on one page, or leaving one and entering another under the same letter."""
    view = view_of(tracing, report)
    dealt = paper._dealt(paper._units(view), pages)
    texts, leaving, entering = [], set(), set()
    drawn = 0
    for share in paper._shares(view, dealt):
        made = blocks_of(view, share)
        drawn += len(share.steps) + len(share.entering)
        for group in place(view, made, 500, anyhow=True).groups:
            texts += [shape for shape in group.shapes if isinstance(shape, Text)]
            if group.kind == "page":
                mark, direction, _, other = group.title.split()
                if direction == "to":
                    leaving.add((mark, share.number, int(other)))
                else:
                    entering.add((mark, int(other), share.number))
    assert drawn == len(view.steps)
    assert codes_on(texts) == codes_of_json(report)
    assert leaving == entering


@pytest.fixture(scope="module")
def coach(tmp_path_factory: pytest.TempPathFactory) -> Tracing:
    folder = tmp_path_factory.mktemp("made") / "coach"
    believable(folder, 6)
    return Tracing(tracer.load(str(folder)))


@pytest.mark.parametrize("pages", [2, 3, 7, 1_000])
def test_a_believable_module_is_whole_on_any_number_of_pages(coach: Tracing, pages: int) -> None:
    for module in ("M2", "M3"):
        dealt_whole(coach, supplies_of(coach, module), pages)


@settings(suppress_health_check=list(HealthCheck), max_examples=max(10, math.ceil(settings.default.max_examples / 6)))  # type: ignore[union-attr]
@given(vehicle=typed_vehicles(), pages=st.integers(2, 5))
def test_a_random_module_is_whole_on_any_number_of_pages(
    tmp_path_factory: pytest.TempPathFactory, vehicle: TypedVehicle, pages: int
) -> None:
    tracing = Tracing(tracer.load(str(vehicle.write(tmp_path_factory.mktemp("random") / "vehicle"))))
    for module in ("M", *(["D"] if "D" in tracing.circuit.parts else [])):
        dealt_whole(tracing, supplies_of(tracing, module), pages)


def test_a_module_of_which_nothing_is_wired_yet_is_a_page_with_its_loose_ends(tmp_path: Path) -> None:
    pins = "{" + ", ".join(f"{number}: supply for the part with the number {number}" for number in range(1, 61)) + "}"
    sheet = f"sheet: 1\nparts:\n  M: {{is: module, cavities: 1-60, pins: {pins}}}\n"
    tracing = Tracing(tracer.load(str(write_vehicle(tmp_path, {"1": sheet}, "vehicle: large\nkey: [off, run]\n"))))
    report = supplies_of(tracing, "M")
    pages = diagram_of(view_of(tracing, report, None))
    assert pages
    words = " ".join(text.text for page in pages for text in page.texts())
    assert len(report.loose_ends) >= 60
    for end in report.loose_ends:
        assert end.at in words
