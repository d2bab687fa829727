"""Damages with an onset: a jump is weighed against a wild reading and against a cause beside the pump."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.learning.onsets import initial_onsets
from analytics.past.signs import no_hints
from analytics.wear_model.onsets import Shown, filter_one
from analytics.wear_model.tracks import make_tracks

ONSETS = initial_onsets(1)
AT_KM = 60e3


def told(name, y, worked=()):
    """State of one pump read every 8,000 km from AT_KM on, `y` above its type's level; worked: at which."""
    n = len(y)
    x = AT_KM + 8e3 * np.arange(n)
    p = getattr(ONSETS, name)
    work = no_hints(n)._replace(worked=np.isin(np.arange(n), worked) * 0.7)
    read = Shown(np.array(y, float), np.ones(n), work)
    return filter_one(p, make_tracks(np.zeros(n, int), np.ones(n, bool), 1), x, read, np.zeros(1, int)).state


def started(*args):
    return float(told(*args).started[0])


@pytest.mark.parametrize(("name", "jump"), [("hydraulic", 0.15), ("commutator", 0.6), ("brush", 0.12)])
def test_a_jump_is_told_from_a_wild_reading_by_the_next_one(name, jump):
    steady = started(name, [0, 0, 0, 0])
    once = started(name, [0, 0, 0, jump])
    again = started(name, [0, 0, 0, jump, jump])
    gone = started(name, [0, 0, 0, jump, 0])
    assert steady < 0.1
    assert again > once > 2 * steady
    assert gone < once / 2


@pytest.mark.parametrize("name", ["hydraulic", "brush"])
def test_what_grows_is_the_pump_and_what_stays_may_lie_beside_it(name):
    grows, stays = told(name, [0, 0, 0.06, 0.12, 0.18, 0.24]), told(name, [0, 0, 0.12, 0.12, 0.12, 0.12])
    assert grows.started[0] > 0.8
    assert stays.aside.p[0] > 5 * grows.aside.p[0]


def test_a_shift_the_other_way_is_never_the_damage():
    other_way = told("hydraulic", [0, 0, 0, -0.15, -0.15])
    assert other_way.started[0] < 0.1
    assert other_way.aside.p[0] > 0.8
    assert other_way.aside.o[0] == pytest.approx(-0.15, abs=0.05)


def test_work_on_record_ends_what_lay_beside_the_pump():
    """The same reading after the work as before it, then, is more the pump's own."""
    shift = [0, 0, 0.1, 0.1, 0.1]
    untouched, repaired = told("hydraulic", shift), told("hydraulic", shift, [3, 4])
    assert repaired.aside.p[0] < untouched.aside.p[0]
    assert repaired.started[0] > untouched.started[0]


def test_without_causes_beside_the_pump_the_hypotheses_are_two():
    p = replace(ONSETS.hydraulic, aside_per_km=0.0)
    read = Shown(np.array([0, 0, -0.2]), np.ones(3))
    x = AT_KM + 8e3 * np.arange(3)
    state = filter_one(p, make_tracks(np.zeros(3, int), np.ones(3, bool), 1), x, read, np.zeros(1, int)).state
    assert state.aside.p[0] == 0


def test_ripple_far_beyond_what_else_shifts_it_is_the_pumps_own_though_it_stays_as_it_is():
    stays = told("commutator", [0, 0, 0, 1.7, 1.7, 1.7])
    assert stays.started[0] > 0.95
    assert stays.drag.w[0] == pytest.approx(1.7, abs=0.1)


@pytest.mark.parametrize(
    "found", [{"odds": 2.2, "cured": 0.7}, {"odds": 2.5}, {"odds": -1.5}, {"worked": 0.7}]
)
@pytest.mark.parametrize("name", ["hydraulic", "brush"])
def test_a_reading_is_no_likelier_because_somebody_looked(name, found):
    """Over all that a second reading could have been, its likelihood is 1, whatever its check found."""
    y = np.linspace(-2, 2, 2001)
    n, p = len(y), getattr(ONSETS, name)
    of_check = {key: np.tile([0.0, value], n) for key, value in found.items()}
    read = Shown(np.column_stack([0 * y, y]).ravel(), np.ones(2 * n), no_hints(2 * n)._replace(**of_check))
    tracks = make_tracks(np.repeat(np.arange(n), 2), np.ones(2 * n, bool), n)
    both = filter_one(p, tracks, np.tile([AT_KM, AT_KM + 8e3], n), read, np.zeros(n, int)).log_likelihood
    one = filter_one(
        p, make_tracks(np.zeros(1, int), np.ones(1, bool), 1), np.array([AT_KM]),
        Shown(np.zeros(1), np.ones(1), no_hints(1)), np.zeros(1, int),
    ).log_likelihood  # fmt: skip
    assert np.trapezoid(np.exp(both - one), y) == pytest.approx(1.0, abs=2e-3)
