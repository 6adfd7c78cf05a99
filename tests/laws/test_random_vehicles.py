"""Whole random vehicles, typed as text and traced, against every simple path that networkx lists in a graph drawn beside the text.

The graph is built by the generator from its own idea of each part (two ends of a fuse, two halves of a cavity, a joint group as a star), not read
back from the tool. Rings, parallel fuses, several sources, references over sheets and joint connectors all occur.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable
from pathlib import Path

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

import tracer
from tracer.trace.lists.results import Row

Point = tuple[str, str]  # as typed in a run, and as a node of the drawn graph


class DiagramPage:
    """Text and graph of one vehicle, side by side."""

    def __init__(self) -> None:
        self.parts = ["BAT: battery", "AUX: battery"]
        self.sheets: list[list[str]] = [[], []]
        self.supply = nx.MultiGraph()
        self.supply.add_nodes_from(["BAT.+", "AUX.+"])
        self.marks = 0

    def wire(self, sheet: int, a: Point, b: Point, *, over_reference: bool) -> None:
        """A wire between two points, on one sheet or over a pair of references."""
        if over_reference:
            self.marks += 1
            here, there = f"{self.marks}h", f"{self.marks}t"
            self.sheets[sheet].append(f"{a[0]} -- RD 1 -- ref {here}>{there}")
            self.sheets[1 - sheet].append(f"ref {there}>{here} -- RD 1 -- {b[0]}")
        else:
            self.sheets[sheet].append(f"{a[0]} -- RD 1 -- {b[0]}")
        self.supply.add_edge(a[1], b[1])

    def write(self, folder: Path) -> None:
        (folder / "sheets").mkdir()
        (folder / "vehicle.yaml").write_text("vehicle: random\n", encoding="utf-8")
        for number, runs in enumerate(self.sheets, 1):
            parts = "".join(f"  {part}\n" for part in self.parts) if number == 1 else ""
            text = (
                f"sheet: {number}\n"
                + (f"parts:\n{parts}" if parts else "")
                + "runs:\n"
                + "".join(f"- {run}\n" for run in runs)
            )
            (folder / "sheets" / f"{number}.yaml").write_text(text, encoding="utf-8")


@st.composite
def drawings(draw: st.DrawFn) -> DiagramPage:
    """A small vehicle: two batteries, splices, fuses, in-line cavities, one joint connector, a module with three pins."""
    drawing = DiagramPage()
    fuses, splices, cavities = draw(st.integers(1, 3)), draw(st.integers(1, 3)), draw(st.integers(0, 2))
    drawing.parts += [f"F{n}: {{is: fuse, amps: 10}}" for n in range(fuses)] + [f"S{n}: splice" for n in range(splices)]
    drawing.parts += ["X: connector", "J: {is: joint, bussed: [[1-3], [4, 5]]}", "M: {is: module, cavities: 1-3}"]
    splice_points: list[Point] = [(f"S{n}", f"S{n}") for n in range(splices)]
    plus: list[Point] = [("BAT.+", "BAT.+"), ("AUX.+", "AUX.+")]
    pins: list[Point] = [(f"M.{n}", f"M.{n}") for n in (1, 2, 3)]
    once: list[Point] = []  # cavities: one wire each
    for n in range(fuses):
        drawing.supply.add_edge(f"F{n}.feed", f"F{n}.load")
    for n in range(cavities):
        drawing.supply.add_edge(f"X.{n}:a", f"X.{n}:b")
        once += [(f"X.{n}:a", f"X.{n}:a"), (f"X.{n}:b", f"X.{n}:b")]
    for group, members in (("J group 1", (1, 2, 3)), ("J group 2", (4, 5))):
        for member in members:
            drawing.supply.add_edge(f"J.{member}", group)
            once.append((f"J.{member}", f"J.{member}"))
    many = [
        *splice_points,
        *plus,
        *pins,
        *((f"F{n}.{side}", f"F{n}.{side}") for n in range(fuses) for side in ("feed", "load")),
    ]
    for _ in range(draw(st.integers(4, 12))):
        a = draw(st.sampled_from(many))
        pool = [point for point in (*many, *once) if point != a]
        b = draw(st.sampled_from(pool))
        if b in once:
            once.remove(b)
        ends = (a, b) if draw(st.booleans()) else (b, a)
        drawing.wire(draw(st.integers(0, 1)), *ends, over_reference=draw(st.booleans()))
    drawing.supply.add_nodes_from(point[1] for point in (*plus, *pins))
    return drawing


@given(drawings())
def test_rows_hold_exactly_what_lies_on_some_simple_path_from_a_battery(drawing: DiagramPage) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        drawing.write(Path(scratch))
        report = tracer.supplies(tracer.load(scratch), "M")
    rows = {row.pin: row for row in report.supplies}
    contracted = nx.MultiGraph()
    contracted.add_node("battery")
    for a, b in drawing.supply.edges():
        here, there = ("battery" if node in ("BAT.+", "AUX.+") else node for node in (a, b))
        if here != there:
            contracted.add_edge(here, there)
    for pin in ("1", "2", "3"):
        target = f"M.{pin}"
        paths = list(nx.all_simple_paths(contracted, "battery", target)) if target in contracted else []
        assert (pin in rows) == bool(paths)
        if paths:
            _compare(rows[pin], [set(path) for path in paths])


def _cavities(points: Iterable[str]) -> list[str]:
    """Points by name; of a half only its cavity, since halves are called by where they lead: each stands as often as it has halves."""
    return sorted(re.sub(r"(:[ab]|, towards .*)$", "", point) for point in points)


def _compare(row: Row, paths: list[set[str]]) -> None:
    touchable = {node for path in paths for node in path if not node.startswith("J group") and node != "battery"}
    found = {probe.at: probe for probe in row.probes if probe.at not in ("BAT.+", "AUX.+")}
    assert _cavities(found) == _cavities(touchable)
    fuses = {node.split(".")[0] for node in touchable if node.endswith(".feed")} & {
        node.split(".")[0] for node in touchable if node.endswith(".load")
    }
    assert {fuse.part for fuse in row.fuses} == fuses
    on_all = set.intersection(*paths)
    assert _cavities(at for at, probe in found.items() if probe.sole) == _cavities(on_all & touchable)
    assert {end.id for end in row.ends} <= {"BAT.+", "AUX.+"} and row.ends
    order = [probe.at for probe in row.probes]
    assert order[-1] == row.point and order[0] in ("BAT.+", "AUX.+")
