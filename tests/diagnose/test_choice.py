"""The pure choice against slow and obvious oracles on random tables, and how many measurements it takes."""

from __future__ import annotations

import math
import random
from itertools import product

import pytest

from tracer.diagnose.choice import Outcome, best_tree, choose, entropy_nat, gain_nat, normalised


def random_weights(rng: random.Random, count: int) -> list[float]:
    return normalised([rng.random() ** 3 + 1e-3 for _ in range(count)])


@pytest.mark.parametrize("seed", range(60))
def test_the_gain_is_that_of_every_outcome_by_bayes(seed: int) -> None:
    rng = random.Random(seed)
    weights, outcomes = random_weights(rng, rng.randint(2, 9)), rng.randint(2, 4)
    predicted: list[Outcome] = [rng.choice([None, *range(outcomes)]) for _ in weights]
    left = 0.0
    for seen in range(outcomes):
        joint = [w * (1 / outcomes if one is None else float(one == seen)) for w, one in zip(weights, predicted, strict=True)]  # fmt: skip
        if sum(joint):
            left += sum(joint) * entropy_nat(normalised(joint))
    assert gain_nat(weights, predicted, outcomes=outcomes) == pytest.approx(entropy_nat(weights) - left, abs=1e-12)


def every_tree(left: frozenset[int], shares: list[float], tables: dict[str, list[int]], effort: dict[str, float]) -> float:  # fmt: skip
    """The least expected effort by trying every tree."""
    found = [
        effort[probe] * sum(shares[n] for n in left)
        + sum(every_tree(frozenset(n for n in left if table[n] == one), shares, tables, effort) for one in {table[n] for n in left})
        for probe, table in tables.items()
        if len({table[n] for n in left}) > 1
    ]  # fmt: skip
    return min(found, default=0.0)


@pytest.mark.parametrize("seed", range(30))
def test_the_tree_is_the_best_of_all(seed: int) -> None:
    rng = random.Random(seed)
    shares = random_weights(rng, rng.randint(2, 6))
    tables = {f"p{n}": [rng.randint(0, 2) for _ in shares] for n in range(5)}
    effort = {probe: rng.choice([1.0, 2.0, 5.0]) for probe in tables}
    assert best_tree(shares, tables, effort)[1] == pytest.approx(
        every_tree(frozenset(range(len(shares))), shares, tables, effort)
    )


def test_a_dear_probe_is_left_for_a_cheap_one() -> None:
    tables = {"cheap": [0, 1, 1, 1], "dear": [0, 0, 1, 1], "rest": [0, 1, 2, 3]}
    same = dict.fromkeys(tables, 1.0)
    assert choose([1, 1, 1, 1], tables, same) == "rest"
    assert choose([1, 1, 1, 1], tables, {**same, "rest": 50.0}) in ("cheap", "dear")


def test_it_stops_where_nothing_is_told() -> None:
    assert choose([1, 1], {"p": [0, 0]}, {"p": 1.0}) is None
    assert choose([99, 1], {"p": [0, 1]}, {"p": 1.0}) is None
    assert choose([1, 1], {"p": [0, 1]}, {"p": 1.0}) is not None


def test_a_chain_of_pieces_takes_few_readings_more_than_the_bound() -> None:
    """Mean readings to one group against entropy over log2 of the outcomes (2), with the next choice followed for each fault."""
    ratio: list[float] = []
    for seed, count in product(range(4), (8, 16, 32)):
        rng = random.Random(seed)
        shares = normalised([rng.random() + 0.05 for _ in range(count)])
        tables = {f"p{n}": [int(k >= n) for k in range(count)] for n in range(1, count)}
        effort = dict.fromkeys(tables, 1.0)
        mean = 0.0
        for fault, share in enumerate(shares):
            left, readings = list(shares), 0
            while (found := choose(left, tables, effort)) is not None:
                table = tables[found]
                left = normalised([share * (one == table[fault]) for share, one in zip(left, table, strict=True)])
                readings += 1
            assert left[fault] > 0.0
            mean += share * readings
        ratio.append(mean / (entropy_nat(shares) / math.log(2)))
    assert sum(ratio) / len(ratio) < 1.1
