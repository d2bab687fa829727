"""A smooth phase through noisy block phases, with an honest error.

Model: phase(t) = a + b t + c exp(-t/tau) + random walk + integrated random walk + noise. The random walks are
speed wander that is fast or slow beside a block; the exponential is what is left of a start, which the shaft
ends as any first-order system does. Sizes, tau and the noise are not chosen but averaged over, each weighted
by its marginal likelihood. (Gaussian-process regression with an explicit straight line: Rasmussen & Williams
2006, section 2.7; the integrated random walk gives the cubic smoothing spline: Wahba 1978.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

# Variances per block, in units of the block noise variance: of the walk, and of the integrated walk.
WANDER = ((0, 0), (0.1, 0), (1, 0), (10, 0), (100, 0), (0, 1e-4), (0, 1e-2), (0, 1), (0, 100), (0, 1e4))
STEADY_ODDS = 1.0  # of no wander against all sizes of it
SETTLING_S = (0.004, 0.008, 0.016, 0.032, 0.064, 0.128)  # time constants of a shaft coming to speed
SETTLING_VARIANCES = np.array([1e1, 1e3, 1e5, 1e7])  # of c, in units of the block noise variance
SETTLED_ODDS = 2.0  # of no exponential against all sizes of it
NEGLIGIBLE = 1e-4  # weight of a model that need not be evaluated


@dataclass(frozen=True)
class SmoothPhase:
    """phase, shape (m,), at the wanted times; slope and its standard error between first and last of them."""

    phase: np.ndarray
    slope: float
    slope_se: float


def smooth_phase(
    time: np.ndarray,
    phase: np.ndarray,
    variance: np.ndarray,
    wanted: np.ndarray,
    *,
    widths: np.ndarray | None = None,
    noise_known_within: float = 0.5,
    wander: bool = True,
) -> SmoothPhase:
    """Fit block phases (n,) with variances (n,) at times in s (n,); evaluate at `wanted` (m,), m >= 2.

    widths: lengths of the blocks in s (n,), over which phases are means. noise_known_within: log standard
    deviation of the variances' common factor.
    """
    n = len(time)
    step = max(time[-1] - time[0], 1e-12) / max(n - 1, 1)
    t, w = (time - wanted[0]) / step + 1.0, (wanted - wanted[0]) / step + 1.0
    scale = float(np.median(variance))
    noise = np.diag(variance / scale)
    y = phase / np.sqrt(scale)
    kernels, cross_kernels = _kernels(t, t), _kernels(w, t)
    end_kernels = _kernels(w[[0, -1]], w[[0, -1]])
    line, line_w = (np.column_stack([np.ones(len(x)), x - t.mean()]) for x in (t, w))
    wanders = WANDER if wander and n >= 4 else WANDER[:1]
    tau = np.array(SETTLING_S if wander and n >= 8 else ()) / step
    settling, settling_w = (np.exp(-(x[:, None] - 1.0) / tau) for x in (t, w))
    if widths is not None:
        half = np.minimum(widths[:, None] / step / 2 / tau, 50.0)
        settling = settling * np.sinh(half) / half

    columns = np.column_stack([line, y, settling])
    prior_n = 2 / noise_known_within**2  # inverse-gamma prior of the common noise factor, about 1
    freedom = max(n - 2, 1) + prior_n
    # Per wander size, and then without an exponential, or with one of each time constant and variance:
    weights = np.empty((len(wanders), 1 + len(tau) * len(SETTLING_VARIANCES)))
    amounts, amount_variances, lefts = np.zeros_like(weights), np.zeros_like(weights), np.zeros_like(weights)
    for i, sizes in enumerate(wanders):
        factor = cho_factor(_mix(sizes, kernels) + noise, lower=True, check_finite=False)
        solved = cho_solve(factor, columns, check_finite=False)
        # Products of the columns after the straight line is taken out, weighted by the inverse covariance.
        gram, on_line = line.T @ solved[:, :2], line.T @ solved[:, 2:]
        product = columns[:, 2:].T @ solved[:, 2:] - on_line.T @ np.linalg.solve(gram, on_line)
        lefts[i, 0] = product[0, 0]
        # One more regressor, with a prior: what it takes from chi-square and evidence (Schur complement).
        precision = (product.diagonal()[1:, None] + 1 / SETTLING_VARIANCES).ravel()
        with_y = np.repeat(product[1:, 0], len(SETTLING_VARIANCES))
        amounts[i, 1:], amount_variances[i, 1:] = with_y / precision, 1 / precision
        lefts[i, 1:] = product[0, 0] - with_y**2 / precision
        weights[i] = -np.sum(np.log(np.diag(factor[0]))) - 0.5 * np.linalg.slogdet(gram)[1]
        weights[i, 1:] -= 0.5 * np.log(np.tile(SETTLING_VARIANCES, len(tau)) * precision)
    lefts = np.maximum(lefts, 0.0)
    weights -= 0.5 * freedom * np.log(lefts + prior_n)
    weights[0] += np.log(STEADY_ODDS)
    weights[1:] -= np.log(max(len(wanders) - 1, 1))
    weights[:, 1:] -= np.log(SETTLED_ODDS * max(len(tau) * len(SETTLING_VARIANCES), 1))
    p = np.exp(weights - weights.max())
    p[p < NEGLIGIBLE * p.sum()] = 0.0
    p /= p.sum()

    gap = wanted[-1] - wanted[0]
    fit, slopes, variances = np.zeros(len(w)), np.zeros_like(p), np.zeros_like(p)
    for i in np.flatnonzero(p.any(axis=1)).tolist():
        sizes = wanders[i]
        fits, ends_variance = _smoother(
            _mix(sizes, kernels) + noise,
            _mix(sizes, cross_kernels),
            _mix(sizes, end_kernels),
            line_w,
            columns,
        )
        own = settling_w - fits[:, 1:]
        for m in np.flatnonzero(p[i]).tolist():
            j = (m - 1) // len(SETTLING_VARIANCES)
            more = amounts[i, m] * own[:, j] if m else np.zeros(len(w))
            more_variance = amount_variances[i, m] * (own[-1, j] - own[0, j]) ** 2 if m else 0.0
            fit += p[i, m] * (fits[:, 0] + more)
            slopes[i, m] = (fits[-1, 0] + more[-1] - fits[0, 0] - more[0]) / gap
            s2 = (lefts[i, m] + prior_n) / freedom
            variances[i, m] = s2 * (ends_variance + more_variance) / gap**2
    slope = float(np.sum(p * slopes))
    slope_variance = float(np.sum(p * (variances + (slopes - slope) ** 2)))
    root = np.sqrt(scale)
    return SmoothPhase(root * fit, float(root * slope), float(root * np.sqrt(slope_variance)))


def _kernels(a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Covariances of a random walk and of an integrated one begun at 0, at times (a,) and (b,): (a, b)."""
    near, far = np.minimum.outer(a, b), np.maximum.outer(a, b)
    return near, near**2 * (3 * far - near) / 6


def _mix(sizes: tuple[float, float], kernels: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    return sizes[0] * kernels[0] + sizes[1] * kernels[1]


def _smoother(
    covariance: np.ndarray, cross: np.ndarray, ends: np.ndarray, line_w: np.ndarray, columns: np.ndarray
) -> tuple[np.ndarray, float]:
    """Smooth columns (n, 2 + c), the straight line's first: (m, c); and the variance of (last - first)."""
    factor = cho_factor(covariance, lower=True, check_finite=False)
    two = cross[[0, -1]]
    solved = cho_solve(factor, np.column_stack([columns, two.T]), check_finite=False)
    line, solved, solved_two = columns[:, :2], solved[:, :-2], solved[:, -2:]
    gram = line.T @ solved[:, :2]
    beta = np.linalg.solve(gram, line.T @ solved[:, 2:])
    fitted = line_w @ beta + cross @ (solved[:, 2:] - solved[:, :2] @ beta)
    lack = line_w[[0, -1]] - two @ solved[:, :2]
    spread = ends - two @ solved_two + lack @ np.linalg.solve(gram, lack.T)
    return fitted, max(float(spread[0, 0] + spread[1, 1] - 2 * spread[0, 1]), 0.0)
