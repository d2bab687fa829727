"""Wear and drag told side by side, where drag shows in ripple and speed too."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.past.signs import no_flow, no_hints
from analytics.wear_model.damages import filter_damages, new_pumps, take_in
from analytics.wear_model.drag import DragParameters
from analytics.wear_model.tracks import make_tracks
from analytics.wear_model.wear import WearParameters

ONE = np.ones(1)
WEAR = WearParameters(8.0 * ONE, 1.0, 4.0 * ONE, 0.4, 2.0, 0.36, 1.2, bad=0.01)
DRAG = DragParameters(0.0 * ONE, 0.04**2, 0.012**2, 0.0, 250e3, 1.3, ONE, 0.1, 0.4, bad=0.01)
SHOWN = replace(WEAR, drag_points=40.0)
STEP_KM = 8e3


def told(wear, u, load):
    """State of one pump after readings every 8,000 km."""
    n = len(u)
    tracks = make_tracks(np.zeros(n, int), np.ones(n, bool), 1)
    x = STEP_KM * np.arange(1, n + 1)
    return filter_damages(
        wear, DRAG, tracks, x, np.array(u), np.array(load), np.ones(n), np.zeros(n), np.zeros(1, int),
        life_km=60e3, hints=no_hints(n), flow=no_flow(n), u_opened=np.zeros(n),
    )  # fmt: skip


def test_drag_that_hardly_shows_in_ripple_is_told_as_by_the_load_alone():
    rng = np.random.default_rng(1)
    u, load = 8 + 0.3 * np.arange(9) + rng.normal(0, 0.6, 9), rng.normal(0, 0.012, 9)
    u[4], load[6] = np.nan, 0.2
    alone, hardly = told(WEAR, u, load), told(replace(WEAR, drag_points=1e-4), u, load)
    assert hardly.log_likelihood == pytest.approx(alone.log_likelihood, abs=1e-3)
    for a, b in ((alone.state.wear, hardly.state.wear), (alone.state.drag.drag, hardly.state.drag.drag)):
        assert np.array(a) == pytest.approx(np.array(b), abs=1e-4)
    assert hardly.state.drag.started == pytest.approx(alone.state.drag.started, abs=1e-4)


def test_ripple_that_jumps_speaks_for_drag_only_where_drag_shows_in_it():
    u = [8.0, 8.2, 8.4, 8.6, 8.8, 13.0, 17.0]  # 4 points a visit, as a drag of .1 per 10,000 km adds
    load = [0.0] * 5 + [np.nan] * 2
    assert told(WEAR, u, load).state.drag.started < 0.2
    assert told(SHOWN, u, load).state.drag.started > 0.9


def test_what_drag_adds_to_ripple_is_kept_out_of_wear():
    u = [8.0, 8.2, 8.4, 8.6, 8.8, 9.8, 10.8, 11.8]
    load = [0.0] * 5 + [0.02, 0.04, 0.06]
    assert told(SHOWN, u, load).state.wear.w < told(WEAR, u, load).state.wear.w - 1.0


def test_load_and_ripple_together_tell_drag_earlier_than_either():
    u, load = [8.0, 8.2, 8.4, 8.6, 10.4], [0.0, 0.0, 0.0, 0.0, 0.03]
    both, alone = told(SHOWN, u, load).state.drag.started, told(WEAR, u, load).state.drag.started
    ripple = told(SHOWN, u, [*load[:4], np.nan]).state.drag.started
    assert both > max(alone, ripple) + 0.1


def test_a_wild_wear_reading_casts_doubt_on_the_load():
    u, load = [8.0, 8.2, 8.4, 8.6, 8.8], [0.0, 0.0, 0.0, 0.0, 0.06]
    fair = told(SHOWN, [*u[:4], np.nan], load).state.drag.started
    wild = told(SHOWN, [*u[:4], 1.0], load).state.drag.started
    assert wild < 0.5 * fair


def test_several_sets_side_by_side_are_as_one_by_one():
    before = new_pumps(WEAR, DRAG, np.zeros(2, int))
    x_from, x_to, u, load = np.zeros(2), np.full(2, STEP_KM), np.array([8.5, 10.0]), np.array([0.0, 0.05])
    points = np.array([[20.0], [60.0]])
    columns = replace(WEAR, drag_points=points)
    args = (x_from, x_to, np.zeros(2, int), u, load, np.ones(2), 60e3)
    many, gained = take_in(columns, DRAG, new_pumps(columns, DRAG, np.zeros(2, int)), *args)
    for k, value in enumerate(points[:, 0]):
        one, alone = take_in(replace(WEAR, drag_points=value), DRAG, before, *args)
        assert gained[k] == pytest.approx(alone)
        assert many.drag.started[k] == pytest.approx(one.drag.started)
        assert many.wear.w[k] == pytest.approx(one.wear.w)
