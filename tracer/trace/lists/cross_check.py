"""The guard of every list: the second count of `second_count.py` against the rows. Where the two differ, the list is not complete."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from tracer.entry.problems import natural
from tracer.trace.lists.results import CrossCheck, LooseEnd, Row
from tracer.trace.lists.second_count import Counted
from tracer.trace.lists.unknown_count import unknown_but_unsaid
from tracer.trace.tracing import Tracing


def cross_check(tracing: Tracing, module: str, rows: Iterable[Row], loose: Collection[LooseEnd]) -> CrossCheck:
    """Count the pins and fuses of a module a second time, and compare.

    Parameters
    ----------
    tracing : the vehicle
    module : whose list it is
    rows : its own rows (S, G and V)
    loose : the loose ends of the list; a pin that reaches supply and ground without a load between (L118, L119) has one instead of a row
    """
    rows = list(rows)
    excused = {end.at.rpartition(".")[2] for end in loose if end.code in ("L118", "L119")}
    differences: list[str] = []
    counted: dict[str, dict[str, Counted]] = {}
    not_walked: set[str] = set()
    for level, end in (("supply", "a source"), ("ground", "ground")):
        every = pins_counted(tracing, module, level)
        unsure = {pin for pin, one in every.items() if not one.all_walked}
        found = counted[level] = {pin: one for pin, one in every.items() if one.fuses is not None}
        on_rows = {row.pin for row in rows if row.level == level}
        not_walked |= unsure
        differences += [
            f"{module}.{pin} is reached from {end}, but has no row"
            for pin in _sorted(found.keys() - on_rows - {*excused})
        ]
        differences += [
            f"{module}.{pin} has a row, but is not reached from {end}"
            for pin in _sorted(on_rows - found.keys() - unsure)
        ]
    fuses: set[str] = set()
    supplies = {row.pin: {fuse.part for fuse in row.fuses} for row in rows if row.level == "supply"}
    for pin in _sorted(supplies.keys() & counted["supply"].keys()):
        above = counted["supply"][pin].fuses or frozenset()
        fuses |= above
        point = f"{module}.{pin}"
        differences += [
            f"a way to {point} leads over fuse {one}, but its row lacks it" for one in _sorted(above - supplies[pin])
        ]
        if pin not in not_walked:
            differences += [
                f"fuse {one} is on the row of {point}, but no way leads over it"
                for one in _sorted(supplies[pin] - above)
            ]
    differences += unknown_but_unsaid(tracing.circuit, module, {end.at for end in loose})
    return CrossCheck(
        _sorted(counted["supply"]), _sorted(counted["ground"]), _sorted(fuses), tuple(differences), _sorted(not_walked)
    )


def pins_counted(tracing: Tracing, module: str, level: str) -> dict[str, Counted]:
    """What is above each wired pin of a module, none of its inside passed; but a pin declared as supply may be fed by the module's own outputs alone."""
    circuit, count = tracing.circuit, tracing.second_count
    pins = {pin: node for pin, node in circuit.pins_of.get(module, {}).items() if circuit.is_attached(node)}
    found = {pin: count.above(node, level, module) for pin, node in pins.items()}
    declared = getattr(circuit.parts[module].facts, "pins", {}) if level == "supply" else {}
    for pin, one in found.items():
        if one.fuses is None and declared.get(pin, "").split()[:1] == ["supply"]:
            found[pin] = count.above(pins[pin], level, "")
    return found


def _sorted(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(names, key=natural))
