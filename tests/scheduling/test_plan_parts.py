"""When to order, and how many to keep."""

from __future__ import annotations

from datetime import date

import pytest
from scipy import stats

from analytics.scheduling.parts import order_by, stock_for_service_level
from ingest.errors import EntryRefused


def test_order_by():
    assert order_by(date(2026, 3, 16), 4.5) == date(2026, 3, 11)


@pytest.mark.parametrize("expected", [0.0, 0.01, 0.4, 1.0, 3.7, 25.0])
@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.999])
def test_stock_is_the_poisson_quantile(expected, level):
    # Reference: scipy.stats.poisson, whose quantile is the smallest k with P(demand ≤ k) ≥ level.
    assert stock_for_service_level(expected, level, certain=2) == 2 + int(stats.poisson.ppf(level, expected))


@pytest.mark.parametrize("level", [0.0, 1.0, -1.0, 2.0, float("nan")])
def test_a_level_outside_0_and_1_is_refused(level):
    with pytest.raises(EntryRefused, match="between 0 and 1"):
        stock_for_service_level(1.0, level)
