"""How often what lies on a way fails, how often a reading is wrong, what a measurement costs: relative figures from ``data/faults.yaml``."""

from __future__ import annotations

from tracer.standards._tables import table


def piece_fails(kind: str) -> tuple[float, str]:
    """How often a kind of link fails against the others, and how it does."""
    row = next(row for row in table("faults", "pieces") if row.text("kind") == kind)
    return row.number("weight"), row.text("words")


def slip(what: str) -> float:
    """The share of readings that are wrong, or of vehicles with a second fault."""
    return next(row.number("share") for row in table("faults", "slips") if row.text("what") == what)


def effort(what: str) -> float:
    """What a reading costs, and what is added for another place, a key change ...; 1 is a reading where you already stand."""
    return next(row.number("effort") for row in table("faults", "efforts") if row.text("what") == what)


__all__ = ["effort", "piece_fails", "slip"]
