"""Slow sampling folds the ripple's own harmonics down; they tell of no turn."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.line_spectrum import line_spectrum
from ingest.measuring.measurement import measure
from ingest.measuring.order_tracking import prepare, retraced
from ingest.measuring.speed import find_speed
from ingest.measuring.speed_lines import band_limited

BARS, SECONDS = 8, 0.3


def ripple_alone(ripple_hz, rate_hz, highest_hz=60_000.0):
    """A steady pump whose bars are all alike, with harmonics as strong as sharp edges have them."""
    t = np.arange(int(SECONDS * rate_hz)) / rate_hz
    current = 4.0 + 0.004 * np.random.default_rng(0).standard_normal(len(t))
    for h in range(1, int(highest_hz / ripple_hz) + 1):
        current += 0.3 * h**-1.2 * np.cos(2 * np.pi * h * ripple_hz * t + h * h)
    return Capture(current, rate_hz)


# Folded harmonics fall beside the ripple's at .2, .4 ... of their distance, as orders of another turn would.
FOLDING = [(816.87, 25e3), (1153.74, 25e3), (1323.8, 25e3), (965.3, 20e3), (800.0, 6.6e3)]


@pytest.mark.parametrize(("ripple_hz", "rate_hz"), FOLDING)
def test_bars_alike_are_not_told_apart_by_them(ripple_hz, rate_hz):
    assert measure(ripple_alone(ripple_hz, rate_hz)).rpm is None


@pytest.mark.parametrize(("ripple_hz", "rate_hz"), FOLDING)
@pytest.mark.parametrize("previous", [None, 1.03])
def test_bars_told_they_are_no_rival_turns(ripple_hz, rate_hz, previous):
    rpm = 60 * ripple_hz / BARS
    reading = measure(
        ripple_alone(ripple_hz, rate_hz), KnownPump(segments=BARS, previous_rpm=previous and previous * rpm)
    )
    assert reading.rpm == pytest.approx(rpm, rel=1e-4)


@pytest.mark.parametrize("rate_hz", [25e3, 200e3])
def test_only_what_may_be_folded_is_passed_over(rate_hz):
    ripple_hz = 816.87
    work = prepare(ripple_alone(ripple_hz, rate_hz).current_a, rate_hz)
    ends = np.array([0.0, SECONDS])
    trace = retraced(band_limited(work, 8000.0, 2), 8000.0, ends, ends * ripple_hz)
    spectrum = line_spectrum(trace, work.spark_rate_hz, 8000.0)
    harmonic = np.array([np.abs(30 * ripple_hz - 25e3) / ripple_hz])  # the thirtieth, sampled at 25 kHz
    slow = rate_hz == 25e3
    assert (spectrum.at(harmonic, folded=True)[0] > 100) == slow
    assert spectrum.silent(harmonic) == slow
    assert spectrum.at(harmonic)[0] < 10
    assert not spectrum.silent(np.array([1.0, 2.0, 0.5])).any()


def test_interpolation_adds_no_lines_of_its_own():
    # By the angle of a turn that is none, a ripple sampled finely leaves nothing but its own harmonics.
    work = prepare(ripple_alone(965.3, 200e3, 20e3).current_a, 200e3)
    speed = find_speed(work)
    assert not speed.bars_differ
    fine = band_limited(work, 8000.0, 2)
    assert len(fine.y) == 2 * len(work.y) - 1
    assert np.std(fine.y[::2] - band_limited(work, 8000.0).y) < 1e-12
