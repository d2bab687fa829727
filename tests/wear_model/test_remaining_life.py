import numpy as np
import pytest

from analytics.learning.fitting import fit_history
from analytics.risk.forecast import score
from analytics.wear_model.model import risk_model
from analytics.wear_model.remaining_life import CHANCES, FURTHEST_KM, distance_left
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


def test_the_chance_of_failing_by_each_distance_is_the_one_it_is_named_after():
    """Else a risk of 9 % within 8,000 km could stand beside a 10 % distance of less than that."""
    history = history_at(simulate_fleet(FleetSpec(vehicles=150, seed=5)))
    fit = fit_history(history)
    state, model = score(history, fit), risk_model(fit.parameters)
    found = distance_left(model, state.known, state.d_0)
    assert (np.diff(found, axis=1) >= 0).all()
    for distance, chance in zip(found.T, CHANCES, strict=True):
        risk, _ = model.risk(state.known, state.d_0, distance)
        assert risk[distance < FURTHEST_KM] == pytest.approx(chance, abs=0.003)
