"""Order tracking: follow one spectral line, and sample the trace by that line's angle instead of by time.

Against line angle every shaft order stands still, however the speed wanders. (Order tracking as in rotating
machinery analysis; see docs/metrics_and_formulas.md.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy import fft
from scipy.interpolate import CubicSpline
from scipy.signal import firwin, upfirdn

from ingest.measuring.phase_smoothing import smooth_phase
from ingest.measuring.sparks import SPARK_RATE_HZ, without_sparks

WORK_RATE_HZ = 25_000.0
# A line is followed by its phase in blocks: long ones lift it out of noise, short ones follow a speed that
# wanders fast. The shorter is taken where it gathers the line better.
TRACK_BLOCKS_S = (0.06, 0.03, 0.02, 0.014, 0.01)
FEWEST_CYCLES = 6.0  # of the line in a block
GATHERS_BETTER = 1.02
MOST_KNOTS = 120
SHORTEST_TRACK_S = 0.06  # below this the speed is taken as constant to first order


@dataclass(frozen=True)
class WorkTrace:
    """The running part made ready for spectra: sparks replaced, slow trend removed, 25 to 50 kS/s or so.

    y: shape (n,), A, zero mean; rate_hz; usable_hz: highest frequency the original sampling holds.
    spark_mask: shape of the trace at spark_rate_hz. pairs: of poles, for each of which a turn looked for
    stands.
    """

    y: np.ndarray
    rate_hz: float
    usable_hz: float
    spark_mask: np.ndarray
    spark_rate_hz: float
    pairs: int = 1


@dataclass(frozen=True)
class AngleTrace:
    """The trace by line angle: `per_cycle` samples for each of `cycles` whole line cycles."""

    y: np.ndarray
    per_cycle: int
    cycles: int
    line_hz: float  # mean frequency of the line over the trace
    phase_time_s: np.ndarray  # knots of the line's phase, cycles
    phase_cycles: np.ndarray


def block_mean(x: np.ndarray, size: int) -> np.ndarray:
    """Means of consecutive blocks of `size` samples; a shorter rest is dropped."""
    if size <= 1:
        return x
    return x[: len(x) // size * size].reshape(-1, size).mean(axis=1)


def prepare(current_a: np.ndarray, sample_rate_hz: float) -> WorkTrace:
    """Remove sparks and bring the running part, shape (n,), to the working rate."""
    first = max(int(sample_rate_hz / SPARK_RATE_HZ), 1)
    x = block_mean(current_a, first)
    rate = sample_rate_hz / first
    clean, mask = without_sparks(x)
    spark_rate = rate
    down = int(rate / WORK_RATE_HZ)
    if down >= 2:
        taps = firwin(8 * down + 1, 0.85 / down)
        padded = np.pad(clean, 4 * down, mode="edge")
        y = upfirdn(taps, padded, 1, down)[8:-8]
        rate /= down
        y, _ = without_sparks(y)
    else:
        up = ceil(WORK_RATE_HZ / rate)
        y = clean
        if up > 1:
            y = upsample(y, up)
            rate *= up
    return WorkTrace(_detrended(y, rate), rate, 0.42 * min(sample_rate_hz, rate), mask, spark_rate)


def upsample(x: np.ndarray, up: int) -> np.ndarray:
    """Band-limited interpolation by `up`, the straight line through both ends taken out meanwhile."""
    n = len(x)
    line = np.linspace(x[0], x[-1], n)
    size = fft.next_fast_len(2 * n, real=True)
    # Odd extension keeps value and slope continuous at both ends.
    padded = np.zeros(size)
    padded[:n] = x - line
    padded[size - n + 1 :] = -(x - line)[:0:-1]
    spectrum = fft.rfft(padded)
    wide = fft.irfft(spectrum, size * up)[: (n - 1) * up + 1] * up
    return wide + np.interp(np.arange((n - 1) * up + 1) / up, np.arange(n), line)


def _detrended(y: np.ndarray, rate_hz: float) -> np.ndarray:
    """Remove mean and slow trend: a smooth curve through means of about 60 ms."""
    n = len(y)
    blocks = int(np.clip(n / rate_hz / 0.06, 1, 400))
    if blocks < 4:
        t = np.linspace(-1, 1, n)
        return y - np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyfit(t, y, min(blocks, 1)))
    edges = np.linspace(0, n, blocks + 1).astype(int)
    means = np.add.reduceat(y, edges[:-1]) / np.diff(edges)
    middles = (edges[1:] + edges[:-1] - 1) / 2
    rest = y - np.interp(np.arange(n), middles, means)
    return rest - rest.mean()


def line_phasors(
    y: np.ndarray, rate_hz: float, line_hz: float, block_s: float = TRACK_BLOCKS_S[0]
) -> tuple[np.ndarray, np.ndarray]:
    """Amplitude and phase of a line in overlapping Hann blocks: block times (b,), complex phasors (b,)."""
    n = len(y)
    size = int(min(block_s * rate_hz, n / 2.5))
    hop = max(size // 4, 1)
    starts = np.arange(0, n - size + 1, hop)
    starts = np.append(starts, n - size) if starts[-1] < n - size else starts
    window = np.hanning(size) * np.exp(-2j * np.pi * line_hz / rate_hz * np.arange(size))
    window /= np.hanning(size).sum() / 2
    frames = np.lib.stride_tricks.sliding_window_view(y, size)[starts]
    z = frames @ window * np.exp(-2j * np.pi * line_hz / rate_hz * starts)
    return (starts + size / 2) / rate_hz, z


def follow_line(y: np.ndarray, rate_hz: float, line_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Return knots of the line's phase: times (k,) from 0 to the end, cycles (k,) increasing."""
    duration = len(y) / rate_hz
    if duration < SHORTEST_TRACK_S:
        ends = np.array([0.0, duration])
        return ends, ends * line_hz
    windowed = y * np.hanning(len(y))
    best = _followed(y, rate_hz, line_hz, TRACK_BLOCKS_S[0])
    gathered = _gathered(windowed, rate_hz, *best)
    if GATHERS_BETTER * gathered > _most_gathered(y, rate_hz, line_hz):
        return best
    for block_s in TRACK_BLOCKS_S[1:]:
        if block_s * line_hz < FEWEST_CYCLES:
            break
        knots = _followed(y, rate_hz, line_hz, block_s)
        power = _gathered(windowed, rate_hz, *knots)
        if power > GATHERS_BETTER * gathered:
            best, gathered = knots, power
    return best


def _followed(y: np.ndarray, rate_hz: float, line_hz: float, block_s: float) -> tuple[np.ndarray, np.ndarray]:
    time, z = line_phasors(y, rate_hz, line_hz, block_s)
    phase = np.unwrap(np.angle(z)) / (2 * np.pi)
    strength = np.abs(z) ** 2
    variance = 1e-4 * np.mean(strength) / np.maximum(strength, 1e-3 * np.mean(strength))
    wanted = np.concatenate([[0.0], time, [len(y) / rate_hz]])
    step = max(len(time) // MOST_KNOTS, 1)
    smooth = smooth_phase(time[::step], phase[::step], variance[::step], wanted, noise_known_within=3.0)
    cycles = line_hz * wanted + smooth.phase
    if np.any(np.diff(cycles) <= 0):  # noise: a line that can be followed does not turn back
        return wanted, line_hz * wanted
    return wanted, cycles


def _gathered(windowed: np.ndarray, rate_hz: float, time_s: np.ndarray, cycles: np.ndarray) -> float:
    """Power of a windowed trace (n,) at the phase given by knots: the more, the better it was followed."""
    phase = _spline(time_s, cycles)(np.arange(len(windowed)) / rate_hz)
    return float(np.abs(np.mean(windowed * np.exp(-2j * np.pi * phase))) ** 2)


def _most_gathered(y: np.ndarray, rate_hz: float, line_hz: float) -> float:
    """What no phase gathers more than: the line's amplitude in the shortest blocks, all turned alike."""
    time, z = line_phasors(y, rate_hz, line_hz, max(TRACK_BLOCKS_S[-1], FEWEST_CYCLES / line_hz))
    at = np.linspace(0.0, 1.0, 8 * len(time))
    amplitude = np.interp(at, time * rate_hz / len(y), np.abs(z))
    return float(np.mean(0.5 * (1 - np.cos(2 * np.pi * at)) * amplitude) / 2) ** 2


def _spline(time_s: np.ndarray, cycles: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Curve through knots, straight where they are few."""
    if len(time_s) > 3:
        curve: Callable[[np.ndarray], np.ndarray] = CubicSpline(time_s, cycles)
        return curve
    return lambda at: np.interp(at, time_s, cycles)


def by_angle(
    y: np.ndarray, rate_hz: float, time_s: np.ndarray, cycles: np.ndarray, per_cycle: int
) -> tuple[np.ndarray, int]:
    """Resample y (n,) at equal steps of a phase given by knots: (whole cycles x per_cycle,), whole cycles."""
    fine_t = np.linspace(time_s[0], time_s[-1], 8 * len(time_s))
    fine_c = np.maximum.accumulate(_spline(time_s, cycles)(fine_t))
    whole = int(fine_c[-1] - fine_c[0])
    grid = fine_c[0] + np.arange(whole * per_cycle) / per_cycle
    at = np.interp(grid, fine_c, fine_t) * rate_hz
    return cubic(y, at), whole


def cubic(y: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Four-point Lagrange interpolation of y at fractional indices."""
    i = np.clip(at.astype(int), 1, len(y) - 3)
    f = at - i
    a, b, c, d = y[i - 1], y[i], y[i + 1], y[i + 2]
    return (
        -f * (f - 1) * (f - 2) / 6 * a
        + (f + 1) * (f - 1) * (f - 2) / 2 * b
        - (f + 1) * f * (f - 2) / 2 * c
        + (f + 1) * f * (f - 1) / 6 * d
    )


def retraced(work: WorkTrace, highest_hz: float, time_s: np.ndarray, cycles: np.ndarray) -> AngleTrace:
    """Resample by a line's phase known at knots (k,).

    work: without content above highest_hz, or it is folded down.
    """
    mean_hz = float((cycles[-1] - cycles[0]) / (time_s[-1] - time_s[0]))
    per_cycle = max(ceil(2.6 * highest_hz / mean_hz), 4)
    y, whole = by_angle(work.y, work.rate_hz, time_s, cycles, per_cycle)
    return AngleTrace(y, per_cycle, whole, mean_hz, time_s, cycles)
