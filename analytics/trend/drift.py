"""Drift of current, ripple and speed over distance: level and slope per pump, shrunk to type and fleet.

Three levels, learned by `fit_drift` and stored with the fit: a pump's line lies about its type's, a type's
about the fleet's (random slopes, analytics.trend.mixed_model). `drift_of` only scores: each pump's best
linear prediction with its variance, so a pump with two readings shows mostly its type's drift, and says so by
a wide interval. A limit forecast extrapolates that line. It is NOT a failure forecast: crossing a limit of
the book is not failing.

How lines bend is in analytics/trend/bending.py: what all pumps' slopes do alike is taken off before, and
what they do each for itself widens the intervals.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.past.history import History
from analytics.past.normal import Z_80
from analytics.past.normalise import Exponents, covariates, values
from analytics.trend.bending import learn_bending, missed_by_a_line
from analytics.trend.mixed_model import GroupSums, fit_random_slope, group_sums, predict, shrunk_lines
from ingest.metrics import metric as row_of

PER_KM = 10_000.0
TOLD_SD = 2.0  # a slope nearer to zero than this many standard errors is not told apart from none
TOLD_READINGS = 3
REACH_KM = 1e6  # how far a limit is looked for, unless told
FAR_SD = 4.0
SAMPLE_PUMPS = 5000  # from which the variances are learned; lines are learned from all
ENOUGH_PUMPS = 5  # with two readings, for a type to have a line of its own while variances are learned


@dataclass(frozen=True)
class DriftFit:
    """What the fleet's lines are like, for one metric: x in 10,000 km beyond `x_0`, y beyond `y_0` (ln for
    current and speed).

    line (types + 1, 2), line_cov (types + 1, 2, 2): intercept and slope of each type and what is left open
    about them, the last for a type never seen; pump_cov (2, 2): of a pump about its type; far: readings
    farther than this from their pump's median are pulled in; bend, walk: analytics.trend.bending.Bending.
    """

    x_0: float
    y_0: float
    line: np.ndarray
    line_cov: np.ndarray
    pump_cov: np.ndarray
    residual_var: float
    far: float
    bend: float = 0.0
    walk: float = 0.0

    def to_plain(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in asdict(self).items()}

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> DriftFit:
        """Read what `to_plain` gave."""
        values: dict[str, Any] = {
            k: np.array(v, float) if isinstance(v, list) else v for k, v in plain.items()
        }
        return cls(**values)


@dataclass(frozen=True)
class Drift:
    """One metric of all pumps, (n,) in row order of the history; NaN where the fleet's lines are unknown.

    level: now, at reference volts, pressure and warmth, in the metric's unit; slope: per km of the pump's
    clock;
    *_se: standard errors; own_share: how much of the slope is the pump's own (0: all its type's); readings:
    used; level_slope_cov: covariance of level and slope; walk: variance that the slope gains per km.
    """

    metric: str
    level: np.ndarray
    level_se: np.ndarray
    slope: np.ndarray
    slope_se: np.ndarray
    own_share: np.ndarray
    readings: np.ndarray
    level_slope_cov: np.ndarray | float = 0.0
    walk: np.ndarray | float = 0.0

    @property
    def slope_ahead_se(self) -> np.ndarray:
        """Standard error of the slope over the next 10,000 km, in which it wanders on, (n,) per km."""
        return np.sqrt(self.slope_se**2 + self.walk * PER_KM / 3)

    @property
    def told(self) -> np.ndarray:
        """Whether there are readings enough, and the slope can be told apart from none, (n,)."""
        with np.errstate(invalid="ignore"):
            return (self.readings >= TOLD_READINGS) & (np.abs(self.slope) > TOLD_SD * self.slope_se)


def fit_drift(
    history: History, type_code: np.ndarray, types: int, exponents: Exponents, metric: str
) -> DriftFit | None:
    """Learn one metric's lines; type_code (pumps,) from 0 to types - 1. None where too few pumps have two
    readings."""
    pumps, visits = history.pumps, history.visits
    value = normalised(visits, pumps, exponents, metric)
    rows = np.flatnonzero(~np.isnan(value))
    pump = visits["pump"].to_numpy(int)[rows]
    if not len(rows) or np.ptp(value[rows]) == 0:
        return None  # nothing read, or never anything else: no scatter to hold a slope against
    y, far = _tamed(value[rows], pump)
    x = visits["x_km"].to_numpy(float)[rows] / PER_KM
    bending = learn_bending(pump, x, y, len(pumps))
    sums = group_sums(pump, x, y - bending.bend * x**2 / 2, len(pumps))
    x_0, y_0 = sums.x_0, sums.y_0
    sums = GroupSums(sums.n, sums.x, sums.xx, sums.y, sums.xy, sums.yy)
    # Types with few pumps share one line while the variances are learned.
    two = sums.n >= 2
    enough = np.bincount(type_code[two], minlength=types) >= ENOUGH_PUMPS
    kind = np.where(enough[type_code], type_code, types)
    if np.count_nonzero(two & (kind == types)) < ENOUGH_PUMPS:
        sums_used = np.flatnonzero((sums.n > 0) & (kind < types))
    else:
        sums_used = np.flatnonzero(sums.n > 0)
    if len(sums_used) > SAMPLE_PUMPS:
        sums_used = np.sort(np.random.default_rng(0).choice(sums_used, SAMPLE_PUMPS, replace=False))
    _, kind = np.unique(kind[sums_used], return_inverse=True)
    try:
        made = fit_random_slope(sums.take(sums_used), kind=kind)
    except (ValueError, np.linalg.LinAlgError):
        return None
    line, line_cov = shrunk_lines(sums, type_code, types, made.covariance, made.residual_var)
    return DriftFit(
        x_0,
        y_0,
        line,
        line_cov,
        made.covariance,
        made.residual_var,
        far,
        bending.bend,
        bending.believed_walk(float(made.covariance[1, 1])),
    )


def drift_of(
    history: History, type_code: np.ndarray, exponents: Exponents, metric: str, fit: DriftFit | None
) -> Drift:
    """Score one metric of every pump with what was learned; type_code as in `fit_drift`."""
    pumps, visits = history.pumps, history.visits
    n = len(pumps)
    value = normalised(visits, pumps, exponents, metric)
    rows = np.flatnonzero(~np.isnan(value))
    pump = visits["pump"].to_numpy(int)[rows]
    readings = np.bincount(pump, minlength=n)
    if fit is None:
        unknown = np.full(n, np.nan)
        return Drift(metric, unknown, unknown, unknown, unknown, unknown, readings)
    x = visits["x_km"].to_numpy(float)[rows] / PER_KM
    y, _ = _tamed(value[rows], pump, fit.far)
    sums = group_sums(pump, x, y - fit.bend * x**2 / 2, n, (fit.x_0, fit.y_0))
    line, open_cov = fit.line[type_code], fit.line_cov[type_code]
    own, own_cov = predict(sums, line, fit.pump_cov, fit.residual_var)
    # What is open about the type's line counts as far as the pump rests on it: (I - C M) V (I - C M)'.
    m = np.stack([np.stack([sums.n, sums.x], -1), np.stack([sums.x, sums.xx], -1)], -2)
    rest = np.eye(2) - own_cov @ m / fit.residual_var
    cov = own_cov + rest @ open_cov @ rest.transpose(0, 2, 1)
    own += line
    now = pumps["now_km"].to_numpy(float) / PER_KM
    at = now - fit.x_0
    level = own[:, 0] + own[:, 1] * at + fit.y_0 + fit.bend * now**2 / 2
    believed = fit.pump_cov[1, 1] + open_cov[:, 1, 1]
    share = 1 - cov[:, 1, 1] / np.where(believed > 0, believed, np.inf)
    v = cov[:, 0, 0] + at * (2 * cov[:, 0, 1] + at * cov[:, 1, 1])
    c, w = cov[:, 0, 1] + at * cov[:, 1, 1], cov[:, 1, 1]
    span, gap = _reach_of_readings(pump, x, now)
    # Where a pump rests on its type, its level now tells its slope over its whole distance, not today's.
    v, c, w = (
        straight + share**2 * by_own + (1 - share**2) * by_type
        for straight, by_own, by_type in zip(
            (v, c, w),
            missed_by_a_line(fit.walk, span, gap),
            missed_by_a_line(fit.walk, now - gap, gap),
            strict=True,
        )
    )
    level_se = np.sqrt(np.maximum(v, 0))
    slope, slope_se = (own[:, 1] + fit.bend * now) / PER_KM, np.sqrt(np.maximum(w, 0)) / PER_KM
    both, walk = c / PER_KM, np.full(n, fit.walk / PER_KM**3)
    if row_of(metric).relative:  # fitted as logarithms
        level = np.exp(level)
        level_se, slope, slope_se = level * level_se, level * slope, level * slope_se
        both, walk = level**2 * both, level**2 * walk
    return Drift(metric, level, level_se, slope, slope_se, share, readings, both, walk)


def _reach_of_readings(pump: np.ndarray, x: np.ndarray, now: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far each pump's readings span, and from the last to now, (n,); 0 without a reading."""
    last, first = now.copy(), now.copy()
    last[pump], first[pump[::-1]] = x, x[::-1]  # in order of pump and x: the last written stays
    return last - first, np.maximum(now - last, 0.0)


def normalised(visits: pd.DataFrame, pumps: pd.DataFrame, exponents: Exponents, metric: str) -> np.ndarray:
    """Return the metric at reference volts, pressure and warmth (ln for current and speed), NaN if
    unusable."""
    x = covariates(visits, pumps)
    return values(visits)[metric] - np.where(np.isnan(x), 0.0, x) @ exponents.of[metric]


def _tamed(y: np.ndarray, pump: np.ndarray, far: float | None = None) -> tuple[np.ndarray, float]:
    """Pull readings farther than `far` (default: FAR_SD robust standard deviations) from their pump's median
    to that distance; return them and `far`."""
    middle = pd.Series(y).groupby(pump).transform("median").to_numpy()
    rest = y - middle
    if far is None:
        some = rest[rest != 0]
        far = FAR_SD * 1.4826 * float(np.median(np.abs(some))) if len(some) else np.inf
    return middle + np.clip(rest, -far, far), min(far, 1e300)


def line_ahead(drift: Drift, ahead_km: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the line `ahead_km` (m,) from now and the 80 % band about it: value, low, high, (n, m) each."""
    d = np.asarray(ahead_km, float)[None, :]
    value = drift.level[:, None] + drift.slope[:, None] * d
    spread = Z_80 * np.sqrt(np.maximum(_variance(drift, d), 0))
    return value, value - spread, value + spread


def _variance(drift: Drift, d: np.ndarray) -> np.ndarray:
    """Variance of the line d (n or 1, m) ahead: v + 2 c d + w d^2 + q d^3/3."""
    both, walk = (
        np.broadcast_to(np.asarray(part, float), drift.level.shape)[:, None]
        for part in (drift.level_slope_cov, drift.walk)
    )
    return drift.level_se[:, None] ** 2 + d * (2 * both + d * (drift.slope_se[:, None] ** 2 + walk * d / 3))


@dataclass(frozen=True)
class LimitForecast:
    """Distance until the line passes a limit, (n,) km each: likeliest, and where the edges of the 80 % band
    about the line pass it (inf: not within reach).

    limit: the one it heads for. told: False where the drift is not (Drift.told): then nothing is forecast.
    """

    limit: np.ndarray
    distance_km: np.ndarray
    soonest_km: np.ndarray
    latest_km: np.ndarray
    told: np.ndarray


def limit_forecast(
    drift: Drift, low: np.ndarray, high: np.ndarray, reach_km: np.ndarray | float = REACH_KM
) -> LimitForecast:
    """When the drift line passes `low` or `high` (n,), NaN for no such limit, within `reach_km`.

    The line passes where g - s d = 0 and the band's edges where g - s d = +-z sqrt(variance at d): g gap to
    the limit, s slope toward it, d distance.
    """
    up = drift.slope >= 0
    heading = np.where(up, high, low)
    g = np.where(up, heading - drift.level, drift.level - heading)
    s = np.abs(drift.slope)
    reach = np.broadcast_to(np.asarray(reach_km, float), g.shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        distance = np.where(g <= 0, 0.0, np.where(s > 0, g / s, np.inf))
        distance = np.where(distance > reach, np.inf, distance)
    soonest, latest = (_edge(drift, g, s, reach, side) for side in (1.0, -1.0))
    return LimitForecast(heading, distance, np.minimum(soonest, distance), latest, drift.told & ~np.isnan(g))


def _edge(drift: Drift, g: np.ndarray, s: np.ndarray, reach: np.ndarray, side: float) -> np.ndarray:
    """Where the near (side 1) or far (-1) edge of the band passes the limit; inf beyond reach."""

    def left(d: np.ndarray) -> np.ndarray:
        spread = Z_80 * np.sqrt(np.maximum(_variance(drift, d[:, None])[:, 0], 0))
        return g - s * d - side * spread

    here, there = np.zeros(len(g)), reach.copy()
    for _ in range(60):
        middle = (here + there) / 2
        short = left(middle) > 0
        here, there = np.where(short, middle, here), np.where(short, there, middle)
    with np.errstate(invalid="ignore"):
        out = np.where(left(reach) > 0, np.inf, there)
        return np.where(np.isnan(g), np.nan, np.where(left(np.zeros(len(g))) <= 0, 0.0, out))
