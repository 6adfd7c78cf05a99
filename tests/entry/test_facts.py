"""Trees of text to facts: each slip with its path and in our words, whatever pydantic calls it; facts that stay as they were typed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from tests.typed import load
from tracer.entry.facts import Facts, Path_, keys_of, read_facts
from tracer.entry.file_models import BusFacts, VehicleFacts
from tracer.entry.models import KINDS, FuseFacts, ModuleFacts, OutputFacts


class Counted(Facts):
    """A model with a type of pydantic's own, for which there are no special words."""

    count: int = 0


def slips(model: type[Facts], tree: Any) -> list[tuple[Path_, str, str, bool]]:
    """Path, what is wrong, the text and whether the key is meant, of every slip; none: the tree was taken."""
    found: list[tuple[Path_, str, str, bool]] = []

    def report(at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        assert fix.endswith("."), fix
        found.append((at, what, text, key))

    facts = read_facts(model, tree, ("top",), report)
    assert (facts is None) == bool(found)
    return found


LIST_OF_TEXT = "one piece of text is wanted here, not a list or a mapping"


@pytest.mark.parametrize(
    ("model", "tree", "slip"),
    [
        (FuseFacts, {"at": ["x"]}, (("top", "at"), f"at: {LIST_OF_TEXT}", "", False)),
        (FuseFacts, {"amps": {}}, (("top", "amps"), f"amps: {LIST_OF_TEXT}", "", False)),
        (FuseFacts, {"state": "gone"}, (("top", "state"), "state: `gone` is not possible here", "gone", False)),
        (FuseFacts, {"state": []}, (("top", "state"), f"state: {LIST_OF_TEXT}", "", False)),
        (FuseFacts, {"amp": "5"}, (("top", "amp"), "`amp` is not known here", "amp", True)),
        (FuseFacts, {"feed_side": "up"}, (("top", "feed_side"), "`feed_side` is not known here", "feed_side", True)),
        (FuseFacts, "x", (("top",), "`top` is a single word; `key: value` pairs are wanted", "x", False)),
        (FuseFacts, ["x"], (("top",), "`top` is a list; `key: value` pairs are wanted", "", False)),
        (FuseFacts, {"meets": ""}, (("top", "meets"), "nothing stands under `meets`", "", False)),
        (OutputFacts, {}, (("top",), "`drives` is missing", "", False)),
        (OutputFacts, {"drives": "low", "from_": "1"}, (("top", "from_"), "`from_` is not known here", "from_", True)),
        (ModuleFacts, {"outputs": {"1": {"drives": "low", "form": "3"}}}, (("top", "outputs", "1", "form"), "`form` is not known here", "form", True)),
        (ModuleFacts, {"outputs": {"1": "up"}}, (("top", "outputs", "1", "drives"), "drives: `up` is not possible here", "up", False)),
        (ModuleFacts, {"draws": {"1": "x"}}, (("top", "draws", "1", ""), "1: `x` is not a current in A", "x", False)),
        (ModuleFacts, {"draws": {"1": {"run": "x"}}}, (("top", "draws", "1", "run"), "run: `x` is not a current in A", "x", False)),
        (VehicleFacts, {"vehicle": "v", "key": ["off", " "]}, (("top", "key", 1), "key: nothing stands here", " ", False)),
        (VehicleFacts, {"vehicle": " "}, (("top", "vehicle"), "vehicle: nothing stands here", " ", False)),
        (VehicleFacts, {"vehicle": "v", "system": "6v"}, (("top", "system"), "system: `6 V` is not possible here", "6v", False)),
        (Counted, {"count": "many"}, (("top", "count"), "count: this is not understood here", "many", False)),
        (FuseFacts, {"at": "\ud83d"}, (("top", "at"), "at: this is not understood here", "\ud83d", False)),
    ],
)  # fmt: skip
def test_a_slip_has_its_path_and_our_words(model: type[Facts], tree: Any, slip: tuple[Path_, str, str, bool]) -> None:
    assert slips(model, tree) == [slip]


def test_every_slip_of_a_tree_is_told() -> None:
    tree = {"amps": "x", "state": "gone", "at": [], "amp": "5", "meets": {"1": {}, "2": "S1"}}
    assert {at[1:] for at, *_ in slips(FuseFacts, tree)} == {("amps",), ("state",), ("at",), ("amp",), ("meets", "1")}


@pytest.mark.parametrize("kind", KINDS)
def test_an_unknown_key_of_a_kind_is_offered_the_keys_of_that_kind(kind: str) -> None:
    offered: list[str] = []

    def report(at: Path_, what: str, fix: str, *, text: str = "", key: bool = False) -> None:
        offered.append(fix)

    assert read_facts(KINDS[kind], {"qqqq": "x"}, (), report) is None
    (fix,) = offered
    assert all(key in fix for key in list(keys_of(KINDS[kind]))[:20])


def test_facts_stay_as_they_were_typed() -> None:
    fuse = FuseFacts.model_validate({"amps": "7,5 A", "feed side": " upper ", "or": "F9"})
    assert (fuse.amps, fuse.feed_side, fuse.or_, fuse.state, fuse.meets) == (7.5, "upper", "F9", None, {})
    with pytest.raises(ValidationError, match="frozen"):
        fuse.amps = 10.0  # type: ignore[misc]  # mypy says so too
    assert fuse != FuseFacts.model_validate({"amps": "7,5 A", "feed side": " upper ", "or": "F9"})
    assert len({fuse, fuse}) == 1
    assert BusFacts().lines is not BusFacts().lines


def test_keys_keep_their_blanks_so_that_two_never_become_one(tmp_path: Path) -> None:
    assert ModuleFacts.model_validate({"pins": {"a": "supply", " a": "ground"}}).pins == {"a": "supply", " a": "ground"}


def test_facts_of_two_sheets_are_put_together_without_being_read_again(tmp_path: Path) -> None:
    circuit = load(
        tmp_path,
        "sheet: 1\nparts: {M: {is: module, cavities: 1-3, outputs: {1: {drives: low, when: [run]}}}}\n",
        "sheet: 2\nparts: {M: {cavities: [4], at: floor, draws: {4: 5 mA}}}\n",
    )
    facts = circuit.parts["M"].facts
    assert isinstance(facts, ModuleFacts)
    assert (facts.cavities, facts.at, facts.draws) == (("1", "2", "3", "4"), "floor", {"4": {"": 0.005}})
    assert facts.outputs["1"].when.text == "run"
