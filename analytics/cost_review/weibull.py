"""Weibull lives: maximum likelihood with right censoring and delayed entry, and its intervals.

R(t) = exp(−(t/α)^β), with scale α (unit of the lives) and shape β. A life is (entry, exit, failed): it is
known only from `entry` on, because it was under observation only then (left truncation), and ends at `exit`
in a failure or is a suspension there. With d = 1 for a failure, 0 for a suspension and w a count,

    ln L(α, β) = Σ w·{ d·[ln β − β·ln α + (β − 1)·ln exit] − (exit^β − entry^β)/α^β }.

For given β the best scale is α^β = Σ w·(exit^β − entry^β) / Σ w·d, which leaves one unknown.
Source: Meeker & Escobar, Statistical Methods for Reliability Data (1998), sections 8.2–8.4 and 11.6.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import optimize, special

from ingest.errors import EntryRefused

SHAPE_RANGE = (0.02, 200.0)
Lives = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]  # entry, exit, failed, count


@dataclass(frozen=True)
class Weibull:
    """A Weibull life distribution; `scale` in the unit of the lives."""

    shape: float
    scale: float

    def survival(self, t: np.ndarray | float) -> np.ndarray:
        """Return R(t)."""
        return np.exp(-self.cumulative_hazard(t))

    def cumulative_hazard(self, t: np.ndarray | float) -> np.ndarray:
        """Return H(t) = (t/α)^β."""
        return (np.maximum(t, 0.0) / self.scale) ** self.shape

    def hazard(self, t: np.ndarray | float) -> np.ndarray:
        """Return h(t) = (β/α)·(t/α)^(β−1), per unit of t."""
        return self.shape / self.scale * (np.asarray(t, float) / self.scale) ** (self.shape - 1)

    def quantile(self, share: float) -> float:
        """Return the life by which `share` of pumps have failed; B10 is quantile(0.1)."""
        return float(self.scale * (-np.log1p(-share)) ** (1 / self.shape))

    @property
    def mean(self) -> float:
        """Return the mean life α·Γ(1 + 1/β)."""
        return float(self.scale * special.gamma(1 + 1 / self.shape))

    @property
    def sd(self) -> float:
        """Return the standard deviation of the lives."""
        second = special.gamma(1 + 2 / self.shape) - special.gamma(1 + 1 / self.shape) ** 2
        return float(self.scale * np.sqrt(second))

    def life_within(self, age: np.ndarray | float) -> np.ndarray:
        """Return ∫₀^age R(t) dt = (α/β)·Γ(1/β)·P(1/β, (age/α)^β), the mean distance run up to `age`."""
        share = special.gammainc(1 / self.shape, self.cumulative_hazard(age))
        return self.scale / self.shape * special.gamma(1 / self.shape) * share

    def mean_left(self, age: np.ndarray | float) -> np.ndarray:
        """Return the mean life still to come at `age`, given survival to it: ∫_age^∞ R(t) dt / R(age)."""
        h = self.cumulative_hazard(age)
        tail = special.gammaincc(1 / self.shape, h) * special.gamma(1 / self.shape) * self.scale / self.shape
        # Past h = 700 both are smaller than the smallest number a float holds.
        return np.where(h < 700.0, tail / np.exp(-np.minimum(h, 700.0)), 0.0)


@dataclass(frozen=True)
class WeibullFit(Weibull):
    """A fit, with the covariance of (scale, shape) from the observed information.

    lives and failures are counts; entry, exit, failed and count are the data, kept for the intervals.
    """

    covariance: np.ndarray
    log_likelihood: float
    lives: float
    failures: float
    data: Lives

    @property
    def scale_se(self) -> float:
        """Return the standard error of the scale."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def shape_se(self) -> float:
        """Return the standard error of the shape."""
        return float(np.sqrt(self.covariance[1, 1]))

    def likelihood_quantile(self, share: float, level: float = 0.95) -> tuple[float, float]:
        """Return the likelihood-ratio interval of a quantile; a side with no end is 0 or infinity."""
        k = -np.log1p(-share)

        def best(log_quantile: float) -> float:
            return _best_over_shape(self.data, lambda shape: log_quantile - np.log(k) / shape, self.shape)

        low, high = _ratio_interval(best, np.log(self.quantile(share)), self.log_likelihood, level)
        return float(np.exp(low)), float(np.exp(high))


def fit_weibull(
    exit: np.ndarray, failed: np.ndarray, entry: np.ndarray | None = None, count: np.ndarray | None = None
) -> WeibullFit:
    """Fit α and β to n lives by maximum likelihood.

    exit: lives (n,), > 0. failed: bool (n,). entry: where observation began (n,), default 0. count: how many
    lives each row stands for, default 1. Raises EntryRefused for lives that make no sense, without a failure,
    or where no finite shape is likeliest (one failure that outlived all others, say).
    """
    data = _checked(exit, failed, entry, count)
    shape = _likeliest_shape(data)
    scale = _best_scale(data, shape)
    covariance = np.linalg.inv(_information(scale, shape, data))
    entry_, exit_, failed_, count_ = data
    return WeibullFit(
        shape=shape,
        scale=scale,
        covariance=covariance,
        log_likelihood=_log_likelihood(np.log(scale), shape, data),
        lives=float(count_.sum()),
        failures=float((count_ * failed_).sum()),
        data=(entry_, exit_, failed_, count_),
    )


def _checked(exit: Any, failed: Any, entry: Any, count: Any) -> Lives:
    exit = np.asarray(exit, float)
    failed = np.asarray(failed, bool)
    entry = np.zeros_like(exit) if entry is None else np.asarray(entry, float)
    count = np.ones_like(exit) if count is None else np.asarray(count, float)
    bad = np.flatnonzero(~(np.isfinite(exit) & (exit > 0) & (entry >= 0) & (entry < exit) & (count >= 0)))
    if bad.size:
        i = bad[0]
        raise EntryRefused(
            "bad-life",
            f"Life {i + 1} runs from {entry[i]:g} to {exit[i]:g}: it must start at 0 or later "
            "and end after that.",
        )
    if not (failed & (count > 0)).any():
        raise EntryRefused(
            "no-failures", "None of these lives ended in a failure, so no shape can be fitted."
        )
    return entry, exit, failed.astype(float), count


def _sums(data: Lives, shape: float) -> tuple[float, float, float, float]:
    """Return Σw(exit^β − entry^β), the same with ln, with ln², all over max(exit)^β, and that max."""
    entry, exit, _, count = data
    top = float(exit.max())
    x, e = exit / top, entry / top
    log_x = np.log(x)
    log_e = np.log(np.where(e > 0, e, 1.0))
    px, pe = count * x**shape, count * np.where(e > 0, e, 0.0) ** shape
    return (
        float((px - pe).sum()),
        float((px * log_x - pe * log_e).sum()),
        float((px * log_x**2 - pe * log_e**2).sum()),
        top,
    )


def _profile_score(shape: float, data: Lives) -> float:
    """Return Σt^β ln t/Σt^β − 1/β − mean(ln t of failures), entries subtracted; 0 at the likeliest shape."""
    _, exit, failed, count = data
    power, power_log, _, top = _sums(data, shape)
    failures = (count * failed).sum()
    return power_log / power - 1 / shape - float((count * failed * np.log(exit / top)).sum() / failures)


def _likeliest_shape(data: Lives) -> float:
    grid = np.geomspace(*SHAPE_RANGE, 60)
    score = np.array([_profile_score(b, data) for b in grid])
    # The score is minus the slope of the profile: a maximum is where it passes from minus to plus.
    rises = np.flatnonzero((score[:-1] < 0) & (score[1:] >= 0))
    if not rises.size:
        raise EntryRefused(
            "no-finite-shape",
            f"These {data[3].sum():.0f} lives with {(data[2] * data[3]).sum():.0f} failure(s) have no "
            "likeliest finite Weibull shape; more failures, or lives that outlast them, are needed.",
        )
    roots = [
        float(optimize.brentq(_profile_score, grid[i], grid[i + 1], args=(data,), xtol=1e-14, rtol=1e-14))
        for i in rises
    ]
    return max(roots, key=lambda b: _log_likelihood(np.log(_best_scale(data, b)), b, data))


def _best_scale(data: Lives, shape: float) -> float:
    power, _, _, top = _sums(data, shape)
    failures = float((data[2] * data[3]).sum())
    return float(top * (power / failures) ** (1 / shape))


def _log_likelihood(log_scale: float, shape: float, data: Lives) -> float:
    entry, exit, failed, count = data
    with np.errstate(over="ignore", divide="ignore"):
        z = shape * (np.log(exit) - log_scale)
        hazard = np.exp(z) - np.exp(shape * (np.log(entry) - log_scale))
    total = failed * (np.log(shape) - np.log(exit) + z) - hazard
    return float((count * total).sum())


def _information(scale: float, shape: float, data: Lives) -> np.ndarray:
    """Return minus the second derivatives of ln L in (α, β) at the maximum."""
    _, _, failed, count = data
    s0, s1, s2, top = _sums(data, shape)
    a = np.log(scale / top)
    unit = np.exp(-shape * a)  # (top/α)^β
    m0, m1 = unit * s0, unit * (s1 - a * s0)
    m2 = unit * (s2 - 2 * a * s1 + a**2 * s0)
    r = float((count * failed).sum())
    aa = (shape * (shape + 1) * m0 - shape * r) / scale**2
    ab = (r - m0 - shape * m1) / scale
    bb = r / shape**2 + m2
    return np.array([[aa, ab], [ab, bb]])


def _best_over_shape(data: Lives, log_scale_of: Callable[[float], float], start: float) -> float:
    """Return the largest ln L when the scale follows the shape as given."""
    found = optimize.minimize_scalar(
        lambda b: -_log_likelihood(log_scale_of(np.exp(b)), float(np.exp(b)), data),
        bounds=(np.log(start) - 4, np.log(start) + 3),
        method="bounded",
        options={"xatol": 1e-10},
    )
    return -float(found.fun)


def _ratio_interval(
    best: Callable[[float], float], middle: float, top: float, level: float
) -> tuple[float, float]:
    """Return where 2·(top − best(x)) equals the χ² quantile, below and above `middle` (logarithms)."""
    allowed = special.ndtri((1 + level) / 2) ** 2 / 2  # χ² with 1 degree of freedom is a squared normal

    def excess(x: float) -> float:
        return top - best(x) - allowed

    ends = []
    for step in (-1, 1):
        x, reach = middle, 0.1
        while excess(x + step * reach) < 0 and reach < 60:
            reach *= 1.7
        if reach >= 60:
            ends.append(step * np.inf)
        else:
            ends.append(float(optimize.brentq(excess, x, x + step * reach, xtol=1e-10)))
    return min(ends), max(ends)
