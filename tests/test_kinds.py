"""Every kind of part and of link has its row in each layer's table; the second count's own table says the same as the circuit's."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from enum import Enum
from pathlib import Path
from typing import Any

import pytest

import tracer
from tests.case.making import in_memory, reading
from tests.typed import write
from tracer.case.opening import kept_plan
from tracer.case.readings import Conditions
from tracer.circuit.kinds import LINKS, LOADS, PARTS, WIRING, Does, Lies, LinkKind, LinkRow, PartKind
from tracer.diagnose.next import next_of
from tracer.electrics.model import elements
from tracer.entry.models import KINDS, FuseFacts
from tracer.entry.part_kinds import IN_A_POSITION
from tracer.report import kinds as drawn
from tracer.standards._tables import table
from tracer.trace import kinds as traced
from tracer.trace.lists.second_table import IS

ROOT = Path(__file__).resolve().parents[1]

TABLES: dict[str, tuple[Mapping[Any, Any], type[Enum]]] = {
    "how it is typed: KINDS in entry/models.py": ({PartKind(kind): row for kind, row in KINDS.items()}, PartKind),
    "in a circuit: PARTS in circuit/kinds.py": (dict(PARTS), PartKind),
    "in a circuit: LINKS in circuit/kinds.py": (dict(LINKS), LinkKind),
    "on a list: PARTS in trace/kinds.py": (dict(traced.PARTS), PartKind),
    "in the second count: IS in trace/lists/second_table.py": (dict(IS), LinkKind),
    "in a network: LINKS in electrics/model/elements.py": (dict(elements.LINKS), LinkKind),
    "drawn: PARTS in report/kinds.py": (dict(drawn.PARTS), PartKind),
    "drawn: LINKS in report/kinds.py": (dict(drawn.LINKS), LinkKind),
}


def lacking(table: Collection[object], kinds: type[Enum]) -> list[str]:
    """The kinds without a row."""
    return [kind.name for kind in kinds if kind not in table]


@pytest.mark.parametrize("where", TABLES)
def test_every_kind_has_a_row(where: str) -> None:
    table, kinds = TABLES[where]
    assert lacking(table.keys(), kinds) == [], f"{where} lacks rows"
    assert len(table) == len(kinds), f"{where} has rows for what is no kind"


def test_what_a_way_may_go_over_says_how_often_it_fails() -> None:
    told = {row.text("kind") for row in table("faults", "pieces")}
    ways = {kind.name.lower() for kind in set(LinkKind) - LOADS | {LinkKind.COIL}}
    assert told - ways == {"clamp"}, "the battery's, which is no link"
    assert ways - told == set(), "pieces in standards/data/faults.yaml lacks rows"


def test_a_kind_is_a_fuse_in_all_that_it_is_or_in_nothing() -> None:
    for kind, row in PARTS.items():
        of_a_fuse = [row.between is LinkKind.FUSE, row.pins == ("feed", "load"), issubclass(KINDS[kind], FuseFacts)]
        assert len(set(of_a_fuse)) == 1, f"{kind}: link FUSE, pins feed and load, facts of a fuse: {of_a_fuse}"


def test_a_row_that_is_missing_is_found() -> None:
    assert lacking(set(LinkKind) - {LinkKind.COIL}, LinkKind) == ["COIL"]


# What the second count calls a link, and what the circuit's table says of such a link. Both are typed in by hand.
SAME: dict[str, Callable[[LinkRow], bool]] = {
    "metal": lambda row: row.does is Does.CONDUCTS and row.wiring and row.lies is not Lies.IN_MODULE,
    "strap": lambda row: row.does is Does.CONDUCTS and not row.wiring and row.lies is Lies.INSIDE,
    "mass": lambda row: row.does is Does.CONDUCTS and not row.wiring and row.lies is Lies.OUTSIDE,
    "fuse": lambda row: row.does is Does.CONDUCTS and row.in_position,
    "bridge in a module": lambda row: row.does is Does.CONDUCTS and row.lies is Lies.IN_MODULE,
    "contact": lambda row: row.does is Does.SWITCHES and row.lies is Lies.INSIDE,
    "diode": lambda row: row.does is Does.ONE_WAY and row.carries == {"supply", "ground"},
    "output to supply": lambda row: row.does is Does.SWITCHES_ONE_WAY and row.carries == {"supply"},
    "output to ground": lambda row: row.does is Does.SWITCHES_ONE_WAY and row.carries == {"ground"},
    "load": lambda row: row.does is Does.LOADS and not row.carries,
}


@pytest.mark.parametrize("kind", LinkKind)
def test_the_two_tables_say_the_same(kind: LinkKind) -> None:
    assert SAME[IS[kind]](LINKS[kind])


def test_a_row_carries_what_its_link_does() -> None:
    for kind, row in LINKS.items():
        assert bool(row.carries) is (row.does is not Does.LOADS), kind
        assert not row.wiring or (row.does is Does.CONDUCTS and row.carries == {"supply", "ground"}), kind
        assert not row.wiring or kind not in LOADS, kind
    assert LinkKind.WIRE in WIRING and LinkKind.FUSE not in WIRING


# The second count may know the names of kinds, and must not know the circuit's rows or its flood.
SECOND = ("lists/second_count.py", "lists/second_table.py", "lists/unknown_count.py", "affects/downwards.py")
NAMES = {"Link", "LinkKind", "Part", "PartKind", "Circuit"}


@pytest.mark.parametrize("file", SECOND)
def test_the_second_count_takes_nothing_from_the_tables_of_the_first(file: str) -> None:
    tree = ast.parse((ROOT / "tracer" / "trace" / file).read_text(encoding="utf-8"))
    taken = {
        name.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tracer.circuit.")
        for name in node.names
        if node.module != "tracer.circuit.states"
    }
    assert taken <= NAMES, f"{file} takes {sorted(taken - NAMES)}"


# A set of kinds that is typed out somewhere is a fact with a second home, and is forgotten when a kind is added.
SETS = re.compile(r"(LinkKind|PartKind)\.[A-Z_]+,\s*\1\.[A-Z_]+,\s*\1\.[A-Z_]+")
TABLE_FILES = ("circuit/kinds.py", "entry/models.py", "entry/part_kinds.py")


def test_no_set_of_kinds_is_typed_out_beside_the_tables() -> None:
    files = [file for file in sorted((ROOT / "tracer").rglob("*.py")) if not str(file).endswith(TABLE_FILES)]
    assert len(files) > 100
    found = [str(file.relative_to(ROOT)) for file in files if SETS.search(file.read_text(encoding="utf-8"))]
    assert found == []


# Who walks by itself, and not with `circuit/flood.py`, and why.
WALK = re.compile(r"^ *(?:for [\w, ]+ in|while) (?:queue|stack|waiting|frontier|pending|leaves)\b", re.MULTILINE)
WALKS = {
    "circuit/flood.py": "the flood",
    "circuit/halves.py": "along pieces of harness while the circuit is being joined, by names",
    "circuit/moves.py": "from one state of all relays to the next",
    "circuit/spreading.py": "what spreads is a level, which may rise",
    "circuit/wires.py": "no walk: points that wait for a pin",
    "electrics/model/module_draws.py": "what spreads are volts, which may rise",
    "electrics/network/elimination.py": "no walk: nodes that can be taken out",
    "plan/upstream.py": "only against the flow of a potential",
    "trace/hazards.py": "all pins of what is fed through one pin alone are met together",
    "report/diagram/ranks.py": "no walk: ranks of a drawing",
    "trace/affects/downwards.py": "the second count",
    "trace/affects/in_common.py": "from pin to pin over what each needs",
    "trace/affects/still_fed.py": "a tree that is mended while links open",
    "trace/lists/second_count.py": "the second count",
    "trace/lists/second_table.py": "the second count",
    "trace/lists/unknown_count.py": "the second count",
    "trace/ways/reached.py": "backwards over arcs, until one comes from the root",
    "trace/ways/blocks.py": "depth first: blocks",
    "trace/ways/directed_paths.py": "depth first: paths, one after the other",
    "trace/ways/one_way.py": "along one-way links, and paths, one after the other",
    "trace/ways/simple.py": "depth first: blocks; and distances within one way",
    "trace/ways/two_paths.py": "flows, and its steps are counted",
}


def test_nobody_floods_by_hand() -> None:
    files = {str(file.relative_to(ROOT / "tracer")): file for file in sorted((ROOT / "tracer").rglob("*.py"))}
    found = {name for name, file in files.items() if WALK.search(file.read_text(encoding="utf-8"))}
    assert found - WALKS.keys() == set(), "use tracer.circuit.flood, or say here why not"
    assert WALKS.keys() - found == set(), "no longer walks by itself"


# --- a kind works in every answer ------------------------------------------------------------------------------------

# A point of each kind on which two wires may meet, and how the part is declared. A panel has positions, which are parts of their own.
POINTS = {
    "module": ("P.1", "{is: module, cavities: 1-2, pins: {1: signal}}"), "fuse": ("P.load", "{is: fuse, amps: 5}"), "link": ("P.load", "{is: link, amps: 60}"),
    "breaker": ("P.load", "{is: breaker, amps: 5}"), "splice": ("P", "splice"), "connector": ("P.1:a", "connector"), "joint": ("P.1", "{is: joint, bussed: [[1, 2]], several: [1]}"),
    "ground": ("P", "{is: ground, on: island}"), "strap": ("P.1", "strap"), "battery": ("P.+", "battery"), "generator": ("P.B+", "generator"),
    "converter": ("P.in", "converter"), "load": ("P.1", "load"), "resistor": ("P.1", "resistor"), "diode": ("P.K", "diode"),
    "switch": ("P.1", "{is: switch, contacts: {on: [1-2], off: []}}"), "relay": ("P.30", "{is: relay, kind: normally open}"), "box": ("P.1", "box"),
}  # fmt: skip


def test_each_kind_has_a_point() -> None:
    assert POINTS.keys() | {"panel"} == set(PartKind)


@pytest.mark.parametrize("kind", POINTS)
def test_a_way_over_a_point_of_each_kind_has_its_answers(kind: str, tmp_path: Path) -> None:
    """Two wires meet on a pin of the part, and a module is fed over it: no answer may stumble over what else the part is."""
    point, declared = POINTS[kind]
    (tmp_path / "sheets").mkdir()
    (tmp_path / "vehicle.yaml").write_text("vehicle: kinds\n", encoding="utf-8")
    (tmp_path / "sheets" / "1.yaml").write_text(
        f"sheet: 1\nparts: {{BAT: battery, F1: {{is: fuse, amps: 10}}, G1: ground, ALM: {{is: module, cavities: 1-2, pins: {{1: supply, 2: ground}}}}, P: {declared}}}\n"
        f"runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- {point}\n- {point} -- RD 1 1m -- ALM.1\n- ALM.2 -- BN 1 1m -- G1\n- BAT.- -- BK 35 1m -- G1\n",
        encoding="utf-8",
    )
    tracing = tracer.Tracing(tracer.load(tmp_path))
    (row,) = tracer.supplies(tracing, "ALM").supplies
    at = next(probe for probe in row.probes if probe.at.startswith("P"))
    words = traced.PARTS[PartKind(kind)].touched
    assert at.kind == (words if isinstance(words, str) else words[point[2:]])
    told = {effect.terminal.part for effect in tracer.affects(tracing, "F1").effects}
    assert ("ALM" in told) is (kind != "battery"), "a battery post ends the way: F1 is not on it"
    assert tracer.affects(tracing, "P").target.kind == kind
    groups = tracer.common(tracing, ["ALM"]).groups
    named = {candidate.name for group in groups for candidate in group.candidates}
    assert ("P" in named) is traced.PARTS[PartKind(kind)].comes_off, (
        "what opens at its pins takes along what is fed over them"
    )
    assert point[:3] in tracer.diagram(tracing, "ALM", "svg").files[0].decode() or kind == "connector"
    assert tracer.worksheet(tracing, "ALM", "csv").files[0]
    assert [one.code for one in tracer.volts(tracing, "ALM").rows] == ["S1", "G1"]
    plan = kept_plan(tracing, tracer.supplies(tracing, "ALM"), tracer.limits(tracing))
    dead = reading(
        "ALM.1:+", (0.0, 0.0), Conditions(key="off", plugged=False, lamp_w=21.0, symptom=True, battery_v=12.6)
    )
    assert next_of(in_memory(plan, [dead, replace(dead, id="3.1")])).explains


@pytest.mark.parametrize("kind", sorted(IN_A_POSITION))
def test_what_sits_in_a_position_is_fed_there_and_serves_what_lies_behind_it(kind: PartKind, tmp_path: Path) -> None:
    row = PARTS[kind]
    near, far = row.pins or ("30", "87")
    more = {PartKind.RELAY: ", kind: normally open", PartKind.SWITCH: ", contacts: {on: [30-87], off: []}"}
    write(
        tmp_path,
        f"sheet: 1\nparts:\n  BAT: battery\n  P: {{is: panel, positions: {{X: {{is: {kind}{more.get(kind, '')}}}}}}}\n  G1: ground\n"
        "  ALM: {is: module, cavities: 1-2, pins: {1: supply, 2: ground}}\n"
        f"runs:\n- BAT.+ -- RD 1 -- X.{near}\n- X.{far} -- RD 1 -- ALM.1\n- ALM.2 -- BN 1 -- G1\n- BAT.- -- BK 35 -- G1\n",
    )
    (position,) = tracer.panels(tracer.load(tmp_path)).positions
    carries = row.between is None or "supply" in LINKS[row.between].carries
    assert (position.fed_from, [one.part for one in position.serves]) == ((("BAT.+ (wire RD 1)",), ["ALM"]) if carries else ((), []))  # fmt: skip
