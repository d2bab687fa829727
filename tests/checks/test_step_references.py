"""A start against the step response of a second-order system, and copper's resistance.

A unit step into a system of damping ratio z below 1 and natural frequency w overshoots by exp(-z
pi/sqrt(1-z^2)) and follows 1 - exp(-z w t) (cos(w_d t) + z/sqrt(1-z^2) sin(w_d t)), w_d = w sqrt(1-z^2)
(any control text, such as Ogata, Modern Control Engineering, chapter 5; from memory). Settled is within 5 %
of the final value.
Copper: IEC 60028, annealed, .00393 per deg C at 20 deg C; the usual inferred absolute zero of -234.5 deg C
is the same figure to its printing (both from memory).
"""

import numpy as np
import pytest

from ingest.measuring.settle import BLOCK_S, find_run
from ingest.sensitivities import COPPER_PER_C

RATE_HZ, FINAL_A, OFF_A, ON_S = 100_000, 5.0, 0.02, 0.06


def start(damping: float, natural_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Seconds from switch-on and amperes of a record with an off stretch, shape (n,) each."""
    w = 2 * np.pi * natural_hz
    root = np.sqrt(1 - damping**2)
    t = np.arange(int(0.6 * RATE_HZ)) / RATE_HZ - ON_S
    after = t.clip(0)
    swing = np.cos(w * root * after) + damping / root * np.sin(w * root * after)
    return t, np.where(t > 0, FINAL_A * (1 - np.exp(-damping * w * after) * swing), 0.0) + OFF_A


@pytest.mark.parametrize(("damping", "natural_hz"), [(0.2, 30), (0.3, 20), (0.4, 15)])
def test_inrush_peak_is_the_overshoot(damping, natural_hz):
    run = find_run(start(damping, natural_hz)[1], RATE_HZ)
    overshoot = np.exp(-damping * np.pi / np.sqrt(1 - damping**2))
    assert run.inrush_peak_a == pytest.approx(FINAL_A * (1 + overshoot), rel=1e-6)
    assert run.zero_a == pytest.approx(OFF_A, abs=1e-12)


@pytest.mark.parametrize(("damping", "natural_hz"), [(0.2, 30), (0.4, 15), (0.5, 20), (0.6, 10)])
def test_settling_time_is_the_last_way_into_five_percent(damping, natural_hz):
    """To a block: levels are compared block by block."""
    t, current_a = start(damping, natural_hz)
    outside = np.abs(current_a - OFF_A - FINAL_A) > 0.05 * FINAL_A
    run = find_run(current_a, RATE_HZ)
    assert run.settling_s == pytest.approx(t[outside][-1], abs=BLOCK_S)


def test_copper():
    assert pytest.approx(0.00393, abs=5e-6) == COPPER_PER_C
    assert pytest.approx(234.5, abs=0.05) == 1 / COPPER_PER_C - 20
