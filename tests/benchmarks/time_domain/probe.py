"""From the wire's current to samples: a clamp, and the recorder behind it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter


@dataclass(frozen=True)
class Probe:
    """A clamp and the recorder behind it."""

    bandwidth_hz: float
    gain: float
    offset_a: float
    core_share: float  # share of the field that runs through the core's hysteresis
    core_a: float  # half width of its play
    noise_a: float  # white, per sample, sd
    slow_noise_a: float  # drifts over tenths of a second, sd
    step_a: float  # quantisation
    sample_rate_hz: float
    averaging: bool  # the recorder averages between samples instead of picking one


def draw_probe(rng: np.random.Generator, high_a: float, sample_rate_hz: float) -> Probe:
    """A clamp of the trade, 5–100 kHz, on a recorder of 8 to 14 bits with `high_a` well on its screen."""
    full_a = high_a * rng.uniform(1.3, 4.0)
    bits = int(rng.choice([8, 10, 12, 14], p=[0.25, 0.15, 0.4, 0.2]))
    return Probe(
        bandwidth_hz=float(np.exp(rng.uniform(np.log(5e3), np.log(1e5)))),
        gain=1 + 0.01 * rng.standard_normal(),
        offset_a=0.0 if rng.random() < 0.5 else 0.03 * rng.standard_normal(),
        core_share=rng.uniform(0.0, 0.01),
        core_a=rng.uniform(0.3, 3.0),
        noise_a=float(np.exp(rng.uniform(np.log(0.003), np.log(0.04)))),
        slow_noise_a=rng.uniform(0.0, 0.003),
        step_a=2 * full_a / 2**bits,
        sample_rate_hz=sample_rate_hz,
        averaging=bool(rng.random() < 0.15),
    )


def through_core(current_a: NDArray, share: NDArray, play_a: NDArray) -> NDArray:
    """What hysteresis leaves of currents (steps, n): play of half width `play_a` in `share` of the field."""
    held = np.zeros(current_a.shape[1])
    out = np.empty_like(current_a)
    for now, kept in zip(current_a, out, strict=True):
        held = np.minimum(np.maximum(held, now - play_a), now + play_a)
        kept[:] = now + share * (held - now)
    return out


def in_band(current_a: NDArray, probe: Probe, step_s: float) -> NDArray:
    """Gain, and a second-order low pass (Q 0.6) at the clamp's bandwidth, bilinear on the grid."""
    corner = np.tan(np.pi * min(probe.bandwidth_hz * step_s, 0.45))
    damp = corner / 0.6
    norm = 1 / (1 + damp + corner**2)
    b = corner**2 * norm * np.array([1.0, 2.0, 1.0])
    a = np.array([1.0, 2 * (corner**2 - 1) * norm, (1 - damp + corner**2) * norm])
    level = float(current_a[0])
    return probe.gain * (level + lfilter(b, a, current_a - level))


def sampled(
    rng: np.random.Generator, seen_a: NDArray, probe: Probe, step_s: float, start_s: float
) -> NDArray:
    """Samples of the clamp's noise-free output, which lies on the grid from `start_s` on (record from 0)."""
    end_s = start_s + seen_a.size * step_s
    count = int(end_s * probe.sample_rate_hz)
    time = np.arange(count) / probe.sample_rate_hz
    if probe.averaging:
        total = np.concatenate([[0.0], np.cumsum(seen_a, dtype=float)])
        edge = (np.append(time, count / probe.sample_rate_hz) - start_s) / step_s
        clean = np.diff(np.interp(edge, np.arange(total.size), total)) / np.diff(edge)
    else:
        clean = np.interp((time - start_s) / step_s - 0.5, np.arange(seen_a.size), seen_a)
    drift = np.cumsum(rng.standard_normal(count // 64 + 2)) * np.sqrt(64 / probe.sample_rate_hz / 0.2)
    drift = probe.slow_noise_a * np.interp(np.arange(count) / 64, np.arange(drift.size), drift)
    noisy = clean + drift + probe.noise_a * rng.standard_normal(count) + probe.offset_a
    return np.round(noisy / probe.step_a) * probe.step_a
