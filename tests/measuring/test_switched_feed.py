"""A switched feed that nobody told of is named, with its frequency, and does not pass for the ripple."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from tests.benchmarks.study_captures import draw
from tests.measuring.measured_captures import recorded, trace

BARS = 10
RIPPLE_HZ = 640.3


def found(reading):
    return [n for n in reading.notes if n.code == "pwm-found"]


def fed(clock_hz, depth, *, rate_hz=50_000.0, seconds=0.3):
    """A capture whose strongest line is a clock that the ripple modulates by `depth`, and adds to."""
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    ripple = np.cos(2 * np.pi * RIPPLE_HZ * t) + 0.2 * np.cos(4 * np.pi * RIPPLE_HZ * t)
    clock = sum(np.cos(2 * np.pi * k * clock_hz * t) / k**2 for k in (1, 2, 3, 4, 5))
    noise = 0.005 * np.random.default_rng(5).standard_normal(len(t))
    return Capture(5 + 0.5 * clock * (1 + depth * ripple) + 0.05 * ripple + noise, rate_hz)


@pytest.mark.parametrize("clock_hz", [970.4, 1000.0, 1333.3])
def test_a_clock_that_the_ripple_modulates_is_named_and_tells_no_speed(clock_hz):
    reading = measure(fed(clock_hz, 0.03), KnownPump(segments=BARS))
    assert reading.rpm is None
    assert [n.code for n in found(reading)] == ["pwm-found"]
    assert reading.pwm_hz == pytest.approx(clock_hz, rel=1e-3)


def test_simulated_drives_taken_for_the_ripple_before():
    for seed, ripple_hz in ((62068, 849.0), (62075, 553.0)):
        study = draw("PWM", seed)
        reading = measure(Capture(study.samples, study.sample_rate_hz), KnownPump(segments=study.bars))
        assert reading.rpm is None
        assert reading.pwm_hz == pytest.approx(1000.0, rel=1e-3)
        assert ripple_hz != pytest.approx(reading.pwm_hz, rel=0.1)


def test_a_line_that_only_adds_is_no_clock():
    capture, _ = recorded(trace())
    line = 0.06 * np.sin(2 * np.pi * 1234.0 * np.arange(len(capture.current_a)) / capture.sample_rate_hz)
    assert not found(
        measure(Capture(capture.current_a + line, capture.sample_rate_hz), KnownPump(segments=8))
    )


@pytest.mark.parametrize("clock_hz", [12_345.0, 20_000.0])
def test_a_drive_faster_than_ripple_is_named_beside_the_speed(clock_hz):
    capture, _ = recorded(trace())
    line = 0.03 * np.sin(2 * np.pi * clock_hz * np.arange(len(capture.current_a)) / capture.sample_rate_hz)
    plain = measure(capture, KnownPump(segments=8))
    fed_so = Capture(capture.current_a + line, capture.sample_rate_hz)
    reading = measure(fed_so, KnownPump(segments=8, supply="direct"))
    assert not found(plain)
    assert reading.pwm_hz == pytest.approx(clock_hz, rel=1e-3)
    assert [n.level for n in found(reading)] == ["info"]
    assert reading.rpm == pytest.approx(plain.rpm, rel=1e-4)
    # Of a feed not told it may be a brushless pump's driver's, unless the last visit knew better.
    asked = measure(fed_so, KnownPump(segments=8))
    assert asked.rpm is None
    assert [n.level for n in found(asked)] == ["warning"]
    assert "--motor brushless" in found(asked)[0].text
    known = measure(fed_so, KnownPump(segments=8, previous_rpm=plain.rpm))
    assert known.rpm == pytest.approx(plain.rpm, rel=1e-4)
