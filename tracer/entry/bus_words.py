"""How a bus and its lines are called: by what is declared of a pin, and in one word. Imports nothing, since recording a reading needs it."""

from __future__ import annotations


def bus_of(words: str) -> tuple[str, str] | None:
    """Name and line of the bus that a module's pin is on, by what is typed there: `bus drive H`.

    >>> bus_of("bus drive H"), bus_of("bus climate"), bus_of("supply")
    (('drive', 'H'), ('climate', ''), None)
    """
    role, name, line, *_ = [*words.split(), "", "", ""]
    return (name, line) if role == "bus" and name else None


def bus_as_called(words: str) -> tuple[str, str]:
    """What a pin declared as `bus drive H` is called: the bus, of as many words as it has, and its line; without a line where none is declared.

    >>> bus_as_called("bus drive H"), bus_as_called("bus roof lin")
    (('drive', 'H'), ('roof lin', ''))
    """
    said = words.split()[1:]
    return (
        " ".join(word for word in said if word not in ("H", "L")),
        next((word for word in said if word in ("H", "L")), ""),
    )


def bus_in_rows(bus: str) -> str:
    """A bus as its rows call it, in one word: `roof lin` is roof_lin, and one without a name is bus."""
    return (bus or "bus").replace(" ", "_")


__all__ = ["bus_as_called", "bus_in_rows", "bus_of"]
