"""Remarks that need the computed voltages or the buses. `tracer check` asks them; the lists of supplies do not wait for them.

They are kept apart from the registry of `tracer.trace.rules.registry`, so that what a list of supplies says never hangs on which modules happen to be loaded. Codes are
unique over both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from tracer.circuit.kinds import PartKind
from tracer.electrics.bus.values import HIGH_SPEED
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import Place
from tracer.standards import figures
from tracer.trace.hazards import Hazards
from tracer.trace.rules.registry import RULES, Finding, Rule, RuleFunction, all_rules, findings_of
from tracer.trace.tracing import Tracing

if TYPE_CHECKING:
    from tracer.electrics.bus.values import BusTermination, Ohm
    from tracer.electrics.model.circuit_model import Model
    from tracer.electrics.network.described import FloatArray
    from tracer.electrics.volts.current_ways import CurrentWays

_ELECTRIC: dict[str, Rule] = {}


def _rule(code: str, title: str, *, why: str, fix: str, bad: str, good: str) -> Callable[[RuleFunction], RuleFunction]:
    all_rules()
    if code in RULES or code in _ELECTRIC:
        raise ValueError(f"rule {code} is already registered")

    def register(function: RuleFunction) -> RuleFunction:
        _ELECTRIC[code] = Rule(code, title, why, fix, bad, good, function)
        return function

    return register


def electric_rules() -> tuple[Rule, ...]:
    """Every rule of this file, by code."""
    return tuple(one for _, one in sorted(_ELECTRIC.items()))


def electric_remarks(tracing: Tracing) -> list[Finding]:
    """What these rules find, in file order. Nothing is computed where no `draws` and no `buses` are typed in."""
    return findings_of(tracing, electric_rules())


_BUS_PARTS = (
    "parts:\n  A: {is: module, at: x, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}\n"
    "  B: {is: module, at: y, cavities: 1-2, pins: {1: bus d H, 2: bus d L}}\n"
    "runs:\n- A.1 -- GN 0.5 1m -- B.1\n- A.2 -- YE 0.5 1m -- B.2\n"
)


@_rule(
    "R231",
    "high-speed CAN without its two terminations",
    why="With one the bus reads 120 Ω, with three 40 Ω, and works at times. Often one was forgotten when typing, or an accessory brought its own.",
    fix="Name every termination under `buses` in vehicle.yaml: the resistor, or the module that holds it. `fitted: no` for one that is not there.",
    bad="rails: {}\nbuses:\n  d: {kind: high-speed can, terminations: {A: 120}}  # R231\n---\n" + _BUS_PARTS,
    good="rails: {}\nbuses:\n  d: {kind: high-speed can, terminations: {A: 120, B: 120}}\n---\n" + _BUS_PARTS,
)
def termination_count(tracing: Tracing) -> Iterator[Finding]:
    """High-speed CAN with other than two terminations, unless one makes up for both."""
    for name, bus in tracing.circuit.typed.vehicle.buses.items():
        if bus.kind != HIGH_SPEED:
            continue
        terminations, total = _buses(tracing)[name]
        fitted = [one for one in terminations if one.fitted]
        alone = len(fitted) == 1 and total is not None and 50 <= total.nominal <= 65
        if len(fitted) == 2 or alone:
            continue
        reads = (
            ""
            if total is None
            else f"; in order the lines then read {'open' if total.is_open else figures.ohms(total.nominal)}"
        )
        listed = ", ".join(one.name for one in fitted) or "none"
        message = f"bus {name} has {len(fitted)} termination{'s' if len(fitted) != 1 else ''} ({listed}) where two are usual{reads}"
        yield Finding(_bus_place(tracing, name), name, message, "")


@_rule(
    "R232",
    "drop above the limit although everything is in order",
    why="With the current that is typed in, copper alone loses more than the limit: a good circuit would be failed, or the size, length or current is mistyped.",
    fix="Check size, length and `draws`; if they are right, judge this row by `tracer volts`, or set the maker's limit under `limits`.",
    bad="parts:\n  BAT: {is: battery, at: x}\n  F1: {is: fuse, amps: 10, at: x}\n"
    "  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 8}}  # R232\n"
    "runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 0.75 6m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n",
    good="parts:\n  BAT: {is: battery, at: x}\n  F1: {is: fuse, amps: 10, at: x}\n"
    "  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 2}}\n"
    "runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 0.75 6m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n",
)
def perfect_drop(tracing: Tracing) -> Iterator[Finding]:
    """A supply pin that loses more than the limit with least resistances and the typed-in draws alone."""
    for pin in _pins_with_draw(tracing):
        if pin.lost_v > pin.limit_v:
            message = (
                f"{pin.module}.{pin.pin} loses {figures.volts(pin.lost_v)} in {pin.key} with everything in order and {figures.stated(pin.draw_a, 'A')}, "
                f"above the limit of {figures.volts(pin.limit_v)} ({pin.limit_origin})"
            )
            yield Finding(pin.place, f"{pin.module}.{pin.pin}", message, "", (pin.node,), (pin.module,), pin.module)


@_rule(
    "R233",
    "supply outside the range of ISO 16750-2",
    why="With everything in order the module would get less, or more, than equipment of its supply code is made for in this state.",
    fix="Check size, length and `draws`, and the volts of the battery. `module supply: 9-16` under `limits` sets another code.",
    bad="rails: {}\nlimits: {module supply: 11.5-16}\n---\n"
    "parts:\n  BAT: {is: battery, at: x}\n  F1: {is: fuse, amps: 10, at: x}\n"
    "  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}  # R233\n"
    "runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n",
    good="parts:\n  BAT: {is: battery, at: x}\n  F1: {is: fuse, amps: 10, at: x}\n"
    "  M: {is: module, at: y, cavities: 1-2, pins: {1: supply, 2: ground}, draws: {1: 1}}\n"
    "runs:\n- BAT.+ -- RD 1 1m -- F1 -- RD 1 1m -- M.1\n- M.2 -- BN 1 1m -- BAT.-\n",
)
def supply_range(tracing: Tracing) -> Iterator[Finding]:
    """A live supply pin outside the continuous range of the supply code in a key state, in order and with a usual battery."""
    for pin in _pins_with_draw(tracing):
        if not pin.range_v[0] <= pin.volts <= pin.range_v[1]:
            message = f"{pin.module}.{pin.pin} gets {figures.volts(pin.volts)} in {pin.key}, outside {figures.volts_ends(pin.range_v[0], pin.range_v[1])} V ({pin.range_origin})"
            yield Finding(pin.place, f"{pin.module}.{pin.pin}", message, "", (pin.node,), (pin.module,), pin.module)


@_rule(
    "R234",
    "termination that does not fit the lines",
    why="A termination that does not lie between the two lines ends nothing, and every resistance that is computed for the bus is wrong.",
    fix="Correct its name under `buses`, its ohms, or the runs that lead to it.",
    bad="rails: {}\nbuses:\n  d: {kind: high-speed can, terminations: {A: 120, RT: 120}}  # R234\n---\n"
    + _BUS_PARTS.replace("runs:", "  RT: {is: resistor, ohms: 120, at: z}\nruns:\n- RT.1 -- GN 0.5 1m -- RT.2"),
    good="rails: {}\nbuses:\n  d: {kind: high-speed can, terminations: {A: 120, RT: 120}}\n---\n"
    + _BUS_PARTS.replace(
        "runs:", "  RT: {is: resistor, ohms: 120, at: z}\n  S1: {is: splice, at: z}\n  S2: {is: splice, at: z}\nruns:"
    )
    .replace("-- B.1", "-- S1\n- S1 -- GN 0.5 1m -- B.1\n- S1 -- GN 0.5 5cm -- RT.1")
    .replace("-- B.2", "-- S2\n- S2 -- YE 0.5 1m -- B.2\n- S2 -- YE 0.5 5cm -- RT.2"),
)
def termination_fits(tracing: Tracing) -> Iterator[Finding]:
    """A termination that is not between the lines, or whose ohms are stated twice and differently."""
    for name in tracing.circuit.typed.vehicle.buses:
        for one in _buses(tracing)[name][0]:
            if one.problem:
                yield Finding(_bus_place(tracing, name), name, f"bus {name}: {one.problem}", "")


@lru_cache(maxsize=2)
def _buses(tracing: Tracing) -> dict[str, tuple[tuple[BusTermination, ...], Ohm | None]]:
    """For each bus of vehicle.yaml its terminations, and the reading with everything in order."""
    from tracer.electrics.bus.of_vehicle import terminations_in_order
    from tracer.electrics.limits_in_use import limits_of

    limits = limits_of(tracing.circuit)
    names = tracing.circuit.typed.vehicle.buses
    return {name: terminations_in_order(tracing, name, limits=limits) for name in names}


def _bus_place(tracing: Tracing, name: str) -> Place:
    return tracing.circuit.typed.vehicle_file.place_of(("buses", name), key=True)


@dataclass(frozen=True, slots=True)
class _PinState:
    """A supply pin with a typed-in draw in one key state, everything in order."""

    module: str
    pin: str
    node: int
    key: str
    place: Place
    draw_a: float
    lost_v: float
    volts: float
    limit_v: float
    limit_origin: str
    range_v: tuple[float, float]
    range_origin: str


@lru_cache(maxsize=2)
def _pins_with_draw(tracing: Tracing) -> tuple[_PinState, ...]:
    """Supply pins with a typed-in draw, each in the key state in which it is live and worst."""
    modules = [part for part in tracing.circuit.modules() if isinstance(part.facts, ModuleFacts) and part.facts.draws]
    if not modules:
        return ()
    worst: dict[tuple[str, str], _PinState] = {}
    for state in _all_states(tracing):
        known = worst.get((state.module, state.pin))
        if known is None or _badness(state) > _badness(known):
            worst[state.module, state.pin] = state
    return tuple(worst.values())


def _badness(state: _PinState) -> tuple[bool, bool, float]:
    outside = not state.range_v[0] <= state.volts <= state.range_v[1]
    return outside, state.lost_v > state.limit_v, state.lost_v


def _all_states(tracing: Tracing) -> Iterator[_PinState]:
    from tracer.electrics.limits_in_use import limits_of
    from tracer.electrics.model.branches import NOMINAL
    from tracer.electrics.model.of_circuit import models_of
    from tracer.electrics.volts.current_ways import CurrentWays
    from tracer.electrics.volts.not_computed import beside_unknown

    limits = limits_of(tracing.circuit)
    models = models_of(tracing, tracing.circuit.typed.vehicle.key, limits=limits)
    posts_of = [
        [branch.b for branch in model.branches if branch.is_battery or branch.kind == "converter"] for model in models
    ]
    fed = [(model, posts) for model, posts in zip(models, posts_of, strict=True) if posts]
    solved = _at_the_least([model for model, _ in fed])
    for (_, posts), found in zip(fed, solved, strict=True):
        if found is None:
            continue  # `tracer volts` says so; a remark about drops would be built on nothing
        model, node_v, branch_a = found
        ways = CurrentWays(model, branch_a)
        for draw in model.draws:
            module, _, pin = draw.name.partition(".")
            part = tracing.circuit.parts.get(module)
            if (
                draw.assumed
                or tracing.once(Hazards).withheld(draw.name)
                or part is None
                or part.kind is not PartKind.MODULE
                or model.level_words(draw.first, supply=True) != "live"
                or beside_unknown(tracing, module, draw.first, "supply")
            ):
                continue
            volts = float(node_v[draw.first])
            # the post or converter that lies next above it: a 12 V tap is not measured against 24 V, nor judged by its limits
            source_v = min((float(v) for v in node_v[posts] if v >= volts - 1e-6), default=volts)
            here = limits.for_source(source_v)
            path, supply = here.of("supply path"), here.of("module supply")
            assert supply.low is not None
            lost_v = source_v - volts
            if lost_v > path.high or not supply.low <= volts <= supply.high:  # no other is ever said
                lost_v -= _in_diodes_v(ways, node_v, draw.first)
            yield _PinState(
                module,
                pin,
                draw.first,
                model.key,
                part.place_of("draws", pin),
                draw.amounts[NOMINAL],
                lost_v,
                volts,
                path.high,
                path.origin,
                (supply.low, supply.high),
                f"{supply.origin}: {supply.source}",
            )


def _at_the_least(models: Sequence[Model]) -> list[tuple[Model, FloatArray, FloatArray] | None]:
    """Each model with what follows from its currents, its (n,) volts and (m,) amperes with all wires and loads at their least; None without a state of rest."""
    from tracer.electrics.network.in_many_settings import alike

    found: list[tuple[Model, FloatArray, FloatArray] | None] = [None] * len(models)
    for group in alike(models):
        for bends in (False, True):
            some = [one for one in group if bool(models[one].live_diodes or models[one].converts) is bends]
            for number, solved in zip(some, _together([models[one] for one in some], bends=bends), strict=True):
                found[number] = solved
    return found


def _together(models: Sequence[Model], *, bends: bool) -> list[tuple[Model, FloatArray, FloatArray] | None]:
    """The same of models with the same branches; where they have diodes or converters (`bends`), what follows from their currents comes first."""
    if not models:
        return []
    import numpy as np

    from tracer.electrics.model.branches import LOW, NOMINAL, Setting
    from tracer.electrics.model.circuit_model import NotSettled
    from tracer.electrics.network.in_many_settings import Together
    from tracer.electrics.volts.rows import nominal_in_order

    settings = []
    for model in models:
        typed = np.array([LOW if draw.assumed else NOMINAL for draw in model.draws], dtype=np.intp)
        settings.append(Setting(model.setting(series=LOW, draws=LOW).branches, typed, NOMINAL))
    together, nominal = Together(models, asked=()), None
    try:
        if bends:
            together, nominal = nominal_in_order(together, {})
        states = together.solve(list(enumerate(settings)), nominal)
    except NotSettled:
        return [None] if len(models) == 1 else [one for model in models for one in _together([model], bends=bends)]
    node_v = states.node_v(np.arange(len(models)))
    return list(zip(together.models, node_v.T, states.branch_a.T, strict=True))


def _in_diodes_v(ways: CurrentWays, node_v: FloatArray, node: int) -> float:
    """What the diodes on the way to a supply pin lose: the limit is for the rest of it."""
    model = ways.model
    if not model.live_diodes:
        return 0.0
    diodes = [branch for number, _ in ways.way(node, supply=True) if (branch := model.branches[number]).is_diode]
    return sum(max(0.0, float(node_v[one.a] - node_v[one.b])) for one in diodes)
