"""Readings taken otherwise than usual stay out of the trend: by complaint, in other states, at other duty."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.learning.fitting import fit_history
from analytics.past.history import _alike
from analytics.risk.forecast import score
from analytics.trend.drift import drift_of
from analytics.wear_model.model import risk_model
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at

WILD = {"mean_a": 1.6, "ripple_pct": 2.5, "rpm": 0.7}


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(FleetSpec(vehicles=25, seed=61, years=3))


@pytest.fixture(scope="module")
def learned(fleet):
    return fit_history(history_at(fleet))


def otherwise(fleet, **changes):
    """The fleet with every fifth visit (never a pump's first or last) taken otherwise, reading wildly; and
    the same fleet without metrics on those visits."""
    visits = fleet.tables["visits"]
    place = visits.groupby("serial").cumcount()
    size = visits.groupby("serial")["serial"].transform("size")
    chosen = (place % 5 == 2) & (place < size - 1)
    wild, blank = visits.assign(**changes).where(chosen, visits), visits.copy()
    for name, times in WILD.items():
        wild[name] = visits[name].where(~chosen, visits[name] * times)
        blank[name] = visits[name].mask(chosen)
    return (replace(fleet, tables=fleet.tables | {"visits": table}) for table in (wild, blank))


@pytest.mark.parametrize(
    ("changes", "of_risk"),
    [({"reason": "complaint"}, True), ({"reason": "road-call"}, True), ({"state": "prime"}, False)],
)
def test_a_wild_reading_taken_otherwise_changes_neither_drift_nor_risk(fleet, learned, changes, of_risk):
    """A planned one in another engine state stays out of the lines; forecasts allow for the state."""
    said = []
    for told in otherwise(fleet, **changes):
        history = history_at(told)
        state = score(history, learned)
        risk, _ = risk_model(learned.parameters).risk(state.known, state.d_0, np.full(len(state.rows), 8e3))
        code = learned.parameters.type_codes(history.pumps["pump_type"])
        lines = [
            drift_of(history, code, learned.parameters.exponents, metric, learned.drift[metric])
            for metric in WILD
        ]
        said.append(
            (risk if of_risk else 0.0, *(part for line in lines for part in (line.slope, line.level)))
        )
    for wild, blank in zip(*said, strict=True):
        np.testing.assert_allclose(wild, blank, rtol=1e-9)


def test_the_same_readings_by_plan_would_have(fleet, learned):
    """The test above could fail: taken by plan and in the usual state, wild readings count."""
    wild, blank = otherwise(fleet)
    known = [score(history_at(told), learned).known.wear.w for told in (wild, blank)]
    assert np.abs(known[0] - known[1]).max() > 0.1


def visits_of_one(**columns):
    n = max(len(v) for v in columns.values())
    usual = {"pump": 0, "reason": "pm", "state": "idle", "duty_step": 20, "in_trend": True, "mean_a": 5.0}
    return pd.DataFrame(usual | {"ripple_pct": 8.0, "rpm": 6000.0} | columns, index=range(n))


@pytest.mark.parametrize(
    ("columns", "counts"),
    [
        ({"duty_step": [20, 20, 9, 20]}, [1, 1, 0, 1]),  # at 45 % duty instead of full
        ({"duty_step": [9, 9, 9, 20]}, [1, 1, 1, 0]),  # always 45 %: full duty is the odd one
        ({"duty_step": [-1, 20, 20]}, [1, 1, 1]),  # not told: taken for full
        ({"state": ["idle", "prime", "idle", "loaded"]}, [1, 0, 1, 0]),
        ({"reason": ["pm", "complaint", "road-call", "after-repair"]}, [1, 0, 0, 1]),
        ({"in_trend": [True, False, True]}, [1, 0, 1]),
    ],
)
def test_which_readings_may_be_held_against_each_other(columns, counts):
    assert _alike(visits_of_one(**columns)).tolist() == [bool(c) for c in counts]
