"""Distance left: the 10, 50 and 90 % points of the forecast survival."""

from __future__ import annotations

import numpy as np

from analytics.failure_risk import Known, RiskModel

CHANCES = (0.1, 0.5, 0.9)
FURTHEST_KM = 1_500e3


def distance_left(
    model: RiskModel, known: Known, d_0: np.ndarray, chances: tuple[float, ...] = CHANCES
) -> np.ndarray:
    """Return (n, chances): distances by which the pump has failed with these chances, by interpolation of
    ln S.

    On a grid of 36 distances, fine near zero; -ln S is close to straight between its points.
    """
    grid = np.linspace(0.0, 1.0, 36) ** 3 * FURTHEST_KM
    n = len(d_0)
    base = model.log_survival(known, d_0).total
    targets = -np.log1p(-np.array(chances))
    out = np.full((n, len(chances)), FURTHEST_KM)
    before = np.zeros(n)
    rows, here = np.arange(n), known
    for j in range(1, len(grid)):
        now = np.maximum(
            model.log_survival(here, d_0[rows] + grid[j]).total - base[rows],
            before[rows],
        )
        for c, target in enumerate(targets):
            crosses = (before[rows] < target) & (now >= target)
            part = (target - before[rows][crosses]) / np.maximum(now[crosses] - before[rows][crosses], 1e-12)
            out[rows[crosses], c] = grid[j - 1] + part * (grid[j] - grid[j - 1])
        before[rows] = now
        still = now < targets.max()
        if not still.any():
            break
        if still.mean() < 0.8:  # copying all states for a few pumps less costs more than it saves
            rows, here = rows[still], here.take(np.flatnonzero(still))
    return out
