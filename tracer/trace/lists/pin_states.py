"""What each pin of a module must read in each key state, and why."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tracer.entry.models import ModuleFacts
from tracer.standards import figures
from tracer.standards.allowances import DIODE_DROP
from tracer.trace.hazards import Hazards
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.lists.results import LooseEnd, Row
from tracer.trace.lists.supplies import supplies_of
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.tracing import Tracing


@dataclass(frozen=True, slots=True)
class PinStates:
    """One pin: its level in each key state (`live`, `dead`, `depends`, `unknown`; for a ground `ground`, `open`), what to read and why."""

    pin: str
    row: str
    declared: str
    kind: str
    level: dict[str, str]
    why: dict[str, tuple[str, ...]]
    expected: str
    note: str


@dataclass(frozen=True, slots=True)
class ModuleStates(Answer):
    """All pins of a module against the key states; `chains` are the side chains, `conditions` what the vehicle says about each condition."""

    vehicle: str
    module: str
    name: str | None
    keys: tuple[str, ...]
    pins: tuple[PinStates, ...]
    chains: tuple[PinStates, ...]
    conditions: dict[str, str]
    unstable: tuple[str, ...]
    completeness: Completeness
    loose_ends: tuple[LooseEnd, ...]
    minding: Minding = NOTHING


def pin_states(tracing: Tracing, module: str) -> ModuleStates:
    """The table of a module's pins against key states.

    Raises
    ------
    UnknownModule : no module has that name
    """
    report = supplies_of(tracing, module)
    rows = {row.pin: row for row in report.rows if row.part == module and row.code[0] in "SGV"}
    facts = tracing.circuit.parts[module].facts
    assert isinstance(facts, ModuleFacts)
    loads = {load.pin: load.note for load in report.through_loads}
    pins = []
    for cavity in report.census:
        if cavity.kind == "unused":
            continue
        row = rows.get(cavity.pin)
        if row is not None:
            pins.append(_of_row(row, cavity.kind))
            continue
        expected, note = _untraced(cavity.kind, cavity.pin, facts, loads)
        if withheld := tracing.once(Hazards).withheld(f"{module}.{cavity.pin}") or tracing.once(Hazards).withheld_in(
            module
        ):
            expected, note = withheld, ""
        pins.append(PinStates(cavity.pin, "", cavity.declared, cavity.kind, {}, {}, expected, note))
    vehicle = tracing.circuit.typed.vehicle
    conditions = {name: condition.text or "" for name, condition in vehicle.conditions.items()}
    unstable = sorted({name for settled in tracing.states.settled.values() for name in settled.unstable})
    chains = tuple(_of_row(row, row.what_for) for row in report.chains)
    states = ModuleStates(
        report.vehicle,
        module,
        report.name,
        report.keys,
        tuple(pins),
        chains,
        conditions,
        tuple(unstable),
        report.completeness,
        report.loose_ends,
    )
    return replace(states, minding=minding_of(tracing, states))


def _of_row(row: Row, kind: str) -> PinStates:
    if row.level == "supply":
        level = dict(row.live)
        expected = "battery voltage while live, 0 V while dead"
        if row.diodes:
            expected = f"battery voltage less {DIODE_DROP} (diode) while live, 0 V while dead"
    else:
        level = {key: {"live": "ground", "dead": "open"}.get(state, state) for key, state in row.live.items()}
        expected = row.probes[-1].expect.text if row.probes else "ground"
    expected = row.no_method or expected
    pin = row.pin if row.code[0] != "C" else row.point
    return PinStates(pin, row.code, row.declared or row.what_for, kind, level, row.why, expected, "; ".join(row.notes))


def _untraced(kind: str, pin: str, facts: ModuleFacts, loads: dict[str, str]) -> tuple[str, str]:
    output = facts.outputs.get(pin)
    commanded = output.when.text if output is not None and output.when.known else "a state that is not known"
    if output is not None and output.drives == "low":
        return (
            f"battery voltage through its load while that is fed and the output rests, near 0 V while commanded ({commanded})",
            loads.get(pin, ""),
        )
    if output is not None and output.drives == "signal":
        return "its own signal: see the maker's figures", ""
    if output is not None and output.drives == "reference":
        volts = figures.stated(output.volts, "V") if output.volts else "its reference voltage"
        return f"{volts} while the module is awake", "a short in one sensor pulls it down for all"
    if output is not None:
        return (
            f"its supply while commanded ({commanded})",
            "open, a few volts of diagnosis current are normal (common practice, no source)",
        )
    if kind == "bus":
        return "bus level: meter or oscilloscope only, never a test lamp", ""
    if kind in ("supply", "ground"):
        return f"not known in any key state: declared a {kind}, but its way is not known", loads.get(pin, "")
    return "not a supply and not a ground: see the maker's figures", loads.get(pin, "")


__all__ = ["ModuleStates", "PinStates", "pin_states"]
