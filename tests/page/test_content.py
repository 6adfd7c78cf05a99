"""What the page is given: everything that the list and the sheet have, in words that a case reads."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import tracer
from tests.case.making import NOON, ROOT, demo, opened
from tests.report.printed_vehicles import sixty_pins
from tracer.case.case import record, set_conditions
from tracer.case.opening import kept_plan
from tracer.diagnose.next import next_of
from tracer.page.calls import page_content, pocket
from tracer.page.case_view import case_data
from tracer.report.affects import verdict
from tracer.report.case import proof_text
from tracer.report.next import as_text as next_text
from tracer.trace.affects.dead_part import FEWER, LOST, SOME_STATES
from tracer.trace.tracing import Tracing


@pytest.fixture(scope="module", params=["minibus ALM", "minibus BDM", "unfinished LIFT", "sixty BIG"])
def asked(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Tracing, str, dict[str, Any]]:  # fmt: skip
    folder, module = request.param.split(" ")
    at = sixty_pins(tmp_path_factory.mktemp("big") / "v") if folder == "sixty" else ROOT / "circuits" / folder
    tracing = demo() if folder == "minibus" else Tracing(tracer.load(at))
    return tracing, module, page_content(tracing, module)[1]


def test_every_pin_and_loose_end_of_the_list_is_there(asked: tuple[Tracing, str, dict[str, Any]]) -> None:
    tracing, module, page = asked
    report = tracer.supplies(tracing, module)
    assert {row.point for row in (*report.supplies, *report.grounds)} <= {pin["point"] for pin in page["pins"]}
    assert page["complete"] == report.complete
    assert report.complete or page["words"]["list"] not in ("", "complete")
    assert min(len(report.loose_ends), 8) == len(page["words"]["loose_ends"])


def test_every_card_is_called_by_a_name_that_the_case_reads(asked: tuple[Tracing, str, dict[str, Any]], tmp_path: Path) -> None:  # fmt: skip
    tracing, module, page = asked
    case = opened(tmp_path, kept_plan(tracing, tracer.supplies(tracing, module), tracer.limits(tracing)))
    for card in page["cards"]:
        if card.get("fields"):
            assert case.find(card["full"]), card
            assert case.level(card["full"]) == card["level"]
        for split in card.get("splits", ()):
            assert all(
                case.find(name).partition(":+")[0].partition(":-")[0] == name and name in page["points"]
                for name in split["points"]
            )


def test_the_figures_are_those_that_the_case_judges_by(asked: tuple[Tracing, str, dict[str, Any]]) -> None:
    tracing, module, page = asked
    plan = kept_plan(tracing, tracer.supplies(tracing, module), tracer.limits(tracing))
    shown = {(card["full"], tuple(card["out"])): card["figure"] for card in page["cards"] if card["kind"] in ("alone", "leg")}  # fmt: skip
    for full, row in plan["rows"].items():
        for test in row["tests"]:
            if (full, tuple(test["out"])) in shown:
                figure = shown[full, tuple(test["out"])]
                assert (figure["moved_v"], figure["lost_v"]) == (test["most_v"], test["bare_most_v"])


def test_every_key_state_is_drawn(asked: tuple[Tracing, str, dict[str, Any]]) -> None:
    """Only where the diagram itself is another one, a key state would be left out."""
    _, _, page = asked
    assert list(page["picture"]["levels"]) == page["keys"]


def test_every_way_of_a_pin_is_lit_as_a_whole(asked: tuple[Tracing, str, dict[str, Any]]) -> None:
    """The lines that stand out hang together from a source to the pin; a ground goes on at the symbol of the body, so it may be in pieces, but every point is in one."""
    _, _, page = asked
    picture = page["picture"]
    if len(picture["pages"]) > 1:  # a line that goes on elsewhere ends in a frame there
        pytest.skip("several pages")
    [drawn] = picture["pages"]
    for full, row in picture["rows"].items():
        nodes = set(row["nodes"])
        joined = [set(one["nodes"]) for one in drawn["ways"] if nodes.issuperset(one["nodes"])]
        joined += [set(one) for one in drawn["nodes"].values() if nodes.issuperset(one)]
        for _ in joined:  # grow together what touches
            for one in joined:
                for other in joined:
                    if one is not other and one & other:
                        one |= other
        whole = max(joined, key=len, default=set()) if full.endswith("+") else set().union(*joined)
        assert whole >= nodes, full


def test_what_a_position_means_is_what_the_comparison_says() -> None:
    _, page = page_content(demo(), "ALM")
    panels = tracer.panels(demo())
    checked = 0
    for panel in page["panels"]:
        for position in panel["positions"]:
            for seen in position["seen"]:
                what = {"empty": "-"}.get(seen["word"], seen["word"])
                found = tracer.seen(demo(), panels, {"x": f"{panel['panel']}/{position['label']}:{what}"})
                assert bool(found.mismatches) == bool(seen["says"]), (position["label"], what)
                assert all(one.message in " ".join(seen["says"]) for one in found.mismatches)
                checked += 1
    assert checked > 300


def test_without_a_part_is_what_affects_says() -> None:
    _, page = page_content(demo(), "ALM")
    for part in ("F50", "KAL", "X3", "G1", "S31"):
        asked, told = tracer.affects(demo(), part), page["without"]["parts"][part]
        assert told["verdict"] == verdict(asked)
        lost = [one for one in asked.effects if one.verdict in (LOST, SOME_STATES, FEWER)]
        pins = [page["without"]["pins"][n] for n in told["pins"]]
        assert sorted(one["node"] for one in pins) == sorted(one.terminal.node for one in lost)
        assert all(
            one["words"].startswith(demo().circuit.title(demo().circuit.node_parts[one["node"]])) for one in pins
        )
    said = [one["words"] for one in page["without"]["pins"]]
    assert len(said) == len(set(said)) > 20


def test_the_file_is_small_and_asks_for_nothing() -> None:
    made = pocket(demo(), "ALM")
    assert len(made.html.encode()) < 1_000_000 and made.complete
    assert "http" not in made.html.replace("http://www.w3.org/2000/svg", "").replace('http-equiv="Content', "")
    assert "<img" not in made.html and "<link" not in made.html and "src=" not in made.html.split("<body>")[1].split("<script")[0]  # fmt: skip


def test_the_same_vehicle_gives_the_same_file() -> None:
    assert pocket(demo(), "ALM").html == pocket(Tracing(demo().circuit), "ALM").html


def test_the_case_on_the_desk_says_what_the_terminal_says(tmp_path: Path) -> None:
    """Verdict, what is left, rows, what explains the readings: one sentence each, in the same order."""
    tracing = demo()
    case = opened(tmp_path, kept_plan(tracing, tracer.supplies(tracing, "ALM"), tracer.limits(tracing)))
    case = set_conditions(case, ["key=off", "plug=out", "lamp=21W", "symptom=yes"], NOON)
    for words in (["battery=12.62", "3+=12.61/12.39"], ["5+=dead"], ["5+=dead"]):
        case = record(case, words, NOON).case
    found = next_of(case)
    shown = case_data(case)
    parts, following = shown["proof"]["parts"], shown["next"]
    proof = proof_text(case, found.verdict, width=100_000).splitlines()
    said = [parts["sentence"], *parts["said"]]
    for title, lines in [*parts["left"], ("", [parts["unread"]]), *parts["beside"]]:
        said += [title, *lines]
    said = [line.casefold() for line in said if line]  # the terminal has its headings in capitals
    assert [line.casefold() for line in proof if line.casefold() in said] == said
    assert all(any(line.split() == " ".join(row).split() for line in proof) for row in parts["rows"])
    text = [" ".join(line.split()) for line in next_text(case, found, width=100_000).splitlines()]
    said = [words for one in following["explained"] for words in (f"{one['share']} {one['what']}", *one["because"])]
    at = [line.casefold() for line in text].index("what explains the readings")
    assert text[at + 1 :] == [*said, following["rest_on"]]
    assert text[0] == following["sentence"]
