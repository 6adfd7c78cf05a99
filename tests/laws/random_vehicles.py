"""Random vehicles as text: fuses alone and in panels (of one label in two of them), splices, in-line and joint connectors, references over sheets,
relays (fed from either side of the coil, and in a position that is an option), switches, diodes, loads, drivers, a converter, a second battery, rails
(also with the usual meaning of their number), an engine mass with or without its strap, key states of the usual names and of its own. Some are nonsense
as wiring; each must be traced all the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from hypothesis import strategies as st


@dataclass
class TypedVehicle:
    """A vehicle as lines of text: `parts` of each sheet, `runs` of each sheet."""

    rails: dict[str, str]
    parts: list[list[str]]
    runs: list[list[str]] = field(default_factory=list)
    key: tuple[str, str] = ("off", "run")

    def write(self, folder: Path) -> Path:
        """Write the vehicle's folder."""
        (folder / "sheets").mkdir(parents=True)
        rails = "".join(f'  "{rail}": {live}\n' for rail, live in self.rails.items())
        vehicle = f"vehicle: random\nkey: [{', '.join(self.key)}]\n" + (f"rails:\n{rails}" if rails else "")
        (folder / "vehicle.yaml").write_text(vehicle, encoding="utf-8")
        for number, (parts, runs) in enumerate(zip(self.parts, self.runs, strict=True), 1):
            if not parts and not runs:
                continue  # a sheet that holds nothing is a loose end of its own (L136)
            text = f"sheet: {number}\n"
            text += "".join(["parts:\n", *(f"  {part}\n" for part in parts)]) if parts else ""
            text += "".join(["runs:\n", *(f"  - {run}\n" for run in runs)]) if runs else ""
            (folder / "sheets" / f"{number}.yaml").write_text(text, encoding="utf-8")
        return folder


@st.composite
def typed_vehicles(draw: st.DrawFn, *, most_runs: int = 14) -> TypedVehicle:
    """A vehicle of two sheets with a module M of four pins and a driving module D."""
    off, on = key = draw(st.sampled_from((("off", "run"), ("off", "run"), ("out", "in"))))
    rails = draw(
        st.sampled_from(
            (
                {},
                {"30": "always"},
                {"15": f"[{on}]", "31": "ground"},
                {"30": "din", "15": "din", "31": "din"},
                {"15": "unknown"},
            )
        )
    )
    parts = ["BAT: battery", "G1: ground", "GE: {is: ground, on: engine}"]
    many = ["BAT.+", "BAT.-", "G1", "GE", *rails]
    once: list[str] = []
    parts.append("M: {is: module, cavities: [1, 2, 3, 4]" + draw(st.sampled_from(("}", ", joined: [[3, 4]]}"))))
    many += ["M.1", "M.2", "M.3", "M.4"] * 2
    for name, kind in (("AUX", "battery"), ("W", "strap"), ("E", "load"), ("D1", "diode"), ("D2", "diode")):
        if draw(st.booleans()):
            parts.append(f"{name}: {kind}")
            pins = {"battery": ("+", "-"), "diode": ("A", "K")}.get(kind, ("1", "2"))
            many += [f"{name}.{pin}" for pin in pins]
    for name in draw(st.sampled_from(((), ("K1",), ("K1", "K2")))):
        kind = draw(st.sampled_from(("normally open", "change-over")))
        parts.append(f"{name}: {{is: relay, kind: {kind}}}")
        many += [f"{name}.{pin}" for pin in ("30", "87", "86", "85", *(["87a"] if kind == "change-over" else []))]
    if draw(st.booleans()):
        parts.append('H: {is: switch, kind: "make switch"}')
        many += ["H.1", "H.2"]
    for name, table in (
        ("SW", "contacts: {off: [6-4], on: [7-4], both: [6-7]}"),
        ("IG", f"follows: key, contacts: {{{off}: [1-2], {on}: []}}"),
        ("IR", f"follows: key, contacts: {{{off}: [1-3], {on}: [1-2]}}"),
    ):
        if draw(st.booleans()):
            parts.append(f"{name}: {{is: switch, {table}}}")
            many += [f"{name}.{pin}" for pin in {"SW": "467", "IG": "12", "IR": "123"}[name]]
    if draw(st.booleans()):
        parts.append("GEN: generator")
        many += ["GEN.B+"] * 2
    if draw(st.booleans()):
        parts.append("CV: converter")
        many += ["CV.in", "CV.out", "CV.ground"]
    panels = draw(st.sampled_from(("", "P", "P", "PR")))
    if "P" in panels:
        parts.append("P: {is: panel, positions: {F1: 10, F2: 20}, busbars: {S1: [F1, F2]}}")
        many += [f"{'P/' if 'R' in panels else ''}F1.{side}" for side in ("load", "feed")] + ["F2.load"]
    if "R" in panels:  # F1 in both, and a relay that this vehicle may not have
        state = draw(st.sampled_from(("fitted", "option")))
        relay = f"K3: {{is: relay, kind: normally open, state: {state}}}"
        parts.append(f"R: {{is: panel, positions: {{F1: 15, {relay}}}, busbars: {{S2: [F1, K3.30]}}}}")
        many += ["R/F1.load", "K3.87", "K3.86", "K3.85"]
    fuses = [f"F{number}" for number in range(3, 3 + draw(st.integers(0, 2)))]
    parts += [f"{name}: {{is: fuse, amps: 10}}" for name in fuses]
    many += [f"{name}.{side}" for name in fuses for side in ("feed", "load")]
    parts += ["S1: splice", "S2: splice"]
    many += ["S1", "S2"] * 2
    if draw(st.booleans()):
        parts.append("X: {is: connector, cavities: [1, 2]}")
        once += ["X.1:a", "X.1:b", "X.2:a", "X.2:b"]
    if draw(st.booleans()):
        parts.append("J: {is: joint, bussed: [[1, 2, 3], [4, 5]]}")
        once += [f"J.{number}" for number in range(1, 6)]
    if draw(st.booleans()):
        output = draw(
            st.sampled_from(("drives: high, from: 1", "drives: low, through: 2", "drives: both, from: 1, through: 2"))
        )
        parts.append(f"D: {{is: module, cavities: [1, 2, 3], outputs: {{3: {{{output}}}}}}}")
        many += ["D.1", "D.2", "D.3", "D.3"]
    runs: list[list[str]] = [[], []]
    for mark in range(draw(st.integers(5, most_runs))):
        a = draw(st.sampled_from(many))
        b = draw(st.sampled_from([point for point in (*many, *once) if point != a]))
        if b in once:
            once.remove(b)
        if draw(st.booleans()):
            a, b = b, a
        sheet, how = draw(st.integers(0, 1)), draw(st.integers(0, 4))
        passed = [name for name in fuses if name not in (a, b) and not a.startswith(name) and not b.startswith(name)]
        if how == 0:
            runs[sheet].append(f"{a} -- RD 1 -- ref {mark}h>{mark}t")
            runs[1 - sheet].append(f"ref {mark}t>{mark}h -- RD 1 -- {b}")
        elif how == 1 and passed:
            runs[sheet].append(f"{a} -- RD 1 -- {draw(st.sampled_from(passed))} -- RD 1 -- {b}")
        else:
            runs[sheet].append(f"{a} -- RD 1 -- {b}")
    cut = draw(st.integers(0, len(parts)))
    return TypedVehicle(rails, [parts[:cut], parts[cut:]], runs, key)
