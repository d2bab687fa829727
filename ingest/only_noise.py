"""Whether a record holds noise alone: a clamp on a wire that carries nothing."""

from __future__ import annotations

import numpy as np

MOST_SD_A = 0.05  # a pump's ripple is 0.2 A and more from peak to peak, 0.07 A of standard deviation
JUDGED = 1 << 16  # samples at most
BLOCKS, FEWEST_A_BLOCK, SLOW_BINS = 32, 16, 4  # of the spectrum, each with a floor of its own
LINE = 40.0  # times the floor's median: of noise alone one bin in 10^12 is higher


def is_only_noise(current_a: np.ndarray) -> bool:
    """Tell whether the finite samples (n,) are no more than a clamp's noise about a level: small, no line."""
    x = current_a[np.isfinite(current_a)][-JUDGED:]
    if len(x) < 4 * FEWEST_A_BLOCK or float(x.std()) >= MOST_SD_A:
        return False
    power = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(len(x))))[SLOW_BINS:] ** 2
    blocks = np.array_split(power, max(min(BLOCKS, len(power) // FEWEST_A_BLOCK), 1))
    return all(float(block.max()) <= LINE * float(np.median(block)) for block in blocks)
