"""The chance that is told of a cause beside the pump: one shift counts once, and damage that explains it is
none; a drop that was measured is one."""

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import initial_parameters
from analytics.past.signs import DROP_FOUND, hints
from analytics.wear_model.drag import DragState
from analytics.wear_model.failure_risk import CAUSES_SHARE, Known
from analytics.wear_model.model import risk_model
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at

P = initial_parameters(history_at(simulate_fleet(FleetSpec(vehicles=4, seed=1, years=1))))


def told(**chances):
    """Chance told of a cause beside a pump of which each channel says (damage started, cause beside)."""
    known = Known.of_new(P.wear, P.drag, P.onsets, np.zeros(1, int))

    def as_read(state: DragState, name: str) -> DragState:
        started, beside = chances.get(name, (0.0, 0.0))
        aside = state.aside._replace(p=np.array([beside]))
        return state._replace(started=np.array([started]), aside=aside)

    begun = known.begun._replace(**{n: as_read(getattr(known.begun, n), n) for n in known.begun._fields})
    known = known._replace(drag=as_read(known.drag, "drag"), begun=begun)
    return float(risk_model(P).p_beside_pump(known)[0])


def of_causes(chance):
    return CAUSES_SHARE * chance / (1 - chance + CAUSES_SHARE * chance)


def test_drag_is_no_cause_beside_the_pump_though_no_leak_explains_it():
    assert told(drag=(0.95, 0.03), hydraulic=(0.0, 0.97)) < 0.03
    assert told(drag=(0.0, 0.97), hydraulic=(0.95, 0.03)) < 0.03


def test_what_neither_explains_is_one_and_counts_once():
    once = told(drag=(0.0, 0.9), hydraulic=(0.0, 0.9))
    assert once == pytest.approx(of_causes(0.9), rel=0.01)
    assert told(drag=(0.0, 0.9), hydraulic=(0.0, 0.9), brush=(0.0, 0.8)) == pytest.approx(once)
    assert told(drag=(0.0, 0.9), hydraulic=(0.0, 0.9), commutator=(0.0, 0.8)) > once + 0.05


def test_a_drop_that_was_measured_speaks_for_the_circuit_and_not_for_the_brushes():
    visits = pd.DataFrame(
        {"drop_supply_v": [0.2, 0.2, 0.9, np.nan], "drop_ground_v": [0.05, 1.16, 0.05, 0.4]}
    )
    assert hints(visits, "brush").odds.tolist() == [0.0, DROP_FOUND, DROP_FOUND, DROP_FOUND]
    assert not hints(visits, "load").odds.any()
