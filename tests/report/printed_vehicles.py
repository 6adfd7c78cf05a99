"""Vehicles that are hard on a printed sheet: a module with 60 pins, and names that mean something to XML, HTML, typst or a spreadsheet."""

from __future__ import annotations

from pathlib import Path

from tracer.electrics.limits_in_use import LimitsInUse, limits_of
from tracer.plan.steps import plan_of
from tracer.report.worksheet import Worksheet, worksheet_of
from tracer.trace.lists.results import SupplyReport
from tracer.trace.tracing import Tracing

COLOURS = ("RD", "RD/GN", "BK/YE", "GN/WH", "BU", "VT/BK", "OG", "GY/RD", "YE/BU", "BU/RD")


def write_vehicle(folder: Path, sheets: dict[str, str], vehicle: str) -> Path:
    """Write the files of a vehicle."""
    (folder / "sheets").mkdir(parents=True)
    (folder / "vehicle.yaml").write_text(vehicle, encoding="utf-8")
    for name, text in sheets.items():
        (folder / "sheets" / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


def sixty_pins(folder: Path) -> Path:
    """A module BIG of 60 pins: 24 supplies over fuses, relays and connectors, 8 grounds, 2 bus pins, the rest signals and unused."""
    parts = [
        "  BAT: {is: battery, at: boot, access: lid off}",
        "  ML: {is: link, amps: 200, meets: {feed: BAT.+}}",
        "  STU: {is: splice, at: panel}",
        '  KEY: {is: switch, follows: key, contacts: {"off": [], acc: [], run: [30-15], start: [30-15]}}',
        "  X1: {is: connector, cavities: 1-40, at: bulkhead}",
        "  X2: {is: connector, cavities: 1-40, at: sill}",
    ]
    pins, runs = [], ["  - ML.load -- RD 35 -- STU", "  - STU -- RD 6 -- KEY.30", "  - BAT.- -- BK 35 -- GB"]
    parts.append("  GB: {is: ground, at: boot floor}")
    positions: list[str] = []
    bus30: list[str] = []
    bus15: list[str] = []
    for n in range(1, 25):
        positions.append(f"      F{n}: {{is: fuse, amps: {(5, 7.5, 10, 15, 20)[n % 5]}}}")
        (bus15 if n % 3 == 0 else bus30).append(f"F{n}")
        pins.append(f"      {n}: supply number {n}")
        wire = f"{COLOURS[n % 10]} {('0.75', '1', '2.5')[n % 3]} 1.{n}m"
        if n % 6 == 1:
            parts.append(f"  K{n}: {{is: relay, kind: normally open, at: relay carrier {n}}}")
            runs += [
                f"  - F{n} -- {wire} -- K{n}.30",
                f"  - F{n} -- {wire} -- K{n}.86",
                f"  - K{n}.85 -- BN 0.75 -- GB",
            ]
            runs.append(f"  - K{n}.87 -- {wire} -- X1.{n} -- {wire} -- X2.{n} -- {wire} -- BIG.{n}")
        else:
            runs.append(f"  - F{n} -- {wire} -- X1.{n} -- {wire} -- X2.{n} -- {wire} -- BIG.{n}")
    for n in range(25, 33):
        pins.append(f"      {n}: ground")
        parts.append(f"  G{n}: {{is: ground, at: floor {n}}}")
        parts.append(f"  SG{n}: {{is: splice, at: harness {n}}}")
        runs += [f"  - BIG.{n} -- BN 1.5 0.4m -- SG{n}", f"  - SG{n} -- BN 2.5 0.8m -- G{n}"]
    pins += ["      33: bus H", "      34: bus L", *(f"      {n}: signal {n}" for n in range(35, 50))]
    for n in range(35, 50):
        parts.append(f"  LD{n}: {{is: load, at: somewhere}}")
        runs += [f"  - BIG.{n} -- WH 0.5 -- LD{n}.1", f"  - LD{n}.2 -- BN 0.5 -- G25"]
    runs += ["  - BIG.33 -- GN 0.5 -- X1.33", "  - BIG.34 -- YE 0.5 -- X1.34"]
    text = "\n".join(
        [
            "sheet: 1", "parts:", *parts, "  FP:", "    is: panel", "    at: dash", "    positions:", *positions,
            f"    busbars: {{STU: [{', '.join(bus30)}], \"15\": [{', '.join(bus15)}]}}",
            "  BIG:", "    is: module", "    name: Large module", "    at: behind the dash", "    cavities: 1-60", "    unused: [50-60]", "    pins:", *pins, "runs:", *runs, "",
        ]
    )  # fmt: skip
    vehicle = 'vehicle: Sixty pins\nrails:\n  "15": {live: [run, start], from: KEY.15}\n'
    return write_vehicle(folder, {"1": text}, vehicle)


HOSTILE = '<script>alert(1)</script> & "quoted" \\ #panic("x") $x$ *bold* {{ 7*7 }} =1+1'


def hostile(folder: Path) -> Path:
    """A small vehicle whose names are long, not ASCII, or code in some language."""
    long = "Ü" * 60
    sheet = f"""sheet: "<b>1</b>"
parts:
  BAT: {{is: battery, at: '{HOSTILE}', access: '{HOSTILE}'}}
  F&1: {{is: fuse, amps: 10}}
  Wörterbuch配線図: {{is: splice, at: '=cmd|calc'}}
  {long}: {{is: splice, at: "{"x" * 300}"}}
  G&1: {{is: ground, at: '@sum(1)'}}
  M1: {{is: module, name: '{HOSTILE}', at: '+evil', cavities: 1-4, unused: [4], pins: {{1: supply, 2: ground, 3: 'supply {HOSTILE}'}}}}
runs:
  - BAT.+ -- RD 2.5 -- F&1.feed
  - F&1.load -- RD 2.5 (<i>) -- Wörterbuch配線図
  - Wörterbuch配線図 -- RD 1 -- {long}
  - {long} -- RD 1 -- M1.1
  - M1.2 -- BN 1 -- G&1
  - M1.3 -- RD 1 -- "?"
  - BAT.- -- BK 16 -- G&1
"""
    sheet = sheet.replace('-- "?"', "-- ?")
    return write_vehicle(folder, {"1": sheet}, f"vehicle: '{HOSTILE}'\nkey: [off, run]\n")


def sheet_of(tracing: Tracing, report: SupplyReport, limits: LimitsInUse | None = None) -> Worksheet:
    """The form of a module's list; the limits are those of the vehicle and the tables where none are given."""
    return worksheet_of(tracing.circuit, report, plan_of(tracing, report, limits or limits_of(tracing.circuit)))
