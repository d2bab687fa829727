"""Distance left: the 10, 50 and 90 % points of the forecast survival."""

from __future__ import annotations

import numpy as np

from analytics.wear_model.failure_risk import Known, RiskModel

CHANCES = (0.1, 0.5, 0.9)
FURTHEST_KM = 1_500e3


def distance_left(
    model: RiskModel, known: Known, d_0: np.ndarray, chances: tuple[float, ...] = CHANCES
) -> np.ndarray:
    """Return (n, chances): distances by which the pump has failed with these chances.

    -ln S is looked up on a grid of 36 distances, fine near zero, and once more where a straight line between
    two of them meets the chance; from there a straight line to the nearer side is close.
    """
    grid = np.linspace(0.0, 1.0, 36) ** 3 * FURTHEST_KM
    n = len(d_0)
    base = model.log_survival(known, d_0).total
    targets = -np.log1p(-np.array(chances))
    # Distances and -ln S on either side of each chance; where it is never reached, both are the furthest.
    low, high = np.full((n, len(chances)), FURTHEST_KM), np.full((n, len(chances)), FURTHEST_KM)
    at_low, at_high = np.tile(targets, (n, 1)), np.tile(targets, (n, 1))
    before = np.zeros(n)
    rows, here = np.arange(n), known
    for j in range(1, len(grid)):
        now = np.maximum(
            model.log_survival(here, d_0[rows] + grid[j]).total - base[rows],
            before[rows],
        )
        for c, target in enumerate(targets):
            crosses = (before[rows] < target) & (now >= target)
            who = rows[crosses]
            low[who, c], high[who, c] = grid[j - 1], grid[j]
            at_low[who, c], at_high[who, c] = before[who], now[crosses]
        before[rows] = now
        still = now < targets.max()
        if not still.any():
            break
        if still.mean() < 0.8:  # copying all states for a few pumps less costs more than it saves
            rows, here = rows[still], here.take(np.flatnonzero(still))
    for c, target in enumerate(targets):
        x = _meets(target, low[:, c], high[:, c], at_low[:, c], at_high[:, c])
        at_x = np.clip(model.log_survival(known, d_0 + x).total - base, at_low[:, c], at_high[:, c])
        short = at_x < target
        low[:, c], at_low[:, c] = np.where(short, x, low[:, c]), np.where(short, at_x, at_low[:, c])
        high[:, c], at_high[:, c] = np.where(short, high[:, c], x), np.where(short, at_high[:, c], at_x)
    return _meets(targets, low, high, at_low, at_high)


def _meets(
    target: np.ndarray, low: np.ndarray, high: np.ndarray, at_low: np.ndarray, at_high: np.ndarray
) -> np.ndarray:
    """Return where the straight line from (low, at_low) to (high, at_high) meets `target`."""
    part = (target - at_low) / np.maximum(at_high - at_low, 1e-12)
    return low + np.clip(part, 0.0, 1.0) * (high - low)
