"""The printed diagram: every probe point once and with its code, nothing on top of anything, nothing off the page, the same bytes each time.

Names of graphic symbols ("Fuse (general symbol)", "Make contact", "Break contact", "Control coil (general symbol)", "Plug and socket") were seen in lists of
IEC 60617; the paper sizes are those of ISO 216 (A4, 210 mm × 297 mm) and ANSI/ASME Y14.1 (letter, 8.5 in × 11 in), from memory.
"""

import html
import io
import re
import shutil
from collections import Counter
from functools import cache
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pytest

import tracer
from tests.report.overlaps import overlap, overlapping
from tests.report.pixels import ink_of
from tests.report.printed_vehicles import HOSTILE, hostile, sixty_pins
from tests.typed import load
from tracer.plan.codes import bus_pins, coded_points
from tracer.plan.diagram import view_of
from tracer.report.diagram import PAPERS, DiagramPage, Paper, back_of, diagram_of, files_of
from tracer.report.diagram.blocks import blocks_of, whole
from tracer.report.diagram.engine import NoEngine, program
from tracer.report.diagram.ranks import Unit, ranked
from tracer.report.diagram.shapes import Box, Dot, Line, Rect, Text, wrapped
from tracer.report.fonts import svg_width
from tracer.report.layout import also_words
from tracer.report.supplies import as_data
from tracer.trace.lists.results import SupplyReport
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.tracing import Tracing

ROOT = Path(__file__).resolve().parents[2]
SVG = "{http://www.w3.org/2000/svg}"
CODE = re.compile(r"(?<![A-Za-z0-9.])[SGVC]\d+\.\d+(?![\d.])")
DATE = Paper(date="2026-01-31")


@pytest.fixture(scope="module")
def tracings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Tracing]:
    folders = {
        "minibus": ROOT / "circuits" / "minibus",
        "unfinished": ROOT / "circuits" / "unfinished",
        "sixty": sixty_pins(tmp_path_factory.mktemp("made") / "sixty"),
        "hostile": hostile(tmp_path_factory.mktemp("made") / "hostile"),
    }
    return {name: Tracing(tracer.load(str(folder))) for name, folder in folders.items()}


@cache
def drawn(
    tracing: Tracing, module: str, key: str | None = None, paper: Paper = DATE
) -> tuple[SupplyReport, list[DiagramPage]]:
    """The list and the pages of a module, drawn once for all tests that only look at them."""
    report = supplies_of(tracing, module)
    return report, diagram_of(view_of(tracing, report, key), paper)


def on_paper(tracing: Tracing, module: str, paper: str) -> list[DiagramPage]:
    """The pages of a module on another paper."""
    return drawn(tracing, module, paper=Paper(paper, date="2026-01-31"))[1]


CASES = [
    ("minibus", "ALM"),
    ("minibus", "INS"),
    ("minibus", "RMP"),
    ("minibus", "ENM"),
    ("unfinished", "LIFT"),
    ("unfinished", "DSP"),
    ("sixty", "BIG"),
    ("hostile", "M1"),
]


def codes_of_json(report: SupplyReport) -> Counter[str]:
    """From the JSON of `supplies`: each point by the first row that has it and its number there; counted anew, not by the code under test."""
    data, seen, codes = as_data(report), set(), Counter[str]()
    for row in (*data["supplies"], *data["grounds"], *data["carrying"], *data["chains"]):
        for number, probe in enumerate(row["probes"], 1):
            if probe["at"] not in seen:
                seen.add(probe["at"])
                codes[f"{row['row']}.{number}"] += 1
    return codes


@pytest.mark.parametrize(("vehicle", "module"), CASES)
def test_every_probe_point_stands_once_in_the_svg_and_in_the_pdf_with_the_code_of_the_list(
    tracings: dict[str, Tracing], vehicle: str, module: str
) -> None:
    report, pages = drawn(tracings[vehicle], module)
    wanted = codes_of_json(report)
    assert wanted
    in_svg = Counter[str]()
    for file in files_of(pages, "svg"):
        for element in ElementTree.fromstring(file).iter(f"{SVG}text"):
            in_svg.update(CODE.findall(element.text or ""))
    assert in_svg == wanted
    (pdf,) = files_of(pages, "pdf")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    assert Counter(CODE.findall(text)) == wanted
    for code, _ in bus_pins(report):
        assert re.search(rf"{code}(?!\d)", text)


@pytest.mark.parametrize(("vehicle", "module"), CASES)
@pytest.mark.parametrize("paper", PAPERS)
def test_texts_neither_overlap_nor_leave_the_page_nor_are_small(
    tracings: dict[str, Tracing], vehicle: str, module: str, paper: str
) -> None:
    pages = on_paper(tracings[vehicle], module, paper)
    for page in pages:
        assert sorted((page.width, page.height)) == pytest.approx(sorted(PAPERS[paper]))
        texts = list(page.texts())
        assert min(text.size for text in texts) >= 7.0
        for text in texts:
            box = text.box
            assert (
                box.x >= 0 and box.y >= 0 and box.x + box.width <= page.width and box.y + box.height <= page.height
            ), text
        assert overlapping(texts) == []


def test_the_svg_gives_each_text_the_length_that_was_measured(tracings: dict[str, Tracing]) -> None:
    _, (page,) = drawn(tracings["minibus"], "ALM")
    root = ElementTree.fromstring(files_of([page], "svg")[0])
    lengths = [float(element.attrib["textLength"]) for element in root.iter(f"{SVG}text")]
    assert lengths == pytest.approx(
        [svg_width(text.text, text.size, bold=text.bold) for text in page.texts()], abs=0.006
    )


@pytest.mark.parametrize(("vehicle", "module"), CASES)
@pytest.mark.parametrize("paper", PAPERS)
def test_no_line_of_one_net_lies_on_a_line_of_another(
    tracings: dict[str, Tracing], vehicle: str, module: str, paper: str
) -> None:
    pages = on_paper(tracings[vehicle], module, paper)
    lines_apart(pages)


def lines_apart(pages: list[DiagramPage]) -> None:
    """Lines run at right angles, and none of one net lies on one of another."""
    for page in pages:
        pieces = []
        for group in page.groups:
            if group.kind != "line":
                continue
            for shape in group.shapes:
                assert isinstance(shape, Line) or group.id
                if isinstance(shape, Line):
                    (x1, y1), (x2, y2) = shape.points
                    assert abs(x1 - x2) < 1e-6 or abs(y1 - y2) < 1e-6, "lines run at right angles"
                    pieces.append((group.id, min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)))
        for n, (first, *a) in enumerate(pieces):
            for second, *b in pieces[n + 1 :]:
                if first == second:
                    continue
                wide = min(a[2], b[2]) - max(a[0], b[0])
                high = min(a[3], b[3]) - max(a[1], b[1])
                both_level = a[1] == a[3] and b[1] == b[3] and abs(a[1] - b[1]) < 0.5 and wide > 0.5
                both_upright = a[0] == a[2] and b[0] == b[2] and abs(a[0] - b[0]) < 0.5 and high > 0.5
                assert not (both_level or both_upright), (first, second, a, b)


@pytest.mark.parametrize(("vehicle", "module"), CASES)
def test_every_loose_end_is_drawn_with_its_code_and_listed(
    tracings: dict[str, Tracing], vehicle: str, module: str
) -> None:
    report, pages = drawn(tracings[vehicle], module)
    drawn_codes = {text.text for page in pages for text in page.texts() if text.role == "loose" and text.bold}
    assert drawn_codes >= {loose.code for loose in report.loose_ends}
    title = " ".join(text.text for text in pages[0].texts() if text.role == "loose" and not text.bold)
    for loose in report.loose_ends:
        assert " ".join(f"{loose.code} {loose.message}.".split()) in " ".join(title.split())
    status = {text.text for page in pages for text in page.texts() if text.role == "status"}
    assert len(status) == 1
    assert status.pop().startswith("COMPLETE" if report.complete else "NOT COMPLETE")


def test_page_references_answer_each_other(tracings: dict[str, Tracing]) -> None:
    for vehicle, module in (("minibus", "INS"), ("sixty", "BIG")):
        _, pages = drawn(tracings[vehicle], module)
        assert len(pages) > 1
        leaving, entering = set(), set()
        for number, page in enumerate(pages, 1):
            for text in page.texts():
                if text.role == "page":
                    mark, direction, _, other = text.text.split()
                    if direction == "to":
                        leaving.add((mark, number, int(other)))
                    else:
                        entering.add((mark, int(other), number))
        assert leaving and leaving == entering


def test_the_demo_fits_one_a4_page(tracings: dict[str, Tracing]) -> None:
    _, pages = drawn(tracings["minibus"], "ALM")
    assert len(pages) == 1


def test_same_input_same_bytes(tracings: dict[str, Tracing]) -> None:
    for form in ("svg", "pdf"):
        first = files_of(drawn(tracings["minibus"], "ALM", "run")[1], form)
        fresh = Tracing(tracer.load(str(ROOT / "circuits" / "minibus")))
        assert files_of(drawn(fresh, "ALM", "run")[1], form) == first


def test_a_key_state_shows_in_line_styles_alone(tracings: dict[str, Tracing]) -> None:
    """ALM.7 (row S6) is dead while cranking and live in run, as sheet 5 of the demo says; BAT.+ is always live."""
    styles = {}
    for key in ("run", "start"):
        _, (page,) = drawn(tracings["minibus"], "ALM", key)
        near = [group for group in page.groups if group.id == "element-X4.12-5"]
        (styles[key],) = [
            {shape.style for shape in group.shapes if isinstance(shape, Line)} - {"plain"} for group in near
        ]
        colours = set(re.findall(rb"#[0-9a-fA-F]{3,6}", files_of([page], "svg")[0]))
        assert colours == {b"#000", b"#fff"}
    assert styles == {"run": {"heavy"}, "start": {"dashed"}}


def test_each_element_has_an_id_and_a_title(tracings: dict[str, Tracing]) -> None:
    for vehicle, module in CASES:
        for file in files_of(drawn(tracings[vehicle], module)[1], "svg"):
            groups = [element for element in ElementTree.fromstring(file).iter(f"{SVG}g") if "class" in element.attrib]
            ids = [group.attrib["id"] for group in groups]
            assert len(ids) == len(set(ids))
            assert all(re.fullmatch(r"[A-Za-z][A-Za-z0-9_.-]*", one) for one in ids)
            assert all((title := group.find(f"{SVG}title")) is not None and title.text for group in groups)


def test_hostile_names_stay_text(tracings: dict[str, Tracing]) -> None:
    _, pages = drawn(tracings["hostile"], "M1")
    (file,) = files_of(pages, "svg")
    root = ElementTree.fromstring(file)
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg",
        "title",
        "g",
        "text",
        "rect",
        "circle",
        "polygon",
        "polyline",
    }
    assert HOSTILE in (root.findtext(f"{SVG}title") or "")
    (pdf,) = files_of(pages, "pdf")
    assert "#panic(" in pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_back_of_a_pdf_shows_each_typed_face_from_both_sides(tracings: dict[str, Tracing], paper: str) -> None:
    view = view_of(tracings["minibus"], tracer.supplies(tracings["minibus"], "ALM"))
    on = Paper(paper)
    pages = diagram_of(view, on)
    (pdf,) = files_of(pages, "pdf", back_of(view, on))
    read = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(read) == len(pages) + 1
    box = read[-1].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(PAPERS[paper], abs=0.5)
    text = " ".join(read[-1].extract_text().split())
    assert "COMPLETE" in text and "square: supply, round: ground" in text
    for title in ("ALM, plug on the harness, seen from the wire side", "MIRROR: ALM, plug on the harness, seen from the mating side",
                  "X4, half b (levelling harness), seen from the mating side", "MIRROR: X4, half b (levelling harness), seen from the wire side"):  # fmt: skip
        assert title in text
    assert "1 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17" in text and "15 14 13 12 11 10 9 8 7 6 5 4 3 1" in text


def test_a_diagram_without_typed_faces_has_no_back(tracings: dict[str, Tracing]) -> None:
    view = view_of(tracings["minibus"], tracer.supplies(tracings["minibus"], "ALM"))
    view.faces = ()
    assert back_of(view, Paper()) is None


def test_pdf_fonts_are_embedded(tracings: dict[str, Tracing]) -> None:
    (pdf,) = files_of(drawn(tracings["minibus"], "ALM")[1], "pdf")
    fonts = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]["/Resources"]["/Font"]  # type: ignore[index]
    assert fonts
    for font in fonts.values():
        descendant = font.get_object()["/DescendantFonts"][0].get_object()
        descriptor = descendant["/FontDescriptor"].get_object()
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor)


def test_the_png_shows_each_text_where_it_was_placed_and_white_paper_around(tracings: dict[str, Tracing]) -> None:
    pages = drawn(tracings["minibus"], "INS")[1]
    assert len(pages) == 2
    for page, file in zip(pages, files_of(pages, "png"), strict=True):
        ink = ink_of(file)
        scale = ink.shape[1] / page.width  # pixels for each point
        assert ink.shape[0] == pytest.approx(page.height * scale, abs=1)
        texts = list(page.texts())
        assert len(texts) > 50
        for text in texts:
            box = text.box
            left, top, right, bottom = (
                round(scale * at) for at in (box.x, box.y, box.x + box.width, box.y + box.height)
            )
            assert ink[top:bottom, left:right].max() > 0.5, text.text
        edge = round(10 * scale)
        assert max(ink[:edge].max(), ink[-edge:].max(), ink[:, :edge].max(), ink[:, -edge:].max()) < 0.1


def test_a_point_shared_by_rows_names_the_others(tracings: dict[str, Tracing]) -> None:
    report, (page,) = drawn(tracings["minibus"], "ALM")
    (battery,) = [group for group in page.groups if group.id == "node-BAT._2b_"]
    words = " ".join(shape.text for shape in battery.shapes if isinstance(shape, Text))
    point = coded_points(report)["BAT.+"]
    assert f"{point.code} {also_words(point.also)}" in words


def texts_crossed(page: DiagramPage) -> list[tuple[str, str]]:
    """Texts that a line runs through: into the box of the text by more than an eighth of the type size."""
    lines = [
        (group.id, ends)
        for group in page.groups
        for shape in group.shapes
        if isinstance(shape, Line)
        for ends in pairwise(shape.points)
    ]
    found = []
    for text in page.texts():
        edge, box = text.size / 8, text.box
        left, right, top, foot = box.x + edge, box.x + box.width - edge, box.y + edge, box.y + box.height - edge
        for name, ((ax, ay), (bx, by)) in lines:
            if min(ax, bx) < right and max(ax, bx) > left and min(ay, by) < foot and max(ay, by) > top:
                found.append((text.text, name))
    return found


def lines_on_edges(page: DiagramPage) -> list[tuple[str, str]]:
    """Lines that lie on an edge of a module's box: they would look joined to all of it."""
    found = []
    for group in page.groups:
        for box in (shape.box for shape in group.shapes if group.kind == "module" and isinstance(shape, Rect)):
            for line in page.groups:
                for shape in line.shapes if line.kind == "line" else ():
                    assert isinstance(shape, Line | Dot)
                    if isinstance(shape, Dot):
                        continue
                    (x1, y1), (x2, y2) = shape.points
                    wide = min(max(x1, x2), box.x + box.width) - max(min(x1, x2), box.x)
                    high = min(max(y1, y2), box.y + box.height) - max(min(y1, y2), box.y)
                    level = wide > 1 and min(abs(y1 - box.y), abs(y1 - box.y - box.height)) < 1.5 and y1 == y2
                    upright = high > 1 and min(abs(x1 - box.x), abs(x1 - box.x - box.width)) < 1.5 and x1 == x2
                    if level or upright:
                        found.append((group.id, line.id))
    return found


@pytest.mark.parametrize(("vehicle", "module"), CASES)
@pytest.mark.parametrize("paper", PAPERS)
def test_no_line_lies_on_the_edge_of_a_module(
    tracings: dict[str, Tracing], vehicle: str, module: str, paper: str
) -> None:
    pages = on_paper(tracings[vehicle], module, paper)
    assert [hit for page in pages for hit in lines_on_edges(page)] == []


@pytest.mark.parametrize(("vehicle", "module"), CASES)
@pytest.mark.parametrize("paper", PAPERS)
def test_no_line_runs_through_a_text(tracings: dict[str, Tracing], vehicle: str, module: str, paper: str) -> None:
    pages = on_paper(tracings[vehicle], module, paper)
    assert [hit for page in pages for hit in texts_crossed(page)] == []


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("key", [None, "run"])
def test_the_demo_module_fits_one_page_of_either_paper(
    tracings: dict[str, Tracing], paper: str, key: str | None
) -> None:
    _, pages = drawn(tracings["minibus"], "ALM", key, Paper(paper, date="2026-01-31"))
    assert len(pages) == 1


@pytest.mark.skipif(shutil.which("dot") is None, reason="this machine has no `dot`; install graphviz to run it")
@pytest.mark.parametrize(("vehicle", "module"), CASES)
def test_the_system_dot_draws_the_same_points_as_neatly(
    tracings: dict[str, Tracing], vehicle: str, module: str
) -> None:
    """With `--engine dot`: whatever its version, the checks of the engine that comes with tracer hold."""
    paper = Paper("a4", "dot", "2026-01-31")
    report, pages = drawn(tracings[vehicle], module, paper=paper)
    codes = Counter(code for page in pages for text in page.texts() for code in CODE.findall(text.text))
    assert codes == codes_of_json(report)
    lines_apart(pages)
    for page in pages:
        texts = list(page.texts())
        assert texts_crossed(page) == [] and lines_on_edges(page) == []
        assert not overlapping(texts)
    again = drawn.__wrapped__(tracings[vehicle], module, paper=paper)[1]  # drawn once more
    assert files_of(again, "svg") == files_of(pages, "svg")


def test_engines(tracings: dict[str, Tracing], monkeypatch: pytest.MonkeyPatch) -> None:
    assert Path(program("pure")).is_file()
    program.cache_clear()
    monkeypatch.setenv("PATH", "")
    with pytest.raises(NoEngine, match="no `dot` on this system"):
        program("dot")
    program.cache_clear()


def test_ranks_lead_downwards_and_circles_do_not_hang() -> None:
    units = [Unit(50, 20)] * 6
    edges = [(0, 1), (1, 2), (0, 3), (3, 2), (2, 4), (4, 1)]  # 4 to 1 closes a circle
    rank = ranked(units, edges, [[edge] for edge in edges], 200)
    assert all(rank[a] < rank[b] for a, b in edges if (a, b) != (4, 1))


def test_a_crowded_rank_is_spread_where_blocks_have_room() -> None:
    """Six blocks that could all stand beside a chain of seven are dealt out over its ranks rather than put in one."""
    units = [Unit(60, 20)] * 13
    chain = [(n, n + 1) for n in range(6)]
    beside = [edge for n in range(7, 13) for edge in ((0, n), (n, 6))]
    rank = ranked(units, [*chain, *beside], [[edge] for edge in (*chain, *beside)], 200)
    widest = max(sum(60 for r in rank if r == level) for level in set(rank))
    assert widest <= 240


def test_measuring_text() -> None:
    """Widths of a Helvetica-metric face: digits 0.556 em, capital M 0.833 em (Adobe core font metrics, from memory)."""
    assert svg_width("10", 10) == pytest.approx(11.12)
    assert svg_width("M", 10) == pytest.approx(8.33)
    assert wrapped("aa bb cc", svg_width("aa bb", 7) + 0.1, 7) == ["aa bb", "cc"]
    assert all(svg_width(line, 7) <= 30 for line in wrapped("x" * 50, 30, 7))
    assert overlap(Box(0, 0, 2, 2), Box(1, 1, 2, 2), 0) and not overlap(Box(0, 0, 2, 2), Box(2, 0, 2, 2), 0)


def test_a_crossed_connector_shows_both_cavity_numbers(tracings: dict[str, Tracing]) -> None:
    """Sheet 5 of the demo crosses cavities 5 and 12 between the halves of X4: half a in cavity 5 meets half b in cavity 12."""
    _, (page,) = drawn(tracings["minibus"], "ALM")
    names = {text.text for text in page.texts()}
    assert {"X4.5>12", "X4.12>5"} <= names
    assert {"X4.5", "X4.12"}.isdisjoint(names)


@pytest.mark.parametrize("module", ["SDM", "ALM", "RMP"])
def test_no_splice_has_a_lead_that_ends_in_nothing(tracings: dict[str, Tracing], module: str) -> None:
    """A lead above a splice to which nothing comes, or below one from which nothing goes, would look like a wire that ends."""
    tracing = tracings["minibus"]
    made = blocks_of(view := view_of(tracing, supplies_of(tracing, module), None), whole(view))
    heads, tails = {edge.head for edge in made.edges}, {edge.tail for edge in made.edges}
    splices = [block for block in made.blocks.values() if block.kind == "splice"]
    assert splices
    for block in splices:
        upright = [y for one in block.shapes if isinstance(one, Line) for x, y in one.points if not x]
        dot = next(one for one in block.shapes if isinstance(one, Dot))
        assert (min(upright) < dot.y) == (block.id in heads), block.id
        assert (max(upright) > dot.y) == (block.id in tails), block.id


def test_no_page_has_a_box_without_a_pin(tracings: dict[str, Tracing]) -> None:
    """The cluster's pins are all on its first page; on the second an empty box of its name would say nothing."""
    pages = on_paper(tracings["minibus"], "INS", "a4")
    assert len(pages) == 2
    assert any(text.text == "INS" for text in pages[0].texts())
    assert not any(text.text == "INS" for text in pages[1].texts())


def test_the_title_names_each_panel_of_the_page_with_its_place_and_positions(tmp_path: Path) -> None:
    tracing = Tracing(tracer.load(Path(__file__).parents[2] / "circuits" / "minibus"))
    (drawn,) = tracer.diagram(tracing, "ALM", "svg", key="run").files
    text = " ".join(html.unescape(" ".join(re.findall(r">([^<]+)</text>", drawn.decode()))).split())
    assert "FPE Engine bay fuse panel, left inner wing, behind the air filter: F40, F47, F50, F52, KAL, KLE." in text
    panels = {part.panel for part in tracing.circuit.parts.values() if part.panel}
    for panel in panels:
        named = re.search(rf"\b{panel} [^:]*: ([^.]*)\.", text)
        assert named is not None
        labels = {part.label for part in tracing.circuit.parts.values() if part.panel == panel}
        on_page = {label for label in labels if re.search(rf"(?<![\w.]){label}(?![\w.])", text.partition("Quillam")[0])}
        assert set(named[1].split(", ")) == on_page
    assert text.count("supply or ground is there") == text.count("depends, or not known") == 1


BRIDGED = (
    "sheet: 1\nparts: {BAT: battery, F1: {is: fuse, amps: 10}, F2: {is: fuse, amps: 15}, G1: ground, G2: ground, "
    "M: {is: module, at: floor, cavities: 1-4, pins: {1: supply, 2: supply, 3: ground, 4: ground}}}\n"
    "runs:\n- BAT.+ -- RD 4 -- F1 -- RD 1 -- M.1\n- BAT.+ -- RD 4 -- F2 -- RD 1 -- M.2\n- M.1 -- RD/BK 1 -- M.2\n"
    "- M.3 -- BN/WH 1 -- M.4\n- M.4 -- BN 1 -- G1\n- G1 -- BK 6 -- BAT.-\n"
)


@pytest.mark.parametrize(
    "more", ["", "- M.3 -- BN 1 -- G2\n- G2 -- BK 6 -- BAT.-\n"], ids=["one ground", "two grounds"]
)
def test_a_bridge_between_two_pins_of_a_module_stays_outside_its_box(more: str, tmp_path: Path) -> None:
    """Its line began at the inner end of a pin, in the air, and left the box at its side."""
    tracing = Tracing(load(tmp_path, BRIDGED + more))
    ((page,),) = (drawn(tracing, "M")[1],)
    (outline,) = (shape for group in page.groups if group.kind == "module" for shape in group.shapes)
    assert isinstance(outline, Rect)
    box = outline.box
    lines = [(group.title, one.points) for group in page.groups for one in group.shapes if isinstance(one, Line)]
    wires = {title for title, _ in lines}
    assert {"M.1 to M.2: RD/BK 1", "M.2 to M.1: RD/BK 1"} & wires and {
        "M.3 to M.4: BN/WH 1",
        "M.4 to M.3: BN/WH 1",
    } & wires
    edge = 0.01  # a wire ends on the outline
    inside = [
        title for title, points in lines for x, y in points
        if box.x < x < box.x + box.width and box.y + edge < y < box.y + box.height - edge
    ]  # fmt: skip
    assert inside == []
