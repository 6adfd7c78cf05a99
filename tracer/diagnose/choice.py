"""The next measurement as a pure choice: candidates with weights, what each predicts at each probe, what a probe costs.

After J. de Kleer and B. C. Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987): the probe whose outcome leaves the least entropy to be
expected. No vehicle is known here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache

Outcome = int | None  # None: the candidate predicts nothing at this probe

EXACT_GROUPS = 12  # up to so many the best tree of measurements is found, beyond it the best next one
LEAST_GAIN_BIT = 0.02
SETTLED = 0.95
_GONE = 1e-3  # what is less likely than this does not steer the choice; it stays a candidate


def normalised(weights: Sequence[float]) -> list[float]:
    """Weights that add up to 1."""
    total = math.fsum(weights)
    return [weight / total for weight in weights]


def entropy_nat(shares: Sequence[float]) -> float:
    """Entropy in natural units; multiplied by 1 / ln 2 in bits."""
    return -math.fsum(share * math.log(share) for share in shares if share > 0.0)


def gain_nat(weights: Sequence[float], predicted: Sequence[Outcome], *, outcomes: int) -> float:
    """By how much the entropy is expected to fall when the probe is read; natural units. `weights` add up to 1.

    What predicts nothing takes every one of the `outcomes` alike.
    """
    share: dict[int, float] = {}
    nothing = 0.0
    for weight, one in zip(weights, predicted, strict=True):
        if one is None:
            nothing += weight
        else:
            share[one] = share.get(one, 0.0) + weight
    seen = [known + nothing / outcomes for known in share.values()]
    seen += [nothing / outcomes] * (outcomes - len(share))
    return max(0.0, entropy_nat(seen) - nothing * math.log(outcomes))


def choose(weights: Sequence[float], predicted: Mapping[str, Sequence[int]], effort: Mapping[str, float]) -> str | None:  # fmt: skip
    """The probe that tells most per effort; None where nothing is worth reading. Every candidate predicts at every probe.

    Candidates that no probe tells apart count as one group. Up to `EXACT_GROUPS` live groups the tree of least expected effort decides, else gain over effort.
    It stops when one group holds `SETTLED` of the weight, or no probe tells more than `LEAST_GAIN_BIT`.
    """
    of_group: dict[tuple[int, ...], float] = {}
    for number, weight in enumerate(normalised(weights)):
        label = tuple(outcomes[number] for outcomes in predicted.values())
        of_group[label] = of_group.get(label, 0.0) + weight
    live = {label: weight for label, weight in of_group.items() if weight > _GONE}
    shares, labels = normalised(list(live.values())), list(live)
    if max(shares) > SETTLED:
        return None
    tables = {probe: [label[at] for label in labels] for at, probe in enumerate(predicted)}
    gains = {probe: gain_nat(shares, table, outcomes=len(set(table))) / math.log(2) for probe, table in tables.items()}
    telling = [probe for probe, gain in gains.items() if gain >= LEAST_GAIN_BIT]
    if not telling:
        return None
    best = max(telling, key=lambda probe: gains[probe] / effort[probe])
    if len(shares) <= EXACT_GROUPS:
        best = best_tree(shares, tables, effort)[0] or best
    return best


def best_tree(shares: Sequence[float], tables: Mapping[str, Sequence[int]], effort: Mapping[str, float]) -> tuple[str, float]:  # fmt: skip
    """The first probe of the tree with the least expected effort until one group is left, and that effort; subset dynamic programming.

    The probe is empty where one group is left, or no probe parts what is left.
    """
    whole = (1 << len(shares)) - 1
    parts = {
        probe: [sum(1 << n for n, one in enumerate(table) if one == outcome) for outcome in dict.fromkeys(table)]
        for probe, table in tables.items()
    }

    @cache
    def best(left: int) -> tuple[float, str]:
        if left & (left - 1) == 0:
            return 0.0, ""
        weight = math.fsum(share for n, share in enumerate(shares) if left >> n & 1)
        found = (math.inf, "")
        for probe, masks in parts.items():
            pieces = [left & mask for mask in masks if left & mask]
            if len(pieces) > 1:
                cost = effort[probe] * weight + math.fsum(best(piece)[0] for piece in pieces)
                found = min(found, (cost, probe), key=lambda one: one[0])
        return found if found[1] else (0.0, "")

    cost, probe = best(whole)
    return probe, cost


__all__ = ["best_tree", "choose", "entropy_nat", "gain_nat", "normalised"]
