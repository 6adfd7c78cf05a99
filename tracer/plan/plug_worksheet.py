"""The worksheet of a module: what is read at its own plug to prove every supply and ground, and in which order.

From the pin back: each pin is read plugged in, then alone with a lamp. Only where a pin fails is its way split, at the points that the first look names. The
tests beside the pins find what a lamp at a pin does not show: a way that is there only together with another one, a supply that never goes off, a cranking
battery that takes a supply along, a bus that is not terminated.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cached_property

from tracer.circuit.kinds import FUSE_KINDS, LOADS, PartKind
from tracer.circuit.model import Circuit, LinkKind
from tracer.electrics.limits_in_use import LimitsInUse
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import natural
from tracer.plan.bench import Bench
from tracer.plan.beside import beside_of
from tracer.plan.faces import faces_of_rows
from tracer.plan.glance import alone_test, glance_of, held_by_itself
from tracer.plan.lamps import LampRule
from tracer.plan.plug_values import AfterKey, Cranking, Leg, Look, MustWork, Output, PinAtPlug, PlugWorksheet
from tracer.plan.steps import plan_of, working_key
from tracer.plan.values import Glance, Kind, PinAtAGlance, Range, Step, there
from tracer.plan.words import CRANKING
from tracer.trace.hazards import Hazards
from tracer.trace.kinds import PARTS, Draws
from tracer.trace.lists.results import Row, SupplyReport
from tracer.trace.tracing import Tracing


def plug_worksheet_of(tracing: Tracing, report: SupplyReport, limits: LimitsInUse) -> PlugWorksheet:
    """What stands on the worksheet of a module's list."""
    bench = Bench(tracing, report, limits)
    glance, plan = glance_of(tracing, report, limits, bench), plan_of(tracing, report, limits, bench)
    maker = _Maker(tracing, report, bench, glance, [step for batch in plan.batches for step in batch.steps])
    working = working_key(report)
    charging = limits.of("battery charging")
    worksheet = PlugWorksheet(
        glance, plan, maker.not_unplugged, working,
        looks=tuple(_looks(tracing.circuit, report)),
        posts={key: span for key, (span, _) in plan.batteries.items()},
        charging=None if charging.low is None or charging.nominal is None else Range(charging.low, charging.nominal, charging.high),
        must_work=tuple(maker.must_work()),
        pins=tuple(maker.pin(one) for one in glance.pins if one.row.code[0] in "SG"),
        untraced=tuple(maker.untraced()),
        legs=maker.all_legs,
        outputs=tuple(maker.outputs()),
        after_key=tuple(maker.after_key()),
        dead=tuple(maker.dead()),
        cranking=tuple(maker.cranking()),
        bus_levels=tuple(maker.steps_of(Kind.BUS_LEVEL)),
        bus_ohms=tuple(maker.steps_of(Kind.BUS_OHM)),
        overloads=tuple(maker.bench.overloads),
        faces=faces_of_rows(tracing.circuit, report, (*report.supplies, *report.grounds)),
    )  # fmt: skip
    return replace(worksheet, beside=beside_of(worksheet))


class _Maker:
    def __init__(self, tracing: Tracing, report: SupplyReport, bench: Bench, glance: Glance, steps: list[Step]) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.report = report
        self.lamps = LampRule(tracing.circuit)
        self.bench = bench
        self.computed = not glance.why_not
        self.steps = steps
        self.working = working_key(report)
        self.not_unplugged = tracing.once(Hazards).withheld_in(report.module)
        self.supplies = [pin for pin in glance.pins if pin.row.level == "supply" and pin.row.code[0] == "S"]
        self.grounds = [pin for pin in glance.pins if pin.row.level == "ground" and pin.row.code[0] == "G"]
        self.names = {pin.row.code: pin.name for pin in glance.pins}

    def steps_of(self, kind: Kind) -> Iterator[Step]:
        """The steps of one kind, in the order of the plan."""
        return (step for step in self.steps if step.kind is kind)

    # --- each pin --------------------------------------------------------------------------------------------------

    def pin(self, one: PinAtAGlance) -> PinAtPlug:
        """The readings of a pin: plugged in, and alone."""
        row = one.row
        plugged = next((step for step in self.steps_of(Kind.POINT) if step.point == row.point), None)
        alone = (step for step in self.steps_of(Kind.ALONE) if step.row.code == row.code and step.key == one.test.key)
        bare = next((step.bare for step in alone), None)
        return PinAtPlug(one, plugged, bare)

    def untraced(self) -> Iterator[tuple[str, tuple[Step, ...]]]:
        """Pins declared as supply or ground whose way is not known: read in every key state."""
        found: dict[str, list[Step]] = {}
        for step in self.steps_of(Kind.UNTRACED):
            assert step.cavity is not None
            found.setdefault(step.cavity.pin, []).append(step)
        yield from ((pin, tuple(steps)) for pin, steps in found.items())

    # --- parallel ways, each alone ---------------------------------------------------------------------------------

    @cached_property
    def all_legs(self) -> tuple[Leg, ...]:
        """Each of the parallel ways of a pin by itself: of fuses with the others out, of ground points with the eyelets of the others off."""
        return (*self._fuse_legs(), *self._ground_legs())

    def _fuse_legs(self) -> Iterator[Leg]:
        for step in self.steps_of(Kind.BY_FUSE):
            assert step.fuse is not None
            test = alone_test(self.circuit, self._bench, self.report, step.row, step.key, step.out)
            yield Leg(self.names[step.row.code], step.row.point, "supply", step.fuse.name, step.out, test)

    def _ground_legs(self) -> Iterator[Leg]:
        for pin in self.grounds:
            for leg in pin.beside.legs:
                test = alone_test(self.circuit, self._bench, self.report, pin.row, pin.test.key, leg.out)
                yield Leg(pin.name, pin.row.point, "ground", leg.by, leg.out, test)

    @property
    def _bench(self) -> Bench | None:
        return self.bench if self.computed else None

    # --- what must work, what stays live, what must be dead -------------------------------------------------------

    def must_work(self) -> Iterator[MustWork]:
        """Relays, modules and converters that some pin of the module needs, in the order of the list."""
        rows = {row.code: row for row in self.report.chains}
        needed: dict[str, list[str]] = {}
        for pin in self.supplies + self.grounds:
            for part in dict.fromkeys(rows[code].part for code in pin.row.needs if code in rows):
                needed.setdefault(part, []).append(pin.name)
        for part, pins in needed.items():
            chains = [row for row in self.report.chains if row.part == part]
            own = f"{self.report.module}."
            pulled = dict.fromkeys(need.split(" ")[0].removeprefix(own) for row in chains for need in row.needs if need.startswith(own))  # fmt: skip
            yield MustWork(
                part, str(self.circuit.parts[part].kind), tuple(pins), tuple(pulled), self._rests(part, pins)
            )

    def _rests(self, part: str, pins: list[str]) -> bool:
        """Whether the ways of these pins lead over contacts of a relay that are closed at rest."""
        at_rest = {
            f"{part} ({self.circuit.contact_name(link.a, link.b)})"
            for link in self.circuit.links
            if link.part == part and link.kind is LinkKind.CONTACT and link.closed == ("rest",)
        }
        return any(at_rest.intersection(pin.row.switches) for pin in self.supplies + self.grounds if pin.name in pins)

    def after_key(self) -> Iterator[AfterKey]:
        """Supplies that go off only some time after the key: held by the module itself, or given by an output."""
        first = self.report.keys[0]
        for pin in self.supplies:
            row = pin.row
            held = bool(held_by_itself(self.report, row))
            given = any(name.startswith("output ") for name in row.switches)
            if not row.no_method and row.live.get(first) == "depends" and row.live.get(self.working) == "live" and (held or given):  # fmt: skip
                yield AfterKey(pin.name, row.point, held, row.why.get(first, ()))

    def dead(self) -> Iterator[tuple[str, tuple[tuple[str, str], ...]]]:
        """The supplies that must be dead in each key state with the module unplugged; while the starter turns they are read otherwise."""
        for key in self.report.keys if not self.not_unplugged else ():
            pins = [pin for pin in self.supplies if key not in CRANKING and self._is_dead(pin.row, key)]
            if pins:
                yield key, tuple((pin.name, pin.row.point) for pin in pins)

    def _is_dead(self, row: Row, key: str) -> bool:
        if row.no_method:
            return False
        if row.live.get(key) == "dead":
            return True
        if not held_by_itself(self.report, row) or self._bench is None:
            return False
        bare, _ = self._bench.alone(row, key, None)
        return bare is not None and not bare.not_computed and not there("supply", bare, self.lamps.system_v)

    def cranking(self) -> Iterator[Cranking]:
        """What must stay, and what must be dead, while the starter turns and the module is plugged in."""
        for key in (key for key in self.report.keys if key in CRANKING):
            pins = [pin for pin in self.supplies if not pin.row.no_method]
            yield Cranking(
                key,
                tuple((pin.name, pin.row.point, self._volts(pin.row, key)) for pin in pins if pin.row.live.get(key) == "live"),
                tuple((pin.name, pin.row.point) for pin in pins if pin.row.live.get(key) == "dead"),
            )  # fmt: skip

    def _volts(self, row: Row, key: str) -> Range | None:
        found = None if self._bench is None else self._bench.plugged_in(row, row.point, key)
        return None if found is None or not there("supply", found, self.lamps.system_v) else found.value

    # --- outputs for sensors ----------------------------------------------------------------------------------------

    def outputs(self) -> Iterator[Output]:
        """The module's reference outputs, with the parts that hang on them."""
        facts = self.circuit.parts[self.report.module].facts
        assert isinstance(facts, ModuleFacts)
        pins = self.circuit.pins_of.get(self.report.module, {})
        typed = {pin: output for pin, output in facts.outputs.items() if output.drives == "reference"}
        for cavity in self.report.census:
            output = typed.get(cavity.pin)
            if (output is None and cavity.kind != "reference") or cavity.pin not in pins:
                continue
            if self.tracing.once(Hazards).withheld(f"{self.report.module}.{cavity.pin}"):
                continue
            joined = self.tracing.hard_nets.nodes_joined_with([pins[cavity.pin]])
            feeds = dict.fromkeys(
                link.part
                for link in self.circuit.links
                if link.kind in LOADS and not joined.isdisjoint((link.a, link.b))
            )
            others = dict.fromkeys(
                part for node in sorted(joined) if (part := self.circuit.node_parts[node]) in self._consumers
            )
            yield Output(cavity.pin, None if output is None else output.volts, tuple({**feeds, **others}))

    @cached_property
    def _consumers(self) -> frozenset[str]:
        return frozenset(
            name
            for name, part in self.circuit.parts.items()
            if PARTS[part.kind].draws in (Draws.AS_DECLARED, Draws.AT_EVERY_PIN) and name != self.report.module
        )


def _looks(circuit: Circuit, report: SupplyReport) -> Iterator[Look]:
    """Every fuse and relay of the list and of its side chains once, panel by panel in the order in which the ways reach them."""
    rows = _own_and_needed(report)
    fuses = {fuse.part: fuse for row in rows for fuse in row.fuses}
    found: dict[str, Look] = {}
    for row in rows:
        for probe in row.probes:
            part = circuit.parts.get(probe.part)
            if part is None or probe.part in found or not (part.kind in FUSE_KINDS or part.kind is PartKind.RELAY):
                continue
            fuse = fuses.get(probe.part)
            kind = "fuse" if part.kind in FUSE_KINDS else "relay"
            found[probe.part] = Look(part.name, part.label or part.name, kind, part.panel, circuit.place_of_part(part.name)[0], None if fuse is None else fuse.amps)  # fmt: skip
    panels = list(dict.fromkeys(look.panel for look in found.values()))
    yield from sorted(found.values(), key=lambda look: (panels.index(look.panel), natural(look.label)))


def _own_and_needed(report: SupplyReport) -> list[Row]:
    """The module's supplies and grounds, and the side chains that they need, over others too."""
    chains = {row.code: row for row in report.chains}
    rows = [*report.supplies, *report.grounds]
    for row in rows:
        rows += [chains[code] for code in row.needs if code in chains and chains[code] not in rows]
    return rows


__all__ = ["plug_worksheet_of"]
