"""Lines that do not follow the shaft are told from shaft orders, and taken out."""

import numpy as np
import pytest

from ingest.capture import Capture
from ingest.known_pump import KnownPump
from ingest.measuring.foreign_lines import ForeignLines, foreign_lines
from ingest.measuring.measurement import measure
from ingest.measuring.order_tracking import prepare
from ingest.measuring.quality import mains_note
from ingest.measuring.speed import find_speed
from ingest.measuring.speed_evidence import bars_differ
from tests.measuring.measured_captures import recorded, trace
from tests.measuring.test_measure_doubt import spectrum


def disturbed(hz=0.0, height_a=0.0):
    capture, _ = recorded(trace())
    wave = height_a * np.sin(2 * np.pi * hz * np.arange(len(capture.current_a)) / capture.sample_rate_hz)
    return Capture(capture.current_a + wave, capture.sample_rate_hz)


def lines_of(capture):
    work = prepare(capture.current_a, capture.sample_rate_hz)
    return foreign_lines(work, find_speed(work, KnownPump(segments=8)).phase)


def test_a_steady_pump_has_none():
    assert not lines_of(disturbed()).disturbing


def test_alternator_ripple_is_found_at_its_frequency():
    found = lines_of(disturbed(1234.0, 0.06))
    assert found.hz[0] == pytest.approx(1234.0, abs=2.0)


def test_the_speed_stays_the_same_with_alternator_ripple():
    plain = measure(disturbed(), KnownPump(segments=8))
    noisy = measure(disturbed(1234.0, 0.06), KnownPump(segments=8))
    assert noisy.rpm == pytest.approx(plain.rpm, rel=2e-4)
    assert "alternator-suspected" in {n.code for n in noisy.notes}


def test_order_two_shows_that_bars_differ():
    assert bars_differ(spectrum({8: 1.0, 2: 1e-3}))


def test_what_a_load_may_pulsate_shows_nothing_of_the_bars():
    assert not bars_differ(spectrum({8: 1.0, 12: 1e-2, 20: 1e-2, 28: 1e-2}))
    assert not bars_differ(spectrum({8: 1.0, 12: 1e-2, 14: 1e-2}))
    assert bars_differ(spectrum({8: 1.0, 2: 1e-2, 14: 1e-2}))


@pytest.mark.parametrize(("duration_s", "named"), [(0.1, True), (2.0, False)])
def test_hum_is_told_as_finely_as_the_record_is_long(duration_s, named):
    line = ForeignLines(np.array([52.0]), np.array([0.3]))
    assert (mains_note(line, duration_s) is not None) == named
