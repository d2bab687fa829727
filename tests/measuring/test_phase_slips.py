"""A phase that slipped at an end of the record, where a followed line bends away, is brought back."""

import numpy as np
import pytest

from ingest.measuring.speed_refine import refine

RATE_HZ, TURN_HZ = 25_000.0, 84.0


def trace(seconds: float, wander: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Time, true phase in turns, and a current with twelve bars, one of them weak."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    turns = TURN_HZ * (t + wander * np.sin(2 * np.pi * 3 * t) / (2 * np.pi * 3))
    angle = 2 * np.pi * turns
    y = 0.25 * np.cos(24 * angle) + 0.1 * np.cos(12 * angle + 1) + 0.3 * np.cos(2 * angle)
    y += 0.1 * np.cos(4 * angle + 2) + 0.05 * np.cos(6 * angle)
    return t, turns, y + np.random.default_rng(5).normal(0, 0.02, len(t))


@pytest.mark.parametrize("end", ["first", "last"])
@pytest.mark.parametrize("slip", [-0.3, -0.17, 0.17, 0.3])
@pytest.mark.parametrize("wander", [0.0, 0.02])
def test_a_slip_at_either_end_is_brought_back(end, slip, wander):
    t, turns, y = trace(0.23, wander)
    knots = np.linspace(0, t[-1], 25)
    begun = np.interp(knots, t, turns)
    far = np.clip(1 - knots / 0.012 if end == "first" else 1 - (t[-1] - knots) / 0.012, 0, 1)
    phase = refine(y, RATE_HZ, knots, begun + slip * far, 53)
    off = phase.at(t) - turns
    assert np.ptp(off) < 0.01  # turns; a slip is 1/24 or more
    assert phase.turn_hz == pytest.approx((turns[-1] - turns[0]) / t[-1], rel=1e-4)


def test_a_speed_that_really_changes_at_the_start_is_not_evened_out():
    t = np.arange(int(0.25 * RATE_HZ)) / RATE_HZ
    # 15 % slow at first, gone within some 10 ms
    turns = TURN_HZ * (t - 0.15 * 0.01 * (1 - np.exp(-t / 0.01)))
    angle = 2 * np.pi * turns
    y = 0.25 * np.cos(24 * angle) + 0.3 * np.cos(2 * angle) + 0.1 * np.cos(4 * angle + 2)
    y += np.random.default_rng(5).normal(0, 0.02, len(t))
    knots = np.linspace(0, t[-1], 40)
    phase = refine(y, RATE_HZ, knots, np.interp(knots, t, turns), 53)
    assert phase.turn_hz == pytest.approx((turns[-1] - turns[0]) / t[-1], rel=3e-4)
