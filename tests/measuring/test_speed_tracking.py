"""The shaft is followed however its speed wanders; where it can't be, no speed is told."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.measuring.order_tracking import follow_line
from tests.benchmarks.study_captures import draw
from tests.measuring.measured_captures import recorded, trace

RATE_HZ = 25_000.0


def test_a_line_whose_speed_wanders_fast():
    t = np.arange(20_000) / RATE_HZ
    cycles = 700 * t + 0.04 * 700 / (2 * np.pi * 25) * np.sin(2 * np.pi * 25 * t)  # 4 % at 25 Hz
    y = np.cos(2 * np.pi * cycles) + 0.1 * np.random.default_rng(3).standard_normal(len(t))
    time_s, followed = follow_line(y, RATE_HZ, 700.0)
    off = followed - np.interp(time_s, t, cycles)
    inner = slice(4, -4)
    assert np.std(off[inner]) < 0.03
    assert followed[-1] - followed[0] == pytest.approx(cycles[-1] - cycles[0], abs=0.5)


def test_a_starved_pump_is_followed():
    capture, truth = recorded(trace(8, "starved", 0.4))
    reading = measure(capture, KnownPump(segments=8))
    true_rpm = truth.mean_rpm(reading.steady_from_s, reading.steady_to_s)
    assert reading.rpm == pytest.approx(true_rpm, rel=1e-3)
    assert reading.speed_steadiness_pct > 0.3  # a healthy one: about 0.01


def test_a_speed_that_was_not_followed_is_not_told():
    study = draw("inrush", 17)  # takes half a second to come to speed
    reading = measure(Capture(study.samples, study.sample_rate_hz), KnownPump(segments=study.bars))
    assert reading.rpm is None
    assert "speed-not-followed" in {n.code for n in reading.notes}


def test_the_last_speed_decides_between_turns_that_the_lines_leave_alike():
    study = draw("low sample rate", 18)  # a third of its speed has a ripple there too
    capture = Capture(study.samples, study.sample_rate_hz)
    first = measure(capture, KnownPump(segments=study.bars))
    assert first.rpm is None
    assert len(first.speed_candidates) > 1
    later = measure(capture, KnownPump(segments=study.bars, previous_rpm=study.previous_rpm))
    true_rpm = study.truth.mean_rpm(later.steady_from_s, later.steady_to_s)
    assert later.rpm == pytest.approx(true_rpm, rel=1e-3)
    assert 0.95 < later.speed_confidence < 1


def test_a_line_that_smears_the_spectrum_is_not_the_shafts():
    study = draw("alternator", 18)  # the alternator's line is stronger than the ripple
    reading = measure(Capture(study.samples, study.sample_rate_hz), KnownPump(segments=study.bars))
    assert reading.rpm == pytest.approx(
        study.truth.mean_rpm(reading.steady_from_s, reading.steady_to_s), rel=1e-3
    )
