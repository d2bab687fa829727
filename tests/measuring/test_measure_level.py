"""Mean, zero, inrush, ripple and refusals."""

import numpy as np
import pytest

from ingest.capture import Capture, Note
from ingest.errors import CaptureRefused
from ingest.known_pump import KnownPump
from ingest.measuring.measurement import measure
from ingest.trade_numbers import CLAMP_DRIFT_A
from tests.measuring.measured_captures import recorded, steady, trace


def codes(reading):
    return {n.code for n in reading.notes}


def test_an_off_stretch_is_the_zero():
    capture, truth = recorded(trace(8), zero_a=0.18, off_s=0.05)
    reading = measure(capture, KnownPump(segments=8))
    assert reading.zero_a == pytest.approx(0.18, abs=0.01)
    assert "zero-corrected" in codes(reading)
    assert reading.mean_a == pytest.approx(truth.mean_a(reading.steady_from_s, reading.steady_to_s), rel=3e-3)


def test_the_zero_is_what_stood_before_the_run():
    """A clamp's core keeps a little of the current after it: that is no zero, but widens the error."""
    capture, _ = recorded(trace(8), zero_a=0.02, off_s=0.05)
    kept = Capture(
        np.append(capture.current_a, 0.06 + 0.0 * capture.current_a[:8000]), capture.sample_rate_hz
    )
    reading = measure(kept, KnownPump(segments=8))
    alone = measure(capture, KnownPump(segments=8))
    assert reading.zero_a == pytest.approx(alone.zero_a)
    assert reading.zero_a == pytest.approx(0.02, abs=0.01)
    assert reading.mean_a_se > 0.01 > alone.mean_a_se


def test_a_current_that_pauses_is_not_off():
    """As under an open coil: the pause in which the record begins is no zero of the clamp's."""
    rng, t = np.random.default_rng(7), np.arange(30_000) / 1e5
    pulses = 9 + 40 * np.clip(np.sin(2 * np.pi * 140 * t - 2.2), 0, None) ** 2
    reading = measure(Capture(pulses + 0.3 * rng.standard_normal(t.size), 1e5), KnownPump(segments=12))
    assert reading.zero_a is None
    assert reading.mean_a == pytest.approx(pulses.mean(), rel=0.01)


def test_without_one_the_zero_is_unverified():
    capture, _ = recorded(trace(8), zero_a=0.18)
    reading = measure(capture, KnownPump(segments=8))
    assert reading.zero_a is None
    assert "zero-unverified" in codes(reading)


def test_sparks_spoil_the_raw_figure_only():
    of = trace(8)
    clean = measure(recorded(of, sparks_per_s=0.0)[0], KnownPump(segments=8))
    sparky = measure(recorded(of, sparks_per_s=60.0)[0], KnownPump(segments=8))
    assert sparky.ripple_a == pytest.approx(clean.ripple_a, rel=0.15)  # 11 % here: a known weakness, see docs
    assert abs(sparky.ripple_pct - clean.ripple_pct) < 2 * sparky.ripple_pct_se
    assert sparky.raw_ripple_pct > 1.3 * clean.raw_ripple_pct
    assert sparky.sparks_per_s > 10 > clean.sparks_per_s
    assert sparky.raw_ripple_pct == pytest.approx(100 * (sparky.max_a - sparky.min_a) / sparky.mean_a)


def test_sparks_are_current_and_stay_in_the_mean():
    capture, _ = recorded(trace(8), sparks_per_s=60.0, off_s=0.05)
    reading = measure(capture, KnownPump(segments=8))
    window = round(reading.steady_from_s * 1e5), round(reading.steady_to_s * 1e5)
    assert reading.mean_a == pytest.approx(capture.current_a[slice(*window)].mean() - reading.zero_a)


def test_slow_change_is_no_error_of_the_mean():
    # Truth is the mean over this very window, so current that drifts by 10 % meanwhile widens nothing.
    # What the clamp drifts does.
    rng, t = np.random.default_rng(5), np.arange(30_000) / 1e5
    true = 4 + 0.4 * t / t[-1] + 0.3 * np.cos(2 * np.pi * 800 * t) + 0.02 * np.cos(2 * np.pi * 200 * t)
    z = []
    for _ in range(12):
        shown = true + CLAMP_DRIFT_A * t[-1] ** 0.5 * rng.standard_normal()
        current = np.concatenate([np.zeros(5000), shown]) + 0.03 * rng.standard_normal(35_000)
        reading = measure(Capture(current, 1e5), KnownPump(segments=8))
        first, last = (round(s * 1e5) - 5000 for s in (reading.steady_from_s, reading.steady_to_s))
        z.append((reading.mean_a - true[first:last].mean()) / reading.mean_a_se)
    assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.6


@pytest.mark.parametrize("noise_a", [0.002, 0.01])
def test_a_zero_within_one_code_keeps_its_rounding_error(noise_a):
    rng, t = np.random.default_rng(6), np.arange(20_000) / 1e5
    running = 4.02 + 0.4 * np.cos(2 * np.pi * 800 * t) + 0.03 * np.cos(2 * np.pi * 200 * t)
    current = np.concatenate([np.full(5000, 0.02), running]) + noise_a * rng.standard_normal(25_000)
    reading = measure(Capture(np.round(current / 0.08) * 0.08, 1e5), KnownPump(segments=8))
    assert reading.mean_a_se == pytest.approx(0.08 / 12**0.5, rel=0.1)
    assert abs(reading.mean_a - 4.0) < 2 * reading.mean_a_se


def test_inrush_is_measured_and_left_out():
    capture, truth = recorded(trace(8, seconds=0.5, start="inrush"), off_s=0.05, full_scale_a=30.0)
    reading = measure(capture, KnownPump(segments=8))
    assert reading.inrush_peak_a == pytest.approx(truth.trace.current_a.max(), rel=0.05)
    assert 5 < reading.settling_ms < 300
    assert reading.mean_a == pytest.approx(truth.mean_a(reading.steady_from_s, reading.steady_to_s), rel=3e-3)


def test_a_reversed_clamp_is_turned_over():
    capture, _ = recorded(trace(8), reversed=True)
    reading = measure(capture, KnownPump(segments=8))
    assert reading.mean_a > 0
    assert "reversed" in codes(reading)


def test_clipping_is_noted():
    capture, _ = recorded(trace(8, "burnt bar"))
    flat = Capture(np.minimum(capture.current_a, np.quantile(capture.current_a, 0.8)), capture.sample_rate_hz)
    assert "clipped" in codes(measure(flat, KnownPump(segments=8)))
    assert "clipped" not in codes(measure(capture, KnownPump(segments=8)))


def test_coarse_codes_are_noted():
    capture, _ = recorded(trace(8), bits=8, full_scale_a=40.0)
    assert "range-too-coarse" in codes(measure(capture, KnownPump(segments=8)))


def test_an_ac_coupled_record_has_no_mean():
    capture, _ = recorded(trace(8))
    note = Note("ac-coupled", "warning", "AC.")
    coupled = Capture(capture.current_a - capture.current_a.mean(), capture.sample_rate_hz, notes=(note,))
    reading = measure(coupled, KnownPump(segments=8))
    assert reading.mean_a is None
    assert reading.ripple_pct is None
    assert reading.rpm is not None


@pytest.mark.parametrize(
    ("capture", "code"),
    [
        (Capture(np.full(50, 4.0), 1e4), "too-short"),
        (steady(0.0), "no-current"),
        (steady(150.0), "above-100-a"),
    ],
)
def test_refusals(capture, code):
    with pytest.raises(CaptureRefused) as refused:
        measure(capture)
    assert refused.value.code == code


def test_the_clamp_widens_the_error_of_the_mean():
    reading = measure(recorded(trace(8))[0], KnownPump(segments=8))
    assert reading.mean_a_accuracy_a > 0.02 * reading.mean_a + 0.049
    assert reading.mean_a_se < 0.01
