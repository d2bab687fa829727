"""What each pump taken off unfailed would still have run, and its risk then, given its own readings.

The filters stand at the pump's last reading on or before its removal, as in service, and from there its own
forecast goes on: the distance given up is the mean of what it would still have run, ∫ S(d) dd, to its
vehicle's retirement at the latest. Its type's mean life says nothing of this pump, which was taken off for
what it showed. The constants are those of today's fit: what the fleet has shown since helps to judge a
removal of then.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.cost_review.type_lives import TypeLives
from analytics.learning.fitting import Fit
from analytics.past.history import History
from analytics.past.normal import Z_80
from analytics.wear_model.model import risk_model, run_filters
from analytics.wear_model.unrecorded import allow_for_unrecorded
from ingest.trade_numbers import USUAL_INTERVAL_KM

GRID_KM = np.concatenate([[0.0], np.geomspace(100.0, 900_000.0, 120)])
COLUMNS = ("pump_id", "life_thrown_away_km", "left_sd_km", "told_risk", "interval_km")


def given_up(history: History, fit: Fit) -> pd.DataFrame:
    """Return one row per pump taken off unfailed: pump_id, life_thrown_away_km (mean of what it would still
    have run on its own clock), left_sd_km (spread of that one life), told_risk (of failing over interval_km
    more, its next PM interval).
    """
    history = allow_for_unrecorded(history, fit.parameters.exponents)
    pumps = history.pumps
    off = pumps["removed"].to_numpy(bool) & ~pumps["failed"].to_numpy(bool)
    if not off.any():
        return pd.DataFrame({name: pd.Series(dtype=float) for name in COLUMNS})
    rows = np.flatnonzero(off)
    known = run_filters(history, fit.parameters).known.take(rows)
    gone = pumps.iloc[rows].reset_index(drop=True)
    d_0 = np.maximum(gone["now_km"].to_numpy(float) - known.x_km, 0.0)
    model = risk_model(fit.parameters)
    survival = model.survival(known, d_0, GRID_KM)
    interval = interval_km(gone)
    risk, _ = model.risk(known, d_0, interval)
    days = (gone["retires_day"] - gone["removed_day"]).to_numpy(float)
    until = np.where(np.isnan(days), np.inf, np.maximum(days, 0.0) * gone["km_per_day"].to_numpy(float))
    mean, sd = moments(survival, until)
    return pd.DataFrame(
        dict(zip(COLUMNS, (gone["pump_id"].to_numpy(), mean, sd, risk, interval), strict=True))
    )


def interval_km(pumps: pd.DataFrame) -> np.ndarray:
    """Return each pump's PM interval on its own clock, km (n,); pumps: as History.pumps."""
    share: pd.Series = pumps["km_per_day"] / np.maximum(pumps["unit_km_per_day"], 1e-9)
    return (pumps["pm_interval_km"].fillna(USUAL_INTERVAL_KM) * share).to_numpy(float)


def moments(survival: np.ndarray, until_km: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and standard deviation (n,) of what is run, no further than `until_km` (n,).

    survival (n, m) on GRID_KM. E[min(T, u)] = ∫₀ᵘ S, E[min(T, u)²] = 2·∫₀ᵘ t·S; by trapezes, of which the one
    that holds u is cut there.
    """
    step = np.diff(GRID_KM)
    part = np.clip((until_km[:, None] - GRID_KM[:-1]) / step, 0.0, 1.0)
    ends = survival[:, :-1] + part * np.diff(survival, axis=1)
    at = GRID_KM[:-1] + part * step
    width = part * step
    mean = (width * (survival[:, :-1] + ends) / 2).sum(1)
    square = (width * (GRID_KM[:-1] * survival[:, :-1] + at * ends)).sum(1)
    return mean, np.sqrt(np.maximum(square - mean**2, 0.0))


def sum_range(
    rows: pd.DataFrame, lives: TypeLives, column: str = "life_thrown_away_km"
) -> tuple[float, float]:
    """Return the 80 % range of the sum of `column`: each life's own spread, and that of the fleet's life,
    which all of them share. rows: facts with left_sd_km and pump_type."""
    value = rows[column].fillna(0.0).to_numpy(float)
    own = rows["left_sd_km"].fillna(0.0).to_numpy(float)
    shared = float(
        sum(
            v * np.sqrt(lives.of(name).covariance[0, 0])
            for v, name in zip(value, rows["pump_type"], strict=True)
        )
    )
    reach = Z_80 * float(np.hypot(np.sqrt((own**2).sum()), shared))
    total = float(value.sum())
    return max(total - reach, 0.0), total + reach
