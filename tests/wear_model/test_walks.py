"""A wandering rate: moving on by a stretch at once or in parts must say the same (Chapman & Kolmogorov)."""

import numpy as np
import pytest
from scipy.special import log_ndtr

from analytics.trend.bending import missed_by_a_line
from analytics.wear_model.failure_risk import crossing
from analytics.wear_model.level_rate import LevelRate, predict

STATE = LevelRate(*(np.array([v]) for v in (8.0, 1.0, 0.4, 0.5, -0.1, 0.02, 0.6, 0.05, 0.09)))
WALK = 0.7


def test_a_stretch_at_once_is_the_stretch_in_parts():
    at_once = predict(STATE, np.array([3.0]), WALK)
    in_parts = predict(predict(STATE, np.array([1.2]), WALK), np.array([1.8]), WALK)
    np.testing.assert_allclose(at_once, in_parts, rtol=1e-12)


def test_from_certainty_a_walk_spreads_as_simulated():
    """Variance q h of the rate, q h^3 / 3 of what it has summed up to: 20,000 random walks."""
    rng = np.random.default_rng(2)
    steps, h = 300, 2.0
    rate = np.cumsum(rng.normal(0, np.sqrt(WALK * h / steps), (20_000, steps)), axis=1)
    summed = (rate - rate[:, :1] / 2).sum(1) * h / steps
    sure = LevelRate(*(np.zeros(1) for _ in range(9)))
    after = predict(sure, np.array([h]), WALK)
    assert after.ss[0] == pytest.approx(np.var(rate[:, -1]), rel=0.04)
    assert after.ww[0] == pytest.approx(np.var(summed), rel=0.04)
    assert after.ws[0] == pytest.approx(np.cov(summed, rate[:, -1])[0, 1], rel=0.04)


def test_what_a_line_misses_grows_with_the_gap_as_the_state_does():
    """missed_by_a_line(gap) is the state at the last reading, moved on by the gap."""
    span, gap = 4.0, 2.5
    v, c, w = (part[0] for part in missed_by_a_line(WALK, span, np.zeros(1)))
    zero = np.zeros(1)
    start = LevelRate(zero, zero, zero, zero, zero, zero, zero + v, zero + c, zero + w)
    after = predict(start, np.array([gap]), WALK)
    told = [part[0] for part in missed_by_a_line(WALK, span, np.array([gap]))]
    assert told == pytest.approx([after.ww[0], after.ws[0], after.ss[0]], rel=1e-12)


def test_the_chance_of_crossing_spreads_as_the_state_does():
    h, level, sd = np.array([3.0]), 5.0, 0.3
    told = crossing(STATE.w, STATE.s, STATE.ww, STATE.ws, STATE.ss, h, WALK, level, sd)
    after = predict(STATE, h, WALK)
    now = log_ndtr((level - STATE.w) / np.sqrt(STATE.ww + sd**2))
    then = log_ndtr((level - after.w) / np.sqrt(after.ww + sd**2))
    assert told == pytest.approx(now - then, rel=1e-12)


def test_a_pump_beyond_the_usual_level_gains_nothing_from_what_is_not_known():
    level, sd, h, steady = 0.25, 0.08, np.array([0.8]), np.zeros(1)
    told = [
        float(
            crossing(np.array([0.45]), np.array([0.01]), steady, steady, np.array([ss]), h, 0.0, level, sd)[0]
        )
        for ss in (0.0, 0.01)
    ]
    assert told[1] == pytest.approx(told[0], rel=1e-12)
    assert told[0] > 0.2  # few outlive so much, and fewer a little more
