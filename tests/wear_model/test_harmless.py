"""What passes for a damage that has started may end no pump, and the longer a pump runs with it the likelier
that is: risks stay below certainty by so much."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.learning.onsets import initial_onsets
from analytics.wear_model.drag import prior
from analytics.wear_model.failure_risk import LEAST_RUNNING, Known, onset_survival, running


def damaged(harmless, share_of_level, started):
    """Return a brush damage, what readings say of two pumps that have it, and what is known of them."""
    p = replace(initial_onsets(1).brush, harmless=harmless, scale_km=1e12, at_once_per_km=0.0)
    state, none = prior(p, np.zeros(2, int)), np.zeros(2)
    at = np.full(2, share_of_level * p.fails_at)
    drag = state.drag._replace(w=at, s=np.full(2, p.growth), ww=none, ss=none, ws=none)
    state = state._replace(started=np.array(started), drag=drag, aside=state.aside._replace(p=none + 0.05))
    return p, state, Known(np.full(2, 5e4), np.zeros(2, int), None, None, None, np.ones(2))


@pytest.mark.parametrize("harmless", [0.0, 0.1, 0.4])
@pytest.mark.parametrize("share_of_level", [0.2, 0.8, 2.5])
def test_a_damage_that_grows_far_ends_as_many_pumps_as_of_those_that_still_run_with_it(
    harmless, share_of_level
):
    chance = [0.9, 0.3]
    p, state, known = damaged(harmless, share_of_level, chance)
    lost = -np.expm1(-onset_survival(p, state, known, np.full(2, 400e3)))
    rng = np.random.default_rng(0)
    started, level, luck, lets_run = rng.random((4, 400_000))
    level = p.fails_at + p.fails_at_sd * rng.standard_normal(level.size)
    for pump in range(2):
        ends = (started < chance[pump]) & (luck >= harmless)
        runs = ~ends | (level > share_of_level * p.fails_at) | (lets_run < LEAST_RUNNING)
        assert lost[pump] == pytest.approx(ends[runs].mean(), abs=0.006)


def test_a_pump_that_runs_on_far_beyond_the_level_is_believed_to_have_another_cause():
    near, far = (running(*damaged(0.1, share, [0.9, 0.9])[:2], 0.2, 0.07) for share in (0.3, 2.5))
    assert (far.started < near.started).all()
    assert (far.ends < near.ends).all()
    assert (far.aside > 2 * near.aside).all()
    assert (far.ends > 0.25).all()  # yet nobody is told that it is sound
