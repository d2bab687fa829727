"""How high the ripple is: peak to peak of the current averaged at equal shaft angle, and its standard error.

Every whole turn counts alike at every angle, so that sparks, lifting brushes and whatever else the wire
carries stay in as they would in a longer average. Noise raises the highest point and lowers the lowest, and
what keeps it out of high orders dulls both: how far on average, and how unevenly, is seen by laying noise of
the same size on the wave again (parametric bootstrap: Efron & Tibshirani 1993, section 6.5, from memory), and
is taken off.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ingest.accuracy import rounding_se_a
from ingest.measuring.order_tracking import block_mean, cubic

FEWEST_A_TURN, MOST_A_TURN = 512, 2048  # samples a turn: fewer are gathered by angle, more are averaged
FEWEST_A_BIN = 6.0  # samples gathered at an angle
USABLE = 0.45  # of the sampling rate
NOISE_TAKEN_OFF = 4.0  # times an order's noise: power of the order
DRAWS, FINE = 48, 2048
SECOND_DIFFERENCE = 1.5  # variance of x - (neighbours' mean), of white noise's
# What following the shaft and averaging leave, of the height, and of how far an average of unlike turns may
# be off: seen on simulated captures.
METHOD_SHARE, UNLIKE_SHARE = 0.003, 0.17
# The sharpest edges lie beyond the sampling: of what the upper quarter of the orders in sight adds to the
# height, so much over the samples a ripple is out of sight on average; give or take shares of what is put
# back of edges dulled and of those out of sight (all seen on simulated captures).
UPPER_FROM, BEYOND, MOST_BEYOND = 0.75, 17.0, 2.3
DULLED_SE, BEYOND_SE = 0.1, 0.5
CODES_SHARE = 0.8  # of the rounding of two single points: the wave's ends are broader, and turns differ
NOISE_SE = 2.1  # times the scatter under noise: which point is the highest hangs on it, so that it tilts, too


def ripple_height(
    current_a: np.ndarray, turns: np.ndarray, step_a: float, ripples: int | None = None
) -> tuple[float, float]:
    """Peak to peak in A of current_a (n,) at rising shaft angles turns (n,), and its standard error.

    The samples span whole turns; step_a: the recorder's code, 0 if too fine to see. ripples: a turn, the
    strongest order if not known.
    """
    whole = max(round(float(turns[-1] - turns[0])), 1)
    a_turn = len(current_a) / whole
    slow = a_turn < FEWEST_A_TURN
    wave, spread_a = _gathered(current_a, turns) if slow else _laid_out(current_a, turns, whole)
    grid = len(wave)
    rest = current_a - np.interp((turns - turns[0]) % 1 * grid, np.arange(grid), wave, period=grid)
    noise = float(np.std(rest)) if slow else neighbours_sd(rest)
    left = 4 * noise**2 / len(current_a)
    spectrum = np.fft.rfft(wave) * 2 / grid
    highest = min(USABLE * a_turn, grid / 2 - 1)
    wave_kept = _shrunk(spectrum, left, highest)
    height = float(np.ptp(_wave(wave_kept)))
    again = _shrunk(wave_kept + _noise_of(grid // 2 + 1) * np.sqrt(left / 2), left, highest)
    heights = np.ptp(_wave(again), axis=-1)
    upper = max(height - float(np.ptp(_wave(_shrunk(spectrum, left, UPPER_FROM * highest)))), 0.0)
    ripples = ripples or max(int(np.argmax(np.abs(wave_kept))), 1)
    beyond = min(BEYOND * ripples / a_turn, MOST_BEYOND) * upper
    dulled = height - float(heights.mean())
    codes = CODES_SHARE * np.sqrt(2) * rounding_se_a(step_a, max(spread_a, noise), np.zeros(1))
    left_by_method = np.hypot(METHOD_SHARE * height, UNLIKE_SHARE * spread_a / whole**0.5)
    put_back = np.hypot(DULLED_SE * dulled, BEYOND_SE * beyond)
    se = np.linalg.norm([NOISE_SE * heights.std(), left_by_method, put_back, codes])
    return max(height + dulled + beyond, 0.0), float(se)


@lru_cache(maxsize=16)
def _noise_of(orders: int) -> np.ndarray:
    """Draws of complex noise, of variance 2, the same for every record; (DRAWS, orders)."""
    drawn = np.random.default_rng(1).standard_normal((DRAWS, orders, 2)) @ np.array([1, 1j])
    drawn.flags.writeable = False
    return drawn


def _shrunk(spectrum: np.ndarray, left: float, highest: float) -> np.ndarray:
    """Orders of the spectrum (..., k) less what noise could explain, tapered towards the highest.

    The taper (Lanczos' sigma factors) keeps the cut from ringing beside sharp edges.
    """
    order = np.arange(spectrum.shape[-1])
    share = np.maximum(1 - NOISE_TAKEN_OFF * left / np.maximum(np.abs(spectrum) ** 2, 1e-300), 0.0)
    return np.asarray(spectrum * share * np.sinc(order / highest) * ((order > 0) & (order <= highest)))


def _wave(spectrum: np.ndarray) -> np.ndarray:
    return np.asarray(np.fft.irfft(spectrum * (FINE / 2), FINE, axis=-1))


def _laid_out(current_a: np.ndarray, turns: np.ndarray, whole: int) -> tuple[np.ndarray, float]:
    """Average of the turns interpolated at equal angles (grid,), and how a turn scatters about it."""
    size = max(int(len(current_a) / whole / MOST_A_TURN), 1)
    x, angle = block_mean(current_a, size), block_mean(turns, size)
    grid = int(2 ** np.ceil(np.log2(min(len(x) / whole, MOST_A_TURN))))
    place = turns[0] + np.arange(whole * grid) / grid
    by_turn = cubic(x, np.interp(place, angle, np.arange(len(angle)))).reshape(whole, grid)
    wave = by_turn.mean(axis=0)
    return wave, float(np.std(by_turn - wave))


def _gathered(current_a: np.ndarray, turns: np.ndarray) -> tuple[np.ndarray, float]:
    """Means of what was sampled near each angle (grid,), the blur of that undone, and the scatter about it.

    Turns of a slow record are sampled at different angles, and together show what lies between samples.
    """
    grid = int(2 ** np.clip(np.floor(np.log2(len(current_a) / FEWEST_A_BIN)), 5, 10))
    index = ((turns - turns[0]) * grid).astype(int) % grid
    count = np.bincount(index, minlength=grid)
    mean = np.bincount(index, weights=current_a, minlength=grid) / np.maximum(count, 1)
    known = np.flatnonzero(count)
    mean = np.interp(np.arange(grid), known, mean[known], period=grid)
    order = np.arange(grid // 2 + 1)
    spectrum = np.fft.rfft(mean) * np.exp(-1j * np.pi * order / grid) / np.sinc(order / grid)
    return np.fft.irfft(spectrum, grid), float(np.std(current_a - mean[index]))


def neighbours_sd(rest: np.ndarray) -> float:
    """Standard deviation of what neighbouring samples of rest (n,) don't share."""
    apart = rest[1:-1] - (rest[2:] + rest[:-2]) / 2
    return float(np.sqrt(np.mean(apart**2) / SECOND_DIFFERENCE))
