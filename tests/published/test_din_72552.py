"""DIN 72552 terminal designations, as reproduced in trade lists.

[A] "DIN codes explained"; [B] "Common Terminal designations according to DIN 72552"; [C] "DIN 72552"; [D] "Klemmenbezeichnungen", English page; [E] "Automotive
Relays"; [F] "Klemmenbezeichnungen in Kfz-Schaltplänen". Each is a copy of the standard's list; the standard itself was not read.
"""

from __future__ import annotations

import pytest

from tracer.standards.terminals import meaning

# code, a word its meaning must have, key states where a page gives them
SEEN_LIVE = [
    ("15e", "switched positive", ("run", "start")),  # [C]
    ("30", "battery", ("off", "acc", "run", "start")),  # [A] [B]
    ("30a", "second battery", ("off", "acc", "run", "start")),  # [B]
    ("50", "starter control", ("start",)),  # [A]
    ("B+", "generator output", ("off", "acc", "run", "start")),  # [D]
]

SEEN_GROUND = ["31", "31a", "31d", "B-"]  # [A] [B], [B], [F], [D]

SEEN_MEANING = [
    ("15", "ignition switch"),  # [A] [B]
    ("15a", "series resistor"),  # [A] [B]
    ("49", "flasher"),  # [A]
    ("49a", "flasher"),  # [A]
    ("53", "wiper"),  # [A] [B]
    ("53a", "park"),  # [A] [B]
    ("53b", "wiper"),  # [A]
    ("53c", "washer"),  # [A]
    ("53e", "brake winding"),  # [A]
    ("54", "stop lamps"),  # [D]
    ("55", "fog"),  # [A]
    ("56a", "main beam"),  # [A] [D]
    ("56b", "dipped beam"),  # [A] [D]
    ("56d", "flash"),  # [A]
    ("57a", "parking"),  # [A]
    ("58", "tail"),  # [A] [D]
    ("58L", "left"),  # [D]
    ("58R", "right"),  # [D]
    ("61", "charge warning"),  # [A] [D]
    ("71", "horn"),  # [A]
    ("75", "accessory"),  # [A]
    ("81", "break or change-over"),  # [A]
    ("82", "make switch"),  # [A]
    ("85", "coil"),  # [A] [E]
    ("86", "coil"),  # [A] [E]
    ("87", "make contact"),  # [E], printing on ISO relays
    ("87a", "break contact"),  # [E]
    ("D+", "exciter"),  # [D]
    ("DF", "field"),  # [D]
    ("W", "phase"),  # [D]
    ("L", "left"),  # [D]
    ("R", "right"),  # [D]
]


@pytest.mark.parametrize(("code", "word", "live"), SEEN_LIVE)
def test_supply_is_live_in_the_published_key_states(code: str, word: str, live: tuple[str, ...]) -> None:
    """A supply terminal is live in exactly the key states that its page gives."""
    entry = meaning(code)
    assert entry is not None
    assert word in entry.meaning
    assert entry.live == live
    assert entry.role == "supply"
    assert entry.live_certainty == "seen"


@pytest.mark.parametrize("code", SEEN_GROUND)
def test_ground_is_never_live(code: str) -> None:
    """A ground terminal is a ground in every key state."""
    entry = meaning(code)
    assert entry is not None
    assert entry.role == "ground"
    assert entry.live == ()


@pytest.mark.parametrize(("code", "word"), SEEN_MEANING)
def test_meaning_is_the_published_one(code: str, word: str) -> None:
    """The meaning of a listed code names what its page names."""
    entry = meaning(code)
    assert entry is not None
    assert word in entry.meaning
    assert entry.certainty == "seen"


def test_switched_ground_is_not_a_plain_ground() -> None:
    """31b is ground by way of a switch [A] [B], so it depends on that switch."""
    entry = meaning("31b")
    assert entry is not None
    assert entry.role == "switched ground"
    assert entry.live is None
    assert "closed" in entry.when
