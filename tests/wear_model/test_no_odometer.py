"""A unit of which nobody ever read an odometer ages by its class, and stops nothing."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import Fit, initial_parameters
from analytics.risk.forecast import score, survival_on_grid
from analytics.wear_model.model import METHOD_VERSION
from tests.fleet_frames import history_from_tables
from tests.learning.test_without_failures import PUMPS, tables

UNREAD, UNSEEN = "U04", "U05"  # visited, odometer never written down; and never visited
AS_OF, GRID_KM = "2023-08-01", np.array([0.0, 8e3])


@pytest.fixture(scope="module")
def history():
    made = tables()
    pumps, visits = made["pumps"], made["visits"]
    mine = pumps["unit"].isin([UNREAD, UNSEEN])
    pumps.loc[mine, ["fitted_on", "fitted_odometer"]] = [pd.NaT, np.nan]
    visits.loc[visits["unit"] == UNREAD, "odometer"] = np.nan
    made["visits"] = visits[visits["unit"] != UNSEEN]
    made["services"] = made["services"][~made["services"]["unit"].isin([UNREAD, UNSEEN])]
    return history_from_tables(made, 1.0, AS_OF, clean_odometers=True)


def test_it_runs_as_far_as_its_class_does(history):
    pumps = history.pumps.set_index("unit")
    others = pumps.drop([UNREAD, UNSEEN])["km_per_day"].median()
    days = (pd.Timestamp(AS_OF) - pd.Timestamp("2022-01-01")).days  # in service
    for unit in (UNREAD, UNSEEN):
        assert pumps.loc[unit, "km_per_day"] == pytest.approx(others, rel=0.01)
        assert 0.4 * others * days < pumps.loc[unit, "now_km"] <= 1.01 * others * days
        assert np.isnan(pumps.loc[unit, "odometer_km"])  # nobody read it, so none is told
    mine = history.visits[history.visits["pump"] == pumps.index.get_loc(UNREAD)]
    assert mine["x_km"].is_monotonic_increasing
    assert np.diff(mine["x_km"]) == pytest.approx(120 * others, rel=0.01)


def test_every_pump_has_a_risk(history):
    p = initial_parameters(history)
    p = replace(p, wear=replace(p.wear, ripple_at=p.wear.level, brush_at=0 * p.wear.level))
    of_trade = Fit(p, {}, None, history.as_of, METHOD_VERSION, PUMPS, 0, 0)
    state = score(history, of_trade)
    chance = 1 - survival_on_grid(state, GRID_KM).survival[:, 1]
    assert len(chance) == PUMPS
    assert ((chance > 0) & (chance < 1)).all()
