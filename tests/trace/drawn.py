"""Small vehicles drawn by chance, as text: fuses in a panel, splices, diodes, relays (one fed at 85), a converter, modules with outputs, loads, grounds; parallel feeds and rings occur."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

from hypothesis import strategies as st

from tracer.circuit.join import join
from tracer.circuit.model import Circuit
from tracer.entry.load import read_folder

FUSES, RELAYS, MODULES, LOADS = 4, 3, 2, 2

_SUPPLY_POINTS = (
    ["BAT.+", "S0", "S1", "S2", "D0.A", "D0.K", "X0.1:a", "X0.1:b"]
    + [f"F{n}.{side}" for n in range(FUSES) for side in ("feed", "load")]
    + [
        "GEN.B+",
        "SW.4",
        "SW.6",
        "SW.7",
        "K0.30",
        "K0.87",
        "K1.30",
        "K1.87",
        "K1.87a",
        "K0.86",
        "K1.86",
        "K2.85",
        "CV.in",
        "CV.out",
    ]
    + [f"M{n}.{pin}" for n in range(MODULES) for pin in (1, 4)]
    + [f"E{n}.1" for n in range(LOADS)]
)
_GROUND_POINTS = (
    ["BAT.-", "G0", "G1", "S3", "S4", "K0.85", "K1.85", "K2.86", "K2.30", "K2.87", "CV.ground"]
    + [f"M{n}.{pin}" for n in range(MODULES) for pin in (2, 3)]
    + [f"E{n}.2" for n in range(LOADS)]
)


@st.composite
def grown(draw: st.DrawFn, begin: str, points: list[str], least: int, most: int) -> list[tuple[str, str]]:
    """Runs of which most go on from a place that is reached already, so that parts hang on one another: drawn from all points, few share anything."""
    reached, found = [begin], list[tuple[str, str]]()
    drawing = [point for point in points if re.match(r"[ME]\d", point)]
    for _ in range(draw(st.integers(least, most))):
        a = draw(st.sampled_from(reached if draw(st.integers(0, 3)) else points))
        b = draw(st.sampled_from([point for point in (*points, *drawing, *drawing) if point != a]))
        found.append((a, b))
        if a in reached and b not in reached:
            reached.append(b)
            reached += [far for far in (_BEHIND.get(b),) if far and far not in reached]
    return found


_BEHIND = {f"F{n}.feed": f"F{n}.load" for n in range(FUSES)} | {"D0.A": "D0.K", "X0.1:a": "X0.1:b", "CV.in": "CV.out", "K0.30": "K0.87"}  # fmt: skip


@st.composite
def runs(draw: st.DrawFn) -> tuple[str, ...]:
    """The runs of a vehicle: a supply side and a ground side, joined only through coils, loads and modules."""
    found = draw(grown("F0.load", _SUPPLY_POINTS, 4, 22)) + draw(grown("G0", _GROUND_POINTS, 3, 14))
    found += [("BAT.+", "F0.feed"), ("BAT.-", "G0")]
    return tuple(f"{a} -- RD 1 -- {b}" for a, b in found)


def typed(lines: tuple[str, ...], *, empty: str = "") -> Circuit:
    """The vehicle of these runs, with one fuse left out where `empty` names it."""
    fuses = [f"F{n}: {'empty' if f'F{n}' == empty else 10}" for n in range(FUSES)]
    parts = [
        "BAT: battery",
        "GEN: generator",
        "CV: converter",
        "SW: {is: switch, contacts: {off: [6-4], on: [7-4]}}",
        "D0: diode",
        "X0: connector",
        "G0: ground",
        "G1: ground",
        *(f"S{n}: splice" for n in range(5)),
        f"FB: {{is: panel, positions: {{{', '.join(fuses)}}}}}",
        "K0: {is: relay, kind: normally open}",
        "K1: {is: relay, kind: change-over}",
        "K2: {is: relay, kind: normally open}",
        *(
            f"M{n}: {{is: module, cavities: 1-4, pins: {{1: supply, 2: ground, 3: output, 4: output}}, "
            "outputs: {3: {drives: low, through: [2], when: [run]}, 4: {drives: high, from: [1], when: [run, start]}}}"
            for n in range(MODULES)
        ),
        *(f"E{n}: load" for n in range(LOADS)),
    ]
    sheet = (
        "sheet: 1\nparts:\n"
        + "".join(f"  {part}\n" for part in parts)
        + "runs:\n"
        + "".join(f"- {run}\n" for run in lines)
    )
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        (folder / "sheets").mkdir()
        (folder / "vehicle.yaml").write_text("vehicle: drawn\n", encoding="utf-8")
        (folder / "sheets" / "1.yaml").write_text(sheet, encoding="utf-8")
        return join(read_folder(folder))
