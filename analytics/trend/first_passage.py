"""Plain forecasts of passing a limit: a least-squares line per pump, and steady drift with noise (Wiener
process).

They are what the model is held against, not the model: passing a limit of the book is not failing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np


class Lines(NamedTuple):
    """Least-squares lines of many groups, (g,) each; NaN where a group has too few points."""

    intercept: np.ndarray
    slope: np.ndarray
    intercept_se: np.ndarray
    slope_se: np.ndarray
    residual_sd: np.ndarray
    n: np.ndarray


def fit_lines(group: np.ndarray, x: np.ndarray, y: np.ndarray, groups: int) -> Lines:
    """Fit y = a + b x per group code; sums are taken about each group's own means, so that no digits are
    lost."""
    n = np.bincount(group, minlength=groups).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        mx, my = np.bincount(group, x, groups) / n, np.bincount(group, y, groups) / n
        dx, dy = x - mx[group], y - my[group]
        xx = np.bincount(group, dx * dx, groups)
        slope = np.where(xx > 0, np.bincount(group, dx * dy, groups) / xx, np.nan)
        rest = np.bincount(group, (dy - slope[group] * dx) ** 2, groups)
        sd = np.sqrt(np.where(n > 2, rest / (n - 2), np.nan))
        return Lines(
            my - slope * mx, slope, sd * np.sqrt(1 / n + mx * mx / xx), sd / np.sqrt(xx), sd, n.astype(int)
        )


def line_crossing(lines: Lines, limit: np.ndarray | float) -> np.ndarray:
    """Return where each line reaches the limit, (limit - a)/b; inf where it never does."""
    with np.errstate(invalid="ignore", divide="ignore"):
        at = (limit - lines.intercept) / lines.slope
    return np.where(np.isfinite(at), at, np.inf)


class Wiener(NamedTuple):
    """Drift per unit of the clock, variance per unit, and the log-likelihood of the increments."""

    drift: float
    variance: float
    log_likelihood: float


def fit_wiener(increments: np.ndarray, steps: np.ndarray) -> Wiener:
    """Return the maximum-likelihood Wiener process of independent increments dy ~ N(v h, s^2 h)."""
    dy, h = np.asarray(increments, float), np.asarray(steps, float)
    drift = dy.sum() / h.sum()
    variance = float(np.mean((dy - drift * h) ** 2 / h))
    ll = -0.5 * float(np.sum(np.log(2 * np.pi * variance * h) + (dy - drift * h) ** 2 / (variance * h)))
    return Wiener(float(drift), variance, ll)


def passage(process: Wiener, distance: np.ndarray | float) -> Any:
    """Return the distribution of the first passage of `distance` > 0 above the start (inverse Gaussian).

    Mean a/v, shape a^2/s^2 (Schroedinger 1915); a frozen scipy distribution. The drift must be positive.
    """
    from scipy.stats import invgauss  # takes as long to load as all else here, and is needed here alone

    mean = np.asarray(distance, float) / process.drift
    shape = np.asarray(distance, float) ** 2 / process.variance
    return invgauss(mu=mean / shape, scale=shape)
