"""The honest metric of docs/next.md on few vehicles; `python -m tests.diagnose.metric` works out the figures that stand there."""

from __future__ import annotations

from tests.case.test_proof import THOROUGH
from tests.diagnose.metric import figures, of_vehicles


def test_next_is_near_the_bound_and_the_best_tree() -> None:
    found = figures(of_vehicles(2, range(1, 9) if THOROUGH else [1]))
    assert found.cases >= 8 and 100 < found.nodes < 400
    assert 1.0 - 1e-9 <= found.over_best <= 1.03
    assert 1.0 <= found.over_bound <= 1.30
    quickest = found.taken["next, equal costs"]
    assert all(readings > quickest[0] for name, (readings, *_) in found.taken.items() if not name.startswith("next"))
    assert found.taken["next"][1] <= quickest[1]  # at real costs fewer places are visited
