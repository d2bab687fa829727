"""A fleet of the second world: readings at any duty, speed and state count; ripple of its own is no drag."""

import numpy as np
import pytest

from analytics.learning.fitting import fit_history
from analytics.past.normalise import NOMINAL, channels
from tests.benchmarks.second_world import build
from tests.benchmarks.second_world.designs import BRUSH_V
from tests.benchmarks.second_world.fleet import EPOCH
from tests.fleet_frames import history_from_tables


@pytest.fixture(scope="module")
def case():
    run = build(seed=31, vehicles=150, history_years=4.0).start()
    history = history_from_tables(run.tables(), 1.0, str(EPOCH + run.today), clean_odometers=True)
    return history, fit_history(history)


def test_volts_exponents_come_out_near_the_motors(case):
    """Errors in the volts told draw them down (attenuation), but untold volts no longer do."""
    _, fit = case
    p = fit.parameters
    assert 0.6 < p.exponents.of["rpm"][0] / NOMINAL.speed_volts < 1.1
    low_speed = np.exp(p.exponents.beside["rpm"][1] / NOMINAL.speed_volts)
    assert low_speed == pytest.approx((0.68 * 13.5 - BRUSH_V) / (13.5 - BRUSH_V), abs=0.05)


def test_readings_at_part_duty_and_low_speed_scatter_like_the_others(case):
    history, fit = case
    made = channels(history.visits, history.pumps, fit.parameters.exponents)
    pump = history.visits["pump"].to_numpy()
    part = (history.visits["ln_feed"] < -0.1).to_numpy() | (history.visits["low_speed"] == 1).to_numpy()
    assert np.isfinite(made.load[part]).sum() > 100
    step = np.abs(np.diff(made.load))
    same = (pump[1:] == pump[:-1]) & np.isfinite(step)
    mixed = part[1:] != part[:-1]
    plain = ~part[1:] & ~part[:-1]
    assert np.median(step[same & mixed]) < 1.4 * np.median(step[same & plain])


def test_ripple_that_goes_its_own_way_is_no_drag(case):
    assert case[1].parameters.wear.drag_points == 0
