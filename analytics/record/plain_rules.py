"""The plain rules that a forecast is held against in a back-test, and how their scores become chances.

Each rule gives one number per pump, higher for more worn; only its order means something until `as_chance`
turns it into a probability with what earlier past days have shown.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from analytics.past.history import History
from analytics.trend.first_passage import fit_lines, fit_wiener, passage

RULES = {
    "limits": "last reading against limits",
    "least_squares": "straight line per pump",
    "steady_drift": "steady drift with noise",
    "age": "distance on the pump",
}
NO_READING = 0.5  # half-way to the limit


def rule_scores(past: History, rows: np.ndarray, ahead_km: np.ndarray) -> pd.DataFrame:
    """Return the rules' scores for pumps `rows` (row numbers) over `ahead_km` (n,) of their own clock."""
    pumps = past.pumps.iloc[rows].reset_index(drop=True)
    return pd.DataFrame(
        {
            "limits": _against_limits(past, rows, pumps),
            "least_squares": _line(past, rows, pumps, ahead_km),
            "steady_drift": _steady_drift(past, rows, pumps, ahead_km),
            "age": pumps["now_km"].to_numpy(float) / 1e5,
        }
    )


def _against_limits(past: History, rows: np.ndarray, pumps: pd.DataFrame) -> np.ndarray:
    """How near the worst metric of the last reading is to its limit (1: at it)."""
    last = past.visits.groupby("pump")[["ripple_pct", "mean_a", "rpm"]].last()
    last = last.reindex(rows).reset_index(drop=True)
    ripple = last["ripple_pct"] / pumps["ripple_limit_pct"]
    width = (pumps["current_high_a"] - pumps["current_low_a"]) / 2
    current = (last["mean_a"] - (pumps["current_high_a"] + pumps["current_low_a"]) / 2).abs() / width
    slow = pumps["rpm_low"] / last["rpm"]
    return pd.concat([ripple, current, slow], axis=1).max(axis=1).fillna(NO_READING).to_numpy(float)


def _ripples(past: History) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pump, km on it and ripple of every reading in the trend that has one."""
    v = past.visits[past.visits["ripple_pct"].notna() & past.visits["usable"]]
    return v["pump"].to_numpy(int), v["x_km"].to_numpy(float), v["ripple_pct"].to_numpy(float)


def _line(past: History, rows: np.ndarray, pumps: pd.DataFrame, ahead_km: np.ndarray) -> np.ndarray:
    """Ripple over its limit at the horizon on a least-squares line through each pump's readings."""
    pump, x, y = _ripples(past)
    lines = fit_lines(pump, x / 1e5, y, len(past.pumps))
    mean = pd.Series(y).groupby(pump).mean().reindex(rows).to_numpy()
    at = (pumps["now_km"].to_numpy(float) + ahead_km) / 1e5
    ahead = np.where(np.isnan(lines.slope[rows]), mean, lines.intercept[rows] + lines.slope[rows] * at)
    limit = pumps["ripple_limit_pct"].to_numpy(float)
    return np.nan_to_num(np.clip(ahead / limit, -2, 5), nan=NO_READING)


def _steady_drift(past: History, rows: np.ndarray, pumps: pd.DataFrame, ahead_km: np.ndarray) -> np.ndarray:
    """Chance that a Wiener process with the fleet's drift takes ripple from its last reading past its
    limit."""
    pump, x, y = _ripples(past)
    step = np.diff(x)
    ok = (pump[1:] == pump[:-1]) & (step > 500)
    out = np.zeros(len(rows))
    if ok.sum() < 10:
        return out
    process = fit_wiener(np.diff(y)[ok], step[ok])
    if process.drift <= 0:
        return out
    last = pd.Series(y).groupby(pump).last().reindex(rows).to_numpy()
    limit = pumps["ripple_limit_pct"].to_numpy(float)
    known = ~np.isnan(last)
    gap = np.maximum(limit - last, 0.01)[known]
    out[known] = passage(process, gap).cdf(ahead_km[known])
    return out


def as_chance(raw: np.ndarray, happened: np.ndarray, as_of: np.ndarray) -> np.ndarray:
    """Turn a rule's score into a chance by logistic regression on earlier past days (lightly ridged).

    All (n,); NaN on the first day, which has none before it.
    """
    out = np.full(len(raw), np.nan)
    for day in np.unique(as_of)[1:]:
        earlier, now = as_of < day, as_of == day
        o = happened[earlier].astype(float)
        mean = raw[earlier].mean()
        b = np.array([np.log((o.sum() + 0.5) / (len(o) - o.sum() + 0.5)), 0.0])
        x = np.column_stack([np.ones(len(o)), raw[earlier] - mean])
        for _ in range(25):
            q = expit(x @ b)
            info = (x * (q * (1 - q))[:, None]).T @ x + np.diag([1e-3, 0.1])
            b = b + np.linalg.solve(info, x.T @ (o - q) - np.array([0.0, 0.1 * b[1]]))
        out[now] = expit(b[0] + b[1] * (raw[now] - mean))
    return out
