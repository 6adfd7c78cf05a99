"""References between sheets: joined one with one, or a finding that says why not; never joined on a guess."""

from __future__ import annotations

from pathlib import Path

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.typed import HEAD, links, load
from tracer.circuit.model import Circuit
from tracer.circuit.references import difference, findings
from tracer.entry.runs import read_wire

ENDS = ("M.1", "M.2", "M.3", "M.4", "S1", "S2")


def _circuit(folder: Path, *typed: str) -> Circuit:
    """Each entry is `reference wire`, such as `ref 1>2 RD 1`; the runs stand on sheets of their own."""
    sheets = [HEAD]
    for number, one in enumerate(typed):
        words = one.split()
        reference, wire = " ".join(words[:2]), " ".join(words[2:]) or "RD"
        sheets.append(f"sheet: {number + 2}\nruns:\n  - {reference} -- {wire} -- {ENDS[number % len(ENDS)]}\n")
    return load(folder, *sheets)


def _kinds(circuit: Circuit) -> list[tuple[str, str, str]]:
    return [(found.kind, found.end.here, found.end.there) for found in findings(circuit)]


@pytest.mark.parametrize(
    ("typed", "joined", "kinds"),
    [
        (["ref 1>2", "ref 2>1"], 1, []),
        (["ref A", "ref A"], 1, []),
        (["ref A>A1", "ref A1>A"], 1, []),
        (["ref 1>2 RD 1", "ref 2>1 RD 1"], 1, []),
        (["ref 1>2 RD 1", "ref 2>1 RD"], 1, []),
        (["ref 1>2 RD 1", "ref 2>1 ?"], 1, []),
        (["ref 1>2 RD 1 3m", "ref 2>1 RD 1 2m"], 1, []),
        (["ref 1>2"], 0, [("unanswered", "1", "2")]),
        (["ref A"], 0, [("unanswered", "A", "A")]),
        (["ref 1>2", "ref 1>2"], 0, [("doubled", "1", "2")] * 2),
        (["ref 1>2", "ref 2>1", "ref 2>1"], 0, [("doubled", "1", "2"), ("doubled", "2", "1"), ("doubled", "2", "1")]),
        (["ref A", "ref A", "ref A"], 0, [("doubled", "A", "A")] * 3),
        (["ref 1>2", "ref 2>3"], 0, [("chained", "1", "2"), ("unanswered", "2", "3")]),
        (["ref 1>2", "ref 2>3", "ref 3>1"], 0, [("chained", "1", "2"), ("chained", "2", "3"), ("chained", "3", "1")]),
        (["ref 1>2 RD 1", "ref 2>1 BK 1"], 0, [("disagreeing", "1", "2"), ("disagreeing", "2", "1")]),
        (["ref 1>2 RD 1", "ref 2>1 RD 2.5"], 0, [("disagreeing", "1", "2"), ("disagreeing", "2", "1")]),
        (["ref 1>2 RD (7)", "ref 2>1 RD (8)"], 0, [("disagreeing", "1", "2"), ("disagreeing", "2", "1")]),
        (["ref A RD", "ref A BK"], 0, [("disagreeing", "A", "A")] * 2),
        (["ref A", "ref A>B", "ref B>A"], 1, [("unanswered", "A", "A")]),
        (["ref 1>2", "ref 2>1", "ref 1>3", "ref 3>1"], 2, []),
    ],
    ids=lambda value: ", ".join(value) if isinstance(value, list) and value and isinstance(value[0], str) else "",
)
def test_a_reference_is_joined_with_its_one_answer_or_a_finding(
    typed: list[str], joined: int, kinds: list[tuple[str, str, str]], tmp_path: Path
) -> None:
    circuit = _circuit(tmp_path, *typed)
    assert sum(kind == "REFERENCE" for kind, _, _ in links(circuit)) == joined
    assert _kinds(circuit) == kinds
    assert len(circuit.partner) == 2 * joined
    assert len(circuit.references) == len(typed)


def test_both_ends_may_stand_on_one_sheet_and_at_either_end_of_a_run(tmp_path: Path) -> None:
    circuit = load(
        tmp_path, HEAD + "runs:\n  - M.1 -- RD 1 -- ref 1>2\n  - M.2 -- RD 1 -- ref 2>1\n  - ref A -- BK -- ref B\n"
    )
    assert len(circuit.partner) == 2
    assert _kinds(circuit) == [("unanswered", "A", "A"), ("unanswered", "B", "B")]


def test_a_reference_has_the_place_of_its_text_and_the_wire_beside_it(tmp_path: Path) -> None:
    circuit = load(
        tmp_path, HEAD + "runs:\n  - M.1 -- RD 1 -- S1 -- BK 2.5 -- ref 1>2\n  - ref 2>1 -- BK 2.5 -- S2 -- GN -- M.2\n"
    )
    assert [str(end.place) for end in circuit.references] == ["sheets/1.yaml:12:36", "sheets/1.yaml:13:5"]
    assert [circuit.runs[end.run].wires[end.wire].text for end in circuit.references] == ["BK 2.5", "BK 2.5"]


@given(
    st.lists(
        st.tuples(st.sampled_from("ABC"), st.sampled_from("ABC"), st.sampled_from(("RD 1", "BK 1", "?"))), max_size=6
    )
)
def test_every_end_is_joined_once_or_found_once(
    tmp_path_factory: pytest.TempPathFactory, typed: list[tuple[str, str, str]]
) -> None:
    marks = [f"ref {here}" if here == there else f"ref {here}>{there}" for here, there, _ in typed]
    circuit = _circuit(
        tmp_path_factory.mktemp("ends"), *(f"{mark} {wire}" for mark, (_, _, wire) in zip(marks, typed, strict=True))
    )
    joined = networkx.Graph(list(circuit.partner.items()))
    assert all(degree == 1 for _, degree in joined.degree())
    found = [finding.end.node for finding in findings(circuit)]
    assert sorted([*found, *circuit.partner]) == sorted(end.node for end in circuit.references)
    for node, other in circuit.partner.items():
        end, answer = circuit.reference_of[node], circuit.reference_of[other]
        assert (end.here, end.there) == (answer.there, answer.here)
        same = [one for one in circuit.references if {one.here, one.there} == {end.here, end.there}]
        assert len(same) == 2
        assert not difference(*(circuit.runs[one.run].wires[one.wire] for one in (end, answer)))


@pytest.mark.parametrize(
    ("first", "second", "differs"),
    [
        ("RD 1", "RD 1", ""), ("RD 1", "RD", ""), ("RD", "?", ""), ("RD 1 2m", "RD 1 3m", ""), ("RD (7)", "RD", ""),
        ("track", "RD", ""), ("RD 1", "BK 1", "colour"), ("RD 1", "RD/GN 1", "colour"), ("RD/GN", "GN/RD", "colour"),
        ("RD 1", "RD 1.5", "size"), ("RD 1", "BK 1.5", "colour and size"), ("RD (7)", "RD (8)", "number"),
        ("RD 1 (7)", "BK 2 (8)", "colour and size and number"),
    ],
)  # fmt: skip
def test_two_wires_differ_only_in_what_both_say(first: str, second: str, differs: str) -> None:
    a, b = read_wire(first, "iec"), read_wire(second, "iec")
    assert difference(a, b) == difference(b, a) == differs
