"""One sine fitted by the speed refinement, against the four-parameter fit of IEEE Std 1057.

500 samples at 1 kHz of 2.5 cos(2 pi 37.3 t + 0.6) + 1.2, begun at 37.0 Hz: the standard's fit is exact, and
finds 37.3000136 Hz in the samples rounded to 0.05 (computed with a plain four-parameter least-squares fit).
"""

import numpy as np
import pytest

from ingest.measuring.speed_refine import refine

RATE_HZ = 1000.0
T = np.arange(500) / RATE_HZ
SINE = 2.5 * np.cos(2 * np.pi * 37.3 * T + 0.6)


@pytest.mark.parametrize(("step", "hertz", "within"), [(0.0, 37.3, 1e-6), (0.05, 37.3000136, 1e-4)])
def test_a_sine_is_found_as_by_the_four_parameter_fit(step, hertz, within):
    record = np.round((SINE + 1.2) / step) * step - 1.2 if step else SINE
    found = refine(record, RATE_HZ, np.array([0.0, T[-1]]), np.array([0.0, 37.0 * T[-1]]), 1)
    assert found.turn_hz == pytest.approx(hertz, abs=within)
    assert abs(found.turn_hz - 37.3) < 3 * found.turn_hz_se
