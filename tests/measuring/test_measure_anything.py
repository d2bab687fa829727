"""Whatever samples come, measuring answers, leaves the speed open or refuses in a sentence."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure


def drawn(rng: np.random.Generator) -> Capture:
    """Draw sums of smooth and square waves, some chirped, clipped, coarse, growing, stopping or drifting."""
    n = int(np.exp(rng.uniform(np.log(64), np.log(6000))))
    rate_hz = float(np.exp(rng.uniform(np.log(500), np.log(1e6))))
    t = np.arange(n) / rate_hz
    y = np.full(n, rng.uniform(-6, 6))
    for _ in range(int(rng.integers(0, 6))):
        hz = float(np.exp(rng.uniform(0, np.log(rate_hz / 2))))
        angle = (
            2 * np.pi * hz * t * (1 + rng.choice([0, 0.03]) * np.sin(2 * np.pi * rng.uniform(0.5, 50) * t))
        )
        y = y + rng.uniform(0.01, 2) * (np.sin(angle) if rng.random() < 0.6 else np.sign(np.sin(angle)))
    kind = rng.integers(6)
    if kind == 1:
        y = y * (t > t[-1] * rng.random())
    elif kind == 2:
        y = y + 5 * np.exp(-t / rng.uniform(0.001, 0.3))
    elif kind == 3:
        y = 4 + 0.05 * np.cumsum(rng.standard_normal(n))
    elif kind == 4:
        y = np.clip(y, -1, 1)
    y = y + rng.choice([0, 0.01, 0.3]) * rng.standard_normal(n)
    return Capture(np.round(y / 0.1) * 0.1 if rng.random() < 0.5 else y, rate_hz)


@pytest.mark.parametrize("seed", range(40))
def test_any_samples(seed):
    rng = np.random.default_rng((9, seed))
    capture = drawn(rng)
    segments, previous_rpm = [None, 5, 8, 13][rng.integers(4)], [None, 5000.0][rng.integers(2)]
    supply = ["direct", "pwm"][rng.integers(2)]
    try:
        reading = measure(capture, KnownPump(segments=segments, previous_rpm=previous_rpm, supply=supply))
    except CaptureRefused:
        return
    assert reading.rpm is None or np.isfinite([reading.rpm, reading.rpm_se]).all()
    assert reading.rpm is not None or any(n.level in ("warning", "ask") for n in reading.notes)


@pytest.mark.parametrize("n", [64, 500, 30_000])
def test_a_level_without_any_ripple(n):
    reading = measure(Capture(np.full(n, 4.0), 20_000.0))
    assert reading.mean_a == pytest.approx(4.0)
    assert reading.rpm is None
    assert "current-flat" in {note.code for note in reading.notes}
