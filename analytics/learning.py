"""Maximum penalised likelihood, and small helpers that the three learning steps share."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize

Prior = dict[str, tuple[float, float]]  # name: (usual value, sd of its natural log)
MOST_BAD = 0.1  # of all readings may be wild


def maximise(
    objective: Callable[[dict[str, float]], float],
    prior: Prior,
    start: dict[str, float],
    rounds: int = 20,
) -> dict[str, float]:
    """Maximise log-likelihood + log prior over the natural logs of the named values."""
    names = list(prior)
    centre = np.log([prior[k][0] for k in names])
    sd = np.array([prior[k][1] for k in names])

    def cost(z: np.ndarray) -> float:
        value = objective(dict(zip(names, np.exp(centre + sd * z), strict=True)))
        return 1e12 if not np.isfinite(value) else -value + 0.5 * float(z @ z)

    z_0 = (np.log([start[k] for k in names]) - centre) / sd
    found = minimize(
        cost,
        np.clip(z_0, -5, 5),
        method="L-BFGS-B",
        bounds=[(-6, 6)] * len(names),
        options={"maxiter": rounds, "eps": 1e-3, "ftol": 2e-6},
    )
    return dict(zip(names, (float(v) for v in np.exp(centre + sd * found.x)), strict=True))


def mean_for_others(by_type: np.ndarray) -> np.ndarray:
    """Give the entry for unknown types the mean of the known ones."""
    out = by_type.copy()
    if len(out) > 1:
        out[-1] = out[:-1].mean()
    return out


def first_levels(
    value: np.ndarray, pump: np.ndarray, code: np.ndarray, types: int, usual: float
) -> np.ndarray:
    """Median of each type's first readings; the fleet's where a type has none."""
    ok = np.flatnonzero(~np.isnan(value))
    first = ok[np.unique(pump[ok], return_index=True)[1]]
    everything = float(np.median(value[first])) if len(first) else usual
    return np.array(
        [
            np.median(value[first][code[pump[first]] == t]) if np.any(code[pump[first]] == t) else everything
            for t in range(types)
        ]
    )
