"""What a set costs beside others: the first of several alike is no less a set than those found after it."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from invented_template import RAISE

from armarc.reps.run_cost import (
    KNOWN_RUN_COST,
    OTHER_RUN_COST,
    RUN_COST,
    SAME_RUN_COST,
    cost_beside,
    score_among,
)

LOWER = replace(RAISE, range_rad=0.6)
ELSEWHERE = replace(RAISE, direction=np.array([0.0, math.cos(1.0), math.sin(1.0)]))


@pytest.mark.parametrize(
    ("other", "cost"),
    [(RAISE, KNOWN_RUN_COST), (LOWER, SAME_RUN_COST), (ELSEWHERE, OTHER_RUN_COST)],
)
def test_what_is_like_a_set_costs_less(other, cost):
    assert cost_beside(RAISE, other) == cost


@pytest.mark.parametrize(
    ("paid", "others", "score"),
    [
        (RUN_COST, [], 1.8),
        (RUN_COST, [ELSEWHERE], 1.8),
        (RUN_COST, [LOWER], 1.8 + RUN_COST - SAME_RUN_COST),
        (RUN_COST, [ELSEWHERE, RAISE, LOWER], 1.8 + RUN_COST - KNOWN_RUN_COST),
        (KNOWN_RUN_COST, [RAISE, LOWER], 1.8),
        (0.0, [RAISE], 1.8),
    ],
)
def test_who_was_found_first_pays_no_more_than_the_rest(paid, others, score):
    run = SimpleNamespace(score=1.8, cost=paid, template=RAISE)
    assert score_among(run, others) == pytest.approx(score)
