"""Best replacement ages against closed forms, textbook cases and another library.

Where a value comes from:
- The Weibull table: computed with mpmath at 40 digits from the equations of Barlow & Hunter (1960).
- Durrett, Essentials of Stochastic Processes, chapter 3: car with a uniform life (set-up, formula read) and
  an exercise with density 2t/900 (problem read); answers computed from the root equations.
- Ross's car: uniform life, 3 and 1/2 (from memory): the book prints an age of about 9.25, the exact root is
  9.282032, and the two cost the same to 7e-6, so costs are compared.
- The weekly table, Normal(5, 1) lives and costs 5 and 10: set-up from memory, after Jardine & Tsang.
- reliability 0.9.0's documented example prints 493.19 and 0.0035; it takes the least of 10,000 grid points:
  its age is 2.8e-4 high while its cost agrees to 6e-8.
- relife 3.0.0 `AgeReplacementPolicy(Weibull(2.5, 1/1000)).compute_optimal_ar(cf=5, cp=1)`: 493.046732.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analytics.cost_review.age_replacement import (
    best_age,
    best_age_of,
    cost_per_distance,
    cost_per_distance_of,
    discounted_cost_per_distance,
)
from analytics.cost_review.weibull import Weibull

TABLE = [
    (1, 5, 1000, 2.5, 493.04695759663, 0.0034620427387893),
    (1, 5, 1, 2, 0.51065522429545, 4.0852417943636),
    (1, 10, 1, 3, 0.38245553114298, 3.9493502991502),
    (1, 20, 1, 4, 0.36410081246214, 3.6684156400786),
    (1, 5, 1, 1.5, 0.67549199213646, 4.9312991915836),
]


@pytest.mark.parametrize(("planned", "failure", "scale", "shape", "age", "cost"), TABLE)
def test_best_age_of_weibull_lives(planned, failure, scale, shape, age, cost):
    best = best_age(Weibull(shape, scale), planned, failure)
    assert best.age == pytest.approx(age, rel=1e-11)
    assert best.cost == pytest.approx(cost, rel=1e-12)
    assert float(cost_per_distance(best.age, Weibull(shape, scale), planned, failure)) == pytest.approx(
        cost, rel=1e-12
    )
    assert best.cost_to_failure == pytest.approx(failure / (scale * math.gamma(1 + 1 / shape)), rel=1e-14)


def test_cost_of_running_to_failure():
    assert best_age(Weibull(2.5, 1000.0), 1, 5).cost_to_failure == pytest.approx(0.005635302490, abs=5e-13)


def test_other_libraries_within_their_own_precision():
    age = best_age(Weibull(2.5, 1000.0), 1, 5).age
    assert age == pytest.approx(493.046732, rel=5.1e-7)  # relife 3.0.0
    assert age == pytest.approx(493.1851, rel=2.9e-4)  # reliability 0.9.0, a grid's minimum
    assert round(best_age(Weibull(2.5, 1000.0), 1, 5).cost, 4) == 0.0035  # as its documentation prints


@pytest.mark.parametrize("shape", [0.5, 0.8, 1.0])
def test_no_age_where_the_hazard_does_not_rise(shape):
    life = Weibull(shape, 1000.0)
    best = best_age(life, 1, 5)
    assert best.age == np.inf
    assert "does not rise" in best.why_none
    cost = cost_per_distance(np.geomspace(1, 20_000, 400), life, 1, 5)
    assert (np.diff(cost) <= 1e-15).all()
    if shape == 1:
        assert best.cost == pytest.approx(5 / 1000, rel=1e-14)


def test_uniform_car():
    def survival(t):
        return max(1 - t / 10, 0.0)

    best = best_age_of(survival, 10, 10, 13)
    assert best.age == pytest.approx((math.sqrt(1.6) - 1) / 0.03, rel=1e-6)
    assert best.age == pytest.approx(8.830369, abs=1e-5)
    assert best.cost == pytest.approx(2.564911, abs=5e-7)
    assert best.cost_to_failure == pytest.approx(2.6, rel=1e-12)


def test_exercise_with_rising_density():
    def survival(t):
        return max(1 - t**2 / 900, 0.0)

    best = best_age_of(survival, 30, 300, 1200)
    assert best.age == pytest.approx(14.576048, rel=1e-6)
    assert best.cost == pytest.approx(38.160589, abs=5e-7)
    assert best.cost_to_failure == pytest.approx(60, rel=1e-12)


def test_car_of_three_and_a_half():
    def survival(t):
        return max(1 - t / 10, 0.0)

    best = best_age_of(survival, 10, 3, 3.5)
    assert best.age == pytest.approx(9.282032, abs=1e-5)
    assert best.cost == pytest.approx(0.696410, abs=5e-7)
    assert cost_per_distance_of(survival, 9.25, 3, 3.5) == pytest.approx(best.cost, abs=7.5e-6)


def test_weekly_table():
    life = stats.norm(5, 1)
    cost = [cost_per_distance_of(life.sf, week, 5, 10) for week in range(1, 8)]
    assert [round(c, 4) for c in cost] == [5.0002, 2.5039, 1.7094, 1.4791, 1.6301, 1.8725, 1.9806]
    assert int(np.argmin(cost)) + 1 == 4


def test_discounting_against_a_sum_over_lives():
    # The same lives simulated one after the other, each cost discounted to the start.
    rng = np.random.default_rng(11)
    life, planned, failure, age, rate = Weibull(2.5, 1000.0), 1.0, 5.0, 600.0, 1e-3
    lives = life.scale * rng.weibull(life.shape, (20_000, 40))
    ends = np.cumsum(np.minimum(lives, age), axis=1)
    paid = np.where(lives < age, failure, planned) * np.exp(-rate * ends)
    worth = rate * paid.sum(axis=1)
    assert ends[:, -1].min() * rate > 9  # what comes after weighs less than e^-9
    expected = discounted_cost_per_distance(age, life, planned, failure, rate)
    assert worth.mean() == pytest.approx(expected, abs=4 * worth.std() / math.sqrt(len(worth)))


def test_no_discount_is_the_plain_cost():
    life = Weibull(2.5, 1000.0)
    plain = float(cost_per_distance(600.0, life, 1, 5))
    assert discounted_cost_per_distance(600.0, life, 1, 5, 0) == pytest.approx(plain, rel=1e-14)
    assert discounted_cost_per_distance(600.0, life, 1, 5, 1e-10) == pytest.approx(plain, rel=1e-6)
    assert discounted_cost_per_distance(np.inf, life, 1, 5, 1e-10) == pytest.approx(5 / life.mean, rel=1e-6)
