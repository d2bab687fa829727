"""Drift per pump, and when a line passes a limit."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.past.normal import Z_80
from analytics.past.normalise import fit_exponents
from analytics.trend.bending import learn_bending, missed_by_a_line
from analytics.trend.drift import Drift, drift_of, fit_drift, limit_forecast, line_ahead
from analytics.wear_model.level_rate import LevelRate, predict, update
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


def scored(history, metric):
    """Drift of every pump with lines learned from the same history."""
    code, names = pd.factorize(history.pumps["pump_type"])
    exponents = fit_exponents(history.visits, history.pumps)
    fit = fit_drift(history, code, len(names), exponents, metric)
    return drift_of(history, code, exponents, metric, fit)


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(FleetSpec(vehicles=80, seed=21, years=4))


def test_ripple_drift_follows_true_wear(fleet):
    history = history_at(fleet)
    drift = scored(history, "ripple_pct")
    life = history.pumps["serial"].str[1:].astype(int).to_numpy()
    now = history.pumps["now_km"].to_numpy()
    wear, before = (fleet.wear_of(life, np.maximum(at, 0))[0] for at in (now, now - 10e3))
    true_slope = (wear - before) / 10e3
    many = drift.readings >= 6
    assert np.corrcoef(drift.slope[many], true_slope[many])[0, 1] > 0.8
    held = np.abs(drift.slope - true_slope)[many] <= Z_80 * drift.slope_se[many]
    assert 0.7 < held.mean() < 0.95
    # A slope that wanders bounds what any number of past readings can tell of today's.
    assert np.nanmedian(drift.slope_se[drift.readings == 1]) > np.nanmedian(drift.slope_se[many])
    assert np.nanmean(drift.own_share[drift.readings == 0]) < 0.05


def test_bend_and_walk_are_told_from_the_halves_of_each_past():
    """Slopes that all rise by 0.05 per unit, and each wander by a variance of 0.02 per unit."""
    rng = np.random.default_rng(8)
    steps, n = 400, 1500
    slope = (
        0.5 + 0.05 * np.arange(steps) / 50 + np.cumsum(rng.normal(0, np.sqrt(0.02 / 50), (n, steps)), axis=1)
    )
    level = np.cumsum(slope / 50, axis=1)
    at = np.arange(9, steps, 50)
    pump, x = np.repeat(np.arange(n), len(at)), np.tile((at + 1) / 50, n)
    y = (level[:, at] + rng.normal(0, 0.2, (n, len(at)))).ravel()
    found = learn_bending(pump, x, y, n)
    assert found.bend == pytest.approx(0.05, abs=0.008)
    assert found.walk == pytest.approx(0.02, abs=0.004)
    still = learn_bending(pump, x, 3 + 0.4 * x + rng.normal(0, 0.2, len(x)), n)
    assert abs(still.bend) < 0.005
    assert still.walk < 0.004


def test_what_a_line_misses_of_a_wandering_slope():
    """The formulas against a simulation: least squares through 200 readings, at the last of them."""
    rng = np.random.default_rng(4)
    runs, n, inner = 4000, 200, 4
    slope = np.cumsum(rng.normal(0, np.sqrt(1 / (n * inner)), (runs, n * inner)), axis=1)
    level = np.cumsum(slope / (n * inner), axis=1)[:, inner - 1 :: inner]
    x = np.arange(1, n + 1) / n
    fitted = np.polynomial.polynomial.polyfit(x - 1, level.T, 1)
    error = np.array([fitted[0] - level[:, -1], fitted[1] - slope[:, -1]])
    v, c, w = missed_by_a_line(1.0, 1.0, np.zeros(1))
    np.testing.assert_allclose(np.cov(error), [[v[0], c[0]], [c[0], w[0]]], rtol=0.08)


def test_volts_and_warmth_leave_no_trace_in_normalised_speed(fleet):
    history = history_at(fleet)
    exponents = fit_exponents(history.visits, history.pumps)
    raw = np.log(history.visits["rpm"])
    same = history.visits["pump"].diff() == 0
    volts = np.log(history.visits["supply_v"] - 0.7)
    left = raw - exponents.of["rpm"][0] * volts
    assert np.std(left.diff()[same]) < 0.75 * np.std(raw.diff()[same])


def line(level, slope, readings, slope_se=1e-5):
    one = np.ones(1)
    return Drift(
        "ripple_pct", level * one, 0.2 * one, slope * one, slope_se * one, 0.9 * one, np.array([readings])
    )


def test_limit_forecast_by_hand():
    found = limit_forecast(line(10.0, 1e-4, 5), np.array([np.nan]), np.array([15.0]))
    assert found.distance_km[0] == pytest.approx(50_000)
    assert found.soonest_km[0] < 50_000 < found.latest_km[0]
    assert found.told[0]


def test_two_readings_or_an_improving_trend_give_no_date():
    assert not limit_forecast(line(10.0, 1e-4, 2), np.array([np.nan]), np.array([15.0])).told[0]
    healing = limit_forecast(line(10.0, -1e-4, 6), np.array([np.nan]), np.array([15.0]))
    assert not healing.told[0]
    for times, told in ((1.9, False), (2.1, True)):  # the same rule that says whether there is a drift
        doubtful = line(10.0, times * 1e-5, 6, slope_se=1e-5)
        assert doubtful.told[0] == told
        assert limit_forecast(doubtful, np.array([np.nan]), np.array([15.0])).told[0] == told


def test_nothing_is_forecast_beyond_reach():
    found = limit_forecast(line(10.0, 1e-4, 5), np.array([np.nan]), np.array([15.0]), 49_000.0)
    assert found.distance_km[0] == np.inf
    assert found.soonest_km[0] < 49_000
    assert found.latest_km[0] == np.inf


def test_a_wandering_slope_widens_the_band_ahead():
    straight = line(10.0, 1e-4, 5)
    bent = replace(straight, walk=1e-15)
    ahead = np.array([30_000.0])
    assert np.diff([part[0, 0] for part in line_ahead(bent, ahead)[1:]]) > np.diff(
        [part[0, 0] for part in line_ahead(straight, ahead)[1:]]
    )
    limits = np.array([np.nan]), np.array([15.0])
    assert limit_forecast(bent, *limits).soonest_km < limit_forecast(straight, *limits).soonest_km
    assert limit_forecast(bent, *limits).latest_km > limit_forecast(straight, *limits).latest_km


def test_filter_agrees_with_least_squares_on_clean_data():
    """With a wide prior, no walk and no wild readings the filter is ordinary regression."""
    rng = np.random.default_rng(5)
    x = np.arange(1.0, 9.0)
    y = 7 + 0.8 * x + rng.normal(0, 0.3, 8)
    one, zero = np.ones(1), np.zeros(1)
    state = LevelRate(zero, zero, zero, 1e8 * one, zero, zero, zero, zero, 1e8 * one)
    last = 0.0
    for at, value in zip(x, y, strict=True):
        state, _, _ = update(predict(state, np.array([at - last]), 0.0), np.array([value]), 0.09, 1e-12)
        last = at
    slope, intercept = np.polyfit(x, y, 1)
    assert state.s[0] == pytest.approx(slope, abs=1e-5)
    assert state.b[0] == pytest.approx(intercept, abs=1e-4)
    assert state.ss[0] == pytest.approx(0.09 / np.sum((x - x.mean()) ** 2), rel=1e-4)


def test_a_wild_reading_moves_the_estimate_little():
    one, zero = np.ones(1), np.zeros(1)
    state = LevelRate(8 * one, zero, 4 * one, one, zero, zero, zero, zero, one)
    calm, _, p_calm = update(state, 8.3 * one, 0.4, 0.02)
    wild, _, p_wild = update(state, 30.0 * one, 0.4, 0.02)
    assert p_calm[0] < 0.02
    assert p_wild[0] > 0.99
    assert abs(wild.b[0] - 8) < 1.5
    assert abs(calm.b[0] - 8) < 0.3


def test_the_edges_of_the_band_pass_the_limit_where_the_forecast_says():
    drift = Drift(
        "rpm", np.array([6000.0]), np.array([40.0]), np.array([-0.02]), np.array([0.004]), np.array([0.8]),
        np.array([6]), np.array([0.05]),
    )  # fmt: skip
    found = limit_forecast(drift, np.array([5000.0]), np.array([10_000.0]))
    assert found.distance_km[0] == pytest.approx(50_000)
    for at_km, edge in ((found.soonest_km[0], 1), (found.latest_km[0], 2)):
        assert line_ahead(drift, np.array([at_km]))[edge][0, 0] == pytest.approx(5000.0)
    assert found.soonest_km[0] < 50_000 < found.latest_km[0]


def test_a_level_that_may_be_past_its_limit_already_says_so():
    drift = line(14.9, 1e-4, 5)
    assert limit_forecast(drift, np.array([np.nan]), np.array([15.0])).soonest_km[0] == 0.0
