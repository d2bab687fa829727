"""Brushes that lift: the current falls at once and comes back as the winding lets it, drowning the ripple.

A lift is a short loss of volts, V = R i + L di/dt: short only in the volts, while the current remembers it
for L/R. So the current is turned into something that goes as the volts do, x' + x / T with T = L/R read off
how it comes back on average; what stands out there is cut to size, and the result turned back into a current.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from ingest.measuring.order_tracking import block_mean

WORKED_AT_HZ = 40_000.0
FAR = 6.0  # robust standard deviations by which a fall from sample to sample is a lift's
CUT = 3.5  # to which the volts are cut, of theirs
APART_S = 300e-6
FEWEST = 6
COMES_BACK_S, AT_LOWEST_S = 4e-3, 1e-3
SHORTEST_S, LONGEST_S = 2e-4, 5e-3  # of T


def without_lifts(current_a: np.ndarray, rate_hz: float) -> tuple[np.ndarray, float] | None:
    """Return the current (n,) at a lower rate without lifts, and that rate; None where there are few."""
    size = max(round(rate_hz / WORKED_AT_HZ), 1)
    x = block_mean(current_a, size)
    rate = rate_hz / size
    middle = float(np.median(x))
    x = x - middle
    step = np.diff(x)
    falls = np.flatnonzero(step < -FAR * _spread(step))
    first = falls[np.diff(falls, prepend=-len(x)) > APART_S * rate]
    reach = int((COMES_BACK_S + AT_LOWEST_S) * rate) + 1
    first = first[first < len(x) - reach]
    if len(first) < FEWEST:
        return None
    after = np.mean([x[k : k + reach] for k in first], axis=0) - x.mean()
    lowest = int(np.argmin(after[: int(AT_LOWEST_S * rate) + 1]))
    back = after[lowest : lowest + int(COMES_BACK_S * rate)]
    if back[0] >= 0:
        return None
    kept = 1 - 1 / (rate * float(np.clip(back.sum() / back[0] / rate, SHORTEST_S, LONGEST_S)))
    volts = x[1:] - kept * x[:-1]
    usual, most = np.median(volts), CUT * _spread(volts)
    cut = np.clip(volts, usual - most, usual + most)
    return lfilter([1.0], [1.0, -kept], cut - cut.mean()) + middle, rate


def _spread(x: np.ndarray) -> float:
    return max(1.4826 * float(np.median(np.abs(x - np.median(x)))), 1e-12)
