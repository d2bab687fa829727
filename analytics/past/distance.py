"""How far units run: between two days, by their odometers, and between a pump's planned stops."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import duckdb
import numpy as np
import pandas as pd

from analytics.past.frames import fetch
from analytics.past.history import EPOCH, RATE_DAYS
from ingest.trade_numbers import USUAL_INTERVAL_KM


def distances_between(
    connection: duckdb.DuckDBPyConnection, spans: Mapping[str, tuple[date, date]]
) -> pd.DataFrame:
    """Return km by unit (rows, by name) and span (columns), each from the start of its first day to the end
    of its last.

    Straight lines between a unit's odometers; after its last one it goes on at its own daily distance of the
    two years before. Before its first one, and for a unit with fewer than two, nothing is counted.
    """
    points = fetch(connection, "history_odometers", [None])
    points = points.dropna(subset=["odometer_km"])
    unit, names = pd.factorize(points["unit"])
    day, first = points["day"].to_numpy(float), _starts(unit)
    km = points["odometer_km"].astype(float).groupby(unit).cummax().to_numpy()
    last = np.append(first[1:], len(unit))[: len(first)] - 1
    recent = np.flatnonzero(day >= day[last][unit] - RATE_DAYS)
    since = recent[_starts(unit[recent])]
    days = day[last] - day[since]
    rate = np.where(days > 0, (km[last] - km[since]) / np.where(days > 0, days, 1.0), 0.0)

    def at(when: float) -> np.ndarray:
        before = last - np.add.reduceat(day > when, first) if len(first) else last
        low = np.clip(before, first, last)
        high = np.clip(before + 1, first, last)
        gap = day[high] - day[low]
        slope = np.where(gap > 0, (km[high] - km[low]) / np.where(gap > 0, gap, 1.0), 0.0)
        return km[low] + slope * (when - day[low]) * (gap > 0) + rate * np.maximum(when - day[last], 0.0)

    told = last > first
    run = {
        name: np.where(told, at((end - EPOCH).days + 1.0) - at(float((begin - EPOCH).days)), 0.0)
        for name, (begin, end) in spans.items()
    }
    return pd.DataFrame(run, index=pd.Index(names, dtype=object))


def own_interval_km(pumps: pd.DataFrame) -> np.ndarray:
    """Return each pump's PM interval on its own clock, km (n,); pumps: as History.pumps."""
    share: pd.Series = pumps["km_per_day"] / np.maximum(pumps["unit_km_per_day"], 1e-9)
    return (pumps["pm_interval_km"].fillna(USUAL_INTERVAL_KM) * share).to_numpy(float)


def _starts(unit: np.ndarray) -> np.ndarray:
    """Return where each unit's rows begin; unit (n,): its code, rows of one together."""
    return np.flatnonzero(np.append(True, unit[1:] != unit[:-1])[: len(unit)])
