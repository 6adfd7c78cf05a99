"""Terminal designations of DIN 72552. What other marks on a diagram mean is typed in: `rails: {X: [run]}`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Final, Literal, get_args

from tracer.standards import _tables
from tracer.standards._tables import BrokenTable, Certainty, Row

KeyState = Literal["off", "acc", "run", "start"]
KEY_STATES: Final[tuple[KeyState, ...]] = get_args(KeyState)
"""Key out or off; accessory detent; ignition on or engine running; key held, starter turning."""

Role = Literal["supply", "ground", "switched ground", "other"]
ROLES: Final[tuple[Role, ...]] = get_args(Role)


@dataclass(frozen=True, slots=True)
class Terminal:
    """What a terminal designation stands for.

    ``live`` lists the key states in which the terminal carries supply, in the order of
    `KEY_STATES`; empty for a ground; None where that depends on something else, named in ``when``.
    ``start_certain`` is False where it is not known what the terminal does while the starter turns:
    then ``start`` in ``live``, or its absence, is the usual case and has to be measured.
    ``certainty`` is that of the meaning, ``live_certainty`` that of the key states.
    """

    code: str
    meaning: str
    role: Role
    live: tuple[KeyState, ...] | None
    when: str
    start_certain: bool
    note: str
    source: str
    certainty: Certainty
    live_certainty: Certainty


def meaning(terminal: str) -> Terminal | None:
    """The entry for a designation such as ``30``, ``15``, ``31b`` or ``B+``; None if it is not listed.

    Exact spelling first (``L`` is a lamp), then without regard to case where only one entry fits.
    A long minus sign or dash counts as a hyphen.

    Examples
    --------
    >>> meaning("30").live
    ('off', 'acc', 'run', 'start')
    >>> meaning("15").start_certain
    False
    """
    wanted = terminal.strip().replace("\N{MINUS SIGN}", "-").replace("\N{EN DASH}", "-")
    by_code = _by_code()
    if wanted in by_code:
        return by_code[wanted]
    alike = [entry for code, entry in by_code.items() if code.lower() == wanted.lower()]
    return alike[0] if len(alike) == 1 else None


@cache
def terminals() -> tuple[Terminal, ...]:
    """Every entry."""
    return tuple(_terminal(row) for row in _tables.table("terminals", "din_72552"))


@cache
def _by_code() -> Mapping[str, Terminal]:
    return MappingProxyType({entry.code: entry for entry in terminals()})


def _terminal(row: Row) -> Terminal:
    role = row.text("role")
    if role not in ROLES:
        raise BrokenTable(f"{row.where}: role must be one of {', '.join(ROLES)}, is {role!r}")
    return Terminal(
        code=row.text("code"),
        meaning=row.text("meaning"),
        role=role,
        live=_live(row),
        when=row.optional_text("when"),
        start_certain=row.flag("start_certain"),
        note=row.optional_text("note"),
        source=row.source,
        certainty=row.certainty,
        live_certainty=row.mark("live_sure"),
    )


def _live(row: Row) -> tuple[KeyState, ...] | None:
    if "live" not in row.values:
        return None
    states = row.texts("live")
    if unknown := set(states) - set(KEY_STATES):
        raise BrokenTable(f"{row.where}: no key state {', '.join(sorted(unknown))}")
    return tuple(state for state in KEY_STATES if state in states)
