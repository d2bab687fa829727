"""A ripple that brushes at fault drown is found in the whole record at once, or not at all."""

import numpy as np
import pytest
from scipy.signal import lfilter

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.drowned_ripple import drowned_speed, is_drowned
from ingest.measuring.measurement import measure
from ingest.measuring.order_tracking import prepare

RATE_HZ, TURN_HZ, MEAN_A = 25_000.0, 73.1, 6.0
TOLD = KnownPump(segments=8)
EDGES = (1.0, 0.8, 0.7, 0.6, 0.5, 0.4)  # harmonics of a ripple


def disorder(amplitude_a, ripple_a, seconds=0.3, seed=3, harmonics=EDGES):
    """Current (n,) whose contact resistance wanders within .3 ms, with a ripple of eight bars below it."""
    rng = np.random.default_rng(seed)
    n = int(seconds * RATE_HZ)
    keep = np.exp(-1 / (0.3e-3 * RATE_HZ))
    noise = lfilter([np.sqrt(1 - keep**2)], [1.0, -keep], rng.standard_normal(n + 2000))[2000:]
    turns = TURN_HZ * np.arange(n) / RATE_HZ + 0.01 * np.sin(np.pi * np.arange(n) / n)
    ripple = sum(a * np.sin(2 * np.pi * 8 * k * turns + k) for k, a in enumerate(harmonics, start=1))
    return MEAN_A + amplitude_a * noise + ripple_a * ripple


def test_speed_is_told_and_no_ripple():
    reading = measure(Capture(disorder(0.55, 0.09), RATE_HZ), TOLD)
    assert reading.rpm == pytest.approx(60 * TURN_HZ, rel=0.005)
    assert 0.001 < reading.rpm_se / reading.rpm < 0.007
    assert (reading.ripple_a, reading.ripple_pct, reading.speed_steadiness_pct) == (None, None, None)
    assert "ripple-untold" in {note.code for note in reading.notes}


@pytest.mark.parametrize("seed", range(5))
def test_disorder_alone_tells_no_speed(seed):
    assert drowned_speed(prepare(disorder(0.6, 0.0, seed=seed), RATE_HZ), TOLD) is None


def test_one_line_alone_is_any_line():
    work = prepare(disorder(0.6, 0.15, harmonics=(1.0,)), RATE_HZ)
    assert is_drowned(work, MEAN_A)
    assert drowned_speed(work, TOLD) is None


@pytest.mark.parametrize(
    ("amplitude_a", "ripple_a", "drowned"),
    [(0.55, 0.09, True), (0.3, 0.5, False), (0.02, 0.003, False), (0.02, 0.3, False)],
)
def test_which_records_are_drowned(amplitude_a, ripple_a, drowned):
    """A line that stands out can be followed; a calm current has something else than brushes in it."""
    assert is_drowned(prepare(disorder(amplitude_a, ripple_a), RATE_HZ), MEAN_A) is drowned


def test_bars_untold_or_a_long_record_is_not_read_so():
    assert drowned_speed(prepare(disorder(0.55, 0.09), RATE_HZ), KnownPump()) is None
    assert drowned_speed(prepare(disorder(0.55, 0.09, seconds=0.8), RATE_HZ), TOLD) is None
