"""The faces that text is set in, how wide their letters are, and which fonts a PDF is made with: those embedded in the typesetter, so that the same input gives the same bytes on every machine.

They hold Latin, Greek and Cyrillic letters and the usual signs. Where a name has other letters, the fonts of the machine are used as well: a name that
cannot be read on the sheet would be worse than bytes that differ between machines.
"""

from __future__ import annotations

import unicodedata
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


# --- widths ----------------------------------------------------------------------------------------------------------

SERIF = "Libertinus Serif"  # PDF and PNG: comes with the typesetter
SANS = "Helvetica, Arial, 'Liberation Sans', 'Nimbus Sans', sans-serif"  # SVG: whichever of them the viewer has

# Advance widths, 1/1000 of the type size. Those of the sans serif are the published core metrics of the PostScript face that Arial, Liberation Sans and
# others share their widths with, from memory; each text is given its length in the SVG as well, so that a viewer with another face keeps to it.
_SANS = {
    " ": 278, "!": 278, '"': 355, "#": 556, "$": 556, "%": 889, "&": 667, "'": 191, "(": 333, ")": 333, "*": 389, "+": 584, ",": 278, "-": 333,
    ".": 278, "/": 278, ":": 278, ";": 278, "<": 584, "=": 584, ">": 584, "?": 556, "@": 1015, "A": 667, "B": 667, "C": 722, "D": 722, "E": 667,
    "F": 611, "G": 778, "H": 722, "I": 278, "J": 500, "K": 667, "L": 556, "M": 833, "N": 722, "O": 778, "P": 667, "Q": 778, "R": 722, "S": 667,
    "T": 611, "U": 722, "V": 667, "W": 944, "X": 667, "Y": 667, "Z": 611, "[": 278, "\\": 278, "]": 278, "^": 469, "_": 556, "`": 333, "a": 556,
    "b": 556, "c": 500, "d": 556, "e": 556, "f": 278, "g": 556, "h": 556, "i": 222, "j": 222, "k": 500, "l": 222, "m": 833, "n": 556, "o": 556,
    "p": 556, "q": 556, "r": 333, "s": 500, "t": 278, "u": 556, "v": 500, "w": 722, "x": 500, "y": 500, "z": 500, "{": 334, "|": 260, "}": 334,
    "~": 584, **dict.fromkeys("0123456789", 556), "–": 556, "−": 584, "²": 333, "µ": 556, "Ω": 768, "°": 400, "…": 1000,
}  # fmt: skip
_SANS_BOLD = {
    " ": 278, "!": 333, '"': 474, "#": 556, "$": 556, "%": 889, "&": 722, "'": 238, "(": 333, ")": 333, "*": 389, "+": 584, ",": 278, "-": 333,
    ".": 278, "/": 278, ":": 333, ";": 333, "<": 584, "=": 584, ">": 584, "?": 611, "@": 975, "A": 722, "B": 722, "C": 722, "D": 722, "E": 667,
    "F": 611, "G": 778, "H": 722, "I": 278, "J": 556, "K": 722, "L": 611, "M": 833, "N": 722, "O": 778, "P": 667, "Q": 778, "R": 722, "S": 667,
    "T": 611, "U": 722, "V": 667, "W": 944, "X": 667, "Y": 667, "Z": 611, "[": 333, "\\": 278, "]": 333, "^": 584, "_": 556, "`": 333, "a": 556,
    "b": 611, "c": 556, "d": 611, "e": 556, "f": 333, "g": 611, "h": 611, "i": 278, "j": 278, "k": 556, "l": 278, "m": 889, "n": 611, "o": 611,
    "p": 611, "q": 611, "r": 389, "s": 556, "t": 333, "u": 611, "v": 556, "w": 778, "x": 556, "y": 556, "z": 500, "{": 389, "|": 280, "}": 389,
    "~": 584, **dict.fromkeys("0123456789", 556), "–": 556, "−": 584, "²": 333, "µ": 611, "Ω": 768, "°": 400, "…": 1000,
}  # fmt: skip
# Those of the serif as the typesetter measures them; a test measures them again.
_SERIF = {
    " ": 250, "!": 288, "\"": 336, "#": 465, "$": 465, "%": 637, "&": 705, "'": 190, "(": 298, ")": 298, "*": 369, "+": 550, ",": 220, "-": 338, ".": 220,
    "/": 323, "0": 465, "1": 465, "2": 465, "3": 465, "4": 465, "5": 465, "6": 465, "7": 465, "8": 465, "9": 465, ":": 236, ";": 236, "<": 550, "=": 550,
    ">": 550, "?": 435, "@": 895, "A": 695, "B": 588, "C": 646, "D": 701, "E": 557, "F": 485, "G": 685, "H": 730, "I": 297, "J": 322, "K": 637, "L": 528,
    "M": 839, "N": 699, "O": 702, "P": 541, "Q": 702, "R": 587, "S": 485, "T": 597, "U": 661, "V": 652, "W": 951, "X": 660, "Y": 575, "Z": 604, "[": 356,
    "\\": 287, "]": 356, "^": 518, "_": 486, "`": 392, "a": 457, "b": 493, "c": 428, "d": 506, "e": 447, "f": 328, "g": 500, "h": 538, "i": 271, "j": 272,
    "k": 512, "l": 264, "m": 790, "n": 542, "o": 504, "p": 519, "q": 503, "r": 372, "s": 390, "t": 316, "u": 531, "v": 497, "w": 747, "x": 490, "y": 515,
    "z": 424, "{": 277, "|": 205, "}": 277, "~": 449, "–": 548, "−": 550, "²": 307, "³": 307, "µ": 515, "Ω": 697, "°": 267, "…": 749, "·": 250, "×": 550,
    "→": 1130, "±": 550, "¹": 307, "Ä": 695, "Ö": 702, "Ü": 661, "ä": 457, "ö": 504, "ü": 531, "ß": 541, "é": 447, "è": 447, "„": 375, "“": 375, "”": 375,
    "’": 268,
}  # fmt: skip
_SERIF_BOLD = {
    " ": 250, "!": 266, "\"": 376, "#": 514, "$": 514, "%": 637, "&": 729, "'": 215, "(": 315, ")": 315, "*": 433, "+": 537, ",": 244, "-": 358, ".": 244,
    "/": 316, "0": 514, "1": 514, "2": 514, "3": 514, "4": 514, "5": 514, "6": 514, "7": 514, "8": 514, "9": 514, ":": 256, ";": 256, "<": 512, "=": 551,
    ">": 512, "?": 430, "@": 988, "A": 740, "B": 654, "C": 706, "D": 734, "E": 609, "F": 545, "G": 732, "H": 817, "I": 367, "J": 373, "K": 736, "L": 577,
    "M": 899, "N": 740, "O": 730, "P": 614, "Q": 730, "R": 716, "S": 504, "T": 652, "U": 732, "V": 700, "W": 1028, "X": 718, "Y": 624, "Z": 624, "[": 397,
    "\\": 307, "]": 397, "^": 518, "_": 486, "`": 392, "a": 506, "b": 542, "c": 456, "d": 561, "e": 489, "f": 391, "g": 521, "h": 619, "i": 322, "j": 312,
    "k": 613, "l": 325, "m": 905, "n": 616, "o": 551, "p": 581, "q": 573, "r": 428, "s": 427, "t": 358, "u": 598, "v": 529, "w": 777, "x": 561, "y": 558,
    "z": 452, "{": 307, "|": 220, "}": 307, "~": 473, "–": 534, "−": 540, "²": 340, "³": 340, "µ": 559, "Ω": 749, "°": 267, "…": 817, "·": 250, "×": 527,
    "→": 1154, "±": 527, "¹": 340, "Ä": 740, "Ö": 730, "Ü": 732, "ä": 506, "ö": 551, "ü": 598, "ß": 615, "é": 489, "è": 489, "„": 440, "“": 440, "”": 440,
    "’": 253,
}  # fmt: skip
_FACES = {False: (_SANS, _SERIF), True: (_SANS_BOLD, _SERIF_BOLD)}


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width in points that holds a text in either face."""
    return max(_width(text, face) for face in _FACES[bold]) * size / 1000


def svg_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width in points of a text in the face of the SVG."""
    return _width(text, _FACES[bold][0]) * size / 1000


def _width(text: str, face: dict[str, int]) -> int:
    return sum(face[letter] if letter in face else _other(letter) for letter in text)


def _other(letter: str) -> int:
    """A letter that no table has: a full square for East Asian ones, nothing for a mark over the letter before, else that of a wide capital."""
    if unicodedata.combining(letter):
        return 0
    return 1000 if unicodedata.east_asian_width(letter) in "WF" else 780
