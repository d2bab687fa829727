"""The strongest spectral lines of a trace: what can be followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from ingest.measuring.order_tracking import WorkTrace

LOWEST_HZ = 18.0
HIGHEST_HZ = 8000.0


@dataclass(frozen=True)
class Lines:
    """Lines in falling order of power. hz, power: shape (k,); highest_hz: where content ends."""

    hz: np.ndarray
    power: np.ndarray
    highest_hz: float


def band_limited(work: WorkTrace, highest_hz: float, finer: int = 1) -> WorkTrace:
    """Drop content above highest_hz, so that coarser sampling does not fold it down.

    finer: times the sampling rate returned, so that interpolation between samples leaves no lines of its own.
    """
    n = len(work.y)
    size = fft.next_fast_len(n, real=True)
    spectrum = fft.rfft(work.y, size)
    cut = int(min(highest_hz * 1.15, work.rate_hz / 2) / work.rate_hz * size)
    taper = max(cut // 20, 2)
    spectrum[cut:] = 0
    spectrum[max(cut - taper, 0) : cut] *= np.linspace(1, 0, cut - max(cut - taper, 0))
    y = finer * fft.irfft(spectrum, finer * size)[: finer * (n - 1) + 1]
    return WorkTrace(y, finer * work.rate_hz, work.usable_hz, work.spark_mask, work.spark_rate_hz)


def find_lines(work: WorkTrace, count: int = 12) -> Lines:
    """Pick spectral peaks of the Hann-windowed trace."""
    n = len(work.y)
    size = fft.next_fast_len(2 * n, real=True)
    window = np.hanning(n)
    power = np.abs(fft.rfft(work.y * window, size)) ** 2 * (2 / window.sum()) ** 2
    hz = np.arange(len(power)) * work.rate_hz / size
    keep = (hz >= max(LOWEST_HZ, 1.5 * work.rate_hz / n)) & (hz <= min(work.usable_hz, HIGHEST_HZ))
    if not keep.any():
        nothing = np.zeros(0)
        return Lines(nothing, nothing, work.usable_hz)
    low, high = int(np.argmax(keep)), len(keep) - int(np.argmax(keep[::-1]))
    inside = power[low:high]
    # Speed wander smears a line in proportion to its order: compare power over a share of the frequency.
    width = np.maximum(3.0 * size / n, 0.004 * hz[low:high] / work.rate_hz * size).astype(int)
    total = np.concatenate([[0.0], np.cumsum(inside)])
    index = np.arange(len(inside))
    left, right = np.maximum(index - width, 0), np.minimum(index + width + 1, len(inside))
    smeared = (total[right] - total[left]) / 2.0
    found_hz, found_power = [], []
    free = np.ones(len(inside), dtype=bool)
    order = np.argsort(smeared)[::-1]
    for i in order[: 4000 if len(order) > 4000 else len(order)]:
        if not free[i]:
            continue
        span = slice(max(i - 2 * width[i], 0), i + 2 * width[i] + 1)
        local = slice(max(i - width[i], 0), i + width[i] + 1)
        weights = inside[local]
        peak = local.start + int(np.argmax(weights))
        found_hz.append(_refined_hz(power, low + peak) * work.rate_hz / size)
        found_power.append(float(smeared[i]))
        free[span] = False
        if len(found_hz) == count:
            break
    f, p = np.array(found_hz), np.array(found_power)
    strong = f[p >= 0.003 * p[0]]
    highest = float(np.clip(1.35 * strong.max(), 2500.0, max(4500.0, 1.2 * f[0])))
    return Lines(f, p, min(highest, work.usable_hz))


def _refined_hz(power: np.ndarray, i: int) -> float:
    """Parabola through three log powers around a peak (in bins)."""
    if i < 1 or i + 1 >= len(power):
        return float(i)
    a, b, c = np.log(power[i - 1 : i + 2] + 1e-300)
    bend = a - 2 * b + c
    return float(i + (np.clip(0.5 * (a - c) / bend, -0.5, 0.5) if bend < 0 else 0.0))
