"""Sentences and words that more than one output prints: each stands here once."""

from __future__ import annotations

MAKER_FIRST = "The maker's procedure comes first."
NOT_IN_THESE = "What is not typed in is not in these values."
NO_VOLTS = "NO VOLTS COMPUTED"
RESTS_ON = "it rests on this"
PINS_NOT_LISTED = "its pins are not listed"
NOT_DECLARED = "not declared on any sheet"
MUST_WORK = "What must work first"
CARRYING = "Other pins that carry supply or ground level"
FED_THROUGH = "fed through, source first"
EVERY_WAY = "; * every way runs through it"

__all__ = [
    "CARRYING", "EVERY_WAY", "FED_THROUGH", "MAKER_FIRST", "MUST_WORK", "NOT_DECLARED", "NOT_IN_THESE", "NO_VOLTS", "PINS_NOT_LISTED", "RESTS_ON",
]  # fmt: skip
