"""Least squares with several covariates: drawn toward what is believed beforehand, and deaf to wild values.

    minimise  sum over rows of rho((y - X b)/s) + sum over covariates of (b/prior_sd)^2/2
with rho quadratic up to `far` and linear beyond (Huber 1964), the ridge of Hoerl & Kennard 1970, and s from
the residuals' median absolute value. Wild residuals are pulled in and the plane fitted again (Huber 1981,
ch. 7.8).
"""

from __future__ import annotations

import numpy as np

TO_SD = 1 / 0.6744897501960817  # median absolute value of a normal -> its standard deviation
REFINEMENTS = 6


def fit_plane(
    x: np.ndarray, y: np.ndarray, *, sd: float = 1.0, prior_sd: float | np.ndarray = np.inf
) -> np.ndarray:
    """Return b (k,) of y = X b + noise of standard deviation `sd`; x (n, k), y (n,); b ~ N(0, prior_sd^2).

    Without a prior this is ordinary least squares. X'X loses half of the digits, so the residuals are fitted
    again until nothing is left in them (iterative refinement, Golub & Wilkinson 1966).
    """
    size = np.sqrt(np.einsum("nk,nk->k", x, x))
    size[size == 0] = 1.0
    pull = (sd / (size * np.asarray(prior_sd, float))) ** 2  # in units of the scaled covariates
    square = (x.T @ x) / np.outer(size, size) + np.diag(pull)
    b = np.zeros(x.shape[1])
    for _ in range(REFINEMENTS):
        step = np.linalg.solve(square, x.T @ (y - x @ (b / size)) / size - pull * b)
        b = b + step
        if np.abs(step).max() <= 1e-14 * np.abs(b).max():
            break
    return b / size


def fit_plane_robustly(
    x: np.ndarray,
    y: np.ndarray,
    *,
    prior_sd: float | np.ndarray = np.inf,
    far: float = 3.0,
    least_sd: float = 0.0,
    rounds: int = 40,
    settled: float = 0.05,
) -> tuple[np.ndarray, float]:
    """Return b (k,) with residuals beyond `far` standard deviations pulled in to it, and that deviation.

    least_sd: the noise is never taken as less. Without rows b = 0. A few rows that alone tell a covariate may
    all lie far off: pulled in, they move it by `far` deviations a round, so rounds go on until no row moves
    by `settled` deviations.
    """
    b, sd = np.zeros(x.shape[1]), max(least_sd, 1.0)
    for _ in range(rounds if len(y) else 0):
        before, rest = x @ b, y - x @ b
        sd = max(TO_SD * float(np.median(np.abs(rest))), least_sd)
        b = fit_plane(x, before + np.clip(rest, -far * sd, far * sd), sd=sd, prior_sd=prior_sd)
        if np.abs(x @ b - before).max() < settled * sd:
            break
    return b, sd
