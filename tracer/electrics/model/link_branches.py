"""Every link of a circuit as a branch of its model; loads that are no resistors as draws."""

from __future__ import annotations

from dataclasses import replace

from tracer.circuit.model import SWITCHED, Link, LinkKind
from tracer.electrics.model.branches import Branch, Draw
from tracer.electrics.model.elements import LINKS, Ohms, ohms_of
from tracer.electrics.model.making import Draft
from tracer.electrics.model.sources import converter_follows
from tracer.electrics.model.switching import Switching
from tracer.entry.models import LoadFacts
from tracer.standards import figures
from tracer.standards.allowances import Span, default_draw_a, junctions, spread
from tracer.trace.tracing import Tracing

UNFITTED_A = 0.1  # through a diode, until it is known what flows (`fitting.py`)


def _plain(tracing: Tracing) -> dict[float, dict[int, Branch]]:
    """By the system's voltage and by number: the branches of links that nothing switches, as they are in every model in which nothing is put into them."""
    return {}


class LinkBranches:
    """Adds the links to a draft."""

    def __init__(self, draft: Draft, switching: Switching) -> None:
        self.draft = draft
        self.circuit = draft.circuit
        self.changes = draft.changes
        self.switching = switching
        self.plain = draft.tracing.once(_plain).setdefault(draft.system_v, {})

    def make(self) -> None:
        """Add every link that is not taken out, with the resistances put in series."""
        in_series: dict[int, float] = {}
        moved: dict[tuple[int, int], int] = {}
        for added in self.changes.added:
            for number in added.links:
                in_series[number] = in_series.get(number, 0.0) + added.ohm
            if added.attached:
                inner = self.draft.node(f"{self.draft.names[added.node]} behind the added resistance")
                for number in added.attached:
                    moved[number, added.node] = inner
                plain = Ohms(added.ohm, added.ohm, added.ohm, 0.0, "added")
                self.draft.branches.append(Branch(inner, added.node, -1, "added resistance", "", plain))
        changed = {*in_series, *(number for number, _ in moved)}
        for number, link in enumerate(self.circuit.links):
            if number in self.switching.open_links or link.a == link.b:
                continue
            if number in changed or link.part in self.changes.fitted_a:
                a, b = moved.get((number, link.a), link.a), moved.get((number, link.b), link.b)
                self._link(number, link, a, b, in_series.get(number, 0.0))
            elif number in self.plain:
                self.draft.branches.append(self.plain[number])
            elif (branch := self._link(number, link, link.a, link.b, 0.0)) and link.kind not in SWITCHED:
                self.plain[number] = branch

    def _link(self, number: int, link: Link, a: int, b: int, extra_ohm: float) -> Branch | None:
        """Add a link; the branch that it is, None for one that is a draw or a load of which nothing is known."""
        if link.kind is LinkKind.LOAD and self._load(link, a, b):
            return None
        if link.kind is LinkKind.CONVERTER and converter_follows(self.draft, link.part):
            return None  # a draw, which is added with those of the modules
        ohms = ohms_of(self.circuit, link, self.draft.system_v, self.changes.fitted_a.get(link.part))
        if ohms is None:
            self._unknown_load(number, link, a, b)
            return None
        if extra_ohm:
            ohms = replace(
                ohms, low=ohms.low + extra_ohm, nominal=ohms.nominal + extra_ohm, high=ohms.high + extra_ohm,
                basis=f"{ohms.basis}; {figures.ohms(extra_ohm)} added",
            )  # fmt: skip
        kind = LINKS[link.kind].called(self.circuit.parts.get(link.part))
        closed = True
        if link.kind in SWITCHED:
            closed = self.switching.closed(link)
        volts = None
        if link.kind is LinkKind.DIODE:
            low, nominal, high = (-junction.volts(UNFITTED_A) for junction in junctions())
            volts = Span(low, nominal, high, "V", "law of the junction", "memory")
        branch = Branch(a, b, number, kind, link.part, ohms, closed, volts, is_diode=link.kind is LinkKind.DIODE)
        self.draft.branches.append(branch)
        return branch

    def _load(self, link: Link, a: int, b: int) -> bool:
        """A load that is no resistor, as a draw; False for the rest."""
        facts = self.draft.facts(link.part)
        if not isinstance(facts, LoadFacts) or facts.behaves in (None, "resistor"):
            return False
        watts = facts.watts
        if watts is None and facts.amps is not None:
            watts = facts.amps * self.draft.system_v
        if watts is None and facts.ohms is not None:
            watts = self.draft.system_v**2 / facts.ohms
        if watts is None:
            return False
        share = spread("watts of a load") if facts.watts is not None else spread("amps of a load or draw")
        amounts = (watts * share.low, watts * share.nominal, watts * share.high)
        kind = str(facts.behaves)
        if kind == "current":
            amounts = (
                amounts[0] / self.draft.system_v,
                amounts[1] / self.draft.system_v,
                amounts[2] / self.draft.system_v,
            )
        self.draft.draws.append(Draw(link.part, a, b, kind, amounts, self.draft.system_v))
        return True

    def _unknown_load(self, number: int, link: Link, a: int, b: int) -> None:
        """A load of which nothing is typed in: a resistor that takes the default current at the system's voltage."""
        item = "converter input" if link.kind is LinkKind.CONVERTER else "load"
        draw = default_draw_a(item)
        volts = self.draft.system_v
        ohms = Ohms(
            volts / draw.high, volts / draw.nominal, volts / draw.low, 0.0, "nothing typed in", f"{link.part}: current ({figures.stated_range(draw.low, draw.high, 'A')} taken)"
        )  # fmt: skip
        self.draft.branches.append(Branch(a, b, number, "load", link.part, ohms))
