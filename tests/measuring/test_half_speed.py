"""Half the speed is what a few codes, or brushes that are not alike under odd bars, make look right."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure

TURN_HZ, RATE_HZ, SECONDS = 96.7, 50_000.0, 0.2


def pump(orders, noise_a=0.004):
    """Current (n,) of lines at orders of the shaft, amplitudes in A."""
    turn = TURN_HZ * np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
    lines = sum(a * np.cos(2 * np.pi * (k * turn + 0.13 * k * k)) for k, a in orders.items())
    return 5 + lines + noise_a * np.random.default_rng(5).standard_normal(turn.size)


@pytest.mark.parametrize("bars", [7, 9, 11])
@pytest.mark.parametrize("unlike", [0.5, 2.0])
def test_odd_bars_under_unlike_brushes_are_not_read_at_half_the_speed(bars, unlike):
    """Their own order, N, then rivals the ripple's, 2 N, which it would be at half the speed."""
    ripple_a = 0.12
    orders = {2: 0.02, 4: 0.01, bars: unlike * ripple_a, 2 * bars: ripple_a, 4 * bars: 0.3 * ripple_a}
    for previous_rpm in (None, 60 * TURN_HZ * 1.04):
        reading = measure(Capture(pump(orders), RATE_HZ), KnownPump(segments=bars, previous_rpm=previous_rpm))
        assert reading.rpm is None or reading.rpm == pytest.approx(60 * TURN_HZ, rel=1e-3)


@pytest.mark.parametrize("steps", [2.0, 2.25, 2.5, 2.75])
def test_a_ripple_of_some_two_codes_tells_no_speed_or_the_right_one(steps):
    current = pump({2: 0.02, 8: 0.1, 16: 0.05}, noise_a=0.0)
    code_a = np.ptp(current) / steps
    coarse = Capture(np.round(current / code_a) * code_a, RATE_HZ)
    for known in (KnownPump(segments=8), KnownPump()):
        reading = measure(coarse, known)
        assert reading.rpm is None or reading.rpm == pytest.approx(60 * TURN_HZ, rel=1e-3)
        if np.ptp(coarse.current_a) < 2.5 * code_a:  # else it lies so between codes that it shows as three
            assert "range-too-coarse" in {note.code for note in reading.notes}
