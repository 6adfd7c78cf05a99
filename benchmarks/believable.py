"""A generated vehicle as a real one is built: invented in every name, but with all that a real diagram has.

Battery, generator, starter and cut-out relay, an ignition and a light switch, fuse panels with relays, empty and option positions, modules with
several supplies, main relays that a module commands itself, ring grounds, buses of four kinds with their terminations, sensors, valves, lamps, hand
switches, in-line connectors on almost every way, and each module on several sheets that references join. Loads have watts or ohms, modules have draws.
With 100 modules: about 4 700 wires, 200 fuses, 40 relays, 14 buses. The same seed gives the same files.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

MODULES = 100
_PANEL_OF = 25  # modules whose fuses sit in one panel
_SUPPLIES_OF = 10  # modules whose supplies are drawn on one sheet
_RING_OF = 5  # modules that share one ring between two ground points
_BUS_OF = 7  # modules on one bus, besides the gateway
_CAVITIES = 30  # of an in-line connector
_KINDS = ("high-speed can", "high-speed can", "fault-tolerant can", "lin")
_SUPPLY = ("RD", "RD/GN", "RD/WH", "RD/YE", "RD/BK")
_SWITCHED = ("BK/WH", "BK/RD", "BK/GN", "BK/BU")
_SIGNAL = ("GY", "GN/WH", "BU", "VT/BK", "OG", "WH/GN", "YE/BU", "GY/RD")


@dataclass
class _Sheet:
    title: str
    parts: list[str] = field(default_factory=list)
    runs: list[str] = field(default_factory=list)


class _Writer:
    """Sheets by name, wires of a random size, and ways that go over in-line connectors and from sheet to sheet."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.sheets: dict[str, _Sheet] = {}
        self.mark = 0
        self.connectors: dict[str, list[int]] = {}  # in each place: number of the connector, cavities taken

    def part(self, sheet: str, text: str) -> None:
        self._sheet(sheet).parts.append(text)

    def run(self, sheet: str, *points: str, colour: str = "", sizes: Iterable[float] = (0.5, 0.75)) -> None:
        """A run over the points; each wire of it has the same colour and size, and a length of its own."""
        colour = colour or self.chance.choice(_SIGNAL)
        size = self.chance.choice(tuple(sizes))
        text = points[0]
        for point in points[1:]:
            text += f" -- {colour} {size:g} {self.chance.randint(2, 40) / 10:g}m -- {point}"
        self._sheet(sheet).runs.append(text)

    def over(self, first: str, second: str, *ends: str, colour: str, sizes: Iterable[float] = (0.5, 0.75)) -> None:
        """A way that begins on one sheet and goes on, at a pair of references, on another; the last of `ends` is there."""
        self.mark += 1
        here, there = f"{self.mark}a", f"{self.mark}b"
        size = (self.chance.choice(tuple(sizes)),)  # the same on both sheets
        self.run(first, *ends[:-1], f"ref {here}>{there}", colour=colour, sizes=size)
        self.run(second, f"ref {there}>{here}", ends[-1], colour=colour, sizes=size)

    def cavity(self, place: str) -> str:
        """The next cavity of the in-line connectors in a place."""
        number, taken = self.connectors.setdefault(place, [1, 0])
        if taken == _CAVITIES:
            number, taken = number + 1, 0
        self.connectors[place] = [number, taken + 1]
        return f"X{place}{number}.{taken + 1}"

    def write(self, folder: Path) -> None:
        """All sheets; the connectors are on a sheet of their own."""
        for place, (count, taken) in self.connectors.items():
            for number in range(1, count + 1):
                unused = f", unused: [{taken + 1}-{_CAVITIES}]" if number == count and taken < _CAVITIES else ""
                self.part(
                    "connectors",
                    f"X{place}{number}: {{is: connector, name: In-line connector {place}{number}, at: pillar {place}, access: trim off, "
                    f"cavities: 1-{_CAVITIES}{unused}}}",
                )
        (folder / "sheets").mkdir(parents=True, exist_ok=True)
        for number, (name, sheet) in enumerate(self.sheets.items(), 1):
            text = f"sheet: {number}\ntitle: {sheet.title}\n"
            text += "".join(["parts:\n", *(f"  {part}\n" for part in sheet.parts)]) if sheet.parts else ""
            text += "".join(["runs:\n", *(f"  - {run}\n" for run in sheet.runs)]) if sheet.runs else ""
            (folder / "sheets" / f"{number:04d}-{name}.yaml").write_text(text, encoding="utf-8")

    def _sheet(self, name: str) -> _Sheet:
        return self.sheets.setdefault(name, _Sheet(name.replace("-", " ").capitalize()))


def believable(folder: Path, modules: int = MODULES, *, seed: int = 1) -> tuple[str, ...]:
    """Write the vehicle's folder; answers with the names of its modules.

    Parameters
    ----------
    modules : how many; all else grows with them (2 at least)
    seed : the same seed gives the same files
    """
    out = _Writer(seed)
    names = tuple(f"M{number}" for number in range(1, modules + 1))
    _power(out)
    for first in range(0, modules, _PANEL_OF):
        _panel(out, first // _PANEL_OF + 1, range(first, min(first + _PANEL_OF, modules)))
    for number in range(modules):
        _supplies(out, number)
        _grounds(out, number, modules)
        _own_sheet(out, number, modules)
    buses = [_bus(out, n, first, modules) for n, first in enumerate(range(1, modules, _BUS_OF))]
    _gateway(out, len(buses))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "vehicle.yaml").write_text(_vehicle(buses), encoding="utf-8")
    out.write(folder)
    return names


def _vehicle(buses: list[str]) -> str:
    return f"""vehicle: Generated Fennimore coach
system: 12 V
colours: iec
key: [off, acc, run, start]
conditions:
  lights: light switch on
  door: driver's door open
  asleep: {{text: "key off, doors shut, nothing touched for 20 min", when: [off]}}
rails:
  "30": {{live: always, from: STUD}}
  "15": {{live: [run, start], from: K15.87}}
  "75": {{live: [acc, run], from: IGN.75}}
  "50": {{live: [start], from: IGN.50}}
  "58": {{live: [lights], from: LSW.58}}
buses:
{"".join(f"  {bus}{chr(10)}" for bus in buses)}"""


# --- power, panels -------------------------------------------------------------------------------------------------


def _power(out: _Writer) -> None:
    sheet = "power-distribution"
    for part in (
        "BAT: {is: battery, volts: 12, name: Battery, at: tray on the left, access: lid off}",
        "ML1: {is: link, amps: 200, name: Main link, at: on the battery positive post, meets: {feed: BAT.+}}",
        "STUD: {is: splice, name: Supply stud of the panels, at: behind panel P1, access: cover off}",
        "GEN: {is: generator, volts: 14, name: Generator, at: front of the engine, meets: {B-: GE2}}",
        "STR: {is: relay, name: Starter solenoid, at: gearbox, coil: 50-31, contacts: {energised: [30-45]}, meets: {31: GE1, 45: MST.1}}",
        "MST: {is: load, name: Starter motor, at: gearbox, watts: 1.8 kW, meets: {2: GE1}}",
        "W1: {is: strap, name: Engine ground strap, at: left engine mount, ohms: 0.0004, meets: {1: G0, 2: GE1}}",
        "G0: {is: ground, on: body, name: Battery ground, at: left side member}",
        "GE1: {is: ground, on: engine, at: gearbox}",
        "GE2: {is: ground, on: engine, at: front of the engine}",
        "IGN: {is: switch, name: Ignition switch, at: steering column, kind: 'ignition switch, 15 stays during start'}",
        "LSW: {is: switch, name: Light switch, at: instrument panel, follows: lights, contacts: {'yes': [30-58], 'no': []}}",
        "BSW: {is: switch, name: Brake pedal switch, at: pedal bracket, contacts: {released: [], pressed: [1-2]}}",
        "P0: {is: panel, name: Panel at the stud, at: beside the stud, positions: {FIG: 30, FLS: 20, FST: 30, FBS: 7.5, "
        "FDG: {is: fuse, amps: 5, serves: DGC}, KSC: {is: relay, kind: normally open, name: Start relay, across coil: diode}, "
        "K15: {is: relay, kind: normally open, name: Relay of terminal 15, across coil: diode}}, "
        'busbars: {STUD: [FIG, FLS, FST, FBS, FDG, K15.30], FST.load: [KSC.30], "50": [KSC.86]}}',
        "SBS: {is: splice, name: Brake signal, at: pedal bracket}",
    ):
        out.part(sheet, part)
    out.run(sheet, "ML1.load", "STUD", colour="RD", sizes=(70,))
    out.run(sheet, "BAT.+", "STR.30", colour="RD", sizes=(70,))
    out.run(sheet, "GEN.B+", "STR.30", colour="RD", sizes=(50,))
    out.run(sheet, "BAT.-", "G0", colour="BK", sizes=(70,))
    for fuse, end, size in (("FIG", "IGN.30", 4), ("FLS", "LSW.30", 4), ("FBS", "BSW.1", 1)):
        out.run(sheet, fuse, out.cavity("A"), end, colour="RD", sizes=(size,))
    out.run(sheet, "KSC.87", out.cavity("A"), "STR.50", colour="BK", sizes=(4,))
    out.run(sheet, "IGN.15", out.cavity("A"), "K15.86", colour="BK", sizes=(0.75,))
    out.run(sheet, "K15.85", "G0", colour="BN", sizes=(0.75,))
    out.run(sheet, "KSC.85", "G0", colour="BN", sizes=(0.75,))
    out.run(sheet, "BSW.2", "SBS", colour="BK/RD", sizes=(0.75,))


def _relay(number: int) -> bool:
    """Whether the module has a relay of its own."""
    return number % 5 < 2


def _wakes(number: int, modules: int) -> bool:
    """Whether the module wakes the one after it: the first wakes the second and this the third of each five."""
    return number % 5 < 2 and number + 1 < modules


def _panel(out: _Writer, panel: int, modules: range) -> None:
    """Two fuses for each module, those behind the relays, an empty and an option position."""
    positions, always, switched, extra = [], [], [], {}
    sheet = f"fuse-panel-{panel}"
    for number in modules:
        positions.append(
            f"FA{number + 1}: {{is: fuse, amps: {out.chance.choice((10, 15, 20))}, type: F, serves: M{number + 1}}}"
        )
        always.append(f"FA{number + 1}")
        if number % 2 == 0:
            positions.append(f"FB{number + 1}: {{is: fuse, amps: 10, type: F}}")
            switched.append(f"FB{number + 1}")
        if _relay(number):
            positions.append(f"FC{number + 1}: {{is: fuse, amps: 20, type: F, serves: M{number + 1}}}")
            positions.append(
                f"K{number + 1}: {{is: relay, kind: normally open, name: Relay of M{number + 1}, across coil: diode}}"
            )
            always.append(f"K{number + 1}.30")
            extra[f"K{number + 1}.87"] = f"FC{number + 1}"
            if number % 5 == 0:
                always.append(f"K{number + 1}.86")
            else:
                switched.append(f"K{number + 1}.86")
    positions += [f"FD{panel}: {{is: fuse, amps: 10, type: F, serves: lamps}}", f"FE{panel}: empty"]
    positions += [
        f"FF{panel}: {{is: fuse, amps: 5, type: F, serves: radio}}",
        f"FO{panel}: {{is: fuse, amps: 15, type: F, serves: parking heater, state: option}}",
    ]
    always.append(f"FO{panel}")
    fed = "".join(f", {pin}: [{fuse}]" for pin, fuse in extra.items())
    out.part(
        sheet,
        f"P{panel}: {{is: panel, name: Fuse panel {panel}, at: bay {panel}, access: lid off, positions: {{{', '.join(positions)}}}, "
        f'busbars: {{"30": [{", ".join(always)}], "15": [{", ".join(switched)}], "58": [FD{panel}], "75": [FF{panel}]{fed}}}}}',
    )
    out.part(sheet, f"SD{panel}: {{is: splice, name: Side lamps {panel}, at: loom of panel {panel}}}")
    out.part(sheet, f"G{panel}p: {{is: ground, on: body, at: bay {panel}}}")
    out.run(sheet, f"FD{panel}", out.cavity("B"), f"SD{panel}", colour="GY/RD", sizes=(0.75, 1))
    out.part(sheet, f"RAD{panel}: {{is: load, name: Radio {panel}, at: console {panel}, amps: 1.5, behaves: current}}")
    out.run(sheet, f"FF{panel}", out.cavity("B"), f"RAD{panel}.1", colour="VT/BK")
    out.run(sheet, f"RAD{panel}.2", f"G{panel}p", colour="BN")
    for lamp in (1, 2, 3):
        out.part(
            sheet,
            f"SL{panel}x{lamp}: {{is: load, name: Side lamp {panel} {lamp}, at: corner {lamp}, watts: 5, behaves: lamp}}",
        )
        out.run(sheet, f"SD{panel}", out.cavity("B"), f"SL{panel}x{lamp}.1", colour="GY/RD", sizes=(0.75,))
        out.run(sheet, f"SL{panel}x{lamp}.2", f"G{panel}p", colour="BN")


# --- one module ----------------------------------------------------------------------------------------------------


def _supplies(out: _Writer, number: int) -> None:
    """Permanent, switched (shared by two modules over a splice), and behind a relay; drawn apart from the module."""
    module, own = f"M{number + 1}", f"module-{number + 1}"
    sheet = f"supplies-{number // _SUPPLIES_OF + 1}"
    out.over(
        sheet,
        own,
        f"FA{number + 1}",
        out.cavity("C"),
        out.cavity("D"),
        f"{module}.1",
        colour=out.chance.choice(_SUPPLY),
        sizes=(1.5, 2.5),
    )
    pair = number - number % 2 + 1
    colour = out.chance.choice(_SWITCHED)
    if number % 2 == 0:
        out.part(sheet, f"SB{pair}: {{is: splice, name: Splice of fuse FB{pair}, at: loom {pair}, access: carpet up}}")
        out.run(sheet, f"FB{pair}", out.cavity("C"), f"SB{pair}", colour=colour, sizes=(0.75, 1))
    out.over(sheet, own, f"SB{pair}", out.cavity("D"), f"{module}.2", colour=colour, sizes=(0.75,))
    if _relay(number):
        out.over(sheet, own, f"FC{number + 1}", out.cavity("C"), f"{module}.3", colour="RD/BU", sizes=(2.5, 4))
        out.run(own, f"{module}.8", out.cavity("D"), f"K{number + 1}.85", colour="BN/RD")


def _grounds(out: _Writer, number: int, modules: int) -> None:
    """Five modules on a ring of splices between two ground points; the last one of each ring has a point of its own besides."""
    ring, place = divmod(number, _RING_OF)
    sheet, module = f"grounds-{ring // 4 + 1}", f"M{number + 1}"
    splice, last = f"SG{number + 1}", place == _RING_OF - 1 or number == modules - 1
    out.part(
        sheet, f"{splice}: {{is: splice, name: Ground splice of {module}, at: loom {number + 1}, access: carpet up}}"
    )
    if place == 0:
        out.part(sheet, f"G{ring + 1}a: {{is: ground, on: body, name: Ground point {ring + 1}a, at: sill {ring + 1}}}")
        out.part(sheet, f"G{ring + 1}b: {{is: ground, on: body, name: Ground point {ring + 1}b, at: sill {ring + 1}}}")
        out.run(sheet, f"G{ring + 1}a", splice, colour="BN", sizes=(4, 6))
    else:
        out.run(sheet, f"SG{number}", splice, colour="BN", sizes=(4,))
    if last:
        out.run(sheet, splice, f"G{ring + 1}b", colour="BN", sizes=(4, 6))
    out.over(sheet, f"module-{number + 1}", splice, f"{module}.4", colour="BN", sizes=(2.5,))
    out.run(
        f"module-{number + 1}",
        f"{module}.5",
        out.cavity("E"),
        f"G{ring + 1}a" if last else splice,
        colour="BN",
        sizes=(1.5, 2.5),
    )


def _own_sheet(out: _Writer, number: int, modules: int) -> None:
    """The module with its sensors, valves, lamps, switches and its wires to other modules."""
    module, own, n = f"M{number + 1}", f"module-{number + 1}", number + 1
    ring = number // _RING_OF + 1
    panel = number // _PANEL_OF + 1
    gateway = number == 0
    bus = (number - 1) // _BUS_OF
    kind = _KINDS[bus % len(_KINDS)]
    pins = {
        1: "supply permanent",
        2: "supply switched",
        3: "supply behind its relay",
        4: "ground",
        5: "ground of the electronics",
    }
    pins |= {
        6: f"bus b{bus + 1} H",
        7: f"bus b{bus + 1} L",
        8: "output",
        9: "output lamp",
        10: "output motor",
        11: "output motor",
    }
    pins |= {
        12: "reference 5 V",
        13: "ground of the sensors",
        14: "signal sensor 1",
        15: "signal sensor 2",
        16: "signal hand switch",
    }
    pins |= {
        17: "signal",
        18: "output wake-up",
        19: "supply wake-up",
        20: "output valve",
        21: "signal to the neighbour",
        22: "signal from the neighbour",
    }
    unused = [] if _relay(number) else [3]
    unused += [23] if number % 20 == 13 else [23, 24]
    if gateway:
        unused += [6, 7]
    elif kind == "lin":
        pins[6] = f"bus b{bus + 1} L"
        unused.append(7)
    outputs = {
        9: "{drives: high, from: [1], when: [lights], fuse: 5}",
        10: "{drives: both, from: [1], through: [4], when: unknown}",
        11: "{drives: both, from: [1], through: [4], when: unknown}",
        12: "{drives: reference, volts: 5}",
        20: "{drives: low, through: [4], when: [run]}",
    }
    if _relay(number):
        outputs[8] = "{drives: low, through: [4], when: [run, start]}"
    elif number % 5 == 2:
        outputs[8] = "{drives: low, through: [4], when: unknown}"
    else:
        unused.append(8)
    if _wakes(number, modules):
        outputs[18] = "{drives: high, from: [1], when: [run, start], fuse: 5}"
    else:
        unused.append(18)
    if not (number and _wakes(number - 1, modules)):
        unused.append(19)
    buses = -(-(modules - 1) // _BUS_OF)
    cavities = 24 + (2 * buses if gateway else 0)
    if gateway:
        for one in range(buses):
            pins[25 + 2 * one] = f"bus b{one + 1} H"
            pins[26 + 2 * one] = f"bus b{one + 1} L"
            if _KINDS[one % len(_KINDS)] == "lin":
                pins[25 + 2 * one] = f"bus b{one + 1} L"
                unused.append(26 + 2 * one)
    declared = ", ".join(f"{pin}: {role}" for pin, role in pins.items() if pin not in unused)
    outputs[21] = "{drives: signal}"
    driven = ", ".join(f"{pin}: {what}" for pin, what in outputs.items())
    draws = f"1: {{otherwise: {out.chance.randint(10, 60) / 100:g}, asleep: 0.3 mA}}, 2: 0.05" + (
        ", 3: 1.5" if _relay(number) else ""
    )
    out.part(
        own,
        f"{module}: {{is: module, name: Control module {n}, at: place {n}, access: trim {n} off, cavities: 1-{cavities}, unused: {unused}, "
        f"pins: {{{declared}}}, draws: {{{draws}}}, returns: [4], outputs: {{{driven}}}}}",
    )
    if number % 5 == 2:  # a relay's place taken by a valve
        out.part(own, f"V{n}b: {{is: load, name: Second valve of {module}, at: block {n}, ohms: 14}}")
        out.run(own, f"SB{number - number % 2 + 1}", out.cavity("E"), f"V{n}b.1", sizes=(0.75, 1))
        out.run(own, f"V{n}b.2", f"{module}.8")
    for part in (
        f"LA{n}: {{is: load, name: Lamp of {module}, at: door {n}, watts: {out.chance.choice((5, 10, 21))}, behaves: lamp}}",
        f"MO{n}: {{is: load, name: Motor of {module}, at: door {n}, watts: {out.chance.choice((60, 90, 120))}}}",
        f"V{n}: {{is: load, name: Valve of {module}, at: block {n}, ohms: {out.chance.choice((11, 14, 30))}}}",
        f"S5{n}: {{is: splice, name: Sensor 5 V of {module}, at: loom {n}}}",
        f"SS{n}: {{is: splice, name: Sensor ground of {module}, at: loom {n}}}",
        f"T{n}a: {{is: load, pins: [1, 2, 3], name: Sensor of {module}, at: axle {n}}}",
        f"T{n}b: {{is: load, pins: [1, 2, 3], name: Second sensor of {module}, at: axle {n}}}",
        f"HS{n}: {{is: switch, name: Hand switch of {module}, at: console {n}, contacts: {{released: [], pressed: [1-2]}}}}",
    ):
        out.part(own, part)
    out.run(own, f"{module}.9", out.cavity("E"), f"LA{n}.1")
    out.run(own, f"LA{n}.2", f"G{ring}b", colour="BN")
    out.run(own, f"{module}.10", f"MO{n}.1", sizes=(1.5,))
    out.run(own, f"{module}.11", f"MO{n}.2", sizes=(1.5,))
    out.run(own, f"{module}.12", f"S5{n}")
    out.run(own, f"{module}.13", f"SS{n}", colour="BN/BU")
    out.run(own, f"SS{n}", f"G{ring}b", colour="BN/BU")
    for pin, sensor in ((14, "a"), (15, "b")):
        over = [[out.cavity("F")] if sensor == "a" else [] for _ in range(3)]  # the second sits beside the module
        out.run(own, f"S5{n}", *over[0], f"T{n}{sensor}.1")
        out.run(own, f"SS{n}", *over[1], f"T{n}{sensor}.2", colour="BN/BU")
        out.run(own, f"{module}.{pin}", *over[2], f"T{n}{sensor}.3")
    out.run(own, f"{module}.16", f"HS{n}.1")
    out.run(own, f"HS{n}.2", f"G{ring}b", colour="BN")
    if number % 4 == 1:
        out.run(own, f"{module}.17", out.cavity("E"), "SBS")
    elif number % 4 == 2:
        out.part(
            own,
            f"DS{n}: {{is: switch, name: Door contact of {module}, at: pillar {n}, follows: door, contacts: {{'yes': [1-2], 'no': []}}}}",
        )
        out.run(own, f"{module}.17", out.cavity("E"), f"DS{n}.1")
        out.run(own, f"DS{n}.2", f"G{ring}b", colour="BN")
    elif number % 4 == 3:
        for diode, fed in (
            ("1", f"SB{number - number % 2 + 1}"),
            ("2", f"SD{panel}"),
        ):  # two ways, kept apart by diodes
            out.part(own, f"D{n}x{diode}: {{is: diode, name: Diode {diode} of {module}, at: loom {n}}}")
            out.run(own, fed, f"D{n}x{diode}.A", sizes=(0.75,))
        out.part(own, f"SQ{n}: {{is: splice, at: loom {n}}}")
        out.run(own, f"D{n}x1.K", f"SQ{n}", sizes=(0.75,))
        out.run(own, f"D{n}x2.K", f"SQ{n}", sizes=(0.75,))
        out.run(own, f"SQ{n}", f"{module}.17", sizes=(0.75,))
    else:
        out.run(own, f"SD{panel}", out.cavity("E"), f"{module}.17", sizes=(0.75,))
    following = (number + 1) % modules
    if _wakes(number, modules):
        out.over(
            own, f"module-{following + 1}", f"{module}.18", out.cavity("H"), f"M{following + 1}.19", colour="YE/BU"
        )
    out.over(own, f"module-{following + 1}", f"{module}.21", out.cavity("H"), f"M{following + 1}.22", colour="GY/GN")
    out.run(own, f"SB{number - number % 2 + 1}", out.cavity("E"), f"V{n}.1", sizes=(0.75, 1))
    out.run(own, f"V{n}.2", f"{module}.20")
    if number % 20 == 13:
        out.run(own, f"{module}.24", "?")  # one list in twenty is not complete


# --- buses ---------------------------------------------------------------------------------------------------------


def _bus(out: _Writer, bus: int, first: int, modules: int) -> str:
    """A trunk of splices from the gateway on; each module on a branch of it, the last one at its end. Answers with its line of vehicle.yaml."""
    name, kind, sheet = f"b{bus + 1}", _KINDS[bus % len(_KINDS)], f"bus-{bus + 1}"
    members = range(first, min(first + _BUS_OF, modules))
    for line, gateway, pin in (
        (("L", 25 + 2 * bus, 6),) if kind == "lin" else (("H", 25 + 2 * bus, 6), ("L", 26 + 2 * bus, 7))
    ):
        colour = ("GN/RD" if line == "H" else "YE/RD") if bus % 2 else ("GN/BU" if line == "H" else "YE/BU")
        before = f"M1.{gateway}"
        for number in members:
            splice = f"B{bus + 1}{line}{number + 1}"
            out.part(
                sheet,
                f"{splice}: {{is: splice, name: Bus splice {line} of M{number + 1}, at: loom {number + 1}, access: carpet up}}",
            )
            over = [out.cavity("J")] if number % 2 else []
            out.run(sheet, before, *over, splice, colour=colour, sizes=(0.35,))
            out.run(sheet, splice, f"M{number + 1}.{pin}", colour=colour, sizes=(0.35,))
            before = splice
        if kind == "high-speed can":
            out.run(sheet, before, f"RT{bus + 1}.{1 if line == 'H' else 2}", colour=colour, sizes=(0.35,))
    if kind == "lin":
        return f"{name}: {{kind: lin, commander: M1}}"
    if kind == "fault-tolerant can":
        return f"{name}: {{kind: fault-tolerant can, terminations: {{{', '.join(f'M{number + 1}: 600' for number in (0, *members))}}}}}"
    out.part(
        sheet, f"RT{bus + 1}: {{is: resistor, ohms: 120, name: Terminator of bus {bus + 1}, at: end of loom {bus + 1}}}"
    )
    return f"{name}: {{kind: high-speed can, terminations: {{M1: 120, RT{bus + 1}: 120}}}}"


def _gateway(out: _Writer, buses: int) -> None:
    """The diagnostic connector at the gateway's permanent supply."""
    sheet = "diagnostic-connector"
    out.part(
        sheet,
        "DGC: {is: module, name: Diagnostic connector, at: under the instrument panel, cavities: [4, 16], pins: {4: ground, 16: supply}, draws: {16: 0.1 mA}}",
    )
    out.run(sheet, "FDG", "DGC.16", colour="RD/BK")
    out.run(sheet, "DGC.4", "G0", colour="BN")
