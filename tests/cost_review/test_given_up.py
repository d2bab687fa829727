"""Life given up and failures avoided, against the truth of a simulated fleet and against formulas."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.cost_review import life_left as module
from analytics.cost_review.given_up import MODEL_SD, given_up, sum_range
from analytics.cost_review.life_left import GRID_KM
from analytics.cost_review.type_lives import completed, fit_types
from analytics.learning.fitting import fit_history
from analytics.money.decision import curve_at, lived_km
from analytics.wear_model.model import risk_model, run_filters
from analytics.wear_model.unrecorded import allow_for_unrecorded
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import TYPES, FleetSpec, draw_lives
from tests.benchmarks.money_study import figures, removals
from tests.fleet_frames import history_at


@pytest.fixture(scope="module")
def told():
    return removals(simulate_fleet(FleetSpec(vehicles=300, seed=50)))


def test_the_sum_is_near_the_truth_where_the_type_s_mean_life_is_far_off(told):
    found = figures(told, told.attrs["lives"])
    assert found["removals"] >= 50
    assert found["ratio"] == pytest.approx(1.0, abs=0.25)
    assert found["ratio_by_type"] > 2


def test_strip_downs_tell_what_those_who_take_pumps_off_know_beside_the_readings():
    """A share f of two equal draws, one worn (0.8 of its level) and one not (0.3): odds f/(1 − f) = e^(λ/2)
    without the belief, which draws λ toward 0 the less the more were looked into."""
    used = np.tile([0.8, 0.3], (4000, 1))
    ways = module.Ways(np.ones_like(used), np.ones_like(used), used)
    worn = np.arange(4000) < 3000
    assert module.lean_of(ways, worn) == pytest.approx(2 * np.log(3), abs=0.02)
    few = module.Ways(*(part[:4] for part in ways))
    assert 0 < module.lean_of(few, np.array([True, True, True, False])) < np.log(3)
    assert module.lean_of(ways, np.arange(4000) < 2000) == pytest.approx(0.0, abs=0.02)
    assert module.lean_of(module.Ways(*(part[:0] for part in ways)), worn[:0]) == 0.0


def test_avoided_failures_are_those_told(told):
    """The count of a sum of chances: within two standard errors of it, of fifty removals and more."""
    assert len(told) >= 50
    p = told["told_risk"].to_numpy()
    sd = np.sqrt((p * (1 - p)).sum() + (MODEL_SD * p.sum()) ** 2)
    assert abs(told["fails_soon"].sum() - p.sum()) < 2 * sd


def test_a_strip_down_moves_the_figure_the_way_it_should(told):
    history, fit = told.attrs["history"], told.attrs["fit"]
    bad, good = (
        given_up(replace(history, pumps=history.pumps.assign(found=found)), fit)["life_thrown_away_km"].sum()
        for found in ("worn", "tested_good")
    )
    assert bad < 0.8 * good


def test_chance_and_distance_come_from_the_same_lives(told):
    """Without a lean they are the survival formulas' chance, as the list tells it."""
    history, fit = told.attrs["history"], told.attrs["fit"]
    history = allow_for_unrecorded(history, fit.parameters.exponents)
    pumps = history.pumps
    rows = np.flatnonzero(pumps["removed"].to_numpy(bool) & ~pumps["failed"].to_numpy(bool))
    model, interval = risk_model(fit.parameters), told["interval_km"].to_numpy()
    known = run_filters(history, fit.parameters).known.take(rows)
    d_0 = np.maximum(pumps["now_km"].to_numpy(float)[rows] - known.x_km, 0.0)
    formulas, _ = model.risk(known, d_0, interval)
    none = np.full(len(rows), "", object)
    _, _, drawn = module.left_beyond(model, known, d_0, np.full(len(rows), np.inf), interval, none)
    assert drawn.sum() == pytest.approx(formulas.sum(), rel=0.1)


def test_a_sum_s_range_has_each_life_s_spread_and_the_one_they_share(told):
    alone = told.assign(left_sd_km=0.0)
    low, high = sum_range(told, told.attrs["lives"])
    narrow_low, narrow_high = sum_range(alone, told.attrs["lives"])
    total = told["life_thrown_away_km"].sum()
    assert low < narrow_low < total < narrow_high < high


def test_integrals_of_a_known_hazard():
    """Exponential lives at h a km have mean 1/h and mean square 2/h²; cut at u, (1 - e^(-hu))/h."""
    hazard = 5e-5
    alive = np.exp(-hazard * GRID_KM)[None, :]
    one, two = lived_km(GRID_KM, alive), 2 * lived_km(GRID_KM, GRID_KM * alive)
    assert one[0, -1] == pytest.approx(1 / hazard, rel=0.01)
    assert two[0, -1] == pytest.approx(2 / hazard**2, rel=0.02)
    at = curve_at(one, GRID_KM, np.array([[10_000.0]]))[0, 0]
    assert at == pytest.approx((1 - np.exp(-hazard * 10_000)) / hazard, rel=0.01)


def test_a_strip_down_that_contradicts_nearly_all_draws_is_left_out():
    weight, worn = np.ones((2, 300)), np.zeros((2, 300), bool)
    worn[1, :100] = True
    kept = module._seen(weight, worn, np.array(["worn", "worn"], object))
    assert kept[0].sum() == 300
    assert kept[1].sum() == 100


def test_no_removal_no_row():
    history = history_at(simulate_fleet(FleetSpec(vehicles=4, seed=1, years=2)))
    still = replace(history, pumps=history.pumps.assign(removed=False, failed=False))
    assert len(given_up(still, fit_history(history))) == 0


def test_lives_cut_short_on_condition_are_completed_by_their_forecast(told):
    """The fleet's mean life against the truth: nearer than with removals as plain suspensions."""
    history = told.attrs["history"]
    pumps = completed(history.pumps, told)
    assert pumps["ended"].sum() == history.pumps["failed"].sum() + len(told)
    assert (pumps["end_km"] >= history.pumps["now_km"]).all()
    code = history.pumps["pump_type"].map(TYPES.index).to_numpy(int)
    fresh = draw_lives(told.attrs["parameters"], np.tile(code, 4), np.random.default_rng(4))
    true = fresh.fails_at_km.mean()
    mean = fit_types(pumps).fleet.life.mean
    assert mean == pytest.approx(true, rel=0.1)
    plain = fit_types(history.pumps)
    assert abs(mean - true) < 0.5 * abs(plain.fleet.life.mean - true)
    assert fit_types(pumps).fleet.failures == plain.fleet.failures
    # What forecasts told of the ends is itself in doubt: the range holds the estimate without it.
    made, seen = fit_types(pumps).fleet, plain.fleet
    step = np.log([made.life.scale / seen.life.scale, made.life.shape / seen.life.shape])
    assert made.covariance == pytest.approx(seen.covariance + np.outer(step, step), rel=1e-6)
    (low, high), _ = made.interval()
    assert low < seen.life.scale < high
