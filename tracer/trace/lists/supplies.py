"""Every supply and ground of one module, where to probe each, and whether the list is complete.

Every pin is traced, declared or not; what the sheets declare is only a cross-check. The list is complete when nothing on any way to the module is loose.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from tracer.circuit.model import Circuit, Part, PartKind
from tracer.entry.models import ModuleFacts
from tracer.entry.problems import NONE_YET, CannotAnswer, listed, natural, nearest
from tracer.standards.cautions import cautions_for
from tracer.trace.hazards import Hazards
from tracer.trace.lists.basis import assumptions, uncounted_joints
from tracer.trace.lists.census import NOT_LOOKED_AT, SENSING, PinFinding, pins_found
from tracer.trace.lists.chains import Need, loops_of, needs_of, ways_for
from tracer.trace.lists.completeness import Completeness
from tracer.trace.lists.concerns import OnWays, concerning, not_looked_at, zone_of
from tracer.trace.lists.cross_check import cross_check
from tracer.trace.lists.results import Cavity, LooseEnd, Row, SupplyReport, ThroughLoad
from tracer.trace.lists.rows import row_of, with_shared
from tracer.trace.minding import minding_of
from tracer.trace.rules.registry import loose_ends, remarks
from tracer.trace.tracing import Tracing
from tracer.trace.ways.simple import Way

NOT_DECLARED = "part that is not declared"
_MOST_NAMED = 24  # modules in a message


class UnknownModule(CannotAnswer, LookupError):
    """There is no module of that name; `near` holds the nearest names, `kind` what the name is instead."""

    def __init__(self, name: str, near: list[str], known: list[str], kind: str | None) -> None:
        self.name, self.near, self.known, self.kind = name, near, known, kind
        what = f"{name} is a {kind}, not a module" if kind else f"there is no module {name}"
        if kind == NOT_DECLARED:
            hint = f"Declare it first (`{name}: {{is: module}}` on its sheet). "
        else:
            hint = f"Did you mean {near[0]}? " if near and not kind else ""
        super().__init__(f"{what}. {hint}Modules: {listed(known, most=_MOST_NAMED, joiner='and') or NONE_YET}.")


@dataclass
class _Chains:
    """Needs that became rows, in the order in which they were met."""

    numbers: dict[tuple[int, str], int] = field(default_factory=dict)
    needs: list[Need] = field(default_factory=list)

    def add(self, need: Need) -> str:
        key = (need.node, need.level)
        if key not in self.numbers:
            self.numbers[key] = len(self.needs)
            self.needs.append(need)
        return f"C{self.numbers[key] + 1}"


def supplies_of(circuit: Circuit | Tracing, module: str) -> SupplyReport:
    """Every supply and ground of a module.

    Parameters
    ----------
    circuit : a joined circuit, or a `Tracing` of one (which keeps what was worked out for the next module)
    module : the module's name

    Raises
    ------
    UnknownModule : no module has that name
    """
    tracing = circuit if isinstance(circuit, Tracing) else Tracing(circuit)
    part = _module(tracing.circuit, module)
    return _Lister(tracing, part).report()


def every_list(circuit: Circuit | Tracing) -> Iterator[SupplyReport]:
    """The list of each module of the vehicle, by name, as they get ready: what one of them works out serves the next."""
    tracing = circuit if isinstance(circuit, Tracing) else Tracing(circuit)
    names = sorted((part.name for part in tracing.circuit.modules()), key=natural)
    return (supplies_of(tracing, name) for name in names)


def _module(circuit: Circuit, name: str) -> Part:
    part = circuit.parts.get(name)
    if part is None or part.kind is not PartKind.MODULE:
        known = sorted(part.name for part in circuit.modules())
        kind = None if part is None else NOT_DECLARED if part.undeclared else part.kind
        raise UnknownModule(name, nearest(name, known), known, kind)
    return part


class _Lister:
    def __init__(self, tracing: Tracing, module: Part) -> None:
        self.tracing = tracing
        self.circuit = tracing.circuit
        self.module = module
        self.found = pins_found(tracing, module)
        self.chains = _Chains()
        self.on_ways = OnWays(module)
        self.row_of_node: dict[tuple[int, str], str] = {}

    def report(self) -> SupplyReport:
        supplies = self._rows("S", "supply", [pin for pin in self.found if pin.kind == "supply" and pin.supply])
        grounds = self._rows("G", "ground", [pin for pin in self.found if pin.kind == "ground" and pin.ground])
        carrying = self._carrying()
        rows = [*supplies, *grounds, *carrying]
        rows = [self._with_needs(row) for row in rows]
        rows += self._chain_rows()
        rows = with_shared(rows)
        by_letter = {letter: tuple(row for row in rows if row.code[0] == letter) for letter in "SGVC"}
        self.on_ways.needs = self.chains.needs
        pins = [pin.node for pin in self.found if pin.node is not None]
        zone = zone_of(self.tracing, self.on_ways, pins, rows)
        concern = concerning(self.tracing, self.on_ways, zone)
        loose = tuple(LooseEnd.of(finding) for finding in concern)
        own = [*by_letter["S"], *by_letter["G"], *by_letter["V"]]
        check = cross_check(self.tracing, self.module.name, own, loose)
        completeness = Completeness(
            loose=sum(one.code != "L163" for one in loose),
            not_looked_at=not_looked_at(self.tracing, concern),
            looked_at=sum(pin.kind != NOT_LOOKED_AT for pin in self.found),
            differences=len(check.differences),
            rests_on=assumptions(
                self.tracing,
                self.module,
                rows,
                self.on_ways.nodes,
                self.on_ways.links,
                self.circuit.pins_of.get(self.module.name, {}).values(),
                [need.node for need in self.chains.needs],
            ),
            uncounted=uncounted_joints(self.circuit, zone),
            elsewhere=len(loose_ends(self.tracing)) - len(loose),
        )
        facts = self.module.facts
        assert isinstance(facts, ModuleFacts)
        report = SupplyReport(
            vehicle=self.circuit.name,
            module=self.module.name,
            name=facts.name,
            place=facts.at,
            access=facts.access,
            keys=self.tracing.states.keys,
            completeness=completeness,
            supplies=by_letter["S"],
            grounds=by_letter["G"],
            carrying=by_letter["V"],
            chains=by_letter["C"],
            through_loads=self._through_loads(),
            census=self._census(rows),
            cavities_listed=bool(facts.cavities),
            loose_ends=loose,
            remarks=self._remarks(),
            cross_check=check,
            sheets=self._sheets(rows),
            cautions=tuple(caution.text for caution in cautions_for("probe")),
            gets=dict(facts.gets),
        )
        return replace(report, minding=minding_of(self.tracing, report))

    # --- rows --------------------------------------------------------------------------------------------------

    def _rows(self, letter: str, level: str, pins: Iterable[PinFinding]) -> list[Row]:
        rows = []
        for number, pin in enumerate(pins, 1):
            assert pin.node is not None
            rows.append(self._row(pin.node, level, f"{letter}{number}", pin.declared))
        return rows

    def _row(self, node: int, level: str, code: str, declared: str) -> Row:
        ways = self.tracing.ways_to(node, level, self.module.name)
        self.on_ways.add(self.circuit, ways.to(node), node)
        self.row_of_node[node, level] = code
        return row_of(self.tracing, ways, node, level=level, code=code, declared=declared)

    def _carrying(self) -> list[Row]:
        """Pins declared as something else that carry supply or ground all the same: sense pins, coded pins, sensor returns."""
        rows: list[Row] = []
        for pin in self.found:
            if pin.wired and pin.role in SENSING and pin.node is not None:
                for level, reached in (("supply", pin.supply), ("ground", pin.ground)):
                    if reached:
                        rows.append(self._row(pin.node, level, f"V{len(rows) + 1}", pin.declared))
        return rows

    def _with_needs(self, row: Row) -> Row:
        node = self.circuit.pins_of[row.part][row.pin]
        ways = self.tracing.ways_to(node, row.level, self.module.name)
        return replace(row, needs=self._needs(ways.to(node)))

    def _needs(self, way: Way | None) -> tuple[str, ...]:
        """Codes of what a way needs: chain rows, or rows of the module itself (then it is a loop)."""
        codes: dict[str, None] = {}
        for need in needs_of(self.tracing, way, self.module.name):
            codes[self.row_of_node.get((need.node, need.level)) or self.chains.add(need)] = None
        for output in loops_of(self.circuit, way, self.module.name):
            codes[f"{output} (loop)"] = None
        return tuple(codes)

    def _chain_rows(self) -> list[Row]:
        rows: list[Row] = []
        while len(rows) < len(self.chains.needs):  # a chain may need further chains
            need = self.chains.needs[len(rows)]
            code = f"C{len(rows) + 1}"
            ways = ways_for(self.tracing, need)
            self.on_ways.add(self.circuit, ways.to(need.node), need.node)
            if not ways.reached(need.node):
                rows.append(self._dead_chain(need, code))
                continue
            row = row_of(self.tracing, ways, need.node, level=need.level, code=code, what_for=need.what_for)
            rows.append(replace(row, needs=self._needs(ways.to(need.node))))
        return rows

    def _dead_chain(self, need: Need, code: str) -> Row:
        part, pin = self.circuit.node_parts[need.node], self.circuit.node_pins[need.node]
        keys = dict.fromkeys(self.tracing.states.keys, "dead")
        note = "no way to a source is typed in" if need.level == "supply" else "no way to ground is typed in"
        return Row(
            code,
            part,
            pin,
            need.level,
            "",
            "",
            (),
            (),
            (),
            (),
            (),
            (),
            keys,
            {},
            (),
            (),
            (note,),
            need.what_for,
            no_method=self.tracing.once(Hazards).withheld(self.circuit.node_names[need.node]),
        )

    def _remarks(self) -> tuple[LooseEnd, ...]:
        found = []
        for finding in remarks(self.tracing):
            near = finding.module == self.module.name or any(node in self.on_ways.nodes for node in finding.nodes)
            if near or any(part in self.on_ways.parts for part in finding.parts):
                found.append(LooseEnd.of(finding))
        return tuple(found)

    # --- the rest ----------------------------------------------------------------------------------------------

    def _through_loads(self) -> tuple[ThroughLoad, ...]:
        found = []
        for pin in self.found:
            if not pin.wired or pin.node is None or pin.supply or pin.ground:
                continue
            for level in ("supply", "ground"):
                loads = self.tracing.loads_between(pin.node, supply=level == "supply")
                if loads:
                    no_method = self.tracing.once(Hazards).withheld(self.circuit.node_names[pin.node])
                    note = no_method or _load_note(level, loads)
                    found.append(ThroughLoad(pin.pin, pin.declared, level, loads, note, no_method))
        return tuple(found)

    def _census(self, rows: Iterable[Row]) -> tuple[Cavity, ...]:
        code = {row.pin: row.code for row in rows if row.part == self.module.name and row.code[0] in "SGV"}
        cavities = []
        for pin in self.found:
            traced = (
                "supply and ground"
                if pin.supply and pin.ground
                else "supply"
                if pin.supply
                else "ground"
                if pin.ground
                else "wired"
                if pin.wired
                else "not wired"
            )
            cavities.append(Cavity(pin.pin, pin.kind, pin.declared, traced, code.get(pin.pin, "")))
        return tuple(cavities)

    def _sheets(self, rows: Iterable[Row]) -> tuple[str, ...]:
        used = {sheet for row in rows for probe in row.probes for sheet in probe.sheets}
        return tuple(sorted(used, key=natural))


def _load_note(level: str, loads: tuple[str, ...]) -> str:
    through = ", ".join(loads)
    if level == "supply":
        return f"reads battery voltage only through {through}, and only while nothing draws current: not a supply"
    return f"reads ground only through {through}: not a ground"
