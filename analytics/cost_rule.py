"""Prices and the cost rule beside each ranked pump: the one place where list, plan and review get theirs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.cost_book import CostBook
from analytics.decision import worth_booking
from analytics.type_lives import TypeLives, long_run_cost_per_km

VEHICLES = Path(__file__).with_name("sql") / "plan_vehicles.sql"
VEHICLE_FACTS = ["job_hours", "retires_on", "vin", "make", "model", "year"]


def with_cost_rule(
    ranked: pd.DataFrame, book: CostBook, lives: TypeLives, settings: dict[str, Any], vehicles: pd.DataFrame
) -> pd.DataFrame:
    """Return rank's rows with vehicle facts, prices, `cost_per_km`, `worth`, `because` and `benefit`.

    ranked: class, depot, pump_type, risk, risk_if_new, horizon_km, km_per_day and pump_km_per_day at least.
    vehicles: rows of plan_vehicles.sql. `benefit` is what changing now saves against waiting, in money.
    """
    pumps = ranked.join(vehicles.set_index("unit")[VEHICLE_FACTS], on="unit")
    pumps = pd.concat([pumps, book.price_frame(pumps)], axis=1)
    pumps["cost_per_km"] = _long_run(pumps, lives)
    own = pumps["pump_km_per_day"] / pumps["km_per_day"].clip(lower=1e-9)
    pumps["horizon_own_km"] = pumps["horizon_km"] * own
    ceiling = pumps["class"].map(settings["risk_ceiling"]).to_numpy(float)
    ruled = worth_booking(
        pumps["risk"].to_numpy(float),
        pumps["risk_if_new"].to_numpy(float),
        pumps["horizon_own_km"].to_numpy(float),
        pumps["planned"].to_numpy(float),
        pumps["failure"].to_numpy(float),
        pumps["cost_per_km"].to_numpy(float),
        ceiling,
    )
    return pumps.assign(ceiling=ceiling, **{str(name): ruled[name].to_numpy() for name in ruled})


def _long_run(pumps: pd.DataFrame, lives: TypeLives) -> np.ndarray:
    """Return what a pump of each row's type costs per km in the long run at that row's prices."""
    if pumps.empty:
        return np.zeros(0)
    kinds = pumps.groupby(["pump_type", "planned", "failure"], dropna=False).ngroup().to_numpy()
    _, first, back = np.unique(kinds, return_index=True, return_inverse=True)
    rows = pumps.iloc[first]
    per_km = [
        long_run_cost_per_km(lives.of(t).life, planned, failure)
        for t, planned, failure in zip(
            rows["pump_type"], rows["planned"].astype(float), rows["failure"].astype(float), strict=True
        )
    ]
    return np.array(per_km)[back]
