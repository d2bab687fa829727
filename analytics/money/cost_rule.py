"""Prices and the cost rule beside each ranked pump: the one place where list, plan and review get theirs."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analytics.money.cost_book import CostBook
from analytics.money.decision import worth_booking
from analytics.money.long_run import LongRun

VEHICLE_FACTS = ["job_hours", "retires_on", "vin", "make", "model", "year"]


def with_cost_rule(
    ranked: pd.DataFrame, book: CostBook, long_run: LongRun, settings: dict[str, Any], vehicles: pd.DataFrame
) -> pd.DataFrame:
    """Return rank's rows with vehicle facts, prices, `cost_per_km`, `worth`, `because` and `benefit`.

    ranked: class, depot, pump_type, risk, risk_if_new, horizon_km, km_per_day and pump_km_per_day at least.
    vehicles: rows of plan_vehicles.sql. `benefit` is what changing now saves against waiting, in money.
    """
    pumps = ranked.join(vehicles.set_index("unit")[VEHICLE_FACTS], on="unit")
    pumps = pd.concat([pumps, book.price_frame(pumps)], axis=1)
    pumps["cost_per_km"] = long_run.cost_per_km(
        pumps["pump_type"], pumps["planned"].to_numpy(float), pumps["failure"].to_numpy(float)
    )
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
