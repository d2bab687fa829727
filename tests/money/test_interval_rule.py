"""The cost rule over one interval, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.money.interval_rule import break_even_risk, waiting_cost


def test_by_hand():
    # (2400 − 650)·0.2 = 350 against 0.005·10,000·(1 − 0.1) = 45.
    assert waiting_cost(0.2, 10_000, 650, 2400, 0.005) == pytest.approx(305.0)


def test_break_even_risk_is_where_the_rule_turns():
    edge = float(break_even_risk(10_000, 650, 2400, 0.005))
    assert edge == pytest.approx(50 / (1750 + 25))
    assert waiting_cost(edge * (1 - 1e-9), 10_000, 650, 2400, 0.005) < 0
    assert waiting_cost(edge * (1 + 1e-9), 10_000, 650, 2400, 0.005) > 0


def test_a_cost_ratio_below_one_never_pays():
    assert (waiting_cost(np.linspace(0.01, 0.99, 20), 10_000, 650, 500, 0.005) < 0).all()
    assert np.isinf(break_even_risk(10_000, 650, 500, 0.005))
