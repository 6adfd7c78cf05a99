"""What is read of a bus alike, so that one test cannot tell their causes apart, and what an open line cuts off."""

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
    known = [(n, ohm) for n, ohm in enumerate(case.expected) if ohm is not None]
    known.sort(key=lambda item: (item[1].nominal, item[0]))
    groups: list[list[tuple[int, Ohm]]] = []
    for n, ohm in known:
        if groups and alike(groups[-1][0][1], ohm):
            groups[-1].append((n, ohm))
        else:
            groups.append([(n, ohm)])
    found = []
    for group in groups:
        middle = group[len(group) // 2][1].nominal
        base = report.cases[0].expected[group[0][0]]
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
    for ohm, base in zip(case.expected, report.cases[0].expected, strict=True):
        if ohm is None or base is None:
            words.append("-")
        elif ohm.nominal >= INPUTS_OHM:
            words.append("open")
        else:
            words.append("=" if alike(base, ohm) else f"{ohm.nominal:.2g}")
    return tuple(words)


def cut_off(report: BusReport, case: Case) -> frozenset[int]:
    """Access points that read open although they do not in order."""
    return frozenset(
        n
        for n, (ohm, base) in enumerate(zip(case.expected, report.cases[0].expected, strict=True))
        if ohm is not None and base is not None and ohm.nominal >= INPUTS_OHM > base.nominal
    )


def cut_off_modules(report: BusReport, case: Case) -> tuple[str, ...]:
    """The modules at those access points."""
    modules = [report.accesses[n].module for n in sorted(cut_off(report, case))]
    return tuple(dict.fromkeys(module for module in modules if module))


def only_cuts_off(report: BusReport, case: Case) -> bool:
    """Whether some points read open and all others as in order."""
    return bool(cut_off(report, case)) and set(signature(report, case)) <= {"open", "=", "-"}
