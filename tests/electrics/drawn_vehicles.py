"""Vehicles drawn by chance with everything in them that the models of `electrics` are for."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True, slots=True)
class DrawnVehicle:
    """A sheet, what stands in vehicle.yaml besides, and what is changed in it (the words of `changes_of`)."""

    sheet: str
    vehicle: str
    changed: Mapping[str, Any]

    def with_lines(self, parts: Sequence[str], runs: Sequence[str], vehicle: str = "") -> DrawnVehicle:
        """The same with more parts and runs, and more in vehicle.yaml."""
        before, after = self.sheet.split("runs:\n")
        typed = before + "".join(f"  {part}\n" for part in parts) + "runs:\n" + after
        return replace(self, sheet=typed + "".join(f"- {run}\n" for run in runs), vehicle=self.vehicle + vehicle)


def drawn_vehicle(seed: int) -> DrawnVehicle:
    """A battery, perhaps a generator on the engine that turns, and some circuits from the stud, the post or the engine to the grounds.

    Every third is one of 24 V. Of those whose generator turns, every other was measured at its battery posts.
    """
    chance = random.Random(seed)
    turning = chance.random() < 0.6
    system_v = 24 if seed % 3 == 2 else 12
    parts = [
        "BAT: battery",
        "GB: ground",
        "GE: {is: ground, on: engine}",
        f"W1: {{is: strap, ohms: {_ohm(chance, 0.0002, 0.003)}}}",
        "ST: splice",
    ]
    runs = [
        f"BAT.- -- {_wire(chance, (25, 50))} -- GB",
        f"W1.1 -- {_wire(chance, (25, 35))} -- GB",
        f"W1.2 -- {_wire(chance, (25, 35))} -- GE",
    ]
    runs.append(f"BAT.+ -- {_wire(chance, (16, 50))} -- ST")
    if chance.random() < 0.85 or turning:
        parts.append(f"GEN: {{is: generator, volts: {14 * system_v // 12}{chance.choice(['', ', amps: 400'])}}}")
        runs.append(f"GEN.B+ -- {_wire(chance, (10, 35))} -- {chance.choice(['ST', 'BAT.+'])}")
        if chance.random() < 0.7:
            runs.append(f"GEN.B- -- {_wire(chance, (16, 35))} -- GE")
    for n in range(chance.randint(3, 7)):
        _circuit(chance, n, parts, runs)
    sheet = "parts:\n" + "".join(f"  {part}\n" for part in parts) + "runs:\n" + "".join(f"- {run}\n" for run in runs)
    measured_v = chance.choice([None, 14.1 * system_v / 12]) if turning else None
    changed = {"held": ("GEN",) if turning else (), "battery_v": measured_v}
    return DrawnVehicle(sheet, f"system: {system_v} V\n", changed)


def _circuit(chance: random.Random, n: int, parts: list[str], runs: list[str]) -> None:
    feed, ground = chance.choice(["ST", "BAT.+"]), chance.choice(["GB", "GE", "BAT.-"])
    amps = chance.choice([5, 10, 20, 30])
    parts.append(f"F{n}: {{is: fuse, amps: {amps}, type: C}}")
    runs.append(f"{feed} -- {_wire(chance)} -- F{n}")
    begin = f"F{n}.load"
    for step in chance.sample(list(_STEPS), chance.randint(0, len(_STEPS))):
        begin = _STEPS[step](chance, n, begin, ground, parts, runs)
    for k in range(chance.randint(1, 2)):
        what = chance.choice(["lamp", "power", "resistor", "current", "module"])
        name = f"E{n}{k}" if what != "module" else f"M{n}{k}"
        if what == "module":
            parts.append(
                f"{name}: {{is: module, cavities: 1-2, pins: {{1: supply, 2: ground}}, draws: {{1: {chance.choice([0.015, 0.5, 3])}}}}}"
            )
        else:
            parts.append(f"{name}: {{is: load, watts: {chance.choice([3, 5, 21, 55, 480])}, behaves: {what}}}")
        runs.append(f"{begin} -- {_wire(chance)} -- {name}.1")
        runs.append(f"{name}.2 -- {_wire(chance)} -- {ground}")


def _connector(chance: random.Random, n: int, begin: str, ground: str, parts: list[str], runs: list[str]) -> str:
    parts.append(f"X{n}: connector")
    parts.append(f"SX{n}: splice")
    runs.append(f"{begin} -- {_wire(chance)} -- X{n}.1 -- {_wire(chance)} -- SX{n}")
    return f"SX{n}"


def _relay(chance: random.Random, n: int, begin: str, ground: str, parts: list[str], runs: list[str]) -> str:
    rating = chance.choice(["", ", amps: 30", ", contact ohms: 4 mohm"])
    parts.append(f"K{n}: {{is: relay, kind: normally open{rating}}}")
    runs.append(f"{begin} -- {_wire(chance)} -- K{n}.30")
    runs.append(f"{begin} -- {_wire(chance)} -- K{n}.86")
    runs.append(f"K{n}.85 -- {_wire(chance)} -- {ground}")
    return f"K{n}.87"


def _converter(chance: random.Random, n: int, begin: str, ground: str, parts: list[str], runs: list[str]) -> str:
    parts.append(f"CV{n}: {{is: converter, volts: {chance.choice([5, 12, 14])}}}")
    runs.append(f"{begin} -- {_wire(chance)} -- CV{n}.in")
    runs.append(f"CV{n}.ground -- {_wire(chance)} -- {ground}")
    return f"CV{n}.out"


def _diode(chance: random.Random, n: int, begin: str, ground: str, parts: list[str], runs: list[str]) -> str:
    parts.append(f"D{n}: diode")
    runs.append(f"{begin} -- {_wire(chance)} -- D{n}.A")
    if chance.random() < 0.5:  # way A or way B, from another fuse
        parts.append(f"D{n}B: diode")
        parts.append(f"F{n}B: {{is: fuse, amps: 10, type: C}}")
        runs.append(f"BAT.+ -- {_wire(chance)} -- F{n}B")
        runs.append(f"F{n}B.load -- {_wire(chance)} -- D{n}B.A")
        runs.append(f"D{n}B.K -- {_wire(chance)} -- D{n}.K")
    return f"D{n}.K"


_STEPS = {"connector": _connector, "relay": _relay, "diode": _diode, "converter": _converter}


def _wire(chance: random.Random, sizes: tuple[float, ...] = (0.5, 1, 2.5, 4)) -> str:
    size = chance.choice([*sizes, ""])
    length = chance.choice(["", f"{chance.uniform(0.3, 4):.1f}m"]) if size else ""
    return f"BK {size} {length}".rstrip() if size else "BK"


def _ohm(chance: random.Random, low: float, high: float) -> str:
    return f"{chance.uniform(low, high):.5f}"


def drawn_what_if(seed: int) -> DrawnVehicle:
    """A drawn vehicle with a module MH whose own relay a lead in its plug pulls in, a lamp behind that relay and one at the pin, and perhaps a short."""
    chance = random.Random(10_000 + seed)
    drawn = drawn_vehicle(seed)
    ground = chance.choice(["GB", "GE", "BAT.-"])
    parts = [
        "FH: {is: fuse, amps: 20, type: C}",
        f"KH: {{is: relay, kind: normally open{chance.choice(['', ', amps: 30'])}}}",
        f"EH: {{is: load, watts: {chance.choice([5, 21, 55])}, behaves: lamp}}",
        "MH: {is: module, cavities: 1-3, pins: {1: supply, 2: ground, 3: output}, "
        "outputs: {3: {drives: low, through: [2], when: unknown}}}",
    ]
    runs = [
        f"{chance.choice(['ST', 'BAT.+'])} -- {_wire(chance)} -- FH",
        f"FH.load -- {_wire(chance)} -- KH.86",
        f"KH.85 -- {_wire(chance)} -- MH.3",
        f"FH.load -- {_wire(chance)} -- KH.30",
        f"KH.87 -- {_wire(chance)} -- MH.1",
        f"KH.87 -- {_wire(chance)} -- EH.1",
        f"EH.2 -- {_wire(chance)} -- {ground}",
        f"MH.2 -- {_wire(chance)} -- {ground}",
    ]
    short = ((), ("F0.load",), ("EH.1",), ("KH.87=supply",), ("FH.load=F0.load",))[seed % 5]
    what = {"unplugged": ("MH",), "pulled": ("MH.3",), "loads": ("MH.1=21W",), "shorts": short}
    return replace(drawn, changed={**drawn.changed, **what}).with_lines(parts, runs)


def drawn_with_lin(seed: int) -> tuple[DrawnVehicle, int]:
    """A drawn vehicle with its engine standing and a full battery, and modules L0, L1, ... on a LIN bus, L0 its commander; how many they are."""
    chance = random.Random(20_000 + seed)
    drawn = drawn_vehicle(seed)
    count = chance.randint(2, 6)
    parts, runs = ["FL: {is: fuse, amps: 10, type: C}", "SL: splice", "SB: splice"], []
    runs.append(f"{chance.choice(['ST', 'BAT.+'])} -- {_wire(chance)} -- FL")
    runs.append(f"FL.load -- {_wire(chance)} -- SL")
    for n in range(count):
        parts.append(
            f"L{n}: {{is: module, cavities: 1-3, pins: {{1: supply, 2: ground, 3: bus doors LIN}}, draws: {{1: {chance.choice([0.01, 0.1, 0.5])}}}}}"
        )
        runs += [
            f"SL -- {_wire(chance)} -- L{n}.1",
            f"L{n}.2 -- {_wire(chance)} -- {chance.choice(['GB', 'GE'])}",
            f"L{n}.3 -- {_wire(chance)} -- SB",
        ]
    full_v = 12.65 * (2 if "24" in drawn.vehicle else 1)
    drawn = replace(drawn, changed={"battery_v": full_v})
    return drawn.with_lines(parts, runs, "buses:\n  doors: {kind: lin, commander: L0}\n"), count
