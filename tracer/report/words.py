"""Sentences and words that more than one output prints: each stands here once."""

from __future__ import annotations

MAKER_FIRST = "The maker's procedure comes first."
NOT_IN_THESE = "What is not typed in is not in these values."
NO_VOLTS = "NO VOLTS COMPUTED"
MAY_BE_MISSING = "what hangs there may be affected too and is missing here"
KEY_OFF_FIRST = f"Key off before a fuse is pulled; {MAKER_FIRST[0].lower()}{MAKER_FIRST[1:]}"
TAKEN_BY_DEFAULT = "resistance or rating not known, taken by default: the current is rough"
LETTERS = "S supply, G ground, V carries a level, C side chain, B bus line"
NEVER_A_LAMP = "ever on bus, signal, 5 V or restraint wiring"
WHOSE_WORDS = "complaint, in the customer's words; when, hot, wet, recent work"
TOO_MANY_TO_WALK = "too many ways to walk them all; a fuse too many"
RESTS_ON = "it rests on this"
PINS_NOT_LISTED = "its pins are not listed"
NOT_DECLARED = "not declared on any sheet"
MUST_WORK = "What must work first"
CARRYING = "Other pins that carry supply or ground level"
FED_THROUGH = "fed through, source first"
EVERY_WAY = "; * every way runs through it"

__all__ = [
    "CARRYING", "EVERY_WAY", "FED_THROUGH", "KEY_OFF_FIRST", "LETTERS", "MAKER_FIRST", "MAY_BE_MISSING", "MUST_WORK", "NEVER_A_LAMP", "NOT_DECLARED", "NOT_IN_THESE", "NO_VOLTS", "PINS_NOT_LISTED", "RESTS_ON", "TAKEN_BY_DEFAULT", "TOO_MANY_TO_WALK", "WHOSE_WORDS",
]  # fmt: skip
