"""A circuit in one key state as a network of resistors, with what each value rests on.

Node numbers are those of the circuit; more follow for the inside of modules and for added resistances. The voltage of the battery is that at its posts, held
whatever flows: a technician reads it there first, and every other reading is judged against it. What depends on something that is not said (a command, a
condition, a switch worked by hand) is open unless it is held; each such thing is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from tracer.circuit.model import Circuit
from tracer.circuit.states import KeyStates, Level, Settled
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import HIGH, LOW, NOMINAL, Branch, Draw, Sampled, Setting, apart, between, reach
from tracer.electrics.model.changes import Changes
from tracer.electrics.network.described import (
    LEAST_OHM,
    MOST_OHM,
    BoolArray,
    FloatArray,
    IntArray,
    Network,
    NetworkError,
    network_of_resistances,
)
from tracer.electrics.network.factor import islands_of
from tracer.electrics.network.linear import Solution, solve
from tracer.electrics.network.load_laws import LoadLaws
from tracer.entry.problems import CannotCompute
from tracer.standards.allowances import Span

if TYPE_CHECKING:
    from tracer.electrics.network.in_many_settings import States, Together


class NotSettled(CannotCompute, NetworkError):
    """A state in which no steady voltages were found; the message says which parts stand in the way."""


@dataclass(frozen=True, eq=False)
class Solved:
    """The model in one setting. `node_v` is against battery negative, not a number where floating; `branch_a` for the model's own branches.

    `potential_v` is `node_v`, but in a floating island against a node of its own; `loaded` the network with the draws as its last branches;
    `island` the lowest node of the island that each node is in, `floating` whether that hangs on no reference.
    """

    setting: Setting | Sampled
    potential_v: FloatArray
    branch_a: FloatArray
    draw_a: FloatArray
    draw_drop_v: FloatArray
    laws: LoadLaws
    loaded: Network
    island: IntArray
    floating: BoolArray

    @cached_property
    def node_v(self) -> FloatArray:
        node_v: FloatArray = np.where(self.floating, np.nan, self.potential_v)
        return node_v

    @cached_property
    def solution(self) -> Solution:
        """The network with every draw as the resistor it amounts to: for source resistances, slopes and faults."""
        conductance_s = self.loaded.conductance_s.copy()
        conductance_s[len(self.branch_a) :] = self.laws.resistor_s(self.draw_drop_v)
        return solve(self.loaded.with_conductances(conductance_s))


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

    def with_values(self, branches: list[Branch], draws: list[Draw]) -> Model:
        """The same with other values in some of its branches and draws, and nothing else changed: what does not hang on them is kept."""
        found = replace(self, branches=branches, draws=draws)
        kept = [*_LASTING, *(_OF_DRAWS if draws == self.draws else ())]
        changed = [n for n, (new, old) in enumerate(zip(branches, self.branches, strict=True)) if new is not old]
        if all(branches[n].volts is self.branches[n].volts for n in changed):
            kept.append("_volts")
        found.__dict__.update({name: self.__dict__[name] for name in kept if name in self.__dict__})
        for name, of in (("_ohm", _ohms_of), ("contact_ohm", _contact_ohms_of)) if changed else ():
            if name in self.__dict__:
                values = self.__dict__[name].copy()
                values[changed] = of(branches[n] for n in changed)
                found.__dict__[name] = values
        return found

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
        return _ohms_of(self.branches)

    @cached_property
    def contact_ohm(self) -> FloatArray:
        """(m,) greatest ohms of each contact in a branch; 0 where it has none."""
        return _contact_ohms_of(self.branches)

    @cached_property
    def _volts(self) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        found = np.zeros((len(self.branches), 3))
        for row, branch in enumerate(self.branches):
            if branch.volts is not None:
                found[row] = (branch.volts.low, branch.volts.nominal, branch.volts.high)
        return found

    @cached_property
    def pushing(self) -> IntArray:
        """Branches in which something pushes."""
        return np.flatnonzero(np.any(self._volts != 0.0, axis=1))

    @cached_property
    def battery_branches(self) -> IntArray:
        """Branches that are a battery or a source of its voltage."""
        return np.array([n for n, branch in enumerate(self.branches) if branch.is_battery], dtype=np.intp)

    @cached_property
    def posts(self) -> list[int]:
        """Where supply begins: the positive posts of the batteries, in any state, and assumed sources; of the generators where there is neither."""
        batteries = [one for one in self.branches if one.is_battery]
        return [one.b for one in batteries if one.kind != "generator"] or [one.b for one in batteries]

    @cached_property
    def minus_studs(self) -> dict[int, str]:
        """Where what goes back ends, and what it is called: battery negative; and the minus of each generator that turns."""
        found = {one.a: f"the minus of {one.part}" for one in self.branches if one.kind == "generator"}
        return {self.reference: "battery negative"} | found

    @cached_property
    def spread_ohm(self) -> FloatArray:
        """(m,) from the low to the high end of each branch."""
        return reach(self._ohm)

    @cached_property
    def spread_v(self) -> FloatArray:
        """(m,) from the low to the high end of what pushes inside a branch; 0 for the battery, which has an end of its own."""
        spread_v = reach(self._volts)
        spread_v[self.battery_branches] = 0.0
        return spread_v

    @cached_property
    def spread_battery_v(self) -> FloatArray:
        """(b,) from the low to the high end of each of `battery_branches`."""
        return reach(self._volts[self.battery_branches])

    @cached_property
    def spread_draw_a(self) -> FloatArray:
        """(k,) amperes at the rated voltage from the low to the high end of each draw."""
        rated_v = np.array([draw.rated_v for draw in self.draws])
        return reach(self.rated_s, rated_v)

    def network(self, setting: Setting | Sampled) -> Network:
        """The network of a setting, without the draws; diodes conduct."""
        conductance_s, source_v = self.values_of([setting])
        return self._bare.with_conductances(conductance_s[:, 0], source_v[:, 0])

    def values_of(self, settings: Sequence[Setting | Sampled]) -> tuple[FloatArray, FloatArray]:
        """(m, s) siemens and volts of the branches in s settings."""
        conductance_s, source_v = np.zeros((2, len(self.branches), len(settings)))
        ends, sampled = apart(settings)
        if ends:
            rows = np.arange(len(self.branches))[:, np.newaxis]
            columns = np.array(list(ends), dtype=np.intp)
            chosen = np.stack([one.branches for one in ends.values()], axis=1)
            conductance_s[:, columns] = self._table_s[rows, chosen]
            pushed = np.stack([one.volts[self.pushing] for one in ends.values()], axis=1)
            source_v[np.ix_(self.pushing, columns)] = self._volts[rows[self.pushing], pushed]
            battery = np.array([one.battery for one in ends.values()], dtype=np.intp)
            at_posts = self._volts[self.battery_branches[:, np.newaxis], battery]
            source_v[np.ix_(self.battery_branches, columns)] = at_posts
        if sampled:
            columns = np.array(list(sampled), dtype=np.intp)
            shares = np.stack([one.ohms for one in sampled.values()], axis=1)
            conductance_s[:, columns] = 1.0 / between(self._ohm, shares)
            shares = np.stack([one.volts[self.pushing] for one in sampled.values()], axis=1)
            shares[np.isin(self.pushing, self.battery_branches, kind="table")] = [
                one.battery for one in sampled.values()
            ]
            source_v[np.ix_(self.pushing, columns)] = between(self._volts[self.pushing], shares)
        return conductance_s, source_v

    def amounts_of(self, setting: Setting | Sampled) -> list[float]:
        """What each draw takes in a setting."""
        if isinstance(setting, Setting):
            return [draw.amounts[at] for draw, at in zip(self.draws, setting.draws.tolist(), strict=True)]
        pairs = zip(self.draws, setting.draws.tolist(), strict=True)
        return [draw.amounts[LOW] + share * (draw.amounts[HIGH] - draw.amounts[LOW]) for draw, share in pairs]

    def laws_of(self, settings: Sequence[Setting | Sampled]) -> tuple[FloatArray, FloatArray]:
        """(4, k, s) the laws of the draws in s settings (see `LoadLaws`), and (k, s) siemens: each as the resistor it is at its rated voltage."""
        laws, rated_s = np.empty((4, len(self.draws), len(settings))), np.empty((len(self.draws), len(settings)))
        ends, sampled = apart(settings)
        if ends:
            rows = np.arange(len(self.draws))[:, np.newaxis]
            columns = np.array(list(ends), dtype=np.intp)
            chosen = np.stack([one.draws for one in ends.values()], axis=1)
            laws[:, :, columns] = np.moveaxis(self.draw_laws[chosen, rows], 2, 0)
            rated_s[:, columns] = self.rated_s[rows, chosen]
        if sampled:  # both pieces of a law go with its amount, the knee and the exponent are the same at both ends
            columns = np.array(list(sampled), dtype=np.intp)
            shares = np.stack([one.draws for one in sampled.values()], axis=1)
            for place in range(4):
                laws[place][:, columns] = between(self.draw_laws[:, :, place].T, shares)
            rated_s[:, columns] = between(self.rated_s, shares)
        return laws, rated_s

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
        table = np.array([[draw.load(draw.amounts[at]).law for draw in self.draws] for at in (LOW, NOMINAL, HIGH)])
        return table.reshape(3, len(self.draws), 4)

    @cached_property
    def rated_s(self) -> FloatArray:
        """(k, 3) siemens: each draw as the resistor it is at its rated voltage, with its low, nominal and high amount."""
        table = [[1.0 / draw.resistor_ohm(amount) for amount in draw.amounts] for draw in self.draws]
        return np.array(table, dtype=np.float64).reshape(-1, 3)

    def solve(self, setting: Setting | Sampled | None = None) -> Solved:
        """Voltages and currents of a setting (default: everything nominal); many settings together are quicker (`Together`).

        Raises
        ------
        NotSettled : the loads cannot be supplied, or diodes find no rest
        """
        if setting is None:
            return self._together.solved(self._nominal, 0)
        try:
            start = self._nominal
        except NotSettled:
            start = None
        return self._together.solved(self._together.solve([(0, setting)], start), 0)

    @cached_property
    def _together(self) -> Together:
        from tracer.electrics.network.in_many_settings import Together

        return Together([self], asked=())

    @cached_property
    def _nominal(self) -> States:
        return self._together.solve([(0, self.setting())])

    def with_blocking(self, blocking: Iterable[int]) -> Network:
        """The branches and a place for every draw, with these diodes open."""
        number = sorted(blocking)
        return self.placed.opened(number) if number else self.placed

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
        island = islands_of(bare.node_count, np.concatenate([bare.ends[both_ways], self.draw_ends])).tolist()
        reached = {island[self.reference]}
        while True:
            further = {island[self.branches[n].b] for n in diodes if island[self.branches[n].a] in reached}
            if further <= reached:
                return [n for n in diodes if island[self.branches[n].a] not in reached]
            reached |= further

    @cached_property
    def converts(self) -> bool:
        """Whether a converter gives out."""
        return any(branch.kind == "converter" for branch in self.branches)

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
            return f"contact {self.circuit.cavity_of(branch.a)}"
        if branch.kind == "ground point":
            return f"eyelet {branch.part}"
        if branch.part:
            return f"{branch.kind} {branch.part}"
        return branch.kind


# What of a model does not change with the values in its branches, nor with those of its draws; `_bare` and `placed` are given others wherever they are solved.
_LASTING = ("is_load", "battery_branches", "_bare", "draw_ends", "placed", "live_diodes", "_idle_diodes", "converts")
_OF_DRAWS = ("draw_laws", "rated_s")


def _ohms_of(branches: Iterable[Branch]) -> FloatArray:
    """(m, 3) low, nominal and high ohms, within what a network takes."""
    # straight from a generator: lists of a row each keep the garbage collector busy
    flat = (ohm for branch in branches for ohm in (branch.ohms.low, branch.ohms.nominal, branch.ohms.high))
    return np.clip(np.fromiter(flat, dtype=np.float64).reshape(-1, 3), LEAST_OHM, MOST_OHM)


def _contact_ohms_of(branches: Iterable[Branch]) -> FloatArray:
    ohms = (branch.ohms for branch in branches)
    return np.fromiter((one.contact[2] / one.contacts if one.contacts else 0.0 for one in ohms), dtype=np.float64)
