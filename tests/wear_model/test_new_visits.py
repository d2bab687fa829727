"""A new visit moves what is known of a pump as going through its whole past again does."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.learning.fitting import fit_history
from analytics.risk.forecast import known_after, score
from demo_fleet.fleet import simulate_fleet
from demo_fleet.fleet_pumps import FleetSpec
from tests.fleet_frames import history_at


@pytest.fixture(scope="module")
def case():
    """A history, which of its visits are the new ones, and a fit without them."""
    history = history_at(simulate_fleet(FleetSpec(vehicles=20, seed=12, years=2)))
    visits = history.visits
    last = ~visits["pump"].duplicated(keep="last") & visits["usable"] & visits["mean_a"].notna()
    return history, last, fit_history(replace(history, visits=visits[~last].reset_index(drop=True)))


@pytest.mark.parametrize("missing", [[], ["rpm"], ["ripple_pct", "supply_v"]])
def test_one_more_visit_gives_what_scoring_anew_gives(case, missing):
    history, last, fit = case
    visits = history.visits
    new = visits[last].assign(**dict.fromkeys(missing, np.nan))
    state = score(replace(history, visits=visits[~last].reset_index(drop=True)), fit)
    anew = score(replace(history, visits=visits.assign(**{m: visits[m].mask(last) for m in missing})), fit)
    found, whole = known_after(state, new), anew.filtered.known.take(new["pump"].to_numpy(int))
    # Elsewhere the new visit told of a filter change that nobody wrote down.
    same = anew.history.visits["filter_km"].to_numpy()[last] == new["filter_km"].to_numpy()
    assert same.mean() > 0.9
    np.testing.assert_allclose(found.x_km, whole.x_km)
    for mine, theirs in zip(found.wear, whole.wear, strict=True):
        np.testing.assert_allclose(mine[same], theirs[same], rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.drag.started[same], whole.drag.started[same], rtol=1e-9, atol=1e-12)
