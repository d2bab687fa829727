"""The decision in money and the stock a plan keeps, against published theory and tables.

Where a value comes from:
- Best replacement ages and their least costs: the equations of Barlow & Hunter (1960), computed with mpmath
  at 40 digits (the table of test_age_replacement_references.py). That a new part's cost less the least mean
  cost of its distance is nothing is the renewal-reward theorem; that one changes when keeping costs more
  than a new part, the marginal form of Makis & Jardine, INFOR 30 (1992) 172-183.
- A part that does not age is never changed early: Barlow & Proschan, Mathematical Theory of Reliability,
  1965.
- Poisson tables: cumulative sums to three digits as every handbook prints them (from memory; recomputed with
  Python's fractions).
"""

from __future__ import annotations

from fractions import Fraction
from math import exp, factorial

import numpy as np
import pytest

from analytics.cost_review.weibull import Weibull
from analytics.money.decision import keep_cost
from analytics.money.interval_rule import break_even_risk
from analytics.scheduling.parts import stock_for_service_level
from tests.checks.test_age_replacement_references import TABLE

STEPS = 4000  # of the grid, over five characteristic lives
AGES = np.linspace(0.02, 1.5, 741)  # in characteristic lives


def kept(lives: Weibull, ages: np.ndarray, planned: float, failure: float, g: float) -> np.ndarray:
    """What keeping a part costs at these ages, free to change it at any later moment."""
    grid = np.linspace(0, 5, STEPS + 1) * lives.scale
    survival = np.exp((ages[:, None] / lives.scale) ** lives.shape
                      - ((ages[:, None] + grid) / lives.scale) ** lives.shape)  # fmt: skip
    n = len(ages)
    return keep_cost(
        grid, survival, np.zeros(n), np.full(n, grid[1]), np.full(n, planned), np.full(n, failure),
        np.full(n, g),
    )  # fmt: skip


@pytest.mark.parametrize(("planned", "failure", "scale", "shape", "age", "cost"), TABLE)
def test_keeping_costs_more_than_a_new_part_from_the_published_age_on(
    planned, failure, scale, shape, age, cost
):
    ages = AGES * scale
    dear = kept(Weibull(shape, scale), ages, planned, failure, cost) > planned
    first = int(dear.argmax())
    assert dear[first:].all()
    assert not dear[:first].any()
    # The least time kept is a step of the grid: half of it and a step of the ages are the precision here.
    assert ages[first] == pytest.approx(age, abs=(AGES[1] - AGES[0]) * scale + 2.5 * scale / STEPS)


@pytest.mark.parametrize(("planned", "failure", "scale", "shape", "age", "cost"), TABLE)
def test_a_new_part_earns_nothing_at_the_least_mean_cost(planned, failure, scale, shape, age, cost):
    del age
    left = kept(Weibull(shape, scale), np.zeros(1), planned, failure, cost)
    assert float(left[0]) == pytest.approx(0.0, abs=2e-6 * failure)


@pytest.mark.parametrize("failure", [1.5, 5.0, 50.0])
def test_a_part_that_does_not_age_is_never_changed_early(failure):
    # Its least mean cost is Cf over its mean life.
    keeping = kept(Weibull(1.0, 1000.0), AGES * 1000.0, 1.0, failure, failure / 1000.0)
    assert (keeping <= 1.0 + 1e-9).all()


@pytest.mark.parametrize(("planned", "failure", "scale", "shape", "age", "cost"), TABLE)
def test_the_rule_over_one_short_interval_has_the_published_age_too(
    planned, failure, scale, shape, age, cost
):
    step = 1e-5 * scale
    ages = AGES * scale
    risk = -np.expm1((ages / scale) ** shape - ((ages + step) / scale) ** shape)
    due = risk > break_even_risk(step, planned, failure, cost)
    assert ages[int(due.argmax())] == pytest.approx(age, abs=(AGES[1] - AGES[0]) * scale)


PRINTED = [
    # mean, most, chance of no more as handbooks print it
    (0.5, 0, 0.607), (0.5, 1, 0.910), (0.5, 2, 0.986), (1.0, 1, 0.736), (1.0, 2, 0.920), (1.0, 3, 0.981),
    (2.0, 3, 0.857), (2.0, 4, 0.947), (2.0, 5, 0.983), (5.0, 7, 0.867), (5.0, 8, 0.932), (5.0, 9, 0.968),
    (10.0, 13, 0.864), (10.0, 14, 0.917), (10.0, 15, 0.951),
]  # fmt: skip


@pytest.mark.parametrize(("mean", "most", "chance"), PRINTED)
def test_stock_for_a_service_level_by_the_poisson_tables(mean, most, chance):
    within = sum(Fraction(mean) ** k / factorial(k) for k in range(most + 1))
    assert float(within) * exp(-mean) == pytest.approx(chance, abs=5.1e-4)
    assert stock_for_service_level(mean, chance - 0.0006) == most
    assert stock_for_service_level(mean, chance + 0.0006) == most + 1
