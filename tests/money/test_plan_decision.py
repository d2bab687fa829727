"""The rule that says whether a change is worth booking, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.money.decision import break_even_risk, waiting_cost, worth_booking


def test_by_hand():
    # (2400 − 650)·0.2 = 350 against 0.005·10,000·(1 − 0.1) = 45.
    assert waiting_cost(0.2, 10_000, 650, 2400, 0.005) == pytest.approx(305.0)
    ruled = worth_booking(np.array([0.2]), 0.01, 10_000, 650, 2400, 0.005)
    assert ruled.loc[0, ["worth", "because"]].tolist() == [True, "cost"]


def test_break_even_risk_is_where_the_rule_turns():
    edge = float(break_even_risk(10_000, 650, 2400, 0.005))
    assert edge == pytest.approx(50 / (1750 + 25))
    risk = np.array([edge * (1 - 1e-9), edge * (1 + 1e-9)])
    assert worth_booking(risk, 0.0, 10_000, 650, 2400, 0.005)["worth"].tolist() == [False, True]


def test_never_if_a_new_pump_is_no_safer():
    ruled = worth_booking(np.array([0.2]), 0.2, 10_000, 650, 2400, 0.005, ceiling=0.05)
    assert ruled.loc[0, ["worth", "because"]].tolist() == [False, "a new pump is no safer"]


def test_ceiling_overrides_cost():
    ruled = worth_booking(np.array([0.06, 0.04]), 0.01, 10_000, 650, 660, 0.005, ceiling=0.05)
    assert ruled["because"].tolist() == ["risk ceiling", "not yet worth it"]


def test_a_cost_ratio_below_one_never_pays():
    risk = np.linspace(0.01, 0.99, 20)
    assert not worth_booking(risk, 0.0, 10_000, 650, 500, 0.005)["worth"].any()
    assert np.isinf(break_even_risk(10_000, 650, 500, 0.005))
