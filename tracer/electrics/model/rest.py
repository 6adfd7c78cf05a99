"""The state of rest of a model in one setting, looked for with care and one step after another: for what finds no rest in many settings at once."""

from __future__ import annotations

import numpy as np

from tracer.electrics.model.branches import Sampled, Setting
from tracer.electrics.model.circuit_model import Model, NotSettled, Solved
from tracer.electrics.network.described import FloatArray, Network, NetworkError
from tracer.electrics.network.linear import Solution, solve
from tracer.electrics.network.load_laws import LoadLaws
from tracer.electrics.network.with_loads import solve_with_loads

MOST_LOADS = 400  # beyond, the loads farthest down the list are taken as the resistors they nominally are
_DIODE_TURNS = 40
BACKWARDS_A, FORWARDS_V = 1e-9, 1e-6  # below these a diode is right as it is


class Rest:
    """Looks for the state of rest of a model in a setting; `values` are siemens and volts of its branches where they are not those that the setting chooses."""

    def __init__(
        self, model: Model, setting: Setting | Sampled, values: tuple[FloatArray, FloatArray] | None = None
    ) -> None:
        self.model = model
        self.setting = setting
        if values is None:
            chosen_s, chosen_v = model.values_of([setting])
            values = chosen_s[:, 0], chosen_v[:, 0]
        count = len(model.draws)
        self.conductance_s = np.concatenate([values[0], np.ones(count)])
        self.source_v = np.concatenate([values[1], np.zeros(count)])
        laws, rated_s = model.laws_of([setting])
        self.laws, self.rated_s = LoadLaws(*laws[:, :, 0]), rated_s[:, 0]

    def found(self) -> Solved:
        """The state of rest.

        Raises
        ------
        NotSettled : names what cannot be supplied, or gives up and recovers by turns, or the diodes that do
        """
        model, blocking = self.model, frozenset[int]()
        for turn in range(_DIODE_TURNS + 2 * len(model.live_diodes)):
            found = self.with_blocking(blocking)
            wrong = {n: error for n in model.live_diodes if (error := _diode_error(n, found, n in blocking)) > 0.0}
            if not wrong:
                return found
            # all at once is quick; where that goes round in circles, one at a time, the worst first
            turned = set(wrong) if turn < _DIODE_TURNS // 2 else {max(wrong, key=lambda n: (wrong[n], -n))}
            blocking = blocking ^ turned
        names = ", ".join(sorted({model.branches[n].part for n in model.live_diodes}))
        raise NotSettled(f"no steady state was found: the diodes {names} conduct and block by turns")

    def with_blocking(self, blocking: frozenset[int]) -> Solved:
        """At rest with these diodes blocking. What gets less than half its voltage has given up and is a resistor; which those are is found first."""
        network = self.model.with_blocking(blocking).with_conductances(self.conductance_s, self.source_v)
        try:
            return self._at_rest(network)
        except NotSettled:
            raise
        except NetworkError as error:
            raise NotSettled(f"no steady state was found: {error}") from error

    def _at_rest(self, network: Network) -> Solved:
        draws, plain = self.model.draws, len(self.model.branches)
        starved = self._starved(self._across_draws(self._as_rated(network).potential_v))
        tried: set[frozenset[int]] = set()
        while starved not in tried:
            tried.add(starved)
            working = [n for n in range(len(draws)) if n not in starved][:MOST_LOADS]
            solution = self._with_loads(network, working, starved)
            drop_v = self._across_draws(solution.potential_v)
            after = self._starved(drop_v)
            if after == starved:
                factor = solution.factor
                return Solved(
                    self.setting, solution.potential_v, solution.branch_a[:plain], self.laws.current_a(drop_v), drop_v, self.laws,
                    network, factor.island, factor.floating,
                )  # fmt: skip
            starved = after
        names = ", ".join(draws[n].name for n in sorted(starved)[:6])
        raise NotSettled(f"no steady state was found: {names} give up and recover by turns")

    def _as_rated(self, network: Network) -> Solution:
        """Every draw as the resistor it is at its rated voltage: who has given up is judged by that first."""
        conductance_s = network.conductance_s.copy()
        conductance_s[len(self.model.branches) :] = self.rated_s
        return solve(network.with_conductances(conductance_s))

    def _across_draws(self, potential_v: FloatArray) -> FloatArray:
        a, b = self.model.draw_ends.T
        drop_v: FloatArray = potential_v[a] - potential_v[b]
        return drop_v

    def _starved(self, drop_v: FloatArray) -> frozenset[int]:
        return frozenset(
            n for n, draw in enumerate(self.model.draws) if draw.gives_up and abs(drop_v[n]) < draw.least_v
        )

    def _with_loads(self, network: Network, working: list[int], starved: frozenset[int]) -> Solution:
        """The network with the working draws as loads, after those that are resistors."""
        draws, amounts = self.model.draws, self.model.amounts_of(self.setting)
        exact = frozenset(working)
        places = [n for n in range(len(draws)) if n not in exact]
        ohm = [draws[n].resistor_ohm(amounts[n], given_up=n in starved) for n in places]
        count = len(self.model.branches)
        bare = self.model.network(self.setting).with_conductances(self.conductance_s[:count], self.source_v[:count])
        bare = bare.opened(np.flatnonzero(~network.closed[:count]))
        plain = bare.with_branches(self.model.draw_ends[places], ohm)
        try:
            return solve_with_loads(plain, [draws[n].load(amounts[n]) for n in working])
        except NetworkError as error:
            names = ", ".join(draws[working[n]].name for n in getattr(error, "loads", ()))
            raise NotSettled(f"no steady state was found{f' at {names}' if names else ''}: {error}") from error


def _diode_error(number: int, found: Solved, blocks: bool) -> float:
    """How wrong it is that a diode blocks (V it should conduct at) or conducts (A backwards); 0 where it is right."""
    a, b = found.loaded.ends[number]
    floating = found.floating
    amps = float(found.branch_a[number])
    if not blocks:
        if abs(amps) <= BACKWARDS_A and not floating[b] and found.potential_v[b] < -FORWARDS_V:
            return float(-found.potential_v[b])  # no source pushes there: what hangs on it alone floats
        return max(0.0, -amps - BACKWARDS_A)
    if (floating[a] or floating[b]) and found.island[a] != found.island[b]:
        # conducting, it carries nothing and gives the far side its level, unless that is below battery negative
        return (
            1.0 if floating[b] and (floating[a] or found.potential_v[a] + found.loaded.source_v[number] > 0.0) else 0.0
        )
    drop = float(found.potential_v[a] - found.potential_v[b] + found.loaded.source_v[number])
    return max(0.0, drop - FORWARDS_V)
