"""Generated vehicles of any size, for the benchmarks: realistic in shape, meaningless in content.

Each group of ten modules has its own panel of fuses, relays, splices, in-line connectors, ground points and pairs of references, on sheets of about 250 runs.
"""

from __future__ import annotations

import random
from pathlib import Path

RUNS_PER_SHEET = 250
_COLOURS = ("RD", "RD/GN", "BK/YE", "GN/WH", "BU", "VT/BK", "OG", "GY/RD", "BN", "YE/BU")
_SIZES = ("0.5", "0.75", "1", "1.5", "2.5")


class _Writer:
    """Collects parts and runs and cuts them into sheets."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.parts: list[str] = []
        self.runs: list[str] = []
        self.sheet = 0
        self.total = 0

    def run(self, text: str) -> None:
        self.runs.append(f"- {text}\n")
        self.total += 1

    def part(self, text: str) -> None:
        self.parts.append(f"  {text}\n")

    def flush(self) -> None:
        if self.runs or self.parts:
            self.sheet += 1
            text = f"sheet: {self.sheet}\nparts:\n{''.join(self.parts)}runs:\n{''.join(self.runs)}"
            (self.folder / "sheets" / f"{self.sheet:05d}.yaml").write_text(text, encoding="utf-8")
        self.parts, self.runs = [], []


def generate(folder: Path, runs: int, *, seed: int = 1) -> str:
    """Write a vehicle of about `runs` runs; returns the name of one module in its middle."""
    chance = random.Random(seed)
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    vehicle = 'vehicle: generated\nrails:\n  "30": {live: always, from: STUD}\n  "15": {live: [run], from: IGN.15}\n'
    (folder / "vehicle.yaml").write_text(vehicle, encoding="utf-8")
    out = _Writer(folder)
    out.part("BAT: battery")
    out.part("STUD: splice")
    out.part("ML: {is: link, amps: 200}")
    out.part('IGN: {is: switch, kind: "ignition switch, 15 drops during start"}')
    out.part("FI: {is: fuse, amps: 40}")
    out.part("G0: ground")
    out.run("BAT.+ -- RD 35 -- ML -- RD 35 -- STUD")
    out.run("STUD -- RD 6 -- FI -- RD 6 -- IGN.30")
    out.run("BAT.- -- BK 35 -- G0")
    modules: list[str] = []
    group = 0
    while out.total < runs:
        group += 1
        _group(out, group, chance, modules)
        if len(out.runs) >= RUNS_PER_SHEET:
            out.flush()
    out.flush()
    return modules[len(modules) // 2]


def _wire(chance: random.Random, colour: str | None = None) -> str:
    return f"{colour or chance.choice(_COLOURS)} {chance.choice(_SIZES)} {chance.randint(1, 60) / 10}m"


def _group(out: _Writer, group: int, chance: random.Random, modules: list[str]) -> None:
    """Ten modules with what feeds and grounds them: about 125 runs."""
    panel, connector, ground = f"P{group}", f"X{group}", f"G{group}"
    positions = ", ".join(f"F{group}x{n}: {chance.choice((5, 10, 15, 20))}" for n in range(1, 21))
    relays = ", ".join(f"K{group}x{n}: {{is: relay, kind: normally open}}" for n in range(1, 4))
    always = ", ".join(f"F{group}x{n}" for n in range(1, 11)) + "".join(f", K{group}x{n}.30" for n in range(1, 4))
    switched = ", ".join(f"F{group}x{n}" for n in range(11, 18))
    after_relay = {n: f"F{group}x{17 + n}" for n in range(1, 4)}
    fed = "".join(f', "K{group}x{n}.87": [{fuse}]' for n, fuse in after_relay.items())
    out.part(
        f'{panel}: {{is: panel, at: bay {group}, positions: {{{positions}, {relays}}}, busbars: {{"30": [{always}], "15": [{switched}]{fed}}}}}'
    )
    out.part(f"{connector}: {{is: connector, at: sill {group}, cavities: 1-60}}")
    out.part(f"{ground}: {{is: ground, at: floor {group}}}")
    out.part(f"{ground}b: {{is: ground, at: floor {group}}}")
    cavity = 0
    for number in range(1, 11):
        module = f"M{group}x{number}"
        modules.append(module)
        splice = f"S{group}x{number}"
        out.part(f"{splice}: {{is: splice, at: loom {group}}}")
        out.part(f"E{group}x{number}: {{is: load, watts: 5, at: lamp {group}}}")
        own = "1: supply, 2: supply, 3: ground, 4: signal, 5: output, 6: bus H, 7: ground"
        low = ", outputs: {5: {drives: low, through: 3, when: [run]}}" if number <= 3 else ""
        out.part(f"{module}: {{is: module, at: place {group}, cavities: 1-8, unused: 8, pins: {{{own}}}{low}}}")
        cavity += 1
        out.run(f"F{group}x{number} -- {_wire(chance)} -- {connector}.{cavity} -- {_wire(chance)} -- {splice}")
        out.run(f"{splice} -- {_wire(chance)} -- {module}.1")
        out.run(f"{splice} -- {_wire(chance)} -- E{group}x{number} -- {_wire(chance, 'BN')} -- {ground}")
        if number <= 7:
            mark, answer = f"{group}a{number}", f"{group}b{number}"
            wire = _wire(chance)
            out.run(f"F{group}x{10 + number} -- {wire} -- ref {mark}>{answer}")
            out.run(f"ref {answer}>{mark} -- {wire} -- {module}.2")
        else:
            out.run(f"F{group}x{10 + number} -- {_wire(chance)} -- {module}.2")
        ring = f"R{group}x{number}"
        out.part(f"{ring}: splice")
        out.run(f"{module}.3 -- {_wire(chance, 'BN')} -- {ring}")
        out.run(f"{ring} -- {_wire(chance, 'BN')} -- {ground}")
        out.run(f"{ring} -- {_wire(chance, 'BN')} -- {ground}b")
        out.run(f"{module}.7 -- {_wire(chance, 'BN')} -- {ring}")
        cavity += 1
        out.run(
            f"{module}.4 -- {_wire(chance)} -- {connector}.{cavity} -- {_wire(chance)} -- M{group}x{number % 10 + 1}.6"
        )
        if number <= 3:
            out.run(f"{module}.5 -- {_wire(chance)} -- K{group}x{number}.85")
            out.run(f"F{group}x{number} -- {_wire(chance)} -- K{group}x{number}.86")
        else:
            out.part(f"V{group}x{number}: load")
            out.run(f"F{group}x{number} -- {_wire(chance)} -- V{group}x{number} -- {_wire(chance)} -- {module}.5")
