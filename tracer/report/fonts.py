"""Which fonts a PDF is made with: those embedded in the typesetter, so that the same input gives the same bytes on every machine.

They hold Latin, Greek and Cyrillic letters and the usual signs. Where a name has other letters, the fonts of the machine are used as well: a name that
cannot be read on the sheet would be worse than bytes that differ between machines.
"""

from __future__ import annotations

from collections.abc import Iterable

# Blocks of Unicode that the embedded fonts cover well enough: up to Cyrillic, then punctuation to mathematical and geometric signs.
_COVERED = ((0x0000, 0x052F), (0x1E00, 0x1FFF), (0x2000, 0x22FF), (0x2500, 0x25FF))


def only_embedded(texts: Iterable[str]) -> bool:
    """Whether the embedded fonts have every letter of the texts.

    >>> only_embedded(["Ω Wörter"]), only_embedded(["配線図"])
    (True, False)
    """
    letters = {ord(letter) for text in texts for letter in text}
    return all(any(low <= letter <= high for low, high in _COVERED) for letter in letters)
