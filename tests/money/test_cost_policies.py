"""Policies by simulation against closed form, and in the directions they must move."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analytics.cost_review.age_replacement import best_age, cost_per_distance
from analytics.cost_review.weibull import Weibull
from analytics.money import policies
from analytics.money.cost_book import Prices
from analytics.money.policy_simulation import SimulatedLives

LIFE = Weibull(2.5, 200_000.0)
PRICES = Prices(650.0, 2400.0, 0.0, 0.0, 0.0, 120.0, ())
INTERVAL = 10_000.0
STOPS = np.arange(1, 80) * INTERVAL


def weibull_lives(n=40_000, seed=3):
    """Return lives whose forecast is the Weibull's own: it knows the age and nothing else."""
    life = LIFE.scale * np.random.default_rng(seed).weibull(LIFE.shape, n)
    risk = 1 - LIFE.survival(STOPS + INTERVAL) / LIFE.survival(STOPS)
    none = np.zeros((n, len(STOPS)), bool)
    new = float(1 - LIFE.survival(INTERVAL))
    return SimulatedLives(STOPS, life, np.tile(risk, (n, 1)), new, none, none, INTERVAL)


@pytest.fixture(scope="module")
def lives():
    return weibull_lives()


def test_run_to_failure_is_cost_over_mean_life(lives):
    found = policies.run_to_failure(lives)
    se = PRICES.failure / LIFE.mean * LIFE.sd / LIFE.mean / math.sqrt(found.lives)
    assert found.cost_per_km(PRICES) == pytest.approx(PRICES.failure / LIFE.mean, abs=4 * se)
    assert found.planned == 0


@pytest.mark.parametrize("age", [60_000.0, 100_000.0, 250_000.0])
def test_fixed_age_is_the_renewal_reward_formula(lives, age):
    expected = float(cost_per_distance(age, LIFE, PRICES.planned, PRICES.failure))
    found = policies.fixed_age(lives, age)
    # Relative error of the ratio from the chance of failing first, about 1/sqrt(number failing).
    failing = float(1 - LIFE.survival(age)) * found.lives
    assert found.cost_per_km(PRICES) == pytest.approx(expected, rel=4 / math.sqrt(failing))


def test_an_age_that_never_comes_is_running_to_failure(lives):
    assert policies.fixed_age(lives, np.inf) == policies.run_to_failure(lives)


def test_a_forecast_that_knows_only_age_can_do_no_better_than_the_best_age(lives):
    found = policies.on_risk(lives, PRICES)
    best = best_age(LIFE, PRICES.planned, PRICES.failure)
    assert found.cost_per_km(PRICES) >= best.cost * 0.99
    assert found.cost_per_km(PRICES) == pytest.approx(best.cost, rel=0.03)


def test_a_forecast_that_knows_the_life_avoids_nearly_all_breakdowns(lives):
    knowing = replace(
        lives,
        risk=np.where(lives.life_km[:, None] <= STOPS + INTERVAL, 0.98, 0.001),
        risk_if_new=0.0005,
    )
    found = policies.on_risk(knowing, PRICES)
    # Left: pumps that fail before their first stop.
    assert found.failures * found.mean_km == pytest.approx(float(1 - LIFE.survival(INTERVAL)), abs=0.002)
    assert found.cost_per_km(PRICES) < 0.45 * policies.run_to_failure(lives).cost_per_km(PRICES)


def test_captures_are_charged_to_the_policy_that_needs_them(lives):
    dear = replace(PRICES, capture=100.0)
    for policy, change in ((policies.run_to_failure, False), (policies.on_limits, True)):
        found = policy(lives)
        assert (found.cost_per_km(dear) > found.cost_per_km(PRICES)) is change
    limits = policies.on_limits(lives)
    assert limits.captures == pytest.approx(1 / INTERVAL, rel=0.05)


def test_break_even_ratio_is_where_costs_meet(lives):
    to_failure, age = policies.run_to_failure(lives), policies.fixed_age(lives, 100_000.0)
    ratio = policies.break_even_ratio(age, to_failure, PRICES)
    at = replace(PRICES, failure=ratio * PRICES.planned)
    assert age.cost_per_km(at) == pytest.approx(to_failure.cost_per_km(at), rel=1e-9)
    assert 1 < ratio < PRICES.failure / PRICES.planned  # at today's prices the age is the cheaper one
    assert policies.break_even_ratio(to_failure, to_failure, PRICES) == np.inf  # avoids none
    assert policies.break_even_ratio(age, to_failure, replace(PRICES, planned=0.0)) == np.inf


def test_a_cost_ratio_below_one_changes_nothing_early(lives):
    cheap = replace(PRICES, failure=500.0)
    assert policies.on_risk(lives, cheap).planned == 0


def test_g_is_of_replacements_alone_as_in_rank_and_plan(lives):
    dear = replace(PRICES, capture=50.0, follow_up=80.0, false_alarm=60.0)
    alarming = replace(lives, healthy=np.ones_like(lives.healthy))
    assert policies.on_risk(alarming, dear).needless > 0
    assert policies.on_risk(alarming, dear).setting == policies.on_risk(lives, PRICES).setting
