"""The trace's own evidence contradicts a number of segments that was told wrong."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from tests.measuring.measured_captures import recorded, trace


def noted(reading):
    return {note.code: note.values for note in reading.notes}


@pytest.mark.parametrize("bars", [8, 7])
def test_a_right_number_is_borne_out(bars):
    capture, truth = recorded(trace(bars))
    reading = measure(capture, KnownPump(segments=bars))
    assert reading.rpm == pytest.approx(truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=1e-3)
    assert reading.speed_confidence > 0.95
    assert "segments-contradicted" not in noted(reading)


@pytest.mark.parametrize(("bars", "told"), [(8, 10), (8, 12), (8, 7)])
def test_a_wrong_number_is_contradicted(bars, told):
    capture, truth = recorded(trace(bars))
    reading = measure(capture, KnownPump(segments=told))
    true_rpm = truth.mean_rpm(reading.steady_from_s, reading.steady_to_s)
    assert reading.rpm is None
    assert reading.speed_confidence < 0.95
    assert reading.ripple_pct is None or reading.speed_candidates[0].rpm == pytest.approx(true_rpm, rel=0.01)
    assert "segments-contradicted" in noted(reading)
    found = noted(reading)["segments-contradicted"]
    assert found["told"] == told
    assert found["rpm"] == pytest.approx(true_rpm, rel=0.01)
    assert found["looks_like"] == bars
    rpms = [c.rpm for c in reading.speed_candidates]
    assert all(abs(a / b - 1) > 0.01 for i, a in enumerate(rpms) for b in rpms[:i])  # each speed once


def test_a_last_visit_read_by_the_same_wrong_number_does_not_bear_it_out():
    capture, truth = recorded(trace(8))
    wrong_rpm = 0.8 * truth.mean_rpm(0.0, 0.2)
    reading = measure(capture, KnownPump(segments=10, previous_rpm=wrong_rpm))
    assert reading.rpm is None
    assert "speed-undecided" in noted(reading)


def test_what_a_drive_leaves_in_a_few_turns_speaks_for_no_other_bars():
    """Between the orders of 3.3 turns it lies where those of a turn seen still fewer times would."""
    rate, turn_hz, bars, rng = 60_000.0, 50.0, 10, np.random.default_rng(5)
    t = np.arange(int(3.3 * rate / turn_hz)) / rate
    place = bars * turn_hz * t % 1
    ripple = 0.6 * np.exp(-3 * place) * (1 - np.exp(-place / 0.05))
    cycles = 8_200 * (t + 6e-6 * np.sin(2 * np.pi * 8 * t))
    drive = 0.25 * sum(np.cos(2 * np.pi * k * cycles) / k**2 for k in range(1, 6))
    current = 5 + ripple + drive + 0.005 * rng.standard_normal(t.size)
    reading = measure(Capture(current, rate), KnownPump(segments=bars, supply="pwm"))
    assert reading.speed_candidates[0].rpm == pytest.approx(60 * turn_hz, rel=3e-3)
    assert reading.speed_confidence > 0.95
