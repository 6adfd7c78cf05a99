"""Key-off draw: the current of each circuit from the millivolts across its fuse, what they come to, and which positions to open up next.

Nothing is unplugged for it, so nothing wakes up. A fuse that is fed by another one is counted once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from tracer.circuit.model import FUSE_KINDS, LinkKind
from tracer.circuit.states import Level
from tracer.electrics.draw_bounds import TOTAL, Feeding, Holds, narrowed, without_fuse
from tracer.electrics.limits_in_use import LimitInUse, LimitsInUse
from tracer.electrics.model.branches import HIGH, LOW
from tracer.electrics.model.changes import Changes, amount_of
from tracer.electrics.model.circuit_model import NotSettled
from tracer.electrics.model.elements import fuse_element_ohms
from tracer.electrics.model.of_circuit import model_of
from tracer.electrics.network.in_many_settings import Together
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
    """All readings with total and shares, as they bound each other. `unread` are fed positions without a reading.

    `total_ma` is what was measured (`total_read_ma`, as typed), or else the sum of the readings, each current once. `left_ma` is what of a measured total
    is in no reading.
    """

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
    total_read_ma: float | None = None
    left_ma: Range | None = None
    without_fuse: tuple[str, ...] = ()  # what supply reaches without any fuse: in no reading but the total


def total_of(text: str | None) -> float | None:
    """The whole draw in mA, typed as `0.35A` or `350mA`; None where it was not measured.

    Raises
    ------
    BadChange : it is no current
    """
    if text is None:
        return None
    value, _ = amount_of(text.strip(), ("a", "ma"), "--total 0.35A or 350mA")
    return value * 1000


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
            raise _not_understood(text)
        try:
            mv = float(number)
        except ValueError:
            raise _not_understood(text) from None
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


def _not_understood(text: str) -> BadReading:
    return BadReading(f"`{text}` is not understood: write F12=0.4 (millivolts).")


def draw_of(
    tracing: Tracing,
    readings: Mapping[str, float],
    *,
    limits: LimitsInUse,
    held: Mapping[str, str] | None = None,
    total_ma: float | None = None,
) -> DrawReport:
    """The key-off draw from readings across fuses.

    Parameters
    ----------
    readings : millivolts by fuse, as `readings_of` gives them
    held : conditions held, for what is expected; `asleep` is held of itself where the vehicle declares it
    total_ma : the whole draw, as a clamp or a meter in series reads it
    """
    return _Maker(tracing, readings, limits, dict(held or {}), total_ma).report()


class _Maker:
    def __init__(
        self,
        tracing: Tracing,
        mv: Mapping[str, float],
        limits: LimitsInUse,
        held: dict[str, str],
        total_ma: float | None,
    ) -> None:
        self.total_ma = total_ma
        self.currents: dict[str, Range] = {}
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
        measured = {fuse: self._current(self.mv[fuse], self._element(fuse)) for fuse in self.fuses if fuse in self.mv}
        feeding = Feeding(self.tracing, self.below)
        whole = {TOTAL: self._measured_total()} if self.total_ma is not None else {}
        holds = list(feeding.holds(list(measured), total=bool(whole)))
        self.currents, conflicts = narrowed({**measured, **whole}, holds)
        total = self.currents.pop(TOTAL, None)
        sums = [rule for rule in holds if rule.feeder == TOTAL]
        if whole and measured and not sums:
            self.notes.append(
                "the total is held against no reading: only what the one battery of a vehicle alone feeds can be"
            )
        draws = {fuse: self._draw(fuse) for fuse in self.fuses}
        read = [draws[fuse] for fuse in self.fuses if fuse in self.mv]
        if total is None:
            total = self._total(self.currents, holds)
        left = None
        if sums and total is not None and not conflicts:
            parts = [self.currents[fuse] for fuse in sums[0].branches]
            left = Range(
                max(0.0, total.low - sum(one.high for one in parts)),
                max(0.0, total.nominal - sum(one.nominal for one in parts)),
                total.high - sum(one.low for one in parts),
            )
        if total is not None and total.nominal > 0 and not conflicts:
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
                0
                if self.total_ma is not None
                else sum(not any(above in self.mv for above in draw.above) for draw in unread) + len(self.not_to_read),
                measured=self.total_ma is not None,
                conflict=bool(conflicts),
            ),
            () if conflicts else tuple(self._next(read)),
            conflicts,
            tuple(self.notes),
            f"{figures.percent(self.limits.of('meter millivolt share').high)} of the reading and {figures.stated(digits, 'mV')}",
            digits,
            self.not_to_read,
            total_read_ma=self.total_ma,
            left_ma=left,
            without_fuse=without_fuse(self.tracing, self.key),
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
            together = Together([model], asked=())
            nominal = together.solve([(0, model.setting())])
            ends = together.solve([(0, model.setting(draws=LOW)), (0, model.setting(draws=HIGH))], nominal)
        except NotSettled as error:
            self.notes.append(f"what is expected could not be computed: {error}")
            return {}
        found = {}
        for number, branch in enumerate(model.branches):
            if branch.link >= 0 and self.circuit.links[branch.link].kind is LinkKind.FUSE:
                values = [abs(float(amps)) * 1000 for amps in (*nominal.branch_a[number], *ends.branch_a[number])]
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
            self.currents.get(fuse),
            self.expected.get(fuse),
            tuple(other for other in self.fuses if fuse in self.below[other] and other != fuse),
            None,
            self._note(facts, element.assumed, mv),
            element.basis,
        )

    def _measured_total(self) -> Range:
        assert self.total_ma is not None
        share, digits = (self.limits.of(f"meter current {what}").high for what in ("share", "digits"))
        off = share * self.total_ma + digits
        return Range(max(0.0, self.total_ma - off), self.total_ma, self.total_ma + off)

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

    def _total(self, currents: Mapping[str, Range], holds: Iterable[Holds]) -> Range | None:
        """Sum over the readings, each current once: those behind no other one, or where that is more those with none behind them."""
        if not currents:
            return None
        ahead = [fuse for fuse in currents if not any(self._behind(fuse, other) for other in currents)]
        last = [fuse for fuse in currents if not any(self._behind(other, fuse) for other in currents)]
        low, nominal = (
            max(self._once(ahead, currents, of), self._once(last, currents, of)) for of in ("low", "nominal")
        )
        within = {fuse for rule in holds if rule.feeder != TOTAL for fuse in rule.alone}
        high = max(low, sum(one.high for fuse, one in currents.items() if fuse not in within))
        return Range(low, min(nominal, high), high)

    def _behind(self, fuse: str, other: str) -> bool:
        return fuse != other and fuse in self.below[other] and other not in self.below[fuse]

    def _once(self, fuses: list[str], currents: Mapping[str, Range], of: str) -> float:
        """A sum in which of two fuses that may feed each other the larger counts."""
        counted: list[str] = []
        for fuse in sorted(fuses, key=lambda one: -getattr(currents[one], of)):
            if not any(fuse in self.below[other] for other in counted):
                counted.append(fuse)
        return float(sum(getattr(currents[fuse], of) for fuse in counted))

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
        current = self.currents[fuse]
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


def _verdict(total: Range | None, limit: LimitInUse, unread: int, *, measured: bool, conflict: bool) -> str:
    if conflict:
        return "the readings contradict each other, and nothing is judged by them"
    if total is None:
        return "nothing read yet"
    left = f"; {unread} more fed positions are in no reading" if unread else ""
    of = "meter" if measured else "fuses"
    if total.low > limit.high:
        return f"above {limit.words()} whatever the tolerance of the {of}{left}"
    if total.high <= limit.high:
        return f"within {limit.words()}" + ("" if measured else f" as far as it was read{left}")
    left = "" if measured else f": measure the whole draw with a clamp or in series{left}"
    return f"{limit.words()} lies within the tolerance of the {of}{left}"


__all__ = [
    "BadReading", "DrawReport", "FuseDraw", "NextStep", "UnknownPart", "draw_of", "readings_of", "total_of",
]  # fmt: skip
