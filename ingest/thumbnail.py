"""A trace in few points, for a small picture."""

from __future__ import annotations

import numpy as np

POINTS = 48


def thumbnail(current_a: np.ndarray, points: int = POINTS) -> tuple[float, ...]:
    """Return the trace as so many values, A: in turn the lowest and the highest of each stretch."""
    if len(current_a) <= points:
        return tuple(round(float(a), 3) for a in current_a)
    edges = np.linspace(0, len(current_a), points // 2 + 1).astype(int)[:-1]
    low, high = np.minimum.reduceat(current_a, edges), np.maximum.reduceat(current_a, edges)
    return tuple(round(float(a), 3) for pair in zip(low, high, strict=True) for a in pair)
