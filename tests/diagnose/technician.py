"""A simulated technician: a vehicle with one fault, values of its own within what is stated for each, read by ngspice with the noise of a meter.

Nothing here uses the kept network or what the program solves it with: the branches come from the model with its own key states, faults are put into them one by
one, and currents, diodes, lamps and loads are those of ngspice.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tests.case.making import in_memory, reading
from tests.electrics.spice import netlist_of, volts_by_ngspice
from tracer.case.by_hand import BRIDGE, SWAP, WIGGLE, known
from tracer.case.case import Case
from tracer.case.proof import Verdict, verdict_of
from tracer.case.readings import Conditions, Reading, Value, set_by
from tracer.circuit.kinds import LinkKind
from tracer.diagnose.faults import READING_WRONG, Atom, Fault
from tracer.diagnose.find import Finding
from tracer.diagnose.likely import contradicting, level_of, weigh
from tracer.diagnose.next import next_of
from tracer.diagnose.values import Explains, Measurement, Next
from tracer.diagnose.verdict import weighed_verdict
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import Branch, Draw
from tracer.electrics.model.changes import changes_of
from tracer.electrics.model.circuit_model import Model, NotSettled
from tracer.electrics.model.elements import Ohms
from tracer.electrics.model.of_circuit import model_of
from tracer.plan.names import full_name, point_name
from tracer.plan.side_by_side import pieces_of
from tracer.trace.affects.still_fed import Opened
from tracer.trace.affects.targets import Target
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

METER_OHM, NOISE_V = 1e7, 0.01


@dataclass
class Vehicle:
    """A vehicle with one fault, as a technician finds it: `what` is the fault in the words of the program, `links` the links of its pieces."""

    tracing: Tracing
    report: SupplyReport
    limits: LimitsInUse
    plan: dict[str, Any]
    fault: Fault
    atom: Atom
    seed: int
    folder: Path | None  # where ngspice works; without one the program's own solver reads, on the same values

    def __post_init__(self) -> None:
        self.circuit = self.tracing.circuit
        self.rng = random.Random(self.seed)
        self.links = self._links()
        self._models: dict[Conditions, Model] = {}
        self.runs = 0

    def _links(self) -> dict[int, int]:
        """The link of each piece, by its words and ends on some way."""
        named: dict[tuple[str, tuple[str, ...]], int] = {}
        for row in self.report.rows:
            node = self.circuit.pins_of.get(row.part, {}).get(row.pin)
            way = None if node is None else self.tracing.ways_to(node, row.level, row.part).to(node)
            for link, piece in pieces_of(self.circuit, way).items() if way is not None else ():
                named.setdefault((piece.kind, piece.ends), link)
        found = {n: named[piece["kind"], tuple(piece["ends"])] for n, piece in enumerate(self.plan["network"]["pieces"]) if (piece["kind"], tuple(piece["ends"])) in named}  # fmt: skip
        coils = {f"coil of {link.part}": number for number, link in enumerate(self.circuit.links) if link.kind is LinkKind.COIL}  # fmt: skip
        return found | {n: coils[piece["what"]] for n, piece in enumerate(self.plan["network"]["pieces"]) if piece["kind"] == "coil"}  # fmt: skip

    def read(self, name: str, on: Conditions) -> Reading:
        """A point or row under conditions, as the meter shows it."""
        level, done = level_of(self.plan, name), known(self.plan, on.hand)
        if done is not None and done.do == WIGGLE and set(done.pieces).intersection(self.fault.pieces) and self.rng.random() < 0.5:  # fmt: skip
            flickers = Value("flickers", None)
            return replace(
                reading(name, [0.0], replace(on, battery_v=12.6, symptom=True, other="-")), values=(flickers,)
            )
        model = self._model(replace(on, lamp_w=None, symptom=True, battery_v=None, other="-"))
        node = self._node(name)
        post = next(branch.b for branch in model.branches if branch.kind == "battery")
        shown = [self._shown(model, node, None)]
        if on.lamp_w is not None:
            first, second = (node, model.reference) if level == "supply" else (post, node)
            shown.append(self._shown(model, node, Draw("lamp", first, second, "lamp", (on.lamp_w * self.rng.uniform(0.95, 1.05),) * 3, self.limits.system_v)))  # fmt: skip
        battery = next(branch.volts.nominal for branch in model.branches if branch.kind == "battery" and branch.volts)
        at_posts = round(battery + self.rng.uniform(-NOISE_V, NOISE_V), 2)
        volts = [one + self.rng.uniform(-NOISE_V, NOISE_V) for one in shown]
        return reading(name, volts, replace(on, battery_v=at_posts, symptom=True, other="-"))

    def _node(self, name: str) -> int:
        for row in self.report.rows:
            if full_name(row) == name:
                return self.circuit.pins_of[row.part][row.pin]
        return next(n for n, at in enumerate(self.circuit.node_names) if point_name(at) == name)

    def _shown(self, model: Model, node: int, lamp: Draw | None) -> float:
        meter = Branch(node, model.reference, -1, "meter", "", Ohms(METER_OHM, METER_OHM, METER_OHM))
        read = replace(model, branches=[*model.branches, meter], draws=[*model.draws, *([lamp] if lamp else [])])
        self.runs += 1
        if self.folder is None:
            volts = float(read.solve().node_v[node])
            return volts if math.isfinite(volts) else 0.0
        lines = netlist_of(read)
        nodes = dict.fromkeys(
            word for line in lines for word in line.split()[1:3] if word[:1] == "n" and word[1:].isdigit()
        )
        lines += [f"RG{node} {node} 0 1e11" for node in nodes]  # or what hangs on nothing has no solution
        return volts_by_ngspice(self.folder, lines, self._near(read)).get(node, 0.0)

    def _near(self, model: Model) -> dict[int, float]:
        """Where ngspice begins to look; what it finds is its own."""
        try:
            node_v = model.solve().node_v
        except NotSettled:
            return {branch.b: 12.0 for branch in model.branches if branch.is_battery}
        return {n: float(volts) for n, volts in enumerate(node_v) if math.isfinite(volts)}

    # --- the vehicle with its fault ----------------------------------------------------------------------------------

    def _model(self, on: Conditions) -> Model:
        if on not in self._models:
            leads = [f"{self.report.module}.{lead.partition('-')[0]}" for lead in on.leads]
            unplugged = () if on.plugged else (self.report.module,)
            changes = changes_of(self.circuit, opened=on.out, unplugged=unplugged, pulled=leads)
            opened = frozenset(self.links[n] for n in self.atom.opens if n in self.links and n not in self._sound(on))
            if opened and not self._crossed:
                target = Target("", "wire", (), Opened(opened, frozenset()), "")
                changes = replace(changes, opened=(*changes.opened, target))
            made = model_of(self.tracing, on.key, changes, limits=self.limits, first=self.report.module)
            self._models[on] = self._with_values(self._with_fault(made, on))
        return self._models[on]

    @property
    def _crossed(self) -> bool:
        return " crossed" in self.fault.what

    def _sound(self, on: Conditions) -> tuple[int, ...]:
        """The pieces of a relay that was changed over."""
        done = known(self.plan, on.hand)
        return done.pieces if done is not None and done.do == SWAP else ()

    def _with_fault(self, model: Model, on: Conditions) -> Model:
        number = {branch.link: n for n, branch in enumerate(model.branches) if branch.link >= 0}
        branches = list(model.branches)
        done, sound = known(self.plan, on.hand), self._sound(on)
        if done is not None and done.do == BRIDGE:
            ends = [self._node(end) for end in self.plan["network"]["pieces"][done.pieces[0]]["ends"]]
            branches.append(Branch(ends[0], ends[1], -1, "lead", "", Ohms(0.05, 0.05, 0.05)))
        for n, ohm in self.atom.adds:
            if n in sound:
                continue
            at = number.get(self.links[n]) if n in self.links else self._battery(model)
            if at is not None:
                old = branches[at].ohms
                branches[at] = replace(branches[at], ohms=Ohms(old.low + ohm, old.nominal + ohm, old.high + ohm))
        for n in self.atom.closes:
            if n in sound:
                continue
            at = number[self.links[n]]
            branches[at] = replace(branches[at], closed=True)
        if self._crossed:
            one, other = (number[self.links[n]] for n in self.atom.opens)
            plug = self.circuit.pins_of[self.report.module].values()  # of two wires the ends there change places
            turned = [branches[n].a in plug for n in (one, other)]
            ends = [branches[n].a if at_a else branches[n].b for n, at_a in zip((one, other), turned, strict=True)]
            for n, at_a, end in zip((one, other), turned, reversed(ends), strict=True):
                branches[n] = replace(branches[n], a=end) if at_a else replace(branches[n], b=end)
        elif any(n not in self.links for n in self.atom.opens):  # the clamp
            at = self._battery(model)
            branches[at] = replace(branches[at], closed=False)
        else:
            kept = self.plan["network"]["at"]
            nodes = {number: name for name, number in kept.items()}
            for a, b, ohm in self.atom.joins:
                ends = [model.reference if node == 0 else self._post(model) if node == self.plan["network"]["post"] else self._node(nodes[node]) for node in (a, b)]  # fmt: skip
                branches.append(Branch(ends[0], ends[1], -1, "short", "", Ohms(ohm, ohm, ohm)))
        return replace(model, branches=branches)

    def _battery(self, model: Model) -> int:
        return next(n for n, branch in enumerate(model.branches) if branch.kind == "battery")

    def _post(self, model: Model) -> int:
        return model.branches[self._battery(model)].b

    def _with_values(self, model: Model) -> Model:
        """Every ohm and every draw somewhere within what is stated for it; the same in every key state."""

        def drawn(name: str, low: float, high: float) -> float:
            share = random.Random(f"{self.seed} {name}").random()
            return low * (high / low) ** share if low > 0 else low + share * (high - low)

        def branch(n: int, one: Branch) -> Branch:
            name = f"{one.link}" if one.link >= 0 else f"{one.kind} {one.part} {n}"
            ohm = drawn(name, one.ohms.low, one.ohms.high)
            return replace(one, ohms=Ohms(ohm, ohm, ohm))

        branches = [branch(n, one) for n, one in enumerate(model.branches)]
        draws = [replace(one, amounts=(drawn(one.name, one.amounts[0], one.amounts[2]),) * 3) for one in model.draws]
        return replace(model, branches=branches, draws=draws)


def case_of(plan: dict[str, Any], readings: Sequence[Reading]) -> Case:
    """A case with these readings, under the conditions of the last one."""
    numbered = [replace(one, id=f"{n + 2}.1") for n, one in enumerate(readings)]
    on = readings[-1].conditions if readings else Conditions(key=plan["keys"][0], plugged=False)
    return replace(in_memory(plan, numbered), conditions=on)


@dataclass(frozen=True)
class Followed:
    """What is left in the end, the row that failed, and each measurement that was asked for with the conditions it was taken under."""

    found: Next
    row: str
    asked: tuple[tuple[Measurement, Conditions], ...]
    readings: tuple[Reading, ...]
    steps: tuple[Next, ...] = ()  # every answer on the way


def followed(vehicle: Vehicle, *, most: int = 15) -> Followed | None:
    """The technician tests row after row as the plan says until one is bad, reads it once more and does what `next` says until nothing is left to measure.

    None where every test of every row is as on a vehicle in order.
    """
    first = next(_bad(vehicle), None)
    if first is None:
        return None
    name, on, bad = first
    readings = [bad, vehicle.read(name, on)]
    asked: list[tuple[Measurement, Conditions]] = []
    steps: list[Next] = []
    for _ in range(most):
        case = case_of(vehicle.plan, readings)
        found = next_of(case)
        steps.append(found)
        if found.measurement is None:
            return Followed(found, name, tuple(asked), tuple(readings), tuple(steps))
        keys = tuple(vehicle.plan["keys"])
        on = set_by(case.conditions, list(found.measurement.set_before), keys, "2026-03-31T12:00:00+00:00", 99)
        asked.append((found.measurement, on))
        readings.append(vehicle.read(case.find(found.measurement.short), on))
    raise AssertionError(f"{vehicle.fault.what}: still asking after {most} measurements")


def _bad(vehicle: Vehicle) -> Iterator[tuple[str, Conditions, Reading]]:
    for name, row in vehicle.plan["rows"].items():
        for test in row["tests"]:
            if test["key"] and test["lamp_w"] is not None:
                on = Conditions(
                    key=test["key"], plugged=False, lamp_w=test["lamp_w"], out=tuple(sorted(test["out"])),
                    leads=tuple("-".join(lead) for lead in test["leads"]),
                )  # fmt: skip
                read = vehicle.read(name, on)
                if contradicting(vehicle.plan, [read]):
                    yield name, on, read


def words_in(plan: dict[str, Any], row: str, fault: Fault) -> str:
    """A fault as the answer for a row calls it."""
    pieces = plan["network"]["pieces"]
    if len(fault.pieces) == 1 and fault.what == pieces[fault.pieces[0]]["what"] and row in plan["rows"]:
        called = dict(zip(plan["network"]["ways"][row], plan["rows"][row]["parts"], strict=True))
        return str(called.get(fault.pieces[0], fault.what))
    return fault.what


def check_left_out(plan: dict[str, Any], readings: Sequence[Reading], fault: Fault) -> int:
    """How many verdicts were held against the law: whichever reading is left out, what is then called found is where the fault is; and what all of them find stays among what explains the others, or is no longer called found."""
    whole = verdict_with(plan, readings)
    for n in range(len(readings)):
        some = [*readings[:n], *readings[n + 1 :]]
        if not some:
            continue
        said = verdict_with(plan, some)
        if said.kind == "found":
            at = next((name for name, short in plan["short"].items() if short == said.found_at and name in plan["rows"]), said.found_at)  # fmt: skip
            assert words_in(plan, at, fault) in {*said.pieces, *said.also}, (fault, readings[n], said.pieces, said.also)
        if whole.kind != "found" or said.kind != "found":
            continue
        weighed = weigh(plan, some)
        finding = Finding(case_of(plan, some), weighed, some[-1].name if whole.narrowed is None else whole.narrowed.row.name, some[-1].conditions)  # fmt: skip
        left = {finding.words(one) for k, one in enumerate(weighed.faults) if not any(read.contradicts[weighed.best[k]] for read in weighed.evidence)}  # fmt: skip
        assert left.intersection((*whole.pieces, *whole.also)), (fault, readings[n])
    return len(readings)


def verdict_with(plan: dict[str, Any], readings: Sequence[Reading]) -> Verdict:
    """What `tracer proof` says of some readings."""
    case = case_of(plan, readings)
    return weighed_verdict(case, verdict_of(case))


def looked_at(explains: Sequence[Explains]) -> list[str]:
    """What is looked at once nothing is left to measure: everything that nothing speaks against, however seldom it fails; the likeliest where readings disagree."""
    free = [one.what for one in explains if not one.speaks_against and one.what != READING_WRONG]
    return free or [one.what for one in explains[:1]]


__all__ = ["Followed", "Vehicle", "case_of", "check_left_out", "followed", "looked_at", "words_in"]
