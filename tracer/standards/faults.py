"""How often what lies on a way fails, how often a reading is wrong, what a measurement costs: relative figures from ``data/faults.yaml``."""

from __future__ import annotations

from tracer.standards._tables import table


def piece_fails(kind: str) -> tuple[float, str]:
    """How often a kind of link fails against the others, and how it does."""
    row = next(row for row in table("faults", "pieces") if row.text("kind") == kind)
    return row.number("weight"), row.text("words")


def bus_fails(what: str) -> tuple[float, str]:
    """How often something of a bus beside its lines fails against what lies on a way, and how it does."""
    row = next(row for row in table("faults", "buses") if row.text("what") == what)
    return row.number("weight"), row.text("words")


def other_fails(what: str) -> tuple[float, str]:
    """How often it is no fault of the wiring (`option`, `module`), and what it is then."""
    row = next(row for row in table("faults", "others") if row.text("what") == what)
    return row.number("weight"), row.text("words")


def fails_as(how: str) -> float:
    """The share of the faults of a piece that are of one kind: open, joint, short, stuck, fed, crossed."""
    return next(row.number("share") for row in table("faults", "ways") if row.text("how") == how)


def joint_ohms() -> tuple[float, ...]:
    """Ω that a bad joint may have."""
    return tuple(row.number("ohms") for row in table("faults", "joints"))


def slip(what: str) -> float:
    """The share of readings that are wrong, or of vehicles with a second fault."""
    return next(row.number("share") for row in table("faults", "slips") if row.text("what") == what)


def by_hand(kind: str) -> tuple[tuple[str, str], ...]:
    """What may be done beside reading where a kind of piece is likely, and what it means."""
    return tuple((row.text("do"), row.text("means")) for row in table("faults", "by_hand") if row.text("kind") == kind)


def effort(what: str) -> float:
    """What a reading costs, and what is added for another place, a key change ...; 1 is a reading where you already stand."""
    return next(row.number("effort") for row in table("faults", "efforts") if row.text("what") == what)


__all__ = ["bus_fails", "by_hand", "effort", "fails_as", "joint_ohms", "other_fails", "piece_fails", "slip"]
