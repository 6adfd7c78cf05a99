"""Which readings of a bus are alike, so that one test cannot tell their causes apart, and what an open line cuts off."""

from __future__ import annotations

from dataclasses import dataclass

from tracer.electrics.bus.values import INPUTS_OHM, BusReport, Case, Ohm

ALIKE_SHARE = 0.03  # of a reading: closer than that two meters, or two days, differ


@dataclass(frozen=True, slots=True)
class Cluster:
    """Access points that read alike in a case: what the one in the middle reads, and whether that is as in order."""

    ohm: float
    in_order: bool
    accesses: tuple[int, ...]


def clusters_of(report: BusReport, case: Case) -> list[Cluster]:
    """Access points that read alike, lowest first."""
    known = [(n, reading) for n, reading in enumerate(case.readings) if reading is not None]
    known.sort(key=lambda item: (item[1].nominal, item[0]))
    groups: list[list[tuple[int, Ohm]]] = []
    for n, reading in known:
        if groups and alike(groups[-1][0][1], reading):
            groups[-1].append((n, reading))
        else:
            groups.append([(n, reading)])
    found = []
    for group in groups:
        middle = group[len(group) // 2][1].nominal
        base = report.cases[0].readings[group[0][0]]
        same = base is not None and abs(base.nominal - middle) <= ALIKE_SHARE * middle
        found.append(Cluster(middle, same, tuple(sorted(n for n, _ in group))))
    return found


def alike(one: Ohm, other: Ohm) -> bool:
    """Whether a meter in a workshop would not tell two readings apart."""
    if one.nominal >= INPUTS_OHM and other.nominal >= INPUTS_OHM:
        return one.is_open == other.is_open
    return abs(one.nominal - other.nominal) <= ALIKE_SHARE * max(one.nominal, 1.0) + 0.05


def signature(report: BusReport, case: Case) -> tuple[str, ...]:
    """What is read at each access point, coarsely: open, as in order (=), nothing known (-), or about so many ohms. Cases with the same one read alike."""
    words = []
    for reading, base in zip(case.readings, report.cases[0].readings, strict=True):
        if reading is None or base is None:
            words.append("-")
        elif reading.nominal >= INPUTS_OHM:
            words.append("open")
        else:
            words.append("=" if alike(base, reading) else f"{reading.nominal:.2g}")
    return tuple(words)


def cut_off(report: BusReport, case: Case) -> frozenset[int]:
    """Access points that read open although they do not in order."""
    return frozenset(
        n
        for n, (reading, base) in enumerate(zip(case.readings, report.cases[0].readings, strict=True))
        if reading is not None and base is not None and reading.nominal >= INPUTS_OHM > base.nominal
    )


def cut_off_modules(report: BusReport, case: Case) -> tuple[str, ...]:
    """The modules at those access points."""
    modules = [report.accesses[n].module for n in sorted(cut_off(report, case))]
    return tuple(dict.fromkeys(module for module in modules if module))


def only_cuts_off(report: BusReport, case: Case) -> bool:
    """Whether some points read open and all others as in order."""
    return bool(cut_off(report, case)) and set(signature(report, case)) <= {"open", "=", "-"}
