"""Engine hours instead of distance as what drives life and interval, from the fleet folder to the list.

The same simulated fleet twice: by distance, and standing with its engines on, so that every 46.7 km of the
first are an hour of the second and its odometers hardly move.
"""

from dataclasses import replace

import numpy as np
import pytest

from analytics.past.history import load_history
from analytics.risk.pump_drift import pump_drift
from analytics.risk.ranking import rank
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import KM_PER_MI, FleetSpec
from tests.fleet_ledger import load_fleet

KM_PER_HOUR = 29 * KM_PER_MI
CREEPS = 0.02  # of the distance


@pytest.fixture(scope="module")
def ledgers(tmp_path_factory):
    fleet = simulate_fleet(FleetSpec(vehicles=20, seed=91, years=4))
    tables = {name: table.copy() for name, table in fleet.tables.items()}
    hours_per_mile = KM_PER_MI / KM_PER_HOUR
    for name, odometer, hours in (
        ("visits", "odometer", "hours"),
        ("pumps", "fitted_odometer", "fitted_hours"),
        ("pumps", "removed_odometer", "removed_hours"),
    ):
        tables[name][hours] = (tables[name][odometer] * hours_per_mile).round(1)
        tables[name][odometer] = (tables[name][odometer] * CREEPS).round(1)
    for name in ("services", "breakdowns"):
        tables[name]["odometer"] = (tables[name]["odometer"] * CREEPS).round(1)
    cars = tables["vehicles"]
    cars["clock"] = "hours"
    cars["pm_interval_hours"] = (cars["pm_interval"] * hours_per_mile).round(1)
    tables["vehicles"] = cars.drop(columns=["pm_interval"])
    by_hours = replace(fleet, tables=tables)
    return (
        load_fleet(fleet, tmp_path_factory.mktemp("distance")),
        load_fleet(by_hours, tmp_path_factory.mktemp("hours")),
    )


def test_pumps_age_by_hours(ledgers):
    by_distance, by_hours = (load_history(ledger).pumps.set_index("serial") for ledger in ledgers)
    both = by_distance.merge(by_hours, left_index=True, right_index=True, suffixes=("", "_h"))
    assert len(both) == len(by_distance)
    np.testing.assert_allclose(both["now_km_h"], both["now_km"], rtol=0.03, atol=2500)
    np.testing.assert_allclose(both["km_per_day_h"], both["km_per_day"], rtol=0.05)
    own = both["pm_interval_km_h"] * both["km_per_day_h"] / both["unit_km_per_day_h"]
    np.testing.assert_allclose(own, both["pm_interval_km"], rtol=0.01)


def test_a_filter_changed_counts_from_its_day(ledgers):
    """A service row has no hours, and its odometer says nothing about them."""
    by_distance, by_hours = (load_history(ledger).visits["filter_km"] for ledger in ledgers)
    assert (by_distance < load_history(ledgers[0]).visits["x_km"] - 1000).mean() > 0.3
    np.testing.assert_allclose(by_hours, by_distance, atol=4000)


def test_the_lists_agree(ledgers):
    """The same fleet, so the same risks before the next stop, up to rounding and days without a reading."""
    by_distance, by_hours = (rank(ledger).set_index("unit") for ledger in ledgers)
    both = by_distance.merge(by_hours, left_index=True, right_index=True, suffixes=("", "_h"))
    assert len(both) == len(by_distance) > 17
    np.testing.assert_allclose(both["risk_h"], both["risk"], rtol=0.25, atol=0.01)
    assert both["risk"].corr(both["risk_h"], method="spearman") > 0.97
    left = both["distance_left_p50_h"] / (both["km_per_day_h"] / both["km_per_day"])
    np.testing.assert_allclose(left, both["distance_left_p50"], rtol=0.15)


def test_a_pumps_line_runs_over_its_hours(ledgers):
    unit = rank(ledgers[1])["pump_id"].iloc[0]
    history = load_history(ledgers[1])
    found = pump_drift(ledgers[1], int(unit), history.as_of)
    mine = history.pumps.set_index("pump_id").loc[unit]
    assert found.now_km == pytest.approx(mine["now_km"], rel=0.01)  # its class is not read
    assert found.visits["x_km"].max() / KM_PER_HOUR > 200
    assert found.drift["ripple_pct"].readings[0] > 0
