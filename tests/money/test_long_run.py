"""The long-run cost per distance that the cost rule rests on is the one the rule itself brings about."""

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import initial_parameters
from analytics.money.interval_rule import break_even_risk
from analytics.money.long_run import OPTIMISM, RATIOS, LongRun, learn_long_run
from analytics.money.policy_simulation import Asked, simulate
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at

INTERVAL_KM = 8000.0
CHANGED, FAILED = 650.0, 2400.0


@pytest.fixture(scope="module")
def history():
    return history_at(simulate_fleet(FleetSpec(vehicles=12, seed=4, years=1)))


@pytest.fixture(scope="module")
def learned(history):
    return learn_long_run(history, initial_parameters(history))


def test_rises_with_the_price_of_failing_but_stays_below_running_to_failure(learned):
    assert (np.diff(learned.per_km, axis=1) > 0).all()
    to_failure = learned.per_km[:, :1] * RATIOS
    assert (learned.per_km[:, 3:] < 0.95 * to_failure[:, 3:]).all()


def test_no_other_threshold_costs_much_less_on_fresh_lives(history, learned):
    """Renewal reward on lives that g was not learned on: the rule's threshold against thirty others."""
    p = initial_parameters(history)
    code = len(p.types) - 1
    lives = simulate(p, [Asked(code, INTERVAL_KM, 1500, 1)])[0]

    def cost(threshold: float) -> float:
        stops = (lives.risk >= threshold) & (lives.visit_km[None, :] < lives.life_km[:, None])
        changed = stops.any(1)
        ends = np.where(changed, lives.visit_km[stops.argmax(1)], lives.life_km)
        return float(np.where(changed, CHANGED, FAILED).sum() / ends.sum())

    g = learned.cost_per_km(pd.Series([""]), np.array([CHANGED]), np.array([FAILED]))
    ruled = cost(float(break_even_risk(INTERVAL_KM, CHANGED, FAILED, g)[0]))
    assert ruled <= 1.02 * min(cost(t) for t in np.geomspace(0.005, 0.5, 30))
    to_failure = cost(1.0)
    assert ruled + OPTIMISM * (to_failure - ruled) == pytest.approx(g[0], rel=0.1)


def test_between_the_ratios_below_one_and_for_strange_types():
    known = LongRun(("A", ""), np.array([RATIOS * 1e-6, RATIOS * 2e-6]))
    types = pd.Series(["A", "never seen", "A"])
    g = known.cost_per_km(types, np.array([100.0, 100.0, 100.0]), np.array([340.0, 340.0, 50.0]))
    np.testing.assert_allclose(g, [340e-6, 680e-6, 50e-6])
    assert LongRun.from_plain(known.to_plain()).types == known.types
