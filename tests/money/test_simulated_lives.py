"""Lives simulated from a fit against the survival formulas of the same fit."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pandas as pd
import pytest

from analytics.cost_review import groups
from analytics.learning.fitting import initial_parameters
from analytics.money import policy_simulation as module
from analytics.wear_model.failure_risk import Known
from analytics.wear_model.model import risk_model
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at

LIVES, INTERVAL_KM = 8000, 8000.0


@pytest.fixture(scope="module")
def rare():
    """Parameters with drag and hydraulic damage that record by record ended half the pumps expected."""
    p = initial_parameters(history_at(simulate_fleet(FleetSpec(vehicles=4, seed=1, years=2))))
    half = replace(p.onsets.hydraulic, factor=0.5 * np.ones_like(p.onsets.hydraulic.factor))
    failure = replace(p.failure, drag_factor=0.5 * np.ones_like(p.failure.drag_factor))
    return replace(p, failure=failure, onsets=replace(p.onsets, hydraulic=half))


def told(p, at):
    new = Known.of_new(p.wear, p.drag, p.onsets, np.zeros(1, int))
    return np.array([risk_model(p).log_survival(new, np.array([d])).total[0] for d in at])


def test_new_pumps_fail_as_the_formulas_say_whatever_a_damage_s_factor(rare):
    at = module._typical_life(rare, 0) * np.array([0.6, 0.8, 1.0, 1.2])
    assert told(rare, at)[2] == pytest.approx(1.0, abs=0.02)
    lives = module.simulate_life_km(rare, 0, INTERVAL_KM, LIVES, np.random.default_rng(2))
    drawn = -np.log([(lives > d).mean() for d in at])
    # -ln S of 1 from 8,000 lives has a standard error of .015; the formulas' own shortcuts add a little.
    np.testing.assert_allclose(drawn, told(rare, at), rtol=0.07, atol=0.02)


def test_started_less_rarely_they_would_fail_too_often(rare):
    """On the failure level alone the factor no longer counts late in a damage."""
    typical = module._typical_life(rare, 0)
    rng = np.random.default_rng(2)
    x, _, _, life, _ = module._paths(rare, 0, INTERVAL_KM, LIVES, rng, None)
    for name in module.NAMES:
        life = np.minimum(life, module._onset(getattr(rare.onsets, name), 0, x, LIVES, rng, None)[1])
    assert -np.log((life > typical).mean()) > 1.1


def test_a_level_is_passed_between_two_stops_where_the_straight_line_says():
    x = np.array([0.0, 1000.0, 3000.0, 4000.0])
    path = np.array([[0.0, 1.0, 5.0, 6.0], [0.0, 0.0, 0.0, 0.0], [2.0, 3.0, 4.0, 5.0]])
    passed = module._first_above(x, path, np.array([2.0, 1.0, 1.0]))
    assert list(passed) == [pytest.approx(1500.0), np.inf, 0.0]


def test_lives_for_the_fixed_age_are_drawn_once_for_each_fit_and_type(rare, monkeypatch):
    asked = []

    def simulate_life_km(p, code, *_):
        asked.append((p, code))
        return np.full(3, float(len(asked)))

    monkeypatch.setattr(groups, "simulate_life_km", simulate_life_km)
    monkeypatch.setattr(groups, "_life_km", lru_cache(groups._life_km.__wrapped__))  # keeps none of these
    other = replace(rare, drag_life_km=rare.drag_life_km + 1)
    for p in (rare, other, rare, replace(other)):
        for name in (rare.types[0], ""):
            lives = groups.simulated_life_km(p, name)
            assert not lives.flags.writeable
            of, code = asked[int(lives[0]) - 1]
            assert of.to_json() == p.to_json()
            assert code == p.type_codes(pd.Series([name]))[0]
    assert len(asked) == 4
