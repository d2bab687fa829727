"""Clamp and digitiser: codes, rails, zero, gain, sparks, off stretch, aliasing on purpose."""

from __future__ import annotations

import numpy as np
import pytest

from demo_fleet.acquisition import Probe, Scope, acquire
from demo_fleet.armature import Motor, Trace, simulate

QUIET = Probe(noise_a=0.0, bandwidth_hz=1e6)


@pytest.fixture(scope="module")
def trace() -> Trace:
    return simulate(Motor(), duration_s=0.1, seed=3)


def test_samples_are_codes_within_the_rails(trace: Trace) -> None:
    scope = Scope(bits=8, full_scale_a=10.0)
    samples, rate, truth = acquire(trace, scope=scope, seed=1)
    assert rate == 100_000
    assert truth.code_a == pytest.approx(20 / 256)
    codes = samples / truth.code_a
    assert codes == pytest.approx(np.round(codes), abs=1e-9)
    clipped = acquire(trace, scope=Scope(full_scale_a=4.5), seed=1)
    assert clipped.truth.clipped_share > 0.05
    assert clipped.samples.max() < 4.5


def test_gain_and_zero(trace: Trace) -> None:
    probe = Probe(gain_error=0.02, zero_a=0.18)
    samples, rate, truth = acquire(trace, probe, off_s=0.05, sparks_per_s=0, seed=1)
    off, on = samples[: int(0.05 * rate)], samples[int(0.06 * rate) :]
    assert off.mean() == pytest.approx(0.18, abs=0.002)
    assert on.mean() - off.mean() == pytest.approx(1.02 * truth.mean_a(0.06, 0.15), rel=1e-3)


def test_sparks_spoil_the_extremes_but_not_the_mean(trace: Trace) -> None:
    calm = acquire(trace, sparks_per_s=0, seed=1)
    wild = acquire(trace, sparks_per_s=150, seed=1)
    assert wild.truth.sparks > 5
    assert np.ptp(wild.samples) > 1.2 * np.ptp(calm.samples)
    assert wild.samples.mean() == pytest.approx(calm.samples.mean(), rel=5e-3)


def test_worn_brushes_spark_more() -> None:
    worn = simulate(Motor(), duration_s=0.1, seed=3, faults="worn brushes")
    assert acquire(worn, seed=2).truth.sparks > 8


def test_speed_truth_follows_the_record(trace: Trace) -> None:
    late = acquire(trace, off_s=0.04)
    assert late.truth.mean_rpm(0.05, 0.13) == pytest.approx(trace.mean_rpm(0.01, 0.09), rel=1e-12)
    assert len(late.samples) == 14_000


def test_slow_sampling_keeps_values_it_meets(trace: Trace) -> None:
    """No anti-alias filter: a slow digitiser takes the current at its own instants."""
    slow = acquire(trace, QUIET, Scope(sample_rate_hz=10_000, bits=16, noise_codes=0.0), sparks_per_s=0)
    assert slow.samples == pytest.approx(trace.current_a[::10], abs=0.03)


def test_reversed_clamp_and_hum(trace: Trace) -> None:
    assert acquire(trace, Probe(reversed=True)).samples.mean() < -4
    hum = acquire(trace, QUIET, hum_a=0.3, sparks_per_s=0, off_s=0.2).samples[:20_000]
    assert np.std(hum) == pytest.approx(0.3 / np.sqrt(2), rel=0.05)


def test_same_seed_same_record(trace: Trace) -> None:
    assert np.array_equal(acquire(trace, seed=4).samples, acquire(trace, seed=4).samples)
    assert not np.array_equal(acquire(trace, seed=4).samples, acquire(trace, seed=5).samples)
