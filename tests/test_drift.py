"""Drift per pump, and when a line passes a limit."""

import numpy as np
import pandas as pd
import pytest

from analytics.drift import Drift, drift_of, fit_drift, limit_forecast, line_ahead
from analytics.level_rate import LevelRate, predict, update
from analytics.normalise import fit_exponents
from demo_fleet.fleet import FleetSpec, simulate_fleet
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
    true = fleet.true_lives.assign(serial=[f"S{i:06d}" for i in fleet.true_lives["life"]]).set_index("serial")
    many = drift.readings >= 6
    rate = true["true_wear_rate"].reindex(history.pumps["serial"]).to_numpy()
    assert np.corrcoef(drift.slope[many], rate[many])[0, 1] > 0.6
    assert (drift.slope_se[drift.readings == 1] > np.nanmedian(drift.slope_se[many])).mean() > 0.8
    assert np.nanmean(drift.own_share[drift.readings == 0]) < 0.05


def test_volts_and_warmth_leave_no_trace_in_normalised_speed(fleet):
    history = history_at(fleet)
    exponents = fit_exponents(history.visits, history.pumps)
    raw = np.log(history.visits["rpm"])
    same = history.visits["pump"].diff() == 0
    volts = np.log(history.visits["supply_v"] - 0.7)
    left = raw - exponents.ln_rpm[0] * volts
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
    flat = limit_forecast(line(10.0, 1e-6, 6, slope_se=1e-5), np.array([np.nan]), np.array([15.0]))
    assert not flat.told[0]


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
