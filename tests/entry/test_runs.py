"""The run grammar: what is built from points and wires is read back the same, in every way of writing it."""

from __future__ import annotations

import networkx
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.typed import HEAD, load, wires
from tracer.circuit.model import Circuit
from tracer.entry.runs import (
    MAX_LENGTH_M,
    MAX_POINTS,
    Point,
    Wire,
    _as_nearly_every,
    _read_closely,
    read_point,
    read_run,
    read_wire,
    split_run,
)  # fmt: skip
from tracer.entry.values import Misread
from tracer.standards.colours import SYSTEMS, abbreviations, parse_colour

# --- made from parts and wires, and read back ------------------------------------------------------------------------

NAME = st.text(st.sampled_from("ABFKMSXabz019_-+üЖ"), min_size=1, max_size=5).filter(
    lambda name: "--" not in name and name not in ("ref", "unknown", "track", "bare", "key")
)
PIN = st.text(st.sampled_from("AB019a+-"), min_size=1, max_size=4).filter(lambda pin: "--" not in pin)
MARK = st.text(st.sampled_from("ABC0189/.-"), min_size=1, max_size=4).filter(
    lambda mark: "--" not in mark and mark[-1] != "-"  # `ref 0->1` is an arrow
)


@st.composite
def ends(draw: st.DrawFn) -> Point:
    """A point that may only stand at an end."""
    if draw(st.booleans()):
        return Point(draw(st.sampled_from(("?", "unknown"))))
    here, there = draw(MARK), draw(MARK)
    if here == there:
        return Point(f"ref {here}", here=here, there=here)
    return Point(f"ref {here}>{there}", here=here, there=there)


@st.composite
def middles(draw: st.DrawFn) -> Point:
    part = draw(NAME)
    if draw(st.booleans()):
        part = f"{part}/{draw(NAME)}"
    form = draw(st.sampled_from(("part", "pin", "half", "mate")))
    if form == "part":
        return Point(part, part)
    pin = draw(PIN)
    if form == "half":
        half = draw(st.sampled_from("ab"))
        return Point(f"{part}.{pin}:{half}", part, pin, half)
    if form == "mate":
        mate = draw(PIN)
        return Point(f"{part}.{pin}>{mate}", part, pin, mate=mate)
    return Point(f"{part}.{pin}", part, pin)


@st.composite
def typed_wires(draw: st.DrawFn, system: str) -> Wire:
    """A wire of up to three colours in a system, with or without size, length and number."""
    colour = draw(st.sampled_from(("?", "track", "bare", "colour", "colour", "colour")))
    codes: tuple[str, ...] = ()
    if colour == "colour":
        written = draw(st.lists(st.sampled_from([a.written for a in abbreviations(system)]), min_size=1, max_size=3))
        colour = "/".join(written)
        codes = parse_colour(colour, system)
    text, area_mm2, size_text = colour, None, None
    if draw(st.booleans()):
        hundredths = draw(st.integers(5, 40_000))
        comma = draw(st.sampled_from(".,"))
        area_mm2 = hundredths / 100
        written_size = f"{area_mm2:.2f}".replace(".", comma)
        text += f" {written_size}{draw(st.sampled_from(('', 'mm2', 'mm²', ' mm²')))}"
        size_text = f"{area_mm2:g} mm²"
    length_m = None
    if draw(st.booleans()):
        millimetres = draw(st.integers(1, 1_000_000))
        length_m = millimetres / 1000
        text += draw(
            st.sampled_from((f" {length_m:.3f}m", f" {millimetres}mm", f" {millimetres / 10:.1f} cm".replace(".", ",")))
        )
    number = None
    if draw(st.booleans()):
        number = draw(st.text(st.sampled_from("0129A/"), min_size=1, max_size=4))
        text += f" ({number})"
    medium = colour if colour in ("track", "bare") else "wire"
    return Wire(text, codes, area_mm2, size_text, length_m, number, medium)


def _same_wire(read: Wire, made: Wire) -> None:
    assert read.text == " ".join(made.text.split())
    assert (read.colours, read.number, read.medium) == (made.colours, made.number, made.medium)
    assert read.area_mm2 == pytest.approx(made.area_mm2)
    assert read.length_m == pytest.approx(made.length_m)
    assert (read.size_text is None) == (made.size_text is None)


@given(st.data(), st.sampled_from(SYSTEMS))
def test_a_run_is_read_back_as_it_was_made(data: st.DataObject, system: str) -> None:
    count = data.draw(st.integers(2, 6))
    points = [data.draw(middles()) for _ in range(count)]
    for index in (0, -1):
        if data.draw(st.booleans()):
            points[index] = data.draw(ends())
    made = [data.draw(typed_wires(system)) for _ in range(count - 1)]
    if count == 2 and points[0].text == points[1].text and points[0].text not in ("?", "unknown"):
        return
    dash = data.draw(st.sampled_from((" -- ", "  --  ", " — ", " – ", "\n -- ", " ---\t")))
    text = points[0].text + "".join(
        f"{dash}{wire.text}{dash}{point.text}" for wire, point in zip(made, points[1:], strict=True)
    )
    read_points, read_wires, slips = read_run(text, system)
    assert slips == []
    assert list(read_points) == points
    for read, wire in zip(read_wires, made, strict=True):
        _same_wire(read, wire)


@given(st.lists(st.text(st.characters(exclude_characters="-—–", exclude_categories=["Cs"])), min_size=1, max_size=5))
def test_every_piece_of_a_split_run_stands_where_its_offset_says(pieces: list[str]) -> None:
    text = " -- ".join(pieces)
    found = split_run(text)
    assert [piece for _, piece in found] == [piece.strip() for piece in pieces]
    for offset, piece in found:
        assert text[offset : offset + len(piece)] == piece


_PIECES = st.sampled_from(
    ["F9", "X1.2", "A-1.B-2", "F9 -", "- F9", "RD 1", "RD/GN 2.5 3m (204)", "same", "?", "ref 1>2", "ALM.[5-8]", "", "RD - 1", "0.5-0.75", "RD -- 1", "XX", "track"]
)  # fmt: skip


@given(st.lists(_PIECES, min_size=1, max_size=7), st.sampled_from([" -- ", " --  ", " --- ", " – ", "-- ", "\t-- "]))
@example(["F9", "RD 1", "F9"], " -- ").via("from a point to itself")
@example(["?", "RD 1", "?"], " -- ").via("nothing known of either end")
def test_a_run_read_at_once_is_what_it_is_when_looked_at_closely(pieces: list[str], between: str) -> None:
    text = between.join(pieces)
    assert _as_nearly_every(text, "iec") in (None, _read_closely(text, "iec"))


def test_a_run_as_most_are_typed_is_read_at_once() -> None:
    assert _as_nearly_every("F9 -- RD/GN 2.5 -- X31.1 -- RD/GN 2.5 3.1m -- ALM.4", "iec") is not None


@given(st.text(st.sampled_from("AS1. -–:>?/()rf2,\n\t"), max_size=60), st.sampled_from(SYSTEMS))
@example("A.1 -- ? -- S1", "iec")
def test_any_text_gives_a_run_or_slips_inside_the_text(text: str, system: str) -> None:
    points, made, slips = read_run(text, system)
    if not slips:
        assert len(points) == len(made) + 1 >= 2
    for slip in slips:
        assert 0 <= slip.offset <= len(text)
        assert slip.what and slip.fix
        if slip.text != "--":
            assert text[slip.offset :].startswith(slip.text[:20])


# --- wires -----------------------------------------------------------------------------------------------------------

WIRES = [
    # system, text, colours, mm², m, number; the abbreviations and gauges are tested against their sources in tests/published
    ("iec", "RD/GN 2.5 3.1m", ("RD", "GN"), 2.5, 3.1, None),
    ("iec", "RDGN", ("RD", "GN"), None, None, None),
    ("iec", "BK/WH/RD 0,75", ("BK", "WH", "RD"), 0.75, None, None),
    ("iec", "RD (204)", ("RD",), None, None, "204"),
    ("iec", "RD 2.5 (L/R)", ("RD",), 2.5, None, "L/R"),
    ("iec", "rd 2,5mm² 310cm (204)", ("RD",), 2.5, 3.1, "204"),
    ("iec", "RD 2.5 mm2 3100 mm", ("RD",), 2.5, 3.1, None),
    ("iec", "RD 3.1 m", ("RD",), None, 3.1, None),
    ("iec", "? 4 2m", (), 4.0, 2.0, None),
    ("iec", "unknown", (), None, None, None),
    ("din", "sw/rt 1,5 0,5m", ("BK", "RD"), 1.5, 0.5, None),
    ("din", "swrt", ("BK", "RD"), None, None, None),
    ("american", "LT BLU 14AWG 6ft", ("LTBU",), 2.081, 6 * 0.3048, None),
    ("american", "DK GRN/T 14 AWG", ("DKGN", "TN"), 2.081, None, None),
    ("american", "BLK 2/0AWG", ("BK",), 67.43, None, None),
]


@pytest.mark.parametrize(("system", "text", "colours", "area_mm2", "length_m", "number"), WIRES)
def test_a_wire_is_read(
    system: str, text: str, colours: tuple[str, ...], area_mm2: float | None, length_m: float | None, number: str | None
) -> None:
    wire = read_wire(text, system)
    assert wire.colours == colours
    assert wire.area_mm2 == (None if area_mm2 is None else pytest.approx(area_mm2, rel=1e-3))
    assert wire.length_m == pytest.approx(length_m)
    assert (wire.number, wire.medium) == (number, "wire")


@pytest.mark.parametrize(("text", "medium"), [("track", "track"), ("BARE 2.5", "bare")])
def test_a_conductor_that_is_no_wire(text: str, medium: str) -> None:
    wire = read_wire(text, "iec")
    assert (wire.medium, wire.colours) == (medium, ())


@pytest.mark.parametrize(
    "text",
    [
        "2.5",
        "RD 2.5 2.5",
        "RD 1 2m 3m",
        "RD #204",
        "RD 1001m",
        "RD 0mm",
        "RD -1",
        "RD 401",
        "RD 2.5sq",
        "(204)",
        "RD ()",
        "RD 1e3",
    ],
)
def test_a_wire_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(Misread) as misread:
        read_wire(text, "iec")
    assert misread.value.what and misread.value.fix


def test_the_limit_of_a_length_is_what_it_says() -> None:
    assert read_wire(f"RD {MAX_LENGTH_M:g}m", "iec").length_m == MAX_LENGTH_M
    with pytest.raises(Misread):
        read_wire(f"RD {MAX_LENGTH_M + 1:g}m", "iec")


def test_the_limit_of_points_is_what_it_says() -> None:
    run = " -- ".join(["S1", "RD"] * 199 + ["S2"])
    assert len(split_run(run)) == MAX_POINTS - 1
    assert read_run(run, "iec")[2] == []
    assert read_run(run + " -- RD -- S3", "iec")[2][0].what == f"a run of {MAX_POINTS + 1} pieces"


# --- points ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("ALM.4", Point("ALM.4", "ALM", "4")),
        ("S21", Point("S21", "S21")),
        ("30", Point("30", "30")),
        ("X31.1:a", Point("X31.1:a", "X31", "1", "a")),
        ("X31.1>7", Point("X31.1>7", "X31", "1", mate="7")),
        ("FB/F9.load", Point("FB/F9.load", "FB/F9", "load")),
        ("BAT.+", Point("BAT.+", "BAT", "+")),
        ("BAT.-", Point("BAT.-", "BAT", "-")),
        ("ref 47>12", Point("ref 47>12", here="47", there="12")),
        ("ref 47 > 12", Point("ref 47 > 12", here="47", there="12")),
        ("ref A", Point("ref A", here="A", there="A")),
        ("?", Point("?")),
        ("unknown", Point("unknown")),
    ],
)
def test_a_point_is_read(text: str, point: Point) -> None:
    assert read_point(text) == point


@pytest.mark.parametrize(
    "text", ["", "M.", ".4", "M.1.2", "M.1:", "M.1:c", "M.1>", "M.>2", "M:a", "M 4", "ref", "ref >", "ref 1>", "ref >1", "ref 1>1", "ref 1>2>3", "a/b/c", "M.1, M.2", "[M.1]", "{M}", "<M>"]
)  # fmt: skip
def test_a_point_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(Misread) as misread:
        read_point(text)
    assert misread.value.what and misread.value.fix


# --- direction -------------------------------------------------------------------------------------------------------

THROUGH = ("F1", "X1.1", "X1.2", "X2.1>4", "R1", "W1", "E1", "S1", "S2")
PARTS = (
    HEAD.replace("  E1: load\n", "") + "  E1: load\n  X2: {is: connector, mates: {1: 4}}\n  R1: resistor\n  W1: strap\n"
)


def _shape(circuit: Circuit) -> networkx.Graph:
    """The circuit as a simple graph whose nodes say part and cavity but not half or side, and whose edges are nodes too."""
    graph = networkx.Graph()
    for number, name in enumerate(circuit.node_names):
        part, pin = circuit.node_parts[number], circuit.node_pins[number]
        like = (
            part
            if circuit.parts
            and part in circuit.parts
            and circuit.parts[part].kind in ("fuse", "resistor", "strap", "load")
            else name
        )
        graph.add_node(number, label=like if ":" not in pin else f"{part}.{pin.split(':')[0]}")
    for number, link in enumerate(circuit.links):
        edge = ("link", number)
        graph.add_node(
            edge, label=f"{link.kind.name} {circuit.wire_of(link).text if link.kind.name == 'WIRE' else link.part}"
        )
        graph.add_edges_from([(link.a, edge), (edge, link.b)])
    return graph


@given(
    st.lists(st.sampled_from(THROUGH), min_size=1, max_size=6, unique=True),
    st.sampled_from(("M.1", "30", "BAT.+", "ref 1>2", "unknown")),
    st.sampled_from(("M.2", "31", "G1", "ref 3>4", "?")),
)
def test_a_run_typed_backwards_gives_the_same_circuit(
    tmp_path_factory: pytest.TempPathFactory, through: list[str], first: str, last: str
) -> None:
    points = [first, *through, last]
    made = [f"RD {number + 1}" for number in range(len(points) - 1)]
    pieces = [piece for pair in zip(points, [*made, ""], strict=True) for piece in pair][:-1]
    backwards = [piece.replace("X2.1>4", "X2.4>1") for piece in reversed(pieces)]
    if backwards[0] == "?":
        backwards[0] = "unknown"
    shapes = [
        _shape(load(tmp_path_factory.mktemp("run"), f"{PARTS}runs:\n  - {' -- '.join(run)}\n"))
        for run in (pieces, backwards)
    ]
    for shape in shapes:
        for node, data in shape.nodes(data=True):
            data["label"] = "?" if data["label"] in ("?", "unknown") else data["label"]
            assert node is not None
    assert networkx.is_isomorphic(*shapes, node_match=lambda a, b: a["label"] == b["label"])


def test_a_run_with_mates_typed_backwards_joins_the_same_pins(tmp_path_factory: pytest.TempPathFactory) -> None:
    joined = []
    for run in ("M.1 -- RD -- X2.1>4 -- RD -- M.2", "M.2 -- RD -- X2.4>1 -- RD -- M.1"):
        circuit = load(tmp_path_factory.mktemp("run"), f"{PARTS}runs:\n  - {run}\n")
        joined.append({frozenset(pair) for pair in wires(circuit)})
    assert joined[0] == joined[1] == {frozenset({"M.1", "X2.1, towards M"}), frozenset({"X2.4, towards M", "M.2"})}
