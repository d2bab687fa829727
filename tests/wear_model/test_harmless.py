"""What passes for a damage that has started may end no pump: risks stay below certainty by that share."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.learning.onsets import initial_onsets
from analytics.wear_model.drag import prior
from analytics.wear_model.failure_risk import Known, onset_survival


@pytest.mark.parametrize("harmless", [0.0, 0.1, 0.4])
def test_a_damage_far_beyond_its_level_ends_all_pumps_but_the_share(harmless):
    p = replace(initial_onsets(1).brush, harmless=harmless, scale_km=1e12, at_once_per_km=0.0)
    state = prior(p, np.zeros(2, int))
    sure = np.zeros(2)
    drag = state.drag._replace(w=np.full(2, 0.8 * p.fails_at), s=np.full(2, p.growth), ss=sure, ws=sure)
    state = state._replace(started=np.array([0.9, 0.3]), drag=drag)
    known = Known(np.full(2, 5e4), np.zeros(2, int), None, None, None, np.ones(2))
    lost = -np.expm1(-onset_survival(p, state, known, np.full(2, 200e3)))
    np.testing.assert_allclose(lost, np.array([0.9, 0.3]) * (1 - harmless), atol=1e-3)
