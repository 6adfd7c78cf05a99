"""DIN 72552 terminal designations as the trade uses them: custom of the trade, no source. The standard itself was not read."""

from __future__ import annotations

import pytest

from tracer.standards.terminals import meaning

# code, a word its meaning must have, key states
LIVE = [
    ("15e", "switched positive", ("run", "start")),
    ("30", "battery", ("off", "acc", "run", "start")),
    ("30a", "second battery", ("off", "acc", "run", "start")),
    ("50", "starter control", ("start",)),
    ("B+", "generator output", ("off", "acc", "run", "start")),
]

GROUND = ["31", "31a", "31d", "B-"]

MEANING = [
    ("15", "ignition switch"),
    ("15a", "series resistor"),
    ("49", "flasher"),
    ("49a", "flasher"),
    ("53", "wiper"),
    ("53a", "park"),
    ("53b", "wiper"),
    ("53c", "washer"),
    ("53e", "brake winding"),
    ("54", "stop lamps"),
    ("55", "fog"),
    ("56a", "main beam"),
    ("56b", "dipped beam"),
    ("56d", "flash"),
    ("57a", "parking"),
    ("58", "tail"),
    ("58L", "left"),
    ("58R", "right"),
    ("61", "charge warning"),
    ("71", "horn"),
    ("75", "accessory"),
    ("81", "break or change-over"),
    ("82", "make switch"),
    ("85", "coil"),
    ("86", "coil"),
    ("87", "make contact"),
    ("87a", "break contact"),
    ("D+", "exciter"),
    ("DF", "field"),
    ("W", "phase"),
    ("L", "left"),
    ("R", "right"),
]


@pytest.mark.parametrize(("code", "word", "live"), LIVE)
def test_supply_is_live_in_its_key_states(code: str, word: str, live: tuple[str, ...]) -> None:
    """A supply terminal is live in exactly these key states."""
    entry = meaning(code)
    assert entry is not None
    assert word in entry.meaning
    assert entry.live == live
    assert entry.role == "supply"
    assert entry.live_certainty == "custom"


@pytest.mark.parametrize("code", GROUND)
def test_ground_is_never_live(code: str) -> None:
    """A ground terminal is a ground in every key state."""
    entry = meaning(code)
    assert entry is not None
    assert entry.role == "ground"
    assert entry.live == ()


@pytest.mark.parametrize(("code", "word"), MEANING)
def test_meaning_is_the_one_of_the_trade(code: str, word: str) -> None:
    """The meaning of a listed code names what the trade means by it."""
    entry = meaning(code)
    assert entry is not None
    assert word in entry.meaning
    assert entry.certainty == "custom"


def test_switched_ground_is_not_a_plain_ground() -> None:
    """31b is ground by way of a switch, so it depends on that switch."""
    entry = meaning("31b")
    assert entry is not None
    assert entry.role == "switched ground"
    assert entry.live is None
    assert "closed" in entry.when


@pytest.mark.parametrize("code", ["15", "15a", "53", "75"])
def test_key_states_from_memory_are_marked_so(code: str) -> None:
    """The key states of these are not certain, so they say from memory and leave cranking open."""
    entry = meaning(code)
    assert entry is not None
    assert entry.live_certainty == "memory"
    assert not entry.start_certain
