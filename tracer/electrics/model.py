"""A circuit in one key state as a network of resistors, with what each value rests on.

Node numbers are those of the circuit; more follow for the inside of modules and for added resistances. The voltage of the battery is that at its posts, held
whatever flows: a technician reads it there first, and every other reading is judged against it. What depends on something that is not said (a command, a
condition, a switch worked by hand) is open unless it is held; each such thing is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from tracer.circuit.model import FUSE_KINDS, INSIDE_MODULE, Circuit, Link, LinkKind
from tracer.circuit.states import KeyStates, Level, Settled
from tracer.electrics.changes import AddedLoad, Changes, commands_of, default_position
from tracer.electrics.elements import Ohms, ohms_of
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.load_laws import ConstantCurrent, ConstantPower, FilamentLamp, LoadLaws
from tracer.electrics.loads import AtRest, settle, solve_with_loads
from tracer.electrics.network import (
    LEAST_OHM,
    MOST_OHM,
    BoolArray,
    Factor,
    FloatArray,
    IntArray,
    Network,
    NetworkError,
    Solution,
    factorise,
    islands_of,
    network_of_resistances,
    solve,
)
from tracer.entry.models import BatteryFacts, ConverterFacts, FuseFacts, LoadFacts, ModuleFacts, SwitchFacts
from tracer.standards.allowances import Span, contact_ohm, default_draw_a, junction_v, spread
from tracer.trace.affects import circuit_without
from tracer.trace.survey import Survey

LOW, NOMINAL, HIGH = 0, 1, 2
MOST_LOADS = 400  # where the careful way is gone: beyond, the loads farthest down the list are taken as the resistors they nominally are
_DIODE_TURNS = 40
BACKWARDS_A, FORWARDS_V = 1e-9, 1e-6  # below these a diode is right as it is


class NotSettled(NetworkError):
    """A state in which no steady voltages were found; the message says which parts stand in the way."""


@dataclass(frozen=True, slots=True)
class Branch:
    """One element between two nodes. `link` is its number in the circuit, -1 for what the model adds; `volts` pushes from `a` to `b`."""

    a: int
    b: int
    link: int
    kind: str
    part: str
    ohms: Ohms
    closed: bool = True
    volts: Span | None = None
    is_diode: bool = False
    is_battery: bool = False


@dataclass(frozen=True, slots=True)
class Draw:
    """A load that is no resistor: `kind` is lamp (W at `rated_v`), power (W) or current (A). `assumed` where its amount was not typed in."""

    name: str
    first: int
    second: int
    kind: str
    amounts: tuple[float, float, float]
    rated_v: float
    assumed: str = ""

    def load(self, choice: int) -> ConstantPower | ConstantCurrent | FilamentLamp:
        """The load with its low, nominal or high amount."""
        amount = self.amounts[choice]
        if self.kind == "lamp":
            return FilamentLamp(self.first, self.second, self.rated_v, amount)
        if self.kind == "power":
            return ConstantPower(self.first, self.second, amount, self.least_v)
        return ConstantCurrent(self.first, self.second, amount, self.least_v)

    @property
    def gives_up(self) -> bool:
        """Whether it is electronic, and stops working below `least_v`."""
        return self.kind != "lamp"

    @property
    def least_v(self) -> float:
        """Below half its rated voltage an electronic load has given up."""
        return self.rated_v / 2

    def resistor_ohm(self, choice: int, *, given_up: bool = False) -> float:
        """The resistor that takes the same at the rated voltage, or at the voltage at which it gives up."""
        amount = self.amounts[choice]
        volts = self.least_v if given_up else self.rated_v
        ohm = volts / amount if self.kind == "current" else volts**2 / amount
        return min(max(ohm, LEAST_OHM), MOST_OHM)


@dataclass(frozen=True)
class Setting:
    """One admissible choice of every uncertain value: an index (low, nominal, high) for each branch and draw, and for the battery."""

    branches: IntArray
    draws: IntArray
    battery: int


@dataclass(frozen=True, eq=False)
class Solved:
    """The model in one setting. `node_v` is against battery negative, not a number where floating; `branch_a` for the model's own branches.

    `potential_v` is `node_v`, but in a floating part against its own lowest node; `loaded` the network with the draws as its last branches.
    """

    setting: Setting
    node_v: FloatArray
    potential_v: FloatArray
    branch_a: FloatArray
    draw_a: FloatArray
    draw_drop_v: FloatArray
    laws: LoadLaws
    loaded: Network
    factor: Factor

    @cached_property
    def solution(self) -> Solution:
        """The network with every draw as the resistor it amounts to: for source resistances, slopes and faults."""
        conductance_s = self.loaded.conductance_s.copy()
        conductance_s[len(self.branch_a) :] = self.laws.resistor_s(self.draw_drop_v)
        network = self.loaded.with_conductances(conductance_s)
        return solve(network, factor=factorise(network, like=self.factor))


@dataclass
class Model:
    """A circuit in a key state as branches, draws and sources. `settled` is the switching state it rests on."""

    circuit: Circuit
    key: str
    changes: Changes
    limits: LimitsInUse
    settled: Settled
    states: KeyStates
    node_names: list[str]
    branches: list[Branch]
    draws: list[Draw]
    reference: int
    battery: Span
    battery_state: str
    undecided: tuple[str, ...]
    held: dict[str, bool]
    module_inside: dict[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    # --- settings ----------------------------------------------------------------------------------------------

    def setting(self, series: int = NOMINAL, draws: int = NOMINAL, battery: int = NOMINAL) -> Setting:
        """Every element in series, everything that draws, and the battery at the same choice. A load that draws much has the fewer ohms."""
        branches = np.where(self.is_load, HIGH - draws, series).astype(np.intp)
        return Setting(branches, np.full(len(self.draws), draws, dtype=np.intp), battery)

    @cached_property
    def is_load(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Branches that draw rather than lead: loads, coils, resistors."""
        loads = ("load", "coil", "resistor", "test load")
        return np.fromiter((branch.kind in loads for branch in self.branches), dtype=np.bool_)

    @cached_property
    def _ohm(self) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        # straight from a generator: lists of a row each keep the garbage collector busy
        ohms = (branch.ohms for branch in self.branches)
        flat = (ohm for one in ohms for ohm in (one.low, one.nominal, one.high))
        table = np.fromiter(flat, dtype=np.float64, count=3 * len(self.branches))
        return np.clip(table.reshape(-1, 3), LEAST_OHM, MOST_OHM)

    @cached_property
    def _volts(self) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        found = np.zeros((len(self.branches), 3))
        for row, branch in enumerate(self.branches):
            if branch.volts is not None:
                found[row] = (branch.volts.low, branch.volts.nominal, branch.volts.high)
        return found

    @cached_property
    def battery_branches(self) -> IntArray:
        """Branches that are a battery or a source of its voltage."""
        return np.array([n for n, branch in enumerate(self.branches) if branch.is_battery], dtype=np.intp)

    @cached_property
    def spread_ohm(self) -> FloatArray:
        """(m,) from the low to the high end of each branch."""
        spread_ohm: FloatArray = self._ohm[:, HIGH] - self._ohm[:, LOW]
        return spread_ohm

    @cached_property
    def spread_v(self) -> FloatArray:
        """(m,) from the low to the high end of what pushes inside a branch; 0 for the battery, which has an end of its own."""
        spread_v: FloatArray = self._volts[:, HIGH] - self._volts[:, LOW]
        spread_v[self.battery_branches] = 0.0
        return spread_v

    def network(self, setting: Setting) -> Network:
        """The network of a setting, without the draws; diodes conduct."""
        conductance_s, source_v = self._values(setting)
        return self._bare.with_conductances(conductance_s, source_v)

    def _values(self, setting: Setting) -> tuple[FloatArray, FloatArray]:
        """(m,) siemens and volts of the branches in a setting."""
        conductance_s, source_v = self.values_of([setting])
        return conductance_s[:, 0], source_v[:, 0]

    def values_of(self, settings: Sequence[Setting]) -> tuple[FloatArray, FloatArray]:
        """(m, s) siemens and volts of the branches in s settings."""
        rows = np.arange(len(self.branches))[:, np.newaxis]
        chosen = np.stack([setting.branches for setting in settings], axis=1)
        source_v = np.zeros(chosen.shape)
        pushing = np.flatnonzero(np.any(self._volts != 0.0, axis=1))
        source_v[pushing] = self._volts[rows[pushing], chosen[pushing]]
        battery = np.array([setting.battery for setting in settings], dtype=np.intp)
        source_v[self.battery_branches] = self._volts[self.battery_branches[:, np.newaxis], battery]
        return self._table_s[rows, chosen], source_v

    @cached_property
    def _table_s(self) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        """(m, 3) siemens: low, nominal and high resistance of each branch."""
        return 1.0 / self._ohm

    @cached_property
    def _bare(self) -> Network:
        """The branches, all nominal, without the draws."""
        return network_of_resistances(
            len(self.node_names),
            np.fromiter((node for branch in self.branches for node in (branch.a, branch.b)), dtype=np.intp).reshape(
                -1, 2
            ),
            self._ohm[:, NOMINAL],
            reference=[self.reference],
            source_v=np.zeros(len(self.branches)),
            closed=np.fromiter((branch.closed for branch in self.branches), dtype=np.bool_),
        )

    @cached_property
    def draw_ends(self) -> IntArray:
        return np.array([(draw.first, draw.second) for draw in self.draws], dtype=np.intp).reshape(-1, 2)

    @cached_property
    def placed(self) -> Network:
        """The branches and a place for every draw; diodes that never conduct are open."""
        loaded = self._bare.with_branches(self.draw_ends, np.ones(len(self.draws)))
        return loaded.opened(self._idle_diodes) if self._idle_diodes else loaded

    @cached_property
    def draw_laws(self) -> np.ndarray[tuple[int, int, int], np.dtype[np.float64]]:
        """(3, k, 4): the law of each draw with its low, nominal and high amount."""
        table = np.array([[draw.load(choice).law for draw in self.draws] for choice in (LOW, NOMINAL, HIGH)])
        return table.reshape(3, len(self.draws), 4)

    @cached_property
    def rated_s(self) -> FloatArray:
        """(k, 3) siemens: each draw as the resistor it is at its rated voltage, with its low, nominal and high amount."""
        table = [[1.0 / draw.resistor_ohm(choice) for choice in (LOW, NOMINAL, HIGH)] for draw in self.draws]
        return np.array(table, dtype=np.float64).reshape(-1, 3)

    def solve(self, setting: Setting | None = None) -> Solved:
        """Voltages and currents of a setting (default: everything nominal).

        Raises
        ------
        NotSettled : the loads cannot be supplied, or diodes find no rest
        """
        if setting is None:
            return self._nominal
        try:
            start = self._nominal
        except NotSettled:
            start = None
        return self._solved_from(setting, start)

    @cached_property
    def _nominal(self) -> Solved:
        return self._solved_from(self.setting(), None)

    def _solved_from(self, setting: Setting, start: Solved | None) -> Solved:
        """The state of rest, looked for from another one if there is one: most settings leave the diodes as they are."""
        rest = _Rest(self, setting, start)
        blocking = set(rest.blocking)
        for turn in range(_DIODE_TURNS + 2 * len(self.live_diodes)):
            found = rest.with_blocking(frozenset(blocking))
            wrong = {n: error for n in self.live_diodes if (error := _diode_error(n, found, n in blocking)) > 0.0}
            if not wrong:
                return found
            # all at once is quick; where that goes round in circles, one at a time, the worst first
            turned = set(wrong) if turn < _DIODE_TURNS // 2 else {max(wrong, key=lambda n: (wrong[n], -n))}
            blocking = blocking ^ turned
        names = ", ".join(sorted({self.branches[n].part for n in self.live_diodes}))
        raise NotSettled(f"no steady state was found: the diodes {names} conduct and block by turns")

    @cached_property
    def live_diodes(self) -> list[int]:
        """Diodes that may conduct."""
        idle = set(self._idle_diodes)
        return [n for n, branch in enumerate(self.branches) if branch.is_diode and branch.closed and n not in idle]

    @cached_property
    def _idle_diodes(self) -> list[int]:
        """Diodes to whose anode nothing leads but themselves: they block, and must not pass a level on backwards."""
        diodes = [n for n, branch in enumerate(self.branches) if branch.is_diode and branch.closed]
        if not diodes:
            return []
        bare = self._bare
        both_ways = bare.closed.copy()
        both_ways[diodes] = False
        part = islands_of(bare.node_count, np.concatenate([bare.ends[both_ways], self.draw_ends])).tolist()
        reached = {part[self.reference]}
        while True:
            further = {part[self.branches[n].b] for n in diodes if part[self.branches[n].a] in reached}
            if further <= reached:
                return [n for n in diodes if part[self.branches[n].a] not in reached]
            reached |= further

    # --- words -------------------------------------------------------------------------------------------------

    def level_words(self, node: int, *, supply: bool) -> str:
        """Whether supply (or ground) is at a node in this state: live, dead, depends."""
        net = self.states.nets.of[node]
        level = (self.settled.supply if supply else self.settled.ground).get(net, Level.DEAD)
        return {Level.DEAD: "dead", Level.DEPENDS: "depends", Level.LIVE: "live"}[level]

    def assumed(self, branches: Iterable[int]) -> list[str]:
        """What was not typed in about some branches, each once."""
        found: dict[str, None] = {}
        for number in branches:
            branch = self.branches[number]
            if branch.ohms.assumed:
                name = self.element_name(number) if branch.kind == "wire" else ""
                found[f"{name}: {branch.ohms.assumed}" if name else branch.ohms.assumed] = None
        return list(found)

    def element_name(self, number: int) -> str:
        """'wire RD/GN 2.5 3.1m', 'fuse F9', 'X31.1 mated'."""
        branch = self.branches[number]
        if branch.kind == "wire":
            return f"wire {self.circuit.wire_of(self.circuit.links[branch.link]).text}"
        if branch.kind == "mating":
            return f"contact {self.node_names[branch.a].split(':')[0]}"
        if branch.kind == "ground point":
            return f"eyelet {branch.part}"
        if branch.part:
            return f"{branch.kind} {branch.part}"
        return branch.kind


class _Rest:
    """Looks for the state of rest of a model in one setting."""

    def __init__(self, model: Model, setting: Setting, start: Solved | None) -> None:
        self.model = model
        self.setting = setting
        self.start = start
        conductance_s, source_v = model._values(setting)
        count = len(model.draws)
        self.conductance_s = np.concatenate([conductance_s, np.ones(count)])
        self.source_v = np.concatenate([source_v, np.zeros(count)])
        self.laws = LoadLaws(*model.draw_laws[setting.draws, np.arange(count)].T)
        closed = None if start is None else start.loaded.closed
        self.blocking = frozenset(n for n in model.live_diodes if closed is not None and not closed[n])

    def with_blocking(self, blocking: frozenset[int]) -> Solved:
        """At rest with these diodes blocking."""
        start = self.start if blocking == self.blocking else None
        if start is None:
            shape = self.model.placed.opened(sorted(blocking)) if blocking else self.model.placed
        else:
            shape = start.loaded
        network = shape.with_conductances(self.conductance_s, self.source_v)
        try:
            found = self._quickly(network, start) or self._carefully(network)
        except NotSettled:
            raise
        except NetworkError as error:
            raise NotSettled(f"no steady state was found: {error}") from error
        return self._as_solved(network, found)

    def _quickly(self, network: Network, start: Solved | None) -> AtRest | None:
        """From the state given, else from every draw as a resistor; None where both lead nowhere."""
        if start is not None:
            found = settle(network, self.laws, start.draw_drop_v, start_v=start.potential_v, like=start.factor)
            if found is not None:
                return found
        rated = self._as_rated(network)
        return settle(network, self.laws, self._across_draws(rated.potential_v), like=rated.factor)

    def _as_rated(self, network: Network) -> Solution:
        """Every draw as the resistor it is at its rated voltage: who has given up is judged by that first."""
        draws = self.setting.draws
        conductance_s = network.conductance_s.copy()
        conductance_s[len(self.model.branches) :] = self.model.rated_s[np.arange(draws.size), draws]
        return solve(network.with_conductances(conductance_s))

    def _across_draws(self, potential_v: FloatArray) -> FloatArray:
        a, b = self.model.draw_ends.T
        drop_v: FloatArray = potential_v[a] - potential_v[b]
        return drop_v

    def _as_solved(self, network: Network, found: AtRest) -> Solved:
        count = len(self.model.branches)
        node_v = np.where(found.factor.floating, np.nan, found.potential_v)
        return Solved(
            self.setting,
            node_v,
            found.potential_v,
            found.branch_a[:count],
            found.branch_a[count:],
            found.drop_v,
            self.laws,
            network,
            found.factor,
        )

    # --- the careful way -----------------------------------------------------------------------------------------

    def _carefully(self, network: Network) -> AtRest:
        """What gets less than half its voltage has given up and is a resistor; which those are is found first.

        Raises
        ------
        NotSettled : names what cannot be supplied, or gives up and recovers by turns
        """
        draws = self.model.draws
        starved = self._starved(self._across_draws(self._as_rated(network).potential_v))
        tried: set[frozenset[int]] = set()
        while starved not in tried:
            tried.add(starved)
            working = [n for n in range(len(draws)) if n not in starved][:MOST_LOADS]
            solution = self._with_loads(network, working, starved)
            drop_v = self._across_draws(solution.potential_v)
            after = self._starved(drop_v)
            if after == starved:
                branch_a = np.concatenate([solution.branch_a[: len(self.model.branches)], self.laws.current_a(drop_v)])
                return AtRest(factorise(network), solution.potential_v, branch_a, drop_v)
            starved = after
        names = ", ".join(draws[n].name for n in sorted(starved)[:6])
        raise NotSettled(f"no steady state was found: {names} give up and recover by turns")

    def _starved(self, drop_v: FloatArray) -> frozenset[int]:
        return frozenset(
            n for n, draw in enumerate(self.model.draws) if draw.gives_up and abs(drop_v[n]) < draw.least_v
        )

    def _with_loads(self, network: Network, working: list[int], starved: frozenset[int]) -> Solution:
        """The network with the working draws as loads, after those that are resistors."""
        draws, choice = self.model.draws, self.setting.draws
        exact = frozenset(working)
        places = [n for n in range(len(draws)) if n not in exact]
        ohm = [draws[n].resistor_ohm(int(choice[n]), given_up=n in starved) for n in places]
        bare = self.model.network(self.setting)
        bare = bare.opened(np.flatnonzero(~network.closed[: bare.branch_count]))
        plain = bare.with_branches(self.model.draw_ends[places], ohm)
        try:
            return solve_with_loads(plain, [draws[n].load(int(choice[n])) for n in working]).solution
        except NetworkError as error:
            names = ", ".join(draws[working[n]].name for n in getattr(error, "loads", ()))
            raise NotSettled(f"no steady state was found{f' at {names}' if names else ''}: {error}") from error


def _diode_error(number: int, found: Solved, blocks: bool) -> float:
    """How wrong it is that a diode blocks (V it should conduct at) or conducts (A backwards); 0 where it is right."""
    a, b = found.loaded.ends[number]
    if not blocks:
        return max(0.0, float(-found.branch_a[number]) - BACKWARDS_A)
    floating: BoolArray = found.factor.floating
    if (floating[a] or floating[b]) and found.factor.island[a] != found.factor.island[b]:
        # nothing is known of the voltage across it; conducting, it carries nothing and gives the far side its level
        return 1.0 if bool(floating[b]) else 0.0
    drop = float(found.potential_v[a] - found.potential_v[b] + found.loaded.source_v[number])
    return max(0.0, drop - FORWARDS_V)


_KIND_WORDS = {
    LinkKind.WIRE: "wire",
    LinkKind.REFERENCE: "same wire",
    LinkKind.MATING: "mating",
    LinkKind.BUSSED: "joint",
    LinkKind.BUSBAR: "busbar",
    LinkKind.MASS: "ground point",
    LinkKind.STRAP: "strap",
    LinkKind.MEETS: "bolted",
    LinkKind.RAIL: "rail",
    LinkKind.DIODE: "diode",
    LinkKind.JOINED: "bridge in",
    LinkKind.DRIVER_HIGH: "output of",
    LinkKind.DRIVER_LOW: "output of",
    LinkKind.COIL: "coil",
    LinkKind.LOAD: "load",
    LinkKind.RESISTOR: "resistor",
}


_SWITCHED = (LinkKind.CONTACT, LinkKind.DRIVER_HIGH, LinkKind.DRIVER_LOW)


def model_of(
    survey: Survey, key: str, changes: Changes | None = None, *, limits: LimitsInUse, first: str = ""
) -> Model:
    """The model of a circuit in a key state.

    Parameters
    ----------
    key : one of the vehicle's key states
    changes : what differs from the vehicle in order
    first : the module whose loads are modelled most exactly where there are very many

    Raises
    ------
    ValueError : no such key state
    """
    keys = survey.circuit.typed.vehicle.key
    if key not in keys:
        raise ValueError(f"{key} is no key state; this vehicle has {', '.join(keys)}")
    return _Maker(survey, key, changes or Changes(), limits, first).model()


def models_of(survey: Survey, keys: Iterable[str], *, limits: LimitsInUse, first: str = "") -> list[Model]:
    """The models of a circuit in order in several key states, as `model_of` gives them; what does not depend on the key state is made once."""
    shared = _Shared()
    return [_Maker(survey, key, Changes(), limits, first, shared).model() for key in keys]


@dataclass
class _Shared:
    """What the models of a circuit with the same changes have in common: `branches` of links that nothing switches, by number, and the switching states by key state."""

    branches: dict[int, Branch] = field(default_factory=dict)
    states: KeyStates | None = None
    settled: dict[str, Settled] = field(default_factory=dict)


class _Maker:
    """Makes a model; what it finds that others can use goes into `shared`."""

    def __init__(
        self,
        survey: Survey,
        key: str,
        changes: Changes,
        limits: LimitsInUse,
        first: str,
        shared: _Shared | None = None,
    ) -> None:
        self.shared = shared or _Shared()
        self.survey = survey
        self.circuit = survey.circuit
        self.key = key
        self.changes = changes
        self.limits = limits
        self.first = first
        self.system_v = float(limits.system_v)
        self.names = list(self.circuit.node_names)
        self.branches: list[Branch] = []
        self.draws: list[Draw] = []
        self.undecided: dict[str, None] = {}
        self.inside: dict[str, int] = {}
        self.notes: list[str] = []
        self.held = self._held()

    def model(self) -> Model:
        opened, nodes = self._opened()
        unfitted = frozenset(
            number
            for number, link in enumerate(self.circuit.links)
            if link.kind is LinkKind.FUSE and getattr(self._facts(link.part), "state", None) in ("empty", "option")
        )
        self.open_links = opened | unfitted
        self.open_nodes = nodes
        if self.shared.states is None:
            self.shared.states = (
                KeyStates(circuit_without(self.circuit, self.open_links, nodes))
                if self.open_links or nodes
                else self.survey.states
            )
        self.states = self.shared.states
        self.settled = self._settle()
        reference = self._reference()
        self._links()
        battery, state = self._battery_span()
        self._sources(reference, battery)
        self._modules()
        self._added(reference)
        self._fitted_notes()
        if self.first:
            self.draws.sort(key=lambda draw: not draw.name.startswith(f"{self.first}."))
        return Model(
            self.circuit,
            self.key,
            self.changes,
            self.limits,
            self.settled,
            self.states,
            self.names,
            self.branches,
            self.draws,
            reference,
            battery,
            state,
            tuple(self.undecided),
            self.held,
            self.inside,
            tuple(self.notes),
        )

    def _facts(self, part: str) -> object:
        return self.circuit.parts[part].facts

    # --- what is switched --------------------------------------------------------------------------------------

    def _opened(self) -> tuple[frozenset[int], frozenset[int]]:
        links: set[int] = set()
        nodes: set[int] = set()
        for target in self.changes.opened:
            links |= target.opened.links
            nodes |= target.opened.nodes
        for number, link in enumerate(self.circuit.links):
            if link.part in self.changes.unplugged and link.kind in INSIDE_MODULE:
                links.add(number)
        for name in self.changes.unplugged:  # what it gives out is no source any more
            nodes |= {node for node in self.circuit.pins_of.get(name, {}).values()}
        return frozenset(links), frozenset(nodes)

    def _held(self) -> dict[str, bool]:
        """The truth of every condition, unknown command and hand-worked position: false unless held."""
        chosen = self.changes.held
        fixed = {name: chosen.get(name, "no") == "yes" for name in self.circuit.typed.vehicle.conditions}
        for name, known in commands_of(self.circuit).items():
            if name in chosen:
                fixed[name] = chosen[name] != "no"
            elif not known:
                fixed[name] = False
        for part in self.circuit.parts.values():
            if isinstance(part.facts, SwitchFacts) and part.follows is None and part.contacts:
                fixed[f"{part.name}={chosen.get(part.name) or default_position(part.contacts)}"] = True
        return fixed

    def _settle(self) -> Settled:
        """The key states one after another from the first to the wanted one, so that a relay that holds itself stays held."""
        keys = self.circuit.typed.vehicle.key
        relays: dict[str, Level] = {}
        for key in keys:
            if key not in self.shared.settled:
                self.shared.settled[key] = self.states.settle(key, relays, self.held)
            settled = self.shared.settled[key]
            relays = settled.relays
            if key == self.key:
                return settled
        raise ValueError(f"{self.key} is no key state")

    def _closed(self, link: Link) -> bool:
        level = self.states.conducts(link, self.settled, self.held)
        if link.kind in (LinkKind.DRIVER_HIGH, LinkKind.DRIVER_LOW):
            side = self.changes.held.get(self._command(link), "")
            if side in ("high", "low") and side != ("high" if link.kind is LinkKind.DRIVER_HIGH else "low"):
                return False
            facts = self._facts(link.part)
            assert isinstance(facts, ModuleFacts)
            if facts.outputs[link.output].drives == "both" and side not in ("high", "low"):
                if level is not Level.DEAD:
                    self.undecided[
                        f"which side of the half bridge {link.part}.{link.output} is on (taken as neither)"
                    ] = None
                return False
        if level is Level.DEPENDS:
            what = f"contact {link.part}" if link.kind is LinkKind.CONTACT else f"output {link.part}.{link.output}"
            self.undecided[f"{what} (taken as open)"] = None
        return level is Level.LIVE

    def _command(self, link: Link) -> str:
        facts = self._facts(link.part)
        assert isinstance(facts, ModuleFacts)
        return facts.outputs[link.output].command or f"{link.part}.{link.output}"

    # --- links -------------------------------------------------------------------------------------------------

    def _links(self) -> None:
        in_series: dict[int, float] = {}
        moved: dict[tuple[int, int], int] = {}
        for added in self.changes.added:
            for number in added.links:
                in_series[number] = in_series.get(number, 0.0) + added.ohm
            if added.attached:
                inner = self._node(f"{self.names[added.node]} behind the added resistance")
                for number in added.attached:
                    moved[number, added.node] = inner
                plain = Ohms(added.ohm, added.ohm, added.ohm, 0.0, "added")
                self.branches.append(Branch(inner, added.node, -1, "added resistance", "", plain))
        for number, link in enumerate(self.circuit.links):
            if number in self.shared.branches:
                self.branches.append(self.shared.branches[number])
                continue
            if number in self.open_links or link.a == link.b:
                continue
            a, b = moved.get((number, link.a), link.a), moved.get((number, link.b), link.b)
            self._link(number, link, a, b, in_series.get(number, 0.0))

    def _link(self, number: int, link: Link, a: int, b: int, extra_ohm: float) -> None:
        if link.kind is LinkKind.LOAD and self._load(link, a, b):
            return
        ohms = ohms_of(self.circuit, link, self.system_v, self.changes.fitted_a.get(link.part))
        if ohms is None:
            self._unknown_load(number, link, a, b)
            return
        if extra_ohm:
            ohms = replace(
                ohms, low=ohms.low + extra_ohm, nominal=ohms.nominal + extra_ohm, high=ohms.high + extra_ohm,
                basis=f"{ohms.basis}; {extra_ohm:g} Ω added",
            )  # fmt: skip
        kind = _KIND_WORDS.get(link.kind, "")
        if link.kind in (LinkKind.FUSE, LinkKind.CONTACT):
            kind = self.circuit.parts[link.part].kind
            kind = f"contact of {kind}" if link.kind is LinkKind.CONTACT else kind
        closed = True
        if link.kind in _SWITCHED:
            closed = self._closed(link)
        volts = None
        if link.kind is LinkKind.DIODE:
            drop = junction_v()
            volts = Span(-drop.low, -drop.nominal, -drop.high, "V", drop.source, drop.certainty)
        branch = Branch(a, b, number, kind, link.part, ohms, closed, volts, is_diode=link.kind is LinkKind.DIODE)
        self.branches.append(branch)
        if link.kind not in _SWITCHED:
            self.shared.branches[number] = branch

    def _load(self, link: Link, a: int, b: int) -> bool:
        """A load that is no resistor, as a draw; False for the rest."""
        facts = self._facts(link.part)
        if not isinstance(facts, LoadFacts) or facts.behaves in (None, "resistor"):
            return False
        watts = facts.watts
        if watts is None and facts.amps is not None:
            watts = facts.amps * self.system_v
        if watts is None and facts.ohms is not None:
            watts = self.system_v**2 / facts.ohms
        if watts is None:
            return False
        share = spread("watts of a load") if facts.watts is not None else spread("amps of a load or draw")
        amounts = (watts * share.low, watts * share.nominal, watts * share.high)
        kind = str(facts.behaves)
        if kind == "current":
            amounts = (amounts[0] / self.system_v, amounts[1] / self.system_v, amounts[2] / self.system_v)
        self.draws.append(Draw(link.part, a, b, kind, amounts, self.system_v))
        return True

    def _unknown_load(self, number: int, link: Link, a: int, b: int) -> None:
        """A load of which nothing is typed in: a resistor that takes the default current at the system's voltage."""
        item = "converter input" if link.kind is LinkKind.CONVERTER else "load"
        draw = default_draw_a(item)
        volts = self.system_v
        ohms = Ohms(
            volts / draw.high, volts / draw.nominal, volts / draw.low, 0.0, "nothing typed in", f"{link.part}: current ({draw.low:g} to {draw.high:g} A taken)"
        )  # fmt: skip
        self.branches.append(Branch(a, b, number, "load", link.part, ohms))

    # --- sources -----------------------------------------------------------------------------------------------

    def _node(self, name: str) -> int:
        self.names.append(name)
        return len(self.names) - 1

    def _reference(self) -> int:
        """Battery negative; where no battery is typed in, a node of its own that the assumed grounds are joined to."""
        nets = self.survey.hard_nets.of
        live = {nets[end.node] for end in self.circuit.sources if self._kind_at(end.node) == "battery"}
        posts = [end.node for end in self.circuit.grounds if self._kind_at(end.node) == "battery"]
        # the upper battery of a stack stands on the positive post of the lower one
        posts.sort(key=lambda node: nets[node] in live)
        if posts:
            return posts[0]
        node = self._node("battery negative (not typed in)")
        span = contact_ohm("ground whose wiring is not typed in")
        for end in self.circuit.grounds:
            if end.node not in self.open_nodes:
                self.branches.append(Branch(node, end.node, -1, "assumed ground", "", Ohms.of(span, "assumed ground")))
        return node

    def _kind_at(self, node: int) -> str:
        part = self.circuit.parts.get(self.circuit.node_parts[node])
        return part.kind if part is not None else ""

    def _turning(self) -> bool:
        return any(
            part.kind == "generator" and self.changes.held.get(part.name) == "yes"
            for part in self.circuit.parts.values()
        )

    def _battery_span(self) -> tuple[Span, str]:
        if self.changes.battery_v is not None:
            volts = self.changes.battery_v
            return Span(volts, volts, volts, "V", "as measured at the posts", "own"), "as measured"
        state = "charging" if self._turning() else "cranking" if self.key == "start" else "key on"
        if state == "key on" and self.key == self.circuit.typed.vehicle.key[0]:
            state = "at rest"
        limit = self.limits.of(f"battery {state}")
        assert limit.low is not None and limit.nominal is not None
        return Span(limit.low, limit.nominal, limit.high, "V", limit.source, "own"), state

    def _sources(self, reference: int, battery: Span) -> None:
        ideal = Ohms(LEAST_OHM, LEAST_OHM, LEAST_OHM, 0.0, "held at its posts")
        self.posts = self._negative_posts()
        for end in self.circuit.sources:
            if end.node in self.open_nodes:
                continue
            part = self.circuit.parts.get(self.circuit.node_parts[end.node])
            if part is not None and part.kind == "battery":
                minus = self.posts.get(part.name, reference)
                factor = self._share_of_system(part.name, minus)
                self.branches.append(
                    Branch(
                        minus,
                        end.node,
                        -1,
                        "battery",
                        part.name,
                        ideal,
                        volts=_times(battery, factor),
                        is_battery=True,
                    )
                )
            elif part is not None and part.kind == "generator":
                continue  # its voltage is at the battery posts: the state of the battery says whether it turns
            elif part is not None and part.kind == "converter":
                self._converter(part.name, end.node)
            else:
                self._assumed_source(end.node, reference, battery, part.name if part is not None else "")

    def _negative_posts(self) -> dict[str, int]:
        """The negative post of each battery; several posts of one battery are one."""
        found: dict[str, int] = {}
        ideal = Ohms(LEAST_OHM, LEAST_OHM, LEAST_OHM, 0.0, "one post")
        for part in self.circuit.parts.values():
            if part.kind != "battery":
                continue
            posts = [node for pin, node in self.circuit.pins_of.get(part.name, {}).items() if pin.startswith("-")]
            for node in posts[1:]:
                self.branches.append(Branch(posts[0], node, -1, "post of", part.name, ideal))
            if posts:
                found[part.name] = posts[0]
        return found

    def _share_of_system(self, name: str, minus: int) -> float:
        """What part of the system's voltage a battery has: as typed in, or its share of a stack of two."""
        facts = self._facts(name)
        assert isinstance(facts, BatteryFacts)
        if facts.volts is not None:
            return facts.volts / self.system_v
        grounds = {end.node for end in self.circuit.grounds}
        batteries = [part for part in self.circuit.parts.values() if part.kind == "battery"]
        stacked = any(post not in grounds for post in self.posts.values())
        return 1.0 / len(batteries) if stacked and minus in self.posts.values() else 1.0

    def _converter(self, name: str, out: int) -> None:
        if self.settled.alive.get(name, Level.DEAD) is not Level.LIVE:
            return
        facts = self._facts(name)
        assert isinstance(facts, ConverterFacts)
        if facts.volts is None:
            self.notes.append(f"converter {name}: its output voltage is not typed in, so it is left out")
            return
        volts = Span(facts.volts * 0.97, facts.volts, facts.volts * 1.03, "V", "as typed, 3 % either way", "own")
        ohms = Ohms.of(contact_ohm("source whose wiring is not typed in"))
        self.branches.append(
            Branch(self.circuit.pins_of[name]["ground"], out, -1, "converter", name, ohms, volts=volts)
        )

    def _assumed_source(self, node: int, reference: int, battery: Span, module: str) -> None:
        level = self.states.source_level(node, self.key, self.held)
        if module:
            level = min(level, self.settled.alive.get(module, Level.LIVE))
        if level is Level.DEPENDS:
            self.undecided[f"whether {self.names[node]} is live (taken as dead)"] = None
        if level is not Level.LIVE:
            return
        ohms = Ohms.of(
            contact_ohm("source whose wiring is not typed in"),
            "assumed source",
            f"the way from the battery to {self.names[node]}",
        )
        self.branches.append(
            Branch(reference, node, -1, "assumed source", module, ohms, volts=battery, is_battery=True)
        )

    # --- modules -----------------------------------------------------------------------------------------------

    def _modules(self) -> None:
        for part in self.circuit.modules():
            if part.name in self.changes.unplugged or any(
                part.name in target.parts and target.kind == "module" for target in self.changes.opened
            ):
                continue
            facts = part.facts
            assert isinstance(facts, ModuleFacts)
            pins = self.circuit.pins_of.get(part.name, {})
            returns = self._returns(facts, pins)
            supplies = [pin for pin, words in facts.pins.items() if words.split()[:1] == ["supply"] and pin in pins]
            supplies += [pin for pin in facts.draws if pin in pins and pin not in supplies]
            if not supplies:
                continue
            if not returns:
                self.notes.append(f"{part.name}: no ground pin is typed in, so what it draws is left out")
                continue
            hub = self.inside[part.name] = self._node(f"inside {part.name}")
            span = contact_ohm("bridge inside a module")
            for pin in returns:
                self.branches.append(Branch(pins[pin], hub, -1, "inside", part.name, Ohms.of(span)))
            for pin in supplies:
                self._module_draw(part.name, facts, pin, pins[pin], hub)

    def _returns(self, facts: ModuleFacts, pins: dict[str, int]) -> list[str]:
        """The pins through which what a module draws goes back: as typed, else those its low-side outputs use, else every declared ground."""
        through = [pin for output in facts.outputs.values() for pin in output.through]
        declared = [pin for pin, words in facts.pins.items() if words.split()[:1] == ["ground"]]
        chosen: Iterable[str] = facts.returns or through or declared
        return [pin for pin in dict.fromkeys(chosen) if pin in pins]

    def _module_draw(self, module: str, facts: ModuleFacts, pin: str, node: int, hub: int) -> None:
        typed = self._typed_draw(facts.draws.get(pin, {}))
        if typed == 0.0:
            return  # typed in as taking nothing
        if typed is not None:
            share = spread("amps of a load or draw")
            amounts = (typed * share.low, typed, typed * share.high)
            assumed = ""
        else:
            off = self.key == self.circuit.typed.vehicle.key[0]
            span = default_draw_a(f"supply pin of a module, {'key off' if off else 'awake'}")
            factor = 12.0 / self.system_v
            amounts = (span.low * factor, span.nominal * factor, span.high * factor)
            assumed = f"current of {module}.{pin} ({amounts[0]:g} to {amounts[2]:g} A taken)"
        self.draws.append(Draw(f"{module}.{pin}", node, hub, "current", amounts, self.system_v, assumed))

    def _typed_draw(self, draw: dict[str, float | None]) -> float | None:
        """The current that holds now: that of a condition that is held, else of the key state, else what holds otherwise."""
        for name, on in self.held.items():
            if on and name in draw:
                return draw[name]
        if self.key in draw:
            return draw[self.key]
        return draw.get("otherwise", draw.get(""))

    def _fitted_notes(self) -> None:
        for name, amps in self.changes.fitted_a.items():
            facts = self._facts(name)
            assert isinstance(facts, FuseFacts)
            if facts.amps is not None and amps > facts.amps:
                self.notes.append(
                    f"{name}: {amps:g} A in place of {facts.amps:g} A no longer protects its wires; the drop tells nothing about that"
                )

    # --- what is added -----------------------------------------------------------------------------------------

    def _added(self, reference: int) -> None:
        for load in self.changes.loads:
            plus, minus = self.ends_of(load, reference)
            add_load(self.branches, self.draws, load, plus, minus, self.system_v)

    def ends_of(self, load: AddedLoad, reference: int) -> tuple[int, int]:
        """Plus and minus side of a test load: the other lead is clipped on a battery post."""
        if load.level == "supply":
            return load.node, reference
        plus = next((branch.b for branch in self.branches if branch.is_battery), reference)
        return plus, load.node


def add_load(
    branches: list[Branch], draws: list[Draw], load: AddedLoad, plus: int, minus: int, system_v: float
) -> None:
    """A test load as a branch or a draw."""
    amounts = (load.amount, load.amount, load.amount)
    if load.kind == "resistor":
        branches.append(Branch(plus, minus, -1, "test load", "", Ohms(*amounts, 0.0, "test load")))
    else:
        draws.insert(0, Draw(load.words, plus, minus, load.kind, amounts, system_v))


def with_test_lamp(model: Model, node: int, watts: float, *, supply: bool) -> Model:
    """The model with a filament lamp between a node and the battery post that is not its own level's."""
    plus = next((branch.b for branch in model.branches if branch.is_battery), model.reference)
    first, second = (node, model.reference) if supply else (plus, node)
    lamp = Draw("test lamp", first, second, "lamp", (watts, watts, watts), float(model.limits.system_v))
    return replace(model, branches=list(model.branches), draws=[lamp, *model.draws])


def _times(span: Span, factor: float) -> Span:
    return replace(span, low=span.low * factor, nominal=span.nominal * factor, high=span.high * factor)


def fuses_in(circuit: Circuit) -> Iterator[str]:
    """Every fuse, link and breaker."""
    return (part.name for part in circuit.parts.values() if part.kind in FUSE_KINDS)
