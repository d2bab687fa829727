"""How high the ripple is: peak to peak of the current averaged at equal shaft angle, and its standard error.

Every whole turn counts alike at every angle, so that sparks, lifting brushes and whatever else the wire
carries stay in as they would in a longer average. The average is kept up to the highest order that stands out
of noise. Noise raises the highest point and lowers the lowest, and rounding to codes moves both: how far on
average, and how unevenly, is seen by laying the same on the wave again (parametric bootstrap: Efron &
Tibshirani 1993, section 6.5), and is taken off.
"""

from __future__ import annotations

import numpy as np

from ingest.measuring.order_tracking import block_mean, cubic

FEWEST_A_TURN, MOST_A_TURN = 512, 2048  # samples a turn: fewer are gathered by angle, more are averaged
FEWEST_A_BIN = 6.0  # samples gathered at an angle
USABLE = 0.45  # of the sampling rate
STANDS_OUT = 3.0  # times the noise: power of an order, averaged over its neighbours
NEIGHBOURS = 0.01  # of the orders in sight
FEWEST_ORDERS = 8
DRAWS, FINE = 48, 2048
SECOND_DIFFERENCE = 1.5  # variance of x - (neighbours' mean), of white noise's
# What following the shaft and gathering by angle leave, of the height: seen on simulated captures.
METHOD_SHARE = 0.006


def ripple_height(current_a: np.ndarray, turns: np.ndarray, step_a: float) -> tuple[float, float]:
    """Peak to peak in A of current_a (n,) at rising shaft angles turns (n,), and its standard error.

    The samples span whole turns; step_a: the recorder's code, 0 if too fine to see.
    """
    whole = max(round(float(turns[-1] - turns[0])), 1)
    a_turn = len(current_a) / whole
    by_angle = _gathered if a_turn < FEWEST_A_TURN else _laid_out
    wave, spread_a = by_angle(current_a, turns, whole)
    grid = len(wave)
    rest = current_a - np.interp((turns - turns[0]) % 1 * grid, np.arange(grid), wave, period=grid)
    noise = float(np.std(rest)) if a_turn < FEWEST_A_TURN else neighbours_sd(rest)
    left = 4 * noise**2 / len(current_a)
    spectrum = np.fft.rfft(wave) * 2 / grid
    power = np.abs(spectrum) ** 2
    highest = min(USABLE * a_turn, grid / 2 - 1)
    kept = _kept(power, left, highest)
    dropped = max(float(np.sum((power - left)[1 : int(highest)][~kept[1 : int(highest)]])), 0.0) ** 0.5
    smooth = _wave(np.where(kept, spectrum, 0))
    height = float(np.ptp(smooth))
    rng = np.random.default_rng(1)
    codes = _codes(smooth, step_a, max(spread_a, noise), (np.arange(DRAWS) + 0.5) / DRAWS)
    laid_on = rng.standard_normal((DRAWS, len(spectrum), 2)) @ np.array([1, 1j]) * np.sqrt(left / 2)
    again = np.fft.rfft(codes, axis=-1)[:, : len(spectrum)] * 2 / FINE
    heights = np.ptp(_wave((again + laid_on[:, : again.shape[1]]) * kept[: again.shape[1]]), axis=-1)
    se = np.linalg.norm([heights.std(), METHOD_SHARE * height, dropped])
    return max(2 * height - float(heights.mean()), 0.0), float(se)


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


def _gathered(current_a: np.ndarray, turns: np.ndarray, whole: int) -> tuple[np.ndarray, float]:
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


def _codes(wave: np.ndarray, step_a: float, spread_a: float, offsets: np.ndarray) -> np.ndarray:
    """What an average of rounded waves (d, n) is, for levels at `offsets` (d,) of a code.

    Rounding leaves a sawtooth; what differs from turn to turn by spread_a smears it (Widrow & Kollar 2008,
    from memory: each harmonic h by exp(-2 (pi h sd / step)^2)).
    """
    if step_a <= 0:
        return np.broadcast_to(wave, (len(offsets), len(wave)))
    spread_a = max(spread_a**2 - step_a**2 / 12, 0.0) ** 0.5
    angle = 2 * np.pi * (wave / step_a + offsets[:, None])
    out = np.repeat(wave[None, :], len(offsets), axis=0)
    for harmonic in range(1, 6):
        smeared = np.exp(-2 * (np.pi * harmonic * spread_a / step_a) ** 2)
        if smeared < 1e-3:
            break
        out += step_a / np.pi * (-1) ** harmonic / harmonic * smeared * np.sin(harmonic * angle)
    return out


def _kept(power: np.ndarray, left: float, highest: float) -> np.ndarray:
    """Orders from 1 up to the last whose neighbourhood stands out of what is left, (k,)."""
    order = np.arange(len(power))
    reach = max(2, int(NEIGHBOURS * highest))
    window = np.ones(2 * reach + 1) / (2 * reach + 1)
    around = np.convolve(power, window, mode="same")
    seen = np.flatnonzero((around > STANDS_OUT * left) & (order > 0) & (order <= highest))
    last = max(int(seen.max()) if len(seen) else 1, FEWEST_ORDERS)
    return (order > 0) & (order <= min(1.15 * last + 2, highest))
