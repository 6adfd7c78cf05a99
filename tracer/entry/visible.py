"""Characters that nobody sees, or that make a terminal or a page do something, made visible once, where text comes in."""

from __future__ import annotations

import re
from typing import Any
from unicodedata import category

_BLANKS = "\t\n\r\x0b\x0c\x85\u2028\u2029"  # they end a line or move on in it: a blank in a text of one line
# Letters by their category, but shown as nothing: fillers, joiners and selectors (Default_Ignorable_Code_Point of Unicode, where that is not category Cf).
_SHOWN_AS_NOTHING = frozenset(
    map(
        chr,
        (0x34F, 0x115F, 0x1160, 0x17B4, 0x17B5, *range(0x180B, 0x1810), 0x3164, *range(0xFE00, 0xFE10), 0xFFA0, *range(0xE0100, 0xE01F0)),
    )
)  # fmt: skip
_MAY_BE_NONE = re.compile(r"[^\x20-\x7e\xa1-\xac\xae-\u034e\u0370-\u05ff\u2010-\u2027\u2030-\u205f\u2070-\u2fff]")


def visible(text: str) -> str:
    r"""A text of one line in which every character can be seen; those that cannot stand as their number.

    Controls (escape, bell, C1), marks that turn the direction of writing, zero-width ones, halves of a surrogate pair and what Unicode keeps
    for no character stand as `<U+001B>`; what ends a line or moves on in it is a blank. All else is as it was.

    >>> visible("RD\x1b[31m \u202etxt"), visible("two\nlines"), visible("Rück 2,5 mm²")
    ('RD<U+001B>[31m <U+202E>txt', 'two lines', 'Rück 2,5 mm²')
    """
    if text.isascii() and text.isprintable():  # as nearly every text is
        return text
    return _MAY_BE_NONE.sub(_shown, text)


def _shown(match: re.Match[str]) -> str:
    letter = match[0]
    if letter in _BLANKS:
        return " "
    hidden = category(letter) in ("Cc", "Cf", "Cs") or letter in _SHOWN_AS_NOTHING or ord(letter) & 0xFFFE == 0xFFFE
    return f"<U+{ord(letter):04X}>" if hidden or 0xFDD0 <= ord(letter) <= 0xFDEF else letter


def all_visible(tree: Any) -> Any:
    """The same of every text and every key in lists and mappings."""
    if isinstance(tree, str):
        return visible(tree)
    if isinstance(tree, dict):
        return {visible(key): all_visible(value) for key, value in tree.items()}
    return [all_visible(one) for one in tree] if isinstance(tree, list) else tree


__all__ = ["all_visible", "visible"]
