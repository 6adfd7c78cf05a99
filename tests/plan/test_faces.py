"""The face of a connector: what is refused, which cavity is which row's, and that a mirror is never drawn without saying so."""

from pathlib import Path

import pytest

import tracer
from tests.typed import load, problems, write
from tracer.plan.faces import faces_of_rows, mirrored
from tracer.report.faces import picture_of, title
from tracer.report.supplies import pin_text

SHEET = (
    "sheet: 1\nparts:\n  BAT: battery\n  F1: {is: fuse, amps: 10}\n  G1: ground\n"
    "  X1: {is: connector, cavities: 1-4, unused: [3, 4], mates: {1: 2, 2: 1}, FACE_X}\n  M: {is: module, cavities: 1-6, unused: [3, 4, 6], pins: {5: signal}, FACE_M}\n"
    "runs:\n  - BAT.+ -- RD 4 -- F1 -- RD 1 -- X1.1>2 -- RD 1 -- M.1\n  - M.2 -- BN 1 -- X1.1>2 -- BN 1 -- G1\n  - BAT.- -- BK 25 -- G1\n  - M.5 -- GN 1 -- ?\n"
)
RIGHT_M, RIGHT_X = "face: [[1, 2, 3], [4, _, 6]], viewed: wire side", "face: [[1, 2], [3, 4]], viewed: mating side b"


def typed(module: str = RIGHT_M, connector: str = RIGHT_X) -> str:
    return SHEET.replace("FACE_M", module).replace("FACE_X", connector)


@pytest.mark.parametrize(
    ("module", "connector", "at", "what", "fix"),
    [
        ("face: [[1, 2, 3], [4, 2, 6]], viewed: wire side", RIGHT_X, "7:", "cavity 2 of M stands 2 times in its face", "`_`"),
        ("face: [[1, 2, 3], [4, 7, 6]], viewed: wire side", RIGHT_X, "7:", "M has no cavity 7", "Correct the face"),
        ("face: [[1, 2, 3]]", RIGHT_X, "7:", "it is not said from which side the face of M is seen", "`viewed: wire side`"),
        ("viewed: wire side", RIGHT_X, "7:", "M has no `face`", "face: [[1, 2, 3]"),
        ("face: [[1, 2, 3]], viewed: front", RIGHT_X, "7:", "front", "wire side"),
        ("face: 1-6, viewed: wire side", RIGHT_X, "7:", "a list of rows is wanted here", "[[1, 2, 3], [4, _, 6]]"),
        ("face: [[1, 2, 3]], viewed: wire side a", RIGHT_X, "7:", "M is a module: its plug has no half a", "`wire side`"),
        (RIGHT_M, "face: [[1, 2]], viewed: wire side", "6:", "X1 has two halves", "`wire side a`"),
        (RIGHT_M, "face: [[1, 5]], viewed: wire side a", "6:", "X1 has no cavity 5", "Correct the face"),
    ],
)  # fmt: skip
def test_a_face_that_would_lead_to_the_wrong_pin_is_refused(module: str, connector: str, at: str, what: str, fix: str, tmp_path: Path) -> None:  # fmt: skip
    (found,) = problems(write(tmp_path, typed(module, connector), vehicle="vehicle: v\n"))
    assert str(found.place).startswith(f"sheets/1.yaml:{at}") and found.place.column > 1
    assert what in found.what and fix in found.fix


def test_each_cavity_of_the_list_has_its_shape_and_the_half_its_own_numbers(tmp_path: Path) -> None:
    sheet = typed().replace("M.2 -- BN 1 -- X1.1>2 -- BN 1 -- G1", "M.2 -- BN 1 -- G1")
    circuit = load(tmp_path, sheet, vehicle="vehicle: v\n")
    report = tracer.supplies(circuit, "M")
    plug, plug_mirror, half, half_mirror = faces_of_rows(circuit, report, (*report.supplies, *report.grounds))
    assert plug.levels == {"1": "supply", "2": "ground"} and not plug.beside
    assert list(picture_of(plug, 80)) == ["[1] (2)  3", " 4       6"]
    assert list(picture_of(plug_mirror, 80)) == [" 3  (2) [1]", " 6       4"]
    assert title(plug) == "M, plug on the harness, seen from the wire side"
    assert title(plug_mirror) == "MIRROR: M, plug on the harness, seen from the mating side"
    assert half.levels == {"2": "supply"}  # the wire lies in cavity 1 of half a, which is 2 on half b
    assert title(half_mirror) == "MIRROR: X1, half b, seen from the wire side"
    assert mirrored(plug_mirror) == plug
    text = pin_text(report, None, report.supplies[:1], (plug, plug_mirror))
    assert text.index("seen from the wire side") < text.index("[1]") < text.index("MIRROR: M")


def test_on_the_demo_every_marked_cavity_is_one_that_the_list_names() -> None:
    circuit = tracer.load(Path(__file__).parents[2] / "circuits" / "minibus")
    report = tracer.supplies(circuit, "ALM")
    rows = (*report.supplies, *report.grounds)
    for face in faces_of_rows(circuit, report, rows):
        names = {probe.at for row in rows for probe in row.probes if probe.part == face.part}
        shown = {name.partition(",")[0].removeprefix(f"{face.part}.") for name in names}
        assert face.levels.keys() <= shown and not face.beside
        assert face.half or face.levels.keys() == {row.pin for row in rows}


@pytest.mark.parametrize("width", [40, 80, 200])
def test_a_wide_face_goes_on_below_by_whole_columns(width: int, tmp_path: Path) -> None:
    wide = "sheet: 1\nparts: {M: {is: module, cavities: 1-60, unused: [3-60], face: [[1-30], [31-60]], viewed: mating side}, BAT: battery}\nruns:\n  - BAT.+ -- RD 1 -- M.1\n  - BAT.- -- BK 1 -- M.2\n"
    circuit = load(tmp_path, wide, vehicle="vehicle: v\n")
    report = tracer.supplies(circuit, "M")
    face = faces_of_rows(circuit, report, (*report.supplies, *report.grounds))[0]
    lines = list(picture_of(face, width))
    assert max(map(len, lines)) <= width
    numbers = [word.strip("[]()") for line in lines if "columns" not in line for word in line.split()]
    assert sorted(numbers, key=int) == [str(n) for n in range(1, 61)]
