"""A vehicle written out as a wire list and taken in again has the same wires between the same ends; and two typings are the same exactly when they are."""

from __future__ import annotations

import shutil
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import tracer
from tests.laws.random_vehicles import TypedVehicle, typed_vehicles
from tracer.circuit.kinds import LinkKind
from tracer.circuit.model import Circuit
from tracer.circuit.wire_ends import full_name
from tracer.entry.problems import CannotUse
from tracer.report.wire_lists import list_csv, list_xlsx

ROOT = Path(__file__).parent.parent.parent


def plain_wires(circuit: Circuit) -> Counter[object]:
    """Every wire read off the circuit's links and nothing else: both ends (a cavity without its half), colours, size, length, number, note."""
    found: Counter[object] = Counter()
    for link in circuit.links:
        if link.kind is LinkKind.WIRE:
            wire, run = circuit.runs[link.run].wires[link.wire], circuit.runs[link.run]
            ends = frozenset(Counter(_end(circuit, node) for node in (link.a, link.b)).items())
            length = None if wire.length_m is None else round(wire.length_m, 6)
            found[ends, wire.colours, wire.medium, wire.area_mm2, length, wire.number, run.note, run.seen] += 1
    return found


def _end(circuit: Circuit, node: int) -> str:
    if node in circuit.reference_of:
        end = circuit.reference_of[node]
        return f"ref {end.here} {end.there}"
    part = circuit.parts.get(circuit.node_parts[node])
    pin = (
        circuit.node_pins[node].removesuffix(":a").removesuffix(":b")
        if part and part.kind == "connector"
        else circuit.node_pins[node]
    )
    return f"{full_name(circuit, circuit.node_parts[node])} {pin} {part.kind if part else ''}"


def wires_that_meet(circuit: Circuit) -> Counter[object]:
    """For each half of each cavity where its wires lead: what must not be lost with the names of the halves."""
    halves: dict[int, list[str]] = {}
    for link in circuit.links:
        if link.kind is LinkKind.WIRE:
            for node, other in ((link.a, link.b), (link.b, link.a)):
                part = circuit.parts.get(circuit.node_parts[node])
                if part is not None and part.kind == "connector":
                    halves.setdefault(node, []).append(_end(circuit, other))
    return Counter((_end(circuit, node), tuple(sorted(leads))) for node, leads in halves.items())


def there_and_back(circuit: Circuit, folder: Path, form: str) -> Circuit:
    """Written out, taken into a new folder and loaded again."""
    found = tracer.wire_list(circuit)
    file = folder / f"list.{form}"
    file.write_bytes(list_xlsx(found) if form == "xlsx" else list_csv(found).encode())
    taken = tracer.take_in(folder / "back", file, colours=str(circuit.typed.vehicle.colours), write=True)
    assert not taken.refused and not taken.changed and not taken.guesses
    assert len(taken.wires) == taken.rows == len(found.rows)
    return tracer.load(folder / "back")


def loaded(vehicle: TypedVehicle, folder: Path) -> Circuit:
    """The circuit of a random vehicle; some are nonsense that cannot be used."""
    try:
        return tracer.load(vehicle.write(folder))
    except CannotUse:
        assume(False)
        raise


@given(typed_vehicles(), st.sampled_from(("csv", "xlsx")))
def test_there_and_back_gives_the_same_wires_and_ends(vehicle: TypedVehicle, form: str) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        circuit = loaded(vehicle, Path(scratch) / "there")
        again = there_and_back(circuit, Path(scratch), form)
    assert plain_wires(again) == plain_wires(circuit)
    assert wires_that_meet(again) == wires_that_meet(circuit)


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("name", ["minibus", "unfinished"])
def test_there_and_back_of_the_demos(name: str, form: str, tmp_path: Path) -> None:
    circuit = tracer.load(ROOT / "circuits" / name)
    again = there_and_back(circuit, tmp_path, form)
    assert plain_wires(again) == plain_wires(circuit)
    assert wires_that_meet(again) == wires_that_meet(circuit)


CONSTRUCTS = sorted(file.parent.name for file in (ROOT / "tests" / "constructs").glob("*/vehicle.yaml"))


@pytest.mark.parametrize("name", CONSTRUCTS)
def test_there_and_back_of_every_construct(name: str, tmp_path: Path) -> None:
    circuit = tracer.load(ROOT / "tests" / "constructs" / name)
    again = there_and_back(circuit, tmp_path, "csv")
    assert plain_wires(again) == plain_wires(circuit)
    assert wires_that_meet(again) == wires_that_meet(circuit)


def test_a_list_taken_back_in_is_never_complete(tmp_path: Path) -> None:
    """What a wire list cannot hold is missing, so no list of a module may look finished."""
    circuit = tracer.load(ROOT / "circuits" / "minibus")
    assert tracer.supplies(circuit, "ALM").complete
    again = there_and_back(circuit, tmp_path, "csv")
    modules = [part.name for part in again.modules()]
    assert len(modules) == 12
    assert not [name for name in modules if tracer.supplies(again, name).complete]


# --- compare ---------------------------------------------------------------------------------------------------------


def turned(run: str) -> str:
    """The same run from its other end; one through a fuse stays as it is."""
    pieces = run.split(" -- ")
    return " -- ".join(pieces[::-1]) if len(pieces) == 3 else run


@given(typed_vehicles(), st.randoms(use_true_random=False))
def test_order_and_direction_of_typing_make_no_difference(vehicle: TypedVehicle, random: object) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        loaded(vehicle, Path(scratch) / "a")
        runs = [[turned(run) for run in page] for page in vehicle.runs]
        for page in runs:
            random.shuffle(page)  # type: ignore[attr-defined]
        parts = [page[::-1] for page in vehicle.parts]
        replace(vehicle, parts=parts, runs=runs).write(Path(scratch) / "b")
        found = tracer.compare(Path(scratch) / "a", Path(scratch) / "b")
    assert (found.in_wires, found.in_facts) == ((), ())
    assert found.complete


@given(typed_vehicles(), st.data())
def test_two_wires_swapped_at_one_end_are_seen(vehicle: TypedVehicle, data: st.DataObject) -> None:
    """Held against the circuit's own wires: the two typings differ exactly where these differ."""
    with tempfile.TemporaryDirectory() as scratch:
        one = loaded(vehicle, Path(scratch) / "a")
        page = data.draw(st.sampled_from([number for number, runs in enumerate(vehicle.runs) if len(runs) > 1] or [-1]))
        assume(page >= 0)
        first, second = data.draw(
            st.lists(st.sampled_from(range(len(vehicle.runs[page]))), min_size=2, max_size=2, unique=True)
        )
        runs = [list(of_page) for of_page in vehicle.runs]
        a, b = (runs[page][at].split(" -- ") for at in (first, second))
        a[-1], b[-1] = b[-1], a[-1]
        runs[page][first], runs[page][second] = " -- ".join(a), " -- ".join(b)
        two = loaded(replace(vehicle, runs=runs), Path(scratch) / "b")
        found = tracer.compare(Path(scratch) / "a", Path(scratch) / "b")
    same = plain_wires(one) == plain_wires(two) and wires_that_meet(one) == wires_that_meet(two)
    assert found.complete == same


def test_a_fact_that_only_one_of_two_typings_has_is_seen_whichever_it_is(tmp_path: Path) -> None:
    for name in ("a", "b"):
        shutil.copytree(ROOT / "circuits" / "unfinished", tmp_path / name)
    sheet = tmp_path / "b" / "sheets" / "1-supply.yaml"
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text.replace(', access: "tip the seat forward"}', "}", 1), encoding="utf-8")
    for one, other in (("a", "b"), ("b", "a")):
        found = tracer.compare(tmp_path / one, tmp_path / other)
        (fact,) = found.in_facts
        said = {"a": "tip the seat forward", "b": ""}
        assert (fact.about, fact.a.words, fact.b.words) == ("BAT: access", said[one], said[other])
        assert found.in_wires == () and not found.complete


def test_two_supplies_swapped_between_two_pins_are_seen(tmp_path: Path) -> None:
    for name in ("a", "b"):
        shutil.copytree(ROOT / "circuits" / "minibus", tmp_path / name)
    sheet = tmp_path / "b" / "sheets" / "05-air-levelling-supplies.yaml"
    text = sheet.read_text(encoding="utf-8")
    swapped = (
        text.replace("0.7m -- ALM.3", "0.7m -- @")
        .replace("0.7m -- ALM.4\n", "0.7m -- ALM.3\n")
        .replace("-- @", "-- ALM.4")
    )
    sheet.write_text(swapped, encoding="utf-8")
    assert text != swapped
    found = tracer.compare(tmp_path / "a", tmp_path / "b")
    assert [one.about for one in found.in_wires] == ["ALM.3 -- X4.1", "ALM.3 -- X4.2", "ALM.4 -- X4.1", "ALM.4 -- X4.2"]
    assert found.in_facts == ()
    name = sheet.name
    assert tracer.compare(tmp_path / "a" / "sheets" / name, sheet).in_wires == found.in_wires
    alone = tmp_path / "again.yaml"
    shutil.copyfile(sheet, alone)
    other = tracer.compare(tmp_path / "a" / "sheets" / name, alone)
    assert [one.about for one in other.in_wires] == [one.about for one in found.in_wires]
