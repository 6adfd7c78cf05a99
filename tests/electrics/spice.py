"""The network of a vehicle in the language of ngspice, with laws of its own for everything that is no resistor."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

from tracer.electrics.model.branches import NOMINAL
from tracer.electrics.model.circuit_model import Model

THERMAL_V = 0.0258649  # at 27 °C, where the program computes too
EFFICIENCY, IDLE_W = 0.88, 0.3  # nominal, from memory
NGSPICE = shutil.which("ngspice")


def netlist_of(model: Model) -> list[str]:
    """Every branch at its nominal value; node n of the model is `n{n}`, battery negative 0."""

    def name(node: int) -> str:
        return "0" if node == model.reference else f"n{node}"

    lines = [f".model DSI D(IS={math.exp(-0.75 / (1.7 * THERMAL_V))!r} N=1.7 RS=0.03)"]
    for k, one in enumerate(model.branches):
        if not one.closed or one.a == one.b:
            continue
        a, b, ohm = name(one.a), name(one.b), max(one.ohms.nominal, 1e-5)
        if one.is_diode:
            # IS from 0.75 V at 1 A, an ideality of 1.7 and a slope of 30 mΩ, which are what the tables say
            lines.append(f"D{k} {a} {b} DSI")
        elif one.volts is not None:
            # the source pushes from the first end on; its current is asked for under its name
            lines.append(f"V{k} s{k} {a} DC {one.volts.nominal!r}")
            lines.append(f"R{k} s{k} {b} {ohm!r}")
        else:
            lines.append(f"R{k} {a} {b} {ohm!r}")
    outputs = {one.part: (k, one) for k, one in enumerate(model.branches) if one.kind == "converter"}
    for k, draw in enumerate(model.draws):
        a, b, amount = name(draw.first), name(draw.second), draw.amounts[NOMINAL]
        across, rated_v, least_v = f"abs(V({a},{b}))", draw.rated_v, draw.rated_v / 2  # the other way round the same
        # the program's search passes through voltages where the laws have no value; 0.05 V is below where a lamp is cold
        if draw.kind == "lamp":
            cold_v = rated_v * 0.1 ** (1 / 0.45)
            cold = f"{amount / rated_v**2 / 0.1!r}*{across}"
            law = f"{across}<{cold_v!r} ? {cold} : {amount / rated_v!r}*exp(0.55*ln(max({across},0.05)/{rated_v!r}))"
        elif draw.kind == "power" and draw.converter not in outputs:
            law = f"{across}<{least_v!r} ? {amount / least_v**2!r}*{across} : {amount!r}/max({across},1)"
        elif draw.converter in outputs:
            # what it takes in follows what it gives out: the current of the output's source, counted against its sense, times the volts of the output
            n, out = outputs[draw.converter]
            taken = f"({IDLE_W}-I(V{n})*V({name(out.b)},{name(out.a)})/{EFFICIENCY})"
            law = f"{across}<{least_v!r} ? {taken}*{across}/{least_v**2!r} : {taken}/max({across},1)"
        else:
            law = f"{across}<{least_v!r} ? {amount / least_v!r}*{across} : {amount!r}"
        lines.append(f"BL{k} {a} {b} I=sgn(V({a},{b}))*({law})")
    return lines


def volts_by_ngspice(folder: Path, lines: list[str], near_v: dict[int, float]) -> dict[int, float]:
    """Volts of the nodes `n{n}` as the program finds them, beginning near those given."""
    assert NGSPICE is not None
    text = ["* a vehicle", *lines, ".options reltol=1e-7 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=500"]
    text.append(".nodeset " + " ".join(f"v(n{node})={volts:.4f}" for node, volts in near_v.items()))
    text += [".control", "set filetype=ascii", "op", "write answer.raw", "quit 0", ".endc", ".end", ""]
    (folder / "drawn.cir").write_text("\n".join(text), encoding="ascii")
    run = subprocess.run(
        [NGSPICE, "-b", "drawn.cir"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    answer = folder / "answer.raw"
    assert answer.exists(), run.stdout + run.stderr
    names, values = answer.read_text(encoding="ascii").split("Values:")
    answer.unlink()
    numbers = [float(word) for word in re.findall(r"[-+]?\d\.\d+e[-+]\d+", values)]
    found = re.findall(r"^\s*(\d+)\s+(\S+)\s+(?:voltage|current)", names, flags=re.MULTILINE)
    assert len(found) == len(numbers)
    at = {name.lower(): numbers[int(place)] for place, name in found}
    return {int(name[3:-1]): volts for name, volts in at.items() if re.fullmatch(r"v\(n\d+\)", name)}
