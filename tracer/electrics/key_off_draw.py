"""Key-off draw: the current of each circuit from the millivolts across its fuse, what they come to, and which positions to open up next.

Nothing is unplugged for it, so nothing wakes up. A fuse that is fed by another one is counted once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from tracer.circuit.model import FUSE_KINDS, LinkKind
from tracer.circuit.states import Level
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.model.branches import HIGH, LOW
from tracer.electrics.model.changes import Changes
from tracer.electrics.model.circuit_model import NotSettled
from tracer.electrics.model.elements import fuse_element_ohms
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.volts.values import Range
from tracer.entry.models import FuseFacts
from tracer.entry.problems import BadReading, listed, natural, nearest
from tracer.entry.scalars import NO_FUSE_BELONGS
from tracer.standards import figures
from tracer.trace.affects.dead_part import UnknownPart, part_named
from tracer.trace.affects.downwards import parts_below
from tracer.trace.hazards import Hazards
from tracer.trace.kinds import CONSUMERS
from tracer.trace.lists.basis import whole_vehicle
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.minding import NOTHING, Minding, minding_of
from tracer.trace.tracing import Tracing

ASLEEP = "asleep"  # the condition under which a key-off draw is expected, where the vehicle declares it
WORTH_MA = 5.0  # below, a circuit is not worth opening up (own)


@dataclass(frozen=True, slots=True)
class FuseDraw:
    """One fuse: millivolts read (None where not), its element, the current that they mean, and what is expected by the typed-in draws.

    `above` are fuses that feed it. `share` is of the total, None where not read. `note` says what makes the value doubtful.
    """

    fuse: str
    rating_a: float | None
    kind: str
    place: str | None
    mv: float | None
    ohm: Range
    current_ma: Range | None
    expected_ma: Range | None
    above: tuple[str, ...]
    share: float | None
    note: str
    basis: str


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to open up or read next: positions below, or where there are none the modules and loads."""

    fuse: str
    words: str
    read: tuple[str, ...]
    open_up: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DrawReport(Answer):
    """All readings with total and shares. `total_ma` counts each current once; `unread` are fed positions without a reading."""

    vehicle: str
    key: str
    held: tuple[str, ...]
    asleep: (
        bool | None
    )  # whether what is expected holds for modules that have fallen asleep; None where no such condition is typed in
    completeness: Completeness  # of the vehicle: positions and consumers may be missing
    readings: tuple[FuseDraw, ...]
    unread: tuple[FuseDraw, ...]
    total_ma: Range | None
    limit: LimitInUse
    verdict: str
    next_steps: tuple[NextStep, ...]
    conflicts: tuple[str, ...]
    notes: tuple[str, ...]
    meter: str
    least_mv: float  # the last digit of the meter
    not_to_read: tuple[tuple[str, str], ...] = ()  # fed positions on which nothing may be measured, with the reason
    minding: Minding = NOTHING


def readings_of(tracing: Tracing, texts: Iterable[str]) -> dict[str, float]:
    """Typed readings `F12=0.4` (mV) by fuse.

    Raises
    ------
    BadReading, UnknownPart : what is wrong, and what to write
    """
    found: dict[str, float] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        number = value.strip().lower().removesuffix("mv").strip().replace(",", ".")
        if not equals or not name.strip():
            raise BadReading(f"`{text}` is not understood: write F12=0.4 (millivolts).")
        try:
            mv = float(number)
        except ValueError:
            raise BadReading(f"`{text}` is not understood: write F12=0.4 (millivolts).") from None
        if not 0 <= abs(mv) <= 500:
            raise BadReading(
                f"{text.strip()}: that is no drop of a fuse that conducts: at its rating it loses about 100 mV."
            )
        parts = part_named(tracing.circuit, name.strip())
        if len(parts) != 1 or tracing.circuit.parts[parts[0]].kind not in FUSE_KINDS:
            fuses = [part.name for part in tracing.circuit.parts.values() if part.kind in FUSE_KINDS]
            near = nearest(name.strip(), fuses)
            raise BadReading(f"{name.strip()} is not a fuse." + (f" Did you mean {near[0]}?" if near else ""))
        state = getattr(tracing.circuit.parts[parts[0]].facts, "state", None)
        if state in NO_FUSE_BELONGS:
            raise BadReading(f"{parts[0]} is typed in as `state: {state}`: no fuse sits there that could be read.")
        if withheld := tracing.once(Hazards).withheld_in(parts[0]):
            raise BadReading(f"{parts[0]}: {withheld}; no reading of it is judged here.")
        if parts[0] in found:
            raise BadReading(f"{parts[0]} is given twice.")
        found[parts[0]] = abs(mv)  # which lead is where does not matter
    return found


def draw_of(
    tracing: Tracing, readings: Mapping[str, float], *, limits: LimitsInUse, held: Mapping[str, str] | None = None
) -> DrawReport:
    """The key-off draw from readings across fuses.

    Parameters
    ----------
    readings : millivolts by fuse, as `readings_of` gives them
    held : conditions held, for what is expected; `asleep` is held of itself where the vehicle declares it
    """
    return _Drawer(tracing, readings, limits, dict(held or {})).report()


class _Drawer:
    def __init__(self, tracing: Tracing, mv: Mapping[str, float], limits: LimitsInUse, held: dict[str, str]) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.mv = mv
        self.limits = limits
        vehicle = self.circuit.typed.vehicle
        self.held = {ASLEEP: "yes", **held} if ASLEEP in vehicle.conditions else held
        self.asleep = self.held.get(ASLEEP) == "yes" if ASLEEP in vehicle.conditions else None
        self.key = "off" if "off" in vehicle.key else vehicle.key[0]
        fed = sorted(self._fed() | set(mv), key=natural)
        withheld = {fuse: tracing.once(Hazards).withheld_in(fuse) for fuse in fed}
        self.not_to_read = tuple((fuse, words) for fuse, words in withheld.items() if words)
        self.fuses = [fuse for fuse in fed if not withheld[fuse]]
        below = {fuse: parts_below(tracing, fuse) for fuse in self.fuses}
        self.below = {fuse: [other for other in self.fuses if other in parts] for fuse, parts in below.items()}
        self.parts_below = below
        self.notes: list[str] = []
        self.expected = self._expected()

    def report(self) -> DrawReport:
        draws = {fuse: self._draw(fuse) for fuse in self.fuses}
        read = [draws[fuse] for fuse in self.fuses if fuse in self.mv]
        total = self._total(read)
        if total is not None and total.nominal > 0:
            read = [self._with_share(draw, total) for draw in read]
        read.sort(key=lambda draw: -(draw.current_ma.nominal if draw.current_ma else 0.0))
        limit = self.limits.of("key-off draw")
        unread = tuple(draws[fuse] for fuse in self.fuses if fuse not in self.mv)
        digits = self.limits.of("meter millivolt digits").high
        report = DrawReport(
            self.circuit.name,
            self.key,
            tuple(name if state == "yes" else f"{name}={state}" for name, state in self.held.items()),
            self.asleep,
            whole_vehicle(self.tracing),
            tuple(read),
            unread,
            total,
            limit,
            _verdict(
                total,
                limit,
                sum(not any(above in self.mv for above in draw.above) for draw in unread) + len(self.not_to_read),
            ),
            tuple(self._next(read)),
            tuple(self._conflicts(read)),
            tuple(self.notes),
            f"{figures.percent(self.limits.of('meter millivolt share').high)} of the reading and {figures.stated(digits, 'mV')}",
            digits,
            self.not_to_read,
        )
        return replace(report, minding=minding_of(self.tracing, report))

    def _fed(self) -> set[str]:
        """Fuses that supply reaches with the key off, as far as that is known; positions that are not fitted left out."""
        found = set()
        for link in self.circuit.links:
            if link.kind is not LinkKind.FUSE:
                continue
            facts = self.circuit.parts[link.part].facts
            if getattr(facts, "state", None) in NO_FUSE_BELONGS:
                continue
            if (
                self.tracing.states.supply_level(link.a, self.key) is not Level.DEAD
                or self.tracing.states.supply_level(link.b, self.key) is not Level.DEAD
            ):
                found.add(link.part)
        return found

    def _expected(self) -> dict[str, Range]:
        """Current of each fuse by the draws that are typed in (and default ones), mA."""
        try:
            model = model_of(self.tracing, self.key, Changes(held=self.held), limits=self.limits)
            solved = [model.solve(), model.solve(model.setting(draws=LOW)), model.solve(model.setting(draws=HIGH))]
        except NotSettled as error:
            self.notes.append(f"what is expected could not be computed: {error}")
            return {}
        found = {}
        for number, branch in enumerate(model.branches):
            if branch.link >= 0 and self.circuit.links[branch.link].kind is LinkKind.FUSE:
                values = [abs(float(one.branch_a[number])) * 1000 for one in solved]
                found[branch.part] = Range(min(values), values[0], max(values))
        return found

    def _draw(self, fuse: str) -> FuseDraw:
        part = self.circuit.parts[fuse]
        facts = part.facts
        assert isinstance(facts, FuseFacts)
        element = fuse_element_ohms(facts, facts.amps, cold=True)
        ohm = Range(element.low, element.nominal, element.high)
        place, _ = self.tracing.circuit.place_of_part(fuse)
        mv = self.mv.get(fuse)
        return FuseDraw(
            fuse,
            facts.amps,
            facts.type or part.kind,
            place,
            mv,
            ohm,
            self._current(mv, ohm) if mv is not None else None,
            self.expected.get(fuse),
            tuple(other for other in self.fuses if fuse in self.below[other] and other != fuse),
            None,
            self._note(facts, element.assumed, mv),
            element.basis,
        )

    def _current(self, mv: float, ohm: Range) -> Range:
        off = self.limits.of("meter millivolt digits").high + self.limits.of("meter millivolt share").high * mv
        return Range(max(0.0, mv - off) / ohm.high, mv / ohm.nominal, (mv + off) / ohm.low)

    def _note(self, facts: FuseFacts, assumed: str, mv: float | None) -> str:
        notes = []
        if facts.amps is None:
            notes.append("rating not typed in: the range covers 2 to 60 A and says little")
        elif assumed:
            notes.append(f"{assumed} taken by default")
        if facts.kind_name == "breaker":
            notes.append("a breaker has no table: the value is rough")
        if mv is not None and mv > 60 and facts.amps is not None:
            notes.append("near its rating the element is hot and the current less than this")
        return "; ".join(notes)

    def _total(self, read: list[FuseDraw]) -> Range | None:
        """Sum over the readings that are not below another reading; what is read below a big fuse can only raise it."""
        if not read:
            return None
        by_name = {draw.fuse: draw for draw in read}
        top = [self._at_least(draw, by_name) for draw in read if not any(above in self.mv for above in draw.above)]
        return Range(sum(one.low for one in top), sum(one.nominal for one in top), sum(one.high for one in top))

    def _at_least(self, draw: FuseDraw, by_name: Mapping[str, FuseDraw]) -> Range:
        """The current of a fuse, not less than what the read fuses below it carry (each once): small fuses tell small currents better."""
        assert draw.current_ma is not None
        below = [by_name[fuse] for fuse in self.below[draw.fuse] if fuse in by_name and fuse != draw.fuse]
        direct = [
            one for one in below if not any(one.fuse in self.below[other.fuse] for other in below if other is not one)
        ]
        own = draw.current_ma
        parts = [self._at_least(one, by_name) for one in direct]
        low, nominal = sum(one.low for one in parts), sum(one.nominal for one in parts)
        nominal = max(own.nominal, nominal)
        return Range(max(own.low, low), nominal, max(own.high, nominal))

    @staticmethod
    def _with_share(draw: FuseDraw, total: Range) -> FuseDraw:
        assert draw.current_ma is not None
        return replace(draw, share=draw.current_ma.nominal / total.nominal)

    def _next(self, read: list[FuseDraw]) -> Iterable[NextStep]:
        """For the circuits that draw most: what to read or open up below them."""
        for draw in read:
            if draw.current_ma is None or draw.current_ma.nominal < WORTH_MA:
                continue
            if (
                self.asleep
                and draw.expected_ma is not None
                and draw.current_ma.low <= draw.expected_ma.nominal
                and not self._much(draw)
            ):
                continue
            deeper = [fuse for fuse in self.below[draw.fuse] if fuse not in self.mv]
            known = [fuse for fuse in self.below[draw.fuse] if fuse in self.mv]
            parts = self._consumers(draw.fuse, known)
            rest = self._rest(draw, known)
            if rest.high < WORTH_MA or (rest.low <= 0.0 and (known or not deeper)):
                continue  # it may all go on through fuses that were read, or be no current at all
            if deeper:
                yield NextStep(draw.fuse, f"read the fuses that {draw.fuse} feeds", tuple(deeper), tuple(parts))
            elif parts:
                left = (
                    f", {figures.milliamps_number(rest.low)} to {figures.milliamps(rest.high)} of it not through {listed(known, joiner='and')}"
                    if known
                    else ""
                )
                yield NextStep(
                    draw.fuse,
                    f"open up {draw.fuse} ({figures.milliamps(draw.current_ma.nominal)}{left})",
                    (),
                    tuple(parts),
                )
            else:
                yield NextStep(
                    draw.fuse, f"nothing that is typed in hangs on {draw.fuse}: look for something added", (), ()
                )

    def _much(self, draw: FuseDraw) -> bool:
        assert draw.current_ma is not None
        return draw.current_ma.nominal > self.limits.of("key-off draw").high

    def _rest(self, draw: FuseDraw, known: list[str]) -> Range:
        """What does not go on through the fuses below that were read: least to most, as the makes of the fuses and the meter allow."""
        assert draw.current_ma is not None
        own = draw.current_ma
        direct = [fuse for fuse in known if not any(fuse in self.below[other] for other in known if other != fuse)]
        through = [self._through(draw.fuse, fuse) for fuse in direct]
        return Range(
            own.low - sum(one.high for one in through),
            own.nominal - sum(one.nominal for one in through),
            own.high - sum(one.low for one in through),
        )

    def _through(self, above: str, fuse: str) -> Range:
        """What a fuse that was read takes through one that feeds it: all of its current, or any part of it where something else feeds it too."""
        current = self._current(self.mv[fuse], self._element(fuse))
        others = [other for other in self.fuses if fuse in self.below[other] and other not in (above, fuse)]
        beside = [other for other in others if (other in self.below[above]) == (above in self.below[other])]
        return Range(0.0, current.nominal, current.high) if beside else current

    def _element(self, fuse: str) -> Range:
        facts = self.circuit.parts[fuse].facts
        assert isinstance(facts, FuseFacts)
        element = fuse_element_ohms(facts, facts.amps, cold=True)
        return Range(element.low, element.nominal, element.high)

    def _consumers(self, fuse: str, known: list[str]) -> list[str]:
        """Modules, loads, relays and converters below, those that are also below a fuse that was read left out."""
        apart = {part for other in known for part in self.parts_below[other]}
        return sorted(
            (
                name
                for name in self.parts_below[fuse] - apart
                if name in self.circuit.parts and self.circuit.parts[name].kind in CONSUMERS
            ),
            key=lambda name: (CONSUMERS.index(self.circuit.parts[name].kind), natural(name)),
        )

    def _conflicts(self, read: list[FuseDraw]) -> Iterable[str]:
        """A fuse cannot carry less than one that it alone feeds."""
        by_name = {draw.fuse: draw for draw in read}
        for draw in read:
            feeder = self._read_feeder(draw.fuse, by_name)
            above = by_name[feeder].current_ma if feeder else None
            here = draw.current_ma
            if above is not None and here is not None and here.low > above.high:
                yield f"{draw.fuse} reads {figures.milliamps(here.nominal)}, yet {feeder}, which feeds it, only {figures.milliamps(above.nominal)}: one reading, a rating or the diagram is wrong"

    def _read_feeder(self, fuse: str, by_name: Mapping[str, FuseDraw]) -> str | None:
        """The nearest fuse upstream that was read, as long as each on the way is the only feeder of the next."""
        here = fuse
        while True:
            above = [other for other in self.fuses if here in self.below[other] and other != here]
            nearest_above = [
                one for one in above if not any(one != other and other in self.below[one] for other in above)
            ]
            if len(nearest_above) != 1:
                return None
            here = nearest_above[0]
            if here in by_name:
                return here


def _verdict(total: Range | None, limit: LimitInUse, unread: int) -> str:
    if total is None:
        return "nothing read yet"
    left = f"; {unread} more fed positions are in no reading" if unread else ""
    if total.low > limit.high:
        return f"above {limit.words()} whatever the fuses' tolerance{left}"
    if total.high <= limit.high:
        return f"within {limit.words()} as far as it was read{left}"
    return f"{limit.words()} lies within the tolerance of the fuses: measure the whole draw with a clamp or in series{left}"


__all__ = [
    "BadReading", "DrawReport", "FuseDraw", "NextStep", "UnknownPart", "draw_of", "readings_of",
]  # fmt: skip
