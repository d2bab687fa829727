"""The best age of simulated lives, held against the closed form and numerical integrals."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.cost_review.age_replacement import (
    best_age,
    best_age_of,
    cost_per_distance,
    discounted_cost_per_distance,
)
from analytics.cost_review.best_ages import age_range
from analytics.cost_review.simulated_age import best_simulated_age, cost_at_ages
from analytics.cost_review.type_lives import TypeLife
from analytics.cost_review.weibull import Weibull

CP, CF = 650.0, 2400.0
LIFE = Weibull(3.0, 150_000.0)
COUNT = 40_000


def drawn(life: Weibull) -> np.ndarray:
    """Lives at evenly spread chances: the least chance can do."""
    share = (np.arange(COUNT) + 0.5) / COUNT
    return life.scale * (-np.log1p(-share)) ** (1 / life.shape)


def test_cost_by_age_is_the_renewal_reward_formula():
    ages = np.array([40_000.0, 80_000.0, 160_000.0, 400_000.0])
    expected = cost_per_distance(ages, LIFE, CP, CF)
    np.testing.assert_allclose(cost_at_ages(drawn(LIFE), ages, CP, CF), expected, rtol=1e-3)
    rate = 3e-6
    later = [discounted_cost_per_distance(a, LIFE, CP, CF, rate) for a in ages]
    np.testing.assert_allclose(cost_at_ages(drawn(LIFE), ages, CP, CF, rate), later, rtol=1e-3)


@pytest.mark.parametrize(("shape", "ratio"), [(2.0, 3.7), (3.0, 3.7), (3.0, 8.0), (5.0, 2.0)])
def test_the_best_age_is_that_of_the_closed_form_where_lives_are_weibull(shape, ratio):
    life = Weibull(shape, 150_000.0)
    found = best_simulated_age(drawn(life), 1.0, ratio)
    assert found == pytest.approx(best_age(life, 1.0, ratio).age, rel=0.06)
    cost = cost_at_ages(drawn(life), np.array([found]), 1.0, ratio)[0]
    assert cost == pytest.approx(best_age(life, 1.0, ratio).cost, rel=2e-3)


def test_sudden_failures_beside_wear_move_the_age_a_weibull_can_t_follow():
    """Lives that end by wear (Weibull 4) or by a constant hazard, whichever comes first."""
    wear, hazard = Weibull(4.0, 150_000.0), 1 / 200_000.0
    rng = np.random.default_rng(3)
    lives = np.minimum(rng.permutation(drawn(wear)), rng.permutation(drawn(Weibull(1.0, 1 / hazard))))
    truth = best_age_of(lambda t: float(wear.survival(t)) * np.exp(-hazard * t), 600_000.0, CP, CF)
    assert best_simulated_age(lives, CP, CF) == pytest.approx(truth.age, rel=0.05)


def test_no_age_where_none_pays():
    assert best_simulated_age(drawn(Weibull(1.0, 1e5)), CP, CF) == np.inf
    assert best_simulated_age(drawn(LIFE), CP, CP) == np.inf
    assert best_simulated_age(drawn(LIFE), 0.0, CF) == np.inf
    assert best_simulated_age(drawn(LIFE), CP, CF, 3e-6) > best_simulated_age(drawn(LIFE), CP, CF)


def test_the_range_holds_the_simulated_age_and_that_of_the_record():
    life = TypeLife("P", 40, 20, LIFE, np.diag([0.01, 0.04]), 0.3)
    closed = best_age(LIFE, CP, CF).age
    ages = np.array([best_age(d, CP, CF).age for d in life.draws(300, np.random.default_rng(1))])
    same_low, same_high, without = age_range(closed, life, CP, CF, ages)
    assert same_low == pytest.approx(np.quantile(ages[np.isfinite(ages)], 0.1))
    assert same_high == pytest.approx(np.quantile(ages[np.isfinite(ages)], 0.9))
    assert without < 0.05
    low, high, _ = age_range(0.7 * closed, life, CP, CF, ages)
    assert low < 0.7 * closed < closed < high
    assert np.isnan(age_range(np.inf, life, CP, CF, ages)[:2]).all()
