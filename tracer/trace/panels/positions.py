"""What a panel answers with: each position, what belongs in it, what feeds it, what it serves."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from tracer.circuit.model import FUSE_KINDS
from tracer.entry.problems import CannotAnswer
from tracer.standards import figures
from tracer.trace.lists.completeness import Answer, Completeness
from tracer.trace.lists.results import LooseEnd
from tracer.trace.minding import NOTHING, Minding

FITTED, EMPTY, OPTION, EITHER, ELECTRONIC, UNKNOWN = (
    "fitted",
    "must be empty",
    "option not fitted",
    "either-or",
    "electronic output",
    "not known",
)


class UnknownPanel(CannotAnswer, LookupError):
    """There is no panel of that name; the message says which there are."""


@dataclass(frozen=True, slots=True)
class Served:
    """One pin that a position supplies. `through`: the module outputs that switch it on the way ('' when none does)."""

    part: str
    kind: str
    name: str | None
    pin: str
    declared: str
    through: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Position:
    """One labelled place in a panel.

    `amps` in A; `colour` of the body by ISO 8820-3, None where that lists none; `family` in words. `fed_from` are the points it is joined with on its feed
    side, `upstream` the fuses from the source down to it. `live` is per key state, at the feed side. `said` is the sheets' own text, `not_found` the parts it names that the tracing does not find below the
    position, `not_named` the modules found that it does not name.
    """

    panel: str
    label: str
    part: str
    kind: str
    amps: float | None
    letter: str
    family: str
    colour: str | None
    state: str
    either: str | None
    body: str | None
    output: str | None
    fed_from: tuple[str, ...]
    upstream: tuple[str, ...]
    ends: tuple[str, ...]
    feed_side: str | None
    live: dict[str, str]
    why: dict[str, tuple[str, ...]]
    serves: tuple[Served, ...]
    loose: tuple[str, ...]  # loose ends on the ways below: what hangs there is not under `serves`
    below: tuple[str, ...]
    relay: str  # relays: the kind, such as `normally open`
    pins: tuple[tuple[str, str], ...]  # relays: each pin and what it is joined with
    said: str | None
    not_found: tuple[str, ...]
    not_named: tuple[str, ...]
    sheets: tuple[str, ...]
    name: str | None
    note: str | None

    @property
    def belongs(self) -> str:
        """What belongs there, in words: 'fuse 10 A, type F miniature blade, red'."""
        if self.state == EMPTY:
            return "nothing"
        if self.state == ELECTRONIC:
            return (
                f"no fuse: output {self.output} does its work"
                if self.output
                else "no fuse: an electronic output does its work"
            )
        words = {"link": "fusible link"}.get(self.kind, self.kind)
        if self.relay:
            words += f", {self.relay}"
        if self.kind in FUSE_KINDS:
            words += figures.rating_behind(self.amps)
            if self.letter or self.family:
                words += (
                    f", type {self.letter} ({self.family})"
                    if self.letter and self.family
                    else f", {self.family or f'type {self.letter}'}"
                )
            if self.colour:
                words += f", {self.colour}"
        return words


@dataclass(frozen=True, slots=True)
class Panel:
    """One panel: its positions in the order in which they sit, and its plan (labels by row, `_` for a gap)."""

    panel: str
    name: str | None
    place: str | None
    access: str | None
    keys: tuple[str, ...]
    positions: tuple[Position, ...]
    plan: tuple[tuple[str, ...], ...]
    loose_ends: tuple[LooseEnd, ...]


@dataclass(frozen=True, slots=True)
class PanelReport(Answer):
    """Every position of one or all panels."""

    vehicle: str
    panels: tuple[Panel, ...]
    cautions: tuple[str, ...]
    completeness: Completeness  # of the vehicle: a wire that nobody typed in may hang on any splice below a position
    minding: Minding = NOTHING

    @property
    def loose_elsewhere(self) -> int:
        """Loose ends of the vehicle at none of these positions and on no way below them."""
        return self.completeness.loose - len({loose for panel in self.panels for loose in panel.loose_ends})

    @property
    def positions(self) -> tuple[Position, ...]:
        """Every position of every panel, in order."""
        return tuple(position for panel in self.panels for position in panel.positions)

    @property
    def shown(self) -> dict[str, str]:
        """What each position is called among all of these, by part: its label, with its panel where another one has that label too."""
        labels = Counter(position.label for position in self.positions)
        return {
            position.part: position.label if labels[position.label] == 1 else f"{position.panel}/{position.label}"
            for position in self.positions
        }
