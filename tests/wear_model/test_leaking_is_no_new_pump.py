"""A load that falls while ripple stays is a pump that leaks inside or starves, and no new pump."""

import numpy as np
import pytest

from analytics.past.normalise import fit_exponents
from analytics.wear_model.unrecorded import allow_for_unrecorded
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


@pytest.mark.parametrize(("ripple_points", "restarted"), [(0.0, False), (4.0, True)])
def test_only_a_load_that_falls_with_ripple_is_a_new_pump(ripple_points, restarted):
    history = history_at(simulate_fleet(FleetSpec(vehicles=60, seed=8)))
    visits = history.visits
    left = visits.groupby("pump").cumcount(ascending=False)
    pump = visits["pump"][left == 5].iloc[0]
    after = (visits["pump"] == pump) & (left < 3)
    amps, speed = np.exp(np.where(after, -0.25, 0.0)), np.exp(np.where(after, 0.03, 0.0))
    changed = visits.assign(
        mean_a=visits["mean_a"] * amps,
        rpm=visits["rpm"] * speed,
        ripple_pct=visits["ripple_pct"] - np.where(after, ripple_points, 0.0),
    )
    exponents = fit_exponents(visits, history.pumps)
    found = allow_for_unrecorded(type(history)(history.as_of_day, history.pumps, changed), exponents)
    assert bool(found.pumps["restarted"].iloc[pump]) == restarted


@pytest.mark.parametrize("told", ["fuel_pressure_kpa", "delivery_l_min"])
def test_a_pump_that_lacks_pressure_or_delivery_is_not_new_though_load_and_ripple_fell(told):
    """A blocked strainer lets current, ripple and pressure fall; one visit that tells of it is enough."""
    history = history_at(simulate_fleet(FleetSpec(vehicles=60, seed=8)))
    visits = history.visits.assign(fuel_pressure_kpa=400.0, delivery_l_min=2.0, delivery_at="return")
    pumps = history.pumps.assign(rated_pressure_kpa=400.0)
    left = visits.groupby("pump").cumcount(ascending=False)
    pump = visits["pump"][left == 5].iloc[0]
    after, last = (visits["pump"] == pump) & (left < 2), (visits["pump"] == pump) & (left == 0)

    def restarted(share_left: float) -> bool:
        fell = visits.assign(
            mean_a=visits["mean_a"] * np.exp(np.where(after, -0.25, 0.0)),
            rpm=visits["rpm"] * np.exp(np.where(after, 0.03, 0.0)),
            ripple_pct=visits["ripple_pct"] - np.where(after, 4.0, 0.0),
            **{told: visits[told] * np.where(last, share_left, 1.0)},
        )
        past = type(history)(history.as_of_day, pumps, fell)
        return bool(allow_for_unrecorded(past, fit_exponents(visits, pumps)).pumps["restarted"].iloc[pump])

    assert restarted(1.0)
    assert not restarted(0.7)
