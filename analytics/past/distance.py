"""How far units run: between two days, by their odometers, and between a pump's planned stops."""

from __future__ import annotations

from datetime import date

import duckdb
import numpy as np
import pandas as pd

from analytics.past.frames import fetch
from analytics.past.history import EPOCH, RATE_DAYS
from ingest.trade_numbers import USUAL_INTERVAL_KM


def distance_between(connection: duckdb.DuckDBPyConnection, first: date, last: date) -> pd.Series:
    """Return km by unit from the start of day `first` to the end of day `last`.

    Straight lines between a unit's odometers; after its last one it goes on at its own daily distance of the
    two years before. Before its first one, and for a unit with fewer than two, nothing is counted.
    """
    points = fetch(connection, "history_odometers", [None])
    points = points.dropna(subset=["odometer_km"])
    days = np.array([(first - EPOCH).days, (last - EPOCH).days + 1], float)
    run = {str(unit): _run(rows, days) for unit, rows in points.groupby("unit")}
    return pd.Series(run, dtype=float)


def own_interval_km(pumps: pd.DataFrame) -> np.ndarray:
    """Return each pump's PM interval on its own clock, km (n,); pumps: as History.pumps."""
    share: pd.Series = pumps["km_per_day"] / np.maximum(pumps["unit_km_per_day"], 1e-9)
    return (pumps["pm_interval_km"].fillna(USUAL_INTERVAL_KM) * share).to_numpy(float)


def _run(rows: pd.DataFrame, days: np.ndarray) -> float:
    day, km = rows["day"].to_numpy(float), np.maximum.accumulate(rows["odometer_km"].to_numpy(float))
    if len(day) < 2:
        return 0.0
    recent = day >= day[-1] - RATE_DAYS
    span = day[-1] - day[recent][0]
    rate = (km[-1] - km[recent][0]) / span if span > 0 else 0.0
    at = np.interp(days, day, km) + rate * np.maximum(days - day[-1], 0.0)
    return float(at[1] - at[0])
