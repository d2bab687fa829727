"""One pump's lines of current, ripple and speed, from its own unit's rows and the lines stored with the fit.

The same scoring as for the whole fleet (analytics.trend.drift), without scoring the fleet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.fitting import stored_fit
from analytics.past.frames import as_frame, fetch_visits, fetch_with
from analytics.past.history import EPOCH, History, build_history, read_history
from analytics.past.normalise import nominal
from analytics.statements import statement
from analytics.trend.drift import (
    Drift,
    LimitForecast,
    drift_of,
    limit_forecast,
    line_ahead,
    normalised,
)
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.metrics import metric as row_of
from ingest.metrics import trended

LIMIT_DAYS = 3652.5  # ten years: farther off nothing is said about a limit
MANY_VISITS = 20_000  # on record: reading more would keep who stands in the bay waiting


@dataclass(frozen=True)
class PumpDrift:
    """One pump's lines on its own clock, in km.

    now_km: at the as-of date or its removal; km_per_day of its clock; visits: visit_id, x_km, and each metric
    at reference volts, pressure and warmth where the volts are known (NaN elsewhere); drift: by metric, of
    this one pump, None until the fleet's lines are known.
    """

    pump_id: int
    now_km: float
    km_per_day: float
    in_service: bool
    visits: pd.DataFrame
    drift: dict[str, Drift | None]

    def line(self, metric: str) -> Drift:
        """Return a metric's line where `drift` has one."""
        drift = self.drift[metric]
        assert drift is not None
        return drift

    def ahead(self, metric: str, ahead_km: np.ndarray) -> pd.DataFrame:
        """Return the line from now on with its 80 % band: x_km, value, low, high."""
        drift = self.line(metric)
        value, low, high = (part[0] for part in line_ahead(drift, ahead_km))
        return pd.DataFrame({"x_km": self.now_km + ahead_km, "value": value, "low": low, "high": high})

    def limit(self, metric: str, low: float | None, high: float | None) -> LimitForecast:
        """Return when the line passes its specification within LIMIT_DAYS of the unit's own use, as
        `limit_forecast` of one pump."""
        drift = self.line(metric)
        ends = [np.array([np.nan if end is None else float(end)]) for end in (low, high)]
        return limit_forecast(drift, ends[0], ends[1], LIMIT_DAYS * max(self.km_per_day, 1e-6))


def pump_drift(ledger: Path, pump_id: int, as_of: date) -> PumpDrift | None:
    """Return one pump's lines as of a day; None for a pump without a visit by then."""
    history = history_of_unit(ledger, pump_id, as_of)
    rows = np.flatnonzero(history.pumps["pump_id"].to_numpy() == pump_id)
    if not len(rows) or not len(history.visits):
        return None
    row = int(rows[0])
    pump = history.pumps.iloc[row]
    fit = stored_fit(ledger, settings=history.settings)
    exponents = fit.parameters.exponents if fit else nominal()
    mine = (history.visits["pump"] == row).to_numpy()
    visits = history.visits.loc[mine, ["visit_id", "x_km"]].reset_index(drop=True)
    volts = history.visits.loc[mine, "supply_v"].notna().to_numpy()
    drift: dict[str, Drift | None] = dict.fromkeys(m.name for m in trended())
    for metric in drift:
        value = normalised(history.visits, history.pumps, exponents, metric)[mine]
        value = np.exp(value) if row_of(metric).relative else value
        visits[metric] = np.where(volts, value, np.nan)
        if fit is not None and fit.drift.get(metric) is not None:
            code = fit.parameters.type_codes(history.pumps["pump_type"])
            found = drift_of(history, code, exponents, metric, fit.drift[metric])
            drift[metric] = _of_one(found, row) if found.readings[row] else None
    return PumpDrift(
        pump_id, float(pump["now_km"]), float(pump["km_per_day"]), not bool(pump["removed"]), visits, drift
    )


def _of_one(drift: Drift, row: int) -> Drift:
    part: dict[str, Any] = {
        name: np.broadcast_to(np.asarray(getattr(drift, name)), drift.level.shape)[row : row + 1]
        for name in (
            "level",
            "level_se",
            "slope",
            "slope_se",
            "own_share",
            "readings",
            "level_slope_cov",
            "walk",
        )
    }
    return replace(drift, **part)


def history_of_unit(ledger: Path, pump_id: int, as_of: date) -> History:
    """Return the history of the unit a pump is in, as the fleet's own says it.

    What many units do together (steps in their readings, usual daily distances and filter changes) is known
    from the whole fleet alone. One with more than MANY_VISITS is not read for one pump: there the unit's own
    rows must do.
    """
    with open_ledger(ledger) as connection:
        [(visits_on_record,)] = connection.execute(statement("visits_on_record")).fetchall()
        if visits_on_record <= MANY_VISITS:
            fleet = read_history(connection, as_of)
            pumps = fleet.pumps
            return of_pumps(
                fleet, np.flatnonzero(pumps["unit"].isin(pumps["unit"][pumps["pump_id"] == pump_id]))
            )
        [(unit,)] = connection.execute(
            statement("unit_of_pump"), [pump_id]
        ).fetchall()  # NULL without such a pump
        pumps = fetch_with(connection, "history_pumps", [], "unit", [unit])
        visits = as_frame(
            fetch_visits(connection, "history_visits", [as_of], pumps["pump_id"].tolist() or [-1])
        )
        points, filters = (
            fetch_with(connection, f"history_{name}", [as_of], "unit", [unit])
            for name in ("odometers", "filters")
        )
        settings = settings_at(connection, as_of)
    return build_history(pumps, visits, points, filters, (as_of - EPOCH).days, settings)


def of_pumps(history: History, rows: np.ndarray) -> History:
    """Return a history of some pumps alone."""
    place = np.full(len(history.pumps), -1)
    place[rows] = np.arange(len(rows))
    visits = history.visits[place[history.visits["pump"].to_numpy(int)] >= 0]
    visits = visits.assign(pump=place[visits["pump"].to_numpy(int)]).reset_index(drop=True)
    return replace(history, pumps=history.pumps.iloc[rows].reset_index(drop=True), visits=visits)
