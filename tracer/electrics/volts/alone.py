"""A module unplugged, each of its pins by itself: what a meter shows there, and what it shows with a test lamp, in the same settings.

What a lamp pulls a pin down by is compared draw by draw: the battery and what other loads do are in both voltages and cancel, so that what is left tells of
the way alone.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from tracer.circuit.kinds import CONDUCTORS
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.electrics.model.branches import HIGH, LOW, NOMINAL, Draw, Sampled, Setting
from tracer.electrics.model.circuit_model import Model
from tracer.electrics.network.described import BoolArray, FloatArray, IntArray
from tracer.electrics.network.factor import islands_of
from tracer.electrics.network.in_many_settings import Case, States, Together
from tracer.electrics.network.load_laws import FilamentLamp, LoadLaws
from tracer.electrics.volts.likely import SAMPLES, band, even, sampled_settings
from tracer.electrics.volts.own_currents import at_rest
from tracer.electrics.volts.rows import nominal_in_order
from tracer.electrics.volts.values import Range
from tracer.standards.allowances import spread
from tracer.trace.affects.still_fed import Opened

__all__ = ["AlonePin", "PinsAlone", "with_test_lamp"]

_STEP_V = 0.01  # growth is given in steps of 10 mV
_UNLIT_W = 1e-12  # so that one network does for all lamps: what it takes moves nothing that a meter shows


@dataclass(frozen=True, slots=True)
class AlonePin:
    """A pin of the unplugged module: its node, its level, whether diodes are on its way."""

    node: int
    supply: bool
    diodes: bool


@dataclass(frozen=True, eq=False)
class _Alone:
    """(s,) volts at the node and volts lost up to it, one of each setting."""

    node_v: FloatArray
    lost_v: FloatArray


@dataclass(frozen=True, eq=False)
class _Seen:
    """A pin as a lamp on it sees the network: (s,) volts without the lamp, and by how much an ampere moves its volts, the node and the post."""

    bare_v: FloatArray
    lamp_ohm: FloatArray
    node_ohm: FloatArray
    post_ohm: FloatArray


class PinsAlone:
    """A model in one key state with the module unplugged.

    In the nominal setting; once a figure is asked for, with everything at its ends and in settings taken by chance as well.

    Parameters
    ----------
    sound : what contacts of the vehicle in order have, see `nominal_in_order`

    Raises
    ------
    NotSettled : no steady voltages; by what gives figures, in some setting
    """

    def __init__(
        self, model: Model, pins: Sequence[AlonePin], limits: LimitsInUse, sound: dict[int, float] | None = None
    ) -> None:
        watched = {model.reference, *model.posts, *(pin.node for pin in pins)}
        fitted = nominal_in_order(Together([model], (), watched), {} if sound is None else sound)
        self.together, self.nominal = fitted
        self.model = self.together.models[0]
        self.limits = limits
        self._pins = list(dict.fromkeys(pins))
        posts_v = dict(
            zip(
                self.model.posts,
                np.nan_to_num(self.nominal.at(np.array(self.model.posts, dtype=np.intp)))[:, 0],
                strict=True,
            )
        )
        # the positive post that the drop of a supply is measured from; None where no battery is typed in
        self._post = max(posts_v, key=lambda post: float(posts_v[post]), default=None)
        self._lit: dict[tuple[AlonePin, float], _Alone] = {}

    @cached_property
    def _settings(self) -> list[Setting | Sampled]:
        """The nominal one, all ends, those sampled."""
        ends = [(a, b, c) for a in (LOW, HIGH) for b in (LOW, HIGH) for c in (LOW, HIGH)]
        at_ends = [self.model.setting(*one) for one in ((NOMINAL, NOMINAL, NOMINAL), *ends)]
        return [*at_ends, *sampled_settings(self.model)]

    @property
    def sampled(self) -> BoolArray:
        """(s,) which of the settings were sampled."""
        return np.array([isinstance(one, Sampled) for one in self._settings], dtype=np.bool_)

    @cached_property
    def _in_all(self) -> tuple[dict[int, FloatArray], Mapping[AlonePin, _Seen]]:
        """(s,) volts of the watched nodes, and each pin as a lamp sees it. No more of all those states is kept: a vehicle in 73 settings is 20 MB."""
        states = at_rest(self.together, [(0, one) for one in self._settings], self.nominal)
        node_v = dict(zip(self.together.watched.tolist(), states.at(self.together.watched), strict=True))
        return node_v, self._seen_from(states, node_v)

    @property
    def _node_v(self) -> dict[int, FloatArray]:
        return self._in_all[0]

    @property
    def _seen(self) -> Mapping[AlonePin, _Seen]:
        return self._in_all[1]

    def floats(self, pin: AlonePin) -> bool:
        """Whether the pin has no way to the battery."""
        return bool(self.nominal.islands[0].floating[pin.node])

    def grounded_without(self, pin: AlonePin, opened: Collection[Opened]) -> bool:
        """Whether conductors alone lead from the pin to battery negative when something is opened: so they do then, whatever a relay does."""
        if self._turns:
            return False  # what a generator gives may change, and whether anything is computed beside it
        links = [link for one in opened for link in one.links]
        nodes = [node for one in opened for node in one.nodes]
        link, ends = self._conductors
        left = ends[~(np.isin(link, links) | np.isin(ends, nodes).any(axis=1))]
        island = islands_of(len(self.model.node_names), left)
        return bool(island[pin.node] == island[self.model.reference])

    @cached_property
    def _turns(self) -> bool:
        return any(branch.kind == "generator" for branch in self.model.branches)

    @cached_property
    def _conductors(self) -> tuple[IntArray, IntArray]:
        """(c,) the links that conduct in every state, and (c, 2) their ends."""
        links = self.model.circuit.links
        found = [
            (one.link, one.a, one.b)
            for one in self.model.branches
            if one.link >= 0 and links[one.link].kind in CONDUCTORS
        ]
        table = np.array(found, dtype=np.intp).reshape(-1, 3)
        return table[:, 0], table[:, 1:]

    def bare(self, pin: AlonePin) -> _Alone:
        """The meter alone; it loads the probed point only."""
        meter_ohm = self.limits.of("meter input").high
        node_v = self._node_v[pin.node] / (1.0 + self._source_ohm[pin] / meter_ohm)
        return self._alone(pin, node_v, self._post_v)

    def lit(self, pin: AlonePin, watts: float) -> _Alone:
        """With a lamp on the pin."""
        if (pin, watts) not in self._lit:
            self._lit[pin, watts] = self._solved_with_lamp(pin, watts) if pin.diodes else self._seen_by_lamp(pin, watts)
        return self._lit[pin, watts]

    def range(self, values: FloatArray) -> Range:
        """The band and the worst case of (s,) values."""
        return band(values, self.sampled)

    def grows(self, pin: AlonePin, watts: float) -> Range:
        """By how many volts the lamp lets the drop of a sound way grow, as a meter shows it with its own error. Of no meaning where diodes are on the way."""
        gain, first, second = (self._errors(seed) for seed in (5, 6, 7))
        grown_v = self.lit(pin, watts).lost_v - self.bare(pin).lost_v
        return self.range(grown_v * (1.0 + self._meter_share * gain) + self._meter_digits_v * (first - second))

    def most_growth_v(self, pin: AlonePin, watts: float) -> float:
        """The high end of what a sound way grows by, rounded up to what is given: more is a bad joint."""
        return round(math.ceil(self.grows(pin, watts).high / _STEP_V - 1e-6) * _STEP_V, 6)

    def hides_ohm(self, pin: AlonePin, watts: float, limit_v: float) -> Range:
        """Ohms in series that still let the drop grow by no more than `limit_v`, as a meter shows it; less than nothing where a sound way grows by more."""
        seen = self._seen[pin]
        # the lamp then has that much less, and what it lets through loses it along the way and the joint
        passed_v = (limit_v + 2.0 * self._meter_digits_v) / (1.0 - self._meter_share)
        lamp_a = self._lamp(watts).current_a(np.maximum(seen.bare_v - passed_v, 1e-9))
        return self.range(passed_v / lamp_a - seen.lamp_ohm)

    # --- inside ------------------------------------------------------------------------------------------------------

    @cached_property
    def _meter_share(self) -> float:
        return self.limits.of("meter millivolt share").high

    @cached_property
    def _meter_digits_v(self) -> float:
        return self.limits.of("meter millivolt digits").high / 1000

    @cached_property
    def _post_v(self) -> FloatArray:
        return np.zeros(len(self._settings)) if self._post is None else self._node_v[self._post]

    def _alone(self, pin: AlonePin, node_v: FloatArray, post_v: FloatArray) -> _Alone:
        return _Alone(node_v, post_v - node_v if pin.supply else node_v)

    def _errors(self, seed: int) -> FloatArray:
        """(s,) shares from -1 to 1 of what a meter may be off: none in the nominal setting, most at the ends."""
        ends = np.ones(len(self._settings) - SAMPLES)
        ends[0] = 0.0
        return np.concatenate([ends if seed != 7 else -ends, 2.0 * even(1, seed)[0] - 1.0])

    def _lamp(self, watts: float) -> LoadLaws:
        """The lamp in each setting: its watts are no more certain than those of a load."""
        share = spread("watts of a load")
        sampled = share.low + even(1, 4)[0] * (share.high - share.low)
        ends = (share.high if one.battery == HIGH else share.low for one in self._settings[1:-SAMPLES])
        rated = watts * np.array([1.0, *ends, *sampled])
        law = FilamentLamp(0, 0, float(self.model.limits.system_v), watts).law
        of_one = rated / watts
        return LoadLaws(
            law.amount * of_one, np.full_like(rated, law.exponent), np.full_like(rated, law.knee_v), law.low_s * of_one
        )

    def _seen_from(self, states: States, node_v: Mapping[int, FloatArray]) -> Mapping[AlonePin, _Seen]:
        """Every pin as a lamp sees it."""
        columns: IntArray = np.arange(len(states.cases))
        row = {node: place for place, node in enumerate(self.together.watched.tolist())}
        pushed_a = np.zeros((len(row), len(self._pins)))
        for place, (first, second) in enumerate(map(self._lamp_ends, self._pins)):
            pushed_a[row[first], place] -= 1.0
            pushed_a[row[second], place] += 1.0
        moved_v = self.together.answers_at(states, columns, pushed_a)
        found = {}
        for place, pin in enumerate(self._pins):
            first, second = self._lamp_ends(pin)
            moved = moved_v[:, :, place]
            bare_v = node_v[first] - node_v[second]
            post = np.zeros(columns.size) if self._post is None else moved[row[self._post]]
            found[pin] = _Seen(bare_v, moved[row[second]] - moved[row[first]], moved[row[pin.node]], post)
        return found

    @cached_property
    def _source_ohm(self) -> Mapping[AlonePin, FloatArray]:
        """(s,) ohms that a meter at each pin looks into; of a ground they are next to nothing beside it."""
        return {pin: seen.lamp_ohm if pin.supply else np.zeros_like(seen.lamp_ohm) for pin, seen in self._seen.items()}

    def _lamp_ends(self, pin: AlonePin) -> tuple[int, int]:
        reference = self.model.reference
        return (pin.node, reference) if pin.supply else (reference if self._post is None else self._post, pin.node)

    def _seen_by_lamp(self, pin: AlonePin, watts: float) -> _Alone:
        """From the network as the lamp sees it, so that nothing is solved anew: other loads go along their slopes."""
        seen, lamp = self._seen[pin], self._lamp(watts)
        amps = lamp.behind_a(seen.bare_v, seen.lamp_ohm)
        return self._alone(pin, self._node_v[pin.node] + seen.node_ohm * amps, self._post_v + seen.post_ohm * amps)

    def _solved_with_lamp(self, pin: AlonePin, watts: float) -> _Alone:
        """Solved anew: the lamp can change which diode conducts, and changes what it loses."""
        lit = with_test_lamp(self.model, pin.node, watts, supply=pin.supply)
        together, nominal = nominal_in_order(Together([lit]), {})
        of_lamp = even(1, 4)[0]
        cases: list[Case] = []
        for number, one in enumerate(self._settings):
            if isinstance(one, Sampled):
                draws = np.concatenate([[of_lamp[number - len(self._settings) + SAMPLES]], one.draws])
                cases.append((0, Sampled(one.ohms, one.volts, draws, one.battery)))
            else:
                draws_at = np.concatenate([[one.battery], one.draws]).astype(np.intp)
                cases.append((0, Setting(one.branches, draws_at, one.battery)))
        states = at_rest(together, cases, nominal)
        node_v = states.node_v(np.arange(len(cases)))
        post_v = np.zeros(len(cases)) if self._post is None else node_v[self._post]
        return self._alone(pin, node_v[pin.node], post_v)


def with_test_lamp(model: Model, node: int, watts: float, *, supply: bool, unlit: bool = False) -> Model:
    """The model with a filament lamp between a node and the battery post that is not its own level's; where it may be `unlit`, at its low end it is."""
    plus = next(iter(model.posts), model.reference)
    first, second = (node, model.reference) if supply else (plus, node)
    least_w = _UNLIT_W if unlit else watts
    lamp = Draw("test lamp", first, second, "lamp", (least_w, watts, watts), float(model.limits.system_v))
    return replace(model, branches=list(model.branches), draws=[lamp, *model.draws])
