"""Sparks are counted beside sharp commutation edges; few of them spoil no ripple."""

import numpy as np

from ingest.measuring.ripple import average_turn
from ingest.measuring.speed_refine import TurnPhase

RATE_HZ, TURN_HZ, SPARKS = 500_000.0, 83.3, 12


def sparking(seed):
    """Current (n,) with steep edges that jitter, sparks on some; its phase; its swing without them."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(0.3 * RATE_HZ)) / RATE_HZ
    turns = TURN_HZ * t
    jitter = 3e-5 * rng.standard_normal(8 * 40)[(8 * turns).astype(int)]
    humps = (8 * (turns + jitter)) % 1
    rise = np.minimum(humps / 0.01, 1)  # of an edge, about 15 us
    current = 4.0 + 0.6 * rise * np.maximum(1 - 5 * humps, 0) + 0.3 * np.cos(4 * np.pi * turns)
    swing_a = float(np.ptp(current))
    edges = np.flatnonzero(np.diff(np.floor(8 * turns)) > 0)[3:-3]
    for edge in rng.choice(edges[::3], SPARKS, replace=False):
        width = rng.uniform(10e-6, 30e-6)
        current[edge : edge + 100] -= np.exp(-np.arange(100) / RATE_HZ / width) * rng.uniform(0.6, 2)
    current += 0.01 * rng.standard_normal(len(t))
    phase = TurnPhase(t[[0, -1]], turns[[0, -1]], TURN_HZ, 1e-4, 0.0, np.zeros(64), 1.0)
    return current, phase, swing_a


def test_edges_that_come_every_turn_are_no_sparks():
    for seed in range(4):
        current, phase, swing_a = sparking(seed)
        turn = average_turn(current, RATE_HZ, phase, 0.0)
        assert abs(turn.sparks - SPARKS) <= 1
        assert abs(turn.ripple_a / swing_a - 1) < 0.05
        assert turn.mean_se_a < 1e-3


def test_noise_that_lasts_counts_more_in_the_mean():
    """Noise of a narrow clamp is alike over several samples: the mean's error is that of fewer samples."""
    errors, claimed = [], []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        t = np.arange(30_000) / RATE_HZ
        noise = np.convolve(rng.standard_normal(len(t) + 9), np.ones(10) / 10, "valid") * 0.05
        current = 4.0 + 0.3 * np.cos(16 * np.pi * TURN_HZ * t) + noise
        phase = TurnPhase(t[[0, -1]], TURN_HZ * t[[0, -1]], TURN_HZ, 1e-4, 0.0, np.zeros(64), 1.0)
        last = int(4 / TURN_HZ * RATE_HZ)
        turn = average_turn(current[:last], RATE_HZ, phase, 0.0)
        errors.append(current[:last].mean() - 4.0)
        claimed.append(turn.mean_se_a)
    z = np.abs(np.array(errors) / np.array(claimed))
    assert np.mean(z < 1) > 0.45
    assert np.mean(z < 2) > 0.8


def test_gaussian_noise_has_no_sparks():
    """Of 150,000 normal samples ten lie beyond four standard deviations and 0.0003 beyond six."""
    rng = np.random.default_rng(6)
    t = np.arange(150_000) / RATE_HZ
    current = 4.0 + 0.3 * np.cos(16 * np.pi * TURN_HZ * t) + 0.02 * rng.standard_normal(len(t))
    phase = TurnPhase(t[[0, -1]], TURN_HZ * t[[0, -1]], TURN_HZ, 1e-4, 0.0, np.zeros(64), 1.0)
    assert average_turn(current, RATE_HZ, phase, 0.0).sparks == 0
    short = int(6 / TURN_HZ * RATE_HZ)  # too few turns to compare with one another
    assert average_turn(current[:short], RATE_HZ, phase, 0.0).sparks == 0
