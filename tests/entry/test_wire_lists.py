"""Wire lists: what is recognised, what is taken, and that nothing is dropped without being named."""

from __future__ import annotations

import csv
import io
import tempfile
import zipfile
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from openpyxl import Workbook

import tracer
from tests.cli.test_exit_status import invoke
from tests.typed import HEAD, write
from tracer.entry.files import NotWritten
from tracer.entry.problems import CannotUse
from tracer.entry.wire_lists import tables, take_in
from tracer.entry.wire_lists.columns import FIELDS
from tracer.entry.wire_lists.tables import read_table
from tracer.report.wire_lists import list_csv
from tracer.trace.rules.registry import loose_ends
from tracer.trace.tracing import Tracing

PLAIN = "From,Pin,To,Pin,Colour,Size (mm2),Length (mm),No\nX4,5,MOD,7,RD/GN,0.75,1200,204\nX4,5,F9,load,RD/GN,0.75,300,204\n"


def taken(folder: Path, text: str | bytes, *, name: str = "list.csv", **more: object) -> tracer.TakenIn:
    """A list of that text, taken into a new folder without writing."""
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return tracer.take_in(folder / "van", file, **more)  # type: ignore[arg-type]


def runs(found: tracer.TakenIn) -> list[str]:
    return [f"{wire.a.typed()} -- {wire.wire} -- {wire.b.typed()}" for wire in found.wires]


def test_a_plain_list_becomes_runs_that_load(tmp_path: Path) -> None:
    found = taken(tmp_path, PLAIN, write=True)
    assert runs(found) == ["X4.5 -- RD/GN 0.75 1.2m (204) -- MOD.7", "X4.5 -- RD/GN 0.75 0.3m (204) -- F9.load"]
    circuit = tracer.load(tmp_path / "van")
    assert {name: str(part.kind) for name, part in circuit.parts.items()} == {
        "F9": "fuse",
        "MOD": "box",
        "X4": "connector",
    }
    guessed = [one for one in loose_ends(Tracing(circuit)) if one.code == "L164"]
    assert [one.at for one in guessed] == ["F9", "MOD", "X4"]


@pytest.mark.parametrize(
    "head",
    [
        "From,Pin,To,Pin,Colour,Size (mm2),Length (mm),No",
        "Source;Source Pin;Destination;Destination Pin;Wire Color;CSA;Length [mm];Wire No",
        "from part\tfrom cavity\tto part\tto cavity\tCOLOUR\tmm²\tlength mm\tWire number",
        "From Connector,From Terminal,To Connector,To Terminal,Col.,Cross-section,Wire length (mm),Wire ID",
    ],
)
def test_headings_of_the_trade_are_recognised(head: str, tmp_path: Path) -> None:
    separator = next(one for one in "\t;," if one in head)
    body = PLAIN.split("\n", 1)[1].replace(",", separator)
    found = taken(tmp_path, f"{head}\n{body}")
    assert runs(found) == ["X4.5 -- RD/GN 0.75 1.2m (204) -- MOD.7", "X4.5 -- RD/GN 0.75 0.3m (204) -- F9.load"]
    assert all(column.says for column in found.columns)


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        (",5,MOD,7,RD", "the part at `from` is missing (pin 5)"),
        ("X4,5,,,RD", "the part at `to` is missing"),
        ("S1,,S1,,RD", "both ends are S1"),
        ("X4.5,,X4,5,RD", "both ends are X4.5"),
        ("ref 4>,,X4,5,RD", "a reference needs its marks"),
    ],
)
def test_a_row_that_is_no_wire_is_named_with_its_reason(row: str, reason: str, tmp_path: Path) -> None:
    found = taken(tmp_path, f"From,Pin,To,Pin,Colour\nA1,1,B1,1,RD\n{row}\n")
    (refused,) = found.refused
    assert (refused.place.file, refused.place.line) == ("list.csv", 3)
    assert reason in refused.what
    assert not found.complete


@pytest.mark.parametrize(
    ("column", "cell", "note"),
    [("Colour", "XQ", "colour as listed: XQ"), ("Size", "thick", "size as listed: thick"), ("Length", "5", "length as listed: 5"),
     ("Length", "9999 m", "length as listed: 9999 m"), ("No", "a b", "number as listed: a b"), ("Circuit", "horn", "circuit horn")],
)  # fmt: skip
def test_what_is_not_understood_stays_in_the_note_of_the_wire(
    column: str, cell: str, note: str, tmp_path: Path
) -> None:
    found = taken(tmp_path, f"From,Pin,To,Pin,{column}\nA1,1,B1,1,{cell}\n", write=True)
    assert [wire.note for wire in found.wires] == [note]
    assert len(found.changed) == (column != "Circuit")
    assert [run.note for run in tracer.load(tmp_path / "van").runs] == [note]


def test_a_size_that_may_be_either_is_not_guessed(tmp_path: Path) -> None:
    """16 is a size in mm² and in AWG, and 12 times thinner in one of them (ASTM B258: 16 AWG is 1.31 mm²)."""
    rows = "A1,1,B1,1,{}\nA2,1,B2,1,{}\n"
    for heading, one, other, wires in (
        ("Size", "16", "18", ["?", "?"]),
        ("Gauge", "16", "18", ["?", "?"]),
        ("AWG", "16", "18", ["? 16AWG", "? 18AWG"]),
        ("Size (mm2)", "16", "10", ["? 16", "? 10"]),
        ("Size", "16", "0.75", ["? 16", "? 0.75"]),
        ("Size", "16 AWG", "18", ["? 16AWG", "?"]),
    ):
        found = taken(tmp_path, f"From,Pin,To,Pin,{heading}\n{rows.format(one, other)}")
        assert [wire.wire for wire in found.wires] == wires, heading
        assert len(found.changed) == sum(wire == "?" for wire in wires)


def test_names_that_differ_stay_different(tmp_path: Path) -> None:
    text = "From,Pin,To,Pin\nLEFT LAMP,1,LEFT-LAMP,1\nLEFT.LAMP,1 a,LEFT LAMP,1-a\nref,1,LEFT LAMP,1:a\n"
    found = taken(tmp_path, text, write=True)
    assert runs(found) == [
        "LEFT-LAMP.1 -- ? -- LEFT-LAMP-2.1", "LEFT.LAMP -- ? -- LEFT-LAMP.1-a"][:1] + runs(found)[1:]  # fmt: skip
    assert len({(end.part, end.pin) for wire in found.wires for end in (wire.a, wire.b)}) == 6
    assert len(tracer.load(tmp_path / "van").parts) == 4


def test_a_part_without_a_pin_is_not_joined_by_that(tmp_path: Path) -> None:
    found = taken(tmp_path, "From,Pin,To,Pin\nLAMP,,S1,\nLAMP,,S2,\n", write=True)
    assert runs(found) == ["LAMP.row2a -- ? -- S1", "LAMP.row3a -- ? -- S2"]
    assert str(tracer.load(tmp_path / "van").parts["LAMP"].kind) == "box"


def test_a_mapping_file_says_what_no_heading_says(tmp_path: Path) -> None:
    mapping = tmp_path / "columns.yaml"
    mapping.write_text(
        "columns: {from: Item A, from pin: B, to: Item B, to pin: D, length: cut}\nlength: cm\nkinds: {F9: fuse}\n"
        'pins: {F9: {"1": feed, "2": load}}\n',
        encoding="utf-8",
    )
    found = taken(tmp_path, "title\nItem A,Cav,Item B,Cav,cut\nF9,2,MOD,7,50\n", columns=mapping)
    assert runs(found) == ["F9.load -- ? 0.5m -- MOD.7"]
    assert (found.above, [name for name, *_ in found.guesses]) == ((1,), ["MOD"])


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ("columns: {frm: A}\n", "`frm` is nothing that a row says"),
        ("columns: {from: Nowhere}\n", "there is no column `Nowhere` in row 1"),
        ("columns: {from: A}\nkinds: {F9: fuze}\n", "`fuze` is not a kind of part"),
        ("headings: 7\n", "row 7 of list.csv holds no headings"),
        ("length: furlong\n", "length: `furlong` is not possible here"),
        ("[", "columns.yaml:1:"),
    ],
)
def test_a_mapping_file_that_is_wrong_is_told(mapping: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "columns.yaml").write_text(mapping, encoding="utf-8")
    with pytest.raises(CannotUse) as error:
        taken(tmp_path, "From,Pin,To,Pin\nA,1,B,1\n", columns=tmp_path / "columns.yaml")
    assert said in str(error.value)


def test_a_column_behind_the_headings_in_which_something_stands_is_named_as_not_read(tmp_path: Path) -> None:
    found = taken(tmp_path, PLAIN + "X4,6,MOD,8,RD,1,300,205,,spare\n")
    assert [(one.letter, one.heading) for one in found.columns if not one.name] == [("J", "")]
    assert not found.complete


def test_pages_whose_names_become_one_have_files_of_their_own(tmp_path: Path) -> None:
    rows = [f"F{n},M{n},{page}" for n, page in enumerate(("a", "a?", "a-2", "a??"))]
    found = taken(tmp_path, "from,to,page\n" + "\n".join(rows) + "\n")
    sheets = [(name, text) for name, text in found.files.items() if name.startswith("sheets/")]
    assert [name for name, _ in sheets] == [f"sheets/list-{name}.yaml" for name in ("a", "a-2", "a-2-2", "a-3")]
    assert [text.count(f"F{n}.") for n, (_, text) in enumerate(sheets)] == [1, 1, 1, 1]


def test_a_part_is_declared_on_the_first_of_its_pages(tmp_path: Path) -> None:
    found = taken(tmp_path, "from,pin,to,pin,page\nX1,1,X2,1,p\nX1,2,X3,1,q\nX3,2,X2,2,r\n")
    declared = {name: [part for part in ("X1", "X2", "X3") if f"  {part}: {{" in text] for name, text in found.files.items()}  # fmt: skip
    assert declared == {"vehicle.yaml": [], "sheets/list-p.yaml": ["X1", "X2"], "sheets/list-q.yaml": ["X3"], "sheets/list-r.yaml": []}  # fmt: skip


def test_a_name_that_nothing_can_have_is_no_wire(tmp_path: Path) -> None:
    found = taken(tmp_path, f"from,to\nX1{':a' * 50_000},X2.1\nX1.1,X2.1\n")
    (refused,) = found.refused
    assert "a name of 100002 letters at `from`" in refused.what and len(found.wires) == 1


def test_a_separator_inside_quotes_is_none(tmp_path: Path) -> None:
    notes = "".join(f'X{n},1,M,{n},RD,"see page 4;\nthen 5; or 6"\n' for n in range(1, 9))
    found = taken(tmp_path, "From,Pin,To,Pin,Colour,Note\n" + notes)
    assert len(found.wires) == 8 and not found.refused


def test_a_list_of_headings_only_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CannotUse) as error:
        taken(tmp_path, "From,Pin,To,Pin,Colour\n")
    assert error.value.problems[0].what == "no row stands below the headings"


def test_of_cells_merged_over_rows_the_reason_is_named(tmp_path: Path) -> None:
    book = Workbook()
    for row in (["From", "Pin", "To", "Pin", "Colour"], ["X1", "1", "M", "4", "RD"], [None, "2", "M", "5", "RD"]):
        book.active.append(row)
    book.active.merge_cells("A2:A3")
    book.save(tmp_path / "w.xlsx")
    found = tracer.take_in(tmp_path / "van", tmp_path / "w.xlsx")
    (refused,) = found.refused
    assert "the part at `from` is missing (pin 2); a cell that is merged over several rows" in refused.what


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("list.csv", b"", "list.csv: the list is empty"),
        ("list.csv", b"a,b\n1,2\n", "list.csv:1:1: no row has headings for both ends of a wire (row 1: a and b)"),
        ("list.csv", b"From,Pin,To,Pin\nA,1,\xff,2\n", "list.csv:2:1: this is not UTF-8 text"),
        ("list.csv", b'From,Pin,To,Pin\n"A"x,1,B,2\n', "list.csv:2:1: the row cannot be read"),
        ("list.csv", b"From,From part,To\nA,B,C\n", "columns A `From` and B `From part` may both be `from`"),
        ("list.xls", b"x", ".xls files are not read"),
        ("list.pdf", b"x", "this is no wire list by its name"),
        ("list.xlsx", b"PK\x03\x04 spoiled", "this is no readable .xlsx file"),
        ("list.xlsx", b"", "this is no readable .xlsx file"),
    ],
)
def test_a_list_that_cannot_be_read_is_told(name: str, data: bytes, said: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(data)
    status, out, error = invoke("-C", str(tmp_path / "van"), "take-in", str(tmp_path / name))
    assert (status, out) == (1, "")
    assert said in error and "Traceback" not in error
    assert not (tmp_path / "van").exists()


@given(st.binary(max_size=300), st.sampled_from((".csv", ".tsv", ".xlsx")))
def test_any_bytes_are_read_or_refused(data: bytes, ending: str) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        file = Path(scratch) / f"list{ending}"
        file.write_bytes(data)
        try:
            rows = read_table(file).rows
        except CannotUse as error:
            assert error.problems
        else:
            assert ending != ".xlsx" and all(any(cells) for _, cells in rows)


def test_a_spoiled_workbook_is_refused(tmp_path: Path) -> None:
    good = _workbook([("From", "Pin", "To", "Pin"), ("A", 1, "B", 2)])
    with zipfile.ZipFile(io.BytesIO(good)) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    refused = 0
    for name in parts:
        for content in (b"", b"<x", parts[name][: len(parts[name]) // 2]):
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w") as packed:
                for other, whole in parts.items():
                    packed.writestr(other, content if other == name else whole)
            (tmp_path / "list.xlsx").write_bytes(out.getvalue())
            try:
                read_table(tmp_path / "list.xlsx")
            except CannotUse:
                refused += 1
    assert refused > 5


def _workbook(rows: list[tuple[object, ...]], title: str = "wires", more: tuple[str, ...] = ()) -> bytes:
    book = Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    for one in more:
        book.create_sheet(one).append(("kept", "apart"))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_workbook_reads_as_people_see_it_and_other_worksheets_are_named(tmp_path: Path) -> None:
    data = _workbook([("From", "Pin", "To", "Pin", "Size (mm2)"), ("X1", 7, "MOD", 7.0, 2.5)], more=("stock",))
    found = taken(tmp_path, data, name="list.xlsx")
    assert runs(found) == ["X1.7 -- ? 2.5 -- MOD.7"]
    assert found.beside == ("stock",)
    with pytest.raises(CannotUse, match="there is no worksheet `x`"):
        taken(tmp_path, data, name="list.xlsx", worksheet="x")


@pytest.mark.parametrize("shape", ["worksheets", "prefixed", "styles", "parts"])
def test_a_workbook_of_more_than_anybody_keeps_is_refused_before_the_library_opens_it(
    shape: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def made(count: int) -> bytes:
        if shape in ("worksheets", "prefixed"):
            book = _workbook([("From", "To"), ("X1.1", "X2.1")], more=tuple(f"w{n}" for n in range(1, count)))
            if shape == "prefixed":
                head = '<x:workbook xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><x:sheets>'
                return replaced(book, "xl/workbook.xml", head + "<x:sheet name='w' />" * count)
            return book
        book = _workbook([("From", "To"), ("X1.1", "X2.1")])
        if shape == "styles":
            head = '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
            tail = f"<!--{'x' * (count - len(head) - 20)}--></styleSheet>"
            return replaced(book, "xl/styles.xml", head + tail)
        had = len(zipfile.ZipFile(io.BytesIO(book)).namelist())
        return replaced(book, *(part for n in range(count - had) for part in (f"{n}.txt", "x")))

    def replaced(book: bytes, *parts: str) -> bytes:
        out, other = io.BytesIO(), dict(zip(parts[::2], parts[1::2], strict=True))
        with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w") as new:
            for name in dict.fromkeys([*old.namelist(), *other]):
                new.writestr(name, other[name] if name in other else old.read(name))
        return out.getvalue()

    bound = {"worksheets": 100, "prefixed": 100, "styles": 1_500_000, "parts": 5_000}[shape]
    said = {"styles": "its part xl/styles.xml has more than 1.5 MB", "parts": "packed of more than 5000 parts"}
    if shape != "prefixed":
        assert len(runs(taken(tmp_path, made(bound), name="list.xlsx", worksheet="wires"))) == 1
    monkeypatch.setattr(tables, "_opened", lambda *_, **__: pytest.fail("the library opens it"))
    with pytest.raises(CannotUse, match=said.get(shape, "101 worksheets; at most 100 are read")):
        taken(tmp_path, made(bound + (40 if shape == "styles" else 1)), name="list.xlsx")


def test_a_formula_without_a_saved_value_is_a_row_that_is_named(tmp_path: Path) -> None:
    data = _workbook([("From", "Pin", "To", "Pin"), ("X1", "=1+1", "MOD", 7), ("X1", 2, "MOD", 8)])
    found = taken(tmp_path, data, name="list.xlsx")
    assert runs(found) == ["X1.2 -- ? -- MOD.8"]
    assert ["formula" in one.what and one.place.line == 2 for one in found.refused] == [True]


def test_nothing_that_a_spreadsheet_would_run_goes_out_and_all_of_it_comes_back(tmp_path: Path) -> None:
    sheet = HEAD.replace("S2: splice", "'=1+1': splice\n  '@S': splice\n  S2: splice")
    folder = write(tmp_path / "v", sheet + 'runs:\n  - "=1+1 -- RD 1 -- BAT.-"\n  - "@S -- RD 1 -- BAT.+"\n')
    text = list_csv(tracer.wire_list(tracer.load(folder)))
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert {"'=1+1", "'@S", "'-", "'+"} <= set(cells)
    assert not [cell for cell in cells if cell[:1] in "=+-@" and cell]
    found = taken(tmp_path, text)
    assert sorted(runs(found)) == ["=1+1 -- RD 1mm² -- BAT.-", "@S -- RD 1mm² -- BAT.+"]


CELLS = st.text(st.sampled_from("AX1.: -/,;=+'\"#&*[]{}?>()²\n\té"), max_size=8)


@given(st.lists(st.lists(CELLS, min_size=6, max_size=6), max_size=6))
@example([["", "", "", "", ";", "\n;"]] * 3)  # more semicolons than rows, all of them in quotes
def test_whatever_stands_in_the_cells_every_row_is_taken_or_named_and_the_sheets_load(rows: list[list[str]]) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        out = io.StringIO()
        csv.writer(out).writerows(
            [["From", "Pin", "To", "Pin", "Colour", "Note"], *rows, ["A1", "1", "B1", "1", "RD", ""]]
        )
        found = taken(Path(scratch), out.getvalue(), write=True)
        held = sum(any("".join(cell.split()).lstrip("'") or cell.strip() for cell in row) for row in rows) + 1
        assert len(found.wires) + len(found.refused) == found.rows <= held
        circuit = tracer.load(Path(scratch) / "van")
        assert sum(len(run.wires) for run in circuit.runs) == len(found.wires)


# --- the command -----------------------------------------------------------------------------------------------------


def test_nothing_is_written_without_a_yes_and_nothing_twice(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text(PLAIN, encoding="utf-8")
    van = str(tmp_path / "van")
    status, out, _ = invoke("-C", van, "take-in", str(file))
    assert (status, "NOTHING WAS WRITTEN YET" in out, (tmp_path / "van").exists()) == (3, True, False)
    status, out, _ = invoke("-C", van, "take-in", str(file), "--yes")
    assert (status, "WRITTEN" in out) == (3, True)  # kinds are guessed
    before = (tmp_path / "van" / "sheets" / "list.yaml").read_bytes()
    status, out, error = invoke("-C", van, "take-in", str(file), "--yes")
    assert (status, out) == (1, "")
    assert "nothing was written" in error.lower()
    assert (tmp_path / "van" / "sheets" / "list.yaml").read_bytes() == before


def test_a_list_that_says_everything_gives_0(tmp_path: Path) -> None:
    file = tmp_path / "list.csv"
    file.write_text("from,from pin,from kind,to,to pin,to kind,colour\nS1,,splice,MOD,7,module,RD\n", encoding="utf-8")
    assert invoke("-C", str(tmp_path / "van"), "take-in", str(file), "--yes")[0] == 0
    assert invoke("-C", str(tmp_path / "van"), "take-in", str(file), "--colours", "x")[0] == 2


def test_parts_that_the_vehicle_has_are_not_declared_again(tmp_path: Path) -> None:
    folder = write(tmp_path / "van", HEAD + "runs:\n  - S1 -- RD 1 -- M.1\n")
    found = taken(tmp_path, "From,Pin,To,Pin,Colour\n30,,F1,feed,RD\nS1,,M,2,RD\nNEW,1,S2,,RD\n", write=True)
    assert [name for name, *_ in found.guesses] == ["NEW"]
    assert set(tracer.load(folder).parts) >= {"NEW", "M", "F1"}
    assert found.files.keys() == {"sheets/list.yaml"}


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tracer.entry.wire_lists import take_in as module

    calls = []

    def full(file: Path, content: bytes) -> None:
        calls.append(file)
        if len(calls) > 1:
            raise NotWritten("No space left on device")
        file.write_bytes(content)

    monkeypatch.setattr(module, "write_whole", full)
    with pytest.raises(NotWritten, match="Nothing was written"):
        taken(tmp_path, PLAIN, write=True)
    assert not (tmp_path / "van").exists()


def test_a_vehicle_written_out_names_what_a_list_cannot_hold(tmp_path: Path) -> None:
    status, out, error = invoke("-C", "circuits/minibus", "write-out", "-o", str(tmp_path / "w.xlsx"))
    assert (status, "wrote" in error) == (3, True)
    for key in ("contacts: ", "outputs: ", "busbars: ", "meets: ", "vehicle.yaml: "):
        assert f"\n  {key}" in out
    status, out, _ = invoke("-C", "circuits/minibus", "write-out")
    assert status == 3
    assert next(csv.reader(io.StringIO(out)))[:3] == ["from", "from pin", "from kind"]
    assert len(list(csv.reader(io.StringIO(out)))) == 1 + sum(
        len(run.wires) for run in tracer.load("circuits/minibus").runs
    )
    assert invoke("-C", "circuits/minibus", "write-out", "-o", str(tmp_path / "w.pdf"))[0] == 2
    assert set(FIELDS) > {"from", "to"}


def test_a_list_that_would_be_a_sheet_too_large_to_be_read_is_refused_and_the_same_in_pages_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [("S1", f"X{number}", "RD") for number in range(100)]
    text = "from,to,colour\n" + "".join(f"{','.join(row)}\n" for row in rows)
    monkeypatch.setattr(take_in, "MAX_FILE_BYTES", 3000)
    with pytest.raises(CannotUse) as error:
        taken(tmp_path, text)
    (problem,) = error.value.problems
    assert problem.place.file == "list.csv" and "as one sheet it would have" in problem.what
    pages = "from,to,colour,sheet\n" + "".join(f"{','.join(row)},{number % 4}\n" for number, row in enumerate(rows))
    assert len([name for name in taken(tmp_path, pages).files if name.startswith("sheets/")]) == 4
