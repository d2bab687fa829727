"""Planned PM stops ahead: by distance, days or hours, whichever comes first for the unit."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from analytics.risk.workdays import Workdays
from ingest.settings_in_force import Settings

OVERDUE_STOP_DAYS = 7  # an overdue PM is taken to be made within a week


def planned_visits(
    vehicles: pd.DataFrame, as_of: date, horizon_days: int, settings: Settings
) -> pd.DataFrame:
    """Return one row per planned stop up to `horizon_days` ahead, and each unit's next stop in any case.

    vehicles: unit, last_pm_on, km_per_day (of the unit), pm_interval_km, pm_interval_days, pm_interval_hours,
    hours_per_day, depot; missing values are fine, and an interval not above 0 is one. Returned: unit, stop
    (1 = next), planned_on, due_by ("distance" | "days" | "hours"), overdue. Stops fall on days on which the
    depot works.
    """
    columns = ["unit", "stop", "planned_on", "due_by", "overdue"]
    if not len(vehicles):
        return pd.DataFrame(columns=columns)
    days, why = interval_days(vehicles, settings)
    last: np.ndarray = pd.to_datetime(vehicles["last_pm_on"]).to_numpy("datetime64[D]")
    today = np.datetime64(as_of, "D")
    # Where no stop is on record, the next is taken to be half an interval off.
    since = np.where(np.isnat(last), days / 2, (today - last).astype(float))
    first = days - since
    overdue = first <= 0
    first = np.where(overdue, OVERDUE_STOP_DAYS, np.maximum(first, 1))
    count = np.maximum(np.floor((horizon_days - first) / days), 0).astype(int) + 1
    row = np.repeat(np.arange(len(vehicles)), count)
    stop = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    ahead = np.round(first[row] + stop * days[row]).astype(int)
    depot = vehicles["depot"].to_numpy(object) if "depot" in vehicles else np.full(len(vehicles), "", object)
    when = Workdays(settings).forward(today + ahead, depot[row])
    return pd.DataFrame(
        {
            "unit": vehicles["unit"].to_numpy()[row],
            "stop": stop + 1,
            "planned_on": when,
            "due_by": why[row],
            "overdue": overdue[row] & (stop == 0),
        }
    )


def interval_days(vehicles: pd.DataFrame, settings: Settings) -> tuple[np.ndarray, np.ndarray]:
    """Return the days between a unit's stops (n,), at least 1, and what sets them."""

    def number(name: str) -> np.ndarray:
        if name not in vehicles:
            return np.full(len(vehicles), np.nan)
        return pd.to_numeric(vehicles[name], errors="coerce").to_numpy(float)

    with np.errstate(divide="ignore", invalid="ignore"):
        by_km = number("pm_interval_km") / number("km_per_day")
        by_hours = number("pm_interval_hours") / number("hours_per_day")
    by_days = number("pm_interval_days")
    ways = np.vstack([by_km, by_days, by_hours])
    ways = np.where(np.isfinite(ways) & (ways > 0), ways, np.inf)
    none = np.isinf(ways).all(axis=0)
    ways[1, none] = float(settings["next_capture_days"])
    names = np.array(["distance", "days", "hours"], dtype=object)
    return np.maximum(ways.min(axis=0), 1.0), names[ways.argmin(axis=0)]


def monday(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())
