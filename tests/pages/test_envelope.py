"""Waveforms made small enough to draw without losing a spike."""

import numpy as np
import pytest

from dashboard.parts import envelope
from ingest.capture import Capture
from tests.ledger_fixture import small_capture


def capture(samples, rate=1000.0, start_s=0.0) -> Capture:
    return Capture(current_a=np.asarray(samples, float), sample_rate_hz=rate, start_s=start_s)


def test_a_single_spike_survives_a_million_samples():
    samples = np.full(1_000_000, 5.0)
    samples[765_432] = 9.0
    rows = envelope.envelope(capture(samples, 1e6))
    assert len(rows) == envelope.BINS
    assert rows["high_a"].max() == 9.0
    assert rows["low_a"].min() == 5.0
    at_ms = rows.loc[rows["high_a"].idxmax(), "time_ms"]
    assert at_ms == pytest.approx(765.432, abs=0.5)


def test_a_short_record_is_drawn_sample_by_sample():
    rows = envelope.envelope(capture([1, 2, 3, 4], start_s=-0.002))
    assert rows["low_a"].tolist() == rows["high_a"].tolist() == [1, 2, 3, 4]
    assert rows["time_ms"].tolist() == pytest.approx([-2, -1, 0, 1])


def test_gaps_are_left_out_and_ranges_cut():
    rows = envelope.envelope(capture([np.nan, 2, np.nan, 4, 5]), 0.001, 0.003)
    assert rows["low_a"].tolist() == [2, 4]
    assert len(envelope.envelope(capture([1, 2, 3]), 9, 10)) == 0


def test_the_averaged_turn_follows_the_wave():
    made = small_capture(rpm=6000)
    turn = envelope.averaged_turn(made, 10.0)
    assert len(turn) == 360
    assert turn["current_a"].mean() == pytest.approx(np.mean(made.current_a), rel=0.002)
    # 8 humps of 45 degrees: the strongest harmonic of the averaged turn is the eighth.
    spectrum = np.abs(np.fft.rfft(turn["current_a"] - turn["current_a"].mean()))
    assert spectrum.argmax() == 8


def test_a_turn_is_rotated_onto_another():
    turn = envelope.averaged_turn(small_capture(), 10.0)
    rotated = turn.assign(current_a=np.roll(turn["current_a"], 97))
    back = envelope.turned_onto(rotated, turn)
    assert np.allclose(back["current_a"], turn["current_a"])


def test_profiles_of_visits_are_turned_to_match():
    first = [8.0, 8.2, 5.0, 8.4, 8.1, 8.0, 8.3]
    visits = [first, np.roll(first, 3) - 0.5, [7.0, 7.5, 6.0], np.roll(first, -2) * 1.1]
    turned = envelope.profiles_in_step(visits)
    assert [int(np.argmin(profile)) for profile in turned] == [2, 2, 2, 2]
    assert turned[1] == pytest.approx(np.array(first) - 0.5)
    assert turned[3] == pytest.approx(np.array(first) * 1.1)
    assert list(turned[2]) == [7.0, 7.5, 6.0]  # another number of segments is no match
    assert envelope.profiles_in_step([]) == []
