"""Pump and filter changes that nobody wrote down are found; wild readings and recorded work make none up."""

import numpy as np
import pytest

from analytics.past import history as history_module
from analytics.past.normalise import channels, fit_exponents
from analytics.wear_model.unrecorded import allow_for_unrecorded
from demo_fleet.dirt import Dirt
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


def looked_through(dirt: Dirt):
    history = history_at(simulate_fleet(FleetSpec(vehicles=250, seed=5, dirt=dirt)))
    return history, allow_for_unrecorded(history, fit_exponents(history.visits, history.pumps))


def test_clean_records_are_left_alone():
    history, found = looked_through(Dirt.none())
    assert not found.pumps["restarted"].any()
    np.testing.assert_array_equal(found.visits["filter_km"], history.visits["filter_km"])


def test_wild_readings_make_no_new_pumps():
    _, found = looked_through(Dirt(outlier=0.015))
    assert found.pumps["restarted"].sum() <= 1


def test_lost_pump_changes_are_mostly_found():
    history, found = looked_through(Dirt(lost_pump=0.5))
    clean = history_at(simulate_fleet(FleetSpec(vehicles=250, seed=5)))
    lost = len(clean.pumps) - len(history.pumps)
    assert lost > 15
    assert 0.6 * lost < found.pumps["restarted"].sum() <= lost
    moved = found.pumps["restarted"].to_numpy()
    assert (found.pumps["now_km"][moved] < history.pumps["now_km"][moved]).all()
    assert found.pumps["restart_km"][~moved].eq(0).all()


def test_lost_filter_changes_are_made_up_for(monkeypatch):
    _, found = looked_through(Dirt(lost_filter=0.4))
    assert found.pumps["restarted"].sum() == 0
    clean = history_at(simulate_fleet(FleetSpec(vehicles=250, seed=5)))
    monkeypatch.setattr(history_module, "OLD_FILTER", np.inf)
    as_recorded, _ = looked_through(Dirt(lost_filter=0.4))

    def miss(history):
        return np.abs(history.visits["filter_km"] - clean.visits["filter_km"]).mean()

    assert miss(found) < 0.65 * miss(as_recorded)


def test_a_filter_change_made_up_for_leaves_the_readings_about_it_in_doubt():
    """Half a filter's life too much or too little there would pass for a fresh drag, or hide one."""
    history, clean = (
        history_at(simulate_fleet(FleetSpec(vehicles=250, seed=5, dirt=dirt)))
        for dirt in (Dirt(lost_filter=0.4), Dirt.none())
    )
    assert clean.visits["filter_in_doubt"].mean() < 0.005
    doubt = history.visits["filter_in_doubt"].to_numpy()
    miss = np.abs(history.visits["filter_km"] - clean.visits["filter_km"]).to_numpy()
    assert doubt.sum() > 100
    assert miss[doubt].mean() > 2 * miss[~doubt].mean()
    made = channels(history.visits, history.pumps, fit_exponents(history.visits, history.pumps))
    assert made.load_noise[doubt].min() > made.load_noise[~doubt].max()


@pytest.mark.parametrize("missing", [["rpm"], ["supply_v"], ["ripple_pct", "rpm"]])
def test_missing_columns_leave_a_channel(missing):
    history = history_at(simulate_fleet(FleetSpec(vehicles=20, seed=6, years=3)))
    visits = history.visits.assign(**dict.fromkeys(missing, np.nan))
    made = channels(visits, history.pumps, fit_exponents(visits, history.pumps))
    assert not np.isnan(made.load).all()
    assert np.isnan(made.brush).all()
