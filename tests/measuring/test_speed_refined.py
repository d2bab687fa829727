"""The refined phase where the current tells the angle in one place of the turn, as under an open coil."""

import numpy as np

from ingest.measuring.speed_refine import refine

RATE_HZ = 25_000.0


def edged(turn_hz, seconds, seed=1):
    """Time, phase and current (n,) of a wave whose sharp fall ends each half turn."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    turns = turn_hz * t
    wave = 3 * (2 * turns % 1) ** 8 + 0.1 * np.cos(24 * np.pi * turns) + 0.05 * np.cos(2 * np.pi * turns)
    y = wave + 0.02 * np.random.default_rng(seed).standard_normal(len(t))
    return t, turns, y - y.mean()


def off_by(phase, t, turns):
    """Departure of the fitted phase from the true one, about its median, in turns (n,)."""
    departure = phase.at(t) - turns
    return departure - np.median(departure)


def test_a_start_off_the_phase_is_found_though_its_half_turn_shows_one_edge():
    t, turns, y = edged(40.0, 0.26)
    knots = np.array([0.0, 0.006, 0.02, t[-1]])
    given = np.interp(knots, t, turns) - np.array([0.02, 0.01, 0.0, 0.0])
    phase = refine(y, RATE_HZ, knots, given, 60)
    assert np.max(np.abs(off_by(phase, t, turns))) < 2e-4
    assert abs(phase.turn_hz - 40.0) < 3 * phase.turn_hz_se


def test_a_first_turn_that_slipped_by_a_ripple_is_brought_back():
    t, turns, y = edged(83.0, 0.5)
    knots = np.linspace(0, t[-1], 40)
    given = np.interp(knots, t, turns)
    given[0] -= 0.1
    phase = refine(y, RATE_HZ, knots, given, 60)
    assert np.max(np.abs(off_by(phase, t, turns))) < 1e-3
    assert phase.followed > 0.9
