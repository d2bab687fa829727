"""A smooth phase through noisy block phases, with an honest error.

Model: phase(t) = a + b t + random walk + integrated random walk + noise. The random walks are speed wander
that is fast or slow beside a block; their sizes and the noise size are not chosen but averaged over, each
weighted by its marginal likelihood. (Gaussian-process regression with an explicit straight line: Rasmussen
& Williams 2006, section 2.7; the integrated random walk gives the cubic smoothing spline: Wahba 1978.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular

WALK_GRID = (0.0, 0.1, 1.0, 10.0, 100.0)  # variances per block, in units of the block noise variance
SLOW_GRID = (0.0, 1e-4, 1e-2, 1.0, 100.0, 1e4)


@dataclass(frozen=True)
class SmoothPhase:
    """phase, shape (m,), at the wanted times; slope and its standard error between first and last of them."""

    phase: np.ndarray
    slope: float
    slope_se: float
    noise: float
    walk: float
    slow: float


def smooth_phase(
    time: np.ndarray,
    phase: np.ndarray,
    variance: np.ndarray,
    wanted: np.ndarray,
    *,
    noise_known_within: float = 0.5,
    wander: bool = True,
) -> SmoothPhase:
    """Fit block phases (n,) with variances (n,) at times (n,); evaluate at `wanted` (m,), m >= 2.

    noise_known_within: log standard deviation of the variances' common factor.
    """
    span = max(time[-1] - time[0], 1e-12)
    n = len(time)
    step = span / max(n - 1, 1)
    t = (time - time[0]) / step
    w = (wanted - time[0]) / step
    scale = float(np.median(variance))
    relative = variance / scale
    y = phase / np.sqrt(scale)

    origin = min(t[0], w[0]) - 1.0
    tt, ww = t - origin, w - origin
    near, far = np.minimum.outer(tt, tt), np.maximum.outer(tt, tt)
    walk_k, slow_k = near, near**2 * (3 * far - near) / 6
    near, far = np.minimum.outer(ww, tt), np.maximum.outer(ww, tt)
    walk_c, slow_c = near, near**2 * (3 * far - near) / 6
    ends = ww[[0, -1]]
    near, far = np.minimum.outer(ends, ends), np.maximum.outer(ends, ends)
    walk_e, slow_e = near, near**2 * (3 * far - near) / 6

    line = np.column_stack([np.ones(n), t - t.mean()])
    line_w = np.column_stack([np.ones(len(w)), w - t.mean()])
    results, weights = [], []
    degrees = max(n - 2, 1)
    for walk in WALK_GRID if wander and n >= 4 else (0.0,):
        for slow in SLOW_GRID if wander and n >= 4 else (0.0,):
            if walk and slow:
                continue
            k = walk * walk_k + slow * slow_k + np.diag(relative)
            factor = cho_factor(k, lower=True, check_finite=False)
            half_line = solve_triangular(factor[0], line, lower=True, check_finite=False)
            half_y = solve_triangular(factor[0], y, lower=True, check_finite=False)
            gram = half_line.T @ half_line
            beta = np.linalg.solve(gram, half_line.T @ half_y)
            rest = half_y - half_line @ beta
            chi2 = float(rest @ rest)
            # The common noise factor s2 has a log-normal-like (inverse-gamma) prior around 1.
            prior_n = 2 / noise_known_within**2
            s2 = (chi2 + prior_n) / (degrees + prior_n)
            log_ml = (
                -np.sum(np.log(np.diag(factor[0])))
                - 0.5 * np.linalg.slogdet(gram)[1]
                - 0.5 * (degrees + prior_n) * np.log(chi2 + prior_n)
            )
            log_ml += np.log(0.5) if walk == 0 and slow == 0 else np.log(0.5 / 9)
            cross = walk * walk_c + slow * slow_c
            fitted = line_w @ beta + cross @ cho_solve(factor, y - line @ beta, check_finite=False)
            results.append((fitted, s2, walk, slow, _slope_variance(
                factor, gram, half_line, cross[[0, -1]], line_w[[0, -1]],
                walk * walk_e + slow * slow_e, ww[-1] - ww[0])))  # fmt: skip
            weights.append(log_ml)
    p = np.exp(np.array(weights) - max(weights))
    p /= p.sum()
    fits = np.array([r[0] for r in results])
    slopes = (fits[:, -1] - fits[:, 0]) / (wanted[-1] - wanted[0])
    slope = float(p @ slopes)
    s2s = np.array([r[1] for r in results])
    variances = s2s * np.array([r[4] for r in results]) / step**2
    best = int(np.argmax(p))
    root = np.sqrt(scale)
    slope_var = float(p @ (variances + (slopes - slope) ** 2))
    return SmoothPhase(
        root * (p @ fits), root * slope, root * float(np.sqrt(slope_var)),
        root * float(np.sqrt(p @ s2s)), results[best][2], results[best][3],
    )  # fmt: skip


def _slope_variance(factor, gram, half_line, cross, line_ends, prior, gap) -> float:  # type: ignore[no-untyped-def]
    """Variance of (phase(end) - phase(start)) / gap for unit noise, straight line estimated too."""
    half = solve_triangular(factor[0], cross.T, lower=True, check_finite=False)
    covariance = prior - half.T @ half
    lack = line_ends.T - half_line.T @ half
    covariance = covariance + lack.T @ np.linalg.solve(gram, lack)
    return max(float(covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]) / gap**2, 0.0)
