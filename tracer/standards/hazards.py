"""What can hurt somebody, and what follows for the one who probes: kinds of hazard, the line to print, words that give one away.

All of it is common practice, no source; the maker's procedure comes first. On restraint and high-voltage wiring no method is printed at all.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class HazardKind:
    """One kind of hazard. `words` are what a name says where nobody typed the hazard; `no_method`: nothing but the maker's procedure is printed."""

    name: str
    line: str
    no_method: bool = False
    words: tuple[str, ...] = ()

    @property
    def withheld(self) -> str:
        """What stands in place of every method and figure; empty where they are given."""
        wiring = "" if self.name == "high voltage" else " wiring"
        return f"{self.name}{wiring}, the maker's procedure only" if self.no_method else ""


HAZARDS: Final = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            HazardKind(
                "restraint",
                "restraint wiring: a meter or a lamp can fire the charge. The maker's procedure only",
                no_method=True,
                words=(
                    "airbag", "airbags", "air bag", "air bags", "srs", "restraint", "restraints", "belt tension", "belt tensioner", "belt tensioners",
                    "pretension", "pretensioner", "pretensioners", "squib", "squibs", "igniter", "igniters", "inflator", "inflators",
                ),
            ),
            HazardKind(
                "high voltage",
                "high voltage: can kill. Trained and authorised people, by the maker's procedure only",
                no_method=True,
                words=("high voltage", "traction battery", "traction inverter", "traction motor", "hv", "hvil"),
            ),
            HazardKind("fuel", "fuel: no spark, no open flame, ventilate; a pump may start when its supply comes back"),
            HazardKind("raised load", "a raised load may sink or tip: support it before anything is unplugged or switched"),
            HazardKind("hot", "hot parts: let them cool, or keep leads and hands away"),
            HazardKind("moving", "moving parts may start by themselves: keep hands, hair and leads clear"),
        )
    }
)  # fmt: skip
"""Every kind of hazard by its name, in the order in which they are printed."""

_WORDS: Final = {
    name: re.compile(r"(?<![a-z])(?:" + "|".join(re.escape(word) for word in kind.words) + r")(?![a-z])")
    for name, kind in HAZARDS.items()
    if kind.words
}
_ANY: Final = re.compile("|".join(re.escape(word) for kind in HAZARDS.values() for word in kind.words))


def hazards_in_words(*said: str | None) -> tuple[tuple[str, str], ...]:
    """Kinds of hazard that names and titles give away, each with the words that did.

    Examples
    --------
    >>> hazards_in_words("Driver's airbag", None), hazards_in_words("Air levelling module")
    ((('restraint', 'airbag'),), ())
    """
    text = " ; ".join(re.sub(r"[-_/]+", " ", word.casefold()) for word in said if word)
    if not _ANY.search(text):  # as in nearly every name
        return ()
    return tuple((name, found.group()) for name, pattern in _WORDS.items() if (found := pattern.search(text)))
