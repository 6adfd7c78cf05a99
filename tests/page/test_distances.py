"""How far the points of a way are from what was tapped on the diagram."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import networkx
import pytest
from playwright.sync_api import Page

import tracer
from tests.case.making import ROOT
from tests.page.pages import view
from tracer.page.calls import pocket
from tracer.plan.words import point_name
from tracer.trace.tracing import Tracing

Visit = Callable[..., Page]


@pytest.mark.parametrize("typed", ["all lengths", "some lengths", "no lengths"])
def test_each_point_of_a_way_says_how_far_it_is_from_what_was_tapped(typed: str, visit: Visit, tmp_path: Path) -> None:
    """Held against networkx: the sum of typed lengths along the shortest way; what is not typed makes it the least that it can be."""
    folder = tmp_path / "van"
    shutil.copytree(ROOT / "circuits" / "minibus", folder)
    for number, sheet in enumerate(sorted((folder / "sheets").glob("*.yaml"))):
        if typed == "no lengths" or (typed == "some lengths" and number % 2):
            sheet.write_text(re.sub(r" \d+(?:\.\d+)?m(?= --)", "", sheet.read_text()))
    tracing = Tracing(tracer.load(folder))
    report = tracer.supplies(tracing, "ALM")
    file = tmp_path / "alm.html"
    file.write_text(pocket(tracing, "ALM").html)
    page = visit(file)
    view(page, "Diagram")
    said: set[str] = set()
    for row in (*report.supplies, *report.grounds):
        name = f"{row.pin}{'+' if row.level == 'supply' else '-'}"
        if page.get_by_text("The ways as text").count():
            page.get_by_text("The ways as text").click()
        page.get_by_role("button", name=name, exact=True).click()
        wanted = far(tracing, row)
        shown = {one.locator("strong").inner_text(): one.locator(".away").inner_text() for one in page.locator("ol.points li").all()}  # fmt: skip
        assert shown == wanted, name
        said |= {words.partition(" ")[0] for words in shown.values()}
        page.locator(".sheet").first.click(position={"x": 2, "y": 2})  # beside everything: nothing is chosen any more
    assert ("at" in said) == (typed == "some lengths") and "here" in said


def far(tracing: Tracing, row: Any) -> dict[str, str]:
    """How far each probe point is from the pin, in the words of the page."""
    circuit = tracing.circuit
    pin = circuit.pins_of[row.part][row.pin]
    way = tracing.ways_to(pin, row.level, row.part).to(pin)
    assert way is not None
    graph = networkx.MultiGraph()
    graph.add_node(pin)
    for number in way.links:
        link = circuit.links[number]
        if link.kind.name != "MASS":
            wire = link.kind.name == "WIRE"
            metres = circuit.wire_of(link).length_m if wire else 0.0
            graph.add_edge(link.a, link.b, weight=(metres or 0.0) + 1e-7 * (metres is None), wire=wire, metres=metres)
    found = {}
    for probe in row.probes:
        node = circuit.node_names.index(probe.at)
        if not networkx.has_path(graph, pin, node):
            found[point_name(probe.at)] = "over the body"
            continue
        steps = networkx.shortest_path(graph, pin, node, weight="weight")
        edges = [min(graph[a][b].values(), key=lambda one: one["weight"]) for a, b in pairwise(steps)]
        wires = [edge["metres"] for edge in edges if edge["wire"]]
        unknown = sum(one is None for one in wires)
        many = f"{len(wires)} wire{'' if len(wires) == 1 else 's'}"
        summed = f"{sum(one or 0.0 for one in wires) + 1e-9:.1f} m"
        if not wires:
            found[point_name(probe.at)] = "here"
        elif unknown == len(wires):
            found[point_name(probe.at)] = f"{many}, no length typed"
        else:
            found[point_name(probe.at)] = (
                f"at least {summed}, {unknown} of {many} without a length" if unknown else summed
            )
    return found
