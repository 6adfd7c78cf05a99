"""How a bus and its lines are called: by what is declared of a pin, and in one word. Imports nothing, since recording a reading needs it."""

from __future__ import annotations

LINES = ("H", "L", "LIN")
NO_BUS = "No pin is called `bus NAME LINE`, and vehicle.yaml has no `buses`."


def line_called(typed: str) -> str:
    """H, L or LIN for every way a line is typed: `high`, `CAN_H`, nothing; any other word in capitals.

    >>> line_called("high"), line_called("CAN_L"), line_called(""), line_called("lin")
    ('H', 'L', 'LIN', 'LIN')
    """
    word = typed.upper().replace("CAN_", "").replace("CAN-", "").strip(",;")
    return {"HIGH": "H", "LOW": "L", "": "LIN"}.get(word, word)


def bus_of(words: str) -> tuple[str, str] | None:
    """Name and line of the bus that a module's pin is on, by what is typed there: `bus drive H`. The name is all words up to the line; what follows it says nothing.

    >>> bus_of("bus drive H"), bus_of("bus climate"), bus_of("supply"), bus_of("bus my own H, left")
    (('drive', 'H'), ('climate', ''), None, ('my own', 'H'))
    >>> bus_of("bus roof lin")
    ('roof', 'LIN')
    """
    role, *said = [*words.split(), ""]
    if role != "bus" or not said[0]:
        return None
    end = next((n for n, word in enumerate(said) if n and (not word or line_called(word) in LINES)), len(said))
    return " ".join(said[:end]), line_called(said[end]) if end < len(said) and said[end] else ""


def bus_as_called(words: str) -> tuple[str, str]:
    """What a pin declared as `bus drive H` is called: the bus and its line; without a name where only a line is declared (`bus H`).

    >>> bus_as_called("bus drive H"), bus_as_called("bus roof lin"), bus_as_called("bus H"), bus_as_called("bus")
    (('drive', 'H'), ('roof', 'LIN'), ('', 'H'), ('', ''))
    """
    name, line = bus_of(words) or ("", "")
    return ("", line_called(name)) if not line and line_called(name) in ("H", "L") else (name, line)


def bus_in_rows(bus: str) -> str:
    """A bus as its rows call it, in one word: `my own` is my_own, and one without a name is bus."""
    return (bus or "bus").replace(" ", "_")


__all__ = ["LINES", "bus_as_called", "bus_in_rows", "bus_of", "line_called"]
