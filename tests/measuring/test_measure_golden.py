"""Figures don't change without a new METHOD_VERSION: on a change, raise it and renew these."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import METHOD_VERSION, measure

GOLDEN = (11, 5838.002136339758, 4.30006173667964, 0.6345187470390833)


def test_golden_figures():
    rate, t = 50_000.0, np.arange(15_000) / 50_000.0
    turn = 2 * np.pi * 97.3 * t
    wave = (
        0.25 * np.cos(8 * turn) + 0.1 * np.cos(16 * turn) + 0.05 * np.cos(2 * turn) + 0.02 * np.cos(4 * turn)
    )
    current = 4.3 + wave + 0.01 * np.random.default_rng(11).standard_normal(len(t))
    reading = measure(Capture(np.round(current / 0.005) * 0.005, rate), KnownPump(segments=8))
    figures = (METHOD_VERSION, reading.rpm, reading.mean_a, reading.ripple_a)
    assert figures == pytest.approx(GOLDEN, rel=1e-6)
