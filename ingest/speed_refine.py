"""From a good guess to the best speed: fit the turn's wave and the shaft's phase together.

Gauss-Newton in two alternating linear steps. With phase theta(t) given, the wave w(theta) is the average over
turns. With w given, each block's phase error is sum(r w') / sum(w'^2), r the residual, with variance
s^2 / sum(w'^2); block errors go through `smooth_phase`, whose speed wander is estimated, not assumed. At
constant speed this is the maximum-likelihood estimate of a harmonic sum in white noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from ingest.phase_smoothing import SmoothPhase, smooth_phase

ROUNDS = 4
MOST_BLOCKS = 64


@dataclass(frozen=True)
class TurnPhase:
    """Shaft phase in turns at knots (k,), mean speed over the knots' span and its standard error, turns/s."""

    time_s: np.ndarray
    turns: np.ndarray
    turn_hz: float
    turn_hz_se: float
    steadiness_pct: float
    wave: np.ndarray

    def at(self, time_s: np.ndarray) -> np.ndarray:
        """Phase in turns at times (n,), cubic between knots."""
        if len(self.time_s) < 4:
            return np.interp(time_s, self.time_s, self.turns)
        fine = np.linspace(self.time_s[0], self.time_s[-1], 8 * len(self.time_s))
        return np.interp(time_s, fine, CubicSpline(self.time_s, self.turns)(fine))


def refine(
    y: np.ndarray,
    rate_hz: float,
    time_s: np.ndarray,
    turns: np.ndarray,
    highest_order: int,
    oversampled: float = 1.0,
) -> TurnPhase:
    """Improve the phase given by knots (turns at time_s) from the work trace y (n,).

    oversampled: samples of y per independent sample of the record (1 when y was not interpolated).
    """
    n = len(y)
    t = np.arange(n) / rate_hz
    total = turns[-1] - turns[0]
    per_turn = 2 if total < 12 else 1
    blocks = int(np.clip(total * per_turn, 3, MOST_BLOCKS))
    guess = TurnPhase(time_s, turns, total / (time_s[-1] - time_s[0]), 0.0, 0.0, np.zeros(1))
    phase = guess.at(t)
    line = turns[0] + total / (time_s[-1] - time_s[0]) * (t - time_s[0])
    smooth: SmoothPhase | None = None
    wave = np.zeros(1)
    for _ in range(ROUNDS):
        wave, slope, residual, noise = _wave(y, phase, highest_order)
        marks = np.searchsorted(phase, phase[0] + total * np.arange(1, blocks) / blocks)
        starts = np.unique(np.concatenate([[0], np.clip(marks, 1, n - 1)]))
        count = np.diff(np.append(starts, n))
        gain = np.maximum(np.add.reduceat(slope * slope, starts), 1e-30)
        lag = np.add.reduceat(residual * slope, starts) / gain
        middle = np.add.reduceat(t, starts) / count
        # Smooth the whole departure from a straight line, not the last correction: the wander's size, and
        # with it the honest error, shows only in the whole.
        departure = np.add.reduceat(phase - line, starts) / count + lag
        variance = oversampled * noise**2 / gain
        wanted = np.concatenate([[0.0], middle, [t[-1]]])
        smooth = smooth_phase(middle, departure, variance, wanted, noise_known_within=0.35)
        curve = (
            CubicSpline(wanted, smooth.phase)(t) if len(wanted) > 5 else np.interp(t, wanted, smooth.phase)
        )
        change = line + curve - phase
        phase = phase + change
        if np.max(np.abs(change)) < 0.05 * np.sqrt(np.min(variance)):
            break
    assert smooth is not None
    knots = np.concatenate([[0.0], middle, [t[-1]]])
    at_knots = np.interp(knots, t, phase)
    speed = np.diff(at_knots) / np.diff(knots)
    mean = float((at_knots[-1] - at_knots[0]) / (knots[-1] - knots[0]))
    return TurnPhase(knots, at_knots, mean, smooth.slope_se, float(100 * np.std(speed) / mean), wave)


def _wave(
    y: np.ndarray, phase: np.ndarray, highest_order: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """Average over turns of orders that stand out: wave, slope at samples, residual, noise sd."""
    bins = int(2 ** np.ceil(np.log2(max(4 * highest_order, 64))))
    place = (phase - np.floor(phase)) * bins
    index = np.minimum(place.astype(int), bins - 1)
    count = np.bincount(index, minlength=bins)
    mean = np.bincount(index, weights=y, minlength=bins) / np.maximum(count, 1)
    if (count == 0).any():
        known = np.flatnonzero(count)
        mean = np.interp(np.arange(bins), known, mean[known], period=bins)
    spectrum = np.fft.rfft(mean)
    orders = np.arange(len(spectrum))
    keep = (orders <= highest_order) & (orders > 0)
    rough = np.fft.irfft(np.where(keep, spectrum, 0), bins)
    noise_power = np.var(y - rough[index]) * bins / len(y) * bins
    power = np.abs(spectrum) ** 2
    shrink = np.where(keep, np.maximum(1 - 2 * noise_power / np.maximum(power, 1e-30), 0), 0)
    # Bin means blur the wave by the bin's width: undo it.
    unblur = 1 / np.sinc(orders / bins)
    half = np.exp(-1j * np.pi * orders / bins)
    spectrum = spectrum * shrink * unblur * half
    fine = 4 * bins
    wave = np.fft.irfft(spectrum, fine) * 4
    slope = np.fft.irfft(spectrum * 2j * np.pi * orders, fine) * 4
    spot = place * 4
    low = spot.astype(int) % fine
    part = spot - np.floor(spot)
    high = (low + 1) % fine
    fit = wave[low] * (1 - part) + wave[high] * part
    steep = slope[low] * (1 - part) + slope[high] * part
    residual = y - fit
    noise = float(1.4826 * np.median(np.abs(residual)))
    noise = max(noise, 1e-9)
    residual = np.clip(residual, -4 * noise, 4 * noise)
    return wave, steep, residual, noise
