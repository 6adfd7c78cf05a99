"""The choice of the next measurement against published examples.

[W] J. de Kleer and B. C. Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987), 97-130: the circuit of three multipliers and two adders
with its observations (F = 10, G = 12), and inverters in series. The circuits, and that a symptom at the end of a series chain is halved, are from the
source (as recalled and reproduced in teaching material; the paper's own tables were not at hand). The numbers below were computed from Bayes' rule for
parts that each fail with 0.01, and are no quotations.
"""

from __future__ import annotations

import math
from itertools import product

import pytest

from tracer.diagnose.choice import Outcome, entropy_nat, gain_nat, normalised

FAILS = 0.01


def polybox(ok: tuple[bool, ...]) -> dict[str, Outcome]:
    """What the circuit [W] predicts with M1, M2, M3, A1, A2 in order or not: forwards, from A=3 B=2 C=2 D=3 E=3, and back from F and G."""
    m1, m2, m3, a1, a2 = ok
    x, y, z = (6 if one else None for one in (m1, m2, m3))
    for _ in range(3):  # what was seen at F and G is known by then
        x = x if x is not None or y is None or not a1 else 10 - y
        y = y if y is not None or x is None or not a1 else 10 - x
        y = y if y is not None or z is None or not a2 else 12 - z
        z = z if z is not None or y is None or not a2 else 12 - y
    return {"X": x, "Y": y, "Z": z}


def live(ok: tuple[bool, ...]) -> bool:
    at = polybox(ok)
    _, _, _, a1, a2 = ok
    if ok[0] and ok[1] and a1:
        return False  # conflict {M1, M2, A1} [W]
    if a1 and at["X"] is not None and at["Y"] is not None and at["X"] + at["Y"] != 10:
        return False
    return not (a2 and at["Y"] is not None and at["Z"] is not None and at["Y"] + at["Z"] != 12)


@pytest.mark.parametrize(
    ("outcomes", "h", "he"),
    [(16, 0.94230, (0.22614, 0.88602, 0.90973))],  # computed
)
def test_three_multipliers_and_two_adders(outcomes: int, h: float, he: tuple[float, float, float]) -> None:
    sets = [ok for ok in product((True, False), repeat=5) if live(ok)]
    assert len(sets) == 27  # of 32, computed
    weights = normalised([math.prod(1 - FAILS if one else FAILS for one in ok) for ok in sets])
    share = dict(zip(sets, weights, strict=True))
    m1, a1 = (False, True, True, True, True), (True, True, True, False, True)
    assert share[m1] == pytest.approx(0.47803, abs=5e-6) and share[a1] == share[m1]
    # M1, A1, {M2, M3} and {M2, A2} are the minimal candidates [W]; M2 alone is none
    assert (True, False, True, True, True) not in share
    assert share[True, False, False, True, True] == share[True, False, True, True, False]
    assert entropy_nat(weights) == pytest.approx(h, abs=5e-6)
    left = [h - gain_nat(weights, [polybox(ok)[point] for ok in sets], outcomes=outcomes) for point in "XYZ"]
    assert left == pytest.approx(he, abs=1e-5)
    assert left == sorted(left)  # X is read next


def chain(fails: tuple[float, ...], end: int) -> tuple[list[float], list[list[Outcome]]]:
    """Inverters in series with 1 at the input and `end` read at the output: weights and predictions at each point after an inverter."""
    sets = list(product((True, False), repeat=len(fails)))
    weights = normalised([math.prod(1 - p if one else p for p, one in zip(fails, ok, strict=True)) for ok in sets])
    tables: list[list[Outcome]] = []
    for point in range(len(fails)):
        tables.append([])
        for ok in sets:
            value: Outcome = 1
            for one in ok[: point + 1]:
                value = None if value is None or not one else 1 - value
            tables[-1].append(value)
    by_bayes = {end: 1.0, None: 0.5}  # what predicts nothing takes both outcomes alike
    weights = normalised([weight * by_bayes.get(one, 0.0) for weight, one in zip(weights, tables[-1], strict=True)])
    back: list[list[Outcome]] = [list(table) for table in tables]
    for number, ok in enumerate(sets):  # what is known of the end tells what stood before a good inverter
        value = end
        for point in range(len(fails) - 1, -1, -1):
            if back[point][number] is None:
                back[point][number] = value
            if not ok[point]:
                break
            value = 1 - value
    return weights, back


@pytest.mark.parametrize(
    ("fails", "h", "gains_bit", "best"),
    [
        ((0.01,) * 4, 1.4709, (0.8038, 0.9900, 0.8038), 1),  # half-split: the middle [W]; figures computed
        ((0.01, 0.01, 0.01, 0.025), 1.3881, (0.6745, 0.9318, 0.9808), 2),  # computed: the prior moves the split
    ],
)
def test_inverters_in_series(fails: tuple[float, ...], h: float, gains_bit: tuple[float, ...], best: int) -> None:
    weights, tables = chain(fails, 0)
    assert entropy_nat(weights) == pytest.approx(h, abs=5e-5)
    found = [gain_nat(weights, table, outcomes=2) / math.log(2) for table in tables[:-1]]
    assert found == pytest.approx(gains_bit, abs=5e-5)
    assert found.index(max(found)) == best


def test_three_inverters_with_a_symptom_are_a_tie() -> None:
    weights, tables = chain((0.01,) * 3, 1)  # 1 in, three inverters in order give 0; 1 is the symptom
    assert entropy_nat(weights) == pytest.approx(1.1550, abs=5e-5)
    first, second = (gain_nat(weights, table, outcomes=2) for table in tables[:-1])
    assert first == pytest.approx(second) == pytest.approx((1.1550 - 0.5231), abs=1e-4)  # the tie is in [W]
