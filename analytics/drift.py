"""Drift of current, ripple and speed over distance: level and slope per pump, shrunk to type and fleet.

Per metric and type a random-slope model (analytics.mixed_model) of the normalised readings; each pump gets
its best linear prediction with its conditional variance, so a pump with two readings shows mostly its type's
drift, and says so by a wide interval. A limit forecast extrapolates that line. It is NOT a failure forecast:
crossing a limit of the book is not failing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.history import History
from analytics.mixed_model import fit_random_slope, group_sums
from analytics.normalise import Exponents, covariates, metrics

METRICS = ("mean_a", "ripple_pct", "rpm")
PER_KM = 10_000.0
Z_80 = 1.2815515655446004


@dataclass(frozen=True)
class Drift:
    """One metric of all pumps, (n,) in row order of the history; NaN without any reading of its type.

    level: now, at reference volts, pressure and warmth, in the metric's unit; slope: per km of the pump's
    clock;
    *_se: standard errors; own_share: how much of the slope is the pump's own (0: all its type's); readings:
    used.
    """

    metric: str
    level: np.ndarray
    level_se: np.ndarray
    slope: np.ndarray
    slope_se: np.ndarray
    own_share: np.ndarray
    readings: np.ndarray


def drift_of(history: History, exponents: Exponents, metric: str) -> Drift:
    """Fit one metric: "mean_a", "ripple_pct" or "rpm"."""
    pumps, visits = history.pumps, history.visits
    n = len(pumps)
    value = normalised(visits, pumps, exponents, metric)
    pump = visits["pump"].to_numpy(int)
    seen = ~np.isnan(value)
    x = visits["x_km"].to_numpy(float) / PER_KM
    types, _ = pd.factorize(pumps["pump_type"])
    out = {k: np.full(n, np.nan) for k in ("level", "level_se", "slope", "slope_se", "own_share")}
    readings = np.bincount(pump[seen], minlength=n)
    for t in np.unique(types):
        mine = np.flatnonzero(types == t)
        rows = seen & (types[pump] == t)
        place = np.full(n, -1)
        place[mine] = np.arange(len(mine))
        y = _tamed(value[rows], pump[rows])
        try:
            made = fit_random_slope(group_sums(place[pump[rows]], x[rows], y, len(mine)))
        except (ValueError, np.linalg.LinAlgError):
            continue
        at = pumps["now_km"].to_numpy(float)[mine] / PER_KM
        z = np.column_stack([np.ones(len(mine)), at])
        cov = made.blup_cov
        prior_slope = made.covariance[1, 1]
        out["level"][mine] = z @ made.beta + (z * made.blup).sum(1)
        out["level_se"][mine] = np.sqrt(np.einsum("ni,nij,nj->n", z, cov, z))
        out["slope"][mine] = (made.beta[1] + made.blup[:, 1]) / PER_KM
        out["slope_se"][mine] = np.sqrt(np.maximum(cov[:, 1, 1], 0)) / PER_KM
        out["own_share"][mine] = 1 - cov[:, 1, 1] / prior_slope if prior_slope > 0 else 0.0
    if metric != "ripple_pct":  # fitted as logarithms
        level = np.exp(out["level"])
        out |= {
            "level": level,
            "level_se": level * out["level_se"],
            "slope": level * out["slope"],
            "slope_se": level * out["slope_se"],
        }
    return Drift(metric, readings=readings, **out)


def normalised(visits: pd.DataFrame, pumps: pd.DataFrame, exponents: Exponents, metric: str) -> np.ndarray:
    """Return the metric at reference volts, pressure and warmth (ln for current and speed), NaN if
    unusable."""
    name = {"mean_a": "ln_a", "ripple_pct": "ripple_pct", "rpm": "ln_rpm"}[metric]
    x = covariates(visits, pumps)
    return metrics(visits)[name] - np.where(np.isnan(x), 0.0, x) @ getattr(exponents, name)


def _tamed(y: np.ndarray, pump: np.ndarray) -> np.ndarray:
    """Pull readings farther than 4 robust standard deviations from their pump's median to that distance."""
    middle = pd.Series(y).groupby(pump).transform("median").to_numpy()
    rest = y - middle
    sd = 1.4826 * np.median(np.abs(rest[rest != 0])) if np.any(rest != 0) else 0.0
    return middle + np.clip(rest, -4 * sd, 4 * sd) if sd > 0 else y


@dataclass(frozen=True)
class LimitForecast:
    """Distance until the line passes a limit, (n,) km each: likeliest and 80 % interval (inf: never on this
    line).

    limit: the one it heads for. told: False with fewer than three readings, or a slope that may well be zero.
    """

    limit: np.ndarray
    distance_km: np.ndarray
    soonest_km: np.ndarray
    latest_km: np.ndarray
    told: np.ndarray


def limit_forecast(drift: Drift, low: np.ndarray, high: np.ndarray) -> LimitForecast:
    """When the drift line passes `low` or `high` (n,), NaN for no such limit."""
    heading = np.where(drift.slope >= 0, high, low)
    gap = heading - drift.level
    with np.errstate(invalid="ignore", divide="ignore"):
        past = np.where(drift.slope >= 0, gap <= 0, gap >= 0)

        def reach(slope: np.ndarray) -> np.ndarray:
            ahead = gap / slope
            return np.where(past, 0.0, np.where(ahead > 0, ahead, np.inf))

        away = np.sign(drift.slope) * Z_80 * drift.slope_se
        told = (drift.readings >= 3) & (np.abs(drift.slope) > Z_80 * drift.slope_se) & ~np.isnan(gap)
        return LimitForecast(
            heading, reach(drift.slope), reach(drift.slope + away), reach(drift.slope - away), told
        )


def healing(ripple: Drift) -> np.ndarray:
    """Whether ripple falls by more than two standard errors: wrong pump, slipped clamp or unrecorded work."""
    return (ripple.readings >= 3) & (ripple.slope < -2 * ripple.slope_se)
