"""What is asked of the current case: the front door hands these on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tracer.case.case import Case, Recorded, case_in, record, set_conditions
from tracer.case.current import current, make_current, new_name
from tracer.case.file import create
from tracer.case.handed import Taken, take_handed
from tracer.case.notes import note
from tracer.entry.files import NotWritten

if TYPE_CHECKING:
    from tracer.circuit.model import Circuit
    from tracer.trace.tracing import Tracing


def open_case(
    circuit: Circuit | Tracing, module: str, file: Path | None = None, facts: Mapping[str, str] | None = None, *, spare: Iterable[Path] = (), shop: Path | None = None,
) -> Case:  # fmt: skip
    """Open a case on a module's list and make it the current one; `facts` are complaint, by, km, customer. It is never kept below the folders in `spare`.

    Raises
    ------
    UnknownModule : no module has that name
    NotWritten : the file is there already, or cannot be written
    """
    from tracer.case.opening import kept_plan
    from tracer.electrics.limits_in_use import limits_of
    from tracer.entry.overrides import read_shop
    from tracer.trace.lists.supplies import supplies_of
    from tracer.trace.tracing import Tracing as Traced

    tracing = circuit if isinstance(circuit, Traced) else Traced(circuit)
    report = supplies_of(tracing, tracing.circuit.spelt(module))
    wanted = file or new_name(report.module)
    for folder in spare:
        if folder.resolve() in wanted.resolve().parents:
            raise NotWritten(
                f"{wanted} lies in the vehicle's folder: a case holds a customer's data, and is kept apart."
            )
    said = {name: (facts or {}).get(name, "") for name in ("complaint", "by", "km", "customer")}
    limits = limits_of(tracing.circuit, read_shop(shop) if shop is not None else None)
    create(wanted, {"kind": "open", "at": _now().isoformat(timespec="seconds"), **said, "plan": kept_plan(tracing, report, limits)})  # fmt: skip
    try:
        make_current(wanted)
    except NotWritten as error:
        raise NotWritten(f"The case is kept in {wanted}, but is not the current one: {error} TRACER_CASE={wanted} in the environment makes it so for one terminal.") from error  # fmt: skip
    return case_in(wanted)


def use_case(file: Path) -> Case:
    """Make a case the current one.

    Raises
    ------
    CannotCompute : it is no case
    NotWritten : it cannot be made current
    """
    found = case_in(file)
    make_current(file)
    return found


def current_case() -> Case:
    """The current case.

    Raises
    ------
    CannotCompute : none is open, or it cannot be read
    """
    return case_in(current())


def set_case(words: Sequence[str]) -> Case:
    """Conditions that hold from now on ("key=run", "plug=out", "lamp=21W").

    Raises
    ------
    BadWord (a CannotAnswer), NotWritten : nothing is recorded
    """
    return set_conditions(current_case(), words, _now())


def read(words: Sequence[str], *, why: str = "", instead_of: str = "") -> Recorded:
    """Readings ("3+=12,38/12,17"), all of the call or none.

    Raises
    ------
    BadWord (a CannotAnswer), NotWritten : nothing is recorded
    """
    return record(current_case(), words, _now(), why=why, instead_of=instead_of)


def read_filled(text: str) -> tuple[Recorded, tuple[str, ...]]:
    """The readings of a filled-in CSV of the worksheet; and what was written there and not taken.

    Raises
    ------
    BadWord (a CannotAnswer), NotWritten : nothing is recorded
    """
    from tracer.case.filled import read_filled as filled

    return filled(current_case(), text, _now())


def read_handed(text: str) -> Taken:
    """The readings and notes that a page hands over as text: each is recorded, was there already, or is refused by name.

    Raises
    ------
    BadWord (a CannotAnswer), NotWritten : nothing more is recorded
    """
    return take_handed(current_case(), text, _now())


def note_in_case(kind: str, words: Sequence[str], *, why: str = "", by: str = "") -> Case:
    """Something beside readings: a panel as seen, the fit of a contact, a repair ...

    Raises
    ------
    BadWord (a CannotAnswer), NotWritten : nothing is recorded
    """
    return note(current_case(), kind, words, _now(), why=why, by=by)


def _now() -> datetime:
    return datetime.now().astimezone()


__all__ = [
    "current_case",
    "note_in_case",
    "open_case",
    "read",
    "read_filled",
    "read_handed",
    "set_case",
    "use_case",
]
