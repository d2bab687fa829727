"""How good forecasts were: proper scores, discrimination and calibration, each with its interval where it
has one.

Sources: Brier 1950; Murphy 1973 (decomposition); Gneiting & Raftery 2007 (CRPS, interval score); DeLong et
al. 1988 and Obuchowski 1997 (variance of the AUC); Harrell et al. 1982 (concordance); Saxena et al. 2008
(relative accuracy, alpha-lambda).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.special import expit, logit, ndtr

from analytics.past.normal import Z_95

EPS = 1e-6


class Estimate(NamedTuple):
    """A figure and its standard error (NaN when it can't be told)."""

    value: float
    se: float

    @property
    def interval(self) -> tuple[float, float]:
        """95 %."""
        return self.value - Z_95 * self.se, self.value + Z_95 * self.se


def brier(p: np.ndarray, happened: np.ndarray) -> float:
    """Return mean (p - o)^2."""
    return float(np.mean((np.asarray(p, float) - happened) ** 2))


def brier_skill(p: np.ndarray, happened: np.ndarray, reference: np.ndarray | None = None) -> float:
    """Return 1 - BS/BS_reference; reference: the base rate, unless given."""
    base = np.full(len(p), np.mean(happened)) if reference is None else reference
    worst = brier(base, happened)
    return 1 - brier(p, happened) / worst if worst > 0 else float("nan")


def log_score(p: np.ndarray, happened: np.ndarray) -> float:
    """Return the mean of -ln of the probability given to what happened."""
    p = np.clip(p, EPS, 1 - EPS)
    return float(-np.mean(np.where(happened, np.log(p), np.log1p(-p))))


def murphy(p: np.ndarray, happened: np.ndarray) -> tuple[float, float, float]:
    """Return reliability, resolution and uncertainty over distinct forecasts; BS = rel - res + unc."""
    p, o = np.asarray(p, float), np.asarray(happened, float)
    values, group = np.unique(p, return_inverse=True)
    n = np.bincount(group)
    rate = np.bincount(group, o) / n
    base = o.mean()
    return (
        float(n @ (values - rate) ** 2 / len(p)),
        float(n @ (rate - base) ** 2 / len(p)),
        float(base * (1 - base)),
    )


def auc_interval(p: np.ndarray, happened: np.ndarray, cluster: np.ndarray | None = None) -> Estimate:
    """Return the area under the ROC curve and its standard error: DeLong's, or with `cluster` (n,) that of
    Obuchowski 1997, where forecasts of one cluster (a pump on several days) are not independent."""
    o = np.asarray(happened, bool)
    if o.all() or not o.any():
        return Estimate(float("nan"), float("nan"))
    area, v10, v01 = _placed(p, o)
    return Estimate(area, _placed_se(v10 - area, v01 - area, o, cluster))


def auc_difference(
    p: np.ndarray, other: np.ndarray, happened: np.ndarray, cluster: np.ndarray | None = None
) -> Estimate:
    """Return how much larger the area of `p` is than that of `other` on the same forecasts, with the standard
    error of the difference, as `auc_interval` has it (paired: DeLong et al. 1988; clustered: Obuchowski
    1997)."""
    o = np.asarray(happened, bool)
    if o.all() or not o.any():
        return Estimate(float("nan"), float("nan"))
    (first, a10, a01), (second, b10, b01) = _placed(p, o), _placed(other, o)
    more = first - second
    return Estimate(more, _placed_se(a10 - b10 - more, a01 - b01 - more, o, cluster))


def _placed(p: np.ndarray, o: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """Return the area, and of each that happened and each that didn't the share of the others it is placed
    right against, ties counted half."""
    every, own = _ranks(p), np.empty(len(o))
    own[o], own[~o] = _ranks(np.asarray(p)[o]), _ranks(np.asarray(p)[~o])
    v10, v01 = (every[o] - own[o]) / (~o).sum(), 1 - (every[~o] - own[~o]) / o.sum()
    return float(v10.mean()), v10, v01


def _ranks(p: np.ndarray) -> np.ndarray:
    """Return each one's rank from 1 on, (len(p),), ties at their middle."""
    return pd.Series(np.asarray(p, float)).rank().to_numpy()


def _placed_se(d10: np.ndarray, d01: np.ndarray, o: np.ndarray, cluster: np.ndarray | None) -> float:
    m, n = len(d10), len(d01)
    if cluster is None:
        var = (np.var(d10, ddof=1) / m if m > 1 else 0.0) + (np.var(d01, ddof=1) / n if n > 1 else 0.0)
        return float(np.sqrt(var))
    code = np.unique(cluster, return_inverse=True)[1]
    groups = int(code.max()) + 1
    yes, no = np.bincount(code[o], d10, groups) / m, np.bincount(code[~o], d01, groups) / n

    def spread(k: int) -> float:
        return k / (k - 1) if k > 1 else 0.0

    var = (
        spread(len(set(code[o]))) * yes @ yes
        + spread(len(set(code[~o]))) * no @ no
        + 2 * spread(groups) * yes @ no
    )
    return max(float(var), 0.0) ** 0.5


def calibration_slope(p: np.ndarray, happened: np.ndarray, cluster: np.ndarray | None = None) -> Estimate:
    """Return the slope of a logistic regression of what happened on logit p (1: right; below: too bold).

    Its standard error is the information's, or with `cluster` (n,) the sandwich over clusters (Liang & Zeger,
    Biometrika 73, 1986), where forecasts of one cluster are not independent.

    NaN where all or nothing happened, or what happened is told apart without a fault: there is no best slope.
    """
    z, o = logit(np.clip(p, EPS, 1 - EPS)), np.asarray(happened, float)
    if o.sum() in (0, len(o)):
        return Estimate(float("nan"), float("nan"))
    x = np.column_stack([np.ones(len(z)), z])

    def likelihood(b: np.ndarray) -> float:
        return float(o @ (x @ b) - np.logaddexp(0.0, x @ b).sum())

    # Newton's steps, halved where they overshoot: else bold forecasts that failed throw them off for good.
    b = np.array([logit(o.mean()), 0.0])
    for _ in range(100):
        q = expit(x @ b)
        info = (x * (q * (1 - q))[:, None]).T @ x
        if np.linalg.cond(info) > 1e14:
            break
        step = np.linalg.solve(info, x.T @ (o - q))
        while np.abs(step).max() > 1e-10 and likelihood(b + step) < likelihood(b):
            step = step / 2
        b = b + step
        if np.abs(step).max() < 1e-10:
            return Estimate(float(b[1]), _slope_se(np.linalg.inv(info), x * (o - q)[:, None], cluster))
    return Estimate(float("nan"), float("nan"))


def _slope_se(inverse: np.ndarray, scores: np.ndarray, cluster: np.ndarray | None) -> float:
    if cluster is None:
        return float(np.sqrt(inverse[1, 1]))
    code = np.unique(cluster, return_inverse=True)[1]
    groups = int(code.max()) + 1
    sums = np.column_stack([np.bincount(code, column, groups) for column in scores.T])
    middle = sums.T @ sums * (groups / (groups - 1) if groups > 1 else 1.0)
    return float(np.sqrt((inverse @ middle @ inverse)[1, 1]))


def concordance(time: np.ndarray, event: np.ndarray, risk: np.ndarray) -> float:
    """Return Harrell's C: of pairs whose order is known, the share ranked right; ties in risk count half."""
    t, e, r = (np.asarray(a) for a in (time, event, risk))
    before = (t[:, None] < t[None]) & (e[:, None] == 1)
    before |= (t[:, None] == t[None]) & (e[:, None] == 1) & (e[None] == 0)
    right = (r[:, None] > r[None]) + 0.5 * (r[:, None] == r[None])
    return float((right * before).sum() / before.sum())


def crps_normal(mean: np.ndarray, sd: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return sd (z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)), z = (y - mean)/sd."""
    z = (np.asarray(y, float) - mean) / sd
    return sd * (z * (2 * ndtr(z) - 1) + 2 * np.exp(-z * z / 2) / np.sqrt(2 * np.pi) - 1 / np.sqrt(np.pi))


def log_score_normal(mean: np.ndarray, sd: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return -ln of the normal density at y."""
    z = (np.asarray(y, float) - mean) / sd
    return 0.5 * z * z + np.log(sd) + 0.5 * np.log(2 * np.pi)


def crps_ensemble(members: np.ndarray, y: float, *, fair: bool = False) -> float:
    """Return mean |x - y| - mean |x - x'|/2; `fair` divides by m (m - 1) instead of m^2."""
    x = np.asarray(members, float)
    m = len(x)
    pairs = np.abs(x[:, None] - x[None]).sum() / (m * (m - 1) if fair else m * m)
    return float(np.abs(x - y).mean() - pairs / 2)


def interval_score(low: np.ndarray, high: np.ndarray, y: np.ndarray, coverage: float) -> np.ndarray:
    """Return width + 2/alpha for each unit missed by, alpha = 1 - coverage."""
    alpha = 1 - coverage
    return (np.asarray(high) - low) + 2 / alpha * (
        np.maximum(low - np.asarray(y), 0) + np.maximum(y - np.asarray(high), 0)
    )


def relative_accuracy(end_of_life: float, at: np.ndarray, predicted_end: np.ndarray) -> np.ndarray:
    """Return 1 - |true RUL - predicted RUL| / true RUL at each time."""
    true = end_of_life - np.asarray(at, float)
    return 1 - np.abs(true - (np.asarray(predicted_end) - at)) / true


def alpha_lambda(end_of_life: float, at: np.ndarray, predicted_end: np.ndarray, alpha: float) -> np.ndarray:
    """Return whether the predicted RUL lies within alpha of the true one."""
    return 1 - relative_accuracy(end_of_life, at, predicted_end) <= alpha


def prognostic_horizon(end_of_life: float, at: np.ndarray, predicted_end: np.ndarray, alpha: float) -> float:
    """Return the time from the first prediction that stays within alpha * end of life, to the end of life."""
    good = np.abs(np.asarray(predicted_end) - end_of_life) <= alpha * end_of_life
    stays = np.minimum.accumulate(good[::-1])[::-1]
    return float(end_of_life - np.asarray(at)[stays][0]) if stays.any() else 0.0


def reliability_bins(p: np.ndarray, happened: np.ndarray, bins: int = 10) -> list[dict[str, float]]:
    """Return groups of equal size by forecast: mean forecast, what happened, its 95 % Wilson interval, n."""
    order = np.argsort(p, kind="stable")
    out = []
    for rows in np.array_split(order, min(bins, len(p))) if len(p) else ():
        n, k = len(rows), float(np.sum(happened[rows]))
        z = Z_95
        middle = (k + z * z / 2) / (n + z * z)
        half = z / (n + z * z) * np.sqrt(k * (n - k) / n + z * z / 4)
        out.append(
            {
                "forecast": float(np.mean(p[rows])),
                "happened": k / n,
                "low": max(middle - half, 0.0),
                "high": min(middle + half, 1.0),
                "n": float(n),
            }
        )
    return out
