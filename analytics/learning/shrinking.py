"""Maximum penalised likelihood, and small helpers that the three learning steps share."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy  # its parts load when first used: ranking from a stored fit minimises nothing

Prior = dict[str, tuple[float, float]]  # name: (usual value, sd of its natural log)
Columns = dict[str, np.ndarray]  # name: (sets, 1)
STEP = 1e-3  # of a prior's sd, for gradients
MOST_BAD = 0.1  # of all readings may be wild


def maximise(
    objective: Callable[[Columns], np.ndarray],
    prior: Prior,
    start: dict[str, float],
    rounds: int = 20,
    most: dict[str, float] | None = None,
) -> dict[str, float]:
    """Maximise log-likelihood + log prior over the natural logs of the named values.

    objective: the log-likelihood (sets,) of several sets of values at once, each value a column (sets, 1):
    one set is the point itself, the others a step along each value for the gradient, side by side since small
    fleets cost numpy more calls than sums. most: the highest that some values may be.
    """
    names = list(prior)
    centre = np.log([prior[k][0] for k in names])
    sd = np.array([prior[k][1] for k in names])
    steps = np.concatenate([np.zeros((1, len(names))), STEP * np.eye(len(names))])

    def cost(z: np.ndarray) -> tuple[float, np.ndarray]:
        tried = z + steps
        values = np.exp(centre + sd * tried)
        value = objective({name: values[:, i : i + 1] for i, name in enumerate(names)})
        total = np.where(np.isfinite(value), 0.5 * (tried**2).sum(1) - value, 1e12)
        return float(total[0]), (total[1:] - total[0]) / STEP

    tops = np.array([(np.log(most[k]) if most and k in most else np.inf) for k in names])
    tops = np.minimum((tops - centre) / sd, 6.0)
    z_0 = (np.log([start[k] for k in names]) - centre) / sd
    found = scipy.optimize.minimize(
        cost,
        np.minimum(np.clip(z_0, -5, 5), tops),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-6.0, top) for top in tops],
        options={"maxiter": rounds, "ftol": 5e-5},
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
