"""Everything a plan rests on, read from the ledger in one go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analytics.bookings import decisions_on, last_list
from analytics.cost_book import CostBook, cost_book
from analytics.decision import worth_booking
from analytics.forecast import Forecast, score, survival_on_grid
from analytics.fitting import fit_history, stored_fit
from analytics.history import read_history
from analytics.ranking import rank
from analytics.type_lives import TypeLives, fit_types, long_run_cost_per_km
from ingest.ledger import open_ledger
from ingest.settings import settings_at

SQL = Path(__file__).with_name("sql")
# Fine near the as-of date, where bookings lie; the far end is where hardly any pump still runs.
GRID_KM = np.concatenate([[0.0], np.geomspace(100.0, 600_000.0, 120)])
SETTINGS = {
    "plan_horizon_days": 120,
    "plan_retirement_days": 180,  # no change this close to retirement: common practice, no source
    "plan_shared_share": 0.5,  # of the hours, for a further pump at the same stop: common practice, no source
    "plan_service_level": 0.95,
    "plan_extra_stop_hours": 1.0,  # of labour, for a stop made for the pump alone: common practice, no source
}


@dataclass(frozen=True)
class Inputs:
    """`pumps`: rank's rows with prices, cost rule and vehicle facts, indexed 0…n−1 like `forecast`'s rows."""

    as_of: date
    settings: dict[str, Any]
    book: CostBook
    lives: TypeLives
    pumps: pd.DataFrame
    forecast: Forecast
    vehicles: pd.DataFrame
    types: pd.DataFrame
    stock: pd.DataFrame
    bays: pd.DataFrame
    due_work: pd.DataFrame
    decisions: pd.DataFrame
    previous: pd.DataFrame | None


def read_inputs(ledger: Path, as_of: date | None) -> Inputs:
    """Read and score the ledger on a day (default: the last dated fact)."""
    with open_ledger(ledger) as connection:
        history = read_history(connection, as_of)
        day = history.as_of
        settings = SETTINGS | settings_at(connection, day)
        book = cost_book(connection, max(day, date.today()) if as_of is None else day)
        vehicles = connection.execute((SQL / "plan_vehicles.sql").read_text("utf-8"), [day] * 3).df()
        types = connection.execute((SQL / "plan_types.sql").read_text("utf-8")).df()
        stock = connection.execute("SELECT depot, pump_type, on_hand FROM stock").df()
        bays = connection.execute("SELECT depot, week_of, hours FROM bay_hours").df()
        due = connection.execute("SELECT unit, due_on, work, hours FROM due_work").df()
        decisions = decisions_on(connection, as_of)
        previous = last_list(connection, day)
    state = score(history, stored_fit(ledger, day) or fit_history(history))
    made = survival_on_grid(state, GRID_KM)
    lives = fit_types(history.pumps)
    ranked = rank(ledger, as_of=day).set_index("pump_id").reindex(made.pump_id).reset_index()
    pumps = with_cost_rule(ranked, book, lives, settings, vehicles)
    return Inputs(
        day, settings, book, lives, pumps, made, vehicles, types, stock, bays, due, decisions, previous
    )


def with_cost_rule(
    ranked: pd.DataFrame, book: CostBook, lives: TypeLives, settings: dict[str, Any], vehicles: pd.DataFrame
) -> pd.DataFrame:
    """Return rank's rows with prices, long-run cost per km, `worth`, `because` and `benefit`."""
    extra = vehicles.set_index("unit")[["job_hours", "retires_on", "vin", "make", "model", "year"]]
    pumps = ranked.join(extra, on="unit")
    prices = book.price_frame(pumps)
    pumps = pd.concat([pumps, prices], axis=1)
    kinds = pumps.groupby(["pump_type", "planned", "failure"], dropna=False).ngroup().to_numpy()
    _, first, back = np.unique(kinds, return_index=True, return_inverse=True)
    per_km = np.array(
        [
            long_run_cost_per_km(
                lives.of(pumps["pump_type"].iloc[i]).life,
                float(pumps["planned"].iloc[i]),
                float(pumps["failure"].iloc[i]),
            )
            for i in first
        ]
    )
    pumps["cost_per_km"] = per_km[back] if len(pumps) else []
    ratio = pumps["pump_km_per_day"] / pumps["km_per_day"].clip(lower=1e-9)
    pumps["horizon_own_km"] = pumps["horizon_km"] * ratio
    ceiling = pumps["class"].map(settings["risk_ceiling"]).astype(float)
    ruled = worth_booking(
        pumps["risk"], pumps["risk_if_new"], pumps["horizon_own_km"].to_numpy(float),
        pumps["planned"].to_numpy(float), pumps["failure"].to_numpy(float),
        pumps["cost_per_km"].to_numpy(float), ceiling.to_numpy(float),
    )  # fmt: skip
    return pumps.assign(ceiling=ceiling, **{name: ruled[name].to_numpy() for name in ruled})
