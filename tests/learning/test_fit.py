"""The fit finds what a simulated fleet was made of, and little data leaves the stated priors standing."""

import numpy as np
import pandas as pd
import pytest

from analytics.learning.drag import filter_effect
from analytics.learning.failure import FOUND_IF, FOUND_WRONG
from analytics.learning.fitting import DRAG_PRIOR, FAILURE_PRIOR, WEAR_PRIOR, fit_history
from analytics.learning.gaps import FOUND, make_gaps
from analytics.wear_model.model import Parameters, risk_model, run_filters
from demo_fleet.dirt import Dirt
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import TYPES, FleetSpec
from tests.fleet_frames import history_at


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(FleetSpec(vehicles=220, seed=31))


@pytest.fixture(scope="module")
def history(fleet):
    return history_at(fleet)


@pytest.fixture(scope="module")
def made(history):
    return fit_history(history)


def test_finds_the_fleets_constants(fleet, made):
    true, p = fleet.parameters, made.parameters
    assert p.exponents.of["rpm"][0] == pytest.approx(1.23, abs=0.05)
    assert p.exponents.load_ratio == pytest.approx(0.3, abs=0.05)
    usual_wear = np.median(true.wear_level)
    assert p.failure.wear_level == pytest.approx(usual_wear, rel=0.2)
    assert p.failure.drag_level == pytest.approx(true.drag_level, rel=0.3)
    assert p.drag.growth == pytest.approx(true.drag_rate, rel=0.35)
    assert p.wear.power == pytest.approx(true.wear_power, abs=0.25)
    rate = dict(zip(p.types, p.wear.rate, strict=True))
    assert rate["K-2201"] == pytest.approx(true.wear_rate[0], rel=0.2)


def test_expected_failures_agree_with_those_seen(history, made):
    """Over all gaps the summed hazard equals the failures, as a fitted hazard's must."""
    p = made.parameters
    gaps = make_gaps(history, run_filters(history, p, keep=True), p)
    model = risk_model(p)
    hazard = (
        model.log_survival(gaps.known, gaps.d_to).total - model.log_survival(gaps.known, gaps.d_from).total
    )
    assert hazard.sum() == pytest.approx(gaps.failed.sum(), rel=0.1)
    assert gaps.failed.sum() == history.pumps["failed"].sum()


def test_each_cause_is_expected_as_often_as_strip_down_found_it(history, made):
    p = made.parameters
    gaps = make_gaps(history, run_filters(history, p, keep=True), p)
    model = risk_model(p)
    after, before = (model.log_survival(gaps.known, d).array for d in (gaps.d_to, gaps.d_from))
    found = np.array([(gaps.failed & (gaps.found == k)).sum() for k in range(len(FOUND))])
    assert found.min() > 15
    named = FOUND_IF[:, :-1].T > FOUND_WRONG
    expected = (named / named.sum(0)) @ (after - before).sum(1)
    np.testing.assert_allclose(expected, found, rtol=0.2)


def test_drag_is_learned_as_fast_as_it_is_though_fast_ones_end_early(fleet, history, made):
    """Readings alone see mostly slow drags; how lives ended brings the growth back up."""
    true = fleet.parameters
    mean = true.drag_rate * np.exp(true.drag_rate_sd**2 / 2)
    assert made.parameters.drag.growth == pytest.approx(mean, rel=0.15)
    assert made.parameters.drag.filter_per_km == pytest.approx(true.filter_per_km, rel=0.15)


def test_wear_is_learned_as_fast_as_it_is_though_fast_ones_end_early():
    """Where it is fast at first, fast pumps fail before many readings: these alone gave .85 of the rate."""
    fleet = simulate_fleet(FleetSpec(vehicles=220, seed=33, variant="concave"))
    true, p = fleet.parameters, fit_history(history_at(fleet)).parameters
    learned = p.wear.rate[p.type_codes(pd.Series(TYPES))]
    mean = true.wear_rate * np.exp(true.wear_rate_sd**2 / 2)
    pumps_of_type = [0.4, 0.3, 0.2, 0.1]
    assert np.average(learned / mean, weights=pumps_of_type) == pytest.approx(1, abs=0.1)


def test_survives_json(made):
    again = Parameters.from_json(made.parameters.to_json())
    np.testing.assert_array_equal(again.wear.rate, made.parameters.wear.rate)
    np.testing.assert_array_equal(again.failure.wear_level, made.parameters.failure.wear_level)
    assert again.types == made.parameters.types


def test_unknown_type_gets_the_fleets_own_entry(history, made):
    strange = history.pumps["pump_type"].iloc[:3].mask([True, True, True], "never seen")
    assert (made.parameters.type_codes(strange) == len(made.parameters.types) - 1).all()


def test_three_pumps_leave_the_priors(history):
    few = history_at(simulate_fleet(FleetSpec(vehicles=2, seed=8, years=0.6)))
    p = fit_history(few).parameters
    assert p.failure.wear_level == pytest.approx(FAILURE_PRIOR["wear_level"][0], rel=0.5)
    assert p.drag.growth == pytest.approx(DRAG_PRIOR["growth"][0], rel=0.5)
    assert p.wear.power == pytest.approx(WEAR_PRIOR["power"][0], rel=0.3)


def test_drag_that_shows_as_ripple_and_lost_speed_is_taken_from_wear(made):
    assert made.parameters.wear.drag_points == 0
    fleet = simulate_fleet(FleetSpec(vehicles=90, seed=321, variant="other-drag"))
    p = fit_history(history_at(fleet)).parameters
    # 12 D of ripple and 0.5 D of speed beside 0.25 D of torque: about 45 points for what load shows of D
    assert 20 < p.wear.drag_points < 80


def test_wild_visits_do_not_pass_for_drag_in_ripple_and_speed():
    fleet = simulate_fleet(FleetSpec(vehicles=90, seed=321, dirt=Dirt(outlier=0.04)))
    assert fit_history(history_at(fleet)).parameters.wear.drag_points == 0


@pytest.mark.parametrize(("per_km", "low", "high"), [(0.0, 0.0, 2e-7), (1e-6, 8e-7, 1.2e-6)])
def test_filters_that_no_one_wrote_down_get_no_share_of_a_rise_that_is_not_there(per_km, low, high):
    pump = np.repeat(np.arange(60), 12)
    filter_km = np.tile(np.arange(12) * 8000.0, 60)
    load = per_km * filter_km + np.random.default_rng(4).normal(0, 0.03, len(pump))
    assert low <= filter_effect(load, pump, filter_km) <= high
