"""The network of a vehicle in the language of ngspice, with laws of its own for everything that is no resistor."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from collections.abc import Collection, Sequence
from pathlib import Path

from tracer.electrics.model.branches import NOMINAL, Sampled, Setting
from tracer.electrics.model.circuit_model import Model

THERMAL_V = 0.0258649  # at 27 °C, where the program computes too
EFFICIENCY, IDLE_W = 0.88, 0.3  # nominal, from memory
AT_1_A_V, IDEALITY, SLOPE_OHM = (0.6, 0.75, 0.95), (1.3, 1.7, 2.0), (0.01, 0.03, 0.06)  # of a diode: low, nominal, high
MOST_V = 0.12  # in one contact in order
NGSPICE = shutil.which("ngspice")


def netlist_of(
    model: Model, setting: Setting | Sampled | None = None, *, to_posts: bool = False, held: Collection[int] = ()
) -> list[str]:
    """Every branch with what a setting chooses (default: its nominal value); node n of the model is `n{n}`, battery negative 0.

    In a setting converters take in what it chooses. The contacts of the branches `held` lose no more than `MOST_V` each. `to_posts`: generators give what lets
    the posts read the volts of the battery.
    """

    def name(node: int) -> str:
        return "0" if node == model.reference else f"n{node}"

    def chosen(three: Sequence[float], k: int, *, pushing: bool = False) -> float:
        """Of low, nominal and high."""
        if isinstance(setting, Sampled):
            return three[0] + float((setting.volts if pushing else setting.ohms)[k]) * (three[2] - three[0])
        return three[int((setting.volts if pushing else setting.branches)[k]) if setting else NOMINAL]

    lines = []
    for k, one in enumerate(model.branches):
        if not one.closed or one.a == one.b:
            continue
        a, b = name(one.a), name(one.b)
        ohm = max(chosen((one.ohms.low, one.ohms.nominal, one.ohms.high), k), 1e-5)
        if one.is_diode:
            at_1_a_v, ideality = chosen(AT_1_A_V, k, pushing=True), chosen(IDEALITY, k, pushing=True)
            law = f"IS={math.exp(-at_1_a_v / (ideality * THERMAL_V))!r} N={ideality!r} RS={chosen(SLOPE_OHM, k)!r}"
            lines += [f".model DSI{k} D({law})", f"D{k} {a} {b} DSI{k}"]
        elif one.volts is not None:
            # the source pushes from the first end on; its current is asked for under its name
            volts = chosen((one.volts.low, one.volts.nominal, one.volts.high), k, pushing=True)
            if one.is_battery and setting is not None:
                share = setting.battery if isinstance(setting, Sampled) else setting.battery / 2
                volts = one.volts.low + share * (one.volts.high - one.volts.low)
                if isinstance(setting, Setting) and setting.battery == NOMINAL:
                    volts = one.volts.nominal
            lines.append(f"V{k} s{k} {a} DC {volts!r}")
            if to_posts and one.kind == "generator":
                (battery,) = (each for each in model.branches if each.kind == "battery")
                assert battery.volts is not None
                measured = f"1e6*({battery.volts.nominal!r}-V({name(battery.b)},{name(battery.a)}))"
                lines[-1] = f"B{k} s{k} {a} V={measured}"
            lines.append(f"R{k} s{k} {b} {ohm!r}")
        elif k in held:
            in_contacts = chosen(one.ohms.contact, k)
            most_v = one.ohms.contacts * MOST_V
            lines += [f"R{k} {a} c{k} {max(ohm - in_contacts, 1e-5)!r}", f"VI{k} c{k} d{k} DC 0"]
            lines.append(f"BC{k} d{k} {b} V=max(min({in_contacts!r}*I(VI{k}),{most_v!r}),-{most_v!r})")
        else:
            lines.append(f"R{k} {a} {b} {ohm!r}")
    outputs = {one.part: (k, one) for k, one in enumerate(model.branches) if one.kind == "converter"}
    amounts = model.amounts_of(setting or model.setting())
    for k, (draw, amount) in enumerate(zip(model.draws, amounts, strict=True)):
        a, b = name(draw.first), name(draw.second)
        across, rated_v, least_v = f"abs(V({a},{b}))", draw.rated_v, draw.rated_v / 2  # the other way round the same
        follows = draw.converter in outputs and setting is None
        # the program's search passes through voltages where the laws have no value; 0.05 V is below where a lamp is cold
        if draw.kind == "lamp":
            cold_v = rated_v * 0.1 ** (1 / 0.45)
            cold = f"{amount / rated_v**2 / 0.1!r}*{across}"
            law = f"{across}<{cold_v!r} ? {cold} : {amount / rated_v!r}*exp(0.55*ln(max({across},0.05)/{rated_v!r}))"
        elif draw.kind == "power" and not follows:
            law = f"{across}<{least_v!r} ? {amount / least_v**2!r}*{across} : {amount!r}/max({across},1)"
        elif follows:
            # what it takes in follows what it gives out: the current of the output's source, counted against its sense, times the volts of the output
            n, out = outputs[draw.converter]
            taken = f"({IDLE_W}-I(V{n})*V({name(out.b)},{name(out.a)})/{EFFICIENCY})"
            law = f"{across}<{least_v!r} ? {taken}*{across}/{least_v**2!r} : {taken}/max({across},1)"
        else:
            law = f"{across}<{least_v!r} ? {amount / least_v!r}*{across} : {amount!r}"
        lines.append(f"BL{k} {a} {b} I=sgn(V({a},{b}))*({law})")
    return lines


class NoAnswer(AssertionError):
    """The program found no state of rest."""


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
    if not answer.exists():
        raise NoAnswer(run.stdout + run.stderr)
    names, values = answer.read_text(encoding="ascii").split("Values:")
    answer.unlink()
    numbers = [float(word) for word in re.findall(r"[-+]?\d\.\d+e[-+]\d+", values)]
    found = re.findall(r"^\s*(\d+)\s+(\S+)\s+(?:voltage|current)", names, flags=re.MULTILINE)
    assert len(found) == len(numbers)
    at = {name.lower(): numbers[int(place)] for place, name in found}
    return {int(name[3:-1]): volts for name, volts in at.items() if re.fullmatch(r"v\(n\d+\)", name)}
