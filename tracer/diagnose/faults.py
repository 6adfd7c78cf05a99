"""What may be wrong: every single fault of what a module's list rests on, how likely it is before anything was read, and what it does to the network.

How often what fails, and how, is in `standards/data/faults.yaml`. A joint that is not open has some ohms that nobody knows, so it stands here once for each of
a few.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracer.entry.problems import listed
from tracer.standards.faults import fails_as, joint_ohms, other_fails, piece_fails, slip

READING_WRONG = "a reading is wrong"
SHORT_OHM, STUCK_OHM = 0.02, 0.05
_CROSSED = "contacts of two cavities changed over"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that may be wrong, in words. `pieces` are the numbers of those that it sits in, `prior` is how likely it is against the others.

    One of a bus has its name, and `inside` the module inside which, or at whose plug, it sits: it is gone when that is unplugged.
    """

    what: str
    how: str
    pieces: tuple[int, ...]
    prior: float
    bus: str = ""
    inside: str = ""

    @property
    def called(self) -> str:
        """In words, with the bus."""
        return f"{self.bus}: {self.what}" if self.bus else self.what


@dataclass(frozen=True, slots=True)
class OnBus:
    """What a fault changes on one bus: pieces of its own network that open or have ohms more, and new branches between two of its nodes, gone when the module `inside` which they lie is unplugged."""

    bus: str
    opens: tuple[int, ...] = ()
    adds: tuple[tuple[int, float], ...] = ()
    joins: tuple[tuple[int, int, float], ...] = ()
    inside: str = ""
    over: bool = False  # the lines are changed over somewhere


@dataclass(frozen=True, slots=True)
class Atom:
    """A fault as the network has it: pieces that open (with what follows), that have ohms more, that stay closed, and new branches between two nodes; and what it does to buses."""

    fault: int
    share: float
    opens: tuple[int, ...] = ()
    adds: tuple[tuple[int, float], ...] = ()  # ohms in series with a piece
    closes: tuple[int, ...] = ()
    joins: tuple[tuple[int, int, float], ...] = ()  # ohms between two nodes
    buses: tuple[OnBus, ...] = ()

    @property
    def on_ways(self) -> bool:
        """Whether it changes the network of supplies and grounds."""
        return bool(self.opens or self.adds or self.closes or self.joins)


@dataclass(frozen=True)
class Faults:
    """Every fault and its atoms; the first is that nothing is broken, and readings are wrong."""

    faults: tuple[Fault, ...]
    atoms: tuple[Atom, ...]

    @property
    def joins(self) -> list[tuple[int, int]]:
        """Each pair of nodes that some fault joins."""
        return list(dict.fromkeys((a, b) for atom in self.atoms for a, b, _ in atom.joins))


def faults_of(network: Mapping[str, Any]) -> Faults:
    """The single faults of a kept network."""
    maker = _Maker(network)
    maker.make()
    return Faults(tuple(maker.faults), tuple(maker.atoms))


class _Maker:
    def __init__(self, network: Mapping[str, Any]) -> None:
        self.network = network
        self.pieces: Sequence[Mapping[str, Any]] = network["pieces"]
        self.ends = list(zip(network["ends"][::2], network["ends"][1::2], strict=True))
        self.faults: list[Fault] = []
        self.atoms: list[Atom] = []

    def make(self) -> None:
        weights = [piece_fails(piece["kind"])[0] for piece in self.pieces]
        self._add(Fault(READING_WRONG, "wrong pin, a lead off, another key state", (), sum(weights)), [Atom(0, 1.0)])
        shorts: dict[tuple[int, ...], list[tuple[int, int, float]]] = {}
        for n, piece in enumerate(self.pieces):
            weight, words = piece_fails(piece["kind"])
            share = {how: weight * fails_as(how) for how in ("open", "joint", "short", "stuck", "fed", "crossed")}
            ohms = joint_ohms()
            one = len(self.faults)
            broken = share["open"] + share["joint"]
            atoms = [Atom(one, share["open"] / broken, opens=(n,))]
            if piece["kind"] != "coil":  # its ohms say nothing of what its contact does
                atoms += [Atom(one, share["joint"] / broken / len(ohms), adds=((n, ohm),)) for ohm in ohms]
            self._add(Fault(piece["what"], words, (n,), broken), atoms)
            a, b = self.ends[piece["branch"]]
            if fuses := tuple(self.network["blows"].get(str(n), ())):
                shorts.setdefault(fuses, []).append((n, b, share["short"]))
            if piece["kind"] in ("contact", "driver_high", "driver_low"):
                self._add(Fault(f"{piece['what']} stuck closed", "welded, or commanded when it should not be", (n,), share["stuck"]), [Atom(len(self.faults), 1.0, closes=(n,))])  # fmt: skip
            post = self.network["post"]
            if piece["kind"] == "wire" and post is not None and a != post and b != post:
                self._add(Fault(f"{piece['what']} fed from elsewhere", "short to a supply, or a back-feed", (n,), share["fed"]), [Atom(len(self.faults), 1.0, joins=((b, post, SHORT_OHM),))])  # fmt: skip
        for fuses, places in shorts.items():
            self._short(fuses, places)
        for one, other in self.network["crossings"]:
            self._add(*self._crossed(one, other))
        for at_plug in self.network.get("crossed_at_plug", ()):
            self._add(*self._crossed_at_plug(at_plug))
        prior, words = other_fails("option")
        for option in self.network.get("options", ()):
            moved = [n for n, piece in enumerate(self.pieces) if piece["part"] == option["instead"] and piece["kind"] == "fuse"]  # fmt: skip
            what = f"reads like the vehicle with {option['part']} fitted" + (f" in place of {option['instead']}" if moved else "")  # fmt: skip
            atom = Atom(len(self.faults), 1.0, opens=tuple(moved), joins=((*option["ends"], STUCK_OHM),))
            self._add(Fault(what, words, (), prior), [atom])

    def _short(self, fuses: tuple[int, ...], places: Sequence[tuple[int, int, float]]) -> None:
        """A short to ground behind the fuses that it opens; where it is no volts tell while they are open."""
        names = listed([self.pieces[n]["what"] for n in fuses], joiner="and")
        opens = "opens" if len(fuses) == 1 else "open"
        prior = sum(share for *_, share in places)
        atoms = [Atom(len(self.faults), share / prior, opens=fuses, joins=((node, 0, SHORT_OHM),)) for _, node, share in places]  # fmt: skip
        self._add(Fault(f"short to ground behind {names}", f"{names} {opens}, and {opens} again when renewed", tuple(n for n, *_ in places), prior), atoms)  # fmt: skip

    def _crossed(self, one: int, other: int) -> tuple[Fault, list[Atom]]:
        (a, b), (c, d) = (self.ends[self.pieces[n]["branch"]] for n in (one, other))
        words = [self.pieces[n]["what"] for n in (one, other)]
        prior = piece_fails("mating")[0] * fails_as("crossed")
        ohm = self.network["ohm"][self.pieces[one]["branch"]]
        atom = Atom(len(self.faults), 1.0, opens=(one, other), joins=((a, d, ohm), (c, b, ohm)))
        return Fault(f"{words[0]} and {words[1]} crossed", _CROSSED, (one, other), prior), [atom]  # fmt: skip

    def _crossed_at_plug(self, crossed: Mapping[str, Any]) -> tuple[Fault, list[Atom]]:
        """Two wires in each other's place at the module; by what is read there, also in a connector on both ways."""
        one, other = crossed["pieces"]
        what = f"{listed(crossed['what'], joiner='and')} crossed"
        what += f", in the plug or in {listed(crossed['elsewhere'])}" if crossed["elsewhere"] else ""
        prior = piece_fails("mating")[0] * fails_as("crossed" if crossed["neighbours"] else "crossed apart")
        ohm = self.network["ohm"][self.pieces[one]["branch"]]
        atom = Atom(len(self.faults), 1.0, opens=(one, other), joins=tuple((a, b, ohm) for a, b in crossed["joins"]))
        return Fault(what, _CROSSED, (one, other), prior), [atom]

    def _add(self, fault: Fault, atoms: Sequence[Atom]) -> None:
        self.faults.append(fault)
        self.atoms += atoms


def both(faults: Faults, pairs: Iterable[tuple[int, int]]) -> Faults:
    """The faults with pairs of them besides, by the numbers of two atoms each."""
    total = sum(fault.prior for fault in faults.faults)
    every, atoms = list(faults.faults), list(faults.atoms)
    number: dict[tuple[int, int], int] = {}
    for a, b in pairs:
        one, other = sorted((faults.atoms[a], faults.atoms[b]), key=lambda atom: atom.fault)
        key = one.fault, other.fault
        if key not in number:
            first, second = (faults.faults[n] for n in key)
            number[key] = len(every)
            prior = slip("second fault") * first.prior * second.prior / total
            every.append(
                Fault(f"{first.called} and {second.called}", "two faults", (*first.pieces, *second.pieces), prior)
            )
        atoms.append(
            Atom(
                number[key], one.share * other.share, one.opens + other.opens, one.adds + other.adds,
                one.closes + other.closes, one.joins + other.joins, one.buses + other.buses,
            )
        )  # fmt: skip
    return Faults(tuple(every), tuple(atoms))


__all__ = ["READING_WRONG", "SHORT_OHM", "STUCK_OHM", "Atom", "Fault", "Faults", "OnBus", "both", "faults_of"]
