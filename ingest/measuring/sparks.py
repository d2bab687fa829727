"""Commutation sparks and switching spikes: isolated samples far from their neighbours."""

from __future__ import annotations

import numpy as np

FAR = 7.0  # robust standard deviations
SPARK_RATE_HZ = 100_000.0  # sparks last tens of microseconds: seen at about this rate


def median_of_five(x: np.ndarray) -> np.ndarray:
    """Running median over five samples, shape (n,); the two samples at each end are kept."""
    if len(x) < 5:
        return x.copy()
    a, b, c, d, e = x[:-4], x[1:-3], x[2:-2], x[3:-1], x[4:]
    # Sorting network: drop the least and the greatest twice, keep the middle.
    low, high = np.minimum(a, b), np.maximum(a, b)
    low2, high2 = np.minimum(d, e), np.maximum(d, e)
    f, g = np.maximum(low, low2), np.minimum(high, high2)
    middle = np.maximum(np.minimum(f, g), np.minimum(np.maximum(f, g), c))
    out = x.copy()
    out[2:-2] = middle
    return out


def without_sparks(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Replace isolated far samples by the local median; returns the trace (n,) and their mask (n,)."""
    smooth = median_of_five(x)
    away = np.abs(x - smooth)
    sample = away[:: max(len(away) // 20_000, 1)]
    ordinary = sample[sample > 0]
    # Most samples are their own local median: scale from those that are not, and from the common step.
    scale = float(np.quantile(ordinary, 0.75)) if len(ordinary) > 20 else 0.0
    mask = away > FAR * scale if scale > 0 else np.zeros(len(x), dtype=bool)
    if not mask.any():
        return x, mask
    return np.where(mask, smooth, x), mask


def count_events(mask: np.ndarray, gap: int) -> int:
    """Count runs of marked samples; marks closer than `gap` samples belong to one event."""
    at = np.flatnonzero(mask)
    return 0 if not len(at) else int(1 + np.count_nonzero(np.diff(at) > gap))
