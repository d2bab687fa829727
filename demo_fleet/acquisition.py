"""What a clamp and a digitiser make of a motor's current: bandwidth, gain, zero, noise, sparks, codes, rails.

trace = simulate(Motor(), duration_s=0.3, seed=1)
samples, rate, truth = acquire(trace, Probe(zero_a=0.08), Scope(sample_rate_hz=50_000), off_s=0.05, seed=1)
truth.mean_rpm(0.1, 0.3)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter

from demo_fleet.armature import TURN, Trace


@dataclass(frozen=True)
class Probe:
    """A current clamp with a voltage output. gain_error 0.02 reads 2 % high; zero_a is its reading at 0 A."""

    mv_per_a: float = 100.0
    bandwidth_hz: float = 20_000.0
    gain_error: float = 0.0
    zero_a: float = 0.0
    noise_a: float = 0.008  # rms over the probe's bandwidth
    reversed: bool = False


@dataclass(frozen=True)
class Scope:
    """A digitiser behind the clamp: codes from -full_scale_a to +full_scale_a, and nothing beyond."""

    sample_rate_hz: float = 100_000.0
    bits: int = 12
    full_scale_a: float = 10.0
    noise_codes: float = 0.4  # rms

    @property
    def code_a(self) -> float:
        """One quantisation step, A."""
        return 2 * self.full_scale_a / 2**self.bits


@dataclass(frozen=True)
class Truth:
    """What the record should show; times in s from its first sample, currents before the clamp."""

    trace: Trace
    starts_s: float  # the trace begins here; no current flows before
    code_a: float
    sparks: int
    clipped_share: float  # of all samples

    def mean_rpm(self, from_s: float, to_s: float) -> float:
        """True mean speed over a window of the record, rev/min."""
        return self.trace.mean_rpm(from_s - self.starts_s, to_s - self.starts_s)

    def mean_a(self, from_s: float, to_s: float) -> float:
        """True mean current over a window of the record, A."""
        return self.trace.mean_a(from_s - self.starts_s, to_s - self.starts_s)


class Acquired(NamedTuple):
    """samples: (n,) in A as the clamp and digitiser report them, a whole number of codes each."""

    samples: np.ndarray
    sample_rate_hz: float
    truth: Truth


def acquire(
    trace: Trace,
    probe: Probe | None = None,
    scope: Scope | None = None,
    *,
    off_s: float = 0.0,
    sparks_per_s: float | None = None,
    spark_a: float = 1.2,
    hum_a: float = 0.0,
    hum_hz: float = 60.0,
    seed: int = 0,
) -> Acquired:
    """Record a trace. off_s: time before it with the feed off, for a zero check.

    sparks_per_s: default 4 for a sound motor up to 200 for worn brushes; spark_a is a typical height before
    the clamp's bandwidth takes most of it. hum_a: peak of the mains hum picked up by the leads.
    """
    probe, scope = probe or Probe(), scope or Scope()
    rng = np.random.default_rng((seed, 7))
    rate = trace.sample_rate_hz
    if sparks_per_s is None:
        sparks_per_s = 4 + 196 * trace.faults.brush_wear**2
    spark_times, spark_pulses = _sparks(trace, sparks_per_s, spark_a, rng)
    pad = round(off_s * rate)
    current = np.concatenate([np.zeros(pad), trace.current_a + spark_pulses])
    # A first-order clamp, started at rest on its first value.
    pole = np.exp(-TURN * probe.bandwidth_hz / rate)
    current = lfilter([1 - pole], [1, -pole], current, zi=[pole * current[0]])[0]

    n = int(len(current) / rate * scope.sample_rate_hz + 1e-9)
    if scope.sample_rate_hz != rate:
        at = np.arange(len(current)) / rate
        current = CubicSpline(at, current)(np.minimum(np.arange(n) / scope.sample_rate_hz, at[-1]))
    current = current * (1 + probe.gain_error) + probe.zero_a + probe.noise_a * rng.standard_normal(n)
    if hum_a:
        t = np.arange(n) / scope.sample_rate_hz
        current += hum_a * np.sin(TURN * hum_hz * t + rng.uniform(0, TURN))
    if probe.reversed:
        current = -current
    codes = np.round(current / scope.code_a + scope.noise_codes * rng.standard_normal(n))
    top = 2 ** (scope.bits - 1)
    clipped = np.mean((codes > top - 1) | (codes < -top))
    samples = np.clip(codes, -top, top - 1) * scope.code_a
    truth = Truth(trace, pad / rate, scope.code_a, len(spark_times), float(clipped))
    return Acquired(samples, scope.sample_rate_hz, truth)


def _sparks(
    trace: Trace, sparks_per_s: float, spark_a: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Commutation sparks: at the instant a bar leaves a brush the current dips, then overshoots a little.

    Returns their sample positions (k,) and the added current (n,). At most one a commutation.
    """
    n = len(trace.current_a)
    added = np.zeros(n)
    commutation = np.floor(trace.angle_rad * trace.motor.ripples_per_turn / TURN)
    places = np.flatnonzero(np.diff(commutation) > 0) + 1
    wanted = rng.poisson(sparks_per_s * n / trace.sample_rate_hz)
    places = np.sort(rng.choice(places, min(wanted, len(places)), replace=False))
    places = places[trace.current_a[places] > 0.2]
    t = np.arange(max(int(400e-6 * trace.sample_rate_hz), 2)) / trace.sample_rate_hz
    for place in places.tolist():
        height = spark_a * rng.lognormal(0, 0.5)
        width = rng.uniform(10e-6, 40e-6)
        pulse = height * (-np.exp(-t / width) + 0.35 * np.exp(-t / (2.5 * width)) * (t > width))
        stop = min(place + len(t), n)
        added[place:stop] += pulse[: stop - place]
    return places, added
